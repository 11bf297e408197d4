"""A quote that takes the place of another: what changed, why, and what that comes to.

The two are computed from the same random numbers, so that what differs is the change and no noise.
Every difference of price stands somewhere: with a change, or with what follows from all of them
(`rest`); together they are the difference of the two prices, to the cent.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Literal

from estimator.catalogue import CONDITIONS, Catalogue, Caution, Certainty
from estimator.durations import mean_of
from estimator.estimate import Estimate
from estimator.money import as_number
from estimator.quote.records import Quote
from estimator.quote.terms import cautions_of
from estimator.shop import Settings
from estimator.survey import differences

REASONS = ("find", "wish", "price")
"""Why a job changes: damage that came to light, the customer's wish, or what things cost now."""
PRICES = "prices"
"""Key of the change that today's tables and settings make."""


@dataclass(frozen=True)
class Change:
    """One thing that is different.

    Parameters
    ----------
    key
        "line-12", "extra-led-set" or "prices".
    kind
        "added", "left out", "brought back", "worse", "better", "changed" or "prices".
    title
        Of the line.
    said
        What is different, in words.
    reason
        One of `REASONS`; blank while none was given.
    words
        The shop's own words to it.
    note
        The surveyor's note on the line.
    amount
        What it adds to the price, before tax; under 0 where it takes away. [currency]
    hours
        What it adds to the expected hours. [h]
    line
        Index of the survey line; None for extras and prices.
    """

    key: str
    kind: str
    title: str
    said: str
    reason: str = ""
    words: str = ""
    note: str = ""
    amount: Decimal = Decimal(0)
    hours: float = 0.0
    line: int | None = None


@dataclass(frozen=True)
class Rest:
    """What follows from all changes together: finds, cover, what lines share. [money], [h]"""

    key: Literal["finds", "cover", "shared", "recomputed"]
    title: str
    amount: Decimal
    hours: float = 0.0


@dataclass(frozen=True)
class Side:
    """The job before a change, or after it: price and cap before tax [money], hours [h], days
    until it is ready [d], and that day.

    `promised` says whether `ready` is a day that was promised; else it is what the quote expects,
    or None.
    """

    number: str
    price: Decimal
    total: Decimal
    cap: Decimal | None
    hours_p50: float
    hours_p80: float
    days_p80: float
    ready: date | None
    promised: bool = False


@dataclass(frozen=True)
class Supply:
    """A part, material or service that more, or less, of is needed.

    `before` and `after` in `unit`; `cost` is the expected difference. [money]
    """

    kind: Literal["part", "material", "outwork"]
    item: str
    name: str
    unit: str
    before: float
    after: float
    cost: float


@dataclass(frozen=True)
class Revised:
    """A revision of a job, as it is offered to the customer.

    Parameters
    ----------
    offer
        The quote that takes the place of `before.number`.
    job, name
        Number and name of the job.
    nth
        Which revision of the job it is; the first one offered is 1.
    changes, rest
        Their amounts add up to the difference of the prices.
    rows
        Rows of tables and settings that are not as they were, in words.
    supplies
        What is bought and sent out more, or less.
    cautions
        Of the work that was added or changed.
    booked
        Hours booked to the job so far. [h]
    notes
        What to know besides.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_shop
    >>> from estimator.jobs import Wish, revise
    >>> with small_shop() as (ledger, shop):
    ...     found, used = revise(ledger, "Harbour Lights", reasons=["wish"], on=date(2026, 3, 9),
    ...                          wish=Wish(extras=(("extra-led-set", 1),)))
    >>> together = sum(one.amount for one in (*found.changes, *found.rest))
    >>> found.after.price - found.before.price == together, found.settings.currency
    (True, 'USD')
    """

    offer: Quote
    job: str
    name: str
    nth: int
    before: Side
    after: Side
    changes: tuple[Change, ...]
    rest: tuple[Rest, ...]
    rows: tuple[str, ...]
    supplies: tuple[Supply, ...]
    cautions: tuple[Caution, ...]
    booked: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def settings(self) -> Settings:
        """The settings that the revision was computed with."""
        return self.offer.settings


def changes_of(before: Quote, after: Quote) -> tuple[Change, ...]:
    """What the lines of a quote say that those of an earlier one did not; amounts by line.

    The survey of the later one must be in the order of the earlier one (`survey.merged`).

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.quote import quote
    >>> from estimator.shop import open_shop
    >>> before = small_quote()
    >>> after = quote(before.survey, replace(before.choices, added=(("extra-led-set", 1),)),
    ...               open_shop(), compare=False)
    >>> [(one.title, one.said, one.amount > 0) for one in changes_of(before, after)]
    [('LED set for the whole machine', 'taken', True)]
    """
    old, new = _prices(before), _prices(after)
    changes = []
    for place, line in enumerate(after.survey.lines):
        was = before.survey.lines[place] if place < len(before.survey.lines) else None
        there = was is not None and bool(was.count) and place not in before.choices.dropped
        here = bool(line.count) and place not in after.choices.dropped
        if there and here:
            said = differences(was, line)
            kind = _kind(was.condition, line.condition)
        else:
            said = (_moved(was, line, place in after.choices.dropped, here),) \
                if there != here else ()
            kind = "left out" if there else "brought back" if was is not None else "added"
        if said:
            title = (before if there and not here else after).titles[place]
            changes.append(_priced(Change(f"line-{place + 1}", kind, title, ", ".join(said),
                                          note=line.note, line=place), ("line", place), old, new))
    old_extras, new_extras = dict(before.choices.added), dict(after.choices.added)
    for name in dict.fromkeys([*old_extras, *new_extras]):
        was, now = old_extras.get(name, 0), new_extras.get(name, 0)
        if was != now:
            kind = "added" if not was else "left out" if not now else "changed"
            said = {"added": "taken", "left out": "not taken"}.get(kind, f"{was}, now {now}")
            changes.append(_priced(
                Change(f"extra-{name}", kind, _extra(name, after if now else before), said),
                ("extra", name), old, new))
    return tuple(changes)


def rest_of(before: Quote, after: Quote, changes: Iterable[Change]) -> tuple[Rest, ...]:
    """What differs beside the changes: with their amounts it makes up the difference of price.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.quote import quote
    >>> from estimator.shop import open_shop
    >>> before = small_quote()
    >>> after = quote(before.survey, replace(before.choices, added=(("extra-led-set", 1),)),
    ...               open_shop(), compare=False)
    >>> changes = changes_of(before, after)
    >>> told = [one.amount for one in (*changes, *rest_of(before, after, changes))]
    >>> sum(told) == after.price - before.price
    True
    """
    old, new = _prices(before), _prices(after)
    found = []
    for key, title in (("finds", "Allowance for finds"), ("cover", "Fixed-price cover")):
        amount, hours = _difference((key, key), old, new)
        found.append(Rest(key, title, amount, hours))
    told = [*changes, *found]
    hours = math.fsum(h for _, h in new.values()) - math.fsum(h for _, h in old.values())
    found.append(Rest(
        "shared", "Other lines, which share set-ups and lots",
        after.price - before.price - sum((one.amount for one in told), Decimal(0)),
        hours - math.fsum(one.hours for one in told)))
    return tuple(one for one in found if one.amount or abs(one.hours) > 1e-6)


def supplies_of(before: Estimate, after: Estimate) -> tuple[Supply, ...]:
    """Parts, materials and outwork of which the later estimate needs more or less.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> job = small_quote().job
    >>> less = replace(job, supplies=job.supplies[1:])
    >>> [(one.item, one.before, one.after) for one in supplies_of(job, less)]
    [('flipper-kit', 2.0, 0.0)]
    """
    sides = [_needed(before), _needed(after)]
    found = []
    for key in dict.fromkeys([*sides[0], *sides[1]]):
        name, unit = (sides[1].get(key) or sides[0][key])[:2]
        (was, cost_was), (now, cost_now) = (
            side[key][2:] if key in side else (0.0, 0.0) for side in sides)
        if abs(now - was) > 1e-9:
            found.append(Supply(*key, name, unit, was, now, cost_now - cost_was))
    return tuple(found)


def cautions_for(job: Estimate, lines: Iterable[int], catalogue: Catalogue) -> tuple[Caution, ...]:
    """The cautions of the work on these lines alone.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> [row.caution for row in cautions_for(small_quote().job, [1], open_shop().catalogue)]
    ['lifting', 'tumbling-dust', 'lead', 'waste']
    """
    lines = set(lines)
    return cautions_of(replace(
        job,
        items=tuple(item for item in job.items if item.line in lines),
        supplies=tuple(supply for supply in job.supplies if supply.line in lines),
        lots=tuple(lot for lot in job.lots if lines & set(lot.shares)),
        risks=tuple(risk for risk in job.risks if risk.line in lines)), catalogue)


def rows_changed(before: Catalogue, after: Catalogue, old: Settings, new: Settings
                 ) -> tuple[str, ...]:
    """Rows of tables and settings that are not as they were, each in words; dates do not count.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> shop = open_shop()
    >>> dearer = shop.settings.model_copy(update={"pay_per_hour": 31.5})
    >>> rows_changed(shop.catalogue, shop.catalogue, shop.settings, dearer)
    ('shop.toml: pay_per_hour 30.0, now 31.5',)
    """
    found = []
    for table, rows in after.tables.items():
        was = before.tables.get(table, {})
        for key in dict.fromkeys([*was, *rows]):
            parts = key if isinstance(key, tuple) else (key,)
            name = " ".join(str(part) for part in parts if part is not None)
            if key not in rows or key not in was:
                found.append(f"{table}.csv, {name}: {'gone' if key not in rows else 'new'}")
                continue
            found += [f"{table}.csv, {name}: {said}" for said in _fields(was[key], rows[key])]
    found += [f"shop.toml: {said}" for said in _fields(old, new)]
    return tuple(found)


def revised_dict(found: Revised) -> dict:
    """A revision as plain numbers and words: the contract of `change.json` and `--json`.

    Amounts are before tax, in `currency`, unless a key says otherwise; keys are added over time,
    never changed.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_shop
    >>> from estimator.jobs import Wish, revise
    >>> with small_shop() as (ledger, shop):
    ...     found, used = revise(ledger, "Harbour Lights", reasons=["wish"], on=date(2026, 3, 9),
    ...                          wish=Wish(extras=(("extra-led-set", 1),)))
    >>> made = revised_dict(found)
    >>> made["changes"][0]["key"], made["nth"], made["price_more"] > 0
    ('extra-extra-led-set', 1, True)
    """
    return {
        "number": found.offer.number, "revision_of": found.before.number, "nth": found.nth,
        "job": found.job, "name": found.name, "date": found.offer.on.isoformat(),
        "currency": found.settings.currency, "pricing": found.offer.choices.pricing,
        "before": _side(found.before), "after": _side(found.after),
        "price_more": as_number(found.after.price - found.before.price),
        "total_more": as_number(found.after.total - found.before.total),
        "hours_p50_more": round(found.after.hours_p50 - found.before.hours_p50, 2),
        "hours_p80_more": round(found.after.hours_p80 - found.before.hours_p80, 2),
        "days_more": (found.after.ready - found.before.ready).days
        if found.after.ready and found.before.ready else None,
        "hours_booked": round(found.booked, 4),
        "changes": [
            {"key": one.key, "line": None if one.line is None else one.line + 1,
             "kind": one.kind, "title": one.title, "said": one.said, "reason": one.reason,
             "words": one.words, "note": one.note, "price_more": as_number(one.amount),
             "hours_mean_more": round(one.hours, 3)} for one in found.changes],
        "rest": [{"key": one.key, "title": one.title, "price_more": as_number(one.amount),
                  "hours_mean_more": round(one.hours, 3)} for one in found.rest],
        "rows_changed": list(found.rows),
        "supplies": [
            {"kind": one.kind, "item": one.item, "name": one.name, "unit": one.unit,
             "quantity_before": round(one.before, 3), "quantity_after": round(one.after, 3),
             "cost_mean_more": round(one.cost, 2)} for one in found.supplies],
        "cautions": [row.text for row in found.cautions],
        "notes": list(found.notes),
    }


def _side(side: Side) -> dict:
    return {
        "number": side.number, "price": as_number(side.price), "total": as_number(side.total),
        "cap": None if side.cap is None else as_number(side.cap),
        "hours_p50": round(side.hours_p50, 2), "hours_p80": round(side.hours_p80, 2),
        "days_p80": round(side.days_p80, 1),
        "ready": side.ready.isoformat() if side.ready else None, "promised": side.promised}


def _prices(offer: Quote) -> dict[tuple, tuple[Decimal, float]]:
    """Price and expected hours of each line, under a key that other lines do not move."""
    first = offer.job.scope.first_extra
    found: dict[tuple, tuple[Decimal, float]] = {}
    for row in offer.lines:
        if row.line is None:
            key = row.key, row.key
        elif row.line < first:
            key = "line", row.line
        else:
            key = "extra", offer.job.scope.lines[row.line].assembly
        amount, hours = found.get(key, (Decimal(0), 0.0))
        found[key] = amount + row.price, hours + row.hours
    return found


def _difference(key: tuple, old: Mapping, new: Mapping) -> tuple[Decimal, float]:
    (was, hours_was), (now, hours_now) = (side.get(key, (Decimal(0), 0.0)) for side in (old, new))
    return now - was, hours_now - hours_was


def _priced(change: Change, key: tuple, old: Mapping, new: Mapping) -> Change:
    amount, hours = _difference(key, old, new)
    return replace(change, amount=amount, hours=hours)


def _kind(was, now) -> str:
    steps = CONDITIONS.index(now) - CONDITIONS.index(was)
    return "worse" if steps > 0 else "better" if steps < 0 else "changed"


def _moved(was, line, left_out: bool, here: bool) -> str:
    """In words that a line came into the work or went out of it."""
    if not here:
        return "left out" if left_out else "no longer in the survey"
    unsure = "" if line.certainty == Certainty.SEEN else f", {line.certainty}"
    return f"{'new' if was is None else 'back in the work'}: condition {line.condition}{unsure}"


def _extra(name: str, offer: Quote) -> str:
    scope = offer.job.scope
    return next(offer.titles[place] for place in range(scope.first_extra, len(scope.lines))
                if scope.lines[place].assembly == name)


def _needed(job: Estimate) -> dict[tuple[str, str], tuple[str, str, float, float]]:
    """Of each part, material and service: name, unit, quantity and expected cost."""
    found: dict[tuple[str, str], tuple[str, str, float, float]] = {}
    for one in job.supplies:
        key = "part" if one.does == "part" else "material", one.item
        _, _, quantity, cost = found.get(key, ("", "", 0.0, 0.0))
        found[key] = one.name, one.unit, quantity + one.quantity, cost + mean_of(one.cost)
    for lot in job.lots:
        found["outwork", lot.service] = lot.name, lot.unit, lot.quantity, mean_of(lot.charge)
    return found


def _fields(was, now) -> list[str]:
    if was == now:
        return []
    return [f"{name} {getattr(was, name)}, now {getattr(now, name)}"
            for name in type(now).model_fields
            if getattr(was, name) != getattr(now, name) and name not in ("dated", "ledger")]


__all__ = ["PRICES", "REASONS", "Change", "Rest", "Revised", "Side", "Supply", "cautions_for",
           "changes_of", "rest_of", "revised_dict", "rows_changed", "supplies_of"]
