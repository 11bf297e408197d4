"""Where to buy: suppliers chosen for all parts of a job together, freight and minimums counted.

The cheapest offer for each part alone is seldom the cheapest basket: every further supplier costs
freight, and a few pieces more at one of them may make its freight free.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from estimator.buying.search import DUST, NO_OFFER, assign
from estimator.catalogue import Offer, Part, Supplier
from estimator.money import line_amount
from estimator.units import round_up


@dataclass(frozen=True)
class Purchase:
    """One part: what is needed, and how it is bought.

    Parameters
    ----------
    needed, bought
        Units; more may be bought than needed, to fill a pack or to reach a price break. [–]
    packs
        Whole packs that makes. [–]
    unit_price, cost
        Of one unit, and of all bought, without freight, in whole coins. [money]
    supplier
        Name; blank where nobody offers the part and `unit_price` is the trade's typical one.
    days
        Usual days to the door; None where nobody offers it. [d]

    Examples
    --------
    >>> Purchase("toy", 1, 1, 1, 40.0, "", 40.0, None).unmet
    True
    """

    part: str
    needed: int
    bought: int
    packs: int
    unit_price: float
    supplier: str
    cost: float
    days: float | None

    @property
    def unmet(self) -> bool:
        """Has nobody an offer for it?"""
        return not self.supplier


@dataclass(frozen=True)
class Order:
    """What one supplier is paid.

    Parameters
    ----------
    goods, freight
        Price of the parts, and of sending them. [money]
    top_up
        What the order falls short of the supplier's minimum: to be spent on stock. [money]
    days
        Usual days to the door. [d]

    Examples
    --------
    >>> Order("part-house", goods=46.0, top_up=4.0, freight=8.0, days=5).total
    58.0
    """

    supplier: str
    goods: float
    top_up: float
    freight: float
    days: float

    @property
    def total(self) -> float:
        """Goods, what is added to reach the minimum, and freight. [money]"""
        return self.goods + self.top_up + self.freight


@dataclass(frozen=True)
class Budget:
    """What the parts of a job cost to buy: a row for each part, an order for each supplier.

    Examples
    --------
    >>> bought = Purchase("coil", 3, 4, 1, 2.5, "part-house", 10.0, 5.0)
    >>> nowhere = Purchase("toy", 1, 1, 1, 40.0, "", 40.0, None)
    >>> budget = Budget((bought, nowhere), (Order("part-house", 10.0, 0.0, 8.0, 5.0),))
    >>> budget.total, budget.unmet, budget.orders[0].total
    (58.0, ('toy',), 18.0)
    """

    rows: tuple[Purchase, ...]
    orders: tuple[Order, ...]

    @property
    def total(self) -> float:
        """All orders, and the parts that nobody offers at their typical price. [money]"""
        return math.fsum([*(order.total for order in self.orders),
                          *(row.cost for row in self.rows if row.unmet)])

    @property
    def unmet(self) -> tuple[str, ...]:
        """Parts that nobody offers."""
        return tuple(row.part for row in self.rows if row.unmet)


def unit_price(quantity: int, offers: Iterable[Offer]) -> float:
    """Price of one unit when `quantity` units of one part are ordered from one supplier. [money]

    Raises
    ------
    ValueError
        If the quantity is below every break.

    Examples
    --------
    >>> from datetime import date
    >>> def offer(from_quantity, price):
    ...     return Offer(part="bulb", supplier="north", from_quantity=from_quantity, price=price,
    ...                  unit="each", basis="invented for the demo", source="an example",
    ...                  dated=date(2026, 1, 1))
    >>> unit_price(99, [offer(1, 0.60), offer(100, 0.45)])
    0.6
    """
    held = [offer for offer in offers if offer.from_quantity <= quantity]
    if not held:
        raise ValueError(f"no offer holds for {quantity}; order more")
    return max(held, key=lambda offer: offer.from_quantity).price


def cheapest(needed: int, offers: Iterable[Offer]) -> tuple[float, int, Offer]:
    """Cost, units bought and offer taken, to cover a need at least cost from one supplier.

    Whole packs are bought, and more than needed where a price break makes more cost less.

    Examples
    --------
    >>> from datetime import date
    >>> def offer(from_quantity, price):
    ...     return Offer(part="bulb", supplier="north", from_quantity=from_quantity, price=price,
    ...                  unit="each", basis="invented for the demo", source="an example",
    ...                  dated=date(2026, 1, 1))
    >>> cost, bought, _ = cheapest(90, [offer(1, 0.60), offer(100, 0.45)])
    >>> round(cost, 2), bought
    (45.0, 100)
    """
    found = []
    for offer in offers:
        bought = -(-max(needed, offer.from_quantity) // offer.pack) * offer.pack
        found.append((bought * offer.price, bought, offer))
    return min(found, key=lambda entry: (entry[0], entry[1], entry[2].from_quantity))


def terms(goods: float, supplier: Supplier, fill: bool = False) -> tuple[float, float, float]:
    """Goods, what is added to them, and freight of one order. [money]

    Parameters
    ----------
    goods
        Price of all lines, 0 or more. [money]
    fill
        Whether it is filled up to free freight, where that costs less than freight; else only the
        least order is reached.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> oak = load().suppliers["oakbench-parts"]  # 9 freight, free over 120, 10 at least
    >>> terms(4.0, oak), terms(115.0, oak), terms(115.0, oak, fill=True)
    ((4.0, 6.0, 9.0), (115.0, 0.0, 9.0), (115.0, 5.0, 0.0))
    """
    top_up = max(0.0, supplier.minimum_order - goods)
    over = math.inf if supplier.free_over is None else supplier.free_over
    if goods + top_up >= over - DUST:
        return goods, top_up, 0.0
    if fill and over - goods - top_up < supplier.shipping:
        return goods, over - goods, 0.0
    return goods, top_up, supplier.shipping


def choose(
    needs: Mapping[str, float],
    parts: Mapping[str, Part],
    offers: Iterable[Offer],
    suppliers: Iterable[Supplier],
    currency: str = "USD",
) -> Budget:
    """Suppliers for all needs, so that goods, freight and minimums together cost little.

    Parameters
    ----------
    needs
        Units by part; fractions are rounded up, parts with no need are left out.
    parts
        Rows of the table of parts; their typical price serves where nobody offers one.
    offers, suppliers
        Rows of those tables, in any order; every offer's supplier must be among them.
    currency
        To whose smallest unit each row's cost is rounded.

    Raises
    ------
    KeyError
        If a part or a supplier is in no table.

    Notes
    -----
    Every set of up to eight suppliers gives a plan, each part at the cheapest in the set. The
    best plans are mended: parts are moved while the total falls, one at a time and in groups
    that just reach free freight or a minimum. That finds the least total in most small baskets but
    does not prove it. The same needs and offers give the same budget, whatever their order.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> tables = load()
    >>> budget = choose({"flipper-kit": 3}, tables.parts, tables.offers.values(),
    ...                 tables.suppliers.values())
    >>> budget.rows[0].needed, budget.total > 0
    (3, True)
    """
    wanted = {part: round_up(quantity) for part, quantity in sorted(needs.items())}
    wanted = {part: quantity for part, quantity in wanted.items() if quantity}
    known = {row.supplier: row for row in sorted(suppliers, key=lambda row: row.supplier)}
    bids: dict[str, dict[str, list[Offer]]] = {part: {} for part in wanted}
    for offer in offers:
        if offer.part in bids:
            bids[offer.part].setdefault(known[offer.supplier].supplier, []).append(offer)
    buys = {
        part: {name: cheapest(wanted[part], rows) for name, rows in sold.items()}
        for part, sold in bids.items() if sold
    }
    names = [name for name in known if any(name in sold for sold in buys.values())]
    cost = np.array([
        [sold[name][0] if name in sold else NO_OFFER for name in names]
        for sold in buys.values()
    ])
    places = assign(cost, [known[name] for name in names]) if buys else ()
    chosen = {part: names[place] for part, place in zip(buys, places, strict=True)}
    rows = tuple(
        _bought(part, quantity, buys[part][chosen[part]], known[chosen[part]], currency)
        if part in chosen else _unmet(part, quantity, parts[part], currency)
        for part, quantity in wanted.items()
    )
    orders = tuple(
        _order(known[name], math.fsum(row.cost for row in rows if row.supplier == name))
        for name in names if name in chosen.values()
    )
    return Budget(rows, orders)


def _bought(part: str, needed: int, buy: tuple[float, int, Offer], supplier: Supplier,
            currency: str) -> Purchase:
    _, bought, offer = buy
    cost = float(line_amount(bought, offer.price, currency))
    return Purchase(part, needed, bought, bought // offer.pack, offer.price, supplier.supplier,
                    cost, supplier.days_typical)


def _unmet(part: str, needed: int, row: Part, currency: str) -> Purchase:
    cost = float(line_amount(needed, row.typical, currency))
    return Purchase(part, needed, needed, needed, row.typical, "", cost, None)


def _order(supplier: Supplier, goods: float) -> Order:
    return Order(supplier.supplier, *terms(goods, supplier), supplier.days_typical)
