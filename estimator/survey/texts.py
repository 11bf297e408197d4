"""From CSV text to rows of cells: how it is encoded and how its cells are parted."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator

from estimator.errors import BadInput
from estimator.outside import unguarded
from estimator.survey.grid import (
    HEADER_ABOVE,
    HEADER_WITHIN,
    Kind,
    Row,
    Sheet,
    Sheets,
    too_many_rows,
)
from estimator.textfiles import csv_rows, refuse

_LINE_END = re.compile("\r\n?|\n")


def sheets(data: bytes, file: str, kind: Kind) -> Sheets:
    """The rows of a CSV file's bytes, parted where its header is parted best.

    Examples
    --------
    >>> kind = Kind("survey", lambda row: len({"assembly", "count"} & set(row)), ("assembly",))
    >>> sheets(b"assembly,count\\nflipper,2\\n", "survey.csv", kind).lines.rows
    ((1, ('assembly', 'count')), (2, ('flipper', '2')))
    """
    said, note = _decoded(data, file)
    return Sheets(_parted(said, file, kind), notes=(note,) if note else ())


def _decoded(data: bytes, name: str) -> tuple[str, str]:
    """The file's text, and a remark where the encoding had to be guessed.

    UTF-8 with or without its mark, UTF-16 with its mark, else Windows-1252.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            said, note = data.decode("utf-16"), ""
        except UnicodeDecodeError:
            refuse(name, "The file begins as UTF-16 text and breaks off.",
                   "Save it again as CSV UTF-8.")
    else:
        try:
            said, note = data.decode("utf-8-sig"), ""
        except UnicodeDecodeError:
            said, note = _windows(data, name)
    zero = said.find("\0")
    if zero >= 0:
        refuse(name, "The file holds zero bytes, so it is no plain text.",
               "Save it again as CSV UTF-8.", _line_of(said[:zero]))
    return said, note


def _windows(data: bytes, name: str) -> tuple[str, str]:
    try:
        said = data.decode("cp1252")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("latin-1")
        refuse(name, f"The byte {data[error.start]:#04x} is neither UTF-8 nor Windows-1252 text.",
               "Save it again as CSV UTF-8.", _line_of(before))
    return said, (f"{name} is not UTF-8 and was read as Windows-1252: look whether letters with "
                  "accents came out right.")


def _line_of(before: str) -> int:
    return len(_LINE_END.findall(before)) + 1


def _parted(said: str, name: str, kind: Kind) -> Sheet:
    def named(mark: str) -> int:
        """Columns that the best row at the top names when parted at `mark`."""
        try:
            top = itertools.islice(_cells(said, mark, name, HEADER_ABOVE), HEADER_WITHIN)
            return max((kind.columns_named(cells) for _, cells in top), default=0)
        except BadInput:
            return 0

    mark = max(",;\t", key=named)
    rows = []
    for row in _cells(said, mark, name):
        rows.append(row)
        if len(rows) > kind.most:
            too_many_rows(name, row[0], kind)
    return Sheet(tuple(rows))


def _cells(said: str, mark: str, name: str, last: int | None = None) -> Iterator[Row]:
    """Rows that are not blank, numbered as a spreadsheet does: a quoted line end is no new row."""
    for number, cells in csv_rows(said, name, mark):
        if last is not None and number > last:
            return
        if any(cell and not cell.isspace() for cell in cells):
            yield number, tuple(map(unguarded, cells))
