"""The choice of suppliers as an integer programme.

For each supplier: whether it is used, whether its freight is free, and what is added to reach its
least order. For each need: who covers it. For needs that hang together: packs at each break, kits
opened, substitutes fitted.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from estimator.buying.columns import Task
from estimator.buying.records import Wish
from estimator.programme import Programme, Progress, Solution


@dataclass(frozen=True)
class Choice:
    """What is bought: singles by their number, packs of each band; kits opened, parts swapped."""

    singles: tuple[int, ...]
    packs: Mapping[int, int]
    opened: Mapping[tuple[int, str], int]
    swapped: Mapping[tuple[int, str, str], int]


class Model:
    """One task as columns and rows; `caps` (units by supplier) are limits.

    With `fill` an order may be filled up to free freight.
    """

    def __init__(
        self, task: Task, caps: Mapping[str, float] | None = None, fill: bool = False
    ):
        self.task, self._fill = task, fill
        self._programme = Programme()
        self._column, self._row = self._programme.column, self._programme.row
        houses, count = task.houses, len(task.houses)
        self.x = [self._column(one.cost, most=1) for one in task.singles]
        self.n = [self._column(band.pack_price, most=band.most) for band in task.bands]
        self.y = [self._column(0, most=1) for _ in task.bands]
        shipping = [0.0 if house.free_over is not None and house.minimum_order >= house.free_over
                    else house.shipping for house in houses]
        self.used = [self._column(cost, most=1) for cost in shipping]
        self.free = [self._column(-cost, most=bool(cost) and house.free_over is not None)
                     for cost, house in zip(shipping, houses, strict=True)]
        self.top = [
            self._column(1, most=math.inf if house.minimum_order or fill else 0, whole=False)
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
            self._row([(x, 1), (self.used[one.at], -1)], most=0)
        for entries in covers.values():
            self._row(entries, least=1, most=1)
        breaks: dict[tuple[str, int], list[int]] = {}
        for n, y, band in zip(self.n, self.y, task.bands, strict=True):
            goods[band.at].append((n, band.pack_price))
            units[band.at].append((n, band.offer.pack))
            self._row([(n, 1), (y, -band.most)], most=0)
            self._row([(n, 1), (y, -band.least)], least=0)
            breaks.setdefault((band.part, band.at), []).append(y)
        for (_, at), ys in breaks.items():
            self._row([*((y, 1) for y in ys), (self.used[at], -1)], most=0)
        for number in range(len(task.groups)):
            self._balance(number)
        for at, house in enumerate(houses):
            self._terms(at, goods[at], units[at], shipping[at], (caps or {}).get(house.supplier))

    def _balance(self, number: int) -> None:
        """Of each part in a group: what comes in, less what is fitted elsewhere, is enough."""
        group = self.task.groups[number]
        there: dict[str, list[tuple[int, float]]] = {part: [] for part in group.lacks}
        for n, band in zip(self.n, self.task.bands, strict=True):
            if band.part in there:
                there[band.part].append((n, band.offer.pack))
        for kit, contents in group.contents.items():
            opened = self._column(0, most=max(0, group.most(kit) - min(0, group.lacks[kit])))
            self.opened[number, kit] = opened
            there[kit].append((opened, -1.0))
            for part, each in contents.items():
                there[part].append((opened, each))
        inward: dict[str, list[tuple[int, float]]] = {}
        outward: dict[str, list[tuple[int, float]]] = {}
        for one, other, each in group.swaps:
            fitted = self._column(0, most=max(0, group.lacks[other]))
            self.swapped[number, one, other] = fitted
            inward.setdefault(other, []).append((fitted, 1.0))
            outward.setdefault(one, []).append((fitted, -each))
        for part, entries in there.items():
            lack = group.lacks[part]
            into, out = inward.get(part, []), outward.get(part, [])
            self._row([*entries, *into, *out], least=lack)
            if into and out:
                # No more comes in another's place than is lacking: nothing of it is passed on.
                self._row(into, most=max(0, lack))

    def _terms(self, at: int, goods, units, shipping: float, cap: float | None) -> None:
        house, used, free = self.task.houses[at], self.used[at], self.free[at]
        if house.minimum_order:
            self._row([*goods, (self.top[at], 1), (used, -house.minimum_order)], least=0)
        if shipping and house.free_over is not None:
            top = [(self.top[at], 1)] if self._fill else []
            self._row([*goods, *top, (free, -house.free_over)], least=0)
            self._row([(free, 1), (used, -1)], most=0)
        if cap is not None:
            self._row([*units, (used, -cap)], most=0)

    def _delays(self, wish: Wish) -> None:
        """A day later costs at each step up, as soon as one choice is so late."""
        if not wish.day:
            return
        delays = self.task.delays
        steps = [self._column(wish.day * (later - late), most=1, whole=False)
                 for late, later in itertools.pairwise(delays)]
        for lower, upper in itertools.pairwise(steps):
            self._row([(upper, 1), (lower, -1)], most=0)
        place = dict(zip(delays[1:], steps, strict=True))
        chosen = [*zip(self.x, self.task.singles, strict=True),
                  *zip(self.y, self.task.bands, strict=True)]
        for column, one in chosen:
            if one.late > 0:
                self._row([(column, 1), (place[one.late], -1)], most=0)

    def holds(self, choice: Choice) -> bool:
        """Does a choice cover every need, within what suppliers can send?"""
        values = np.zeros(len(self._programme))
        goods = np.zeros(len(self.task.houses))
        for number in choice.singles:
            one = self.task.singles[number]
            values[[self.x[number], self.used[one.at]]] = 1
            goods[one.at] += one.cost
        for number, packs in choice.packs.items():
            band = self.task.bands[number]
            values[[self.y[number], self.used[band.at]]] = 1
            values[self.n[number]] = packs
            goods[band.at] += packs * band.pack_price
        for at, house in enumerate(self.task.houses):
            if values[self.used[at]]:
                values[self.top[at]] = max(0.0, house.minimum_order - goods[at])
        for columns, counts in ((self.opened, choice.opened), (self.swapped, choice.swapped)):
            for key, count in counts.items():
                values[columns[key]] = count
        return self._programme.holds(values)

    def least_parcels(self, seconds: float) -> int | None:
        """Fewest suppliers that cover every need; None if that was not proven in time."""
        found = self._programme.solve(cost=dict.fromkeys(self.used, 1.0), most_seconds=seconds)
        return round(found.bound) if found.proven and found.values is not None else None

    def solve(
        self, wish: Wish, known: float | None, parcels: int | None, seconds: float,
        progress: Progress | None = None, begun: float | None = None,
    ) -> tuple[Choice | None, Solution]:
        """The best choice for a wish, if it is better than a basket of the `known` worth."""
        self._delays(wish)
        for column in self.used:
            self._programme.add(column, wish.parcel)
        if parcels is not None:
            self._row([(column, 1) for column in self.used], most=parcels)
        found = self._programme.solve(
            known=known, most_seconds=seconds, progress=progress, begun=begun)
        return None if found.values is None else self._choice(found.values), found

    def _choice(self, x: np.ndarray) -> Choice:
        whole = np.rint(x).astype(int)

        def taken(columns) -> dict:
            return {key: int(whole[column]) for key, column in columns if whole[column]}

        return Choice(
            tuple(taken(enumerate(self.x))), taken(enumerate(self.n)),
            taken(self.opened.items()), taken(self.swapped.items()))
