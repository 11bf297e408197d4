"""A job changes: a find, a wish of the customer's or a price makes a revision of its quote.

The revision is computed from what the quote that holds was computed from, its tables, settings and
random numbers among it, so that only the change moves the price. It is offered, and agreed to or
refused; only when it is agreed does the job get its work items and its day.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

from estimator import durations, winning
from estimator.errors import BadInput, Fault
from estimator.jobs.asked import (
    Wish,
    chosen,
    in_order,
    known_today,
    reasoned,
    same_machine,
    whole,
)
from estimator.jobs.freezing import frozen, reopen
from estimator.ledger import Frozen, Job, Ledger, Revision, must_be_open
from estimator.quote import PRICES, Change, Quote, Rest, Revised, Side, quote
from estimator.quote.revision import (
    cautions_for,
    changes_of,
    rest_of,
    rows_changed,
    supplies_of,
)
from estimator.shop import Shop
from estimator.survey import Survey, merged, read

SURE = 0.8
"""Share of cases that the wait for new outwork is reckoned at."""


def revise(ledger: Ledger, said: str, survey: Survey | Path | str | None = None, *,
           reasons: Sequence[str] = (), wish: Wish | None = None, today: Shop | None = None,
           on: date | None = None, ready: date | None = None) -> tuple[Revised, Shop]:
    """Work out a revision of a job; nothing is kept. Returns it, and the shop it is computed with.

    Parameters
    ----------
    said
        Number or name of the job.
    survey
        The survey as it is now, or its file; None where only the customer's choices change. Lines
        are matched with those of the quote by what they say.
    reasons
        Why, for each change: "find" or "wish" for all lines, "60=find" for one, "price" for what
        today's tables and settings change; words may follow, as in "60=find: cracked at a screw".
    today
        Takes tables and settings of this shop; None keeps those of the quote.
    on
        The day it is offered; None is today.
    ready
        When the job would be ready with it; None works it out.

    Raises
    ------
    BadInput
        If there is no such job or it is closed; the survey is of another machine, lacks what
        cannot be left out, or has faults; nothing changes; or a change has no reason. Every fault
        of one kind at once.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     found, used = revise(ledger, "Harbour Lights", reasons=["wish"], on=date(2026, 3, 9),
    ...                          wish=Wish(extras=(("extra-led-set", 1),)))
    >>> [(one.title, one.said) for one in found.changes], found.after.price > found.before.price
    ([('LED set for the whole machine', 'taken')], True)
    """
    on, wish = on or date.today(), wish or Wish()
    job = ledger.job(said)
    must_be_open(job)
    stands = ledger.holds(job.number)
    base, choices, shop = reopen(ledger, stands)
    held = ledger.frozen(stands)
    in_order(choices.on, stands, on, ready)
    used = today or shop
    if today is not None:
        known_today(base, choices, used)
    if isinstance(survey, str | Path):
        survey = read(survey, used.catalogue, final=True)
    now = merged(base, same_machine(survey, base.machine)) if survey is not None else base
    now = replace(now, file=survey.file if survey is not None else base.file)
    whole(base, now, used)
    then = chosen(choices, now, wish, on)

    before = quote(base, choices, shop, compare=False)
    start = before if today is None else quote(base, choices, used, compare=False)
    offer = quote(now, then, used)
    if offer.price <= 0:
        raise BadInput(Fault("Nothing of the work would be left.",
                             f"Close the job instead: estimator job close {job.number}"))
    changes = changes_of(start, offer)
    rest = rest_of(start, offer, changes)
    priced, rows = _priced_anew(before, start, shop, used)
    changes += priced
    if not changes:
        raise BadInput(Fault(
            f"Nothing is different from the quote {stands}, which holds for {job.name}"
            + (" (notes do not count)." if now.lines != base.lines else "."),
            "Change the survey, or say what to leave out or add; or keep the job as it is."))
    changes = reasoned(changes, reasons)
    sent = Decimal(str(held.answer["price"]))
    if sent != before.price:
        rest += (Rest("recomputed", "Computed anew by this version of the program",
                      before.price - sent),)
    lines = {one.line for one in changes if one.line is not None} | {
        place for place in range(offer.job.scope.first_extra, len(offer.job.scope.lines))
        if f"extra-{offer.job.scope.lines[place].assembly}" in {one.key for one in changes}}
    others = [one.number for one in ledger.revisions(job.number) if one.number != offer.number]
    sides, notes = _sides(job, held, before, offer, lines, on, ready)
    return Revised(
        offer=offer, job=job.number, name=job.name, nth=len(others) + 1, before=sides[0],
        after=sides[1], changes=changes, rest=rest, rows=rows,
        supplies=supplies_of(before.job, offer.job),
        cautions=cautions_for(offer.job, lines, used.catalogue),
        booked=ledger.counted(job=job.number)[1],
        notes=tuple(notes)), used


def offer(ledger: Ledger, found: Revised, shop: Shop,
          then: Callable[[], object] = lambda: None) -> Revision:
    """Keep a revision as it is offered, frozen; returns it as kept.

    Parameters
    ----------
    found, shop
        As `revise` returned them.
    then
        Called last, such as for writing papers: if it fails, nothing is kept.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     found, used = revise(ledger, "Harbour Lights", reasons=["wish"], on=date(2026, 3, 9),
    ...                          wish=Wish(extras=(("extra-led-set", 1),)))
    ...     offer(ledger, found, used).answer
    'open'
    """
    return ledger.offer(
        winning.sent_of(found.offer), frozen(found.offer, shop, found.before.number),
        Revision(found.offer.number, found.job, found.before.number, found.offer.on,
                 found.after.ready, [_kept(one) for one in found.changes]),
        then)


def survey_of(ledger: Ledger, said: str) -> tuple[Survey, Shop]:
    """The survey of the quote that holds for a job, to be changed; and the shop it was read with.

    Lines that are gone are not in it.

    Parameters
    ----------
    said
        Number or name of the job.

    Raises
    ------
    BadInput
        If there is no such job, or what it was computed from is not known.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     [line.assembly for line in survey_of(ledger, "Harbour Lights")[0].lines]
    ['flipper', 'leg']
    """
    job = ledger.job(said)
    survey, _, shop = reopen(ledger, ledger.holds(job.number))
    return replace(survey, lines=tuple(line for line in survey.lines if line.count)), shop


def _priced_anew(before: Quote, start: Quote, shop: Shop, used: Shop
                 ) -> tuple[tuple[Change, ...], tuple[str, ...]]:
    """What other tables and settings make of a quote, as a change; and the rows they differ in."""
    if _figures(start) == _figures(before):
        return (), ()
    rows = rows_changed(shop.catalogue, used.catalogue, before.settings, start.settings)
    count = "1 row is" if len(rows) == 1 else f"{len(rows)} rows are"
    return (Change(
        PRICES, "prices", "Prices, rates and hours of today", f"{count} not as in the quote",
        amount=start.price - before.price,
        hours=math.fsum(line.hours for line in start.lines)
        - math.fsum(line.hours for line in before.lines)),), rows


def _sides(job: Job, held: Frozen, before: Quote, after: Quote, lines: set[int], on: date,
           ready: date | None) -> tuple[tuple[Side, Side], list[str]]:
    """Figures before and after, and notes on the day."""
    was = held.answer
    days = [math.ceil(found.odds.at("days", 0.8)[0]) for found in (before, after)]
    day_before = job.promised or job.accepted + timedelta(days=days[0])
    notes = []
    if day_before < on:
        notes.append(f"The day before the change, {day_before}, has passed: the days that the "
                     f"change adds are counted from {on}.")
    day_after = max(max(day_before, on) + timedelta(days=days[1] - days[0]), on)
    for lot in after.job.lots:
        if set(lot.shares) & lines:
            wait = math.ceil(durations.mean_of(lot.days)
                             + durations.normal_quantile(SURE) * durations.pert_sd(
                                 lot.days.low, lot.days.typical, lot.days.high))
            back = on + timedelta(days=wait)
            if back > day_after:
                day_after = back
                notes.append(f"{lot.name}: away until about {back}, if it goes out on {on}; the "
                             "job is not ready before.")
    hours = after.odds.at("hours", 0.5, 0.8)
    cap = was.get("cap")
    sides = (
        Side(held.number, Decimal(str(was["price"])), Decimal(str(was["total"])),
             None if cap is None else Decimal(str(cap)), was["hours_p50"], was["hours_p80"],
             was["days_p80"], day_before, job.promised is not None),
        Side(after.number, after.price, after.total, after.cap, hours[0], hours[1],
             after.odds.at("days", 0.8)[0], ready or day_after, ready is not None))
    return sides, notes


def _figures(offer: Quote) -> tuple:
    """What a customer sees of a quote: whether prices of today change anything."""
    return (offer.price, offer.total, offer.cap, *offer.odds.at("hours", 0.5, 0.8),
            *offer.odds.at("days", 0.8))


def _kept(change: Change) -> Mapping:
    """A change as JSON values."""
    return asdict(change) | {"amount": str(change.amount)}


__all__ = ["offer", "revise", "survey_of"]
