"""Shares of variance of job, hands and kind: published estimates, whole matrices, made shops."""

import math

import numpy as np
import pytest
from scipy import optimize

from estimator.learning.components import shares_of

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


def test_it_is_the_maximum_of_the_plain_likelihood():
    """Uneven jobs with alike kinds: no other shares are likelier, by whole matrices."""
    alike = np.eye(4)
    alike[0, 1] = alike[1, 0] = 0.6
    y, jobs, hands, kinds = made(3, (0.25, 0.15, 0.2), jobs=9, sizes=(4, 12), kinds=4,
                                 root=np.linalg.cholesky(alike))
    job = jobs[:, None] == jobs

    def loss(shares):
        if min(shares) < 0 or sum(shares) > 0.99:
            return np.inf
        R = ((1 - sum(shares)) * np.eye(len(y)) + shares[0] * job
             + shares[1] * (job & (hands[:, None] == hands))
             + shares[2] * job * alike[kinds[:, None], kinds])
        W, ones = np.linalg.inv(R), np.ones(len(y))
        left = y - ones @ W @ y / (ones @ W @ ones)
        return ((len(y) - 1) * math.log(left @ W @ left) + np.linalg.slogdet(R)[1]
                + math.log(ones @ W @ ones))

    best = optimize.minimize(loss, (0.1, 0.1, 0.1), method="Nelder-Mead",
                             options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 4000})
    found = shares_of(y, jobs, hands, kinds, start=START, start_jobs=0, alike=alike)
    assert loss(found.found) <= best.fun + 1e-7
    assert found.found == pytest.approx(best.x, abs=2e-3)


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


def test_shares_that_may_not_move_stay():
    """With no share free the start is the answer, known for sure; only the variance is found."""
    y, jobs, hands, kinds = made(5, (0.3, 0, 0.1), jobs=60)
    found = shares_of(y, jobs, hands, kinds, start=START, start_jobs=5, free=(False,) * 3)
    assert found.found == pytest.approx(START)
    assert found.sds == (0, 0, 0)
    assert found.variance > 0


def test_nothing_to_find_is_said():
    """No items, one item, items that are all the same."""
    for y in ([0.1], [0.2] * 8):
        with pytest.raises(ValueError, match="differ"):
            shares_of(y, [0] * len(y), [0] * len(y), [0] * len(y), start=START, start_jobs=1)
