"""Payoff tables as printed, and what a cover and a look are worth in closed form."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import optimize, stats

from estimator.decisions import (
    by_expected,
    cover_loss,
    expected_knowing,
    least_loss,
    maximax,
    maximin,
    mean_loss,
    minimax_regret,
    realism,
    regret,
    value_of_knowing,
    value_of_seeing,
    value_of_test,
)

# Render, Stair & Hanna, Quantitative Analysis for Management, ch. 3: a large plant, a small one
# or none, in a good and a bad market, in thousands; payoffs and expected values in print, the
# rest follows from them.
PLANT = [[200, -180], [100, -20], [0, 0]]
EVEN = [0.5, 0.5]

# Hillier & Lieberman, Introduction to Operations Research, decision analysis: drill for oil or
# sell the land, in thousands; a survey is favourable with .6 where there is oil, .2 where not.
LAND = [[700, -100], [90, 90]]
OIL = [0.25, 0.75]
SURVEY = [[0.6, 0.4], [0.2, 0.8]]

COSTS = arrays(float, st.integers(1, 40), elements=st.floats(0, 1e5))
SHARES = st.floats(0.01, 1)


def test_expected_values_of_the_plant():
    """10, 40 and 0: the small plant; 100 for one who knows, so knowing is worth 60."""
    # Render, Stair & Hanna.
    chosen = by_expected(PLANT, EVEN)
    assert (chosen.best, chosen.figures) == (1, (10, 40, 0))
    assert expected_knowing(PLANT, EVEN) == 100
    assert value_of_knowing(PLANT, EVEN) == 60


def test_expected_regret_of_the_plant():
    """90, 60 and 100; the least of them is what knowing is worth."""
    # Render, Stair & Hanna.
    assert (regret(PLANT) @ EVEN).tolist() == [90, 60, 100]


@pytest.mark.parametrize(
    ("chosen", "best", "figure"),
    [(maximax(PLANT), 0, 200), (maximin(PLANT), 2, 0), (minimax_regret(PLANT), 1, 100),
     (realism(PLANT, 0.8), 0, 124)],
)
def test_rules_without_chances_on_the_plant(chosen, best, figure):
    """Hope builds the large plant, fear none, regret the small one, realism at .8 the large."""
    # Render, Stair & Hanna.
    assert chosen.best == best
    assert chosen.figure == pytest.approx(figure)


def test_realism_on_the_plant():
    """At .8 the plants are worth 124, 76 and 0."""
    # Render, Stair & Hanna.
    assert realism(PLANT, 0.8).figures == pytest.approx((124, 76, 0))


def test_the_land_without_a_survey():
    """Drilling is worth 100, knowing 142.5 more."""
    # Hillier & Lieberman.
    chosen = by_expected(LAND, OIL)
    assert (chosen.best, chosen.figure) == (0, 100)
    assert expected_knowing(LAND, OIL) == 242.5
    assert value_of_knowing(LAND, OIL) == 142.5


def test_the_land_with_a_survey():
    """Drill on a favourable survey, else sell: 153 in all, 53 for the survey, 37.19 % of all."""
    # Hillier & Lieberman.
    found = value_of_test(LAND, OIL, SURVEY)
    assert found.chances == pytest.approx([0.3, 0.7])
    assert found.posterior[:, 0] == pytest.approx([1 / 2, 1 / 7])
    # What drilling is worth on each signal, 300 and 14.286; the land sells for 90.
    assert found.posterior @ LAND[0] == pytest.approx([300, 14.286], abs=5e-4)
    assert found.best.tolist() == [0, 1]
    assert found.payoffs == pytest.approx([300, 90])
    assert found.expected == pytest.approx(153)
    assert found.value == pytest.approx(53)
    assert found.efficiency == pytest.approx(0.3719, abs=5e-5)


def test_a_test_that_proves_is_worth_all_and_one_that_is_blind_nothing():
    """A sure signal is perfect information; one that comes alike in every state is none."""
    assert value_of_test(LAND, OIL, np.eye(2)).efficiency == pytest.approx(1)
    blind = value_of_test(LAND, OIL, [[0.3, 0.7, 0], [0.3, 0.7, 0]])
    assert blind.value == pytest.approx(0)
    # The third signal never comes, and says nothing.
    assert blind.posterior == pytest.approx(np.tile(OIL, (3, 1)))


def test_where_nothing_can_be_learnt_a_test_has_no_efficiency():
    """One action is best in every state: nothing is gained by knowing."""
    found = value_of_test([[2, 3], [1, 1]], EVEN, SURVEY)
    assert (found.value, found.efficiency) == (0, 0)


@st.composite
def _problems(draw):
    """A payoff table, chances of its states, and a likelihood of signals."""
    actions, states, signals = (draw(st.integers(1, 4)) for _ in range(3))
    table = draw(arrays(float, (actions, states), elements=st.floats(-1e4, 1e4)))
    weights = arrays(float, (states, signals + 1), elements=st.floats(0.01, 1))
    weights = draw(weights)
    prior = weights[:, 0] / weights[:, 0].sum()
    return table, prior, weights[:, 1:] / weights[:, 1:].sum(axis=1, keepdims=True)


@given(_problems())
def test_a_test_is_worth_something_between_nothing_and_knowing(problem):
    """0 ≤ sample information ≤ perfect information = least expected regret."""
    table, prior, likelihood = problem
    found = value_of_test(table, prior, likelihood)
    perfect = value_of_knowing(table, prior)
    assert 0 <= found.value <= perfect + 1e-9 * (1 + perfect)
    assert perfect == pytest.approx(min(regret(table) @ prior), abs=1e-7)
    assert found.chances @ found.posterior == pytest.approx(prior)


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: by_expected([1, 2], EVEN), "a row for each action"),
     (lambda: by_expected([[1, math.nan]], EVEN), "finite"),
     (lambda: by_expected(PLANT, [0.5, 0.3, 0.2]), "2 chances"),
     (lambda: by_expected(PLANT, [0.5, 0.4]), r"add up to 0\.9"),
     (lambda: by_expected(PLANT, [50, 50]), r"Write 0\.8 for 80 %"),
     (lambda: realism(PLANT, 80), r"Write 0\.8 for 80 %"),
     (lambda: value_of_test(LAND, OIL, [0.6, 0.2]), "each of the 2 states"),
     (lambda: value_of_test(LAND, OIL, [[0.6, 0.4], [0.2, 0.7]]), "likelihood of state 1")],
)
def test_tables_and_chances_that_are_none_are_refused(call, said):
    """What is wrong with a table or its chances is said."""
    with pytest.raises(ValueError, match=said):
        call()


# --- cover ---------------------------------------------------------------------------------------


@given(COSTS, SHARES)
def test_the_best_cover_is_the_cost_at_the_confidence(cost, confidence):
    """No cost that came up does better than the quantile, and the least loss is what it loses."""
    # Koenker & Bassett, Econometrica 46, 1978: a sample quantile minimises the check function.
    quantile = np.quantile(cost, confidence, method="inverted_cdf")
    lost = mean_loss(cost, quantile, confidence)
    dust = 1e-9 * (1 + cost.max()) / confidence
    assert least_loss(cost, confidence) == pytest.approx(lost, abs=dust)
    assert all(mean_loss(cost, other, confidence) >= lost - dust for other in cost)


def test_a_unit_short_counts_four_times_a_unit_too_much_at_80_percent():
    """Critical ratio 0.8 = 4 / (4 + 1)."""
    # Newsvendor, Arrow, Harris & Marschak, Econometrica 19, 1951.
    short, over = cover_loss([110, 90], 100, 0.8)
    assert (short, over) == pytest.approx((10, 2.5))


@given(st.floats(0.05, 0.95), st.floats(1, 500))
def test_least_loss_of_a_normal_cost(confidence, sd):
    """sd · φ(z) / confidence, from the mean of the lower tail of a normal."""
    # Mean of a truncated normal, Johnson & Kotz, Continuous Univariate Distributions 1, ch. 13.
    cost = stats.norm(4000, sd).ppf((np.arange(20_000) + 0.5) / 20_000)
    known = sd * stats.norm.pdf(stats.norm.ppf(confidence)) / confidence
    assert least_loss(cost, confidence) == pytest.approx(known, rel=2e-3)


@pytest.mark.parametrize(("share", "apart", "confidence"),
                         [(0.3, 800, 0.8), (0.5, 0, 0.8), (0.1, 2000, 0.9), (0.5, 300, 0.5)])
def test_value_of_seeing_which_of_two_normals_it_is(share, apart, confidence):
    """Two groups of one spread: the loss of the mixture's quantile less that of each alone."""
    # Closed form: E max(C − b, 0) of a normal with the root of the mixture's distribution.
    sd, n = 300, 40_000
    sizes = [round(n * (1 - share)), round(n * share)]
    means = np.array([4000, 4000 + apart])
    cost = np.concatenate([stats.norm(mean, sd).ppf((np.arange(size) + 0.5) / size)
                           for mean, size in zip(means, sizes, strict=True)])
    groups = np.repeat([0, 1], sizes)

    weights = np.array([1 - share, share])
    cover = optimize.brentq(
        lambda b: weights @ stats.norm.cdf((b - means) / sd) - confidence, 0, 9000)
    z = (cover - means) / sd
    above = sd * (stats.norm.pdf(z) - z * stats.norm.sf(z))  # E max(C − b, 0)
    below = above + sd * z
    unseen = weights @ (above + (1 - confidence) / confidence * below)
    seen = sd * stats.norm.pdf(stats.norm.ppf(confidence)) / confidence
    assert value_of_seeing(cost, groups, confidence) == pytest.approx(unseen - seen, abs=0.02)


@given(COSTS, SHARES, st.randoms(use_true_random=False))
def test_seeing_is_never_worth_less_than_nothing(cost, confidence, random):
    """Never negative; one group says nothing; seeing the cost itself is worth the whole loss."""
    groups = np.array([random.randrange(4) for _ in cost])
    worth = value_of_seeing(cost, groups, confidence)
    dust = 1e-9 * (1 + cost.max()) / confidence
    assert 0 <= worth <= least_loss(cost, confidence) + dust
    assert value_of_seeing(cost, np.full(cost.shape, 7), confidence) == 0
    each = value_of_seeing(cost, np.arange(cost.size), confidence)
    assert each == pytest.approx(least_loss(cost, confidence), abs=dust)


@given(COSTS, SHARES, st.randoms(use_true_random=False))
def test_seeing_is_the_least_loss_that_falls_away(cost, confidence, random):
    """Least loss of all trials less the least losses of the groups, each by its size."""
    groups = np.array([random.randrange(3) for _ in cost])
    apart = sum(least_loss(cost[groups == code], confidence) * np.mean(groups == code)
                for code in set(groups.tolist()))
    assert value_of_seeing(cost, groups, confidence) == pytest.approx(
        least_loss(cost, confidence) - apart, abs=1e-9 * (1 + cost.max()) / confidence)


@given(COSTS, SHARES, st.randoms(use_true_random=False))
def test_a_finer_look_is_worth_no_less(cost, confidence, random):
    """Splitting the groups further cannot lose."""
    coarse = np.array([random.randrange(2) for _ in cost])
    fine = 2 * coarse + np.array([random.randrange(2) for _ in cost])
    dust = 1e-9 * (1 + cost.max()) / confidence
    assert value_of_seeing(cost, fine, confidence) >= (
        value_of_seeing(cost, coarse, confidence) - dust)


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: cover_loss([1], 1, 80), r"Write 0\.8 for 80 %"),
     (lambda: least_loss([], 0.8), "for each trial"),
     (lambda: mean_loss([1, math.inf], 1, 0.8), "finite"),
     (lambda: value_of_seeing([1, 2], [0], 0.8), "for each trial"),
     (lambda: value_of_seeing([1, 2], [0.0, 1.0], 0.8), "whole number"),
     (lambda: value_of_seeing([1, 2], [0, -1], 0.8), "start at 0")],
)
def test_covers_and_groups_that_are_none_are_refused(call, said):
    """Percents, no trials, and codes that are none."""
    with pytest.raises(ValueError, match=said):
        call()
