"""How well hours are learnt on made-up shops, and how fast.

Run it with `python tests/benchmarks/learning_speed.py [seeds]`; `--held` walks only the kinds of
shops that the model's constants were not set on. Times are of the processor, medians.
"""

from __future__ import annotations

import sys
from pathlib import Path
from time import process_time

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from made_hours import FAMILY, LEVELS, MORE, SMALL, against_the_best, drawn, make, table

from estimator.learning import HoursModel, pool

BARS = """
bars: skill in hours .055, in logs .075 (10 to 60 records: .10, .055); 80 .77 to .83; P80 ±.03;
      P90 ±.025; pit .04; jobs: 80 and P80 .75 to .85, P90 .86 to .94, skill .045, sharp .75;
      a week 15 ms"""


def milliseconds(work, repeats: int = 5) -> float:
    """Median time of the processor."""
    took = []
    for _ in range(repeats):
        start = process_time()
        work()
        took.append(process_time() - start)
    return 1000 * float(np.median(took))


def entries(count: int) -> list[dict]:
    """Records of a shop with 200 kinds, 20 persons and jobs of ten tasks."""
    rng = np.random.default_rng(1)
    est = np.exp(rng.normal(size=count))
    act = est * np.exp(0.6 * rng.normal(size=count))
    columns = (est, act, rng.integers(0, 200, count), rng.integers(0, 20, count),
               np.arange(count) // 10, np.arange(count) // 20)
    names = ("est", "act", "kind", "person", "job", "day")
    return [dict(zip(names, row, strict=True))
            for row in zip(*(column.tolist() for column in columns), strict=True)]


def speed() -> None:
    """Refits, updates, forecasts, and pooling against a mixed model where one is at hand."""
    for count, bar in ((100_000, 1000), (1_000_000, 10_000)):
        many = entries(count)
        took = milliseconds(lambda many=many: HoursModel().update(many), 1)
        print(f"refit of {count:>9,} entries {took:8.0f} ms   bar {bar}")
    model = HoursModel()
    model.update(many[:20_000])
    few = iter(range(20_000, 30_000, 10))

    def ten() -> None:
        at = next(few)
        model.update(many[at:at + 10])

    print(f"update with ten entries     {milliseconds(ten, 20):8.1f} ms   bar 50")
    shop = make(FAMILY["many people"], 1)
    weeks = iter(range(3000, 3900, 50))
    model = HoursModel()
    model.update(shop[:3000])

    def week() -> None:
        at = next(weeks)
        tasks = shop[at:at + 50]
        asked = [[task[name] for task in tasks] for name in ("est", "kind", "person")]
        model.predict(*asked, LEVELS)
        model.update(tasks)

    print(f"week of 50 tasks            {milliseconds(week, 15):8.1f} ms   bar 15")
    rng = np.random.default_rng(2)
    labels = rng.integers(0, 1000, 1_000_000)
    y = rng.normal(size=1000)[labels] + rng.normal(size=1_000_000)
    sums = [np.bincount(labels, part) for part in (None, y, y * y)]
    print(f"pooling sums of 1,000,000   {milliseconds(lambda: pool(*sums)):8.2f} ms   bar 15")
    one_day = milliseconds(lambda: [np.bincount(labels[:20], part, 1000) for part in (y[:20],) * 3])
    print(f"a day's entries into sums   {one_day + milliseconds(lambda: pool(*sums)):8.2f} ms"
          "   bar 2")
    from statsmodels.regression.mixed_linear_model import MixedLM

    part = slice(0, 100_000)
    theirs = milliseconds(lambda: MixedLM(y[part], np.ones(100_000), labels[part]).fit(), 1)
    sums = [np.bincount(labels[part], one) for one in (None, y[part], y[part] ** 2)]
    ours = milliseconds(lambda: pool(*sums))
    print(f"statsmodels MixedLM, 100,000{theirs:8.0f} ms   {theirs / ours:,.0f}x pooling the same"
          "   bar 400x")


def main() -> None:
    """Print the tables."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    seeds = numbers[0] if numbers else 2
    for young in (False, True):
        held = {name: shop for name, shop in drawn(36).items() if ("young" in name) == young}
        print("\nheld out, drawn at random" + ", young" * young,
              table(HoursModel, held, range(1 + 5 * young)), sep="\n")
    if "--held" not in sys.argv:
        for family, more in ((FAMILY, 1), (MORE, 1), (SMALL, 8)):
            print("\nothers", table(HoursModel, family, range(seeds * more)), sep="\n")
    print(BARS, end="\n\n")
    few = drawn(18)
    for young in (False, True):
        held = {name: shop for name, shop in few.items() if ("young" in name) == young
                and shop.tasks < 1500}
        print("beside one who knows all that the shops were drawn from" + ", young" * young,
              against_the_best(HoursModel, held, range(1 + 3 * young)), sep="\n", end="\n\n")
    speed()


if __name__ == "__main__":
    main()
