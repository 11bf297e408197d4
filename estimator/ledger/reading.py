"""Rows of jobs, items, clocks and entries as records, read on a connection that is at hand."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from estimator.ledger.records import (
    Clock,
    Done,
    Item,
    Job,
    Outwork,
    Purchase,
    Revision,
    Sale,
    TimeEntry,
)
from estimator.ledger.schema import tables

TABLE = {TimeEntry: "time_entries", Purchase: "purchases", Outwork: "outwork", Sale: "sales",
         Done: "done_marks"}


def jobs_in(connection) -> tuple[Job, ...]:
    """Every job, the last accepted first."""
    from sqlalchemy import select
    table = tables().jobs
    rows = connection.execute(
        select(table).order_by(table.c.accepted.desc(), table.c.number.desc()))
    return tuple(Job(**row._mapping) for row in rows)


def items_in(connection, numbers: Collection[str], dropped: bool = False) -> tuple[Item, ...]:
    """The work items of these jobs, by their number; with those dropped if asked for."""
    from sqlalchemy import select
    table, gone = tables().items, tables().dropped_items
    said = select(table).where(table.c.job.in_(numbers)).order_by(table.c.job, table.c.item)
    if not dropped:
        said = said.outerjoin(gone, (gone.c.job == table.c.job) & (gone.c.item == table.c.item)) \
            .where(gone.c.item.is_(None))
    return tuple(Item(**row._mapping) for row in connection.execute(said))


def dropped_in(connection, numbers: Collection[str]) -> dict[tuple[str, int], str]:
    """Of these jobs the items that were dropped, with the revision that did."""
    from sqlalchemy import select
    table = tables().dropped_items
    rows = connection.execute(select(table).where(table.c.job.in_(numbers)))
    return {(row.job, row.item): row.revision for row in rows}


def revisions_in(connection, job: str | None = None) -> tuple[Revision, ...]:
    """Revisions with their answers, of one job or of all, as they were offered."""
    from sqlalchemy import select
    t = tables()
    said = select(t.revisions, t.answers.c.answer, t.answers.c.answered, t.answers.c.note) \
        .outerjoin(t.answers, t.answers.c.number == t.revisions.c.number) \
        .order_by(t.revisions.c.offered, t.revisions.c.number)
    if job is not None:
        said = said.where(t.revisions.c.job == job)
    return tuple(
        Revision(**{**row._mapping, "answer": row.answer or "open", "note": row.note or "",
                    "changes": tuple(row.changes)})
        for row in connection.execute(said))


def standing_in(revisions: Iterable[Revision], job: str) -> str:
    """The quote that holds for a job: its own, or the revision agreed to last."""
    after = {one.of: one.number for one in revisions
             if one.job == job and one.answer == "agreed"}
    number = job
    while number in after:
        number = after[number]
    return number


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
