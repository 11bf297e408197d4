"""Three-point ranges and the distributions that fit them: moments and quantiles in closed form."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from estimator.units import within

_NORMAL = NormalDist()
SHAPES = ("pert", "triangular", "lognormal")
"""Distributions that a three-point figure can be read as."""


@dataclass(frozen=True)
class Range:
    """A three-point figure: low, typical (the most likely) and high, 0 or more, in one unit.

    Raises
    ------
    ValueError
        If a figure is negative or not finite, or they are out of order.

    Examples
    --------
    >>> Range(0.3, 0.75, 1.5) * 2
    Range(low=0.6, typical=1.5, high=3.0)
    >>> Range(1, 0.5, 2)
    Traceback (most recent call last):
    ...
    ValueError: low 1, typical 0.5, high 2 are out of order; low ≤ typical ≤ high is needed
    """

    low: float
    typical: float
    high: float

    def __post_init__(self) -> None:
        if 0 <= self.low <= self.typical <= self.high < math.inf:
            return
        for name in ("low", "typical", "high"):
            within(name, getattr(self, name), at_least=0)
        raise ValueError(
            f"low {self.low:g}, typical {self.typical:g}, high {self.high:g} are out of "
            "order; low ≤ typical ≤ high is needed"
        )

    @classmethod
    def of(cls, row: object, what: str = "") -> Range:
        """The range in three columns of a row or record.

        Parameters
        ----------
        what
            What the names of the columns begin with, such as "days_".

        Examples
        --------
        >>> from estimator.catalogue import load
        >>> Range.of(load().suppliers["oakbench-parts"], "days_")
        Range(low=3.0, typical=5.0, high=9.0)
        """
        return cls(getattr(row, what + "low"), getattr(row, what + "typical"),
                   getattr(row, what + "high"))

    def __mul__(self, factor: float) -> Range:
        return Range(self.low * factor, self.typical * factor, self.high * factor)

    __rmul__ = __mul__


@dataclass(frozen=True)
class Pert:
    """Moments of the PERT-beta on a range, and the shapes of its beta on [0, 1]."""

    mean: float
    sd: float
    alpha: float
    beta: float


def pert_mean(low, typical, high, shape=4.0):
    """Mean of the PERT-beta, (low + shape·typical + high) / (shape + 2); numbers or arrays.

    Examples
    --------
    >>> float(pert_mean(1, 2, 9))
    3.0
    """
    # In differences, so that a range without width keeps its mean to the last digit.
    return low + (shape * (typical - low) + (high - low)) / (shape + 2)


def pert_sd(low, typical, high, shape=4.0):
    """Standard deviation of the PERT-beta, √((mean − low)(high − mean)/(shape + 3)).

    Not the classic (high − low)/6, which is `classic_sd`. Numbers or arrays.

    Examples
    --------
    >>> round(float(pert_sd(4, 8, 16)), 5)
    2.21108
    """
    above = (shape * (typical - low) + (high - low)) / (shape + 2)
    below = (shape * (high - typical) + (high - low)) / (shape + 2)
    return np.sqrt(above * below / (shape + 3))


def pert(range_: Range, shape: float = 4.0) -> Pert:
    """The PERT-beta on a range.

    Parameters
    ----------
    shape
        How firmly the typical value is meant, over 0; 4 is customary, less is flatter. [–]

    Notes
    -----
    D. Vose, "Risk Analysis"; the same form as `rpert` of the R package mc2d. A range without
    width has the shapes of a symmetric one, which leave its quantiles at the typical value.

    Examples
    --------
    >>> found = pert(Range(4, 8, 16))
    >>> round(found.mean, 4), round(found.alpha, 4), round(found.beta, 4)
    (8.6667, 2.3333, 3.6667)
    """
    within("shape", shape, above=0)
    low, typical, high = range_.low, range_.typical, range_.high
    width = high - low
    place = (typical - low) / width if width else 0.5
    return Pert(
        float(pert_mean(low, typical, high, shape)),
        float(pert_sd(low, typical, high, shape)),
        1 + shape * place,
        1 + shape * (1 - place),
    )


def classic_sd(low, high):
    """The rule of thumb of network planning, (high − low)/6; numbers or arrays.

    Examples
    --------
    >>> classic_sd(1, 7)
    1.0
    """
    return (high - low) / 6


@dataclass(frozen=True)
class Triangular:
    """The triangular distribution on a range.

    Examples
    --------
    >>> found = triangular(Range(4, 8, 16))
    >>> round(found.mean, 3), round(found.sd, 3), found.quantile(0.0), found.quantile(1.0)
    (9.333, 2.494, 4.0, 16.0)
    """

    range_: Range
    mean: float
    sd: float

    def quantile(self, chance: float) -> float:
        """Value that is not exceeded with this chance, from 0 to 1."""
        within("chance", chance, at_least=0, up_to=1, fix="Write 0.8 for 80 %.")
        low, typical, high = self.range_.low, self.range_.typical, self.range_.high
        width = high - low
        if chance * width <= typical - low:
            return low + math.sqrt(chance * width * (typical - low))
        return high - math.sqrt((1 - chance) * width * (high - typical))


def triangular(range_: Range) -> Triangular:
    """The triangular distribution on a range, for those who trust no shape between the points.

    Examples
    --------
    >>> round(triangular(Range(4, 8, 16)).quantile(0.8), 3)
    11.618
    """
    low, typical, high = range_.low, range_.typical, range_.high
    # As a sum of squares it cannot turn negative by rounding.
    variance = ((typical - low) ** 2 + (high - typical) ** 2 + (high - low) ** 2) / 36
    return Triangular(range_, (low + typical + high) / 3, math.sqrt(variance))


@dataclass(frozen=True)
class Lognormal:
    """A lognormal: `mu` and `sigma` are mean and standard deviation of the logarithm.

    Examples
    --------
    >>> found = Lognormal(mu=2.0, sigma=0.3)
    >>> round(found.mean, 2), round(found.cv, 3), round(found.mode, 2)
    (7.73, 0.307, 6.75)
    >>> round(found.quantile(0.8), 2)
    9.51
    """

    mu: float
    sigma: float

    @property
    def mean(self) -> float:
        """exp(mu + sigma²/2)."""
        return math.exp(self.mu + self.sigma**2 / 2)

    @property
    def cv(self) -> float:
        """Coefficient of variation: standard deviation over mean."""
        return math.sqrt(math.expm1(self.sigma**2))

    @property
    def mode(self) -> float:
        """The most likely value."""
        return math.exp(self.mu - self.sigma**2)

    def quantile(self, chance: float) -> float:
        """Value that is not exceeded with this chance, between 0 and 1."""
        return math.exp(self.mu + self.sigma * normal_quantile(chance))


def lognormal_from(mean: float, cv: float) -> Lognormal:
    """The lognormal with a mean over 0 and a coefficient of variation of 0 or more.

    Examples
    --------
    >>> round(lognormal_from(100, 0.5).quantile(0.8), 1)
    133.1
    """
    within("mean", mean, above=0)
    within("cv", cv, at_least=0)
    square = math.log1p(cv**2)
    return Lognormal(math.log(mean) - square / 2, math.sqrt(square))


def lognormal_like(range_: Range) -> Lognormal:
    """The lognormal with mean and standard deviation of the PERT-beta on a range.

    For those who hold that work can run over without end: its high figure can be passed.

    Raises
    ------
    ValueError
        If the range is nought throughout.

    Examples
    --------
    >>> found = lognormal_like(Range(4, 8, 16))
    >>> round(found.mean, 4), round(found.quantile(0.99), 1)
    (8.6667, 15.1)
    """
    shape = pert(range_)
    return lognormal_from(shape.mean, shape.sd / shape.mean if shape.mean else 0.0)


def mean_of(range_: Range, shape: str = "pert") -> float:
    """Mean of a three-point figure read as one of `SHAPES`.

    Parameters
    ----------
    range_
        A range, or a row of a table with low, typical and high.

    Examples
    --------
    >>> round(mean_of(Range(4, 8, 16)), 4), round(mean_of(Range(4, 8, 16), "triangular"), 4)
    (8.6667, 9.3333)
    """
    if shape == "triangular":
        return triangular(range_).mean
    return float(pert_mean(range_.low, range_.typical, range_.high))


def normal_quantile(chance: float) -> float:
    """Quantile of the standard normal; `chance` is over 0 and under 1. [–]

    Raises
    ------
    ValueError
        If `chance` is out of range.

    Examples
    --------
    >>> round(normal_quantile(0.8), 4)
    0.8416
    """
    if not 0 < chance < 1:
        raise ValueError(
            f"chance is {chance:g}; it must be over 0 and under 1. Write 0.8 for 80 %."
        )
    return _NORMAL.inv_cdf(chance)
