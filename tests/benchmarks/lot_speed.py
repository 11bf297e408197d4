"""How long an auction list takes, and whether screening decides as full trials do.

Run it with `python tests/benchmarks/lot_speed.py [machines] [held]`: a made-up list of 10,000
machines, and so many of them played in full to compare with (400 by default). What machines of one
era and state share is drawn once in a run; that is timed by itself. Times are of the processor,
but for the whole list on all processors, which is by the clock.
"""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from datetime import date
from math import exp
from time import perf_counter, process_time

from estimator import auction
from estimator.auction.cases import cases_of
from estimator.auction.ranking import worth_bidding
from estimator.catalogue import FOUND, Era
from estimator.resale import Deal, resale
from estimator.shop import open_shop

ON = date(2026, 3, 2)
TERMS = Deal(1.0, buying="auction", on=ON)
BARS = "10,000 machines 3 s; decisions those of the trials"


def main(count: int, held: int) -> None:
    """Make the list, judge it, print."""
    shop, machines = open_shop(), a_list(count)
    kinds = list({(one.era, one.found): one for one in machines}.values())
    start = perf_counter()
    auction.judge(machines, TERMS, shop, ON, workers=None)
    print(f"{count:,} machines on all processors{perf_counter() - start:27.2f} s by the clock")
    judge = auction.Judge(TERMS, shop, ON)
    drawn = took = 0.0
    said: list = []
    for kind in kinds:
        these = [one for one in machines if (one.era, one.found) == (kind.era, kind.found)]
        # One of each kind at three values: what is drawn once.
        drawn += seconds(lambda kind=kind: judge.of(
            [replace(kind, value=value, asking=None) for value in (1_000.0, 4_000.0, 12_000.0)]))
        took += seconds(lambda these=these: said.extend(
            zip(map(id, these), judge.of(these), strict=True)))
    order = dict(said)
    said = [order[id(one)] for one in machines]
    print(f"{len(kinds)} kinds of machine drawn{drawn:35.2f} s")
    print(f"{count:,} machines, kinds drawn{took:31.2f} s   {1e6 * took / count:.0f} µs each")
    played = sum(one.played for one in said)
    print(f"played in full{100 * played / count:43.1f} %")

    some = random.Random(7).sample(range(count), min(held, count))
    full: list = []
    each = seconds(lambda: full.extend(judge.of([machines[k] for k in some], full=True)))
    print(f"all trials of a machine, kinds drawn{1e3 * each / len(some):20.2f} ms   "
          f"{each / len(some) / (took / count):.0f} times as long")
    one = machines[some[0]]
    survey = cases_of(one, shop.catalogue)[0][1]
    deal = replace(TERMS, value=one.value, asking=one.asking, found=one.found)
    alone = seconds(lambda: resale(survey, deal, shop))
    print(f"one machine as resell does it{1e3 * alone:26.1f} ms   "
          f"{alone / (took / count):,.0f} times as long")
    pairs = [(machines[k], said[k], other) for k, other in zip(some, full, strict=True)]
    bids = sum(worth_bidding(one, a) == worth_bidding(one, b) for one, a, b in pairs)
    best = sum(a.best == b.best for _, a, b in pairs)
    off = [abs(a.limit - b.limit) / one.value for one, a, b in pairs]
    print(f"of {len(pairs)} played as well: the same bid {bids}, the same choice {best}; "
          f"limits off by {100 * max(off):.2f} % of the value at most")
    print("bars:", BARS)


def a_list(count: int) -> list[auction.Offered]:
    """Machines of all eras and states, most with an asking price."""
    draw = random.Random(1)
    found = []
    for number in range(count):
        value = float(round(exp(draw.gauss(8.1, 0.5))))
        found.append(auction.Offered(
            str(number), draw.choice(list(Era)), draw.choice(FOUND), value,
            asking=None if draw.random() < 0.1 else float(round(value * draw.uniform(0.1, 1.1))),
            row=number + 2))
    return found


def seconds(what) -> float:
    """Processor time of a call."""
    start = process_time()
    what()
    return process_time() - start


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000,
         int(sys.argv[2]) if len(sys.argv) > 2 else 400)
