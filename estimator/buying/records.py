"""What is asked and answered: a wish, lines and orders, and the basket they make up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from estimator.errors import Fault


@dataclass(frozen=True)
class Wish:
    """What the parts are bought for.

    Parameters
    ----------
    name
        How it is called.
    day, parcel
        What it is worth to have the last part a day sooner, and to open a parcel less. [money]
    first
        What comes before money, whatever it costs: "days", "parcels" or nothing.

    Examples
    --------
    >>> Wish("soon, but not at any price", day=25.0).first
    ''
    """

    name: str
    day: float = 0.0
    parcel: float = 0.0
    first: str = ""


CHEAPEST = Wish("cheapest")
"""The least money, however long it takes."""
FASTEST = Wish("fastest", first="days")
"""The last part as soon as can be, and then the least money."""
FEWEST = Wish("fewest parcels", first="parcels")
"""As few parcels as can be, and then the least money."""


def trade_off(day: float, parcel: float = 0.0) -> Wish:
    """A wish that weighs days and parcels against money. [money]

    Raises
    ------
    ValueError
        If what a day or a parcel is worth is under 0 or not finite.

    Examples
    --------
    >>> trade_off(15, parcel=4).day
    15
    """
    for name, worth in (("day", day), ("parcel", parcel)):
        if not (math.isfinite(worth) and worth >= 0):
            raise ValueError(f"{name} is {worth:g}; it must be 0 or more.")
    return Wish("trade-off", day, parcel)


@dataclass(frozen=True)
class Line:
    """One line of an order.

    Parameters
    ----------
    packs, pack, units
        Whole packs, units in a pack, units in all. [–]
    unit_price, cost
        Of one unit, and of the line in whole coins, without freight. [money]
    covers
        (part, units): which needs it covers. A kit may cover several, a substitute another's. [–]
    dated
        Day of the price.
    note
        What to heed where it takes another part's place; blank elsewhere.
    """

    part: str
    name: str
    packs: int
    pack: int
    units: int
    unit_price: float
    cost: float
    covers: tuple[tuple[str, int], ...]
    dated: date
    note: str = ""


@dataclass(frozen=True)
class PartsOrder:
    """What is ordered from one supplier, in one parcel.

    Parameters
    ----------
    goods, top_up, freight
        Price of the lines; what is added to them, to reach the least order or free freight and to
        be spent on stock; what sending costs. [money]
    days_low, days_typical, days_high
        Days from order to door: at best, usually, at worst. [d]

    Examples
    --------
    >>> PartsOrder("part-house", "Part house", (), 40.0, 5.0, 8.0, 3, 5, 9).total
    53.0
    """

    supplier: str
    name: str
    lines: tuple[Line, ...]
    goods: float
    top_up: float
    freight: float
    days_low: float
    days_typical: float
    days_high: float

    @property
    def total(self) -> float:
        """Goods, what is added to reach the least order, and freight. [money]"""
        return self.goods + self.top_up + self.freight


@dataclass(frozen=True)
class Unmet:
    """A need that nobody offers anything for; `cost` is what the trade asks. [money]"""

    part: str
    name: str
    units: int
    cost: float


@dataclass(frozen=True)
class Basket:
    """Every order for a set of needs, and how good it is.

    Parameters
    ----------
    orders
        One a supplier, by name.
    unmet
        Needs without any offer.
    from_stock
        (need, part taken from the shelf, units): the shelf is used up first. [–]
    delay
        Days that the last part comes after it is needed, by usual lead times; counted from today
        where no day is said. [d]
    first
        What the plan was worth that stood before the proof was begun, lines before they are
        rounded; None without one. [money]
    bound
        No basket for this wish costs less, days and parcels counted at their worth, and lines
        before they are rounded. [money]
    proven
        Is it certain that none costs less? Else the search was stopped.
    faults
        What to see to: needs that nobody sells, prices grown old, days that cannot be kept.

    Examples
    --------
    >>> line = Line("coil", "Coil", 2, 1, 2, 20.0, 40.0, (("coil", 2),), date(2026, 1, 1))
    >>> order = PartsOrder("part-house", "Part house", (line,), 40.0, 0.0, 8.0, 3, 5, 9)
    >>> found = Basket(trade_off(15, parcel=4), (order,), (), (), delay=2, first=None, bound=72.0,
    ...                proven=False)
    >>> found.total, found.parcels, found.worth, round(found.gap, 2)
    (48.0, 1, 82.0, 0.12)
    """

    wish: Wish
    orders: tuple[PartsOrder, ...]
    unmet: tuple[Unmet, ...]
    from_stock: tuple[tuple[str, str, int], ...]
    delay: float
    first: float | None
    bound: float
    proven: bool
    faults: tuple[Fault, ...] = ()

    @property
    def total(self) -> float:
        """Money for all orders; needs without an offer are not in it. [money]"""
        return math.fsum(order.total for order in self.orders)

    @property
    def parcels(self) -> int:
        """Orders, each in one parcel."""
        return len(self.orders)

    @property
    def worth(self) -> float:
        """Money, with days and parcels at what the wish says they are worth. [money]"""
        return self.total + self.wish.day * self.delay + self.wish.parcel * self.parcels

    @property
    def gap(self) -> float:
        """How much less another basket could cost at most, as a share of this one. [–]"""
        return 0.0 if self.proven else max(0.0, 1 - self.bound / max(self.worth, 1e-9))


__all__ = [
    "CHEAPEST",
    "FASTEST",
    "FEWEST",
    "Basket",
    "Line",
    "PartsOrder",
    "Unmet",
    "Wish",
    "trade_off",
]
