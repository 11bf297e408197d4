"""What a ledger is filled from: a backup, a file of SQLite or a zip archive; an exported folder."""

from __future__ import annotations

import contextlib
import io
import json
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from estimator.errors import BadInput, Fault, Stopped, quoted
from estimator.ledger import opening
from estimator.ledger.plain import ABOUT, Held, counts_in, held_in, parsed, version_in
from estimator.ledger.schema import VERSION
from estimator.ledger.telling import Rows, Tell, told_within

_NAME = re.compile("[a-z_]+")
_MUCH, _DENSEST = 64 * 2**20, 200  # bytes, times: rows pack 5 to 20 times, zeros a thousand


@dataclass(frozen=True)
class Source:
    """What is to be taken in: the version of its ledger, its tables, how many rows each has."""

    version: int
    tables: list[Held]
    counts: Mapping[str, int]


@contextlib.contextmanager
def from_sqlite(file: Path, tell: Tell) -> Iterator[Source]:
    """What a backup holds, which is read until it is closed."""
    from sqlalchemy import create_engine

    tell(0)
    damaged = Fault("The backup is damaged.", "Take an earlier one.", str(file))
    with contextlib.ExitStack() as stack:
        engine = create_engine("sqlite://", creator=opening.reading(file))
        stack.callback(engine.dispose)
        try:
            connection = stack.enter_context(engine.connect())
            with told_within(connection, tell, 0):
                said = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            if said != ["ok"]:
                raise BadInput(damaged)
            source = Source(_known(version_in(connection), file), list(held_in(connection)),
                             counts_in(connection))
        except (BadInput, Stopped):
            raise
        except Exception:
            # A damaged file lets reading stumble on anything.
            raise BadInput(damaged) from None
        yield source


@contextlib.contextmanager
def from_zip(file: Path, tell: Tell) -> Iterator[Source]:
    """What a backup as a zip archive holds, which is read until it is closed; every fault at once.
    """
    damaged = Fault("The backup is damaged.", "Take an earlier one.", str(file))
    try:
        with contextlib.closing(zipfile.ZipFile(file)) as archive:
            if any(part.file_size > _MUCH and part.file_size > _DENSEST * part.compress_size
                   for part in archive.infolist()):
                raise BadInput(damaged)
            source = _parsed(
                lambda name: io.TextIOWrapper(archive.open(name), "utf-8"), file, tell)
            yield source
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError):
        # Cut short, altered, packed in another way, or with a password.
        raise BadInput(damaged) from None


def from_folder(folder: Path, tell: Tell) -> Source:
    """What an exported folder holds; every fault at once."""
    if not (folder / ABOUT).is_file():
        raise BadInput(Fault(f"This is not an exported ledger: it holds no {ABOUT}.",
                             "Name a folder that was made with: estimator export DIR",
                             str(folder)))
    return _parsed(lambda name: (folder / name).open(encoding="utf-8"), folder, tell)


def _parsed(opened: Callable[[str], TextIO], place: Path, tell: Tell) -> Source:
    """What the files of an export hold; every fault at once."""
    faults, found = [], []
    try:
        with opened(ABOUT) as file:
            about = json.load(file)
        version, counts = _known(int(about["ledger"]), place), dict(about["rows"])
        fine = all(isinstance(count, int) for count in counts.values())
    except BadInput:
        raise
    except Exception:
        # Damaged JSON, or archive, lets reading stumble on anything.
        fine = False
    if not fine:
        raise BadInput(Fault(f"{ABOUT} cannot be read.", "Export the ledger again.",
                             str(place))) from None
    went = Rows(counts, tell)
    for name, count in counts.items():
        try:
            held = _held(opened, name)
            fine = held.name == name and _counted(held, lambda name=name: went(name)) == count
        except Stopped:
            raise
        except Exception:
            fine = False
        if fine:
            found.append(held)
        else:
            faults.append(Fault(f"The file is missing or damaged; it should hold {count} rows.",
                                "Export the ledger again.", f"{quoted(name)[1:-1]}.json"))
    if faults:
        raise BadInput(faults)
    return Source(version, found, counts)


def _held(opened: Callable[[str], TextIO], name: str) -> Held:
    if not _NAME.fullmatch(name):
        raise ValueError(name)  # it could lead out of the folder
    return parsed(lambda: opened(f"{name}.json"))


def _counted(held: Held, went: Callable[[], None]) -> int:
    """How many rows a table has, each of which must be as wide as it."""
    if not all(isinstance(column, str) for column in held.columns):
        raise ValueError("a name of a column is none")
    count = 0
    with contextlib.closing(held.rows()) as rows:
        for row in rows:
            if not isinstance(row, list) or len(row) != len(held.columns):
                raise ValueError("a row of another width")
            count += 1
            went()
    return count


def _known(version: int, place: Path) -> int:
    if version > VERSION:
        raise BadInput(Fault("It was made by a later version of this program.",
                             "Use that version.", str(place)))
    if version < 1:
        raise BadInput(Fault("The file is not a backup of a ledger.",
                             "Name one that was made with: estimator backup FILE", str(place)))
    return version
