"""Rows that are frozen carry a hash of themselves, so that damage inside a sound file is found.

A database that is whole can still hold a cell that is not what was written into it: a failing disk,
or another program, made another figure of it. What is frozen is written with what `seal` adds, and
read through `unsealed`, which gives nothing of a row that is not as it was kept.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Callable, Iterable, Mapping

from estimator.ledger.schema import Unreadable, from_json

SEALED = ("frozen", "revisions")
"""Tables of which each row carries a hash."""
_TOLD = 20
_UNSEALED = ("id", "hash")


class Spoiled(Unreadable):
    """Frozen rows that are not as they were kept; what else the ledger holds can be used."""

    def __init__(self, table, numbers: Iterable[str]):
        found = tuple(numbers)
        said = ", ".join(found[:_TOLD]) + (f" … ({len(found)} in all)" if found[_TOLD:] else "")
        verb = "is" if len(found) == 1 else "are"
        super().__init__(f"{said} in its table {table.name} {verb} not as kept")


def hash_of(cells: Iterable[str | bytes | None]) -> str:
    """SHA-256 over cells as they stand in a row, each after its length in bytes, in hexadecimal.

    Never changes: every ledger holds hashes that were made by it. Of a row it takes all cells but
    `id` and `hash`, in the order of the columns.

    Examples
    --------
    >>> hash_of(["Q7"]) == hashlib.sha256(b"2:Q7").hexdigest()
    True
    >>> hash_of(["Q7", None]) == hash_of(["Q7", ""])
    False
    """
    found = hashlib.sha256()
    for cell in cells:
        if cell is None:
            found.update(b"-")
        else:
            said = cell.encode() if isinstance(cell, str) else cell
            found.update(b"%d:" % len(said))
            found.update(said)
    return found.hexdigest()


def seal(table, row: Mapping) -> dict[str, str]:
    """The hash of a row that is to be written into a frozen table, by its column."""
    return {"hash": hash_of(None if row[name] is None else written(row[name])
                            for name, (written, _) in _columns(table).items())}


def sealed(table, connection) -> list:
    """What to select of a frozen table for `unsealed`."""
    from sqlalchemy import LargeBinary, String, cast, func

    def bytes_of(column):
        # Read as text, what is no text any more would stop all rows, and not name its own.
        if connection.dialect.name == "sqlite":
            return cast(column, LargeBinary)
        return func.convert_to(cast(column, String), "UTF8")

    columns = _columns(table)
    return [bytes_of(column).label(column.name) if column.name in columns else column
            for column in table.c]


def unsealed(table, row: Mapping) -> dict | None:
    """What a row of a frozen table says, without id and hash; None if it is not as it was kept.

    Parameters
    ----------
    row
        As it was selected by what `sealed` says.
    """
    columns = _columns(table)
    cells = {name: row[name] for name in columns}
    if row["hash"] != hash_of(cells.values()):
        return None
    return {name: None if cell is None else columns[name][1](cell.decode())
            for name, cell in cells.items()}


@functools.lru_cache(maxsize=4)
def _columns(table) -> Mapping[str, tuple[Callable, Callable]]:
    """Of each column how a value of it is written as text, and read from it."""
    from sqlalchemy import JSON

    return {column.name: (json.dumps, from_json) if isinstance(column.type, JSON)
            else (getattr(column.type, "written", str), getattr(column.type, "read", str))
            for column in table.c if column.name not in _UNSEALED}
