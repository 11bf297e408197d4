"""What lies on the page "Bench plan": which machines, whose hands, from when; and the plan of it.

Plain records and functions; nothing here knows a browser. What is typed is kept as it was typed
and read anew at every change. A fault names its place as "table:row:column", or a field of the
form.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

from pydantic import ValidationError

from estimator import schedule
from estimator.buying import (
    CHEAPEST,
    FASTEST,
    FEWEST,
    Basket,
    Ordering,
    SecondRound,
    Wish,
    trade_off,
)
from estimator.errors import BadInput, Fault, one_of, quoted
from estimator.estimate import Estimate, estimate
from estimator.jobs import benching, day_of
from estimator.ledger import Ledger
from estimator.outwork import LotPlan
from estimator.pages import desk as desks
from estimator.pages.typed import Reading
from estimator.schedule import BenchPlan, OnBench, Outlook, Step, Way
from estimator.schedule.hours import DAY
from estimator.scope import scope
from estimator.shop import Person, Shop
from estimator.survey import cells
from estimator.survey.cells import Wrong

KIND = "bench-plan"
"""Kind of the drafts of this page."""
DRAFTS = 20
"""So many drafts of quotes are offered, the last saved ones."""
SCHEMA = 1
FORM = {"start": "", "promise": "80", "in_time": "90", "buy": CHEAPEST.name, "day_worth": "",
        "parcel_worth": "", "seconds": "20"}
"""What stands in the form at first; a blank start is today, a blank worth what the shop says."""
WISHES = {wish.name: wish for wish in (CHEAPEST, FASTEST, FEWEST)}
"""What parts can be bought for, beside a trade-off."""
TRADE_OFF = trade_off(0.0).name
MOST_JOBS = 12
FEW, MANY = 2_000, 10_000
"""Trials at once, and beside the page."""


@dataclass(frozen=True)
class Candidate:
    """A job of the ledger or a draft that can be planned.

    Parameters
    ----------
    key
        "job:" or "draft:" and its number or key.
    title, note
        What it is called, and what it is.
    due
        The day it is promised for; None for none.
    first
        Whether it is planned unless something else is said.
    version
        Changes when its work does.
    """

    key: str
    title: str
    note: str
    due: date | None = None
    first: bool = False
    version: str = ""

    @property
    def number(self) -> str:
        """Number of the job; blank for a draft."""
        kind, _, number = self.key.partition(":")
        return number if kind == "job" else ""


@dataclass(frozen=True)
class _Wanted:
    """A candidate that is to be planned: when it is due, and its weight against others."""

    candidate: Candidate
    due: date | None = None
    weight: int = 1


@dataclass(frozen=True)
class _Ask:
    """What is asked for: machines, the shop with the people who are there, days, and how sure.

    `promise` and `in_time` are shares; `seconds` those of the search; ages of prices are told as
    of `today`, whenever the plan begins. [–], [s]
    """

    jobs: tuple[_Wanted, ...]
    shop: Shop
    today: date
    start: date
    promise: float
    in_time: float
    seconds: float
    wish: Wish = CHEAPEST


@dataclass(frozen=True)
class Drawn:
    """A plan with what it was made of and what follows from it.

    `numbers` are numbers of jobs by their names on the plan.
    """

    ask: _Ask
    jobs: tuple[OnBench, ...]
    numbers: Mapping[str, str]
    basket: Basket
    plan: BenchPlan
    outlook: Outlook
    ordering: Ordering
    lots: LotPlan
    spares: Mapping[str, SecondRound]
    ways: Mapping[str, tuple[Way, ...]] = field(default_factory=dict)


# What can be planned


def candidates(ledger: Ledger, shop: Shop, said: Collection[str] = ()) -> tuple[Candidate, ...]:
    """Jobs that are not finished, then the latest drafts of quotes; without open jobs the last
    draft first.

    Parameters
    ----------
    said
        Keys of candidates of which something was said before: older drafts of them are there too.
    """
    standing = ledger.standing()
    found = [Candidate(f"job:{job.number}", job.name, f"{job.number}, {job.state}", job.promised,
                       job.state in benching.OPEN, standing.get(job.number, job.number))
             for job in ledger.jobs() if job.state != "closed"]
    none = not any(one.first for one in found)
    kept = {key.removeprefix("draft:") for key in said if key.startswith("draft:")}
    for at, draft in enumerate(ledger.drafts(most=DRAFTS, also=kept)):
        when = f", {draft.saved.astimezone():%d %b %Y}" if draft.saved else ""
        found.append(Candidate(f"draft:{draft.key}", draft.title or "Untitled machine",
                               f"draft of a quote{when}", None, none and at == 0,
                               str(draft.revision)))
    return tuple(found)


def job_cells(one: Candidate, said: Mapping[str, str]) -> dict[str, str]:
    """What stands in the row of a candidate: as it was typed, else as the ledger has it."""
    return {"in": "yes" if one.first else "", "due": str(one.due or ""), "weight": "1"} | dict(said)


def person_cells(said: Mapping[str, str], person: Person) -> dict[str, str]:
    """What stands in the row of a person."""
    return {"in": "yes", "hours": person.hours} | dict(said)


def asked(content: Mapping, known: Sequence[Candidate], shop: Shop, today: date) -> _Ask:
    """What the page asks for, as it was typed.

    Raises
    ------
    BadInput
        With everything that cannot be read, each fault with its place.
    """
    read = Reading(FORM | dict(content.get("form", {})))
    faults = []

    def at(place: str, how: Callable, said: str):
        try:
            return how(said)
        except Wrong as wrong:
            faults.append(Fault(wrong.what, wrong.fix, column=place))
        except BadInput as error:
            faults.extend(Fault(one.what, one.fix, column=place) for one in error.faults)
        return None

    start = read.take("start", day_of) or today
    promise, in_time = (read.take(name, lambda said: _share(said, 5, 99), "Write per cent.")
                        for name in ("promise", "in_time"))
    wish = _wish(read, shop)
    seconds = read.take("seconds", lambda said: _between(said, 0, 600, "seconds"),
                        "Write seconds; 0 keeps the plan that is drawn at once.")
    wanted = []
    for one in known:
        said = job_cells(one, content.get("jobs", {}).get(one.key, {}))
        if said["in"]:
            due = at(f"jobs:{one.key}:due", day_of, said["due"])
            weight = at(f"jobs:{one.key}:weight", _weight, said["weight"])
            if due is not None and due < start and "start" not in {
                    fault.column for fault in read.faults}:
                # What is overdue is late whatever is done; it is planned as due on the first day.
                due = start
            wanted.append(_Wanted(one, due, weight or 1))
    people = []
    for person in schedule.people_of(shop.settings):
        said = person_cells(content.get("people", {}).get(person.name, {}), person)
        if said["in"]:
            people.append(at(f"people:{person.name}:hours",
                             lambda words, person=person: _with_hours(person, words),
                             said["hours"]))
    faults += read.faults
    if not wanted and not faults:
        faults.append(Fault("No machine is chosen.", "Tick the machines that are to be planned."
                            if known else "Make a draft on the page Quote a machine, or accept a "
                            "quote on the page Review hours."))
    if len(wanted) > MOST_JOBS:
        faults.append(Fault(f"{len(wanted)} machines are chosen.",
                            f"Plan at most {MOST_JOBS} together."))
    if not people:
        faults.append(Fault("Nobody is at the bench.", "Tick who is there."))
    if faults:
        raise BadInput(faults)
    names = {person.name for person in people}
    settings = shop.settings.model_copy(update={
        "people": tuple(people),
        "closed": tuple(one for one in shop.settings.closed
                        if not one.person or one.person in names)})
    return _Ask(tuple(wanted), replace(shop, settings=settings), today, start, promise, in_time,
                seconds, wish)


def _wish(read: Reading, shop: Shop) -> Wish | None:
    """What parts are bought for; a day sooner is worth what a day late costs, unless it is said."""
    name = read.take("buy", _wish_named)
    if name != TRADE_OFF:
        return WISHES.get(name)
    day, parcel = (read.take(field, _worth) for field in ("day_worth", "parcel_worth"))
    return trade_off(shop.settings.late_per_day if day is None else day, parcel or 0.0)


def _wish_named(said: str) -> str:
    names = (*WISHES, TRADE_OFF)
    if said not in names:
        raise Wrong(f"{quoted(said)} is nothing that parts are bought for.", one_of(said, names))
    return said


def _worth(said: str) -> float | None:
    found = cells.number(said)
    if found is not None and not 0 <= found < 1e9:
        raise Wrong(f"{found:g} is no worth of a day or a parcel.", "Write money, 0 or more.")
    return found


def _share(said: str, low: float, high: float) -> float | None:
    found = _between(said.replace("%", ""), low, high, "per cent")
    return None if found is None else found / 100


def _between(said: str, low: float, high: float, unit: str) -> float | None:
    found = cells.number(said)
    if found is not None and not low <= found <= high:
        raise Wrong(f"{found:g} {unit} cannot be.", f"Write {low:g} to {high:g}.")
    return found


def _weight(said: str) -> int:
    found = cells.number(said)
    if found is None:
        return 1
    if not (1 <= found <= 99 and found == int(found)):
        raise Wrong(f"The priority is {found:g}.", "Write a whole number from 1 to 99; the most "
                    "pressing has the greatest.")
    return int(found)


def _with_hours(person: Person, said: str) -> Person:
    try:
        return Person(**person.model_dump() | {"hours": " ".join(said.split())})
    except ValidationError:
        raise Wrong(f"{quoted(said)} are no hours of a week.",
                    "Write seven of them from Monday on, such as: 9-17 9-17 9-17 9-17 9-12:30 "
                    "closed closed.") from None


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
        return benching.work_of(ledger, one.version)
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

    def draw(self, ask: _Ask, former: BenchPlan | None = None) -> Drawn:
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


def _drawn(ask: _Ask, jobs: Sequence[OnBench], numbers: Mapping[str, str], basket: Basket,
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
