"""Jobs and what is booked to them: hours, running clocks, purchases, outwork, sales.

Entries are added and never changed, which the database itself sees to. One that is wrong is taken
back by a counter-entry, and another may stand in its place; the sum over all entries is always
the sum over those in force.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar

from estimator.errors import BadInput, Fault, one_of
from estimator.ledger import rules
from estimator.ledger.opening import Database
from estimator.ledger.records import (
    STATES,
    Clock,
    Entry,
    Item,
    Job,
    Outwork,
    Purchase,
    Question,
    Sale,
    TimeEntry,
    Unsure,
)
from estimator.ledger.schema import tables

SomeEntry = TypeVar("SomeEntry", bound=Entry)

_TABLE = {TimeEntry: "time_entries", Purchase: "purchases", Outwork: "outwork", Sale: "sales"}
_SIGNED = {TimeEntry: ("hours",), Purchase: ("quantity", "amount"),
           Outwork: ("quantity", "amount"), Sale: ("amount", "fees")}


class Jobs(Database):
    """Jobs and their work items."""

    def jobs(self) -> tuple[Job, ...]:
        """Every job, the last accepted first."""
        if self._absent:
            return ()
        with self._reading() as connection:
            return _jobs(connection)

    def job(self, said: str) -> Job:
        """The job of that number or name.

        Raises
        ------
        BadInput
            If there is none, with the nearest; or several have the name.
        """
        return rules.job_named(said, self.jobs())

    def items(self, number: str) -> tuple[Item, ...]:
        """The work items of a job, by their number."""
        if self._absent:
            return ()
        with self._reading() as connection:
            return _items(connection, [number])

    def accept(self, job: Job, items: Iterable[Item]) -> Job:
        """Keep a quote that was accepted as a job with its work items; the quote is won.

        Raises
        ------
        BadInput
            If the quote is a job already.
        """
        from sqlalchemy import insert, update
        t = tables()
        with self._writing() as connection:
            if job.number in {one.number for one in _jobs(connection)}:
                raise BadInput(Fault(f"Quote {job.number} is a job already.",
                                     f"Look at it with: estimator job show {job.number}"))
            connection.execute(insert(t.jobs).values(vars(job)))
            rows = [dict(vars(item)) for item in items]
            if rows:
                connection.execute(insert(t.items), rows)
            connection.execute(update(t.sent).where(t.sent.c.number == job.number)
                               .values(outcome="won"))
        return job

    def add_items(self, items: Iterable[Item]) -> None:
        """Add work items to a job, as a revision brings them."""
        from sqlalchemy import insert
        with self._writing() as connection:
            connection.execute(insert(tables().items), [dict(vars(item)) for item in items])

    def set_state(self, number: str, state: str, on: date | None = None) -> Job:
        """Say where a job stands; closing it dates it. Returns it as kept.

        Raises
        ------
        BadInput
            If there is no such job or state, or clocks still run on a job that is to be closed.
        """
        if state not in STATES:
            raise BadInput(Fault(f'"{state}" is not what a job can be.', one_of(state, STATES)))
        closed = (on or date.today()) if state == "closed" else None
        return self._change_job(number, {"state": state, "closed": closed})

    def promise(self, number: str, day: date | None) -> Job:
        """Say by when a job is promised; None takes the promise back. Returns it as kept."""
        return self._change_job(number, {"promised": day})

    def _change_job(self, number: str, values: dict) -> Job:
        from sqlalchemy import update
        table = tables().jobs
        with self._writing() as connection:
            job = rules.job_named(number, _jobs(connection))
            if values.get("state") == "closed":
                running = [clock for clock in _clocks(connection) if clock.job == job.number]
                if running:
                    who = ", ".join(clock.person for clock in running)
                    raise BadInput(Fault(f"A clock still runs on the job {job.name}: {who}.",
                                         "Stop it first: estimator time stop."))
            connection.execute(update(table).where(table.c.number == job.number).values(values))
            return replace(job, **values)


class Bookings(Database):
    """Entries and running clocks."""

    def entries(self, kind: type[SomeEntry], *, job: str | None = None,
                since: date | None = None, until: date | None = None,
                history: bool = False) -> tuple[SomeEntry, ...]:
        """Entries of a kind in force, by day and then as they were booked.

        Parameters
        ----------
        kind
            `TimeEntry`, `Purchase`, `Outwork` or `Sale`.
        job, since, until
            Only of this job, from this day, up to this day.
        history
            Also those taken back and their counter-entries.
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return _entries(connection, kind, job=job, since=since, until=until, history=history)

    def book(self, entries: Sequence[TimeEntry], *, unbilled: Collection[str],
             sure: Collection[str] = (), rows: Sequence[int] = (), file: str = "",
             now: datetime | None = None) -> tuple[TimeEntry, ...]:
        """Book hours: all of them, or none. Returns them as kept.

        Parameters
        ----------
        unbilled
            Names of the kinds of time that no quote pays for, from the shop's table.
        sure
            Keys of questions that were answered with yes.
        rows, file
            Where they stand in a time sheet, for messages.
        now
            The moment of booking; None is now.

        Raises
        ------
        BadInput
            With every fault of every entry.
        Unsure
            If they may be right and seldom are, and `sure` does not say so.
        """
        with self._writing() as connection:
            return _book(connection, entries, unbilled, sure, rows, file, now or datetime.now(UTC))

    def add(self, entry: SomeEntry, *, now: datetime | None = None) -> SomeEntry:
        """Book a purchase, outwork or a sale; returns it as kept.

        Raises
        ------
        BadInput
            With every fault of it; pieces of outwork that come back must have been sent.
        """
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            _check_amounts(connection, entry, now)
            return _insert(connection, entry, now)

    def correct(self, kind: type[SomeEntry], id: int, why: str, instead: SomeEntry | None = None,
                *, unbilled: Collection[str] = (), sure: Collection[str] = (),
                now: datetime | None = None) -> tuple[SomeEntry, ...]:
        """Take an entry back by a counter-entry, and book another in its place.

        Returns the counter-entry, and after it the one in its place if there is one.

        Raises
        ------
        BadInput
            If there is no such entry in force, no word why, or the new one has faults.
        Unsure
            As for `book`.
        """
        now = now or datetime.now(UTC)
        if not why.strip():
            raise BadInput(Fault("It does not say why the entry is corrected.",
                                 "Write it in a few words."))
        with self._writing() as connection:
            found = [one for one in _entries(connection, kind) if one.id == id]
            if not found:
                raise BadInput(_no_entry(connection, kind, id))
            (wrong,) = found
            turned = {name: -getattr(wrong, name) for name in _SIGNED[kind]}
            back = _insert(connection, replace(
                wrong, **turned, reverses=id, replaces=None, why=why.strip()), now)
            if instead is None:
                return (back,)
            instead = replace(instead, replaces=id, why=why.strip())
            if kind is TimeEntry:
                return back, *_book(connection, [instead], unbilled, sure, (), "", now)
            _check_amounts(connection, instead, now)
            return back, _insert(connection, instead, now)

    # Clocks

    def clocks(self) -> tuple[Clock, ...]:
        """Clocks that run, the longest first."""
        if self._absent:
            return ()
        with self._reading() as connection:
            return _clocks(connection)

    def start(self, clock: Clock, *, unbilled: Collection[str], sure: Collection[str] = (),
              now: datetime | None = None) -> Clock:
        """Start a person's clock; it runs on whatever happens to this computer.

        One that runs already is stopped now and its hours booked, once that was confirmed as
        "switch". Returns the clock as kept.

        Raises
        ------
        BadInput
            For what could not be booked later; or if the clock that runs was forgotten, so that
            somebody must say when it should have stopped.
        Unsure
            If one runs already, or as for `book`.
        """
        from sqlalchemy import insert
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            entry = replace(_entry_of(clock, clock.started, 1.0), started=None, stopped=None)
            known = _known(connection, [entry], unbilled, now)
            (entry,) = rules.settled([entry], known.people)
            clock = replace(clock, person=entry.person)
            faults = list(rules.impossible(entry, known))
            if clock.started > now + timedelta(minutes=1):
                faults.append(Fault("The start is still to come.", "Start the clock then."))
            if faults:
                raise BadInput(faults)
            asked = [Question(*one) for one in rules.odd(entry, known)]
            for other in _clocks(connection):
                if other.person == clock.person:
                    if rules.forgotten(other, now):
                        raise BadInput(_forgotten(other, now))
                    asked.append(Question("switch", _runs(other, now) + " It would be stopped."))
                    if "switch" in sure:
                        _stop(connection, other, clock.started, None, "", unbilled, sure, now)
            _ask(asked, sure)
            connection.execute(insert(tables().clocks).values(vars(clock)))
        return clock

    def stop(self, person: str | None = None, *, unbilled: Collection[str],
             at: datetime | None = None, hours: float | None = None, note: str = "",
             sure: Collection[str] = (), now: datetime | None = None) -> TimeEntry:
        """Stop a person's clock and book its hours; returns the entry.

        Parameters
        ----------
        person
            Whose; None where only one clock runs.
        at
            When it should have been stopped; None is now.
        hours
            What was worked of that time; None is all of it. [h]

        Raises
        ------
        BadInput
            If no clock runs; if it runs so long that it was forgotten, and neither `at` nor
            `hours` was said; or for what cannot be booked. The clock then goes on.
        Unsure
            As for `book`; the clock goes on.
        """
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            clock = _running(connection, person)
            if at is None and hours is None and rules.forgotten(clock, now):
                raise BadInput(_forgotten(clock, now))
            return _stop(connection, clock, at or now, hours, note, unbilled, sure, now)

    def drop(self, person: str | None = None) -> Clock:
        """Let a person's clock go without booking anything; returns it as it ran."""
        with self._writing() as connection:
            clock = _running(connection, person)
            _forget_clock(connection, clock)
            return clock


def _jobs(connection) -> tuple[Job, ...]:
    from sqlalchemy import select
    table = tables().jobs
    rows = connection.execute(
        select(table).order_by(table.c.accepted.desc(), table.c.number.desc()))
    return tuple(Job(**row._mapping) for row in rows)


def _items(connection, numbers: Collection[str]) -> tuple[Item, ...]:
    from sqlalchemy import select
    table = tables().items
    rows = connection.execute(select(table).where(table.c.job.in_(numbers))
                              .order_by(table.c.job, table.c.item))
    return tuple(Item(**row._mapping) for row in rows)


def _clocks(connection) -> tuple[Clock, ...]:
    from sqlalchemy import select
    table = tables().clocks
    rows = connection.execute(select(table).order_by(table.c.started, table.c.person))
    return tuple(Clock(**row._mapping) for row in rows)


def _entries(connection, kind, *, job=None, since=None, until=None, history=False) -> tuple:
    from sqlalchemy import select
    table = getattr(tables(), _TABLE[kind])
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


def _insert(connection, entry: SomeEntry, now: datetime) -> SomeEntry:
    from sqlalchemy import insert
    table = getattr(tables(), _TABLE[type(entry)])
    values = {one.name: getattr(entry, one.name) for one in fields(entry)}
    values |= {"booked": now}
    values.pop("id")
    made = connection.execute(insert(table).values(values)).inserted_primary_key
    return replace(entry, id=made[0], booked=now)


def _known(connection, entries: Sequence[TimeEntry], unbilled: Collection[str], now: datetime
           ) -> rules.Known:
    from sqlalchemy import select
    t = tables()
    people = set(connection.execute(select(t.time_entries.c.person).distinct()).scalars())
    people |= {clock.person for clock in _clocks(connection)}
    numbers = {entry.job for entry in entries if entry.job}
    jobs = {job.number: job for job in _jobs(connection)}
    days = [entry.day for entry in entries]
    # Work past midnight stands under the day that it began.
    near = _entries(connection, TimeEntry, since=min(days) - timedelta(days=1),
                    until=max(days) + timedelta(days=1)) if days else ()
    return rules.Known(
        jobs=jobs,
        items={(item.job, item.item): item for item in _items(connection, numbers)},
        unbilled=unbilled, people=sorted(people), booked=near, now=now)


def _book(connection, entries, unbilled, sure, rows, file, now) -> tuple[TimeEntry, ...]:
    known = _known(connection, entries, unbilled, now)
    entries = rules.settled(entries, known.people)
    faults, questions = rules.judge(entries, known, rows, file)
    if faults:
        open_ones = [one for one in questions if one.key not in sure]
        raise BadInput([*faults, *(Unsure(open_ones).faults if open_ones else ())])
    _ask(questions, sure)
    return tuple(_insert(connection, entry, now) for entry in entries)


def _ask(questions: Iterable[Question], sure: Collection[str]) -> None:
    left = [one for one in questions if one.key not in sure]
    if left:
        raise Unsure(left)


def _check_amounts(connection, entry: Entry, now: datetime) -> None:
    known = rules.Known(jobs={job.number: job for job in _jobs(connection)}, now=now)
    faults = list(rules.amounts_wrong(entry, known))
    if not faults and isinstance(entry, Outwork) and entry.of is not None:
        others = _entries(connection, Outwork)
        lots = {one.id: one for one in others if one.event == "sent"}
        lot = lots.get(entry.of)
        if lot is None:
            faults.append(Fault(f"Nothing was sent out by entry {entry.of}.",
                                "Name the entry by which it was sent."))
        else:
            out = lot.quantity - math.fsum(one.quantity for one in others if one.of == lot.id)
            if entry.quantity > out + 1e-9:
                faults.append(Fault(f"Of {lot.what}, {out:g} {lot.unit} are still out, and "
                                    f"{entry.quantity:g} would come back.", "Count again."))
    if faults:
        raise BadInput(faults)


def _no_entry(connection, kind, id: int) -> Fault:
    history = _entries(connection, kind, history=True)
    for one in history:
        if one.reverses == id:
            return Fault(f"Entry {id} was taken back already: {one.why}.",
                         "Correct the one in its place.")
    if id in {one.id for one in history}:
        return Fault(f"Entry {id} is a counter-entry and is not taken back itself.",
                     "Book anew what should stand.")
    return Fault(f"There is no entry {id}.", "Look at its number in the list.")


def _running(connection, person: str | None) -> Clock:
    running = _clocks(connection)
    names = [clock.person for clock in running]
    if person is not None:
        plain = " ".join(person.split()).casefold()
        running = tuple(clock for clock in running if clock.person.casefold() == plain)
    if not names or not running:
        whose = f" for {person}" if person else ""
        raise BadInput(Fault(f"No clock runs{whose}.",
                             one_of(person, names) if person and names else
                             "Start one, or book the hours themselves."))
    if len(running) > 1:
        raise BadInput(Fault(f"{len(running)} clocks run.", f"Say whose: {', '.join(names)}."))
    return running[0]


def _stop(connection, clock, at, hours, note, unbilled, sure, now) -> TimeEntry:
    span = (at - clock.started).total_seconds() / 3600
    entry = _entry_of(clock, at, span if hours is None else hours)
    if note:
        entry = replace(entry, note=f"{clock.note}; {note}" if clock.note else note)
    # Booked while the clock still stands, so that its person is known.
    (booked,) = _book(connection, [entry], unbilled, sure, (), "", now)
    _forget_clock(connection, clock)
    return booked


def _entry_of(clock: Clock, at: datetime, hours: float) -> TimeEntry:
    return TimeEntry(person=clock.person, day=clock.started.astimezone().date(),
                     hours=round(hours, 4), job=clock.job, item=clock.item,
                     unbilled=clock.unbilled, started=clock.started, stopped=at, note=clock.note)


def _forget_clock(connection, clock: Clock) -> None:
    from sqlalchemy import delete
    table = tables().clocks
    connection.execute(delete(table).where(table.c.person == clock.person))


def _runs(clock: Clock, now: datetime) -> str:
    hours = (now - clock.started).total_seconds() / 3600
    return (f"The clock of {clock.person} has run since "
            f"{clock.started.astimezone():%Y-%m-%d %H:%M}, {hours:.1f} hours, on {on_what(clock)}.")


def _forgotten(clock: Clock, now: datetime) -> Fault:
    return Fault(_runs(clock, now) + " Was it forgotten?",
                 "Say when the work ended (--at), how many hours it was (--hours), or let it go "
                 "(--drop).")


def on_what(clock: Clock) -> str:
    """What a clock runs on, in words."""
    what = clock.unbilled or f"item {clock.item}"
    return f"{what} of {clock.job}" if clock.job else what


__all__ = ["Bookings", "Jobs", "on_what"]
