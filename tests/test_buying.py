"""Buying: price breaks as published, baskets against every assignment and a proven optimum."""

import itertools
import math
import random
from decimal import Decimal

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp
from small_shop import part as part_row
from small_shop import row

from estimator import buying
from estimator.catalogue import Offer, Supplier


def supplier(name, shipping=0.0, **terms):
    """A supplier whose parts take two to five days."""
    return row(Supplier, **({"supplier": name, "name": f"House of {name}", "shipping": shipping,
                             "days_low": 2, "days_typical": 3, "days_high": 5} | terms))


def offer(part, house, price, **terms):
    """An offer of one part."""
    return row(Offer, part=part, supplier=house, price=price, **terms)


def parts(*names, typical=10.0):
    """Rows of parts."""
    return {name: part_row(name, low=typical, typical=typical, high=typical) for name in names}


# --- price breaks and packs ----------------------------------------------------------------------


def breaks(*rows):
    """Offers of one supplier by break quantity."""
    return [offer("cap", "a", price, from_quantity=quantity) for quantity, price in rows]


def year_cost(quantity, demand, order_cost, holding_share, offers):
    """Cost of a year: goods, stock held, orders placed."""
    price = buying.unit_price(quantity, offers)
    return price * demand + quantity / 2 * holding_share * price + demand / quantity * order_cost


def test_unit_prices_of_four_breaks():
    """Cost of a year at each break of a quantity discount, priced by the offers."""
    # nursingexpertshelp.com, "least cost order quantities when there are quantity discounts":
    # demand 800, order 60, holding 30 %; 42,417.9, 40,822.50, 40,080.00, 41,221.00.
    offers = breaks((1, 53.00), (50, 51.50), (100, 49.50), (200, 48.00), (500, 47.00))
    found = {q: year_cost(q, 800, 60, 0.30, offers) for q in (79, 100, 200, 500)}
    printed = {79: 42_417.9, 100: 40_822.50, 200: 40_080.00, 500: 41_221.00}
    assert found == pytest.approx(printed, abs=0.1)
    assert buying.unit_price(49, offers) == 53.00
    assert buying.unit_price(499, reversed(offers)) == 48.00


def test_unit_prices_of_two_breaks():
    """Below 200 the dearer price, from 200 the cheaper, which wins over a year."""
    # Krajewski et al., Operations Management, solved problem 2 (prices seen, totals computed).
    offers = breaks((1, 50.25), (200, 49.00))
    assert year_cost(79, 490, 64, 0.20, offers) == pytest.approx(25_416.44, abs=0.01)
    assert year_cost(200, 490, 64, 0.20, offers) == pytest.approx(25_146.80, abs=0.01)


def test_more_is_bought_where_the_break_makes_it_cheaper():
    """195 at 49.50 cost more than 200 at 48.00; 190 do not."""
    offers = breaks((100, 49.50), (200, 48.00))
    assert buying.cheapest(195, offers)[:2] == (200 * 48.00, 200)
    assert buying.cheapest(190, offers)[:2] == (190 * 49.50, 190)


def test_packs_are_bought_whole():
    """Eleven from packs of five are fifteen; a break of twelve fills packs up to it too."""
    assert buying.cheapest(11, [offer("cap", "a", 2.0, pack=5)])[:2] == (30.0, 15)
    assert buying.cheapest(3, [offer("cap", "a", 2.0, pack=5, from_quantity=12)])[:2] == (30.0, 15)


def test_too_few_for_every_break_has_no_price():
    """A quantity below the first break is refused."""
    with pytest.raises(ValueError, match="no offer holds for 9"):
        buying.unit_price(9, breaks((10, 1.0)))


# --- baskets by hand -----------------------------------------------------------------------------


def test_one_parcel_beats_the_cheapest_of_each():
    """Two parts a little dearer in one parcel cost less than two parcels."""
    offers = [offer("coil", "a", 20), offer("coil", "b", 21), offer("bulb", "b", 5),
              offer("bulb", "a", 9)]
    found = buying.choose({"coil": 1, "bulb": 1}, parts("coil", "bulb"), offers,
                          [supplier("a", 8), supplier("b", 8)])
    assert [row.supplier for row in found.rows] == ["b", "b"]
    assert found.total == pytest.approx(21 + 5 + 8)
    assert found.orders == (buying.Order("b", goods=26, top_up=0, freight=8, days=3),)


def test_free_freight_pulls_parts_over():
    """A dearer part is bought where it brings the order just to free freight."""
    offers = [offer("board", "a", 92), offer("lamp", "a", 8), offer("lamp", "b", 5)]
    terms = [supplier("a", 12, free_over=100), supplier("b", 0)]
    found = buying.choose({"board": 1, "lamp": 1}, parts("board", "lamp"), offers, terms)
    assert {row.part: row.supplier for row in found.rows} == {"board": "a", "lamp": "a"}
    assert found.total == found.orders[0].goods == 100


def test_a_minimum_order_is_topped_up_or_avoided():
    """What falls short of the minimum is paid for, so a dearer supplier without one may win."""
    offers = [offer("post", "a", 4), offer("post", "b", 6)]
    found = buying.choose({"post": 2}, parts("post"), offers,
                          [supplier("a", 3, minimum_order=25), supplier("b", 3)])
    assert found.rows[0].supplier == "b"
    assert found.total == 15
    alone = buying.choose({"post": 2}, parts("post"), offers[:1],
                          [supplier("a", 3, minimum_order=25)])
    assert (alone.orders[0].goods, alone.orders[0].top_up, alone.orders[0].total) == (8, 17, 28)
    free = buying.choose({"post": 2}, parts("post"), offers[:1],
                         [supplier("a", 3, minimum_order=25, free_over=25)])
    assert (free.orders[0].top_up, free.orders[0].freight, free.total) == (17, 0, 25)


def test_a_part_that_nobody_offers_is_flagged_and_priced():
    """It stands without a supplier at the trade's typical price."""
    found = buying.choose({"coil": 1, "toy": 2}, parts("coil", "toy", typical=30),
                          [offer("coil", "a", 20)], [supplier("a", 5)])
    toy = next(row for row in found.rows if row.part == "toy")
    assert (toy.unmet, toy.supplier, toy.unit_price, toy.cost, toy.days) == (True, "", 30, 60, None)
    assert found.unmet == ("toy",)
    assert found.total == 20 + 5 + 60


def test_a_row_says_how_it_is_bought():
    """Needed, bought, packs, price, cost and days of one part; fractions rounded up."""
    found = buying.choose({"lamp": 10.4, "none": 0}, parts("lamp"),
                          [offer("lamp", "a", 0.5, pack=4)], [supplier("a")])
    assert found.rows == (buying.Purchase("lamp", 11, 12, 3, 0.5, "a", 6.0, 3),)
    assert not found.rows[0].unmet


def test_nothing_needed_costs_nothing():
    """An empty basket has no rows, no orders and no cost."""
    assert buying.choose({}, {}, [], [supplier("a", 5)]) == buying.Budget((), ())
    assert buying.Budget((), ()).total == 0


# --- baskets at random ---------------------------------------------------------------------------


def basket(rng, part_count, supplier_count):
    """Needs, parts, offers and suppliers whose thresholds lie about where the orders fall."""
    names = [f"part-{i}" for i in range(part_count)]
    houses = [
        supplier(f"s{j}", rng.choice([0, 5, 8, 12, 20]),
                 minimum_order=rng.choice([0, 0, 10, 25, 50]),
                 free_over=rng.choice([None, 30, 60, 100, 150]))
        for j in range(supplier_count)
    ]
    offers = []
    for name in names:
        base = rng.choice([0.5, 1, 3, 7, 15])
        for house in houses:
            if rng.random() < 0.8:
                price = round(base * rng.uniform(0.7, 1.4), 2)
                offers.append(offer(name, house.supplier, price, pack=rng.choice([1, 1, 5])))
                if rng.random() < 0.4:
                    offers.append(offer(name, house.supplier, round(price * 0.8, 2),
                                        from_quantity=10))
    return {name: rng.randint(1, 12) for name in names}, parts(*names), offers, houses


def costs(needs, offers, houses):
    """Cost of each part at each supplier, nan where it is not sold; only parts that are sold."""
    found = np.full((len(needs), len(houses)), np.nan)
    for (i, (name, need)), (j, house) in itertools.product(
            enumerate(needs.items()), enumerate(houses)):
        rows = [o for o in offers if (o.part, o.supplier) == (name, house.supplier)]
        if rows:
            found[i, j] = buying.cheapest(need, rows)[0]
    return found[~np.isnan(found).all(axis=1)]


def paid(goods, house):
    """What an order of this value costs in all."""
    value = max(goods, house.minimum_order)
    free = house.free_over is not None and value >= house.free_over - 1e-7
    return value + (0 if free else house.shipping)


def least_of_all(cost, houses):
    """Least total over every assignment of parts to suppliers."""
    goods = np.zeros((1, len(houses)))
    for line in cost:
        here = np.diag(line)[~np.isnan(line)]
        goods = (goods[:, None, :] + here).reshape(-1, len(houses))
    total = np.zeros(len(goods))
    for value, house in zip(goods.T, houses, strict=True):
        over = math.inf if house.free_over is None else house.free_over
        held = np.maximum(value, house.minimum_order)
        total += np.where(value > 0, held + np.where(held >= over - 1e-7, 0, house.shipping), 0)
    return total.min()


def bound(cost, houses):
    """Proven least total where stock may also be bought to reach free freight: never above ours."""
    count = len(houses)
    sold = ~np.isnan(cost)
    where = np.full(cost.shape, -1)
    where[sold] = np.arange(sold.sum())
    used, free, top = (sold.sum() + k * count for k in range(3))
    size = top + count
    rows, low, high = [], [], []

    def hold(entries, at_least, at_most):
        line = np.zeros(size)
        for place, factor in entries:
            line[place] += factor
        rows.append(line)
        low.append(at_least)
        high.append(at_most)

    price = np.zeros(size)
    price[:used] = cost[sold]
    for i in range(len(cost)):
        hold([(where[i, j], 1) for j in range(count) if sold[i, j]], 1, 1)
    for j, house in enumerate(houses):
        price[used + j], price[free + j], price[top + j] = house.shipping, -house.shipping, 1
        goods = [(where[i, j], cost[i, j]) for i in range(len(cost)) if sold[i, j]]
        for place, _ in goods:
            hold([(place, 1), (used + j, -1)], -np.inf, 0)
        hold([(free + j, 1), (used + j, -1)], -np.inf, 0)
        hold([*goods, (top + j, 1), (used + j, -house.minimum_order)], 0, np.inf)
        over = 1e6 if house.free_over is None else house.free_over
        hold([*goods, (top + j, 1), (free + j, -over)], 0, np.inf)
    whole, most = np.ones(size), np.ones(size)
    whole[top:], most[top:] = 0, np.inf
    done = milp(price, constraints=LinearConstraint(np.array(rows), low, high), integrality=whole,
                bounds=Bounds(0, most), options={"mip_rel_gap": 0.0})
    assert done.success
    return done.fun


def test_small_baskets_cost_the_least_there_is():
    """In every one of sixty small baskets no assignment at all costs less."""
    rng = random.Random(20)
    for _ in range(60):
        needs, rows, offers, houses = basket(rng, rng.randint(1, 6), 3)
        found = buying.choose(needs, rows, offers, houses)
        unmet = sum(row.cost for row in found.rows if row.unmet)
        least = least_of_all(costs(needs, offers, houses), houses)
        assert found.total - unmet == pytest.approx(least)


@pytest.mark.parametrize(
    ("part_count", "seed"),
    [(8, 67), (8, 123), (8, 151), (8, 392), (10, 16), (10, 57), (10, 86), (10, 234)])
def test_baskets_where_parts_must_move_in_groups(part_count, seed):
    """Where no single move helps, the least total of all is found nevertheless."""
    needs, rows, offers, houses = basket(random.Random(seed), part_count, 4)
    found = buying.choose(needs, rows, offers, houses)
    unmet = sum(row.cost for row in found.rows if row.unmet)
    least = least_of_all(costs(needs, offers, houses), houses)
    assert found.total - unmet == pytest.approx(least)


@pytest.mark.parametrize(
    ("part_count", "supplier_count", "count"), [(15, 4, 3), (45, 5, 20), (60, 6, 3)])
def test_larger_baskets_come_close_to_a_proven_bound(
        part_count, supplier_count, count):
    """An exact solver finds no basket more than 0.2 % cheaper."""
    for seed in range(1000, 1000 + count):
        needs, rows, offers, houses = basket(random.Random(seed), part_count, supplier_count)
        found = buying.choose(needs, rows, offers, houses)
        unmet = sum(row.cost for row in found.rows if row.unmet)
        least = bound(costs(needs, offers, houses), houses)
        assert least - 1e-6 <= found.total - unmet <= least * 1.002


def test_orders_add_up_to_the_rows():
    """Goods of the orders are the parts bought there, and every need is covered."""
    needs, rows, offers, houses = basket(random.Random(7), 40, 6)
    found = buying.choose(needs, rows, offers, houses)
    assert {row.part for row in found.rows} == set(needs)
    for order in found.orders:
        bought = [row for row in found.rows if row.supplier == order.supplier]
        assert order.goods == pytest.approx(sum(row.cost for row in bought))
        house = next(house for house in houses if house.supplier == order.supplier)
        assert order.total == pytest.approx(paid(order.goods, house))
    assert all(row.bought >= row.needed == needs[row.part] for row in found.rows)


@pytest.mark.parametrize(("currency", "coin", "lines"), [
    ("USD", "0.01", (6.86, 2.29)), ("JPY", "1", (7.0, 2.0)), ("KWD", "0.001", (6.855, 2.285))])
def test_each_line_comes_to_whole_coins_and_all_add_up(currency, coin, lines):
    """Half cents go up line by line, so that lines, orders and their totals agree to the cent."""
    # EN 16931-1, BT-131 (from memory): the net amount of a line has the currency's digits.
    needs, rows = {"ring": 15, "sleeve": 5}, parts("ring", "sleeve")
    offers = [offer("ring", "a", 0.457), offer("sleeve", "b", 0.457)]
    houses = [supplier("a", 4), supplier("b", 4)]
    budget = buying.choose(needs, rows, offers, houses, currency)
    known = {house.supplier: house for house in houses}
    basket_ = buying.buy(needs, buying.Market(rows, tuple(offers), known), currency=currency)
    for found in (budget, basket_):
        assert tuple(order.goods for order in found.orders) == lines
        assert found.total == math.fsum((*lines, 8))
        assert Decimal(repr(found.total)) % Decimal(coin) == 0
        assert sum(Decimal(repr(order.total)) for order in found.orders) == Decimal(
            repr(found.total))
    assert [line.cost for order in basket_.orders for line in order.lines] == list(lines)
    nowhere = buying.choose(needs, parts("ring", "sleeve", typical=0.457), [], [], currency)
    assert tuple(row.cost for row in nowhere.rows) == lines


def test_the_order_of_the_tables_does_not_matter():
    """The same needs and offers, shuffled, give the same budget."""
    rng = random.Random(3)
    needs, rows, offers, houses = basket(rng, 25, 5)
    first = buying.choose(needs, rows, offers, houses)
    shuffled = dict(rng.sample(list(needs.items()), len(needs)))
    again = buying.choose(shuffled, rows, rng.sample(offers, len(offers)), houses[::-1])
    assert again == first


def test_more_suppliers_than_can_be_tried_in_every_set():
    """With twelve suppliers the basket is still no dearer than at the best single one."""
    needs, rows, offers, houses = basket(random.Random(5), 20, 12)
    for house in houses[:3]:
        offers += [offer(name, house.supplier, 30, from_quantity=1) for name in needs
                   if not any(o.part == name and o.supplier == house.supplier for o in offers)]
    found = buying.choose(needs, rows, offers, houses)
    assert not found.unmet
    cost = costs(needs, offers, houses)
    alone = [paid(cost[:, j].sum(), house) for j, house in enumerate(houses)
             if not np.isnan(cost[:, j]).any()]
    assert alone
    assert found.total <= min(alone) + 1e-9
    assert found.total <= bound(cost, houses) * 1.01
