"""How long it takes to pick the lines that are worth most in a budget, and to prove it.

Run it with `python tests/benchmarks/picking_speed.py [jobs]`; 50 jobs take some minutes. Seconds
drift with the machine; the ratios are against pricing every set, and against an integer programme
that knows only mean costs, by a general-purpose solver.
"""

from __future__ import annotations

import itertools
import statistics
import sys
import time
from dataclasses import dataclass, replace

import numpy as np

from estimator.picking import Limit, Picked, Shared, Trials, pick

TRIALS = 10_000
CONFIDENCE = 0.8


@dataclass(frozen=True)
class Job:
    """Random lines with what they cost in every trial, lots, set-ups, and what they are worth."""

    worth: np.ndarray
    limit: Limit


def job(
    seed: int, lines: int, budget: float, worth: str = "apart", *, dearer: float = 0.0,
    asked: bool = True,
) -> Job:
    """A job whose budget lies at this share of the way from no line to all of them.

    Costs share a factor of the job and one of their kind of work, are uncertain by themselves, and
    some lines may hold a find. Three lots have a minimum, eight set-ups are shared. `worth` says
    whether it goes its own way (apart), is a few points, or is just the mean cost. `dearer` is how
    much more lots and set-ups really cost than is told of them, and `asked` whether the search may
    ask for real costs.
    """
    rng = np.random.default_rng(seed)
    typical = np.exp(rng.normal(np.log(120), 0.8, lines))
    low, high = typical * rng.uniform(0.6, 0.85, lines), typical * rng.uniform(1.2, 1.8, lines)
    job_factor = np.exp(rng.normal(0, 0.12, TRIALS))
    kinds = np.exp(rng.normal(0, 0.08, (5, TRIALS)))
    costs = np.empty((lines, TRIALS), np.float32)
    for line in range(lines):
        before = 1 + 4 * (typical[line] - low[line]) / (high[line] - low[line])
        own = low[line] + (high[line] - low[line]) * rng.beta(before, 6 - before, TRIALS)
        costs[line] = own * job_factor * kinds[rng.integers(5)]
        if rng.random() < 0.4:
            found = rng.random(TRIALS) < rng.uniform(0.05, 0.35)
            costs[line] += found * typical[line] * rng.uniform(0.3, 1.2)
    base = np.exp(rng.normal(np.log(800), 0.1, TRIALS))
    lots = [
        Shared(rng.uniform(10, 40), [int(line) for line in rng.choice(lines, 6, replace=False)],
               rng.uniform(80, 200), list(rng.uniform(10, 60, 6)))
        for _ in range(3)
    ]
    setups = [
        Shared(rng.uniform(10, 60),
               [int(line) for line in rng.choice(lines, rng.integers(2, 6), replace=False)])
        for _ in range(8)
    ]
    shared = lots + setups
    place = int(np.ceil(CONFIDENCE * TRIALS)) - 1

    def costs_of(kept: frozenset[int]) -> np.ndarray:
        inside = np.zeros(lines, np.float32)
        inside[list(kept)] = 1
        return base + inside @ costs + (1 + dearer) * sum(one.charge(kept) for one in shared)

    def price(kept: frozenset[int]) -> float:
        return float(np.partition(costs_of(kept), place)[place])

    mean = costs.mean(axis=1, dtype=float)
    values = {"apart": np.round(typical * np.exp(rng.normal(0, 0.5, lines))),
              "points": rng.integers(1, 6, lines), "cost": np.round(mean)}
    none, every = price(frozenset()), price(frozenset(range(lines)))
    return Job(values[worth], Limit(
        none + budget * (every - none), price, mean, float(base.mean()), shared,
        Trials(base, costs, CONFIDENCE, costs_of if asked else None)))


def timed(work) -> tuple[float, object]:
    """Seconds, and the result."""
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def every_set(task: Job) -> float:
    """The best worth, by pricing every set."""
    lines = range(len(task.worth))
    best = 0.0
    for size in range(len(task.worth) + 1):
        for chosen in itertools.combinations(lines, size):
            kept = frozenset(chosen)
            if task.limit.price_of(kept) <= task.limit.most:
                best = max(best, float(sum(task.worth[line] for line in chosen)))
    return best


def by_the_mean(task: Job) -> frozenset[int]:
    """The set an integer programme picks if costs were sure to be their mean."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    lines, shared = len(task.worth), task.limit.shared
    # A lot is its minimum or its straight line, whichever is more.
    size = lines + 2 * len(shared)
    cost = np.concatenate([task.limit.mean, np.ones(len(shared)), np.zeros(len(shared))])
    rows, most = [cost], [task.limit.most - task.limit.fixed]
    for number, charge in enumerate(shared):
        paid, inside = lines + number, lines + len(shared) + number
        least = np.zeros(size)
        least[[paid, inside]] = -1, charge.least
        straight = np.zeros(size)
        straight[[paid, inside]] = -1, charge.amount
        for line, part in charge.each():
            straight[line] = part
            row = np.zeros(size)
            row[[line, inside]] = 1, -1
            rows.append(row)
        rows += [least, straight]
    upper = np.ones(size)
    upper[lines:lines + len(shared)] = np.inf
    whole = np.ones(size)
    whole[lines:lines + len(shared)] = 0
    solved = milp(
        -np.concatenate([task.worth, np.zeros(2 * len(shared))]), integrality=whole,
        bounds=Bounds(0, upper), options={"mip_rel_gap": 0},
        constraints=LinearConstraint(np.array(rows), ub=most + [0.0] * (len(rows) - 1)))
    return frozenset(np.flatnonzero(solved.x[:lines] > 0.5).tolist())


def told(label: str, runs: list[tuple[float, Picked]]) -> None:
    """One row of the table."""
    seconds = sorted(taken for taken, _ in runs)
    proven = sum(picked.proven for _, picked in runs)
    gap = max(picked.bound / picked.worth - 1 for _, picked in runs)
    print(f"{label:<34} {statistics.median(seconds):6.2f} {np.quantile(seconds, 0.9):6.2f} "
          f"{seconds[-1]:6.2f} s  proven {proven:3d} of {len(runs)}  widest gap {gap:6.2%}  "
          f"prices asked {statistics.median(picked.priced for _, picked in runs):5.0f}")


def main(jobs: int) -> None:
    """Print the tables."""
    print(f"{'':<34} median    P90   most")
    for lines in (20, 40, 60):
        for budget in (0.25, 0.45, 0.65):
            tasks = [job(seed, lines, budget) for seed in range(jobs)]
            told(f"{lines} lines, {budget:.0%} of the way",
                 [timed(lambda t=task: pick(t.worth, [t.limit])) for task in tasks])
    for worth in ("points", "cost"):
        for lines in (30, 60):
            tasks = [job(seed, lines, 0.45, worth) for seed in range(max(1, jobs // 5))]
            told(f"{lines} lines, worth in {worth}",
                 [timed(lambda t=task: pick(t.worth, [t.limit])) for task in tasks])

    for asked in (False, True):
        tasks = [job(seed, 30, 0.45, dearer=0.4, asked=asked) for seed in range(max(1, jobs // 5))]
        told(f"30 lines, real costs {'asked' if asked else 'not known'}",
             [timed(lambda t=task: pick(t.worth, [t.limit])) for task in tasks])

    ratios = []
    for seed in range(max(1, jobs // 10)):
        task = job(seed, 14, 0.5)
        taken, picked = timed(lambda t=task: pick(t.worth, [t.limit]))
        by_hand, best = timed(lambda t=task: every_set(t))
        assert abs(picked.worth - best) < 1e-6, "fast and wrong is no use"
        ratios.append(by_hand / taken)
    print(f"pricing every set of 14 lines takes {statistics.median(ratios):.0f} times as long")

    ratios, over, lost = [], [], []
    for seed in range(max(1, jobs // 5)):
        task = job(seed, 60, 0.45)
        taken, picked = timed(lambda t=task: pick(t.worth, [t.limit]))
        solver, kept = timed(lambda t=task: by_the_mean(t))
        alone = replace(task.limit, price_of=task.limit.mean_of, trials=None)
        ours, same = timed(lambda t=task, limit=alone: pick(t.worth, [limit]))
        assert same.worth == sum(task.worth[line] for line in kept), "fast and wrong is no use"
        ratios.append((taken / solver, ours / solver))
        over.append(task.limit.price_of(kept) / task.limit.most - 1)
        lost.append(same.worth / picked.worth - 1)
    print(f"60 lines against an integer programme that knows only the mean: "
          f"{statistics.median(ratio for ratio, _ in ratios):.1f} times as long with the odds, "
          f"{statistics.median(ratio for _, ratio in ratios):.1f} times without; "
          f"by its answer one job in five would pass a price "
          f"{statistics.median(over):.1%} over the budget")
    print(f"what keeping to the budget at the confidence costs in worth: "
          f"{statistics.median(lost):.1%}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
