"""How good forecasts were: proper scores, and how often what was promised held.

A score is proper where no forecast scores better on average than what one truly expects (T.
Gneiting & A. Raftery, J. American Statistical Association 102, 2007). Scores here are penalties:
0 is best, and less is better. Figures may be arrays that fit one another, and so are the scores.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimator.units import within

# --- continuous ranked probability score ---------------------------------------------------------
#
# ∫ (F(x) − 1{x ≥ observed})² dx, in the unit of what is forecast: the forecast's distance from
# what came, and |forecast − observed| where the forecast is a single figure. Closed forms after
# A. Jordan, F. Krüger & S. Lerch, "Evaluating probabilistic forecasts with scoringRules", J.
# Statistical Software 90, 2019, appendix A.


def crps_normal(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> np.ndarray:
    """CRPS of a normal forecast; `sd` over 0.

    sd · (z (2Φ(z) − 1) + 2φ(z) − 1/√π), z = (observed − mean)/sd

    Examples
    --------
    >>> round(float(crps_normal(52, mean=40, sd=10)), 6)
    7.480153
    """
    from scipy.special import ndtr
    observed, mean, sd = _arrays(observed, mean, sd)
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
    observed, mu, sigma = _arrays(observed, mu, sigma)
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
    observed, df, location, scale = _arrays(observed, df, location, scale)
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
    observed, rate = _arrays(observed, rate)
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
    observed, shape, rate = _arrays(observed, shape, rate)
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
    observed, low, high = _arrays(observed, low, high)
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


# --- other scores --------------------------------------------------------------------------------


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
    observed, quantile, share = _arrays(observed, quantile, share)
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
    observed, mean, sd = _arrays(observed, mean, sd)
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
    actual, estimate = _arrays(actual, estimate)
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


# --- how often it held ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Held:
    """How often a quantile was enough.

    Parameters
    ----------
    cases, hits
        How many cases, and in how many of them what came was the quantile or less.
    low, high
        Between what the share lies in the long run, as far as so few cases can tell. [–]

    Examples
    --------
    >>> Held(cases=5, hits=4, low=0.38, high=0.96).share
    0.8
    """

    cases: int
    hits: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """Share of the cases in which it was enough. [–]"""
        return self.hits / self.cases


def held(observed: ArrayLike, quantile: ArrayLike, confidence: float = 0.95) -> Held:
    """How often `quantile` was enough, with the range of Wilson.

    Parameters
    ----------
    observed, quantile
        What came and what was forecast; arrays that fit each other, one case or more.
    confidence
        Of the range, 0 to under 1. [–]

    Examples
    --------
    >>> found = held([11, 8, 14, 9, 10], [12, 12, 13, 13, 10])
    >>> found.share, round(found.low, 3), round(found.high, 3)
    (0.8, 0.376, 0.964)
    """
    observed, quantile = _arrays(observed, quantile)
    enough = observed <= quantile
    hits = int(enough.sum())
    return Held(enough.size, hits, *wilson_range(hits, enough.size, confidence))


@dataclass(frozen=True)
class Audit:
    """Whether a quantile that held in so many cases may be what it says.

    Parameters
    ----------
    exact
        Chance of so odd a count, or an odder one, if it is: the binomial test. [–]
    ratio, chance
        Likelihood ratio of the share seen against the share said, and the chance of so large a
        ratio in many cases (chi-square of one degree). [–]

    Examples
    --------
    >>> Audit(exact=0.03, ratio=4.6, chance=0.032).holds
    False
    """

    exact: float
    ratio: float
    chance: float

    @property
    def holds(self) -> bool:
        """Luck explains it: the exact chance is 1 in 20 or more."""
        return self.exact >= 0.05


def audit(hits: int, cases: int, share: float) -> Audit:
    """Test of a quantile by how often it was enough.

    Parameters
    ----------
    hits, cases
        In how many cases of how many it was enough.
    share
        In how many it should be: 0.8 for a P80; over 0 and under 1. [–]

    Raises
    ------
    ValueError
        If `share` is out of range, or there are more hits than cases.

    Notes
    -----
    The ratio is that of P. Kupiec, "Techniques for verifying the accuracy of risk measurement
    models", J. of Derivatives 3, 1995; the exact chance adds up all counts that are no likelier.

    Examples
    --------
    >>> found = audit(42, 50, 0.9)
    >>> round(found.exact, 4), round(found.ratio, 4), found.holds
    (0.1559, 1.7247, True)
    """
    _counts(hits, cases, 0.5)
    if not 0 < share < 1:
        raise ValueError(f"share is {share:g}; it must be over 0 and under 1. "
                         "Write 0.8 for a P80.")
    counts = np.arange(cases + 1)
    logs = np.array([math.lgamma(cases + 1) - math.lgamma(k + 1) - math.lgamma(cases - k + 1)
                     for k in counts])
    logs += counts * math.log(share) + (cases - counts) * math.log1p(-share)
    seen = hits / cases
    ratio = 2 * (_times_log(hits, seen / share)
                 + _times_log(cases - hits, (1 - seen) / (1 - share)))
    # Counts as likely as the one seen count too, dust aside.
    exact = math.fsum(np.exp(logs[logs <= logs[hits] + 1e-9]).tolist())
    return Audit(min(1.0, exact), max(0.0, ratio), math.erfc(math.sqrt(max(0.0, ratio) / 2)))


def _times_log(count: float, ratio: float) -> float:
    return count * math.log(ratio) if count else 0.0


def cases_for(half_width: float, confidence: float = 0.9, share: float = 0.5) -> float:
    """How many cases tell a share to within `half_width` either way; a fraction, round it up.

    z² p (1 − p) / half_width²; a share of one half, where nothing is known, needs the most.

    Parameters
    ----------
    half_width, share, confidence
        Each over 0 and under 1. [–]

    Raises
    ------
    ValueError
        If a share or the half width is out of range.

    Examples
    --------
    >>> math.ceil(cases_for(0.03)), math.ceil(cases_for(0.1, share=0.8))
    (752, 44)
    """
    from statistics import NormalDist
    within("half_width", half_width, above=0, up_to=1, fix="Write 0.1 for 10 %.")
    within("share", share, at_least=0, up_to=1, fix="Write 0.8 for 80 %.")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is {confidence:g}; it must be over 0 and under 1. "
                         "Write 0.9 for 90 %.")
    return NormalDist().inv_cdf((1 + confidence) / 2) ** 2 * share * (1 - share) / half_width**2


def wilson_range(hits: float, cases: int, confidence: float = 0.95) -> tuple[float, float]:
    """Range of a share, of which a sample was seen, by the score test: right on average. [–]

    (p + z²/2n ± z √(p(1 − p)/n + z²/4n²)) / (1 + z²/n)

    E. B. Wilson, J. American Statistical Association 22, 1927.

    Examples
    --------
    >>> low, high = wilson_range(421, 500)
    >>> round(low, 5), round(high, 5)
    (0.80744, 0.87135)
    """
    from statistics import NormalDist
    _counts(hits, cases, confidence)
    z2 = NormalDist().inv_cdf((1 + confidence) / 2) ** 2
    share = hits / cases
    middle = share + z2 / (2 * cases)
    half = math.sqrt(z2 * (share * (1 - share) / cases + z2 / (4 * cases**2)))
    low, high = ((middle + side) / (1 + z2 / cases) for side in (-half, half))
    # At the ends the formula gives exactly 0 and 1, but for dust.
    return (0.0 if hits == 0 else low), (1.0 if hits == cases else high)


def exact_range(hits: int, cases: int, confidence: float = 0.95) -> tuple[float, float]:
    """Range of a share by the binomial itself: never too narrow, often too wide. [–]

    C. Clopper & E. Pearson, Biometrika 26, 1934.

    Examples
    --------
    >>> low, high = exact_range(7, 50)
    >>> round(low, 5), round(high, 5)
    (0.05819, 0.2674)
    """
    from scipy.special import betaincinv
    _counts(hits, cases, confidence)
    tail = (1 - confidence) / 2
    low = float(betaincinv(hits, cases - hits + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, cases - hits, 1 - tail)) if hits < cases else 1.0
    return low, high


# --- checks --------------------------------------------------------------------------------------


def _arrays(*figures: ArrayLike) -> list[np.ndarray]:
    found = np.broadcast_arrays(*(np.asarray(figure, float) for figure in figures))
    if not found[0].size:
        raise ValueError("there is no case to score")
    if not all(np.isfinite(figure).all() for figure in found):
        raise ValueError("a figure is missing or not finite")
    return found


def _members(observed, members, weights) -> tuple[np.ndarray, np.ndarray]:
    """Members less what came, and their shares; both of shape (…, members)."""
    observed = np.asarray(observed, float)
    members = np.asarray(members, float)
    off, shares = _arrays(members - observed[..., None],
                          np.ones(members.shape[-1:]) if weights is None else weights)
    total = shares.sum(axis=-1, keepdims=True)
    if (shares < 0).any() or not (total > 0).all():
        raise ValueError("weights must be 0 or more, and not all 0")
    return off, shares / total


def _over_0(name: str, figures: np.ndarray) -> None:
    within(name, float(figures.min()), above=0)


def _counts(hits: float, cases: int, confidence: float) -> None:
    within("cases", cases, at_least=1)
    within("hits", hits, at_least=0, up_to=cases)
    within("confidence", confidence, at_least=0, fix="Write 0.95 for 95 %.")
    if confidence >= 1:
        raise ValueError(f"confidence is {confidence:g}; it must be under 1. "
                         "Write 0.95 for 95 %.")


__all__ = ["Audit", "Held", "audit", "cases_for", "crps_ensemble", "crps_exponential",
           "crps_gamma", "crps_lognormal", "crps_normal", "crps_t", "crps_uniform", "exact_range",
           "held", "mean_relative_error", "pinball", "pit_ensemble", "pit_normal",
           "relative_error", "share_near", "wilson_range"]
