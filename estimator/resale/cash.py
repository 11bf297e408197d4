"""Money over months in many trials at once.

A month begun counts whole, as rent does: work is paid evenly over the months it takes, the floor
at the end of each month, a sale at the end of the month in which it comes. So what the expected
payments are worth is exactly the mean of what the trials are worth.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from estimator import investing

DAYS = 365.25 / 12
"""Days in a month."""


def months(days: np.ndarray | float) -> np.ndarray:
    """Whole months that so many days take, one begun counted whole; 1 or more.

    Examples
    --------
    >>> months(np.array([0, 30, 31])).tolist()
    [1, 1, 2]
    """
    return np.maximum(np.ceil(np.asarray(days) / DAYS - 1e-9), 1).astype(int)


@dataclass(frozen=True)
class Cash:
    """What a choice pays and brings from now on, trial by trial.

    Parameters
    ----------
    spent
        What the work costs, paid evenly over its months; shape (trials,). [money]
    works
        Months of work; shape (trials,), whole numbers, 1 or more.
    kept
        Months until the last sale; shape (trials,), whole numbers.
    storage
        What a month of keeping it costs. [money]
    sales
        What comes in and in which month: pairs of arrays of shape (trials,). [money]
    after
        Whole months before the work can begin.
    now
        What is paid at once, such as the price of buying it. [money]
    """

    spent: np.ndarray
    works: np.ndarray
    kept: np.ndarray
    storage: float
    sales: tuple[tuple[np.ndarray, np.ndarray], ...]
    after: int = 0
    now: float = 0.0

    @functools.cached_property
    def income(self) -> np.ndarray:
        """What all sales bring. [money]"""
        return np.sum([net for net, _ in self.sales], axis=0)

    @functools.cached_property
    def profit(self) -> np.ndarray:
        """Everything that comes in less everything that goes out. [money]"""
        return self.income - self.spent - self.storage * self.kept - self.now

    def worth(self, rate: float) -> np.ndarray:
        """Net present value of each trial at a monthly rate. [money]"""
        powers = (1 + rate) ** -np.arange(self.last + 1.0)
        # Worth of 1 at the end of each of the first n months.
        each = np.concatenate([[0.0], np.cumsum(powers[1:])])
        found = -self.storage * each[self.kept] - self.now
        found -= self.spent / self.works * (each[self.after + self.works] - each[self.after])
        for net, month in self.sales:
            found += net * powers[month]
        return found

    def income_worth(self, rate: float) -> np.ndarray:
        """What the sales alone are worth now. [money]"""
        powers = (1 + rate) ** -np.arange(self.last + 1.0)
        return np.sum([net * powers[month] for net, month in self.sales], axis=0)

    @property
    def last(self) -> int:
        """The last month in which anything is paid."""
        return int(max(self.kept.max(), self.after + self.works.max(),
                       *(month.max() for _, month in self.sales)))

    def expected(self) -> np.ndarray:
        """Mean payment at the end of each month; the first is now. [money]"""
        trials, last = len(self.spent), self.last
        found = np.zeros(last + 1)
        found[0] = -self.now
        for net, month in self.sales:
            found += np.bincount(month, net, last + 1) / trials
        for count, cost in ((self.works, self.spent / self.works),
                            (self.kept, np.full(trials, self.storage))):
            start = self.after if count is self.works else 0
            # Paid in every month from the first to the count-th: all with as many months or more.
            ends = np.bincount(count, cost, last + 1)
            per = np.cumsum(ends[::-1])[::-1] / trials
            found[1 + start:] -= per[1:last + 1 - start]
        return found


def yearly(earned: investing.Earned) -> investing.Earned:
    """A monthly rate of return as a yearly one."""
    rate = None if earned.rate is None else investing.yearly_rate(earned.rate)
    roots = tuple(investing.yearly_rate(root) for root in earned.roots)
    why = earned.why
    if len(roots) > 1:
        said = " and ".join(f"{100 * root:.1f} %" for root in roots)
        why = (f"The payments turn more than once between out and in; {said} a year would all be "
               "right, so none of them says what is earned.")
    return investing.Earned(rate, roots, why)
