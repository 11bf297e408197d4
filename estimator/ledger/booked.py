"""What was booked, as it is asked for: entries, and sums that the database makes of them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from typing import TypeVar

from estimator.ledger import caps
from estimator.ledger.opening import Database
from estimator.ledger.reading import (
    counted_in,
    entries_in,
    hours_in,
    hours_on_items_in,
    latest_in,
    marks_in,
    out_in,
    people_in,
    together_in,
    worked_in,
)
from estimator.ledger.records import Entry, OnItem, Outwork, TimeEntry

SomeEntry = TypeVar("SomeEntry", bound=Entry)


class Booked(Database):
    """Entries of the ledger, to be looked at; whoever changes them is `Bookings`."""

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
        >>> from estimator.ledger import Purchase
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
