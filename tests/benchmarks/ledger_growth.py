"""How every command on the ledger and every part of the pages grows with the jobs of the shop.

Run it with `python tests/benchmarks/ledger_growth.py [jobs …]` (20 200 2000 by default). For each
number of closed jobs a shop is made (`grown_shop`), every command is run on it by itself, and the
pages are opened and used without a browser. Printed are seconds of the processor, the slope of
their growth from the last shop but one to the last (0: the same, 1: as many times as there are
jobs), and the most memory in the last shop. Start-up is in the commands' figures and shown by
itself. A folder named by `ESTIMATOR_GROWN` keeps the shops for the next run.
"""

from __future__ import annotations

import json
import math
import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from time import process_time

from grown_shop import ON, grown_shop

from estimator.catalogue import data_folder

BARS = ("an edit of a page 0.25 s; a page opened 3 s; a command 1 s over start-up; a review of "
        "all 10 s, with progress on the page; memory 1,000 MB")
PATIENCE = 900
"""Seconds of the clock after which a command is given up."""
Figures = dict[str, tuple[float, float]]


def main(sizes: list[int]) -> None:
    """Make the shops, use them, print the table."""
    kept = os.environ.get("ESTIMATOR_GROWN")
    with tempfile.TemporaryDirectory() as folder:
        found: list[Figures] = []
        for size in sizes:
            shop = Path(kept or folder) / f"g{size}"
            if not shop.exists():
                grown_shop(shop, size)
            found.append(dict(commands(shop, Path(folder))) | pages(shop))
    head = "".join(f"{f'{size} jobs':>12}" for size in sizes)
    print(f"{'seconds of the processor':<42}{head}{'slope':>8}{'MB':>8}")
    for name in found[-1]:
        took = [one.get(name, (math.nan, 0))[0] for one in found]
        line = "".join(f"{one:>12.3f}" for one in took)
        print(f"{name:<42}{line}{slope(sizes, took):>8.2f}{found[-1][name][1]:>8.0f}", flush=True)
    print("bars:", BARS)


def slope(sizes: list[int], took: list[float]) -> float:
    """Of the logarithms, between the last two."""
    if len(took) < 2 or min(took[-2:]) <= 0:
        return math.nan
    return math.log(took[-1] / took[-2]) / math.log(sizes[-1] / sizes[-2])


# --- commands ------------------------------------------------------------------------------------


def commands(shop: Path, scratch: Path) -> Iterator[tuple[str, tuple[float, float]]]:
    """Every command once: its seconds and its memory. [s], [MB]"""
    yield "start-up (--version)", run("--version")
    for name, words in lines_of(shop, scratch):
        yield name, run(*words, "--shop", str(shop))


def lines_of(shop: Path, scratch: Path) -> Iterator[tuple[str, list[str]]]:
    """The commands with their names; a job is chosen by what the ledger holds."""
    from estimator.ledger import Ledger, Outwork, TimeEntry

    ledger = Ledger(shop)
    jobs = ledger.jobs()
    # Not the newest: an earlier run on a kept shop accepted that, and nobody worked on it.
    still_open, entry = next(
        (job.number, entries[0]) for job in jobs if job.state != "closed"
        and (entries := ledger.entries(TimeEntry, job=job.number)))
    closed = next(job.number for job in jobs if job.state == "closed")
    waiting = next(one.number for one in ledger.sent() if one.outcome == "open")
    item = str(ledger.items(still_open)[-1].item)
    ledger.close()
    day = ON.isoformat()
    survey = str(data_folder() / "demo" / "survey.csv")
    sheet = scratch / "sheet.csv"
    sheet.write_text("person,day,hours,job,item\n" + "".join(
        f"Anna {n},{day},1,{still_open},{item}\n" for n in range(20)), encoding="utf-8")
    sure = ["--sure", "new-person", "long-ago", "cap", "cap-ahead", "twice", "done-item",
            "long-day"]
    on = ["--job", still_open]
    place = f"{shop.name}-{os.getpid()}"
    yield "job list", ["job", "list"]
    yield "job list --json", ["job", "list", "--json"]
    yield "job show", ["job", "show", still_open]
    yield "job status", ["job", "status", still_open]
    yield "job promise", ["job", "promise", still_open, "2026-12-20"]
    yield "job state", ["job", "state", still_open, "waiting"]
    yield "job done", ["job", "done", still_open, item, "--date", day]
    yield "job not-done", ["job", "not-done", still_open, item, "--why", "not yet"]
    yield "job survey", ["job", "survey", still_open, "-o", str(scratch / f"{place}.csv")]
    yield "job change --look", ["job", "change", still_open, "--add", "extra-led-set", "--reason",
                                "wish", "--look"]
    yield "job bought", ["job", "bought", "Rubbers", "--amount", "12", *on, *sure[:1], "cap"]
    yield "job sent-out", ["job", "sent-out", "Legs", "--service", "powder-coat-small", *on]
    ledger = Ledger(shop)
    lot = str(max(one.id for one in ledger.entries(Outwork)))
    ledger.close()
    yield "job came-back", ["job", "came-back", lot, "--amount", "3", "--sure", "cap"]
    yield "job sold", ["job", "sold", "Parts", "--amount", "12"]
    yield "job amounts", ["job", "amounts"]
    yield "job amounts --job", ["job", "amounts", *on]
    yield "job accept", ["job", "accept", waiting]
    yield "time add", ["time", "add", "--person", "Anna", *on, "--item", item, "--hours", "0.5",
                       "--day", day, *sure]
    yield "time start", ["time", "start", "--person", "Anna", *on, "--item", item, *sure]
    yield "time stop", ["time", "stop", "--person", "Anna", "--hours", "0.0001", *sure]
    yield "time correct", ["time", "correct", str(entry.id), "--hours", "0.4", "--why", "a slip",
                           *sure]
    yield "time import, 20 rows", ["time", "import", str(sheet), *sure]
    yield "time list", ["time", "list"]
    yield "time list --job", ["time", "list", *on]
    yield "time list --since", ["time", "list", "--since", "2026-02-20"]
    yield "review JOB, closed", ["review", closed]
    yield "review JOB, open", ["review", still_open]
    yield "review", ["review"]
    yield "review, again", ["review"]
    yield "review proposals", ["review", "proposals"]
    yield "quotes", ["quotes"]
    yield "quote", ["quote", survey, "--level", "shop-job"]
    yield "quote --out", ["quote", survey, "--level", "shop-job", "--out",
                          str(scratch / f"{place}-quote")]
    yield "resell", ["resell", survey, "--value", "5000"]
    yield "plan --jobs JOB", ["plan", "--jobs", still_open, "--seconds", "0", "--trials", "200"]
    yield "job close", ["job", "close", still_open]
    yield "backup", ["backup", str(scratch / f"{place}.sqlite")]
    yield "export", ["export", str(scratch / f"{place}-all")]
    other = str(scratch / f"{place}-new")
    run("new-shop", other)
    yield "import", ["import", str(scratch / f"{place}-all"), "--shop", other]
    yield "restore", ["restore", str(scratch / f"{place}.sqlite")]


def run(*words: str) -> tuple[float, float]:
    """Processor time and memory of a command. [s], [MB]"""
    # The last --shop counts, so that a command of its own shop names it first.
    if words.count("--shop") == 2:
        words = words[:-2]
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as wrong:
        done = subprocess.Popen([sys.executable, "-m", "estimator", *words], stdout=out,
                                stderr=wrong)
        try:
            _, status, used = os.wait4(done.pid, 0)
        except KeyboardInterrupt:
            done.kill()
            raise
        done.returncode = os.waitstatus_to_exitcode(status)
        if done.returncode:
            wrong.seek(0)
            print(f"{' '.join(words)}: {wrong.read().decode()[-400:]}", file=sys.stderr)
            return math.nan, 0.0
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


# --- pages ---------------------------------------------------------------------------------------


def pages(shop: Path) -> Figures:
    """Each page in a process of its own: seconds, and the most memory up to then."""
    found: Figures = {}
    for page in PAGES:
        done = subprocess.run([sys.executable, __file__, "--page", page, str(shop)],
                              capture_output=True, text=True, timeout=PATIENCE, check=False)
        if done.returncode:
            print(f"{page}: {done.stderr[-800:]}", file=sys.stderr)
        found |= {name: tuple(figures) for name, *figures in map(json.loads,
                                                                 done.stdout.splitlines())}
    return found


def said(name: str, work: Callable[[], object]) -> object:
    """Do it and print what it took."""
    start = process_time()
    answer = work()
    took = process_time() - start
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps([name, took, most]), flush=True)
    return answer


def review_page(folder: Path) -> None:
    """The page "Review hours", part by part."""
    from estimator.pages.review_page import ReviewPage
    from estimator.shop import open_shop

    shop = open_shop(folder)
    page = said("page review: opened", lambda: ReviewPage(folder, shop))
    said("page review: in the browser", page._there)
    for part in ("jobs", "time", "amounts", "job"):
        said(f"page review: {part}", lambda part=part: page._go(part))
    page._go("time")
    booking, work = page.parts["time"], page.workshop
    said("page review: another job", lambda: work.choose(work.jobs[1].number))
    said("page review: bookings of the job", lambda: booking._scoped("job"))
    said("page review: with taken back", lambda: booking._scoped("history"))
    booking._scoped("all")
    form = booking.hours

    def book() -> None:
        form.act("book", form.values | {"person": "Anna", "hours": "0.5", "day": ON.isoformat(),
                                        "work": f"item:{work.items(work.number)[0].item}"})
        form.act("book", form.values, [one["key"] for one in form.questions])

    said("page review: hours booked", book)
    said("page review: an entry looked at", lambda: booking._asked(
        "correct", booking.entries.rows[0]["key"]))
    page._go("amounts")
    bought = page.parts["amounts"].forms["bought"]
    said("page review: an amount booked", lambda: bought.act("bought", bought.values | {
        "what": "Rubbers", "amount": "12", "quantity": "1"}, ["cap", "cap-ahead"]))
    page._go("jobs")
    jobs = page.parts["jobs"]
    item = str(work.items(work.number)[-1].item)
    said("page review: an item done", lambda: jobs.items._asked("done", item))
    said("page review: shop", lambda: page._go("shop"))
    said("page review: hours by job", lambda: page.parts["shop"].hours.put_together("job"))
    said("page review: margin by job", lambda: page.parts["shop"]._left_by("job"))
    page._go("jobs")
    said("page review: shop, again", lambda: page._go("shop"))
    said("page review: forecasts by records", page.parts["shop"].walk.start)
    said("page review: proposals", lambda: page._go("proposals"))


def quote_page(folder: Path) -> None:
    """The page "Quote a machine"."""
    from estimator.pages.quote_page import QuotePage
    from estimator.shop import open_shop

    page = said("page quote: opened", lambda: QuotePage(folder, open_shop(folder)))
    said("page quote: in the browser", page._there)
    said("page quote: an edit", page._changed)
    said("page quote: kept", page.save)
    said("page quote: another draft", lambda: page._open(page.ledger.latest()))


def resell_page(folder: Path) -> None:
    """The page "Restore or resell"."""
    from estimator.pages.resell_page import ResellPage
    from estimator.shop import open_shop

    page = said("page resell: opened", lambda: ResellPage(folder, open_shop(folder)))
    said("page resell: in the browser", page._there)
    said("page resell: kept", page.save)


def plan_page(folder: Path) -> None:
    """The page "Bench plan"."""
    from estimator.pages.beside import Beside
    from estimator.pages.plan_page import PlanPage
    from estimator.shop import open_shop

    # Here nothing runs beside: the search would be counted with the page that begins it.
    search, Beside.start = Beside.start, lambda _self: None
    page = said("page plan: opened", lambda: PlanPage(folder, open_shop(folder)))
    said("page plan: read again", page._read)
    said("page plan: laid out", page._lay_out)
    said("page plan: kept", page.save)
    Beside.start = search
    said("page plan: a better one searched for", page.search.start)


PAGES = {"review": review_page, "quote": quote_page, "resell": resell_page, "plan": plan_page}

if __name__ == "__main__":
    if sys.argv[1:2] == ["--page"]:
        PAGES[sys.argv[2]](Path(sys.argv[3]))
    else:
        main([int(word) for word in sys.argv[1:]] or [20, 200, 2000])
