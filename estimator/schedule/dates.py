"""When machines will be ready, and how sure that is: the plan's order of work, played many times.

Hours draw by the names that the quote's odds draw by, so that both see the same good and bad luck;
so do days of lots. Nobody re-plans within a trial: what is late delays what comes after it, and the
figures are on the safe side by what a change of plan would save.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np

from estimator.errors import BadInput, Fault
from estimator.schedule.hours import moment
from estimator.schedule.playing import BLOCK, Course
from estimator.schedule.records import BenchPlan
from estimator.schedule.tasks import OVERDUE, OnBench, leads_of, people_of
from estimator.shop import Shop
from estimator.simulate import Stopped
from estimator.simulate.plan import Amount, plan_of
from estimator.simulate.run import player_of

_CRITICAL_TRIALS = 2 * BLOCK


@dataclass(frozen=True)
class Promise:
    """A day that a machine is promised for, and what that risks.

    Parameters
    ----------
    day
        It is ready in the course of this day or before.
    chance
        That it is. [–]
    late_days
        How late it is on average, all trials together. [d]
    cost
        Of that, at what a day late costs the shop. [money]
    """

    day: date
    chance: float
    late_days: float
    cost: float


@dataclass(frozen=True)
class Ready:
    """When one job is ready over the trials.

    Parameters
    ----------
    job
        Its name.
    planned
        When the plan has it ready.
    p50, p80, p90
        Moments that it is ready by in half, four fifths, nine tenths of the trials.
    hours
        By the clock from midnight before the plan begins, shape (trials,). [h]
    due
        The day it was promised for, with the chance of that; None for none.

    Examples
    --------
    >>> hours = np.array([30.0, 40.0, 50.0, 70.0])
    >>> noon = datetime(2026, 3, 3, 12)
    >>> found = Ready("Harbour Lights", date(2026, 3, 2), noon, noon, noon, noon, None, 25.0, hours)
    >>> found.on(date(2026, 3, 3)).chance, found.promise(0.7).day.isoformat()
    (0.5, '2026-03-04')
    >>> round(found.earlier(found.promise(0.7), days=1).cost, 2)
    6.25
    """

    job: str
    start: date
    planned: datetime
    p50: datetime
    p80: datetime
    p90: datetime
    due: Promise | None
    late_per_day: float = 0.0
    hours: np.ndarray = field(default_factory=lambda: np.zeros(1), repr=False, compare=False)

    def on(self, day: date) -> Promise:
        """What promising a day would risk."""
        limit = ((day - self.start).days + 1) * 24
        late = np.maximum(self.hours - limit, 0) / 24
        days = float(late.mean(dtype=float))
        return Promise(day, float(np.mean(self.hours <= limit)), days, days * self.late_per_day)

    def promise(self, confidence: float) -> Promise:
        """The first day that holds in this share of the trials.

        Raises
        ------
        BadInput
            If the confidence is not over 0 and under 1.
        """
        if not 0 < confidence < 1:
            raise BadInput(Fault(f"A confidence of {confidence:g} cannot be promised.",
                                 "Write a share such as 0.8: four in five.", column="promise"))
        ordered = np.sort(self.hours)
        value = ordered[min(math.ceil(confidence * len(ordered)) - 1, len(ordered) - 1)]
        # Ready at midnight is ready on the day before.
        return self.on(self.start + timedelta(days=max(math.ceil(float(value) / 24) - 1, 0)))

    def earlier(self, promise: Promise, days: int = 7) -> Promise:
        """What promising so many days earlier would risk."""
        return self.on(promise.day - timedelta(days=days))


@dataclass(frozen=True)
class Outlook:
    """When all jobs are ready, and what that depends on.

    `criticality` says in which share of trials each step of the plan holds up the end of its job,
    by its number.
    """

    ready: Mapping[str, Ready]
    criticality: tuple[float, ...]
    trials: int
    seed: int


def outlook(found: BenchPlan, jobs: Sequence[OnBench], shop: Shop, *, trials: int = 10_000,
            seed: int = 1, progress: Callable[[float], bool | None] | None = None) -> Outlook:
    """Play a plan through `trials` times.

    Parameters
    ----------
    found, jobs
        The plan and the jobs it was made for.
    seed
        The first job draws as its quote does with the same seed.
    progress
        Told the share that is done; answering False raises `Stopped`.

    Raises
    ------
    ValueError
        If there are fewer than 100 trials.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule.planning import plan
    >>> from estimator.shop import open_shop
    >>> jobs, shop = [OnBench("Harbour Lights", small_quote().job)], open_shop()
    >>> made = plan(jobs, shop, start=date(2026, 11, 26), seconds=0)
    >>> found = outlook(made, jobs, shop, trials=200).ready["Harbour Lights"]
    >>> found.p50 < found.p80 < found.p90, found.promise(0.8).chance >= 0.8
    (True, True)
    """
    if trials < 100:
        raise ValueError(f"{trials} trials say nothing about odds; take 100 or more.")
    hours, held = lengths(found, jobs, shop, trials=trials, seed=seed)
    course = Course(found.bench, found.draft, held)
    durations = hours + [held[at] for at in course.holds]
    ends = np.empty((len(found.bench.jobs), trials), np.float32)
    hits, seen = np.zeros(course.count), 0
    for part, (starts, finishes, turned) in course.blocks(durations, trials):
        for row, end in zip(ends, course.ends(finishes), strict=True):
            row[part] = end
        if seen < _CRITICAL_TRIALS:
            hits += course.critical(starts, finishes, turned)[:course.count].sum(axis=1)
            seen += part.stop - part.start
        if progress is not None and progress(part.stop / trials) is False:
            raise Stopped("The trials were stopped; the plan still stands.")
    ready = {}
    for job, one, row in zip(found.bench.jobs, jobs, ends, strict=True):
        p50, p80, p90 = (moment(found.start, 60 * value)
                         for value in np.quantile(row, (0.5, 0.8, 0.9)))
        made = Ready(job.name, found.start, found.finishes[job.name], p50, p80, p90, None,
                     shop.settings.late_per_day, row)
        ready[job.name] = made if one.due is None else replace(made, due=made.on(one.due))
    return Outlook(ready, tuple((hits / seen).tolist()), trials, seed)


def lengths(found: BenchPlan, jobs: Sequence[OnBench], shop: Shop, *, trials: int, seed: int
            ) -> tuple[list, dict[int, np.ndarray]]:
    """Hours of every activity in every trial, and by how many hours finds hold up what follows.

    Arrays of shape (trials,), float32, or a number where nothing varies.
    """
    bench = found.bench
    people = people_of(shop.settings)
    hours: list = [act.minutes / 60 for act in bench.activities]
    held: dict[int, np.ndarray] = {}
    for place, one in enumerate(jobs):
        job = one.job
        todo = plan_of(job, shop.settings)
        player = player_of(todo, job, trials=trials, seed=seed + 7919 * place)
        amounts = _amounts(job, todo)
        drawn: dict[int, np.ndarray] = {}
        ranges = {lot.service: lot.days for lot in job.lots}
        leads = {lead.name: lead.days for lead in
                 (leads_of(job, shop.catalogue) if one.leads is None else one.leads)}
        hosts: dict[int, int] = {}
        for at, act in enumerate(bench.activities):
            if act.job != place:
                continue
            if act.what == "work":
                item = job.items[act.item]
                if act.item not in drawn:
                    values = player.amount(amounts[act.item])
                    values += np.float32(item.setup)
                    drawn[act.item] = values
                person = people[found.draft.who[at]]
                factor = act.share * job.hours_factor * person.pace
                hours[at] = drawn[act.item] * np.float32(
                    factor / shop.settings.productive_share)
                host = hosts.get(item.line)
                size = act.share * item.mean_hours
                if host is None or size > bench.activities[host].share * job.items[
                        bench.activities[host].item].mean_hours:
                    hosts[item.line] = at
            elif act.what in ("order", "outwork"):
                days = (leads if act.what == "order" else ranges)[act.operation]
                name = f"days of {'order ' if act.what == 'order' else ''}{act.operation}"
                values = player.amount(Amount(name, "pert", days.low, days.typical, days.high))
                values *= np.float32(24)
                if act.gone:
                    values -= np.float32(act.gone / 60)
                    np.maximum(values, np.float32(OVERDUE / 60), out=values)
                hours[at] = values
        if not hosts:
            continue
        spare = min(hosts.values())
        for line, events in todo.lines.items():
            if not events.events:
                continue
            luck = player.line(events)
            at = hosts.get(line, spare)
            person = people[found.draft.who[at]]
            factor = job.hours_factor * person.pace / shop.settings.productive_share
            hours[at] = hours[at] + luck.find_hours * np.float32(factor)
            if luck.find_days is not None:
                held[at] = held.get(at, 0) + luck.find_days * np.float32(24)
    return hours, held


def _amounts(job, todo) -> list[Amount]:
    """The amount of hours of every work item, in their order."""
    rows = {line: iter(plan.hours) for line, plan in todo.lines.items()}
    return [next(rows[item.line]) for item in job.items]


__all__ = ["Outlook", "Promise", "Ready", "outlook"]
