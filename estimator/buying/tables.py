"""What can be bought: parts, offers and suppliers, and what the shop may add in tables of its own.

Three further tables may stand in a shop's folder: what is on the shelf (`stock.csv`), what does
for what (`substitutes.csv`), what is in a kit (`kits.csv`). A shop without them buys without them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

from pydantic import Field

from estimator.catalogue import Catalogue, Offer, Part, Row, Supplier, read_table
from estimator.catalogue.load import file_and_row, key_of
from estimator.catalogue.rows import Positive, Slug
from estimator.errors import BadInput, Fault, one_of


class Stock(Row):
    """Units of a part on the shelf; `dated` is the day they were counted."""

    table = "stock"
    key = ("part",)
    part: Slug = Field(description="Which part.")
    quantity: Annotated[float, Field(ge=0, allow_inf_nan=False)] = Field(
        description="Units on the shelf that no other job waits for."
    )


class Substitute(Row):
    """A part that does for another."""

    table = "substitutes"
    key = ("part", "instead")
    part: Slug = Field(description="Which part.")
    instead: Slug = Field(description="What may be fitted in its place.")
    quantity: Positive = Field(1, description="Units of it that do for one.")
    note: str = Field("", description="What to heed where it is fitted.")


class Content(Row):
    """A part that a kit holds."""

    table = "kits"
    key = ("kit", "part")
    kit: Slug = Field(description="Which kit; it is a part too, with offers of its own.")
    part: Slug = Field(description="A part in it.")
    quantity: Positive = Field(1, description="Units of it in one kit.")


EXTRA: tuple[type[Row], ...] = (Stock, Substitute, Content)
"""Schemas of the tables that a shop may have beside the trade's."""


def _nowhere(row: Row) -> str:
    return ""


@dataclass(frozen=True)
class Market:
    """All that can be bought, and what is there already.

    Parameters
    ----------
    parts, suppliers
        Rows by name.
    offers
        Rows, in any order.
    substitutes, contents
        Rows of the tables of those names; may be empty.
    stock
        Units on the shelf, by part. [–]
    place
        Where a row was read from, as "offers.csv, row 12"; blank where that is not known.
    """

    parts: Mapping[str, Part]
    offers: tuple[Offer, ...]
    suppliers: Mapping[str, Supplier]
    substitutes: tuple[Substitute, ...] = ()
    contents: tuple[Content, ...] = ()
    stock: Mapping[str, float] = field(default_factory=dict)
    place: Callable[[Row], str] = field(default=_nowhere, repr=False, compare=False)


def market(catalogue: Catalogue, *folders: Path | str) -> Market:
    """What a catalogue offers, with the further tables that stand in `folders`, the last counts.

    Raises
    ------
    BadInput
        With every fault in those tables: file, row, column.

    Examples
    --------
    >>> from estimator.catalogue import data_folder, load
    >>> found = market(load(), data_folder())
    >>> len(found.suppliers) > 2, found.stock.get("bulb", 0)
    (True, 0)
    """
    faults: list[Fault] = []
    tables: dict[str, dict] = {}
    places: dict[tuple[str, object], str] = {}
    for kind in EXTRA:
        tables[kind.table] = {}
        for folder in folders:
            path = Path(folder) / f"{kind.table}.csv"
            if path.exists():
                tables[kind.table], wrong, where = read_table(path, kind)
                faults += wrong
                places = {key: place for key, place in places.items() if key[0] != kind.table}
                places |= {(kind.table, key): place for key, place in where.items()}
    faults += _strangers(tables, places, catalogue.parts)
    if faults:
        raise BadInput(faults)

    def place(row: Row) -> str:
        key = key_of(row)
        return places.get((row.table, key)) or catalogue.places.get((row.table, key), "")

    return Market(
        catalogue.parts,
        tuple(catalogue.offers.values()),
        catalogue.suppliers,
        tuple(tables["substitutes"].values()),
        tuple(tables["kits"].values()),
        {row.part: row.quantity for row in tables["stock"].values()},
        place,
    )


def _strangers(tables: Mapping[str, Mapping], places: Mapping, parts: Mapping) -> Iterable[Fault]:
    """Parts in the further tables that the table of parts does not have, and rows of no use."""
    for kind in EXTRA:
        columns = [name for name in ("part", "instead", "kit") if name in kind.model_fields]
        for key, row in tables[kind.table].items():
            at = file_and_row(places[kind.table, key])
            for column in columns:
                name = getattr(row, column)
                if name not in parts:
                    yield Fault(f'"{name}" is not in parts.csv.', one_of(name, parts), *at,
                                column)
            if len({getattr(row, column) for column in columns}) < len(columns):
                yield Fault(f'"{row.part}" stands for itself.', "Name another part, or delete "
                            "the row.", *at, columns[-1])


def on_shelf(market: Market, part: str) -> int:
    """Whole units of a part in stock."""
    return int(market.stock.get(part, 0.0) + 1e-6)


__all__ = ["EXTRA", "Content", "Market", "Stock", "Substitute", "market"]
