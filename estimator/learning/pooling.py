"""Partial pooling: what few records say is drawn towards what all of them say.

A label's mean from n records counts n / (n + within / between) and the mean of all counts the
rest (B. Efron & C. Morris, J. American Statistical Association 70, 1975; A. Gelman et al.,
"Bayesian Data Analysis", 3rd ed., 5.4). All that is needed are sums per label.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from estimator.learning.priors import Pool

SWEEPS = 3
# Where a posterior is added up: over all of it, then closer while few of the places count.
_GRID = np.linspace(0.0, 1.0, 25)
_COUNTING = 12
_NOTHING = -18.0  # below the log of the highest density, what adds nothing to a sum
_GOLDEN = (math.sqrt(5) - 1) / 2


@dataclass(frozen=True)
class Pooled:
    """One-way pooling: the mean over all, the variances within and between, a mean per label.

    `means` and `sds`, what is not known of them, have shape (labels,). All in the unit of what was
    pooled, variances in its square; of hours those are logs of ratios. [–]
    """

    mean: float
    within: float
    between: float
    means: np.ndarray
    sds: np.ndarray


def pool(count: np.ndarray, total: np.ndarray, square: np.ndarray) -> Pooled:
    """Partial pooling of one set of labels by restricted maximum likelihood, from sums alone.

    Parameters
    ----------
    count, total, square
        Of each label: number of records, sum, sum of squares. A label without records gets the
        mean of all. Two labels with records and three records in all are the least.

    Returns
    -------
    Pooled
        `sds` are those of the means given the variances and the mean of all.

    Raises
    ------
    ValueError
        If there are too few records, or none of them differ.

    Notes
    -----
    With λ = between / within, the profile of the restricted likelihood (H. D. Patterson & R.
    Thompson, Biometrika 58, 1971) needs only w = n / (1 + λn) of each label:
    −2 ln L = (N−1) ln σ²(λ) + Σ ln(1 + λn) + ln Σw. It is searched over ln λ, and at λ = 0.

    Examples
    --------
    >>> found = pool([3, 3], [3.0, 9.0], [5.0, 29.0])
    >>> round(found.mean, 6), round(found.within, 6), round(found.between, 6)
    (2.0, 1.0, 1.666667)
    >>> found.means.round(4).tolist()
    [1.1667, 2.8333]
    """
    count, total, square = (np.asarray(part, float) for part in (count, total, square))
    seen = count > 0
    n, means = count[seen], total[seen] / count[seen]
    inside = max(float((square[seen] - n * means**2).sum()), 0.0)
    records = float(n.sum())
    if len(n) < 2 or records < 3:
        raise ValueError("Pooling needs two labels and three records at least.")

    def profile(ratio: float) -> tuple[float, float, float]:
        weight = n / (1 + ratio * n)
        middle = float(weight @ means / weight.sum())
        within = (inside + float(weight @ (means - middle) ** 2)) / (records - 1)
        if within <= 0:
            raise ValueError("All records are the same: there is nothing to pool.")
        loss = ((records - 1) * math.log(within) + float(np.log1p(ratio * n).sum())
                + math.log(weight.sum()))
        return loss, middle, within

    tried = np.linspace(-14, 10, 25)
    losses = [profile(math.exp(at))[0] for at in tried]
    best = int(np.argmin(losses))
    low, high = tried[max(best - 1, 0)], tried[min(best + 1, len(tried) - 1)]
    while high - low > 1e-9:
        a, b = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        low, high = (low, b) if profile(math.exp(a))[0] < profile(math.exp(b))[0] else (a, high)
    ratio = math.exp((low + high) / 2)
    if profile(0.0)[0] <= profile(ratio)[0]:
        ratio = 0.0
    _, middle, within = profile(ratio)
    kept = ratio * count / (1 + ratio * count)
    raw = np.divide(total, count, out=np.full(len(count), middle), where=seen)
    return Pooled(middle, within, ratio * within, middle + kept * (raw - middle),
                  np.sqrt(ratio * within * (1 - kept)))


class Additive:
    """Pooling over several sets of labels at once, with a slope; a fit starts from the last one.

    value = mean + slope · x + Σ effect[label] + noise

    Each set of labels is pooled on what the others leave (backfitting: A. Buja, T. Hastie & R.
    Tibshirani, Annals of Statistics 17, 1989), which solves the equations of the mixed model; the
    spread between labels is averaged over its posterior instead of set to its best guess, so that
    two labels or two records do no harm.
    """

    def __init__(self, prior: Pool):
        self.prior = prior
        self.mean, self.mean_var = prior.mean, prior.mean_sd**2
        self.slope, self.slope_var, self.centre = 0.0, prior.slope_sd**2, None
        self.noise = prior.noise**2
        # Mean of a half-normal's square: where a spread starts before there are records.
        self.between = [sd**2 for sd in prior.effect_sds]
        self.effects = [np.zeros(0) for _ in prior.effect_sds]
        self.vars = [np.zeros(0) for _ in prior.effect_sds]

    def fit(self, y: np.ndarray, weight: np.ndarray, x: np.ndarray, labels: list[np.ndarray],
            sizes: list[int]) -> np.ndarray:
        """Fit anew to records with `weight`; `labels` are numbers below `sizes`, set by set.

        Returns the expected value of each record.
        """
        prior = self.prior
        if self.centre is None:
            self.centre = float(weight @ x / weight.sum())
        x = x - self.centre
        counts = []
        for i, (codes, size) in enumerate(zip(labels, sizes, strict=True)):
            counts.append(np.bincount(codes, weight, size))
            self.effects[i] = np.concatenate([self.effects[i], np.zeros(size)])[:size]
        all_weight, xx = float(weight.sum()), float(weight @ (x * x))
        left = y - self.mean - self.slope * x
        for codes, effect in zip(labels, self.effects, strict=True):
            left = left - effect[codes]
        for sweep in range(SWEEPS):
            step = ((float(weight @ left) / self.noise - (self.mean - prior.mean)
                     / prior.mean_sd**2) / (all_weight / self.noise + 1 / prior.mean_sd**2))
            self.mean += step
            left = left - step
            step = ((float(weight @ (left * x)) / self.noise - self.slope / prior.slope_sd**2)
                    / (xx / self.noise + 1 / prior.slope_sd**2))
            self.slope += step
            left = left - step * x
            for i, codes in enumerate(labels):
                effect, count = self.effects[i], counts[i]
                total = np.bincount(codes, weight * left, len(count)) + count * effect
                if sweep == SWEEPS - 1:
                    self.between[i] = _between(count, total, self.noise, prior.effect_sds[i])
                new = total / (count + self.noise / self.between[i])
                left = left - (new - effect)[codes]
                self.effects[i] = new
            kept = math.fsum(float((c / (c + self.noise / b)).sum())
                             for c, b in zip(counts, self.between, strict=True))
            free = max(all_weight - 2 - kept, 0.1 * all_weight)
            self.noise = ((float(weight @ left**2) + prior.noise_count * prior.noise**2)
                          / (free + prior.noise_count))
        self.mean_var = 1 / (all_weight / self.noise + 1 / prior.mean_sd**2)
        self.slope_var = 1 / (xx / self.noise + 1 / prior.slope_sd**2)
        self.vars = [1 / (c / self.noise + 1 / b)
                     for c, b in zip(counts, self.between, strict=True)]
        return y - left

    def fitted(self, x: np.ndarray, labels: list[np.ndarray]) -> np.ndarray:
        """Expected value, where all labels are known or newer than the last fit."""
        value = self.mean + self.slope * (x - (self.centre or 0.0))
        for codes, effect in zip(labels, self.effects, strict=True):
            value += np.concatenate([effect, np.zeros(int(codes.max()) + 1)])[codes]
        return value

    def at(self, x: np.ndarray, labels: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
        """Expected value and its variance (without noise); −1 is a label never seen."""
        x = x - (self.centre or 0.0)
        mean, var = self.mean + self.slope * x, self.mean_var + self.slope_var * x * x
        for codes, effect, spread, between in zip(labels, self.effects, self.vars, self.between,
                                                  strict=True):
            at = np.minimum(codes, len(effect))  # the last place is for labels never seen
            mean = mean + np.append(effect, 0.0)[at]
            var = var + np.append(spread, between)[at]
        return mean, var


def _between(count: np.ndarray, total: np.ndarray, noise: float, scale: float) -> float:
    """Posterior mean of the variance between labels; half-normal prior of that scale on its root.

    Given the variance b, a label's mean is normal about 0 with variance b + noise / count. With
    its root = unit · sinh(v) the density is even and smooth in v, near 0 as far out, so that a sum
    over even steps is as good as the integral (L. N. Trefethen & J. A. C. Weideman, SIAM Review
    56, 2014).
    """
    seen = count > 1e-3
    if not seen.any():
        return scale**2
    square = (total[seen] / count[seen]) ** 2
    own = max(noise, 1e-12) / count[seen]
    unit = math.sqrt(own.min())
    # Further out than any label lies there is only the prior, and eight times its scale is far.
    low, width = 0.0, math.asinh(math.sqrt(64 * scale**2 + square.max()) / unit)
    while True:
        at = low + width * _GRID
        between = (unit * np.sinh(at)) ** 2
        var = between[:, None] + own
        fit = (np.log(np.cosh(at)) - between / (2 * scale**2)
               - 0.5 * (np.log(var).sum(axis=1) + (1 / var) @ square))
        fit -= fit.max()
        held = np.flatnonzero(fit > _NOTHING)
        if len(held) >= _COUNTING:
            break
        first, last = max(held[0] - 1, 0), min(held[-1] + 1, len(at) - 1)
        low, width = at[first], at[last] - at[first]
    share = np.exp(fit)
    if low == 0:
        share[0] /= 2  # the other half lies below 0
    return float(share @ between / share.sum())
