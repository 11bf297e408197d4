"""Jobs of the ledger: quotes that were accepted, their work items, and where they stand."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from datetime import date

from estimator.errors import BadInput, Fault, one_of
from estimator.ledger import rules
from estimator.ledger.opening import Database
from estimator.ledger.reading import (
    clocks_in,
    expected_in,
    items_in,
    job_in,
    jobs_in,
    revisions_in,
)
from estimator.ledger.records import STATES, Item, Job
from estimator.ledger.schema import tables


class Jobs(Database):
    """Jobs and their work items."""

    def jobs(self) -> tuple[Job, ...]:
        """Every job, the last accepted first.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     [(job.name, job.state) for job in ledger.jobs()][:2]
        [('Harbour Lights', 'on the bench'), ('Salt Wind', 'closed')]
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return jobs_in(connection)

    def job(self, said: str) -> Job:
        """The job of that number or name.

        Raises
        ------
        BadInput
            If there is none, with the nearest; or several have the name.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     job = ledger.job("harbour lights")
        ...     job.accepted.isoformat(), ledger.job(job.number) == job
        ('2026-03-03', True)
        """
        if self._absent:
            return rules.job_named(said, ())
        with self._reading() as connection:
            return job_in(connection, said)

    def items(self, number: str, *, dropped: bool = False) -> tuple[Item, ...]:
        """The work items of a job, by their number; with those dropped if asked for.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     for item in ledger.items(ledger.job("Night Ferry").number)[:2]:
        ...         print(item.item, item.title, item.operation, round(item.expected, 2))
        1 Flipper (2) flipper-adjust 0.14
        2 Flipper (2) flipper-rebuild 2.1
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            return items_in(connection, [number], dropped)

    def items_of(self, numbers: Collection[str]) -> dict[str, tuple[Item, ...]]:
        """The work items of each of these jobs, by their number; without those dropped.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     found = ledger.items_of([job.number for job in ledger.jobs()])
        ...     [len(items) for items in found.values()]
        [5, 5, 5, 5]
        """
        found: dict[str, list[Item]] = {number: [] for number in numbers}
        if not self._absent and found:
            with self._reading() as connection:
                for item in items_in(connection, numbers):
                    found[item.job].append(item)
        return {number: tuple(items) for number, items in found.items()}

    def hours_expected(self, jobs: Collection[str] | None = None) -> Mapping[str, float]:
        """Hours expected of each of these jobs that has work items; None is all of them. [h]

        Items that were dropped do not count.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     {ledger.job(number).name: round(hours, 2)
        ...      for number, hours in ledger.hours_expected().items()}["Night Ferry"]
        3.53
        """
        if self._absent:
            return {}
        with self._reading() as connection:
            return expected_in(connection, jobs)

    def accept(self, job: Job, items: Iterable[Item]) -> Job:
        """Keep a quote that was accepted as a job with its work items; the quote is won.

        Raises
        ------
        BadInput
            If the quote is a job already.

        Examples
        --------
        >>> from decimal import Decimal
        >>> from estimator.demo import small_shop
        >>> from estimator.ledger import Sent
        >>> day = date(2026, 3, 9)
        >>> with small_shop() as (ledger, shop):
        ...     sent = ledger.record(Sent("Q7", "Glass Town", "clean", day, Decimal(48), 35, "USD"))
        ...     job = ledger.accept(Job("Q7", "Glass Town", day), [Item(
        ...         "Q7", 1, "Q7", 1, "Flipper (2)", "flipper", "flipper-clean", "Clean a flipper",
        ...         "cleaning", "bench", low=0.1, typical=0.2, high=0.4, setup=0.0, expected=0.22)])
        ...     ledger.sent()[0].outcome, ledger.hours_expected(["Q7"])
        ('won', {'Q7': 0.22})
        """
        from sqlalchemy import insert, update
        t = tables()
        with self._writing() as connection:
            if jobs_in(connection, [job.number]):
                raise BadInput(Fault(f"Quote {job.number} is a job already.",
                                     f"Look at it with: estimator job show {job.number}"))
            for revision in revisions_in(connection, number=job.number):
                raise BadInput(Fault(
                    f"Quote {job.number} is a revision of the job {revision.job}.",
                    f"Take it into that job with: estimator job agree {job.number}"))
            connection.execute(insert(t.jobs).values(vars(job)))
            rows = [dict(vars(item)) for item in items]
            if rows:
                connection.execute(insert(t.items), rows)
            connection.execute(update(t.sent).where(t.sent.c.number == job.number)
                               .values(outcome="won"))
        return job

    def set_state(self, number: str, state: str, on: date | None = None) -> Job:
        """Say where a job stands; closing it dates it. Returns it as kept.

        Raises
        ------
        BadInput
            If there is no such job or state, clocks still run on a job that is to be closed, or
            it would be closed before it was accepted or on a day to come.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     number = ledger.job("Harbour Lights").number
        ...     closed = ledger.set_state(number, "closed", on=date(2026, 3, 20))
        ...     closed.closed.isoformat(), ledger.set_state(number, "waiting").closed
        ('2026-03-20', None)
        """
        if state not in STATES:
            raise BadInput(Fault(f'"{state}" is not what a job can be.', one_of(state, STATES),
                                 column="state"))
        closed = (on or date.today()) if state == "closed" else None
        return self._change_job(number, {"state": state, "closed": closed})

    def promise(self, number: str, day: date | None) -> Job:
        """Say by when a job is promised; None takes the promise back. Returns it as kept.

        Raises
        ------
        BadInput
            If there is no such job, or it was accepted after that day.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     number = ledger.job("Harbour Lights").number
        ...     ledger.promise(number, date(2026, 4, 1)).promised.isoformat()
        '2026-04-01'
        """
        return self._change_job(number, {"promised": day})

    def set_state_and_promise(self, number: str, state: str, promised: date | None) -> Job:
        """Say where an open job stands and by when it is promised: both, or neither.

        Raises
        ------
        BadInput
            As `set_state` and `promise` do, and if the job would be closed by it.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     number = ledger.job("Harbour Lights").number
        ...     job = ledger.set_state_and_promise(number, "waiting", date(2026, 4, 1))
        >>> job.state, job.promised.isoformat()
        ('waiting', '2026-04-01')
        """
        going = [one for one in STATES if one != "closed"]
        if state not in going:
            raise BadInput(Fault(f'"{state}" is not what an open job can be.',
                                 one_of(state, going)))
        return self._change_job(number, {"state": state, "closed": None, "promised": promised})

    def _change_job(self, number: str, values: dict) -> Job:
        from sqlalchemy import update
        table = tables().jobs
        with self._writing() as connection:
            job = job_in(connection, number)
            promised = values.get("promised")
            if promised is not None and promised < job.accepted:
                raise BadInput(Fault(f"{job.name} was accepted on {job.accepted}; it cannot be "
                                     f"promised for {promised}.", "Promise a later day."))
            if values.get("state") == "closed":
                _check_closing(job, values["closed"])
                running = [clock for clock in clocks_in(connection) if clock.job == job.number]
                if running:
                    who = ", ".join(clock.person for clock in running)
                    raise BadInput(Fault(f"A clock still runs on the job {job.name}: {who}.",
                                         "Stop it first: estimator time stop."))
            connection.execute(update(table).where(table.c.number == job.number).values(values))
            return replace(job, **values)


def _check_closing(job: Job, closed: date) -> None:
    if closed < job.accepted:
        raise BadInput(Fault(f"{job.name} was accepted on {job.accepted.isoformat()}; it cannot "
                             f"be closed on {closed.isoformat()}.", "Write a later day.",
                             column="date"))
    if closed > date.today():
        raise BadInput(Fault(f"{closed.isoformat()} is still to come.",
                             "Close a job once it ended.", column="date"))
