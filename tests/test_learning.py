"""Hours that learn: pooling as printed, forecasts that hold on made-up shops, odd input."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_hours import BASE, FAMILY, SMALL, make, summary, walk
from scipy import integrate, optimize, stats

from estimator.errors import BadInput
from estimator.learning import HoursModel, pool, pooling, totals
from estimator.learning import model as model_room
from estimator.learning.calibration import EDGES, levels
from estimator.learning.pooling import Additive
from estimator.learning.priors import (
    CLIP,
    HALF_LIFE,
    LEVEL_COUNT,
    LOG_OF_NORMAL,
    RHO,
    RHO_COUNT,
    RHO_MOST,
    SHAPE_COUNT,
    SHAPE_MIX,
    SIMILAR_COUNT,
    SIMILAR_MOST,
    SIMILAR_WIDTH,
    SPREAD,
    WILDER,
    WINDOW,
    Pool,
)
from estimator.learning.records import Labels
from estimator.learning.rounding import Rounding, multiples
from estimator.learning.shape import KNOTS, shape
from estimator.learning.similar import Similar
from estimator.learning.spread import Spread, rows_interp
from estimator.learning.totals import Jobs, table_levels, total_quantiles

PROBS = np.array([0.05, 0.1, 0.25, 0.5, 0.75, 0.8, 0.9, 0.95])


def record(est=2.0, act=2.5, kind="a", person="p", job=None, day=0):
    """One finished task."""
    return {"est": est, "act": act, "kind": kind, "person": person, "job": job, "day": day}


# --- pooling -------------------------------------------------------------------------------------


def balanced(means, size, within):
    """Sums of labels with `size` records each, of these means and this variance within."""
    means = np.asarray(means, float)
    return (np.full(len(means), size), size * means,
            size * means**2 + (size - 1) * np.full(len(means), within))


def test_pooling_of_labels_of_one_size_is_the_analysis_of_variance():
    """Restricted likelihood and analysis of variance agree where labels have as many records."""
    # S. R. Searle, G. Casella & C. McCulloch, "Variance Components", 1992, ch. 3 (from memory).
    means, size, within = np.array([4.0, 6.5, 5.0, 9.0, 7.5]), 6, 2.3
    found = pool(*balanced(means, size, within))
    assert found.within == pytest.approx(within, rel=1e-6)
    assert found.between == pytest.approx(means.var(ddof=1) - within / size, rel=1e-6)
    assert found.mean == pytest.approx(means.mean())


def test_pooling_leaves_no_variance_between_where_labels_differ_less_than_chance():
    """Eight schools, unlike as they look: the variance between them is found to be 0."""
    # D. B. Rubin 1981, as in Gelman et al., "Bayesian Data Analysis", 5.5. The schools' standard
    # errors stand for records: 1/se² of each, with variance 1 within.
    y = np.array([28.39, 7.94, -2.75, 6.82, -0.64, 0.63, 18.01, 12.16])
    se = np.array([14.9, 10.2, 16.3, 11, 9.4, 11.4, 10.4, 17.6])
    count = 1e6 / se**2
    found = pool(count, count * y, count * y**2 + (count - 1) * 1e6)
    assert found.between == 0
    assert found.mean == pytest.approx(7.8705, abs=0.01)
    assert found.means == pytest.approx(np.full(8, found.mean))


def test_pooling_shrinks_the_batting_averages_of_1970():
    """Eighteen batters: drawn to their mean, the first 45 at bats foretell the season better."""
    # B. Efron & C. Morris, Scientific American, May 1977: mean .265, kept c = .212 of the
    # distance from it; squared error to the rest of the season .0754 raw, .0213 drawn in. Their
    # 1 − c is (k − 3) σ²/Σ(y − ȳ)²; the restricted likelihood divides by k − 1: 17 instead of 15.
    hits = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7])
    rest = np.array([.346, .298, .276, .222, .273, .270, .263, .210, .269, .230, .264, .256,
                     .303, .264, .226, .285, .316, .200])
    first = hits / 45
    found = pool(np.full(18, 45), hits, hits)
    assert found.mean == pytest.approx(0.265, abs=0.001)
    kept = (found.means[0] - found.mean) / (first[0] - found.mean)
    assert kept == pytest.approx(1 - (1 - 0.212) * 17 / 15, abs=0.002)
    assert ((first - rest) ** 2).sum() == pytest.approx(0.0754, abs=0.0001)
    assert ((found.means - rest) ** 2).sum() == pytest.approx(0.0213, abs=0.0015)


def test_pooling_agrees_with_the_likelihood_written_out():
    """The same answer as minimising the restricted likelihood of the full matrices."""
    # D. A. Harville, J. American Statistical Association 72, 1977, eq. 4.2.
    rng = np.random.default_rng(3)
    labels = np.repeat(np.arange(7), [1, 2, 3, 5, 8, 13, 4])
    y = 2 + rng.normal(0, 0.7, 7)[labels] + rng.normal(0, 0.5, len(labels))
    same = (labels[:, None] == labels).astype(float)
    ones = np.ones((len(y), 1))

    def loss(logs):
        cover = np.eye(len(y)) * math.exp(logs[0]) + same * math.exp(logs[1])
        inverse = np.linalg.inv(cover)
        inner = (ones.T @ inverse @ ones)[0, 0]
        middle = (ones.T @ inverse @ y)[0] / inner
        off = y - middle
        return np.linalg.slogdet(cover)[1] + math.log(inner) + off @ inverse @ off

    best = optimize.minimize(loss, [0.0, 0.0], method="Nelder-Mead",
                             options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000}).x
    found = pool(*(np.bincount(labels, part) for part in (np.ones(len(y)), y, y * y)))
    assert found.within == pytest.approx(math.exp(best[0]), rel=1e-4)
    assert found.between == pytest.approx(math.exp(best[1]), rel=1e-4)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_pooling_agrees_with_an_independent_library(seed):
    """Variances, mean and the pooled means themselves are those of statsmodels' mixed model."""
    # statsmodels, MixedLM with a random intercept, fitted by REML.
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(seed)
    labels = np.repeat(np.arange(30), rng.integers(1, 25, 30))
    y = 0.1 + rng.normal(0, 0.2, 30)[labels] + rng.normal(0, 0.35, len(labels))
    theirs = MixedLM(y, np.ones(len(y)), labels).fit(reml=True, gtol=1e-8)
    ours = pool(*(np.bincount(labels, part) for part in (np.ones(len(y)), y, y * y)))
    assert ours.mean == pytest.approx(theirs.fe_params[0], abs=1e-5)
    assert ours.within == pytest.approx(theirs.scale, rel=1e-4)
    assert ours.between == pytest.approx(float(np.ravel(theirs.cov_re)[0]), rel=2e-4)
    effects = [float(np.ravel(theirs.random_effects[label])[0]) for label in range(30)]
    assert ours.means - ours.mean == pytest.approx(effects, abs=1e-4)
    # Given the variances, a mean is as sure as prior and records together (Gelman et al., 5.4).
    precise = 1 / ours.between + np.bincount(labels) / ours.within
    assert ours.sds == pytest.approx(precise ** -0.5)


@pytest.mark.parametrize("log_ratio", [-13.7, -12.4, -11.6, -3, 0, 3, 8.7, 9.6])
def test_variances_far_apart_are_found_too(log_ratio):
    """A millionth of the variance lies between labels, or all but a ten-thousandth of it."""
    # Labels of one size, so the answer is that of the analysis of variance.
    size, between = 10**6, math.exp(log_ratio)
    means = np.array([-1.0, -0.2, 0.5, 0.7])
    means *= math.sqrt((between + 1 / size) / means.var(ddof=1))
    found = pool(*balanced(means, size, 1.0))
    assert (found.within, found.between) == pytest.approx((1, between), rel=1e-3)


def test_a_label_without_records_gets_the_mean_of_all():
    """It is as uncertain as labels differ, and changes nothing for the others."""
    some, more = pool([3, 3], [3.0, 9.0], [5.0, 29.0]), pool([3, 0, 3], [3.0, 0, 9.0], [5.0, 0, 29])
    assert more.means == pytest.approx([some.means[0], some.mean, some.means[1]])
    assert more.sds[1] == pytest.approx(math.sqrt(some.between))
    assert (more.mean, more.within, more.between) == (some.mean, some.within, some.between)


def test_pooling_weighs_as_the_normal_model_does():
    """Prior 100 give or take 20, four records of 30 with mean 130: 119.2 give or take 12."""
    # The standard normal-normal result: weight of the prior 900/4 / (900/4 + 400) = .36.
    prior = Pool(100.0, 20.0, 1e-6, (1e-4,), 30.0, 1e9)
    model = Additive(prior)
    model.fit(np.full(4, 130.0), np.ones(4), np.zeros(4), [np.zeros(4, int)], [1])
    mean, var = model.at(np.zeros(1), [np.zeros(1, int)])
    assert mean[0] == pytest.approx(119.2, abs=0.01)
    assert math.sqrt(var[0]) == pytest.approx(12.0, abs=0.01)


EIGHT = np.array([28, 8, -3, 7, -1, 1, 18, 12.0])
EIGHT_SDS = np.array([15, 10, 16, 11, 9, 11, 10, 18.0])


@pytest.mark.parametrize(
    ("tau", "mean", "means", "sds"),
    [(5, 7.851, [9.866, 7.881, 6.886, 7.705, 5.763, 6.678, 9.881, 8.148],
      [4.743, 4.472, 4.772, 4.552, 4.371, 4.552, 4.472, 4.818]),
     (10, 8.1265, [14.241, 8.063, 5.001, 7.617, 3.084, 4.902, 13.063, 9.040], None)],
)
def test_eight_schools_are_pooled_as_printed(monkeypatch, tau, mean, means, sds):
    """With the spread between schools given, each school's effect is drawn in by its own error."""
    # A. Gelman et al., Bayesian Data Analysis, 5.4-5.5: data as printed, formula from memory.
    monkeypatch.setattr(pooling, "_between", lambda *_: float(tau) ** 2)
    model = Additive(Pool(0.0, 1e6, 1e-9, (float(tau),), 1.0, 1e15))
    codes = np.arange(8)
    # The mean and the effects are fitted in turn, which takes its time.
    for _ in range(300):
        model.fit(EIGHT, EIGHT_SDS**-2, np.zeros(8), [codes], [8])
    assert model.mean == pytest.approx(mean, abs=0.001)
    assert model.mean + model.effects[0] == pytest.approx(means, abs=0.001)
    if sds:
        assert np.sqrt(model.vars[0]) == pytest.approx(sds, abs=0.001)


def test_pooling_needs_something_to_pool():
    """One label, too few records or records all the same are refused in plain words."""
    for few in (([5], [5.0], [6.0]), ([1, 1], [1.0, 2.0], [1.0, 4.0])):
        with pytest.raises(ValueError, match="two labels"):
            pool(*few)
    assert pool([2, 1], [2.0, 3.0], [2.5, 9.0]).within > 0  # three records are enough
    with pytest.raises(ValueError, match="the same"):
        pool([2, 2], [2.0, 2.0], [2.0, 2.0])


def test_labels_without_a_record_differ_as_the_prior_says():
    """With nothing counted the variance between labels is the square of the prior's scale."""
    assert pooling._between(np.zeros(3), np.zeros(3), 1.0, 0.5) == 0.25


@pytest.mark.parametrize(("labels", "sd", "scale", "size"), [
    (6, 0.4, 0.5, 20), (3, 0.1, 0.25, 5), (12, 0.8, 1.0, 10), (2, 0.3, 0.25, 2),
    (30, 0.15, 0.25, 40), (8, 0.0, 0.25, 3000), (200, 0.3, 0.25, 50), (40, 5.0, 0.25, 10)])
def test_the_spread_between_labels_is_the_mean_over_its_posterior(labels, sd, scale, size):
    """As the posterior integrated, with a half-normal prior on the spread itself."""
    # A. Gelman, Bayesian Analysis 1, 2006, for priors on the spread; by numerical quadrature.
    rng = np.random.default_rng(labels)
    count, means = rng.integers(1, 2 * size, labels).astype(float), rng.normal(0, sd, labels)

    def log_density(tau):
        var = tau**2 + 1 / count
        return -tau**2 / (2 * scale**2) - 0.5 * (np.log(var) + means**2 / var).sum()

    # In parts, so that none is too wide for a narrow peak to be seen; as logs they never vanish.
    top = max(log_density(tau) for tau in np.geomspace(1e-4, 8, 2000))
    places = [0, *np.geomspace(1e-4, 16, 120)]

    def moment(power):
        return math.fsum(integrate.quad(
            lambda tau: tau**power * math.exp(log_density(tau) - top), low, high)[0]
            for low, high in itertools.pairwise(places))

    wanted = moment(2) / moment(0)
    assert pooling._between(count, count * means, 1.0, scale) == pytest.approx(wanted, rel=1e-3)
    more = pooling._between(np.append(count, 0), np.append(count * means, 0), 1.0, scale)
    assert more == pooling._between(count, count * means, 1.0, scale)
    thrice = pooling._between(count, 3 * count * means, 9.0, 3 * scale)
    assert thrice == pytest.approx(9 * pooling._between(count, count * means, 1.0, scale))


def test_a_pooled_model_starts_from_its_guesses():
    """Before there are records its variance is what the guesses add up to."""
    model = Additive(Pool(0.1, 0.4, 0.3, (0.5, 0.6), 0.7, 1.0))
    unknown = np.array([-1, 3])
    mean, var = model.at(np.array([0.0, 2.0]), [unknown, unknown])
    assert mean == pytest.approx([0.1, 0.1])
    assert var == pytest.approx([0.16 + 0.25 + 0.36, 0.16 + 0.25 + 0.36 + 0.09 * 4])
    assert model.noise == pytest.approx(0.49)


def test_a_line_is_as_steep_and_as_sure_as_least_squares_says():
    """With guesses that say nothing: weighted least squares, its variance and its errors."""
    # N. Draper & H. Smith, "Applied Regression Analysis", ch. 1 (from memory): s^2 is the sum of
    # squares over n - 2, the variance of a mean s^2 (1/n + (x - mid)^2 / Sxx). The guess of the
    # noise counts as so many records more (Gelman et al., 14.8).
    x, y = np.array([0.0, 1, 2, 3, 5, 6]), np.array([0.0, 2, 1, 3, 4, 8])
    once, none = np.ones(6), np.zeros(6, int)
    line = stats.linregress(x, y)
    squares = ((y - line.intercept - line.slope * x) ** 2).sum()
    for count, noise in ((1e-9, squares / 4), (8.0, (squares + 8.0 * 2**2) / (4 + 8))):
        model = Additive(Pool(0.0, 1e5, 1e5, (1e-3,), 2.0, count))
        expected = model.fit(y, once, x, [none], [1])
        assert expected == pytest.approx(line.intercept + line.slope * x, rel=1e-3)
        assert model.noise == pytest.approx(noise, rel=2e-3)
        var = model.at(np.array([4.0]), [none[:1]])[1]
        sxx = ((x - x.mean()) ** 2).sum()
        assert var == pytest.approx(noise * (1 / 6 + (4 - x.mean()) ** 2 / sxx), rel=0.01)
    twice = Additive(Pool(0.0, 1e5, 1e5, (1e-3,), 2.0, 1e-9))
    weight = np.array([2.0, 1, 1, 1, 2, 1])
    slope, start = np.polyfit(x, y, 1, w=np.sqrt(weight))
    assert twice.fit(y, weight, x, [none], [1]) == pytest.approx(start + slope * x, rel=1e-3)


def test_additive_pooling_solves_the_equations_of_the_mixed_model():
    """With its own variances, the fit is the best linear unbiased prediction, solved directly."""
    # C. R. Henderson, Biometrics 31, 1975: mixed model equations, here with every part random.
    rng = np.random.default_rng(5)
    a, b = rng.integers(0, 6, 300), rng.integers(0, 4, 300)
    x = rng.normal(size=300)
    y = rng.normal(0, 0.4, 6)[a] + rng.normal(0, 0.3, 4)[b] + 0.1 * x + rng.normal(0, 0.5, 300)
    prior = Pool(0.0, 0.5, 0.2, (0.3, 0.3), 0.5, 10.0)
    model = Additive(prior)
    for _ in range(200):
        model.fit(y, np.ones(300), x, [a, b], [6, 4])
    design = np.column_stack([np.ones(300), x - x.mean(), np.eye(6)[a], np.eye(4)[b]])
    precise = np.concatenate([[0.5**-2, 0.2**-2], np.full(6, 1 / model.between[0]),
                              np.full(4, 1 / model.between[1])])
    solved = np.linalg.solve(design.T @ design / model.noise + np.diag(precise),
                             design.T @ y / model.noise)
    assert model.at(x, [a, b])[0] == pytest.approx(design @ solved, abs=1e-4)
    assert model.fitted(x, [a, b]) == pytest.approx(design @ solved, abs=1e-4)
    # Noise: what is left, over records less what mean, slope and effects have used up (R. Schall,
    # Biometrika 78, 1991), with the guess of it as ten records more.
    used = sum((n / (n + model.noise / between)).sum() for n, between in
               zip((np.bincount(a), np.bincount(b)), model.between, strict=True))
    left = y - design @ solved
    noise = (left @ left + 10 * 0.5**2) / (300 - 2 - used + 10)
    assert model.noise == pytest.approx(noise, rel=1e-4)
    sure = [1 / (np.bincount(part) / noise + 1 / between) for part, between in
            zip((a, b), model.between, strict=True)]
    off, sxx = np.array([0.5, -1.0]), ((x - x.mean()) ** 2).sum()
    var = 1 / (300 / noise + 1 / 0.5**2) + off**2 / (sxx / noise + 1 / 0.2**2)
    found = model.at(x.mean() + off, [np.array([2, -1]), np.array([3, 9])])[1]
    var += np.array([sure[0][2] + sure[1][3], sum(model.between)])
    assert found == pytest.approx(var, rel=1e-4)


# --- the parts -----------------------------------------------------------------------------------


def test_rows_are_interpolated_each_on_its_own():
    """As one call of the ordinary interpolation for each row."""
    rng = np.random.default_rng(1)
    table = np.sort(rng.normal(size=(5, 9)), axis=1)
    of = np.sort(rng.normal(size=(5, 9)), axis=1)
    values = rng.normal(size=(5, 4))
    expected = [np.interp(values[i], table[i], of[i]) for i in range(5)]
    assert rows_interp(values, table, of) == pytest.approx(np.array(expected), abs=1e-9)


def test_many_places_outweigh_the_guessed_shape():
    """The shape of ten thousand evenly spread tasks is even."""
    places = np.linspace(-1, 1, 10_001)
    found = np.interp([-0.5, 0, 0.5], KNOTS, shape(places, np.ones(len(places))))
    assert found == pytest.approx([0.25, 0.5, 0.75], abs=0.01)


def test_the_guessed_shape_is_a_mixture_of_two_normals():
    """Three in four of a narrow one, one in four of a wide one, cut off at the ends."""
    # Shares of normals by scipy.stats; the mixture itself is a judgement (`priors`).
    mixed = sum(share * stats.norm.cdf(KNOTS, scale=sd) for share, sd in SHAPE_MIX)
    cut = (mixed - mixed[0]) / (mixed[-1] - mixed[0])
    assert shape(np.zeros(0), np.zeros(0)) == pytest.approx(cut, abs=1e-12)
    assert (-KNOTS[::-1]).tolist() == pytest.approx(KNOTS.tolist())
    assert sum(share for share, _ in SHAPE_MIX) == 1


def test_places_count_beside_the_guess_as_they_weigh():
    """Those below a knot, half of those at it, and the guess as so many tasks: counted out."""
    rng = np.random.default_rng(4)
    places = np.concatenate([rng.normal(0, 2, 50), KNOTS[[20, 30, 30, 41]], [-99.0, 99.0]])
    weights = rng.uniform(0.2, 1, len(places))
    inside = np.clip(places, KNOTS[0], KNOTS[-1])
    counted = [weights[inside < knot].sum() + weights[inside == knot].sum() / 2 for knot in KNOTS]
    counted[0], counted[-1] = 0, weights.sum()
    guess = shape(np.zeros(0), np.zeros(0))
    found = (np.array(counted) + SHAPE_COUNT * guess) / (weights.sum() + SHAPE_COUNT)
    assert shape(places, weights) == pytest.approx(found)


def test_levels_of_one_cell_are_averaged_with_their_neighbours():
    """A hundred cases in one twentieth: half stay there, a quarter goes to either side."""
    # Hanning's weights: J. W. Tukey, "Exploratory Data Analysis", 7A (from memory).
    for cell, added in ((10, {9: 25, 10: 50, 11: 25}), (0, {0: 75, 1: 25}), (19, {18: 25, 19: 75})):
        counts = np.full(20, LEVEL_COUNT / 20)
        for at, more in added.items():
            counts[at] += more
        level = np.full(50, (cell + 0.5) / 20)
        found = np.diff(levels(level, level, np.full(50, 2.0)))
        assert found == pytest.approx(counts / counts.sum())
    assert levels(level, level, np.ones(50))[[0, -1]].tolist() == [0, 1]


def test_a_case_between_two_levels_counts_evenly_there():
    """Cases anywhere from 0.1 to 0.3 fill four cells, a third of those from 0.25 to 0.4 one."""
    seen = np.zeros(20)
    seen[2:6] += 40 / 4
    seen[5:8] += 30 / 3
    smooth = (np.append(seen[1:], 0) + 2 * seen + np.append(0, seen[:-1])) / 4
    found = levels(np.repeat([0.1, 0.25], [40, 30]), np.repeat([0.3, 0.4], [40, 30]), np.ones(70))
    counts = smooth + LEVEL_COUNT / 20
    assert np.diff(found) == pytest.approx(counts / counts.sum())


def test_levels_are_bent_until_past_cases_fall_evenly():
    """Where all cases fell in the upper half, the median asked for is the old three quarters."""
    came = 0.5 + 0.5 * (np.arange(4000) + 0.5) / 4000
    bent = levels(came, came, np.ones(4000))
    assert np.interp(0.5, bent, EDGES) == pytest.approx(0.75, abs=0.02)


def test_levels_put_right_are_those_a_forecast_uses():
    """A shop whose P80 used to be too low is given a higher one, by the bent levels alone."""
    model = HoursModel()
    before = model.predict([2.0], ["a"], ["p"], [0.8])[0, 0]
    model._levels = levels(np.full(500, 0.85), np.full(500, 0.95), np.ones(500))
    assert model.predict([2.0], ["a"], ["p"], [0.8])[0, 0] > 1.1 * before


def test_tasks_of_the_same_kind_are_the_similar_ones():
    """Ten of one kind among a hundred others weigh a good third, not a tenth."""
    ratio = np.concatenate([np.full(100, 0.0), np.full(10, 1.0)])
    kinds = np.repeat([0, 1], [100, 10])
    past = Similar(ratio, np.zeros(110), np.ones(110), [kinds], [2])
    share, count = past.below(np.array([[0.5], [0.5]]), np.zeros(2), [np.array([1, -1])])
    assert share[1, 0] == pytest.approx(100 / 110, rel=1e-5)
    assert 1 - share[0, 0] == pytest.approx(10 / (10 + 15), abs=0.01)
    assert count[0] < count[1] == pytest.approx(110, rel=1e-5)


def test_similar_tasks_weigh_by_kind_size_and_age():
    """Each past task by the formula, one by one; only the youngest are looked through."""
    # Tasks that a weighted mean stands on: L. Kish, "Survey Sampling", 1965, 8.2.
    rng = np.random.default_rng(12)
    ratio, x, age = rng.normal(size=40), rng.normal(size=40), rng.uniform(0.2, 1, 40)
    kinds, persons = np.repeat([0, 1, 2], [25, 10, 5]), rng.integers(0, 2, 40)
    past = Similar(ratio, x, age, [kinds, persons], [3, 2])
    at, size, own = np.array([-0.3, 0.4]), 0.8, (1, 0)
    boost = [max(age[codes != label].sum() / SIMILAR_COUNT, 1)
             for codes, label in zip((kinds, persons), own, strict=True)]
    weight = np.array([
        age[i] / (1 + ((x[i] - size) / SIMILAR_WIDTH) ** 2)
        * (boost[0] if kinds[i] == 1 else 1) * (boost[1] if persons[i] == 0 else 1)
        for i in range(40)])
    asked = np.array([size]), [np.array([one]) for one in own]
    share, count = past.below(at[None], *asked)
    assert share[0] == pytest.approx([weight[ratio < end].sum() / weight.sum() for end in at],
                                     rel=1e-5)
    assert count[0] == pytest.approx(weight.sum() ** 2 / (weight**2).sum(), rel=1e-5)
    old = np.full(SIMILAR_MOST, 5.0)
    more = Similar(np.append(old, ratio), np.append(old, x), np.append(old, age),
                   [np.append(old.astype(int), kinds)], [6])
    assert len(more.ratio) == SIMILAR_MOST
    assert more.every == pytest.approx(age.sum() + 5.0 * (SIMILAR_MOST - 40), rel=1e-6)
    # Where a kind is most of the shop, it is not pushed down.
    assert Similar(np.zeros(9), np.zeros(9), np.ones(9), [np.zeros(9, int)], [1]).boosts[0] == 1


def test_the_estimate_takes_the_levels_next_to_it():
    """A fifth of all tasks at the estimate, the others even from −1 to 3: levels by hand."""
    line = np.linspace(-1.0, 3.0, 9)[None]
    spread = Spread(np.array([0.2]), line, (line + 1) / 4)
    # 0.8 · ¼ = 0.2 lie below the estimate; it is the answer from there to 0.4.
    asked = np.array([0, 0.1, 0.2, 0.21, 0.39, 0.4, 0.6, 0.8, 1])
    assert spread.quantiles(asked)[0] == pytest.approx([-1, -0.5, 0, 0, 0, 0, 1, 2, 3])
    for ratio, exact, low, high in ((-0.5, False, 0.1, 0.1), (0, True, 0.2, 0.4),
                                    (0, False, 0.2, 0.2), (1, False, 0.6, 0.6), (9, False, 1, 1)):
        found = spread.levels(np.array([float(ratio)]), np.array([exact]))
        assert np.ravel(found) == pytest.approx([low, high])


def test_a_job_under_way_is_known_by_its_finished_tasks():
    """Mean and variance of the common factor are those of a normal given others, by matrices."""
    # Conditional normal: T. W. Anderson, "Multivariate Statistical Analysis", 2.5 (from memory).
    rng = np.random.default_rng(3)
    jobs = Jobs()
    for name in range(60):
        jobs.add([name] * 5, math.sqrt(0.3) * rng.normal() + math.sqrt(0.7) * rng.normal(size=5))
    jobs.add(["new", None, "new", "new"], np.array([0.5, 9.0, 1.5, -0.2]))
    rho = jobs.rho
    assert 0.1 < rho < 0.5
    cover = np.full((4, 4), rho) + np.diag([1 - rho] * 3 + [0])
    cover[3], cover[:, 3], cover[3, 3] = rho**0.5, rho**0.5, 1
    weights = np.linalg.solve(cover[:3, :3], cover[3, :3])
    mean, var = jobs.factor("new")
    assert mean == pytest.approx(weights @ [0.5, 1.5, -0.2])
    assert var == pytest.approx(1 - weights @ cover[3, :3])
    assert jobs.factor("other") == jobs.factor(None) == (0, 1)


def test_correlation_within_jobs_by_hand():
    """Two jobs of normal scores: pairs, their weights, and the guess beside them."""
    # By hand: products of pairs (1·2, 1·3, 2·3; −1·1), each job's mean product times its count
    # less one, over squares of all that count; the guess is worth so many of each.
    jobs = Jobs()
    jobs.add(["a", "b", "a", None, "c"], np.array([1.0, -1.0, 2.0, 5.0, 0.5]))
    jobs.add(["a", "b"], np.array([3.0, 1.0]))
    pairs, weight = 2 * (2 + 3 + 6) / 3 + 2 * -1 / 2, 2 + 1
    var = (RHO_COUNT + 1 + 1 + 4 + 0.25 + 9 + 1) / (RHO_COUNT + 6)
    wanted = (RHO * RHO_COUNT + pairs / var**2) / (RHO_COUNT + weight)
    assert jobs.rho == pytest.approx(wanted)
    for name in range(50):
        jobs.add([name] * 20, np.full(20, (-1.0) ** name))
    assert jobs.rho == RHO_MOST
    against = Jobs()
    against.add([at // 2 for at in range(400)], np.tile([2.0, -2.0], 200))
    assert against.rho == 0


def test_a_job_of_normals_adds_up_as_theory_says():
    """Mean, and variance n σ² (1 + (n − 1) ρ), of alike normals with one common factor."""
    assert table_levels().mean() == pytest.approx(0.5)
    assert totals._normals(4).mean(axis=0) == pytest.approx(np.zeros(4), abs=1e-12)
    tables = np.tile(10 + 2 * stats.norm.ppf(table_levels()), (9, 1))
    probs = (np.arange(2000) + 0.5) / 2000
    for rho in (0.0, 0.1, 0.3):
        found = total_quantiles(tables, probs, rho, 0.0, (0.0, 1.0))
        assert found.mean() == pytest.approx(90, rel=0.005)
        assert found.var() == pytest.approx(9 * 4 * (1 + 8 * rho), rel=0.06)
    # Half of what is not known is shared, and a job that runs over shifts every task of it.
    found = total_quantiles(tables, probs, 0.2, 0.1, (0.5, 0.6))
    assert found.mean() == pytest.approx(90 + 9 * 2 * 0.5 * 0.2**0.5, rel=0.005)
    shared = 0.2 * 0.6 + 0.1
    assert found.var() == pytest.approx(4 * (81 * shared + 9 * 0.7), rel=0.03)
    # A job that is far over altogether: every task at the last of its levels.
    most = total_quantiles(tables, np.array([0.01]), 0.2, 0.0, (99.0, 0.0))
    assert most == pytest.approx(tables[:, -1].sum())



@pytest.mark.parametrize("rho", [0.0, 0.1, 0.3])
def test_correlation_within_jobs_is_learnt(rho):
    """From four hundred finished jobs of eight tasks each."""
    rng = np.random.default_rng(2)
    scores = (math.sqrt(rho) * rng.normal(size=(400, 1))
              + math.sqrt(1 - rho) * rng.normal(size=(400, 8)))
    jobs = Jobs()
    for name, row in enumerate(scores):
        jobs.add([name] * 8, row)
    assert jobs.rho == pytest.approx(rho, abs=0.03)


def booked(hours, persons):
    """What is known of rounding from these hours, all weighing the same."""
    return Rounding(multiples(hours), np.ones(len(hours)), persons, int(persons.max()) + 1)


def test_each_person_has_a_step_of_their_own():
    """Who books whole hours, who books quarters, who books minutes."""
    rng = np.random.default_rng(1)
    hours = np.concatenate([rng.integers(1, 9, 200), rng.integers(1, 33, 200) / 4,
                            rng.integers(1, 481, 200) / 60])
    found = booked(hours, np.repeat([0, 1, 2], 200))
    assert found.step[:2].tolist() == [1.0, 0.25]
    assert (found.left[:2] < 0.1).all()
    assert found.left[2] == 1


def test_steps_are_believed_in_by_their_share():
    """Forty-eight whole hours of one, twelve of another, three hours of minutes: by hand."""
    # Shares of records and of the shop's as twelve records more; from 0.8 to 0.97 the hours are
    # drawn closer, from not at all to a twentieth of the distance.
    hours = np.concatenate([np.full(48, 3.0), np.full(12, 5.0), [1.01, 2.03, 0.07]])
    found = booked(hours, np.repeat([0, 1, 2], [48, 12, 3]))
    shop = 60 / (63 + 12)
    first, second, third = ((n + 12 * shop) / (of + 12) for n, of in ((48, 48), (12, 12), (0, 3)))
    assert found.step[[0, 1, 3]].tolist() == [1, 1, 1]  # the last is anybody
    assert found.left == pytest.approx(
        [1 - 0.95 * (share - 0.8) / 0.17 for share in (first, second)] + [1, 1])
    assert third < shop == 0.8
    assert booked(np.full(999, 3.0), np.zeros(999, int)).left[0] == pytest.approx(0.05)


@pytest.mark.parametrize("step", [8, 4, 2, 1, 0.5, 0.25, 0.1])
def test_whole_halves_quarters_tenths_and_days_are_steps(step):
    """Odd multiples of a step are told as it: days and half days, hours and parts of them."""
    # Common practice, no source: time is booked by the tenth, the quarter, the hour or the day.
    found = booked(step * np.tile([1, 3, 7, 9, 11], 20), np.zeros(100, int))
    assert found.step[0] == step


def test_hours_are_drawn_to_the_quarter_they_would_be_booked_as():
    """A twentieth of the way is left; nothing is booked as no time, and all shun the estimate."""
    found = booked(np.arange(1, 4000) / 4, np.zeros(3999, int))
    left = found.left[0]
    before = np.array([0.05, 0.2, 1.1, 1.125, 1.2, 7.0])
    marks = np.array([0.25, 0.25, 1.0, 1.25, 1.25, 7.0])
    after = found.draw(before[None], np.array([5.0]), np.array([0]))[0]
    assert after == pytest.approx(marks + left * (before - marks))
    # Next to an estimate of 1.05 hours those under it go down, those over it up.
    before, marks = np.array([1.0, 1.04, 1.05, 1.06, 1.3]), np.array([1.0, 1, 1.05, 1.25, 1.25])
    after = found.draw(before[None], np.array([1.05]), np.array([0]))[0]
    assert after == pytest.approx(marks + left * (before - marks))
    # Of an estimate in quarters both neighbours are next to it.
    before, marks = np.array([0.7, 0.95, 1.0, 1.05, 1.3]), np.array([0.75, 0.75, 1, 1.25, 1.25])
    after = found.draw(before[None], np.array([1.0]), np.array([0]))[0]
    assert after == pytest.approx(marks + left * (before - marks))
    # Under an estimate of less than a quarter there is nothing to go to.
    after = found.draw(np.array([[0.1, 0.2, 0.22, 1.1]]), np.array([0.2]), np.array([0]))[0]
    assert after == pytest.approx([0.1, 0.2, 0.25 + left * (0.22 - 0.25), 1 + left * 0.1])
    for estimate in (0.25, 0.3):
        after = found.draw(np.array([[0.1]]), np.array([estimate]), np.array([0]))[0]
        assert after == pytest.approx([0.25 + left * (0.1 - 0.25)])


@settings(max_examples=200, deadline=None)
@given(st.one_of(st.integers(1, 40).map(lambda n: n / 4), st.floats(1e-3, 50)),
       st.lists(st.floats(1e-4, 60), min_size=2, max_size=30))
def test_rounding_passes_no_multiple_and_no_estimate(estimate, asked):
    """Hours stay in order and on their side of every quarter and of the estimate."""
    found = booked(np.arange(1, 200) / 4, np.zeros(199, int))
    before = np.array([sorted([*asked, estimate])])
    after = found.draw(before, np.array([estimate]), np.array([0]))
    assert (np.diff(after) >= -1e-12).all()
    for mark in (*(np.arange(1, 260) / 4), estimate):
        assert (((before >= mark) == (after >= mark)) | np.isclose(after, mark, rtol=1e-9)).all()
    assert (after[before == estimate] == estimate).all()


# --- the model on made-up shops ------------------------------------------------------------------


@pytest.mark.parametrize("name", ["plain", "half estimates", "drift"])
def test_forecasts_hold_on_made_up_shops(name):
    """Walked week by week: P80 and P90 hold as often as they say, the lognormal is beaten."""
    found = summary([walk(HoursModel(), make(FAMILY[name], seed)) for seed in (11, 12)])
    assert found["80"] == pytest.approx(0.8, abs=0.04)
    assert found["P80"] == pytest.approx(0.8, abs=0.04)
    assert found["P90"] == pytest.approx(0.9, abs=0.03)
    assert found["pit"] < 0.05
    assert found["logs"] > 0.03
    assert 0.70 < found["job 80"] < 0.88


def test_young_shops_are_served_too():
    """Shops of 10 to 60 tasks in all: no range far too narrow."""
    found = summary([walk(HoursModel(), make(shop, seed)) for shop in SMALL.values()
                     for seed in range(3)])
    assert 0.75 < found["80"] < 0.9
    assert found["P90"] > 0.85


def test_estimates_of_half_the_time_are_doubled():
    """A shop that always takes twice the estimate is told so after a few dozen tasks."""
    rng = np.random.default_rng(4)
    model = HoursModel()
    model.update([record(est, 2 * est * math.exp(0.2 * rng.normal()), day=at)
                  for at, est in enumerate(rng.uniform(0.5, 8, 60))])
    assert model.predict([3.0], ["a"], ["p"], [0.5])[0, 0] == pytest.approx(6, rel=0.1)


def test_persons_are_told_apart():
    """Who takes half as long again gets longer hours than who keeps to the estimate."""
    rng = np.random.default_rng(6)
    model = HoursModel()
    model.update([record(2.0, 2 * (1.5 if at % 2 else 1.0) * math.exp(0.3 * rng.normal()),
                         person=at % 2) for at in range(200)])
    quick, slow = model.predict([2.0, 2.0], ["a", "a"], [0, 1], [0.5])[:, 0]
    assert slow / quick == pytest.approx(1.5, rel=0.15)


def test_a_slip_of_the_keyboard_does_no_lasting_harm():
    """One task typed a hundred times too long moves the next P90 of its kind by a third at most."""
    rng = np.random.default_rng(9)
    tasks = [record(2.0, 2 * math.exp(0.3 * rng.normal())) for _ in range(60)]
    clean, marred = HoursModel(), HoursModel()
    clean.update(tasks)
    marred.update([*tasks[:-1], tasks[-1] | {"act": 200.0}])
    found = [model.predict([2.0], ["a"], ["p"], [0.5, 0.9])[0] for model in (clean, marred)]
    assert found[1] == pytest.approx(found[0], rel=0.33)


def test_no_label_is_much_wilder_than_its_shop():
    """A kind of three mad tasks gets no range that swallows all others."""
    rng = np.random.default_rng(10)
    model = HoursModel()
    model.update([record(2.0, 2 * math.exp(0.3 * rng.normal())) for _ in range(200)])
    model.update([record(2.0, act, kind="mad") for act in (0.02, 200.0, 0.01) * 5])
    calm, mad = model.predict([2.0] * 2, ["a", "mad"], ["p"] * 2, [0.995])[:, 0]
    assert mad < 200 * calm


def test_the_estimate_itself_has_a_chance_of_its_own():
    """Where half of all tasks come out at the estimate, many levels are the estimate to the bit."""
    rng = np.random.default_rng(7)
    model = HoursModel()
    model.update([record(3.0, 3.0 if rng.random() < 0.5 else 3 * math.exp(0.5 * rng.normal()))
                  for _ in range(400)])
    found = model.predict([3.0], ["a"], ["p"], np.arange(1, 100) / 100)[0]
    assert (found == 3.0).mean() == pytest.approx(0.5, abs=0.1)


def test_a_job_under_way_says_how_it_runs():
    """When the finished tasks of a job ran over, the rest of it is forecast longer."""
    model = HoursModel()
    model.update(make(FAMILY["jobs alike"], 1))
    asked = ([2.0] * 6, ["kind 1"] * 6, [1] * 6, [0.5])
    before = model.predict_total(*asked, job="new")[0]
    model.update([record(2.0, 8.0, "kind 1", 1, "new", 9999) for _ in range(4)])
    assert model.predict_total(*asked, job="new")[0] > 1.1 * model.predict_total(*asked, "none")[0]
    assert before > 0


def lognormal_tasks(count, level, sd, seed=21, *, exact=0.0, est=2.0, **labels):
    """Tasks whose hours are `est` times a lognormal, some of them at the estimate."""
    rng = np.random.default_rng(seed)
    return [record(est, est if rng.random() < exact else
                   est * math.exp(level + sd * rng.normal()), **labels) for _ in range(count)]


def mixed(*shops):
    """Records of several in turn."""
    return [task for tasks in zip(*shops, strict=True) for task in tasks]


def test_spreads_of_kinds_are_told_apart():
    """A steady kind and a wild one, each by its own lognormal: middle, P10 and P90."""
    model = HoursModel()
    model.update(mixed(lognormal_tasks(900, 0.3, 0.2, kind="steady"),
                       lognormal_tasks(900, 0.3, 0.5, 22, kind="wild")))
    found = model.predict([2.0] * 2, ["steady", "wild"], ["p"] * 2, [0.1, 0.5, 0.9])
    true = [stats.lognorm(sd, scale=2 * math.exp(0.3)).ppf([0.1, 0.5, 0.9]) for sd in (0.2, 0.5)]
    assert found == pytest.approx(np.array(true), rel=0.08)


def test_tasks_at_the_estimate_say_nothing_of_the_others():
    """Half at the estimate, half about the double: above the estimate the others' quantiles."""
    model = HoursModel()
    model.update(lognormal_tasks(900, math.log(2), 0.2, exact=0.5))
    found = model.predict([2.0], ["a"], ["p"], [0.2, 0.7, 0.75, 0.9, 0.95])[0]
    others = stats.lognorm(0.2, scale=4).ppf([0.4, 0.5, 0.8, 0.9])
    assert found == pytest.approx([2, *others], rel=0.07)


def test_where_all_come_out_at_the_estimate_hours_are_the_estimate():
    """Six hundred of six hundred: hardly a level is anything else, and all are finite."""
    model = HoursModel()
    model.update(lognormal_tasks(600, 0.0, 0.0, exact=1.0))
    found = model.predict([2.0], ["a"], ["p"], np.arange(1, 200) / 200)[0]
    assert np.isfinite(found).all()
    assert 0.94 < (found == 2.0).mean() < 0.99


def test_long_tasks_are_told_from_short_ones_as_far_as_was_seen():
    """Hours fall as e to the -0.25 of the estimate's logarithm; beyond the estimates seen, no more.
    """
    rng = np.random.default_rng(23)
    model = HoursModel()
    model.update([record(est, est ** 0.75 * math.exp(0.2 * rng.normal()))
                  for est in np.exp(rng.uniform(0, 3, 1500))])
    asked = np.exp([0.2, 1.5, 2.8, 0, 3, -3, 6])
    found = model.predict(asked, ["a"] * 7, ["p"] * 7, [0.5])[:, 0] / asked
    assert found[:3] == pytest.approx(asked[:3] ** -0.25, rel=0.07)
    assert found[-2:] == pytest.approx(found[3:5][[0, 1]], rel=0.08)


def test_who_books_whole_hours_is_forecast_in_whole_hours():
    """Two people at the same kind of work: one books hours, the other minutes."""
    rng = np.random.default_rng(24)
    model = HoursModel()
    hours = 5 * np.exp(0.5 * rng.normal(size=600))
    model.update(mixed([record(5.1, max(round(h), 1), person="hours") for h in hours],
                       [record(5.1, round(60 * h) / 60, person="minutes") for h in hours]))
    whole, fine, nobody = model.predict([5.1] * 3, ["a"] * 3, ["hours", "minutes", "new"],
                                        np.arange(5, 100) / 100)
    off = [np.abs(found - np.round(found)).mean() for found in (whole, fine, nobody)]
    assert off[0] < 0.03
    assert min(off[1:]) > 0.2


def test_one_record_counts():
    """After a single task that took thrice its estimate, more is forecast."""
    model = HoursModel()
    before = model.predict([2.0], ["a"], ["p"], [0.5])[0, 0]
    model.update([record(2.0, 6.0)])
    assert model.predict([2.0], ["a"], ["p"], [0.5])[0, 0] > 1.05 * before


def test_a_job_of_one_task_is_that_task_and_of_two_both():
    """Totals of certain jobs: one task as by itself, two as much as both."""
    model = HoursModel()
    model.update(lognormal_tasks(600, 0.3, 0.2))
    one = model.predict_total([3.0], ["a"], ["p"], PROBS)
    assert (one == model.predict([3.0], ["a"], ["p"], PROBS)[0]).all()
    two = model.predict_total([3.0, 1.5], ["a"] * 2, ["p"] * 2, (np.arange(200) + 0.5) / 200)
    assert two.mean() == pytest.approx(4.5 * math.exp(0.3 + 0.2**2 / 2), rel=0.05)


def test_jobs_that_share_nothing_add_up_as_independent_tasks():
    """Sixteen tasks of a shop long known, with jobs apart: the spread of the sum is four times."""
    model = HoursModel()
    model.update([task | {"job": at // 8} for at, task in
                  enumerate(lognormal_tasks(2400, 0.0, 0.3))])
    probs = (np.arange(400) + 0.5) / 400
    one = model.predict([2.0], ["a"], ["p"], probs)[0]
    total = model.predict_total([2.0] * 16, ["a"] * 16, ["p"] * 16, probs)
    assert 3.8 < total.std() / one.std() < 5.2


def test_a_record_counts_half_after_five_hundred_more(monkeypatch):
    """The youngest counts whole, each older one as 1/2 to the power of its age over 500."""
    seen = []
    monkeypatch.setattr(model_room.calibration, "levels",
                        lambda low, high, weights: seen.append(weights) or EDGES)
    HoursModel().update(lognormal_tasks(1100, 0.0, 0.3))
    assert seen[-1][-1] == 1
    assert seen[-1][[-501, -1001]] == pytest.approx([0.5, 0.25])
    assert len(seen[-1]) == 1100
    # What is no longer kept would count less than 1/70.
    assert 0.5 ** (WINDOW / HALF_LIFE) < 1 / 70


def test_the_shape_of_normals_is_that_of_a_normal():
    """Four hundred tasks of a quarter's spread: in spreads from their level, a standard normal."""
    model = HoursModel()
    model.update(lognormal_tasks(400, 0.2, 0.25))
    found = np.interp([-1, 0, 1], KNOTS, model._shape)
    assert found == pytest.approx(stats.norm.cdf([-1, 0, 1]), abs=0.06)


def test_stretches_of_time_double():
    """The youngest 64 tasks, twice as many before them, four times as many before those."""
    found = model_room._stretch(np.arange(64 + 128 + 256 + 1))
    assert np.bincount(found).tolist() == [64, 128, 256, 1]


def test_tasks_pull_at_the_level_by_how_sure_they_are():
    """Weights are one over the variance, within limits; far tasks pull no harder than near ones."""
    # Weighted least squares: A. C. Aitken, 1935; clipped as P. J. Huber, Annals of Mathematical
    # Statistics 35, 1964.
    class Known:
        mean = LOG_OF_NORMAL + math.log(0.5)  # the usual spread is a half

        def __init__(self, values):
            self.values, self.fits = np.array(values), []

        def fitted(self, x, codes):
            return self.values

        def fit(self, y, weight, *rest):
            self.fits += [y, weight]
            return self.values

    model = HoursModel()
    spread = np.array([0.5, 0.25, 1.0, 0.01, 50.0, 0.5, 0.5])
    model._level, model._spread = Known(np.full(7, 0.1)), Known(np.log(spread) + LOG_OF_NORMAL)
    ratio = np.array([0.4, 0.2, 0.1, 0.1, 0.1, 9.1, -3.9])
    model._fit_level(ratio, np.zeros(7), np.full(7, 0.8), [], [])
    drawn, weight = model._level.fits
    assert drawn == pytest.approx([0.4, 0.2, 0.1, 0.1, 0.1, 0.1 + CLIP * 0.5, 0.1 - CLIP * 0.5])
    spread[4] = math.exp(3 - LOG_OF_NORMAL)
    assert weight == pytest.approx(0.8 * np.clip((0.5 / spread) ** 2, 0.05, 20))
    off, weight = model._spread.fits
    assert np.exp(off[[0, 1, 5, 6]]) == pytest.approx([0.3, 0.1, 3.0, 3.0])
    assert np.exp(off[2:5]) == pytest.approx(0.1 * spread[2:5])
    assert weight == pytest.approx(np.full(7, 0.8))


def test_a_forecast_puts_level_spread_and_similar_tasks_together():
    """Variances of spread and level add up; similar tasks count a half at most, a quarter at fifty.
    """
    # Predictive variance: A. Gelman et al., Bayesian Data Analysis, 2.5.
    class Known:
        mean = math.log(0.5)

        def __init__(self, *answer):
            self.answer = answer

        def at(self, *asked):
            return tuple(np.array([part]) for part in self.answer)

        def below(self, ratio, *asked):
            return np.full(ratio.shape, 0.3), np.array([50.0])

    model = HoursModel()
    model._level, model._similar = Known(0.2, 0.09), Known()
    for log_spread, doubt, sd in ((0.4, 0.1, 0.4 * math.exp(0.05)), (0.4, 0.9, 0.4 * math.exp(0.1)),
                                  (9.0, 0.0, 0.5 * math.exp(WILDER)),
                                  (0.01, 0.0, 0.5 * math.exp(-WILDER))):
        model._spread = Known(math.log(log_spread), doubt)
        found = model._forecast(np.zeros(1), np.array([-1]), np.array([-1]))
        var = (sd / math.exp(LOG_OF_NORMAL)) ** 2 + 0.09
        assert found.sd == pytest.approx(math.sqrt(var))
        assert found.doubt == pytest.approx(0.09 / var)
        assert found.spread.ratio[0] == pytest.approx(0.2 + math.sqrt(var) * KNOTS)
        below = 0.75 * shape(np.zeros(0), np.zeros(0)) + 0.25 * 0.3
        assert found.spread.below[0, 1:-1] == pytest.approx(below[1:-1])
        assert found.spread.below[0, [0, -1]].tolist() == [0, 1]


def test_who_only_books_the_estimate_is_forecast_too():
    """People of whom no other task is known book as anybody does."""
    model = HoursModel()
    model.update(mixed(*([record(2.0, act, person=name) for act in hours] for name, hours in
                         (("a", [3.0, 1.0] * 20), ("b", [2.0] * 40), ("c", [2.0] * 40)))))
    found = model.predict([2.0] * 3, ["a"] * 3, ["b", "c", "new"], [0.1, 0.9])
    assert np.isfinite(found).all()
    assert (found[0] == found[1]).all()


def test_guesses_about_normals_are_those_of_a_normal():
    """Mean and standard deviation of ln|z| of a standard normal, which spreads are read from."""
    # ln of a chi-squared with one degree of freedom: mean ψ(1/2) + ln 2, variance ψ'(1/2).
    from scipy.special import digamma, polygamma
    mean, sd = (digamma(0.5) + math.log(2)) / 2, math.sqrt(polygamma(1, 0.5)) / 2
    assert (LOG_OF_NORMAL, SPREAD.noise) == pytest.approx((mean, sd), abs=0.02)


# --- any input -----------------------------------------------------------------------------------


def test_it_works_without_any_record():
    """The first call of all gives hours about the estimate, for labels of any type."""
    model = HoursModel()
    model.update([])
    found = model.predict([1, 4.0], [None, ["a", "list"]], [float("nan"), ("x", 2)], PROBS)
    assert found.shape == (2, len(PROBS))
    assert (np.diff(found) >= 0).all()
    assert 0.8 < found[0, 3] < 1.3
    assert model.predict([], [], [], PROBS).shape == (0, len(PROBS))
    assert model.predict([1], [None], [None], []).shape == (1, 0)
    assert model.predict_total([], [], [], PROBS).tolist() == [0.0] * len(PROBS)


@pytest.mark.parametrize(("field", "value"), [
    ("act", 0), ("act", -1.0), ("est", float("nan")), ("est", float("inf")), ("act", "soon"),
    ("act", None), ("day", "monday")])
def test_a_wrong_record_is_named_and_none_is_taken(field, value):
    """Record and field stand in the message, and the model forecasts as before."""
    model, other = HoursModel(), HoursModel()
    with pytest.raises(BadInput, match=f"Record 1, {field}"):
        model.update([record(), record() | {field: value}])
    asked = ([2], ["a"], ["p"], PROBS)
    assert (model.predict(*asked) == other.predict(*asked)).all()


def test_a_missing_field_is_named():
    """A record without a kind says so."""
    wanting = record()
    del wanting["kind"]
    with pytest.raises(BadInput, match="Record 0 has no kind"):
        HoursModel().update([wanting])


def test_what_is_no_record_is_named():
    """A row that is a list, not names with values, is said to be none."""
    with pytest.raises(BadInput, match="Record 1 is not a mapping"):
        HoursModel().update([record(), [2.0, 2.5]])


def test_every_fault_says_what_is_wanted():
    """Hours over 0, days that are numbers; none at fault is left out, up to twenty."""
    wrong = [record(est=-1.0), record(day=None), record(act=0.0), record(est=0.5, day=-3)]
    with pytest.raises(BadInput) as told:
        HoursModel().update(wrong)
    assert [fault.what for fault in told.value.faults] == [
        "Record 0, est: -1.0 is not hours over 0.",
        "Record 1, day: None is not a whole number of days.",
        "Record 2, act: 0.0 is not hours over 0."]
    HoursModel().update([record(day=-3), record(est=0.5, act=0.25)])
    with pytest.raises(BadInput) as told:
        HoursModel().update([record(est=0)] * 25)
    assert len(told.value.faults) == 20


def test_labels_of_any_type_are_told_apart():
    """What is equal is one label; lists are told by how they are written, no numbers are None."""
    labels = Labels()
    nan = float("nan")
    seen = ["a", 1, None, ("x", nan), ["x"], {"y"}, 2.5]
    assert labels.add(seen).tolist() == [0, 1, 2, 3, 4, 5, 6]
    assert labels.add([nan, ("x", None), ["x"], np.float64(nan), 1.0, "a"]).tolist() == [
        2, 3, 4, 2, 1, 0]
    assert labels.find(["b", ["z"], ("x", nan), {"y"}, 2.5]).tolist() == [-1, -1, 3, 5, 6]
    assert len(labels) == 7


def test_sizes_are_half_a_logarithm_wide():
    """Estimates within a quarter of a logarithm of the next half are of one size."""
    found = model_room._size(np.array([-0.26, -0.24, 0.24, 0.26, 0.74, 0.76, 1.24]))
    assert found.tolist() == [-1, 0, 0, 1, 1, 2, 2]


def test_a_wrong_question_is_counted_out():
    """Of several figures the first that is wrong is named; the ends of the levels are allowed."""
    with pytest.raises(ValueError, match=r"estimates\[1\] is -2"):
        HoursModel().predict([1, -2, 3, -4], ["a"] * 4, ["p"] * 4, [0.5])
    with pytest.raises(ValueError, match=r"probs\[2\] is 80"):
        HoursModel().predict([1], ["a"], ["p"], [0, 1, 80, 90])


@pytest.mark.parametrize(("asked", "said"), [
    (([[1.0, 2.0]], [None], [None], [0.5]), "one list of numbers"),
    (([1.0], [None], [None], [[0.5]]), "one list of numbers"),
    (([0.0], [None], [None], [0.5]), "estimates"), (([1.0], [None], [None], [1.5]), "probs"),
    (([1.0], [None], [None], [float("nan")]), "probs"), (([1.0], [], [None], [0.5]), "0 kinds")])
def test_a_wrong_question_is_refused(asked, said):
    """Estimates of no hours, levels outside 0 to 1, lists of unequal length."""
    with pytest.raises(ValueError, match=said):
        HoursModel().predict(*asked)
    with pytest.raises(ValueError, match=said):
        HoursModel().predict_total(*asked, job=None)


hours = st.floats(1e-6, 1e6)
labels = st.one_of(st.none(), st.integers(0, 3), st.text(max_size=2), st.floats(), st.booleans())
records = st.builds(record, hours, hours, labels, labels, labels, st.integers(0, 9))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(records, max_size=12), max_size=4),
       st.lists(st.tuples(st.floats(1e-9, 1e9), labels, labels), min_size=1, max_size=5))
def test_quantiles_are_finite_and_rise(batches, asked):
    """Whatever the history and the question, hours are 0 or more, finite, rising with the level."""
    model = HoursModel()
    for batch in batches:
        model.update(batch)
    estimates, kinds, persons = map(list, zip(*asked, strict=True))
    probs = np.array([0, 1e-9, 0.01, 0.3, 0.5, 0.9, 0.9999, 1])
    found = model.predict(estimates, kinds, persons, probs)
    total = model.predict_total(estimates, kinds, persons, probs, None)
    for each in (*found, total):
        assert np.isfinite(each).all()
        assert (each >= 0).all()
        assert (np.diff(each) >= 0).all()
    mixed = model.predict(estimates, kinds, persons, probs[::-1])
    assert (mixed == found[:, ::-1]).all()


def test_the_same_calls_give_the_same_answers():
    """Nothing is drawn anew: two models of one history agree to the bit."""
    answers = []
    for _ in range(2):
        model = HoursModel()
        model.update(make(BASE, 3)[:300])
        answers.append(model.predict([2.0, 5.0], ["kind 1", None], [1, 2], PROBS).tolist())
        answers.append(model.predict_total([2.0, 5.0], ["kind 1", None], [1, 2], PROBS, 3).tolist())
    assert answers[:2] == answers[2:]


def test_thousands_of_kinds_and_long_histories_are_taken():
    """Twenty thousand records of five thousand kinds, then a forecast of each."""
    rng = np.random.default_rng(8)
    est = np.exp(rng.normal(size=20_000))
    act = est * np.exp(0.6 * rng.normal(size=20_000))
    model = HoursModel()
    model.update([record(e, a, int(k), int(p), int(k), 1) for e, a, k, p in
                  zip(est, act, rng.integers(0, 5000, 20_000), rng.integers(0, 50, 20_000),
                      strict=True)])
    found = model.predict(est[:1000], list(range(1000)), [None] * 1000, PROBS)
    assert np.isfinite(found).all()


def test_the_score_used_here_is_the_integral_it_stands_for():
    """The walk's score by quantiles is the integral of the squared distance, for one lognormal."""
    from made_hours import LEVELS, pinball_crps
    law = stats.lognorm(0.5, scale=2)
    below = integrate.quad(lambda t: law.cdf(t) ** 2, 0, 3)[0]
    above = integrate.quad(lambda t: law.sf(t) ** 2, 3, 200)[0]
    found = pinball_crps(np.array([3.0]), law.ppf(LEVELS)[None], LEVELS)[0]
    assert found == pytest.approx(below + above, rel=0.03)
