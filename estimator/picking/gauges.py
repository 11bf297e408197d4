"""What a branch of the search leaves of a limit, and the most its open lines can still bring.

In one trial, lines still open can bring at most, for any u ≥ 0,

    u × what is left of the limit + Σ max(0, worth − u × cost in that trial)

which is the dual of the knapsack's relaxation (G. B. Dantzig, "Discrete-variable extremum
problems", Operations Research 5, 1957). A set whose price fits stays within the limit in the
asked share of the trials, so a branch is dead where fewer trials than that can reach the worth
that is wanted: the quantile bound of S. Ahmed, J. Luedtke, Y. Song, W. Xie, "Nonanticipative
duality, relaxations, and formulations for chance-constrained stochastic programs", Mathematical
Programming 162, 2017, taken in every branch.

Sets are bits by line number; a place is where a line stands in the order of the search.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from estimator.picking.limits import Limit, Shared

# The multipliers u, by the ratio of worth to cost at which the limit is full; and which a branch
# tries one after another, from the one that suits it best.
_DUALS = np.geomspace(0.6, 2.0, 7)
_TRIED = [[at for at in (best, best + 1, best - 1, best + 2) if 0 <= at < len(_DUALS)]
          for best in range(len(_DUALS))]
_FINE = np.geomspace(0.3, 3.0, 99)  # without trials it costs nothing to try many
_ASK_AFTER = 3  # lines taken; asking costs as much as looking at a dozen branches
DUST = 5e-6
"""Sums of 32-bit floats are kept on the safe side by this share of the limit, or of the worth."""


class _State(NamedTuple):
    """What the lines decided so far leave of one limit."""

    slack: np.ndarray  # in the columns of the gauge
    sums: tuple[float | None, ...]  # parts of each shared charge so far; None where it is unpaid
    unpaid: int  # bits: charges that are unpaid
    straight: int  # bits: charges whose open lines carry their parts
    real: np.ndarray | None = None  # slack by what a set without the last lines really costs
    counted: int = 0  # bits: charges that `real` has counted by then
    since: int = 0  # lines taken since then


class Gauge:
    """One limit made ready for lines that are decided in one order.

    Costs stand in columns: the mean, as if it were one more trial, then the trials, and last the
    guide, the mean of those trials that decide what fits. Without trials the mean is all there is.
    """

    def __init__(
        self, limit: Limit, order: Sequence[int], worth: np.ndarray, must: Collection[int]
    ):
        self.order, self._limit = order, limit
        self.most = limit.most + DUST * abs(limit.most)
        self.asks, self.asked = False, 0
        own, base = _columns(limit)
        self.trials = len(base) - 1
        # The floor between two trials: no usual way to take a quantile lies below it.
        share = limit.trials.share if limit.trials else 1.0
        self.needed = math.floor((self.trials - 1) * share - 1e-9) + 1
        slack = self.most - base - own[sorted(must)].sum(axis=0)
        own = own[list(order)]
        guide = slice(0, 1)
        if self.trials:
            guide = 1 + _deciding((slack - own.sum(axis=0))[1:], self.needed)
            own = np.hstack([own, own[:, guide].mean(axis=1, keepdims=True)])
            slack = np.append(slack, slack[guide].mean())
        self._guide = guide
        self.costs = own[:, -1] + _spread_evenly(limit.shared, order)
        self.level = _level(worth, self.costs, float(slack[-1]))

        likely = worth > self.level * self.costs
        charges = []
        for shared in limit.shared:
            charge = Charge(
                shared, order, must, likely, _times(shared.times, self.trials, guide))
            if charge.paid:
                slack = slack - charge.due(0.0, 0) * charge.times
            if charge.parts:
                charges.append(charge)
        self.charges = charges
        self.of_line = [[g for g, charge in enumerate(charges) if place in charge.parts]
                        for place in range(len(order))]
        self.own = own.astype(np.float32)
        self.start = _State(
            slack.astype(np.float32),
            tuple(0.0 if charge.paid else None for charge in charges),
            _bits(not charge.paid for charge in charges),
            _bits(charge.paid and charge.straight(0.0, 0) for charge in charges),
        )
        self._ceiling = Ceiling(self, worth)
        self._sum = np.empty(len(slack), np.float32)

    def take(self, state: _State, place: int) -> _State:
        """The state with one more line in."""
        own = self.own[place]
        real = None if state.real is None else state.real - own
        state = state._replace(slack=state.slack - own, real=real, since=state.since + 1)
        return self._settle(state, place, taken=True)

    def leave(self, state: _State, place: int) -> _State:
        """The state with one line out: its lots may now be sure to stay below their minimum."""
        return self._settle(state, place, taken=False)

    def _settle(self, state: _State, place: int, *, taken: bool) -> _State:
        """The state with the charges of a line settled that was taken or left."""
        if not self.of_line[place]:
            return state
        slack, real, unpaid, straight = state.slack, state.real, state.unpaid, state.straight
        sums = list(state.sums)
        for g in self.of_line[place]:
            charge, before = self.charges[g], sums[g]
            if before is None and not taken:
                continue
            sums[g] = (before or 0.0) + (charge.parts[place] if taken else 0.0)
            more = charge.due(sums[g], place + 1)
            if before is not None:
                more -= charge.due(before, place)
            if more:
                slack = slack - np.float32(more) * charge.times
                if real is not None and not state.counted >> g & 1:
                    real = real - np.float32(more) * charge.times
            unpaid &= ~(1 << g)
            straight &= ~(1 << g)
            straight |= charge.straight(sums[g], place + 1) << g
        return state._replace(
            slack=slack, sums=tuple(sums), unpaid=unpaid, straight=straight, real=real)

    def looked_up(self, state: _State, place: int, lines: Callable[[], frozenset[int]]) -> _State:
        """The state with what its set really costs, if it is time to ask for that again.

        What a larger set costs over this is at least its further lines and the charges that are
        unpaid so far: the others may be counted in what was asked for.
        """
        if not self.asks or state.since < _ASK_AFTER or len(self.order) - place < _ASK_AFTER:
            return state
        self.asked += 1
        real = state.slack.copy()
        real[1:-1] = self.most - self._limit.trials.costs_of(lines())
        real[-1] = real[self._guide].mean()
        counted = ~state.unpaid & ((1 << len(self.charges)) - 1)
        return state._replace(real=real, counted=counted, since=0)

    def reaches(self, state: _State, place: int, wanted: float) -> bool:
        """Whether the lines from `place` on may bring the worth that is wanted, and fit."""
        ahead = self._ceiling.ahead(place, state.unpaid, state.straight)
        if not self._reach(state.slack, place, ahead, wanted):
            return False
        if state.real is None:
            return True
        ahead = self._ceiling.ahead(place, state.unpaid, state.straight & ~state.counted)
        return self._reach(state.real, place, ahead, wanted)

    def _reach(self, slack: np.ndarray, place: int, ahead: Ahead, wanted: float) -> bool:
        if slack[0] < 0:
            return False
        ceiling = self._ceiling
        tops = ceiling.of_guide(place, ahead) + ceiling.duals * slack[-1]
        best = int(tops.argmin())
        if not self.trials:
            return bool(tops[best] >= wanted)
        can = slack >= 0
        for at in _TRIED[best]:
            np.multiply(slack, ceiling.duals[at], out=self._sum)
            self._sum += ceiling.of_columns(place, ahead, at)
            can &= self._sum >= wanted
            if not can[0] or np.count_nonzero(can[1:-1]) < self.needed:
                return False
        return True

    def top(self) -> float:
        """What any set can be worth, by the mean alone."""
        ceiling = self._ceiling
        ahead = ceiling.ahead(0, self.start.unpaid, self.start.straight)
        return min(float(ceiling.of_columns(0, ahead, at)[0] + dual * self.start.slack[0])
                   for at, dual in enumerate(ceiling.duals))

    def holds(self, chosen: int) -> bool:
        """Whether mean and trials of a set hold the limit."""
        slack = self._slack(chosen)
        return bool(slack[0] >= 0) and (
            not self.trials or np.count_nonzero(slack[1:-1] >= 0) >= self.needed)

    def least(self, chosen: int) -> float:
        """The least that the price of a set can be by its trials."""
        slack = self._slack(chosen)[1:-1]
        return self.most + float(np.partition(-slack, self.needed - 1)[self.needed - 1])

    def deciding(self, chosen: int) -> np.ndarray:
        """The trials that decide whether a set fits."""
        return _deciding(self._slack(chosen)[1:-1], self.needed)

    def _slack(self, chosen: int) -> np.ndarray:
        state = self.start
        for place, line in enumerate(self.order):
            state = (self.take if chosen >> line & 1 else self.leave)(state, place)
        return state.slack


class Gauges:
    """All limits made ready for lines that are decided in one order."""

    def __init__(
        self, limits: Sequence[Limit], worth: Sequence[int], must: Collection[int],
        order: Sequence[int],
    ):
        self.order = order
        self.later = [0, *itertools.accumulate(worth[line] for line in reversed(order))][::-1]
        self._worth = np.array([worth[line] for line in order], float)
        self.each = [Gauge(limit, order, self._worth, must) for limit in limits]

    def top(self) -> float:
        """What any set can be worth, by the means alone."""
        return min(gauge.top() for gauge in self.each) * (1 + DUST)

    def holds(self, chosen: int) -> bool:
        """Whether means and trials of a set hold every limit."""
        return all(gauge.holds(chosen) for gauge in self.each)

    def by_ratio(self) -> list[int]:
        """Lines, those first that bring most for what they take of the limits."""
        taken = sum(gauge.costs / max(gauge.start.slack[-1], 1e-9) for gauge in self.each)
        ratio = self._worth / np.maximum(taken, 1e-12)
        return [self.order[place] for place in np.argsort(-ratio, kind="stable")]


Ahead = tuple[tuple[int, int, bool, bool], ...]
"""Charges that open lines carry: which, on how many lines, whether it is unpaid, and straight."""


class Charge:
    """A shared charge by places, and what is due of it while some of its lines are open."""

    def __init__(
        self, shared: Shared, order: Sequence[int], must: Collection[int], likely: np.ndarray,
        times: np.ndarray,
    ):
        parts = dict(shared.each())
        self.paid = not parts.keys().isdisjoint(must)
        self.parts = {place: parts[line] for place, line in enumerate(order) if line in parts}
        self.least = shared.least
        self.first = shared.amount + math.fsum(parts[line] for line in parts if line in must)
        self.times = times
        each = [self.parts.get(place, 0.0) for place in range(len(order))]
        self._later = [math.fsum(each[place:]) for place in range(len(order) + 1)]
        self._likely = [math.fsum(itertools.compress(each[place:], likely[place:]))
                        for place in range(len(order) + 1)]

    def straight(self, parts: float, place: int) -> bool:
        """Whether lines from `place` on carry their parts, for they will pass the minimum."""
        return self._later[place] > 0 and self.first + parts + self._likely[place] >= self.least

    def due(self, parts: float, place: int) -> float:
        """What is surely due with these parts in, without what open lines carry."""
        so_far = self.first + parts
        if self.straight(parts, place):
            return max(so_far, self.least - self._later[place])
        return max(so_far, self.least)

    def kinds(self) -> list[tuple[bool, bool]]:
        """How open lines may carry it: whether unpaid, whether straight."""
        if any(self.parts.values()):
            return [(True, False), (True, True), (False, True)]
        return [(True, False)]


class Ceiling:
    """The most that open lines can bring, for every place and multiplier, worked out once.

    A charge that is not paid yet is spread over its open lines; one that has passed its minimum
    adds its parts to them. Each line carries one charge only, so that they may be added up.
    """

    _KEPT_NUMBERS = 10_000_000

    def __init__(self, gauge: Gauge, worth: np.ndarray):
        self.duals = (gauge.level * (_DUALS if gauge.trials else _FINE)).astype(np.float32)
        self._own, self._worth, self._charges = gauge.own, worth.astype(np.float32), gauge.charges
        count, columns = gauge.own.shape
        self._lines = np.zeros((len(self.duals), count + 1, columns), np.float32)
        np.cumsum(np.maximum(0, self._brings(slice(None, None, -1))), axis=1,
                  out=self._lines[:, -2::-1])
        homes = self._homes(gauge)
        self._open = [
            [(g, left) for g, home in enumerate(homes)
             if (left := sum(other >= place for other in home))]
            for place in range(count + 1)
        ]
        self._less = {
            (g, left, unpaid, straight):
                self._carry(self._charges[g], home[-left:], unpaid=unpaid, straight=straight)
            for g, home in enumerate(homes)
            for left in range(1, len(home) + 1)
            for unpaid, straight in self._charges[g].kinds()
        }
        self._most_kept = self._KEPT_NUMBERS // columns
        self._kept: dict[tuple, np.ndarray] = {}
        self._kept_ahead: dict[tuple[int, int, int], Ahead] = {}

    @staticmethod
    def _homes(gauge: Gauge) -> list[list[int]]:
        """The lines that carry each charge: every line goes where it has most to carry."""
        homes: list[list[int]] = [[] for _ in gauge.charges]
        for place, mine in enumerate(gauge.of_line):
            if mine:
                homes[max(mine, key=lambda g: gauge.charges[g].parts[place]
                          + gauge.charges[g].due(0.0, 0) / (1 + len(homes[g])))].append(place)
        return homes

    def _brings(self, places: slice | list[int]) -> np.ndarray:
        """What lines bring over their cost, for each multiplier; below 0 they are left out."""
        costs = self.duals[:, None, None] * self._own[places]
        return np.subtract(self._worth[places][:, None], costs, out=costs)

    def _carry(
        self, charge: Charge, places: list[int], *, unpaid: bool, straight: bool
    ) -> np.ndarray:
        """By how much less these lines bring if they carry the charge, for each multiplier."""
        brings = self._brings(places)
        parts = np.zeros(brings.shape[:2], np.float32)
        if straight:
            parts += [charge.parts[place] for place in places]
        if unpaid:
            # Where nothing is brought anyhow, nothing can be taken away.
            profit = np.maximum(brings[:, :, 0], 1e-9 * self._worth[places])
            first = charge.first if straight else max(charge.first, charge.least)
            parts += first * profit / profit.sum(axis=1, keepdims=True)
        carried = brings - (self.duals[:, None] * parts)[:, :, None] * charge.times
        return (np.maximum(0, carried) - np.maximum(0, brings)).sum(axis=1)

    def ahead(self, place: int, unpaid: int, straight: int) -> Ahead:
        """The charges that lines from `place` on carry, by what is unpaid and what straight."""
        key = place, unpaid, straight
        if key not in self._kept_ahead:
            found = []
            for g, left in self._open[place]:
                whole = bool(unpaid >> g & 1)
                parts = self._charges[g].straight(0.0, place) if whole else bool(straight >> g & 1)
                if whole or parts:
                    found.append((g, left, whole, parts))
            self._kept_ahead[key] = tuple(found)
        return self._kept_ahead[key]

    def of_guide(self, place: int, ahead: Ahead) -> np.ndarray:
        """What lines from `place` on bring in the last column, for each multiplier."""
        if not ahead:
            return self._lines[:, place, -1]
        return self._remember((place, ahead), lambda: sum(
            (self._less[key][:, -1] for key in ahead), self._lines[:, place, -1]))

    def of_columns(self, place: int, ahead: Ahead, at: int) -> np.ndarray:
        """What lines from `place` on bring in every column, for one multiplier."""
        if not ahead:
            return self._lines[at, place]
        return self._remember((at, place, ahead), lambda: sum(
            (self._less[key][at] for key in ahead), self._lines[at, place]))

    def _remember(self, key: tuple, find: Callable[[], np.ndarray]) -> np.ndarray:
        if key not in self._kept:
            found = find()
            if len(self._kept) >= self._most_kept:
                self._kept.clear()
            self._kept[key] = found
        return self._kept[key]


def sketch(limit: Limit, trials: np.ndarray, lines: frozenset[int], price: float) -> Limit:
    """A limit as a straight line: the mean over some trials, moved to meet one set's price."""
    base = np.asarray(limit.trials.base)
    line = Limit(
        most=limit.most,
        price_of=limit.price_of,
        mean=np.asarray(limit.trials.lines)[:, trials].mean(axis=1),
        fixed=float(base[trials].mean()),
        shared=[shared._replace(times=np.broadcast_to(shared.times, base.shape)[trials].mean())
                for shared in limit.shared],
    )
    return replace(line, most=limit.most + line.mean_of(lines) - price)


def _columns(limit: Limit) -> tuple[np.ndarray, np.ndarray]:
    """Each line's cost and what is always in: mean and trials."""
    own = np.asarray(limit.mean, float).reshape(-1, 1)
    base = np.array([limit.fixed], float)
    if limit.trials is None:
        return own, base
    return np.hstack([own, limit.trials.lines]), np.append(base, limit.trials.base)


def _times(times: float | np.ndarray, trials: int, guide: np.ndarray) -> np.ndarray:
    """A charge's factor in every column."""
    found = np.full(2 + trials if trials else 1, np.mean(times), np.float32)
    if trials:
        found[1:-1] = times
        found[-1] = found[guide].mean()
    return found


def _deciding(slack: np.ndarray, needed: int) -> np.ndarray:
    """The trials around the `needed`-th best, a twenty-fifth of them all."""
    width = 1 + slack.size // 50
    return np.argsort(-slack, kind="stable")[max(0, needed - width):needed + width]


def _spread_evenly(charges: Iterable[Shared], order: Sequence[int]) -> np.ndarray:
    """A rough share of the charges for each line."""
    places = {line: place for place, line in enumerate(order)}
    found = np.zeros(len(order))
    for shared in charges:
        mine = [places[line] for line in shared.lines if line in places]
        found[mine] += np.mean(shared.times) * max(shared.amount, shared.least) / max(1, len(mine))
    return found


def _level(worth: np.ndarray, costs: np.ndarray, room: float) -> float:
    """Worth over cost of the line at which the room is full, best ratio first."""
    if not len(worth):
        return 1.0
    ratio = worth / np.maximum(costs, 1e-9 * max(1.0, abs(room)))
    order = np.argsort(-ratio, kind="stable")
    full = int(np.searchsorted(np.cumsum(costs[order]), room))
    return float(ratio[order[min(full, len(order) - 1)]])


def _bits(flags: Iterable[bool]) -> int:
    return sum(1 << at for at, flag in enumerate(flags) if flag)
