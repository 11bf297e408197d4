"""The hours of a whole job: tasks of one job share something, so their sum spreads wider.

Independent sums are far too narrow. The places of a job's tasks in their own forecasts are drawn
from normals with one common factor of correlation `rho` (M. B. Wilk & R. Gnanadesikan's normal
scores; a one-factor Gaussian copula), which leaves every single forecast as it is.
"""

from __future__ import annotations

import functools

import numpy as np

from estimator.learning.priors import RHO, RHO_COUNT, RHO_MOST

DRAWS = 1024
_SEED = 20
_TABLE = (np.arange(256) + 0.5) / 256


class Jobs:
    """What finished tasks say about how alike the tasks of a job come out."""

    def __init__(self):
        self.sums: dict[object, list[float]] = {}  # of normal scores: count, sum, sum of squares
        self._pairs = self._weight = self._squares = self._count = 0.0

    def add(self, jobs: list, scores: np.ndarray) -> None:
        """Take in normal scores of tasks by job; None stands for no job."""
        for job, score in zip(jobs, scores.tolist(), strict=True):
            if job is None:
                continue
            known = self.sums.setdefault(job, [0.0, 0.0, 0.0])
            pairs, weight = _pairs(known)
            known[0] += 1
            known[1] += score
            known[2] += score * score
            self._squares += score * score
            self._count += 1
            new_pairs, new_weight = _pairs(known)
            self._pairs += new_pairs - pairs
            self._weight += new_weight - weight

    @property
    def rho(self) -> float:
        """Correlation between tasks of one job, by the covariance of pairs within jobs.

        Scores of tasks at the estimate are known only within the chance of the estimate; with v
        the variance left to scores, their covariance is v² times the correlation behind them.
        """
        var = (RHO_COUNT + self._squares) / (RHO_COUNT + self._count)
        found = (RHO * RHO_COUNT + self._pairs / var**2) / (RHO_COUNT + self._weight)
        return min(max(found, 0.0), RHO_MOST)

    def factor(self, job: object) -> tuple[float, float]:
        """Mean and variance of a job's common factor, given what of it is finished."""
        rho = self.rho
        count, total, _ = self.sums.get(job, (0.0, 0.0, 0.0))
        alike = 1 + (count - 1) * rho
        return rho**0.5 * total / alike, (1 - rho) / alike


def _pairs(sums: list[float]) -> tuple[float, float]:
    """Mean product over the pairs of a job, times its weight; the weight is count − 1."""
    count, total, square = sums
    if count < 2:
        return 0.0, 0.0
    return (total * total - square) / count, count - 1


@functools.lru_cache(maxsize=4)
def _normals(columns: int) -> np.ndarray:
    """Standard normals in `DRAWS` rows, each column in even layers; the same ones every time."""
    from scipy.special import ndtri
    rng = np.random.default_rng(_SEED)
    place = np.stack([rng.permutation(DRAWS) for _ in range(columns)], axis=1)
    return ndtri((place + 0.5) / DRAWS)


def total_quantiles(quantiles: np.ndarray, probs: np.ndarray, rho: float, doubt: float,
                    factor: tuple[float, float]) -> np.ndarray:
    """Quantiles of a sum; `quantiles` are those of each task at the levels of `table_levels()`."""
    from scipy.special import ndtr
    tasks = len(quantiles)
    normals = _normals(1 << tasks.bit_length())  # columns of a wider one start alike
    mean, var = factor
    shared = mean * rho**0.5 + (rho * var + doubt) ** 0.5 * normals[:, 0]
    total = np.zeros(DRAWS)
    own = (1 - rho - doubt) ** 0.5
    for at, hours in enumerate(quantiles):
        level = ndtr(shared + own * normals[:, at + 1])
        total += hours[np.minimum((level * len(_TABLE)).astype(int), len(_TABLE) - 1)]
    return np.quantile(total, probs)


def table_levels() -> np.ndarray:
    """Levels at which a task's quantiles are wanted for a sum."""
    return _TABLE
