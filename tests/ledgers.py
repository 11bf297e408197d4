"""Ledgers to test with: a SQLite file, and a PostgreSQL schema where a server is at hand.

ESTIMATOR_TEST_POSTGRES holds the address of a database that may be written to; without it those
tests skip, or fail where ESTIMATOR_REQUIRE_POSTGRES is set, so that nothing is skipped unseen.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from estimator.ledger import Item, Job, Ledger, Sent, TimeEntry

KINDS = ("sqlite", "postgresql")


@contextlib.contextmanager
def address(kind: str) -> Iterator[str]:
    """Address of an empty database of this kind, gone afterwards; blank for SQLite."""
    if kind == "sqlite":
        yield ""
        return
    server = os.environ.get("ESTIMATOR_TEST_POSTGRES", "")
    if not server:
        words = "no PostgreSQL is named in ESTIMATOR_TEST_POSTGRES"
        if os.environ.get("ESTIMATOR_REQUIRE_POSTGRES"):
            pytest.fail(words, pytrace=False)
        pytest.skip(words)
    from sqlalchemy import create_engine, make_url

    name = f"test_{secrets.token_hex(6)}"
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql(f"CREATE SCHEMA {name}")
        url = make_url(server).update_query_dict({"options": f"-csearch_path={name}"})
        yield url.render_as_string(hide_password=False)
        with engine.connect() as connection:
            connection.exec_driver_sql(f"DROP SCHEMA {name} CASCADE")
    finally:
        engine.dispose()


class Bench:
    """Opens ledgers on one database and closes them all at the end."""

    def __init__(self, folder: Path, address: str):
        self.folder, self.address = folder, address
        self.opened: list[Ledger] = []

    def ledger(self) -> Ledger:
        """Another ledger on the same database."""
        self.opened.append(Ledger(self.folder, self.address))
        return self.opened[-1]

    def close(self) -> None:
        """Close every ledger."""
        for ledger in self.opened:
            ledger.close()


@contextlib.contextmanager
def bench(kind: str, folder: Path) -> Iterator[Bench]:
    """A bench on a database of its own."""
    with address(kind) as found:
        made = Bench(folder, found)
        try:
            yield made
        finally:
            made.close()


DAY = date(2026, 3, 4)
NOW = datetime(2026, 3, 4, 18, 0).astimezone()
"""A moment to book at: the evening of `DAY` on this computer's clock."""
UNBILLED = ("messages", "ordering", "sweeping", "unlisted")


def with_job(ledger: Ledger, number: str = "260302-A1", name: str = "Harbour Lights",
             items: int = 3, accepted: date = DAY - timedelta(2)) -> Job:
    """A job with so many work items, accepted two days before `DAY`."""
    ledger.record(Sent(number, name, "shop-job", accepted - timedelta(1), Decimal("900.00"),
                       700.0, "USD"))
    job = Job(number, name, accepted, accepted + timedelta(22))
    operations = ("strip", "flipper-rebuild", "flipper-rebuild", "test")
    return ledger.accept(job, [
        Item(number, place, number, place, f"Line {place}", "flipper", operations[place - 1],
             operations[place - 1].replace("-", " ").capitalize(), "rebuild", "bench",
             0.5, 0.75, 1.5, 0.1, 1.1)
        for place in range(1, items + 1)])


def at(hour: int, minute: int = 0, day: date = DAY) -> datetime:
    """A time of `DAY` on this computer's clock."""
    return datetime.combine(day, time(hour, minute)).astimezone()


def worked(hours: float = 2.0, **said) -> TimeEntry:
    """Hours of Anna on ordering, or as said."""
    place = {} if "item" in said else {"unbilled": "ordering"}
    return TimeEntry(**{"person": "Anna", "day": DAY, "hours": hours} | place | said)
