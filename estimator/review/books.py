"""What the ledger says of jobs, read once, and the standard that a job was quoted at."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from estimator import jobs as bench
from estimator.durations import pert_mean
from estimator.estimate import Estimate, Lot, estimate
from estimator.ledger import (
    Item,
    Job,
    Ledger,
    Outwork,
    Purchase,
    Sale,
    Sent,
    TimeEntry,
)
from estimator.outwork import charge
from estimator.scope import scope
from estimator.shop import Shop

SHARES = (0.5, 0.8, 0.9)
"""Quantiles of a quote that are held against what came."""


@dataclass(frozen=True)
class Books:
    """One job as the ledger has it."""

    job: Job
    sent: Sent
    items: tuple[Item, ...]
    time: tuple[TimeEntry, ...]
    purchases: tuple[Purchase, ...]
    outwork: tuple[Outwork, ...]
    sales: tuple[Sale, ...]

    def hours(self, kind: str) -> float:
        """Hours booked to a kind of unbilled time. [h]"""
        return math.fsum(entry.hours for entry in self.time if entry.unbilled == kind)

    def on_items(self) -> dict[int, float]:
        """Hours booked on each work item, none left out. [h]"""
        found = dict.fromkeys((item.item for item in self.items), 0.0)
        for entry in self.time:
            if entry.item is not None:
                found[entry.item] += entry.hours
        return found


def books_of(ledger: Ledger, wanted: Sequence[Job]) -> tuple[Books, ...]:
    """Books of these jobs, in their order."""
    sent = {one.number: one for one in ledger.sent()}
    entries = [defaultdict(list) for _ in range(4)]
    only = wanted[0].number if len(wanted) == 1 else None
    for found, kind in zip(entries, (TimeEntry, Purchase, Outwork, Sale), strict=True):
        for entry in ledger.entries(kind, job=only):
            found[entry.job].append(entry)
    return tuple(
        Books(job, sent[job.number], ledger.items(job.number),
              *(tuple(found[job.number]) for found in entries))
        for job in wanted)


def in_currency(books: Books, currency: str) -> tuple[Books, tuple[str, ...]]:
    """The books without amounts in another currency, and a note that says what is left out."""
    kept = replace(books, **{
        name: tuple(one for one in getattr(books, name) if one.currency == currency)
        for name in ("purchases", "outwork", "sales")})
    left = sum(len(getattr(books, name)) - len(getattr(kept, name))
               for name in ("purchases", "outwork", "sales"))
    return kept, (f"{left} amounts of {books.job.name} in another currency than {currency} are "
                  "left out.",) if left else ()


@dataclass(frozen=True)
class Standard:
    """What a quote expected: the job estimated again from what the quote was computed from.

    `quantiles` are those of hours and of cost as they were quoted.
    """

    job: Estimate
    shop: Shop
    quantiles: Mapping[str, Mapping[float, float]]

    def supplies(self) -> dict[str, tuple[float, str, float]]:
        """Of each part or material by its name: quantity, unit and expected cost."""
        found: dict[str, tuple[float, str, float]] = {}
        for one in self.job.supplies:
            quantity, _, cost = found.get(one.item, (0.0, "", 0.0))
            found[one.item] = (quantity + one.quantity, one.unit, cost + _mean(one.cost))
        return found

    def lots(self) -> dict[str, Lot]:
        """What was to be sent out, by service."""
        return {lot.service: lot for lot in self.job.lots}

    def charge_of(self, service: str, quantity: float, lines: int) -> float | None:
        """Expected charge of a lot by the price list of the quote; None for an unknown service."""
        row = self.shop.catalogue.services.get(service)
        if row is None:
            return None
        return pert_mean(*(
            charge([(quantity, rate)], setup=row.setup, lot_minimum=row.lot_minimum,
                   multiplier=row.multiplier, line_fee=row.line_fee, lines=lines,
                   freight=row.freight)
            for rate in (row.low, row.typical, row.high)))


def standard_of(ledger: Ledger, number: str) -> Standard:
    """The standard of the quote of that number.

    Raises
    ------
    BadInput
        If it is not known what it was computed from.
    """
    held = ledger.frozen(number)
    survey, choices, shop = bench.opened(held, number, ledger.folder)
    works = scope(survey, choices.level, shop.catalogue, dropped=choices.dropped,
                  added=choices.added)
    return Standard(estimate(works, shop), shop, {
        what: {share: held.answer[f"{what}_p{round(100 * share)}"] for share in SHARES}
        for what in ("hours", "cost")})


def _mean(found) -> float:
    return pert_mean(found.low, found.typical, found.high)
