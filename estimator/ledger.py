"""The ledger: what the shop keeps from day to day, in one SQLite file in the shop folder.

Drafts: it knows keys, times and JSON, and nothing of what a draft says; the pages put in what
they need to open again where they left off. Quotes sent: what was asked for, what it was
expected to cost, and whether the customer accepted.

The file is opened at the first call and made at the first save, so that looking at a page leaves
nothing behind. One made by an earlier version gets the tables it lacks and keeps what it holds.
"""

from __future__ import annotations

import contextlib
import functools
import math
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

from estimator.errors import BadInput, Fault, one_of

FILE = "ledger.sqlite"
SCHEMA = 2  # 1: drafts; 2: quotes sent as well
OUTCOMES = ("open", "won", "lost")
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


@dataclass(frozen=True)
class Sent:
    """A quote as it was sent to a customer.

    Parameters
    ----------
    number
        Of the quote; no two have the same.
    title
        Of the machine.
    level
        The service level that was quoted.
    sent
        The day it was sent.
    price
        What was asked for, before tax, over 0. [money]
    cost_mean
        What the job was expected to cost, finds included, over 0. A planning figure, and so not
        rounded to the cent. [money]
    currency
        Of both, as three letters (ISO 4217).
    outcome
        "open" until the customer has answered, then "won" or "lost".

    Raises
    ------
    BadInput
        If the number is empty, an amount is not over 0, or the outcome is another one.
    """

    number: str
    title: str
    level: str
    sent: date
    price: Decimal
    cost_mean: float
    currency: str
    outcome: str = "open"

    def __post_init__(self) -> None:
        faults = [
            Fault(f"{what} of quote {self.number} is {amount}; it must be a number over 0.")
            for what, amount in (("The price", self.price), ("The expected cost", self.cost_mean))
            if not 0 < float(amount) < math.inf
        ]
        if not self.number.strip():
            faults.insert(0, Fault("A quote needs a number to be kept under."))
        if self.outcome not in OUTCOMES:
            faults.append(_no_outcome(self.outcome))
        if faults:
            raise BadInput(faults)


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
        with self._writing() as connection:
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
        with self._writing() as connection:
            connection.execute(delete(table).where(table.c.key == key))

    def sent(self) -> tuple[Sent, ...]:
        """Every quote that was sent, the newest first; of one day, the highest number first."""
        if not self.path.exists():
            return ()
        from sqlalchemy import select
        table = _tables().sent
        return tuple(map(_sent, self._read(
            select(table).order_by(table.c.sent.desc(), table.c.number.desc()))))

    def record(self, sent: Sent) -> Sent:
        """Keep a quote that was sent; returns it as kept.

        The same number again replaces what was kept while that is open. Once it is decided it
        stays as it was won or lost, and that is what is returned.
        """
        from sqlalchemy import insert, select, update
        table = _tables().sent
        values = asdict(sent) | {"sent": f"{sent.sent:%Y-%m-%d}", "price": str(sent.price),
                                 "cost_mean": float(sent.cost_mean)}
        same = table.c.number == sent.number
        with self._writing() as connection:
            row = connection.execute(select(table).where(same)).first()
            if row is None:
                connection.execute(insert(table).values(values))
            elif row.outcome == "open":
                connection.execute(update(table).where(same).values(values))
            else:
                return _sent(row)
        return sent

    def decide(self, number: str, outcome: str) -> Sent:
        """Say what came of a quote: "won", "lost", or "open" again; returns it as kept.

        Raises
        ------
        BadInput
            If no quote of that number was kept, with the nearest numbers, or for another outcome.
        """
        from sqlalchemy import select, update
        if outcome not in OUTCOMES:
            raise BadInput(_no_outcome(outcome))
        if not self.path.exists():
            raise BadInput(_no_number(number, ()))
        table = _tables().sent
        same = table.c.number == number
        with self._writing() as connection:
            if not connection.execute(update(table).where(same).values(outcome=outcome)).rowcount:
                known = connection.execute(select(table.c.number).order_by(table.c.sent.desc()))
                raise BadInput(_no_number(number, known.scalars().all()))
            return _sent(connection.execute(select(table).where(same)).one())

    def close(self) -> None:
        """Let go of the file; the next call opens it again."""
        engine = self.__dict__.pop("_engine", None)
        if engine is not None:
            engine.dispose()

    def _read(self, statement):
        with self._guard(), self._engine.connect() as connection:
            return connection.execute(statement).all()

    @contextlib.contextmanager
    def _writing(self):
        with self._guard(), self._engine.begin() as connection:
            # IMMEDIATE: no other window may write between the look and the save.
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            yield connection

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

    from sqlalchemy import JSON, Column, Float, Integer, MetaData, String, Table

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
    sent = Table(
        "sent", about,
        Column("number", String(40), primary_key=True),
        Column("title", String, nullable=False),
        Column("level", String(40), nullable=False),
        Column("sent", String(10), nullable=False, index=True),  # ISO 8601
        # The amount a customer read, to its last digit: SQLite has no decimals, text keeps them.
        Column("price", String(40), nullable=False),
        Column("cost_mean", Float, nullable=False),
        Column("currency", String(3), nullable=False),
        Column("outcome", String(4), nullable=False),
    )
    return SimpleNamespace(about=about, drafts=drafts, sent=sent)


def _make(engine, path: Path) -> None:
    """Make what is missing; refuse a file that a later version has made."""
    with engine.begin() as connection:
        if _version(connection, path) == SCHEMA:
            return
        # Another window may be making it as well: whoever comes second finds it made.
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        if _version(connection, path) < SCHEMA:
            _tables().about.create_all(connection)
            connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA}")


def _version(connection, path: Path) -> int:
    version = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
    if version > SCHEMA:
        raise BadInput(Fault("The ledger was made by a later version of this program.",
                             "Use that version, or another shop folder.", path.name))
    return version


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


def _sent(row) -> Sent:
    return Sent(row.number, row.title, row.level, date.fromisoformat(row.sent),
                Decimal(row.price), row.cost_mean, row.currency, row.outcome)


def _no_outcome(said: str) -> Fault:
    return Fault(f'"{said}" is no outcome of a quote.', one_of(said, OUTCOMES))


def _no_number(number: str, known: Sequence[str]) -> Fault:
    near = one_of(number, known) if known else "None was kept so far."
    return Fault(f'No quote with the number "{number}" was kept.', near)


def _to_text(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def _from_text(said: str) -> datetime:
    return datetime.fromisoformat(said)


__all__ = ["FILE", "OUTCOMES", "Draft", "Ledger", "Sent", "Stale", "new_key"]
