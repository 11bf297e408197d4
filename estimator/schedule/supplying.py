"""From a plan to what is ordered and sent out, and when: parts by day, pieces by lot.

Parts are bought once for all jobs together; each order is needed on the day that the first work
begins which waits for something of it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Container, Mapping, Sequence
from dataclasses import replace
from datetime import date

from estimator.buying import (
    CHEAPEST,
    Basket,
    Market,
    Ordering,
    SecondRound,
    Wish,
    buy,
    compare,
    market,
    order_dates,
    second_rounds,
)
from estimator.catalogue import Catalogue
from estimator.durations import Range
from estimator.outwork import LotPlan, Piece, plan_lots
from estimator.schedule.hours import DAY
from estimator.schedule.records import BenchPlan
from estimator.schedule.tasks import Lead, OnBench
from estimator.shop import Shop
from estimator.units import round_up


def parts_of(one: OnBench) -> dict[str, float]:
    """Parts that a job still takes, in units: not those of lines on which all work is done. [–]"""
    return _units(one, _open_lines(one))


def basket_of(jobs: Sequence[OnBench], shop: Shop, *, offered: Market | None = None,
              bought: Mapping[str, float] | None = None, wish: Wish = CHEAPEST,
              on: date | None = None, most_seconds: float = 5.0) -> Basket:
    """Orders for the parts of all jobs together that serve a wish; the shelf is used up first.

    Parameters
    ----------
    offered
        What can be bought, as `market_of` reads it; None reads it.
    bought
        Units that are bought already, by part; those of lines on which all work is done are
        taken to be used up. [–]
    on
        Today, from which the age of prices is told; None tells none.
    most_seconds
        The search stops then, over 0. [s]

    Raises
    ------
    BadInput
        As `buying.buy` does, and for every fault in the shop's own tables.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> found = basket_of([OnBench("Harbour Lights", small_quote().job)], open_shop())
    >>> [(order.supplier, round(order.total, 2)) for order in found.orders], found.proven
    ([('oakbench-parts', 105.3)], True)
    """
    return buy(_needed(jobs, bought), offered or market_of(shop), wish,
               **_limits(shop, on, most_seconds))


def baskets_of(jobs: Sequence[OnBench], shop: Shop, basket: Basket, *,
               offered: Market | None = None, bought: Mapping[str, float] | None = None,
               on: date | None = None, most_seconds: float = 5.0) -> tuple[Basket, ...]:
    """The cheapest orders, the fastest and those in fewest parcels, beside a basket that is there.

    The basket takes the place of its wish, or comes last; the arguments are those of `basket_of`.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> jobs, shop = [OnBench("Harbour Lights", small_quote().job)], open_shop()
    >>> found = baskets_of(jobs, shop, basket_of(jobs, shop))
    >>> [(one.wish.name, round(one.total, 2), one.delay) for one in found]
    [('cheapest', 105.3, 5.0), ('fastest', 105.3, 5.0), ('fewest parcels', 105.3, 5.0)]
    """
    return compare(_needed(jobs, bought), offered or market_of(shop), basket,
                   **_limits(shop, on, most_seconds))


def spares_of(jobs: Sequence[OnBench], shop: Shop, basket: Basket, *,
              offered: Market | None = None, bought: Mapping[str, float] | None = None
              ) -> dict[str, SecondRound]:
    """What more of pieces may break than is ordered, by supplier, and what to buy ahead.

    How many need a part comes to light at disassembly: of so many pieces each with its share. A
    day that the second parcel takes is worth what a day late costs. The arguments are those of
    `basket_of`.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> jobs, shop = [OnBench("Harbour Lights", small_quote().job)], open_shop()
    >>> spares_of(jobs, shop, basket_of(jobs, shop))  # all its parts are needed for sure
    {}
    """
    breaks: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for one in jobs:
        lines = _open_lines(one)
        for supply in one.job.supplies:
            if supply.does == "part" and supply.line in lines and supply.quantity > 0:
                breaks[supply.item].append(
                    (supply.pieces, supply.share) if supply.pieces
                    else (round_up(supply.quantity), 1.0))
    doubtful = {part: rows for part, rows in breaks.items() if any(share < 1 for _, share in rows)}
    return second_rounds(basket, doubtful, offered or market_of(shop),
                         had=_unused(jobs, bought), day=shop.settings.late_per_day)


def market_of(shop: Shop) -> Market:
    """What the shop can buy, with kits, substitutes and stock of its own tables, if it has any.

    Raises
    ------
    BadInput
        With every fault in those tables.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> found = market_of(open_shop())
    >>> len(found.offers) > 100, dict(found.stock)
    (True, {})
    """
    return market(shop.catalogue, *(() if shop.folder is None else (shop.folder / "tables",)))


def _limits(shop: Shop, on: date | None, most_seconds: float) -> dict:
    said = shop.settings
    return {"on": on, "stale_days": said.price_stale_days, "most_seconds": most_seconds,
            "spread_per_year": said.price_spread_per_year}


def _open_lines(one: OnBench) -> set[int]:
    """Lines of a job on which some work is not done."""
    return {item.line for place, item in enumerate(one.job.items, 1) if place not in one.done}


def _units(one: OnBench, lines: Container[int]) -> dict[str, float]:
    """Units of each part that some lines of a job take."""
    found: dict[str, float] = defaultdict(float)
    for supply in one.job.supplies:
        if supply.does == "part" and supply.line in lines:
            found[supply.item] += supply.quantity
    return dict(found)


def _unused(jobs: Sequence[OnBench], bought: Mapping[str, float] | None) -> dict[str, float]:
    """Units that are bought and not used up, by part."""
    left = dict(bought or {})
    for one in jobs:
        shut = {supply.line for supply in one.job.supplies} - _open_lines(one)
        for part, units in _units(one, shut).items():
            if part in left:
                left[part] = max(left[part] - units, 0.0)
    return left


def _needed(jobs: Sequence[OnBench], bought: Mapping[str, float] | None) -> dict[str, float]:
    """Units of each part that are still to be bought."""
    needs: dict[str, float] = defaultdict(float)
    for one in jobs:
        for part, units in parts_of(one).items():
            needs[part] += units
    there = _unused(jobs, bought)
    return {part: max(units - there.get(part, 0.0), 0.0) for part, units in needs.items()}


def ordered(jobs: Sequence[OnBench], basket: Basket) -> list[OnBench]:
    """The jobs, each waiting for those orders of a basket that bring something for it.

    Orders that a job waits for already stay as they are.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> jobs, shop = [OnBench("Harbour Lights", small_quote().job)], open_shop()
    >>> (one,) = ordered(jobs, basket_of(jobs, shop))
    >>> [(lead.name, lead.days.typical, sorted(lead.lines)) for lead in one.leads]
    [('oakbench-parts', 5.0, [0, 1])]
    """
    found = []
    for one in jobs:
        leads = list(one.leads or ())
        for order in basket.orders:
            parts = {part for line in order.lines for part, _ in line.covers}
            lines = frozenset(supply.line for supply in one.job.supplies
                              if supply.does == "part" and supply.item in parts)
            if lines:
                leads.append(Lead(
                    order.supplier, Range.of(order, "days_"), lines))
        found.append(replace(one, leads=tuple(leads)))
    return found


def needed_on(plan: BenchPlan, jobs: Sequence[OnBench]) -> dict[str, float]:
    """The day each part is needed on: when the first work begins that waits for it.

    Counted from the plan's first day. [d]

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule.planning import plan
    >>> from estimator.shop import open_shop
    >>> jobs, shop = [OnBench("Harbour Lights", small_quote().job)], open_shop()
    >>> needed_on(plan(jobs, shop, start=date(2026, 11, 26), seconds=0), jobs)["flipper-kit"]
    8.375
    """
    acts, starts = plan.bench.activities, plan.draft.starts
    found: dict[str, float] = {}
    for place, one in enumerate(jobs):
        waits = {at for at, act in enumerate(acts) if act.what == "order" and act.job == place}
        users = [(starts[at], act.lines) for at, act in enumerate(acts)
                 if act.job == place and act.what == "work" and waits & set(act.after)]
        for supply in one.job.supplies:
            days = [start / DAY for start, lines in users if supply.line in lines]
            if supply.does == "part" and days:
                found[supply.item] = min(found.get(supply.item, math.inf), *days)
    return found


def ordering_of(plan: BenchPlan, jobs: Sequence[OnBench], basket: Basket, *, chance: float = 0.9,
                margin: float = 0.0) -> Ordering:
    """When each order is placed, and the parts waited for; days count from the plan's first.

    Parameters
    ----------
    chance
        How sure it is to be that an order is there in time. [–]
    margin
        Days that parts are to lie ready before the work that needs them; 0 or more. [d]

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule.planning import plan
    >>> from estimator.shop import open_shop
    >>> shop = open_shop()
    >>> jobs = [OnBench("Harbour Lights", small_quote().job)]
    >>> found = ordering_of(plan(jobs, shop, start=date(2026, 11, 26), seconds=0), jobs,
    ...                     basket_of(jobs, shop))
    >>> [(one.order.supplier, one.place_on, one.latest) for one in found.orders]
    [('oakbench-parts', 0, 9.0)]
    """
    return order_dates(basket, needed_on(plan, jobs), chance=chance, margin=margin)


def _pieces_of(plan: BenchPlan, jobs: Sequence[OnBench], catalogue: Catalogue) -> list[Piece]:
    """What the jobs send out, line by line: when it can leave, and how long it may wait. [d]"""
    starts = plan.draft.starts
    found = []
    for place, one in enumerate(jobs):
        lots = {lot.service: lot for lot in one.job.lots}
        for at, act in enumerate(plan.bench.activities):
            lot = lots.get(act.operation)
            if act.what != "outwork" or act.job != place or act.gone or lot is None:
                continue
            for line, share in lot.shares.items():
                row = one.job.scope.lines[line]
                found.append(Piece(
                    one.name, lot.service, catalogue.assemblies[row.assembly].name,
                    lot.quantity * share, starts[at] / DAY,
                    max(plan.steps[at].slack_hours / 24, 0.0), row.count or 1, row.note))
    return found


def lots_of(plan: BenchPlan, jobs: Sequence[OnBench], shop: Shop, *, most_seconds: float = 5.0
            ) -> LotPlan:
    """What goes out together over all jobs; a day of delay is worth what a day late costs.

    Parameters
    ----------
    plan, jobs
        The plan and the jobs it was made for: it says when pieces can leave, and their slack.
    most_seconds
        The search stops then, over 0. [s]

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule.planning import plan
    >>> from estimator.shop import open_shop
    >>> jobs, shop = [OnBench("Harbour Lights", small_quote().job)], open_shop()
    >>> found = lots_of(plan(jobs, shop, start=date(2026, 11, 26), seconds=0), jobs, shop)
    >>> [(lot.service, round(lot.charge)) for lot in found.best.lots]
    [('blasting', 40), ('powder-coat-set', 110)]
    """
    return plan_lots(_pieces_of(plan, jobs, shop.catalogue), shop.catalogue.services,
                     {one.name: shop.settings.late_per_day for one in jobs},
                     most_seconds=most_seconds)


__all__ = ["basket_of", "baskets_of", "lots_of", "market_of", "needed_on", "ordered",
           "ordering_of", "spares_of"]
