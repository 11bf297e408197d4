"""What is booked: hours, purchases, outwork, sales.

Entries are added and never changed, which the database itself sees to. One that is wrong is taken
back by a counter-entry, and another may stand in its place; the sum over all entries is always
the sum over those in force.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta

from estimator.errors import BadInput, Fault
from estimator.ledger import caps, rules
from estimator.ledger.booked import Booked, SomeEntry
from estimator.ledger.reading import (
    TABLE,
    clocks_in,
    dropped_in,
    entries_in,
    items_in,
    job_in,
    known_jobs_in,
    people_in,
)
from estimator.ledger.records import (
    Done,
    Entry,
    Outwork,
    Purchase,
    Question,
    Sale,
    TimeEntry,
    Unsure,
)
from estimator.ledger.schema import tables

_SIGNED = {TimeEntry: ("hours",), Purchase: ("quantity", "amount"),
           Outwork: ("quantity", "amount"), Sale: ("amount", "fees"), Done: ()}


class Bookings(Booked):
    """Entries of the ledger: adding them, taking them back, putting others in their place."""

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
            If the same was booked for its day, or it passes the cap of its job, and `sure` does
            not say so.

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
            ask([*_amounts_odd(connection, entry), *caps.asked_in(connection, [entry])], sure)
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
                ask([*_amounts_odd(connection, instead),
                     *caps.asked_in(connection, [instead], was=[wrong])], sure)
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


def _amounts_odd(connection, entry: Entry) -> Iterable[Question]:
    return rules.amounts_odd(entry, entries_in(
        connection, type(entry), job=entry.job, since=entry.day, until=entry.day))


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
