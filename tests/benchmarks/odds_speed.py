"""How fast the odds are: ratios measured in one run against general-purpose libraries.

Run it with `python tests/benchmarks/odds_speed.py`. Milliseconds drift with the machine and with
what else runs on it, ratios less; the median and the best of several runs are printed. What is
asserted is that the figures are right: fast and wrong is no use. Libraries that are not
installed are left out, and it says so.
"""

from __future__ import annotations

import importlib.util
import itertools
import statistics
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from estimator import simulate
from estimator.catalogue import WORK_KINDS, Level, data_folder
from estimator.durations import pert_mean
from estimator.estimate import Estimate, estimate
from estimator.scope import scope
from estimator.shop import open_shop
from estimator.simulate import play, shapes
from estimator.simulate.plan import Amount, Factors, LinePlan, plan_of
from estimator.simulate.shares import variance_shares
from estimator.simulate.streams import Streams
from estimator.survey import read

ITEMS, TRIALS = 200, 100_000
SEEDS = itertools.count(1000)
FACTORS = Factors(job=0.06, hand=0.04, kind=0.05, cause=0.5)


def measured(work: Callable, times: int = 9, before: Callable | None = None) -> np.ndarray:
    """Best and median of `times` runs after one to warm up; `before` makes what is worked on."""
    taken = []
    for _ in range(times + 1):
        given = () if before is None else (before(),)
        start = time.perf_counter()
        work(*given)
        taken.append(1e3 * (time.perf_counter() - start))
    return np.array([min(taken[1:]), statistics.median(taken[1:])])


def show(name: str, taken: np.ndarray, note: str = "") -> None:
    """A line of the table."""
    print(f"  {name:<58} {taken[1]:10.2f} {taken[0]:10.2f}   {note}", flush=True)


def ratio(name: str, found: np.ndarray, bar: str) -> None:
    """A ratio of medians and of best times, and what it should be."""
    print(f"  {name:<58} {found[1]:10.1f}×{found[0]:10.1f}×  {bar}", flush=True)


def installed(name: str) -> bool:
    """Whether a library is there to compare with."""
    there = importlib.util.find_spec(name) is not None
    if not there:
        print(f"  {name}: not installed", flush=True)
    return there


# --- 200 work items ------------------------------------------------------------------------------


def ranges(count: int) -> list[tuple[float, float, float]]:
    """Three-point hours of all kinds of skewness."""
    rng = np.random.default_rng(7)
    return np.sort(rng.gamma(2, 1.5, (count, 3)), axis=1).tolist()


def bench_plans(count: int = ITEMS) -> list[LinePlan]:
    """Lines of four work items each, over all kinds of work, in one pair of hands."""
    amounts = [Amount(f"line {k // 4}: item {k % 4}", "pert", *found,
                      factors=("restorer", WORK_KINDS[k % len(WORK_KINDS)]))
               for k, found in enumerate(ranges(count))]
    return [LinePlan(hours=tuple(amounts[k:k + 4])) for k in range(0, count, 4)]


def play_all(plans: list[LinePlan], workers: int) -> np.ndarray:
    """Hours of the whole job, with numbers never drawn before."""
    player = play.Player(Streams(next(SEEDS), TRIALS), FACTORS)
    total = np.zeros(TRIALS)

    def add(_place: int, line: play.Drawn) -> None:
        total.__iadd__(line.hours)

    play.play_lines(player, plans, workers=workers, each=add)
    return total


def scipy_loop(found) -> np.ndarray:
    """The same without shared factors, by scipy's beta, an item at a time."""
    from scipy import stats

    rng, total = np.random.default_rng(next(SEEDS)), np.zeros(TRIALS)
    for low, mode, high in found:
        place = (mode - low) / (high - low)
        total += stats.beta.rvs(1 + 4 * place, 5 - 4 * place, low, high - low,
                                size=TRIALS, random_state=rng)
    return total


def normals_alone(count: int) -> None:
    """As many normal numbers as there are values, and nothing done with them."""
    rng = np.random.default_rng(next(SEEDS))
    for _ in range(count):
        rng.standard_normal(TRIALS, dtype=np.float32)


def mcerp_values(found) -> np.ndarray:
    """Sum of a few items in mcerp, 10,000 trials."""
    import mcerp

    mcerp.npts = 10_000
    return sum(mcerp.PERT(*row) for row in found)._mcpts


def monaco_values(found) -> np.ndarray:
    """Sum of a few items in monaco, 1,000 cases, without threads of its own."""
    import monaco
    from scipy import stats

    def before(case):
        return [case.invals[f"item {k}"].val for k in range(len(found))]

    def run(*hours):
        return sum(hours)

    def after(case, total):
        case.addOutVal("hours", total)

    sim = monaco.Sim("bench", 1000, {"preprocess": before, "run": run, "postprocess": after},
                     seed=next(SEEDS), singlethreaded=True, verbose=False,
                     keepsiminput=False, keepsimrawoutput=False, samplemethod="random",
                     savesimdata=False, savecasedata=False)
    for k, (low, mode, high) in enumerate(found):
        place = (mode - low) / (high - low)
        sim.addInVar(f"item {k}", stats.beta, {"a": 1 + 4 * place, "b": 5 - 4 * place,
                                               "loc": low, "scale": high - low})
    sim.runSim()
    return np.array([value.val if hasattr(value, "val") else value
                     for value in sim.outvars["hours"].nums])


def items() -> None:
    """Two hundred work items with shared factors, one worker and two."""
    print(f"{ITEMS} work items × {TRIALS:,} trials, shared factors of job, hand and kind")
    plans, found = bench_plans(), ranges(ITEMS)
    mean = sum(float(pert_mean(*row)) for row in found)
    one, two = (measured(lambda w=w: play_all(plans, w), 5) for w in (1, 2))
    show("one worker", one, f"{1e6 * one[0] / ITEMS / TRIALS:.1f} ns a value")
    show("two workers", two)
    loop = measured(lambda: scipy_loop(found), 1)
    show("scipy.stats.beta.rvs, a loop", loop)
    alone = measured(lambda: normals_alone(ITEMS), 3)
    show("drawing float32 normals alone", alone)
    best = np.minimum(one, two)
    ratio("scipy loop / one worker", loop / one, "bar 7")
    ratio("scipy loop / two workers", loop / two, "aim 25")
    ratio("one worker / normals alone", one / alone, "at most 6")
    got = play_all(plans, 2)
    assert abs(got.mean() - mean) < 5 * got.std() / TRIALS**0.5, "a wrong mean"
    for name, values, count, trials in (("mcerp", mcerp_values, 10, 10_000),
                                        ("monaco", monaco_values, 4, 1000)):
        if not installed(name):
            continue
        taken = measured(lambda values=values, count=count: values(found[:count]), 3)
        scaled = taken * ITEMS / count * TRIALS / trials
        show(f"{name}: {count} items × {trials:,} trials", taken,
             f"as many values: {scaled[0] / 1e3:,.1f} s")
        ratio(f"{name} / best of ours", scaled / best, "bar 500")
        theirs = values(found[:count])
        closed = sum(float(pert_mean(*row)) for row in found[:count])
        assert abs(theirs.mean() - closed) < 5 * theirs.std() / trials**0.5, "another model"
    # That all is kept costs no more.
    assert np.array_equal(play_fixed(plans, 1), play_fixed(plans, 2)), "workers differ"


def play_fixed(plans: list[LinePlan], workers: int) -> np.ndarray:
    """Hours with one seed, for comparing."""
    player = play.Player(Streams(1, TRIALS), FACTORS)
    return player.summed(play.play_lines(player, plans, workers=workers), "hours")


# --- the quote on the page -----------------------------------------------------------------------


def demo() -> tuple[Estimate, object, list[str]]:
    """The demo survey at full restoration: job, settings, titles."""
    shop = open_shop()
    survey = read(data_folder() / "demo" / "survey.csv", shop.catalogue)
    job = estimate(scope(survey, Level.FULL, shop.catalogue), shop)
    return job, shop.settings, [line.assembly for line in job.scope.lines]


def page(job: Estimate, settings) -> None:
    """The odds of a quote as the page asks for them."""
    print(f"\nA quote's odds: {len(job.lines)} lines, {len(job.items)} work items")

    def odds(**how):
        return simulate.simulate(job, settings, **how)

    ways = {"10,000 random trials": {"trials": 10_000},
            "4,096 Sobol points": {"trials": 4096, "sampler": "sobol"}}
    for name, how in ways.items():
        show(f"{name}, new numbers",
             measured(lambda how=how: odds(seed=next(SEEDS), **how), 15), "bar 40")
        show(f"{name}, numbers kept", measured(lambda how=how: odds(**how), 15))
    show("making the plan", measured(lambda: plan_of(job, settings), 15))
    long = odds(trials=1_000_000, seed=next(SEEDS))
    (want,) = long.at("cost", 0.8)
    for name, how in ways.items():
        off = np.array([odds(seed=next(SEEDS), **how).at("cost", 0.8)[0] / want - 1
                        for _ in range(30)])
        print(f"  P80 of {name} against 1,000,000 trials, 30 seeds: "
              f"{100 * np.sqrt(np.mean(off**2)):.2f} % off (root mean square), "
              f"{100 * np.abs(off).max():.2f} % at most; bar 0.3 %", flush=True)
        assert abs(off.mean()) < 0.003, "a P80 that is off"
    closed = job.cost + job.find_cost
    assert abs(long.cost.mean() / closed - 1) < 0.002, "a wrong mean"
    show("1,000,000 trials, totals", measured(
        lambda: odds(trials=1_000_000, seed=next(SEEDS)), 3))


def larger(items_: int) -> Estimate:
    """The demo with some of its lines once more, until there are so many work items."""
    shop = open_shop()
    survey = read(data_folder() / "demo" / "survey.csv", shop.catalogue)
    for count in itertools.count():
        more = tuple(replace(line, note=f"again {line.note}") for line in survey.lines[5:5 + count])
        both = replace(survey, lines=survey.lines + more)
        job = estimate(scope(both, Level.FULL, shop.catalogue), shop)
        if len(job.items) >= items_:
            return job
    raise AssertionError


def edited(settings) -> None:
    """One line edited, everything else kept."""
    job = larger(ITEMS)
    print(f"\nOne line of {len(job.lines)} edited: {len(job.items)} work items, "
          f"{TRIALS:,} trials, all others kept")
    factor = itertools.count(1)

    def edit() -> Estimate:
        # One item of a line in the middle, to hours never seen before.
        place = len(job.items) // 2
        item = job.items[place]
        changed = replace(item, hours=item.hours * (1 + 1e-4 * next(factor)))
        return replace(job, items=(*job.items[:place], changed, *job.items[place + 1:]))

    def whole(after=job):
        return simulate.simulate(after, settings, trials=TRIALS)

    whole()
    taken = measured(whole, 25, edit)
    plan = measured(lambda after: plan_of(after, settings), 25, edit)
    show("the whole of simulate", taken)
    show("of it, making the plan", plan)
    show("of it, drawing the line and all totals", taken - plan, "bar 5")
    after = edit()
    kept = whole(after)
    play._DRAWN.clear()
    anew = simulate.simulate(after, settings, trials=TRIALS, workers=2)
    assert np.array_equal(kept.cost, anew.cost), "kept draws differ from new ones"


# --- what drives it ------------------------------------------------------------------------------


def shares_by_scipy(job: Estimate, settings, size: int = 1024):
    """Variance shares of the same model by scipy.stats.sobol_indices, an input at a time.

    Own numbers alone, without factors, finds and breakage, each looked up in a table: it is the
    lighter task, and given to the library in the quickest form it takes.
    """
    from scipy import stats

    plan, hour = plan_of(job, settings), job.hour_cost * job.hours_factor
    amounts = [(a, hour) for line in plan.lines.values() for a in line.hours]
    amounts += [(a, 1.0) for line in plan.lines.values() for a in (*line.parts, *line.materials)]
    ranks = ((np.arange(1024) + 0.5) * 64).astype(np.uint16)
    tables = [unit * shapes.values(ranks, shapes.table(a.shape, a.low, a.typical, a.high, a.evened))
              for a, unit in amounts if a.high > a.low]

    def cost(u):
        places = (u * 1024).astype(np.intp)
        return sum(table.take(row) for table, row in zip(tables, places, strict=True))[None]

    found = stats.sobol_indices(func=cost, n=size, dists=[stats.uniform()] * len(tables), rng=1)
    return found, len(tables)


def driving(job: Estimate, settings, titles: list[str]) -> None:
    """The tornado with its variance shares, and which line to look at."""
    print("\nWhat drives the cost")
    odds = simulate.simulate(job, settings)
    taken = measured(lambda: simulate.drivers(job, settings, odds, titles), 15)
    found = simulate.drivers(job, settings, odds, titles)
    show(f"drivers: tornado of {len(found)}, variance shares of all", taken, "bar 35")
    plan, hour = plan_of(job, settings), job.hour_cost * job.hours_factor
    show("of it, variance shares", measured(lambda: variance_shares(plan, hour, 1), 15))
    start = time.perf_counter()
    reference, inputs = shares_by_scipy(job, settings)
    theirs = np.full(2, 1e3 * (time.perf_counter() - start))
    show(f"scipy.stats.sobol_indices, {inputs} inputs, 1,024 points", theirs)
    ratio("scipy / drivers", theirs / taken, "bar 40")
    assert 0.8 < float(np.sum(reference.first_order)) < 1.2
    many = variance_shares(plan, hour, 1, 2**15)
    whole = float(np.var(odds.cost))
    assert 0.85 < sum(first for first, _ in many.values()) / whole < 1.1, "shares do not add up"
    show("sights", measured(lambda: simulate.sights(job, odds), 15))


def main() -> None:
    """Print the table."""
    print(f"{'':<60} {'median':>10} {'best':>10}   milliseconds, and ratios of them")
    items()
    job, settings, titles = demo()
    page(job, settings)
    edited(settings)
    driving(job, settings, titles)


if __name__ == "__main__":
    main()
