"""The cap of a job by time and materials: how much of it is used, and what the rest needs.

The bill is hours at the rate that was quoted, by the started step, and what was paid for parts,
materials and outwork with their mark-ups; all before tax. Rate, step, mark-ups and cap are those
of the quote that holds for the job: its own, or the revision agreed to last.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from estimator.ledger.reading import (
    entries_in,
    items_in,
    jobs_in,
    last_frozen,
    revisions_in,
    standing_in,
)
from estimator.ledger.records import (
    Done,
    Entry,
    Item,
    Outwork,
    Purchase,
    Question,
    TimeEntry,
)
from estimator.ledger.sealing import Spoiled

BILLED = ("unlisted", "rework")
"""Kinds of unbilled time that are hours of the job itself and stand on its bill."""
_FINDS = "unlisted"
_DUST = 0.005


@dataclass(frozen=True)
class Cap:
    """What a quote by time and materials says of its bill, before tax.

    Parameters
    ----------
    job, name
        Number and name of the job.
    quote
        The quote that holds for it.
    amount
        The sum that is not passed without asking. [currency]
    rate
        Of an hour. [currency/h]
    step
        Hours are billed by the started step. [h]
    parts, outwork
        Mark-ups on what is bought and on what is sent out. [–]
    supplies, sent_out, finds
        What the quote expects the bill to hold for parts and materials, for outwork, and for
        finds. [currency]
    """

    job: str
    name: str
    quote: str
    amount: Decimal
    currency: str
    rate: float
    step: float
    parts: float
    outwork: float
    supplies: float
    sent_out: float
    finds: float


@dataclass(frozen=True)
class Use:
    """How much of a cap is used, and what the rest is expected to need; all before tax.

    Parameters
    ----------
    hours
        Booked and billed. [h]
    labour, purchases, outwork
        What they come to on the bill so far. [currency]
    rest_labour, rest_purchases, rest_outwork, rest_finds
        What is still expected. [currency]

    Examples
    --------
    >>> cap = Cap("A1", "Harbour Lights", "A1", Decimal(1000), "USD", rate=80.0, step=0.25,
    ...           parts=0.2, outwork=0.1, supplies=150.0, sent_out=100.0, finds=60.0)
    >>> use = Use(cap, hours=7.5, labour=600.0, purchases=90.0, outwork=0.0, rest_labour=160.0,
    ...           rest_purchases=60.0, rest_outwork=100.0, rest_finds=30.0)
    >>> use.used, use.share, use.comes_to, use.passed, use.ahead
    (690.0, 0.69, 1040.0, False, True)
    """

    cap: Cap
    hours: float
    labour: float
    purchases: float
    outwork: float
    rest_labour: float
    rest_purchases: float
    rest_outwork: float
    rest_finds: float

    @property
    def used(self) -> float:
        """The bill so far. [currency]"""
        return self.labour + self.purchases + self.outwork

    @property
    def rest(self) -> float:
        """What is expected to be added to it. [currency]"""
        return self.rest_labour + self.rest_purchases + self.rest_outwork + self.rest_finds

    @property
    def comes_to(self) -> float:
        """The bill that is expected in the end. [currency]"""
        return self.used + self.rest

    @property
    def share(self) -> float:
        """Used share of the cap. [–]"""
        return self.used / float(self.cap.amount)

    @property
    def passed(self) -> bool:
        """Is the bill over the cap?"""
        return self.used > float(self.cap.amount) + _DUST

    @property
    def ahead(self) -> bool:
        """Is it expected to be in the end?"""
        return self.comes_to > float(self.cap.amount) + _DUST


def _cap_of(job: str, name: str, quote: str, answer: Mapping, settings: Mapping) -> Cap | None:
    """The cap in a quote as it was frozen; None for a fixed price."""
    if answer.get("cap") is None:
        return None

    def expected(*kinds: str) -> float:
        return math.fsum(line["kinds"].get(kind, 0.0) for line in answer["lines"]
                         for kind in kinds if line["kind"] in ("work", "extra"))

    return Cap(
        job, name, quote, Decimal(str(answer["cap"])), answer["currency"],
        float(answer["hourly_rate"]), float(settings["billing_increment_hours"]),
        float(settings["parts_markup"]), float(settings["outwork_markup"]),
        expected("parts", "materials"), expected("outwork"), float(answer["find_allowance"]))


def use_of(cap: Cap, items: Iterable[Item], entries: Iterable[Entry],
           done: Collection[int] = ()) -> Use:
    """How much of a cap the entries of its job use.

    An item that is not done is expected to need what its hours booked leave of those expected;
    purchases, outwork and finds what theirs leave. Nothing more is expected once all items are
    done. What was paid in another currency does not count.

    Parameters
    ----------
    items
        The job's, in force.
    done
        Numbers of those that are done.

    Examples
    --------
    >>> from datetime import date
    >>> cap = Cap("1", "Harbour", "1", Decimal(1000), "USD", 80.0, 0.25, 0.2, 0.1, 300, 0, 50)
    >>> item = Item("1", 1, "1", 1, "Flippers", "flipper", "rebuild", "Rebuild", "repair",
    ...             "bench", 1, 2, 3, 0, 2.5)
    >>> day = date(2026, 3, 4)
    >>> use = use_of(cap, [item], [
    ...     TimeEntry(day=day, person="Anna", hours=1.1, item=1),
    ...     Purchase(day=day, supplier="", what="Kit", quantity=1, unit="kit",
    ...              amount=Decimal(100), currency="USD")])
    >>> round(use.used, 2), round(use.rest, 2)
    (220.0, 342.0)
    """
    booked: dict[int | None, list[float]] = {}
    other: dict[str, list[float]] = {kind: [] for kind in BILLED}
    paid: dict[type, list[float]] = {Purchase: [], Outwork: []}
    for entry in entries:
        if isinstance(entry, TimeEntry):
            if entry.item is not None:
                booked.setdefault(entry.item, []).append(entry.hours)
            elif entry.unbilled in other:
                other[entry.unbilled].append(entry.hours)
        elif type(entry) in paid and entry.currency == cap.currency:
            paid[type(entry)].append(float(entry.amount))
    hours = math.fsum(hours for found in (*booked.values(), *other.values()) for hours in found)
    purchases = math.fsum(paid[Purchase]) * (1 + cap.parts)
    outwork = math.fsum(paid[Outwork]) * (1 + cap.outwork)
    left = [item for item in items if item.item not in done]
    rest = math.fsum(max(0.0, item.expected - math.fsum(booked.get(item.item, ())))
                     for item in left) * cap.rate
    more = [max(0.0, cap.supplies - purchases), max(0.0, cap.sent_out - outwork),
            max(0.0, cap.finds - math.fsum(other[_FINDS]) * cap.rate)] if left else [0.0] * 3
    steps = math.ceil(hours / cap.step - 1e-9)
    return Use(cap, hours, steps * cap.step * cap.rate, purchases, outwork, rest, *more)


def uses_in(connection, numbers: Collection[str], spoiled: list[str] | None = None
            ) -> dict[str, tuple[Use, tuple]]:
    """Of these jobs those with a cap: its use, and what it was reckoned from.

    Parameters
    ----------
    spoiled
        Gets the names of jobs whose quote is not as it was kept; without it they are refused.
    """
    found = {}
    names = {job.number: job.name for job in jobs_in(connection, numbers)}
    revisions = revisions_in(connection, numbers)
    for number in dict.fromkeys(numbers):
        quote, name = standing_in(revisions, number), names.get(number, number)
        try:
            held = last_frozen(connection, quote)
        except Spoiled:
            if spoiled is None:
                raise
            spoiled.append(name)
            continue
        cap = held and _cap_of(number, name, quote, held["answer"], held["settings"])
        if cap is None:
            continue
        entries = [entry for kind in (TimeEntry, Purchase, Outwork)
                   for entry in entries_in(connection, kind, job=number)]
        ground = (items_in(connection, [number]), entries,
                  {mark.item for mark in entries_in(connection, Done, job=number)})
        found[number] = use_of(cap, *ground), ground
    return found


def asked_in(connection, entries: Sequence[Entry], rows: Sequence[int] = (), file: str = "",
             was: Sequence[Entry] = ()) -> Iterator[Question]:
    """What is asked before these entries pass a cap, or are expected to make it be passed.

    Asked at the entry that does it. What is expected is asked about once, when it comes to pass
    the cap; each entry beyond the cap itself is asked about. `was` are entries taken back, in whose
    place these stand.
    """
    by_job: dict[str, list[tuple[int | None, Entry]]] = {}
    for place, entry in enumerate(entries):
        if entry.job is not None:
            by_job.setdefault(entry.job, []).append((rows[place] if rows else None, entry))
    spoiled: list[str] = []
    uses = uses_in(connection, by_job, spoiled)
    for name in spoiled:
        yield Question("cap", f"What the quote of {name} was computed from is damaged in the "
                       "ledger, so whether this passes a cap is not known.", file or None)
    for number, (before, (items, booked, done)) in uses.items():
        mine = by_job[number]
        if was:
            before = use_of(before.cap, items,
                            [*booked, *(one for one in was if one.job == number)], done)
        after = use_of(before.cap, items, [*booked, *(entry for _, entry in mine)], done)
        if after.passed and after.used > before.used + _DUST:
            key, wrong = "cap", lambda use: use.passed
        elif after.ahead and not before.ahead:
            key, wrong = "cap-ahead", lambda use: use.ahead
        else:
            continue
        row = next(row for place, (row, _) in enumerate(mine, 1) if wrong(use_of(
            before.cap, items, [*booked, *(entry for _, entry in mine[:place])], done)))
        yield Question(key, _words(key, after), file or None, row)


def _words(key: str, use: Use) -> str:
    """What is asked, in words."""
    cap = use.cap
    limit = f"the cap of {cap.amount:.2f} {cap.currency} before tax"
    if key == "cap":
        return (f"The bill of {cap.name} comes to {use.used:.2f} {cap.currency} with this and "
                f"passes {limit}. The customer is asked first: estimator job change.")
    return (f"With the work that is left, the bill of {cap.name} is now expected to come to "
            f"{use.comes_to:.2f} {cap.currency} and to pass {limit}. The customer is best asked "
            "now: estimator job change.")
