"""Tables on worksheets: columns with keys, rows with live formulas, a row of totals.

A formula names the columns of its own row in braces, `{low}`, and carries the value it has now, so
that a program that does not compute, such as a preview, shows it as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from estimator.documents.sheets import Book, Formula

_WORDS = ("text", "name", "note", "remark")
_ROW_HEIGHT = 15  # of one line, in points


@dataclass(frozen=True)
class Column:
    """A column: its key in formulas, header, style, width in letters, and whether to add it up."""

    key: str
    head: str
    style: str = "text"
    width: float = 12
    total: bool = False


class Table:
    """A table written on a sheet, and where its columns and totals stand.

    Parameters
    ----------
    top
        Row of the headers, the sheet's first row being 0.
    main
        Does the table set the sheet's widths and stay in sight while it is rolled?
    above
        The table that does, where this one stands below it: its columns are used, and made wider
        where amounts would not fit.
    """

    def __init__(
        self,
        book: Book,
        sheet,
        columns: Sequence[Column],
        rows: Iterable[Mapping[str, object]],
        *,
        top: int = 3,
        main: bool = True,
        above: Table | None = None,
    ):
        self.sheet_name = f"'{sheet.name}'" if " " in sheet.name else sheet.name
        if above is not None:
            columns = [replace(column, width=width)
                       for column, width in zip(columns, above.widths, strict=False)]
        self.places = {column.key: place for place, column in enumerate(columns)}
        self._letters = {key: _cell(0, place)[:-1] for key, place in self.places.items()}
        self.first = top + 1
        self._columns = columns
        values = {column.key: [] for column in columns}
        here = self.first
        for row in rows:
            self._row(book, sheet, here, row, values)
            here += 1
        if here == self.first:
            book.put(sheet, here, 0, "None.", "name")
            here += 1
        self.last = here - 1
        self._sums = {
            column.key: math.fsum(values[column.key]) for column in columns if column.total
        }
        self.end = here + 1 if self._sums else here
        self._head(book, sheet, top)
        if self._sums:
            self._totals(book, sheet, here)
        if main and above is None:
            self._set_up(sheet, top)
        if main or above is not None:
            self.widths = [self._width(book, column, values[column.key]) for column in columns]
            for place, width in enumerate(self.widths):
                sheet.set_column(place, place, width)

    def range(self, key: str) -> str:
        """Where a column's values stand, for a formula on any sheet."""
        place = self.places[key]
        return (
            f"{self.sheet_name}!{_cell(self.first, place, fixed=True)}:"
            f"{_cell(self.last, place, fixed=True)}"
        )

    def cell(self, key: str, row: int) -> str:
        """Where the value of one row stands, the first row being 0."""
        return f"{self.sheet_name}!{_cell(self.first + row, self.places[key], fixed=True)}"

    def total(self, key: str) -> Formula:
        """The total of a column, as a formula for any sheet."""
        place = _cell(self.last + 1, self.places[key], fixed=True)
        return Formula(f"{self.sheet_name}!{place}", self._sums[key])

    def _row(self, book: Book, sheet, here: int, row: Mapping, values: dict) -> None:
        cells = {key: f"{letters}{here + 1}" for key, letters in self._letters.items()}
        deep = 1
        for place, column in enumerate(self._columns):
            value = row.get(column.key)
            if isinstance(value, Formula):
                value = Formula(value.text.format(**cells), value.value)
            values[column.key].append(book.put(sheet, here, place, value, column.style))
            if isinstance(value, str) and column.style in ("text", "note"):
                deep = max(deep, _lines(value, column.width))
        if deep > 1:
            # Not every program lets a row grow with its text.
            sheet.set_row(here, _ROW_HEIGHT * min(deep, 27))

    def _head(self, book: Book, sheet, top: int) -> None:
        deep = 1
        for place, column in enumerate(self._columns):
            words = column.style in _WORDS
            style = ("head text" if place else "head") if words else "head right"
            sheet.write_string(top, place, column.head, book.styles[style])
            deep = max(deep, _lines(column.head, column.width))
        sheet.set_row(top, _ROW_HEIGHT * deep)

    def _totals(self, book: Book, sheet, here: int) -> None:
        for place, column in enumerate(self._columns):
            if column.total:
                span = f"{_cell(self.first, place)}:{_cell(self.last, place)}"
                value = Formula(f"SUM({span})", self._sums[column.key])
                book.put(sheet, here, place, value, f"{column.style} total")
            elif place == 0:
                book.put(sheet, here, place, "Total", "name total")
            else:
                book.put(sheet, here, place, None, f"{column.style} total")

    def _set_up(self, sheet, top: int) -> None:
        sheet.freeze_panes(top + 1, 0)
        sheet.repeat_rows(top)
        # Remarks at the end are for the screen; on paper they would make all else small.
        shown = [p for p, column in enumerate(self._columns) if column.style != "remark"]
        if shown[-1] < len(self._columns) - 1:
            sheet.print_area(0, 0, self.end, shown[-1])

    def _width(self, book: Book, column: Column, values: Sequence[float]) -> float:
        if column.style != "money":
            return column.width
        figures = [*values, self._sums.get(column.key, 0.0)]
        return max(column.width, book.money_width(max(map(abs, figures))))


def _lines(said: str, width: float) -> int:
    """Lines that a text takes in a column, roughly: words do not fill a line to its end."""
    return sum(max(1, math.ceil(len(part) / (width - 1))) for part in said.split("\n"))


def _cell(row: int, column: int, *, fixed: bool = False) -> str:
    from xlsxwriter.utility import xl_rowcol_to_cell

    return xl_rowcol_to_cell(row, column, row_abs=fixed, col_abs=fixed)
