"""Control charts: whether finished jobs, one after another, differ by more than chance.

Points in order of time about their mean, with limits from how far neighbours lie apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimator.units import within

# Mean of the range of two, and upper limit of a range over its mean: tables of factors for
# control charts, NIST/SEMATECH, "e-Handbook of Statistical Methods", 6.3.2.
_D2, _D4 = 1.128, 3.267
_DUST = 1e-9
# Points from which limits are first worth something; 20 to 25 are common practice (D. Montgomery,
# "Introduction to Statistical Quality Control", from memory).
_ENOUGH = 20

# Rule: sd's from the centre, how many points, out of how many; the words for it.
RULES = {
    1: (3, 1, 1, "beyond a limit"),
    2: (2, 2, 3, "two of three in a row more than 2 standard deviations off on one side"),
    3: (1, 4, 5, "four of five in a row more than 1 standard deviation off on one side"),
    4: (0, 8, 8, "eight in a row on one side of the centre"),
}


@dataclass(frozen=True)
class Signal:
    """A point of a chart that should not be there by chance.

    Parameters
    ----------
    at
        Which point, from 0; for a run, the one that completes it or goes on with it.
    rule
        A key of `RULES`.
    side
        1 above the centre, −1 below.

    Examples
    --------
    >>> Signal(at=5, rule=1, side=1).words
    'beyond a limit'
    """

    at: int
    rule: int
    side: int

    @property
    def words(self) -> str:
        """What the rule says."""
        return RULES[self.rule][3]


def signals(points: ArrayLike, centre: float, sd: float) -> tuple[Signal, ...]:
    """Points out of control, in order, by the four rules of `RULES`.

    A steady process gives a signal by chance every 92 points on average, and every 370 points by
    the first rule alone (C. Champ & W. Woodall, Technometrics 29, 1987).

    Parameters
    ----------
    points
        In order of time, shape (points,).
    centre, sd
        Of the process, in the unit of the points; sd 0 or more.

    Notes
    -----
    Western Electric Company, "Statistical Quality Control Handbook", 1956; as listed in
    NIST/SEMATECH, "e-Handbook of Statistical Methods", 6.3.2. Its further rules, on trends and on
    alternation, are not used here.

    Examples
    --------
    >>> [(s.at, s.rule) for s in signals([0.1, 2.2, -0.3, 2.4, 0.5, 3.5], centre=0, sd=1)]
    [(3, 2), (5, 1), (5, 2)]
    """
    off = _finite(points) - within("centre", centre)
    within("sd", sd, at_least=0)
    dust = _DUST * max(1.0, abs(centre), sd)
    found = []
    for rule, (sds, count, window, _) in RULES.items():
        for side in (1, -1):
            beyond = side * off > sds * sd + dust
            so_far = np.concatenate([np.zeros(window, int), beyond.cumsum()])
            enough = so_far[window:] - so_far[:-window] >= count
            found += [Signal(int(at), rule, side) for at in np.flatnonzero(beyond & enough)]
    return tuple(sorted(found, key=lambda signal: (signal.at, signal.rule)))


@dataclass(frozen=True, eq=False)
class Chart:
    """Control chart of single points, with limits from their moving ranges.

    Parameters
    ----------
    points
        As charted, in order of time; shape (points,).
    base
        How many of the first points the centre and limits come from.
    centre, sd
        Mean of those, and mean moving range / 1.128.

    Examples
    --------
    >>> found = Chart(np.array([1.0, 1.2, 0.9, 2.4]), base=3, centre=1.0, sd=0.2)
    >>> [round(limit, 2) for limit in found.limits], found.ranges.round(1).tolist()
    ([0.4, 1.6], [0.2, 0.3, 1.5])
    >>> round(found.range_limit, 2), [(one.at, one.rule) for one in found.signals]
    (0.74, [(3, 1)])
    >>> found.caution
    'Limits from 3 points are a first guess; 20 or more make them firm.'
    """

    points: np.ndarray
    base: int
    centre: float
    sd: float

    @property
    def limits(self) -> tuple[float, float]:
        """Lower and upper: centre ∓ 3 sd."""
        return self.centre - 3 * self.sd, self.centre + 3 * self.sd

    @property
    def ranges(self) -> np.ndarray:
        """Moving ranges, each point against the one before; shape (points − 1,)."""
        return np.abs(np.diff(self.points))

    @property
    def range_limit(self) -> float:
        """Upper limit of a moving range, 3.267 × their mean; the lower one is 0."""
        return _D4 * _D2 * self.sd

    @property
    def signals(self) -> tuple[Signal, ...]:
        """Points out of control, by `RULES`."""
        return signals(self.points, self.centre, self.sd)

    @property
    def caution(self) -> str:
        """What to know before the limits are trusted; empty if there is nothing."""
        if self.sd <= _DUST:
            return "The points do not differ, so there are no limits to hold others to."
        if self.base < _ENOUGH:
            return (f"Limits from {self.base} points are a first guess; "
                    f"{_ENOUGH} or more make them firm.")
        return ""


def chart(points: ArrayLike, base: int | None = None) -> Chart:
    """Individuals chart of points in order of time.

    Parameters
    ----------
    points
        Two or more, shape (points,).
    base
        Take centre and limits from this many of the first points, 2 or more, and hold the later
        ones to them; None takes all.

    Raises
    ------
    ValueError
        If there are fewer than two points, or fewer than `base`.

    Notes
    -----
    NIST/SEMATECH, "e-Handbook of Statistical Methods", 6.3.2.2.

    Examples
    --------
    >>> found = chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(found.centre, 2), [round(limit, 3) for limit in found.limits]
    (50.81, [45.816, 55.804])
    """
    points = _finite(points)
    base = len(points) if base is None else base
    if not 2 <= base <= len(points):
        raise ValueError(f"limits from {base} of {len(points)} points; it takes 2 or more")
    first = points[:base]
    return Chart(points, base, float(first.mean()), float(np.abs(np.diff(first)).mean()) / _D2)


def ratio_chart(actual: ArrayLike, estimate: ArrayLike, base: int | None = None) -> Chart:
    """Control chart of ln(actual / estimate): twice as long is as far off as half as long.

    `math.exp` of the centre and the limits gives ratios. Many tasks booked at exactly their
    estimate draw the limits together, and then more points signal.

    Parameters
    ----------
    actual, estimate
        Hours of tasks or jobs in order of time, over 0; shape (points,). [h]
    base
        As for `chart`.

    Raises
    ------
    ValueError
        If the two differ in length, hold what is not over 0, or as for `chart`.

    Examples
    --------
    >>> import math
    >>> found = ratio_chart([2.2, 3.9, 1.1, 5.0, 9.0], [2, 4, 1, 5, 3], base=4)
    >>> [round(math.exp(limit), 2) for limit in found.limits], [s.at for s in found.signals]
    ([0.77, 1.4], [4])
    """
    actual, estimate = _finite(actual), _finite(estimate)
    if actual.shape != estimate.shape:
        raise ValueError("actual and estimate must be lists of the same length")
    if not ((actual > 0).all() and (estimate > 0).all()):
        raise ValueError("actual and estimate must be over 0; leave out what was not worked on")
    return chart(np.log(actual / estimate), base)


def _finite(points: ArrayLike) -> np.ndarray:
    points = np.asarray(points, float)
    if points.ndim != 1 or not np.isfinite(points).all():
        raise ValueError("the points must be a list of numbers, none of them missing")
    return points


__all__ = ["RULES", "Chart", "Signal", "chart", "ratio_chart", "signals"]
