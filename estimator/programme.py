"""An integer programme in columns and rows, solved to a proven optimum by HiGHS.

Q. Huangfu, J. A. J. Hall, "Parallelizing the dual revised simplex method", Mathematical
Programming Computation 10, 2018. The solver cannot be told of a solution that is known; a bound by
linear programming is taken first instead. It may prove the known one best at once, and rules out
columns that are too dear for anything better.
"""

from __future__ import annotations

import contextlib
import ctypes
import math
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

SAME = 1e-5
"""Less than this makes no difference between two solutions. [money]"""
# Seconds of a search that is watched; the next is four times as long, since it begins anew.
_FIRST_SLICE = 1.5

_DUST = 1e-6

Progress = Callable[[float, float, float], object]
"""Told (bound, best so far, seconds gone) now and then; it stops the search by False."""


@dataclass(frozen=True)
class Solution:
    """The best solution found, and how sure it is that none costs less.

    `values` by column; None where none is better than what was known. `bound`: none costs less, in
    the unit of the columns' costs.
    """

    values: np.ndarray | None
    bound: float
    proven: bool


@contextlib.contextmanager
def _aside() -> Iterator[None]:
    """What the solver prints by itself goes to the errors' output: the other may hold JSON."""
    with contextlib.suppress(OSError, ValueError):
        sys.stdout.flush()
    try:
        kept = os.dup(1)
        os.dup2(2, 1)
    except OSError:  # there is no such output
        yield
        return
    try:
        yield
    finally:
        with contextlib.suppress(OSError, AttributeError, TypeError):
            # What it printed may still lie in the buffer of the C library.
            ctypes.CDLL(None).fflush(None)
        os.dup2(kept, 1)
        os.close(kept)


class Programme:
    """Columns from 0 up, each with a cost to be kept least in sum, and rows that limit them.

    Examples
    --------
    >>> knapsack = Programme()
    >>> items = [knapsack.column(-worth, most=1) for worth in (6, 5, 4)]
    >>> knapsack.row([(items[0], 3), (items[1], 2), (items[2], 2)], most=4)
    >>> knapsack.solve().bound
    -9.0
    """

    def __init__(self):
        self._cost: list[float] = []
        self._most: list[float] = []
        self._whole: list[bool] = []
        self._entries: tuple[list, list, list] = ([], [], [])  # value, row, column
        self._low: list[float] = []
        self._high: list[float] = []

    def __len__(self) -> int:
        return len(self._cost)

    def column(self, cost: float, *, most: float = math.inf, whole: bool = True) -> int:
        """A new column from 0 to `most`, in whole numbers if so said; returns its number."""
        self._cost.append(cost)
        self._most.append(most)
        self._whole.append(whole)
        return len(self._cost) - 1

    def add(self, column: int, cost: float) -> None:
        """Let a column cost more, or less."""
        self._cost[column] += cost

    def row(
        self, entries: Iterable[tuple[int, float]], *, least: float = -math.inf,
        most: float = math.inf,
    ) -> None:
        """A new row: the sum of (column, factor) lies between two limits."""
        values, rows, columns = self._entries
        for column, factor in entries:
            values.append(factor)
            rows.append(len(self._low))
            columns.append(column)
        self._low.append(least)
        self._high.append(most)

    def holds(self, values: np.ndarray) -> bool:
        """Do these values, one a column, keep every limit?"""
        sums = self._matrix() @ values
        return bool(
            (values >= -_DUST).all() and (values <= np.array(self._most) + _DUST).all()
            and (sums >= np.array(self._low) - _DUST).all()
            and (sums <= np.array(self._high) + _DUST).all())

    def solve(
        self, *, known: float | None = None, cost: dict[int, float] | None = None,
        most_seconds: float = 10.0, progress: Progress | None = None, begun: float | None = None,
    ) -> Solution:
        """The solution of least cost, if it costs less than what is known.

        Parameters
        ----------
        known
            Cost of a solution that is known. [money]
        cost
            By column, in place of the columns' own; others are free.
        most_seconds
            The search stops then, over 0. [s]
        progress
            Told (bound, best so far, seconds gone) before the search and now and then. The search
            stops where it returns False.
        begun
            Second of `time.perf_counter` from which time is counted; None: now.
        """
        costs = np.array(self._cost)
        if cost is not None:
            costs = np.zeros(len(costs))
            costs[list(cost)] = list(cost.values())
        run = self._solver(costs)
        begun = time.perf_counter() if begun is None else begun
        best, worth = None, math.inf if known is None else known
        bound, upper = self._relaxed(costs, worth)
        seconds = most_seconds if progress is None else _FIRST_SLICE
        last = begun + most_seconds
        while worth - bound > SAME:
            now = time.perf_counter()
            if progress is not None and progress(bound, worth, now - begun) is False:
                return Solution(best, bound, False)
            if now >= last:
                return Solution(best, bound, False)
            found = run(upper, max(0.01, min(seconds, last - now)))
            if found.status == 2:  # nothing is as good as what is known, or nothing can be
                return Solution(best, worth, True)
            if found.x is not None and found.fun < worth - SAME:
                best, worth = found.x, found.fun
            if found.status == 0:
                return Solution(best, min(worth, found.fun), True)
            if found.mip_dual_bound is not None:
                bound = max(bound, found.mip_dual_bound)
            seconds *= 4
        return Solution(best, min(bound, worth), True)

    def _matrix(self):
        from scipy.sparse import csr_array

        values, rows, columns = self._entries
        return csr_array((values, (rows, columns)), shape=(len(self._low), len(self._cost)))

    def _solver(self, costs: np.ndarray):
        from scipy.optimize import Bounds, LinearConstraint, milp

        held = LinearConstraint(self._matrix(), self._low, self._high)
        whole = np.array(self._whole, float)

        def run(upper: np.ndarray, seconds: float):
            with _aside():
                return milp(costs, constraints=held, integrality=whole, bounds=Bounds(0, upper),
                            options={"mip_rel_gap": 0.0, "time_limit": seconds})

        return run

    def _relaxed(self, costs: np.ndarray, worth: float) -> tuple[float, np.ndarray]:
        """The bound where parts of a whole are allowed, and upper limits that it leaves."""
        from scipy.optimize import linprog
        from scipy.sparse import vstack

        upper = np.array(self._most, float)
        matrix, low, high = self._matrix(), np.array(self._low), np.array(self._high)
        same = low == high
        under, over = np.isfinite(high) & ~same, np.isfinite(low) & ~same
        found = linprog(
            costs, A_ub=vstack([matrix[under], -matrix[over]]),
            b_ub=np.concatenate([high[under], -low[over]]), A_eq=matrix[same], b_eq=low[same],
            bounds=np.column_stack([np.zeros(len(costs)), upper]), method="highs")
        if found.status != 0:
            return -math.inf, upper
        # One of a column whose reduced cost is more than what is left of the gap is too dear.
        dear = np.array(self._whole) & (found.fun + found.lower.marginals > worth + SAME)
        return found.fun, np.where(dear, 0.0, upper)


__all__ = ["SAME", "Programme", "Progress", "Solution"]
