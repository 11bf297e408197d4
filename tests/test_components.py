"""Shares of variance of job, hands and kind: published estimates, whole matrices, made shops."""

import math

import numpy as np
import pytest
from scipy import optimize

from estimator.learning import components
from estimator.learning.components import _Sums, shares_of

START = (0.06, 0.04, 0.05)

# Paste strength in %: ten batches, three casks of each, two analyses of each cask.
# O. Davies & P. Goldsmith, Statistical Methods in Research and Production, 1972, p. 136.
PASTES = [
    [(62.8, 62.6), (60.1, 62.3), (62.7, 63.1)], [(60.0, 61.4), (57.5, 56.9), (61.1, 58.9)],
    [(58.7, 57.5), (63.9, 63.1), (65.4, 63.7)], [(57.1, 56.4), (56.9, 58.6), (64.7, 64.5)],
    [(55.1, 55.1), (54.7, 54.2), (58.8, 57.5)], [(63.4, 64.9), (59.3, 58.1), (60.5, 60.0)],
    [(62.5, 62.6), (61.0, 58.7), (56.9, 57.7)], [(59.2, 59.4), (65.2, 66.0), (64.8, 64.1)],
    [(54.8, 54.8), (64.0, 64.0), (57.7, 56.8)], [(58.3, 59.3), (59.2, 59.2), (58.9, 56.6)],
]
# Zones of inhibition in mm: 24 plates (rows), six samples of penicillin on each; section 6.6.
PENICILLIN = """
27 23 26 23 23 21  27 23 26 23 23 21  25 21 25 24 24 20  26 23 25 23 23 20  25 22 26 22 23 20
24 22 25 23 22 19  24 20 23 21 22 19  26 22 26 24 24 21  24 21 24 22 22 20  24 21 24 23 22 19
26 23 26 24 24 21  25 22 26 24 24 20  26 24 26 24 25 22  26 23 26 23 23 20  26 23 25 24 24 22
25 22 25 23 23 20  25 21 24 23 23 20  25 22 24 23 23 19  24 21 23 21 21 19  26 23 26 24 24 21
25 21 24 22 22 18  25 22 25 22 22 20  24 21 24 22 24 19  24 21 24 22 21 18
"""


def test_nested_shares_are_those_of_pastes():
    """Balanced: a batch 1.657, a cask in it 8.434, the analysis 0.678, as mean squares say."""
    y = np.array(PASTES)
    casks = y.mean(2)
    analysis = ((y - casks[..., None])**2).sum() / 30
    cask = 2 * ((casks - casks.mean(1)[:, None])**2).sum() / 20
    batch = 6 * casks.mean(1).var(ddof=1)
    found = shares_of(y.ravel(), np.repeat(range(10), 6), np.tile([0, 0, 1, 1, 2, 2], 10), [0] * 60,
                      start=(0.1, 0.1, 0), start_jobs=0, free=(True, True, False))
    got = np.array([*found.found[:2], 1 - sum(found.found)]) * found.variance
    assert got == pytest.approx([(batch - cask) / 6, (cask - analysis) / 2, analysis], rel=1e-4)
    # The estimates of the R package lme4 in its documentation, from memory.
    assert got == pytest.approx([1.657, 8.434, 0.678], abs=2e-3)


def test_crossed_shares_are_those_of_penicillin():
    """A plate 0.717, a sample 3.731, the rest 0.302: restricted maximum likelihood of lme4."""
    # D. Bates, "lme4: mixed-effects modeling with R", 2.1; balanced.
    y = np.array(PENICILLIN.split(), float)
    found = shares_of(y, [0] * 144, np.repeat(range(24), 6), np.tile(range(6), 24),
                      start=(0, 0.3, 0.3), start_jobs=0, free=(False, True, True))
    got = np.array([*found.found[1:], 1 - sum(found.found)]) * found.variance
    assert got == pytest.approx([0.7169, 3.7309, 0.3024], rel=1e-3)
    assert found.mean == pytest.approx(22.9722, abs=1e-4)


def test_the_next_shares_are_those_of_a_solver():
    """Highest of a parabola over shares from 0: as least squares without negatives (scipy)."""
    rng = np.random.default_rng(7)
    for _ in range(300):
        half = rng.normal(size=(3, 4)) * 10 ** rng.uniform(0, 2)
        slope = rng.normal(size=3) * 10 ** rng.uniform(-1, 3)
        here = components._Point(0.0, slope, half @ half.T, 1.0, 0.0)
        at, loose = np.maximum(rng.normal(0.1, 0.2, 3), 0), rng.random(3) < 0.8
        goal = components._goal(at, here, loose)
        assert (goal[~loose] == at[~loose]).all()
        if loose.any():
            root = np.linalg.cholesky(here.information[np.ix_(loose, loose)])
            right, _ = optimize.nnls(root.T, root.T @ at[loose]
                                     + np.linalg.solve(root, slope[loose]))
            assert goal[loose] == pytest.approx(right, rel=1e-4, abs=1e-5)


def made(seed, shares, jobs=30, sizes=(15, 50), people=3, kinds=10, root=None, sd=0.3):
    """Items of jobs whose shares are known: ln(booked / expected), job, hand and kind of each."""
    rng = np.random.default_rng(seed)
    root = np.eye(kinds) if root is None else root
    parts = []
    for job in range(jobs):
        count = rng.integers(*sizes)
        hand, kind = rng.integers(0, people, count), rng.integers(0, kinds, count)
        score = (math.sqrt(shares[0]) * rng.normal()
                 + math.sqrt(shares[1]) * rng.normal(size=people)[hand]
                 + math.sqrt(shares[2]) * (root @ rng.normal(size=kinds))[kind]
                 + math.sqrt(1 - sum(shares)) * rng.normal(size=count))
        parts.append((0.1 + sd * score, np.full(count, job), hand, kind))
    return [np.concatenate(part) for part in zip(*parts, strict=True)]


def wholly(y, jobs, hands, kinds, alike):
    """R at some shares, what it changes by with each, and the loss of the plain likelihood."""
    job = (jobs[:, None] == jobs).astype(float)
    each = [job, job * (hands[:, None] == hands), job * alike[kinds[:, None], kinds]]
    ones = np.ones(len(y))

    def R(shares):
        return (1 - sum(shares)) * np.eye(len(y)) + sum(
            share * part for share, part in zip(shares, each, strict=True))

    def loss(shares):
        W = np.linalg.inv(R(shares))
        left = y - ones @ W @ y / (ones @ W @ ones)
        return ((len(y) - 1) * math.log(left @ W @ left) + np.linalg.slogdet(R(shares))[1]
                + math.log(ones @ W @ ones))

    return R, [part - np.eye(len(y)) for part in each], loss


ALIKE = np.eye(4)
ALIKE[0, 1] = ALIKE[1, 0] = 0.6


def shop_of_nine(seed, shares=(0.25, 0.15, 0.2), kinds=4):
    """Nine uneven jobs of alike kinds."""
    return made(seed, shares, jobs=9, sizes=(4, 12), kinds=kinds, root=np.linalg.cholesky(ALIKE))


@pytest.mark.parametrize("at", [(0.2, 0.1, 0.3), (0.05, 0.3, 0.0), (0.0, 0.0, 0.0)])
@pytest.mark.parametrize("more", [0.0, 2.5])
def test_likelihood_slope_and_curvature_are_those_of_whole_matrices(at, more):
    """From sums of each job alone, what inverting the matrix of all items gives."""
    # Curvature: S. R. Searle, G. Casella & C. McCulloch, "Variance Components", 1992, 6.3: half
    # of tr(W Ri W Rj), here less what the variance that goes with every share takes of it.
    data, guess = shop_of_nine(3), np.array(START)
    y, n = data[0], len(data[0])
    R, slopes, loss = wholly(*data, ALIKE)
    sums = _Sums(*data, ALIKE)

    def whole(shares):
        W = np.linalg.inv(R(shares))
        added = np.linalg.slogdet(R(shares))[1] + n * math.log(np.trace(W @ R(guess)))
        return -0.5 * (loss(shares) + more * added)

    here, there = sums.at(np.array(at), guess, more), sums.at(guess, guess, more)
    assert here.likelihood - there.likelihood == pytest.approx(whole(at) - whole(guess), abs=1e-6)
    steps = 1e-5 * np.eye(3)
    slope = [(whole(at + step) - whole(at - step)) / 2e-5 for step in steps]
    assert here.slope == pytest.approx(slope, abs=1e-3)
    W, ones = np.linalg.inv(R(at)), np.ones(n)
    traces = np.array([np.trace(W @ part) for part in slopes])
    curve = 0.5 * (np.array([[np.trace(W @ a @ W @ b) for b in slopes] for a in slopes])
                   - np.outer(traces, traces) / n)
    assert here.information == pytest.approx((1 + more) * curve, rel=1e-5, abs=1e-5)
    mean = ones @ W @ y / (ones @ W @ ones)
    assert sums.middle + here.mean == pytest.approx(mean)
    assert here.variance == pytest.approx((y - mean) @ W @ (y - mean) / (n - 1))


@pytest.mark.parametrize("shares", [(0.25, 0.15, 0.2), (0, 0, 0), (0.5, 0, 0), (0, 0.6, 0),
                                    (0.1, 0.1, 0.6), (0.3, 0.65, 0)])
@pytest.mark.parametrize("start", [START, (0, 0, 0), (0.6, 0.2, 0.1)])
def test_it_is_the_maximum_of_the_plain_likelihood(shares, start):
    """Uneven jobs with alike kinds: no other shares are likelier, wherever the search begins."""
    data = shop_of_nine(3, shares)
    R, _, loss = wholly(*data, ALIKE)
    most = {"type": "ineq", "fun": lambda at: 0.99 - sum(at)}
    best = min((optimize.minimize(loss, at, method="SLSQP", bounds=[(0, 0.99)] * 3,
                                  constraints=most, tol=1e-12)
                for at in ((0.1, 0.1, 0.1), (0.5, 0.2, 0.1))), key=lambda found: found.fun)
    found = shares_of(*data, start=start, start_jobs=0, alike=ALIKE)
    assert loss(found.found) <= best.fun + 1e-6
    assert found.found == pytest.approx(best.x, abs=2e-3)
    weights = np.linalg.inv(R(found.found)).sum(axis=0)  # of generalised least squares
    assert found.mean == pytest.approx(weights @ data[0] / weights.sum())


def test_a_share_alone_is_as_uncertain_as_is_printed():
    """Four hundred jobs of five: the standard error of the correlation within a class."""
    # R. A. Fisher, "Statistical Methods for Research Workers", section 40; as in A. Donner, Int.
    # Statistical Review 54, 1986 (from memory): 2 (1-r)^2 (1+(n-1)r)^2 / (n (n-1) (k-1)).
    k, n = 400, 5
    y, jobs, hands, kinds = made(2, (0.4, 0, 0), jobs=k, sizes=(n, n + 1))
    found = shares_of(y, jobs, hands, kinds, start=(0.3, 0, 0), start_jobs=0,
                      free=(True, False, False))
    r = found.found[0]
    printed = math.sqrt(2 * (1 - r)**2 * (1 + (n - 1) * r)**2 / (n * (n - 1) * (k - 1)))
    assert found.sds == pytest.approx((printed, 0, 0), rel=0.01)


@pytest.mark.parametrize("shares", [(0.2, 0.1, 0.15), (0.06, 0.04, 0.05), (0.4, 0.1, 0.1)])
def test_known_shares_are_found_on_average_and_as_surely_as_is_said(shares):
    """150 shops of 60 jobs: means within four standard errors, spreads as the ranges claim."""
    found = [shares_of(*made(seed, shares, jobs=60, sizes=(10, 30)), start=START, start_jobs=0)
             for seed in range(150)]
    got = np.array([one.found for one in found])
    error = got.std(axis=0) / math.sqrt(len(got))
    assert (np.abs(got.mean(axis=0) - shares) < 4 * error + 0.002).all()
    said = np.array([one.sds for one in found]).mean(axis=0)
    assert said / got.std(axis=0) == pytest.approx(np.ones(3), abs=0.25)
    variance = np.array([one.variance for one in found])
    assert variance.mean() == pytest.approx(0.09, rel=0.03)


def test_the_start_counts_as_so_many_jobs():
    """Means over shops lie where jobs and starting jobs are weighed; no jobs' worth is no pull."""
    shares, jobs, more = (0.2, 0.1, 0.15), 15, 10
    got = np.array([shares_of(*made(seed, shares, jobs=jobs), start=START, start_jobs=more).found
                    for seed in range(80)])
    wanted = (jobs * np.array(shares) + more * np.array(START)) / (jobs + more)
    assert got.mean(axis=0) == pytest.approx(wanted, abs=0.012)
    held = shares_of(*made(1, shares, jobs=jobs), start=START, start_jobs=1e7)
    assert held.found == pytest.approx(START, abs=1e-3)


def test_what_cannot_be_told_apart_is_not():
    """One person everywhere: what job and hand have together is found, and split as they start."""
    y, jobs, _, kinds = made(5, (0.3, 0, 0.1), jobs=60)
    hands = np.zeros(len(y), int)
    both = shares_of(y, jobs, hands, kinds, start=START, start_jobs=5).found
    alone = shares_of(y, jobs, hands, kinds, start=(0.1, 0, 0.05), start_jobs=5,
                      free=(True, False, True)).found
    assert both[0] + both[1] == pytest.approx(alone[0], abs=2e-3)
    assert both[0] - both[1] == pytest.approx(START[0] - START[1], abs=1e-3)


def test_kinds_that_are_one_and_the_same_are_the_job():
    """Kinds alike throughout: what job and kind have together is what the job alone has."""
    y, jobs, hands, kinds = shop_of_nine(3)
    both = shares_of(y, jobs, hands, kinds, start=START, start_jobs=0, alike=np.ones((4, 4)))
    alone = shares_of(y, jobs, hands, kinds, start=(0.1, 0.1, 0), start_jobs=0,
                      free=(True, True, False))
    assert both.found[0] + both.found[2] == pytest.approx(alone.found[0], abs=1e-3)


def test_something_is_left_to_the_item():
    """Jobs that are far apart, all items of each the same to a millionth: nearly all is the job's.
    """
    y = np.repeat([0.0, 1.0, 3.0], 4) + 1e-6 * np.arange(12)
    found = shares_of(y, np.repeat([0, 1, 2], 4), [0] * 12, [0] * 12, start=START, start_jobs=0,
                      free=(True, False, False))
    assert 0.98 < sum(found.found) < 0.99


def test_two_items_are_enough():
    """Two items of two jobs: nothing of shares, and the variance of two figures."""
    found = shares_of([1.0, 3.0], [0, 1], [0, 0], [0, 0], start=START, start_jobs=1)
    assert (found.mean, found.variance, found.jobs) == pytest.approx((2, 2, 2))


def test_what_nothing_is_said_about_stays_as_it_starts():
    """One item a job says nothing of what items of a job share; one of a kind nothing of kinds."""
    y = np.random.default_rng(1).normal(size=30)
    for start_jobs in (0, 5):
        found = shares_of(y, range(30), [0] * 30, [0] * 30, start=START, start_jobs=start_jobs)
        assert found.found == pytest.approx(START, abs=1e-6)
        assert min(found.sds) > 100
        assert found.variance == pytest.approx(y.var(ddof=1))
        found = shares_of(y, np.arange(30) // 3, [0] * 30, np.arange(30) % 3, start=(0.1, 0, 0.05),
                          start_jobs=start_jobs, free=(True, False, True))
        assert found.found[2] == pytest.approx(0.05, abs=1e-6)
        assert found.sds[0] < 1 < 100 < found.sds[2]


def test_shares_that_may_not_move_stay():
    """With no share free the start is the answer, known for sure; only the variance is found."""
    y, jobs, hands, kinds = made(5, (0.3, 0, 0.1), jobs=60)
    found = shares_of(y, jobs, hands, kinds, start=START, start_jobs=5, free=(False,) * 3)
    assert found.found == pytest.approx(START)
    assert found.sds == (0, 0, 0)
    assert found.variance > 0


def test_nothing_to_find_is_said():
    """No items, one item, items that are all the same."""
    for y in ([], [0.1], [0.2] * 8):
        with pytest.raises(ValueError, match="differ"):
            shares_of(y, [0] * len(y), [0] * len(y), [0] * len(y), start=START, start_jobs=1)
