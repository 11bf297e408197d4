"""From estimates to what is to be planned: work, waits, orders, lots, and what waits for what."""

from __future__ import annotations

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
from estimator.schedule.hours import DAY, calendars
from estimator.schedule.records import Activity, Bench, Due
from estimator.schedule.rules import Piece, holds, links_of, turns_of, waits_first
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
    total = 0
    for word in (person.hours or settings.open_hours).split():
        if word != "closed":
            start, end = (60 * int(hour) + int(minute or 0) for hour, _, minute in
                          (part.partition(":") for part in word.split("-")))
            total += max(end - start, 0)
    return total


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
    """A piece with what is planned for it."""

    piece: Piece
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
    """Activities of one job; their places count from `base`."""
    parts = _parts(one, shop, first)
    pieces = [part.piece for part in parts]
    links = links_of(pieces, shop.catalogue)
    return _activities(place, one, parts, links, shop, people, first, base)


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
        piece = Piece(f"{title}: {row.name}", "work", **about([item.line]), kind=row.kind,
                      skill=row.skill, operation=row.operation)
        units = item.work.units
        turns = any(holds(cell, piece) for cell in in_turns)
        many = max(1, math.ceil(units - 1e-9)) if turns else 1
        alone = any(space.until == "wait" and holds(space.holds, piece)
                    for space in catalogue.spaces.values())
        sessions = 1 if turns or not alone else max(1, math.ceil(units - 1e-9))
        done = place + 1 in one.done
        booked = one.booked.get(place + 1, 0.0) / (item.mean_hours * job.hours_factor or 1.0)
        for part in range(many):
            share = min(1.0, units - part) / units if many > 1 else 1.0
            name = f"{piece.name} ({part + 1} of {many})" if many > 1 else piece.name
            used = min(booked, share)
            booked -= used
            # Of parts in turn, those are over whose hours are booked, but for the last.
            over = done or (many > 1 and part < many - 1 and used >= share)
            left = max(1 - used / share, _LEAST_LEFT)
            found.append(_Part(replace(piece, name=name, part=(part + 1, many)), place, share,
                               sessions, gone=over, left=left))
    for lot in job.lots:
        began = one.sent.get(lot.service)
        piece = Piece(lot.name, "outwork", **about(lot.shares), service=lot.service,
                      operation=lot.service)
        found.append(_Part(piece, days=lot.days, gone=lot.service in one.back,
                           away=began is not None,
                           release=0 if began is None else (began - first).days * DAY))
    leads = leads_of(job, catalogue) if one.leads is None else one.leads
    for lead in leads:
        supplier = catalogue.suppliers.get(lead.name)
        ordered = max(lead.ordered or first, one.begins or first) if lead.ordered is None \
            else lead.ordered
        piece = Piece(f"Parts from {supplier.name if supplier else lead.name}", "order",
                      **about(lead.lines), operation=lead.name)
        found.append(_Part(piece, days=lead.days, gone=lead.arrived,
                           release=(ordered - first).days * DAY))
    return found


def _activities(place: int, one: OnBench, parts: Sequence[_Part],
                links: Mapping[Link, Precedence], shop: Shop, people: Sequence[Person],
                first: date, base: int) -> list[Activity]:
    """Pieces and their waits as activities, with only the links that are needed."""
    job, catalogue, settings = one.job, shop.catalogue, shop.settings
    begins = 0 if one.begins is None else max(0, (one.begins - first).days * DAY)
    late_waits = waits_first(catalogue)
    acts: list[Activity] = []
    ends: list[int | None] = []  # what others wait for: the piece, or the wait after it
    hands_on: list[int | None] = []
    heads: list[int | None] = []  # the wait before a piece
    pairs: set[Link] = set()
    for part in parts:
        piece = part.piece
        if part.piece.what != "work":
            ends.append(_away(part, place, acts, one, begins))
            hands_on.append(ends[-1])
            heads.append(None)
            continue
        item = job.items[part.item]
        row = item.work.operation
        wait = round(row.unattended * 60 * part.sessions)
        waits_before = any(holds(cell, piece) for cell in late_waits)
        common = {"job": place, "lines": piece.lines, "item": part.item, "part": piece.part,
                  "operation": row.operation, "release": begins}
        held = tuple((at, 1) for at, space in enumerate(catalogue.spaces.values())
                     if holds(space.holds, piece))
        kept = tuple((at, 1) for at, space in enumerate(catalogue.spaces.values())
                     if space.until == "wait" and (at, 1) in held)
        if part.gone:
            since = one.done.get(part.item + 1, first)
            rest = wait - (first - since).days * DAY - DAY // 2 if not waits_before else 0
            if rest > 0:
                acts.append(Activity(f"{piece.name}, unattended", "wait", minutes=rest,
                                     spaces=kept, **common))
            ends.append(len(acts) - 1 if rest > 0 else None)
            hands_on.append(None)
            heads.append(None)
            continue
        head = None
        if wait and waits_before:
            head = len(acts)
            acts.append(Activity(f"{piece.name}, wait before", "wait", minutes=wait, **common))
        hours = part.share * part.left * item.mean_hours * job.hours_factor
        exact = {at: hours * person.pace / settings.productive_share
                 for at, person in enumerate(people) if row.skill in person.skills.split()}
        able = tuple((at, max(1, round(60 * taken))) for at, taken in exact.items())
        at = len(acts)
        acts.append(Activity(piece.name, "work", able=able, exact=tuple(exact.values()),
                             spaces=held, in_one_go=row.in_one_go, skill=row.skill,
                             share=part.share * part.left, **common))
        hands_on.append(at)
        heads.append(head)
        if head is not None:
            pairs.add((head, at))
        if wait and not waits_before:
            acts.append(Activity(f"{piece.name}, unattended", "wait", minutes=wait, spaces=kept,
                                 at_once=True, **common))
            pairs.add((at, at + 1))
            at += 1
        ends.append(at)
    through = _through([part.gone and end is None for part, end in
                        zip(parts, ends, strict=True)], links)
    for a, b in through:
        if hands_on[b] is None or parts[b].away:
            continue
        if ends[a] is not None:
            pairs.add((ends[a], hands_on[b]))
        # A cure before the last sanding runs from the last coat, not from when that was dry.
        if heads[b] is not None and hands_on[a] is not None:
            pairs.add((hands_on[a], heads[b]))
    for act_at in range(len(acts) - 1):
        follower = acts[act_at + 1]
        # Sessions of one item follow each other.
        if (acts[act_at].what == "work" or not acts[act_at].able) and follower.what == "work" \
                and follower.item is not None and acts[act_at].item == follower.item \
                and acts[act_at].part[0] < follower.part[0]:
            pairs.add((act_at, act_at + 1))
    after: list[list[int]] = [[] for _ in acts]
    for a, b in needed(len(acts), pairs):
        after[b].append(a + base)
    awaited = {before - base for row in after for before in row}
    return [replace(act, after=tuple(after[at]), counts=act.what != "outwork" or at in awaited)
            for at, act in enumerate(acts)]


def _away(part: _Part, place: int, acts: list[Activity], one: OnBench, begins: int) -> int | None:
    """A lot or an order as an activity; its place, None if it is there already."""
    if part.gone:
        return None
    piece = part.piece
    minutes = round(durations.mean_of(part.days) * DAY)
    gone = max(0, -part.release)
    if gone:
        # It is on its way since then; what is overdue is reckoned for the next morning.
        minutes = max(minutes - gone, OVERDUE)
    release = max(part.release, begins if piece.what == "outwork" else 0)
    acts.append(Activity(piece.name, piece.what, job=place, minutes=max(minutes, 1),
                         release=release, lines=piece.lines, operation=piece.operation,
                         gone=gone))
    return len(acts) - 1


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
