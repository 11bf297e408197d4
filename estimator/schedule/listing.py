"""A plan drawn at once: one activity after the other, by priority; several rules, the best kept.

Time moves forward; whenever somebody is free, the activity with the highest priority begins that
can. Nobody stands idle while there is something to do. After R. Kolisch, "Serial and parallel
resource-constrained project scheduling methods revisited", European Journal of Operational
Research 90 (1996): the parallel scheme, with the priorities latest start, latest finish, most
work following and least slack.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable, Sequence

from estimator.network import in_order
from estimator.schedule.hours import ALWAYS, Hours, union
from estimator.schedule.records import Bench, Draft

MORE_TRIES = 12
"""Further drafts, with the priorities a little shaken."""


class Outline:
    """What every rule needs to know of a bench, reckoned once."""

    def __init__(self, bench: Bench):
        self.bench = bench
        acts = bench.activities
        self.count = len(acts)
        self.shop: Hours = union([hours for _, hours in bench.people]) if bench.people else ALWAYS
        links = [(before, at) for at, act in enumerate(acts) for before in act.after]
        self.order = in_order(self.count, links)
        self.following: list[list[int]] = [[] for _ in acts]
        for before, at in links:
            self.following[before].append(at)
        # An activity that begins the moment another ends holds its spaces together with it.
        self.leads: list[int | None] = [None] * self.count
        for at, act in enumerate(acts):
            if act.at_once and act.after:
                self.leads[act.after[0]] = at
        # Lengths by the clock, roughly: work at the pace of the shop's open share of the day.
        share = self.shop.total / max(self.shop.spans[-1][1] - self.shop.spans[0][0], 1)
        self.lengths = [min(minutes for _, minutes in act.able) / share if act.able
                        else float(act.minutes) for act in acts]
        self.tail = [0.0] * self.count
        self.far: list[int] = [0] * self.count
        for at in reversed(self.order):
            self.tail[at] = self.lengths[at] + max(
                (self.tail[other] for other in self.following[at]), default=0.0)
            bits = 0
            for other in self.following[at]:
                bits |= self.far[other] | 1 << other
            self.far[at] = bits
        self.early = [0.0] * self.count
        for at in self.order:
            self.early[at] = max((self.early[b] + self.lengths[b] for b in acts[at].after),
                                 default=float(acts[at].release))


def rules_of(outline: Outline) -> dict[str, list[float]]:
    """Priorities by name of the rule: the smallest goes first."""
    bench, tail = outline.bench, outline.tail
    acts = bench.activities
    end = max(tail, default=0.0) * 2 + 1
    due = [float(job.due) if job.due is not None else end + sum(tail[:1]) for job in bench.jobs]
    rank = sorted(range(len(bench.jobs)),
                  key=lambda job: (-bench.jobs[job].weight, due[job], job))
    place = {job: at for at, job in enumerate(rank)}
    waits = [0.0] * outline.count
    for at in reversed(outline.order):
        own = 0.0 if acts[at].able else outline.lengths[at]
        waits[at] = own + max((waits[other] for other in outline.following[at]), default=0.0)
    big = max(tail, default=0.0) + 1
    found = {
        "latest start": [due[act.job] - tail[at] for at, act in enumerate(acts)],
        "latest finish": [due[act.job] - tail[at] + outline.lengths[at]
                          for at, act in enumerate(acts)],
        "longest wait to come": [-waits[at] * 1e3 - tail[at] for at in range(outline.count)],
        "most work following": [-float(outline.far[at].bit_count())
                                for at in range(outline.count)],
        "least slack": [due[act.job] - tail[at] - outline.early[at]
                        for at, act in enumerate(acts)],
    }
    if len(bench.jobs) > 1:
        found["job by job"] = [place[act.job] * big - tail[at] for at, act in enumerate(acts)]
    return found


def drawn(bench: Bench, *, seed: int = 1, tries: int = MORE_TRIES,
          first: Sequence[float] | None = None,
          better: Callable[[Draft], tuple] = lambda draft: draft.worth) -> Draft:
    """The best draft of all rules, and of some with their priorities shaken.

    Parameters
    ----------
    seed
        Of the shaking; the same seed gives the same draft.
    first
        Priorities of a plan that is followed as far as it can be; None for none.
    better
        What is compared; the smallest is best.
    """
    outline = Outline(bench)
    rules = rules_of(outline)
    if first is not None:
        rules = {"as it was": list(first)} | rules
    best = min((by_rule(outline, priorities, name) for name, priorities in rules.items()),
               key=better)
    generator = random.Random(seed)
    base = rules[best.rule]
    spread = (max(base, default=0) - min(base, default=0)) * 0.05
    for _ in range(tries if outline.count < 500 else 0):
        shaken = [value + generator.gauss(0, spread) for value in base]
        other = by_rule(outline, shaken, best.rule)
        if better(other) < better(best):
            best = other
    return best


def by_rule(outline: Outline, priorities: Sequence[float], name: str = "") -> Draft:
    """One draft: priorities by activity, the smallest goes first."""
    drawing = _Drawing(outline, priorities)
    drawing.draw()
    return draft_of(outline.bench, drawing.starts, drawing.ends, drawing.who, name)


class _Drawing:
    """The bench as the day goes on: what has begun, who is free, what waits for what."""

    def __init__(self, outline: Outline, priorities: Sequence[float]):
        acts, self.people = outline.bench.activities, outline.bench.people
        self.outline, self.acts, self.priorities = outline, acts, priorities
        self.starts, self.ends = [0.0] * outline.count, [0.0] * outline.count
        self.who: list[int | None] = [None] * outline.count
        self.left = [len(act.after) for act in acts]
        self.free = [float(hours.next_open(0)) for _, hours in self.people]
        self.units = [[0.0] * count for _, count in outline.bench.spaces]
        # Of several who are free and as quick, the one who is asked for least.
        self.asked = [0] * len(self.people)
        for act in acts:
            for person, _ in act.able:
                self.asked[person] += 1
        self.coming: list[tuple[float, int]] = []  # what waits for a moment
        self.queue: list[tuple[float, int]] = []  # what waits for somebody to be free
        self.moments = [0.0, *self.free]
        heapq.heapify(self.moments)

    def draw(self) -> None:
        """Go from moment to moment until nothing is left to begin."""
        lone = any(act.spaces and not act.able and not act.at_once for act in self.acts)
        for at in range(self.outline.count):
            if not self.left[at]:
                self._ready(at)
        while self.coming or self.queue:
            if not self.moments:
                raise ValueError("an activity needs more of a space than there is")
            now = heapq.heappop(self.moments)
            while self.moments and self.moments[0] <= now:
                heapq.heappop(self.moments)
            self._arrive(now)
            idle = {person for person, (_, hours) in enumerate(self.people)
                    if self.free[person] <= now and hours.next_open(now) == now}
            put_back = []
            while self.queue and (idle or not self.people or lone):
                entry = heapq.heappop(self.queue)
                if not self._begin(entry[1], now, idle):
                    put_back.append(entry)
            for entry in put_back:
                heapq.heappush(self.queue, entry)
            if self.queue:
                for person, (_, hours) in enumerate(self.people):
                    if self.free[person] <= now and (when := hours.next_open(now)) > now:
                        heapq.heappush(self.moments, when)

    def _ready(self, at: int) -> None:
        """All that an activity waits for is known: from when on can it begin?"""
        act = self.acts[at]
        when = max((self.ends[before] for before in act.after), default=0.0)
        when = max(when, float(act.release))
        if not act.after and not act.able:
            # Nothing is ordered and nothing goes out before somebody is in.
            when = float(self.outline.shop.next_open(when))
        heapq.heappush(self.coming, (when, at))
        heapq.heappush(self.moments, when)

    def _arrive(self, now: float) -> None:
        """What waited for this moment begins, or waits for somebody."""
        while self.coming and self.coming[0][0] <= now:
            when, at = heapq.heappop(self.coming)
            if self.acts[at].able or self.acts[at].spaces:
                heapq.heappush(self.queue, (self.priorities[at], at))
            else:
                self._take(at, when, when + self.acts[at].minutes)

    def _begin(self, at: int, now: float, idle: set[int]) -> bool:
        """Let an activity begin, if there are hands and room for it; whether it does."""
        act = self.acts[at]
        hands = self._hands(at, now, idle)
        if (act.able and not hands) or any(
                sum(unit <= now for unit in self.units[space]) < many
                for space, many in act.spaces):
            return False
        end = now + act.minutes
        if hands:
            minutes, _, person = min(hands)
            hours = self.people[person][1]
            end = hours.clock(hours.opened(now) + minutes)
            self.who[at], self.free[person] = person, hours.next_open(end)
            heapq.heappush(self.moments, self.free[person])
            idle.remove(person)
        self._take(at, now, end)
        return True

    def _hands(self, at: int, now: float, idle: set[int]) -> list[tuple[int, int, int]]:
        """Who of those free can do it now: minutes, how much they are asked for, person."""
        act, found = self.acts[at], []
        for person, minutes in act.able:
            if person in idle:
                when = self.people[person][1].in_one_go(now, minutes) if act.in_one_go else now
                if when > now:
                    heapq.heappush(self.moments, when)
                else:
                    found.append((minutes, self.asked[person], person))
        return found

    def _take(self, at: int, when: float, end: float) -> None:
        """Begin and end of an activity stand: what follows may be ready now."""
        acts, left = self.acts, self.left
        self.starts[at], self.ends[at] = when, end
        lead = self.outline.leads[at]
        for space, many in acts[at].spaces:
            together = lead is not None and (space, many) in acts[lead].spaces
            until = end + acts[lead].minutes if together else end
            line = self.units[space]
            line.sort()
            line[:many] = [until] * many
            heapq.heappush(self.moments, until)
        for other in self.outline.following[at]:
            left[other] -= 1
            if left[other]:
                continue
            if other == lead:
                self.starts[other], self.ends[other] = end, end + acts[other].minutes
                for later in self.outline.following[other]:
                    left[later] -= 1
                    if not left[later]:
                        self._ready(later)
            else:
                self._ready(other)


def draft_of(bench: Bench, starts: Sequence[float], ends: Sequence[float],
             who: Sequence[int | None], name: str = "") -> Draft:
    """A draft from its times, with what it is compared by."""
    finishes = [0.0] * len(bench.jobs)
    for act, end in zip(bench.activities, ends, strict=True):
        if act.counts:
            finishes[act.job] = max(finishes[act.job], end)
    late = sum(job.weight * max(0.0, finish - job.due)
               for job, finish in zip(bench.jobs, finishes, strict=True) if job.due is not None)
    return Draft(tuple(starts), tuple(ends), tuple(who), late, max(finishes, default=0.0),
                 tuple(finishes), name)
