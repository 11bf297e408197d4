"""Rows of cells as a file held them, and what kind of file it should be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NoReturn

from estimator.errors import BadInput, Fault
from estimator.survey.cells import Cell

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


def refuse(file: str, what: str, fix: str, row: int | None = None) -> NoReturn:
    """Raise BadInput with one fault of a whole file or row."""
    raise BadInput(Fault(what, fix, file, row)) from None


def too_many_rows(file: str, row: int, kind: Kind) -> NoReturn:
    """Refuse a file at the row after the last one that is allowed."""
    refuse(file, f"There are more than {kind.most:,} rows.",
           f"Keep only the rows of the {kind.name}.", row)
