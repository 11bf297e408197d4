"""Draw what a plan says: each line's amounts, those of the job, and their totals."""

from __future__ import annotations

import functools
import itertools
import os
import threading
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from estimator.errors import Stopped
from estimator.simulate import shapes
from estimator.simulate.kept import Kept
from estimator.simulate.plan import Amount, Event, Factors, LinePlan
from estimator.simulate.streams import RANKS, Streams

KEEP_MOST = 200_000
"""Beyond so many trials only totals are kept."""
_GROUP = 6
_DRAWN = Kept()
_NUMBERS = itertools.count()
WHATS = ("hours", "parts", "materials", "find_hours", "find_other", "find_days")
"""What a line draws amounts of."""


def processors() -> int:
    """How many processors this process may use, up to four: beyond, memory is what holds it up.

    Examples
    --------
    >>> 1 <= processors() <= 4
    True
    """
    try:
        free = len(os.sched_getaffinity(0))
    except AttributeError:
        # Not every system tells which of them.
        free = os.cpu_count() or 1
    return min(free, 4)


@functools.lru_cache(maxsize=1024)
def _number_of(*what) -> int:
    # One number for one thing, so that it is not compared piece by piece for every line.
    return next(_NUMBERS)


class Drawn(NamedTuple):
    """What one survey line drew: shape (trials,) each, float32, None for nothing at all.

    `hours` and `find_hours` are before allowances; `pattern` says which of the line's events
    happened in a trial, as bits in their order. What is kept is read-only.
    """

    hours: np.ndarray | None = None
    parts: np.ndarray | None = None
    materials: np.ndarray | None = None
    find_hours: np.ndarray | None = None
    find_other: np.ndarray | None = None
    find_days: np.ndarray | None = None
    pattern: np.ndarray | None = None
    numbers: tuple[int, ...] = (0,) * len(WHATS)

    def of(self, what: int) -> tuple[np.ndarray, int] | None:
        """One of `WHATS` by its place, and a number that tells these draws from all others."""
        row = self[what]
        return None if row is None else (row, self.numbers[what])


class Player:
    """Draws amounts from a set of streams."""

    def __init__(self, streams: Streams, factors: Factors):
        self.streams, self.factors = streams, factors
        self._offsets: dict[object, np.ndarray | np.float32] = {}
        self._scores: dict[str, np.ndarray] = {}
        self._lock = threading.RLock()
        self._own = threading.local()
        keeps = streams.key is not None and streams.trials <= KEEP_MOST
        self._key = _number_of(streams.key, factors) if keeps else None

    def line(self, plan: LinePlan) -> Drawn:
        """What a line draws; each kind of amount is kept for the next time."""
        return self._line(plan, self._keep)

    def known(self, plan: LinePlan) -> Drawn | None:
        """What a line draws if all of it is kept already."""
        def look(how: Callable, what: tuple) -> tuple:
            found = _DRAWN.look((self._key, how.__name__, what)) if what else (how(what), 0)
            if found is None:
                raise KeyError
            return found

        try:
            return self._line(plan, look)
        except KeyError:
            return None

    def kept(self, how: Callable[[Iterable[Amount]], np.ndarray | None],
             amounts: tuple[Amount, ...]) -> np.ndarray | None:
        """What `total` or `most` gives for amounts of the whole job, kept as those of lines are."""
        return self._keep(how, amounts)[0]

    def _keep(self, how: Callable, what: tuple) -> tuple:
        """What `how` gives for amounts or events, and a number for it."""
        if self._key is None or not what:
            return how(what), 0

        def make():
            found = how(what)
            rows = [row for row in (found if isinstance(found, tuple) else [found])
                    if row is not None]
            for row in rows:
                # Handed out again and again: nobody may write into it.
                row.flags.writeable = False
            return (found, next(_NUMBERS)), sum(row.nbytes for row in rows)
        return _DRAWN.get((self._key, how.__name__, what), make)

    def total(self, amounts: Iterable[Amount]) -> np.ndarray | None:
        """Sum of amounts; None for no amounts."""
        found = None
        for amount in amounts:
            values = self.amount(amount)
            found = values if found is None else np.add(found, values, out=found)
        return found

    def most(self, amounts: Iterable[Amount]) -> np.ndarray | None:
        """The largest of amounts in each trial; None for no amounts."""
        found = None
        for amount in amounts:
            values = self.amount(amount)
            found = values if found is None else np.maximum(found, values, out=found)
        return found

    def summed(self, drawn: Sequence[Drawn | None], what: str, out: np.ndarray | None = None
               ) -> np.ndarray:
        """Sum over lines of one kind of amount, shape (trials,), float64.

        Lines are added up in groups, and those in groups again, whose sums are kept: a line that
        changed costs the sums it is in. The order never changes, so the sum does not either.
        """
        total = np.empty(self.streams.trials) if out is None else out
        place = WHATS.index(what)
        rows = [None if line is None else line.of(place) for line in drawn]
        size = _GROUP
        while size * _GROUP < len(rows):
            size *= _GROUP
        # The sum of all is kept too: most kinds of amount are as they were.
        whole = self._group(rows, place, size)
        total[:] = 0 if whole is None else whole
        return total

    @property
    def _keeps_sums(self) -> bool:
        # With few trials adding up is quicker than looking up.
        return self._key is not None and self.streams.trials >= 50_000

    def _group(self, rows: Sequence[tuple[np.ndarray, int] | None], what: int, size: int
               ) -> np.ndarray | None:
        """Sum of groups of so many lines; float32, None for nothing."""
        some = [row for row in rows if row is not None]
        if len(some) < 2:
            return some[0][0] if some else None

        def make():
            parts = [row[0] for row in some] if size == 1 else [
                part for start in range(0, len(rows), size)
                if (part := self._group(rows[start:start + size], what, size // _GROUP))
                is not None]
            found = parts[0].copy() if len(parts) == 1 else parts[0] + parts[1]
            for part in parts[2:]:
                np.add(found, part, out=found)
            return found, found.nbytes

        if not self._keeps_sums:
            return make()[0]
        return _DRAWN.get((what, *(number for _, number in some)), make)

    # One amount, one event -----------------------------------------------------------------

    @property
    def _room(self) -> shapes.Buffers:
        if not hasattr(self._own, "room"):
            self._own.room = shapes.Buffers(self.streams.trials)
        return self._own.room

    def amount(self, amount: Amount, at: np.ndarray | None = None) -> np.ndarray:
        """Values of one amount, a new float32 array, shape (trials,); or only in trials `at`."""
        table = shapes.table(amount.shape, amount.low, amount.typical, amount.high, amount.evened)
        if amount.low >= amount.high:
            values = table[:1].repeat(self.streams.trials if at is None else len(at))
        else:
            values = table.take(self._cells(amount.stream, amount.factors, at), mode="wrap")
        if amount.pieces is not None:
            values *= self.count(amount, at)
        return values

    def count(self, amount: Amount, at: np.ndarray | None = None) -> np.ndarray:
        """On how many pieces an amount falls, over how many are expected; float32."""
        broken = shapes.breakage(amount.pieces, amount.share)
        found = broken.take(self._ranks(amount.piece_stream, at), mode="wrap")
        return found * np.float32(1 / (amount.pieces * amount.share))

    def _ranks(self, stream: str, at: np.ndarray | None) -> np.ndarray:
        ranks = self.streams.ranks(stream)
        return ranks if at is None else ranks.take(at)

    def _cells(self, stream: str, factors: tuple[str, str] | None, at: np.ndarray | None
               ) -> np.ndarray:
        offset = self.offset(factors)
        if at is not None and isinstance(offset, np.ndarray) and offset.ndim:
            offset = offset.take(at)
        return shapes.cells(self._ranks(stream, at), self.factors.own(factors), offset, self._room)

    def offset(self, factors: tuple[str, str] | None) -> np.ndarray | np.float32 | None:
        """The shared part of the score, as cells; None where nothing is shared."""
        if factors is None:
            return None
        with self._lock:
            if factors not in self._offsets:
                self._offsets[factors] = self._keep(self._made_offset, factors)[0]
            return self._offsets[factors]

    def _made_offset(self, factors: tuple[str, str]) -> np.ndarray:
        shared = shapes.within_reach(self.shared_score(*factors), self.factors.own(factors))
        return np.asarray(shapes.offsets(shared))

    def shared_score(self, hand: str, kind: str) -> np.ndarray | float:
        """What the job, a hand and a kind of work share, as a part of the score."""
        return sum(self.shared_parts(hand, kind).values(), 0.0)

    def shared_parts(self, hand: str, kind: str) -> dict[str, np.ndarray]:
        """The same by what it comes from: "job", "hand", "kind"; without those of no share."""
        factors, found = self.factors, {}
        if factors.job:
            found["job"] = np.float32(factors.job**0.5) * self.score("job")
        if factors.hand and hand:
            found["hand"] = np.float32(factors.hand**0.5) * self.score(f"hand {hand}")
        if factors.kind and kind:
            found["kind"] = np.float32(factors.kind**0.5) * self._kind_score(kind)
        return found

    def _kind_score(self, kind: str) -> np.ndarray:
        known = self.factors.kinds
        if kind not in known:
            return self.score(f"kind {kind}")
        row = self.factors.root[known.index(kind)]
        return sum(np.float32(load) * self.score(f"kind {other}")
                   for load, other in zip(row, known, strict=True) if abs(load) > 1e-12)

    def score(self, stream: str) -> np.ndarray:
        """Standard normal scores of a stream that quantities share; float32."""
        with self._lock:
            if stream not in self._scores:
                self._scores[stream] = shapes.scores(self.streams.ranks(stream))
            return self._scores[stream]

    def happens(self, event: Event) -> np.ndarray:
        """In which trials an event happens, shape (trials,), bool."""
        ranks = self.streams.ranks(event.stream)
        if not (event.cause and self.factors.cause):
            return ranks < round(event.chance * RANKS)
        return self.hit(event, shapes.scores(ranks))

    def hit(self, event: Event, scores: np.ndarray) -> np.ndarray:
        """In which trials an event happens whose own scores are these."""
        tied = self.factors.cause if event.cause else 0.0
        if tied:
            scores = np.float32((1 - tied) ** 0.5) * scores
            scores += np.float32(tied**0.5) * self.score(f"cause {event.cause}")
        return scores < shapes.score_below(event.chance)

    def _line(self, plan: LinePlan, keep: Callable | None = None) -> Drawn:
        keep = keep or (lambda how, what: (how(what), 0))
        (hours, parts, materials, finds), numbers = zip(
            keep(self.total, plan.hours), keep(self.total, plan.parts),
            keep(self.total, plan.materials), keep(self._finds, plan.events), strict=True)
        return Drawn(hours, parts, materials, *finds, (*numbers, numbers[-1], numbers[-1]))

    def _finds(self, events: tuple[Event, ...]) -> tuple[np.ndarray | None, ...]:
        """Hours, other cost, days and pattern of a line's events."""
        if not events:
            return None, None, None, None
        trials = self.streams.trials
        hours, other = np.zeros(trials, np.float32), np.zeros(trials, np.float32)
        days = np.zeros(trials, np.float32) if any(event.days for event in events) else None
        pattern = np.zeros(trials, np.uint16 if len(events) < 16 else np.uint32)
        for bit, event in enumerate(events):
            hit = np.flatnonzero(self.happens(event))
            for total, amount in ((hours, event.hours), (other, event.other)):
                if amount.high > 0:
                    total[hit] += self.amount(amount, hit)
            if event.days:
                days[hit] += np.float32(event.days)
            pattern[hit] |= pattern.dtype.type(1 << min(bit, 31))
        return hours, other, days, pattern


def play_lines(player: Player, plans: Sequence[LinePlan | None], *, workers: int | None = None,
               progress: Callable[[float], bool | None] | None = None,
               each: Callable[[int, Drawn], None] | None = None) -> list[Drawn | None]:
    """Draw every line; the figures are the same for any number of workers.

    Parameters
    ----------
    workers
        Threads; None takes one for each processor where the work is worth it.
    progress
        Told the share that is done, from 0 to 1; if it answers False the work stops.
    each
        Given each line's place and draws in order, which are then not returned; for runs that are
        too long to keep.

    Raises
    ------
    Stopped
        If `progress` answered False.
    """
    at = [place for place, plan in enumerate(plans) if plan is not None]
    found: list[Drawn | None] = [None] * len(plans)
    if each is None:
        found = [None if plan is None else player.known(plan) for plan in plans]
        at = [place for place in at if found[place] is None]
    if workers is None:
        much = player.streams.trials * len(at) > 1_000_000
        workers = processors() if much else 1
    make = player.line if each is None else player._line

    def take(done: int, place: int, drawn: Drawn) -> None:
        if each is None:
            found[place] = drawn
        else:
            each(place, drawn)
        if progress is not None and progress(done / len(at)) is False:
            raise Stopped("The simulation was stopped; the figures before it still stand.")

    if workers <= 1:
        for done, place in enumerate(at, 1):
            take(done, place, make(plans[place]))
        return found
    with ThreadPoolExecutor(workers) as pool:
        # A few ahead of what was taken, so that not everything is held at once.
        waiting: list = []
        upcoming = iter(at)
        for place in upcoming:
            waiting.append((place, pool.submit(make, plans[place])))
            if len(waiting) > 2 * workers:
                break
        done = 0
        while waiting:
            place, future = waiting.pop(0)
            done += 1
            try:
                take(done, place, future.result())
            except BaseException:
                for _, other in waiting:
                    other.cancel()
                raise
            following = next(upcoming, None)
            if following is not None:
                waiting.append((following, pool.submit(make, plans[following])))
    return found


__all__ = ["Stopped"]
