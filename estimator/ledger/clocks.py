"""Running clocks: hours that are counted while they are worked, and booked when it is done."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from estimator.errors import BadInput, Fault, one_of
from estimator.ledger import rules
from estimator.ledger.bookings import ask, book_in, known_in
from estimator.ledger.opening import Database
from estimator.ledger.reading import clocks_in
from estimator.ledger.records import Clock, Question, TimeEntry
from estimator.ledger.schema import tables


class Clocks(Database):
    """A clock for each person; it runs on whatever happens to this computer."""

    def clocks(self) -> tuple[Clock, ...]:
        """Clocks that run, the longest first.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> now = datetime(2026, 3, 6, 9, tzinfo=UTC)
        >>> with small_shop() as (ledger, shop):
        ...     clock = ledger.start(Clock("Mara", now, unbilled="ordering"),
        ...                          unbilled=shop.catalogue.unbilled, now=now)
        ...     [(one.person, one.unbilled) for one in ledger.clocks()]
        [('Mara', 'ordering')]
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return clocks_in(connection)

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

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> now = datetime(2026, 3, 6, 9, tzinfo=UTC)
        >>> with small_shop() as (ledger, shop):
        ...     clock = Clock("mara", now, ledger.job("Harbour Lights").number, item=2)
        ...     ledger.start(clock, unbilled=shop.catalogue.unbilled, now=now).person
        'Mara'
        """
        from sqlalchemy import insert
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            entry = replace(_entry_of(clock, clock.started, 1.0), started=None, stopped=None)
            known = known_in(connection, [entry], unbilled, now)
            (entry,) = rules.settled([entry], known.people)
            clock = replace(clock, person=entry.person)
            faults = list(rules.impossible(entry, known))
            if clock.started > now + timedelta(minutes=1):
                faults.append(Fault("The start is still to come.", "Start the clock then."))
            if faults:
                raise BadInput(faults)
            asked = [Question(*one) for one in rules.odd(entry, known)]
            for other in clocks_in(connection):
                if other.person == clock.person:
                    _has_begun(other, now)
                    if rules.forgotten(other, now):
                        raise BadInput(_forgotten(other, now))
                    asked.append(Question("switch", _runs(other, now) + " It would be stopped."))
                    if "switch" in sure:
                        _stop(connection, other, clock.started, None, "", unbilled, sure, now)
            ask(asked, sure)
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

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> now = datetime(2026, 3, 6, 9, tzinfo=UTC)
        >>> with small_shop() as (ledger, shop):
        ...     said = {"unbilled": shop.catalogue.unbilled, "now": now + timedelta(minutes=90)}
        ...     clock = ledger.start(Clock("Mara", now, unbilled="ordering"), **said | {"now": now})
        ...     ledger.stop("Mara", **said).hours
        1.5
        """
        now = now or datetime.now(UTC)
        with self._writing() as connection:
            clock = _running(connection, person)
            _has_begun(clock, now)
            if at is None and hours is None and rules.forgotten(clock, now):
                raise BadInput(_forgotten(clock, now))
            return _stop(connection, clock, at or now, hours, note, unbilled, sure, now)

    def drop(self, person: str | None = None) -> Clock:
        """Let a person's clock go without booking anything; returns it as it ran.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> now = datetime(2026, 3, 6, 9, tzinfo=UTC)
        >>> with small_shop() as (ledger, shop):
        ...     clock = ledger.start(Clock("Mara", now, unbilled="ordering"),
        ...                          unbilled=shop.catalogue.unbilled, now=now)
        ...     ledger.drop("Mara") == clock, ledger.clocks()
        (True, ())
        """
        with self._writing() as connection:
            clock = _running(connection, person)
            _forget_clock(connection, clock)
            return clock


def _running(connection, person: str | None) -> Clock:
    running = clocks_in(connection)
    names = [clock.person for clock in running]
    if person is not None:
        plain = " ".join(person.split()).casefold()
        running = tuple(clock for clock in running if clock.person.casefold() == plain)
    if not names or not running:
        whose = f" for {person}" if person else ""
        raise BadInput(Fault(f"No clock runs{whose}.",
                             one_of(person, names) if person and names else
                             "Start one, or book the hours themselves.", column="person"))
    if len(running) > 1:
        raise BadInput(Fault(f"{len(running)} clocks run.", f"Say whose: {', '.join(names)}."))
    return running[0]


def _has_begun(clock: Clock, now: datetime) -> None:
    """Refuse to book what began in the future; only the computer's own clock can be wrong then."""
    if clock.started > now + timedelta(minutes=1):
        raise BadInput(Fault(
            f"The clock of {clock.person} began at {clock.started.astimezone():%Y-%m-%d %H:%M}, "
            f"and this computer says that it is {now.astimezone():%Y-%m-%d %H:%M}.",
            "Put the computer's clock right and stop it then, or let it go (--drop)."))


def _stop(connection, clock, at, hours, note, unbilled, sure, now) -> TimeEntry:
    span = (at - clock.started).total_seconds() / 3600
    entry = _entry_of(clock, at, span if hours is None else hours)
    if note:
        entry = replace(entry, note=f"{clock.note}; {note}" if clock.note else note)
    # Booked while the clock still stands, so that its person is known.
    (booked,) = book_in(connection, [entry], unbilled, sure, (), "", now)
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
    """What a clock runs on, in words.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> began = datetime(2026, 3, 2, 9, tzinfo=UTC)
    >>> on_what(Clock("Anna", began, "260302-A1", 3)), on_what(Clock("Ben", began, None, None,
    ...                                                              "ordering"))
    ('item 3 of 260302-A1', 'ordering')

    >>> on_what(Clock("Mara", datetime(2026, 3, 6, 9, tzinfo=UTC), unbilled="ordering"))
    'ordering'
    """
    what = clock.unbilled or f"item {clock.item}"
    return f"{what} of {clock.job}" if clock.job else what
