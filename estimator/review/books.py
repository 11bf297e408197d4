"""What the ledger says of jobs, read once, and the standard that a job was quoted at."""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from estimator import jobs as bench
from estimator.catalogue import Service
from estimator.durations import pert_mean
from estimator.estimate import estimate
from estimator.jobs.freezing import services_of
from estimator.ledger import (
    Done,
    Entry,
    Frozen,
    Item,
    Job,
    Ledger,
    Outwork,
    Purchase,
    Sale,
    Sent,
    TimeEntry,
)
from estimator.outwork import charge_by
from estimator.quote.contract import standard_dict
from estimator.scope import scope

SomeEntry = TypeVar("SomeEntry", bound=Entry)

SHARES = (0.5, 0.8, 0.9)
"""Quantiles of a quote that are held against what came."""
FOUND, AGAIN, CAME_BACK = "unlisted", "rework", "warranty"
"""Kinds of unbilled time that are hours of the job itself."""


@dataclass(frozen=True)
class Books:
    """One job as the ledger has it.

    `sent` is the quote that holds for it: its own, or the revision agreed to last; `marks` say
    which items are done. `time` may be put together, one entry for a person and a place.
    """

    job: Job
    sent: Sent
    items: tuple[Item, ...]
    time: tuple[TimeEntry, ...]
    purchases: tuple[Purchase, ...]
    outwork: tuple[Outwork, ...]
    sales: tuple[Sale, ...]
    marks: tuple[Done, ...] = ()

    def hours(self, kind: str) -> float:
        """Hours booked to a kind of unbilled time. [h]"""
        return self._unbilled.get(kind, 0.0)

    @functools.cached_property
    def _unbilled(self) -> Mapping[str, float]:
        found: dict[str, list[float]] = defaultdict(list)
        for entry in self.time:
            if entry.unbilled:
                found[entry.unbilled].append(entry.hours)
        return {kind: math.fsum(hours) for kind, hours in found.items()}

    @functools.cached_property
    def on_items(self) -> Mapping[int, float]:
        """Hours booked on each work item, none left out. [h]"""
        return {item: math.fsum(hours.values()) for item, hours in self.by_person.items()}

    @property
    def of_its_work(self) -> float:
        """Hours on the work that was quoted, what was done again counted in. [h]"""
        return math.fsum(self.on_items.values()) + self.hours(AGAIN)

    @functools.cached_property
    def by_person(self) -> Mapping[int, Mapping[str, float]]:
        """Hours that each person booked on each work item; empty where nobody did. [h]"""
        found: dict[int, dict[str, float]] = {item.item: {} for item in self.items}
        for entry in self.time:
            if entry.item is not None:
                mine = found[entry.item]
                mine[entry.person] = mine.get(entry.person, 0.0) + entry.hours
        return found


def closed_jobs(ledger: Ledger) -> list[Job]:
    """Closed jobs, the earliest closed first."""
    return sorted((job for job in ledger.jobs() if job.state == "closed"),
                  key=lambda job: (job.closed, job.number))


def books_of(ledger: Ledger, job: Job) -> Books:
    """Books of a job, entry by entry."""
    holds = ledger.holds(job.number)
    return Books(job, ledger.sent_of([holds])[holds], ledger.items(job.number),
                 *(ledger.entries(kind, job=job.number)
                   for kind in (TimeEntry, Purchase, Outwork, Sale, Done)))


def books_together(ledger: Ledger, wanted: Sequence[Job], *, amounts: bool = True,
                   standing: Mapping[str, str] | None = None,
                   time: Mapping[str | None, Sequence[TimeEntry]] | None = None
                   ) -> tuple[Books, ...]:
    """Books of several jobs, in their order, with hours put together and without marks.

    Parameters
    ----------
    amounts
        Whether purchases, outwork and sales are read as well.
    standing
        Of each job with an agreed revision, the quote that holds; None reads it.
    time
        Hours put together, by job; None reads them.
    """
    standing = ledger.standing() if standing is None else standing
    numbers = [job.number for job in wanted]
    sent = ledger.sent_of([standing.get(number, number) for number in numbers])
    items = ledger.items_of(numbers)
    entries = [by_job(ledger.together(numbers)) if time is None else time]
    entries += [by_job(ledger.entries(kind, jobs=numbers) if amounts else ())
                for kind in (Purchase, Outwork, Sale)]
    return tuple(
        Books(job, sent[standing.get(job.number, job.number)], items[job.number],
              *(tuple(found.get(job.number, ())) for found in entries))
        for job in wanted)


def by_job(entries: Iterable[SomeEntry]) -> Mapping[str | None, list[SomeEntry]]:
    """Entries by the number of their job; None holds those of the shop as a whole."""
    found = defaultdict(list)
    for entry in entries:
        found[entry.job].append(entry)
    return found


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
    """What a quote expected.

    Parameters
    ----------
    currency
        Of all its money.
    hour_cost, find_cost
        What an hour cost, and the expected cost of finds. [money/h], [money]
    supplies
        Of each part or material by its name: quantity, unit and expected cost.
    lots
        Of each service that something was to be sent to: expected charge and number of lines.
    quantiles
        Of hours and of cost, as they were quoted.
    services
        Gives the price lists of services as the quote had them.
    """

    currency: str
    hour_cost: float
    find_cost: float
    supplies: Mapping[str, tuple[float, str, float]]
    lots: Mapping[str, tuple[float, int]]
    quantiles: Mapping[str, Mapping[float, float]]
    services: Callable[[], Mapping[str, Service]]

    def charge_of(self, service: str, quantity: float, lines: int) -> float | None:
        """Expected charge of a lot by the price list of the quote; None for an unknown service."""
        row = self.services().get(service)
        if row is None:
            return None
        return pert_mean(*(charge_by(row, [quantity], rate, lines=lines)
                           for rate in (row.low, row.typical, row.high)))


def standard_of(held: Frozen | None, number: str) -> Standard:
    """The standard of a quote, from what the ledger kept of it under its number.

    What was said with the quote is taken as it was said; where that is not all, because an
    earlier version kept it, the job is estimated again.

    Raises
    ------
    BadInput
        If it is not known what it was computed from.
    """
    answer = dict(held.answer) if held else {}
    if "finds" not in answer:
        survey, choices, shop = bench.opened(held, number)
        works = scope(survey, choices.level, shop.catalogue, dropped=choices.dropped,
                      added=choices.added)
        answer |= standard_dict(estimate(works, shop))
    return Standard(
        answer["currency"], answer["hour_cost"], answer["finds"]["cost_mean"],
        {one["item"]: (one["quantity"], one["unit"], one["cost_mean"])
         for one in answer["supplies"]},
        {one["service"]: (one["charge_mean"], one["lines"]) for one in answer["outwork"]},
        {what: {share: answer[f"{what}_p{round(100 * share)}"] for share in SHARES}
         for what in ("hours", "cost")},
        lambda: services_of(held))
