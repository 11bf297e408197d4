"""The rows of a whole ledger as plain CSV and JSON, whatever its version."""

from __future__ import annotations

import base64
import contextlib
import json
import re
import zipfile
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from estimator import __version__, disk
from estimator.ledger.telling import Rows, Tell, at_once, quiet
from estimator.outside import private_file, spreadsheet_pieces

ABOUT = "ledger.json"


@dataclass(frozen=True)
class Held:
    """One table as it was held: its columns, and what gives its rows one by one, in their order."""

    name: str
    columns: tuple[str, ...]
    rows: Callable[[], Generator[list]]


def pack(connection, file: Path, tell: Tell = quiet) -> None:
    """Write every table as JSON into a new zip archive for this user alone, whole or not at all."""
    with (disk.beside(file, new=True) as part, private_file(part) as out,
          zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive):
        for name, pieces in files(connection, tell=tell):
            # Its size is not known before it is written, and may be over 2 GiB.
            with archive.open(name, "w", force_zip64=True) as written:
                for piece in pieces:
                    written.write(piece.encode())


def files(connection, spreadsheets: bool = False, tell: Tell = quiet
          ) -> Iterator[tuple[str, Iterator[str]]]:
    """Name and text, piece by piece, of each file of an export; the last one is `ledger.json`.

    Each text is to be taken before the next name.
    """
    counts: dict[str, int] = {}
    went = Rows(counts_in(connection), tell, times=1 + spreadsheets)
    for held in held_in(connection, went):
        # Whoever stops half way stops the reading too, before the database is closed.
        with contextlib.closing(_table(held, counts)) as text:
            yield f"{held.name}.json", text
        if spreadsheets:
            with contextlib.closing(_csv(held)) as text:
                yield f"{held.name}.csv", text
    yield ABOUT, iter([_json({
        "schema": 1, "ledger": version_in(connection), "program": __version__,
        "saved": datetime.now(UTC).isoformat(timespec="seconds"), "rows": counts}) + "\n"])


def parsed(opened: Callable[[], TextIO]) -> Held:
    """A table from its file, of which a piece at a time is in memory; each look opens it anew.

    Raises
    ------
    ValueError, KeyError
        If it is not such a text; `rows` raises the same for what is wrong further on.

    Examples
    --------
    >>> from io import StringIO
    >>> held = parsed(lambda: StringIO(
    ...     '{"schema":1,"table":"jobs","columns":["number"],"rows":[["A1"],["B2"]]}'))
    >>> held.name, held.columns, list(held.rows())
    ('jobs', ('number',), [['A1'], ['B2']])
    """
    with opened() as file:
        said = _head(_Text(file))
    return Held(said["table"], tuple(said["columns"]), lambda: _rows(opened))


def _head(text: _Text) -> dict[str, object]:
    """What is said before the rows."""
    said: dict[str, object] = {}
    text.take("{")
    while (key := text.value()) != "rows":
        text.take(":")
        said[key] = text.value()
        text.take(",")
    text.take(":")
    return said


def _rows(opened: Callable[[], TextIO]) -> Generator[list]:
    with opened() as file:
        text = _Text(file)
        _head(text)
        text.take("[")
        more = not text.begins("]")
        while more:
            yield text.value()
            more = text.begins(",")
            if more:
                text.take(",")
        text.take("]")
        text.take("}")
        if not text.begins(""):
            raise ValueError("there is more than the rows")


class _Text:
    """A text of JSON, read piece by piece; whatever is taken is the next that is no blank."""

    def __init__(self, file: TextIO):
        self._file, self._held, self._place, self._ended = file, "", 0, False

    def begins(self, mark: str) -> bool:
        """Whether this comes next; with nothing, whether nothing does."""
        self._skip()
        return self._held.startswith(mark, self._place) if mark else self._at_end()

    def take(self, mark: str) -> None:
        """Go past this, which must come next."""
        if not self.begins(mark):
            raise ValueError(f"no {mark}")
        self._place += len(mark)

    def value(self):
        """The next value; numbers, lists and objects as Python has them."""
        self._skip()
        while True:
            try:
                value, end = _DECODER.raw_decode(self._held, self._place)
            except json.JSONDecodeError as error:
                # A value that is cut off by the end of the piece goes wrong there, or in a text.
                cut = error.pos > len(self._held) - _LONGEST or "Unterminated" in error.msg
                if self._ended or not cut:
                    raise
            else:
                if self._ended or end < len(self._held):
                    self._place = end
                    return value
            self._more()

    def _skip(self) -> None:
        self._place = _BLANK.match(self._held, self._place).end()
        while self._at_end() and not self._ended:
            self._more()
            self._place = _BLANK.match(self._held, self._place).end()

    def _at_end(self) -> bool:
        return self._place == len(self._held)

    def _more(self) -> None:
        left = self._held[self._place:]
        # As much again as there is: a long value is not tried over and over.
        piece = self._file.read(max(_PIECE, len(left)))
        self._held, self._place, self._ended = left + piece, 0, not piece


_DECODER = json.JSONDecoder()
_BLANK = re.compile(r"[ \t\r\n]*")
_PIECE = 2**17  # letters
_LONGEST = 16  # letters of JSON that mean nothing without the last one, outside of a text


def version_in(connection) -> int:
    """Version of the ledger in a database, as it says itself; 0 if it says none."""
    from sqlalchemy import inspect

    if inspect(connection).has_table("alembic_version"):
        return int(connection.exec_driver_sql(
            "SELECT version_num FROM alembic_version").scalar_one())
    return connection.exec_driver_sql("PRAGMA user_version").scalar_one()


def reflected(connection):
    """Tables as the database has them, whatever its version; those others need come first."""
    from sqlalchemy import MetaData

    about = MetaData()
    about.reflect(connection)
    return [table for table in about.sorted_tables if table.name != "alembic_version"]


def counts_in(connection) -> dict[str, int]:
    """How many rows each table has."""
    from sqlalchemy import func, select

    return {table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in reflected(connection)}


def held_in(connection, went: Callable[[str], None] = lambda name: None) -> Iterator[Held]:
    """Every table, those that others point to first; bytes as base 64. `went` hears of each row."""
    for table in reflected(connection):
        yield Held(table.name, tuple(table.columns.keys()),
                   lambda table=table: _rows_of(connection, table, went))


def _rows_of(connection, table, went: Callable[[str], None]) -> Iterator[list]:
    from sqlalchemy import LargeBinary, select

    packed = [isinstance(column.type, LargeBinary) for column in table.columns]
    with connection.execute(select(table).order_by(*table.primary_key),
                            execution_options={"yield_per": at_once(table.name)}) as rows:
        for row in rows:
            went(table.name)
            yield [base64.b64encode(cell).decode() if is_bytes else cell
                   for cell, is_bytes in zip(row, packed, strict=True)]


def _json(said) -> str:
    return json.dumps(said, ensure_ascii=False, indent=None, separators=(",", ":"))


def _table(held: Held, counts: dict[str, int]) -> Iterator[str]:
    """A table as JSON, row by row; how many rows it has is put among the counts."""
    head = _json({"schema": 1, "table": held.name, "columns": held.columns})
    yield f'{head[:-1]},"rows":['
    counts[held.name] = 0
    for row in held.rows():
        yield ("," if counts[held.name] else "") + _json(row)
        counts[held.name] += 1
    yield "]}\n"


def _csv(held: Held) -> Iterator[str]:
    yield from spreadsheet_pieces(
        held.columns, ([_cell(cell) for cell in row] for row in held.rows()))


def _cell(cell):
    return json.dumps(cell, ensure_ascii=False) if isinstance(cell, dict | list) else cell
