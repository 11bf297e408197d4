"""Buying for a wish: a good plan at once, then the proof that none is better, or a better one."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from datetime import date

from estimator.buying import quick
from estimator.buying.budget import terms
from estimator.buying.columns import Task, task
from estimator.buying.faults import broken, notices
from estimator.buying.model import Choice, Model
from estimator.buying.records import (
    CHEAPEST,
    FASTEST,
    FEWEST,
    Basket,
    Line,
    PartsOrder,
    Unmet,
    Wish,
)
from estimator.buying.tables import Market, on_shelf
from estimator.errors import BadInput, Fault
from estimator.money import line_amount
from estimator.programme import SAME, Progress, Solution
from estimator.units import round_up


def buy(
    needs: Mapping[str, float],
    market: Market,
    wish: Wish = CHEAPEST,
    *,
    days: Mapping[str, float] | None = None,
    split: bool = False,
    fill: bool = False,
    caps: Mapping[str, float] | None = None,
    on: date | None = None,
    stale_days: float | None = None,
    spread_per_year: float = 0.0,
    currency: str = "",
    most_seconds: float = 10.0,
    progress: Progress | None = None,
) -> Basket:
    """Orders for all needs that serve a wish best, with the proof.

    Parameters
    ----------
    needs
        Units by part; fractions are rounded up, parts with no need are left out.
    market
        What can be bought, and what is on the shelf; each part's own covers its need first, and
        what is left may be fitted in place of another or opened.
    days
        The day each part is needed on, counted from today; others are wanted at once. [d]
    split
        May one part come from several suppliers? Parts that share a kit or a substitute may
        anyhow; all others come from one supplier each, unless this is set.
    fill
        May an order be filled up with stock to free freight, where that costs less than freight?
    caps
        Most units a supplier can send, all parts together; by supplier. [–]
    on, stale_days, spread_per_year
        Today, the age from which a price is told to be old, and how far prices wander in a year
        (a share); without `on` and `stale_days` ages are not looked at. [d], [–]
    currency
        Three letters of the shop's currency; suppliers of another are refused, and each line is
        rounded to its smallest unit. Blank is not looked at and rounds to hundredths.
    most_seconds
        The search stops then, over 0. An answer that comes sooner does not depend on the machine.
    progress
        Told (bound, best worth so far, seconds gone) before the proof and now and then. The
        search stops where it returns False.

    Raises
    ------
    BadInput
        With everything that stops an order: parts, quantities, days, suppliers, units, currencies.

    Notes
    -----
    All-units price breaks: from a break on, all units cost its price. A kit's price buys all that
    is in it. Of lead times the usual days count; for parts that serve several needs, the first
    day among them. Baskets are compared, and proven, before their lines are rounded.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> from estimator.buying import market
    >>> basket = buy({"flipper-kit": 3, "bulb": 60}, market(load()))
    >>> basket.proven, basket.gap, len(basket.orders) > 0
    (True, 0.0, True)
    """
    begun = time.perf_counter()
    days = {part: day for part, day in (days or {}).items() if needs.get(part) != 0}
    faults = broken(needs, market, days, currency)
    if faults:
        raise BadInput(faults)
    wanted = {part: round_up(quantity) for part, quantity in sorted(needs.items())}
    wanted = {part: quantity for part, quantity in wanted.items() if quantity}
    whole = task(wanted, market, days, split)
    decided, parcels = whole, None
    if wish.first == "days":
        decided = next(part for late in whole.delays if (part := whole.within(late)) is not None)
    undecided = bool(decided.singles or decided.bands)
    known = quick.plan(decided, wish, fill)
    model = Model(decided, caps, fill)
    if known and not model.holds(known[0]):
        known = None
    if wish.first == "parcels" and undecided:
        parcels = model.least_parcels(most_seconds)
        if known and parcels is not None and _parcels(decided, known[0]) > parcels:
            known = None
    better, solved = None, Solution(None, 0.0, True)
    if undecided:
        better, solved = model.solve(
            wish, known and known[1], parcels, most_seconds, progress, begun)
    choice = better or (known and known[0])
    if choice is None and undecided:
        raise BadInput(Fault("No choice of suppliers covers every need within the limits.",
                             "Raise what a supplier may send, or give it more seconds."))
    choice = choice or Choice((), {}, {}, {})
    reached = quick.worth(decided, choice, wish, fill)
    proven = solved.proven and reached <= solved.bound + SAME
    if wish.first == "parcels" and undecided:
        proven = proven and parcels is not None
    orders, shelf, offers = _orders(decided, choice, market, fill, currency or "USD")
    return Basket(
        wish, orders,
        tuple(_unmet(part, wanted, market, currency or "USD") for part in whole.unmet),
        shelf, _late(decided, choice), known and known[1],
        reached if proven else min(solved.bound, reached), proven,
        tuple(notices(wanted, market, days, whole.unmet, on, stale_days, spread_per_year, offers)),
    )


def compare(
    needs: Mapping[str, float], market: Market, basket: Basket | None = None, **settings
) -> tuple[Basket, ...]:
    """Cheapest, fastest and fewest parcels, side by side, with a basket that is there already.

    Parameters
    ----------
    needs, market
        As `buy` takes them.
    basket
        Bought for the same: it takes the place of its wish, or comes last where its wish is
        another.
    settings
        Those of `buy`.

    Examples
    --------
    >>> from estimator.buying import market, trade_off
    >>> from estimator.catalogue import load
    >>> needs, shop = {"flipper-kit": 3, "bulb": 60}, market(load())
    >>> [one.wish.name for one in compare(needs, shop, buy(needs, shop, trade_off(15)))]
    ['cheapest', 'fastest', 'fewest parcels', 'trade-off']
    """
    made = {basket.wish: basket} if basket else {}
    wishes = dict.fromkeys((CHEAPEST, FASTEST, FEWEST, *made))
    return tuple(made.get(wish) or buy(needs, market, wish, **settings) for wish in wishes)


def _parcels(task: Task, choice: Choice) -> int:
    return len({task.singles[number].at for number in choice.singles}
               | {task.bands[number].at for number in choice.packs})


def _late(task: Task, choice: Choice) -> float:
    chosen = [task.singles[number].late for number in choice.singles]
    return max(chosen + [task.bands[number].late for number in choice.packs], default=0.0)


def _unmet(part: str, wanted: Mapping[str, int], market: Market, currency: str) -> Unmet:
    row = market.parts[part]
    units = max(0, wanted[part] - on_shelf(market, part))
    return Unmet(part, row.name, units, float(line_amount(units, row.typical, currency)))


def _orders(task: Task, choice: Choice, market: Market, fill: bool, currency: str):
    """Orders by supplier, what comes from the shelf, and the offers that are taken."""
    bought: list[list] = []  # supplier, offer, units, covers
    for number in choice.singles:
        one = task.singles[number]
        bought.append([one.at, one.offer, one.units, [(one.part, task.wanted[one.part])]])
    for number, packs in sorted(choice.packs.items()):
        band = task.bands[number]
        bought.append([band.at, band.offer, packs * band.offer.pack, []])
    shelf = [(part, part, min(need, on_shelf(market, part)))
             for part, need in task.needs.items() if on_shelf(market, part)]
    for number, group in enumerate(task.groups):
        _share(number, group, choice, task, market, bought, shelf)
    notes = {(row.instead, row.part): row.note for row in market.substitutes}
    orders = []
    for at, house in enumerate(task.houses):
        lines = tuple(
            Line(offer.part, market.parts[offer.part].name, units // offer.pack, offer.pack,
                 units, offer.price, float(line_amount(units, offer.price, currency)),
                 tuple(covers), offer.dated,
                 " ".join(notes[offer.part, need] for need, _ in covers
                          if notes.get((offer.part, need))))
            for place, offer, units, covers in sorted(bought, key=lambda row: row[1].part)
            if place == at)
        if lines:
            goods, top_up, freight = terms(math.fsum(line.cost for line in lines), house,
                                           fill)
            orders.append(PartsOrder(
                house.supplier, house.name, lines, goods, top_up, freight,
                house.days_low, house.days_typical, house.days_high))
    return tuple(orders), tuple(row for row in shelf if row[2]), [row[1] for row in bought]


def _share(number, group, choice, task, market, bought, shelf) -> None:
    """Say which line covers which need of a group: the part itself, kits, then substitutes."""
    pools: dict[str, list[list]] = {}  # part: [units left, covers of the line or None, from what]
    for part in group.lacks:
        need = task.needs.get(part, 0)
        spare = on_shelf(market, part) - min(need, on_shelf(market, part))
        pools[part] = [[float(spare), None, part]] if spare else []
    for _, offer, units, covers in bought:
        if offer.part in pools:
            pools[offer.part].append([float(units), covers, offer.part])
    for kit, contents in group.contents.items():
        left = choice.opened.get((number, kit), 0)
        for entry in pools[kit]:
            taken = min(left, entry[0])
            entry[0] -= taken
            left -= taken
            for part, each in contents.items():
                pools[part].append([taken * each, entry[1], kit])
    swapped = {pair[1:]: count for pair, count in choice.swapped.items() if pair[0] == number}

    def take(part: str, units: float, need: str, per: float) -> None:
        for entry in pools[part]:
            taken = min(units, entry[0])
            if taken > 1e-9:
                entry[0] -= taken
                units -= taken
                done = int(taken / per + 1e-9)
                if entry[1] is None:
                    shelf.append((need, entry[2], done))
                else:
                    entry[1].append((need, done))

    for part, lack in group.lacks.items():
        into = sum(count for (_, other), count in swapped.items() if other == part)
        take(part, max(0, lack - into), part, 1.0)
    for (one, other), count in swapped.items():
        each = next(units for a, b, units in group.swaps if (a, b) == (one, other))
        take(one, count * each, other, each)
    for row in bought:
        merged: dict[str, int] = {}
        for need, units in row[3]:
            merged[need] = merged.get(need, 0) + units
        row[3][:] = [(need, units) for need, units in merged.items() if units]


__all__ = ["buy", "compare"]
