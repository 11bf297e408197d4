"""From an XLSX workbook to rows of cells, without trusting what it says of itself."""

from __future__ import annotations

import datetime
import io
import warnings
import zipfile

from estimator.errors import BadInput
from estimator.survey.cells import Cell, Odd
from estimator.survey.grid import (
    HEADER_WITHIN,
    MAX_ROWS,
    CountsColumns,
    Row,
    Sheet,
    Sheets,
    refuse,
    too_many_rows,
)

MAX_UNPACKED = 64 * 2**20
MAX_CELLS = 200_000
LAST_ROW = 1_048_576
"""Rows that a workbook's sheet can have."""

_NEW = "Copy the survey's rows into a new workbook."
_AGAIN = "Open it in the spreadsheet and save it again as XLSX, or as CSV."


def sheets(data: bytes, name: str, columns_named: CountsColumns, most: int = MAX_ROWS) -> Sheets:
    """The sheets "survey" and "machine" of a workbook.

    Where none is called "survey", the first one with a header row of a survey. At most `most`
    rows.

    Raises
    ------
    BadInput
        A workbook that is damaged, unpacks to over 64 MB, or has no such sheet.
    """
    _unpacks_safely(data, name)
    import openpyxl

    try:
        with warnings.catch_warnings():
            # It warns of styles and extensions that it drops; nothing of them is read here.
            warnings.simplefilter("ignore")
            # Formulas are wanted as such: their remembered results may be stale.
            book = openpyxl.load_workbook(
                io.BytesIO(data), read_only=True, data_only=False, keep_links=False
            )
            return _choose(book, name, columns_named, most)
    except BadInput:
        raise
    except Exception:
        # The parser lets through whatever a damaged part makes it stumble on.
        refuse(name, "The workbook is damaged and cannot be read.", _AGAIN)


def _unpacks_safely(data: bytes, name: str) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            # A part that unpacks to more than it declares is cut short there and fails its check.
            size = sum(part.file_size for part in parts)
            if size > MAX_UNPACKED:
                refuse(name, f"The workbook unpacks to {size / 2**20:,.0f} MB; "
                             f"{MAX_UNPACKED // 2**20} MB are allowed.", _NEW)
            declares = any(
                b"<!DOCTYPE" in archive.read(part) or b"<!ENTITY" in archive.read(part)
                for part in parts if part.filename.endswith((".xml", ".rels"))
            )
    except BadInput:
        raise
    except Exception:
        refuse(name, "The workbook is damaged and cannot be unpacked.", _AGAIN)
    if declares:
        refuse(name, "The workbook declares entities, which no spreadsheet writes.", _NEW)


def _choose(book, name: str, columns_named: CountsColumns, most: int) -> Sheets:
    called = {sheet.title.strip().casefold(): sheet for sheet in reversed(book.worksheets)}
    chosen = called.get("survey") or next(
        (sheet for sheet in book.worksheets
         if any(columns_named(cells) >= 2 for _, cells in _rows(sheet, name, HEADER_WITHIN))),
        None,
    )
    if chosen is None:
        titles = ", ".join(f'"{sheet.title[:31]}"' for sheet in book.worksheets[:8]) or "none"
        refuse(name, "No sheet is called survey, and none has a header row with assembly, count, "
                     f"condition and certainty. Sheets found: {titles}.",
               'Call the sheet with the lines "survey".')
    facts = called.get("machine")
    return Sheets(
        Sheet(tuple(_rows(chosen, name, most=most)), chosen.title),
        Sheet(tuple(_rows(facts, name)), facts.title)
        if facts is not None and facts is not chosen else None,
    )


def _rows(sheet, name: str, at_most: int | None = None, most: int = MAX_ROWS) -> list[Row]:
    """The sheet's rows that are not blank; the first ones where `at_most` says how many."""
    # A sheet may claim any size; its cells are counted instead.
    sheet.reset_dimensions()
    rows: list[Row] = []
    cells_seen = 0
    for number, found in enumerate(sheet.iter_rows(), start=1):
        cells_seen += len(found)
        if number > LAST_ROW or cells_seen > max(MAX_CELLS, 40 * most):
            refuse(name, f'The sheet "{sheet.title[:31]}" is far bigger than any survey.', _NEW,
                   min(number, LAST_ROW))
        cells = [_cell(cell) for cell in found]
        if not any(not isinstance(cell, str) or cell.strip() for cell in cells):
            continue
        if len(rows) == at_most:
            break
        if len(rows) == most:
            too_many_rows(name, number, most)
        rows.append((number, cells))
    return rows


def _cell(cell) -> Cell:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "f":
        return Odd("a formula", "Paste its value instead.")
    if cell.data_type == "e":
        return Odd(f"the error {str(value)[:20]}", "Type the value.")
    if isinstance(value, bool):
        return Odd(str(value).upper(), "Type the value.", str(value).upper())
    if isinstance(value, str | int | float):
        return value
    said = str(value)
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        said = value.date().isoformat()
    return Odd(f"a date or time ({said})",
               "Set the cell's format to number and type the figure again.", said)
