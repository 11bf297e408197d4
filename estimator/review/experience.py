"""Hours of a whole job by the shop's own records: what closed jobs took, taught to the model.

A record is a work item of a closed job: what it is expected to take by the book of today, what was
booked, who did it. `learning.HoursModel` makes spreads of them; the hours of all items of a job
together are added to what past jobs had to find and to do again, in shares of their expected hours
as they came. Such a forecast is held against closed jobs as it would have been made on the day
that each was accepted (`walk`).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from estimator.catalogue import Catalogue
from estimator.estimate import Estimate
from estimator.learning import HoursModel
from estimator.ledger import Item, Job, Ledger, TimeEntry
from estimator.review.books import AGAIN, FOUND, SHARES, closed_jobs
from estimator.review.evidence import TodaysBook, key_of
from estimator.review.kept import foremost
from estimator.review.records import ByRecords, Enough, Walk
from estimator.scoring import held
from estimator.shop import Settings, Shop

FEWEST_JOBS, FEWEST_TASKS = 5, 100
"""Closed jobs, and work items of theirs with hours, under which nothing is said."""
MOST_TASKS = 3072
"""So many of the youngest items are read: the model forgets what is older."""
MOST_WALKED = 120
"""So many of the youngest jobs are forecast as if they were still to come."""
_BATCH = 40
_LEVELS = (np.arange(200) + 0.5) / 200


@dataclass(frozen=True)
class Task:
    """A work item: its operation's row, its skill, hours by the book of today, and as booked.

    `person` booked most of it; None where nobody did.
    """

    key: str
    skill: str
    expected: float
    booked: float = 0.0
    person: str | None = None


@dataclass(frozen=True)
class Finished:
    """A closed job: its tasks, and hours found on the way and done again. [h]"""

    job: Job
    tasks: tuple[Task, ...]
    beyond: float

    @property
    def expected(self) -> float:
        """Of all tasks. [h]"""
        return math.fsum(task.expected for task in self.tasks)

    @property
    def came(self) -> float:
        """All hours that the quote had to pay for. [h]"""
        return math.fsum(task.booked for task in self.tasks) + self.beyond


@dataclass
class Experience:
    """What closed jobs teach of hours; `learn` takes them in the order in which they closed.

    Examples
    --------
    >>> from datetime import date
    >>> known = Experience()
    >>> known.learn([
    ...     Finished(Job(f"J{n}", "Harbour", date(2026, 1, 1), closed=date(2026, 1, 2 + n)),
    ...              tuple(Task("strip", "bench", 1.0, 1.5, "Anna") for _ in range(12)), 1.2)
    ...     for n in range(10)])
    >>> known.enough, known.jobs, known.tasks
    (True, 10, 120)
    >>> from estimator.shop import open_shop
    >>> draws = known.draws([Task("strip", "bench", 1.0)] * 5, open_shop().settings)
    >>> bool(6 < np.median(draws) < 9)
    True
    """

    model: HoursModel = field(default_factory=HoursModel)
    jobs: int = 0
    tasks: int = 0
    beyond: list[float] = field(default_factory=list)

    def learn(self, finished: Sequence[Finished]) -> None:
        """Take in jobs newly closed."""
        records = [{"est": task.expected, "act": task.booked, "kind": task.key,
                    "person": task.person, "job": one.job.number,
                    "day": one.job.closed.toordinal()}
                   for one in finished for task in one.tasks if task.booked > 0]
        if records:
            self.model.update(records)
        self.jobs += sum(any(task.booked > 0 for task in one.tasks) for one in finished)
        self.tasks += len(records)
        self.beyond += [one.beyond / one.expected for one in finished if one.tasks]

    @property
    def enough(self) -> bool:
        """Whether there is enough to say anything."""
        return self.jobs >= FEWEST_JOBS and self.tasks >= FEWEST_TASKS

    def draws(self, tasks: Sequence[Task], settings: Settings) -> np.ndarray:
        """Equally likely hours of a job of these tasks, in the hands that the shop set. [h]"""
        hours = [task.expected for task in tasks]
        total = self.model.predict_total(
            hours, [task.key for task in tasks],
            [getattr(settings, f"hand_{task.skill}") for task in tasks], _LEVELS)
        return np.add.outer(total, math.fsum(hours) * np.array(self.beyond)).ravel()


def experience_of(ledger: Ledger, catalogue: Catalogue) -> Experience | None:
    """What the shop's closed jobs teach; None under `FEWEST_JOBS` or `FEWEST_TASKS`.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     experience_of(ledger, shop.catalogue) is None, FEWEST_JOBS
    (True, 5)
    """
    found = Experience()
    found.learn(finished(ledger, catalogue))
    return found if found.enough else None


def by_records(job: Estimate, settings: Settings, known: Experience | None) -> ByRecords | None:
    """Hours of an estimate by the shop's records; None if these are too few, or it has no work.

    Parameters
    ----------
    settings
        They say in whose hands each skill is.
    known
        As `experience_of` makes it.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> job, known = small_quote().job, Experience()
    >>> slow = tuple(Task(key_of(item.work.operation), "bench", 1.0, 1.5) for item in job.items)
    >>> known.learn([Finished(Job("A1", "", date(2026, 1, 1), closed=date(2026, 1, 5)), slow, 0.0)
    ...              for _ in range(25)])
    >>> found, by_book = by_records(job, small_quote().settings, known), small_quote().odds.hours
    >>> found.jobs, found.tasks, round(float(found.hours[0.8] / by_book.mean()), 1)
    (25, 125, 1.5)
    """
    tasks = [Task(key_of(item.work.operation), item.work.operation.skill,
                  item.mean_hours * job.hours_factor)
             for item in job.items if item.mean_hours > 0]
    if known is None or not tasks:
        return None
    return ByRecords(known.jobs, known.tasks,
                     _quantiles(known.draws(tasks, settings)))


def walk(ledger: Ledger, shop: Shop) -> Walk:
    """Closed jobs forecast by those that were closed before each was accepted.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     walk(ledger, shop).jobs  # three closed jobs are too few to forecast any
    ()
    """
    closed = finished(ledger, shop.catalogue, fewest=MOST_WALKED, spoiled=set())
    learnt = list(closed)
    known = Experience()
    numbers, quantiles, came, places = [], [], [], []
    for one in sorted(closed, key=lambda one: (one.job.accepted, one.job.number)):
        before = [other for other in learnt if other.job.closed < one.job.accepted]
        learnt = learnt[len(before):]
        known.learn(before)
        if known.enough and one.tasks and one.came > 0:
            draws = known.draws(one.tasks, shop.settings)
            numbers.append(one.job.number)
            quantiles.append(_quantiles(draws))
            came.append(one.came)
            places.append(float((draws < one.came).mean() + (draws == one.came).mean() / 2))
    last = slice(max(len(numbers) - MOST_WALKED, 0), None)
    enough = tuple(
        Enough("hours by records", share,
               held(came[last], [one[share] for one in quantiles[last]]))
        for share in SHARES if numbers)
    return Walk(tuple(numbers[last]), tuple(quantiles[last]), tuple(came[last]),
                tuple(places[last]), enough)


def finished(ledger: Ledger, catalogue: Catalogue, fewest: int = 0,
             spoiled: set[str] | None = None) -> tuple[Finished, ...]:
    """The youngest closed jobs, the earliest closed first: enough to fill the model's memory.

    Parameters
    ----------
    fewest
        So many jobs at the least, if there are.
    spoiled
        As of `Ledger.frozen_of`; hours of their items are taken as they were expected.
    """
    closed = closed_jobs(ledger)
    items: dict[str, tuple[Item, ...]] = {}
    while len(items) < len(closed) and (len(items) < fewest
                                        or sum(map(len, items.values())) < MOST_TASKS):
        stop = len(closed) - len(items)
        items |= ledger.items_of([job.number for job in closed[max(stop - _BATCH, 0):stop]])
    wanted = [job for job in closed if job.number in items]
    if not wanted:
        return ()
    time: dict[str, list[TimeEntry]] = defaultdict(list)
    for entry in ledger.together([job.number for job in wanted]):
        time[entry.job].append(entry)
    today = TodaysBook(catalogue, ledger.behind(
        {item.quote for mine in items.values() for item in mine}, spoiled=spoiled))
    return tuple(_finished(job, items[job.number], time[job.number], today) for job in wanted)


def _finished(job: Job, items: Sequence[Item], time: Sequence[TimeEntry], today: TodaysBook
              ) -> Finished:
    hands: dict[int, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for entry in time:
        if entry.item is not None:
            hands[entry.item][entry.person] += entry.hours
    tasks = []
    for item in items:
        held, mine = today.of(item), hands[item.item]
        key, expected = (key_of(held[0]), held[1]) if held else (item.operation, item.expected)
        if expected > 0:
            tasks.append(Task(key, item.skill, expected, math.fsum(mine.values()),
                              foremost(mine)))
    return Finished(job, tuple(tasks), math.fsum(
        entry.hours for entry in time if entry.unbilled in (FOUND, AGAIN)))


def _quantiles(draws: np.ndarray) -> dict[float, float]:
    return dict(zip(SHARES, np.quantile(draws, SHARES).tolist(), strict=True))


__all__ = ["Experience", "by_records", "experience_of", "walk"]
