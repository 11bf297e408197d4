"""The odds: draws against closed forms and a reference library, streams that do not move."""

import math

import numpy as np
import pytest
from scipy import stats
from small_shop import line, operation, row, shop, survey, thing, treatment

from estimator import durations
from estimator.catalogue import Find, Level
from estimator.durations import Range
from estimator.estimate import estimate
from estimator.scope import scope
from estimator.simulate import shapes, share_range, simulate
from estimator.simulate.streams import Streams


def odds_of(house, *lines, trials=10_000, seed=1, level=Level.FULL):
    """Simulate a survey of a small shop."""
    job = estimate(scope(survey(*lines), level, house.catalogue), house)
    return simulate(job, house.settings, trials=trials, seed=seed)


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


@pytest.mark.parametrize(
    ("hits", "of", "low", "high"),
    [
        (7, 50, 0.06951, 0.26186),
        (81, 263, 0.25529, 0.36621),
        (15, 148, 0.06239, 0.16049),
        (0, 20, 0, 0.16113),
        (1, 29, 0.00611, 0.17176),
        (421, 500, 0.80744, 0.87135),
    ],
)
def test_the_range_of_a_share_is_the_score_interval_in_print(hits, of, low, high):
    """Six published samples give their printed 95 % intervals."""
    # Newcombe, Statistics in Medicine 17 (1998), from memory; 421/500: Holmes, Illowsky, Dean,
    # Introductory Business Statistics 2e, OpenStax, 8.3 (sample).
    assert share_range(hits, of) == pytest.approx((low, high), abs=1e-5)
