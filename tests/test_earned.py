"""Earned value and forecasts to complete, as printed and as simulated."""

import math
from dataclasses import astuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.earned import (
    PastJobs,
    Status,
    forecast,
    past_jobs,
    status,
)

# --- where a job stands --------------------------------------------------------------------------


def test_ten_houses():
    """Four of ten houses planned, three built, 6,000 spent of 10,000."""
    # M. Salama, chapter on earned value (scribd.com/document/374082681); estimates at completion
    # derived by the formulas of LBNL, EVMS Reference Guide, 2009.
    job = status([1000] * 10, [1] * 4 + [0] * 6, [1] * 3 + [0] * 7, 1500 + 1000 + 2000 + 1500)
    assert astuple(job) == (10_000, 4000, 3000, 6000)
    assert (job.cost_variance, job.schedule_variance, job.cpi, job.spi) == (-3000, -1000, 0.5, 0.75)
    assert (job.eac_at_cpi, job.eac_at_budget) == (20_000, 13_000)
    assert job.eac_at_both == pytest.approx(24_666.67, abs=0.01)
    assert (job.etc(20_000), job.vac(20_000)) == (14_000, -10_000)
    assert job.tcpi(job.budget) == pytest.approx(1.75)


def test_full_set_on_a_round_case():
    """Budget 100, earned 40, spent 45, planned 50."""
    # wikislate.com, EVM forecasting.
    job = Status(100, 50, 40, 45)
    assert job.cpi == pytest.approx(0.8889, abs=1e-4)
    assert job.eac_at_cpi == pytest.approx(112.5)
    assert (job.etc(112.5), job.vac(112.5)) == (67.5, -12.5)
    assert job.eac_at_both == pytest.approx(129.375)
    assert job.eac_at_budget == 105
    assert job.tcpi(100) == pytest.approx(1.0909, abs=1e-4)
    assert job.tcpi(job.eac_at_cpi) == pytest.approx(0.8889, abs=1e-4)


def test_the_index_is_not_rounded_on_the_way():
    """540,000, and not the 538,344 that an index rounded to 0.93 gives; 527,000 for a one-off."""
    # gristprojectmanagement.us/integration/info-uhq.html, which rounds.
    job = Status(500_000, 150_000, 150_000, 162_000)
    assert job.eac_at_cpi == pytest.approx(540_000, abs=1e-6)
    assert pytest.approx(538_344, abs=1) == 162_000 + 350_000 / 0.93
    assert Status(500_000, 100_000, 100_000, 127_000).eac_at_budget == 527_000


@st.composite
def jobs_under_way(draw):
    """A job with something planned, done and spent, and something left."""
    budget = draw(st.floats(1, 1e6))
    share = st.floats(0.001, 0.999)
    return Status(budget, *(budget * draw(share) for _ in range(2)),
                  budget * draw(st.floats(0.001, 3)))


@given(jobs_under_way())
def test_to_complete_index_of_the_cpi_estimate_is_the_cpi(job):
    """To end where CPI leads, go on at CPI; and that estimate is budget over CPI."""
    assert job.tcpi(job.eac_at_cpi) == pytest.approx(job.cpi, rel=1e-6)
    assert job.eac_at_cpi == pytest.approx(job.budget / job.cpi)


@given(jobs_under_way())
def test_estimates_agree_while_the_book_is_right(job):
    """At CPI 1 all estimates are the budget, but for the one that also weighs being late."""
    job = Status(job.budget, job.planned, job.earned, spent=job.earned)
    assert job.eac_at_cpi == pytest.approx(job.eac_at_budget) == pytest.approx(job.budget)
    assert job.eac_bottom_up(job.left) == job.eac_at_budget
    on_time = Status(job.budget, job.earned, job.earned, spent=job.earned)
    assert on_time.eac_at_both == pytest.approx(job.budget)
    assert job.tcpi(job.budget) == pytest.approx(1)


@given(jobs_under_way(), st.floats(0, 3))
def test_what_is_left_to_spend_and_to_spare(job, times):
    """Any estimate is what was spent and what is to come, and the budget less what is to spare."""
    eac = job.spent + times * job.budget
    assert job.spent + job.etc(eac) == pytest.approx(eac)
    assert job.budget - job.vac(eac) == pytest.approx(eac)


def test_nothing_earned_yet():
    """Hours booked and nothing done: the book is all there is."""
    job = Status(100, 10, 0, 5)
    assert (job.cpi, job.spi, job.eac_at_budget) == (0, 0, 105)
    assert (job.eac_at_cpi, job.eac_at_both) == (None, None)
    assert job.notes == ("Nothing is done yet: how the rest will go cannot be told from this job.",)


def test_nothing_booked_and_nothing_planned():
    """Before the start there is no index."""
    job = Status(100, 0, 0, 0)
    assert (job.cpi, job.spi, job.eac_at_cpi, job.eac_at_both) == (None,) * 4
    assert job.eac_at_budget == 100
    assert len(job.notes) == 3


def test_over_budget():
    """The budget is spent and work is left: no index is enough for it."""
    for spent in (100, 120):
        job = Status(100, 90, 80, spent)
        assert job.tcpi(job.budget) is None
        assert any("cannot be kept" in note for note in job.notes)
    assert job.eac_at_cpi == pytest.approx(150)


@pytest.mark.parametrize("earned", [0.3 + 0.6 + 0.1, 0.7 + 0.2 + 0.1])
def test_finished(earned):
    """All is done, be it with the dust of a sum: every estimate is what was spent."""
    job = Status(1, 1, earned, 1.4)
    assert job.left == 0
    assert {job.eac_at_budget, job.eac_at_cpi, job.eac_at_both, job.eac_bottom_up(0)} == {1.4}
    assert job.tcpi(1.4) is None
    assert job.notes == ("All is done: what was spent is what the job cost.",)
    free = Status(1, 1, earned, 0)
    assert (free.eac_at_cpi, free.cpi) == (0, None)


def test_what_cannot_be_is_refused():
    """More earned than there is, shares over 1, lists that do not fit."""
    with pytest.raises(ValueError, match="earned is 101"):
        Status(100, 50, 101, 3)
    with pytest.raises(ValueError, match="done must be shares"):
        status([1, 2], [1, 1], [1, 1.2], 3)
    with pytest.raises(ValueError, match="same length"):
        status([1, 2], [1, 1], [1], 3)
    with pytest.raises(ValueError, match="a budget is under 0 or missing"):
        status([1, -2], [1, 1], [1, 1], 3)
    with pytest.raises(ValueError, match="budget is 0"):
        status([0], [1], [1], 3)
    with pytest.raises(ValueError, match="two finished jobs"):
        past_jobs([[(1, 1), (2, 2)]])
    with pytest.raises(ValueError, match="book hours must be over 0"):
        past_jobs([[(1, 1), (0, 2)], [(1, 1)]])
    with pytest.raises(ValueError, match="share is 1"):
        forecast(Status(100, 50, 50, 3), PastJobs(1, 0.2, 1), share=1)


# --- what a job will come to ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("claims", "mean", "cohort_mean", "weight", "premium"),
    [(100_155, 2060.921, 1941.675, 0.9061701, 2049.733),
     (13_735, 1805.843, 1941.675, 0.5697845, 1864.280),
     (19_895, 1511.224, 1542.765, 0.6573469, 1522.032),
     (4_152, 1352.976, 1542.765, 0.2858991, 1488.504),
     (36_110, 1599.829, 1542.765, 0.7768832, 1587.097)],
)
def test_weights_of_the_five_states(claims, mean, cohort_mean, weight, premium):
    """Claims of five states, each weighed against its cohort: weight and mean as printed."""
    # C. Hachemeister's data (1975), as fitted by `cm` of the R package actuar: variance within
    # states 139,120,026, between states 13,414.84; printed beside its call in public scripts.
    past = PastJobs(cohort_mean, job_sd=math.sqrt(13_414.84), hour_sd=math.sqrt(139_120_026))
    found = forecast(Status(claims + 1, 0, claims, claims * mean), past)
    assert found.weight == pytest.approx(weight, abs=1e-6)
    assert found.ratio == pytest.approx(premium, abs=2e-3)


def test_known_variance_and_a_normal_prior():
    """Prior 100 ± 20 and four figures of mean 130, sd 30: weight 0.64, mean 119.2."""
    # Formula of Gelman et al., Bayesian Data Analysis, 2.5; figures derived.
    found = forecast(Status(5, 0, 4, 4 * 130), PastJobs(100, job_sd=20, hour_sd=30))
    assert (found.weight, found.ratio) == (pytest.approx(0.64), pytest.approx(119.2))


def test_spread_of_six_batches():
    """Equal weights: variance 1764 between batches of dyestuff and 2451 within."""
    # O. Davies & P. Goldsmith, Statistical Methods in Research and Production, 1972; the data and
    # the estimates as in the documentation of the R package lme4, from memory.
    grams = [[1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495],
             [1595, 1550, 1605, 1510, 1560], [1445, 1440, 1595, 1465, 1545],
             [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445]]
    found = past_jobs([[(1, yield_) for yield_ in batch] for batch in grams])
    assert found.ratio == pytest.approx(1527.5)
    assert found.job_sd**2 == pytest.approx(1764.05, abs=0.01)
    assert found.hour_sd**2 == pytest.approx(2451.25, abs=0.01)


def made_jobs(past: PastJobs, count: int, rng) -> list[np.ndarray]:
    """Jobs of known truth: (book hours, actual hours) of 5 to 39 work items each, gammas."""
    jobs = []
    for own in rng.gamma(1 / past.job_sd**2, past.job_sd**2, count) * past.ratio:
        books = rng.uniform(0.2, 3, rng.integers(5, 40))
        scale = past.hour_sd**2 / own
        jobs.append(np.column_stack([books, rng.gamma(own * books / scale, scale)]))
    return jobs


TRUTH = PastJobs(ratio=1.1, job_sd=0.25, hour_sd=0.8)


def test_spread_of_jobs_is_found_again():
    """Two thousand jobs of known truth and unequal work items give it back, but for noise."""
    found = past_jobs(made_jobs(TRUTH, 2000, np.random.default_rng(3)))
    # A job's own variance grows a little with its ratio; 3 % holds that and the noise.
    assert astuple(found) == pytest.approx((1.1, 0.25 * 1.1, 0.8), rel=0.04)


def test_jobs_that_do_not_differ():
    """Less between jobs than chance gives: jobs do not vary, and a job's ratio weighs nothing."""
    found = past_jobs([[(1, 0.5), (1, 1.5)], [(1, 1.5), (1, 0.5)]])
    assert (found.job_sd, found.weight(10)) == (0, 0)


def test_range_holds_as_often_as_it_says():
    """Eight in ten totals lie within, and one above, from the start to two thirds of the job."""
    # Gammas, not the lognormal that the range supposes: a few more totals end below it.
    past = PastJobs(TRUTH.ratio, TRUTH.job_sd * TRUTH.ratio, TRUTH.hour_sd)
    jobs = made_jobs(TRUTH, 4000, np.random.default_rng(5))
    for part in (0, 1 / 3, 2 / 3):
        inside, above, off = [], [], []
        for job in jobs:
            done = int(part * len(job))
            found = forecast(Status(job[:, 0].sum(), 0, job[:done, 0].sum(), job[:done, 1].sum()),
                             past)
            total = job[:, 1].sum()
            inside.append(found.low <= total <= found.high)
            above.append(total > found.high)
            off.append((total - found.mean) / found.mean)
        assert np.mean(inside) == pytest.approx(0.8, abs=0.035)
        assert np.mean(above) == pytest.approx(0.1, abs=0.02)
        assert np.mean(off) == pytest.approx(0, abs=0.015)


@given(jobs_under_way(), st.floats(0.01, 1), st.floats(0.1, 3))
def test_forecast_lies_between_the_book_and_the_cpi_estimate(job, job_sd, hour_sd):
    """It is a weighing of the two, and each of them at its end."""
    book, own = job.eac_at_budget, job.eac_at_cpi
    found = forecast(job, PastJobs(1, job_sd, hour_sd))
    assert min(book, own) * (1 - 1e-9) <= found.mean <= max(book, own) * (1 + 1e-9)
    assert found.spent <= found.low <= found.high
    assert forecast(job, PastJobs(1, 0, hour_sd)).mean == pytest.approx(book)
    assert forecast(job, PastJobs(1, job_sd, 0)).mean == pytest.approx(own)


@given(jobs_under_way(), st.floats(0.1, 1))
def test_a_wider_range_is_asked_for_and_given(job, hour_sd):
    """A higher share widens both ends; a share of 0 leaves a point."""
    past = PastJobs(1, 0.2, hour_sd)
    point, narrow, wide = (forecast(job, past, share) for share in (0, 0.5, 0.9))
    assert wide.low <= narrow.low <= point.low
    assert point.high <= narrow.high <= wide.high
    assert point.low == pytest.approx(point.high)


def test_forecast_before_the_start_and_after_the_end():
    """The book at the past ratio, and then what was spent."""
    past = PastJobs(1.2, 0.2, 0.8)
    found = forecast(Status(50, 0, 0, 0), past)
    assert (found.weight, found.mean) == (0, pytest.approx(60))
    found = forecast(Status(50, 0, 50, 70), past)
    assert (found.low, found.mean, found.high) == (70, 70, 70)
