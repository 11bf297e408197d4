"""Repeated units: learning curves, and the range of many from the range of one."""

from __future__ import annotations

import math

import numpy as np

from estimator.durations.ranges import Range, pert_mean
from estimator.units import within


def unit_time(first, n, rate):
    """Time of the `n`-th unit on the unit curve: `first` × n^(log2 rate).

    Every doubling of the count multiplies the time of a unit by `rate`. Numbers or arrays.

    Raises
    ------
    ValueError
        If `n` is not over 0, or `rate` is out of range.

    Examples
    --------
    >>> round(float(unit_time(125_000, 4, 0.85)), 1)
    90312.5
    """
    count = np.asarray(n, float)
    if not np.all(count > 0):
        raise ValueError("n counts units and must be over 0")
    return first * count ** _exponent(rate)


def unit_total(first: float, n: float, rate: float) -> float:
    """Time of the first `n` units together on the unit curve.

    Between whole counts it runs straight, so that half a unit takes half its time.

    Examples
    --------
    >>> round(unit_total(1, 3, 0.8), 4), round(unit_total(1, 0.5, 0.8), 4)
    (2.5021, 0.5)
    """
    within("n", n, at_least=0)
    if rate == 1:
        return first * n
    whole = math.floor(n)
    times = np.arange(1, whole + 2) ** _exponent(rate)
    return first * (math.fsum(times[:whole]) + (n - whole) * float(times[whole]))


def average_total(first, n, rate):
    """Time of the first `n` units together on the cumulative-average curve.

    n × `first` × n^(log2 rate). Here it is the average over all units so far that falls by `rate`
    with every doubling. The same records read with the other curve give other answers; say which
    was used. Numbers or arrays.

    Examples
    --------
    >>> fourth = average_total(125_000, 4, 0.85) - average_total(125_000, 3, 0.85)
    >>> round(float(fourth), 1)
    71406.9
    """
    return n * unit_time(first, n, rate)


def units_to_reach(first: float, target: float, rate: float) -> float:
    """Which unit first takes `target` on the unit curve; a fraction, round it up.

    Parameters
    ----------
    target
        Over 0 and at most `first`, in the same unit.
    rate
        Over 0 and under 1: without learning the target is never reached. [–]

    Raises
    ------
    ValueError
        If `rate` or `target` is out of range.

    Examples
    --------
    >>> round(units_to_reach(30, 18, 25 / 30), 2)
    6.97
    """
    within("first", first, above=0)
    within("target", target, above=0, up_to=first)
    if rate == 1:
        raise ValueError("rate is 1; without learning the target is never reached")
    return (target / first) ** (1 / _exponent(rate))


def repeated(
    range_: Range, quantity: float, learning: float = 1.0, correlation: float = 1.0
) -> Range:
    """Range of the time of `quantity` units together, from the range of one.

    Parameters
    ----------
    quantity
        Units, 0 or more; a part of a unit takes its part of the time. [–]
    learning
        Rate of the unit curve, over 0 up to 1; 1 is none. [–]
    correlation
        Of the times of any two units, from 0 to 1. With 1 the machine is easy or awkward all
        over, and the range widens with the quantity. With less some units make up for others,
        and the range closes in on its mean. [–]

    Notes
    -----
    The mean is the mean of one times the quantity (and the learning), whatever the correlation.
    All three points are drawn towards the mean by √(ρ + (1 − ρ)/n), so that the standard
    deviation is that of `spread_of_sum` and the shape of the distribution stays.

    Examples
    --------
    >>> repeated(Range(0.5, 0.75, 1.5), 3)
    Range(low=1.5, typical=2.25, high=4.5)
    >>> four = repeated(Range(0.5, 0.75, 1.5), 4, correlation=0.0)
    >>> round(four.low, 3), round(four.typical, 3), round(four.high, 3)
    (2.667, 3.167, 4.667)
    """
    within("correlation", correlation, at_least=0, up_to=1)
    total = range_ * unit_total(1.0, quantity, learning)
    if correlation == 1 or quantity <= 1:
        return total
    drawn = math.sqrt(correlation + (1 - correlation) / quantity)
    mean = pert_mean(total.low, total.typical, total.high)
    low, typical, high = (
        mean + drawn * (point - mean) for point in (total.low, total.typical, total.high)
    )
    return Range(low, typical, high)


def _exponent(rate: float) -> float:
    within("rate", rate, above=0, up_to=1, fix="Write 0.8 for an 80 % curve.")
    return math.log2(rate)
