"""How long it takes to choose suppliers for a big job: the first plan, and the proof.

Run it with `python tests/benchmarks/buying_speed.py [jobs]`. Seconds drift with the machine; the
ratios are against the same integer programme given to a general-purpose solver from scratch,
without a first plan or a bound, and against its relaxation alone, which knows no whole packs.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from datetime import date

from estimator import buying
from estimator.buying import CHEAPEST, Content, Market, Substitute
from estimator.buying.columns import task
from estimator.buying.model import Model
from estimator.buying.quick import plan
from estimator.catalogue import Offer, Part, Supplier

STAND = {"unit": "each", "basis": "invented for the demo", "source": "made up for a benchmark",
         "dated": date(2026, 1, 1)}


def job(
    seed: int, parts: int = 120, suppliers: int = 6, *, near: float = 0.3, tangled: int = 0
) -> tuple[dict[str, int], Market]:
    """Needs and a market whose thresholds lie about where the orders fall.

    `near` is how far prices of one part lie apart, as a share; `tangled` how many kits of four
    parts and substitutes there are.
    """
    rng = random.Random(seed)
    names = [f"part-{at}" for at in range(parts)]
    base = {name: rng.choice([0.5, 1, 3, 7, 15, 40]) for name in names}
    needs = {name: rng.randint(1, 12) for name in names}
    typical = sum(base[name] * needs[name] for name in names) / suppliers
    houses = {
        f"s{at}": Supplier(
            supplier=f"s{at}", name=f"House {at}", shipping=round(typical * rng.uniform(0, 0.06)),
            free_over=rng.choice([None, round(typical * rng.uniform(0.6, 1.6))]),
            minimum_order=round(typical * rng.choice([0, 0, 0.1, 0.3])),
            days_low=2, days_typical=rng.randint(3, 9), days_high=12, **STAND)
        for at in range(suppliers)
    }
    offers, swaps, contents = [], [], []

    def offered(name: str, price: float, share: float = 0.8) -> None:
        for house in houses:
            if rng.random() < share:
                asked = round(price * rng.uniform(1 - near, 1 + near), 2)
                pack = rng.choice([1, 1, 1, 5])
                offers.append(Offer(part=name, supplier=house, price=max(asked, 0.05), pack=pack,
                                    **STAND))
                if rng.random() < 0.5:
                    offers.append(Offer(part=name, supplier=house, price=max(asked * 0.9, 0.05),
                                        pack=pack, from_quantity=10, **STAND))

    for name in names:
        offered(name, base[name])
    for at in range(tangled):
        inside = rng.sample(names, 4)
        kit = f"kit-{at}"
        offered(kit, 0.85 * sum(base[name] for name in inside), 0.6)
        contents += [Content(kit=kit, part=name, quantity=1, **STAND) for name in inside]
        swaps.append(Substitute(part=inside[0], instead=rng.choice(names[:at] or [names[-1]]),
                                **STAND))
    rows = {name: Part(part=name, name=name, low=1, typical=1, high=1, **STAND)
            for name in [*names, *(f"kit-{at}" for at in range(tangled))]}
    swaps = [one for one in swaps if one.part != one.instead]
    return needs, Market(rows, tuple(offers), houses, tuple(swaps), tuple(contents))


def timed(work) -> tuple[float, object]:
    """Seconds, and the result."""
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def from_scratch(needs: dict[str, int], market: Market, whole: bool) -> tuple[float, float]:
    """The same programme by the solver alone: seconds, and the least; `whole` or relaxed."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp

    start = time.perf_counter()
    programme = Model(task(dict(sorted(needs.items())), market, {}, False))._programme
    rows = LinearConstraint(programme._matrix(), programme._low, programme._high)
    found = milp(np.array(programme._cost), constraints=rows, bounds=Bounds(0, programme._most),
                 integrality=np.array(programme._whole, float) * whole,
                 options={"mip_rel_gap": 0.0})
    return time.perf_counter() - start, found.fun


def told(label: str, jobs: list[tuple[dict[str, int], Market]]) -> None:
    """A row of the table."""
    first, off, proof, scratch, loose, below = [], [], [], [], [], []
    for needs, market in jobs:
        seconds, known = timed(
            lambda n=needs, m=market: plan(task(dict(sorted(n.items())), m, {}, False), CHEAPEST))
        whole, basket = timed(lambda n=needs, m=market: buying.buy(n, m, most_seconds=60))
        slow, least = from_scratch(needs, market, True)
        quick, bound = from_scratch(needs, market, False)
        assert basket.proven
        assert abs(basket.total - least) < 1e-3, "fast and wrong is no use"
        first.append(seconds)
        off.append(known[1] / basket.total - 1)
        proof.append(whole)
        scratch.append(slow / whole)
        loose.append(whole / quick)
        below.append(1 - bound / basket.total)
    print(f"{label:<34} first plan {1e3 * statistics.median(first):4.0f} ms, at most "
          f"{max(off):6.2%} over; proven {1e3 * statistics.median(proof):5.0f} ms, most "
          f"{max(proof):5.2f} s; from scratch {statistics.median(scratch):4.1f} times as long; "
          f"{statistics.median(loose):4.1f} times the relaxation, which is {max(below):.1%} low")


def main(jobs: int) -> None:
    """Print the table."""
    import scipy.optimize  # noqa: F401  (loaded before the clock runs)

    told("120 parts, 6 suppliers", [job(seed) for seed in range(jobs)])
    told("the same, prices within 4 %", [job(seed, near=0.04) for seed in range(jobs)])
    told("40 parts, 12 suppliers", [job(seed, 40, 12) for seed in range(jobs)])
    told("120 parts, 6 suppliers, 12 kits", [job(seed, tangled=12) for seed in range(jobs)])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
