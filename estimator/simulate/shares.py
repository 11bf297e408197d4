"""Shares of the variance of cost, by pick and freeze.

The job is played on two independent sets of numbers, A and B, and a driver's share follows from
what exchanging only its numbers between them does. As a job's cost is a sum over lines, one pass
over the tables exchanges the own numbers of all lines at once, each line's difference by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
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
        What a hands-on hour costs, with allowances. [money]
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
    differences: dict[tuple[str, object], np.ndarray] = {}
    sets = _Sets(plan, seed, trials)
    for row in _rows(plan, hour):
        for key, difference in sets.differences(row):
            if key in differences:
                differences[key] += difference
            else:
                differences[key] = difference
    return {key: _shares(row) for key, row in differences.items()}


def _shares(difference: np.ndarray) -> tuple[float, float]:
    """First-order and total variance from what a swap changes in A's half and in B's."""
    half = len(difference) // 2
    a, b = difference[:half], difference[half:]
    return -float(a @ b) / half / 2, float(a @ a + b @ b) / half / 4


def _exchanged(halves: np.ndarray) -> np.ndarray:
    half = len(halves) // 2
    return np.concatenate((halves[half:], halves[:half]))


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
    """An amount: to which driver it belongs, what one of it costs, on which event it hangs.

    `price` where what is drawn is one price for several lines, and not the line's own number.
    """

    key: tuple[str, object]
    amount: Amount
    unit: float = 1.0
    event: Event | None = None
    price: bool = False

    @property
    def varies(self) -> bool:
        amount = self.amount
        return bool(amount.high > amount.low or amount.pieces or (self.event and amount.high))


def _rows(plan: Plan, hour: float) -> Iterator[_Row]:
    """All amounts that vary."""
    rows = []
    for line, found in plan.lines.items():
        rows += [_Row(("hours", line), amount, hour) for amount in found.hours]
        rows += [_Row(("hours", line), amount, price=True)
                 for amount in (*found.parts, *found.materials)]
        for event in found.events:
            rows += [_Row(("finds", line), event.hours, hour, event),
                     _Row(("finds", line), event.other, 1.0, event)]
    rows += [_Row(("prices", None), amount) for amount in plan.wholes]
    rows += [_Row(("outwork", lot), amount) for lot, amount in enumerate(plan.charges)]
    return (row for row in rows if row.varies)


class _Sets:
    """The job on both sets of numbers: the first half of the trials is A, the second B.

    What exchanging all own numbers does is what exchanging all shared ones does, seen from the
    other half; so it need not be drawn.
    """

    def __init__(self, plan: Plan, seed: int, trials: int):
        self._player = Player(_Remembered(seed, 2 * (trials // 2)), plan.factors)
        self._room = shapes.Buffers(2 * (trials // 2))
        self._offsets: dict[tuple[str, str] | None, dict[str, np.ndarray]] = {}
        self._times: dict[object, tuple[np.ndarray, np.ndarray, np.ndarray]] = {}

    def differences(self, row: _Row) -> Iterator[tuple[tuple[str, object], np.ndarray]]:
        """What exchanging a driver's numbers adds to what an amount costs, for all that move it."""
        values = self._values(row)
        times, turned, caused = self._how_often(row)
        plain = values[""]
        money = plain * times
        for group, moved in values.items():
            if group in SHARED:
                yield ("shared", group), (moved - plain) * times
        if caused is not times:
            yield ("shared", "cause"), plain * caused - money
        if row.price:
            yield ("prices", None), (_exchanged(plain) - plain) * times
            if turned is not times:
                yield row.key, plain * turned - money
        else:
            *_, moved = values.values()
            yield row.key, _exchanged(moved) * turned - money

    def _values(self, row: _Row) -> dict[str, np.ndarray]:
        """What an amount comes to, with shared groups exchanged; in the last with all of them."""
        amount, player = row.amount, self._player
        if amount.factors not in self._offsets:
            self._offsets[amount.factors] = self._made_offsets(amount.factors)
        part = shapes.own_part(player.streams.ranks(amount.stream),
                               player.factors.own(amount.factors))
        table = shapes.table(amount.shape, amount.low, amount.typical, amount.high, amount.evened)
        found = {}
        for group, offset in self._offsets[amount.factors].items():
            cells = shapes.whole(np.add(part, offset, out=self._room.floats), self._room)
            found[group] = table.take(cells, mode="wrap")
            found[group] *= np.float32(row.unit)
        return found

    def _made_offsets(self, factors: tuple[str, str] | None) -> dict[str, np.ndarray]:
        if factors is None:
            return {"": shapes.offsets(0.0)}
        parts = self._player.shared_parts(*factors)
        swaps = {"": (), **{group: (group,) for group in parts}}
        if len(parts) > 1:
            swaps["all"] = tuple(parts)
        own = self._player.factors.own(factors)
        return {
            name: shapes.offsets(shapes.within_reach(
                sum((_exchanged(part) if group in swapped else part
                     for group, part in parts.items()), 0.0), own))
            for name, swapped in swaps.items()}

    def _how_often(self, row: _Row) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """How many pieces of those expected, or whether it happens; 1 for what is certain.

        As drawn, with own numbers exchanged, and with the cause exchanged.
        """
        amount, event, player = row.amount, row.event, self._player
        if event is not None:
            key = event.stream
        elif amount.pieces is not None:
            key = amount.piece_stream, amount.pieces, amount.share
        else:
            return _CERTAIN, _CERTAIN, _CERTAIN
        if key not in self._times:
            if event is None:
                times = player.count(amount)
                self._times[key] = times, _exchanged(times), times
            else:
                scores = shapes.scores(player.streams.ranks(event.stream))
                times = player.hit(event, scores)
                turned = player.hit(event, _exchanged(scores))
                tied = event.cause and player.factors.cause
                self._times[key] = times, turned, _exchanged(turned) if tied else times
        return self._times[key]


_CERTAIN = np.float32(1)
