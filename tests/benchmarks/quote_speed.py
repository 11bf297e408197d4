"""How fast a quote is: ratios measured in one run, and what a survey of 400 lines takes.

Run it with `python tests/benchmarks/quote_speed.py`. Milliseconds drift with the machine;
the ratios are against a general-purpose library and against drawing the random numbers alone.
"""

from __future__ import annotations

import statistics
import time
from datetime import date

import numpy as np

from estimator import simulate
from estimator.catalogue import CONDITIONS, Certainty, Era, Level
from estimator.estimate import estimate
from estimator.quote import Choices, quote
from estimator.scope import scope
from estimator.shop import open_shop
from estimator.survey import template
from estimator.survey.records import Line, Machine, Survey

TRIALS = 10_000


def median_ms(work, times: int = 5) -> float:
    """Median of `times` runs. [ms]"""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(1e3 * (time.perf_counter() - start))
    return statistics.median(taken)


def large_survey(lines: int) -> Survey:
    """A survey of this many lines over all assemblies, conditions and certainties."""
    names = [name for name, row in open_shop().catalogue.assemblies.items() if not row.extra]
    return Survey(
        Machine(title="Benchmark", era=Era.DOT_MATRIX),
        tuple(
            Line(
                names[k % len(names)],
                1 + k % 7,
                CONDITIONS[k % 5],
                list(Certainty)[k % 3],
                note=f"line {k}",
            )
            for k in range(lines)
        ),
    )


def main() -> None:
    """Print the table."""
    shop = open_shop()
    survey = template(Era.DOT_MATRIX, shop.catalogue)
    choices = Choices(Level.FULL, on=date(2026, 1, 5), trials=TRIALS)
    job = estimate(scope(survey, Level.FULL, shop.catalogue), shop)

    def odds():
        simulate.simulate(job, shop.settings, trials=TRIALS)

    def fresh_odds():
        simulate.normals.cache_clear()
        odds()

    def draws_alone():
        rng = np.random.default_rng(1)
        for _ in job.items:
            rng.standard_normal(TRIALS, dtype=np.float32)

    def library():
        from scipy import stats

        total = np.zeros(TRIALS)
        rng = np.random.default_rng(1)
        for item in job.items:
            width = item.hours.high - item.hours.low
            if width <= 0:
                continue
            mode = (item.hours.typical - item.hours.low) / width
            total += stats.beta.rvs(
                1 + 4 * mode,
                5 - 4 * mode,
                loc=item.hours.low,
                scale=width,
                size=TRIALS,
                random_state=rng,
            )
        return total

    large = large_survey(400)
    quote(large, choices, shop)
    library()
    rows = {
        "scope and estimate": median_ms(
            lambda: estimate(scope(survey, Level.FULL, shop.catalogue), shop)
        ),
        "odds, new numbers": median_ms(fresh_odds),
        "odds, numbers kept": median_ms(odds),
        "drawing the numbers alone": median_ms(draws_alone),
        "scipy.stats.beta.rvs, a loop": median_ms(library),
        "quote, one level": median_ms(lambda: quote(survey, choices, shop, compare=False)),
        "quote, levels side by side": median_ms(lambda: quote(survey, choices, shop)),
        "quote of 400 lines, warm": median_ms(lambda: quote(large, choices, shop)),
    }
    print(f"{len(survey.lines)} lines, {len(job.items)} work items, {TRIALS:,} trials")
    for name, taken in rows.items():
        print(f"{name:<32} {taken:8.1f} ms")
    kept, fresh = rows["odds, numbers kept"], rows["odds, new numbers"]
    print(f"scipy loop / odds, new numbers   {rows['scipy.stats.beta.rvs, a loop'] / fresh:8.1f}")
    print(f"scipy loop / odds, numbers kept  {rows['scipy.stats.beta.rvs, a loop'] / kept:8.1f}")
    print(f"odds, new numbers / draws alone  {fresh / rows['drawing the numbers alone']:8.1f}")
    closed = job.hours + job.find_hours
    got = float(simulate.simulate(job, shop.settings, trials=TRIALS).hours.mean())
    print(f"mean hours {got:.1f}, in closed form {closed:.1f}")
    assert abs(got - closed) < 0.02 * closed, "fast and wrong is no use"


if __name__ == "__main__":
    main()
