"""Scores of forecasts, each case against what was forecast for it.

The continuous ranked probability score (CRPS) is ∫ (F(x) − 1{x ≥ observed})² dx, in the unit of
what is forecast: the forecast's distance from what came, and |forecast − observed| where the
forecast is a single figure. Closed forms after A. Jordan, F. Krüger & S. Lerch, "Evaluating
probabilistic forecasts with scoringRules", J. Statistical Software 90, 2019, appendix A.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from estimator.scoring.cases import arrays
from estimator.units import within


def crps_normal(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> np.ndarray:
    """CRPS of a normal forecast; `sd` over 0.

    sd · (z (2Φ(z) − 1) + 2φ(z) − 1/√π), z = (observed − mean)/sd

    Examples
    --------
    >>> round(float(crps_normal(52, mean=40, sd=10)), 6)
    7.480153
    """
    from scipy.special import ndtr
    observed, mean, sd = arrays(observed, mean, sd)
    _over_0("sd", sd)
    z = (observed - mean) / sd
    density = np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return sd * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / math.sqrt(math.pi))


def crps_lognormal(observed: ArrayLike, mu: ArrayLike, sigma: ArrayLike) -> np.ndarray:
    """CRPS of a lognormal forecast; `mu` and `sigma`, over 0, are those of the logarithm.

    y (2Φ(w) − 1) − 2 exp(mu + sigma²/2) (Φ(w − sigma) + Φ(sigma/√2) − 1), w = (ln y − mu)/sigma
    (S. Baran & S. Lerch, Q. J. Royal Meteorological Society 141, 2015)

    Examples
    --------
    >>> round(float(crps_lognormal(2, mu=0, sigma=1)), 6)
    0.562822
    """
    from scipy.special import ndtr
    observed, mu, sigma = arrays(observed, mu, sigma)
    _over_0("sigma", sigma)
    # What is 0 or less lies below all that was forecast.
    logs = np.log(observed, out=np.full(observed.shape, -np.inf), where=observed > 0)
    w = (logs - mu) / sigma
    tails = ndtr(w - sigma) + ndtr(sigma / math.sqrt(2)) - 1
    return observed * (2 * ndtr(w) - 1) - 2 * np.exp(mu + sigma**2 / 2) * tails


def crps_t(
    observed: ArrayLike, df: ArrayLike, location: ArrayLike = 0.0, scale: ArrayLike = 1.0
) -> np.ndarray:
    """CRPS of a forecast by Student's t; `df` over 1, for below there is no mean, `scale` over 0.

    Examples
    --------
    >>> round(float(crps_t(11.1, df=5.2, location=13.8, scale=2.3)), 6)
    1.658226
    """
    from scipy.special import beta, stdtr
    observed, df, location, scale = arrays(observed, df, location, scale)
    _over_0("df − 1", df - 1)
    _over_0("scale", scale)
    z = (observed - location) / scale
    density = (1 + z * z / df) ** (-(df + 1) / 2) / (np.sqrt(df) * beta(0.5, df / 2))
    spread = 2 * np.sqrt(df) * beta(0.5, df - 0.5) / beta(0.5, df / 2) ** 2
    middle = 2 * density * (df + z * z) - spread
    return scale * (z * (2 * stdtr(df, z) - 1) + middle / (df - 1))


def crps_exponential(observed: ArrayLike, rate: ArrayLike) -> np.ndarray:
    """CRPS of an exponential forecast with mean 1/`rate`; `rate` over 0.

    Examples
    --------
    >>> round(float(crps_exponential(3, rate=0.7)), 6)
    1.207018
    """
    observed, rate = arrays(observed, rate)
    _over_0("rate", rate)
    chance = -np.expm1(-rate * np.maximum(observed, 0))
    return np.abs(observed) - (2 * chance - 0.5) / rate


def crps_gamma(observed: ArrayLike, shape: ArrayLike, rate: ArrayLike) -> np.ndarray:
    """CRPS of a gamma forecast with mean `shape`/`rate`; both over 0.

    Examples
    --------
    >>> round(float(crps_gamma(0.2, shape=1.1, rate=0.7)), 6)
    0.634372
    """
    from scipy.special import beta, gammainc
    observed, shape, rate = arrays(observed, shape, rate)
    _over_0("shape", shape)
    _over_0("rate", rate)
    at = rate * np.maximum(observed, 0)
    return (observed * (2 * gammainc(shape, at) - 1)
            - shape / rate * (2 * gammainc(shape + 1, at) - 1)
            - 1 / (rate * beta(0.5, shape)))


def crps_uniform(observed: ArrayLike, low: ArrayLike, high: ArrayLike) -> np.ndarray:
    """CRPS of a uniform forecast between `low` and `high`, low < high.

    Examples
    --------
    >>> round(float(crps_uniform(2.2, low=0.1, high=3.1)), 6)
    0.37
    """
    observed, low, high = arrays(observed, low, high)
    _over_0("high − low", high - low)
    z = (observed - low) / (high - low)
    chance = np.clip(z, 0, 1)
    return (high - low) * (np.abs(z - chance) + chance**2 - chance + 1 / 3)


def crps_ensemble(
    observed: ArrayLike, members: ArrayLike, weights: ArrayLike | None = None
) -> np.ndarray:
    """CRPS of a forecast by trials: mean |member − observed| − ½ mean |member − member|.

    Parameters
    ----------
    observed
        What came; shape (…).
    members
        The trials of each forecast, last; shape (…, members), or (members,) for the same ones
        throughout.
    weights
        Of the members, 0 or more and not all 0; shape as the members or (members,). All alike
        if none are given.

    Returns
    -------
    array of shape (…), in the unit of `observed`.

    Notes
    -----
    The distribution that steps at the members. Sorted, ½ mean |xᵢ − xⱼ| is
    Σ wᵢ xᵢ (Wᵢ + Wᵢ₋₁ − 1) with W the weights added up: n log n work instead of n².

    Examples
    --------
    >>> crps_ensemble([0, 2], [[0, 1], [0, 1]]).tolist()
    [0.25, 1.25]
    >>> round(float(crps_ensemble(1, [0, 2], weights=[0.8, 0.2])), 9)
    0.68
    """
    off, shares = _members(observed, members, weights)
    order = off.argsort(axis=-1)
    off = np.take_along_axis(off, order, axis=-1)
    shares = np.take_along_axis(shares, order, axis=-1)
    above_less_below = 2 * shares.cumsum(axis=-1) - shares - 1
    return (shares * (np.abs(off) - off * above_less_below)).sum(axis=-1)


def pinball(observed: ArrayLike, quantile: ArrayLike, share: ArrayLike) -> np.ndarray:
    """Penalty of a forecast quantile: (share − 1{observed < quantile}) · (observed − quantile).

    Parameters
    ----------
    quantile
        What `share` of the cases should stay below.
    share
        0 to 1. [–]

    Raises
    ------
    ValueError
        If `share` is out of range.

    Notes
    -----
    R. Koenker & G. Bassett, "Econometrica" 46, 1978. Twice its mean over all shares is the CRPS.

    Examples
    --------
    >>> pinball([12, 7], quantile=10, share=0.8).round(9).tolist()
    [1.6, 0.6]
    """
    observed, quantile, share = arrays(observed, quantile, share)
    if not ((share >= 0) & (share <= 1)).all():
        raise ValueError("share must be 0 to 1. Write 0.8 for 80 %.")
    over = observed - quantile
    return np.where(over < 0, (share - 1) * over, share * over)[()]


def pit_normal(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> np.ndarray:
    """Where in a normal forecast the case fell: the share forecast below it; `sd` over 0. [–]

    Probability integral transform: over many cases it is even from 0 to 1 if the forecasts are
    calibrated (A. P. Dawid, J. Royal Statistical Society A 147, 1984).

    Examples
    --------
    >>> round(float(pit_normal(52, mean=40, sd=10)), 5)
    0.88493
    """
    from scipy.special import ndtr
    observed, mean, sd = arrays(observed, mean, sd)
    _over_0("sd", sd)
    return ndtr((observed - mean) / sd)


def pit_ensemble(
    observed: ArrayLike, members: ArrayLike, weights: ArrayLike | None = None
) -> np.ndarray:
    """Where among the trials the case fell: share below it and half of those equal to it. [–]

    Parameters and shapes as for `crps_ensemble`.

    Examples
    --------
    >>> float(pit_ensemble(3, [1, 2, 3, 4]))
    0.625
    """
    off, shares = _members(observed, members, weights)
    return (shares * ((off < 0) + 0.5 * (off == 0))).sum(axis=-1)


def relative_error(actual: ArrayLike, estimate: ArrayLike) -> np.ndarray:
    """Magnitude of relative error (MRE), |actual − estimate| / actual; `actual` over 0. [–]

    S. Conte, H. Dunsmore & V. Shen, "Software Engineering Metrics and Models", 1986. Not proper:
    it favours those who estimate low.

    Examples
    --------
    >>> relative_error([100, 80], [90, 100]).tolist()
    [0.1, 0.25]
    """
    actual, estimate = arrays(actual, estimate)
    _over_0("actual", actual)
    return np.abs(actual - estimate) / actual


def mean_relative_error(actual: ArrayLike, estimate: ArrayLike) -> float:
    """Mean of the relative errors (MMRE); a rule of thumb asks for 0.25 or less. [–]

    Examples
    --------
    >>> round(mean_relative_error([100, 80], [90, 100]), 9)
    0.175
    """
    return float(relative_error(actual, estimate).mean())


def share_near(actual: ArrayLike, estimate: ArrayLike, near: float = 0.25) -> float:
    """Share of cases with a relative error of `near` or less, PRED(near). [–]

    A rule of thumb asks for 0.75 at 0.25.

    Examples
    --------
    >>> share_near([100, 80, 120, 60, 200], [90, 100, 118, 45, 260])
    0.8
    """
    within("near", near, at_least=0, fix="Write 0.25 for 25 %.")
    # One on the limit counts, whatever the last digit of a division is.
    return float((relative_error(actual, estimate) <= near + 1e-12).mean())


def _members(observed, members, weights) -> tuple[np.ndarray, np.ndarray]:
    """Members less what came, and their shares; both of shape (…, members)."""
    observed = np.asarray(observed, float)
    members = np.asarray(members, float)
    off, shares = arrays(members - observed[..., None],
                          np.ones(members.shape[-1:]) if weights is None else weights)
    total = shares.sum(axis=-1, keepdims=True)
    if (shares < 0).any() or not (total > 0).all():
        raise ValueError("weights must be 0 or more, and not all 0")
    return off, shares / total


def _over_0(name: str, figures: np.ndarray) -> None:
    within(name, float(figures.min()), above=0)


__all__ = ["crps_ensemble", "crps_exponential", "crps_gamma", "crps_lognormal", "crps_normal",
           "crps_t", "crps_uniform", "mean_relative_error", "pinball", "pit_ensemble",
           "pit_normal", "relative_error", "share_near"]
