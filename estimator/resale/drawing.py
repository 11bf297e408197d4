"""What a machine sells for and when, drawn for every trial: one value for all choices.

Streams go by name, as those of the job do, so that the same seed gives the same market whatever
is done with the machine, and lines of the survey do not move it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from estimator.durations import Range
from estimator.simulate import shapes
from estimator.simulate.kept import Kept
from estimator.simulate.streams import RANKS, Streams

_DRAWN = Kept(128 * 2**20)


class Market:
    """Draws prices, fees and days by name.

    Parameters
    ----------
    seed, trials
        As the job's odds are drawn with.
    shared
        Share of the variance of sale ratios that all choices have in common. [–]
    """

    def __init__(self, seed: int, trials: int, shared: float):
        self._streams = Streams(seed, trials)
        self._shared = shared
        self._trials = trials

    def amount(self, name: str, found: Range) -> np.ndarray:
        """A PERT amount by the name of its stream; shape (trials,)."""
        if found.low >= found.high:
            return np.full(self._trials, float(found.typical))

        def draw() -> np.ndarray:
            table = shapes.table("pert", found.low, found.typical, found.high)
            return shapes.values(self._streams.ranks(f"sale: {name}"), table)
        return self._kept(draw, name, found)

    def months(self, name: str, found: Range) -> np.ndarray:
        """The same of months, one begun counted whole; shape (trials,), whole numbers."""
        return self._kept(lambda: np.ceil(self.amount(name, found) - 1e-9), "whole", name, found,
                          kind=int)

    def ratio(self, choice: str, found: Range) -> np.ndarray:
        """The sale ratio of a choice: its own luck and that of all ratios."""
        if found.low >= found.high:
            return np.full(self._trials, float(found.typical))

        def draw() -> np.ndarray:
            common = np.float32(math.sqrt(self._shared)) * shapes.scores(
                self._streams.ranks("sale: ratio"))
            cells = shapes.cells(
                self._streams.ranks(f"sale: ratio of {choice}"), math.sqrt(1 - self._shared),
                shapes.offsets(common), shapes.Buffers(self._trials))
            return shapes.table("pert", found.low, found.typical, found.high).take(cells)
        return self._kept(draw, "ratio of", choice, found, self._shared)

    def sold(self, name: str, offers: int, share: float) -> np.ndarray:
        """How many of so many offers find a buyer."""
        if share >= 1:
            return np.full(self._trials, float(offers))

        def draw() -> np.ndarray:
            ranks = self._streams.ranks(f"sale: {name} sold")
            if offers == 1:
                return ranks < round(share * RANKS)
            return shapes.breakage(offers, share).take(ranks)
        return self._kept(draw, name, offers, share)

    def _kept(self, draw: Callable[[], np.ndarray], *what, kind: type = float) -> np.ndarray:
        """What is drawn once serves every choice, value and machine; nobody may write into it."""
        def make():
            found = draw().astype(kind)
            found.flags.writeable = False
            return found, found.nbytes
        return _DRAWN.get((self._streams.seed, self._trials, *what), make)
