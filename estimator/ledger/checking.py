"""Whether the file of a ledger is whole.

Reading all of it takes some thousandths of a second for each megabyte: nothing for the work of a
year, more than anything else for that of ten. So a large file that was read whole within the last
day, and that nobody but this program touched since, is taken to be whole. A mark beside it says
when it was read, and how it lay on the disk when it was left. Where there is no mark, or anything
is not as it says, all of the file is read; losing the mark costs no more than that. What goes bad
without a trace, as on a failing disk, is told by whatever reads it, and found within the day.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from estimator import disk
from estimator.errors import BadInput, Fault
from estimator.ledger.telling import Tell, quiet, told_within

MARK = "ledger-checked.json"
LARGE = 32 * 2**20
"""Smaller files are read whole each time. [bytes]"""
DAILY = timedelta(days=1)
_UNWRITTEN: dict[Path, dict] = {}
"""Marks of files in folders that cannot be written: this process alone knows them."""
PUT_BACK = "Put a backup in its place with: estimator restore FILE; what is there is kept."


class Damaged(BadInput):
    """The ledger is not as the program left it."""


def check(engine, path: Path) -> None:
    """Refuse a file that is not whole; one that is known to be whole is not read again.

    Raises
    ------
    Damaged
        With what is wrong, and how the ledger is put right.
    """
    size = path.stat().st_size
    if not size:
        raise Damaged(Fault(
            "The ledger is damaged: its file is empty.",
            f"{PUT_BACK} If nothing was ever kept here, delete it.", str(path)))
    if size >= LARGE and _known(path):
        return
    lies = _lies(path)
    with engine.connect() as connection:
        check_whole(connection, path)
    if size >= LARGE:
        _write(path, {"checked": datetime.now(UTC).isoformat(), "lies": lies})


def check_whole(connection, path: Path, tell: Tell = quiet) -> None:
    """Read all of a file of SQLite, and refuse it if it is not whole.

    Parameters
    ----------
    tell
        Told 0 while it is read.

    Raises
    ------
    Damaged
        As `check`.
    """
    with told_within(connection, tell, 0):
        said = connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar()
    if said != "ok":
        forget(path)
        said = " ".join(str(said).replace("*** in database main ***", "").split())
        raise Damaged(Fault(f"The ledger is damaged ({said}).", PUT_BACK, str(path)))


@contextlib.contextmanager
def written(path: Path) -> Iterator[None]:
    """What is written to the file in the block is written by us: it is as whole as it was before.

    Not if the block ends badly, nor if somebody else touched the file before it.
    """
    mark = _read(path)
    ours = mark is not None and mark["lies"] == _lies(path)
    yield
    if ours and (lies := _lies(path)) != mark["lies"]:
        _write(path, mark | {"lies": lies})


def forget(path: Path) -> None:
    """Let the file be read whole when it is opened next: damage was found in it."""
    _UNWRITTEN.pop(path, None)
    with contextlib.suppress(OSError):
        path.with_name(MARK).unlink(missing_ok=True)


def _known(path: Path) -> bool:
    mark = _read(path)
    if mark is None or mark["lies"] != _lies(path):
        return False
    # A clock that went back says nothing about how long ago that was.
    return timedelta() <= datetime.now(UTC) - datetime.fromisoformat(mark["checked"]) < DAILY


def _lies(path: Path) -> list[int]:
    """How a file lies on the disk; who writes to it, or puts another in its place, changes that."""
    try:
        found = path.stat()
    except OSError:
        return []
    return [found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns]


def _read(path: Path) -> dict | None:
    """The mark of a file; None where there is none, or none to be relied on."""
    with contextlib.suppress(OSError, ValueError, TypeError, KeyError, RecursionError):
        mark = json.loads(path.with_name(MARK).read_text(encoding="utf-8"))
        if datetime.fromisoformat(mark["checked"]).tzinfo and mark["lies"]:
            return mark
    return _UNWRITTEN.get(path)


def _write(path: Path, mark: dict) -> None:
    try:
        disk.write(path.with_name(MARK), json.dumps(mark).encode())
    except OSError:
        _UNWRITTEN[path] = mark
