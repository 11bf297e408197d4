"""From an XLSX workbook to rows of cells, without trusting what it says of itself."""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile

from estimator.errors import BadInput, quoted
from estimator.survey.cells import Cell, Odd
from estimator.survey.grid import (
    HEADER_ABOVE,
    HEADER_WITHIN,
    Kind,
    Row,
    Sheet,
    Sheets,
    too_many_rows,
)
from estimator.textfiles import refuse

MAX_UNPACKED = 64 * 2**20
MAX_CELLS = 200_000
MAX_SHEETS = 200
MAX_PARTS = 2_000
MAX_BESIDES = 2 * 2**20
"""Formats, names, rules and the like: all that is no cell. [bytes]"""
LAST_ROW = 1_048_576
"""Rows that a workbook's sheet can have."""
MOST_IN_CELL = 32_767
"""Characters that a cell of a workbook can hold."""
_TAGS_PER_CELL = 8

_XML = re.compile(rb"(?:\xef\xbb\xbf)?\s*<|\xff\xfe|\xfe\xff|<\0|\0<")
_CODED = re.compile(rb"\s*<\?xml[^>]{0,80}encoding\s*=\s*[\"'](?!utf-8[\"'])", re.IGNORECASE)
_SHEET = re.compile(rb"<(?:\w+:)?sheet\s")
_PLACE = re.compile(rb"<(?:\w+:)?(?:row|c)\b[^<>]*?\sr\s*=\s*[\"']([A-Za-z]*)([0-9]+)[\"']")
# Elements that make up cells and texts, with what stands in them.
_CELLS = re.compile(rb"<(?:\w+:)?(?:row|c|v|f|is|si|t|r)\b[^<>]*>[^<]*|</[^<>]*>[^<]*")

_NEW = "Copy the rows that belong to it into a new workbook."
_AGAIN = "Open it in the spreadsheet and save it again as XLSX, or as CSV."


def sheets(data: bytes, name: str, kind: Kind) -> Sheets:
    """The sheet of a workbook with rows of a kind, and the sheet "machine" beside it.

    The one that is called as the kind says, or else the first one with a header row of the kind.

    Raises
    ------
    BadInput
        A workbook that is damaged, unpacks to over 64 MB, or has no such sheet.
    """
    _unpacks_safely(data, name, kind)
    import openpyxl

    try:
        with warnings.catch_warnings():
            # It warns of styles and extensions that it drops; nothing of them is read here.
            warnings.simplefilter("ignore")
            # Formulas are wanted as such: their remembered results may be stale.
            book = openpyxl.load_workbook(
                io.BytesIO(data), read_only=True, data_only=False, keep_links=False
            )
            return _choose(book, name, kind)
    except BadInput:
        raise
    except Exception:
        # The parser lets through whatever a damaged part makes it stumble on.
        refuse(name, "The workbook is damaged and cannot be read.", _AGAIN)


def _cells_allowed(kind: Kind) -> int:
    return max(MAX_CELLS, 15 * kind.most)


def _unpacks_safely(data: bytes, name: str, kind: Kind) -> None:
    """Refuse what would take the parser minutes or gigabytes: it believes whatever stands there."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            # A part that unpacks to more than it declares is cut short there and fails its check.
            size = sum(part.file_size for part in parts)
            if size > MAX_UNPACKED:
                refuse(name, f"The workbook unpacks to {size / 2**20:,.0f} MB; "
                             f"{MAX_UNPACKED // 2**20} MB are allowed.", _NEW)
            if len(parts) > MAX_PARTS:
                refuse(name, f"The workbook has {len(parts):,} parts; {MAX_PARTS:,} are allowed.",
                       _NEW)
            said = (archive.read(part) for part in parts)
            wrong = _harmful([part for part in said if _XML.match(part)], kind)
    except BadInput:
        raise
    except Exception:
        refuse(name, "The workbook is damaged and cannot be unpacked.", _AGAIN)
    if wrong:
        refuse(name, wrong, _NEW)


def _harmful(parts: list[bytes], kind: Kind) -> str:
    """What in parts of XML no spreadsheet writes, or no file of this kind needs; blank for none."""
    if any(b"<!DOCTYPE" in part or b"<!ENTITY" in part for part in parts):
        return "The workbook declares entities, which no spreadsheet writes."
    # In another coding, none of what is looked for here would be found.
    if any(b"\0" in part or _CODED.match(part) for part in parts):
        return "Parts of the workbook are not coded in UTF-8, as those of spreadsheets are."
    if sum(part.count(b"<") for part in parts) > _TAGS_PER_CELL * _cells_allowed(kind):
        return f"The workbook is far bigger than any {kind.name}."
    sheets = sum(len(_SHEET.findall(part)) for part in parts)
    if sheets > min(MAX_SHEETS, len(parts)):
        return f"The workbook has {sheets:,} sheets; {MAX_SHEETS} are allowed."
    besides = sum(len(_CELLS.sub(b"", part)) for part in parts)
    if besides > MAX_BESIDES:
        return (f"The workbook holds {besides / 2**20:,.0f} MB of formats, names and rules; "
                f"{MAX_BESIDES // 2**20} MB are allowed.")
    if not all(map(_in_order, parts)):
        return "The workbook is damaged: rows or cells of a sheet do not stand in their order."
    return ""


def _in_order(part: bytes) -> bool:
    """Whether rows and the cells of each go forward; the parser loses those that do not."""
    last_row, last_cell = 0, (0, b"")
    for found in _PLACE.finditer(part):
        letters, row = found[1].upper(), found[2]
        if not letters:
            if len(row) > 9 or int(row) <= last_row:
                return False
            last_row, last_cell = int(row), (0, b"")
        elif (len(letters), letters) <= last_cell:
            return False
        else:
            last_cell = len(letters), letters
    return True


def _choose(book, name: str, kind: Kind) -> Sheets:
    called = {sheet.title.strip().casefold(): sheet for sheet in reversed(book.worksheets)}
    chosen = called.get(kind.sheet) or next(
        (sheet for sheet in book.worksheets
         if any(kind.columns_named(cells) >= 2 for _, cells in _rows(sheet, name, kind, top=True))),
        None,
    )
    if chosen is None:
        titles = ", ".join(quoted(sheet.title) for sheet in book.worksheets[:8]) or "none"
        wanted = f"{', '.join(kind.wanted[:-1])} and {kind.wanted[-1]}"
        called_so = f"No sheet is called {kind.sheet}, and none" if kind.sheet else "No sheet"
        refuse(name, f"{called_so} has a header row with {wanted}. Sheets found: {titles}.",
               f'Call the sheet with the lines "{kind.sheet}".' if kind.sheet else
               "Write the names of the columns above the rows.")
    facts = called.get("machine") if kind.sheet else None
    return Sheets(
        Sheet(tuple(_rows(chosen, name, kind)), chosen.title),
        Sheet(tuple(_rows(facts, name, kind)), facts.title)
        if facts is not None and facts is not chosen else None,
    )


def _rows(sheet, name: str, kind: Kind, top: bool = False) -> list[Row]:
    """The sheet's rows that are not blank; with `top` those among which its header stands."""
    # A sheet may claim any size; its cells are counted instead.
    sheet.reset_dimensions()
    rows: list[Row] = []
    cells_seen = 0
    for number, found in enumerate(sheet.iter_rows(), start=1):
        if top and (number > HEADER_ABOVE or len(rows) == HEADER_WITHIN):
            break
        cells_seen += len(found)
        if number > LAST_ROW or cells_seen > _cells_allowed(kind):
            refuse(name, f"The sheet {quoted(sheet.title)} is far bigger than any {kind.name}.",
                   _NEW, min(number, LAST_ROW))
        cells = [_cell(cell) for cell in found]
        if not any(not isinstance(cell, str) or cell.strip() for cell in cells):
            continue
        if len(rows) == kind.most:
            too_many_rows(name, number, kind)
        rows.append((number, cells))
    return rows


def _cell(cell) -> Cell:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "f":
        return Odd("a formula", "Paste its value instead.")
    if cell.data_type == "e":
        return Odd(f"the error {quoted(value)[1:-1]}", "Type the value.")
    if isinstance(value, bool):
        return Odd(str(value).upper(), "Type the value.", str(value).upper())
    if isinstance(value, str) and len(value) > MOST_IN_CELL:
        return Odd(f"{len(value):,} characters, more than a cell can", "Shorten it.")
    if isinstance(value, str | int | float):
        return value
    said = str(value)
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        said = value.date().isoformat()
    return Odd(f"a date or time ({said})",
               "Set the cell's format to number and type the figure again.", said)
