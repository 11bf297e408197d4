"""What steps come to together: chance of a date, spread of a sum."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

from estimator.durations.ranges import normal_quantile
from estimator.units import within

_NORMAL = NormalDist()


def chance_by(date: float, means: Sequence[float], variances: Sequence[float]) -> float:
    """Chance that independent steps, one after the other, are done by `date`.

    The sum is taken as normal, as is usual in network planning for the critical path. It says
    too much where steps share a cause, or where another path is nearly as long.

    Parameters
    ----------
    date, means
        In the same unit, counted from the start.
    variances
        Of each step, in that unit squared; 0 or more.

    Examples
    --------
    >>> round(chance_by(28, [9, 5, 6, 4], [4, 4 / 9, 4 / 9, 1 / 9]), 4)
    0.9632
    """
    within("date", date)
    mean, sd = _sum(means, variances)
    if sd == 0:
        return 1.0 if date >= mean else 0.0
    return _NORMAL.cdf((date - mean) / sd)


def date_by(chance: float, means: Sequence[float], variances: Sequence[float]) -> float:
    """Date by which such steps are done with a chance between 0 and 1; undoes `chance_by`.

    Parameters
    ----------
    chance
        Over 0 and under 1. [–]
    means, variances
        Of the steps, in one unit of time and its square; shape (steps,).

    Examples
    --------
    >>> round(date_by(0.8, [260], [319.44]), 1)
    275.0
    """
    mean, sd = _sum(means, variances)
    return mean + sd * normal_quantile(chance)


def spread_of_sum(sd: float, n: float, correlation: float) -> float:
    """Standard deviation of the sum of `n` like terms that are equally correlated.

    σ·√(n(1 + (n − 1)ρ)). Leaving ρ out makes a long sum look far surer than it is: with 30
    terms and ρ = 0.2 by 62 %.

    Parameters
    ----------
    sd
        Of one term, 0 or more.
    n
        Terms, over 0. [–]
    correlation
        Of any two of them, from −1/(n − 1) to 1. [–]

    Examples
    --------
    >>> round(spread_of_sum(1, 30, 0.2), 4), round(spread_of_sum(1, 30, 0), 4)
    (14.2829, 5.4772)
    """
    within("sd", sd, at_least=0)
    within("n", n, above=0)
    lowest = -1 / (n - 1) if n > 2 else -1
    within("correlation", correlation, at_least=lowest, up_to=1)
    return sd * math.sqrt(max(0.0, n * (1 + (n - 1) * correlation)))


def _sum(means: Sequence[float], variances: Sequence[float]) -> tuple[float, float]:
    if len(means) != len(variances):
        raise ValueError(
            f"{len(means)} means but {len(variances)} variances; give one of each a step"
        )
    for variance in variances:
        within("variance", variance, at_least=0)
    return math.fsum(means), math.sqrt(math.fsum(variances))
