"""The ledger: what the shop keeps from day to day, in one SQLite file in the shop folder.

It knows keys, times and JSON, and nothing of what a draft says: the pages put in what they need
to open again where they left off. The file is opened at the first call and made at the first
save, so that looking at a page leaves nothing behind.
"""

from __future__ import annotations

import functools
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from estimator.errors import BadInput, Fault

FILE = "ledger.sqlite"
SCHEMA = 1
_BUSY_MS = 5_000


@dataclass(frozen=True)
class Draft:
    """A quote in the making: one for each machine on the bench.

    Parameters
    ----------
    key
        Name of the draft, for addresses; made by `new_key`.
    title
        What it is listed under.
    content
        What the page needs to open it again; JSON values only.
    revision
        0 for one that was never saved; each save counts one up.
    saved
        When it was last saved, in UTC; None if never.
    """

    key: str
    title: str = ""
    content: Mapping | None = None
    revision: int = 0
    saved: datetime | None = None


class Stale(BadInput):
    """A save that would overwrite a newer one, made in another window.

    `newer` is the draft as it stands in the ledger.
    """

    def __init__(self, newer: Draft):
        self.newer = newer
        clock = f"{newer.saved.astimezone():%H:%M:%S}" if newer.saved else "some time ago"
        super().__init__(Fault(
            f"This draft was changed in another window at {clock}; "
            "what you change here is not kept.",
            "Reload this page to go on from there.",
        ))


def new_key() -> str:
    """A key for a new draft: ten letters and digits, never used before."""
    return secrets.token_hex(5)


class Ledger:
    """The ledger of the shop in `folder`.

    Raises
    ------
    BadInput
        From every method, if the file cannot be read or written, is damaged, or was made by a
        later version of the program.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     ledger = Ledger(folder)
    ...     saved = ledger.save(Draft("a1", "Harbour Lights", {"level": "shop-job"}))
    ...     found = ledger.latest()
    ...     ledger.close()
    >>> found.title, found.content["level"], found.revision
    ('Harbour Lights', 'shop-job', 1)
    """

    def __init__(self, folder: Path | str):
        self.path = Path(folder) / FILE

    def drafts(self) -> tuple[Draft, ...]:
        """Every draft, the last saved first; without their content."""
        if not self.path.exists():
            return ()
        from sqlalchemy import select
        table = _tables().drafts
        rows = self._read(select(table.c.key, table.c.title, table.c.revision, table.c.saved)
                          .order_by(table.c.saved.desc(), table.c.key))
        return tuple(Draft(row.key, row.title, None, row.revision, _from_text(row.saved))
                     for row in rows)

    def draft(self, key: str) -> Draft | None:
        """One draft with its content; None if there is no such draft."""
        if not self.path.exists():
            return None
        from sqlalchemy import select
        table = _tables().drafts
        rows = self._read(select(table).where(table.c.key == key))
        return _draft(rows[0]) if rows else None

    def latest(self) -> Draft | None:
        """The draft that was saved last; None if there is none."""
        found = self.drafts()
        return self.draft(found[0].key) if found else None

    def save(self, draft: Draft) -> Draft:
        """Keep a draft; returns it as kept, one revision on.

        Raises
        ------
        Stale
            If the ledger holds another revision than the one that this draft was made from.
        """
        from sqlalchemy import insert, select, update
        table = _tables().drafts
        kept = Draft(draft.key, draft.title, draft.content, draft.revision + 1, datetime.now(UTC))
        values = {"title": kept.title, "content": dict(kept.content or {}),
                  "revision": kept.revision, "saved": _to_text(kept.saved)}
        with self._guard(), self._engine.begin() as connection:
            # IMMEDIATE: no other window may write between the look and the save.
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            done = connection.execute(
                update(table).where(table.c.key == draft.key, table.c.revision == draft.revision)
                .values(values)).rowcount
            if not done:
                row = connection.execute(select(table).where(table.c.key == draft.key)).first()
                if row is not None:
                    raise Stale(_draft(row))
                connection.execute(insert(table).values(key=draft.key, **values))
        return kept

    def forget(self, key: str) -> None:
        """Delete a draft; one that is not there is no fault."""
        if not self.path.exists():
            return
        from sqlalchemy import delete
        table = _tables().drafts
        with self._guard(), self._engine.begin() as connection:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            connection.execute(delete(table).where(table.c.key == key))

    def close(self) -> None:
        """Let go of the file; the next call opens it again."""
        engine = self.__dict__.pop("_engine", None)
        if engine is not None:
            engine.dispose()

    def _read(self, statement):
        with self._guard(), self._engine.connect() as connection:
            return connection.execute(statement).all()

    def _guard(self):
        return _plain_words(self.path)

    @functools.cached_property
    def _engine(self):
        from sqlalchemy import URL, create_engine, event

        engine = create_engine(URL.create("sqlite", database=str(self.path)))

        @event.listens_for(engine, "connect")
        def _prepare(connection, _record):
            # Transactions are ours to begin, so that BEGIN IMMEDIATE can be said.
            connection.isolation_level = None
            for line in (f"busy_timeout = {_BUSY_MS}", "journal_mode = WAL",
                         "synchronous = NORMAL", "foreign_keys = ON"):
                connection.execute(f"PRAGMA {line}")

        with self._guard():
            try:
                _make(engine, self.path)
            except BaseException:
                engine.dispose()
                raise
        return engine


@functools.lru_cache(maxsize=1)
def _tables():
    """The tables, named by attribute."""
    from types import SimpleNamespace

    from sqlalchemy import JSON, Column, Integer, MetaData, String, Table

    about = MetaData()
    drafts = Table(
        "drafts", about,
        Column("key", String(40), primary_key=True),
        Column("title", String, nullable=False),
        Column("content", JSON, nullable=False),
        Column("revision", Integer, nullable=False),
        # ISO 8601 in UTC: sorts as text, reads the same in any program.
        Column("saved", String(32), nullable=False, index=True),
    )
    return SimpleNamespace(about=about, drafts=drafts)


def _make(engine, path: Path) -> None:
    """Make what is missing; refuse a file that a later version has made."""
    with engine.begin() as connection:
        version = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
        if version > SCHEMA:
            raise BadInput(Fault("The ledger was made by a later version of this program.",
                                 "Use that version, or another shop folder.", path.name))
        if version < SCHEMA:
            _tables().about.create_all(connection)
            connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA}")


class _plain_words:
    """Turn what the database says into a fault that a person can act on."""

    def __init__(self, path: Path):
        self.path = path

    def __enter__(self):
        return self

    def __exit__(self, _kind, error, _trace):
        from sqlalchemy.exc import DatabaseError
        if not isinstance(error, DatabaseError):
            return
        said = str(error.orig)
        if "locked" in said:
            what, fix = "The ledger is busy.", "Another program holds it; try again in a moment."
        elif "readonly" in said or "unable to open" in said or "disk" in said:
            what = f"The ledger cannot be written ({said})."
            fix = "Check that the folder may be written and the disk is not full."
        else:
            what = f"The ledger cannot be used ({said})."
            fix = "Move the file away, or put back the last copy of it."
        raise BadInput(Fault(what, fix, str(self.path))) from error


def _draft(row) -> Draft:
    return Draft(row.key, row.title, row.content, row.revision, _from_text(row.saved))


def _to_text(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def _from_text(said: str) -> datetime:
    return datetime.fromisoformat(said)


__all__ = ["FILE", "Draft", "Ledger", "Stale", "new_key"]
