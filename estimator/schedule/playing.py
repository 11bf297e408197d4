"""A plan played through: everybody works in the plan's order, and begins as soon as they can.

The same code gives the plan its times, with one trial, and its odds, with many. Each person counts
on open time of their own; paint and parcels count by the clock; one is turned into the other only
where work hands over to somebody or something else. Trials go in blocks that stay in the
processor's memory, one activity at a time.
"""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterator, Sequence

import numpy as np

from estimator.network import in_order, needed
from estimator.schedule.hours import Hours
from estimator.schedule.records import Bench, Draft

BLOCK = 8192
NEAR = 0.003
"""Hours that count as the same moment: ten seconds, above what short numbers round off. [h]"""
_CLOCK = -1


class _Finder:
    """Says for many values between which edges they lie, as `numpy.searchsorted` does.

    A table of even cells, each no wider than two edges are apart, says it at once but for the one
    edge that may lie in a cell. Ten times as fast as searching.
    """

    def __init__(self, edges: np.ndarray, side: str):
        apart = np.diff(edges)
        apart = apart[apart > 0]
        step = min(max(float(apart.min()) if len(apart) else 1.0, 1 / 60), 4.0)
        self._edges = np.append(edges, np.inf).astype(edges.dtype)
        self._per = edges.dtype.type(1 / step)
        cells = np.arange(int(float(edges[-1]) / step) + 3) * step
        self._table = np.searchsorted(edges.astype(float), cells, side=side).astype(np.intp)
        self._beyond = np.less if side == "left" else np.less_equal

    def __call__(self, values: np.ndarray) -> np.ndarray:
        cells = (values * self._per).astype(np.intp)
        np.clip(cells, 0, len(self._table) - 1, out=cells)
        at = self._table.take(cells)
        at += self._beyond(self._edges.take(at), values)
        return at


class Axis:
    """Open time and the clock, in hours, for whole arrays."""

    def __init__(self, hours: Hours, kind=np.float32):
        spans = np.array(hours.spans, float) / 60
        before = np.array(hours.before, float) / 60
        self.ends = (before + spans[:, 1] - spans[:, 0]).astype(kind)
        self.sizes = (spans[:, 1] - spans[:, 0]).astype(kind)
        self.shift = (spans[:, 0] - before).astype(kind)
        self.edges = spans.ravel().astype(kind)
        # Inside a span open time goes on with the clock, outside it stands still.
        base = np.empty(len(spans) * 2 + 1)
        base[0::2] = np.append(before, before[-1] + spans[-1, 1] - spans[-1, 0])
        base[1::2] = before - spans[:, 0]
        self.base = base.astype(kind)
        self.slope = (np.arange(len(base)) % 2).astype(kind)
        self.kind = kind
        self._evening, self._morning = _Finder(self.ends, "left"), _Finder(self.ends, "right")
        self._edge = _Finder(self.edges, "right")

    def clock(self, opened: np.ndarray, out: np.ndarray | None = None, morning: bool = False
              ) -> np.ndarray:
        """The moment at which so much open time is over; with `morning` the next day's if that
        is at the end of a day."""
        near = self.kind(NEAR if morning else -NEAR)
        at = (self._morning if morning else self._evening)(opened + near)
        np.minimum(at, len(self.ends) - 1, out=at)
        return np.add(opened, self.shift.take(at), out=out)

    def opened(self, clock: np.ndarray, out: np.ndarray | None = None) -> np.ndarray:
        """Open time up to a moment."""
        at = self._edge(clock)
        found = np.multiply(clock, self.slope.take(at), out=out)
        found += self.base.take(at)
        return found

    def in_one_go(self, opened: np.ndarray, length) -> np.ndarray:
        """Open time from which on so much work ends on the day it begins; see `Hours.in_one_go`."""
        near, last = self.kind(NEAR), len(self.ends) - 1
        while True:
            at = np.minimum(self._morning(opened + near), last)
            evening = self.ends.take(at)
            parted = ((opened + length > evening + near) & (at < last)
                      & (length <= self.sizes.max() + near))
            if not parted.any():
                return opened
            opened = np.where(parted, evening, opened)

    def ended(self, opened: np.ndarray, length) -> np.ndarray:
        """The last open time up to `opened` at which so much work ends that no night parts."""
        near = self.kind(NEAR)
        while True:
            at = np.minimum(self._evening(opened - near), len(self.ends) - 1)
            morning = self.ends.take(at) - self.sizes.take(at)
            parted = ((opened - length < morning - near) & (at > 0)
                      & (length <= self.sizes.max() + near))
            if not parted.any():
                return opened
            opened = np.where(parted, morning, opened)


class Course:
    """A plan as an order of work for everybody, ready to be played.

    Parameters
    ----------
    bench, draft
        The plan: who does what, and in which order.
    held
        Places of activities after which something may hold up what comes next.
    """

    def __init__(self, bench: Bench, draft: Draft, held: Collection[int] = (), kind=np.float32):
        self.bench, self.draft, self.kind = bench, draft, kind
        self.count = len(bench.activities)
        self.holds = {at: self.count + n for n, at in enumerate(sorted(held))}
        axes: dict[Hours, int] = {}
        self._axes: list[Axis] = []
        for _, hours in bench.people:
            if hours not in axes:
                axes[hours] = len(axes)
                self._axes.append(Axis(hours, kind))
        self._of = [axes[hours] for _, hours in bench.people]
        self.axis = [_CLOCK if who is None else self._of[who] for who in draft.who]
        self.axis += [_CLOCK] * len(self.holds)
        self._any = self._first_open()
        links = self._links()
        nodes = self.count + len(self.holds)
        self.before: list[list[int]] = [[] for _ in range(nodes)]
        for a, b in needed(nodes, links):
            self.before[b].append(a)
        self.order = in_order(nodes, [(a, b) for b, row in enumerate(self.before) for a in row])

    def _first_open(self) -> list[float]:
        """Releases by the clock, in hours; waits begin when somebody is in."""
        found = []
        for act in self.bench.activities:
            when = float(act.release)
            if not act.able and not act.after and self.bench.people:
                when = min(hours.next_open(when) for _, hours in self.bench.people)
            found.append(when / 60)
        return found + [0.0] * len(self.holds)

    def _links(self) -> set[tuple[int, int]]:
        acts, draft = self.bench.activities, self.draft
        links = {(self.holds.get(before, before), at)
                 for at, act in enumerate(acts) for before in act.after}
        links |= set(self.holds.items())
        first = sorted(range(self.count), key=lambda at: (draft.starts[at], draft.ends[at], at))
        # Those that begin at the same moment come as they wait for each other.
        rank = {at: n for n, at in enumerate(in_order(self.count, [
            (before, at) for at, act in enumerate(acts) for before in act.after]))}
        first.sort(key=lambda at: (round(draft.starts[at], 3), round(draft.ends[at], 3), rank[at]))
        last: dict[int, int] = {}
        units: list[list[tuple[float, int | None]]] = [
            [(0.0, None)] * count for _, count in self.bench.spaces]
        for at in first:
            person = draft.who[at]
            if person is not None:
                if person in last:
                    links.add((last[person], at))
                last[person] = at
            for space, many in acts[at].spaces:
                line = units[space]
                # Its own place first, then the one that is free for longest.
                line.sort(key=lambda unit, at=at: (unit[1] not in acts[at].after, unit[0]))
                for n in range(many):
                    if line[n][1] is not None:
                        links.add((line[n][1], at))
                    line[n] = draft.ends[at], at
        return links

    def play(self, durations: Sequence, size: int, buffers: dict | None = None
             ) -> tuple[list, list, dict]:
        """Starts and finishes of each node on its own time, for `size` trials; what was turned.

        Work that no night parts may wait for the next morning: its start is when it could have
        begun, `begins` says when it does.

        Parameters
        ----------
        durations
            By node, hours as a number or an array; of own open time for work, by the clock for
            waits.
        """
        buffers = {} if buffers is None else buffers
        starts: list = [None] * len(self.axis)
        finishes: list = [None] * len(self.axis)
        turned: dict[tuple[int, int], np.ndarray] = {}

        def room(*key) -> np.ndarray:
            if key not in buffers or len(buffers[key]) < size:
                buffers[key] = np.empty(size, self.kind)
            return buffers[key][:size]

        def turn(at: int, axis: int) -> np.ndarray:
            own = self.axis[at]
            if own == axis:
                return finishes[at]
            if (at, axis) not in turned:
                if own == _CLOCK:
                    found = self._axes[axis].opened(finishes[at], room("t", at, axis))
                elif axis == _CLOCK:
                    found = self._axes[own].clock(finishes[at], room("t", at, axis))
                else:
                    found = self._axes[axis].opened(turn(at, _CLOCK), room("t", at, axis))
                turned[at, axis] = found
            return turned[at, axis]

        for at in self.order:
            axis, before = self.axis[at], self.before[at]
            least = self._any[at]
            if axis != _CLOCK and least:
                least = float(self._axes[axis].opened(np.array([least], self.kind))[0])
            if not before:
                start = room("s", at)
                start.fill(least)
            elif len(before) == 1 and not least:
                start = turn(before[0], axis)
            else:
                start = room("s", at)
                first, *others = before
                if others:
                    np.maximum(turn(first, axis), turn(others[0], axis), out=start)
                    for other in others[1:]:
                        np.maximum(start, turn(other, axis), out=start)
                    if least:
                        np.maximum(start, self.kind(least), out=start)
                else:
                    np.maximum(turn(first, axis), self.kind(least), out=start)
            starts[at] = start
            if self._whole(at):
                start = self._axes[axis].in_one_go(start, durations[at])
            finishes[at] = np.add(start, durations[at], out=room("f", at))
        return starts, finishes, turned

    def _whole(self, at: int) -> bool:
        return (at < self.count and self.bench.activities[at].in_one_go
                and self.axis[at] != _CLOCK)

    def begins(self, starts: Sequence[np.ndarray], finishes: Sequence[np.ndarray],
               durations: Sequence) -> list[np.ndarray]:
        """When each node begins, on its own time, by what `play` gives and was given. [h]"""
        return [finishes[at] - durations[at] if self._whole(at) else start
                for at, start in enumerate(starts)]

    def by_clock(self, at: int, value: np.ndarray, morning: bool = False) -> np.ndarray:
        """A start or finish of a node by the clock. [h]"""
        axis = self.axis[at]
        return value if axis == _CLOCK else self._axes[axis].clock(value, morning=morning)

    @functools.cached_property
    def lasts(self) -> list[list[int]]:
        """By job: what it may end with."""
        found: list[list[int]] = [[] for _ in self.bench.jobs]
        followed = {a for b, row in enumerate(self.before) for a in row
                    if b < self.count and self.bench.activities[b].counts
                    and a < self.count and self.bench.activities[b].job
                    == self.bench.activities[a].job}
        for at, act in enumerate(self.bench.activities):
            if act.counts and (at not in followed or at in self.holds):
                found[act.job].append(at)
        return found

    def ends(self, finishes: Sequence[np.ndarray]) -> list[np.ndarray]:
        """When each job is finished, by the clock. [h]"""
        found = []
        for lasts in self.lasts:
            total = None
            for at in lasts:
                node = self.holds.get(at, at)
                value = self.by_clock(node, finishes[node])
                total = value.copy() if total is None else np.maximum(total, value, out=total)
            found.append(np.zeros(1, self.kind) if total is None else total)
        return found

    def critical(self, starts, finishes, turned) -> np.ndarray:
        """In which trials each node holds up the end of its job; shape (nodes, trials), bool."""
        size = max(len(value) for value in finishes)
        found = np.zeros((len(self.axis), size), bool)
        for lasts, end in zip(self.lasts, self.ends(finishes), strict=True):
            for at in lasts:
                node = self.holds.get(at, at)
                found[node] |= self.by_clock(node, finishes[node]) >= end - self.kind(NEAR)
        for at in reversed(self.order):
            if not found[at].any():
                continue
            axis = self.axis[at]
            least = starts[at] - self.kind(NEAR)
            for before in self.before[at]:
                value = finishes[before] if self.axis[before] == axis else turned[before, axis]
                found[before] |= found[at] & (value >= least)
        return found

    def slack(self, durations: Sequence, finishes: Sequence[np.ndarray]) -> list[float]:
        """How far each end can slip, by the clock, before its job ends later; one trial. [h]"""
        ends = self.ends(finishes)
        late = [float("inf")] * len(self.axis)
        for lasts, end in zip(self.lasts, ends, strict=True):
            for at in lasts:
                node = self.holds.get(at, at)
                late[node] = min(late[node], float(end[0]))
        found = [0.0] * len(self.axis)
        for at in reversed(self.order):
            own = float(self.by_clock(at, finishes[at])[0])
            if late[at] == float("inf"):
                late[at] = own
            axis, length = self.axis[at], float(durations[at])
            least = late[at] - length
            if axis != _CLOCK:
                one = self._axes[axis]
                opened = one.opened(np.array([late[at]], self.kind))
                if self._whole(at):
                    opened = one.ended(opened, self.kind(length))
                # Work ends while somebody is in, so at the latest in the evening before.
                late[at] = float(one.clock(opened)[0])
                least = float(one.clock(opened - self.kind(length), morning=True)[0])
            found[at] = max(late[at] - own, 0.0)
            for before in self.before[at]:
                late[before] = min(late[before], least)
        return found

    def blocks(self, durations: Sequence, trials: int) -> Iterator[tuple[slice, tuple]]:
        """The trials block by block: which they are, and what `play` gives for them."""
        buffers: dict = {}
        for first in range(0, trials, BLOCK):
            part = slice(first, min(first + BLOCK, trials))
            given = [row[part] if isinstance(row, np.ndarray) else self.kind(row)
                     for row in durations]
            yield part, self.play(given, part.stop - first, buffers)
