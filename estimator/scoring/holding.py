"""How often what was promised held, and what a share seen in some cases says of all."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimator.scoring.cases import arrays
from estimator.units import within


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
    observed, quantile = arrays(observed, quantile)
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


def _counts(hits: float, cases: int, confidence: float) -> None:
    within("cases", cases, at_least=1)
    within("hits", hits, at_least=0, up_to=cases)
    within("confidence", confidence, at_least=0, fix="Write 0.95 for 95 %.")
    if confidence >= 1:
        raise ValueError(f"confidence is {confidence:g}; it must be under 1. "
                         "Write 0.95 for 95 %.")


__all__ = ["Audit", "Held", "audit", "cases_for", "exact_range", "held", "wilson_range"]
