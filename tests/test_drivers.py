"""What drives the cost: shares of variance and bars, against a library and closed forms."""

import math
import sys

import numpy as np
import pytest
from scipy import stats
from small_shop import line, operation, part, row, shop, survey, thing, treatment
from test_simulate import hermite

from estimator import durations
from estimator.catalogue import Correlation, Find, Level, Material, Service
from estimator.durations import Range
from estimator.estimate import estimate
from estimator.scope import scope
from estimator.simulate import drivers, shapes, simulate
from estimator.simulate.drivers import _bar, _streams_of
from estimator.simulate.plan import plan_of
from estimator.simulate.run import _spreads, player_of
from estimator.simulate.streams import Streams

MANY = 2**16


def job_of(house, *lines):
    """A survey of a small shop, estimated."""
    return estimate(scope(survey(*lines), Level.FULL, house.catalogue), house)


def found_by(house, *lines, trials=20_000, many=MANY, **choices):
    """Drivers of a job by what they are and whose."""
    job = job_of(house, *lines)
    odds = simulate(job, house.settings, trials=trials)
    titles = [f"{at.assembly} of row {k}" for k, at in enumerate(lines)]
    rows = drivers(job, house.settings, odds, titles, trials=many, **choices)
    assert len({(row.name, row.what, row.line) for row in rows}) == len(rows)
    return {(row.what, row.line if row.line is not None else row.name): row for row in rows}


def pert(low, typical, high):
    """The PERT-beta of the reference library."""
    mode = (typical - low) / (high - low)
    return stats.beta(1 + 4 * mode, 5 - 4 * mode, low, high - low)


def rot(name="one", chance=0.3, **more):
    """A find on an assembly."""
    return row(Find, **({"find": f"rot-{name}", "assembly": name, "name": "Rot under the film",
                         "level_from": "clean", "probability": chance, "low": 1, "typical": 2,
                         "high": 6} | more))


def plate(**more):
    """A service that pieces are sent out to."""
    return row(Service, **({"service": "plate", "name": "Plating", "low": 20, "typical": 30,
                            "high": 70, "days_low": 5, "days_typical": 8, "days_high": 20} | more))


# --- shares of variance --------------------------------------------------------------------------


def test_shares_of_a_sum_are_those_of_its_terms():
    """Without anything shared each line's share is its variance over all, first and total alike."""
    house = shop(thing("one"), thing("two"), operation("fix", 1, 2, 6), operation("do", 2, 5, 6),
                 treatment(item="fix", assembly="one"), treatment(item="do", assembly="two"))
    found = found_by(house, line("one"), line("two", 2))
    want = {0: durations.pert_sd(1, 2, 6) ** 2, 1: 4 * durations.pert_sd(2, 5, 6) ** 2}
    assert set(found) == {("hours", 0), ("hours", 1)}
    for at, variance in want.items():
        got = found["hours", at]
        assert got.first == pytest.approx(variance / sum(want.values()), rel=0.03)
        assert got.total == pytest.approx(got.first, rel=1e-3)
    assert sum(got.first for got in found.values()) == pytest.approx(1, abs=0.03)


def test_a_price_and_how_many_break_have_the_shares_of_a_product():
    """Price × count: each alone and both together as the variance of a product says."""
    # L. Goodman, "On the exact variance of products", JASA 55 (1960): independent X and Y have
    # V(XY) = E²(X)V(Y) + E²(Y)V(X) + V(X)V(Y); the last term belongs to both.
    house = shop(thing("one"), part(low=4, typical=5, high=20),
                 treatment("part", "piece", "one", share=0.3))
    found = found_by(house, line("one", 4))
    mean, sd = 1.2 * durations.pert_mean(4, 5, 20), 1.2 * durations.pert_sd(4, 5, 20)
    count = stats.binom(4, 0.3)
    spread = count.var() / count.mean() ** 2
    price, broken, both = sd**2, mean**2 * spread, sd**2 * spread
    whole = price + broken + both
    got = found["prices", "Prices of parts and materials"]
    assert got.first == pytest.approx(price / whole, abs=0.01)
    assert got.total == pytest.approx((price + both) / whole, abs=0.01)
    got = found["hours", 0]
    assert got.first == pytest.approx(broken / whole, abs=0.015)
    assert got.total == pytest.approx((broken + both) / whole, abs=0.015)


def test_a_kit_that_lines_share_is_one_price_among_all():
    """Two lines use a kit of 80 to 130 and parts of 4 to 20: prices bring the sum of variances."""
    kit = row(Material, material="kit", name="Kit", low=80, typical=90, high=130, pack=10,
              sold_whole=True)
    house = shop(thing("one"), thing("two"), operation("fix", 1, 2, 4),
                 treatment(item="fix", assembly="one"), kit, treatment("material", "kit", "one"),
                 treatment("material", "kit", "two"), part(low=4, typical=5, high=20),
                 treatment("part", "piece", "two"), setup_cleanup_share=0.6)
    found = found_by(house, line("one"), line("two"))
    prices = pert(80, 90, 130).var() + pert(4, 5, 20).var()
    whole = prices + (25 * 1.6 * pert(1, 2, 4).std()) ** 2
    got = found["prices", "Prices of parts and materials"]
    assert (got.first, got.total) == pytest.approx((prices / whole, prices / whole), abs=0.015)
    assert found["hours", 0].first == pytest.approx(1 - prices / whole, abs=0.015)


def test_finds_of_one_cause_have_the_shares_of_their_closed_form():
    """Two finds of fixed hours: what the cause alone brings follows from the bivariate normal."""
    find = {"low": 3, "typical": 3, "high": 3, "cause": "damp"}
    house = shop(thing("one"), thing("two"), operation(),
                 treatment(assembly="one"), treatment(assembly="two"),
                 rot("one", 0.3, **find), rot("two", 0.2, **find), cause_share=0.4)
    found = found_by(house, line("one"), line("two"), trials=100_000)
    # A find happens where √c·C + √(1 − c)·own is under z. What one of the two brings alone is
    # the covariance of two copies that have only that one in common: a bivariate normal chance.
    z = stats.norm.ppf([0.3, 0.2])

    def alike(one, other, common):
        both = stats.multivariate_normal.cdf([z[one], z[other]], cov=[[1, common], [common, 1]])
        return both - stats.norm.cdf(z[one]) * stats.norm.cdf(z[other])

    alone = alike(0, 0, 0.4) + alike(1, 1, 0.4) + 2 * alike(0, 1, 0.4)
    whole = 0.3 * 0.7 + 0.2 * 0.8 + 2 * alike(0, 1, 0.4)
    got = found["shared", "Finds that share a cause"]
    assert got.first == pytest.approx(alone / whole, abs=0.015)
    for at, variance in enumerate((0.3 * 0.7, 0.2 * 0.8)):
        assert found["finds", at].first == pytest.approx(alike(at, at, 0.6) / whole, abs=0.015)
        # In total it has what is left when the cause is known.
        left = variance - alike(at, at, 0.4)
        assert found["finds", at].total == pytest.approx(left / whole, abs=0.015)


def test_what_a_sure_find_costs_has_its_share_of_the_variance():
    """Hours of the work and cost of a find that always comes: variances as of their PERTs."""
    house = shop(thing("one"), operation("fix", 1, 2, 9), treatment(item="fix", assembly="one"),
                 rot("one", 1, low=2, typical=2, high=2, assumed=1, hidden=1, cost_low=5,
                     cost_typical=30, cost_high=200))
    found = found_by(house, line("one"))
    own, other = (25 * pert(1, 2, 9).std()) ** 2, pert(5, 30, 200).var()
    assert found["finds", 0].first == pytest.approx(other / (own + other), abs=0.01)
    assert found["hours", 0].first == pytest.approx(own / (own + other), abs=0.01)


def test_the_evenest_numbers_go_to_what_spreads_most():
    """By hand: breakage, work, a find and what it costs, a lot and a kit, the widest first."""
    # Sobol points are evenest in their first dimensions: I. Sobol (1967), from memory.
    kit = row(Material, material="kit", name="Kit", low=10, typical=10, high=130, pack=10,
              sold_whole=True)
    house = shop(
        thing("one"), operation("fix", 1, 2, 9), treatment(item="fix", assembly="one"),
        part(low=40, typical=40, high=40), treatment("part", "piece", "one", share=0.25),
        rot("one", 0.5, low=2, typical=6, high=10, assumed=1, hidden=1, cost_low=0,
            cost_typical=30, cost_high=60),
        plate(), treatment("service", "plate", "one"), kit, treatment("material", "kit", "one"),
        setup_cleanup_share=0.6)
    job = job_of(house, line("one", 4))
    # Hours come with their allowances, at 25 × 1.6 = 40.
    streams = player_of(plan_of(job, house.settings), job, trials=128, seed=1,
                        sampler="sobol").streams
    spread = {
        # Four pieces of 40, each with a chance of a quarter.
        "one 1: pieces 0.25": 40 * (4 * 0.25 * 0.75) ** 0.5,
        # Four units, wholly together.
        "one 1: fix": 4 * 40 * pert(1, 2, 9).std(),
        # 6 h at 40 and 30, there or not; then how long, and how dear, half of the time.
        "one 1: rot-one happens": (6 * 40 + 30) / 2,
        "one 1: rot-one hours": 0.5 * 40 * pert(2, 6, 10).std(),
        "one 1: rot-one cost": 0.5 * pert(0, 30, 60).std(),
        "charge of plate": 4 * pert(20, 30, 70).std(),
        "price of kit": pert(10, 10, 130).std(),
    }
    assert _spreads(plan_of(job, house.settings), 40) == pytest.approx(spread)
    assert list(streams._points) == sorted(spread, key=spread.get, reverse=True)


def test_how_many_break_spreads_hours_and_prices_as_the_binomial_says():
    """Five pieces, three in ten: √(5 · 0.3 · 0.7) of what one costs; a price spreads for 1.5."""
    house = shop(thing("one"), operation("swap", 1, 2, 9),
                 treatment(item="swap", assembly="one", share=0.3),
                 part(low=4, typical=5, high=9), treatment("part", "piece", "one", share=0.3))
    job = job_of(house, line("one", 5))
    found = _spreads(plan_of(job, house.settings), 40)
    each = 40 * pert(1, 2, 9).mean() + pert(4, 5, 9).mean()
    assert found["one 1: pieces 0.3"] == pytest.approx(each * (5 * 0.3 * 0.7) ** 0.5)
    assert found["price of piece"] == pytest.approx(1.5 * pert(4, 5, 9).std())


def test_numbers_that_many_share_come_as_early_as_all_that_they_move():
    """By hand: each shared factor brings its root share of what it moves, so do causes of finds."""
    # The score is √job·J + √hand·H + √kind·K + √rest·own, so a spread s follows J by √job·s.
    find = {"low": 4, "typical": 4, "high": 4, "cause": "damp", "assumed": 1, "hidden": 1}
    house = shop(
        thing("one"), thing("two"), operation("fix", 1, 2, 9),
        operation("swap", 2, 6, 10, kind="replace", skill="electronics"),
        treatment(item="fix", assembly="one"), treatment(item="swap", assembly="two"),
        rot("one", 0.5, **find), rot("two", 0.2, **find), job_factor_share=0.36,
        person_factor_share=0.16, kind_factor_share=0.25, cause_share=0.49,
        repeat_correlation=0.5, hand_electronics="guest")
    job = job_of(house, line("one", 4), line("two"))
    # Of four units that go together by half: √((1 + 3/2) / 4) of four times one.
    fix, swap = 25 * 4 * 0.625**0.5 * pert(1, 2, 9).std(), 25 * pert(2, 6, 10).std()
    one, two = 25 * 4 * 0.5, 25 * 4 * 0.4
    spread = {
        "one 1: fix": fix, "two 1: swap": swap, "job": 0.6 * (fix + swap),
        f"hand {house.settings.hand_bench}": 0.4 * fix, "hand guest": 0.4 * swap,
        "kind repair": 0.5 * fix, "kind replace": 0.5 * swap,
        "one 1: rot-one happens": one, "two 1: rot-two happens": two,
        "cause damp": 0.7 * (one + two),
    }
    assert _spreads(plan_of(job, house.settings), 25) == pytest.approx(spread)


@pytest.mark.parametrize("factors", ["job hand", "job kind", "hand kind"])
def test_two_shared_factors_have_the_shares_of_their_closed_form(factors):
    """With any two of the three, each has its part of the variance, and the hours what is left."""
    # What brings a share r of the score brings Σ k! c² r^k of the variance, c the coefficients of
    # the hours in Hermite polynomials of the score (F. Mehler 1866).
    one, two = factors.split()
    settings = {"job": "job_factor_share", "hand": "person_factor_share",
                "kind": "kind_factor_share"}
    names = {"job": "How the whole job goes", "hand": "Pace of the hands",
             "kind": "How each kind of work goes"}
    house = shop(thing("one"), operation("fix", 1, 2, 9), treatment(item="fix", assembly="one"),
                 **{settings[one]: 0.3, settings[two]: 0.15})
    found = found_by(house, line("one"))

    def brought(share):
        return sum(math.factorial(k) * c**2 * share**k
                   for k, c in enumerate(hermite((1, 2, 9))) if k)

    shares = {("shared", names[one]): 0.3, ("shared", names[two]): 0.15, ("hours", 0): 0.55}
    assert set(found) == set(shares)
    for key, share in shares.items():
        assert found[key].first == pytest.approx(brought(share) / brought(1), abs=0.02)
        assert found[key].total == pytest.approx(1 - brought(1 - share) / brought(1), abs=0.02)


def reference(function, groups, inputs):
    """First and total shares by group of inputs, from scipy.stats.sobol_indices."""
    size = 2**14
    a, b = stats.qmc.Sobol(2 * inputs, rng=5).random(size).T.reshape(2, inputs, size)
    mixed = []
    for members in groups:
        both = a.copy()
        both[list(members)] = b[list(members)]
        mixed.append(function(both))
    # The library takes inputs one by one; evaluated beforehand, a group is as good as one.
    found = stats.sobol_indices(
        func={"f_A": function(a)[None], "f_B": function(b)[None],
              "f_AB": np.array(mixed)[:, None]}, n=size)
    return found.first_order, found.total_order


def test_shares_agree_with_the_reference_library():
    """A job with all that there is, written as a plain function of uniform inputs for scipy."""
    house = shop(
        thing("one"), thing("two"),
        operation("fix", 1, 2, 9), operation("swap", 1, 3, 4, kind="replace"),
        treatment(item="fix", assembly="one"), treatment(item="swap", assembly="two", share=0.4),
        part(low=40, typical=50, high=120), treatment("part", "piece", "two", share=0.4),
        plate(), treatment("service", "plate", "one"),
        rot("one", 0.3, low=2, typical=4, high=9, cost_low=10, cost_typical=40, cost_high=60),
        row(Correlation, kind="repair", other="replace", correlation=0.5),
        job_factor_share=0.25, person_factor_share=0.1, kind_factor_share=0.2)
    found = found_by(house, line("one", 2), line("two", 5), trials=200_000)

    kinds = np.linalg.cholesky([[1, 0.5], [0.5, 1]])

    def cost(u):
        z = stats.norm.ppf(u)
        job, hand = z[8], z[9]
        repair, replace = kinds @ z[10:12]

        def hours(own, kind, low, typical, high):
            score = (0.25**0.5 * job + 0.1**0.5 * hand + 0.2**0.5 * kind + 0.45**0.5 * own)
            return pert(low, typical, high).ppf(stats.norm.cdf(score))

        broken = stats.binom(5, 0.4).ppf(u[2])
        find = u[4] < 0.3
        find_hours = pert(2, 4, 9).ppf(stats.norm.cdf(0.25**0.5 * job + 0.75**0.5 * z[5]))
        return (25 * 2 * hours(z[0], repair, 1, 2, 9) + 25 * broken * hours(z[1], replace, 1, 3, 4)
                + broken * pert(40, 50, 120).ppf(u[3])
                + find * (25 * find_hours + pert(10, 40, 60).ppf(u[6]))
                + 2 * pert(20, 30, 70).ppf(u[7]))

    groups = {("hours", 0): (0,), ("hours", 1): (1, 2),
              ("prices", "Prices of parts and materials"): (3,), ("finds", 0): (4, 5, 6),
              ("outwork", "Plating"): (7,), ("shared", "How the whole job goes"): (8,),
              ("shared", "Pace of the hands"): (9,),
              ("shared", "How each kind of work goes"): (10, 11)}
    first, total = reference(cost, groups.values(), 12)
    assert set(found) == set(groups)
    for key, alone, whole in zip(groups, first, total, strict=True):
        assert found[key].first == pytest.approx(alone, abs=0.015), key
        assert found[key].total == pytest.approx(whole, abs=0.015), key
    # And the reference model is the same job: mean and spread of the cost.
    house_odds = simulate(job_of(house, line("one", 2), line("two", 5)), house.settings,
                          trials=200_000)
    sample = cost(np.random.default_rng(1).random((12, 200_000)))
    assert house_odds.cost.mean() == pytest.approx(sample.mean(), rel=0.005)
    assert house_odds.cost.std() == pytest.approx(sample.std(), rel=0.01)


def test_few_trials_find_the_shares_of_many():
    """With the trials that a page uses, no share is far off."""
    house = shop(thing("one"), thing("two"), operation("fix", 1, 2, 6), operation("do", 2, 5, 6),
                 treatment(item="fix", assembly="one"), treatment(item="do", assembly="two"),
                 rot("one"), job_factor_share=0.2)
    lines = line("one"), line("two", 2)
    few, many = found_by(house, *lines, many=1024), found_by(house, *lines)
    for key, got in many.items():
        # The relative error of one share from 512 pairs is 1/16 for a normal, more for a find.
        assert few[key].total == pytest.approx(got.total, rel=0.3), key
        assert few[key].first == pytest.approx(got.first, abs=0.06), key


@pytest.mark.parametrize("name", ["job", "hand", "kind", "cause", "price"])
def test_an_assembly_may_be_called_what_a_shared_factor_is(name):
    """An assembly named "job" or "price" is a line like any other."""
    house = shop(thing(name), operation(low=1, typical=2, high=6), treatment(assembly=name),
                 rot(name), part(low=4, typical=5, high=20), treatment("part", "piece", name))
    found = found_by(house, line(name))
    assert set(found) == {("hours", 0), ("finds", 0), ("prices", "Prices of parts and materials")}
    assert found["finds", 0].first > 0.1
    assert sum(got.first for got in found.values()) == pytest.approx(1, abs=0.03)


# --- which ones ----------------------------------------------------------------------------------


def test_the_job_s_own_factor_comes_first_where_it_is_large():
    """Twenty lines with half of their variance in common: that is what drives the cost."""
    names = [f"thing-{k}" for k in range(20)]
    rows = [operation(low=1, typical=3, high=9)]
    for name in names:
        rows += [thing(name), treatment(assembly=name)]
    house = shop(*rows, job_factor_share=0.5)
    job = job_of(house, *map(line, names))
    odds = simulate(job, house.settings)
    found = drivers(job, house.settings, odds, names)
    assert found[0].name == "How the whole job goes"
    # Var of the mean of n: ρ + (1 − ρ)/n, for a copula all but that of the values.
    assert found[0].first == pytest.approx(0.5 / (0.5 + 0.5 / 20), abs=0.05)
    widths = [row.high - row.low for row in found]
    assert widths == sorted(widths, reverse=True)
    assert len(found) == 21
    assert {row.name for row in found[1:]} == set(names)


def test_no_more_than_thirty_are_shown_and_those_that_matter():
    """Of forty lines the thirty with the largest share are among the drivers."""
    names = [f"thing-{k}" for k in range(40)]
    rows = []
    for k, name in enumerate(names):
        rows += [thing(name), operation(f"do-{k}", 1, 2, 2 + 0.25 * (k + 1)),
                 treatment(item=f"do-{k}", assembly=name)]
    found = found_by(shop(*rows), *map(line, names))
    assert len(found) == 30
    assert {at for _, at in found} >= set(range(14, 40))


def test_what_is_certain_drives_nothing():
    """Fixed hours and fixed prices have no bar; a job with nothing else has no drivers."""
    house = shop(thing("one"), operation(), treatment(assembly="one"), part(),
                 treatment("part", "piece", "one"))
    assert found_by(house, line("one")) == {}
    # Nor does a find that never comes, however dear it would be.
    never = shop(thing("one"), operation(low=1, typical=2, high=6), treatment(assembly="one"),
                 rot("one", 0.0, cost_low=50, cost_typical=500, cost_high=5000))
    assert list(found_by(never, line("one"))) == [("hours", 0)]


# --- bars ----------------------------------------------------------------------------------------


def tail_means(part, rest, confidence):
    """By the book: the cost at a confidence with `part` at the mean of either tenth."""
    order = np.argsort(part, kind="stable")
    tenth = len(part) // 10
    return tuple(float(np.quantile(rest + part[which].mean(), confidence))
                 for which in (order[:tenth], order[-tenth:]))


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95])
@pytest.mark.parametrize("sampler", ["random", "sobol"])
def test_bars_are_those_of_brute_force(confidence, sampler):
    """Each bar ends where the cost does with that line, find or lot held in its outer tenths."""
    house = shop(
        thing("one"), thing("two"), operation("fix", 1, 2, 9), operation("do", 1, 3, 4),
        treatment(item="fix", assembly="one"), treatment(item="do", assembly="two"),
        plate(), treatment("service", "plate", "two"), rot("one", cost_low=5, cost_typical=9,
                                                           cost_high=80),
        part(low=4, typical=5, high=20), treatment("part", "piece", "one"),
        row(Material, material="kit", name="Kit", low=3, typical=9, high=30, pack=1),
        treatment("material", "kit", "two"), setup_cleanup_share=0.2)
    lines = line("one"), line("two")
    job = job_of(house, *lines)
    odds = simulate(job, house.settings, trials=8192, sampler=sampler)
    found = {(row.what, row.line): row for row in
             drivers(job, house.settings, odds, ["one", "two"], confidence=confidence)}
    drawn = odds.lines  # with allowances an hour of 25 comes to 30
    own = {
        ("hours", 0): 30 * drawn[0].hours.astype(float) + drawn[0].parts,
        ("hours", 1): 30 * drawn[1].hours.astype(float) + drawn[1].materials,
        ("finds", 0): 30 * drawn[0].find_hours.astype(float) + drawn[0].find_other,
        ("outwork", None): odds.kinds["outwork"],
        ("prices", None): drawn[0].parts.astype(float) + drawn[1].materials,
    }
    assert set(found) == set(own)
    for key, part_ in own.items():
        low, high = tail_means(part_, odds.cost - part_, confidence)
        assert (found[key].low, found[key].high) == pytest.approx((low, high), rel=1e-5), key


@pytest.mark.parametrize("trials", [100, 256, 1000])
def test_a_bar_ends_at_the_mean_of_each_tenth(trials):
    """Of 0 to n − 1 on top of a cost that is certain: the means of the first and the last tenth."""
    for seed in range(20):
        part_ = np.random.default_rng(seed).permutation(trials).astype(float)
        tenth = round(trials / 10)
        assert _bar(part_ + 7, part_, 0.8) == (
            7 + (tenth - 1) / 2, 7 + trials - 1 - (tenth - 1) / 2)


def test_what_several_lines_share_is_named_once_and_in_order():
    """Causes of finds that have one, hands and kinds of work, by their names."""
    skills = {"fix": "electronics", "wash": "finishing", "swap": "bench"}
    kinds = {"fix": "test", "wash": "clean", "swap": "replace"}
    causes = {"one": "wet", "two": "damp", "three": None, "four": "heat"}
    house = shop(*(operation(name, kind=kinds[name], skill=skills[name]) for name in skills),
                 *(thing(name) for name in causes),
                 *(treatment(item=item, assembly=name) for item in skills for name in causes),
                 *(rot(name, cause=cause) for name, cause in causes.items()),
                 hand_electronics="guest", hand_finishing="child", hand_bench="owner",
                 cause_share=0.5)
    plan = plan_of(job_of(house, *map(line, causes)), house.settings)
    assert _streams_of("cause", plan) == ["cause damp", "cause heat", "cause wet"]
    assert _streams_of("hand", plan) == ["hand child", "hand guest", "hand owner"]
    assert _streams_of("kind", plan) == ["kind clean", "kind replace", "kind test"]


@pytest.mark.parametrize("sampler", ["random", "sobol"])
def test_the_bar_of_a_shared_factor_is_that_of_its_closed_form(sampler):
    """The job's factor moves all hours: its bar is as wide as the tenths of what it brings."""
    # Hours symmetric and many, so the part that follows the factor is all but linear in its
    # normal score; the mean of the upper tenth of a normal is φ(z)/0.1 = 1.755.
    names = [f"thing-{k}" for k in range(12)]
    rows = [operation(low=2, typical=6, high=10)]
    for name in names:
        rows += [thing(name), treatment(assembly=name)]
    house = shop(*rows, job_factor_share=0.3)
    job = job_of(house, *map(line, names))
    odds = simulate(job, house.settings, trials=16_384, sampler=sampler)
    found = {row.name: row for row in drivers(job, house.settings, odds, names)}
    bar = found["How the whole job goes"]
    slope = 25 * 12 * durations.pert_sd(2, 6, 10) * 0.3**0.5
    z = stats.norm.ppf(0.9)
    assert bar.high - bar.low == pytest.approx(2 * stats.norm.pdf(z) / 0.1 * slope, rel=0.03)


@pytest.mark.parametrize(("share", "name"), [
    ("person_factor_share", "Pace of the hands"),
    ("kind_factor_share", "How each kind of work goes"),
])
def test_the_bar_of_two_hands_or_kinds_is_that_of_their_sum(share, name):
    """Eight things of one hand or kind and four of another: their parts add in squares."""
    # As above, with the factor's part normal with variance 0.3 (8² + 4²) sd².
    names = [f"thing-{k}" for k in range(12)]
    rows = [operation("mend", 2, 6, 10),
            operation("solder", 2, 6, 10, kind="clean", skill="electronics")]
    for k, one in enumerate(names):
        rows += [thing(one), treatment(item="mend" if k < 8 else "solder", assembly=one)]
    house = shop(*rows, hand_bench="A", hand_electronics="B", **{share: 0.3})
    job = job_of(house, *map(line, names))
    odds = simulate(job, house.settings, trials=16_384, sampler="sobol")
    found = {row.name: row for row in drivers(job, house.settings, odds, names)}
    slope = 25 * 80**0.5 * durations.pert_sd(2, 6, 10) * 0.3**0.5
    z = stats.norm.ppf(0.9)
    bar = found[name]
    assert bar.high - bar.low == pytest.approx(2 * stats.norm.pdf(z) / 0.1 * slope, rel=0.03)


def test_the_bar_of_a_cause_follows_the_chances_that_it_brings():
    """Ten finds of 3 h that damp brings: given damp, each comes with the chance of the normal."""
    # P(find | z) = Φ((Φ⁻¹(p) − √c z) / √(1 − c)); the bar takes its terms in z and z².
    names = [f"thing-{k}" for k in range(10)]
    rows = [operation()]
    for one in names:
        rows += [thing(one), treatment(assembly=one),
                 rot(one, 0.3, low=3, typical=3, high=3, cause="damp")]
    house = shop(*rows, cause_share=0.4)
    job = job_of(house, *map(line, names))
    odds = simulate(job, house.settings, trials=50_000)
    z = shapes.scores(Streams(1, 50_000).ranks("cause damp")).astype(float)
    brings = 25 * 3 * 10 * stats.norm.cdf((stats.norm.ppf(0.3) - 0.4**0.5 * z) / 0.6**0.5)
    part_ = np.polyval(np.polyfit(z, brings, 2), z)
    low, high = tail_means(part_, odds.cost - part_, 0.8)
    bar = next(row for row in drivers(job, house.settings, odds, names)
               if row.name == "Finds that share a cause")
    assert (bar.low, bar.high) == pytest.approx((low, high), rel=0.02)


def test_the_bar_of_a_shared_factor_is_bent_as_the_hours_are():
    """Skewed hours run over further than under: the part that follows the factor does too."""
    # E(hours | factor) = Σ c_k ρ^(k/2) He_k(z), with c of the PERT in Hermite polynomials.
    names = [f"thing-{k}" for k in range(12)]
    rows = [operation(low=1, typical=1.2, high=15)]
    for name in names:
        rows += [thing(name), treatment(assembly=name)]
    house = shop(*rows, job_factor_share=0.5)
    job = job_of(house, *map(line, names))
    odds = simulate(job, house.settings, trials=50_000)
    found = {row.name: row for row in drivers(job, house.settings, odds, names)}
    z = shapes.scores(Streams(1, 50_000).ranks("job")).astype(float)
    series = [c * 0.5 ** (k / 2) for k, c in enumerate(hermite((1, 1.2, 15)))]
    part_ = 25 * 12 * np.polynomial.hermite_e.hermeval(z, series)
    low, high = tail_means(part_ - part_.mean(), odds.cost - part_ + part_.mean(), 0.8)
    bar = found["How the whole job goes"]
    assert bar.high == pytest.approx(high, abs=0.01 * (high - low))
    assert bar.low == pytest.approx(low, abs=0.01 * (high - low))


def test_bars_stand_about_the_cost_at_the_confidence():
    """Every driver's bar holds the cost that the price is built on, or all but."""
    house = shop(thing("one"), thing("two"), operation("fix", 1, 2, 9), operation("do", 1, 3, 4),
                 treatment(item="fix", assembly="one"), treatment(item="do", assembly="two"),
                 rot("one", 0.5), job_factor_share=0.2)
    job = job_of(house, line("one"), line("two"))
    odds = simulate(job, house.settings)
    (p80,) = odds.at("cost", 0.8)
    for row_ in drivers(job, house.settings, odds, ["one", "two"]):
        assert row_.low < p80 * 1.02
        assert row_.high > p80 * 0.98
        assert 0 <= row_.first <= row_.total * 1.05 + 0.02
        assert row_.total < 1.1


def test_of_many_drivers_those_that_move_most_in_all_have_a_bar(monkeypatch):
    """With what they share counted in, not by what they move alone."""
    house = shop(thing("one"), operation(low=1, typical=2, high=6), treatment(assembly="one"),
                 rot("one", 0.4), job_factor_share=0.2)
    job = job_of(house, line("one"))
    odds = simulate(job, house.settings)
    module = sys.modules["estimator.simulate.drivers"]
    shares = {("hours", 0): (1e6, 4e6), ("shared", "job"): (2e6, 3e6), ("finds", 0): (3e6, 2e6)}
    monkeypatch.setattr(module, "variance_shares", lambda *_: shares)
    monkeypatch.setattr(module, "_MOST_BARS", 2)
    found = drivers(job, house.settings, odds, ["one"])
    assert {bar.what for bar in found} == {"hours", "shared"}


# --- names, bad input ----------------------------------------------------------------------------


def test_drivers_are_named_for_people():
    """A line by its title, its finds by the title too, a lot by its service, and what is shared."""
    house = shop(
        thing("one"), operation(low=1, typical=2, high=6), treatment(assembly="one"), plate(),
        treatment("service", "plate", "one"), part(low=4, typical=5, high=20),
        treatment("part", "piece", "one"), rot("one", 0.4, cause="damp"), job_factor_share=0.2,
        person_factor_share=0.2, kind_factor_share=0.2, cause_share=0.5)
    job = job_of(house, line("one"))
    odds = simulate(job, house.settings)
    found = {row.name: (row.what, row.line)
             for row in drivers(job, house.settings, odds, ["A post, worn"])}
    assert found == {
        "A post, worn": ("hours", 0), "A post, worn: finds": ("finds", 0),
        "Plating": ("outwork", None), "Prices of parts and materials": ("prices", None),
        "How the whole job goes": ("shared", None), "Pace of the hands": ("shared", None),
        "How each kind of work goes": ("shared", None),
        "Finds that share a cause": ("shared", None),
    }


def test_totals_alone_cannot_say_what_drives_them():
    """With too many trials to keep the lines, the message says to take fewer."""
    house = shop(thing("one"), operation(low=1, typical=2, high=6), treatment(assembly="one"))
    job = job_of(house, line("one"))
    odds = simulate(job, house.settings, trials=200_001)
    with pytest.raises(ValueError, match="fewer trials"):
        drivers(job, house.settings, odds, ["one"])


def test_the_same_odds_have_the_same_drivers():
    """Twice the same, to the bit, and not hanging on what ran between."""
    house = shop(thing("one"), thing("two"), operation(low=1, typical=2, high=6),
                 treatment(assembly="one"), treatment(assembly="two"), rot("two"),
                 job_factor_share=0.2)
    job = job_of(house, line("one"), line("two"))
    odds = simulate(job, house.settings)
    first = drivers(job, house.settings, odds, ["one", "two"])
    simulate(job, house.settings, seed=5)
    assert drivers(job, house.settings, odds, ["one", "two"]) == first


def test_a_job_s_range_is_read_in_its_shape():
    """Shares follow the shape that the hours are read in: a triangle is wider than a PERT."""
    rows = (thing("one"), operation(low=1, typical=2, high=9), treatment(assembly="one"),
            rot("one", 0.5))
    narrow, wide = (found_by(shop(*rows, hours_shape=shape), line("one"))["hours", 0].first
                    for shape in ("pert", "triangular"))
    sd = durations.triangular(Range(1, 2, 9)).sd
    hit = durations.pert_mean(1, 2, 6) ** 2 * 0.25 + durations.pert_sd(1, 2, 6) ** 2 * 0.5
    for got, own in ((narrow, durations.pert_sd(1, 2, 9) ** 2), (wide, sd**2)):
        assert got == pytest.approx(own / (own + hit), abs=0.015)
