"""A fixed sum turned round: which lines are worth most, so that their price still fits.

The price of a set of lines is no sum: it is a quantile of what the set may cost, with minimums and
set-ups that lines share. Only one thing is asked of it: a larger set never costs less. The search
is exact: it ends with the best set and the proof, or, if it is stopped, with the best set found
and how much more any other could be worth.

Lines are decided one by one, worth most first, and a branch is left as soon as it cannot hold a
better set. In one trial, the lines still open can bring at most, for any u ≥ 0,

    u × what is left of the limit + Σ max(0, worth − u × cost in that trial)

(the dual of the knapsack's relaxation: G. B. Dantzig, "Discrete-variable extremum problems",
Operations Research 5, 1957). A set whose price fits stays within the limit in the asked share of
the trials, so a branch is dead where fewer trials than that can reach the worth that is wanted.
That is the quantile bound of S. Ahmed, J. Luedtke, Y. Song, W. Xie, "Nonanticipative duality,
relaxations, and formulations for chance-constrained stochastic programs", Mathematical
Programming 162, 2017, taken in every branch.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from estimator.units import within

# The multipliers u that are tried, around the ratio of worth to cost at which the limit is full,
# and the order in which a branch tries them, in steps from the one its mean asks for.
_DUALS = np.geomspace(0.45, 2.2, 7)
_STEPS = (0, 1, 2, -1, 3)
# Sums of 32-bit floats are kept on the safe side by this share of the limit, or of the worth.
_DUST = 5e-6
# Nearer to the best set than this share of it, bounds are no longer halved but proven at once.
_NEAR = 0.004
# Looking for a cheaper set of the same worth ends after so many branches, or so many prices.
_TIE_BRANCHES = 5_000
_TIE_PRICES = 500
_TELL_EVERY = 0.1  # [s]


class NothingFits(ValueError):
    """Even the lines that cannot be left out are too dear.

    `over` says by how much, for each limit: in its own unit, 0 where it holds.
    """

    def __init__(self, over: Iterable[float]):
        self.over = tuple(over)
        said = ", ".join(f"{amount:.2f}" for amount in self.over)
        super().__init__(
            f"What cannot be left out is over the limit by {said}. Raise the limit, or let more "
            "lines be left out."
        )


class Shared(NamedTuple):
    """A charge that lines share, paid once any of them is in: a set-up, or a lot sent out.

    times × max(least, amount + Σ parts of the lines that are in)

    Parameters
    ----------
    amount
        Paid once, 0 or more.
    lines
        Numbers of the lines that share it.
    least
        The least the lot is done for, 0 or more.
    parts
        What each of `lines` adds to the lot, 0 or more, in the same order; none of it may be
        counted in the line's own cost too. Empty: nothing.
    times
        A factor over all of it, 0 or more: a number, or one for each trial.

    Examples
    --------
    >>> lot = Shared(20, [3, 5], least=100, parts=[60, 45])
    >>> lot.charge({1}), lot.charge({1, 3}), lot.charge({3, 5})
    (0.0, 100.0, 125.0)
    """

    amount: float
    lines: Sequence[int]
    least: float = 0.0
    parts: Sequence[float] = ()
    times: float | np.ndarray = 1.0

    def charge(self, lines: Collection[int]) -> float:
        """What a set of lines pays, on average over the trials."""
        if not any(line in lines for line in self.lines):
            return 0.0
        parts = math.fsum(part for line, part in zip(self.lines, self.parts, strict=False)
                          if line in lines)
        return float(np.mean(self.times)) * max(self.least, self.amount + parts)


class Trials(NamedTuple):
    """What the lines cost in each trial, as far as it adds up.

    Parameters
    ----------
    base
        What is always in; shape (trials,), 0 or more.
    lines
        Each line; shape (lines, trials), 0 or more. Together with the shared charges no more than
        the set really costs in that trial: whatever does not add up is left out here.
    share
        Share of the trials that stay within the price, over 0 and at most 1; the confidence.
    """

    base: np.ndarray
    lines: np.ndarray
    share: float


@dataclass(frozen=True, eq=False)
class Limit:
    """A sum, or a number of days, that a set of lines has to stay within.

    A set fits where its mean and its price are both at most `most`.

    Parameters
    ----------
    most
        The limit. Everything else here is in its unit.
    price_of
        The price of a set of line numbers. A set that holds another never costs less.
    mean
        Mean cost of each line, 0 or more; zeros where only the price counts.
    fixed
        Mean of what is always in.
    shared
        Charges that lines share.
    trials
        With them the search sees the odds behind the price and proves most answers within
        seconds. Without, it knows only the mean and single prices: enough for some twenty lines.
    """

    most: float
    price_of: Callable[[frozenset[int]], float]
    mean: Sequence[float]
    fixed: float = 0.0
    shared: Sequence[Shared] = ()
    trials: Trials | None = None

    def mean_of(self, lines: Collection[int]) -> float:
        """Mean cost of a set.

        Examples
        --------
        >>> Limit(9, len, [1, 2, 3], fixed=4, shared=[Shared(5, [0, 2])]).mean_of({1, 2})
        14.0
        """
        own = (float(self.mean[line]) for line in lines)
        return math.fsum([self.fixed, *own, *(charge.charge(lines) for charge in self.shared)])


@dataclass(frozen=True)
class Picked:
    """The set of lines that is worth most.

    Parameters
    ----------
    lines
        Numbers of the lines that are in, those that cannot be left out among them.
    worth
        What they are worth together.
    prices
        Their price under each limit, in the order of the limits.
    bound
        No set that fits is worth more than this.
    proven
        Whether `bound` is reached: no set that fits is worth more.
    priced, looked
        How many prices were asked for, and how many branches looked at.
    """

    lines: frozenset[int]
    worth: float
    prices: tuple[float, ...]
    bound: float
    proven: bool
    priced: int
    looked: int


def pick(
    worth: Sequence[float],
    limits: Sequence[Limit],
    *,
    must: Collection[int] = (),
    gap: float = 0.0,
    most_seconds: float = 10.0,
    progress: Callable[[float, float, float], object] | None = None,
) -> Picked:
    """The set of lines that is worth most and fits every limit.

    Of sets that are worth the same, the one with the lower first price, then the one with the
    lower line numbers; that choice is sought for a while only and is not part of the proof. Lines
    worth nothing are left out.

    Parameters
    ----------
    worth
        What each line is worth, 0 or more, in money or points. Amounts that are no whole
        hundredths are told apart to a billionth of their sum.
    limits
        One or more; all must hold.
    must
        Lines that cannot be left out.
    gap
        Enough is enough: the search ends once nothing can be worth more than this share over the
        best set found, 0 or more.
    most_seconds
        The search stops then. Up to that the answer does not depend on the machine.
    progress
        Told now and then: the bound, the worth of the best set so far, the share of the time
        gone. The search stops where it returns False.

    Raises
    ------
    NothingFits
        If even the lines of `must` alone are too dear.
    ValueError
        If numbers are out of range, or a price lies below what the trials say.

    Examples
    --------
    A frame of 10 holds the second and third line, which share a set-up of 1:

    >>> cost, setup = [6, 4, 5], Shared(1, [0, 1, 2])
    >>> def price(lines):
    ...     return sum(cost[line] for line in lines) + setup.charge(lines)
    >>> picked = pick([7, 5, 6], [Limit(10, price, cost, shared=[setup])])
    >>> sorted(picked.lines), picked.worth, picked.prices, picked.proven
    ([1, 2], 11.0, (10.0,), True)
    """
    limits = tuple(limits)
    must = frozenset(must)
    _check(worth, limits, must, gap, most_seconds)
    search = _Search(worth, limits, must, most_seconds, progress)
    search.begin()
    try:
        search.close(gap)
        search.settle_ties()
    except _Stopped:
        pass
    return search.answer()


class _Stopped(Exception):
    """Time is up, or the search was called off."""


def _check(
    worth: Sequence[float], limits: Sequence[Limit], must: frozenset[int], gap: float,
    most_seconds: float,
) -> None:
    """Raise ValueError where a number is out of range or two sizes do not agree."""
    count = len(worth)
    within("gap", gap, at_least=0)
    within("most_seconds", most_seconds, above=0)
    if not limits:
        raise ValueError("Give at least one limit.")
    for value in worth:
        within("worth", value, at_least=0)
    _known("must", must, count)
    for limit in limits:
        within("most", limit.most)
        within("fixed", limit.fixed, at_least=0)
        _costs("mean", limit.mean, (count,))
        for shared in limit.shared:
            _known("shared", shared.lines, count)
            within("amount", shared.amount, at_least=0)
            within("least", shared.least, at_least=0)
            _costs("parts", shared.parts, (len(shared.lines) if len(shared.parts) else 0,))
        if limit.trials is not None:
            trials = np.shape(limit.trials.base)
            _costs("base", limit.trials.base, trials)
            _costs("lines", limit.trials.lines, (count, *trials))
            within("share", limit.trials.share, above=0, up_to=1)
        sizes = ((),) if limit.trials is None else ((), np.shape(limit.trials.base))
        for shared in limit.shared:
            if np.shape(shared.times) not in sizes:
                raise ValueError("times is a number, or one for each trial.")
            _costs("times", shared.times, np.shape(shared.times))


def _known(name: str, lines: Collection[int], count: int) -> None:
    unknown = sorted(line for line in lines if not 0 <= line < count)
    if unknown:
        raise ValueError(f"{name} names lines {unknown}; there are {count}, counted from 0.")


def _costs(name: str, values: object, shape: tuple[int, ...]) -> None:
    found = np.asarray(values, dtype=None if np.size(values) else float)
    if found.shape != shape:
        raise ValueError(f"{name} has the shape {found.shape}; it must be {shape}.")
    if found.size and not (found.min() >= 0 and np.isfinite(found.max())):
        raise ValueError(f"{name} must be finite numbers, at least 0.")


def _whole(worth: Sequence[float]) -> tuple[list[int], float]:
    """Worths as whole numbers and what one of them stands for: sums are exact, ties are ties."""
    cents = [round(100 * value) for value in worth]
    if all(abs(100 * value - cent) < 1e-6 for value, cent in zip(worth, cents, strict=True)):
        common = math.gcd(*cents) or 1
        return [cent // common for cent in cents], common / 100
    step = math.fsum(worth) * 1e-9
    return [round(value / step) for value in worth], step


class _State(NamedTuple):
    """What the lines decided so far leave of one limit."""

    slack: np.ndarray  # by trial; the mean comes first, as if it were one more trial
    paid: int  # bits: shared charges that are paid
    sums: tuple[float | None, ...]  # parts of each charge so far; None where it is not paid


class _Row:
    """One limit made ready for the search: lines in its order, the mean as a trial of its own.

    A shared charge is a straight line and what its minimum adds: a lot that is expected to be over
    its minimum counts the parts of its lines, one that is not counts the minimum.
    """

    def __init__(self, limit: Limit, order: Sequence[int], worth: np.ndarray, must: frozenset[int]):
        places = {line: place for place, line in enumerate(order)}
        kept = sorted(must)
        trials = limit.trials
        own = np.asarray(limit.mean, float).reshape(-1, 1)
        base = np.array([limit.fixed], float)
        if trials is not None:
            own = np.hstack([own, np.asarray(trials.lines, float)])
            base = np.hstack([base, np.asarray(trials.base, float)])
        self.trials = len(base) - 1
        # The floor between two trials: no usual way to take a quantile lies below it.
        self.needed = math.floor((self.trials - 1) * trials.share - 1e-9) + 1 if trials else 0
        slack = limit.most + _DUST * abs(limit.most) - base - own[kept].sum(axis=0)
        own = own[list(order)]

        self.charges = []
        tight = _tight(own, slack, self.needed)
        costs, room = own[:, tight].mean(axis=1), slack[tight].mean()
        for shared in limit.shared:
            mine = [places[line] for line in set(shared.lines) if line in places]
            costs[mine] += max(shared.amount, shared.least) / max(1, len(mine))
        self.level = _level(worth, costs, float(room))
        full = worth > self.level * costs
        for shared in limit.shared:
            charge = _Charge(shared, places, must, full, len(order), self.trials)
            if charge.paid:
                slack = slack - charge.due - charge.over(0.0, 0) * charge.times
            if charge.members:
                own[charge.members] += np.outer(charge.straight, charge.times)
                self.charges.append(charge)
        self.of_line = [[g for g, charge in enumerate(self.charges) if place in charge.members]
                        for place in range(len(order))]
        self.own = own.astype(np.float32)
        self.start = _State(
            slack.astype(np.float32),
            sum(1 << g for g, charge in enumerate(self.charges) if charge.paid),
            tuple(0.0 if charge.paid else None for charge in self.charges),
        )
        self.ceiling = _Ceiling(self, worth)
        self._sum = np.empty(1 + self.trials, np.float32)

    def take(self, state: _State, place: int) -> _State:
        """The state with one more line in."""
        slack = state.slack - self.own[place]
        paid, sums = state.paid, list(state.sums)
        for g in self.of_line[place]:
            charge = self.charges[g]
            before = 0.0
            if sums[g] is None:
                paid |= 1 << g
                slack -= charge.due
            else:
                before = charge.over(sums[g], place)
            sums[g] = (sums[g] or 0.0) + charge.parts.get(place, 0.0)
            more = charge.over(sums[g], place + 1) - before
            if more:
                slack -= np.float32(more) * charge.times
        return _State(slack, paid, tuple(sums))

    def leave(self, state: _State, place: int) -> _State:
        """The state with one line out: its lots may now be sure to stay below their minimum."""
        slack = state.slack
        for g in self.of_line[place]:
            if state.sums[g] is not None:
                charge = self.charges[g]
                more = charge.over(state.sums[g], place + 1) - charge.over(state.sums[g], place)
                if more:
                    slack = slack - np.float32(more) * charge.times
        return state._replace(slack=slack)

    def reaches(self, state: _State, place: int, wanted: float) -> bool:
        """Whether the lines from `place` on may bring the worth that is wanted, and fit."""
        slack = state.slack
        if slack[0] < 0:
            return False
        unpaid = self.ceiling.unpaid(place, state.paid)
        tops = self.ceiling.of_mean(place, unpaid) + self.ceiling.duals * slack[0]
        best = int(tops.argmin())
        if tops[best] < wanted:
            return False
        if not self.trials:
            return True
        can = slack >= 0
        last = len(tops) - 1
        for at in dict.fromkeys(min(max(best + step, 0), last) for step in _STEPS):
            np.multiply(slack, self.ceiling.duals[at], out=self._sum)
            self._sum += self.ceiling.of_trials(place, unpaid, at)
            can &= self._sum >= wanted
            if np.count_nonzero(can[1:]) < self.needed:
                return False
        return True

    def top(self) -> float:
        """What any set can be worth by its mean alone."""
        unpaid = self.ceiling.unpaid(0, self.start.paid)
        tops = self.ceiling.of_mean(0, unpaid) + self.ceiling.duals * self.start.slack[0]
        return float(tops.min())

    def floor(self, state: _State) -> float:
        """How much of the limit the trials leave at most, by the share asked for."""
        return float(-np.partition(-state.slack[1:], self.needed - 1)[self.needed - 1])


class _Charge:
    """A shared charge by the places of the search."""

    def __init__(
        self, shared: Shared, places: dict[int, int], must: frozenset[int], full: np.ndarray,
        count: int, trials: int,
    ):
        parts = dict(zip(shared.lines, shared.parts or [0.0] * len(shared.lines), strict=True))
        self.paid = not must.isdisjoint(parts)
        self.parts = {places[line]: part for line, part in parts.items() if line in places}
        self.members = sorted(self.parts)
        self.least = shared.least
        self.first = shared.amount + math.fsum(parts[line] for line in parts if line in must)
        expected = self.first + math.fsum(self.parts[k] for k in self.members if full[k])
        self.over_least = expected >= self.least
        self.straight = [self.parts[place] if self.over_least else 0.0 for place in self.members]
        times = np.broadcast_to(np.asarray(shared.times, np.float32), trials)
        self.times = np.append(np.float32(np.mean(shared.times)), times)
        self.due = np.float32(self.first if self.over_least else self.least) * self.times
        later = itertools.accumulate(self.parts.get(place, 0.0) for place in reversed(range(count)))
        self.later = [0.0, *later][::-1]  # parts of the lines from each place on

    def over(self, parts: float, place: int) -> float:
        """What is surely due over the straight line, with these parts in and `place` on open."""
        if self.over_least:
            return max(0.0, self.least - self.first - parts - self.later[place])
        return max(0.0, self.first + parts - self.least)


class _Ceiling:
    """The most that open lines can bring, for every place and multiplier, worked out once.

    A charge that is not paid yet is spread over its lines that are still open; each line carries
    its part of one charge only, so that the parts may be added.
    """

    _KEPT = 400  # arrays of one value a trial

    def __init__(self, row: _Row, worth: np.ndarray):
        self.duals = (row.level * _DUALS).astype(np.float32)
        own, worth = row.own, worth.astype(np.float32)
        self._lines = np.zeros((len(self.duals), len(worth) + 1, own.shape[1]), np.float32)
        for at, dual in enumerate(self.duals):
            brings = np.maximum(0, worth[:, None] - dual * own)
            np.cumsum(brings[::-1], axis=0, out=self._lines[at, -2::-1])
        homes = self._homes(row)
        self._open = [
            [(g, sum(home >= place for home in homes[g])) for g in range(len(homes))
             if homes[g] and homes[g][-1] >= place]
            for place in range(len(worth) + 1)
        ]
        self._less = [
            [[self._spread(row, worth, g, home[-left:], dual) for dual in self.duals]
             for left in range(1, len(home) + 1)]
            for g, home in enumerate(homes)
        ]
        self._kept: dict[tuple, np.ndarray] = {}
        self._kept_unpaid: dict[tuple[int, int], tuple] = {}

    @staticmethod
    def _homes(row: _Row) -> list[list[int]]:
        """The lines that carry each charge: every line goes where most is left to carry."""
        homes: list[list[int]] = [[] for _ in row.charges]
        for place, mine in enumerate(row.of_line):
            if mine:
                g = max(mine, key=lambda g: row.charges[g].due[0] / (1 + len(homes[g])))
                homes[g].append(place)
        return homes

    @staticmethod
    def _spread(
        row: _Row, worth: np.ndarray, g: int, places: list[int], dual: np.float32
    ) -> np.ndarray:
        """By how much less these lines bring if they have to carry the charge."""
        profit = np.maximum(0, worth[places] - dual * row.own[places, 0])
        parts = profit / profit.sum() if profit.any() else np.full(len(places), 1 / len(places))
        brings = worth[places][:, None] - dual * row.own[places]
        carried = brings - dual * np.outer(parts, row.charges[g].due).astype(np.float32)
        return (np.maximum(0, carried) - np.maximum(0, brings)).sum(axis=0)

    def unpaid(self, place: int, paid: int) -> tuple[tuple[int, int], ...]:
        """The charges not paid yet that open lines carry, and how many of these are left."""
        key = place, paid
        if key not in self._kept_unpaid:
            self._kept_unpaid[key] = tuple(
                (g, left) for g, left in self._open[place] if not paid >> g & 1
            )
        return self._kept_unpaid[key]

    def of_mean(self, place: int, unpaid: tuple[tuple[int, int], ...]) -> np.ndarray:
        """What open lines bring by their mean, for each multiplier."""
        if not unpaid:
            return self._lines[:, place, 0]
        return self._remember((place, unpaid), lambda: np.array(
            [self.of_trials(place, unpaid, at)[0] for at in range(len(self.duals))]))

    def of_trials(self, place: int, unpaid: tuple[tuple[int, int], ...], at: int) -> np.ndarray:
        """What open lines bring in every trial, for one multiplier."""
        if not unpaid:
            return self._lines[at, place]
        return self._remember((at, place, unpaid), lambda: sum(
            (self._less[g][left - 1][at] for g, left in unpaid), self._lines[at, place]))

    def _remember(self, key: tuple, find: Callable[[], np.ndarray]) -> np.ndarray:
        if key not in self._kept:
            found = find()
            if len(self._kept) >= self._KEPT:
                self._kept.clear()
            self._kept[key] = found
        return self._kept[key]


def _tight(own: np.ndarray, slack: np.ndarray, needed: int) -> np.ndarray:
    """The trials that decide whether a set fits: near the share asked for. The mean without any."""
    left = (slack - own.sum(axis=0))[1:]
    if not left.size:
        return np.array([0])
    width = 1 + left.size // 50
    order = np.argsort(-left, kind="stable")
    return 1 + order[max(0, needed - width):needed + width]


def _level(worth: np.ndarray, cost: np.ndarray, room: float) -> float:
    """Worth over cost of the line at which the room is full, best ratio first."""
    if not len(worth):
        return 1.0
    ratio = worth / np.maximum(cost, 1e-9 * max(1.0, abs(room)))
    order = np.argsort(-ratio)
    full = int(np.searchsorted(np.cumsum(cost[order]), room))
    return float(ratio[order[min(full, len(order) - 1)]])


class _Search:
    """Bound and best set, and how they close in on each other. Sets are bits by place."""

    def __init__(
        self, worth: Sequence[float], limits: Sequence[Limit], must: frozenset[int],
        most_seconds: float, progress: Callable[[float, float, float], object] | None,
    ):
        whole, self.step = _whole(worth)
        self.limits, self.must = limits, must
        self.always = sum(whole[line] for line in must)
        self.order = sorted(
            (line for line in range(len(whole)) if whole[line] and line not in must),
            key=lambda line: (-whole[line], limits[0].mean[line], line),
        )
        self.worth = [whole[line] for line in self.order]
        self.later = [0, *itertools.accumulate(reversed(self.worth))][::-1]
        self.rows = [_Row(limit, self.order, np.array(self.worth, float), must) for limit in limits]
        # Prices say more than the mean where there are no trials: then they are asked early.
        self.blind = [at for at, row in enumerate(self.rows) if not row.trials]
        self.prices: dict[tuple[int, int], float] = {}
        self.looked = 0
        self.best = 0
        self.bound = self.later[0]
        self.progress = progress
        self.started = self.told = time.perf_counter()
        self.seconds = most_seconds

    def begin(self) -> None:
        """A first set: the lines that bring most for their mean, one after another.

        Raises
        ------
        NothingFits
            If nothing fits.
        ValueError
            If a price lies below what its trials say.
        """
        always = self.lines(0)
        over = [max(0.0, max(self.price(at, 0), limit.mean_of(always)) - limit.most)
                for at, limit in enumerate(self.limits)]
        if any(over):
            raise NothingFits(over)
        states = [row.start for row in self.rows]
        costs = sum(row.own[:, 0] / max(row.start.slack[0], 1e-9) for row in self.rows)
        for place in np.argsort(-np.array(self.worth) / np.maximum(costs, 1e-12), kind="stable"):
            more = self.best | 1 << int(place)
            # Not by the places of the search: nothing may be said yet of the lines after this one.
            taken = [row.take(state, int(place)) for row, state in zip(self.rows, states,
                                                                       strict=True)]
            if all(row.reaches(state, len(self.order), 0.0)
                   for row, state in zip(self.rows, taken, strict=True)) and self.fits(more):
                self.best, states = more, taken
        self._check_prices()
        self.bound = min(self.later[0], *(math.floor(row.top() * (1 + _DUST)) for row in self.rows))
        self.bound = max(self.bound, self.value(self.best))

    def close(self, gap: float) -> None:
        """Halve what lies between best and bound, from above, until nothing better is left."""
        def accept(chosen: int) -> int | None:
            if not self.fits(chosen):
                return None
            self.best = chosen
            return self._goal(gap)

        while (goal := self._goal(gap)) <= self.bound:
            self.bound = max(self.value(self.best), self.find(goal, accept) - 1)

    def _goal(self, gap: float) -> int:
        best = self.value(self.best)
        least = max(best, math.floor((best + self.always) * (1 + gap)) - self.always) + 1
        apart = self.bound - best
        return least if apart <= _NEAR * (best + self.always) else max(least, best + apart // 2)

    def settle_ties(self) -> None:
        """Look for a set of the same worth that is cheaper, or has lower line numbers."""
        branches = self.looked + _TIE_BRANCHES
        prices = len(self.prices) + _TIE_PRICES

        def goes_on() -> bool:
            return self.looked < branches and len(self.prices) < prices

        def accept(chosen: int) -> int | None:
            if not (self.fits(chosen) and self._rank(chosen) < self._rank(self.best)):
                return None
            self.best = chosen
            return self.later[0] + 1  # begin anew, below the lower price

        before = None
        while before != self.best:
            before = self.best
            self.find(self.value(before), accept, most=self.price(0, before), goes_on=goes_on)

    def find(
        self, goal: int, accept: Callable[[int], int | None], *, most: float | None = None,
        goes_on: Callable[[], bool] = lambda: True,
    ) -> int:
        """Show `accept` every set that is worth the goal; return the goal in the end.

        `accept` returns the next goal, or None for a set that is not accepted, which ends its
        branch. `most` is a lower limit on the first price.
        """
        dust = _DUST * self.later[0]
        starts = [row.start for row in self.rows]
        if most is not None:
            slack = starts[0].slack.copy()
            slack[1:] -= np.float32(self.limits[0].most - most)
            starts[0] = starts[0]._replace(slack=slack)
        stack = [(0, 0, 0, starts)]
        while stack and goes_on():
            place, worth, chosen, states = stack.pop()
            if worth + self.later[place] < goal:
                continue
            self._go_on_or_stop()
            self.looked += 1
            if not all(row.reaches(state, place, goal - worth - dust)
                       for row, state in zip(self.rows, states, strict=True)):
                continue
            if worth >= goal:
                goal_now = accept(chosen)
                if goal_now is None:
                    continue
                goal = goal_now
            if place == len(self.order):
                continue
            if self.blind and place and chosen >> (place - 1) & 1 and any(
                    self.price(at, chosen) > self.limits[at].most for at in self.blind):
                continue
            both = list(zip(self.rows, states, strict=True))
            stack.append((place + 1, worth, chosen, [row.leave(s, place) for row, s in both]))
            stack.append((place + 1, worth + self.worth[place], chosen | 1 << place,
                          [row.take(s, place) for row, s in both]))
        return goal

    def answer(self) -> Picked:
        """What is known by now."""
        best = self.value(self.best)
        return Picked(
            lines=self.lines(self.best),
            worth=(best + self.always) * self.step,
            prices=tuple(self.price(at, self.best) for at in range(len(self.limits))),
            bound=(self.bound + self.always) * self.step,
            proven=best >= self.bound,
            priced=len(self.prices),
            looked=self.looked,
        )

    def lines(self, chosen: int) -> frozenset[int]:
        """Line numbers of a set, those that cannot be left out among them."""
        return self.must.union(line for place, line in enumerate(self.order) if chosen >> place & 1)

    def value(self, chosen: int) -> int:
        """What the lines that can be left out are worth, in steps."""
        return sum(worth for place, worth in enumerate(self.worth) if chosen >> place & 1)

    def price(self, at: int, chosen: int) -> float:
        """The true price of a set under one limit."""
        if (at, chosen) not in self.prices:
            self.prices[at, chosen] = float(self.limits[at].price_of(self.lines(chosen)))
        return self.prices[at, chosen]

    def fits(self, chosen: int) -> bool:
        """Whether mean and price hold every limit."""
        lines = self.lines(chosen)
        return all(limit.mean_of(lines) <= limit.most and self.price(at, chosen) <= limit.most
                   for at, limit in enumerate(self.limits))

    def _rank(self, chosen: int) -> tuple[float, list[int]]:
        return self.price(0, chosen), sorted(self.lines(chosen))

    def _check_prices(self) -> None:
        """The search would miss sets whose price is lower than their trials say."""
        states = [row.start for row in self.rows]
        for place in range(len(self.order)):
            step = _Row.take if self.best >> place & 1 else _Row.leave
            states = [step(row, s, place) for row, s in zip(self.rows, states, strict=True)]
        for at, (row, state) in enumerate(zip(self.rows, states, strict=True)):
            if not row.trials:
                continue
            limit, price = self.limits[at], self.price(at, self.best)
            least = limit.most - row.floor(state)
            if price < least - 2 * _DUST * abs(limit.most):
                raise ValueError(
                    f"The price of lines {sorted(self.lines(self.best))} is {price:g}, but their "
                    f"trials alone come to {least:g}. Trials may leave costs out, not add them."
                )

    def _go_on_or_stop(self) -> None:
        now = time.perf_counter()
        if now - self.started > self.seconds:
            raise _Stopped
        if self.progress is not None and now - self.told > _TELL_EVERY:
            self.told = now
            best, bound = self.value(self.best), self.bound
            if self.progress((bound + self.always) * self.step, (best + self.always) * self.step,
                             (now - self.started) / self.seconds) is False:
                raise _Stopped
