"""Which line to look at before quoting, and what that is worth."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from estimator import decisions, durations
from estimator.catalogue import Certainty
from estimator.estimate import Estimate
from estimator.simulate.odds import Odds

_SURE = durations.normal_quantile(0.999)


@dataclass(frozen=True)
class Sight:
    """A line that was not seen, and what seeing it would do.

    Parameters
    ----------
    line
        Index of the survey line.
    chance
        Chance that it is worse than written or that a find hides there. [–]
    value
        What it saves a job on average to know that before the price is set: less cover where
        all is well, less loss where it is not. [money]
    fine, worse
        The cost at the confidence asked for if all is well with it, and if not. [money]
    """

    line: int
    chance: float
    value: float
    fine: float
    worse: float


def sights(job: Estimate, odds: Odds, confidence: float = 0.8) -> tuple[Sight, ...]:
    """The lines worth looking at, the most valuable first.

    Only lines whose condition was assumed or hidden: a seen line has nothing more to show
    before teardown. The value of a sight is the expected value of partial perfect information
    (`decisions.value_of_seeing`), where the state of a line is which of its finds are there and
    whether it is worse than written. What may be luck of the draw is not listed.

    Parameters
    ----------
    odds
        With what each line drew kept.
    confidence
        Of the cost that a price is built on, between 0 and 1. [–]

    Examples
    --------
    >>> from dataclasses import replace
    >>> from estimator.catalogue import Level
    >>> from estimator.demo import small_survey
    >>> from estimator.quote import Choices, quote
    >>> from estimator.shop import open_shop
    >>> lines = tuple(replace(line, certainty=Certainty.HIDDEN) for line in small_survey().lines)
    >>> made = quote(replace(small_survey(), lines=lines), Choices(Level.FULL, trials=2000),
    ...              open_shop(), compare=False)
    >>> [(made.titles[one.line], round(one.chance, 1)) for one in sights(made.job, made.odds)]
    [('Leg (4)', 0.4), ('Flipper (2)', 0.4)]
    """
    found = []
    luck = _luck(odds.cost, confidence)
    for index, line in odds.lines.items():
        if line.pattern is None or job.scope.lines[index].certainty == Certainty.SEEN:
            continue
        wrong = line.pattern > 0
        chance = float(np.mean(wrong))
        if not 0 < chance < 1:
            continue
        states, codes = np.unique(line.pattern, return_inverse=True)
        told = len(states) - 1
        value = decisions.value_of_seeing(odds.cost, codes, confidence)
        if value <= luck * _chi_square(told):
            continue
        fine, worse = (float(np.quantile(odds.cost[part], confidence)) for part in (~wrong, wrong))
        found.append(Sight(index, chance, value - luck * told, fine, worse))
    return tuple(sorted(found, key=lambda sight: (-sight.value, sight.line)))


def _luck(cost: np.ndarray, confidence: float) -> float:
    """By how much a value reads high for each further group, however little it says.

    The trials that it is judged by chose the covers, and each group fits one quantile more:
    (1 − q) / (2 · trials · density at the quantile), times a chi-square of one degree.
    """
    around = np.clip((confidence - 0.02, confidence + 0.02), 0, 1)
    low, high = np.quantile(cost, around)
    return float((1 - confidence) / 2 / len(cost) * (high - low) / (around[1] - around[0]))


def _chi_square(degrees: int) -> float:
    """What a chi-square stays under 999 times of 1,000, after E. Wilson & M. Hilferty (1931)."""
    part = 2 / (9 * degrees)
    return degrees * (1 - part + _SURE * math.sqrt(part)) ** 3


__all__ = ["Sight", "sights"]
