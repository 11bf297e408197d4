"""Ranges, sums, learning and allowances against published examples and a reference library."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from estimator.durations import (
    Lognormal,
    Range,
    average_total,
    chance_by,
    classic_sd,
    date_by,
    learner,
    lognormal_from,
    lognormal_like,
    normal_quantile,
    pert,
    pert_mean,
    pert_sd,
    repeated,
    spread_of_sum,
    standard_time,
    triangular,
    unit_time,
    unit_total,
    units_to_reach,
)

RANGES = st.lists(st.floats(0, 1000), min_size=3, max_size=3).map(lambda p: Range(*sorted(p)))
CHANCES = [0.1, 0.5, 0.8, 0.9]


# --- the range itself ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("points", "said"),
    [((-1, 0, 1), "low is -1; it must be at least 0"), ((1, 0.5, 2), "are out of order"),
     ((1, 3, 2), "are out of order"), ((0, 1, math.inf), "high is inf"),
     ((math.nan, 1, 2), "low is nan")],
)
def test_a_range_that_is_none_is_refused(points, said):
    """Negative, out of order, without an end, not a number: each says which."""
    with pytest.raises(ValueError, match=said):
        Range(*points)


def test_a_range_is_scaled_from_either_side():
    """Three of a kind, written either way round."""
    assert 3 * Range(1, 2, 4) == Range(1, 2, 4) * 3 == Range(3, 6, 12)


# --- distributions -------------------------------------------------------------------------------


def test_three_point_times_of_the_plant_network():
    """Means, variances and the chance of the critical path of an eight-activity network."""
    # Heizer & Render, Operations Management, project management (times seen, rest from memory).
    points = {"A": (1, 2, 3), "B": (2, 3, 4), "C": (1, 2, 3), "D": (2, 4, 6), "E": (1, 4, 7),
              "F": (1, 2, 9), "G": (3, 4, 11), "H": (1, 2, 3)}
    means = {name: pert_mean(*three) for name, three in points.items()}
    assert list(means.values()) == [2, 3, 2, 4, 4, 3, 5, 2]
    variances = {name: classic_sd(low, high) ** 2 for name, (low, _, high) in points.items()}
    printed = [0.1111, 0.1111, 0.1111, 0.4444, 1, 1.7778, 1.7778, 0.1111]
    assert list(variances.values()) == pytest.approx(printed, abs=5e-5)
    path = "ACEGH"
    assert sum(means[name] for name in path) == 15
    assert sum(variances[name] for name in path) == pytest.approx(3.1111, abs=5e-5)
    chance = chance_by(16, [means[n] for n in path], [variances[n] for n in path])
    assert chance == pytest.approx(0.7157, abs=0.0015)  # printed with z rounded to 0.57
    # The 99 % date is printed with z rounded to 2.33.
    assert date_by(0.99, [15], [3.1111]) == pytest.approx(19.11, abs=0.01)


def test_three_point_times_of_the_stadium_project():
    """Twelve activities: means, critical path, its spread, the chance and the safe dates."""
    # Heizer & Render, stadium case; worked answer: ru.scribd.com/document/438492051/POM-docx.
    points = {"A": (20, 30, 40), "B": (20, 65, 80), "C": (50, 60, 100), "D": (30, 50, 100),
              "E": (25, 30, 35), "F": (0.1, 0.1, 0.1), "G": (25, 30, 35), "H": (10, 20, 30),
              "I": (20, 25, 60), "J": (8, 10, 12), "K": (0.1, 0.1, 0.1), "L": (20, 25, 60)}
    means = {name: pert_mean(*three) for name, three in points.items()}
    printed = [30, 60, 65, 55, 30, 0.1, 30, 20, 30, 10, 0.1, 30]
    assert list(means.values()) == pytest.approx(printed)
    path = [points[name] for name in "ACDGHIL"]
    steps = [pert_mean(*three) for three in path]
    variances = [classic_sd(low, high) ** 2 for low, _, high in path]
    assert sum(steps) == pytest.approx(260)
    assert sum(variances) == pytest.approx(319.44, abs=0.005)
    assert chance_by(270, steps, variances) == pytest.approx(0.7123, abs=0.001)
    # Derived from the case with exact quantiles.
    assert date_by(0.8, steps, variances) == pytest.approx(275.04, abs=0.05)
    assert date_by(0.9, steps, variances) == pytest.approx(282.91, abs=0.05)


def test_chance_of_a_critical_path_of_four_steps():
    """Means of 9, 5, 6 and 4 weeks are done within 28 with a chance of 96.33 %."""
    # Taylor, Introduction to Management Science, ch. 8: flylib.com/books/en/3.287.1.117/1.
    path = [(5, 8, 17), (3, 5, 7), (4, 6, 8), (3, 4, 5)]
    means = [pert_mean(*three) for three in path]
    assert means == [9, 5, 6, 4]
    variances = [classic_sd(low, high) ** 2 for low, _, high in path]
    assert sum(variances) == pytest.approx(5.0)
    assert chance_by(28, means, variances) == pytest.approx(0.9633, abs=5e-4)


def test_chance_of_a_path_known_by_mean_and_variance():
    """A path of 26 weeks with variance 4.11, against two dates."""
    # studyxapp.com homework 413234033: 0.311 and 0.975.
    assert chance_by(25, [26], [4.11]) == pytest.approx(0.311, abs=0.001)
    assert chance_by(30, [26], [4.11]) == pytest.approx(0.975, abs=0.001)


def test_steps_without_spread_are_done_on_the_day():
    """Certain steps are never done the day before and always on the day."""
    assert chance_by(5.999, [2, 4], [0, 0]) == 0
    assert chance_by(6, [2, 4], [0, 0]) == 1
    assert date_by(0.9, [2, 4], [0, 0]) == 6


@given(st.floats(0.001, 0.999), st.lists(st.tuples(st.floats(0, 50), st.floats(0.01, 9)),
                                         min_size=1, max_size=8))
def test_the_date_for_a_chance_has_that_chance(chance, steps):
    """Asking for a date and for its chance undo each other."""
    means, variances = zip(*steps, strict=True)
    date = date_by(chance, means, variances)
    assert chance_by(date, means, variances) == pytest.approx(chance, abs=1e-9)


def test_steps_and_variances_must_pair():
    """Two means and one variance are refused, as is a negative variance."""
    with pytest.raises(ValueError, match="2 means but 1 variances"):
        chance_by(1, [1, 2], [1])
    with pytest.raises(ValueError, match="variance is -1"):
        chance_by(1, [1], [-1])
    with pytest.raises(ValueError, match="date is nan"):
        chance_by(math.nan, [1], [1])


def test_triangular_on_4_8_16():
    """Mean, spread and quantiles of the triangular in closed form."""
    # Formulas: rdrr.io/rforge/metRology/man/dtri.html; figures derived from them.
    found = triangular(Range(4, 8, 16))
    assert found.mean == pytest.approx(28 / 3)
    assert found.sd**2 == pytest.approx(6.2222, abs=5e-5)
    assert [found.quantile(p) for p in CHANCES] == pytest.approx(
        [6.19089, 9.07180, 11.61822, 12.90161], abs=1e-5)


def test_triangular_of_unit_variance():
    """From −√6 to √6 about 0 the variance is 1; moved up, for a range starts at 0."""
    # Default case of rdrr.io/cran/DescTools/man/Triangular.html.
    found = triangular(Range(0, math.sqrt(6), 2 * math.sqrt(6)))
    assert found.mean - math.sqrt(6) == pytest.approx(0, abs=1e-12)
    assert found.sd == pytest.approx(1)


def test_pert_on_4_8_16():
    """Shapes, mean, spread and quantiles of the PERT-beta, which is not (high − low)/6 wide."""
    # Formulas: rdrr.io/pkg/mc2d/man/pert.html; figures derived from them.
    found = pert(Range(4, 8, 16))
    assert (found.alpha, found.beta) == pytest.approx((2.33333, 3.66667), abs=1e-5)
    assert (found.mean, found.sd) == pytest.approx((8.66667, 2.21108), abs=1e-5)
    assert classic_sd(4, 16) == 2
    quantiles = 4 + 12 * stats.beta(found.alpha, found.beta).ppf(CHANCES)
    assert quantiles == pytest.approx([5.83633, 8.50975, 10.64981, 11.73348], abs=1e-5)


def test_symmetric_pert_has_shapes_of_three():
    """The default case (−1, 0, 1), moved up by one: shapes 3 and 3, variance 1/7."""
    # rdrr.io/pkg/mc2d/man/pert.html.
    found = pert(Range(0, 1, 2))
    assert (found.alpha, found.beta) == (3, 3)
    assert found.sd**2 == pytest.approx(1 / 7)


@given(RANGES, st.floats(0.5, 20))
def test_pert_moments_are_those_of_the_reference_library(three, shape):
    """Mean and spread agree with a beta of the same shapes from an independent library."""
    found = pert(three, shape)
    width = three.high - three.low
    mean, variance = stats.beta(found.alpha, found.beta).stats("mv")
    assert found.mean == pytest.approx(three.low + width * mean, abs=1e-9 + 1e-9 * width)
    assert found.sd == pytest.approx(width * math.sqrt(variance), rel=1e-6, abs=1e-9)


@given(RANGES.filter(lambda r: r.high - r.low > 1e-3), st.floats(0, 1))
def test_triangular_is_that_of_the_reference_library(three, chance):
    """Quantiles and moments agree with an independent library."""
    width = three.high - three.low
    other = stats.triang((three.typical - three.low) / width, three.low, width)
    found = triangular(three)
    assert found.quantile(chance) == pytest.approx(float(other.ppf(chance)), abs=1e-6 * width)
    assert (found.mean, found.sd) == pytest.approx((other.mean(), other.std()), rel=1e-6)


def test_a_range_without_width_is_certain():
    """Where all three points are one, there is no spread and every quantile is that point."""
    certain = Range(3, 3, 3)
    assert (pert(certain).mean, pert(certain).sd) == (3, 0)
    assert (pert(certain).alpha, pert(certain).beta) == (3, 3)  # as of a symmetric range
    assert triangular(certain).sd == 0
    assert triangular(certain).quantile(0) == triangular(certain).quantile(1) == 3


def test_moments_of_many_ranges_at_once():
    """Arrays go through as numbers do."""
    low, typical, high = np.array([[4, 8, 16], [0, 1, 2]], float).T
    assert pert_mean(low, typical, high) == pytest.approx([8.66667, 1], abs=1e-5)
    assert pert_sd(low, typical, high) == pytest.approx([2.21108, 1 / math.sqrt(7)], abs=1e-5)


def test_lognormal_of_mean_100_and_half_as_much_spread():
    """Parameters, median, mode and quantiles from mean and coefficient of variation."""
    # Equations 1 to 4 of rdrr.io/cran/EnvStats/man/LognormalAlt.html; figures derived.
    found = lognormal_from(100, 0.5)
    assert (found.mu, found.sigma) == pytest.approx((4.493598, 0.472381), abs=1e-6)
    assert found.mode == pytest.approx(71.5542, abs=1e-4)
    quantiles = [found.quantile(p) for p in CHANCES]
    assert quantiles == pytest.approx([48.8238, 89.4427, 133.1084, 163.8545], abs=1e-4)
    assert (found.mean, found.cv) == pytest.approx((100, 0.5))


def test_standard_lognormal():
    """With mu 0 and sigma 1 the mean is √e and the coefficient of variation √(e − 1)."""
    # rdrr.io/r/stats/Lognormal.html.
    found = Lognormal(0, 1)
    assert (found.mean, found.cv) == pytest.approx((1.648721, 1.310832), abs=1e-6)


@pytest.mark.parametrize("chance", [0, 1, -0.1, 80])
def test_a_chance_that_is_none_is_refused(chance):
    """Zero, one and percents have no finite quantile."""
    with pytest.raises(ValueError, match=r"Write 0\.8 for 80 %"):
        normal_quantile(chance)


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: pert(Range(1, 2, 3), 0), "shape is 0; it must be over 0"),
     (lambda: triangular(Range(1, 2, 3)).quantile(-0.1), r"at least 0 .* Write 0\.8 for 80 %"),
     (lambda: triangular(Range(1, 2, 3)).quantile(1.5), r"at most 1\. Write 0\.8 for 80 %"),
     (lambda: lognormal_from(0, 0.5), "mean is 0; it must be over 0"),
     (lambda: lognormal_from(1, -0.5), r"cv is -0\.5; it must be at least 0"),
     (lambda: lognormal_like(Range(0, 0, 0)), "mean is 0; it must be over 0")],
)
def test_a_distribution_that_is_none_is_refused(call, said):
    """Figures that no distribution has: a flat shape, chances beyond 0 and 1, no mean."""
    with pytest.raises(ValueError, match=said):
        call()


def test_a_lognormal_of_less_than_an_hour():
    """A mean below 1 is as good as any, and one without spread is its mean throughout."""
    assert lognormal_from(0.25, 0.5).mean == pytest.approx(0.25)
    assert lognormal_from(0.25, 0).quantile(0.9) == pytest.approx(0.25)


# --- sums of like terms --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("n", "correlation", "short"),
    [(10, 0.1, 27.5), (10, 0.2, 40.2), (10, 0.3, 48.0), (10, 0.5, 57.4), (30, 0.1, 49.4),
     (30, 0.2, 61.7), (30, 0.3, 67.9), (30, 0.5, 74.6), (100, 0.1, 69.7), (100, 0.2, 78.1),
     (100, 0.3, 82.0), (100, 0.5, 85.9)],
)
def test_how_far_a_sum_is_understated_without_its_correlation(n, correlation, short):
    """Percent of the spread that is missed when correlation is left out."""
    # S. Book, correlation in cost estimating, ISPA/SCEA 1999; result from memory.
    missed = 1 - spread_of_sum(1, n, 0) / spread_of_sum(1, n, correlation)
    assert 100 * missed == pytest.approx(short, abs=0.05)


def test_spread_of_thirty_correlated_terms():
    """Thirty terms at 0.2 spread 14.28 times one, independent 5.48 times."""
    # S. Book, as above.
    assert spread_of_sum(1, 30, 0.2) == pytest.approx(14.2829, abs=1e-4)
    assert spread_of_sum(1, 30, 0) == pytest.approx(5.4772, abs=1e-4)


@given(st.integers(2, 30), st.floats(0, 1))
def test_spread_of_a_sum_follows_from_the_covariance_matrix(n, correlation):
    """The closed form is the sum over the whole covariance matrix."""
    matrix = np.full((n, n), correlation)
    np.fill_diagonal(matrix, 1)
    assert spread_of_sum(2, n, correlation) == pytest.approx(2 * math.sqrt(matrix.sum()))


def test_a_correlation_that_cannot_be_is_refused():
    """Three terms cannot all pull against each other by more than a half."""
    assert spread_of_sum(1, 3, -0.5) == 0
    with pytest.raises(ValueError, match=r"correlation is -0\.6"):
        spread_of_sum(1, 3, -0.6)
    # Two may cancel out, one and a half spread by √(1.5 (1 − 0.5)); no two differ more than wholly.
    assert spread_of_sum(1, 2, -1) == 0
    assert spread_of_sum(1, 1.5, -1) == pytest.approx(math.sqrt(0.75))
    for wrong in (-1.01, 1.01):
        with pytest.raises(ValueError, match=rf"correlation is {wrong}; .* -1 and at most 1\."):
            spread_of_sum(1, 1.5, wrong)


def test_one_term_or_a_part_of_one_is_a_sum_too():
    """Less than two terms have the spread of the formula; no terms and a negative one have none."""
    assert spread_of_sum(0.5, 1, 0.3) == 0.5
    assert spread_of_sum(2, 0.25, 1) == pytest.approx(0.5)
    with pytest.raises(ValueError, match="sd is -1; it must be at least 0"):
        spread_of_sum(-1, 2, 0)
    with pytest.raises(ValueError, match="n is 0; it must be over 0"):
        spread_of_sum(1, 0, 0)


# --- learning ------------------------------------------------------------------------------------


def test_unit_curve_of_80_percent():
    """The first ten units and their running totals at 80 %."""
    # Standard textbook table of the unit (Crawford) curve; from memory.
    units = [1, 0.8, 0.7021, 0.64, 0.5956, 0.5617, 0.5345, 0.5120, 0.4929, 0.4765]
    totals = [1, 1.8, 2.5021, 3.1421, 3.7377, 4.2994, 4.8339, 5.3459, 5.8389, 6.3154]
    assert unit_time(1, np.arange(1, 11), 0.8) == pytest.approx(units, abs=5e-5)
    found = [unit_total(1, n, 0.8) for n in range(1, 11)]
    assert found == pytest.approx(totals, abs=5e-5)


def test_the_shipyard_has_two_answers():
    """The fourth boat at 85 %: one price by the unit curve, another by the average curve."""
    # Heizer & Render; average curve worked at justaaa.com/operations-management/714976, which
    # rounds the exponent to −0.234 and so prints $2,859,673; unit curve from memory.
    unit = unit_time(125_000, 4, 0.85)
    assert unit == pytest.approx(90_312.5)
    assert 40 * unit == pytest.approx(3_612_500)
    average = average_total(125_000, 4, 0.85) - average_total(125_000, 3, 0.85)
    assert average == pytest.approx(71_406.9, abs=0.05)
    assert 40 * average == pytest.approx(2_856_277, abs=1)
    assert 40 * average == pytest.approx(2_859_673, rel=0.0015)


def test_units_until_the_standard_is_reached():
    """At 90 % from 11 to 7 hours about unit 20; at 25/30 from 30 to 18 minutes the seventh."""
    # Stevenson, Operations Management, ch. 7S: coursepaper.com, 978-0078024108-imchap07s-part-2.
    assert unit_time(1, 20, 0.9) == pytest.approx(0.634, abs=5e-4)
    reached = units_to_reach(11, 7, 0.9)
    assert 19 < reached < 20
    assert unit_time(11, reached, 0.9) == pytest.approx(7)
    assert units_to_reach(30, 18, 25 / 30) == pytest.approx(6.97, abs=0.005)


@given(st.floats(0.51, 1), st.floats(0, 40), st.floats(0, 40))
def test_more_units_never_take_less_time(rate, some, more):
    """The total grows with the count, and a part of the first unit takes its part of the time."""
    fewer, many = sorted((some, more))
    assert unit_total(1, fewer, rate) <= unit_total(1, many, rate) + 1e-12
    if some <= 1:
        assert unit_total(3, some, rate) == pytest.approx(3 * some)


@given(st.integers(1, 40), st.floats(0.51, 1))
def test_unit_total_is_the_sum_of_unit_times(n, rate):
    """At whole counts nothing is interpolated."""
    assert unit_total(2, n, rate) == pytest.approx(sum(unit_time(2, np.arange(1, n + 1), rate)))


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: unit_time(1, 2, 80), r"Write 0\.8 for an 80 % curve"),
     (lambda: unit_time(1, 2, 1.2), r"rate is 1\.2"),
     (lambda: unit_time(1, 3, 0), "rate is 0; it must be over 0"),
     (lambda: unit_time(1, 0, 0.8), "n counts units"),
     (lambda: unit_time(1, np.array([1, 0]), 0.8), "n counts units"),
     (lambda: unit_total(1, -1, 0.8), "n is -1; it must be at least 0"),
     (lambda: units_to_reach(0, 1, 0.8), "first is 0; it must be over 0"),
     (lambda: units_to_reach(5, 0, 0.8), "target is 0; it must be over 0"),
     (lambda: units_to_reach(5, 6, 0.8), "target is 6"),
     (lambda: units_to_reach(5, 4, 1), "never reached")],
)
def test_learning_out_of_range_is_refused(call, said):
    """Percents, no units, and targets that learning does not reach."""
    with pytest.raises(ValueError, match=said):
        call()


def test_units_until_half_an_hour_is_a_quarter():
    """At 50 % every doubling halves the time, so the second unit takes half: by hand."""
    assert units_to_reach(0.5, 0.25, 0.5) == pytest.approx(2)
    assert unit_total(1, 2, 0.5) == pytest.approx(1.5)


@given(RANGES, st.floats(0, 60), st.sampled_from([0.6, 0.85, 1.0]), st.floats(0, 1))
def test_repeats_keep_their_mean_and_take_the_spread_of_the_sum(one, quantity, rate, correlation):
    """Many units together: mean times the learning, spread as correlated units have it."""
    total = repeated(one, quantity, rate, correlation)
    mean = pert(one).mean * unit_total(1, quantity, rate)
    assert pert(total).mean == pytest.approx(mean, rel=1e-6, abs=1e-9)
    if quantity >= 1 and rate == 1:
        sd = spread_of_sum(pert(one).sd, quantity, correlation)
        assert pert(total).sd == pytest.approx(sd, rel=1e-6, abs=1e-6)
    if quantity <= 1 or correlation == 1:
        factor = unit_total(1, quantity, rate)
        assert total == Range(one.low * factor, one.typical * factor, one.high * factor)


def test_four_independent_units_spread_twice_one():
    """The spread of four rebuilds that have nothing in common is √4 times that of one."""
    one = Range(0.5, 0.75, 1.5)
    assert pert(repeated(one, 4, correlation=0)).sd == pytest.approx(2 * pert(one).sd)
    assert pert(repeated(one, 4)).sd == pytest.approx(4 * pert(one).sd)
    # Half alike: √(n (1 + (n − 1) ρ)) = √10 and, of one and a half, √(1.5 · 1.25).
    assert pert(repeated(one, 4, correlation=0.5)).sd == pytest.approx(math.sqrt(10) * pert(one).sd)
    assert pert(repeated(one, 1.5, correlation=0.5)).sd == pytest.approx(
        math.sqrt(1.875) * pert(one).sd)
    for wrong in (-0.1, 1.1):
        with pytest.raises(ValueError, match=f"correlation is {wrong}"):
            repeated(one, 4, correlation=wrong)


# --- allowances ----------------------------------------------------------------------------------


def test_standard_time_with_an_allowance_of_the_shift():
    """Six observations, rated at 85 %, with 10 % of the shift for allowances."""
    # Univ. of Hawaii at Hilo, QBA 361, time studies: studylib.net/doc/5841379 (data and steps
    # seen, results computed).
    observed = np.mean([20, 23, 19, 18, 24, 25])
    assert observed == 21.5
    normal = observed * 0.85
    assert normal == pytest.approx(18.275)
    assert standard_time(normal, 0.10, of="shift") == pytest.approx(20.3056, abs=1e-4)
    assert standard_time(normal, 0.10) == pytest.approx(20.1025)


def test_standard_time_with_an_allowance_on_normal_time():
    """Thirty seconds at 125 % with 20 % on normal time is 45; of the shift it would be 46.875."""
    # studyx.ai/homework/100510392.
    normal = np.mean([30, 25, 35, 30, 30]) * 1.25
    assert normal == 37.5
    assert standard_time(normal, 0.20) == pytest.approx(45)
    assert standard_time(normal, 0.20, of="shift") == pytest.approx(46.875)


def test_constant_relaxation_allowances():
    """Personal needs and basic fatigue make 9 or 11 % of basic time; standing adds 2 or 4."""
    # ILO, Introduction to Work Study, relaxation allowances; from memory.
    men, women, fatigue = 0.05, 0.07, 0.04
    assert standard_time(100, men + fatigue) == pytest.approx(109)
    assert standard_time(100, women + fatigue) == pytest.approx(111)
    assert standard_time(Range(50, 100, 200), men + fatigue + 0.02).typical == pytest.approx(111)


@pytest.mark.parametrize(
    ("allowance", "of", "said"),
    [(-0.1, "normal", "allowance is -0.1; .* Write 0.1 for 10 %"),
     (1, "shift", "under 1"), (0.1, "day", "must be")],
)
def test_an_allowance_that_is_none_is_refused(allowance, of, said):
    """Negative, the whole shift, and of something unknown."""
    with pytest.raises(ValueError, match=said):
        standard_time(10, allowance, of)


def test_a_learner_takes_longer():
    """A flipper of 20 minutes takes a learner three times as long, never less than the expert."""
    # Common practice, no source: 20 minutes for a fast hand, an hour and more for a learner.
    assert learner(20, 3) == 60
    assert learner(Range(20, 30, 60), 2) == Range(40, 60, 120)
    with pytest.raises(ValueError, match=r"multiplier is 0\.9"):
        learner(20, 0.9)
