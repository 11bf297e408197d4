"""Jobs of the ledger onto the bench plan: what is done, booked, bought and away."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

from estimator.durations import Range
from estimator.estimate import Estimate
from estimator.ledger import Done, Ledger, Outwork, Purchase, TimeEntry
from estimator.schedule import Lead, OnBench
from estimator.shop import Shop

OPEN = ("accepted", "on the bench", "waiting")
"""States of jobs that are planned unless something else is said."""


def on_bench(bare: OnBench, number: str, ledger: Ledger, shop: Shop, start: date
             ) -> tuple[OnBench, dict[str, float]]:
    """A machine with what the ledger has of its job; and units bought, by part.

    Parameters
    ----------
    bare
        The machine with the work of the quote that holds for the job.
    number
        Of the job.
    start
        First day of the plan; what came later counts as of that day.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> from estimator.jobs import quoted_work
    >>> with small_shop() as (ledger, shop):
    ...     number = ledger.job("Harbour Lights").number
    ...     bare = OnBench("Harbour Lights", quoted_work(ledger, number)[1])
    ...     one, bought = on_bench(bare, number, ledger, shop, date(2026, 3, 9))
    >>> list(one.done), dict(one.booked), list(one.sent), bought
    ([1], {2: 3.15}, ['powder-coat-set'], {})
    """
    job = bare.job
    places = _places(job, ledger.items(number))
    done = {places[mark.item]: min(mark.day, start)
            for mark in ledger.entries(Done, job=number) if mark.item in places}
    booked: dict[int, float] = defaultdict(float)
    for entry in ledger.entries(TimeEntry, job=number):
        if entry.item in places and places[entry.item] not in done:
            booked[places[entry.item]] += entry.hours
    services = {lot.service for lot in job.lots}
    outwork = ledger.entries(Outwork, job=number)
    returned = {entry.of for entry in outwork if entry.event == "back"}
    lots = [entry for entry in outwork if entry.event == "sent" and entry.service in services]
    away = {entry.service: min(entry.day, start) for entry in lots if entry.id not in returned}
    back = frozenset(entry.service for entry in lots if entry.id in returned) - set(away)
    bought: dict[str, float] = defaultdict(float)
    leads = []
    for entry in ledger.entries(Purchase, job=number):
        lines = frozenset(supply.line for supply in job.supplies if supply.item == entry.part)
        if entry.part is not None and lines:
            bought[entry.part] += entry.quantity
            days = _days_of(entry.supplier, shop)
            leads.append(Lead(f"{entry.supplier or 'a supplier'}, ordered {entry.day}", days,
                              lines, min(entry.day, start),
                              entry.day + timedelta(math.ceil(days.high)) <= start))
    return replace(bare, done=done, booked=dict(booked), sent=away, back=back,
                   leads=_together(leads)), dict(bought)


def _places(job: Estimate, items: Sequence) -> dict[int, int]:
    """Place in the estimate of each work item of the ledger, both counted from 1."""
    waiting: dict[tuple, list[int]] = defaultdict(list)
    for place, item in enumerate(job.items, 1):
        waiting[item.line + 1, item.work.operation.operation].append(place)
    found = {}
    for item in items:
        if places := waiting.get((item.line, item.operation)):
            found[item.item] = places.pop(0)
    return found


def _days_of(supplier: str, shop: Shop) -> Range:
    rows = list(shop.catalogue.suppliers.values())
    own = [row for row in rows if supplier.casefold() in (row.supplier, row.name.casefold())]
    rows = own or rows
    return Range(min(row.days_low for row in rows),
                 math.fsum(row.days_typical for row in rows) / len(rows),
                 max(row.days_high for row in rows))


def _together(leads: Sequence[Lead]) -> tuple[Lead, ...]:
    """One for each order, though it was booked part by part."""
    found: dict[str, Lead] = {}
    for lead in leads:
        same = found.get(lead.name, lead)
        found[lead.name] = replace(lead, lines=lead.lines | same.lines)
    return tuple(found.values())


__all__ = ["OPEN", "on_bench"]
