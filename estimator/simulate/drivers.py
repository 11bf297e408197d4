"""What drives the cost: how much of its spread each line, find, price and shared factor brings.

Shares of variance by pick and freeze: the job is played on two independent sets of numbers, A
and B, and a driver's share follows from what exchanging only its numbers between them does. As a
job's cost is a sum over lines, one pass over the tables exchanges the own numbers of all lines
at once, each line's difference by itself.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from estimator.estimate import Estimate
from estimator.shop import Settings
from estimator.simulate import shapes
from estimator.simulate.odds import Odds
from estimator.simulate.plan import Factors, Plan, plan_of
from estimator.simulate.play import Player
from estimator.simulate.run import player_of
from estimator.simulate.streams import Streams

TRIALS = 1024
"""512 pairs: enough for a share to within a twentieth of itself."""
_SHARED = ("job", "hand", "kind", "cause")
_GROUPS = (*_SHARED, "price")
_MOST_BARS = 30
_TENTH = 0.1


@dataclass(frozen=True)
class Driver:
    """Something that the cost depends on.

    Parameters
    ----------
    what
        "hours" of a line, with the parts whose number is not sure; "finds" of a line;
        "prices" of parts and materials; "outwork", the charge of a lot; "shared", what several
        lines have in common.
    line
        Index of the survey line; None for what is not one line's.
    low, high
        What the cost comes to at the confidence asked for if this driver is in the lowest or
        the highest tenth of what it can be, on average over that tenth. [money]
    first, total
        Shares of the variance of cost, after I. M. Sobol: from this driver alone, and together
        with what it does jointly with others. [–]
    """

    name: str
    what: str
    line: int | None
    low: float
    high: float
    first: float
    total: float


def drivers(job: Estimate, settings: Settings, odds: Odds, titles: Sequence[str], *,
            confidence: float = 0.8, trials: int = TRIALS) -> tuple[Driver, ...]:
    """The drivers of a job's cost, the widest bar first; at most thirty.

    Parameters
    ----------
    titles
        What the survey lines are called.
    trials
        Of the estimate of variance shares, which has numbers of its own.

    Raises
    ------
    ValueError
        If the odds were too many to keep what each line drew.

    Notes
    -----
    First-order shares by the product of the two differences that a swap makes, on A's and on B's
    background (A. B. Owen, "Better estimation of small Sobol' sensitivity indices", 2013, from
    memory); total ones after M. J. W. Jansen (1999), averaged over both backgrounds.
    """
    if not odds.lines:
        raise ValueError("the odds hold totals only; take fewer trials to see what drives them")
    plan = plan_of(job, settings)
    shares = variance_shares(plan, job, odds.seed, trials)
    spread = float(np.var(odds.cost)) or 1.0
    found = sorted(((key, first / spread, total / spread)
                    for key, (first, total) in shares.items()), key=lambda row: -row[2])
    parts = _contributions(job, odds, plan)
    bars = []
    for (what, which), first, total in found[:_MOST_BARS]:
        if total <= 1e-9:
            continue
        low, high = _bar(odds.cost, parts(what, which), confidence)
        line = which if what in ("hours", "finds") else None
        bars.append(Driver(_name(what, which, job, titles), what, line, low, high,
                           max(0.0, first), total))
    return tuple(sorted(bars, key=lambda bar: bar.low - bar.high))


def _name(what: str, which, job: Estimate, titles: Sequence[str]) -> str:
    if what == "hours":
        return titles[which]
    if what == "finds":
        return f"{titles[which]}: finds"
    if what == "outwork":
        return job.lots[which].name
    if what == "prices":
        return "Prices of parts and materials"
    return {"job": "How the whole job goes", "hand": "Pace of the hands",
            "kind": "How each kind of work goes", "cause": "Finds that share a cause"}[which]


def variance_shares(plan: Plan, job: Estimate, seed: int, trials: int
                    ) -> dict[tuple[str, object], tuple[float, float]]:
    """Variance of cost by driver, first-order and total, not yet over the whole variance."""
    table = _Table(plan, job.hour_cost * job.hours_factor, Streams(seed, 2 * (trials // 2)))
    found = {}

    def note(key, difference: np.ndarray) -> None:
        a, b = np.split(difference, 2)
        found[key] = (-float(np.mean(a * b)) / 2, float(np.mean(difference**2)) / 2)

    own = table.differences("own")
    for key, rows in own.items():
        if key[0] != "prices":
            note(key, rows)
    for name in (*_SHARED, "price"):
        rows = table.differences(name).values()
        note(("prices", None) if name == "price" else ("shared", name),
             sum(rows, np.zeros(table.trials)))
    return found


class _Remembered:
    """Streams, each drawn once."""

    def __init__(self, streams: Streams):
        self.trials = streams.trials
        self.ranks = functools.cache(streams.ranks)


class _Halves:
    """Streams whose first half is set A and whose second is set B, the other way for some."""

    key = None

    def __init__(self, streams: _Remembered, group: str = ""):
        self.trials = streams.trials
        self._streams, self._group = streams, group

    def ranks(self, name: str) -> np.ndarray:
        """The stream of a quantity, its halves exchanged if it is of the group."""
        found = self._streams.ranks(name)
        swap = group_of(name) == self._group
        return np.roll(found, self.trials // 2) if swap else found


def group_of(stream: str) -> str:
    """Which group of numbers a stream belongs to: a shared factor, "price", or "own"."""
    return next((word for word in _GROUPS if stream == word or stream.startswith(f"{word} ")),
                "own")


class _Table:
    """All amounts of a plan, in blocks of those that the same groups of numbers move."""

    def __init__(self, plan: Plan, hour: float, streams: Streams):
        self.trials = streams.trials
        streams = _Remembered(streams)
        hours, events, prices, charges = [], [], [], []
        for line, found in plan.lines.items():
            hours += [(("hours", line), amount, hour, None) for amount in found.hours]
            for event in found.events:
                events += [(("finds", line), event.hours, hour, event),
                           (("finds", line), event.other, 1.0, event)]
            prices += [(("hours", line), amount, 1.0, None)
                       for amount in (*found.parts, *found.materials)]
        prices += [(("prices", None), amount, 1.0, None) for amount in plan.wholes]
        charges = [(("outwork", k), amount, 1.0, None) for k, amount in enumerate(plan.charges)]
        self._blocks = [
            (_Block(rows, streams, plan.factors), moved)
            for rows, moved in ((hours, {"own", "job", "hand", "kind"}),
                                (events, {"own", "job", "cause"}),
                                (prices, {"own", "price"}), (charges, {"own"})) if rows]

    def differences(self, group: str) -> dict[tuple[str, object], np.ndarray]:
        """What swapping a group of numbers between the halves changes, by driver; (trials,)."""
        found: dict[tuple[str, object], np.ndarray] = {}
        for block, moved in self._blocks:
            if group in moved:
                for key, rows in block.sums(group).items():
                    found[key] = found.get(key, 0) + rows - block.sums("")[key]
        return found


class _Block:
    """Amounts as rows of one matrix, evaluated at once."""

    def __init__(self, rows: list, streams: _Remembered, factors: Factors):
        self._streams, self._plan_factors = streams, factors
        self._amounts = [row[1] for row in rows]
        self._events = [row[3] for row in rows]
        self._keys = [row[0] for row in rows]
        self._starts = [k for k, key in enumerate(self._keys) if not k or key != self._keys[k - 1]]
        self._tables = np.stack([
            shapes.table(a.shape, a.low, a.typical, a.high, a.evened) * np.float32(unit)
            for _, a, unit, _ in rows]).ravel()
        self._firsts = np.arange(len(rows))[:, None] * shapes.CELLS
        self._own = np.array([factors.own(a.factors) for a in self._amounts], np.float32)[:, None]
        self._ranks = np.zeros((len(rows), streams.trials), np.uint16)
        for k, amount in enumerate(self._amounts):
            if amount.low < amount.high:
                self._ranks[k] = streams.ranks(amount.stream)
        self._moved = np.array([group_of(a.stream) == "price" for a in self._amounts])
        self._kept: dict[str, dict] = {}

    def sums(self, group: str) -> dict[tuple[str, object], np.ndarray]:
        """Money by driver in every trial, with a group of numbers swapped; "" for none."""
        if group not in self._kept:
            summed = np.add.reduceat(self._values(group), self._starts, axis=0)
            self._kept[group] = {self._keys[k]: row for k, row in
                                 zip(self._starts, summed, strict=True)}
        return self._kept[group]

    def _values(self, group: str) -> np.ndarray:
        swapped = self._moved if group == "price" else ~self._moved & (group == "own")
        ranks = self._ranks
        if swapped.any():
            ranks = ranks.copy()
            ranks[swapped] = np.roll(ranks[swapped], ranks.shape[1] // 2, axis=1)
        player = Player(_Halves(self._streams, group), self._plan_factors)
        scores = shapes.scores(ranks)
        scores *= self._own
        parts: dict[object, np.ndarray] = {}
        for k, amount in enumerate(self._amounts):
            if amount.factors is not None:
                if amount.factors not in parts:
                    parts[amount.factors] = shapes.within_reach(
                        player.shared_score(*amount.factors), float(self._own[k, 0]))
                scores[k] += parts[amount.factors]
        cells = shapes.offsets(scores).astype(np.intp)
        cells += self._firsts
        found = self._tables.take(cells)
        counts: dict[tuple, np.ndarray] = {}
        hits: dict[object, np.ndarray] = {}
        for k, (amount, event) in enumerate(zip(self._amounts, self._events, strict=True)):
            if amount.pieces is not None and amount.share < 1:
                key = amount.piece_stream, amount.pieces, amount.share
                if key not in counts:
                    counts[key] = player.count(amount)
                found[k] *= counts[key]
            if event is not None:
                if event not in hits:
                    hits[event] = player.happens(event)
                found[k] *= hits[event]
        return found


def _contributions(job: Estimate, odds: Odds, plan: Plan):
    """A function from a driver to what it adds to the cost in each trial, shape (trials,)."""
    hour = job.hour_cost * job.hours_factor
    player = player_of(plan, job, trials=odds.trials, seed=odds.seed, sampler=odds.sampler)

    def found(what: str, which) -> np.ndarray:
        if what == "hours":
            return _sum(odds, which, (("hours", hour), ("parts", 1.0), ("materials", 1.0)))
        if what == "finds":
            return _sum(odds, which, (("find_hours", hour), ("find_other", 1.0)))
        if what == "outwork":
            return player.amount(plan.charges[which])
        if what == "prices":
            return odds.kinds["parts"] + odds.kinds["materials"]
        return _followed(odds.cost, [player.score(name) for name in _streams_of(which, plan)])
    return found


def _sum(odds: Odds, line: int, rows) -> np.ndarray:
    total = np.zeros(odds.trials)
    for name, factor in rows:
        row = getattr(odds.lines[line], name)
        if row is not None:
            total += row * factor
    return total


def _streams_of(shared: str, plan: Plan) -> list[str]:
    if shared == "job":
        return ["job"]
    if shared == "cause":
        events = [e for line in plan.lines.values() for e in line.events]
        return sorted({f"cause {e.cause}" for e in events if e.cause})
    factors = {a.factors for line in plan.lines.values() for a in line.hours if a.factors}
    if shared == "hand":
        return sorted({f"hand {hand}" for hand, _ in factors})
    kinds = {kind for _, kind in factors} | set(plan.factors.kinds)
    return sorted(f"kind {kind}" for kind in kinds)


def _followed(cost: np.ndarray, scores: list[np.ndarray]) -> np.ndarray:
    """The part of the cost that follows independent scores: its terms in z and in z² − 1.

    These are uncorrelated, so each weight is a mean by itself.
    """
    spread = cost - cost.mean()
    part = np.zeros(len(cost))
    for z in scores:
        bent = z * z - 1
        part += np.mean(z * spread) * z + np.mean(bent * spread) / 2 * bent
    return part


def _bar(cost: np.ndarray, part: np.ndarray, confidence: float) -> tuple[float, float]:
    """The cost at a confidence with one part of it in its lowest and in its highest tenth."""
    tenth = max(1, round(_TENTH * len(part)))
    split = np.partition(part, (tenth - 1, len(part) - tenth))
    (rest,) = np.quantile(cost - part, (confidence,))
    return (float(rest + split[:tenth].mean()), float(rest + split[-tenth:].mean()))


__all__ = ["TRIALS", "Driver", "drivers", "variance_shares"]
