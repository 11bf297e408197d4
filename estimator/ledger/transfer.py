"""A whole ledger in and out: backup, restore, and plain CSV and JSON that any program reads.

An export is a folder: for each table `NAME.json`, which import reads, and `NAME.csv` for a
spreadsheet; and `ledger.json`, which says the ledger's version and how many rows each table has.
A PostgreSQL ledger is backed up as the same JSON files in a zip archive.
"""

from __future__ import annotations

import base64
import contextlib
import itertools
import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from estimator import disk
from estimator.errors import BadInput, Fault, quoted
from estimator.ledger import checking, opening
from estimator.ledger.plain import (
    ABOUT,
    Held,
    counts_in,
    files,
    pack,
    reflected,
)
from estimator.ledger.quotes import unpacked
from estimator.ledger.records import Sent
from estimator.ledger.schema import VERSION, tables
from estimator.ledger.sealing import SEALED, Spoiled, sealed, unsealed
from estimator.ledger.sources import Source, from_folder, from_sqlite, from_zip
from estimator.ledger.telling import (
    Progress,
    Rows,
    Tell,
    at_once,
    telling,
    told_within,
    within,
)

_DAMAGED = "Take an earlier backup, or export the ledger again."
_AS_IT_WAS = "was stopped; the ledger is as it was."


# Out


def backup(database: opening.Database, file: Path | str,
           progress: Progress | None = None) -> Path:
    """Write a copy of the ledger to one file while others go on using it; returns the file.

    A SQLite ledger becomes a SQLite file, a PostgreSQL one a zip archive of JSON.

    Parameters
    ----------
    progress
        Told the share that is done, 0 to 1; if it answers False, `Stopped` is raised and nothing
        is written. At 1 all is done, whatever it answers.

    Raises
    ------
    BadInput
        If the file is there already, its folder is not, or nothing was ever kept.
    Stopped
        If `progress` said so.

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
    with (telling(progress, "The backup was stopped; nothing was written.") as tell,
          database._reading() as connection):
        _whole(connection, database, tell)
        tell(0.1)
        # A backup that could not be put back would only be found out on the day it is needed.
        faults = [Fault(f"The ledger is damaged in its {name.replace('_', ' ')} ({said}); it was "
                        "not copied.", "Put an earlier backup in its place with: estimator "
                        "restore FILE; what is there is kept.", str(database.path))
                  for name, said in _unreadable(connection, within(tell, 0.1, 0.85)).items()]
        if faults:
            raise BadInput(faults)
        try:
            if database.address:
                pack(connection, file, within(tell, 0.85, 1))
            else:
                opening.copy_file(connection.connection.driver_connection, file,
                                  within(tell, 0.85, 1))
        except (OSError, sqlite3.Error) as error:
            raise BadInput(_not_written(error, "backup", file)) from None
    return file


def export(database: opening.Database, folder: Path | str,
           progress: Progress | None = None) -> Mapping[str, int]:
    """Write every table as CSV and JSON into a folder; returns how many rows each has.

    Parameters
    ----------
    progress
        As of `backup`.

    Raises
    ------
    BadInput
        If the folder holds something already, or nothing was ever kept.
    Stopped
        If `progress` said so; nothing is written then.

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
    with (telling(progress, "The export was stopped; nothing was written.") as tell,
          database._reading() as connection):
        _whole(connection, database, tell)
        tell(0.05)
        try:
            with disk.whole(folder) as part:
                for name, pieces in files(connection, True, within(tell, 0.05, 1)):
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


def _whole(connection, database: opening.Database, tell: Tell) -> None:
    """What is kept for years is read whole, however lately that was done."""
    if not database.address:
        checking.check_whole(connection, database.path, tell)


def _something(database: opening.Database) -> None:
    if database._absent:
        raise BadInput(Fault("Nothing was kept in this ledger so far.", "", str(database.path)))


# In


def bring_in(database: opening.Database, folder: Path | str,
             progress: Progress | None = None) -> Mapping[str, int]:
    """Fill an empty ledger from an exported folder, of this version or an earlier one.

    Returns how many rows each table got. All of it goes in, or nothing.

    Parameters
    ----------
    progress
        As of `backup`.

    Raises
    ------
    BadInput
        If files are missing or damaged, or the ledger holds something already.
    Stopped
        If `progress` said so; the ledger is as it was then.

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
    with telling(progress, f"The import {_AS_IT_WAS}") as tell:
        source = from_folder(folder, within(tell, 0, 0.1))
        counts, _ = _replace(database, folder, source, within(tell, 0.1, 1), only_empty=True)
    return counts


def restore(database: opening.Database, file: Path | str, progress: Progress | None = None
            ) -> tuple[Mapping[str, int], Path | None]:
    """Put back a backup in place of what the ledger holds now, or of one that is damaged.

    A copy of what it held is left beside it: returned as the second value, None if it held
    nothing. Backups of SQLite and of PostgreSQL can be put back into either.

    Parameters
    ----------
    progress
        As of `backup`.

    Raises
    ------
    BadInput
        If the file is no backup, is damaged, or comes from a later version of the program.
    Stopped
        If `progress` said so; the ledger is as it was then.

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
        reading = from_sqlite
    elif start.startswith(b"PK"):
        reading = from_zip
    else:
        raise BadInput(Fault("The file is not a backup of a ledger.",
                             "Name one that was made with: estimator backup FILE", str(file)))
    with (telling(progress, f"The restore {_AS_IT_WAS}") as tell,
          reading(file, within(tell, 0, 0.1)) as source):
        return _replace(database, file, source, within(tell, 0.1, 1))


def _replace(database: opening.Database, place: Path, source: Source, tell: Tell,
             only_empty: bool = False) -> tuple[Mapping[str, int], Path | None]:
    tell(0)
    absent = database._absent
    try:
        if not absent:
            return _replace_rows(database, place, source, tell, only_empty)
    except opening.Damaged:
        if only_empty:
            raise
    # Nothing in a damaged file is to be relied on: a new one is made beside and takes its place.
    database.close()
    with database._guard():
        kept = None if absent else opening.keep_damaged(database)
        with (opening.made_beside(database, new=absent) as engine,
              _filling(engine) as connection, _not_kept(kept)):
            counts = _put(connection, place, source, tell)
    return counts, kept


def _replace_rows(database: opening.Database, place: Path, source: Source, tell: Tell,
                  only_empty: bool) -> tuple[Mapping[str, int], Path | None]:
    """Rows in the place of those of a ledger that is whole, and the copy of it that is kept."""
    from sqlalchemy import select

    with database._guard(), _filling(database._engine) as connection:
        _whole(connection, database, tell)
        tell(0.05)
        holds = any(connection.execute(select(table).limit(1)).first()
                    for table in reflected(connection))
        if holds and only_empty:
            raise BadInput(Fault(
                "The ledger holds something already; nothing was taken in.",
                "Import into a new shop folder, or put a backup in its place with: "
                "estimator restore FILE", str(database.path)))
        kept = opening.keep_copy(connection, database, VERSION,
                                 within(tell, 0.05, 0.1)) if holds else None
        with _not_kept(kept):
            return _put(connection, place, source, within(tell, 0.1, 1)), kept


@contextlib.contextmanager
def _not_kept(copy: Path | None) -> Iterator[None]:
    """Take the copy of a ledger away where the block ends badly: nothing took its place."""
    try:
        yield
    except BaseException:
        if copy is not None:
            opening.drop(copy)
        raise


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


def _put(connection, place: Path, source: Source, tell: Tell) -> Mapping[str, int]:
    """Put these tables in the place of all that are there; returns how many rows each has."""
    from sqlalchemy import inspect

    sqlite = connection.dialect.name == "sqlite"
    for table in inspect(connection).get_table_names():
        tell(0)
        connection.exec_driver_sql(f"DROP TABLE {table}{'' if sqlite else ' CASCADE'}")
        if not sqlite:
            connection.exec_driver_sql(f"DROP FUNCTION IF EXISTS {table}_kept CASCADE")
    opening.migrate(connection, 0, source.version)
    counts = _fill(connection, source, within(tell, 0, 0.65))
    if source.version < VERSION:
        opening.migrate(connection, source.version)
    with told_within(connection, tell, 0.65):
        astray = sqlite and connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if astray:
        raise BadInput(Fault("Rows of the backup point to others that are not in it.",
                             _DAMAGED, str(place)))
    faults = [Fault(f"The table is damaged: {said}.", _DAMAGED, f"{name}.json")
              for name, said in _unreadable(connection, within(tell, 0.65, 1)).items()]
    if faults:
        raise BadInput(faults)
    return counts


def _fill(connection, source: Source, tell: Tell) -> Mapping[str, int]:
    from sqlalchemy import LargeBinary, insert
    from sqlalchemy.exc import DBAPIError, StatementError

    given = {held.name: held for held in source.tables}
    counts, went = {}, Rows(source.counts, tell)
    for table in reflected(connection):
        held = given.pop(table.name, Held(table.name, (), lambda: (row for row in ())))
        strange = set(held.columns) - set(table.columns.keys())
        if strange:
            raise BadInput(Fault(f"A ledger of its version has no column "
                                 f"{', '.join(map(quoted, sorted(strange)))}.", _DAMAGED,
                                 f"{table.name}.json"))
        packed = [isinstance(table.columns[name].type, LargeBinary) for name in held.columns]
        try:
            # Reading ends with the filling, before the source is closed.
            with contextlib.closing(held.rows()) as there:
                rows = (
                    {name: base64.b64decode(cell, validate=True) if is_bytes else cell
                     for name, cell, is_bytes in zip(held.columns, row, packed, strict=True)}
                    for row in there
                )
                counts[table.name], many = 0, at_once(table.name)
                while some := list(itertools.islice(rows, many)):
                    connection.execute(insert(table), some)
                    counts[table.name] += len(some)
                    went(table.name, len(some))
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


def _unreadable(connection, tell: Tell) -> dict[str, str]:
    """Tables with a cell that is not what it is meant to be, and what is wrong with it.

    One bad day would stop every list.
    """
    from sqlalchemy import select
    from sqlalchemy.exc import DatabaseError

    found, counts = {}, counts_in(connection)
    went = Rows(counts, tell)
    for table in tables().about.sorted_tables:
        read, seen, lost = _READ.get(table.name, lambda row: None), 0, set()
        kept = table.name in SEALED
        said = select(*sealed(table, connection)) if kept else select(table)
        try:
            with connection.execute(said,
                                    execution_options={"yield_per": at_once(table.name)}) as rows:
                for row in rows:
                    whole = unsealed(table, row._mapping) if kept else row
                    if whole is None:
                        lost.add(row.number.decode(errors="replace"))
                    else:
                        read(whole)
                    seen += 1
                    went(table.name)
            if lost:
                raise Spoiled(table, sorted(lost))
        except (ArithmeticError, TypeError, ValueError, DatabaseError) as error:
            found[table.name] = str(error) if isinstance(error, Spoiled) \
                else "a cell cannot be read"
            went(table.name, counts[table.name] - seen)
    return dict(sorted(found.items()))


_READ: Mapping[str, Callable[[Any], object]] = {
    "sent": lambda row: Sent(**row._mapping),
    "shop_tables": lambda row: unpacked(row.hash, row.content),
    "revisions": lambda said: tuple(said["changes"]),
}
"""What is asked of a row beside that its cells can be read."""
