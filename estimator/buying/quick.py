"""A good plan at once: every set of suppliers, as for a parts budget, over a few ways to cover.

Needs that hang together are first turned into plain parts in a few ways, such as all by kits or
none; the cheapest of them by goods alone goes into the search with all other parts.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Collection, Mapping

import numpy as np

from estimator.buying.budget import cheapest, terms
from estimator.buying.columns import Group, Task
from estimator.buying.model import Choice
from estimator.buying.records import Wish
from estimator.buying.search import DUST, NO_OFFER, assign
from estimator.catalogue import Offer

_MOST_DELAYS = 8  # of which a plan is made; the proof looks at all

Way = tuple[dict[str, int], dict[str, int], dict[tuple[str, str], int]]
"""Units of parts bought, kits opened, parts fitted in place of others, for one group."""


def plan(task: Task, wish: Wish, fill: bool = False) -> tuple[Choice, float] | None:
    """A choice and its worth for a wish; None if the quick ways find none."""
    delays = task.delays
    if wish.day and len(delays) > _MOST_DELAYS:
        at = np.linspace(0, len(delays) - 1, _MOST_DELAYS).round().astype(int)
        delays = tuple(delays[place] for place in at)
    best = None
    for late in delays if wish.day else delays[-1:]:
        part = task.within(late)
        found = None if part is None else _choose(part, wish, fill)
        if found is not None:
            choice = _numbered(task, found)
            money = worth(task, choice, wish, fill)
            if best is None or money < best[1] - DUST:
                best = choice, money
    return best


def worth(task: Task, choice: Choice, wish: Wish, fill: bool = False) -> float:
    """Money, days and parcels of a choice at what the wish says they are worth. [money]"""
    goods: dict[int, float] = {}
    late = 0.0
    for number in choice.singles:
        one = task.singles[number]
        goods[one.at] = goods.get(one.at, 0.0) + one.cost
        late = max(late, one.late)
    for number, packs in choice.packs.items():
        band = task.bands[number]
        goods[band.at] = goods.get(band.at, 0.0) + packs * band.pack_price
        late = max(late, band.late)
    total = wish.day * late + wish.parcel * len(goods)
    return total + sum(sum(terms(value, task.houses[at], fill)) for at, value in goods.items())


def _choose(
    task: Task, wish: Wish, fill: bool
) -> tuple[list, dict, dict] | None:
    """Lines as (part, supplier, offer, units), and what is opened and swapped in each group."""
    prices: dict[str, dict[int, tuple[float, int, Offer]]] = {}
    for one in task.singles:
        prices.setdefault(one.part, {})[one.at] = (one.cost, one.units, one.offer)
    offers: dict[str, dict[int, list[Offer]]] = {}
    for band in task.bands:
        offers.setdefault(band.part, {}).setdefault(band.at, []).append(band.offer)

    @functools.cache
    def least(part: str, units: int) -> float:
        return min(cheapest(units, rows)[0] for rows in offers[part].values())

    opened, swapped = {}, {}
    for number, group in enumerate(task.groups):
        way = _way_of(group, set(offers), least)
        if way is None:
            return None
        bought, opens, swaps = way
        opened |= {(number, kit): count for kit, count in opens.items()}
        swapped |= {(number, *pair): count for pair, count in swaps.items()}
        for part, units in bought.items():
            prices[part] = {at: cheapest(units, rows) for at, rows in offers[part].items()}
    parts = sorted(prices)
    if not parts:
        return [], opened, swapped
    places = sorted({at for sold in prices.values() for at in sold})
    cost = np.full((len(parts), len(places)), NO_OFFER)
    for row, part in enumerate(parts):
        for at, (price, _, _) in prices[part].items():
            cost[row, places.index(at)] = price
    # Before money, what a parcel is worth is more than all money there is.
    parcel = float(cost[cost < NO_OFFER].sum()) + sum(
        house.shipping + house.minimum_order for house in task.houses
    ) if wish.first == "parcels" else wish.parcel
    chosen = assign(cost, [task.houses[at] for at in places], parcel, fill)
    lines = []
    for part, place in zip(parts, chosen, strict=True):
        at = places[place]
        _, units, offer = prices[part][at]
        lines.append((part, at, offer, units))
    return lines, opened, swapped


def _numbered(task: Task, found: tuple[list, dict, dict]) -> Choice:
    """Lines as numbers of columns."""
    lines, opened, swapped = found
    singles = {(one.part, one.at): number for number, one in enumerate(task.singles)}
    bands = {(band.part, band.at, band.offer.from_quantity): number
             for number, band in enumerate(task.bands)}
    alone, packs = [], {}
    for part, at, offer, units in lines:
        if (part, at) in singles:
            alone.append(singles[part, at])
        else:
            packs[bands[part, at, offer.from_quantity]] = units // offer.pack
    return Choice(tuple(sorted(alone)), packs, opened, swapped)


def _way_of(group: Group, sold: set[str], least: Callable[[str, int], float]) -> Way | None:
    """How to cover a group: kits and substitutes one after another, as long as goods cost less."""
    def goods(way: Way | None) -> float:
        return math.inf if way is None else sum(least(*pair) for pair in way[0].items())

    opened: dict[str, int] = {}
    fitted: set[tuple[str, str]] = set()
    best = _way(group, sold, opened, fitted)
    better = True
    while better:
        better = False
        for kit, contents in group.contents.items():
            counts = [math.ceil(max(0, group.lacks[part]) / each - 1e-9)
                      for part, each in contents.items()]
            for count in sorted({0, *counts}) if kit in sold else ():
                tried = {**opened, kit: count}
                way = _way(group, sold, tried, fitted)
                if goods(way) < goods(best) - DUST:
                    opened, best, better = tried, way, True
        for one, other, _ in group.swaps:
            changed = fitted ^ {(one, other)}
            way = _way(group, sold, opened, changed)
            if goods(way) < goods(best) - DUST:
                fitted, best, better = changed, way, True
    return best


def _way(
    group: Group, sold: set[str], opened: Mapping[str, int], fitted: Collection[tuple[str, str]]
) -> Way | None:
    """The rest bought as it is; where it is not sold, or `fitted` says so, by a substitute."""
    lacks = dict(group.lacks)
    opens = {kit: count for kit, count in opened.items() if count}

    def opening(kit: str, count: int) -> None:
        lacks[kit] += count
        for part, each in group.contents[kit].items():
            lacks[part] = lacks[part] - math.floor(count * each + 1e-9)

    for kit, count in opens.items():
        opening(kit, count)
    swaps: dict[tuple[str, str], int] = {}
    passed = dict.fromkeys(lacks, 0)  # units to be bought that go in place of another part
    for part in sorted(lacks):
        ways = [(one, each) for one, other, each in group.swaps if other == part]
        for one, each in sorted(ways, key=lambda way: (lacks[way[0]] >= 0, way)):
            own = lacks[part] - passed[part]
            if own <= 0:
                break
            spare = max(0, -lacks[one])
            count = min(own, int(spare / each + 1e-9))
            if ((one, part) in fitted or part not in sold) and one in sold:
                count = own
            if count:
                swaps[one, part] = swaps.get((one, part), 0) + count
                lacks[part] -= count
                taken = math.ceil(count * each - 1e-9)
                lacks[one] += taken
                passed[one] += max(0, taken - spare)
        if lacks[part] > 0 and part not in sold:
            for kit, contents in group.contents.items():
                if part in contents and (kit in sold or lacks[kit] < 0):
                    count = math.ceil(lacks[part] / contents[part] - 1e-9)
                    count = count if kit in sold else min(count, -lacks[kit])
                    opens[kit] = opens.get(kit, 0) + count
                    opening(kit, count)
                    break
    bought = {part: lack for part, lack in lacks.items() if lack > 0}
    return (bought, opens, swaps) if bought.keys() <= sold else None
