"""Ledgers to test with: a SQLite file, and a PostgreSQL schema where a server is at hand.

ESTIMATOR_TEST_POSTGRES holds the address of a database that may be written to; without it those
tests skip, or fail where ESTIMATOR_REQUIRE_POSTGRES is set, so that nothing is skipped unseen.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest

from estimator.ledger import Ledger

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
