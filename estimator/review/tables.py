"""One row of a shop's own table: found, written, put back; every other stays, byte for byte."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from estimator import disk
from estimator.catalogue import Row, read_table
from estimator.errors import BadInput, Fault


@dataclass(frozen=True)
class Table:
    """A table of the shop's own as it stands in its file; none is one without lines.

    Parameters
    ----------
    path
        Its file.
    kind
        What its rows are.
    lines
        Of the file, ends included.
    rows
        From which line to which, and the cells; the first is the header.
    """

    path: Path
    kind: type[Row]
    lines: tuple[str, ...]
    rows: tuple[tuple[tuple[int, int], tuple[str, ...]], ...]

    @property
    def header(self) -> tuple[str, ...]:
        """Names of the columns; those of the kind where there is no table yet."""
        if not self.rows:
            own = [name for name in self.kind.model_fields if name not in Row.model_fields]
            return (*own, *Row.model_fields)
        return tuple(cell.strip().removeprefix("\ufeff") for cell in self.rows[0][1])

    def place(self, key: str) -> tuple[int, int] | None:
        """From which line to which a row stands; None if it does not."""
        for place, cells in self.rows[1:]:
            if self._key(cells) == key:
                return place
        return None

    def text(self, key: str) -> str:
        """A row as it stands, with its line end; blank where there is none."""
        place = self.place(key)
        return "" if place is None else "".join(self.lines[slice(*place)])

    def cells(self, key: str) -> dict[str, str]:
        """A row by column; empty where there is none."""
        for _, cells in self.rows[1:]:
            if self._key(cells) == key:
                return dict(zip(self.header, cells, strict=False))
        return {}

    def line(self, cells: Mapping[str, str]) -> str:
        """A row as CSV in the order of the header, with the line end of this table."""
        return _line([cells.get(column, "") for column in self.header], self._end)

    def with_row(self, key: str, row: str) -> str | None:
        """The whole text with `row` in this key's place, at the end where it has none.

        A blank row takes it out; None where then nothing but the header would be left.
        """
        place, lines = self.place(key), list(self.lines)
        if place is not None:
            lines[slice(*place)] = [row] if row else []
        elif row:
            if not lines:
                lines = [_line(self.header, self._end)]
            elif not lines[-1].endswith(("\r", "\n")):
                lines[-1] += self._end
            lines.append(row)
        return "".join(lines) if len(lines) > 1 else None

    def _key(self, cells: Sequence[str]) -> str:
        said = {column: cell.strip() for column, cell in zip(self.header, cells, strict=False)}
        return "/".join(filter(None, (said.get(column, "") for column in self.kind.key)))

    @property
    def _end(self) -> str:
        first = self.lines[0] if self.lines else "\n"
        return first[len(first.rstrip("\r\n")):] or "\n"


def table_of(path: Path, kind: type[Row]) -> Table:
    """The table as it stands; without lines where there is no file."""
    if not path.is_file():
        return Table(path, kind, (), ())
    lines = list(io.StringIO(path.read_bytes().decode("utf-8"), newline=""))
    reader, rows, start = csv.reader(lines), [], 0
    for cells in reader:
        rows.append(((start, reader.line_num), tuple(cells)))
        start = reader.line_num
    return Table(path, kind, tuple(lines), tuple(rows))


def checked(table: Table, text: str | None, key: str) -> str:
    """Where the row of `key` would stand if the table's text were this; blank if nowhere.

    Raises
    ------
    BadInput
        If the table would not be valid then.
    """
    if text is None:
        return ""
    with disk.aside(table.path.parent) as made:
        part = made / table.path.name
        part.write_bytes(text.encode("utf-8"))
        _, faults, where = read_table(part, table.kind)
    if faults:
        raise BadInput(faults)
    for found, place in where.items():
        cells = found if isinstance(found, tuple) else (found,)
        if "/".join(str(cell) for cell in cells if cell is not None) == key:
            own = f"{table.path.parent.name}/" if table.kind.row_by_row else ""
            return own + place
    return ""


def write(path: Path, text: str | None) -> None:
    """Write a file whole or not at all; None takes it away."""
    if text is None:
        path.unlink(missing_ok=True)
        return
    disk.write(path, text.encode("utf-8"))


def not_written(error: OSError, folder: Path) -> BadInput:
    """What to say where the shop's folder cannot be written to."""
    return BadInput(Fault(f"The shop's tables cannot be written: {error.strerror or error}.",
                          "Nothing was changed. Make the folder writable.", str(folder)))


def _line(cells: Sequence[str], end: str) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator=end).writerow(cells)
    return out.getvalue()
