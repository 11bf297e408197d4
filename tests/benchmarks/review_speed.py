"""How long the review of a shop takes, how it grows with its jobs, and what a quote waits for it.

Run it with `python tests/benchmarks/review_speed.py [times]`: a demo shop of 30 closed jobs, then
the same with so many times as many (4 by default). Times are of the processor; the first look at a
ledger includes loading what reads it, so each is taken a second time.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from dataclasses import replace
from datetime import date
from pathlib import Path
from time import process_time

from estimator import jobs, review
from estimator.catalogue import data_folder
from estimator.demo import demo_shop
from estimator.ledger import Ledger, TimeEntry
from estimator.shop import open_shop

ON = date(2026, 3, 4)
BARS = "of_shop of 30 jobs 500 ms; a job more costs no more than one of the first 30; quote 1500 ms"


def main(times: int) -> None:
    """Make the shops, take the times, print them."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "shop"
        took = milliseconds(lambda: demo_shop(place, on=ON))
        print(f"{'demo shop of 30 jobs':<34}{took:9.0f} ms")
        quoted = quote_ms(), quote_ms("--shop", str(place))
        print(f"{'quote, cold, without a shop':<34}{quoted[0]:9.0f} ms")
        print(f"{'quote, cold, by 30 finished jobs':<34}{quoted[1]:9.0f} ms   "
              f"× {quoted[1] / quoted[0]:.2f}")
        shop = open_shop(place)
        ledger = Ledger(place)
        try:
            first = report(ledger, shop)
            copied(ledger, times, tuple(shop.catalogue.unbilled))
            last = report(ledger, shop)
        finally:
            ledger.close()
    print(f"{times} × the jobs: of_shop × {last / first:.2f}")
    print("bars:", BARS)


def report(ledger: Ledger, shop) -> float:
    """Print what each look takes; of_shop's milliseconds."""
    closed = [job for job in ledger.jobs() if job.state == "closed"]
    review.of_shop(ledger, shop, on=ON)
    found = 0.0
    for name, look in (
            ("of_shop", lambda: review.of_shop(ledger, shop, on=ON)),
            ("of_job", lambda: review.of_job(ledger, closed[0].number, shop, on=ON)),
            ("experience_of", lambda: review.experience_of(ledger, shop.catalogue)),
            ("walk", lambda: review.walk(ledger, shop)),
            ("reopen", lambda: jobs.reopen(ledger, closed[0].number))):
        took = milliseconds(look)
        found = found or took
        print(f"{f'{name} of {len(closed)} jobs':<34}{took:9.1f} ms   "
              f"{took / len(closed):6.2f} ms a job")
    return found


def milliseconds(work) -> float:
    """Time of the processor."""
    start = process_time()
    work()
    return 1000 * (process_time() - start)


def quote_ms(*words: str) -> float:
    """Time of the processor that the command takes from nothing."""
    code = ("import sys, time; from estimator import cli; cli.main(sys.argv[1:]); "
            "print(time.process_time(), file=sys.stderr)")
    survey = data_folder() / "demo" / "survey.csv"
    done = subprocess.run([sys.executable, "-c", code, "quote", survey, "--level", "shop-job",
                           "--json", *words], capture_output=True, text=True, check=True)
    return 1000 * float(done.stderr)


def copied(ledger: Ledger, times: int, unbilled: tuple[str, ...]) -> None:
    """Every closed job again under other numbers, with its hours, until there are `times` each."""
    sent = {one.number: one for one in ledger.sent()}
    for job in [job for job in ledger.jobs() if job.state == "closed"]:
        items, held = ledger.items(job.number), ledger.frozen(job.number)
        entries = ledger.entries(TimeEntry, job=job.number)
        for n in range(1, times):
            number = f"{job.number}-{n}"
            ledger.record(replace(sent[job.number], number=number, outcome="open"),
                          replace(held, number=number, kept=None))
            ledger.accept(replace(job, number=number, state="accepted", closed=None),
                          [replace(item, job=number, quote=number) for item in items])
            # Their days are full: the copies are worked by other people.
            ledger.book([replace(one, job=number, person=f"{one.person} {n}", id=None,
                                 booked=None) for one in entries], unbilled=unbilled,
                        sure=("new-person", "long-day", "long-ago", "twice", "cap", "cap-ahead"))
            ledger.set_state(number, "closed", job.closed)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
