"""The demo shop made: quotes sent, jobs accepted, hours and money booked, jobs closed."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np

from estimator import disk
from estimator import jobs as bench_jobs
from estimator.demo.bench import Task, calendar, people, tasks_of
from estimator.demo.machines import Enquiry, enquiries
from estimator.durations import mean_of
from estimator.errors import BadInput, Fault
from estimator.ledger import Job, Ledger, Outwork, Purchase, Sale, TimeEntry
from estimator.quote import FIXED, TIME, Choices, Quote, quote
from estimator.shop import Shop, new_shop, open_shop

JOBS, MOST_JOBS = 30, 120
_FIRST_YEAR = 2010
_DAYS, _FEWEST_DAYS = 550, 200  # so long do thirty jobs take, and few
_TRIALS = 1000
_SURE = ("new-person", "long-day", "long-ago", "closed-job", "twice", "cap", "cap-ahead")
_MARK = "invented for the demo"
_MARGINS = (0.1, 0.42)
_MIDDLE, _SCALE = 1.62, 0.11  # price over cost that half of the customers take; how sharply
_ASKED = 1.8  # enquiries to a job
_SMALL = 8  # so many before the last ones ask for no full restoration
_LAST_ASKED = 50  # days before the end, of jobs that are closed by then
_UNDER_WAY = ((21, FIXED, 0.55, "on the bench"), (18, TIME, 0.6, "waiting"),
              (11, FIXED, 0.06, "on the bench"))
"""Open jobs: days ago that they were quoted, pricing, share done, where they stand."""
_UNANSWERED = (16, 8, 3)  # days ago
_CAME_BACK = 0.35  # share of jobs that warranty hours are booked to


@dataclass(frozen=True)
class Made:
    """What a demo shop holds: how many of each, and hours booked. [h]"""

    folder: Path
    closed: int
    open: int
    quotes: int
    hours: float


@dataclass
class _Work:
    """A job in the making."""

    offer: Quote
    job: Job
    tasks: list[Task]
    share: float = 1.0
    state: str = "closed"


def demo_shop(folder: Path | str, *, jobs: int = JOBS, seed: int = 1, on: date | None = None,
              progress: Callable[[float], None] | None = None) -> Made:
    """Make a shop folder with a ledger full of invented jobs; the same for the same seed and day.

    Parameters
    ----------
    folder
        Where; nothing may be there yet, and nothing is left there if it cannot be finished.
    jobs
        How many closed jobs, 3 to 120; three open ones come on top.
    seed
        0 or more; another number makes another shop.
    on
        The day on which it is looked at: nothing is booked after it. None is today.
    progress
        Told the share that is done.

    Raises
    ------
    BadInput
        If something is in the folder already, it cannot be written, or a figure is out of range.

    Examples
    --------
    >>> demo_shop("anywhere", jobs=2)
    Traceback (most recent call last):
    ...
    estimator.errors.BadInput: jobs: 2 jobs; it must be 3 to 120. 30 show all there is to see.
    """
    folder, on = Path(folder).resolve(), on or date.today()
    faults = []
    if not 3 <= jobs <= MOST_JOBS:
        faults.append(Fault(f"{jobs} jobs; it must be 3 to {MOST_JOBS}.",
                            f"{JOBS} show all there is to see.", column="jobs"))
    if seed < 0:
        faults.append(Fault(f"The seed is {seed}; it must be 0 or more.",
                            "Each number makes another shop.", column="seed"))
    if on.year < _FIRST_YEAR:
        faults.append(Fault(f"The day is {on}; it must be in {_FIRST_YEAR} or later.",
                            "Leave it out for today.", column="date"))
    if faults:
        raise BadInput(faults)
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise BadInput(Fault("There is something in this folder already.",
                             "Choose a new one: the demo is a shop of its own.", str(folder)))
    try:
        with disk.whole(folder) as part:
            made = _made(part, jobs, np.random.default_rng(seed), on,
                         progress or (lambda share: None))
    except OSError as error:
        raise BadInput(Fault(f"The folder cannot be made: {error.strerror or error}.",
                             "Make room, or choose another place; nothing was written.",
                             str(folder))) from None
    return replace(made, folder=folder)


def _made(folder: Path, jobs: int, rng: np.random.Generator, on: date,
          tell: Callable[[float], None]) -> Made:
    shop = _open(folder)
    start = on - timedelta(max(_FEWEST_DAYS, _DAYS * jobs // JOBS))
    late = len(_UNDER_WAY) + len(_UNANSWERED)
    asked = enquiries(math.ceil(_ASKED * jobs) + late, late + _SMALL, shop.catalogue, rng)
    with contextlib.closing(Ledger(shop.folder)) as ledger:
        offers = _offers(asked, shop, start, on, rng, tell)
        works = _answered(ledger, offers, jobs, shop, rng)
        tell(0.7)
        for work in works:
            _plan(work, ledger, rng)
        last = on - timedelta(1)
        tasks = [task for work in works for task in work.tasks]
        entries = calendar(tasks, people(), start, last, rng)
        closed = _closing_days(works, entries, on, rng)
        entries += _warranty(works, closed, on, rng)
        _book(ledger, entries, shop)
        for work in works:
            if work.state != "closed":
                _mark(ledger, work.job.number, entries)
        tell(0.8)
        for work in works:
            _money(ledger, work, closed.get(work.job.number), on, shop, rng)
            ledger.set_state(work.job.number, work.state, closed.get(work.job.number))
    tell(1.0)
    return Made(shop.folder, jobs, len(works) - jobs, len(offers),
                math.fsum(one.hours for one in entries))


def _open(folder: Path) -> Shop:
    """A new shop folder in the name of the demo, with its people's hands."""
    path = new_shop(folder) / "shop.toml"
    text = path.read_text(encoding="utf-8")
    said = {"name": f"Demo shop ({_MARK})", "address": _MARK, "hand_bench": "Mara",
            "hand_electronics": "Joris", "hand_finishing": "Mara", "hand_cabinet": "Mara"}
    default = {"name": "The workshop", "address": ""}
    for key, value in said.items():
        text = text.replace(f'\n{key} = "{default.get(key, "restorer")}"\n',
                            f'\n{key} = "{value}"\n')
    disk.write(path, text.encode("utf-8"))
    return open_shop(folder)


# --- quotes --------------------------------------------------------------------------------------


def _offers(asked: Sequence[Enquiry], shop: Shop, start: date, on: date,
            rng: np.random.Generator, tell: Callable[[float], None]) -> list[Quote]:
    """A quote for each enquiry, in the order of their days; the last ones for what is open."""
    late = [*((ago, pricing) for ago, pricing, _, _ in _UNDER_WAY),
            *((ago, FIXED) for ago in _UNANSWERED)]
    early = len(asked) - len(late)
    step = ((on - start).days - _LAST_ASKED) / early
    when = [(start + timedelta(round(step * n)), TIME if rng.random() < 0.1 else FIXED)
            for n in range(early)]
    when += [(on - timedelta(ago), pricing) for ago, pricing in late]
    found = []
    for n, (one, (day, pricing)) in enumerate(zip(asked, when, strict=True)):
        margin = round(rng.uniform(*_MARGINS), 2)
        found.append(quote(one.survey, Choices(
            one.level, pricing, margin=margin, trials=_TRIALS, on=day), shop, compare=False))
        tell(0.4 * n / len(asked))
    return found


def _answered(ledger: Ledger, offers: Sequence[Quote], jobs: int, shop: Shop,
              rng: np.random.Generator) -> list[_Work]:
    """Keep the quotes; so many customers accept, sooner the lower the price over cost."""
    late = len(offers) - len(_UNDER_WAY) - len(_UNANSWERED)
    ratio = np.array([float(one.price) / (one.job.cost + one.job.find_cost)
                      for one in offers[:late]])
    keen = (_MIDDLE - ratio) / _SCALE + rng.logistic(size=late)
    won = set(np.argsort(-keen)[:jobs].tolist())
    under_way = range(late, late + len(_UNDER_WAY))
    found = []
    for n, offer in enumerate(offers):
        bench_jobs.keep(ledger, offer, shop)
        if n in won or n in under_way:
            wait = int(rng.integers(2, 8))
            # What is under way leaves everybody a day at the bench before the end.
            accepted = offer.on + timedelta(2 if n in under_way else wait)
            weeks = offer.odds.at("hours", 0.8)[0] / shop.settings.bench_hours_per_week
            promised = accepted + timedelta(days=21 + math.ceil(10 * weeks))
            job = bench_jobs.accept(ledger, offer.number, on=accepted, promised=promised)
            found.append(_Work(offer, job, []))
            if n in under_way:
                _, _, found[-1].share, found[-1].state = _UNDER_WAY[n - late]
        elif n < late:
            ledger.decide(offer.number, "lost")
    return found


# --- hours ---------------------------------------------------------------------------------------


def _plan(work: _Work, ledger: Ledger, rng: np.random.Generator) -> None:
    """What is worked on a job, with finds as often as the tables say."""
    job = work.offer.job
    found = math.fsum(
        job.hours_factor * mean_of(risk.find)
        for risk in job.risks if rng.random() < risk.chance)
    found += math.fsum(job.hours_factor * one.hours for one in job.unseen
                       if rng.random() < one.chance)
    work.tasks = tasks_of(ledger.items(work.job.number), work.job.accepted, found * work.share,
                          people(), rng, work.share)


def _closing_days(works: Sequence[_Work], entries: Sequence[TimeEntry], on: date,
                  rng: np.random.Generator) -> dict[str, date]:
    """Jobs that are done are fetched some days after the last hour of them."""
    last: dict[str, date] = {}
    for entry in entries:
        if entry.job:
            last[entry.job] = max(entry.day, last.get(entry.job, entry.day))
    return {work.job.number: min(on, last[work.job.number] + timedelta(int(rng.integers(1, 10))))
            for work in works if work.state == "closed"}


def _warranty(works: Sequence[_Work], closed: dict[str, date], on: date,
              rng: np.random.Generator) -> list[TimeEntry]:
    """Hours on what came back, some weeks after."""
    found = []
    for work in works:
        back, weeks = rng.random() < _CAME_BACK, int(rng.integers(2, 14))
        hours = max(0.25, round(4 * rng.gamma(1.5, 0.8)) / 4)
        if back and work.job.number in closed:
            day = closed[work.job.number] + timedelta(weeks=weeks)
            if day < on:
                found.append(TimeEntry(person=work.tasks[0].person, day=day, hours=hours,
                                       job=work.job.number, unbilled="warranty",
                                       note="Came back"))
    return found


def _book(ledger: Ledger, entries: Sequence[TimeEntry], shop: Shop) -> None:
    """Book month by month, as time sheets come in."""
    months: dict[tuple[int, int], list[TimeEntry]] = {}
    for entry in sorted(entries, key=lambda one: one.day):
        months.setdefault((entry.day.year, entry.day.month), []).append(entry)
    for group in months.values():
        ledger.book(group, unbilled=tuple(shop.catalogue.unbilled), sure=_SURE,
                    now=_evening(group[-1].day))


def _mark(ledger: Ledger, number: str, entries: Sequence[TimeEntry]) -> None:
    """Items of a job under way are marked as done on their last day; what a person is on is not."""
    last: dict[int, date] = {}
    on: dict[str, int] = {}
    for entry in sorted(entries, key=lambda one: one.day):
        if entry.job == number and entry.item is not None:
            last[entry.item], on[entry.person] = entry.day, entry.item
    for day in sorted(set(last.values())):
        items = [item for item, ended in last.items() if ended == day
                 and item not in on.values()]
        if items:
            ledger.mark_done(number, sorted(items), day, now=_evening(day))


# --- money ---------------------------------------------------------------------------------------


def _money(ledger: Ledger, work: _Work, closed: date | None, on: date, shop: Shop,
           rng: np.random.Generator) -> None:
    """What was bought, sent out and paid."""
    last = closed or on - timedelta(1)
    _purchases(ledger, work, last, shop, rng)
    if work.share == 1:
        _outwork(ledger, work, last, rng)
        share = rng.uniform(0.92, 1.04) if work.offer.choices.pricing == TIME else 1.0
        amount = round(work.offer.price * Decimal(str(share)), 2)
        amount = min(amount, work.offer.cap) if work.offer.cap is not None else amount
        fees = round(amount * Decimal("0.02"), 2) if rng.random() < 0.3 else Decimal(0)
        _add(ledger, Sale(day=last, job=work.job.number, what="Job paid", amount=amount,
                          currency=shop.settings.currency, fees=fees, note=_MARK))


def _purchases(ledger: Ledger, work: _Work, last: date, shop: Shop,
               rng: np.random.Generator) -> None:
    quoted: dict[str, list] = {}
    for one in work.offer.job.supplies:
        known = quoted.setdefault(one.item, [one, 0.0, 0.0])
        known[1] += one.quantity
        known[2] += mean_of(one.cost)
    offers = shop.catalogue.offers.values()
    currency = shop.settings.currency
    for name, (one, quantity, cost) in quoted.items():
        sellers = [row.supplier for row in offers if row.part == name] \
            or list(shop.catalogue.suppliers)
        supplier = shop.catalogue.suppliers[sellers[rng.integers(len(sellers))]].name
        day = work.job.accepted + timedelta(int(rng.integers(1, 14)))
        more = 1 + (rng.random() < 0.1)
        amount = round(Decimal(str(more * cost * math.exp(rng.normal(0.02, 0.1)))), 2)
        if rng.random() <= work.share and day <= last and amount > 0:
            _add(ledger, Purchase(
                day=day, job=work.job.number, supplier=supplier, what=one.name,
                quantity=round(more * quantity, 4), unit=one.unit, amount=amount,
                currency=currency, part=name, note=_MARK))


def _outwork(ledger: Ledger, work: _Work, last: date, rng: np.random.Generator) -> None:
    for lot in work.offer.job.lots:
        charge = mean_of(lot.charge)
        amount = round(Decimal(str(charge * math.exp(rng.normal(0.05, 0.12)))), 2)
        day = min(work.job.accepted + timedelta(int(rng.integers(5, 12))), last)
        said = Outwork(day=day, job=work.job.number, service=lot.service, what=lot.name,
                       event="sent", quantity=lot.quantity, unit=lot.unit,
                       currency=work.offer.settings.currency, note=_MARK)
        sent = _add(ledger, said)
        back = min(day + timedelta(round(lot.days.typical)), last)
        _add(ledger, replace(said, day=back, event="back", amount=amount, of=sent.id))


def _add(ledger: Ledger, entry):
    return ledger.add(entry, sure=_SURE, now=_evening(entry.day))


def _evening(day: date) -> datetime:
    """A moment of that day on every clock there is, or of the next where clocks are far ahead."""
    return datetime.combine(day, time(18), UTC)
