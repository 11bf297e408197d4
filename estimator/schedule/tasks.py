"""From estimates to what is to be planned: work, waits, orders, lots, and what waits for what."""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from estimator import durations
from estimator.catalogue import SKILLS, Catalogue, Precedence, group_slug
from estimator.durations import Range
from estimator.errors import BadInput, Fault, one_of
from estimator.estimate import Estimate
from estimator.network import Link, needed
from estimator.schedule.hours import DAY, calendars, minutes_of
from estimator.schedule.records import Activity, Bench, Due
from estimator.schedule.rules import Task, holds, links_of, turns_of, waits_first
from estimator.shop import Person, Settings, Shop

_LEAST_LEFT = 0.1
"""Of an item that was begun, at least this share is still to do, whatever was booked. [–]"""

OVERDUE = DAY // 2
"""Minutes after which something is reckoned for that should be there already."""


@dataclass(frozen=True)
class Lead:
    """Parts on their way: who sends them, how many days that takes, which lines wait for them.

    Parameters
    ----------
    name
        Of the order, such as its supplier.
    days
        From order to door. [d]
    lines
        Survey lines that need something of it, by index.
    ordered
        The day it is or was ordered; None for the first day of the plan.
    arrived
        Whether it is there.

    Examples
    --------
    >>> Lead("oakbench-parts", Range(4, 6, 10), frozenset({19, 20}),
    ...      ordered=date(2026, 11, 23)).arrived
    False
    """

    name: str
    days: Range
    lines: frozenset[int]
    ordered: date | None = None
    arrived: bool = False


@dataclass(frozen=True)
class OnBench:
    """A machine to be planned for.

    Parameters
    ----------
    name
        Of the job; no two have the same.
    job
        The work, timed.
    due
        The day it is promised for; None for none.
    weight
        How much its being late counts against others'.
    begins
        Not before this day; None for the first day of the plan.
    leads
        Orders of its parts; None takes one of each best supplier.
    done
        Work items that are finished and since when, numbered from 1 as in the estimate.
    booked
        Hours booked to work items that are not. [h]
    sent
        Services whose lot is away, and since when.
    back
        Services whose lot has come back.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> one = OnBench("harbour", small_quote().job, due=date(2027, 3, 1),
    ...               done={1: date(2026, 11, 25)}, booked={2: 0.5})
    >>> one.weight, one.leads
    (1, None)
    """

    name: str
    job: Estimate
    due: date | None = None
    weight: int = 1
    begins: date | None = None
    leads: tuple[Lead, ...] | None = None
    done: Mapping[int, date] = field(default_factory=dict)
    booked: Mapping[int, float] = field(default_factory=dict)
    sent: Mapping[str, date] = field(default_factory=dict)
    back: frozenset[str] = frozenset()


def people_of(settings: Settings) -> tuple[Person, ...]:
    """Who is at the bench: those in `people`, else those that hands are named after.

    Raises
    ------
    BadInput
        If two people have one name.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> [(person.name, person.skills) for person in people_of(open_shop().settings)]
    [('restorer', 'bench electronics finishing cabinet')]
    """
    if settings.people:
        names = [person.name for person in settings.people]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise BadInput(Fault(f"{', '.join(twice)} stands twice among the people.",
                                 "Give everybody a name of their own.", "shop.toml", None,
                                 "people"))
        return settings.people
    hands: dict[str, list[str]] = defaultdict(list)
    for skill in SKILLS:
        hands[getattr(settings, f"hand_{skill}")].append(skill)
    return tuple(Person(name=name, skills=" ".join(skills)) for name, skills in hands.items())


def leads_of(job: Estimate, catalogue: Catalogue) -> tuple[Lead, ...]:
    """One order of each supplier that is the cheapest for some part, by name.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> found = leads_of(small_quote().job, open_shop().catalogue)
    >>> [(lead.name, sorted(lead.lines)) for lead in found]
    [('marsh-lane-supply', [1]), ('oakbench-parts', [0, 1]), ('tinplate-and-coil', [0])]
    """
    lines: dict[str, set[int]] = defaultdict(set)
    for supply in job.supplies:
        if supply.does == "part" and (offers := catalogue.offers_of.get(supply.item)):
            best = min(offers, key=lambda offer: (offer.price, offer.supplier))
            lines[best.supplier].add(supply.line)
    found = []
    for name in sorted(lines):
        row = catalogue.suppliers[name]
        found.append(Lead(name, Range.of(row, "days_"), frozenset(lines[name])))
    return tuple(found)


def bench_of(jobs: Sequence[OnBench], shop: Shop, first: date) -> Bench:
    """All that is to be planned from a day on, for several machines at once.

    Raises
    ------
    BadInput
        If nobody has a skill that is needed, a date cannot be, a service or an item is none of
        the job's, the calendar is closed, or rules make work wait for itself; every fault of a
        kind at once.
    """
    people = people_of(shop.settings)
    _check(jobs, people, first)
    rows = list(shop.catalogue.spaces.values())
    activities: list[Activity] = []
    for place, one in enumerate(jobs):
        activities += _of_job(place, one, shop, people, first, len(activities))
    work = sum(max((minutes for _, minutes in act.able), default=0) for act in activities)
    waits = sum(act.minutes for act in activities)
    release = max((act.release for act in activities), default=0)
    # Long enough for the worst that is drawn; holidays of ten years are known in an instant.
    week = min(_week(person, shop.settings) for person in people)
    days = 7 * work / max(week, 60) + (waits + release) / DAY
    closed = sum(((entry.last or entry.first) - entry.first).days for entry in
                 shop.settings.closed)
    hours = calendars(shop.settings, first, round(3 * days) + 120 + closed, people)
    return Bench(
        tuple(activities),
        tuple((person.name, found) for person, found in zip(people, hours, strict=True)),
        tuple((row.space, row.count) for row in rows),
        tuple(Due(one.name, one.weight,
                  None if one.due is None else ((one.due - first).days + 1) * DAY)
              for one in jobs),
    )


def _week(person: Person, settings: Settings) -> int:
    """Open minutes of a week, before holidays."""
    return sum(end - start for start, end in
               filter(None, map(minutes_of, (person.hours or settings.open_hours).split())))


def _check(jobs: Sequence[OnBench], people: Sequence[Person], first: date) -> None:
    faults = []
    names = [one.name for one in jobs]
    for name in sorted({name for name in names if names.count(name) > 1}):
        faults.append(Fault(f'Two jobs are called "{name}".', "Give each its own name."))
    skills = {skill for person in people for skill in person.skills.split()}
    missing: dict[str, int] = defaultdict(int)
    for one in jobs:
        for item in one.job.items:
            if item.work.operation.skill not in skills:
                missing[item.work.operation.skill] += 1
        if one.due is not None and one.due < first:
            faults.append(Fault(f"{one.name} is due on {one.due}, before the plan begins on "
                                f"{first}.", "Say a later day, or plan from an earlier one."))
        services = {lot.service for lot in one.job.lots}
        for service in (*one.sent, *one.back):
            if service not in services:
                faults.append(Fault(f'{one.name} has no lot for "{service}".',
                                    one_of(service, sorted(services)) if services
                                    else "It sends nothing out."))
        for number in (*one.done, *one.booked):
            if not 1 <= number <= len(one.job.items):
                faults.append(Fault(f"{one.name} has no work item {number}.",
                                    f"It has 1 to {len(one.job.items)}."))
        for days in [*one.done.values(), *one.sent.values()]:
            if days > first:
                faults.append(Fault(f"{one.name}: {days} is said to be over, and the plan begins "
                                    f"on {first}.", "Plan from a later day."))
    for skill, count in sorted(missing.items()):
        faults.append(Fault(
            f"Nobody at the bench does {skill}; {count} work item{'s' if count > 1 else ''} "
            f"need{'s' if count == 1 else ''} it.",
            f"Add it to somebody's skills. At the bench: "
            f"{', '.join(person.name for person in people)}.", "shop.toml", None, "people"))
    if faults:
        raise BadInput(faults)


@dataclass(frozen=True)
class _Part:
    """A task with what is planned for it."""

    task: Task
    item: int | None = None
    share: float = 1.0
    sessions: int = 1
    days: Range | None = None
    release: int = 0
    gone: bool = False
    left: float = 1.0
    away: bool = False


def _of_job(place: int, one: OnBench, shop: Shop, people: Sequence[Person], first: date,
            base: int) -> list[Activity]:
    """Activities of one job, with only the links that are needed; their places count from `base`.
    """
    parts = _parts(one, shop, first)
    laid = _Laid(place, one, shop, people, first)
    spots = [laid.lay(part) for part in parts]
    laid.link(parts, spots, links_of([part.task for part in parts], shop.catalogue))
    after: list[list[int]] = [[] for _ in laid.acts]
    for a, b in needed(len(laid.acts), laid.pairs):
        after[b].append(a + base)
    awaited = {before - base for row in after for before in row}
    return [replace(act, after=tuple(after[at]), counts=act.what != "outwork" or at in awaited)
            for at, act in enumerate(laid.acts)]


def _parts(one: OnBench, shop: Shop, first: date) -> list[_Part]:
    job, catalogue = one.job, shop.catalogue
    in_turns, found = turns_of(catalogue), []

    def about(lines) -> dict:
        rows = [catalogue.assemblies[job.scope.lines[line].assembly] for line in lines]
        return {"lines": frozenset(lines), "assemblies": frozenset(row.assembly for row in rows),
                "groups": frozenset(group_slug(row.group) for row in rows)}

    for place, item in enumerate(job.items):
        row = item.work.operation
        title = catalogue.assemblies[job.scope.lines[item.line].assembly].name
        task = Task(f"{title}: {row.name}", "work", **about([item.line]), kind=row.kind,
                    skill=row.skill, operation=row.operation)
        units = item.work.units
        turns = any(holds(cell, task) for cell in in_turns)
        many = max(1, math.ceil(units - 1e-9)) if turns else 1
        alone = any(space.until == "wait" and holds(space.holds, task)
                    for space in catalogue.spaces.values())
        sessions = 1 if turns or not alone else max(1, math.ceil(units - 1e-9))
        done = place + 1 in one.done
        booked = one.booked.get(place + 1, 0.0) / (item.mean_hours * job.hours_factor or 1.0)
        for part in range(many):
            share = min(1.0, units - part) / units if many > 1 else 1.0
            name = f"{task.name} ({part + 1} of {many})" if many > 1 else task.name
            used = min(booked, share)
            booked -= used
            # Of parts in turn, those are over whose hours are booked, but for the last.
            over = done or (many > 1 and part < many - 1 and used >= share)
            left = max(1 - used / share, _LEAST_LEFT)
            found.append(_Part(replace(task, name=name, part=(part + 1, many)), place, share,
                               sessions, gone=over, left=left))
    for lot in job.lots:
        began = one.sent.get(lot.service)
        task = Task(lot.name, "outwork", **about(lot.shares), service=lot.service,
                    operation=lot.service)
        found.append(_Part(task, days=lot.days, gone=lot.service in one.back,
                           away=began is not None,
                           release=0 if began is None else (began - first).days * DAY))
    leads = leads_of(job, catalogue) if one.leads is None else one.leads
    for lead in leads:
        supplier = catalogue.suppliers.get(lead.name)
        ordered = lead.ordered or max(first, one.begins or first)
        task = Task(f"Parts from {supplier.name if supplier else lead.name}", "order",
                    **about(lead.lines), operation=lead.name)
        found.append(_Part(task, days=lead.days, gone=lead.arrived,
                           release=(ordered - first).days * DAY))
    return found


@dataclass(frozen=True)
class _Spots:
    """Where the activities of a task stand: the wait before it, its work, what others wait for."""

    head: int | None = None
    work: int | None = None
    end: int | None = None


class _Laid:
    """The tasks of one job laid out as activities, and what waits for what among these."""

    def __init__(self, place: int, one: OnBench, shop: Shop, people: Sequence[Person], first: date):
        self.place, self.one, self.people, self.first = place, one, people, first
        self.settings, self.spaces = shop.settings, tuple(shop.catalogue.spaces.values())
        self.late_waits = waits_first(shop.catalogue)
        self.begins = 0 if one.begins is None else max(0, (one.begins - first).days * DAY)
        self.acts: list[Activity] = []
        self.pairs: set[Link] = set()

    def lay(self, part: _Part) -> _Spots:
        """Add the activities of a task."""
        if part.task.what != "work":
            at = self._away(part)
            return _Spots(None, at, at)
        task, row = part.task, self.one.job.items[part.item].work.operation
        wait = round(row.unattended * 60 * part.sessions)
        before = any(holds(cell, task) for cell in self.late_waits)
        held = tuple(at for at, space in enumerate(self.spaces) if holds(space.holds, task))
        kept = tuple(at for at in held if self.spaces[at].until == "wait")
        common = {"job": self.place, "lines": task.lines, "item": part.item, "part": task.part,
                  "operation": row.operation, "release": self.begins}
        if part.gone:
            since = self.one.done.get(part.item + 1, self.first)
            rest = 0 if before else wait - (self.first - since).days * DAY - DAY // 2
            return _Spots(end=self._wait(f"{task.name}, unattended", rest, kept, common))
        head = self._wait(f"{task.name}, wait before", wait if before else 0, (), common)
        work = self._work(part, held, common)
        if head is not None:
            self.pairs.add((head, work))
        end = self._wait(f"{task.name}, unattended", 0 if before else wait, kept,
                         common | {"at_once": True})
        if end is not None:
            self.pairs.add((work, end))
        return _Spots(head, work, work if end is None else end)

    def _add(self, act: Activity) -> int:
        self.acts.append(act)
        return len(self.acts) - 1

    def _wait(self, name: str, minutes: int, held: Sequence[int], common: Mapping) -> int | None:
        """A wait that nobody stands by; None where there is none."""
        return None if minutes <= 0 else self._add(Activity(
            name, "wait", minutes=minutes, spaces=tuple((at, 1) for at in held), **common))

    def _work(self, part: _Part, held: Sequence[int], common: Mapping) -> int:
        job = self.one.job
        item = job.items[part.item]
        row, share = item.work.operation, part.share * part.left
        hours = share * item.mean_hours * job.hours_factor
        exact = {at: hours * person.pace / self.settings.productive_share
                 for at, person in enumerate(self.people) if row.skill in person.skills.split()}
        return self._add(Activity(
            part.task.name, "work", exact=tuple(exact.values()),
            able=tuple((at, max(1, round(60 * taken))) for at, taken in exact.items()),
            spaces=tuple((at, 1) for at in held), in_one_go=row.in_one_go, skill=row.skill,
            share=share, **common))

    def _away(self, part: _Part) -> int | None:
        """A lot or an order; None if it is there already."""
        if part.gone:
            return None
        task = part.task
        minutes = round(durations.mean_of(part.days) * DAY)
        gone = max(0, -part.release)
        if gone:
            # It is on its way since then; what is overdue is reckoned for the next morning.
            minutes = max(minutes - gone, OVERDUE)
        release = max(part.release, self.begins if task.what == "outwork" else 0)
        return self._add(Activity(
            task.name, task.what, job=self.place, minutes=max(minutes, 1), release=release,
            lines=task.lines, operation=task.operation, gone=gone))

    def link(self, parts: Sequence[_Part], spots: Sequence[_Spots],
             links: Mapping[Link, Precedence]) -> None:
        """Let activities wait for each other as their tasks do, and as their sessions follow."""
        over = [part.gone and spot.end is None for part, spot in zip(parts, spots, strict=True)]
        for a, b in _through(over, links):
            if spots[b].work is None or parts[b].away:
                continue
            if spots[a].end is not None:
                self.pairs.add((spots[a].end, spots[b].work))
            # A cure before the last sanding runs from the last coat, not from when that was dry.
            if spots[b].head is not None and spots[a].work is not None:
                self.pairs.add((spots[a].work, spots[b].head))
        for at, (act, follower) in enumerate(itertools.pairwise(self.acts)):
            # Sessions of one item follow each other.
            if (act.what == "work" or not act.able) and follower.what == "work" \
                    and follower.item is not None and act.item == follower.item \
                    and act.part[0] < follower.part[0]:
                self.pairs.add((at, at + 1))


def _through(gone: Sequence[bool], links: Mapping[Link, Precedence]) -> set[Link]:
    """The links, with those through work that is over drawn together."""
    if not any(gone):
        return set(links)
    before: dict[int, set[int]] = defaultdict(set)
    for a, b in links:
        before[b].add(a)
    found: set[Link] = set()
    for b in {b for _, b in links}:
        if gone[b]:
            continue
        seen, waiting = set(), list(before[b])
        while waiting:
            a = waiting.pop()
            if a in seen:
                continue
            seen.add(a)
            if gone[a]:
                waiting += before[a]
            else:
                found.add((a, b))
    return found


__all__ = ["OVERDUE", "Lead", "OnBench", "leads_of", "people_of"]
