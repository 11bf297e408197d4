"""From rows of cells to a machine and its lines, or to every fault in them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields

from estimator.catalogue import Catalogue, Era
from estimator.errors import Fault, one_of
from estimator.survey import cells as cell_of
from estimator.survey.cells import Cell, Wrong, shown
from estimator.survey.grid import HEADER_WITHIN, Row, Sheet, Sheets, lacking, named_in, placed
from estimator.survey.names import Names, tight
from estimator.survey.records import Line, Machine, Survey
from estimator.textfiles import MOST_FAULTS, rest_unread

COLUMNS = ("assembly", "count", "condition", "certainty", "length_mm", "area_cm2", "note")
NEEDED = COLUMNS[:4]
FACTS = tuple(fact.name for fact in fields(Machine))
MAX_LENGTH_MM = 100_000
MAX_AREA_CM2 = 1_000_000

_COLUMN = {tight(column): column for column in COLUMNS}
_FACT = {tight(fact): fact for fact in FACTS}
_ERAS = f"Write one of {', '.join(Era)}."
_ONE_CELL = "Put text that holds a comma or semicolon in quotes."
_FILL_IN = {
    "count": "Count the pieces; write 0 where there is none.",
    "condition": "Grade it: fresh, light, worn, heavy, failed or missing.",
    "certainty": "Say how it was inspected: seen, assumed or hidden.",
}


def columns_named(cells: Sequence[Cell]) -> int:
    """How many columns of a survey a row names; 0 where it cannot be its header.

    Examples
    --------
    >>> columns_named(["Assembly", "COUNT", "Length (mm)"]), columns_named(["machine", "note"])
    (3, 0)
    >>> columns_named(["machine", "note", "Assembly"])
    0
    """
    if _is_fact(cells):
        return 0
    names = named_in(cells, _COLUMN)
    return len(names) if len(names) >= 2 or "assembly" in names else 0


def _is_fact(cells: Sequence[Cell]) -> bool:
    """Whether a row tells of the machine, whatever words it says."""
    return bool(cells) and isinstance(cells[0], str) and tight(cells[0]) == "machine"


def parse(
    sheets: Sheets, file: str, catalogue: Catalogue, *, final: bool
) -> tuple[Survey | None, tuple[Fault, ...]]:
    """The survey in the rows of a file, or None and every fault, by row.

    With `final`, the gaps of a draft are faults as well.
    """
    reader = _Reader(file, Names(catalogue), final)
    above, header, below = _split(sheets.lines.rows)
    if header is None:
        reader.no_header(sheets.lines)
        return None, tuple(reader.faults)
    machine = reader.machine(above, sheets.machine)
    lines = reader.lines(header, below)
    if reader.faults:
        # Stable: within a row, faults keep the order of its cells.
        return None, tuple(sorted(reader.faults, key=lambda fault: fault.row or 0))
    return Survey(machine, lines, file), ()


def _split(rows: Sequence[Row]) -> tuple[Sequence[Row], Row | None, Sequence[Row]]:
    """Rows above the header, the header, rows below it."""
    for place, (_, cells) in enumerate(rows[:HEADER_WITHIN]):
        if columns_named(cells):
            return rows[:place], rows[place], rows[place + 1:]
    return rows, None, ()


def _blank(cell: Cell) -> bool:
    return isinstance(cell, str) and not cell.strip()


@dataclass
class _Reader:
    """Gathers the faults of one file while it takes its rows apart."""

    file: str
    names: Names
    final: bool
    faults: list[Fault] = field(default_factory=list)

    def wrong(self, what: str, fix: str, row: int | None = None, column: str | None = None) -> None:
        if len(self.faults) < MOST_FAULTS:
            self.faults.append(Fault(what, fix, self.file, row, column))

    def take(self, how: Callable[[Cell], object], cell: Cell, row: int, column: str):
        """(value, was it fine) of a cell."""
        try:
            return how(cell), True
        except Wrong as wrong:
            self.wrong(wrong.what, wrong.fix, row, column)
            return None, False

    def no_header(self, lines: Sheet) -> None:
        sheet = f' in the sheet "{lines.name}"' if lines.name else ""
        if not lines.rows:
            self.wrong(f"There is nothing{sheet or ' in the file'}.",
                       "Fill in the survey, or start from a template.")
            return
        self.wrong(f"No header row was found{sheet}; it must name {', '.join(NEEDED)}.",
                   "Put it above the lines and below the machine facts.", lines.rows[0][0])

    # The machine

    def machine(self, above: Sequence[Row], sheet: Sheet | None) -> Machine:
        found: dict[str, object] = {}
        stray = 0
        for row, cells in above:
            if _is_fact(cells):
                self.fact(found, row, cells[1:], "")
            elif (stray := stray + 1) <= 10:
                first = next(cell for cell in cells if not _blank(cell))
                self.wrong(f"{shown(first)} is neither a machine fact nor the header row.",
                           "Begin the row with machine, as in machine,title,…, or delete it.", row)
        for row, cells in sheet.rows if sheet else ():
            self.fact(found, row, cells, f' in the sheet "{sheet.name}"')
        if self.final and "era" not in found:
            self.wrong("The machine's era is not given.",
                       f"Add a row machine,era,… above the header. {_ERAS}", None, "era")
        return Machine(**{fact: value for fact, value in found.items() if value})

    def fact(self, found: dict, row: int, cells: Sequence[Cell], where: str) -> None:
        name, value, *more = (*cells, "", "")
        read, fine = self.take(cell_of.text, name, row, f"machine{where}")
        if not fine or all(map(_blank, cells)):
            return
        fact = _FACT.get(tight(read))
        if fact is None:
            self.wrong(f"{shown(read)} is not a fact of the machine.", one_of(read, FACTS),
                       row, f"machine{where}")
            return
        column = f"{fact}{where}"
        if fact in found:
            self.wrong(f"The machine's {fact} is given twice.", "Keep one of the two.", row, column)
            return
        how = cell_of.if_any(self.names.era) if fact == "era" else cell_of.text
        found[fact], fine = self.take(how, value, row, column)
        if not all(map(_blank, more)):
            self.wrong(f"There is more than one cell after {fact}.", _ONE_CELL, row, column)
        elif fine and self.final and fact == "era" and not found[fact]:
            self.wrong("The machine's era is blank.", _ERAS, row, column)

    # The lines

    def lines(self, header: Row, below: Sequence[Row]) -> tuple[Line, ...]:
        places = self.columns(*header)
        headed = {place for place, cell in enumerate(header[1]) if not _blank(cell)}
        if not below:
            self.wrong("There is no line under the header.",
                       "Add a row for each assembly, or start from a template.", header[0])
        lines: list[Line] = []
        first: dict[tuple, int] = {}
        for row, cells in below if "assembly" in places else ():
            if len(self.faults) >= MOST_FAULTS:
                self.faults.append(rest_unread(self.file, row))
                break
            self.under_no_header(row, cells, headed)
            before = len(self.faults)
            line = self.line(row, cells, places)
            if line is not None:
                lines.append(line)
                if len(self.faults) == before:
                    self.repeated(first, line)
        return tuple(lines)

    def columns(self, row: int, cells: Sequence[Cell]) -> dict[str, int]:
        """Where each known column stands."""
        places, faults = placed((row, cells), _COLUMN, "a survey", self.file)
        faults += lacking(NEEDED, places, row, _COLUMN, self.file)
        self.faults += faults[:MOST_FAULTS - len(self.faults)]
        return places

    def under_no_header(self, row: int, cells: Sequence[Cell], headed: set[int]) -> None:
        stray = [cell for place, cell in enumerate(cells)
                 if place not in headed and not _blank(cell)]
        if stray:
            self.wrong(f"{shown(stray[0])} stands under no header.",
                       f"{_ONE_CELL} Decimals with a comma go in quotes too where commas part "
                       "the cells. Otherwise clear the cell.", row)

    def line(self, row: int, cells: Sequence[Cell], places: dict[str, int]) -> Line | None:
        """The line in a row; None where it names no assembly."""
        unread = set()

        def take(column: str, how: Callable[[Cell], object]):
            place = places.get(column, len(cells))
            value, fine = self.take(how, cells[place] if place < len(cells) else "", row, column)
            if not fine or column not in places:
                unread.add(column)
            return value

        if tight(str(cells[0])) == "machine":
            self.wrong("Machine facts stand above the header row.", "Move the row up.", row)
            return None
        assembly = take("assembly", cell_of.if_any(self.names.assembly))
        line = Line(
            assembly or "",
            take("count", cell_of.whole),
            take("condition", cell_of.if_any(self.names.condition)),
            take("certainty", cell_of.if_any(self.names.certainty)),
            take("length_mm", lambda cell: cell_of.size(cell, "mm", MAX_LENGTH_MM)),
            take("area_cm2", lambda cell: cell_of.size(cell, "cm²", MAX_AREA_CM2)),
            take("note", cell_of.text) or "",
            row=row,
        )
        if assembly is None and "assembly" not in unread:
            self.wrong("The row names no assembly.", "Name it, or delete the row.", row, "assembly")
        for column in line.gaps if self.final else ():
            if column not in unread:
                self.wrong("The cell is blank; a quote needs it.", _FILL_IN[column], row, column)
        return line if assembly else None

    def repeated(self, first: dict[tuple, int], line: Line) -> None:
        said = (line.assembly, line.condition, line.certainty, line.length_mm, line.area_cm2,
                line.note)
        earlier = first.setdefault(said, line.row)
        if earlier != line.row:
            self.wrong(f"The row repeats row {earlier} ({line.assembly}).",
                       "Add the counts together in one row, or write a note that tells the two "
                       "apart.", line.row)
