"""A whole ledger in and out: backup, restore, and plain CSV and JSON that any program reads.

An export is a folder: for each table `NAME.json`, which import reads, and `NAME.csv` for a
spreadsheet; and `ledger.json`, which says the ledger's version and how many rows each table has.
A PostgreSQL ledger is backed up as the same JSON files in a zip archive.
"""

from __future__ import annotations

import base64
import contextlib
import functools
import itertools
import json
import re
import sqlite3
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from estimator import disk
from estimator.errors import BadInput, Fault, quoted
from estimator.ledger import checking, opening
from estimator.ledger.plain import (
    ABOUT,
    AT_ONCE,
    Held,
    files,
    held_in,
    pack,
    parsed,
    reflected,
    version_in,
)
from estimator.ledger.quotes import unpacked
from estimator.ledger.reading import (
    TABLE,
    clocks_in,
    entries_in,
    items_in,
    jobs_in,
    revisions_in,
)
from estimator.ledger.records import Sent
from estimator.ledger.schema import VERSION, tables

_NAME = re.compile("[a-z_]+")
_MUCH, _DENSEST = 64 * 2**20, 200  # bytes, times: rows pack 5 to 20 times, zeros a thousand
_DAMAGED = "Take an earlier backup, or export the ledger again."


# Out


def backup(database: opening.Database, file: Path | str) -> Path:
    """Write a copy of the ledger to one file while others go on using it; returns the file.

    A SQLite ledger becomes a SQLite file, a PostgreSQL one a zip archive of JSON.

    Raises
    ------
    BadInput
        If the file is there already, its folder is not, or nothing was ever kept.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     copy = backup(ledger, shop.folder / "monday.sqlite")
    ...     copy.name, copy.read_bytes()[:15]
    ('monday.sqlite', b'SQLite format 3')
    """
    file = Path(file)
    if file.exists():
        raise BadInput(Fault("There is a file of that name already.", "Choose another name.",
                             str(file)))
    if not file.parent.is_dir():
        raise BadInput(Fault("There is no such folder.", "Make it, or name another.",
                             str(file.parent)))
    _something(database)
    with database._reading() as connection:
        _whole(connection, database)
        # A backup that could not be put back would only be found out on the day it is needed.
        faults = [Fault(f"The ledger is damaged in its {name.replace('_', ' ')} ; it was not "
                        "copied.", "Put an earlier backup in its place with: estimator "
                        "restore FILE; what is there is kept.", str(database.path))
                  for name in _unreadable(connection)]
        if faults:
            raise BadInput(faults)
        try:
            if database.address:
                pack(connection, file)
            else:
                opening.copy_file(connection.connection.driver_connection, file)
        except (OSError, sqlite3.Error) as error:
            raise BadInput(_not_written(error, "backup", file)) from None
    return file


def export(database: opening.Database, folder: Path | str) -> Mapping[str, int]:
    """Write every table as CSV and JSON into a folder; returns how many rows each has.

    Raises
    ------
    BadInput
        If the folder holds something already, or nothing was ever kept.

    Examples
    --------
    >>> import tempfile
    >>> from estimator.ledger import Draft, Ledger
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     full, blank = Ledger(Path(folder) / "a"), Ledger(Path(folder) / "b")
    ...     for ledger in (full, blank):
    ...         ledger.folder.mkdir()
    ...     _ = full.save(Draft("a1", "Harbour Lights", {}))
    ...     rows = export(full, Path(folder) / "out")["drafts"]
    ...     came = bring_in(blank, Path(folder) / "out")["drafts"]
    ...     copy = backup(full, Path(folder) / "copy.sqlite")
    ...     full.forget("a1")
    ...     counts, kept = restore(full, copy)
    ...     titles = [one.title for one in (*full.drafts(), *blank.drafts())]
    ...     full.close()
    ...     blank.close()
    >>> rows, came, counts["drafts"], titles
    (1, 1, 1, ['Harbour Lights', 'Harbour Lights'])
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInput(Fault("There is something of that name already.",
                             "Name a new or empty folder.", str(folder)))
    _something(database)
    with database._reading() as connection:
        _whole(connection, database)
        try:
            with disk.whole(folder) as part:
                for name, pieces in files(connection, spreadsheets=True):
                    with (part / name).open("w", encoding="utf-8", newline="") as written:
                        written.writelines(pieces)
                    disk.to_disk(part / name)
        except OSError as error:
            raise BadInput(_not_written(error, "export", folder)) from None
    return json.loads((folder / ABOUT).read_text(encoding="utf-8"))["rows"]


def _not_written(error: Exception, what: str, place: Path) -> Fault:
    if isinstance(error, FileExistsError):
        return Fault("There is a file of that name already.", "Choose another name.", str(place))
    said = getattr(error, "strerror", None) or error
    return Fault(f"The {what} cannot be written ({said}).",
                 "Make room, or choose another place; nothing was written.", str(place))


def _whole(connection, database: opening.Database) -> None:
    """What is kept for years is read whole, however lately that was done."""
    if not database.address:
        checking.check_whole(connection, database.path)


def _something(database: opening.Database) -> None:
    if database._absent:
        raise BadInput(Fault("Nothing was kept in this ledger so far.", "", str(database.path)))


# In


def bring_in(database: opening.Database, folder: Path | str) -> Mapping[str, int]:
    """Fill an empty ledger from an exported folder, of this version or an earlier one.

    Returns how many rows each table got. All of it goes in, or nothing.

    Raises
    ------
    BadInput
        If files are missing or damaged, or the ledger holds something already.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> from estimator.ledger import Ledger
    >>> with small_shop() as (ledger, shop):
    ...     rows = export(ledger, shop.folder / "out")
    ...     (shop.folder / "new").mkdir()
    ...     blank = Ledger(shop.folder / "new")
    ...     bring_in(blank, shop.folder / "out") == rows, len(blank.jobs())
    ...     blank.close()
    (True, 4)
    """
    folder = Path(folder)
    counts, _ = _replace(database, folder, *_from_folder(folder), only_empty=True)
    return counts


def restore(database: opening.Database, file: Path | str) -> tuple[Mapping[str, int], Path | None]:
    """Put back a backup in place of what the ledger holds now, or of one that is damaged.

    A copy of what it held is left beside it: returned as the second value, None if it held
    nothing. Backups of SQLite and of PostgreSQL can be put back into either.

    Raises
    ------
    BadInput
        If the file is no backup, is damaged, or comes from a later version of the program.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     copy = backup(ledger, shop.folder / "monday.sqlite")
    ...     job = ledger.set_state(ledger.jobs()[0].number, "waiting")
    ...     rows, kept = restore(ledger, copy)
    ...     ledger.jobs()[0].state, rows["jobs"], kept.suffix
    ('on the bench', 4, '.sqlite')
    """
    file = Path(file)
    if not file.is_file():
        raise BadInput(Fault("There is no such file.", "Look at how its name is spelled.",
                             str(file)))
    with file.open("rb") as held:
        start = held.read(16)
    if start == b"SQLite format 3\0":
        with _from_sqlite(file) as source:
            return _replace(database, file, *source)
    if start.startswith(b"PK"):
        return _replace(database, file, *_from_zip(file))
    raise BadInput(Fault("The file is not a backup of a ledger.",
                         "Name one that was made with: estimator backup FILE", str(file)))


def _replace(database: opening.Database, place: Path, version: int, found: list[Held],
             only_empty: bool = False) -> tuple[Mapping[str, int], Path | None]:
    from sqlalchemy import select

    try:
        with database._guard(), _filling(database._engine) as connection:
            _whole(connection, database)
            holds = any(connection.execute(select(table).limit(1)).first()
                        for table in reflected(connection))
            if holds and only_empty:
                raise BadInput(Fault(
                    "The ledger holds something already; nothing was taken in.",
                    "Import into a new shop folder, or put a backup in its place with: "
                    "estimator restore FILE", str(database.path)))
            kept = opening.keep_copy(connection, database, VERSION) if holds else None
            return _put(connection, place, version, found), kept
    except opening.Damaged:
        if only_empty:
            raise
    # Nothing in a damaged file is to be relied on: a new one is made beside and takes its place.
    database.close()
    with database._guard():
        kept = opening.keep_damaged(database)
        with opening.made_beside(database, new=False) as engine, _filling(engine) as connection:
            counts = _put(connection, place, version, found)
    return counts, kept


@contextlib.contextmanager
def _filling(engine) -> Iterator:
    """A connection that holds the lock, on which tables may be dropped and filled one by one."""
    with engine.connect() as connection:
        sqlite = connection.dialect.name == "sqlite"
        if sqlite:
            connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
        try:
            opening.lock(connection)
            yield connection
            connection.commit()
        finally:
            connection.rollback()
            if sqlite:
                connection.exec_driver_sql("PRAGMA foreign_keys = ON")


def _put(connection, place: Path, version: int, found: list[Held]) -> Mapping[str, int]:
    """Put these tables in the place of all that are there; returns how many rows each has."""
    from sqlalchemy import inspect

    sqlite = connection.dialect.name == "sqlite"
    for table in inspect(connection).get_table_names():
        connection.exec_driver_sql(f"DROP TABLE {table}{'' if sqlite else ' CASCADE'}")
        if not sqlite:
            connection.exec_driver_sql(f"DROP FUNCTION IF EXISTS {table}_kept CASCADE")
    opening.migrate(connection, 0, version)
    counts = _fill(connection, found)
    if version < VERSION:
        opening.migrate(connection, version)
    if sqlite and connection.exec_driver_sql("PRAGMA foreign_key_check").first():
        raise BadInput(Fault("Rows of the backup point to others that are not in it.",
                             _DAMAGED, str(place)))
    faults = [Fault("A cell cannot be read.", _DAMAGED, f"{name}.json")
              for name in _unreadable(connection)]
    if faults:
        raise BadInput(faults)
    return counts


def _fill(connection, found: list[Held]) -> Mapping[str, int]:
    from sqlalchemy import LargeBinary, insert
    from sqlalchemy.exc import DBAPIError, StatementError

    given = {held.name: held for held in found}
    counts = {}
    for table in reflected(connection):
        held = given.pop(table.name, Held(table.name, (), lambda: iter(())))
        strange = set(held.columns) - set(table.columns.keys())
        if strange:
            raise BadInput(Fault(f"A ledger of its version has no column "
                                 f"{', '.join(map(quoted, sorted(strange)))}.", _DAMAGED,
                                 f"{table.name}.json"))
        packed = [isinstance(table.columns[name].type, LargeBinary) for name in held.columns]
        try:
            rows = (
                {name: base64.b64decode(cell, validate=True) if is_bytes else cell
                 for name, cell, is_bytes in zip(held.columns, row, packed, strict=True)}
                for row in held.rows()
            )
            counts[table.name] = 0
            while some := list(itertools.islice(rows, AT_ONCE)):
                connection.execute(insert(table), some)
                counts[table.name] += len(some)
        except (StatementError, ArithmeticError, TypeError, ValueError) as error:
            # What a database says names the column; what Python says helps nobody.
            said = str(error.orig).strip().split("\n")[0] if isinstance(error, DBAPIError) else ""
            raise BadInput(Fault(
                f"A row does not fit into a ledger{f' ({said})' if said else ''}.", _DAMAGED,
                f"{table.name}.json")) from None
        if counts[table.name] and connection.dialect.name != "sqlite" and "id" in table.columns:
            connection.exec_driver_sql(
                f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "
                f"(SELECT max(id) FROM {table.name}))")
    if given:
        raise BadInput(Fault(
            f"A ledger of its version has no table {', '.join(map(quoted, given))}.", _DAMAGED,
            ABOUT))
    return counts


def _unreadable(connection) -> list[str]:
    """Tables with a cell that is not what it is meant to be: one bad day would stop every list."""
    from sqlalchemy import select
    from sqlalchemy.exc import DatabaseError

    def cells_of(table, read=lambda row: None):
        with connection.execute(select(table), execution_options={"yield_per": AT_ONCE}) as rows:
            for row in rows:
                read(row)

    checks = [(table.name, functools.partial(cells_of, table))
              for table in tables().about.sorted_tables]
    checks += [("shop_tables", lambda: cells_of(
        tables().shop_tables, lambda row: unpacked(row.hash, row.content)))]
    checks += [("sent", lambda: cells_of(tables().sent, lambda row: Sent(**row._mapping)))]
    checks += [(name, functools.partial(entries_in, connection, kind, history=True))
               for kind, name in TABLE.items()]
    checks += [("jobs", lambda: items_in(connection, [job.number for job in jobs_in(connection)])),
               ("revisions", lambda: revisions_in(connection)),
               ("clocks", lambda: clocks_in(connection))]
    found = set()
    for name, check in checks:
        try:
            check()
        except (ArithmeticError, TypeError, ValueError, DatabaseError):
            found.add(name)
    return sorted(found)


@contextlib.contextmanager
def _from_sqlite(file: Path) -> Iterator[tuple[int, list[Held]]]:
    """Version and tables of a backup, which is read until it is closed."""
    from sqlalchemy import create_engine

    damaged = Fault("The backup is damaged.", "Take an earlier one.", str(file))
    with contextlib.ExitStack() as stack:
        engine = create_engine("sqlite://", creator=opening.reading(file))
        stack.callback(engine.dispose)
        try:
            connection = stack.enter_context(engine.connect())
            said = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            if said != ["ok"]:
                raise BadInput(damaged)
            source = _known(version_in(connection), file), list(held_in(connection))
        except BadInput:
            raise
        except Exception:
            # A damaged file lets reading stumble on anything.
            raise BadInput(damaged) from None
        yield source


def _from_zip(file: Path) -> tuple[int, list[Held]]:
    damaged = Fault("The backup is damaged.", "Take an earlier one.", str(file))
    try:
        with contextlib.closing(zipfile.ZipFile(file)) as archive:
            if any(part.file_size > _MUCH and part.file_size > _DENSEST * part.compress_size
                   for part in archive.infolist()):
                raise BadInput(damaged)
            return _parsed(lambda name: archive.read(name).decode(), file)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError):
        # Cut short, altered, packed in another way, or with a password.
        raise BadInput(damaged) from None


def _from_folder(folder: Path) -> tuple[int, list[Held]]:
    if not (folder / ABOUT).is_file():
        raise BadInput(Fault(f"This is not an exported ledger: it holds no {ABOUT}.",
                             "Name a folder that was made with: estimator export DIR",
                             str(folder)))
    return _parsed(lambda name: (folder / name).read_text(encoding="utf-8"), folder)


def _parsed(read: Callable[[str], str], place: Path) -> tuple[int, list[Held]]:
    """Version and tables from the files of an export; every fault at once."""
    faults, found = [], []
    try:
        about = json.loads(read(ABOUT))
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
    for name, count in counts.items():
        try:
            if not _NAME.fullmatch(name):
                raise ValueError(name)  # it could lead out of the folder
            held = parsed(read(f"{name}.json"))
            rows = [isinstance(row, list) and len(row) == len(held.columns)
                    for row in held.rows()]
            fine = (held.name == name and len(rows) == count and all(rows)
                    and all(isinstance(column, str) for column in held.columns))
        except Exception:
            fine = False
        if fine:
            found.append(held)
        else:
            faults.append(Fault(f"The file is missing or damaged; it should hold {count} rows.",
                                "Export the ledger again.", f"{quoted(name)[1:-1]}.json"))
    if faults:
        raise BadInput(faults)
    return version, found


def _known(version: int, place: Path) -> int:
    if version > VERSION:
        raise BadInput(Fault("It was made by a later version of this program.",
                             "Use that version.", str(place)))
    if version < 1:
        raise BadInput(Fault("The file is not a backup of a ledger.",
                             "Name one that was made with: estimator backup FILE", str(place)))
    return version
