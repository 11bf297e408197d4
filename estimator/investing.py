"""Money over months: what a row of payments is worth, what it earns, when it is back.

Payments stand at the end of their period, the first one at the start: `flows[0]` is now. Money
paid out is negative. A period is a year or a month, as the rate says.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimator.units import within

_SAME = 1e-9
_LONG = 60
"""Payments beyond which a polynomial of theirs is slow and dull to solve."""


@dataclass(frozen=True)
class Earned:
    """The internal rate of return, or why there is none that could be told.

    Parameters
    ----------
    rate
        The rate per period at which the payments are worth nothing; None where `why` says why
        there is no such one figure. [–]
    roots
        Every rate over −1 at which they are worth nothing, in rising order.
    why
        Blank where `rate` is one.

    Examples
    --------
    >>> internal_rate([-100, 110]).rate
    0.1
    """

    rate: float | None
    roots: tuple[float, ...]
    why: str = ""


def monthly_rate(yearly: float) -> float:
    """The rate of a month that comes to `yearly` over twelve. [–]

    Examples
    --------
    >>> round(monthly_rate(0.12682503), 8)
    0.01
    """
    return (1 + _rate(yearly)) ** (1 / 12) - 1


def yearly_rate(monthly: float) -> float:
    """The rate of a year that `monthly` comes to. [–]

    Examples
    --------
    >>> round(yearly_rate(0.01), 8)
    0.12682503
    """
    return (1 + _rate(monthly)) ** 12 - 1


def present_value(rate: float, flows: ArrayLike) -> float:
    """Net present value: what the payments are worth now. [money]

    Parameters
    ----------
    rate
        Per period, over −1. [–]

    Raises
    ------
    ValueError
        If the rate is −1 or less, or there are no payments, or one is not finite.

    Examples
    --------
    >>> round(present_value(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000]), 2)
    3065.22
    """
    import numpy_financial

    return float(numpy_financial.npv(_rate(rate), _flows(flows)))


def sign_changes(flows: ArrayLike) -> int:
    """How often the payments turn from out to in or back; zeros do not count.

    There are at most as many rates of return over −1, and as many or fewer by an even number
    (R. Descartes, "La Géométrie", 1637).

    Examples
    --------
    >>> sign_changes([-350, 950, -620]), sign_changes([-100, 0, 110])
    (2, 1)
    """
    signs = np.sign(_flows(flows))
    signs = signs[signs != 0]
    return int(np.sum(signs[1:] != signs[:-1]))


def rates_of_return(flows: ArrayLike) -> tuple[float, ...]:
    """Every rate over −1 at which the payments are worth nothing, in rising order. [–]

    Roots of the polynomial in 1/(1 + rate), made exact by Newton's rule; a double one, where the
    value touches nothing without crossing it, stands once.

    Examples
    --------
    >>> [round(rate, 5) for rate in rates_of_return([-350, 950, -620])]
    [0.0918, 0.62249]
    """
    values = _flows(flows)
    filled = np.flatnonzero(values)
    if not filled.size or sign_changes(values) == 0:
        return ()
    # Zeros before the first payment only move all of them.
    values = values[filled[0]:filled[-1] + 1]
    scale = np.abs(values).max()
    # v = 1 / (1 + rate); np.roots wants the highest power first.
    found = np.roots(values[::-1] / scale)
    # A double root comes out as a pair just off the real axis.
    near = [root.real for root in found if root.real > 0 and abs(root.imag) < 1e-6 * abs(root)]
    rates: list[float] = []
    powers = np.arange(len(values))
    for factor in near:
        for _ in range(8):
            terms = factor**powers
            slope = float(np.sum(powers[1:] * values[1:] * terms[:-1]))
            if slope == 0:
                break
            step = float(values @ terms) / slope
            if not np.isfinite(step) or abs(step) > 0.1 * factor:
                break
            factor -= step
        rates.append(float(1 / factor - 1))
    rates.sort()
    return tuple(rate for place, rate in enumerate(rates)
                 if not place or rate - rates[place - 1] > 1e-5 * (1 + abs(rate)))


def internal_rate(flows: ArrayLike) -> Earned:
    """The internal rate of return, if there is exactly one.

    Payments that only come in, or only go out, have none; those that turn more than once may
    have several, and then no one of them says what was earned.

    Examples
    --------
    >>> round(internal_rate([-100, 39, 59, 55, 20]).rate, 5)
    0.28095
    >>> internal_rate([-350, 950, -620]).rate is None
    True
    >>> internal_rate([100, 50]).why
    'No money is paid out, so there is nothing that it could earn on.'
    """
    import numpy_financial

    values = _flows(flows)
    if not np.any(values < 0):
        return Earned(None, (), "No money is paid out, so there is nothing that it could earn on.")
    if not np.any(values > 0):
        return Earned(None, (), "No money comes back.")
    changes = sign_changes(values)
    if changes == 1:
        rate = float(numpy_financial.irr(values)) if len(values) <= _LONG else math.nan
        # With one change of sign there is one root; where the library gives up, we do not.
        if not abs(_leftover(rate, values)) <= 1e-9:
            rate = _only_root(values)
        return Earned(round(rate, 12), (rate,))
    roots = rates_of_return(values)
    if len(roots) == 1:
        return Earned(round(roots[0], 12), roots)
    if not roots:
        return Earned(None, (), f"The payments turn {changes} times between out and in, and at "
                      "no rate are they worth nothing.")
    said = " and ".join(f"{100 * rate:.1f} %" for rate in roots)
    return Earned(None, roots, f"The payments turn {changes} times between out and in; {said} "
                  "would all be right, so none of them says what is earned.")


def _leftover(rate: float, values: np.ndarray) -> float:
    """What the payments are worth at a rate, as a share of what is moved at all there."""
    if not rate > -1:
        return math.nan
    # From whichever end keeps the powers small.
    powers = np.arange(len(values)) if rate >= 0 else np.arange(len(values)) - len(values) + 1
    terms = values * (1 + rate) ** -powers.astype(float)
    return float(terms.sum() / np.abs(terms).sum())


def _only_root(values: np.ndarray) -> float:
    """The rate of payments that turn once, halving between bounds in ln(1 + rate)."""
    low, high = -30.0, 30.0
    rising = _leftover(math.expm1(low), values) < 0
    for _ in range(200):
        middle = (low + high) / 2
        if (_leftover(math.expm1(middle), values) < 0) == rising:
            low = middle
        else:
            high = middle
    return math.expm1((low + high) / 2)


def modified_rate(flows: ArrayLike, finance: float, reinvest: float) -> float | None:
    """Modified internal rate of return per period. [–]

    What comes in is put by at `reinvest` to the end, what goes out is set aside now at `finance`;
    so there is one answer however often the payments turn. None where nothing goes out or
    nothing comes in.

    Examples
    --------
    >>> round(modified_rate([-120_000, 39_000, 30_000, 21_000, 37_000, 46_000], 0.10, 0.12), 6)
    0.126094
    """
    import numpy_financial

    values = _flows(flows)
    if len(values) < 2 or not np.any(values < 0) or not np.any(values > 0):
        return None
    return float(numpy_financial.mirr(values, _rate(finance), _rate(reinvest)))


def payback(flows: ArrayLike, rate: float = 0.0) -> float | None:
    """Periods until the money is back, within a period evenly; None if it does not come back.

    Parameters
    ----------
    rate
        Per period, to count money at what it is worth now; 0 for the plain payback. [–]

    Notes
    -----
    Counted to where the sum of payments last turns from under nothing to nothing or more: money
    that is back and paid out again is not back. 0 where nothing was ever out.

    Examples
    --------
    >>> payback([-150, *[20] * 10])
    7.5
    >>> payback([-100, 30, 30]) is None
    True
    """
    values = _flows(flows)
    worth = values / (1 + _rate(rate)) ** np.arange(len(values))
    sums = np.cumsum(worth)
    dust = _SAME * max(1.0, float(np.abs(worth).max()))
    short = np.flatnonzero(sums < -dust)
    if not short.size:
        return 0.0
    last = int(short[-1])
    if last == len(sums) - 1:
        return None
    return last + float(-sums[last] / worth[last + 1])


def profitability(rate: float, flows: ArrayLike) -> float | None:
    """Profitability index: worth now of what follows over what is paid at the start. [–]

    None where nothing is paid at the start.

    Examples
    --------
    >>> round(profitability(0.09, [-16_000, 2_000, 4_000, 5_000, 5_000, 5_000, 5_000]), 2)
    1.18
    """
    values = _flows(flows)
    if values[0] >= 0:
        return None
    return 1 + present_value(rate, values) / -float(values[0])


def annuity(rate: float, periods: int | np.ndarray, *, due: bool = False):
    """Worth now of one unit of money at the end of each of so many periods; `due`: at the start.

    Raises
    ------
    ValueError
        If `periods` is under 0, or `rate` is out of range.

    Examples
    --------
    >>> round(annuity(0.08, 5) * 25_000, 2), round(annuity(0.08, 5, due=True) * 25_000, 2)
    (99817.75, 107803.17)
    """
    _rate(rate)
    count = np.asarray(periods, float)
    if np.any(count < 0):
        raise ValueError("periods is under 0; write how many there are")
    worth = count if rate == 0 else (1 - (1 + rate) ** -count) / rate
    worth = worth * (1 + rate) if due else worth
    return float(worth) if np.ndim(periods) == 0 else worth


def _rate(rate: float) -> float:
    within("rate", rate, fix="Write 0.1 for 10 %.")
    if rate <= -1:
        raise ValueError(f"rate is {rate:g}; it must be over -1. Write 0.1 for 10 %.")
    return rate


def _flows(flows: ArrayLike) -> np.ndarray:
    values = np.asarray(flows, float)
    if values.ndim != 1 or not values.size or not np.isfinite(values).all():
        raise ValueError("flows must be payments in a row, each a finite number; the first is now")
    return values


__all__ = [
    "Earned",
    "annuity",
    "internal_rate",
    "modified_rate",
    "monthly_rate",
    "payback",
    "present_value",
    "profitability",
    "rates_of_return",
    "sign_changes",
    "yearly_rate",
]
