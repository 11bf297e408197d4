"""Revisions of jobs: offered, agreed to or refused; and the work items that they drop.

A revision is a quote of its own and stands beside the one that it would take the place of. What was
offered and what was answered is added and never changed.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime

from estimator.errors import BadInput, Fault, one_of, quoted
from estimator.ledger.opening import Database
from estimator.ledger.quotes import record_in
from estimator.ledger.reading import (
    clocks_in,
    dropped_in,
    entries_in,
    items_in,
    job_in,
    revisions_in,
    standing_in,
    standing_of,
)
from estimator.ledger.records import (
    Done,
    Frozen,
    Item,
    Job,
    Revision,
    Sent,
    TimeEntry,
    must_be_open,
    must_wait,
)
from estimator.ledger.schema import tables
from estimator.ledger.sealing import seal


class Revisions(Database):
    """Revisions of jobs under way."""

    def revisions(self, job: str | None = None) -> tuple[Revision, ...]:
        """Revisions with their answers, of one job or of all, as they were offered.

        Of all of them without what they change.

        Raises
        ------
        BadInput
            If what any of the job changes is not as it was kept.
        """
        if self._absent:
            return ()
        with self._reading() as connection:
            if job is None:
                return revisions_in(connection)
            return revisions_in(connection, [job], changes=True)

    def revision(self, said: str) -> Revision:
        """The revision of that number; or, of a job's number or name, the one without an answer.

        Raises
        ------
        BadInput
            If there is none, or several wait for an answer.
        """
        if self._absent:
            found, job = (), None
        else:
            with self._reading() as connection:
                named = revisions_in(connection, number=said.strip(), changes=True)
                if named:
                    return named[0]
                try:
                    job = job_in(connection, said)
                except BadInput:
                    job = None
                found = revisions_in(connection, None if job is None else [job.number],
                                     changes=job is not None)
        if job is None:
            return self.revision(_number_of(said, found, self.jobs()))
        waiting = [one for one in found if one.answer == "open"]
        if len(waiting) == 1:
            return waiting[0]
        if waiting:
            raise BadInput(Fault(f"{len(waiting)} revisions of {job.name} wait for an answer.",
                                 f"Name one: {', '.join(one.number for one in waiting)}."))
        raise BadInput(Fault(
            f"No revision of {job.name} waits for an answer"
            + (f"; {found[-1].number} was {found[-1].answer} on {found[-1].answered}."
               if found else "."),
            "Offer one with: estimator job change JOB SURVEY --reason find"))

    def standing(self) -> Mapping[str, str]:
        """Of each job with an agreed revision, the quote that holds for it now.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     dict(ledger.standing())  # no revision was agreed to so far
        {}
        """
        return standing_of(self.revisions())

    def holds(self, job: str) -> str:
        """The quote that holds for a job: its own, or the revision agreed to last.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     number = ledger.job("Harbour Lights").number
        ...     ledger.holds(number) == number  # no revision was agreed to so far
        True
        """
        if self._absent:
            return job
        with self._reading() as connection:
            return standing_in(revisions_in(connection, [job]), job)

    def dropped(self, job: str) -> Mapping[int, str]:
        """The work items of a job that were dropped, with the revision that did."""
        if self._absent:
            return {}
        with self._reading() as connection:
            return {item: number for (_, item), number in dropped_in(connection, [job]).items()}

    def offer(self, sent: Sent, frozen: Frozen, revision: Revision,
              then: Callable[[], object] = lambda: None) -> Revision:
        """Keep a revision as it was offered; the same one again changes nothing.

        Parameters
        ----------
        then
            Called last: if it fails, such as in writing papers, nothing is kept.

        Raises
        ------
        BadInput
            If there is no such job or it is closed, the quote that it revises does not hold for
            the job any more, or another quote has its number.
        """
        from sqlalchemy import insert, select
        t = tables()
        with self._writing() as connection:
            job = _open_job(connection, revision.job)
            _of_what_stands(revision, revisions_in(connection, [job.number]), job)
            same = revisions_in(connection, number=revision.number, changes=True)
            if same and same[0].answer != "open":
                raise BadInput(Fault(
                    f"The same was offered as {revision.number} and "
                    f"{same[0].answer} on {same[0].answered}.",
                    "Change something, or offer it on another day with --date."))
            if not same and connection.execute(
                    select(t.sent.c.number).where(t.sent.c.number == revision.number)).first():
                raise BadInput(Fault(
                    f"A quote of that day with the same lines and choices is kept as "
                    f"{revision.number}.", "Offer the revision on another day with --date."))
            if same and same[0] != replace(revision, changes=tuple(revision.changes)):
                raise BadInput(Fault(
                    f"{revision.number} was offered already, with other reasons or another day.",
                    f"Refuse that one first: estimator job refuse {revision.number}; then offer "
                    "this one on another day with --date."))
            record_in(connection, sent, frozen)
            if not same:
                values = {"number": revision.number, "job": job.number, "of": revision.of,
                          "offered": revision.offered, "ready": revision.ready,
                          "changes": list(revision.changes)}
                connection.execute(insert(t.revisions).values(values | seal(t.revisions, values)))
            then()
        return replace(revision, changes=tuple(revision.changes), answer="open", answered=None)

    def agree(self, number: str, on: date, *, promised: date | None,
              items: Iterable[Item] = (), dropped: Collection[int] = (), note: str = ""
              ) -> tuple[Revision, tuple[str, ...]]:
        """The customer agrees: the job gets the items and the day, and loses what is dropped.

        Other revisions of the job that wait for an answer are refused with it, for the quote that
        they revise holds no more; their numbers are the second value.

        Parameters
        ----------
        promised
            When the job is promised for from now on; None promises no day.
        items
            What it brings, numbered on from the job's last.
        dropped
            Numbers of items that are dropped; no hours may be booked to them.

        Raises
        ------
        BadInput
            If it was answered already, the job is closed, or hours were booked meanwhile.
        """
        from sqlalchemy import insert, update
        t = tables()
        items = tuple(items)
        with self._writing() as connection:
            revision = _waiting(connection, number, on)
            found = revisions_in(connection, [revision.job])
            job = _open_job(connection, revision.job)
            busy = {entry.item for entry in entries_in(connection, TimeEntry, job=job.number)}
            busy |= {clock.item for clock in clocks_in(connection) if clock.job == job.number}
            busy |= {mark.item for mark in entries_in(connection, Done, job=job.number)}
            last = max((item.item for item in items_in(connection, [job.number], dropped=True)),
                       default=0)
            if busy & set(dropped) or [item.item for item in items] != list(
                    range(last + 1, last + 1 + len(items))):
                raise BadInput(Fault(f"Something was booked to {job.name} this very moment.",
                                     "Say it again."))
            _answer(connection, number, "agreed", on, note)
            if items:
                connection.execute(insert(t.items), [dict(vars(item)) for item in items])
            if dropped:
                connection.execute(insert(t.dropped_items), [
                    {"job": job.number, "item": item, "revision": number}
                    for item in sorted(dropped)])
            connection.execute(update(t.jobs).where(t.jobs.c.number == job.number)
                               .values(promised=promised))
            others = tuple(one.number for one in found if one.job == job.number
                           and one.answer == "open" and one.number != number)
            for other in others:
                _answer(connection, other, "refused", on, f"{number} was agreed instead")
        return replace(revision, answer="agreed", answered=on, note=note), others

    def refuse(self, number: str, on: date, note: str = "") -> Revision:
        """The customer refuses: the job stays as it was. Returns the revision as kept.

        Raises
        ------
        BadInput
            If there is no such revision, or it was answered already.
        """
        with self._writing() as connection:
            revision = _waiting(connection, number, on)
            _answer(connection, number, "refused", on, note)
        return replace(revision, answer="refused", answered=on, note=note)


def _open_job(connection, number: str) -> Job:
    job = job_in(connection, number)
    must_be_open(job)
    return job


def _of_what_stands(revision: Revision, found: Iterable[Revision], job: Job) -> None:
    stands = standing_in(found, job.number)
    if revision.of != stands:
        raise BadInput(Fault(
            f"{revision.number} revises {revision.of}, and {stands} holds for {job.name} by now.",
            "Offer the change anew with: estimator job change"))


def _number_of(said: str, found: Iterable[Revision], jobs: Collection[Job]) -> str:
    """The number of a revision as it was kept, said in any case; what is near it otherwise."""
    plain = said.strip().casefold()
    for one in found:
        if one.number.casefold() == plain:
            return one.number
    words = [*(one.number for one in found), *(word for job in jobs
                                               for word in (job.number, job.name))]
    raise BadInput(Fault(
        f"There is no revision and no job {quoted(said)}.", one_of(said, words) if jobs else
        "None was accepted so far: estimator job accept NUMBER."))


def _waiting(connection, number: str, on: date) -> Revision:
    found = revisions_in(connection, number=number, changes=True)
    if not found:
        known = [one.number for one in revisions_in(connection)]
        raise BadInput(Fault(f"There is no revision {quoted(number)}.",
                             one_of(number, known) if known else "None was offered so far."))
    (revision,) = found
    must_wait(revision)
    if on < revision.offered:
        raise BadInput(Fault(f"{on} is before {number} was offered, on {revision.offered}.",
                             "Write the day of the answer.", column="date"))
    return revision


def _answer(connection, number: str, answer: str, on: date, note: str) -> None:
    from sqlalchemy import insert, update
    t = tables()
    connection.execute(insert(t.answers).values(
        number=number, answer=answer, answered=on, kept=datetime.now(UTC), note=note))
    connection.execute(update(t.sent).where(t.sent.c.number == number)
                       .values(outcome={"agreed": "won", "refused": "lost"}[answer]))
