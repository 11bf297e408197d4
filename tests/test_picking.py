"""Lines picked for a sum: against every set there is, published knapsacks, a general solver."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.picking import Limit, NothingFits, Shared, Trials, gauges, pick, search

# --- jobs and the answer by looking at every set ------------------------------------------------


def charged(shared, lines):
    """What a set pays of a shared charge, in every trial."""
    if not any(line in lines for line in shared.lines):
        return 0.0
    parts = shared.parts if len(shared.parts) else [0.0] * len(shared.lines)
    inside = sum(part for line, part in zip(shared.lines, parts, strict=True) if line in lines)
    return shared.times * max(shared.least, shared.amount + inside)


def quantile_limit(rng, count, *, used, share, trials=40, shared=3, pack=0.0, dearer=0.0,
                   known=True, asked=False):
    """A limit on a quantile of drawn costs, with set-ups, lots, and packs that no trial shows.

    `used` says how much of what all lines cost is allowed, `dearer` by how much shared charges are
    over what is told of them, `known` whether the trials are told, and `asked` whether real costs
    can be asked for.
    """
    lines = rng.gamma(rng.uniform(0.5, 8), 1, (count, trials)) * rng.uniform(1, 20, (count, 1))
    base = rng.gamma(3, 5, trials)
    charges = []
    for number in range(shared):
        members = [int(line) for line in rng.choice(count, rng.integers(1, count + 1), False)]
        times = rng.uniform(0.5, 1.5, trials) if rng.random() < 0.5 else 1.0
        lot = (rng.uniform(0, 60), list(rng.uniform(0, 25, len(members)))) if number % 2 else ()
        charges.append(Shared(rng.uniform(0, 20), members, *lot)._replace(times=times))

    def costs(kept):
        paid = (1 + dearer) * sum(charged(shared, kept) for shared in charges)
        return base + lines[sorted(kept)].sum(axis=0) + paid + pack * math.ceil(len(kept) / 3)

    def price(kept):
        return float(np.sort(costs(kept))[math.ceil(share * trials - 1e-9) - 1])

    none, every = price(frozenset()), price(frozenset(range(count)))
    return Limit(
        none + used * (every - none), price, lines.mean(axis=1), float(base.mean()), charges,
        Trials(base, lines, share, costs if asked else None) if known else None,
    )


def plain_limit(most, costs):
    """A limit on a sum that is certain: the classic knapsack."""
    return Limit(most, lambda kept: math.fsum(costs[line] for line in kept), costs)


def best_by_hand(worth, limits, must=()):
    """Worth, first price and lines of the best of all sets; None if none fits."""
    free = [line for line, value in enumerate(worth) if value and line not in must]
    found = []
    for size in range(len(free) + 1):
        for chosen in itertools.combinations(free, size):
            lines = frozenset(must) | set(chosen)
            if all(max(limit.price_of(lines), limit.mean_of(lines)) <= limit.most
                   for limit in limits):
                value = round(math.fsum(worth[line] for line in lines), 6)
                found.append((-value, limits[0].price_of(lines), sorted(lines)))
    return min(found, default=None)


def assert_best(picked, best):
    """The set picked is proven and the one found by hand."""
    value, price, lines = best
    assert picked.proven
    assert picked.worth == pytest.approx(-value, abs=1e-6)
    assert picked.bound == picked.worth
    assert sorted(picked.lines) == lines
    assert picked.prices[0] == price


# --- the best set -------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(60))
def test_the_best_of_all_sets(seed):
    """Quantiles, set-ups, lots and packs: the proven answer is the best of every set there is."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 10))
    limit = quantile_limit(rng, count, used=rng.uniform(0.05, 1.1), pack=rng.choice([0, 5]),
                           share=rng.choice([0.3, 0.5, 0.8, 0.95, 1.0]), known=seed % 4 > 0)
    worth = rng.integers(0, 8, count) if seed % 2 else rng.uniform(0, 10, count)
    best = best_by_hand(worth, [limit])
    if best is None:
        with pytest.raises(NothingFits):
            pick(worth, [limit])
    else:
        assert_best(pick(worth, [limit], most_seconds=100), best)


@pytest.mark.parametrize("seed", range(60))
def test_real_costs_are_asked_for(seed):
    """Prices far over their trials: with real costs to ask for, fewer branches and the best set."""
    found = []
    for asked in (True, False):
        rng = np.random.default_rng(600 + seed)
        count = int(rng.integers(7, 10))
        limit = quantile_limit(rng, count, used=rng.uniform(0.3, 0.9), share=0.8, shared=6,
                               pack=4.0, dearer=rng.choice([0, 0.5]), asked=asked)
        worth = rng.integers(1, 40, count)
        best = best_by_hand(worth, [limit])
        if best is not None:
            picked = pick(worth, [limit], most_seconds=100)
            assert_best(picked, best)
            found.append(picked.looked)
    assert found == sorted(found)


@pytest.fixture
def no_first_set(monkeypatch):
    """Begun from nothing, and real costs asked for at once: a bound too low would lose the best."""
    monkeypatch.setattr(gauges, "_ASK_AFTER", 1)
    monkeypatch.setattr(search._Search, "improve", lambda self: None)
    monkeypatch.setattr(gauges.Gauges, "by_ratio", lambda self: [])


@pytest.mark.parametrize("seed", range(40))
def test_the_proof_leans_on_no_first_set(no_first_set, seed):
    """Begun from nothing, with many lots and set-ups, the best set is found as well."""
    rng = np.random.default_rng(400 + seed)
    limit = quantile_limit(rng, 9, used=rng.uniform(0.2, 1), share=0.8, shared=8,
                           dearer=seed % 3 / 4, asked=True)
    worth = rng.integers(1, 40, 9)
    best = best_by_hand(worth, [limit])
    if best is not None:
        assert_best(pick(worth, [limit], most_seconds=100), best)


@pytest.mark.parametrize("seed", range(12))
def test_goals_that_are_put_off_and_bounds_that_are_forgotten_lose_nothing(
        no_first_set, monkeypatch, seed):
    """With hardly a branch for a goal and no room to keep bounds, the best set is found as well."""
    monkeypatch.setattr(search, "_FIRST_BRANCHES", 1)
    monkeypatch.setattr(search, "_NEAR", -1)
    monkeypatch.setattr(gauges.Ceiling, "_KEPT_NUMBERS", 0)
    rng = np.random.default_rng(900 + seed)
    limit = quantile_limit(rng, 9, used=rng.uniform(0.3, 0.8), share=0.8, shared=6, asked=True)
    worth = rng.integers(1, 40, 9)
    best = best_by_hand(worth, [limit])
    if best is not None:
        assert_best(pick(worth, [limit], most_seconds=100), best)


@pytest.mark.parametrize("seed", range(80))
def test_lots_that_just_fit(no_first_set, seed):
    """Little but lots, and a limit that one set fills to the cent: no bound may cut it off."""
    rng = np.random.default_rng(500 + seed)
    costs = rng.integers(0, 4, 8).astype(float)
    lots = []
    for _ in range(3):
        members = [int(line) for line in rng.choice(8, rng.integers(2, 6), False)]
        parts = [float(part) for part in rng.integers(0, 40, len(members))]
        lots.append(Shared(float(rng.integers(0, 30)), members, float(rng.integers(0, 120)), parts))
    must = [0] if seed % 3 == 0 else []
    lines, pack = np.repeat(costs[:, None], 5, axis=1), seed // 20

    def price(kept):
        return limit.mean_of(kept) + pack * math.ceil(len(kept) / 3)

    limit = Limit(0, price, costs, shared=lots)
    if seed % 2:
        limit = replace(limit, trials=Trials(
            np.zeros(5), lines, 0.8, lambda kept: np.full(5, price(kept))))
    most = limit.price_of(frozenset(must) | set(rng.choice(8, 5, False).tolist()))
    limit = replace(limit, most=most)
    worth = rng.integers(1, 60, 8)
    best = best_by_hand(worth, [limit], must)
    assert_best(pick(worth, [limit], must=must, most_seconds=100), best)


@pytest.mark.parametrize("seed", range(20))
def test_lines_that_cannot_be_left_out(seed):
    """They are in, their set-ups and lots are paid, and the rest is the best there is."""
    rng = np.random.default_rng(100 + seed)
    limit = quantile_limit(rng, 8, used=rng.uniform(0.4, 0.9), share=0.8, shared=4)
    worth = rng.integers(0, 8, 8)
    must = {int(line) for line in rng.choice(8, 2, replace=False)}
    best = best_by_hand(worth, [limit], must)
    if best is None:
        with pytest.raises(NothingFits):
            pick(worth, [limit], must=must)
    else:
        picked = pick(worth, [limit], must=must, most_seconds=100)
        assert_best(picked, best)
        assert must <= picked.lines


@pytest.mark.parametrize("seed", range(20))
def test_two_limits(seed):
    """A budget and a number of days, one told by trials and one by its price alone."""
    rng = np.random.default_rng(200 + seed)
    money = quantile_limit(rng, 8, used=rng.uniform(0.3, 0.9), share=0.8)
    days = quantile_limit(rng, 8, used=rng.uniform(0.3, 0.9), share=0.5, known=seed % 2 > 0)
    worth = rng.uniform(0, 10, 8)
    limits = [money, days]
    best = best_by_hand(worth, limits)
    if best is None:
        with pytest.raises(NothingFits):
            pick(worth, limits)
    else:
        picked = pick(worth, limits, most_seconds=100)
        assert_best(picked, best)
        assert all(price <= limit.most for price, limit in zip(picked.prices, limits, strict=True))


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_more_money_is_never_worth_less(data):
    """The best worth rises with the limit, or stays."""
    rng = np.random.default_rng(data.draw(st.integers(0, 10**6)))
    limit = quantile_limit(rng, 7, used=0.0, share=0.8)
    worth = data.draw(st.lists(st.integers(0, 9), min_size=7, max_size=7))
    every = limit.price_of(frozenset(range(7)))
    sums = sorted(data.draw(st.lists(st.floats(0, 1.2), min_size=4, max_size=4)))
    lowest = max(limit.most, limit.fixed)
    found = [pick(worth, [replace(limit, most=lowest + part * (every - limit.most))])
             for part in sums]
    assert all(picked.proven for picked in found)
    values = [picked.worth for picked in found]
    assert values == sorted(values)


def test_published_knapsack_of_15():
    """Capacity 750: the best profit is 1458, with the printed lines."""
    # D. L. Kreher, D. R. Stinson, Combinatorial Algorithms, CRC Press 1999; as data set P07 of
    # KNAPSACK_01 by J. Burkardt, Florida State University.
    weights = [70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120]
    profits = [135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240]
    picked = pick(profits, [plain_limit(750, weights)], most_seconds=100)
    assert (picked.worth, picked.proven) == (1458, True)
    assert sorted(picked.lines) == [0, 2, 4, 6, 7, 8, 13, 14]


P08_WEIGHTS = [382745, 799601, 909247, 729069, 467902, 44328, 34610, 698150, 823460, 903959, 853665,
               551830, 610856, 670702, 488960, 951111, 323046, 446298, 931161, 31385, 496951,
               264724, 224916, 169684]
P08_PROFITS = [825594, 1677009, 1676628, 1523970, 943972, 97426, 69666, 1296457, 1679693, 1902996,
               1844992, 1049289, 1252836, 1319836, 953277, 2067538, 675367, 853655, 1826027, 65731,
               901489, 577243, 466257, 369261]


@pytest.mark.parametrize("trials", [0, 5])
def test_published_knapsack_of_24(trials):
    """Capacity 6 404 180: the best profit is 13 549 094, also where trials tell certain costs."""
    # D. L. Kreher, D. R. Stinson, Combinatorial Algorithms, CRC Press 1999; as data set P08 of
    # KNAPSACK_01 by J. Burkardt, Florida State University, with its printed choice of lines.
    limit = plain_limit(6_404_180, P08_WEIGHTS)
    if trials:
        costs = np.repeat(np.array(P08_WEIGHTS, float)[:, None], trials, axis=1)
        limit = Limit(limit.most, limit.price_of, P08_WEIGHTS,
                      trials=Trials(np.zeros(trials), costs, 0.8))
    picked = pick(P08_PROFITS, [limit], most_seconds=100)
    assert (picked.worth, picked.proven) == (13_549_094, True)
    assert sorted(picked.lines) == [0, 1, 3, 4, 5, 9, 10, 12, 15, 21, 22, 23]
    assert picked.prices == (6_402_560,)


@pytest.mark.parametrize("seed", range(4))
def test_certain_costs_against_a_general_solver(seed):
    """25 lines with certain costs and shared set-ups: as good as an integer programme finds."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    rng = np.random.default_rng(seed)
    costs, worth = rng.uniform(20, 200, 25), rng.integers(10, 300, 25)
    shared = [Shared(rng.uniform(20, 80), [int(k) for k in rng.choice(25, 5, False)])
              for _ in range(5)]
    limit = Limit(1000.0, lambda kept: limit.mean_of(kept), costs, shared=shared)
    picked = pick(worth, [limit], most_seconds=100)

    paid = np.concatenate([costs, [charge.amount for charge in shared]])
    rows = [paid]
    for number, charge in enumerate(shared):
        for line in charge.lines:
            row = np.zeros(len(paid))
            row[[line, 25 + number]] = 1, -1
            rows.append(row)
    solved = milp(
        -np.concatenate([worth, np.zeros(5)]), bounds=Bounds(0, 1), integrality=np.ones(30),
        constraints=LinearConstraint(np.array(rows), ub=[1000.0] + [0.0] * (len(rows) - 1)),
        options={"mip_rel_gap": 0},
    )
    assert picked.proven
    assert picked.worth == pytest.approx(-solved.fun)


def test_forty_lines_are_proven():
    """As many lines as a machine has, a thousand trials: what is found comes with its proof."""
    rng = np.random.default_rng(3)
    limit = quantile_limit(rng, 40, used=0.5, share=0.8, trials=1000)
    picked = pick(rng.integers(1, 200, 40), [limit], most_seconds=600)
    assert picked.proven
    assert picked.prices[0] <= limit.most


# --- the parts of the bound -------------------------------------------------------------------


def gauge_of(limit, worth, must=()):
    """One limit made ready, lines in their own order."""
    free = [line for line in range(len(worth)) if line not in must]
    return gauges.Gauge(limit, free, np.array([worth[line] for line in free], float), must)


@pytest.mark.parametrize("seed", range(12))
def test_a_set_that_is_decided_costs_what_it_costs(seed):
    """With no line open the slack of every trial is the limit less the set's cost, to the dust."""
    rng = np.random.default_rng(700 + seed)
    limit = quantile_limit(rng, 6, used=0.5, share=rng.choice([0.3, 0.5, 0.8]), trials=22,
                           shared=5, asked=True)
    must = [1] if seed % 2 else []
    worth, dust = rng.integers(1, 9, 6), 1e-4 * limit.most
    gauge = gauge_of(limit, worth, must)
    # The lowest figure that is called a quantile: R. Hyndman & Y. Fan, American Statistician 50,
    # 1996, of nine the one at the floor of (n - 1) p, counted from 0.
    at = math.floor(21 * limit.trials.share)
    for size in range(7):
        for chosen in itertools.combinations(range(6), size):
            if not set(must) <= set(chosen):
                continue
            lines = frozenset(chosen)
            costs, mean = np.sort(limit.trials.costs_of(lines)), limit.mean_of(lines)
            bits = sum(1 << line for line in chosen if line not in must)
            assert gauge._slack(bits)[0] == pytest.approx(limit.most - mean, abs=dust)
            assert gauge._slack(bits)[1:-1] == pytest.approx(
                limit.most - limit.trials.costs_of(lines), abs=dust)
            assert gauge.least(bits) == pytest.approx(costs[at], abs=dust)
    # Just over that quantile, or the mean, it holds; just under it does not.
    need = max(costs[at], mean)
    for more, holds in ((2 * dust, True), (-2 * dust, False)):
        close = gauge_of(replace(limit, most=need + more), worth, must)
        assert close.holds(bits) == holds


def relaxed(worth, costs, room):
    """The most that parts of lines can bring: the knapsack's relaxation, by a general solver."""
    from scipy.optimize import linprog

    if not len(worth):
        return 0.0
    return -linprog(-np.asarray(worth, float), A_ub=[costs], b_ub=[room], bounds=(0, 1)).fun


@pytest.mark.parametrize("seed", range(6))
def test_the_bound_of_certain_costs_is_that_of_parts_of_lines(seed):
    """Whatever has been decided: no less than a general solver finds, and hardly more."""
    # G. B. Dantzig, Operations Research 5, 1957.
    rng = np.random.default_rng(800 + seed)
    worth, costs = rng.integers(10, 99, 12), rng.uniform(2, 20, 12)
    gauge = gauge_of(plain_limit(45.0, list(costs)), worth)
    assert 0.9999 * relaxed(worth, costs, 45) <= gauge.top() <= 1.02 * relaxed(worth, costs, 45)
    state, room = gauge.start, 45.0
    for place in range(12):
        if rng.random() < 0.3 and costs[place] < room:
            state, room = gauge.take(state, place), room - costs[place]
        else:
            state = gauge.leave(state, place)
        most = relaxed(worth[place + 1:], costs[place + 1:], room)
        assert gauge.reaches(state, place + 1, 0.999 * most)
        if costs[place + 1:].sum() > room and place < 8:
            assert not gauge.reaches(state, place + 1, 1.06 * most + 0.1)


@pytest.mark.parametrize("share", [0.3, 0.5, 0.8, 0.95, 1.0])
def test_the_bound_of_trials_is_that_of_the_trial_that_decides(share):
    """So many trials have to leave room: the bound is about that of the last of them."""
    # S. Ahmed et al., Mathematical Programming 162, 2017: the quantile bound.
    rng = np.random.default_rng(5)
    worth, scale = rng.integers(10, 99, 10), np.sort(rng.uniform(0.5, 1.8, 20))
    costs = rng.uniform(2, 20, 10)[:, None] * rng.permutation(scale)
    limit = Limit(30.0, lambda kept: 0.0, [0.0] * 10, trials=Trials(np.full(20, 2.0), costs, share))
    gauge = gauge_of(limit, worth)
    bounds = np.sort([relaxed(worth, costs[:, trial], 28.0) for trial in range(20)])[::-1]
    last = math.floor(19 * share - 1e-9)
    assert gauge.reaches(gauge.start, 0, 0.999 * bounds[last])
    assert not gauge.reaches(gauge.start, 0, 1.05 * bounds[last])


@pytest.mark.parametrize(("lot", "room", "most"), [
    # Four lines worth 10 that cost 5: with a set-up of 8 each costs 7 where all pay for it.
    (Shared(8, [0, 1, 2, 3]), 21, 40 * 21 / 28),
    # A lot of at least 12, of parts of 1: each line costs 5 and a quarter of the least.
    (Shared(0, [0, 1, 2, 3], least=12, parts=[1] * 4), 16, 40 * 16 / 32),
    # Past its minimum: the set-up spread, the parts by the line.
    (Shared(8, [0, 1, 2, 3], least=8, parts=[2] * 4), 18, 40 * 18 / 36),
    (Shared(4, [0, 1, 2, 3], parts=[2] * 4, times=2.0), 18, 40 * 18 / 44),
])
def test_a_charge_is_spread_over_lines_that_are_alike(lot, room, most):
    """By hand: parts of four like lines, with what they share parted among them."""
    gauge = gauge_of(Limit(room, lambda kept: 0.0, [5] * 4, shared=[lot]), [10] * 4)
    assert 0.9999 * most <= gauge.top() <= 1.02 * most


def test_what_is_due_of_a_charge_by_hand():
    """A lot from 20, at least 100, of 40, 30 and 50 by the line; the first cannot be left out."""
    lot = Shared(20, [0, 1, 2], least=100, parts=[40, 30, 50])
    kept = gauges.Charge(lot, [1, 2], [0], np.array([True, False]), np.array(1.0))
    assert (kept.paid, kept.first, kept.parts) == (True, 60, {0: 30, 1: 50})
    # 60 and the likely 30 stay below 100: the least is due, and lines still open carry nothing.
    assert not kept.straight(0.0, 0)
    assert kept.due(0.0, 0) == 100
    # With the line of 30 in, the last is not likely to come; with that of 50 the least is passed.
    assert (kept.straight(30.0, 1), kept.due(30.0, 1)) == (False, 100)
    assert (kept.straight(80.0, 2), kept.due(80.0, 2)) == (False, 140)
    likely = gauges.Charge(lot, [1, 2], [0], np.array([True, True]), np.array(1.0))
    # Both likely, 140 in all: open lines carry their 80, and 60 are due; 50 of the last, and 90.
    assert (likely.straight(0.0, 0), likely.due(0.0, 0)) == (True, 60)
    assert (likely.straight(30.0, 1), likely.due(30.0, 1)) == (True, 90)
    # Exactly the least is enough; without the first line only 50 are still to come.
    assert likely.straight(-10.0, 1)
    assert not likely.straight(-10.5, 1)
    free = gauges.Charge(lot, [0, 1, 2], [], np.array([True] * 3), np.array(1.0))
    assert (free.paid, free.first) == (False, 20)
    assert free.kinds() == [(True, False), (True, True), (False, True)]
    assert gauges.Charge(Shared(5, [0]), [0], [], np.array([True]), 1.0).kinds() == [(True, False)]


def test_numbers_that_guide_the_search_by_hand():
    """Ratios, rough shares of charges, trials that decide, factors by column, bits."""
    worth, costs = np.array([10.0, 9, 8]), np.array([2.0, 3, 4])
    assert [gauges._level(worth, costs, room) for room in (1, 2, 4, 6, 99)] == [5, 5, 3, 2, 2]
    assert gauges._level(np.zeros(0), np.zeros(0), 5.0) == 1
    shared = [Shared(6, [0, 2], times=np.array([1.0, 3.0])), Shared(2, [2, 9], least=5)]
    assert gauges._spread_evenly(shared, [2, 1, 0]).tolist() == [6 + 5, 0, 6]
    assert gauges._bits([True, False, True]) == 5
    slack = np.arange(100.0)
    # The eightieth best of a hundred is 20: two above it and three below; of the best, three below.
    assert sorted(slack[gauges._deciding(slack, 80)]) == [17, 18, 19, 20, 21, 22]
    assert sorted(slack[gauges._deciding(slack, 1)]) == [96, 97, 98, 99]
    times = gauges._times(np.array([1.0, 2, 6]), 3, 1 + np.array([1, 2]))
    assert times.tolist() == [3, 1, 2, 6, 4]
    assert gauges._times(2.0, 0, slice(0, 1)).tolist() == [2]


def test_a_sketch_is_a_straight_line_through_the_price():
    """Means over the trials that decide, moved so that one set costs its price: by hand."""
    limit = Limit(50, lambda kept: 31.0, [1, 1], shared=[Shared(4, [1], times=np.arange(4.0))],
                  trials=Trials(np.arange(4.0), np.array([[1.0, 2, 3, 4], [5, 5, 9, 9]]), 0.8))
    line = gauges.sketch(limit, np.array([1, 3]), frozenset([0, 1]), 31.0)
    assert (list(line.mean), line.fixed, line.trials) == ([3, 7], 2, None)
    assert line.shared[0].times == 2
    assert line.mean_of({0, 1}) == 3 + 7 + 2 + 8
    assert line.most - line.mean_of({0, 1}) == 50 - 31


def test_lots_past_their_least_are_known_line_by_line():
    """A lot of parts of 6, 20 at least: past it with the second line in, and over with the last."""
    lot = Shared(10, [0, 1, 2], least=20, parts=[6, 6, 6])
    gauge = gauge_of(Limit(40, lambda kept: 0.0, [1] * 3, shared=[lot]), [1] * 3)
    gauge.charges[0]._likely = [0.0] * 4  # no line counts as likely to come
    one = gauge.take(gauge.start, 0)
    two = gauge.take(one, 1)
    assert [state.straight for state in (one, two, gauge.take(two, 2))] == [0, 1, 0]
    assert [float(state.slack[0]) for state in (one, two, gauge.take(two, 2))] == pytest.approx(
        [40 - 1 - 20, 40 - 2 - 22, 40 - 3 - 28], abs=0.001)
    assert gauge.leave(one, 1).straight == 0
    dear = gauge_of(Limit(5, lambda kept: 0.0, [6, 1]), [9, 1])
    assert not dear.reaches(dear.take(dear.start, 0), 1, 0.0)


def test_real_costs_count_once():
    """What was asked for takes the place of what was told; charges that were unpaid come on top."""
    trials = Trials(np.zeros(4), np.full((6, 4), 2.0), 0.5,
                    lambda kept: np.full(4, 5.0 * len(kept)))
    shared = [Shared(3, [0, 4]), Shared(7, [5], times=2.0)]
    limit = Limit(100, lambda kept: 0.0, [2.0] * 6, shared=shared, trials=trials)
    gauge = gauge_of(limit, [1] * 6)
    state = gauge.start
    for place in range(3):
        assert gauge.looked_up(state, place, None) is state  # it is not asked for yet
        state = gauge.take(state, place)
    gauge.asks = True
    assert gauge.looked_up(gauge.start, 3, None) is gauge.start  # too few lines since
    assert gauge.looked_up(state, 4, None) is state  # too few lines left
    assert gauge.asked == 0
    state = gauge.looked_up(state, 3, lambda: frozenset([0, 1, 2]))
    assert (gauge.asked, state.since) == (1, 0)
    assert state.real[1:] == pytest.approx([85] * 5, abs=0.01)
    assert state.slack[1:] == pytest.approx([100 - 6 - 3] * 5, abs=0.01)
    state = gauge.take(gauge.leave(state, 3), 4)  # its set-up was paid before
    assert state.real[1:] == pytest.approx([83] * 5, abs=0.01)
    state = gauge.take(state, 5)  # this one was not
    assert state.real[1:] == pytest.approx([83 - 2 - 14] * 5, abs=0.01)
    assert state.slack[1:] == pytest.approx([100 - 10 - 3 - 14] * 5, abs=0.01)
    assert state.since == 2


# --- ties and edges -----------------------------------------------------------------------------


def test_of_equal_worth_the_cheaper():
    """Two lines are worth what one is; the cheaper choice is taken, then the lower number."""
    assert pick([5, 5, 5], [plain_limit(4, [4, 3, 3])]).lines == {1}
    assert pick([4, 2, 2], [plain_limit(5, [5, 2, 2])]).lines == {1, 2}
    assert pick([3, 3, 3], [plain_limit(4, [2, 2, 2])]).lines == {0, 1}


@pytest.mark.parametrize("seed", range(15))
def test_points_with_many_ties(seed):
    """All lines one, two or three points: the cheapest set of those that are worth most."""
    rng = np.random.default_rng(300 + seed)
    limit = quantile_limit(rng, 8, used=rng.uniform(0.4, 0.9), share=0.8)
    worth = rng.integers(1, 4, 8)
    best = best_by_hand(worth, [limit])
    if best is not None:
        assert_best(pick(worth, [limit], most_seconds=100), best)


def test_lines_worth_nothing_are_left_out():
    """Nobody pays for them, even where they cost nothing."""
    assert pick([0, 3, 0], [plain_limit(10, [0, 4, 1])]).lines == {1}
    assert pick([0, 0], [plain_limit(10, [1, 1])], must=[1]).lines == {1}


def test_no_lines_at_all():
    """Nothing to pick is picked, and proven."""
    picked = pick([], [plain_limit(0, [])])
    assert (picked.lines, picked.worth, picked.bound, picked.proven) == (frozenset(), 0, 0, True)


def test_everything_fits():
    """Where all lines fit, all are in, and no branch has to be looked at for it."""
    limit = quantile_limit(np.random.default_rng(1), 30, used=1.5, share=0.8)
    picked = pick([1.0] * 30, [limit])
    assert picked.lines == frozenset(range(30))
    assert picked.proven


def test_only_what_is_always_in_fits():
    """A sum that holds the fixed lines and no other leaves just these."""
    picked = pick([2, 3, 4], [plain_limit(5.5, [5, 1, 2])], must=[0])
    assert picked.lines == {0}
    assert (picked.worth, picked.bound, picked.proven) == (2, 2, True)


def test_nothing_fits():
    """The lines that cannot be left out are over: it says by how much, limit by limit."""
    limits = [plain_limit(5, [7, 1]), plain_limit(9, [2, 2])]
    with pytest.raises(NothingFits, match=r"over the limit by 2\.00, 0\.00\.") as caught:
        pick([1, 1], limits, must=[0])
    assert caught.value.over == (2.0, 0.0)


def test_the_mean_has_to_fit_too():
    """Rare and dear finds lift the mean over the price: then the mean decides."""
    costs = np.array([[0.0] * 9 + [100.0], [4.0] * 10])
    price = Limit(8, lambda kept: 4.0 * (1 in kept), costs.mean(axis=1),
                  trials=Trials(np.zeros(10), costs, 0.8))
    assert pick([9, 5], [price]).lines == {1}
    free = Limit(8, price.price_of, [0, 0], trials=price.trials)
    assert pick([9, 5], [free]).lines == {0, 1}


def test_a_lot_by_hand(no_first_set):
    """A lot of at least 100: one piece is not worth it, two are, and the third adds its rate."""
    lot = Shared(20, [0, 1, 2], least=100, parts=[40, 40, 40])
    limits = {most: Limit(most, lot.charge, [0, 0, 0], shared=[lot]) for most in (99, 100, 140)}
    found = {most: len(pick([1, 1, 1], [limit]).lines) for most, limit in limits.items()}
    assert found == {99: 0, 100: 2, 140: 3}
    lot = Shared(0, [0, 1, 2], least=50, parts=[30, 30, 30])
    limit = Limit(90, lambda kept: limit.mean_of(kept), [0, 0, 0, 90], shared=[lot])
    assert pick([10, 11, 12, 25], [limit]).lines == {0, 1, 2}


def test_worth_in_fractions_of_a_cent():
    """Worths that are no whole hundredths are still told apart."""
    assert pick([1.0000001, 1.0000002, 1.0], [plain_limit(1, [1, 1, 1])]).lines == {1}


def test_the_same_every_time():
    """The answer depends on nothing but the question."""
    worth = np.random.default_rng(5).integers(1, 6, 25)
    found = [pick(worth, [quantile_limit(np.random.default_rng(6), 25, used=0.5, share=0.8)],
                  most_seconds=600) for _ in range(2)]
    assert found[0] == found[1]


# --- stopping -----------------------------------------------------------------------------------


@pytest.mark.parametrize("calls", [1, 5, 25, 125])
def test_stopped_it_returns_the_best_so_far(monkeypatch, calls):
    """Called off at any time: a set that fits, and a bound that no set passes."""
    monkeypatch.setattr(search, "_TELL_EVERY", -1.0)
    for seed in range(12):
        rng = np.random.default_rng(seed)
        limit = quantile_limit(rng, 9, used=0.5, share=0.8)
        worth = rng.uniform(1, 10, 9)
        told = []

        def progress(bound, best, share, told=told):
            told.append((bound, best, share))
            return len(told) < calls

        best = best_by_hand(worth, [limit])
        if best is None:
            continue
        picked = pick(worth, [limit], progress=progress)
        assert picked.prices[0] <= limit.most
        assert picked.worth - 1e-6 <= -best[0] <= picked.bound + 1e-6
        assert len(told) <= calls
        assert [bound for bound, _, _ in told] == sorted((b for b, _, _ in told), reverse=True)
        assert [found for _, found, _ in told] == sorted(found for _, found, _ in told)
        assert all(0 <= share <= 1 for _, _, share in told)


def test_no_time_still_gives_a_set():
    """Out of time before the search began: the first set, its bound, and no proof."""
    rng = np.random.default_rng(8)
    limit = quantile_limit(rng, 30, used=0.5, share=0.8)
    picked = pick(rng.uniform(1, 10, 30), [limit], most_seconds=1e-9)
    assert picked.lines
    assert not picked.proven
    assert picked.bound > picked.worth
    assert picked.prices[0] <= limit.most


@pytest.mark.parametrize("seed", range(8))
def test_enough_is_enough(seed):
    """With a gap of a tenth the search may end sooner; the best is within a tenth."""
    rng = np.random.default_rng(seed)
    limit = quantile_limit(rng, 9, used=0.6, share=0.8)
    worth = rng.integers(1, 50, 9)
    best = best_by_hand(worth, [limit])
    picked = pick(worth, [limit], gap=0.1)
    exact = pick(worth, [limit])
    assert picked.bound <= picked.worth * 1.1
    assert picked.worth <= -best[0] <= picked.bound
    assert picked.looked <= exact.looked


def test_better_by_more_than_the_gap_by_hand():
    """A tenth over 7 is 7.7, so 8 is better; over 7 and 5 that are always in it is 13.2, so 14."""
    limit = plain_limit(12, [7, 5])
    free = search._Search([7, 5], [limit], frozenset(), 10.0, None)
    free.best = 0b01
    assert [free._better(gap) for gap in (0.0, 0.1, 1.0)] == [8, 8, 15]
    bound = search._Search([7, 5], [limit], frozenset([1]), 10.0, None)
    bound.best = 0b01
    assert [bound._better(gap) for gap in (0.0, 0.1, 1.0)] == [8, 14 - 5, 25 - 5]


# --- what cannot be --------------------------------------------------------------------------


def test_a_price_below_its_trials():
    """Trials that count more than the price would hide sets that fit: it is said, not searched."""
    costs = np.full((2, 10), 5.0)
    limit = Limit(11, lambda kept: 4.0 * len(kept), [4, 4], trials=Trials(np.zeros(10), costs, 0.8))
    with pytest.raises(ValueError, match=r"price of lines \[0, 1\] is 8, .* come to 10"):
        pick([1, 1], [limit])


GOOD = Trials(np.zeros(3), np.ones((2, 3)), 0.8)


@pytest.mark.parametrize(("change", "message"), [
    ({"worth": [1, -1]}, "worth must be finite"),
    ({"worth": [1, math.nan]}, "worth must be finite"),
    ({"limits": []}, "at least one limit"),
    ({"must": [2]}, r"must names lines \[2\]"),
    ({"gap": -0.1}, "gap is -0.1"),
    ({"most_seconds": 0}, "most_seconds is 0"),
    ({"limits": [Limit(math.inf, len, [1, 1])]}, "most is inf"),
    ({"limits": [Limit(1, len, [1, 1], fixed=-1)]}, "fixed is -1"),
    ({"limits": [Limit(1, len, [1])]}, r"mean has the shape \(1,\); it must be \(2,\)"),
    ({"limits": [Limit(1, len, [1, -1])]}, "mean must be finite"),
    ({"limits": [Limit(1, len, [1, 1], shared=[Shared(-1, [0])])]}, "amount is -1"),
    ({"limits": [Limit(1, len, [1, 1], shared=[Shared(1, [0], -1)])]}, "least is -1"),
    ({"limits": [Limit(1, len, [1, 1], shared=[Shared(1, [0, 2])])]}, r"names lines \[2\]"),
    ({"limits": [Limit(1, len, [1, 1], shared=[Shared(1, [0, 0])])]}, "names a line twice"),
    ({"limits": [Limit(1, len, [1, 1], shared=[Shared(1, [0], 0, [1, 2])])]}, "parts has the"),
    ({"limits": [Limit(1, len, [1, 1], trials=GOOD,
                       shared=[Shared(1, [0], times=np.ones(2))])]}, "times has the shape"),
    ({"limits": [Limit(1, len, [1, 1], trials=GOOD._replace(share=1.5))]}, "share is 1.5"),
    ({"limits": [Limit(1, len, [1, 1], trials=GOOD._replace(share=0))]}, "share is 0"),
    ({"limits": [Limit(1, len, [1, math.inf])]}, "mean must be finite"),
    ({"limits": [Limit(1, len, [1, 1], trials=GOOD._replace(lines=np.ones((3, 3))))]},
     "lines has the shape"),
    ({"limits": [Limit(1, len, [1, 1], trials=GOOD._replace(base=-np.ones(3)))]},
     "base must be finite"),
])
def test_numbers_that_cannot_be(change, message):
    """Each is named, with what is allowed."""
    question = {"worth": [1, 1], "limits": [Limit(1, len, [1, 1])]} | change
    worth, limits = question.pop("worth"), question.pop("limits")
    with pytest.raises(ValueError, match=message):
        pick(worth, limits, **question)
