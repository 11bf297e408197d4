"""When to order: days that parts are needed on, lead times, and how sure it is to be."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from estimator.buying.records import Basket, PartsOrder
from estimator.units import within


@dataclass(frozen=True)
class DatedOrder:
    """An order with its days, counted from today.

    Parameters
    ----------
    needed
        The first day that one of its parts is needed on; None where no day is known. [d]
    order_by
        The last day to order on, so that it is there in time as surely as was asked; may lie
        before today. [d]
    place_on
        The day to order on: `order_by`, whole, or today where that is past. [d]
    soonest, expected, latest
        Days it comes if ordered then: at best, usually, at worst. [d]
    chance_late
        Chance that it comes after the day it is needed. [–]
    """

    order: PartsOrder
    needed: float | None
    order_by: float
    place_on: int
    soonest: float
    expected: float
    latest: float
    chance_late: float


@dataclass(frozen=True)
class Waiting:
    """A line of the waiting list: a need, and when it can be there.

    Parameters
    ----------
    supplier
        Blank where nobody offers it; then `expected` is None too.
    needed, expected
        Day it is needed on, None where that is not said, and the day it usually comes. [d]
    late
        Days that `expected` is after `needed`; 0 where it is in time. [d]
    """

    part: str
    units: int
    supplier: str
    needed: float | None
    expected: float | None
    late: float


@dataclass(frozen=True)
class Ordering:
    """Orders in the order they are placed in, and the waiting list by the day parts come."""

    orders: tuple[DatedOrder, ...]
    waiting: tuple[Waiting, ...]


def lead_days(low: float, typical: float, high: float, chance: float) -> float:
    """Days within which a parcel is there with this chance. [d]

    Lead times are taken to be triangular from best over usual to worst: M. Evans, N. Hastings,
    B. Peacock, Statistical Distributions, 3rd ed., 2000, ch. 41.

    Parameters
    ----------
    low, typical, high
        Days at best, usually and at worst, in this order; 0 or more. [d]
    chance
        Over 0, at most 1. [–]

    Examples
    --------
    >>> round(lead_days(3, 5, 9, 0.9), 2), lead_days(3, 5, 9, 1), lead_days(4, 4, 4, 0.5)
    (7.45, 9.0, 4.0)
    """
    within("chance", chance, above=0, up_to=1)
    _ordered(low, typical, high)
    if high == low:
        return float(high)
    rising = (typical - low) / (high - low)
    if chance <= rising:
        return low + math.sqrt(chance * (high - low) * (typical - low))
    return high - math.sqrt((1 - chance) * (high - low) * (high - typical))


def chance_within(low: float, typical: float, high: float, days: float) -> float:
    """Chance that a parcel is there within so many days; the inverse of `lead_days`. [–]

    Parameters
    ----------
    low, typical, high
        From order to door: at best, usually, at worst. [d]
    days
        Within so many. [d]

    Examples
    --------
    >>> chance_within(3, 5, 9, 9), chance_within(3, 5, 9, 2), round(chance_within(3, 5, 9, 5), 3)
    (1.0, 0.0, 0.333)
    """
    _ordered(low, typical, high)
    if days >= high:
        return 1.0
    if days <= low:
        return 0.0
    if days <= typical:
        return (days - low) ** 2 / ((high - low) * (typical - low))
    return 1 - (high - days) ** 2 / ((high - low) * (high - typical))


def order_dates(
    basket: Basket, needed: Mapping[str, float], *, chance: float, margin: float = 0.0
) -> Ordering:
    """Days to order on, and the waiting list.

    Parameters
    ----------
    needed
        The day each part is needed on, such as the start of the work that fits it, counted from
        today; parts without a day press nobody. An order where no part has a day goes out today.
    chance
        How sure it is to be that an order is there in time; over 0, at most 1. [–]
    margin
        Days that parts are to lie ready before they are needed; 0 or more. [d]

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> from estimator.buying import buy, market
    >>> basket = buy({"flipper-kit": 3}, market(load()))
    >>> found = order_dates(basket, {"flipper-kit": 30}, chance=0.9, margin=2)
    >>> 15 < found.orders[0].place_on < 28, found.waiting[0].late
    (True, 0.0)
    """
    within("margin", margin, at_least=0)
    orders, waiting = [], []
    for order in basket.orders:
        lead = order.days_low, order.days_typical, order.days_high
        wait = lead_days(*lead, chance)
        covers = [(part, units) for line in order.lines for part, units in line.covers]
        days = [needed[part] for part, _ in covers if part in needed]
        first = min(days, default=None)
        by = 0.0 if first is None else first - margin - wait
        place = max(0, math.floor(by + 1e-9))
        late = 0.0 if first is None else 1 - chance_within(*lead, first - place)
        orders.append(DatedOrder(
            order, first, by, place, place + lead[0], place + lead[1], place + lead[2], late))
        for part, units in covers:
            day = needed.get(part)
            waiting.append(Waiting(
                part, units, order.supplier, day, place + lead[1],
                0.0 if day is None else max(0.0, place + lead[1] - day)))
    waiting.sort(key=lambda row: (row.expected, row.part))
    waiting += [Waiting(need.part, need.units, "", needed.get(need.part), None, 0.0)
                for need in basket.unmet]
    return Ordering(tuple(sorted(orders, key=lambda row: (row.place_on, row.order.supplier))),
                    tuple(waiting))


def _ordered(low: float, typical: float, high: float) -> None:
    if not 0 <= low <= typical <= high < math.inf:
        raise ValueError(f"Days at best, usually and at worst are {low:g}, {typical:g}, {high:g}; "
                         "none may be less than the one before it.")


__all__ = [
    "DatedOrder",
    "Ordering",
    "Waiting",
    "chance_within",
    "lead_days",
    "order_dates",
]
