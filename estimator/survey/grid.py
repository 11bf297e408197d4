"""Rows of cells as a file held them, and what kind of file it should be."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NoReturn

from estimator.errors import Fault, one_of
from estimator.survey.cells import Cell, shown
from estimator.survey.names import tight
from estimator.textfiles import MOST_FAULTS, refuse

MAX_ROWS = 5_000
HEADER_WITHIN = 60
"""The header stands among so many rows at the top that are not blank, …"""
HEADER_ABOVE = 1_000
"""… and among so many with blank ones."""

Row = tuple[int, Sequence[Cell]]
"""A row's number as a spreadsheet counts it, from 1, and its cells."""


@dataclass(frozen=True)
class Kind:
    """What a file should be.

    Parameters
    ----------
    name
        What messages call it.
    columns_named
        How many columns of its kind a row names: the header is the row that names them.
    wanted
        Columns that its header must name, for messages.
    sheet
        Name of the sheet of a workbook that is read before any other; blank for none.
    most
        So many rows are allowed.

    Examples
    --------
    >>> Kind("auction list", len, ("lot", "value")).one
    'an auction list'
    """

    name: str
    columns_named: Callable[[Sequence[Cell]], int]
    wanted: tuple[str, ...]
    sheet: str = ""
    most: int = MAX_ROWS

    @property
    def one(self) -> str:
        """One of its kind: a survey, an auction list."""
        return f"{'an' if self.name[0] in 'aeiou' else 'a'} {self.name}"


@dataclass(frozen=True)
class Sheet:
    """Rows that are not blank, and what the sheet is called where a file has several."""

    rows: tuple[Row, ...]
    name: str = ""


@dataclass(frozen=True)
class Sheets:
    """What a file holds: its lines, the machine facts of a survey if apart, and remarks on it."""

    lines: Sheet
    machine: Sheet | None = None
    notes: tuple[str, ...] = ()


def too_many_rows(file: str, row: int, kind: Kind) -> NoReturn:
    """Refuse a file at the row after the last one that is allowed."""
    refuse(file, f"There are more than {kind.most:,} rows.",
           f"Keep only the rows of the {kind.name}.", row)


def named_in(cells: Sequence[Cell], known: Mapping[str, str]) -> set[str]:
    """Which of the known columns a row names; `known` has them by their tight names.

    Examples
    --------
    >>> named_in(["Count", "", "rust below"], {"count": "count", "note": "note"})
    {'count'}
    """
    return {known[name] for cell in cells if isinstance(cell, str) and len(cell) < 40
            and (name := tight(cell)) in known}


def placed(header: Row, known: Mapping[str, str], of: str, file: str
           ) -> tuple[dict[str, int], list[Fault]]:
    """Where each column of a file that is `of` a kind stands; and what is wrong with its header.

    Examples
    --------
    >>> places, faults = placed((3, ["Day", "", "Hour"]), {"day": "day", "hours": "hours"},
    ...                         "a time sheet", "may.csv")
    >>> print(places, *faults)
    {'day': 0} may.csv, row 3, Hour: There is no column "Hour" in a time sheet. \
Did you mean "hours"? Rename or delete it.
    """
    row, cells = header
    names = dict.fromkeys(known.values())
    places: dict[str, int] = {}
    faults: list[Fault] = []
    for place, cell in enumerate(cells):
        if len(faults) >= MOST_FAULTS:
            break
        if isinstance(cell, str) and not cell.strip():
            continue
        read = shown(cell)[1:-1]
        column = known.get(tight(cell)) if isinstance(cell, str) else None
        if column is None:
            faults.append(Fault(f'There is no column "{read}" in {of}.',
                                f"{one_of(read, names)} Rename or delete it.", file, row, read))
        elif column in places:
            first = shown(cells[places[column]])
            faults.append(Fault(
                f'The column "{column}" stands there twice.' if tight(first) == tight(read)
                else f'{first} and "{read}" are one column, {column}.',
                "Keep one of the two.", file, row, column))
        else:
            places[column] = place
    return places, faults


def lacking(wanted: Iterable[str], places: Mapping[str, int], row: int, known: Mapping[str, str],
            file: str) -> list[Fault]:
    """Columns that the header in this row must name and does not.

    Examples
    --------
    >>> print(*lacking(["day"], {"hours": 0}, 1, {"day": "day", "hours": "hours"}, "may.csv"))
    may.csv, row 1, day: The column "day" is missing. Add it to the header: day, hours.
    """
    return [Fault(f'The column "{column}" is missing.',
                  f"Add it to the header: {', '.join(dict.fromkeys(known.values()))}.",
                  file, row, column)
            for column in wanted if column not in places]
