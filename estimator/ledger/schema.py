"""The tables of the ledger as SQLAlchemy sees them; the migrations make them.

Amounts are kept as text, to the last digit that a person wrote; moments as ISO 8601 in UTC, which
sorts as text and reads the same in any program; days as ISO 8601.
"""

from __future__ import annotations

import functools
import json


class Unreadable(ValueError):
    """A cell of the ledger is not what was once written into it."""


VERSION = 7
"""Of the ledger: 1 drafts; 2 quotes sent as well; 3 what they were computed from; 4 jobs, their
items, and what is booked to them; 5 revisions of jobs, items they drop, items that are done; 6 no
more to say, and found sooner; 7 hashes of what is frozen."""


def from_json(said: str | bytes):
    """A value from its JSON.

    Raises
    ------
    Unreadable
        If it is none.
    """
    try:
        return json.loads(said)
    except (TypeError, ValueError, RecursionError):
        raise Unreadable(f"{said!r:.40} cannot be read") from None


@functools.lru_cache(maxsize=1)
def tables():
    """The tables, named by attribute; `about` is their metadata."""
    from datetime import UTC, date, datetime
    from decimal import Decimal
    from types import SimpleNamespace

    from sqlalchemy import (
        JSON,
        Column,
        Float,
        ForeignKey,
        ForeignKeyConstraint,
        Index,
        Integer,
        LargeBinary,
        MetaData,
        String,
        Table,
        TypeDecorator,
    )

    class Text(TypeDecorator):
        """A value that is kept as text."""

        impl = String

        def process_bind_param(self, value, dialect):
            return None if value is None else self.written(value)

        def result_processor(self, dialect, coltype):
            # Not `process_result_value`: this is said once a statement, that once a cell.
            read = self.read

            def process(value):
                try:
                    return None if value is None else read(value)
                except (ArithmeticError, AttributeError, TypeError, ValueError):
                    raise Unreadable(f"{value!r:.40} cannot be read") from None

            return process

    class Moment(Text):
        cache_ok = True

        def written(self, value):
            return value.astimezone(UTC).isoformat(timespec="microseconds")

        read = staticmethod(datetime.fromisoformat)

    class Day(Text):
        cache_ok = True

        def written(self, value):
            # Not strftime: some platforms write the year 1 as "1".
            return value.isoformat()

        # Few days stand in very many rows.
        @staticmethod
        @functools.lru_cache(maxsize=10_000)
        def read(value):
            return date.fromisoformat(value.zfill(10))

    class Money(Text):
        cache_ok = True
        written, read = staticmethod(str), staticmethod(Decimal)

    about = MetaData()
    drafts = Table(
        "drafts", about,
        Column("key", String(40), primary_key=True),
        Column("title", String, nullable=False),
        Column("content", JSON, nullable=False),
        Column("revision", Integer, nullable=False),
        Column("saved", Moment(32), nullable=False, index=True),
    )
    sent = Table(
        "sent", about,
        Column("number", String(40), primary_key=True),
        Column("title", String, nullable=False),
        Column("level", String(40), nullable=False),
        Column("sent", Day(10), nullable=False, index=True),
        Column("price", Money(40), nullable=False),
        Column("cost_mean", Float, nullable=False),
        Column("currency", String(3), nullable=False),
        Column("outcome", String(4), nullable=False),
    )
    shop_tables = Table(
        "shop_tables", about,
        Column("hash", String(64), primary_key=True),
        Column("content", LargeBinary, nullable=False),
    )
    frozen = Table(
        "frozen", about,
        Column("id", Integer, primary_key=True),
        Column("number", String(40), ForeignKey("sent.number"), nullable=False, index=True),
        Column("kept", Moment(32), nullable=False),
        Column("version", String(40), nullable=False),
        Column("survey", JSON, nullable=False),
        Column("choices", JSON, nullable=False),
        Column("settings", JSON, nullable=False),
        Column("tables", String(64), ForeignKey("shop_tables.hash"), nullable=False),
        Column("answer", JSON, nullable=False),
        Column("revision_of", String(40), ForeignKey("sent.number")),
        Column("hash", String(64), nullable=False),
    )
    jobs = Table(
        "jobs", about,
        Column("number", String(40), ForeignKey("sent.number"), primary_key=True),
        Column("name", String, nullable=False),
        Column("accepted", Day(10), nullable=False),
        Column("promised", Day(10)),
        Column("state", String(20), nullable=False),
        Column("closed", Day(10)),
    )
    items = Table(
        "items", about,
        Column("job", String(40), ForeignKey("jobs.number"), primary_key=True),
        Column("item", Integer, primary_key=True, autoincrement=False),
        Column("quote", String(40), ForeignKey("sent.number"), nullable=False),
        Column("line", Integer, nullable=False),
        Column("title", String, nullable=False),
        Column("assembly", String(60), nullable=False),
        Column("operation", String(60), nullable=False),
        Column("name", String, nullable=False),
        Column("kind", String(20), nullable=False),
        Column("skill", String(20), nullable=False),
        *(Column(name, Float, nullable=False)
          for name in ("low", "typical", "high", "setup", "expected")),
    )

    def entries(table, *columns, by_job=True):
        return Table(
            table, about,
            Column("id", Integer, primary_key=True),
            Column("booked", Moment(32), nullable=False),
            Column("day", Day(10), nullable=False),
            Column("job", String(40), ForeignKey("jobs.number"), index=by_job),
            Column("note", String, nullable=False),
            Column("reverses", Integer, ForeignKey(f"{table}.id"), unique=True),
            Column("replaces", Integer, ForeignKey(f"{table}.id"), unique=True),
            Column("why", String, nullable=False),
            *columns,
        )

    time_entries = entries(
        "time_entries",
        Column("person", String(80), nullable=False),
        Column("hours", Float, nullable=False),
        Column("item", Integer),
        Column("unbilled", String(60)),
        Column("started", Moment(32)),
        Column("stopped", Moment(32)),
        ForeignKeyConstraint(["job", "item"], ["items.job", "items.item"]),
        Index("ix_time_entries_person_day", "person", "day"),
        # Holds all that sums of hours ask for, in the order in which they are summed.
        Index("ix_time_entries_sums", "job", "item", "person", "unbilled", "hours", "day",
              "reverses"),
        Index("ix_time_entries_day", "day"),
        by_job=False,
    )
    purchases = entries(
        "purchases",
        Column("supplier", String, nullable=False),
        Column("what", String, nullable=False),
        Column("part", String(60)),
        Column("quantity", Float, nullable=False),
        Column("unit", String(40), nullable=False),
        Column("amount", Money(40), nullable=False),
        Column("currency", String(3), nullable=False),
    )
    outwork = entries(
        "outwork",
        Column("service", String, nullable=False),
        Column("what", String, nullable=False),
        Column("event", String(4), nullable=False),
        Column("quantity", Float, nullable=False),
        Column("unit", String(40), nullable=False),
        Column("of", Integer, ForeignKey("outwork.id"), index=True),
        Column("amount", Money(40), nullable=False),
        Column("currency", String(3), nullable=False),
    )
    sales = entries(
        "sales",
        Column("what", String, nullable=False),
        Column("amount", Money(40), nullable=False),
        Column("fees", Money(40), nullable=False),
        Column("currency", String(3), nullable=False),
    )
    done_marks = entries(
        "done_marks",
        Column("item", Integer, nullable=False),
        ForeignKeyConstraint(["job", "item"], ["items.job", "items.item"]),
    )
    revisions = Table(
        "revisions", about,
        Column("number", String(40), ForeignKey("sent.number"), primary_key=True),
        Column("job", String(40), ForeignKey("jobs.number"), nullable=False, index=True),
        Column("of", String(40), ForeignKey("sent.number"), nullable=False),
        Column("offered", Day(10), nullable=False),
        Column("ready", Day(10)),
        Column("changes", JSON, nullable=False),
        Column("hash", String(64), nullable=False),
    )
    answers = Table(
        "answers", about,
        Column("number", String(40), ForeignKey("revisions.number"), primary_key=True),
        Column("answer", String(7), nullable=False),
        Column("answered", Day(10), nullable=False),
        Column("kept", Moment(32), nullable=False),
        Column("note", String, nullable=False),
    )
    dropped_items = Table(
        "dropped_items", about,
        Column("job", String(40), primary_key=True),
        Column("item", Integer, primary_key=True, autoincrement=False),
        Column("revision", String(40), ForeignKey("revisions.number"), nullable=False),
        ForeignKeyConstraint(["job", "item"], ["items.job", "items.item"]),
    )
    clocks = Table(
        "clocks", about,
        Column("person", String(80), primary_key=True),
        Column("started", Moment(32), nullable=False),
        Column("job", String(40), ForeignKey("jobs.number")),
        Column("item", Integer),
        Column("unbilled", String(60)),
        Column("note", String, nullable=False),
        ForeignKeyConstraint(["job", "item"], ["items.job", "items.item"]),
    )
    return SimpleNamespace(
        about=about, drafts=drafts, sent=sent, shop_tables=shop_tables, frozen=frozen, jobs=jobs,
        items=items, time_entries=time_entries, purchases=purchases, outwork=outwork, sales=sales,
        done_marks=done_marks, revisions=revisions, answers=answers, dropped_items=dropped_items,
        clocks=clocks)
