"""Rows of cells as a file held them, and how many of them a survey may have."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NoReturn

from estimator.errors import BadInput, Fault
from estimator.survey.cells import Cell

MAX_ROWS = 5_000
HEADER_WITHIN = 60
"""The header stands among so many rows at the top."""

Row = tuple[int, Sequence[Cell]]
"""A row's number as a spreadsheet counts it, from 1, and its cells."""

CountsColumns = Callable[[Sequence[Cell]], int]
"""Says how many columns of a survey a row names: the header is the row that names them."""


@dataclass(frozen=True)
class Sheet:
    """Rows that are not blank, and what the sheet is called where a file has several."""

    rows: tuple[Row, ...]
    name: str = ""


@dataclass(frozen=True)
class Sheets:
    """What a file holds of a survey: its lines, its machine facts if apart, and remarks on it."""

    lines: Sheet
    machine: Sheet | None = None
    notes: tuple[str, ...] = ()


def refuse(file: str, what: str, fix: str, row: int | None = None) -> NoReturn:
    """Raise BadInput with one fault of a whole file or row."""
    raise BadInput(Fault(what, fix, file, row)) from None


def too_many_rows(file: str, row: int, most: int = MAX_ROWS) -> NoReturn:
    """Refuse a file at the row after the last one that is allowed."""
    refuse(file, f"There are more than {most:,} rows.", "Keep only the rows that belong to it.",
           row)
