"""Rows of jobs, items, clocks and entries as records, read on a connection that is at hand."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from estimator.ledger import rules
from estimator.ledger.records import (
    Clock,
    Done,
    Item,
    Job,
    OnItem,
    Outwork,
    Purchase,
    Revision,
    Sale,
    TimeEntry,
)
from estimator.ledger.schema import tables
from estimator.ledger.sealing import Spoiled, sealed, unsealed

TABLE = {TimeEntry: "time_entries", Purchase: "purchases", Outwork: "outwork", Sale: "sales",
         Done: "done_marks"}


def jobs_in(connection, numbers: Collection[str] | None = None) -> tuple[Job, ...]:
    """Every job, or those of these numbers, the last accepted first."""
    from sqlalchemy import select
    table = tables().jobs
    said = select(table).order_by(table.c.accepted.desc(), table.c.number.desc())
    if numbers is not None:
        said = said.where(table.c.number.in_(numbers))
    return tuple(Job(*row) for row in connection.execute(said))


def job_in(connection, said: str) -> Job:
    """The job of that number or name; see `rules.job_named`."""
    found = jobs_in(connection, [said.strip()])
    return found[0] if found else rules.job_named(said, jobs_in(connection))


def known_jobs_in(connection, numbers: Collection[str]) -> Mapping[str, Job]:
    """Jobs by these numbers; all there are if one of them is not among them, to name the nearest.
    """
    found = {job.number: job for job in jobs_in(connection, numbers)}
    if set(numbers) - set(found):
        found = {job.number: job for job in jobs_in(connection)}
    return found


def items_in(connection, numbers: Collection[str], dropped: bool = False) -> tuple[Item, ...]:
    """The work items of these jobs, by their number; with those dropped if asked for."""
    from sqlalchemy import select
    table, gone = tables().items, tables().dropped_items
    said = select(table).where(table.c.job.in_(numbers)).order_by(table.c.job, table.c.item)
    if not dropped:
        said = said.outerjoin(gone, (gone.c.job == table.c.job) & (gone.c.item == table.c.item)) \
            .where(gone.c.item.is_(None))
    return tuple(Item(*row) for row in connection.execute(said))


def expected_in(connection, jobs: Collection[str] | None = None) -> dict[str, float]:
    """Hours expected of each of these jobs, or of all, of items that were not dropped. [h]"""
    from sqlalchemy import func, select
    table, gone = tables().items, tables().dropped_items
    said = select(table.c.job, func.sum(table.c.expected)).group_by(table.c.job) \
        .outerjoin(gone, (gone.c.job == table.c.job) & (gone.c.item == table.c.item)) \
        .where(gone.c.item.is_(None))
    if jobs is not None:
        said = said.where(table.c.job.in_(jobs))
    return dict(connection.execute(said).all())


def dropped_in(connection, numbers: Collection[str]) -> dict[tuple[str, int], str]:
    """Of these jobs the items that were dropped, with the revision that did."""
    from sqlalchemy import select
    table = tables().dropped_items
    rows = connection.execute(select(table).where(table.c.job.in_(numbers)))
    return {(row.job, row.item): row.revision for row in rows}


def last_frozen(connection, number: str) -> dict | None:
    """What a quote was computed from, as it was sent last; None where that was not kept.

    Raises
    ------
    Spoiled
        If it is not as it was kept.
    """
    from sqlalchemy import select
    table = tables().frozen
    row = connection.execute(select(*sealed(table, connection)).where(table.c.number == number)
                             .order_by(table.c.id.desc()).limit(1)).first()
    found = None if row is None else unsealed(table, row._mapping)
    if row is not None and found is None:
        raise Spoiled(table, [number])
    return found


def revisions_in(connection, jobs: Collection[str] | None = None, number: str | None = None, *,
                 changes: bool = False) -> tuple[Revision, ...]:
    """Revisions with their answers, of these jobs or of all, or of one number, as offered.

    Parameters
    ----------
    changes
        False leaves what they change blank, which no list of them needs.

    Raises
    ------
    Spoiled
        If the changes of any are not as they were kept, and they are asked for.
    """
    from sqlalchemy import select
    t = tables()
    c, answers = t.revisions.c, t.answers.c
    said = select(c.number, c.job, c.of, c.offered, c.ready,
                  answers.answer, answers.answered, answers.note) \
        .outerjoin(t.answers, answers.number == c.number).order_by(c.offered, c.number)
    if jobs is not None:
        said = said.where(c.job.in_(jobs))
    if number is not None:
        said = said.where(c.number == number)
    rows = connection.execute(said).all()
    kept = _changes_in(connection, [row.number for row in rows]) if changes else {}
    return tuple(
        Revision(**{**row._mapping, "answer": row.answer or "open", "note": row.note or "",
                    "changes": kept.get(row.number, ())})
        for row in rows)


def _changes_in(connection, numbers: Collection[str]) -> dict[str, tuple]:
    """What these revisions change."""
    from sqlalchemy import select
    table = tables().revisions
    found = {row.number.decode(): unsealed(table, row._mapping) for row in connection.execute(
        select(*sealed(table, connection)).where(table.c.number.in_(numbers)))}
    lost = [number for number, said in found.items() if said is None]
    if lost:
        raise Spoiled(table, sorted(lost))
    return {number: tuple(said["changes"]) for number, said in found.items()}


def standing_in(revisions: Iterable[Revision], job: str) -> str:
    """The quote that holds for a job: its own, or the revision agreed to last."""
    return standing_of(one for one in revisions if one.job == job).get(job, job)


def standing_of(revisions: Iterable[Revision]) -> dict[str, str]:
    """Of each job with an agreed revision, the quote that holds for it."""
    after: dict[str, dict[str, str]] = {}
    for one in revisions:
        if one.answer == "agreed":
            after.setdefault(one.job, {})[one.of] = one.number
    found = {}
    for job, later in after.items():
        number = job
        while number in later:
            number = later[number]
        found[job] = number
    return found


def clocks_in(connection) -> tuple[Clock, ...]:
    """Clocks that run, the longest first."""
    from sqlalchemy import select
    table = tables().clocks
    rows = connection.execute(select(table).order_by(table.c.started, table.c.person))
    return tuple(Clock(**row._mapping) for row in rows)


def entries_in(connection, kind, *, history=False, last: int | None = None, **asked) -> tuple:
    """Entries of a kind by day and id; those in force, or all of them.

    Parameters
    ----------
    last
        Only so many of them, the last ones.
    asked
        Which ones; see `_asked`.
    """
    from sqlalchemy import select
    table = getattr(tables(), TABLE[kind])
    said = select(table).where(*_asked(table, **asked))
    if not history:
        said = said.where(*_in_force(table))
    if last is None:
        return _records(connection, kind, said.order_by(table.c.day, table.c.id))
    said = said.order_by(table.c.day.desc(), table.c.id.desc()).limit(last)
    return _records(connection, kind, said)[::-1]


def _asked(table, *, job: str | None = None, jobs: Collection[str] | None = None, since=None,
           until=None, people: Collection[str] | None = None, id: int | None = None,
           of: int | None = None) -> Iterator:
    """Conditions: of this job or these, from a day, up to a day, of these people, the one of this
    number, those that came back from this lot."""
    for column, value in (("job", job), ("id", id), ("of", of)):
        if value is not None:
            yield table.c[column] == value
    for column, among in (("job", jobs), ("person", people)):
        if among is not None:
            yield table.c[column].in_(among)
    if since is not None:
        yield table.c.day >= since
    if until is not None:
        yield table.c.day <= until


def latest_in(connection, kind, count: int, *, job=None, history=False) -> tuple:
    """The entries of a kind that were booked last, the last one first."""
    from sqlalchemy import select
    table = getattr(tables(), TABLE[kind])
    said = select(table).order_by(table.c.id.desc()).limit(count)
    if job is not None:
        said = said.where(table.c.job == job)
    if not history:
        said = said.where(*_in_force(table))
    return _records(connection, kind, said)


def counted_in(connection, *, history=False, **asked) -> tuple[int, float]:
    """How many time entries there are, and their hours together; see `_asked`. [h]"""
    from sqlalchemy import func, select
    table = tables().time_entries
    said = select(func.count(), func.count(table.c.reverses), func.sum(table.c.hours)) \
        .select_from(table).where(*_asked(table, **asked))
    entries, reversed_ones, hours = connection.execute(said).one()
    # An entry taken back and its counter-entry are of one day, person and job; both are not in
    # force, and add up to nothing.
    return entries - (0 if history else 2 * reversed_ones), _dusted(hours)


def hours_in(connection, jobs: Collection[str] | None = None) -> dict[str | None, float]:
    """Hours booked to each of these jobs, or to all; None for the shop as a whole. [h]"""
    from sqlalchemy import func, select
    c = tables().time_entries.c
    said = select(c.job, func.sum(c.hours)).group_by(c.job)
    if jobs is not None:
        said = said.where(c.job.in_(jobs))
    return {job: _dusted(hours) for job, hours in connection.execute(said)}


def hours_on_items_in(connection, job: str) -> dict[int, float]:
    """Hours booked to each work item of a job. [h]"""
    from sqlalchemy import func, select
    c = tables().time_entries.c
    said = select(c.item, func.sum(c.hours)).where(c.job == job, c.item.is_not(None)) \
        .group_by(c.item)
    return {item: _dusted(hours) for item, hours in connection.execute(said)}


def together_in(connection, jobs: Collection[str] | None = None) -> tuple[TimeEntry, ...]:
    """Time entries put together: one for each job, item, kind of unbilled time and person.

    Its day is the last one; those whose hours were all taken back are left out.

    Parameters
    ----------
    jobs
        Numbers of jobs; None is all of them and the shop as a whole.
    """
    from sqlalchemy import func, select
    table = tables().time_entries
    c = table.c
    by = (c.job, c.item, c.person, c.unbilled)
    said = select(*by, func.sum(c.hours), func.max(c.day, type_=c.day.type)) \
        .where(*_all_in_force(table)).group_by(*by).order_by(*by)
    if jobs is not None:
        said = said.where(c.job.in_(jobs))
    return tuple(
        TimeEntry(day=day, job=job, person=person, hours=hours, item=item, unbilled=unbilled)
        for job, item, person, unbilled, hours, day in connection.execute(said))


def worked_in(connection, jobs: Collection[str]) -> tuple[OnItem, ...]:
    """Hours in force on the work items of these jobs, by job, item and person.

    Without items that were dropped.
    """
    from sqlalchemy import func, select
    table, items, gone = tables().time_entries, tables().items, tables().dropped_items
    c = table.c
    by = (c.job, c.item, c.person)
    # Summed before they are joined: in the order of the index, which holds all that is asked.
    sums = select(*by, func.sum(c.hours).label("hours")) \
        .where(c.job.in_(jobs), *_all_in_force(table)).group_by(*by).subquery()
    said = select(items.c.job, items.c.item, items.c.quote, items.c.operation, items.c.expected,
                  sums.c.person, sums.c.hours) \
        .join(sums, (sums.c.job == items.c.job) & (sums.c.item == items.c.item)) \
        .outerjoin(gone, (gone.c.job == items.c.job) & (gone.c.item == items.c.item)) \
        .where(gone.c.item.is_(None)).order_by(items.c.job, items.c.item, sums.c.person)
    return tuple(map(OnItem._make, connection.execute(said).all()))


def marks_in(connection, jobs: Collection[str]) -> dict[str, str]:
    """Of each of these jobs with hours, a mark that changes whenever `worked_in` does.

    Entries are added and never changed or taken away, and an item with hours is never dropped. So
    the last entry, and how many there are, say all; the moment it was booked and the hours tell
    ledgers apart that were put in each other's place.
    """
    from sqlalchemy import func, select
    table = tables().time_entries
    c = table.c
    sums = select(c.job, func.count().label("entries"), func.max(c.id).label("last"),
                  func.sum(c.hours).label("hours")) \
        .where(c.job.in_(jobs)).group_by(c.job).subquery()
    rows = connection.execute(select(sums, c.booked).join(table, c.id == sums.c.last))
    return {job: f"{entries} {last} {hours!r} {booked.isoformat()}"
            for job, entries, last, hours, booked in rows}


def people_in(connection, history: bool = False) -> tuple[str, ...]:
    """Everybody of whom hours are in force, by name; or were ever booked, with `history`.

    From one name to the next by the index: as many steps as people, however much they booked.
    """
    from sqlalchemy import exists, func, select
    table = tables().time_entries
    names = select(func.min(table.c.person).label("name")).cte("names", recursive=True)
    after = select(func.min(table.c.person)).where(table.c.person > names.c.name) \
        .correlate(names).scalar_subquery()
    names = names.union_all(select(after).select_from(names).where(names.c.name.is_not(None)))
    said = select(names.c.name).where(names.c.name.is_not(None)).order_by(names.c.name)
    if not history:
        said = said.where(exists().where(table.c.person == names.c.name, *_in_force(table)))
    return tuple(connection.execute(said).scalars())


def out_in(connection, id: int | None = None) -> tuple[tuple[Outwork, float], ...]:
    """Lots of which pieces are still out, and how many; or only the one of that number."""
    from sqlalchemy import func, select
    table = tables().outwork
    # Counter-entries have their signs turned, so that all of them add up to those in force.
    returned = table.alias()
    came = select(func.coalesce(func.sum(returned.c.quantity), 0.0)) \
        .where(returned.c.of == table.c.id).scalar_subquery()
    said = select(table, came.label("came")).where(
        table.c.event == "sent", table.c.quantity - came > 1e-9, *_in_force(table)) \
        .order_by(table.c.day, table.c.id)
    if id is not None:
        said = said.where(table.c.id == id)
    found = []
    for row in connection.execute(said):
        lot = dict(row._mapping)
        came_back = lot.pop("came")
        found.append((Outwork(**lot), _dusted(lot["quantity"] - came_back)))
    return tuple(found)


def _in_force(table) -> tuple:
    """Neither taken back nor a counter-entry."""
    from sqlalchemy import func, select
    back = table.alias("back")
    # Not "is null": SQLite would look all of those up by the index of `reverses`, which nearly all
    # entries share, instead of the few of a job or a day.
    return (func.coalesce(table.c.reverses, 0) == 0,
            ~select(back.c.id).where(back.c.reverses == table.c.id).exists())


def _all_in_force(table) -> tuple:
    """As `_in_force`, where nearly all entries are asked for: those taken back are listed once.

    Of those in force alone: what was booked exactly as expected stays exactly that.
    """
    from sqlalchemy import func, select
    back = select(table.c.reverses).where(table.c.reverses.is_not(None))
    return func.coalesce(table.c.reverses, 0) == 0, table.c.id.not_in(back)


def _records(connection, kind, said) -> tuple:
    found = connection.execute(said)
    names = tuple(found.keys())
    return tuple(kind(**dict(zip(names, row, strict=True))) for row in found)


def _dusted(hours: float | None) -> float:
    """A sum without the dust of adding and taking back."""
    return hours if hours and abs(hours) > 1e-9 else 0.0
