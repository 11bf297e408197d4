"""Do what is costly a little later, once, and in steps that let newer entries in between."""

from __future__ import annotations

import asyncio
import gc
from collections.abc import Callable, Sequence

_BETWEEN_S = 0.02


class Later:
    """Runs steps one after another, `seconds` after the last `start`; a new `start` begins anew.

    Where no event loop runs, as in a plain script or test, `start` does all of it at once. One
    that is `held` waits for `release` where a loop runs.

    Examples
    --------
    >>> said = []
    >>> Later(0.3, [lambda: said.append("chart"), lambda: said.append("table")]).start()
    >>> said
    ['chart', 'table']
    """

    def __init__(self, seconds: float, steps: Sequence[Callable[[], object]], *,
                 held: bool = False):
        self.seconds = seconds
        self.held = held
        self.steps = tuple(steps)
        self._handle: asyncio.TimerHandle | None = None
        self._round = 0
        self._settled = False

    def start(self) -> None:
        """Run all steps, `seconds` from now."""
        self.stop()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            for step in self.steps:
                step()
            return
        if not self.held:
            self._handle = loop.call_later(self.seconds, self._run, loop, 0, self._round)

    def release(self) -> None:
        """From now on `start` does what it says; begins with one."""
        self.held = False
        self.start()

    def stop(self) -> None:
        """Leave the steps that have not run."""
        self._round += 1
        if self._handle is not None:
            self._handle.cancel()
            self._handle = None

    @property
    def waiting(self) -> bool:
        """Are there steps still to run?"""
        return self._handle is not None

    def finish(self) -> None:
        """Run now what is waiting, if anything is."""
        if self.waiting:
            self.stop()
            for step in self.steps:
                step()

    def _run(self, loop, position: int, this_round: int) -> None:
        self._handle = None
        self.steps[position]()
        # The pause counts from the end of a step; a step may have stopped or begun anew itself.
        if position + 1 < len(self.steps) and this_round == self._round:
            self._handle = loop.call_later(_BETWEEN_S, self._run, loop, position + 1, this_round)
        elif position + 1 == len(self.steps) and not self._settled:
            # Libraries were loaded and tables read by the steps, and they stay: the collector, in
            # whose pauses nothing is answered, passes over them from now on.
            self._settled = True
            gc.freeze()
