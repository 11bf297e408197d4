"""Small things that the examples of the package are run on: a machine, its quote, a shop with jobs.

Made once and kept, so that an example takes no longer than what it shows.
"""

from __future__ import annotations

import contextlib
import functools
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path

from estimator import jobs as bench_jobs
from estimator.catalogue import Condition, Era, Level
from estimator.ledger import Job, Ledger, Outwork, Purchase, Sale, TimeEntry
from estimator.quote import Choices, Quote, quote
from estimator.shop import Shop, new_shop, open_shop
from estimator.survey import Line, Machine, Survey

_ASKED, _WORKED, _TRIALS = date(2026, 3, 2), date(2026, 3, 5), 100
_CLOSED = ("Night Ferry", "Lantern Row", "Salt Wind")
_SLOW = 1.5  # flippers take so many times their hours
_SURE = ("new-person", "long-day", "long-ago", "twice")


def small_survey(title: str = "Harbour Lights") -> Survey:
    """A machine of two lines: worn flippers, legs that have to be sent out.

    Examples
    --------
    >>> [(line.assembly, line.count, str(line.condition)) for line in small_survey().lines]
    [('flipper', 2, 'worn'), ('leg', 4, 'heavy')]
    """
    lines = (Line("flipper", 2, Condition.WORN), Line("leg", 4, Condition.HEAVY))
    return Survey(Machine(title, era=Era.DOT_MATRIX), lines)


@functools.cache
def small_quote(title: str = "Harbour Lights", on: date = _ASKED) -> Quote:
    """Its quote for a full restoration, from the project's own tables and a hundred trials.

    Examples
    --------
    >>> made = small_quote()
    >>> len(made.job.items), [lot.service for lot in made.job.lots], made.on.isoformat()
    (5, ['powder-coat-set', 'blasting'], '2026-03-02')
    """
    choices = Choices(Level.FULL, trials=_TRIALS, on=on)
    return quote(small_survey(title), choices, open_shop(), compare=False)


@contextlib.contextmanager
def small_shop() -> Iterator[tuple[Ledger, Shop]]:
    """A shop folder with tables of its own and a ledger; gone when it is left.

    Three jobs are closed, with hours, a purchase, outwork and what was paid; flippers took half
    as long again as the book says. "Harbour Lights" is under way, its legs are at the coater.

    Examples
    --------
    >>> with small_shop() as (ledger, shop):
    ...     [(job.name, job.state) for job in ledger.jobs()]
    [('Harbour Lights', 'on the bench'), ('Salt Wind', 'closed'), ('Lantern Row', 'closed'), \
('Night Ferry', 'closed')]
    """
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for name, content in _files().items():
            (folder / name).parent.mkdir(exist_ok=True)
            (folder / name).write_bytes(content)
        shop = open_shop(folder)
        with contextlib.closing(Ledger(folder)) as ledger:
            yield ledger, shop


@functools.cache
def _files() -> dict[str, bytes]:
    """What the folder holds, by its path in it."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "shop"
        shop = open_shop(new_shop(folder))
        with contextlib.closing(Ledger(folder)) as ledger:
            for nth, title in enumerate(_CLOSED):
                _closed(ledger, shop, title, _ASKED - timedelta(40 - 10 * nth), 1 + 0.02 * nth)
            number, day = _accepted(ledger, shop, "Harbour Lights", _ASKED).number, _WORKED
            _hours(ledger, shop, number, day, 1.0, items=(1, 2))
            ledger.mark_done(number, [1], day, now=_evening(day))
            _away(ledger, number, day)
        return {path.relative_to(folder).as_posix(): path.read_bytes()
                for path in folder.rglob("*") if path.is_file()}


def _accepted(ledger: Ledger, shop: Shop, title: str, day: date) -> Job:
    sent = bench_jobs.keep(ledger, small_quote(title, day), shop)
    job = bench_jobs.accept(ledger, sent.number, on=day + timedelta(1))
    return ledger.set_state(job.number, "on the bench")


def _closed(ledger: Ledger, shop: Shop, title: str, asked: date, pace: float) -> None:
    job, day = _accepted(ledger, shop, title, asked), asked + timedelta(12)
    _hours(ledger, shop, job.number, day, pace)
    sent = _away(ledger, job.number, asked + timedelta(2))
    for entry in (
            replace(sent, id=None, day=day, event="back", amount=Decimal(130), of=sent.id),
            Purchase(day=day, job=job.number, supplier="Part house", what="Flipper kits",
                     quantity=2, unit="each", amount=Decimal(52), currency=sent.currency,
                     part="flipper-kit"),
            Sale(day=day, job=job.number, what="Job paid", currency=sent.currency,
                 amount=small_quote(title, asked).price)):
        ledger.add(entry, now=_evening(day))
    ledger.set_state(job.number, "closed", day)


def _hours(ledger: Ledger, shop: Shop, number: str, day: date, pace: float, items=()) -> None:
    """Book the work of a job: what is expected, times a pace; flippers take longer."""
    ledger.book([
        TimeEntry(person="Mara", day=day, job=number, item=item.item, hours=round(
            item.expected * pace * (_SLOW if item.assembly == "flipper" else 1), 2))
        for item in ledger.items(number) if not items or item.item in items],
        unbilled=tuple(shop.catalogue.unbilled), sure=_SURE, now=_evening(day))


def _away(ledger: Ledger, number: str, day: date) -> Outwork:
    """Send the legs to the coater."""
    return ledger.add(Outwork(day=day, job=number, service="powder-coat-set", what="Legs",
                              event="sent", quantity=1, unit="set", currency="USD"),
                      now=_evening(day))


def _evening(day: date) -> datetime:
    return datetime.combine(day, time(18), UTC)
