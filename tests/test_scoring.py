"""Scores as printed, against their definition, and ranges of a share as printed."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import integrate, stats

from estimator.scoring import (
    Audit,
    audit,
    cases_for,
    crps_ensemble,
    crps_exponential,
    crps_gamma,
    crps_lognormal,
    crps_normal,
    crps_t,
    crps_uniform,
    exact_range,
    held,
    mean_relative_error,
    pinball,
    pit_ensemble,
    pit_normal,
    relative_error,
    share_near,
    wilson_range,
)

# --- continuous ranked probability score ---------------------------------------------------------


def test_crps_of_a_normal():
    """Of the standard normal at 0, 1 and 2, and of 40 give or take 10 at 52."""
    # First value: README of github.com/properscoring/properscoring; formula Gneiting et al.,
    # Monthly Weather Review 133, 2005, eq. 5; the other values derived from it.
    assert crps_normal(0, 0, 1) == pytest.approx(0.2336949772551, abs=1e-12)
    assert crps_normal([1, 2], 0, 1) == pytest.approx([0.6024413576, 1.4527918217], abs=1e-9)
    assert crps_normal(52, 40, 10) == pytest.approx(7.4801531788, abs=1e-9)


def test_crps_of_a_lognormal():
    """Two of the standard lognormal, two about 20."""
    # Formula of Baran & Lerch, Q. J. R. Meteorol. Soc. 141, 2015, as in
    # github.com/frazane/scoringrules; values derived.
    found = crps_lognormal([1, 2, 30, 15], [0, 0, math.log(20), math.log(20)], [1, 1, 0.5, 0.5])
    expected = [0.2674054670, 0.5628217524, 5.6823705105, 3.4805126895]
    assert found == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize(
    ("found", "expected"),
    [(crps_t(0.7, 4), 0.4387929), (crps_t(11.1, 5.2, 13.8, 2.3), 1.658226),
     (crps_exponential(3, 0.7), 1.20701837), (crps_gamma(0.2, 1.1, 0.7), 0.6343718),
     (crps_uniform(2.2, 0.1, 3.1), 0.37)],
)
def test_crps_of_other_families(found, expected):
    """Student's t, exponential, gamma and uniform."""
    # tests/test_crps.py of github.com/frazane/scoringrules.
    assert found == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("observed", "members", "expected"),
    [(0, [0, 1], 0.25), (2, [0, 1], 1.25), (0, [-1, 1], 0.5), (0, [0, 0, 1], 1 / 9),
     (1, [0, 0, 1], 4 / 9), (0, [-1, 0, 0, 1], 1 / 8)],
)
def test_crps_of_an_ensemble(observed, members, expected):
    """Small ensembles whose score is a fraction."""
    # tests/test_crps.py of github.com/properscoring/properscoring.
    assert crps_ensemble(observed, members) == pytest.approx(expected, abs=1e-15)


def test_crps_of_a_weighted_ensemble():
    """Two members of weight .8 and .2."""
    # tests/test_crps.py of github.com/properscoring/properscoring.
    found = crps_ensemble([1, 1.5], [0, 2], weights=[0.8, 0.2])
    assert found == pytest.approx([0.68, 0.98], abs=1e-15)


def _integral(forecast, observed):
    """The score from its definition: the squared distance between two distributions."""
    below = integrate.quad(lambda x: forecast.cdf(x) ** 2, -np.inf, observed)[0]
    return below + integrate.quad(lambda x: forecast.sf(x) ** 2, observed, np.inf)[0]


@pytest.mark.parametrize("observed", [-1.5, 0.0, 0.4, 1.0, 3.7])
@pytest.mark.parametrize(
    ("score", "figures", "forecast"),
    [(crps_normal, (0.8, 1.3), stats.norm(0.8, 1.3)),
     (crps_lognormal, (0.1, 0.6), stats.lognorm(0.6, scale=math.exp(0.1))),
     (crps_t, (3.5, 0.5, 1.2), stats.t(3.5, 0.5, 1.2)),
     (crps_exponential, (0.7,), stats.expon(scale=1 / 0.7)),
     (crps_gamma, (2.3, 1.7), stats.gamma(2.3, scale=1 / 1.7)),
     (crps_uniform, (0.2, 2.9), stats.uniform(0.2, 2.7))],
)
def test_closed_forms_agree_with_the_definition(score, figures, forecast, observed):
    """Inside the forecast and outside it, ∫ (F − 1{x ≥ observed})² dx."""
    # Matheson & Winkler, Management Science 22, 1976.
    assert score(observed, *figures) == pytest.approx(_integral(forecast, observed), abs=1e-6)


ENSEMBLES = arrays(float, st.integers(1, 25), elements=st.floats(-1e4, 1e4))


@given(ENSEMBLES, st.floats(-1e4, 1e4), st.randoms(use_true_random=False))
def test_the_sorted_sum_is_the_double_sum(members, observed, random):
    """mean |x − y| − ½ mean |x − x'|, weights or none; and a weight of two is two members."""
    weights = np.array([random.randint(0, 3) for _ in members], float)
    weights[0] += 1
    shares = weights / weights.sum()
    pairs = np.abs(members[:, None] - members)
    expected = shares @ np.abs(members - observed) - shares @ pairs @ shares / 2
    found = crps_ensemble(observed, members, weights)
    assert found == pytest.approx(expected, abs=1e-8)
    doubled = np.repeat(members, weights.astype(int))
    assert found == pytest.approx(crps_ensemble(observed, doubled), abs=1e-8)
    assert found >= -1e-9


@given(ENSEMBLES, st.floats(-1e4, 1e4))
def test_the_ensemble_score_is_the_pinball_loss_over_all_shares(members, observed):
    """Twice the mean pinball loss over fine shares, for an ensemble of a few members."""
    # Gneiting & Raftery, J. Am. Stat. Ass. 102, 2007, section 4.2.
    shares = (np.arange(4000) + 0.5) / 4000
    quantiles = np.quantile(members, shares, method="inverted_cdf")
    found = 2 * pinball(observed, quantiles, shares).mean()
    spread = np.ptp(np.append(members, observed))
    assert crps_ensemble(observed, members) == pytest.approx(found, abs=1e-9 + 2e-3 * spread)


def test_a_large_ensemble_scores_as_what_it_was_drawn_from():
    """The trials at even shares of a normal score as the normal."""
    trials = stats.norm(40, 10).ppf((np.arange(20_000) + 0.5) / 20_000)
    cases = [52, 40, 21.5]
    assert crps_ensemble(cases, trials) == pytest.approx(crps_normal(cases, 40, 10), abs=1e-3)


def test_a_score_is_proper():
    """On average, the truth scores better than a forecast too wide, too narrow or off."""
    # Gneiting & Raftery, as above.
    cases = stats.norm(40, 10).ppf((np.arange(5000) + 0.5) / 5000)
    true = crps_normal(cases, 40, 10).mean()
    assert true == pytest.approx(10 / math.sqrt(math.pi), rel=1e-3)  # sd/√π
    others = [(41, 10), (39, 10), (40, 11), (40, 9)]
    assert all(crps_normal(cases, mean, sd).mean() > true for mean, sd in others)


def test_many_forecasts_at_once():
    """A row of trials for each case gives what each gives alone; also with a row of weights."""
    rng = np.random.default_rng(1)
    members, cases, weights = rng.normal(size=(3, 4, 9)), rng.normal(size=(3, 4)), rng.random(9)
    found = crps_ensemble(cases, members, weights)
    where = pit_ensemble(cases, members, weights)
    assert found.shape == where.shape == (3, 4)
    assert found[2, 1] == pytest.approx(crps_ensemble(cases[2, 1], members[2, 1], weights))
    assert where[0, 3] == pytest.approx(pit_ensemble(cases[0, 3], members[0, 3], weights))


# --- other scores --------------------------------------------------------------------------------


@given(st.floats(0.01, 0.99), ENSEMBLES)
def test_the_quantile_itself_has_the_least_pinball_loss(share, cases):
    """No other case forecast as the quantile scores better."""
    # Koenker & Bassett, Econometrica 46, 1978.
    quantile = np.quantile(cases, share, method="inverted_cdf")
    least = pinball(cases, quantile, share).mean()
    assert all(pinball(cases, other, share).mean() >= least - 1e-8 for other in cases)


def test_where_in_the_forecast_a_case_fell():
    """52 under a normal of 40 give or take 10 lies at .88493; members equal to it count half."""
    # Φ(1.2), any table of the normal.
    assert pit_normal(52, 40, 10) == pytest.approx(0.88493, abs=5e-6)
    assert pit_ensemble([0, 1, 2, 5], [1, 2, 2, 4]).tolist() == [0, 0.125, 0.5, 1]
    assert pit_ensemble(2, [1, 2, 3], [2, 1, 1]) == pytest.approx(0.625)


def test_relative_errors_of_five_tasks():
    """Five tasks: MRE, MMRE .18333, and four of five within a quarter, two of them on it."""
    # Definitions: A. Törn, Åbo Akademi, software quality, after Conte, Dunsmore & Shen, 1986;
    # values derived.
    actual, estimate = [100, 80, 120, 60, 200], [90, 100, 118, 45, 260]
    expected = [0.1, 0.25, 0.01667, 0.25, 0.3]
    assert relative_error(actual, estimate) == pytest.approx(expected, abs=5e-6)
    assert mean_relative_error(actual, estimate) == pytest.approx(0.18333, abs=5e-6)
    assert share_near(actual, estimate) == 0.8
    # |1.2 − 1.5| / 1.2 exceeds 0.25 in the last digit.
    assert share_near([1.2], [1.5]) == 1


# --- how often it held ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hits", "cases", "exact", "wilson"),
    [(7, 50, (0.05819, 0.26740), (0.06951, 0.26186)),
     (81, 263, (0.25274, 0.36762), (0.25529, 0.36621)),
     (15, 148, (0.05784, 0.16165), (0.06239, 0.16049)),
     (0, 20, (0, 0.16843), (0, 0.16113)),
     (1, 29, (0.00087, 0.17764), (0.00611, 0.17176)),
     (421, 500, (0.80702, 0.87287), (0.80744, 0.87135)),
     (42, 50, (0.7089, 0.9283), (0.7149, 0.9166))],
)
def test_ranges_of_a_share(hits, cases, exact, wilson):
    """Exact and Wilson ranges at 95 %."""
    # 7 of 50: SciPy documentation, BinomTestResult.proportion_ci. 421 of 500: Holmes, Illowsky &
    # Dean, Introductory Business Statistics 2e, 8.3. 42 of 50 derived. Others: Newcombe,
    # Statistics in Medicine 17, 1998; from memory.
    places = 1e-5 if cases != 50 or hits == 7 else 1e-4
    assert exact_range(hits, cases) == pytest.approx(exact, abs=places)
    assert wilson_range(hits, cases) == pytest.approx(wilson, abs=places)


@given(st.integers(1, 400), st.floats(0, 1), st.floats(0.01, 0.999))
def test_ranges_are_those_of_the_reference_library(cases, part, confidence):
    """Both ranges agree with an independent library, and hold the share seen."""
    hits = round(part * cases)
    other = stats.binomtest(hits, cases)
    for ours, name in ((exact_range, "exact"), (wilson_range, "wilson")):
        low, high = ours(hits, cases, confidence)
        theirs = other.proportion_ci(confidence, method=name)
        assert (low, high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
        assert 0 <= low <= hits / cases <= high <= 1


@pytest.mark.parametrize("cases", [7, 9, 18])
def test_none_and_all_reach_the_ends(cases):
    """Where it never held, or always did, the range ends at 0 or 1 exactly, without dust."""
    for ours in (exact_range, wilson_range):
        assert ours(0, cases)[0] == 0
        assert ours(cases, cases)[1] == 1


def test_how_often_a_quantile_held():
    """A case on the quantile is one that held; the range is that of Wilson."""
    found = held([3, 5, 7, 9], 7, confidence=0.9)
    assert (found.cases, found.hits, found.share) == (4, 3, 0.75)
    assert (found.low, found.high) == wilson_range(3, 4, 0.9)


def test_an_audit_of_fifty_intervals():
    """Nominal 90 %, 42 hits in 50: the binomial test and Kupiec's ratio do not reject."""
    # P. Kupiec, J. of Derivatives 3, 1995 (formula from memory); figures to 1e-3.
    found = audit(42, 50, 0.9)
    assert found.exact == pytest.approx(0.1559, abs=1e-4)
    assert found.ratio == pytest.approx(1.7247, abs=1e-4)
    assert found.chance == pytest.approx(0.1891, abs=1e-4)
    assert found.holds
    assert not audit(36, 50, 0.9).holds
    # Five heads of ten: every count is as likely or less.
    even = audit(5, 10, 0.5)
    assert (even.exact, even.ratio, even.chance) == (pytest.approx(1, abs=1e-12), 0, 1)
    assert even.exact <= 1
    # 1 in 20 is luck, less is not.
    assert [Audit(exact, 0, 1).holds for exact in (0.0499, 0.05, 0.06)] == [False, True, True]


@given(st.integers(1, 200), st.floats(0, 1), st.floats(0.02, 0.98))
def test_an_audit_is_that_of_the_reference_library(cases, part, share):
    """The exact chance is scipy's binomial test, the other its chi-square of the ratio."""
    hits = round(part * cases)
    found = audit(hits, cases, share)
    assert found.exact == pytest.approx(stats.binomtest(hits, cases, share).pvalue, rel=1e-6)
    assert found.chance == pytest.approx(stats.chi2.sf(found.ratio, 1), rel=1e-9)


@pytest.mark.parametrize(
    ("half", "confidence", "needed"),
    [(0.03, 0.9, 751.7), (0.05, 0.9, 270.6), (0.05, 0.95, 384.16), (0.02, 0.95, 2401),
     (0.03, 0.95, 1067.1)],
)
def test_cases_needed_for_a_share(half, confidence, needed):
    """Sample sizes as printed."""
    # OpenStax, Introductory Business Statistics, 8.4.
    assert cases_for(half, confidence) == pytest.approx(needed, abs=0.2)


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: crps_normal(1, 0, [1, 0]), "sd is 0"),
     (lambda: crps_normal(math.nan, 0, 1), "missing or not finite"),
     (lambda: crps_lognormal(1, 0, -1), "sigma is -1"),
     (lambda: crps_t(1, 1), "df − 1 is 0"),
     (lambda: crps_gamma(1, 0, 1), "shape is 0"),
     (lambda: crps_exponential(1, -2), "rate is -2"),
     (lambda: crps_uniform(1, 2, 2), "high − low is 0"),
     (lambda: crps_ensemble(1, []), "no case"),
     (lambda: crps_ensemble(1, [1, 2], [0, 0]), "not all 0"),
     (lambda: crps_ensemble(1, [1, 2], [2, -1]), "0 or more"),
     (lambda: pinball(1, 1, 80), r"Write 0\.8 for 80 %"),
     (lambda: relative_error(0, 1), "actual is 0"),
     (lambda: share_near(1, 1, -1), r"Write 0\.25 for 25 %"),
     (lambda: held([], []), "no case"),
     (lambda: wilson_range(3, 2), "hits is 3"),
     (lambda: exact_range(0, 0), "cases is 0"),
     (lambda: exact_range(1, 2, 95), r"Write 0\.95 for 95 %"),
     (lambda: audit(1, 2, 80), r"Write 0\.8 for a P80"),
     (lambda: audit(1, 2, 1), "share is 1; it must be over 0 and under 1"),
     (lambda: audit(1, 2, 0), "share is 0"),
     (lambda: audit(0, 0, 0.5), "cases is 0; it must be at least 1"),
     (lambda: audit(3, 2, 0.8), "hits is 3"),
     (lambda: wilson_range(1, 2, -0.1), r"confidence is -0.1.*Write 0\.95 for 95 %"),
     (lambda: cases_for(0.1, share=80), r"share is 80.*Write 0\.8 for 80 %"),
     (lambda: crps_ensemble([1, 2], [[1, 2], [3, 4]], [[1, 1], [0, 0]]), "not all 0"),
     (lambda: cases_for(0), "half_width is 0"),
     (lambda: cases_for(0.1, 90), r"Write 0\.9 for 90 %")],
)
def test_figures_out_of_range_are_refused(call, said):
    """No spread, no case, no weight, percents."""
    with pytest.raises(ValueError, match=said):
        call()
