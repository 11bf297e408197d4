"""The choice of suppliers as an integer programme, solved to a proven optimum by HiGHS.

For each supplier: whether it is used, whether its freight is free, and what is added to reach its
least order. For each need: who covers it. For needs that hang together: packs at each break, kits
opened, substitutes fitted. Q. Huangfu, J. A. J. Hall, "Parallelizing the dual revised simplex
method", Mathematical Programming Computation 10, 2018, is the solver's.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from estimator.buying.columns import Task
from estimator.buying.records import Wish

SAME = 1e-5
"""Money below this makes no difference between two baskets."""
_FIRST_SLICE = 0.5  # seconds; then twice as long, so that at most half of the work is done twice


@dataclass(frozen=True)
class Choice:
    """What is bought: singles by their number, packs of each band; kits opened, parts swapped."""

    singles: tuple[int, ...]
    packs: Mapping[int, int]
    opened: Mapping[tuple[int, str], int]
    swapped: Mapping[tuple[int, str, str], int]


@dataclass(frozen=True)
class Solved:
    """The best choice found (None: none better than what was known), and how sure that is."""

    choice: Choice | None
    bound: float
    proven: bool


class _Rows:
    """Rows of a sparse matrix with their limits."""

    def __init__(self):
        self.row, self.column, self.value, self.low, self.high = [], [], [], [], []

    def hold(self, entries: list[tuple[int, float]], low: float, high: float) -> None:
        for column, value in entries:
            self.row.append(len(self.low))
            self.column.append(column)
            self.value.append(value)
        self.low.append(low)
        self.high.append(high)


class Model:
    """One task as columns and rows; `caps` (units by supplier) are limits.

    With `fill` an order may be filled up to free freight.
    """

    def __init__(
        self, task: Task, caps: Mapping[str, float] | None = None, fill: bool = False
    ):
        self.task, self._fill = task, fill
        self._columns: list[tuple[float, float, bool]] = []  # cost, most, whole
        self._rows = _Rows()
        houses, count = task.houses, len(task.houses)
        self.x = [self._new(one.cost, 1) for one in task.singles]
        self.n = [self._new(band.pack_price, band.most) for band in task.bands]
        self.y = [self._new(0, 1) for _ in task.bands]
        shipping = [0.0 if house.free_over is not None and house.minimum_order >= house.free_over
                    else house.shipping for house in houses]
        self.used = [self._new(cost, 1) for cost in shipping]
        self.free = [self._new(-cost, 1 if cost and house.free_over is not None else 0)
                     for cost, house in zip(shipping, houses, strict=True)]
        self.top = [self._new(1, math.inf if house.minimum_order or fill else 0, whole=False)
                    for house in houses]
        self.opened: dict[tuple[int, str], int] = {}
        self.swapped: dict[tuple[int, str, str], int] = {}
        goods: list[list[tuple[int, float]]] = [[] for _ in range(count)]
        units: list[list[tuple[int, float]]] = [[] for _ in range(count)]
        covers: dict[str, list[tuple[int, float]]] = {part: [] for part in task.wanted}
        for x, one in zip(self.x, task.singles, strict=True):
            goods[one.at].append((x, one.cost))
            units[one.at].append((x, one.units))
            covers[one.part].append((x, 1.0))
            self._rows.hold([(x, 1), (self.used[one.at], -1)], -math.inf, 0)
        for entries in covers.values():
            self._rows.hold(entries, 1, 1)
        breaks: dict[tuple[str, int], list[int]] = {}
        for n, y, band in zip(self.n, self.y, task.bands, strict=True):
            goods[band.at].append((n, band.pack_price))
            units[band.at].append((n, band.offer.pack))
            self._rows.hold([(n, 1), (y, -band.most)], -math.inf, 0)
            self._rows.hold([(n, 1), (y, -band.least)], 0, math.inf)
            breaks.setdefault((band.part, band.at), []).append(y)
        for (_, at), ys in breaks.items():
            self._rows.hold([*((y, 1) for y in ys), (self.used[at], -1)], -math.inf, 0)
        for number in range(len(task.groups)):
            self._balance(number)
        for at, house in enumerate(houses):
            self._terms(at, goods[at], units[at], shipping[at], (caps or {}).get(house.supplier))

    def _new(self, cost: float, most: float, *, whole: bool = True) -> int:
        self._columns.append((cost, most, whole))
        return len(self._columns) - 1

    def _balance(self, number: int) -> None:
        """Of each part in a group: what comes in, less what is fitted elsewhere, is enough."""
        group = self.task.groups[number]
        there: dict[str, list[tuple[int, float]]] = {part: [] for part in group.lacks}
        for n, band in zip(self.n, self.task.bands, strict=True):
            if band.part in there:
                there[band.part].append((n, band.offer.pack))
        for kit, contents in group.contents.items():
            opened = self._new(0, max(0, group.most(kit) - min(0, group.lacks[kit])))
            self.opened[number, kit] = opened
            there[kit].append((opened, -1.0))
            for part, each in contents.items():
                there[part].append((opened, each))
        inward: dict[str, list[tuple[int, float]]] = {}
        outward: dict[str, list[tuple[int, float]]] = {}
        for one, other, each in group.swaps:
            fitted = self._new(0, max(0, group.lacks[other]))
            self.swapped[number, one, other] = fitted
            inward.setdefault(other, []).append((fitted, 1.0))
            outward.setdefault(one, []).append((fitted, -each))
        for part, entries in there.items():
            lack = group.lacks[part]
            into, out = inward.get(part, []), outward.get(part, [])
            self._rows.hold([*entries, *into, *out], lack, math.inf)
            if into and out:
                # What is itself a substitute is not passed on; of the shelf's, all may be.
                shelf = self.task.needs.get(part, 0) - lack
                self._rows.hold([*entries, *out], -shelf, math.inf)

    def _terms(self, at: int, goods, units, shipping: float, cap: float | None) -> None:
        house, used, free = self.task.houses[at], self.used[at], self.free[at]
        if house.minimum_order:
            self._rows.hold([*goods, (self.top[at], 1), (used, -house.minimum_order)],
                            0, math.inf)
        if shipping and house.free_over is not None:
            top = [(self.top[at], 1)] if self._fill else []
            self._rows.hold([*goods, *top, (free, -house.free_over)], 0, math.inf)
            self._rows.hold([(free, 1), (used, -1)], -math.inf, 0)
        if cap is not None:
            self._rows.hold([*units, (used, -cap)], -math.inf, 0)

    def _delays(self, wish: Wish) -> None:
        """A day later costs at each step up, as soon as one choice is so late."""
        if not wish.day:
            return
        delays = self.task.delays
        steps = [self._new(wish.day * (later - late), 1, whole=False)
                 for late, later in itertools.pairwise(delays)]
        for lower, upper in itertools.pairwise(steps):
            self._rows.hold([(upper, 1), (lower, -1)], -math.inf, 0)
        place = dict(zip(delays[1:], steps, strict=True))
        chosen = [*zip(self.x, self.task.singles, strict=True),
                  *zip(self.y, self.task.bands, strict=True)]
        for column, one in chosen:
            if one.late > 0:
                self._rows.hold([(column, 1), (place[one.late], -1)], -math.inf, 0)

    def least_parcels(self, seconds: float) -> int | None:
        """Fewest suppliers that cover every need; None if that was not found in time."""
        cost = np.zeros(len(self._columns))
        cost[self.used] = 1.0
        found = self._solver(cost)(self._upper(), seconds)
        return round(found.fun) if found.status == 0 else None

    def solve(
        self, wish: Wish, known: float | None, parcels: int | None, seconds: float,
        progress: Callable[[float, float, float], object] | None = None, begun: float = 0.0,
    ) -> Solved:
        """The best choice for a wish, if it is better than a basket of the `known` worth."""
        self._delays(wish)
        cost = np.array([entry[0] for entry in self._columns])
        cost[self.used] += wish.parcel
        if parcels is not None:
            self._rows.hold([(column, 1) for column in self.used], -math.inf, parcels)
        run = self._solver(cost)
        upper, bound, best = self._upper(), -math.inf, None
        worth = math.inf if known is None else known
        slice_seconds, last = _FIRST_SLICE, begun + seconds
        while True:
            now = time.perf_counter()
            if bound == -math.inf:
                bound, upper = self._relaxed(cost, upper, worth)
            if worth - bound <= SAME:
                return Solved(best, min(bound, worth), True)
            if progress is not None and progress(bound, worth, now - begun) is False:
                return Solved(best, bound, False)
            if now >= last:
                return Solved(best, bound, False)
            found = run(upper, max(0.01, min(slice_seconds, last - now)))
            if found.status == 2:  # nothing is as good as what is known
                return Solved(best, worth, worth < math.inf)
            if found.x is not None and found.fun < worth - SAME:
                best, worth = self._choice(found.x), found.fun
            if found.status == 0:
                return Solved(best, min(worth, found.fun), True)
            if found.mip_dual_bound is not None:
                bound = max(bound, found.mip_dual_bound)
            slice_seconds *= 2

    def _upper(self) -> np.ndarray:
        return np.array([entry[1] for entry in self._columns], float)

    def _matrix(self):
        from scipy.sparse import csr_array

        rows = self._rows
        return csr_array((rows.value, (rows.row, rows.column)),
                         shape=(len(rows.low), len(self._columns)))

    def _solver(self, cost: np.ndarray):
        from scipy.optimize import Bounds, LinearConstraint, milp

        held = LinearConstraint(self._matrix(), self._rows.low, self._rows.high)
        whole = np.array([entry[2] for entry in self._columns], float)

        def run(upper: np.ndarray, seconds: float):
            return milp(cost, constraints=held, integrality=whole, bounds=Bounds(0, upper),
                        options={"mip_rel_gap": 0.0, "time_limit": seconds})

        return run

    def _relaxed(
        self, cost: np.ndarray, upper: np.ndarray, worth: float
    ) -> tuple[float, np.ndarray]:
        """The bound with parts of a choice allowed, and columns that it rules out at nought."""
        from scipy.optimize import linprog
        from scipy.sparse import vstack

        matrix, low, high = self._matrix(), np.array(self._rows.low), np.array(self._rows.high)
        same, under, over = low == high, np.isfinite(high) & (low != high), np.isfinite(low)
        over &= ~same
        found = linprog(
            cost, A_ub=vstack([matrix[under], -matrix[over]]),
            b_ub=np.concatenate([high[under], -low[over]]), A_eq=matrix[same], b_eq=low[same],
            bounds=np.column_stack([np.zeros(len(cost)), upper]), method="highs")
        if found.status != 0:
            return -1e300 if found.status != 2 else math.inf, upper
        # One of a column whose reduced cost is more than what is left of the gap is too dear.
        whole = np.array([entry[2] for entry in self._columns])
        dear = whole & (found.fun + found.lower.marginals > worth + SAME)
        return found.fun, np.where(dear, 0.0, upper)

    def _choice(self, x: np.ndarray) -> Choice:
        whole = np.rint(x).astype(int)

        def taken(columns) -> dict:
            return {key: int(whole[column]) for key, column in columns if whole[column]}

        return Choice(
            tuple(taken(enumerate(self.x))), taken(enumerate(self.n)),
            taken(self.opened.items()), taken(self.swapped.items()))


__all__ = ["SAME", "Choice", "Model", "Solved"]
