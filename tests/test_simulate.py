"""The odds: draws against closed forms and a reference library, streams that do not move."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from small_shop import PLAIN, line, operation, part, row, shop, survey, thing, treatment

from estimator import durations
from estimator.catalogue import LEVELS, Correlation, Find, Level, Material, Service
from estimator.durations import Range
from estimator.errors import BadInput
from estimator.estimate import estimate
from estimator.scope import scope
from estimator.shop import Settings, new_shop, open_shop
from estimator.simulate import shapes, simulate
from estimator.simulate.streams import Streams
from estimator.survey import read


def odds_of(house, *lines, trials=10_000, seed=1, level=Level.FULL, sampler="random"):
    """Simulate a survey of a small shop."""
    job = estimate(scope(survey(*lines), level, house.catalogue), house)
    return simulate(job, house.settings, trials=trials, seed=seed, sampler=sampler)


def shop_of(ranges, *more, kinds=("repair",), **settings):
    """A shop with one assembly for each range of hours, named item-0, item-1 and so on."""
    rows = list(more)
    for k, found in enumerate(ranges):
        rows += [thing(f"item-{k}"), treatment(item=f"do-{k}", assembly=f"item-{k}"),
                 operation(f"do-{k}", *found, kind=kinds[k % len(kinds)])]
    return shop(*rows, **settings)


def lines_of(ranges):
    """A survey line for each range of `shop_of`."""
    return [line(f"item-{k}") for k in range(len(ranges))]


def at_scores(table, scores):
    """Values of a quantile table at standard normal scores."""
    return table[shapes.offsets(np.asarray(scores)).astype(int)]


def test_pert_quantiles_are_those_of_the_closed_form():
    """P10 to P90 of PERT(4, 8, 16) at normal scores are the published distribution's."""
    # Formula: mc2d, pert: alpha = 1 + 4(m − a)/(b − a); numbers computed from it.
    # https://rdrr.io/pkg/mc2d/man/pert.html
    got = at_scores(shapes.table("pert", 4.0, 8.0, 16.0),
                    [stats.norm.ppf(p) for p in (0.1, 0.5, 0.8, 0.9)])
    assert got == pytest.approx([5.83633, 8.50975, 10.64981, 11.73348], abs=8e-3)


@pytest.mark.parametrize("mode", [0.0, 0.05, 0.25, 0.5, 0.9, 1.0])
def test_pert_tables_agree_with_the_reference_library(mode):
    """At every mode the table follows scipy's beta to a thousandth of the width up to ±4 sigma."""
    scores = np.linspace(-4, 4, 401)
    want = stats.beta(1 + 4 * mode, 5 - 4 * mode).ppf(stats.norm.cdf(scores))
    assert np.abs(at_scores(shapes.table("pert", 0.0, mode, 1.0), scores) - want).max() < 1.5e-3


@pytest.mark.parametrize("found", [(4, 8, 16), (0, 0, 3), (1, 5, 5), (2, 2.001, 9)])
def test_triangular_tables_agree_with_the_reference_library(found):
    """The table follows scipy's triangular distribution to a thousandth of the width."""
    low, mode, high = found
    scores = np.linspace(-4, 4, 401)
    want = stats.triang((mode - low) / (high - low), low, high - low).ppf(stats.norm.cdf(scores))
    got = at_scores(shapes.table("triangular", *map(float, found)), scores)
    assert np.abs(got - want).max() < 1.5e-3 * (high - low)


def test_triangular_quantiles_are_those_in_print():
    """P10 to P90 of the triangle 4, 8, 16 are the closed form's."""
    # Quantile formula: https://rdrr.io/cran/DescTools/man/Triangular.html; numbers from it.
    got = at_scores(shapes.table("triangular", 4.0, 8.0, 16.0),
                    [stats.norm.ppf(p) for p in (0.1, 0.5, 0.8, 0.9)])
    assert got == pytest.approx([6.19089, 9.07180, 11.61822, 12.90161], abs=8e-3)


def test_lognormal_tables_agree_with_the_reference_library():
    """Read as a lognormal, a range keeps the mean and sd of its PERT; quantiles are scipy's."""
    mean, sd = durations.pert_mean(4, 8, 16), durations.pert_sd(4, 8, 16)
    sigma = math.sqrt(math.log1p((sd / mean) ** 2))
    scores = np.linspace(-4, 4, 401)
    want = stats.lognorm(sigma, scale=mean * math.exp(-(sigma**2) / 2)).ppf(stats.norm.cdf(scores))
    got = at_scores(shapes.table("lognormal", 4.0, 8.0, 16.0), scores)
    assert got == pytest.approx(want, rel=1e-3)


@pytest.mark.parametrize("shape", ["pert", "triangular", "lognormal"])
def test_an_even_range_has_a_table_that_is_its_own_mirror(shape):
    """As far below the middle as above it; of a lognormal the logs are: cells have no lean."""
    values = shapes.table(shape, 3.0, 5.0, 7.0).astype(float)
    if shape == "lognormal":
        values = np.log(values)
    twice = values + values[::-1]
    assert twice == pytest.approx(np.full(len(values), twice.mean()), abs=1e-5)
    assert shape == "lognormal" or twice.mean() == pytest.approx(10, abs=1e-5)


@pytest.mark.parametrize(("pieces", "share"), [(1, 0.4), (4, 0.25), (40, 0.05), (372, 0.1),
                                               (1, 0.001), (9999, 0.5)])
def test_breakage_is_the_binomial_of_the_reference_library(pieces, share):
    """Of so many pieces, as many break as scipy's binomial says, at every rank."""
    want = stats.binom(pieces, share).ppf((np.arange(65_536) + 0.5) / 65_536)
    got = shapes.breakage(pieces, share)
    # Only where a step falls within a rank's own slice may it go to either side.
    assert np.sum(got != want) <= 2
    assert np.abs(got - want).max() <= 1
    assert got.mean() == pytest.approx(pieces * share, rel=1e-3, abs=1e-5)


def test_a_shape_that_is_none_is_refused():
    """The message names the word and the shapes that there are."""
    with pytest.raises(ValueError, match='"flat" is no shape; choose one of: pert, triangular'):
        shapes.table("flat", 1.0, 2.0, 3.0)


def test_scores_are_those_of_the_reference_library():
    """Every rank's score is the normal quantile of the middle of its slice."""
    ranks = np.arange(0, 65_536, 17).astype(np.uint16)
    want = stats.norm.ppf((ranks.astype(float) + 0.5) / 65_536)
    assert np.abs(shapes.scores(ranks) - want).max() < 2e-5


def test_mean_and_spread_of_one_item_are_those_of_its_pert():
    """200,000 trials of one item give the closed form's mean and sd within sampling error."""
    found = Range(4.0, 8.0, 16.0)
    house = shop(thing(), operation(low=4, typical=8, high=16), treatment())
    odds = odds_of(house, line(), trials=200_000)
    sd = durations.pert_sd(4.0, 8.0, 16.0)
    assert sd == pytest.approx(2.21108, abs=1e-5)  # not the classic (b − a)/6 = 2
    assert odds.hours.mean() == pytest.approx(8 + 2 / 3, abs=4 * sd / math.sqrt(200_000))
    assert odds.hours.std() == pytest.approx(sd, rel=0.01)
    assert odds.hours.min() >= found.low
    assert odds.hours.max() <= found.high


def test_a_shared_factor_spreads_the_sum_as_the_formula_says():
    """Thirty equal items with a shared factor of 0.2 spread as sqrt(n(1 + (n − 1)ρ)) sigmas."""
    # Var ΣX = nσ²(1 + (n − 1)ρ); S. Book, correlation in cost estimating (1999), from memory:
    # n = 30, ρ = 0.2 gives 14.2829 σ against 5.4772 σ independent.
    names = [f"thing-{k}" for k in range(30)]
    rows = [operation(low=4, typical=8, high=12)]
    for name in names:
        rows += [thing(name), treatment(assembly=name)]
    lines = [line(name) for name in names]
    sd = durations.pert_sd(4.0, 8.0, 12.0)
    free = odds_of(shop(*rows), *lines, trials=40_000).hours.std() / sd
    tied = odds_of(shop(*rows, job_factor_share=0.2), *lines, trials=40_000).hours.std() / sd
    assert free == pytest.approx(5.4772, rel=0.02)
    # A symmetric PERT is all but normal, so its copula correlation is all but the normal's.
    assert tied == pytest.approx(14.2829, rel=0.03)


def test_alike_units_even_out_as_the_formula_says():
    """Ten alike units with correlation one half spread as sqrt(10·5.5) single ones."""
    house = shop(thing(), operation(low=4, typical=8, high=12), treatment(), repeat_correlation=0.5)
    got = odds_of(house, line(count=10), trials=40_000).hours
    assert got.std() == pytest.approx(durations.pert_sd(4.0, 8.0, 12.0) * math.sqrt(55), rel=0.02)
    assert got.mean() == pytest.approx(80, rel=0.005)


def test_finds_happen_as_often_as_their_chance():
    """A find of 30 % adds its hours in 30 % of the trials, and its mean to the mean."""
    find = row(
        Find,
        find="rot",
        assembly="thing",
        name="Rot under the film",
        level_from="clean",
        probability=0.3,
        low=10,
        typical=10,
        high=10,
    )
    odds = odds_of(shop(thing(), operation(), treatment(), find), line(), trials=100_000)
    assert np.mean(odds.find_hours > 0) == pytest.approx(0.3, abs=0.006)
    assert odds.hours.mean() == pytest.approx(1 + 3, abs=0.06)


def test_the_same_seed_gives_the_same_figures_and_another_seed_others():
    """Twice the same seed is the same to the bit; another seed is not."""
    house = shop(thing(), operation(low=1, typical=2, high=5), treatment())
    first, again, other = (odds_of(house, line(count=3), seed=s) for s in (7, 7, 8))
    assert np.array_equal(first.cost, again.cost)
    assert not np.array_equal(first.cost, other.cost)


def test_a_line_added_leaves_the_other_draws_as_they_were():
    """The difference that a second assembly makes is that assembly's own hours in every trial."""
    house = shop(
        thing("one"),
        thing("two"),
        operation("fix", 1, 2, 5),
        operation("do", 1, 3, 4),
        treatment(item="fix", assembly="one"),
        treatment(item="do", assembly="two"),
    )
    both, first, second = (
        odds_of(house, *lines).hours
        for lines in ((line("one"), line("two")), (line("one"),), (line("two"),))
    )
    assert both == pytest.approx(first + second, abs=1e-5)


def test_a_line_left_out_leaves_the_draws_of_its_like_as_they_were():
    """Without the first of two lines of an assembly, hours and finds of the second stay put."""
    find = row(
        Find,
        find="rot",
        assembly="thing",
        name="Rot under the film",
        level_from="clean",
        probability=0.4,
        low=1,
        typical=2,
        high=5,
    )
    house = shop(thing(), operation(low=1, typical=2, high=5), treatment(), find)
    lines = survey(line(count=1), line(count=1, note="the other"))

    def played(*left_out):
        job = estimate(scope(lines, Level.FULL, house.catalogue, dropped=left_out), house)
        return simulate(job, house.settings)

    both, first, second = played(), played(1), played(0)
    assert not np.array_equal(first.hours, second.hours)
    assert both.hours == pytest.approx(first.hours + second.hours, abs=1e-5)
    assert both.find_hours == pytest.approx(first.find_hours + second.find_hours, abs=1e-5)


def test_a_line_before_it_leaves_the_finds_of_an_assembly_as_they_were():
    """An unlike line written above changes nothing in what comes to light further down."""
    find = row(
        Find,
        find="rot",
        assembly="thing",
        name="Rot under the film",
        level_from="clean",
        probability=0.4,
        low=1,
        typical=2,
        high=5,
    )
    house = shop(thing(), thing("other"), operation(), treatment(), find)
    alone, below = odds_of(house, line()), odds_of(house, line("other"), line())
    assert np.array_equal(alone.find_hours, below.find_hours)


def test_streams_begin_alike_whatever_the_number_of_trials():
    """A short run is the beginning of a long one, so that more trials only refine the answer."""
    assert np.array_equal(Streams(3, 1000).ranks("a"), Streams(3, 5000).ranks("a")[:1000])


def test_p80_holds_in_four_jobs_of_five_with_fresh_numbers():
    """The P80 found with one seed is enough in 80 % of the trials of others."""
    house = shop(thing(), operation(low=1, typical=2, high=8), treatment(), job_factor_share=0.1)
    (p80,) = odds_of(house, line(count=4), seed=1).at("cost", 0.8)
    held = np.mean(
        [np.mean(odds_of(house, line(count=4), seed=s).cost <= p80) for s in range(2, 22)]
    )
    # Binomial error of 10,000 and of 200,000 trials together: 0.0042.
    assert held == pytest.approx(0.8, abs=0.013)


def test_too_few_trials_are_refused():
    """Fewer than a hundred trials say nothing, and the message says so."""
    with pytest.raises(ValueError, match="100 or more"):
        odds_of(shop(thing(), operation(), treatment()), line(), trials=5)


# --- sums in closed form -------------------------------------------------------------------------

UNEVEN = [(1, 2, 6), (0.5, 0.5, 4), (2, 7, 8), (3, 3.5, 4), (0, 1, 10)]


@pytest.mark.parametrize("shape", ["pert", "triangular", "lognormal"])
def test_a_sum_has_the_mean_and_variance_of_its_terms(shape):
    """Independent items of uneven ranges, in each shape, against the reference library."""
    def reference(low, mode, high):
        if shape == "triangular":
            return stats.triang((mode - low) / (high - low), low, high - low)
        pert = stats.beta(1 + 4 * (mode - low) / (high - low), 1 + 4 * (high - mode) / (high - low),
                          low, high - low)
        if shape == "pert":
            return pert
        sigma = math.sqrt(math.log1p(pert.var() / pert.mean() ** 2))
        return stats.lognorm(sigma, scale=pert.mean() * math.exp(-(sigma**2) / 2))

    trials = 100_000
    got = odds_of(shop_of(UNEVEN, hours_shape=shape), *lines_of(UNEVEN), trials=trials).hours
    terms = [reference(*found) for found in UNEVEN]
    mean, variance = (sum(getattr(term, what)() for term in terms) for what in ("mean", "var"))
    assert got.mean() == pytest.approx(mean, abs=4 * math.sqrt(variance / trials))
    fourth = np.mean((got - got.mean()) ** 4)
    assert got.var() == pytest.approx(variance, abs=4 * math.sqrt((fourth - variance**2) / trials))


@pytest.mark.parametrize("shape", ["pert", "triangular", "lognormal"])
def test_alike_units_even_out_in_every_shape(shape):
    """Eight alike units with correlation 0.3: mean n·μ, sd σ·sqrt(n(1 + (n − 1)ρ))."""
    house = shop_of([(1, 2, 6)], hours_shape=shape, repeat_correlation=0.3)
    one = odds_of(shop_of([(1, 2, 6)], hours_shape=shape), line("item-0"), trials=40_000).hours
    got = odds_of(house, line("item-0", 8), trials=40_000).hours
    assert got.mean() == pytest.approx(8 * one.mean(), rel=0.005)
    assert got.std() == pytest.approx(one.std() * math.sqrt(8 * (1 + 7 * 0.3)), rel=0.01)
    assert got.min() > 0


def hermite(found):
    """Coefficients of a PERT as a function of a normal score, in Hermite polynomials."""
    low, mode, high = found
    pert = stats.beta(1 + 4 * (mode - low) / (high - low), 1 + 4 * (high - mode) / (high - low),
                      low, high - low)
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    values = pert.ppf(stats.norm.cdf(nodes)) * weights / math.sqrt(2 * math.pi)
    return [float(np.sum(values * np.polynomial.hermite_e.hermeval(nodes, [0] * k + [1])))
            / math.factorial(k) for k in range(12)]


def test_a_sum_with_factors_of_job_hand_and_kind_spreads_as_its_correlations_say():
    """Two hands, three kinds, two of them correlated: the variance is that of the matrix."""
    # Scores of two items correlate by job + hand (if one hand) + kind · R (R of their kinds); the
    # covariance of values is Σ k! c_k d_k ρ^k (F. Mehler 1866), c and d of each item's PERT.
    kinds = ("repair", "clean", "test")
    ranges = [UNEVEN[k % len(UNEVEN)] for k in range(12)]
    skills = {0: "bench", 1: "electronics"}
    rows = [row(Correlation, kind="repair", other="test", correlation=0.6)]
    for k, found in enumerate(ranges):
        rows += [thing(f"item-{k}"), treatment(item=f"do-{k}", assembly=f"item-{k}"),
                 operation(f"do-{k}", *found, kind=kinds[k % 3], skill=skills[k % 2])]
    shares = {"job_factor_share": 0.15, "person_factor_share": 0.2, "kind_factor_share": 0.25}
    house = shop(*rows, hand_bench="A", hand_electronics="B", **shares)
    trials = 200_000
    got = odds_of(house, *lines_of(ranges), trials=trials).hours

    together = {("repair", "test"): 0.6, ("test", "repair"): 0.6}
    coefficients = [hermite(found) for found in ranges]
    variance = 0.0
    for i, j in itertools.product(range(12), repeat=2):
        one, other = kinds[i % 3], kinds[j % 3]
        rho = (1.0 if i == j else 0.15 + 0.2 * (i % 2 == j % 2)
               + 0.25 * (1.0 if one == other else together.get((one, other), 0.0)))
        variance += sum(math.factorial(k) * coefficients[i][k] * coefficients[j][k] * rho**k
                        for k in range(1, 12))
    alone = sum(float(durations.pert_sd(*found)) ** 2 for found in ranges)
    assert variance > 3 * alone
    fourth = np.mean((got - got.mean()) ** 4)
    assert got.var() == pytest.approx(variance, abs=4 * math.sqrt((fourth - variance**2) / trials))
    mean = sum(float(durations.pert_mean(*found)) for found in ranges)
    assert got.mean() == pytest.approx(mean, abs=4 * math.sqrt(variance / trials))


@pytest.mark.parametrize("correlation", [-0.8, 0.0, 0.7])
def test_kinds_of_work_correlate_as_their_row_says(correlation):
    """Two kinds that are all of the variance: scores of one line and the other go together so."""
    house = shop_of([(2, 6, 10)] * 2,
                    row(Correlation, kind="repair", other="clean", correlation=correlation),
                    kinds=("repair", "clean"), kind_factor_share=0.99)
    odds = odds_of(house, *lines_of([0] * 2), trials=100_000)
    one, other = (odds.lines[k].hours.astype(float) for k in range(2))
    # A symmetric PERT is all but normal in its score: 0.99 of the row's figure, less a hair.
    assert np.corrcoef(one, other)[0, 1] == pytest.approx(0.99 * correlation, abs=0.015)


# S. Book, "Why correlation matters in cost estimating" (1999), from memory: by how much the
# spread of a sum is understated if the correlation is left out. [%]
UNDERSTATED = {
    10: {0.1: 27.5, 0.2: 40.2, 0.3: 48.0, 0.5: 57.4},
    30: {0.1: 49.4, 0.2: 61.7, 0.3: 67.9, 0.5: 74.6},
    100: {0.1: 69.7, 0.2: 78.1, 0.3: 82.0, 0.5: 85.9},
}


@pytest.mark.parametrize("items", UNDERSTATED)
def test_leaving_correlation_out_understates_the_spread_as_in_print(items):
    """For 10, 30 and 100 items and four correlations the shortfall is the published one."""
    ranges = [(4, 8, 12)] * items
    free = odds_of(shop_of(ranges), *lines_of(ranges), trials=20_000).hours.std()
    for rho, percent in UNDERSTATED[items].items():
        house = shop_of(ranges, job_factor_share=rho)
        tied = odds_of(house, *lines_of(ranges), trials=20_000).hours.std()
        assert 100 * (1 - free / tied) == pytest.approx(percent, abs=1.0)


# --- published networks --------------------------------------------------------------------------

# Three-point times of the activities on the critical path, the due date, and what the book gives:
# mean, variance after ((b − a)/6)², chance of the due date from the normal.
NETWORKS = {
    # J. Heizer & B. Render, "Operations Management", project management: Milwaukee Paper, path
    # A-C-E-G-H (three-point times from memory; means and path seen).
    "paper plant": ([(1, 2, 3), (1, 2, 3), (1, 4, 7), (3, 4, 11), (1, 2, 3)],
                    16, 15, 3.1111, 0.7157),
    # The same book's case of a stadium, path A-C-D-G-H-I-L: scribd.com/document/438492051.
    "stadium": ([(20, 30, 40), (50, 60, 100), (30, 50, 100), (25, 30, 35), (10, 20, 30),
                 (20, 25, 60), (20, 25, 60)], 270, 260, 319.44, 0.7123),
    # B. Taylor, "Introduction to Management Science", ch. 8: flylib.com/books/en/3.287.1.117/1.
    "text example": ([(5, 8, 17), (3, 5, 7), (4, 6, 8), (3, 4, 5)], 28, 24, 5.0, 0.9633),
}


def exact_chance(ranges, due):
    """Chance that a sum of independent PERTs is at most `due`, by convolving scipy's densities."""
    step = (sum(high - low for low, _, high in ranges)) / 20_000
    total, start = np.ones(1), 0.0
    for low, mode, high in ranges:
        edges = np.arange(0, high - low + step, step)
        cdf = stats.beta(1 + 4 * (mode - low) / (high - low), 1 + 4 * (high - mode) / (high - low),
                         0, high - low).cdf(edges)
        total = np.convolve(total, np.diff(cdf))
        start += low + step / 2
    values = start + step * np.arange(len(total))
    return float(total[values <= due].sum())


@pytest.mark.parametrize("name", NETWORKS)
def test_critical_paths_in_print(name):
    """A job of the critical activities: mean, spread and the chance of the due date."""
    ranges, due, mean, variance, chance = NETWORKS[name]
    trials = 200_000
    got = odds_of(shop_of(ranges), *lines_of(ranges), trials=trials).hours
    # The means are the book's.
    assert sum(float(durations.pert_mean(*found)) for found in ranges) == pytest.approx(mean)
    assert got.mean() == pytest.approx(mean, abs=4 * got.std() / math.sqrt(trials))
    # Its variances are the rule of thumb's; ours are those of the beta distribution itself, here
    # 1.0 to 1.3 times as large.
    assert sum(durations.classic_sd(low, high) ** 2 for low, _, high in ranges) == pytest.approx(
        variance, abs=0.01)
    own = sum(float(durations.pert_sd(*found)) ** 2 for found in ranges)
    assert 1 < own / variance < 1.35
    assert got.var() == pytest.approx(own, rel=0.015)
    # So the chance agrees with the exact one to sampling error, with the book's to 0.03.
    error = 4 * math.sqrt(chance * (1 - chance) / trials)
    assert np.mean(got <= due) == pytest.approx(exact_chance(ranges, due), abs=error + 5e-4)
    assert np.mean(got <= due) == pytest.approx(chance, abs=0.03)


# --- breakage ------------------------------------------------------------------------------------


def test_parts_break_as_the_binomial_of_the_reference_library_says():
    """Of seven pieces with a share of 0.3, as many break as scipy's binomial says."""
    house = shop(thing(), operation(), part(), treatment(share=0.3),
                 treatment("part", "piece", share=0.3))
    odds = odds_of(house, line(count=7), trials=200_000)
    mended = odds.lines[0].hours
    counts = np.rint(mended).astype(int)
    np.testing.assert_allclose(mended, counts, atol=1e-5)
    seen = np.bincount(counts, minlength=8)
    assert stats.chisquare(seen, 200_000 * stats.binom(7, 0.3).pmf(np.arange(8))).pvalue > 1e-3
    # The piece that needs the work is the piece that needs the part.
    np.testing.assert_allclose(odds.lines[0].parts, 10 * counts, rtol=1e-5)
    assert odds.hours.mean() == pytest.approx(2.1, abs=4 * math.sqrt(7 * 0.21 / 200_000))


def test_breakage_leaves_the_mean_and_adds_its_own_spread():
    """Hours of a range times a count: mean as without, variance as that of a product."""
    # L. Goodman, JASA 55 (1960): V(XY) = E²(X)V(Y) + E²(Y)V(X) + V(X)V(Y).
    house = shop(thing(), operation(low=1, typical=2, high=6), treatment(share=0.25))
    got = odds_of(house, line(count=8), trials=200_000).hours
    mean, sd = 2 * float(durations.pert_mean(1, 2, 6)), 2 * float(durations.pert_sd(1, 2, 6))
    spread = stats.binom(8, 0.25).var() / 2**2
    assert got.mean() == pytest.approx(mean, rel=0.006)
    assert got.var() == pytest.approx(mean**2 * spread + sd**2 * (1 + spread), rel=0.015)


def test_other_lines_and_other_shares_break_by_themselves():
    """Two lines, and two shares on one line, have counts of their own."""
    house = shop(thing("one"), thing("two"), operation(), operation("do"),
                 treatment(assembly="one", share=0.3), treatment(assembly="two", share=0.3),
                 part(), treatment("part", "piece", "one", share=0.4))
    odds = odds_of(house, line("one", 5), line("two", 5), trials=50_000)
    rows = [odds.lines[0].hours, odds.lines[1].hours, odds.lines[0].parts]
    found = np.corrcoef(rows)[np.triu_indices(3, 1)]
    assert np.abs(found).max() < 4.5 / math.sqrt(50_000)


def test_two_parts_a_piece_break_in_twice_as_many_places():
    """With two parts to a piece there are twice as many that may break, on the same mean."""
    house = shop(thing(), operation(), treatment(), part(),
                 treatment("part", "piece", share=0.2, quantity=2))
    got = odds_of(house, line(count=5), trials=100_000).lines[0].parts / 10
    counts = np.rint(got).astype(int)
    assert counts.max() > 5
    assert counts.mean() == pytest.approx(2, abs=0.02)
    assert counts.var() == pytest.approx(stats.binom(10, 0.2).var(), rel=0.02)


def test_what_goes_by_size_does_not_break_by_the_piece():
    """A share of an area is a share of the work, not a chance."""
    house = shop(thing(area_cm2=100), operation(), treatment(share=0.3, measure="area"))
    got = odds_of(house, line(count=5), trials=1000).hours
    assert got.min() == got.max() == pytest.approx(0.3 * 0.05)


# --- finds with a common cause -------------------------------------------------------------------


def rot(name, chance, cause="damp", **more):
    """A find of one hour."""
    return row(Find, **({"find": f"rot-{name}", "assembly": name, "name": "Rot under the film",
                         "level_from": "clean", "probability": chance, "low": 1, "typical": 1,
                         "high": 1, "cause": cause} | more))


CHANCES = {"one": 0.3, "two": 0.12, "three": 0.5}


def played_finds(share, causes, trials=200_000):
    """In which trials each of three finds happens, shape (3, trials)."""
    house = shop(operation(), *(thing(name) for name in CHANCES),
                 *(treatment(assembly=name) for name in CHANCES),
                 *(rot(name, chance, cause) for (name, chance), cause in
                   zip(CHANCES.items(), causes, strict=True)), cause_share=share)
    odds = odds_of(house, *map(line, CHANCES), trials=trials)
    return np.array([odds.lines[k].pattern > 0 for k in range(3)])


@pytest.mark.parametrize("share", [0.0, 0.3, 0.5, 0.9])
def test_finds_of_one_cause_come_together_as_the_bivariate_normal_says(share):
    """Each happens as often as its row says, whatever the share; two at once as scipy's normal."""
    hits = played_finds(share, ["damp"] * 3)
    chances = list(CHANCES.values())
    scores = stats.norm.ppf(chances)
    for hit, chance in zip(hits, chances, strict=True):
        assert hit.mean() == pytest.approx(chance, abs=4 * math.sqrt(chance / 200_000))
    for i, j in itertools.combinations(range(3), 2):
        want = stats.multivariate_normal.cdf(scores[[i, j]], cov=[[1, share], [share, 1]])
        if not share:
            assert want == pytest.approx(chances[i] * chances[j])
        assert np.mean(hits[i] & hits[j]) == pytest.approx(want, abs=4 * math.sqrt(want / 200_000))


@pytest.mark.parametrize("causes", [["damp", "battery", None], [None, None, None]])
def test_finds_of_other_causes_know_nothing_of_each_other(causes):
    """Without a common cause finds are independent, however large the share."""
    hits = played_finds(0.9, causes)
    chances = list(CHANCES.values())
    for i, j in itertools.combinations(range(3), 2):
        want = chances[i] * chances[j]
        assert np.mean(hits[i] & hits[j]) == pytest.approx(want, abs=4 * math.sqrt(want / 200_000))


def test_two_finds_of_one_line_come_together_too():
    """A common cause works within a line as between lines."""
    house = shop(thing("one"), operation(), treatment(assembly="one"), rot("one", 0.3),
                 rot("one", 0.2, find="swollen", days=3), cause_share=0.6)
    odds = odds_of(house, line("one"), trials=200_000)
    both = np.mean(odds.lines[0].pattern == 3)
    want = stats.multivariate_normal.cdf(stats.norm.ppf([0.3, 0.2]), cov=[[1, 0.6], [0.6, 1]])
    assert both == pytest.approx(want, abs=4 * math.sqrt(want / 200_000))
    np.testing.assert_allclose(odds.lines[0].find_hours,
                               np.array([0, 1, 1, 2])[odds.lines[0].pattern], atol=1e-6)
    assert set(np.unique(odds.lines[0].find_days)) == {0.0, 3.0}


def test_hours_of_finds_run_over_with_the_job_and_not_with_hands_or_kinds():
    """A machine that fights back does so in what comes to light too; who mends it is not known."""
    found = {"low": 2, "typical": 6, "high": 10, "assumed": 1, "hidden": 1}
    house = shop(operation(), *(thing(name) for name in CHANCES),
                 *(treatment(assembly=name) for name in CHANCES),
                 *(rot(name, 1, None, **found) for name in CHANCES),
                 job_factor_share=0.6, person_factor_share=0.2, kind_factor_share=0.1)
    odds = odds_of(house, *map(line, CHANCES), trials=50_000)
    together = np.corrcoef([odds.lines[k].find_hours for k in range(3)])[np.triu_indices(3, 1)]
    assert together == pytest.approx(0.6, abs=0.02)


@pytest.mark.parametrize("chance", [0.0, 1.0])
@pytest.mark.parametrize("cause", [None, "damp"])
def test_a_find_that_never_or_always_happens(chance, cause):
    """Chances of 0 and 1 are kept to, in every trial, tied to a cause or not."""
    house = shop(thing("one"), operation(), treatment(assembly="one"),
                 rot("one", chance, cause, assumed=1, hidden=1), cause_share=0.5)
    assert set(np.unique(odds_of(house, line("one")).find_hours)) == {chance}


# --- an independent library ----------------------------------------------------------------------


def test_an_independent_library_gives_the_same_odds():
    """The same small job in mcerp, a general-purpose Monte Carlo library: all figures agree."""
    import mcerp

    hours = [(1, 2, 6), (2, 5, 6), (0.5, 1, 8)]
    house = shop_of(
        hours, part(low=20, typical=30, high=90), treatment("part", "piece", "item-1"),
        treatment("part", "piece", "item-2", share=0.3),
        rot("item-0", 0.3, None, low=2, typical=4, high=10, cost_low=5, cost_typical=20,
            cost_high=100),
        row(Service, service="plate", name="Plating", low=40, typical=60, high=200, days_low=5,
            days_typical=8, days_high=20), treatment("service", "plate", "item-0"))
    trials = 100_000
    ours = odds_of(house, line("item-0"), line("item-1"), line("item-2"), trials=trials).cost

    np.random.seed(11)
    mcerp.npts = trials
    price = mcerp.PERT(20, 30, 90)
    theirs = (25 * sum(mcerp.PERT(*found) for found in hours)
              + price + price * mcerp.Bernoulli(0.3)
              + mcerp.Bernoulli(0.3) * (25 * mcerp.PERT(2, 4, 10) + mcerp.PERT(5, 20, 100))
              + mcerp.PERT(40, 60, 200))
    theirs = theirs._mcpts
    assert len(theirs) == trials

    both = np.concatenate([ours, theirs])
    error = math.sqrt(2 / trials)
    assert ours.mean() == pytest.approx(theirs.mean(), abs=4 * both.std() * error)
    fourth = np.mean((both - both.mean()) ** 4) / both.var() ** 2
    assert ours.std() == pytest.approx(theirs.std(), rel=4 * math.sqrt((fourth - 1) / 4) * error)
    density = stats.gaussian_kde(both[::40])
    for share in (0.1, 0.5, 0.8, 0.9):
        place = float(np.quantile(both, share))
        sampling = math.sqrt(share * (1 - share)) * error / float(density(place)[0])
        got, want = np.quantile(ours, share), np.quantile(theirs, share)
        assert got == pytest.approx(want, abs=4 * sampling), share


# --- how errors fall -----------------------------------------------------------------------------


def engine_mean(ranges):
    """Mean of a sum over all ranks: what the sampling converges to."""
    every = np.arange(65_536).astype(np.uint16)
    return sum(float(shapes.values(every, shapes.table("pert", *map(float, found)))
                     .astype(float).mean()) for found in ranges)


def test_what_sampling_converges_to_is_the_closed_form():
    """Tables and ranks together are off the closed form's mean by less than 0.02 % of the width."""
    for found in [*UNEVEN, (0, 0, 1), (0, 1, 1), (5, 5.001, 5.01)]:
        off = engine_mean([found]) - float(durations.pert_mean(*found))
        assert abs(off) < 2e-4 * (found[2] - found[0])


def errors_of(sampler, sizes):
    """Root mean square error of mean and P80 of a sum over 40 seeds, shape (sizes, 2)."""
    house, lines = shop_of(UNEVEN), lines_of(UNEVEN)
    job = estimate(scope(survey(*lines), Level.FULL, house.catalogue), house)
    p80 = np.mean([simulate(job, house.settings, trials=2**17, seed=s, sampler="sobol")
                   .at("hours", 0.8) for s in range(2)])
    found = []
    for size in sizes:
        runs = [simulate(job, house.settings, trials=size, seed=s, sampler=sampler)
                for s in range(100, 140)]
        means = np.array([run.hours.mean() for run in runs]) - engine_mean(UNEVEN)
        places = np.array([run.at("hours", 0.8)[0] for run in runs]) - p80
        found.append([np.sqrt(np.mean(means**2)), np.sqrt(np.mean(places**2))])
    return np.array(found)


def test_errors_fall_as_they_should():
    """From 256 to 8192 trials errors fall like N^−1/2; with Sobol the mean clearly faster."""
    # Scrambled Sobol points: up to N^−3/2 for smooth sums, A. Owen (1997). A quantile is not
    # smooth; there they are better throughout, and fall no slower.
    sizes = [256, 512, 1024, 2048, 4096, 8192]
    random, sobol = errors_of("random", sizes), errors_of("sobol", sizes)
    slopes = np.polyfit(np.log(sizes), np.log(np.hstack([random, sobol])), 1)[0]
    assert (np.abs(slopes[:2] + 0.5) < 0.1).all()
    assert -2.0 < slopes[2] < -0.75
    assert -1.0 < slopes[3] < -0.4
    assert (sobol[:, 0] < random[:, 0] / 25).all()
    assert (sobol[:, 1] < random[:, 1] / 1.8).all()


# --- days and bills ------------------------------------------------------------------------------


def away(name, low, typical, high):
    """A service with the days that it takes."""
    return row(Service, service=name, name=f"Service {name}", low=10, typical=10, high=10,
               days_low=low, days_typical=typical, days_high=high)


def test_days_are_bench_time_the_longest_wait_curing_and_finds():
    """Of two services the longer one counts, curing of several items once, finds one by one."""
    house = shop(thing("one"), operation("mend", 8, 8, 8, unattended=36),
                 operation("set", 2, 2, 2, unattended=24), treatment(item="mend", assembly="one"),
                 treatment(item="set", assembly="one"),
                 away("plate", 5, 5, 5), away("coat", 9, 9, 9),
                 treatment("service", "plate", "one"), treatment("service", "coat", "one"),
                 rot("one", 1, None, days=3, assumed=1, hidden=1),
                 rot("one", 1, None, find="swollen", days=4, assumed=1, hidden=1))
    got = odds_of(house, line("one"), trials=100).days
    # 8 + 2 hours and 2 of the finds, at 40 h a week; cured 36 h; away 9 days; held up 3 + 4 days.
    np.testing.assert_allclose(got, 12 * 7 / 40 + 1.5 + 9 + 7, rtol=1e-6)


def test_a_line_worse_than_written_takes_its_hours_and_no_day_more():
    """At 40 bench hours in 7 days, 1 h or 9 h are 0.175 or 1.575 days."""
    house = shop(thing(), operation("mend"), operation("remake", 8, 8, 8), treatment(),
                 treatment(item="remake", condition_from="heavy"), hidden_worse_chance=0.4)
    odds = odds_of(house, line(certainty="hidden"), trials=1000)
    assert sorted(set(odds.days.round(6).tolist())) == [0.175, 1.575]
    assert np.mean(odds.days > 1) == pytest.approx(0.4, abs=0.05)


def test_a_job_of_parts_alone_takes_no_day():
    """Nothing to do, nothing that cures, nothing away: the days are none."""
    house = shop(thing("one"), part(), treatment("part", "piece", "one"))
    odds = odds_of(house, line("one"), trials=100)
    assert (odds.days == 0).all()
    assert (odds.cost == 10).all()


def test_the_longest_wait_is_that_of_each_trial():
    """Two waits alike in law: the larger of both in each trial, as two PERTs in closed form."""
    house = shop(thing("one"), operation("mend", 0, 0, 0), treatment(assembly="one"),
                 away("plate", 2, 6, 10), away("coat", 2, 6, 10),
                 treatment("service", "plate", "one"), treatment("service", "coat", "one"))
    got = odds_of(house, line("one"), trials=100_000).days
    both = stats.beta(3, 3, 2, 8)
    places = np.linspace(2, 10, 20_001)
    want = 10 - np.trapezoid(both.cdf(places) ** 2, places)
    assert got.mean() == pytest.approx(want, abs=4 * got.std() / math.sqrt(100_000))


def test_a_bill_is_steps_of_time_and_marked_up_goods():
    """Time and materials of certain amounts, finds included: reckoned by hand."""
    house = shop(thing("one"), operation("mend", 2.1, 2.1, 2.1), treatment(assembly="one"),
                 part(), treatment("part", "piece", "one"), away("plate", 5, 5, 5),
                 treatment("service", "plate", "one"),
                 row(Material, material="kit", name="Kit", low=7, typical=7, high=7, pack=1),
                 treatment("material", "kit", "one"),
                 rot("one", 1, None, assumed=1, hidden=1, cost_low=40, cost_typical=40,
                     cost_high=40),
                 margin=0.2, parts_markup=0.5, materials_markup=0.2, outwork_markup=0.1,
                 billing_increment_hours=0.5)
    odds = odds_of(house, line("one"), trials=100)
    # 3.1 h in half hours are 3.5 at 25 / 0.8; a part of 10 and 40 for the find, half as much again;
    # materials of 7 and a fifth; outwork of 10 and a tenth.
    np.testing.assert_allclose(odds.bill, 3.5 * 25 / 0.8 + 50 * 1.5 + 7 * 1.2 + 10 * 1.1,
                               rtol=1e-6)
    np.testing.assert_allclose(odds.cost, 3.1 * 25 + 50 + 7 + 10, rtol=1e-6)
    assert odds.bill.min() == odds.bill.max()


def test_a_kit_for_several_lines_has_one_price():
    """Two lines share a kit of 80, 90 to 100: that is what materials cost, in range and mean."""
    kit = row(Material, material="kit", name="Kit", low=80, typical=90, high=100, pack=10,
              sold_whole=True)
    house = shop(thing("one"), thing("two"), kit,
                 *(treatment("material", "kit", name) for name in ("one", "two")))
    drawn = odds_of(house, line("one"), line("two", 3)).kinds["materials"]
    assert 80 <= drawn.min() < 82
    assert 98 < drawn.max() <= 100
    assert drawn.mean() == pytest.approx(90, abs=0.2)
    assert drawn.std() == pytest.approx(durations.pert_sd(80, 90, 100), rel=0.03)


def test_no_score_leaves_the_table():
    """However far shared parts reach, with the own part they stay among the table's cells."""
    for own in (0.1, 0.5, 0.9):
        room = shapes.Buffers(2)
        shared = shapes.within_reach(np.array([-50.0, 50.0], np.float32), own)
        for rank in (0, 65_535):
            cells = shapes.cells(np.full(2, rank, np.uint16), own, shapes.offsets(shared), room)
            assert cells.min() >= 0
            assert cells.max() < shapes.CELLS


# --- promises kept -------------------------------------------------------------------------------


def random_shop(rng):
    """A small shop of random figures, and a survey to go with it."""
    count = int(rng.integers(2, 5))
    ranges = np.sort(rng.gamma(1.5, 2, (count, 3)), axis=1).round(2).tolist()
    kinds = list(rng.choice(["repair", "clean", "test", "polish"], count))
    more = []
    if len(set(kinds)) > 1:
        one, other = sorted(set(kinds))[:2]
        more.append(row(Correlation, kind=one, other=other,
                        correlation=round(float(rng.uniform(-0.9, 0.9)), 2)))
    for k in range(count):
        if rng.random() < 0.6:
            low, typical, high = np.sort(rng.gamma(1.5, 4, 3)).round(2)
            more.append(rot(f"item-{k}", round(float(rng.uniform(0.05, 0.5)), 2),
                            "damp" if rng.random() < 0.5 else None,
                            low=low, typical=typical, high=high))
        if rng.random() < 0.4:
            low, typical, high = np.sort(rng.gamma(1.5, 40, 3)).round(2)
            more += [part(f"piece-{k}", low, typical, high),
                     treatment("part", f"piece-{k}", f"item-{k}",
                               share=round(float(rng.uniform(0.1, 1)), 2))]
    shares = rng.dirichlet([1, 1, 1, 2])
    house = shop_of(
        ranges, *more, kinds=kinds, job_factor_share=shares[0], person_factor_share=shares[1],
        kind_factor_share=shares[2], cause_share=float(rng.uniform(0, 0.9)),
        repeat_correlation=float(rng.random()), assumed_worse_chance=float(rng.uniform(0, 0.4)),
        hours_shape=str(rng.choice(["pert", "triangular", "lognormal"])))
    lines = [line(f"item-{k}", int(rng.integers(1, 9)),
                  certainty=str(rng.choice(["seen", "assumed", "hidden"]))) for k in range(count)]
    return house, lines


def test_a_thousand_shops_keep_their_promises():
    """P50, P80 and P90 of 1,000 random shops hold in so many of 1,000 fresh realities."""
    rng = np.random.default_rng(2026)
    held = {0.5: 0, 0.8: 0, 0.9: 0}
    for k in range(1000):
        house, lines = random_shop(rng)
        job = estimate(scope(survey(*lines), Level.FULL, house.catalogue), house)
        promised = simulate(job, house.settings, trials=2000, seed=k).at("cost", *held)
        # What really comes: the first trial of another seed.
        reality = simulate(job, house.settings, trials=100, seed=-1 - k).cost[0]
        for share, promise in zip(held, promised, strict=True):
            held[share] += bool(reality <= promise)
    for share, count in held.items():
        low, high = stats.binom(1000, share).ppf([0.0005, 0.9995])
        assert low <= count <= high, share


def test_the_range_of_a_quantile_holds_it_as_often_as_it_says():
    """Of 400 runs, the 95 % range of the P80 holds the P80 of a very long run in about 95 %."""
    house, lines = shop_of(UNEVEN), lines_of(UNEVEN)
    (p80,) = odds_of(house, *lines, trials=2**17, sampler="sobol").at("cost", 0.8)
    job = estimate(scope(survey(*lines), Level.FULL, house.catalogue), house)
    held = 0
    for seed in range(400):
        low, high = simulate(job, house.settings, trials=500, seed=seed).sure_of("cost", 0.8)
        held += low <= p80 <= high
    assert stats.binom(400, 0.95).ppf(0.0005) <= held
    assert held < 400


def test_ranges_of_a_hundred_trials_are_those_in_print():
    """The median of 100 lies between the 40th and the 61st; 50 losses of 100 are 40 to 60 %."""
    # Ranks of the 95 % range of a median, n = 100: 40 and 61 (W. J. Conover, "Practical
    # Nonparametric Statistics"; from memory). Wilson's range of 50 in 100: 0.4038 to 0.5962.
    odds = replace(odds_of(shop_of(UNEVEN), *lines_of(UNEVEN), trials=100),
                   cost=np.random.default_rng(1).permutation(np.arange(1.0, 101)))
    assert odds.sure_of("cost", 0.5) == (40, 61)
    assert odds.sure_of("cost", 0.01)[0] == 1
    assert odds.sure_of("cost", 0.99)[1] == 100
    # As dear as the income is no loss.
    assert odds.chance_of_loss(50) == 0.5
    assert odds.loss_range(50) == pytest.approx((0.4038, 0.5962), abs=5e-5)
    assert odds.income_for(0.1) == pytest.approx(90.1)


def test_loss_and_income_answer_each_other():
    """The income that one job in ten passes is passed by one trial in ten, within a trial."""
    odds = odds_of(shop_of(UNEVEN), *lines_of(UNEVEN))
    for loss in (0.01, 0.1, 0.5, 0.97):
        assert odds.chance_of_loss(odds.income_for(loss)) == pytest.approx(loss, abs=2e-4)
        low, high = odds.loss_range(odds.income_for(loss))
        assert low < loss < high
    for wrong in (0, 1, -0.1, 1.5):
        with pytest.raises(ValueError, match="over 0 and under 1"):
            odds.income_for(wrong)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("shape", ["pert", "triangular", "lognormal"])
def test_the_demo_s_mean_is_that_of_the_closed_form(demo_survey_path, level, shape):
    """At every level, in every shape, trials average to hours and cost of the estimate."""
    house = open_shop()
    settings = house.settings.model_copy(update={"hours_shape": shape})
    house = type(house)(settings, house.catalogue)
    found = scope(read(demo_survey_path, house.catalogue), level, house.catalogue)
    job = estimate(found, house)
    odds = simulate(job, settings, trials=20_000)
    error = 4.5 / math.sqrt(20_000)
    assert odds.hours.mean() == pytest.approx(job.hours + job.find_hours,
                                              abs=error * odds.hours.std() + 1e-3)
    assert odds.cost.mean() == pytest.approx(job.cost + job.find_cost,
                                             abs=error * odds.cost.std() + 0.05)
    total = sum(odds.kinds.values())
    np.testing.assert_allclose(odds.cost, total, rtol=1e-9)


# --- bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize("trials", [99, 1, 0, -5])
def test_any_number_of_trials_under_a_hundred_is_refused(trials):
    """The message says how many there were, and how many it takes."""
    with pytest.raises(ValueError, match=f"{trials} trials say nothing.*100 or more"):
        odds_of(shop(thing(), operation(), treatment()), line(), trials=trials)


@pytest.mark.parametrize(
    ("written", "column", "said"),
    [
        ({"job_factor_share": 0.5, "person_factor_share": 0.3, "kind_factor_share": 0.2}, None,
         "add up to 1; they are shares of one variance"),
        ({"job_factor_share": 0.9, "kind_factor_share": 0.9}, None, "add up to 1.8"),
        ({"job_factor_share": 1.0}, "job_factor_share", "0 or more and under 1"),
        ({"cause_share": 1.0}, "cause_share", "0 or more and under 1"),
        ({"cause_share": -0.1}, "cause_share", "0 or more and under 1"),
        ({"repeat_correlation": 1.5}, "repeat_correlation", "0 or more and at most 1"),
        ({"assumed_worse_chance": 1.2}, "assumed_worse_chance", "0 or more and under 1"),
        ({"hours_shape": '"beta"'}, "hours_shape", "pert"),
    ],
)
def test_wrong_odds_in_the_shop_s_settings_are_named(tmp_path, written, column, said):
    """Shares that leave nothing, chances over 1, a shape that is none: file and key are named."""
    folder = new_shop(tmp_path / "shop")
    path = folder / "shop.toml"
    rows = [text for text in path.read_text(encoding="utf-8").splitlines()
            if text.partition(" =")[0] not in written]
    rows += [f"{key} = {value}" for key, value in written.items()]
    path.write_text("\n".join(rows), encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        open_shop(folder)
    (fault,) = [f for f in caught.value.faults if f.column == column]
    assert fault.file == "shop.toml"
    assert said in str(fault)


def test_factors_may_take_all_but_a_rest():
    """Shares that add up to just under 1 are played, and stay within their range."""
    house = shop_of([(1, 2, 6)] * 3, job_factor_share=0.4, person_factor_share=0.3,
                    kind_factor_share=0.2999)
    odds = odds_of(house, *lines_of([0] * 3), trials=50_000)
    for at in range(3):
        assert odds.lines[at].hours.min() >= 1
        assert odds.lines[at].hours.max() <= 6
        assert odds.lines[at].hours.mean() == pytest.approx(2.5, abs=0.02)
    assert Settings(**PLAIN).hours_shape == "pert"
