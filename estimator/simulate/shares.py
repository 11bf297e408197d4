"""Shares of the variance of cost, by pick and freeze.

The job is played on two independent sets of numbers, A and B, and a driver's share follows from
what exchanging only its numbers between them does. As a job's cost is a sum over lines, one pass
over the tables exchanges the own numbers of all lines at once, each line's difference by itself.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from estimator.simulate import shapes
from estimator.simulate.plan import Amount, Event, Plan
from estimator.simulate.play import Player
from estimator.simulate.streams import Streams

TRIALS = 1024
"""512 pairs: a share of a tenth is then within about a hundredth, one standard error."""
SHARED = ("job", "hand", "kind", "cause")
"""What several lines have in common."""


def variance_shares(plan: Plan, hour: float, seed: int, trials: int = TRIALS
                    ) -> dict[tuple[str, object], tuple[float, float]]:
    """Variance of cost by driver, first-order and total, not yet over the whole variance.

    Parameters
    ----------
    hour
        What an hands-on hour costs, with allowances. [money]
    trials
        Of both sets of numbers together.

    Returns
    -------
    dict
        By what a driver is and whose: ("hours", line), ("finds", line), ("outwork", lot),
        ("prices", None), ("shared", one of `SHARED`).

    Notes
    -----
    First-order shares by the product of the two differences that a swap makes, on A's and on B's
    background (A. B. Owen, "Better estimation of small Sobol' sensitivity indices", 2013, from
    memory); total ones after M. J. W. Jansen (1999), averaged over both backgrounds.
    """
    tables = _tables(plan, hour, seed, trials)
    differences: dict[tuple[str, object], np.ndarray] = {}
    for table in tables:
        for key, row in table.by_key("own"):
            differences[key] = differences[key] + row if key in differences else row
    for group in (*SHARED, "price"):
        rows = [table.difference(group).sum(axis=0) for table in tables if table.moved_by(group)]
        if rows:
            differences[("prices", None) if group == "price" else ("shared", group)] = sum(rows)
    return {key: _shares(row) for key, row in differences.items()}


def _shares(difference: np.ndarray) -> tuple[float, float]:
    """First-order and total variance from what a swap changes in A's half and in B's."""
    half = len(difference) // 2
    a, b = difference[:half], difference[half:]
    return -float(a @ b) / half / 2, float(a @ a + b @ b) / half / 4


def _exchanged(halves: np.ndarray) -> np.ndarray:
    return np.roll(halves, halves.shape[-1] // 2, axis=-1)


class _Remembered(Streams):
    """Streams that are drawn once each."""

    def __init__(self, seed: int, trials: int):
        super().__init__(seed, trials)
        self._drawn: dict[str, np.ndarray] = {}

    def ranks(self, name: str) -> np.ndarray:
        if name not in self._drawn:
            self._drawn[name] = super().ranks(name)
        return self._drawn[name]


@dataclass(frozen=True)
class _Row:
    """An amount: to which driver it belongs, what one of it costs, on which event it hangs."""

    key: tuple[str, object]
    amount: Amount
    unit: float = 1.0
    event: Event | None = None

    @property
    def varies(self) -> bool:
        amount = self.amount
        return bool(amount.high > amount.low or amount.pieces or (self.event and amount.high))


def _tables(plan: Plan, hour: float, seed: int, trials: int) -> list[_Table]:
    hours, finds, prices = [], [], []
    for line, found in plan.lines.items():
        hours += [_Row(("hours", line), amount, hour) for amount in found.hours]
        prices += [_Row(("hours", line), amount) for amount in (*found.parts, *found.materials)]
        for event in found.events:
            finds += [_Row(("finds", line), event.hours, hour, event),
                      _Row(("finds", line), event.other, 1.0, event)]
    prices += [_Row(("prices", None), amount) for amount in plan.wholes]
    charges = [_Row(("outwork", lot), amount) for lot, amount in enumerate(plan.charges)]
    player = Player(_Remembered(seed, 2 * (trials // 2)), plan.factors)
    rows = [(own, [row for row in rows if row.varies]) for own, rows in
            (("own", hours), ("own", finds), ("price", prices), ("own", charges))]
    return [_Table(own, found, player) for own, found in rows if found]


class _Table:
    """Amounts as rows of a matrix: what each comes to, times how often, in every trial.

    The first half of the trials is set A, the second set B. What exchanging all own numbers does
    is what exchanging all shared ones does, seen from the other half; so it need not be drawn.

    Parameters
    ----------
    own
        The group that the rows' own numbers belong to: "own", or "price" where what is drawn is
        one price for several lines.
    """

    def __init__(self, own: str, rows: Sequence[_Row], player: Player):
        self._own, self._rows, self._player = own, rows, player
        factors = player.factors
        amounts = [row.amount for row in rows]
        self._tables = [shapes.table(a.shape, a.low, a.typical, a.high, a.evened) for a in amounts]
        self._parts = [shapes.own_part(player.streams.ranks(a.stream), factors.own(a.factors))
                       for a in amounts]
        self._units = np.array([[row.unit] for row in rows], np.float32)
        self._shared = {a.factors: player.shared_parts(*a.factors)
                        for a in amounts if a.factors is not None}
        self._movers = tuple({group: 0 for parts in self._shared.values() for group in parts})
        events = [row.event for row in rows if row.event]
        self._counted = bool(events) or any(a.pieces for a in amounts)
        self._caused = bool(factors.cause) and any(event.cause for event in events)

    def moved_by(self, group: str) -> bool:
        """Whether exchanging a group of numbers changes anything here."""
        return (group == self._own or group in self._movers
                or (group == "own" and self._counted) or (group == "cause" and self._caused))

    def difference(self, group: str) -> np.ndarray:
        """Money that exchanging a group of numbers adds, shape (rows, trials)."""
        values, weights = self._plain_values, self._plain_weights
        if group == self._own:
            values = _exchanged(self._values(*self._movers))
        elif group in self._movers:
            values = self._values(group)
        if group == "own" and self._counted:
            weights = self._turned_weights
        elif group == "cause" and self._caused:
            weights = _exchanged(self._turned_weights)
        return values * weights - self._plain_money

    def by_key(self, group: str) -> list[tuple[tuple[str, object], np.ndarray]]:
        """The same summed by driver."""
        if not self.moved_by(group):
            return []
        keys = [row.key for row in self._rows]
        starts = [k for k, key in enumerate(keys) if not k or key != keys[k - 1]]
        sums = np.add.reduceat(self.difference(group), starts, axis=0)
        return [(keys[start], row) for start, row in zip(starts, sums, strict=True)]

    @functools.cached_property
    def _plain_values(self) -> np.ndarray:
        return self._values()

    @functools.cached_property
    def _plain_weights(self) -> np.ndarray:
        return self._weights(False)

    @functools.cached_property
    def _turned_weights(self) -> np.ndarray:
        return self._weights(True) if self._caused else _exchanged(self._plain_weights)

    @functools.cached_property
    def _plain_money(self) -> np.ndarray:
        return self._plain_values * self._plain_weights

    def _values(self, *exchanged: str) -> np.ndarray:
        """What each amount comes to with some shared groups exchanged."""
        offsets = {None: shapes.offsets(0.0)}
        for factors, parts in self._shared.items():
            shared = sum((_exchanged(part) if group in exchanged else part
                          for group, part in parts.items()), 0.0)
            offsets[factors] = shapes.offsets(
                shapes.within_reach(shared, self._player.factors.own(factors)))
        found = np.empty((len(self._rows), self._player.streams.trials), np.float32)
        room = shapes.Buffers(found.shape[1])
        for row, part, table, out in zip(self._rows, self._parts, self._tables, found, strict=True):
            np.add(part, offsets[row.amount.factors], out=room.floats)
            table.take(shapes.whole(room.floats, room), out=out, mode="wrap")
        found *= self._units
        return found

    def _weights(self, exchanged: bool) -> np.ndarray:
        """How many pieces of those expected, or whether it happens, with own numbers exchanged.

        1 for what is certain.
        """
        turned = _exchanged if exchanged else np.asarray
        player, known = self._player, {}
        found = np.ones((len(self._rows), player.streams.trials), np.float32)
        for row, weight in zip(self._rows, found, strict=True):
            amount, event = row.amount, row.event
            if amount.pieces is not None and amount.share < 1:
                key = amount.piece_stream, amount.pieces, amount.share
                if key not in known:
                    known[key] = turned(player.count(amount))
                weight *= known[key]
            if event is not None:
                if event.stream not in known:
                    ranks = turned(player.streams.ranks(event.stream))
                    known[event.stream] = player.hit(event, shapes.scores(ranks))
                weight *= known[event.stream]
        return found


__all__ = ["SHARED", "TRIALS", "variance_shares"]
