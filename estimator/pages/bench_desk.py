"""What lies on the page "Bench plan": the plan of what was asked for, and rows to show of it.

Plain records and functions; nothing here knows a browser.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from estimator import schedule
from estimator.buying import Basket, Ordering, SecondRound
from estimator.errors import BadInput, Fault
from estimator.estimate import Estimate, estimate
from estimator.jobs import benching, quoted_work
from estimator.ledger import Ledger
from estimator.outwork import LotPlan
from estimator.pages import desk as desks
from estimator.pages.bench_form import Ask, Candidate
from estimator.schedule import BenchPlan, OnBench, Outlook, Step, Way
from estimator.schedule.hours import DAY
from estimator.scope import scope
from estimator.shop import Shop

FEW, MANY = 2_000, 10_000
"""Trials at once, and beside the page."""


@dataclass(frozen=True)
class Drawn:
    """A plan with what it was made of and what follows from it.

    `numbers` are numbers of jobs by their names on the plan.
    """

    ask: Ask
    jobs: tuple[OnBench, ...]
    numbers: Mapping[str, str]
    basket: Basket
    plan: BenchPlan
    outlook: Outlook
    ordering: Ordering
    lots: LotPlan
    spares: Mapping[str, SecondRound]
    ways: Mapping[str, tuple[Way, ...]] = field(default_factory=dict)


# From the ledger onto the bench


def _estimated(one: Candidate, ledger: Ledger, shop: Shop) -> Estimate:
    """The work of a candidate: of a job as it was quoted last, of a draft as it stands.

    Raises
    ------
    BadInput
        If it is gone, has gaps, or what it was computed from is not known.
    """
    kind, _, which = one.key.partition(":")
    if kind == "job":
        return quoted_work(ledger, one.version)[1]
    draft = ledger.draft(which)
    if draft is None:
        raise BadInput(Fault(f"The draft {one.title} is gone.", "Reload this page."))
    desk, _ = desks.from_json(draft.content or {}, shop.catalogue)
    survey, choices = desk.survey(), desk.choices()
    if survey.is_draft:
        count = len(survey.gaps)
        raise BadInput(Fault(f"{one.title} is not surveyed to the end: {count} "
                             f"field{'s are' if count > 1 else ' is'} blank.",
                             "Fill them on the page Quote a machine."))
    return estimate(scope(survey, choices.level, shop.catalogue, dropped=choices.dropped,
                          added=choices.added), shop)


# The plan


class Bench:
    """Draws plans; work that was estimated once is kept until it changes."""

    def __init__(self, ledger: Ledger, shop: Shop):
        self.ledger, self.shop = ledger, shop
        self._estimates: dict[tuple[str, str], Estimate] = {}

    def draw(self, ask: Ask, former: BenchPlan | None = None) -> Drawn:
        """The plan that is drawn at once.

        Parameters
        ----------
        former
            The plan so far, which is followed as far as it can be.

        Raises
        ------
        BadInput
            As `schedule.plan` does; or if the work of a machine cannot be told, with its place.
        """
        found, names, bought, faults = [], {}, defaultdict(float), []
        for wanted in ask.jobs:
            one = wanted.candidate
            try:
                key = one.key, one.version
                if key not in self._estimates:
                    self._estimates[key] = _estimated(one, self.ledger, ask.shop)
            except BadInput as error:
                faults += [Fault(fault.what, fault.fix, column=f"jobs:{one.key}:in")
                           for fault in error.faults]
                continue
            name = _other(one.title, names)
            names[name] = one.number
            bare = OnBench(name, self._estimates[key], wanted.due, wanted.weight)
            machine, parts = benching.on_bench(bare, one.number, self.ledger, ask.shop, ask.start
                                               ) if one.number else (bare, {})
            found.append(machine)
            for part, units in parts.items():
                bought[part] += units
        if faults:
            raise BadInput(faults)
        there = {"offered": schedule.market_of(ask.shop), "bought": bought}
        basket = schedule.basket_of(found, ask.shop, wish=ask.wish, on=ask.today, **there)
        machines = schedule.ordered(found, basket)
        plan = schedule.plan(machines, ask.shop, start=ask.start, seconds=0, former=former)
        return _drawn(ask, machines, {name: number for name, number in names.items() if number},
                      basket, schedule.spares_of(machines, ask.shop, basket, **there), plan,
                      trials=FEW)


def _other(title: str, taken: Mapping) -> str:
    """The title, or with a number where another machine has the same."""
    return next(name for name in (title, *(f"{title} ({n})" for n in range(2, 99)))
                if name not in taken)


def _drawn(ask: Ask, jobs: Sequence[OnBench], numbers: Mapping[str, str], basket: Basket,
           spares: Mapping[str, SecondRound], plan: BenchPlan, *, trials: int,
           progress: Callable[[float], bool] | None = None) -> Drawn:
    """A plan with its odds, orders and lots."""
    outlook = schedule.outlook(plan, jobs, ask.shop, trials=trials, progress=progress)
    return Drawn(ask, tuple(jobs), numbers, basket, plan, outlook,
                 schedule.ordering_of(plan, jobs, basket, chance=ask.in_time,
                                      margin=ask.shop.settings.order_margin_days),
                 schedule.lots_of(plan, jobs, ask.shop), spares)


def bettered(found: Drawn, progress: Callable[[float, float], bool],
             former: BenchPlan | None = None) -> Drawn:
    """The plan that a search finds, for the same machines; never a worse one."""
    ask = found.ask
    plan = schedule.plan(found.jobs, ask.shop, start=ask.start, seconds=ask.seconds,
                         former=former, progress=progress)
    return _drawn(ask, found.jobs, found.numbers, found.basket, found.spares, plan,
                  trials=MANY)


def ways_of(found: Drawn) -> dict[str, tuple[Way, ...]]:
    """Both ways of working for each machine, by its name."""
    return {one.name: schedule.compared(one, found.ask.shop, start=found.ask.start)
            for one in found.jobs}


# What is shown of it


def in_days(found: Drawn, moment: datetime) -> float:
    """Days from midnight before the plan's first day. [d]"""
    return (moment - datetime.combine(found.plan.start, time())).total_seconds() / 86400


def closed_days(found: Drawn) -> list[int]:
    """Days of the plan on which nobody is in, counted from its first."""
    last = math.ceil(max(in_days(found, step.end) for step in found.plan.steps))
    open_days = {day for _, hours in found.plan.bench.people for start, _ in hours.spans
                 if (day := start // DAY) <= last}
    return [day for day in range(last + 1) if day not in open_days]


def day_rows(found: Drawn, by: str) -> list[tuple[str, list[tuple[float, float, str]]]]:
    """Rows of the plan over days: by "machine", "group", "assembly" or "person".

    Waits for parts have rows of their own; of a person there is only work.
    """
    catalogue, several = found.ask.shop.catalogue, len(found.jobs) > 1
    jobs = {one.name: one for one in found.jobs}
    rows: dict[tuple, list] = {}
    for step in sorted(found.plan.steps, key=lambda one: (one.start, one.number)):
        if step.end <= step.start:
            continue
        kind = "work" if step.what == "work" else schedule.wait_word(step, catalogue)
        line = jobs[step.job].job.scope.lines[step.lines[0]] if step.lines else None
        row = catalogue.assemblies[line.assembly] if line else None
        if by == "person":
            name = step.person if kind == "work" else ""
        elif by == "machine":
            name = "Parts for it" if kind == "parts" else step.job
        elif kind == "parts" or row is None:
            name = step.name
        else:
            name = row.group if by == "group" else row.name
        if not name:
            continue
        # Machines stand together, waits for parts after their work.
        place = (list(jobs).index(step.job) if several and by != "person" else 0,
                 kind == "parts", name)
        rows.setdefault(place, []).append((in_days(found, step.start), in_days(found, step.end),
                                           kind))
    order = sorted(rows, key=lambda place: (place[0], place[1], rows[place][0][0]))
    if by == "person" or by == "machine" or not several:
        return [(place[2], rows[place]) for place in order]
    # Each machine under its name.
    shown = []
    for at, name in enumerate(jobs):
        own = [(place[2], rows[place]) for place in order if place[0] == at]
        shown += [(name.upper(), []), *own] if own else []
    return shown


def week_loads(found: Drawn) -> list[tuple[date, str, float, float]]:
    """Monday, person, hours planned and hours open, week by week as long as there is work. [h]"""
    first = found.plan.start
    monday = first - timedelta(first.weekday())
    planned: dict[tuple[int, str], float] = defaultdict(float)
    hours_of = dict(found.plan.bench.people)
    for step in found.plan.steps:
        if step.what != "work":
            continue
        # Work over a weekend counts in both weeks by its open time.
        hours = hours_of[step.person]
        start, end = (60 * 24 * in_days(found, at) for at in (step.start, step.end))
        for week in range(_week(found, step.start), _week(found, step.end) + 1):
            low, high = ((week * 7 + n) * DAY - first.weekday() * DAY for n in (0, 7))
            planned[week, step.person] += max(0.0, (
                hours.opened(min(end, high)) - hours.opened(max(start, low)))) / 60
    last = max((week for week, _ in planned), default=-1)
    rows = []
    for week in range(last + 1):
        low, high = ((week * 7 + n) * DAY - first.weekday() * DAY for n in (0, 7))
        for person, hours in hours_of.items():
            there = (hours.opened(high) - hours.opened(max(low, 0))) / 60
            rows.append((monday + timedelta(7 * week), person, planned[week, person], there))
    return rows


def _week(found: Drawn, moment: datetime) -> int:
    first = found.plan.start
    return (moment.date() - (first - timedelta(first.weekday()))).days // 7


def held_up(found: Drawn, least: float = 0.02) -> list[tuple[Step, float]]:
    """Waits and work that hold up the end, in how many trials, those that do most first. [–]"""
    rows = [(step, found.outlook.criticality[step.number]) for step in found.plan.steps
            if step.end > step.start]
    return sorted((row for row in rows if row[1] >= least),
                  key=lambda row: (-row[1], row[0].number))
