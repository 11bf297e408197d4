"""Where a figure stands: a row of a table, a setting, a line of the survey, a choice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from estimator import catalogue as tables
from estimator.quote import Quote


@dataclass(frozen=True)
class Place:
    """Where a figure stands, and on what it rests.

    Parameters
    ----------
    kind
        "table" for a row of a table, "setting" for a default or a line of `shop.toml`, "survey"
        for a line of the survey, "choice" for what was asked for with the quote, "definition"
        for units and rules.
    file, row
        The file, and the row as a spreadsheet counts it; blank and None where there is none.
    cells
        Columns, with what stands in them.
    unit, basis, source, dated
        As the row says. Of a survey line the basis is how far it was inspected.
    default
        Of a setting that the shop has changed: the trade's figure.

    Examples
    --------
    >>> found = Place("table", "operations.csv", 12, {"low": 0.5, "setup": 0.1}, "h")
    >>> str(found), found.columns
    ('operations.csv, row 12', 'operations.csv, row 12: low, setup')
    """

    kind: Literal["table", "setting", "survey", "choice", "definition"]
    file: str
    row: int | None
    cells: Mapping[str, object] = field(default_factory=dict)
    unit: str = ""
    basis: str = ""
    source: str = ""
    dated: str = ""
    default: float | None = None

    def __str__(self) -> str:
        """Such as "operations.csv, row 12", without the columns."""
        if self.row is not None:
            return f"{self.file}, row {self.row}"
        return self.file or {"choice": "asked for with this quote"}.get(self.kind, self.source)

    @property
    def columns(self) -> str:
        """The place with its columns, such as "operations.csv, row 12: setup"."""
        return f"{self}: {', '.join(self.cells)}"


def of_row(row: tables.Row, catalogue: tables.Catalogue, *columns: str) -> Place:
    """The place of some columns of a table's row."""
    return Place(
        "table",
        *catalogue.at(row),
        {column: _plain(getattr(row, column)) for column in columns},
        row.unit,
        str(row.basis),
        row.source,
        row.dated.isoformat(),
    )


def of_setting(name: str, offer: Quote, catalogue: tables.Catalogue) -> Place:
    """Where a setting comes from: asked for, in the shop's own `shop.toml`, or the default."""
    value = offer.confidence if name == "confidence" else getattr(offer.settings, name)
    if getattr(offer.choices, name, None) is not None:
        return choice(name, value, offer)
    row = catalogue.rates.get(name)
    if row is None:
        return Place("setting", "shop.toml", None, {name: value}, "", "the shop's own",
                     "set by the shop; the tables have no default for it")
    file, number = catalogue.at(row)
    if row.value == value:
        return Place("setting", file, number, {name: value}, row.unit, str(row.basis),
                     row.source, row.dated.isoformat())
    return Place("setting", "shop.toml", None, {name: value}, row.unit, "the shop's own",
                 f"set by the shop; the default is {row.value:g} ({file}, row {number})",
                 default=row.value)


def of_line(index: int, offer: Quote) -> Place:
    """The survey line by its index, as it was written; an extra is a choice."""
    line = offer.job.scope.lines[index]
    if index >= offer.job.scope.first_extra:
        return choice(line.assembly, line.count, offer)
    columns = ("assembly", "count", "condition", "certainty", "length_mm", "area_cm2", "note")
    cells = {name: _plain(getattr(line, name)) for name in columns if getattr(line, name)}
    machine = offer.survey.machine
    by = f", by {machine.surveyor}" if machine.surveyor else ""
    # A survey made on the page has no file; then its lines are counted from 1.
    row = index + 1 if line.row is None else line.row
    return Place("survey", offer.survey.file or "survey", row, cells, "",
                 str(line.certainty), f"survey of the machine{by}", machine.surveyed)


def choice(name: str, value: object, offer: Quote) -> Place:
    """What was asked for with the quote."""
    return Place("choice", "", None, {name: _plain(value)}, "", "choice",
                 "asked for with this quote", offer.on.isoformat())


def definition(source: str) -> Place:
    """A unit's definition, or a published rule."""
    return Place("definition", "", None, basis="definition", source=source)


def _plain(value: object) -> object:
    """A cell as plain JSON."""
    return value if isinstance(value, int | float) or value is None else str(value)
