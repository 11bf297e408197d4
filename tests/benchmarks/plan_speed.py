"""How fast the bench plan is: ratios measured in one run against general-purpose libraries.

Run it with `python tests/benchmarks/plan_speed.py`. Milliseconds drift with the machine and with
what else runs on it, ratios less. What is asserted is that the figures are right: fast and wrong
is no use. Where ESTIMATOR_PSPLIB names a folder of the set's j30 instances, those are solved too.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import networkx
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from test_schedule import J30_OPTIMA, instance

from estimator import schedule
from estimator.catalogue import Era, Level
from estimator.estimate import estimate
from estimator.schedule.hours import DAY, Hours
from estimator.schedule.listing import Outline, by_rule, drawn, rules_of
from estimator.schedule.playing import Course
from estimator.schedule.records import Activity, Bench
from estimator.schedule.solving import solved
from estimator.schedule.tasks import bench_of
from estimator.scope import scope
from estimator.shop import open_shop
from estimator.survey import template

TASKS, TRIALS = 200, 100_000
START = date(2026, 11, 26)


def measured(work: Callable, times: int = 5) -> float:
    """The median of so many runs, after one to warm up. [ms]"""
    taken = []
    for _ in range(times + 1):
        begun = time.perf_counter()
        work()
        taken.append(1e3 * (time.perf_counter() - begun))
    return statistics.median(taken[1:])


def network_of(count: int) -> tuple[Bench, list[np.ndarray]]:
    """A network of one person's work with a wait at every tenth task, and lengths drawn."""
    rng = np.random.default_rng(7)
    week = Hours(tuple((day * DAY + 540, day * DAY + 1020) for day in range(3000) if day % 7 < 5))
    acts = []
    for at in range(count):
        after = tuple(sorted({int(before) for before in rng.integers(max(0, at - 12), at, 3)})) \
            if at else ()
        acts.append(Activity(str(at), "wait", minutes=60, after=after) if at % 10 == 9
                    else Activity(str(at), able=((at % 2, 60),), after=after))
    lengths = [rng.gamma(4, 0.4, TRIALS).astype(np.float32) * np.float32(20 if at % 10 == 9 else 1)
               for at in range(count)]
    return Bench(tuple(acts), (("A", week), ("B", week))), lengths


def plainly(course: Course, lengths: list[np.ndarray], week: Hours) -> np.ndarray:
    """The same in float64 over all trials at once, one node after the other, by np.interp."""
    spans = np.array(week.spans, float) / 60
    opened = np.concatenate([[0], np.cumsum(spans[:, 1] - spans[:, 0])])
    # The clock by open time jumps over nights; open time by the clock stands still in them.
    at_clock = np.stack([opened[:-1] + 1e-9, opened[1:]], 1).ravel()
    clock = spans.ravel()
    finish: list = [None] * len(lengths)
    for at in course.order:
        before = [finish[other] for other in course.before[at]]
        work = course.axis[at] >= 0
        # Everything by the clock, as one would write it.
        start = np.maximum.reduce(before) if before else np.zeros(TRIALS)
        if work:
            start = np.interp(start, clock, at_clock)
            finish[at] = np.interp(start + lengths[at], at_clock, clock)
        else:
            finish[at] = start + lengths[at]
    return np.maximum.reduce(finish)


def without_calendar(course: Course, lengths: list[np.ndarray]) -> np.ndarray:
    """The same without any calendar: only sums and the latest."""
    finish: list = [None] * len(lengths)
    for at in course.order:
        before = [finish[other] for other in course.before[at]]
        start = np.maximum.reduce(before) if before else np.zeros(TRIALS)
        finish[at] = start + lengths[at]
    return np.maximum.reduce(finish)


def dates() -> None:
    """200 tasks × 100,000 trials."""
    bench, lengths = network_of(TASKS)
    week = bench.people[0][1]
    course = Course(bench, drawn(bench, tries=0))
    ends = np.empty(TRIALS, np.float32)

    def ours() -> None:
        for part, (_, finishes, _) in course.blocks(lengths, TRIALS):
            ends[part] = course.ends(finishes)[0]

    doubles = [row.astype(float) for row in lengths]
    taken = measured(ours)
    plain = measured(lambda: plainly(course, doubles, week), 2)
    found = plainly(course, doubles, week)
    # Within ten seconds of closing time it is a matter of taste on which day work ends.
    assert np.quantile(np.abs(ends - found), 0.97) < 0.05
    free = Course(replace(bench, people=()), replace(drawn(bench, tries=0), who=(None,) * TASKS))
    free.before, free.order = course.before, course.order

    def bare() -> None:
        for part, (_, finishes, _) in free.blocks(lengths, TRIALS):
            ends[part] = free.ends(finishes)[0]

    bare_taken = measured(bare)
    bare_plain = measured(lambda: without_calendar(course, doubles), 2)
    assert np.allclose(ends, without_calendar(course, doubles), rtol=1e-4)
    graph = networkx.DiGraph((before, at) for at in course.order for before in course.before[at])

    def by_graph(trial: int) -> float:
        finish: dict = {}
        for at in networkx.topological_sort(graph):
            finish[at] = max((finish[other] for other in graph.predecessors(at)), default=0.0) \
                + float(lengths[at][trial])
        return max(finish.values())

    weighed = networkx.DiGraph()

    def by_longest_path(trial: int) -> float:
        weighed.clear()
        weighed.add_weighted_edges_from((before, at, float(lengths[before][trial]))
                                        for at in course.order for before in course.before[at])
        weighed.add_weighted_edges_from((at, "end", float(lengths[at][trial]))
                                        for at in range(TASKS))
        return networkx.dag_longest_path_length(weighed)

    assert abs(by_longest_path(3) - by_graph(3)) < 1e-3
    assert abs(ends[3] - by_graph(3)) < 0.05
    each = measured(lambda: [by_longest_path(trial) for trial in range(20)], 3) / 20
    print(f"{TASKS} tasks × {TRIALS:,} trials")
    print(f"  with calendars                      {taken:9.1f} ms")
    print(f"  float64 loop with np.interp         {plain:9.1f} ms  {plain / taken:7.1f}×")
    print(f"  without calendars                   {bare_taken:9.1f} ms")
    print(f"  float64 loop without calendars      {bare_plain:9.1f} ms  "
          f"{bare_plain / bare_taken:7.1f}×  (bar 3.5×)")
    print(f"  networkx, a trial                   {each:9.3f} ms  "
          f"{each * TRIALS / bare_taken:7.0f}×  (bar 2,000×)", flush=True)


def jobs_of(*levels: Level) -> list:
    """Machines of several levels."""
    shop = open_shop()
    eras = (Era.DOT_MATRIX, Era.ELECTROMECHANICAL, Era.MODERN)
    return [schedule.OnBench(f"job {n}", estimate(
        scope(template(eras[n], shop.catalogue), level, shop.catalogue), shop),
        due=date(2027, 1 + n % 2, 20)) for n, level in enumerate(levels)]


def plans() -> None:
    """One machine, three machines."""
    shop = open_shop()
    for levels, seconds in (((Level.FULL,), 10), ((Level.FULL, Level.RECONDITIONED,
                                                   Level.SHOP_JOB), 20)):
        jobs = jobs_of(*levels)
        bench = bench_of(jobs, shop, START)
        outline = Outline(bench)
        rule = next(iter(rules_of(outline).values()))
        print(f"{len(levels)} machine(s), {len(bench.activities)} activities")
        print(f"  one rule                            "
              f"{measured(lambda o=outline, r=rule: by_rule(o, r)):9.1f} ms")
        print(f"  all rules, first answer             "
              f"{measured(lambda b=bench: drawn(b, tries=0)):9.1f} ms  (bar 50 ms)")
        begun = time.perf_counter()
        plan = schedule.plan(jobs, shop, start=START, seconds=seconds)
        print(f"  searched: {time.perf_counter() - begun:.1f} s, proven {plan.proof.proven}, gap "
              f"{100 * plan.proof.gap:.1f} % of the {plan.proof.of}", flush=True)


def published() -> None:
    """The set's instances, if they are there."""
    folder = Path(os.environ.get("ESTIMATOR_PSPLIB") or "missing")
    if not folder.is_dir():
        print("ESTIMATOR_PSPLIB names no folder; the published set is left out")
        return
    taken, proven = [], 0
    for group, optima in J30_OPTIMA.items():
        for number, optimum in enumerate(map(int, optima.split()), 1):
            bench = instance(folder / f"j30_{group}_{number}.rcp")
            found, proof = solved(bench, drawn(bench), seconds=10)
            assert found.end == optimum
            proven += proof.proven
            taken.append(proof.seconds)
    print(f"published set: {len(taken)} optima reached, {proven} proven; median "
          f"{1e3 * statistics.median(taken):.0f} ms, longest {max(taken):.2f} s")


if __name__ == "__main__":
    dates()
    plans()
    published()
