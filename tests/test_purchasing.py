"""Suppliers chosen with a proof: by hand, by every choice there is, and as published."""

import itertools
import math
import random
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_shop import row
from test_buying import basket, offer, paid, parts, supplier

from estimator import buying
from estimator.buying import Content, Market, Substitute



def market(rows, offers, houses, **more) -> Market:
    """A market of these rows."""
    return Market(rows, tuple(offers), {house.supplier: house for house in houses}, **more)


def kit(name, part, quantity=1):
    """A part that a kit holds."""
    return row(Content, kit=name, part=part, quantity=quantity)


def instead(part, other, quantity=1):
    """A part that does for another."""
    return row(Substitute, part=part, instead=other, quantity=quantity)


# --- against every choice there is ---------------------------------------------------------------


@st.composite
def tangles(draw):
    """A few parts that share kits and substitutes, at two suppliers, so small that all is tried."""
    names = ["link", "sleeve", "set"]
    needs = {"link": draw(st.integers(0, 2)), "sleeve": draw(st.integers(1, 3)),
             "set": draw(st.integers(0, 1))}
    houses = [supplier(name, draw(st.sampled_from([0, 4, 9])),
                       minimum_order=draw(st.sampled_from([0, 0, 15])),
                       free_over=draw(st.sampled_from([None, 12, 30])),
                       days_typical=draw(st.integers(2, 5)))
              for name in ("a", "b")]
    offers = []
    for name, house in itertools.product(names, houses):
        if draw(st.integers(0, 3)):
            price = draw(st.integers(2, 9))
            offers.append(offer(name, house.supplier, price, pack=draw(st.sampled_from([1, 1, 2]))))
            if draw(st.booleans()):
                offers.append(offer(name, house.supplier, price - 1, from_quantity=3))
    contents, swaps = [], []
    if draw(st.booleans()):
        contents = [kit("set", "link"), kit("set", "sleeve", draw(st.integers(1, 2)))]
    if draw(st.booleans()):
        swaps = [instead("sleeve", "link", draw(st.integers(1, 2)))]
    stock = {name: draw(st.sampled_from([0, 0, 1])) for name in names}
    days = {name: draw(st.integers(0, 4)) for name in names if draw(st.booleans())}
    return needs, market(parts(*names), offers, houses, contents=tuple(contents),
                         substitutes=tuple(swaps), stock=stock), days


def enough(needs, there, contents, swaps) -> bool:
    """Is there a way to open kits and fit substitutes that covers every need?"""
    kits = there.get("set", 0)
    each = {one.part: one.quantity for one in contents}
    do = {(one.instead, one.part): one.quantity for one in swaps}
    for opened in range((kits if each else 0) + 1):
        link = there.get("link", 0) + opened * each.get("link", 0)
        sleeve = there.get("sleeve", 0) + opened * each.get("sleeve", 0)
        if kits - opened < needs["set"] or link < needs["link"]:
            continue
        lack = max(0, needs["sleeve"] - sleeve)
        per = do.get(("link", "sleeve"))
        if lack == 0 or (per and link - needs["link"] >= lack * per):
            return True
    return False


def worth_of(needs, shop, wish, bought, fill) -> float:
    """What units of (part, supplier) are worth by the tables; infinite where they are too few."""
    there, goods = dict(shop.stock), {}
    for (part, house), units in bought.items():
        if units:
            rows = [one for one in shop.offers if (one.part, one.supplier) == (part, house)]
            cost = min((units * one.price for one in rows
                        if one.from_quantity <= units and units % one.pack == 0), default=math.inf)
            goods[house] = goods.get(house, 0.0) + cost
            there[part] = there.get(part, 0) + units
    if not enough(needs, there, shop.contents, shop.substitutes):
        return math.inf
    worth = wish.day * max((shop.suppliers[house].days_typical for house in goods), default=0)
    for house, value in goods.items():
        row = shop.suppliers[house]
        filled = max(value, row.minimum_order, row.free_over or 0)
        can = fill and row.free_over is not None
        worth += wish.parcel + (min(paid(value, row), filled) if can else paid(value, row))
    return worth


def better(needs, shop, wish, fill, than):
    """Units by part and supplier that are worth less money, by trying all; None if there are none.

    Goods alone are never more than the worth, so dear beginnings are not gone on with.
    """
    counters = sorted({(one.part, one.supplier) for one in shop.offers})
    lowest = {key: min(one.price for one in shop.offers if (one.part, one.supplier) == key)
              for key in counters}

    def tried(number, bought, goods):
        if goods > than - 1e-6:
            return None
        if number == len(counters):
            return bought if worth_of(needs, shop, wish, bought, fill) < than - 1e-6 else None
        key = counters[number]
        found = (tried(number + 1, bought | {key: units}, goods + units * lowest[key])
                 for units in range(9))
        return next((one for one in found if one), None)

    return tried(0, {}, 0.0)


@settings(max_examples=50, deadline=None)
@given(tangles(), st.sampled_from([(0, 0), (3, 0), (0, 5), (2, 3)]))
def test_small_tangles_cost_the_least_there_is(tangle, worths):
    """With kits, substitutes, breaks, packs and the shelf, no choice at all is worth more."""
    needs, shop, _ = tangle
    found = buying.buy(needs, shop, buying.trade_off(*worths), split=True, fill=True)
    left = dict(needs)
    for need in found.unmet:
        left[need.part] -= need.units
    bought = {(line.part, order.supplier): line.units
              for order in found.orders for line in order.lines}
    assert found.proven
    assert found.worth == pytest.approx(worth_of(left, shop, found.wish, bought, fill=True))
    assert better(left, shop, found.wish, True, found.worth) is None
