"""Two ways of working compared: finish each assembly as it comes off, or strip everything first.

Either way the needs of an assembly come to light when it lies open, and what was seen at the
survey is ordered on the first day. The difference is when it lies open, what teardown and
reassembly take, and what waits on the shelf. Both are drawn at once, by the same rules.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from estimator import durations
from estimator.catalogue import BenchWay, Catalogue, Certainty, group_slug
from estimator.estimate import Estimate, Item
from estimator.schedule.hours import DAY, moment
from estimator.schedule.listing import drawn
from estimator.schedule.records import Activity, Bench, Draft
from estimator.schedule.tasks import OnBench, bench_of, leads_of
from estimator.shop import Shop

_BOARD = "playfield-surface"
"""The group that does not come off: it is what is left when all else is."""
_ROUNDS = 4


@dataclass(frozen=True)
class Way:
    """What a way of working comes to.

    Parameters
    ----------
    hours
        At the bench, all people together. [h]
    finish, days
        When the machine is ready, and how many days after the start that is.
    orders, later_orders
        Days on which parts are ordered, and those of them after the first.
    parcels, freight
        How many parcels come, and what they cost to send. [money]
    shelf_most, shelf_days
        How many assemblies lie open and wait for parts at most, and for how many days
        all together.
    """

    way: str
    name: str
    hours: float
    finish: datetime
    days: float
    orders: int
    later_orders: int
    parcels: int
    freight: float
    shelf_most: int
    shelf_days: float


def compared(one: OnBench, shop: Shop, *, start: date, freight: Mapping[str, float] | None = None
             ) -> tuple[Way, ...]:
    """Both ways for one machine, in the order of `bench_ways.csv`.

    Parameters
    ----------
    freight
        What a parcel of each order costs, by the order's name; None takes the suppliers' rates.

    Raises
    ------
    BadInput
        As `bench_of` does.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> one = OnBench("Harbour Lights", small_quote().job)
    >>> found = compared(one, open_shop(), start=date(2026, 11, 26))
    >>> [(way.way, way.orders, way.parcels) for way in found]
    [('as-it-comes-off', 1, 3), ('strip-first', 1, 3)]
    """
    suppliers = shop.catalogue.suppliers
    if freight is None:
        freight = {name: row.shipping for name, row in suppliers.items()}
    return tuple(_way(row, one, shop, start, freight)
                 for row in shop.catalogue.bench_ways.values())


def _way(row: BenchWay, one: OnBench, shop: Shop, start: date, freight: Mapping[str, float]
         ) -> Way:
    leads = leads_of(one.job, shop.catalogue) if one.leads is None else one.leads
    known = frozenset(at for at, line in enumerate(one.job.scope.lines)
                      if line.certainty == Certainty.SEEN)
    job = _hours_of(row, one.job)
    # Orders are put in afterwards, each when its need comes to light.
    bench = bench_of([replace(one, job=job, leads=())], shop, start)
    acts, needs = _ordered(list(bench.activities), row, leads, known, job)
    acts = _parted(acts, row, job, shop.catalogue)
    days: dict[int, int] = {}
    draft = None
    for _ in range(_ROUNDS):
        tried = [replace(act, minutes=act.minutes + days.get(at, 0))
                 for at, act in enumerate(acts)]
        made = replace(bench, activities=tuple(tried))
        draft = drawn(made, tries=0)
        found = {at: _to_round(draft.starts[at], row.order_days) for at in needs}
        if found == days:
            break
        days = found
    return _summed(row, made, draft, needs, days, start, freight, shop)


def _to_round(opened: float, every: int) -> int:
    """Minutes until parts are next ordered; on the first day there is nothing to wait for."""
    return round(math.ceil(opened / (every * DAY) - 1e-9) * every * DAY - opened) \
        if opened > DAY else 0


def _hours_of(row: BenchWay, job: Estimate) -> Estimate:
    """The estimate with the way's hours."""
    def item_of(item: Item) -> Item:
        work = item.work
        factor = {"remove": row.takes_down, "dismantle": row.takes_down,
                  "assemble": row.puts_together}.get(work.operation.kind, 1.0)
        return replace(item, hours=item.hours * factor,
                       setup=work.operation.setup if row.setup_each else item.setup)

    return replace(job, items=tuple(map(item_of, job.items)))


def _parted(acts: list[Activity], row: BenchWay, job: Estimate, catalogue: Catalogue
            ) -> list[Activity]:
    """Teardown in as many parts as assemblies come off, in the order of the way."""
    operations = {item.work.operation.operation: item.work.operation for item in job.items}
    strips = [at for at, act in enumerate(acts) if act.what == "work"
              and operations[act.operation].kind == "remove" and _frees(acts, at)]
    strips.sort(key=lambda at: sum(other in _all_before(acts, at) for other in strips))
    last_part: int | None = None
    for strip in strips:
        loose = [line for line in _frees(acts, strip)
                 if group_slug(catalogue.assemblies[job.scope.lines[line].assembly].group)
                 != _BOARD]
        loose = loose or [next(iter(acts[strip].lines))]
        many, base = len(loose), acts[strip]
        heads = {line: [at for at, act in enumerate(acts) if strip in act.after
                        and line in act.lines] for line in loose}
        others = [at for at, act in enumerate(acts) if strip in act.after
                  and not any(at in row_ for row_ in heads.values())]
        parts = [strip, *range(len(acts), len(acts) + many - 1)]
        whole = [(person, minutes) for person, minutes in base.able]
        for number, at in enumerate(parts):
            part = replace(
                base, name=base.name if many == 1 else f"{base.name} ({number + 1} of {many})",
                able=tuple((person, max(1, round(minutes / many))) for person, minutes in whole),
                exact=tuple(hours / many for hours in base.exact), share=base.share / many,
                after=base.after if not number else (parts[number - 1],))
            if at < len(acts):
                acts[at] = part
            else:
                acts.append(part)
        for at in others:
            acts[at] = _instead(acts[at], strip, parts[-1])
        for number, line in enumerate(loose):
            for at in heads[line]:
                acts[at] = _instead(acts[at], strip, parts[number])
            if row.bench_way == "as-it-comes-off" and number + 1 < many:
                ready = _at_once(acts, heads[line], line)
                acts[parts[number + 1]] = _also(acts[parts[number + 1]], ready)
        last_part = parts[-1]
    if row.bench_way == "strip-first" and last_part is not None:
        free = _all_before(acts, last_part) | {last_part}
        names = {acts[strip].operation for strip in strips}
        for at, act in enumerate(acts):
            if at not in free and act.operation not in names and any(
                    acts[before].operation in names for before in act.after):
                acts[at] = _also(act, [last_part])
    return acts


def _ordered(acts: list[Activity], row: BenchWay, leads: Sequence, known: frozenset[int],
             job: Estimate) -> tuple[list[Activity], dict[int, tuple[str, int | None]]]:
    """Orders as waits: those known from the survey, and one for each need that comes to light.

    Also which of the activities are such needs: (order, line), with no line for the first round.
    """
    operations = {item.work.operation.operation: item.work.operation for item in job.items}
    fits = {"rebuild", "replace", "label", "assemble"}
    needs: dict[int, tuple[str, int | None]] = {}

    def order(lead, line: int | None, after: tuple[int, ...]) -> int:
        minutes = round(durations.mean_of(lead.days) * DAY)
        acts.append(Activity(f"Parts from {lead.name}", "order", minutes=minutes, after=after,
                             operation=lead.name, lines=frozenset() if line is None
                             else frozenset({line})))
        needs[len(acts) - 1] = lead.name, line
        return len(acts) - 1

    users: dict[int, list[int]] = defaultdict(list)
    for at, act in enumerate(acts):
        if act.what == "work" and operations[act.operation].kind in fits:
            for line in act.lines:
                users[line].append(at)
    opened: dict[int, int] = {}
    for lead in leads:
        early = [line for line in lead.lines if line in known and users[line]]
        if early:
            place = order(lead, None, ())
            for line in early:
                for at in users[line]:
                    acts[at] = _also(acts[at], [place])
        for line in sorted(lead.lines - known):
            if not users[line]:
                continue
            if line not in opened:
                opened[line] = _open(acts, line, users[line], row.opening_share)
            place = order(lead, line, (opened[line],))
            for at in users[line]:
                acts[at] = _also(acts[at], [place])
    return acts, needs


def _open(acts: list[Activity], line: int, users: Sequence[int], share: float) -> int:
    """The first work on a line, or what of it opens the assembly; its place."""
    own = [at for at, act in enumerate(acts) if line in act.lines and act.what == "work"]
    first = min(own, key=lambda at: (sum(other in _all_before(acts, at) for other in own), at))
    if first not in users:
        return first
    act = acts[first]
    acts.append(replace(
        act, name=f"{act.name}: take apart", share=act.share * share,
        able=tuple((person, max(1, round(minutes * share))) for person, minutes in act.able),
        exact=tuple(hours * share for hours in act.exact)))
    acts[first] = replace(
        act, share=act.share * (1 - share), after=(len(acts) - 1,),
        able=tuple((person, max(1, round(minutes * (1 - share))))
                   for person, minutes in act.able),
        exact=tuple(hours * (1 - share) for hours in act.exact))
    return len(acts) - 1


def _frees(acts: Sequence[Activity], strip: int) -> list[int]:
    """Lines whose work waits for this teardown and for nothing else, in their order."""
    own = acts[strip].lines
    found = {}
    for act in acts:
        if act.what == "work" and strip in act.after and not act.lines & own and all(
                before == strip or acts[before].what == "order" for before in act.after):
            for line in act.lines:
                found[line] = None
    return sorted(found)


def _at_once(acts: Sequence[Activity], heads: Sequence[int], line: int) -> list[int]:
    """What can be done to an assembly as soon as it is off, without waiting for anything."""
    found = [at for at in heads if len(acts[at].after) == 1]
    while more := [other for other, act in enumerate(acts)
                   if act.what == "work" and line in act.lines and other not in found
                   and act.after and all(before in found for before in act.after)]:
        found += more
    return [at for at in found if not any(at in acts[other].after for other in found)]


def _all_before(acts: Sequence[Activity], at: int) -> set[int]:
    found: set[int] = set()
    waiting = list(acts[at].after)
    while waiting:
        before = waiting.pop()
        if before not in found:
            found.add(before)
            waiting += acts[before].after
    return found


def _instead(act: Activity, old: int, new: int) -> Activity:
    return replace(act, after=tuple(new if before == old else before for before in act.after))


def _also(act: Activity, more: Sequence[int]) -> Activity:
    return replace(act, after=(*act.after, *(at for at in more if at not in act.after)))


def _summed(row: BenchWay, bench: Bench, draft: Draft, needs: Mapping[int, tuple],
            days: Mapping[int, int], start: date, freight: Mapping[str, float], shop: Shop) -> Way:
    share = shop.settings.productive_share
    hours = sum(share * dict(zip((person for person, _ in act.able), act.exact, strict=True))[who]
                for act, who in zip(bench.activities, draft.who, strict=True) if who is not None)
    placed = {(name, round((draft.starts[at] + days.get(at, 0)) // DAY))
              for at, (name, _) in needs.items()}
    rounds = {day for _, day in placed}
    waits: dict[int, list[float]] = {}
    for at, (_, line) in needs.items():
        if line is not None:
            begin, end = waits.get(line, [draft.starts[at], draft.ends[at]])
            waits[line] = [min(begin, draft.starts[at]), max(end, draft.ends[at])]
    events = sorted((when, step) for begin, end in waits.values()
                    for when, step in ((begin, 1), (end, -1)))
    lying = most = 0
    for _, step in events:
        lying += step
        most = max(most, lying)
    first = min((draft.starts[at] for at, who in enumerate(draft.who) if who is not None),
                default=0.0)
    return Way(
        row.bench_way, row.name, hours, moment(start, draft.finishes[0]),
        (draft.finishes[0] - first) / DAY, len(rounds), max(len(rounds) - 1, 0), len(placed),
        sum(freight.get(name, 0.0) for name, _ in placed), most,
        sum(end - begin for begin, end in waits.values()) / DAY)


__all__ = ["Way", "compared"]
