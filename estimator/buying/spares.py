"""What to buy ahead, so that what breaks at disassembly does not call for a second parcel.

How many pieces break is a matter of chance. A spare too many lies on the shelf; one too few costs
a second parcel, and the days until it is there.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from estimator.buying.records import Basket
from estimator.buying.tables import Market
from estimator.units import within

_SURE = 1e-12  # chances below this are taken for none


def breakage(pieces: int, share: float) -> tuple[float, ...]:
    """Chances that 0, 1, 2 … of so many pieces break, each with the same chance: binomial. [–]

    Parameters
    ----------
    pieces
        0 or more. [–]
    share
        Chance that one piece breaks, from 0 to 1. [–]

    Examples
    --------
    >>> [round(chance, 3) for chance in breakage(3, 0.1)]
    [0.729, 0.243, 0.027, 0.001]
    """
    within("pieces", pieces, at_least=0)
    within("share", share, at_least=0, up_to=1)
    if share in (0, 1):
        return (0.0,) * (pieces * int(share)) + (1.0,) + (0.0,) * (pieces * (1 - int(share)))
    return tuple(
        math.exp(math.lgamma(pieces + 1) - math.lgamma(broken + 1)
                 - math.lgamma(pieces - broken + 1)
                 + broken * math.log(share) + (pieces - broken) * math.log1p(-share))
        for broken in range(pieces + 1))


def newsvendor(chances: Sequence[float], under: float, over: float) -> int:
    """Units to have where demand is uncertain: the fewest that are enough often enough.

    The fewest Q with chance(demand ≤ Q) ≥ under / (under + over): L. V. Snyder, Z.-J. M. Shen,
    Fundamentals of Supply Chain Theory, 2nd ed., 2019, section 4.3.

    Parameters
    ----------
    chances
        Of a demand of 0, 1, 2 … units; they add up to 1. [–]
    under, over
        What a unit too few costs, and a unit too many; over 0. [money]

    Examples
    --------
    >>> newsvendor(breakage(10, 0.2), under=9, over=1)
    4
    """
    within("under", under, above=0)
    within("over", over, above=0)
    enough = np.cumsum(_checked(chances))
    return int(np.argmax(enough >= under / (under + over) - 1e-12))


def newsvendor_cost(
    units: int, chances: Sequence[float], under: float, over: float
) -> float:
    """Expected cost of having so many units: of those too many, and of those too few. [money]

    Parameters
    ----------
    units
        Held, 0 or more. [–]
    chances
        That 0, 1, 2 … units are needed; together 1. [–]
    under, over
        Of each unit too few, and too many. [money]

    Examples
    --------
    >>> round(newsvendor_cost(4, breakage(10, 0.2), under=9, over=1), 3)
    2.401
    """
    left = units - np.arange(len(chances))
    return float(_checked(chances) @ np.where(left > 0, over * left, -under * left))


@dataclass(frozen=True)
class Doubt:
    """A part of which more may be needed than is known for sure.

    Parameters
    ----------
    part
        Which.
    price
        Of one unit, ordered with the rest; 0 or more. [money]
    chances
        That 0, 1, 2 … units are needed. [–]
    held
        Units that are ordered or on the shelf anyway. [–]
    pack
        Units that a spare comes in. [–]
    keeps
        Share of its price that a spare is worth which is not used, from 0 to 1. [–]
    later
        Price of one unit in a second order; None where it is the same. [money]

    Examples
    --------
    >>> [(units, round(cost, 2), round(enough, 2))
    ...  for units, cost, enough in Doubt("lamp-socket", 2.0, (0.5, 0.3, 0.2)).options()]
    [(0, 0.0, 0.5), (1, 1.0, 0.8), (2, 2.6, 1.0)]
    """

    part: str
    price: float
    chances: tuple[float, ...]
    held: int = 0
    pack: int = 1
    keeps: float = 0.0
    later: float | None = None

    def __post_init__(self):
        within("price", self.price, at_least=0)
        within("keeps", self.keeps, at_least=0, up_to=1)
        within("pack", self.pack, at_least=1)
        within("held", self.held, at_least=0)
        _checked(self.chances)

    def options(self) -> list[tuple[int, float, float]]:
        """(units bought ahead, expected cost of them, chance that they are enough) of each."""
        enough = np.cumsum(self.chances)
        demand = np.arange(len(self.chances))
        more = (self.price if self.later is None else self.later) - self.price
        most = max(0, len(self.chances) - 1 - self.held)
        found = []
        for bought in range(0, most + self.pack, self.pack):
            left = self.held + bought - demand
            # Units held anyway are wasted anyway; only what is bought ahead is counted.
            wasted = np.minimum(np.maximum(left, 0), bought)
            cost = float(np.asarray(self.chances) @ (
                self.price * (1 - self.keeps) * wasted + more * np.maximum(-left, 0)))
            there = min(self.held + bought, len(self.chances) - 1)
            found.append((bought, cost, min(1.0, float(enough[there]))))
            if enough[there] >= 1 - _SURE:
                break
        return found


@dataclass(frozen=True)
class SecondRound:
    """What may have to be ordered again, and what to buy ahead.

    Parameters
    ----------
    spares
        (part, units) to buy ahead; parts without any are left out. [–]
    chance, chance_without
        Of a second order, with these spares and without any. [–]
    freight, days
        Expected freight of it, and days that it holds up the job (longer than those of other
        suppliers do), with the spares. [money], [d]
    cost, cost_without
        Expected cost of spares not used, freight and days, with the spares and without any. [money]
    """

    spares: tuple[tuple[str, int], ...]
    chance: float
    chance_without: float
    freight: float
    days: float
    cost: float
    cost_without: float


def second_round(
    doubts: Iterable[Doubt], *, freight: float, days: float = 0.0, day: float = 0.0,
    anyway: float = 0.0,
) -> SecondRound:
    """Spares that cost least together with the second order that they may save.

    Parameters
    ----------
    doubts
        Parts, each of which breaks independently of the others.
    freight
        Of a second order. 0 or more. [money]
    days, day
        Days that it holds up the job, and what a day is worth. 0 or more. [d], [money]
    anyway
        Chance that a second order goes out whatever is bought ahead, such as for a find. [–]

    Notes
    -----
    Expected cost = Σ cost of spares + (freight + days × day) × (1 − (1 − anyway) × Π enough). For
    one part this is the newsvendor's sum with a cost for being short at all in place of one for
    each unit. All parts share one second parcel, so each spare is worth more where the others are
    sure; the least over all combinations is found, not part by part.

    Examples
    --------
    >>> sockets = Doubt("lamp-socket", 2.0, breakage(40, 0.08))
    >>> found = second_round([sockets], freight=9, days=6, day=10)
    >>> found.spares, round(found.chance, 3), round(found.chance_without, 3)
    ((('lamp-socket', 6),), 0.038, 0.964)
    """
    for name, amount in (("freight", freight), ("days", days), ("day", day)):
        within(name, amount, at_least=0)
    within("anyway", anyway, at_least=0, up_to=1)
    doubts = tuple(doubts)
    options = [doubt.options() for doubt in doubts]
    each = freight + days * day

    def total(cost, log_enough):
        return cost + each * (1 - (1 - anyway) * np.exp(log_enough))

    best, picked = _least(options, total)
    none = [rows[0] for rows in options]
    chosen = [rows[place] for rows, place in zip(options, picked, strict=True)]

    def chance(rows) -> float:
        return 1 - (1 - anyway) * math.prod(enough for _, _, enough in rows)

    return SecondRound(
        tuple((doubt.part, bought) for doubt, (bought, _, _) in zip(doubts, chosen, strict=True)
              if bought),
        chance(chosen), chance(none), freight * chance(chosen), days * chance(chosen), best,
        math.fsum(cost for _, cost, _ in none) + each * chance(none))


def second_rounds(
    basket: Basket,
    breaks: Mapping[str, Iterable[tuple[int, float]]],
    market: Market,
    *,
    had: Mapping[str, float] | None = None,
    day: float = 0.0,
    anyway: float = 0.0,
    keeps: float = 0.0,
) -> dict[str, SecondRound]:
    """What may have to be ordered again at each supplier of a basket, and what to buy ahead there.

    Parameters
    ----------
    breaks
        (pieces, share that needs one) of each survey line, by part; what is sure has share 1. A
        part without an entry is needed as it was ordered.
    market
        The one that the basket was bought from: a second order pays its supplier's freight.
    had
        Units that were bought before, by part; they are used first. [–]
    day, anyway, keeps
        What a day of waiting is worth; the chance that a second order goes out in any case; the
        share of its price that a spare is worth which is not used. [money], [–], [–]

    Notes
    -----
    Units that packs bring over what is needed are spares already. Second orders go out on the
    same day, so that the job waits for the slowest of them: days and their worth count as far as
    a supplier is waited for longer than for the others. The more likely the others' second
    orders, the less spares are worth; of the plans in which each supplier's spares are best
    beside the others', that with the most and that with the fewest are found, and the cheaper
    is taken.

    Examples
    --------
    >>> from estimator.buying import buy, market
    >>> from estimator.catalogue import load
    >>> shop = market(load())
    >>> basket = buy({"lamp-socket": 60 * 0.1}, shop)
    >>> (found,) = second_rounds(basket, {"lamp-socket": [(60, 0.1)]}, shop, day=15).values()
    >>> found.chance_without > 0.3 > found.chance, found.cost < found.cost_without
    (True, True)
    """
    doubts = _doubts(basket, breaks, had or {}, keeps)
    days = {order.supplier: order.days_typical for order in basket.orders}

    def best(house: str, others: Mapping[str, float]) -> SecondRound:
        longer = slowest({**others, house: 1.0}, days) - slowest(others, days)
        return second_round(doubts[house], freight=market.suppliers[house].shipping,
                            days=longer, day=day, anyway=anyway)

    def cost(plan: Mapping[str, SecondRound]) -> float:
        waited = slowest({house: one.chance for house, one in plan.items()}, days)
        return day * waited + math.fsum(one.cost - day * one.days for one in plan.values())

    plans = (_settled(dict.fromkeys(doubts, chance), best, cost) for chance in (0.0, 1.0))
    return min(plans, key=cost)


def slowest(chances: Mapping[str, float], days: Mapping[str, float]) -> float:
    """Days until the slowest second order is there, on average; 0 where none goes out. [d]

    Parameters
    ----------
    chances
        That each supplier's goes out, independently of the others, from 0 to 1. [–]
    days
        That each takes, 0 or more. [d]

    Examples
    --------
    >>> slowest({"a": 0.5, "b": 0.5}, {"a": 4, "b": 10})
    6.0
    """
    found, none_slower = 0.0, 1.0
    for house in sorted(chances, key=lambda name: -days[name]):
        found += none_slower * chances[house] * days[house]
        none_slower *= 1 - chances[house]
    return found


def _doubts(basket: Basket, breaks: Mapping[str, Iterable[tuple[int, float]]],
            had: Mapping[str, float], keeps: float) -> dict[str, list[Doubt]]:
    """Parts of each supplier's order of which more may be needed."""
    held = dict(had)
    for part, _, units in basket.from_stock:
        held[part] = held.get(part, 0) + units
    for order in basket.orders:
        for line in order.lines:
            for part, units in line.covers:
                held[part] = held.get(part, 0) + units
            if any(part == line.part for part, _ in line.covers):
                others = sum(units for _, units in line.covers)
                held[line.part] += max(0, line.units - others)
    found: dict[str, list[Doubt]] = {}
    for order in basket.orders:
        for line in order.lines:
            groups = list(breaks.get(line.part, ()))
            if groups and any(part == line.part for part, _ in line.covers):
                chances = np.ones(1)
                for pieces, share in groups:
                    chances = np.convolve(chances, breakage(pieces, share))
                found.setdefault(order.supplier, []).append(
                    Doubt(line.part, line.unit_price, tuple(chances / chances.sum()),
                          int(held[line.part]), line.pack, keeps))
    return found


def _settled(chances: dict[str, float], best, cost) -> dict[str, SecondRound]:
    """Each supplier's best spares beside the others', from some chances of second orders on."""
    plan, least = {}, math.inf
    while True:
        for house in chances:
            others = {other: chance for other, chance in chances.items() if other != house}
            plan[house] = best(house, others)
            chances[house] = plan[house].chance
        if cost(plan) > least - 1e-9:
            return plan
        least = cost(plan)


def _least(options, total) -> tuple[float, tuple[int, ...]]:
    """The least total over one option a part; options are (units, cost, chance of enough).

    Beginnings that cost more and are less sure than another are dropped, and those that cannot
    come below a plan that is known.
    """
    def log(chance: float) -> float:
        return math.log(max(chance, 1e-300))

    rows = [[(cost, log(enough)) for _, cost, enough in part] for part in options]
    cheap = [min(cost for cost, _ in part) for part in rows]
    sure = [max(enough for _, enough in part) for part in rows]
    known = min(
        total(math.fsum(part[place][0] for part, place in zip(rows, places, strict=True)),
              math.fsum(part[place][1] for part, place in zip(rows, places, strict=True)))
        for places in _steps(rows))
    costs, enough, taken = np.zeros(1), np.zeros(1), []
    for number, part in enumerate(rows):
        rest_cost, rest_sure = sum(cheap[number + 1:]), sum(sure[number + 1:])
        costs = np.add.outer(costs, [cost for cost, _ in part])
        enough = np.add.outer(enough, [other for _, other in part])
        origin = np.indices(costs.shape).reshape(2, -1)
        costs, enough = costs.ravel(), enough.ravel()
        order = np.lexsort((-enough, costs))
        best_before = np.maximum.accumulate(np.append(-np.inf, enough[order][:-1]))
        kept = (enough[order] > best_before) & (
            total(costs[order] + rest_cost, enough[order] + rest_sure) <= known + 1e-9)
        order = order[kept]
        costs, enough = costs[order], enough[order]
        taken.append(origin[:, order])
    at = int(np.argmin(total(costs, enough)))
    least, places = float(total(costs, enough)[at]), []
    for before, place in reversed(taken):
        places.append(int(place[at]))
        at = before[at]
    return least, tuple(reversed(places))


def _steps(rows) -> Iterable[tuple[int, ...]]:
    """Plans from no spares up, each with the one spare more that makes most sure for its money."""
    places = [0] * len(rows)
    yield tuple(places)
    while True:
        worth = []
        for part, (options, place) in enumerate(zip(rows, places, strict=True)):
            for further in range(place + 1, len(options)):
                more = options[further][1] - options[place][1]
                cost = max(options[further][0] - options[place][0], 1e-12)
                worth.append((more / cost, -part, further))
        if not worth:
            return
        _, part, further = max(worth)
        places[-part] = further
        yield tuple(places)


def _checked(chances: Sequence[float]) -> np.ndarray:
    found = np.asarray(chances, float)
    if not len(found) or (found < 0).any() or abs(found.sum() - 1) > 1e-6:
        raise ValueError("Chances of 0, 1, 2 … units must be 0 or more and add up to 1.")
    return found


__all__ = [
    "Doubt",
    "SecondRound",
    "breakage",
    "newsvendor",
    "newsvendor_cost",
    "second_round",
    "second_rounds",
    "slowest",
]
