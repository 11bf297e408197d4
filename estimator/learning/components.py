"""How far the hours of one job, of a pair of hands in it and of a kind of work in it go together.

y = ln(booked / expected) of a work item is taken as mean + J + H + K + rest, where J is drawn for
each job, H for each pair of hands in a job and K for each kind of work in a job: what a quote
draws. As shares of the variance of y they are estimated by restricted maximum likelihood (H. D.
Patterson & R. Thompson, Biometrika 58, 1971; S. R. Searle, G. Casella & C. McCulloch, "Variance
Components", 1992, ch. 6), from counts and sums of each job alone, and drawn towards shares taken
for granted that count as so many jobs more.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

_NEAR = 1e-5  # shares that move by less than this have been found
_MOST = 0.99  # of all shares together: something is left to the item itself
_HAIR = 1e-6 * np.eye(3)  # information so small that a share may be anything from 0 to 1
_NAMES = 3  # job, hand, kind


@dataclass(frozen=True)
class Shares:
    """Shares of variance of job, hand and kind, in this order.

    Parameters
    ----------
    found
        As estimated, from 0; together below 1. [–]
    sds
        How uncertain they are: standard deviations by the curvature of the likelihood. Those of
        shares that cannot be told, or not be told apart, are far over 1. [–]
    variance
        Of y as a whole, and `mean` its mean.
    jobs
        How many there were.
    """

    found: tuple[float, float, float]
    sds: tuple[float, float, float]
    variance: float
    mean: float
    jobs: int


def shares_of(y: Sequence[float], jobs: Sequence[int], hands: Sequence[int],
              kinds: Sequence[int], *, start: tuple[float, float, float],
              start_jobs: float, free: tuple[bool, bool, bool] = (True, True, True),
              alike: np.ndarray | None = None) -> Shares:
    """Shares of variance that job, hand and kind have in y.

    Parameters
    ----------
    y
        Of each item; at least two, not all the same.
    jobs, hands, kinds
        Numbers from 0 of each item's job, pair of hands and kind of work.
    start, start_jobs
        Shares taken for granted, and as how many jobs like those seen they count; 0 for not at
        all, which gives the plain restricted maximum likelihood.
    free
        Which are looked for; the others stay as in `start`.
    alike
        Correlation matrix of the effects of kinds; None where each has its own.

    Raises
    ------
    ValueError
        If there are too few items, or none of them differ.

    Examples
    --------
    Two jobs of three items each, far apart: nearly all of the variance is the job's.

    >>> found = shares_of([0.0, 0.1, 0.2, 1.0, 1.1, 1.2], [0, 0, 0, 1, 1, 1], [0] * 6, [0] * 6,
    ...                   start=(0.1, 0, 0), start_jobs=0, free=(True, False, False))
    >>> round(found.found[0], 3), round(found.variance, 3)
    (0.98, 0.507)
    """
    sums = _Sums(*(np.asarray(part) for part in (y, jobs, hands, kinds)), alike)
    guess, loose = np.array(start, float), np.array(free)
    at, more = guess, start_jobs / sums.jobs
    here, moved = sums.at(at, guess, more), float(loose.any())
    while moved > _NEAR:
        goal, size = _goal(at, here, loose), 1.0
        new, there = at, here
        while size > 1e-4:
            tried = (1 - size) * at + size * goal
            if tried.sum() < _MOST:
                found = sums.at(tried, guess, more)
                if found.likelihood > here.likelihood:
                    new, there = tried, found
                    break
            size /= 2
        moved, at, here = np.abs(new - at).max(), new, there
    sds = np.zeros(_NAMES)
    known = (here.information + _HAIR)[np.ix_(loose, loose)]
    sds[loose] = np.sqrt(np.diag(np.linalg.inv(known)))
    return Shares(tuple(at.tolist()), tuple(sds.tolist()), here.variance,
                  sums.middle + here.mean, sums.jobs)


def _goal(at: np.ndarray, here: _Point, loose: np.ndarray) -> np.ndarray:
    """Where a parabola through `here` is highest of all shares from 0.

    One share after another would creep along the edge where a share is nought.
    """
    # A hair more keeps shares that cannot be told apart as far apart as they are.
    curve = here.information + _HAIR
    pull = curve[:, loose] @ at[loose] + here.slope
    goal, most = np.where(loose, 0.0, at), 0.0
    # The top lies where some of them are nought and it is flat in the others. Of three there are
    # few such places; to load a solver for them takes longer than all else that is done here.
    for over in itertools.product((False, True), repeat=_NAMES):
        some = np.array(over) & loose
        shares = np.linalg.solve(curve[np.ix_(some, some)], pull[some])
        height = float(shares @ pull[some]) / 2
        if height > most and (shares > 0).all():
            most, goal = height, np.where(loose, 0.0, at)
            goal[some] = shares
    return goal


@dataclass(frozen=True)
class _Point:
    """The log of the restricted likelihood at some shares, its slope and expected curvature."""

    likelihood: float
    slope: np.ndarray
    information: np.ndarray
    variance: float
    mean: float


class _Sums:
    """Counts and sums of each job: all that the likelihood needs of it.

    Z has a column for the job, each of its hands and each of its kinds; G is ZᵀZ, u is Zᵀy. With
    alike kinds their columns are turned so that the effects are independent.
    """

    def __init__(self, y, jobs, hands, kinds, alike):
        if not len(y) or np.ptp(y) == 0:
            raise ValueError("Shares of variance need items that differ.")
        self.jobs, self.n = int(jobs.max()) + 1, len(y)
        self.middle = float(y.mean())
        y = y - self.middle
        (hand, width_h, _), (kind, width_k, whose) = _within(jobs, hands), _within(jobs, kinds)
        cell = (jobs * width_h + hand) * width_k + kind
        shape = (self.jobs, width_h, width_k)
        count, total = (np.bincount(cell, weight, math.prod(shape)).reshape(shape)
                        for weight in (None, y))
        q = 1 + width_h + width_k
        by_hand, by_kind = slice(1, 1 + width_h), slice(1 + width_h, q)
        self.G = np.zeros((self.jobs, q, q))
        self.G[:, by_hand, by_kind] = count
        self.G[:, 0, 0] = count.sum((1, 2))
        for place, axis, columns in ((by_hand, 2, width_h), (by_kind, 1, width_k)):
            side = count.sum(axis)
            self.G[:, 0, place] = side
            spots = np.arange(place.start, place.start + columns)
            self.G[:, spots, spots] = side
        upper = np.triu(self.G, 1)
        self.G += upper.transpose(0, 2, 1)
        self.u = np.concatenate([total.sum((1, 2))[:, None], total.sum(2), total.sum(1)], axis=1)
        if alike is not None:
            turn = np.tile(np.eye(q), (self.jobs, 1, 1))
            # A hair of each kind's own keeps kinds that are one and the same apart.
            near = (1 - 1e-9) * np.asarray(alike) + 1e-9 * np.eye(len(alike))
            known = whose >= 0
            block = np.where(known[:, :, None] & known[:, None, :],
                             near[whose[:, :, None], whose[:, None, :]], np.eye(width_k))
            turn[:, by_kind, by_kind] = np.linalg.cholesky(block)
            self.G = turn.transpose(0, 2, 1) @ self.G @ turn
            self.u = (turn.transpose(0, 2, 1) @ self.u[:, :, None])[:, :, 0]
        self.yy = float(y @ y)
        self.of = np.repeat(np.arange(_NAMES), (1, width_h, width_k))

    def at(self, shares: np.ndarray, guess: np.ndarray, more: float) -> _Point:
        """R = rest·I + Z·D·Zᵀ is the correlation of a job's items, and W its inverse.

        `more` times as many jobs, alike but with shares as guessed and a variance of their own,
        count with what they add on average: −½ (ln|R| + n·ln tr(W·R_guess)), all of them at once.
        """
        rest, root = 1 - float(shares.sum()), np.sqrt(shares[self.of])
        q = len(root)
        middle = rest * np.eye(q) + root[:, None] * self.G * root
        T = root[:, None] * np.linalg.inv(middle) * root
        TG = T @ self.G
        left_G = self.G - self.G @ TG
        ZWZ = left_G / rest
        root_middle = np.linalg.cholesky(middle)
        logs = (self.n - self.jobs * q) * math.log(rest) + 2 * float(
            np.log(np.einsum("jaa->ja", root_middle)).sum())

        # The mean, by weighted least squares; the job's column is all ones.
        ZWy = (self.u - np.einsum("jab,jb->ja", TG.transpose(0, 2, 1), self.u)) / rest
        weight = float(ZWZ[:, 0, 0].sum())
        mean = float(ZWy[:, 0].sum()) / weight
        left = self.u - mean * self.G[:, :, 0]
        squares = self.yy + mean**2 * self.n  # all of y together is 0
        Tleft = np.einsum("jab,jb->ja", T, left)
        known = float((left * Tleft).sum())
        ZWe = ZWy - mean * ZWZ[:, :, 0]
        eWe = (squares - known) / rest
        # (We)ᵀ(We), and the same of the ones.
        eWWe = (squares - 2 * known
                + float(np.einsum("ja,jab,jb->", Tleft, self.G, Tleft))) / rest**2
        variance = eWe / (self.n - 1)
        likelihood = -0.5 * ((self.n - 1) * math.log(variance) + logs + math.log(weight))

        ZWWZ = ((np.eye(q) - TG) * left_G).sum((0, 1)) / rest**2
        WW = float(self.n - 2 * np.einsum("jaa->", TG)
                   + np.einsum("jab,jba->", TG, TG)) / rest**2
        W = float(self.n - np.einsum("jaa->", TG)) / rest
        # Sums over the columns of job, hand and kind.
        pick = (self.of[:, None] == np.arange(_NAMES)).astype(float)
        ZWWZ_by, ZWZ_by = ZWWZ @ pick, np.einsum("jaa->a", ZWZ) @ pick
        trace = ZWZ_by - W
        ones = ((ZWZ[:, :, 0] ** 2).sum(0) @ pick - ZWWZ[0]) / weight
        data = ((ZWe**2).sum(0) @ pick - eWWe) / variance
        both = pick.T @ (ZWZ**2).sum(0) @ pick
        curve = both - ZWWZ_by[:, None] - ZWWZ_by + WW
        slope = trace - ones - data
        information = curve - np.outer(trace, trace) / self.n
        if more:
            own = 1 - float(guess.sum())
            spread = own * W + float(guess @ ZWZ_by)
            likelihood -= 0.5 * more * (logs + self.n * math.log(spread))
            slope = slope + more * (trace - self.n / spread * (
                own * (ZWWZ_by - WW) + (both - ZWWZ_by) @ guess))
            information = information * (1 + more)
        return _Point(likelihood, -0.5 * slope, 0.5 * information, variance, mean)


def _within(jobs: np.ndarray, labels: np.ndarray) -> tuple[np.ndarray, int, np.ndarray]:
    """Labels numbered anew from 0 in each job, the most there are, and whose each number is."""
    pairs, codes = np.unique(jobs * (int(labels.max()) + 1) + labels, return_inverse=True)
    job, label = np.divmod(pairs, int(labels.max()) + 1)
    number = np.arange(len(pairs)) - np.searchsorted(job, job)
    width = int(number.max()) + 1
    whose = np.full((int(jobs.max()) + 1, width), -1)
    whose[job, number] = label
    return number[codes], width, whose
