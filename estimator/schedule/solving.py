"""The best plan by constraint programming (CP-SAT of OR-Tools), begun from one drawn at once.

Work is placed on the shop's open time, in whole minutes, so that nights and closed days need no
saying; waits by the clock become waits on open time by a stepped line, and so do the hours of a
person who is not always in.
"""

from __future__ import annotations

import bisect
import contextlib
import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence

from estimator.schedule.hours import Hours
from estimator.schedule.listing import Outline, draft_of
from estimator.schedule.playing import Course
from estimator.schedule.records import Bench, Draft, Proof

_ASKED = 0.2
"""How often it is asked whether to go on. [s]"""
_COUNT, _PATIENCE = 0.1, 4.0
"""With one worker the search is cut by its own count of work, of which there is about so much in
a second, so that it ends the same on any machine; the clock stops it only after so many times the
seconds asked for."""


def solved(bench: Bench, draft: Draft, *, seconds: float = 10.0, seed: int = 1, workers: int = 1,
           former: Sequence[float | None] | None = None, move_minutes: int = 15,
           day_of: Callable[[float], int] | None = None,
           progress: Callable[[float, float], bool | None] | None = None
           ) -> tuple[Draft, Proof]:
    """The best plan that is found, and how good it is known to be.

    Least weighted lateness first, then the earliest end; among equals, for several jobs, the
    earliest weighted sum of their ends.

    Parameters
    ----------
    draft
        A plan to begin from; the answer is never worse.
    seconds
        For the search. With one worker the same seed gives the same plan.
    workers
        Threads.
    former
        When each activity began in the plan so far, by the clock; None for those that did not.
        Beginning on another day counts like ending `move_minutes` later.
    day_of
        The day of a moment of the clock, for moves.
    progress
        Told the end of the best plan and of the best that may be, in open minutes; if it answers
        False the search stops, and the best so far stands.
    """
    from ortools.sat.python import cp_model

    began = time.perf_counter()
    if not bench.activities:
        return draft, Proof(True, 0.0, 0.0)
    form = _Form(cp_model, bench, draft, former, move_minutes)
    solver = cp_model.CpSolver()
    _limit(solver, seconds if len(bench.jobs) == 1 else 0.7 * seconds, seed, workers)
    watch = _watch(cp_model, form, progress)
    with _heeded(solver, watch):
        status = solver.solve(form.model, watch) if watch else solver.solve(form.model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return draft, Proof(False, 1.0, time.perf_counter() - began)
    best, bound = solver.objective_value, solver.best_objective_bound
    proven = status == cp_model.OPTIMAL
    gap, of = (0.0, "end") if proven else form.gap(solver, best, bound)
    found = form.draft(solver)
    if len(bench.jobs) > 1 and (watch is None or not watch.stopped):
        form.settle(solver, round(best))
        _limit(solver, max(0.3 * seconds, 0.1), seed, workers)
        with _heeded(solver, watch):
            settled = solver.solve(form.model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        if settled:
            found = form.draft(solver)
    return found, Proof(proven, gap, time.perf_counter() - began, of,
                        form.moves(found, day_of))


def _limit(solver, seconds: float, seed: int, workers: int) -> None:
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    if workers == 1:
        solver.parameters.max_deterministic_time = _COUNT * seconds
        solver.parameters.max_time_in_seconds = _PATIENCE * seconds
    else:
        solver.parameters.max_time_in_seconds = seconds


def _watch(cp_model, form: _Form, progress):
    if progress is None:
        return None

    class Watch(cp_model.CpSolverSolutionCallback):
        """Tells of every better plan."""

        stopped = False
        # Before a plan is found, the one that was given is the best; the bound is not known yet.
        last = max(round(end) for _, end in form.hint), 0.0

        asking = threading.Lock()

        def goes_on(self) -> bool:
            """Asked from two threads, but once at a time, and never after a no."""
            with self.asking:
                self.stopped = self.stopped or progress(*self.last) is False
            return not self.stopped

        def on_solution_callback(self) -> None:
            end = self.value(form.end)
            self.last = end, min(end, self.best_objective_bound)
            if not self.goes_on():
                self.stop_search()

    return Watch()


@contextlib.contextmanager
def _heeded(solver, watch) -> Iterator[None]:
    """Ask now and then whether to go on, also while no better plan is found."""
    if watch is None:
        yield
        return
    over = threading.Event()

    def ask() -> None:
        while not over.wait(_ASKED):
            if not watch.goes_on():
                solver.stop_search()

    asking = threading.Thread(target=ask, daemon=True)
    asking.start()
    try:
        yield
    finally:
        over.set()
        asking.join()


class _Form:
    """The model: its variables, and the way back from them to a plan."""

    def __init__(self, cp_model, bench: Bench, draft: Draft, former, move_minutes: int):
        self.bench, self.cp = bench, cp_model
        self.model = cp_model.CpModel()
        outline = Outline(bench)
        self.shop, self.order = outline.shop, outline.order
        self.hint = self._open(draft)
        # Room for the plan given, and for what rounding adds.
        self.most = math.ceil(max(end for _, end in self.hint)) + 1
        self._literals: dict[tuple[int, int], object] = {}
        self._hinted: dict[int, int] = {}
        self.own: dict[tuple[int, int | None], object] = {}
        self.starts, self.ends, self.hands = [], [], []
        for start, end in self.hint:
            self.starts.append(self._number(self.most, round(start)))
            self.ends.append(self._number(self.most, round(end)))
        for at, act in enumerate(bench.activities):
            self._activity(at, act, draft)
        self._people(draft)
        self._spaces()
        self._aim(former, move_minutes)

    def _open(self, draft: Draft) -> list[tuple[float, float]]:
        """Starts and ends of the draft in open minutes of the shop."""
        return [(self.shop.opened(start), self.shop.opened(end))
                for start, end in zip(draft.starts, draft.ends, strict=True)]

    def _number(self, most: int, hint: int):
        found = self.model.new_int_var(0, most, "")
        self._hinted[found.index] = hint = min(max(hint, 0), most)
        self.model.add_hint(found, hint)
        return found

    def _choice(self, hint: bool):
        found = self.model.new_bool_var("")
        self.model.add_hint(found, hint)
        return found

    def _activity(self, at: int, act, draft: Draft) -> None:
        model, start, end = self.model, self.starts[at], self.ends[at]
        hands = {}
        if act.release:
            model.add(start >= math.ceil(self.shop.opened(act.release)))
        for before in act.after:
            if act.at_once:
                model.add(start == self.ends[before])
            else:
                model.add(start >= self.ends[before])
        if not act.able and not act.after and not act.spaces:
            # It begins when it can, and that is known.
            gone = self.shop.next_open(act.release)
            model.add(start == math.ceil(self.shop.opened(gone)))
            model.add(end == math.ceil(self.shop.opened(gone + act.minutes)))
        elif not act.able:
            self._waited(start, end, act.minutes)
        elif len(act.able) == 1:
            hands = {act.able[0][0]: None}
        else:
            hands = {person: self._choice(draft.who[at] == person) for person, _ in act.able}
            model.add_exactly_one(hands.values())
        self.hands.append(hands)

    def _literal(self, variable, least: int):
        """Whether a variable is at least so much."""
        key = variable.index, least
        if key not in self._literals:
            found = self._choice(self._hinted[variable.index] >= least)
            self.model.add(variable >= least).only_enforce_if(found)
            self.model.add(variable < least).only_enforce_if(~found)
            self._literals[key] = found
        return self._literals[key]

    def _waited(self, start, end, minutes: int) -> None:
        """End of a wait by the clock, at the earliest, whenever in open time it begins."""
        pieces = _steps(self.shop, minutes, self.most)
        self.model.add(end >= start)
        for number, (first, slope, offset) in enumerate(pieces):
            held = [self._literal(start, first)] if first > 0 else []
            target = start + offset if slope else offset
            if slope and number + 1 < len(pieces):
                held.append(~self._literal(start, pieces[number + 1][0]))
            line = self.model.add(end >= target)
            if held:
                line.only_enforce_if(held)

    def _people(self, draft: Draft) -> None:
        model, acts = self.model, self.bench.activities
        for person, (_, hours) in enumerate(self.bench.people):
            gaps = _gaps(self.shop, hours, self.most)
            intervals = []
            for at, hands in enumerate(self.hands):
                if person not in hands:
                    continue
                chosen = hands[person]
                minutes = dict(acts[at].able)[person]
                start, end = self.starts[at], self.ends[at]
                whole = acts[at].in_one_go and minutes <= hours.longest
                if gaps:
                    start = self._own_time(at, person, minutes, gaps, chosen, draft)
                elif chosen is None:
                    model.add(end == start + minutes)
                else:
                    model.add(end == start + minutes).only_enforce_if(chosen)
                if whole:
                    held = model.add_linear_expression_in_domain(
                        start, self._in_one_span(hours, minutes))
                    if chosen is not None:
                        held.only_enforce_if(chosen)
                if chosen is None:
                    intervals.append(model.new_interval_var(start, minutes, start + minutes, ""))
                else:
                    intervals.append(model.new_optional_interval_var(
                        start, minutes, start + minutes, chosen, ""))
            model.add_no_overlap(intervals)

    def _in_one_span(self, hours: Hours, minutes: int):
        """Starts, in a person's open minutes, from which so much work ends on the same day."""
        return self.cp.Domain.from_intervals(
            [before, before + end - start - minutes]
            for (start, end), before in zip(hours.spans, hours.before, strict=True)
            if end - start >= minutes)

    def _own_time(self, at: int, person: int, minutes: int, gaps, chosen, draft: Draft):
        """Start on a person's own open time; start and end of the activity are tied to it."""
        model, hours = self.model, self.bench.people[person][1]
        total = math.floor(hours.opened(self.shop.clock(min(self.most, self.shop.total))))
        hint = round(hours.opened(draft.starts[at]))
        own = self._number(max(total, minutes), hint)
        done = self._number(max(total, minutes) + minutes, hint + minutes)
        model.add(done == own + minutes)
        also = [] if chosen is None else [chosen]
        for number, (first, shift) in enumerate(gaps):
            # The start is no later than the person's own moment, the end no earlier.
            before = model.add(self.starts[at] <= own + shift)
            if number + 1 < len(gaps):
                before.only_enforce_if([*also, ~self._literal(own, gaps[number + 1][0])])
            elif also:
                before.only_enforce_if(also)
            after = model.add(self.ends[at] >= done + shift)
            held = [self._literal(done, first + 1)] if first > 0 else []
            if held or also:
                after.only_enforce_if([*also, *held])
        self.own[at, person] = own
        return own

    def _spaces(self) -> None:
        model = self.model
        for space, (_, count) in enumerate(self.bench.spaces):
            intervals, demands = [], []
            for at, act in enumerate(self.bench.activities):
                many = dict(act.spaces).get(space)
                if many:
                    size = self._number(self.most, round(self.hint[at][1])
                                        - round(self.hint[at][0]))
                    intervals.append(model.new_interval_var(
                        self.starts[at], size, self.ends[at], ""))
                    demands.append(many)
            if intervals:
                model.add_cumulative(intervals, demands, count)

    def _aim(self, former, move_minutes: int) -> None:
        model, bench = self.model, self.bench
        self.finishes, late, last = [], [], [0] * len(bench.jobs)
        for at, act in enumerate(bench.activities):
            if act.counts:
                last[act.job] = max(last[act.job], round(self.hint[at][1]))
        self.end = self._number(self.most, max(last))
        for place, job in enumerate(bench.jobs):
            finish = self._number(self.most, last[place])
            for at, act in enumerate(bench.activities):
                if act.job == place and act.counts:
                    model.add(finish >= self.ends[at])
            model.add(self.end >= finish)
            self.finishes.append(finish)
            if job.due is not None:
                due = math.floor(self.shop.opened(job.due))
                over = self._number(self.most, last[place] - due)
                model.add(over >= finish - due)
                late.append(job.weight * over)
        moved = []
        for at, when in enumerate(former or ()):
            if when is None or not bench.activities[at].able:
                continue
            low, high = _day_span(self.shop, when)
            stays = self._choice(low <= round(self.hint[at][0]) <= high)
            model.add(self.starts[at] >= low).only_enforce_if(stays)
            model.add(self.starts[at] <= high).only_enforce_if(stays)
            moved.append(1 - stays)
        self.former = former
        # One minute late outweighs any end.
        self.late = sum(late)
        self.worth = (self.most + 1) * self.late + self.end + move_minutes * sum(moved)
        model.minimize(self.worth)

    def gap(self, solver, best: float, bound: float) -> tuple[float, str]:
        """How much could be saved at most, and of what."""
        late = solver.value(self.late)
        least = max(0, math.floor(bound / (self.most + 1)))
        if late > least:
            return (late - least) / late, "lateness"
        return max(0.0, best - bound) / max(solver.value(self.end), 1), "end"

    def settle(self, solver, best: int) -> None:
        """From now on: no worse than this, and all jobs as early as they can be."""
        self.model.clear_hints()
        for variable in (*self.starts, *self.ends, *self.finishes, self.end):
            self.model.add_hint(variable, solver.value(variable))
        for hands in self.hands:
            for literal in hands.values():
                if literal is not None:
                    self.model.add_hint(literal, bool(solver.value(literal)))
        self.model.add(self.worth <= best)
        self.model.minimize(sum(job.weight * finish for job, finish in
                                zip(self.bench.jobs, self.finishes, strict=True)))

    def draft(self, solver) -> Draft:
        """The plan found, by the clock: its hands and its order of work, begun as early as can be.
        """
        acts = self.bench.activities
        who: list[int | None] = []
        starts, ends, hours = [], [], []
        for at, act in enumerate(acts):
            chosen = None
            for person, literal in self.hands[at].items():
                if literal is None or solver.value(literal):
                    chosen = person
            who.append(chosen)
            start, end = solver.value(self.starts[at]), solver.value(self.ends[at])
            if (at, chosen) in self.own:
                own = self.bench.people[chosen][1]
                begun = solver.value(self.own[at, chosen])
                start = self.shop.opened(own.next_open(own.clock(begun)))
            starts.append(start)
            ends.append(end)
            hours.append((act.minutes if chosen is None else dict(act.able)[chosen]) / 60)
        order = Draft(tuple(starts), tuple(ends), tuple(who), 0.0, 0.0, ())
        course = Course(self.bench, order, kind=float)
        begun, done, _ = course.play(hours, 1)
        begun = course.begins(begun, done, hours)
        return draft_of(
            self.bench,
            [round(60 * float(course.by_clock(at, begun[at], morning=True)[0]))
             for at in range(len(acts))],
            [round(60 * float(course.by_clock(at, done[at])[0])) for at in range(len(acts))],
            who, "constraint programming")

    def moves(self, draft: Draft, day_of) -> int:
        """How many activities begin on another day than before."""
        if self.former is None or day_of is None:
            return 0
        return sum(day_of(start) != day_of(when)
                   for act, start, when in zip(self.bench.activities, draft.starts, self.former,
                                               strict=True)
                   if when is not None and act.able)


def _steps(shop: Hours, minutes: int, most: int) -> list[tuple[int, int, int]]:
    """When a wait by the clock is over, in open minutes, by when it begins.

    Pieces (from which start on, slope, offset): the end is the offset, plus the start with slope 1.
    """
    found: list[tuple[int, int, int]] = []

    def add(first: int, slope: int, offset: int) -> None:
        if not found or found[-1][1:] != (slope, offset):
            found.append((first, slope, offset))

    for (start, end), before in zip(shop.spans, shop.before, strict=True):
        if before > most:
            break
        # Starts in this span lie after its first moment, which belongs to the evening before.
        low, high = start + minutes, end + minutes
        at = max(bisect.bisect_right(shop.starts, low) - 1, 0)
        first = before + 1 if before else 0
        now = low
        while now < high:
            span_start, span_end = shop.spans[at]
            begin = first if now == low else before + now - low + 1
            if now < span_start:
                add(begin, 0, shop.before[at])
                now = min(span_start, high)
            elif now < span_end:
                add(begin, 1, round(shop.opened(now)) - (before + now - low))
                now = min(span_end, high)
            else:
                nxt = shop.spans[at + 1][0] if at + 1 < len(shop.spans) else high
                add(begin, 0, shop.before[at] + span_end - span_start)
                now = min(nxt, high)
                at = min(at + 1, len(shop.spans) - 1)
    return found


def _gaps(shop: Hours, own: Hours, most: int) -> list[tuple[int, int]]:
    """How far the shop's open time is ahead of a person's: (from which own minute on, by so much).

    None if it never is.
    """
    found = []
    for (start, _), before in zip(own.spans, own.before, strict=True):
        shift = round(shop.opened(start)) - before
        if before > most:
            break
        if not found or found[-1][1] != shift:
            found.append((before, shift))
    return [] if found == [(0, 0)] else found


def _day_span(shop: Hours, when: float) -> tuple[int, int]:
    """First and last start, in open minutes, on the day of a moment."""
    at = max(bisect.bisect_right(shop.starts, when) - 1, 0)
    start, end = shop.spans[at]
    return shop.before[at], shop.before[at] + end - start - 1
