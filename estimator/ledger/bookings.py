"""What is booked: hours, purchases, outwork, sales.

Entries are added and never changed, which the database itself sees to. One that is wrong is taken
back by a counter-entry, and another may stand in its place; the sum over all entries is always
the sum over those in force.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar

from estimator.errors import BadInput, Fault
from estimator.ledger import caps, rules
from estimator.ledger.opening import Database
from estimator.ledger.reading import (
    TABLE,
    clocks_in,
    counted_in,
    dropped_in,
    entries_in,
    hours_in,
    hours_on_items_in,
    items_in,
    job_in,
    known_jobs_in,
    latest_in,
    marks_in,
    out_in,
    people_in,
    together_in,
    worked_in,
)
from estimator.ledger.records import (
    Done,
    Entry,
    OnItem,
    Outwork,
    Purchase,
    Question,
    Sale,
    TimeEntry,
    Unsure,
)
from estimator.ledger.schema import tables

SomeEntry = TypeVar("SomeEntry", bound=Entry)

_SIGNED = {TimeEntry: ("hours",), Purchase: ("quantity", "amount"),
           Outwork: ("quantity", "amount"), Sale: ("amount", "fees"), Done: ()}


class Bookings(Database):
    """Entries of the ledger."""

    def entries(self, kind: type[SomeEntry], *, job: str | None = None,
                jobs: Collection[str] | None = None, since: date | None = None,
                until: date | None = None, people: Collection[str] | None = None,
                history: bool = False, last: int | None = None) -> tuple[SomeEntry, ...]:
        """Entries of a kind in force, by day and then as they were booked.

        Parameters
        ----------
        kind
            `TimeEntry`, `Purchase`, `Outwork`, `Sale` or `Done`.
        job, jobs, since, until, people
            Only of this job, of these jobs, from this day, up to this day, of these people.
        history
            Also those taken back and their counter-entries.
        last
            At most so many, the last ones by their days; None is all of them.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     number = ledger.job("Harbour Lights").number
        ...     [(one.person, one.item, one.hours) for one in ledger.entries(TimeEntry, job=number)]
        [('Mara', 1, 0.2), ('Mara', 2, 3.15)]
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return entries_in(connection, kind, job=job, jobs=jobs, since=since, until=until,
                              people=people, history=history, last=last)

    def entry(self, kind: type[SomeEntry], id: int) -> SomeEntry | None:
        """The entry in force of that number; None if there is none.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     ledger.entry(Purchase, 1).what, ledger.entry(Purchase, 99)
        ('Flipper kits', None)
        """
        if self._absent:
            return None
        with self._reading() as connection:
            return next(iter(entries_in(connection, kind, id=id)), None)

    def last_booked(self, kind: type[SomeEntry], count: int, *, job: str | None = None,
                    history: bool = False) -> tuple[SomeEntry, ...]:
        """The entries of a kind that were booked last, the last one first.

        Parameters
        ----------
        kind, job, history
            As for `entries`.
        count
            At most so many.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     [(one.event, one.day.isoformat()) for one in ledger.last_booked(Outwork, 2)]
        [('sent', '2026-03-05'), ('back', '2026-02-22')]
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return latest_in(connection, kind, count, job=job, history=history)

    def counted(self, *, job: str | None = None, since: date | None = None,
                until: date | None = None, people: Collection[str] | None = None,
                history: bool = False) -> tuple[int, float]:
        """How many time entries there are, and their hours together; see `entries`. [h]

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     ledger.counted(job=ledger.job("Harbour Lights").number)
        (2, 3.35)
        """
        if self._absent:
            return 0, 0.0
        with self._reading() as connection:
            return counted_in(connection, job=job, since=since, until=until, people=people,
                              history=history)

    def hours_of_jobs(self, jobs: Collection[str] | None = None) -> Mapping[str | None, float]:
        """Hours booked to each of these jobs that has any; None is all of them. [h]

        Hours of the shop as a whole stand under None.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     number = ledger.job("Harbour Lights").number
        ...     round(ledger.hours_of_jobs()[number], 2), len(ledger.hours_of_jobs())
        (3.35, 4)
        """
        if self._absent:
            return {}
        with self._reading() as connection:
            return hours_in(connection, jobs)

    def hours_on_items(self, job: str) -> Mapping[int, float]:
        """Hours booked to each work item of a job that has any. [h]

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     dict(ledger.hours_on_items(ledger.job("Harbour Lights").number))
        {1: 0.2, 2: 3.15}
        """
        if self._absent:
            return {}
        with self._reading() as connection:
            return hours_on_items_in(connection, job)

    def together(self, jobs: Collection[str] | None = None) -> tuple[TimeEntry, ...]:
        """Time entries put together: one for each job, item, kind of unbilled time and person.

        Each has the hours of all that are in force, and the last of their days; what else they
        said is left out. A shop of years has as many of them as it has work items, not bookings.

        Parameters
        ----------
        jobs
            Numbers of jobs; None is all of them and the shop as a whole.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     found = ledger.together([ledger.job("Harbour Lights").number])
        ...     [(one.person, one.item, one.hours) for one in found]
        [('Mara', 1, 0.2), ('Mara', 2, 3.15)]
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return together_in(connection, jobs)

    def worked(self, jobs: Collection[str]) -> tuple[OnItem, ...]:
        """Hours in force on the work items of these jobs, by job, item and person.

        Without items that were dropped or that nobody worked on.

        Parameters
        ----------
        jobs
            Numbers of jobs.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     found = ledger.worked([ledger.job("Harbour Lights").number])
        ...     [(one.operation, round(one.expected, 2), one.person, one.hours) for one in found]
        [('flipper-adjust', 0.14, 'Mara', 0.2), ('flipper-rebuild', 2.1, 'Mara', 3.15)]
        """
        if self._absent or not jobs:
            return ()
        with self._reading() as connection:
            return worked_in(connection, jobs)

    def work_marks(self, jobs: Collection[str]) -> Mapping[str, str]:
        """Of each of these jobs with hours, a mark that changes whenever what `worked` says does.

        Whoever keeps that reads the marks before it: what is booked between the two then shows.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     number = ledger.job("Harbour Lights").number
        ...     before = ledger.work_marks([number])
        ...     back = ledger.correct(TimeEntry, 16, "It was another job.")
        ...     ledger.work_marks([number]) == before
        False
        """
        if self._absent or not jobs:
            return {}
        with self._reading() as connection:
            return marks_in(connection, jobs)

    def people(self, *, history: bool = False) -> tuple[str, ...]:
        """Everybody of whom hours are in force, by name; or were ever booked, with `history`.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     ledger.people()
        ('Mara',)
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return people_in(connection, history)

    def still_out(self) -> tuple[tuple[Outwork, float], ...]:
        """Lots sent out of which pieces are still out, and how many, by day.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     [(sent.service, sent.day.isoformat(), out) for sent, out in ledger.still_out()]
        [('powder-coat-set', '2026-03-05', 1.0)]
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return out_in(connection)

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

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> day = date(2026, 3, 6)
        >>> with small_shop() as (ledger, shop):
        ...     (kept,) = ledger.book(
        ...         [TimeEntry(person="mara", day=day, hours=0.5, unbilled="ordering")],
        ...         unbilled=shop.catalogue.unbilled, now=datetime(2026, 3, 6, 18, tzinfo=UTC))
        >>> kept.person, kept.hours, kept.job
        ('Mara', 0.5, None)
        """
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            return book_in(connection, entries, unbilled, sure, rows, file, now)

    def add(self, entry: SomeEntry, *, sure: Collection[str] = (), now: datetime | None = None
            ) -> SomeEntry:
        """Book a purchase, outwork or a sale; returns it as kept.

        Raises
        ------
        BadInput
            With every fault of it; pieces of outwork that come back must have been sent.
        Unsure
            If it passes the cap of its job, and `sure` does not say so.

        Examples
        --------
        >>> from decimal import Decimal
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     kept = ledger.add(Purchase(
        ...         day=date(2026, 3, 6), job=ledger.job("Harbour Lights").number, currency="USD",
        ...         supplier="Part house", what="Kits", quantity=2, unit="each", amount=Decimal(9)))
        ...     ledger.entry(Purchase, kept.id).amount
        Decimal('9')
        """
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            _check_amounts(connection, entry, now)
            ask(caps.asked_in(connection, [entry]), sure)
            return _insert(connection, entry, now)

    def mark_done(self, job: str, items: Sequence[int], day: date, *, note: str = "",
                  now: datetime | None = None) -> tuple[Done, ...]:
        """Mark work items of a job as done; all of them, or none. Returns the marks as kept.

        Parameters
        ----------
        job
            Number or name.
        items, day
            Numbers of its work items, and the day since when they are done.

        Raises
        ------
        BadInput
            With every fault: no such item, one that was dropped or is done already, a day that is
            still to come, a job that is closed.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     marks = ledger.mark_done("Harbour Lights", [2, 3], date(2026, 3, 9))
        ...     [mark.item for mark in ledger.entries(Done)]
        [1, 2, 3]
        """
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            found = job_in(connection, job)
            marks = [Done(day=day, job=found.number, item=item, note=note)
                     for item in dict.fromkeys(items)]
            faults = rules.marks_wrong(found, marks, rules.Known(
                items={(item.job, item.item): item
                       for item in items_in(connection, [found.number])},
                dropped=dropped_in(connection, [found.number]), now=now,
                done={(mark.job, mark.item): mark
                      for mark in entries_in(connection, Done, job=found.number)}))
            if faults:
                raise BadInput(faults)
            return tuple(_insert(connection, mark, now) for mark in marks)

    def not_done(self, job: str, items: Sequence[int], why: str, *, now: datetime | None = None
                 ) -> tuple[Done, ...]:
        """Take the marks of work items back by counter-entries; returns those.

        Raises
        ------
        BadInput
            If one of them is not marked, or no word says why.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     backs = ledger.not_done("Harbour Lights", [1], "It sticks again.")
        ...     ledger.entries(Done), len(ledger.entries(Done, history=True))
        ((), 2)
        """
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            found = job_in(connection, job)
            marks = {mark.item: mark for mark in entries_in(connection, Done, job=found.number)}
            faults = [] if why.strip() else [Fault("It does not say why the mark is taken back.",
                                                   "Write it in a few words.")]
            faults += [Fault(f"Item {item} of {found.name} is not marked as done.",
                             f"Marked are {', '.join(map(str, sorted(marks)))}." if marks
                             else "None of its items is.")
                       for item in dict.fromkeys(items) if item not in marks]
            if faults:
                raise BadInput(faults)
            return tuple(_insert(connection, replace(
                marks[item], reverses=marks[item].id, why=why.strip()), now)
                for item in dict.fromkeys(items))

    def cap_use(self, job: str) -> caps.Use | None:
        """How much of a job's cap is used; None for a fixed price or a quote that is not known.

        Parameters
        ----------
        job
            Number of the job.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     ledger.cap_use(ledger.job("Harbour Lights").number) is None  # it has a fixed price
        True
        """
        if self._absent:
            return None
        with self._reading() as connection:
            return next((use for use, _ in caps.uses_in(connection, [job]).values()), None)

    def correct(self, kind: type[SomeEntry], id: int, why: str, instead: SomeEntry | None = None,
                *, unbilled: Collection[str] = (), sure: Collection[str] = (),
                now: datetime | None = None) -> tuple[SomeEntry, ...]:
        """Take an entry back by a counter-entry, and book another in its place.

        Returns the counter-entry, and after it the one in its place if there is one.

        Parameters
        ----------
        kind, id
            Of the entry that is wrong.
        why
            Kept with both; not blank.
        instead
            What should have been booked; None for nothing.
        unbilled, sure
            As for `book`.

        Raises
        ------
        BadInput
            If there is no such entry in force, no word why, or the new one has faults.
        Unsure
            As for `book`.

        Examples
        --------
        >>> from decimal import Decimal
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     right = replace(ledger.entry(Purchase, 1), amount=Decimal(58))
        ...     back, kept = ledger.correct(Purchase, 1, "Freight was missing.", right)
        >>> back.amount, kept.amount, kept.replaces
        (Decimal('-52'), Decimal('58'), 1)
        """
        now = now or datetime.now(UTC)
        if not why.strip():
            raise BadInput(Fault("It does not say why the entry is corrected.",
                                 "Write it in a few words."))
        with self._writing() as connection:
            found = entries_in(connection, kind, id=id)
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
                return back, *book_in(connection, [instead], unbilled, sure, (), "", now, [wrong])
            if kind is not Done:
                _check_amounts(connection, instead, now)
                ask(caps.asked_in(connection, [instead], was=[wrong]), sure)
            return back, _insert(connection, instead, now)


def _insert(connection, entry: SomeEntry, now: datetime) -> SomeEntry:
    from sqlalchemy import insert
    table = getattr(tables(), TABLE[type(entry)])
    values = {one.name: getattr(entry, one.name) for one in fields(entry)}
    values |= {"booked": now}
    values.pop("id")
    made = connection.execute(insert(table).values(values)).inserted_primary_key
    return replace(entry, id=made[0], booked=now)


def known_in(connection, entries: Sequence[TimeEntry], unbilled: Collection[str], now: datetime
             ) -> rules.Known:
    """What the ledger knows that bears on these entries."""
    people = sorted({*people_in(connection), *(clock.person for clock in clocks_in(connection))})
    numbers = {entry.job for entry in entries if entry.job}
    days = [entry.day for entry in entries]
    # Work past midnight stands under the day that it began.
    near = entries_in(connection, TimeEntry, since=min(days) - timedelta(days=1),
                      until=max(days) + timedelta(days=1),
                      people={one.person for one in rules.settled(entries, people)}) \
        if days else ()
    return rules.Known(
        jobs=known_jobs_in(connection, numbers),
        items={(item.job, item.item): item for item in items_in(connection, numbers)},
        dropped=dropped_in(connection, numbers),
        done={(mark.job, mark.item): mark for number in numbers
              for mark in entries_in(connection, Done, job=number)},
        unbilled=unbilled, people=people, booked=near, now=now)


def book_in(connection, entries, unbilled, sure, rows, file, now, was=()
            ) -> tuple[TimeEntry, ...]:
    """Book hours on a connection that holds the lock; see `Bookings.book`."""
    known = known_in(connection, entries, unbilled, now)
    # Whoever puts their only entry right has booked before, though it is taken back by now.
    held = {one.person for one in was} & {one.person for one in entries}
    known = replace(known, people=sorted({*known.people, *held}))
    entries = rules.settled(entries, known.people)
    faults, questions = rules.judge(entries, known, rows, file)
    if faults:
        open_ones = [one for one in questions if one.key not in sure]
        raise BadInput([*faults, *(Unsure(open_ones).faults if open_ones else ())])
    ask([*questions, *caps.asked_in(connection, entries, rows, file, was)], sure)
    return tuple(_insert(connection, entry, now) for entry in entries)


def ask(questions: Iterable[Question], sure: Collection[str]) -> None:
    """Raise `Unsure` with the questions that were not confirmed."""
    left = [one for one in questions if one.key not in sure]
    if left:
        raise Unsure(left)


def _check_amounts(connection, entry: Entry, now: datetime) -> None:
    jobs = known_jobs_in(connection, {entry.job} - {None})
    faults = list(rules.amounts_wrong(entry, rules.Known(jobs=jobs, now=now)))
    if not faults and isinstance(entry, Outwork) and entry.of is not None:
        lot = next((one for one in entries_in(connection, Outwork, id=entry.of)
                    if one.event == "sent"), None)
        if lot is None:
            faults.append(Fault(f"Nothing was sent out by entry {entry.of}.",
                                "Name the entry by which it was sent."))
        else:
            out = lot.quantity - math.fsum(
                one.quantity for one in entries_in(connection, Outwork, of=lot.id))
            if entry.quantity > out + 1e-9:
                faults.append(Fault(f"Of {lot.what}, {out:g} {lot.unit} are still out, and "
                                    f"{entry.quantity:g} would come back.", "Count again."))
    if faults:
        raise BadInput(faults)


def _no_entry(connection, kind, id: int) -> Fault:
    from sqlalchemy import select
    table = getattr(tables(), TABLE[kind])
    for why in connection.execute(select(table.c.why).where(table.c.reverses == id)).scalars():
        return Fault(f"Entry {id} was taken back already: {why}.",
                     "Correct the one in its place.")
    if entries_in(connection, kind, id=id, history=True):
        return Fault(f"Entry {id} is a counter-entry and is not taken back itself.",
                     "Book anew what should stand.")
    return Fault(f"There is no entry {id}.", "Look at its number in the list.")
