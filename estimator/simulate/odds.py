"""What the trials gave, and what can be asked of them."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from estimator import durations
from estimator.scoring import wilson_range
from estimator.simulate.play import Drawn


@dataclass(frozen=True)
class Billing:
    """How time and materials are billed: rate of an hour, step that time is rounded up to, and
    what is added to cost, by kind.

    Examples
    --------
    >>> Billing(80.0, 0.25, 0.5, 0.2, 0.1).billed(np.array([2.1, 2.25])).tolist()
    [2.25, 2.25]
    """

    rate: float
    step_hours: float
    parts: float
    materials: float
    outwork: float

    def billed(self, hours: np.ndarray) -> np.ndarray:
        """Hours rounded up to whole steps. [h]"""
        # Draws have seven digits: a millionth over a step is that step.
        return np.ceil(hours / self.step_hours * (1 - 1e-6)) * self.step_hours


@dataclass(frozen=True)
class Odds:
    """What the trials gave.

    Parameters
    ----------
    hours, cost, days
        Of the whole job, finds included; shape (trials,). [h], [money], [d]
    find_hours, find_cost
        The part of it that comes from finds and lines worse than assumed.
    kinds
        Cost by kind: labour, parts, materials, outwork, and finds; they add up to the cost.
    lines
        What each survey line drew, by its index; empty where there were too many trials to keep.
    hour_cost, hours_factor
        What an hour costs, and what hands-on hours are multiplied by for allowances.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> odds = small_quote().odds
    >>> middle, high = odds.at("cost", 0.5, 0.9)
    >>> odds.trials, middle < high, odds.chance_of_loss(odds.income_for(0.1))
    (100, True, 0.1)
    >>> low, top = odds.sure_of("cost", 0.9)
    >>> low < high < top, odds.line_cost[0].shape
    (True, (100,))
    """

    hours: np.ndarray
    cost: np.ndarray
    days: np.ndarray
    find_hours: np.ndarray
    find_cost: np.ndarray
    kinds: Mapping[str, np.ndarray]
    billing: Billing
    seed: int
    sampler: str
    lines: Mapping[int, Drawn]
    hour_cost: float
    hours_factor: float

    @property
    def trials(self) -> int:
        """How many trials."""
        return len(self.cost)

    @functools.cached_property
    def bill(self) -> np.ndarray:
        """What time and materials would come to in each trial, before any cap. [money]"""
        terms, kinds = self.billing, self.kinds
        other = kinds["finds"] - self.find_hours * self.hour_cost
        return (
            terms.billed(self.hours) * terms.rate
            + (kinds["parts"] + other) * (1 + terms.parts)
            + kinds["materials"] * (1 + terms.materials)
            + kinds["outwork"] * (1 + terms.outwork)
        )

    @functools.cached_property
    def line_cost(self) -> Mapping[int, np.ndarray]:
        """Cost of each survey line in each trial, its finds included; float32.

        Without set-up, lots and what is bought in whole packs, which lines share.
        """
        found = {}
        hour = np.float32(self.hour_cost * self.hours_factor)
        for index, line in self.lines.items():
            cost = np.zeros(self.trials, np.float32)
            for row, factor in ((line.hours, hour), (line.find_hours, hour), (line.parts, None),
                                (line.materials, None), (line.find_other, None)):
                if row is not None:
                    cost += row if factor is None else row * factor
            found[index] = cost
        return found

    def at(self, what: str, *shares: float) -> tuple[float, ...]:
        """Values of `what` ("hours", "cost", "days", "bill") that these shares stay below."""
        return tuple(float(v) for v in np.quantile(getattr(self, what), shares))

    def sure_of(self, what: str, share: float, confidence: float = 0.95) -> tuple[float, float]:
        """Where the quantile of `what` lies, as far as this many trials can tell.

        The distribution-free range between order statistics: the number of trials below the
        quantile is binomial (W. J. Conover, "Practical Nonparametric Statistics"). With Sobol
        points it is on the safe side.

        Parameters
        ----------
        what
            "hours", "cost", "days" or "bill".
        share, confidence
            Of the quantile, and of the range; over 0 and under 1. [–]
        """
        values = np.sort(getattr(self, what))
        half = durations.normal_quantile((1 + confidence) / 2) * math.sqrt(
            self.trials * share * (1 - share))
        low = max(0, math.floor(self.trials * share - half) - 1)
        high = min(self.trials - 1, math.ceil(self.trials * share + half))
        return float(values[low]), float(values[high])

    def chance_of_loss(self, income: float | np.ndarray) -> float:
        """Share of trials in which the job costs more than it brings in. [–]"""
        return float(np.mean(self.cost > income))

    def loss_range(self, income: float | np.ndarray) -> tuple[float, float]:
        """Between what the chance of loss lies, as far as this many trials can tell (95 %). [–]"""
        return wilson_range(int(np.sum(self.cost > income)), self.trials)

    def income_for(self, loss: float) -> float:
        """The income that the cost passes in just this share of jobs. [money]

        At `loss=0.1` one job in ten costs more than it brings in.

        Raises
        ------
        ValueError
            If `loss` is not over 0 and under 1.
        """
        if not 0 < loss < 1:
            raise ValueError(f"loss is {loss:g}; it must be over 0 and under 1. "
                             "Write 0.1 for one job in ten.")
        return self.at("cost", 1 - loss)[0]


__all__ = ["Odds"]
