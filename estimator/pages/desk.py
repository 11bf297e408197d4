"""What lies on the desk while a quote is made: the machine, its lines, the choices.

Plain records and functions: the page shows a desk and replaces it with a changed one, the ledger
keeps it as JSON, the quote is computed from it. Nothing here knows a browser.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import date

from estimator.catalogue import Catalogue, Certainty, Condition, Era, Level
from estimator.errors import BadInput, Fault, quoted
from estimator.quote import FIXED, TIME, Choices
from estimator.survey import Line, Machine, Survey
from estimator.survey.cells import Wrong, number, size, text, whole
from estimator.survey.parsing import MAX_AREA_CM2, MAX_LENGTH_MM

SCHEMA = 1
LINE_COLUMNS = ("count", "condition", "certainty", "length_mm", "area_cm2", "note")
MOST_LINES = 5_000
MOST_MONEY = 10_000_000


@dataclass(frozen=True)
class _Entry:
    """One line of the survey on the desk.

    `id` stays with the line as long as the desk lives, whatever is added or removed around it;
    `keep` is False where the customer leaves the line out; `worth` is what the line is worth to
    them, None for its price. [money]
    """

    id: int
    line: Line
    keep: bool = True
    worth: float | None = None


@dataclass(frozen=True)
class Desk:
    """A quote in the making.

    Parameters
    ----------
    confidence, margin
        Shares; None takes the shop's. [–]
    extras
        Names of the extras taken.
    budget, ready_by
        What the customer has in mind: a price before tax, and a day. They change no figure.

    Examples
    --------
    >>> survey = Survey(Machine(era=Era.DOT_MATRIX), (Line("flipper", 2, Condition.WORN),))
    >>> desk = of_survey(survey)
    >>> desk.survey().lines == survey.lines, desk.choices().level
    (True, <Level.SHOP_JOB: 'shop-job'>)
    """

    machine: Machine = field(default_factory=Machine)
    entries: tuple[_Entry, ...] = ()
    level: Level = Level.SHOP_JOB
    pricing: str = FIXED
    confidence: float | None = None
    margin: float | None = None
    extras: tuple[str, ...] = ()
    budget: float | None = None
    ready_by: date | None = None

    def priced(self) -> Desk:
        """The desk without what changes no figure: words about the machine, and wishes."""
        return replace(self, machine=Machine(era=self.machine.era), budget=None, ready_by=None,
                       entries=tuple(replace(entry, worth=None) for entry in self.entries))

    def survey(self) -> Survey:
        """The survey as it stands."""
        return Survey(self.machine, tuple(entry.line for entry in self.entries))

    def choices(self) -> Choices:
        """What is asked for."""
        return Choices(
            level=self.level, pricing=self.pricing, confidence=self.confidence,
            margin=self.margin, added=tuple((name, 1) for name in self.extras),
            dropped=frozenset(i for i, entry in enumerate(self.entries) if not entry.keep),
        )

    @property
    def title(self) -> str:
        """What the draft is listed under: the machine, and whose it is."""
        machine = self.machine
        said = ", ".join((machine.title or "Untitled machine", *filter(None, (machine.maker,
                                                                             machine.year))))
        return f"{said} – {machine.customer}" if machine.customer else said

    def numbered(self) -> Mapping[int, int]:
        """Index of each entry's survey line, by id."""
        return {entry.id: index for index, entry in enumerate(self.entries)}


def of_survey(survey: Survey) -> Desk:
    """A desk with a survey on it and the usual choices."""
    return Desk(survey.machine, tuple(_Entry(i, line) for i, line in enumerate(survey.lines, 1)))


def edited(desk: Desk, edits: Iterable[Sequence], catalogue: Catalogue
           ) -> tuple[Desk, Mapping[int, Mapping[str, str]]]:
    """The desk after edits `(id, column, value)`, and what was wrong, by id and column.

    A wrong value leaves its line as it was. An edit of a line that is gone does nothing: it was
    on its way when the line was removed.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> desk = of_survey(Survey(Machine(), (Line("flipper", 2, Condition.WORN),)))
    >>> desk, wrong = edited(desk, [(1, "count", "3"), (1, "condition", "wron")], load())
    >>> desk.entries[0].line.count, list(wrong[1])
    (3, ['condition'])
    """
    entries = {entry.id: entry for entry in desk.entries}
    wrong: dict[int, dict[str, str]] = {}
    for key, column, value in edits:
        if key not in entries:
            continue
        try:
            entries[key] = _changed(entries[key], column, value, catalogue)
        except Wrong as fault:
            wrong.setdefault(key, {})[column] = str(fault)
    return replace(desk, entries=tuple(entries.values())), wrong


def _changed(entry: _Entry, column: str, value, catalogue: Catalogue) -> _Entry:
    if column == "keep":
        assembly = catalogue.assemblies[entry.line.assembly]
        if not (value or assembly.droppable):
            raise Wrong(f"{assembly.name} cannot be left out.",
                        "The rest of the work depends on it.")
        return replace(entry, keep=bool(value))
    said = value if isinstance(value, int | float) else str(value)
    if column == "count":
        found = whole(said)
    elif column == "condition":
        found = _member(Condition, said)
    elif column == "certainty":
        found = _member(Certainty, said)
    elif column == "length_mm":
        found = size(said, "mm", MAX_LENGTH_MM)
    elif column == "area_cm2":
        found = size(said, "cm²", MAX_AREA_CM2)
    elif column == "note":
        found = text(said)
    else:
        raise Wrong(f'There is no column "{column}".')
    return replace(entry, line=replace(entry.line, **{column: found}))


def _member(kind, said: str):
    if not said:
        return None
    try:
        return kind(said)
    except ValueError:
        raise Wrong(f"{quoted(said)} is not a {kind.__name__.casefold()}.",
                    f"Allowed: {', '.join(kind)}.") from None


def with_wishes(desk: Desk, budget: str, ready_by: date | None) -> Desk:
    """The desk with a budget as it was typed and a day.

    Raises
    ------
    Wrong
        If the budget is not an amount over 0.
    """
    return replace(desk, budget=_amount(budget, "The budget", over=True), ready_by=ready_by)


def with_worth(desk: Desk, key: int, said: str) -> Desk:
    """The desk with what one line is worth, as it was typed; blank for its price.

    Raises
    ------
    Wrong
        If it is not an amount of 0 or more.
    """
    value = _amount(said, "What a line is worth")
    return replace(desk, entries=tuple(replace(entry, worth=value) if entry.id == key else entry
                                       for entry in desk.entries))


def _amount(said: str, what: str, over: bool = False) -> float | None:
    if not said.strip():
        return None
    found = number(said, "1500")
    if not (found > 0 if over else found >= 0) or found > MOST_MONEY:
        least = "over 0" if over else "0 or more"
        raise Wrong(f"{what} is {found:,g}; it must be {least}, and at most {MOST_MONEY:,}.",
                    "Leave it blank if there is none.")
    return found


def with_line(desk: Desk, assembly: str, catalogue: Catalogue) -> tuple[Desk, int]:
    """The desk with a blank line for an assembly at its end, and the line's id."""
    row = catalogue.assemblies.get(assembly)
    if row is None or row.extra:
        raise BadInput(Fault(f'"{assembly}" is not an assembly of a survey.',
                             "Choose one from the list."))
    if len(desk.entries) >= MOST_LINES:
        raise BadInput(Fault(f"A survey has at most {MOST_LINES:,} lines.", "Remove one first."))
    key = max((entry.id for entry in desk.entries), default=0) + 1
    return replace(desk, entries=(*desk.entries, _Entry(key, Line(assembly)))), key


def without_line(desk: Desk, key: int) -> Desk:
    """The desk without one line."""
    return replace(desk, entries=tuple(e for e in desk.entries if e.id != key))


def as_json(desk: Desk) -> dict:
    """The desk as the ledger keeps it."""
    machine = {name: value for name, value in asdict(desk.machine).items() if value}
    lines = []
    for entry in desk.entries:
        said = {"assembly": entry.line.assembly, "count": entry.line.count}
        said |= {name: value for name in LINE_COLUMNS[1:]
                 if (value := getattr(entry.line, name)) not in (None, "")}
        said |= {} if entry.keep else {"keep": False}
        lines.append(said if entry.worth is None else {**said, "worth": entry.worth})
    return {"schema": SCHEMA, "machine": machine, "lines": lines, "level": str(desk.level),
            "pricing": desk.pricing, "confidence": desk.confidence, "margin": desk.margin,
            "extras": list(desk.extras),
            **({} if desk.budget is None else {"budget": desk.budget}),
            **({} if desk.ready_by is None else {"ready_by": desk.ready_by.isoformat()})}


def from_json(content: Mapping, catalogue: Catalogue) -> tuple[Desk, tuple[Fault, ...]]:
    """The desk that `as_json` described, and what of it had to be left out.

    The shop's tables may have changed since: a line whose assembly is gone is left out and
    named, for a draft that does not open helps nobody.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> desk = of_survey(Survey(Machine("Comet"), (Line("flipper", 2, Condition.WORN),)))
    >>> from_json(as_json(desk), load()) == (desk, ())
    True
    """
    faults: list[Fault] = []

    def tried(make, value, name: str):
        try:
            return None if value is None else make(value)
        except (ValueError, TypeError, KeyError, ArithmeticError):
            faults.append(Fault(f"The draft says {quoted(value)} for {name}; that is not known any "
                                "more.", "It was left out."))
            return None

    said = _mapping(content.get("machine"))
    known = {column.name for column in fields(Machine)} - {"era"}
    machine = Machine(era=tried(Era, said.get("era") or None, "the era"),
                      **{name: tried(text, value if isinstance(value, str) else str(value),
                                     f"the {name}") or ""
                         for name, value in said.items() if name in known})
    entries = []
    for row in map(_mapping, _list(content.get("lines"))[:MOST_LINES]):
        assembly = str(row.get("assembly"))
        if assembly not in catalogue.assemblies or catalogue.assemblies[assembly].extra:
            faults.append(Fault(f"The draft has a line {quoted(assembly)}, which is not in the "
                                "tables any more.",
                                "It was left out; add another if it is needed."))
            continue
        entry = _Entry(len(entries) + 1, Line(assembly, None, None, None))
        for column in LINE_COLUMNS:
            entry = tried(lambda v, e=entry, c=column: _changed(e, c, v, catalogue),
                          row.get(column), f"{column} of {assembly}") or entry
        if not row.get("keep", True):
            entry = tried(lambda v, e=entry: _changed(e, "keep", v, catalogue), False,
                          f"keeping {assembly}") or entry
        entries.append(replace(entry, worth=tried(_kept_amount, row.get("worth"),
                                                  f"the worth of {assembly}")))
    extras = [name for name in map(str, _list(content.get("extras")))
              if name in catalogue.assemblies and catalogue.assemblies[name].extra]
    pricing = content.get("pricing")
    return Desk(
        machine, tuple(entries),
        tried(Level, content.get("level") or None, "the service level") or Level.SHOP_JOB,
        pricing if pricing in (FIXED, TIME) else FIXED,
        tried(_kept_share, content.get("confidence"), "the confidence"),
        tried(_kept_share, content.get("margin"), "the margin"), tuple(extras),
        tried(_kept_amount, content.get("budget") or None, "the budget"),
        tried(date.fromisoformat, content.get("ready_by") or None, "the day"),
    ), tuple(faults)


def _mapping(value) -> Mapping:
    return value if isinstance(value, Mapping) else {}


def _list(value) -> list:
    return value if isinstance(value, list) else []


def _kept_amount(value) -> float:
    if not 0 <= float(value) <= MOST_MONEY:
        raise ValueError
    return float(value)


def _kept_share(value) -> float:
    if not 0 <= float(value) < 1:
        raise ValueError
    return float(value)
