"""The plan of a bench: drawn at once, bettered by search, and played to the minute."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from estimator.errors import BadInput, Fault
from estimator.schedule.hours import DAY, moment
from estimator.schedule.listing import drawn
from estimator.schedule.playing import NEAR, Course
from estimator.schedule.records import Bench, BenchPlan, Draft, Proof, Step
from estimator.schedule.solving import solved
from estimator.schedule.tasks import OnBench, bench_of
from estimator.shop import Shop

_LAST = date(2100, 1, 1)
_MOVE = 15
"""Minutes of later ending that a piece of work on another day counts like."""


def plan(
    jobs: Sequence[OnBench],
    shop: Shop,
    *,
    start: date | None = None,
    seconds: float = 5.0,
    seed: int = 1,
    workers: int = 1,
    former: BenchPlan | None = None,
    progress: Callable[[float, float], bool | None] | None = None,
) -> BenchPlan:
    """A plan for these machines: who does what when, and what is waited for.

    Jobs late by the least, weighted, come first; then the earliest end of all. Hours are those
    the estimate expects, at each person's pace; days of lots and parts those expected.

    Parameters
    ----------
    shop
        As it is today, whatever tables the jobs were quoted from: the order of work, spaces and
        people are its own.
    start
        The first day; None is today.
    seconds
        For the search; 0 takes the plan that is drawn at once. With one worker the same seed
        gives the same plan.
    former
        The plan so far, which is changed as little as is needed: what begins on another day
        counts like ending a quarter of an hour later.
    progress
        Told the end of the best plan so far and the best that may be, in open minutes; answering
        False stops the search.

    Raises
    ------
    BadInput
        If there is nothing to plan, nobody has a skill, the calendar is closed, a day cannot be
        or rules make work wait for itself.

    Examples
    --------
    >>> from estimator.catalogue import Era, Level
    >>> from estimator.estimate import estimate
    >>> from estimator.scope import scope
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> works = scope(template(Era.MODERN, shop.catalogue), Level.CLEAN, shop.catalogue)
    >>> found = plan([OnBench("Harbour Lights", estimate(works, shop))], shop,
    ...              start=date(2026, 11, 26), seconds=0)
    >>> found.finishes["Harbour Lights"].year
    2026
    """
    start = start or date.today()
    _check(jobs, start)
    bench = bench_of(jobs, shop, start)
    when = _former(bench, former, start)
    first = None
    if when is not None:
        last = max((value for value in when if value is not None), default=0.0)
        first = [last + at if value is None else value for at, value in enumerate(when)]
    draft = drawn(bench, seed=seed, first=first, better=_worth(bench, when))
    proof = Proof(False, 1.0, 0.0)
    if seconds > 0:
        draft, proof = solved(bench, draft, seconds=seconds, seed=seed, workers=workers,
                              former=when, move_minutes=_MOVE, day_of=_day, progress=progress)
    else:
        proof = replace(proof, moved=_moved(bench, draft, when))
    return _told(bench, draft, proof, start, jobs)


def _day(clock: float) -> int:
    return int(clock // DAY)


def _moved(bench: Bench, draft: Draft, when: Sequence[float | None] | None) -> int:
    """How many pieces of work begin on another day than they were to."""
    return sum(_day(start) != _day(was) for act, start, was in
               zip(bench.activities, draft.starts, when or (), strict=bool(when))
               if was is not None and act.able)


def _worth(bench: Bench, when: Sequence[float | None] | None) -> Callable[[Draft], tuple]:
    """What drafts are compared by: as the search does, but by the clock."""
    return lambda draft: (draft.late, draft.end + _MOVE * _moved(bench, draft, when),
                          sum(draft.finishes))


def _check(jobs: Sequence[OnBench], start: date) -> None:
    if not jobs:
        raise BadInput(Fault("There is no job to plan.", "Name a survey."))
    if not date(2000, 1, 1) <= start < _LAST:
        raise BadInput(Fault(f"A plan cannot begin on {start}.", "Write a day of these years.",
                             column="start"))
    if not any(one.job.items for one in jobs):
        raise BadInput(Fault("There is no work at this level.", "Choose a level with some."))


def _former(bench: Bench, former: BenchPlan | None, start: date) -> list[float | None] | None:
    """When each activity was to begin in the plan so far, by this plan's clock."""
    if former is None:
        return None
    shift = (former.start - start).days * DAY
    begun: Mapping[tuple, float] = {
        _key(former.bench, at): value + shift for at, value in enumerate(former.draft.starts)}
    found = [begun.get(_key(bench, at)) for at in range(len(bench.activities))]
    # What should have begun by now begins today.
    return [None if value is None else max(value, 0.0) for value in found]


def _key(bench: Bench, at: int) -> tuple:
    act = bench.activities[at]
    return bench.jobs[act.job].name, act.what, act.name, act.item, act.part


def _expected(bench: Bench, draft: Draft) -> list[float]:
    """Hours of every activity as the plan has them: of the person's open time, or by the clock."""
    found = []
    for act, who in zip(bench.activities, draft.who, strict=True):
        if who is None:
            found.append(act.minutes / 60)
        else:
            place = [person for person, _ in act.able].index(who)
            found.append(act.exact[place] if act.exact else act.able[place][1] / 60)
    return found


def _told(bench: Bench, draft: Draft, proof: Proof, start: date, jobs: Sequence[OnBench]
          ) -> BenchPlan:
    """The plan with its times, played in its order with exact hours."""
    course = Course(bench, draft, kind=np.float64)
    hours = _expected(bench, draft)
    starts, finishes, turned = course.play(hours, 1)
    critical = course.critical(starts, finishes, turned)[:, 0]
    slack = course.slack(hours, finishes)
    at_clock = functools.partial(moment, start)
    begun = course.begins(starts, finishes, hours)
    begins = [60 * float(course.by_clock(at, begun[at], morning=True)[0])
              for at in range(course.count)]
    ends = [60 * float(course.by_clock(at, finishes[at])[0]) for at in range(course.count)]
    steps = []
    for at, act in enumerate(bench.activities):
        who = draft.who[at]
        binding = [before for before in course.before[at]
                   if before < course.count and _holds_up(course, before, at, starts, finishes,
                                                          turned)]
        steps.append(Step(
            number=at, name=act.name, what=act.what, job=bench.jobs[act.job].name,
            start=at_clock(begins[at]), end=at_clock(max(ends[at], begins[at])),
            person="" if who is None else bench.people[who][0], hours=hours[at],
            slack_hours=slack[at], critical=bool(critical[at]),
            waits_for=tuple(bench.activities[before].name for before in binding),
            lines=tuple(sorted(act.lines)), item=act.item, skill=act.skill,
            operation=act.operation))
    finished = [60 * float(end[0]) for end in course.ends(finishes)]
    made = Draft(tuple(begins), tuple(ends), draft.who, draft.late, max(finished),
                 tuple(finished), draft.rule)
    return BenchPlan(
        start=start, steps=tuple(steps),
        finishes={job.name: at_clock(end) for job, end in zip(bench.jobs, finished, strict=True)},
        due={one.name: one.due for one in jobs}, proof=proof, rule=draft.rule, bench=bench,
        draft=made)


def _holds_up(course: Course, before: int, at: int, starts, finishes, turned) -> bool:
    axis = course.axis[at]
    value = finishes[before] if course.axis[before] == axis else turned[before, axis]
    return bool(value[0] >= starts[at][0] - NEAR)


__all__ = ["plan"]
