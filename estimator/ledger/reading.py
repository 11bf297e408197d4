"""Rows of jobs, items, clocks and entries as records, read on a connection that is at hand."""

from __future__ import annotations

from collections.abc import Collection

from estimator.ledger.records import Clock, Item, Job, Outwork, Purchase, Sale, TimeEntry
from estimator.ledger.schema import tables

TABLE = {TimeEntry: "time_entries", Purchase: "purchases", Outwork: "outwork", Sale: "sales"}


def jobs_in(connection) -> tuple[Job, ...]:
    """Every job, the last accepted first."""
    from sqlalchemy import select
    table = tables().jobs
    rows = connection.execute(
        select(table).order_by(table.c.accepted.desc(), table.c.number.desc()))
    return tuple(Job(**row._mapping) for row in rows)


def items_in(connection, numbers: Collection[str]) -> tuple[Item, ...]:
    """The work items of these jobs, by their number."""
    from sqlalchemy import select
    table = tables().items
    rows = connection.execute(select(table).where(table.c.job.in_(numbers))
                              .order_by(table.c.job, table.c.item))
    return tuple(Item(**row._mapping) for row in rows)


def clocks_in(connection) -> tuple[Clock, ...]:
    """Clocks that run, the longest first."""
    from sqlalchemy import select
    table = tables().clocks
    rows = connection.execute(select(table).order_by(table.c.started, table.c.person))
    return tuple(Clock(**row._mapping) for row in rows)


def entries_in(connection, kind, *, job=None, since=None, until=None, history=False) -> tuple:
    """Entries of a kind by day and id; those in force, or all of them."""
    from sqlalchemy import select
    table = getattr(tables(), TABLE[kind])
    said = select(table).order_by(table.c.day, table.c.id)
    if job is not None:
        said = said.where(table.c.job == job)
    if since is not None:
        said = said.where(table.c.day >= since)
    if until is not None:
        said = said.where(table.c.day <= until)
    if not history:
        taken_back = select(table.c.reverses).where(table.c.reverses.is_not(None))
        said = said.where(table.c.reverses.is_(None), table.c.id.not_in(taken_back))
    found = connection.execute(said)
    names = tuple(found.keys())
    return tuple(kind(**dict(zip(names, row, strict=True))) for row in found)
