"""Profit of thousands of machines at once, from a few facts of each and without trials.

Everything is arrays that fit each other by numpy's rules: machines down, choices across. What is
multiplied or added is taken as independent; the first three moments are exact for that, and the
quantiles follow from them by the expansion of E. Cornish & R. Fisher ("Revue de l'Institut
international de statistique" 5, 1938). Good to a few hundredths of the spread between a fiftieth
and 49 fiftieths; where the line is near, play the trials.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimator import durations


@dataclass(frozen=True)
class Moments:
    """Mean, variance and third central moment; arrays of one shape. [money and its powers]"""

    mean: np.ndarray
    variance: np.ndarray
    third: np.ndarray

    @classmethod
    def of(cls, mean: ArrayLike, sd: ArrayLike = 0.0, skewness: ArrayLike = 0.0) -> Moments:
        """From mean, standard deviation and skewness.

        Examples
        --------
        >>> Moments.of(10, 2, 0.5).third.item()
        4.0
        """
        mean, sd, skewness = np.broadcast_arrays(*(np.asarray(x, float)
                                                   for x in (mean, sd, skewness)))
        return cls(mean, sd**2, skewness * sd**3)

    @classmethod
    def pert(cls, low: ArrayLike, typical: ArrayLike, high: ArrayLike) -> Moments:
        """Of a PERT-beta with the usual shape 4.

        Examples
        --------
        >>> found = Moments.pert(0, 1, 6)
        >>> round(found.mean.item(), 4), round(found.variance.item(), 4)
        (1.6667, 1.0317)
        """
        low, typical, high = (np.asarray(x, float) for x in (low, typical, high))
        width = high - low
        mode = np.where(width > 0, (typical - low) / np.where(width > 0, width, 1), 0.5)
        a, b = 1 + 4 * mode, 5 - 4 * mode
        # a + b = 6: beta moments.
        variance = a * b / 252
        skewness = 2 * (b - a) * np.sqrt(7) / (8 * np.sqrt(a * b))
        return cls(low + width * a / 6, variance * width**2, skewness * variance**1.5 * width**3)

    @classmethod
    def from_quantiles(cls, shares: ArrayLike, values: ArrayLike) -> Moments:
        """Of a quantity of which quantiles are kept: straight lines between them.

        Parameters
        ----------
        shares
            Rising, 0 to 1; shape (quantiles,). [–]
        values
            What lies at them, along the last axis.

        Examples
        --------
        >>> found = Moments.from_quantiles([0, 1], [0.0, 12.0])
        >>> found.mean.item(), found.variance.item()
        (6.0, 12.0)
        """
        steps = np.diff(np.asarray(shares, float))
        values = np.asarray(values, float)
        a, b = values[..., :-1], values[..., 1:]
        first = np.sum(steps * (a + b) / 2, -1) / steps.sum()
        a, b = a - first[..., None], b - first[..., None]
        second = np.sum(steps * (a * a + a * b + b * b) / 3, -1) / steps.sum()
        third = np.sum(steps * (a + b) * (a * a + b * b) / 4, -1) / steps.sum()
        return cls(first, second, third)

    def times(self, other: Moments | float) -> Moments:
        """Of the product with another, independent quantity, or with a number."""
        if not isinstance(other, Moments):
            return Moments(self.mean * other, self.variance * other**2, self.third * other**3)
        m, n = self, other
        raw2, raw2_ = m.variance + m.mean**2, n.variance + n.mean**2
        raw3 = m.third + 3 * m.mean * m.variance + m.mean**3
        raw3_ = n.third + 3 * n.mean * n.variance + n.mean**3
        mean, square, cube = m.mean * n.mean, raw2 * raw2_, raw3 * raw3_
        return Moments(mean, square - mean**2, cube - 3 * mean * square + 2 * mean**3)

    def plus(self, other: Moments | float) -> Moments:
        """Of the sum with another, independent quantity, or with a number."""
        if not isinstance(other, Moments):
            return Moments(self.mean + other, self.variance, self.third)
        return Moments(self.mean + other.mean, self.variance + other.variance,
                       self.third + other.third)

    def at(self, share: ArrayLike) -> np.ndarray:
        """The value that `share` of the outcomes stay below, over 0 under 1."""
        z = np.asarray([durations.normal_quantile(float(q)) for q in np.ravel(share)]).reshape(
            np.shape(share))
        sd = np.sqrt(self.variance)
        skew = np.where(sd > 0, self.third / np.where(sd > 0, sd, 1)**3, 0.0)
        return self.mean + sd * (z + (z**2 - 1) * skew / 6 - (2 * z**3 - 5 * z) * skew**2 / 36)


def profits(*, value: Moments, ratio: Moments, cost: Moments, days: Moments,
            fee: Moments | float = 0.0, price: Moments | float = 1.0, fixed: ArrayLike = 0.0,
            storage_per_month: float = 0.0, paid: ArrayLike = 0.0) -> Moments:
    """Profit of buying at `paid`, working and selling.

    value × ratio × price × (1 − fee) − fixed − cost − storage × days / 30.44 − paid

    Parameters
    ----------
    value
        The machine nice and working. [money]
    ratio
        What it sells for after the work, over that. [–]
    cost
        Of the work, hours at what they cost. [money]
    days
        Until its money is there, the work counted in. [d]
    fee, price
        Share that the seller gives up; price in this way of selling over a private sale's. [–]
    fixed, paid
        Fixed charge of the sale; what the machine costs, premium counted in. [money]

    Notes
    -----
    Least and greatest fees are left out: for prices between them the share is right.

    Examples
    --------
    >>> found = profits(value=Moments.pert(4_000, 5_000, 6_000), ratio=Moments.pert(1.03, 1.1, 1.2),
    ...                 cost=Moments.of(1_400, 150), days=Moments.of(50, 20), paid=3_000)
    >>> round(found.mean.item()), found.at(0.1).item() < found.at(0.5).item()
    (1125, True)
    """
    left = fee.times(-1.0).plus(1.0) if isinstance(fee, Moments) else 1.0 - fee
    income = value.times(ratio).times(price).times(left)
    return (income.plus(cost.times(-1.0)).plus(days.times(-storage_per_month * 12 / 365.25))
            .plus(-np.asarray(fixed, float) - np.asarray(paid, float)))


def highest_price(profit: Moments, confidence: float, wanted: ArrayLike = 0.0) -> np.ndarray:
    """The most to pay, premium counted in, so that `wanted` is left in `confidence` of the cases.

    Parameters
    ----------
    profit
        As `profits` gives it with `paid` at 0. [money]
    """
    return profit.at(1 - confidence) - np.asarray(wanted, float)


__all__ = ["Moments", "highest_price", "profits"]
