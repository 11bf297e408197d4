"""Which lines of a job raise what the machine sells for by more than they cost.

A step up in price is shared out over the lines by weights (`sale_weights.csv`): what a buyer looks
at and pays for, more where the assembly was worse (`wear_worth.csv`) and where the level does more
of what could be done. The shares add up to the whole step. The best
set within a sum of money or of hours is an integer programme, solved to proven optimum by HiGHS.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from estimator.picking import Shared


@dataclass(frozen=True)
class Job:
    """The lines of a job as far as they can be chosen.

    Parameters
    ----------
    gains
        What each adds to the sale, fees off; shape (lines,). [money]
    costs
        What each costs by itself, labour and finds counted in. [money]
    hours
        What each takes of the bench by itself. [h]
    fixed
        Lines that cannot be left out.
    shared
        Charges that lines share, such as set-ups and lots, and the hours in each.
    """

    gains: np.ndarray
    costs: np.ndarray
    hours: np.ndarray
    fixed: np.ndarray
    shared: tuple[tuple[Shared, float], ...] = ()

    def of(self, chosen: Sequence[int]) -> tuple[float, float, float]:
        """Gain, cost and hours of a set of lines, what they share counted in."""
        lines = set(chosen)
        at = sorted(lines)
        cost, hours = float(self.costs[at].sum()), float(self.hours[at].sum())
        for charge, time in self.shared:
            cost += charge.charge(lines)
            hours += time if any(line in lines for line in charge.lines) else 0.0
        return float(self.gains[at].sum()), cost, hours


@dataclass(frozen=True)
class Chosen:
    """A set of lines: their numbers, what they gain, cost and take, and whether none is better."""

    lines: tuple[int, ...]
    gain: float
    cost: float
    hours: float
    proven: bool = True

    @property
    def profit(self) -> float:
        """What they gain over what they cost. [money]"""
        return self.gain - self.cost


class NothingFits(ValueError):
    """Not even the lines that cannot be left out fit; `cost` and `hours` are what those take."""

    def __init__(self, cost: float, hours: float):
        self.cost, self.hours = cost, hours
        super().__init__(f"what cannot be left out costs {cost:.0f} and takes {hours:.1f} h")


def shares(weights: Sequence[float]) -> np.ndarray:
    """Weights as shares that add up to 1; all nothing where there are no weights.

    Examples
    --------
    >>> shares([3, 1]).tolist()
    [0.75, 0.25]
    """
    found = np.asarray(weights, float)
    total = found.sum()
    return found / total if total > 0 else np.zeros(len(found))


def choose(job: Job, *, budget: float | None = None, hours: float | None = None,
           seconds: float = 5.0) -> Chosen:
    """The lines whose gain is furthest over their cost, within a sum of money and of hours.

    Raises
    ------
    NothingFits
        If not even the lines that cannot be left out fit.

    Examples
    --------
    >>> job = Job(np.array([90.0, 50, 80]), np.array([40.0, 60, 50]), np.array([1.0, 1, 2]),
    ...           np.array([False, False, False]))
    >>> choose(job).lines, choose(job, hours=1.5).lines
    ((0, 2), (0,))
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    lines = len(job.gains)
    must = np.flatnonzero(job.fixed)
    _, least_cost, least_hours = job.of(must)
    over = [limit is not None and least > limit + 1e-9
            for least, limit in ((least_cost, budget), (least_hours, hours))]
    if any(over):
        raise NothingFits(least_cost, least_hours)
    # Unknowns: x of each line; then of each shared charge whether it falls due, and how much.
    count, rows, low, high = lines + 2 * len(job.shared), [], [], []
    cost = np.zeros(count)
    cost[:lines] = job.costs
    time = np.zeros(count)
    time[:lines] = job.hours

    def at_least(row: np.ndarray) -> None:
        rows.append(row)
        low.append(0.0)
        high.append(math.inf)

    for number, (charge, taken) in enumerate(job.shared):
        due, sum_ = lines + 2 * number, lines + 2 * number + 1
        times = float(np.mean(charge.times))
        cost[sum_], time[due] = 1.0, taken
        whole, least = np.zeros(count), np.zeros(count)
        whole[sum_] = least[sum_] = 1.0
        whole[due], least[due] = -times * charge.amount, -times * charge.least
        for line, part in charge.each():
            whole[line] -= times * part
            row = np.zeros(count)
            row[due], row[line] = 1.0, -1.0
            at_least(row)
        at_least(whole)
        at_least(least)
    for row, limit in ((cost, budget), (time, hours)):
        if limit is not None:
            rows.append(row)
            low.append(-math.inf)
            high.append(limit)
    aim = cost.copy()
    aim[:lines] -= job.gains
    lower, upper = np.zeros(count), np.ones(count)
    upper[lines + 1::2] = math.inf
    lower[must] = 1.0
    whole_numbers = np.zeros(count)
    whole_numbers[:lines] = 1
    if not lines:
        return Chosen((), 0.0, 0.0, 0.0)
    # Without limits of its own a programme has none to give.
    limits = LinearConstraint(np.array(rows), low, high) if rows else ()
    done = milp(aim, integrality=whole_numbers, bounds=Bounds(lower, upper), constraints=limits,
                options={"time_limit": seconds, "mip_rel_gap": 0.0})
    if done.x is None:
        raise NothingFits(least_cost, least_hours)
    chosen = tuple(int(line) for line in np.flatnonzero(done.x[:lines] > 0.5))
    return Chosen(chosen, *job.of(chosen), proven=done.status == 0)


def frontier(job: Job, *, budget: float | None = None, steps: int = 8) -> tuple[Chosen, ...]:
    """The best sets as the hours grow from what cannot be left out to all lines.

    Where a step of more hours buys nothing, it is left out.
    """
    _, _, least = job.of(np.flatnonzero(job.fixed))
    _, _, most = job.of(range(len(job.gains)))
    found: list[Chosen] = []
    for limit in np.linspace(least, most, steps + 1):
        try:
            one = choose(job, budget=budget, hours=float(limit) + 1e-9)
        except NothingFits:
            continue
        if not found or one.profit > found[-1].profit + 0.005:
            found.append(one)
    return tuple(found)
