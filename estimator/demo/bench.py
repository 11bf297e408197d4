"""Who does what on a demo job, how long it takes them, and on which days."""

from __future__ import annotations

import math
from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from estimator.demo.machines import figures
from estimator.ledger import Item, TimeEntry

_JOB_SPREAD = 0.09  # standard deviation of ln(hours) that a whole job shares
_FORGOTTEN = 0.03  # share of small items that nobody writes down
_REWORK, _UNBILLED = 0.4, 0.3  # chance that a job needs some; share of a day
_HOURS = ((1.3, 9.0), (1.6, 9.0), (2.0, 9.0), (3.0, 9.0), (50.0, 9.0), (50.0, 11.0))
"""Tried in turn: hours of a day over those that would just do, and the most of a day. [h]"""


@dataclass(frozen=True)
class _Person:
    """Somebody at the bench.

    Parameters
    ----------
    skills, weekdays
        Kinds of work done, and days worked; 0 is Monday.
    pace
        Hours taken over hours expected. [–]
    wobble
        Standard deviation of ln(hours) from task to task. [–]
    copies
        Share of tasks booked at exactly what was expected. [–]
    """

    name: str
    skills: frozenset[str]
    weekdays: frozenset[int]
    pace: float
    wobble: float
    copies: float


@dataclass(frozen=True)
class Task:
    """Hours of one person on a job: on a work item, or of a kind that no quote pays for."""

    job: str
    accepted: date
    person: str
    hours: float
    item: int | None = None
    unbilled: str | None = None


def people() -> tuple[_Person, ...]:
    """Everybody in the demo shop."""
    return tuple(
        _Person(one["person"], frozenset(one["skills"].split()),
                frozenset(map(int, one["weekdays"].split())), float(one["pace"]),
                float(one["wobble"]), float(one["copies"]))
        for one in figures("people"))


def tasks_of(items: Sequence[Item], accepted: date, found: float, staff: Sequence[_Person],
             rng: np.random.Generator, share: float = 1.0) -> list[Task]:
    """What is worked on a job, in order.

    Parameters
    ----------
    found
        Hours of work that the quote does not list; 0 for none. [h]
    share
        Of the job that is done, 0 to 1.
    """
    off = {one["operation"]: float(one["ratio"]) for one in figures("pace")}
    whole = math.exp(rng.normal(0, _JOB_SPREAD))
    tasks = []
    limit, gone = share * sum(item.expected for item in items), 0.0
    for item in items:
        able = [one for one in staff if item.skill in one.skills] or list(staff)
        person = able[rng.choice(len(able), p=_more_for_the_first(len(able)))]
        ratio = person.pace * whole * off.get(item.operation, 1.0) \
            * math.exp(rng.normal(0, person.wobble))
        copied, forgotten = rng.random() < person.copies, rng.random() < _FORGOTTEN
        if gone >= limit or (forgotten and item.expected < 0.5) or not item.expected > 0:
            continue
        hours = item.expected if copied and item.operation not in off \
            else _booked(item.expected * ratio)
        tasks.append(Task(items[0].job, accepted, person.name, hours, item.item))
        gone += item.expected
    if tasks and found > 0:
        tasks.insert(2 * len(tasks) // 3, Task(tasks[0].job, accepted, tasks[-1].person,
                                               _booked(found), unbilled="unlisted"))
    if tasks and rng.random() < _REWORK * share:
        hours = max(0.25, round(4 * rng.gamma(2.0, 0.015) * limit) / 4)
        tasks.append(Task(tasks[0].job, accepted, tasks[-1].person, hours, unbilled="rework"))
    return tasks


def calendar(tasks: Iterable[Task], staff: Sequence[_Person], start: date, end: date,
             rng: np.random.Generator) -> list[TimeEntry]:
    """Tasks and unbilled time as they were booked, day by day from `start` to `end`.

    Each person goes through their tasks in the order given, as far as the jobs are accepted, and
    works as many hours a day as it takes to be through with them by `end`.
    """
    queues: dict[str, list[Task]] = defaultdict(list)
    for task in tasks:
        queues[task.person].append(task)
    chores = figures("chores")
    entries = []
    for person in staff:
        seed = rng.integers(2**32)
        for pace in _HOURS:
            mine, left = _days(person, deque(queues[person.name]), chores, start, end, pace,
                               np.random.default_rng(seed))
            if not left:
                break
        else:
            raise ValueError(f"{person.name} has more to do than fits from {start} to {end}")
        entries += mine
    return sorted(entries, key=lambda one: one.day)


def _days(person: _Person, queue: deque[Task], chores: Sequence[Mapping], start: date, end: date,
          pace: tuple[float, float], rng: np.random.Generator) -> tuple[list[TimeEntry], bool]:
    """Entries of a person, and whether something is left to do at the end."""
    days = [start + timedelta(n) for n in range((end - start).days + 1)]
    days = [day for day in days if day.weekday() in person.weekdays]
    slack, most = pace
    bench = slack * sum(task.hours for task in queue) / max(len(days), 1)
    bench = min(max(bench, 2.0), most)
    weights = np.array([float(one["weight"]) for one in chores])
    entries: list[TimeEntry] = []
    left = queue[0].hours if queue else 0.0
    for day in days:
        room = bench * rng.uniform(0.8, 1.15)
        on_hand = None
        while queue and queue[0].accepted <= day and room > 0.1:
            task = queue[0]
            on_hand = task.job
            # What would leave a scrap for tomorrow is finished today.
            hours = left if left <= room + 0.5 else round(room, 2)
            entries.append(TimeEntry(person=person.name, day=day, hours=hours, job=task.job,
                                     item=task.item, unbilled=task.unbilled))
            left, room = left - hours, room - hours
            if left <= 1e-9:
                queue.popleft()
                left = queue[0].hours if queue else 0.0
        other = _UNBILLED / (1 - _UNBILLED) * (bench if on_hand else bench / 2)
        many = 1 + int(rng.integers(2))
        for at in rng.choice(len(chores), many, replace=False, p=weights / weights.sum()):
            chore = chores[at]
            hours = round(4 * other / many * rng.uniform(0.5, 1.5)) / 4
            if hours > 0:
                job = on_hand if chore["of_a_job"] == "yes" else None
                entries.append(TimeEntry(person=person.name, day=day, hours=hours, job=job,
                                         unbilled=chore["unbilled"]))
    return entries, bool(queue)


def _booked(hours: float) -> float:
    """As it would be written down: the longer, the rounder."""
    step = 0.25 if hours >= 2 else 0.05 if hours >= 0.25 else 0.01
    return max(step, round(round(hours / step) * step, 4))


def _more_for_the_first(count: int) -> np.ndarray:
    weights = 1 / np.arange(1, count + 1)
    return weights / weights.sum()
