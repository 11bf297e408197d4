"""A job changes: a find, a wish of the customer's or a price makes a revision of its quote.

The revision is computed from what the quote that holds was computed from, its tables, settings and
random numbers among it, so that only the change moves the price. It is offered, and agreed to or
refused; only when it is agreed does the job get its work items and its day.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

from estimator import durations, winning
from estimator.errors import BadInput, Fault, one_of
from estimator.estimate import Estimate
from estimator.jobs.freezing import frozen, reopen
from estimator.jobs.work import items_of, quoted_work
from estimator.ledger import (
    Done,
    Frozen,
    Item,
    Job,
    Ledger,
    Revision,
    TimeEntry,
    must_be_open,
    must_wait,
)
from estimator.quote import PRICES, REASONS, Change, Choices, Quote, Rest, Revised, Side, quote
from estimator.quote.revision import (
    cautions_for,
    changes_of,
    rest_of,
    rows_changed,
    supplies_of,
)
from estimator.shop import Shop
from estimator.survey import Machine, Survey, merged, read

SURE = 0.8
"""Share of cases that the wait for new outwork is reckoned at."""


@dataclass(frozen=True)
class Wish:
    """What the customer takes and does without, beside what the survey says.

    Parameters
    ----------
    leave_out, put_back
        Numbers of survey lines, from 1, as the quote counts them.
    extras
        Extras by name with their counts; 0 takes one out again.
    """

    leave_out: tuple[int, ...] = ()
    put_back: tuple[int, ...] = ()
    extras: tuple[tuple[str, int], ...] = ()


# Offering


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
    _in_order(choices.on, stands, on, ready)
    used = today or shop
    if today is not None:
        _known_today(base, choices, used)
    if isinstance(survey, str | Path):
        survey = read(survey, used.catalogue, final=True)
    now = merged(base, _same_machine(survey, base.machine)) if survey is not None else base
    now = replace(now, file=survey.file if survey is not None else base.file)
    _whole(base, now, choices, used)
    then = _chosen(choices, now, wish, on)

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
    changes = _reasoned(changes, reasons)
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


# Answering


def agree(ledger: Ledger, number: str, *, on: date | None = None, promised: date | None = None,
          note: str = "") -> tuple[Revision, tuple[Item, ...], tuple[Item, ...], tuple[str, ...]]:
    """The customer agrees to a revision: the job gets its items, and its day.

    Items that it does without are dropped where no hours are booked to them and they are not
    done; the others stay. Returns the revision, the items that came and those that went, and the
    numbers of other revisions that are refused with it.

    Parameters
    ----------
    number
        Of the revision, or of the job where one waits for an answer.
    on
        The day of the answer; None is today.
    promised
        When the job is promised for from now on; None takes the day that was offered.
    note
        A remark; may be blank.

    Raises
    ------
    BadInput
        If there is no such revision, it was answered already, or the day promised lies before
        the answer.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     found, used = revise(ledger, "Harbour Lights", reasons=["wish"], on=date(2026, 3, 9),
    ...                          wish=Wish(extras=(("extra-led-set", 1),)))
    ...     number = offer(ledger, found, used).number
    ...     agreed, came, went, refused = agree(ledger, number, on=date(2026, 3, 10))
    >>> agreed.answer, [item.operation for item in came], went, refused
    ('agreed', ['led-set-fit'], (), ())
    """
    on = on or date.today()
    revision = ledger.revision(number)
    # Whether it can be answered is told before anything is worked out.
    must_wait(revision)
    promised = promised or revision.ready
    if promised is not None and promised < on:
        raise BadInput(Fault(f"The job would be promised for {promised}, before it was agreed "
                             f"on {on}.", "Write a later day with --promised.",
                             column="promised"))
    came, went = items_changed(ledger, revision)
    kept, others = ledger.agree(
        revision.number, on, promised=promised, items=came, note=note,
        dropped=[item.item for item in went])
    return kept, came, went, others


def items_changed(ledger: Ledger, revision: Revision
                  ) -> tuple[tuple[Item, ...], tuple[Item, ...]]:
    """Work items that a revision brings to its job, and those that it drops.

    On each line that changed, an item that is as before stays. Of one that is not, what has hours
    booked or is done stays and only what is left of it is added; the rest is dropped and the whole
    is added. A set-up is done once a job: new items carry what is left of it.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     found, used = revise(ledger, "Harbour Lights", on=date(2026, 3, 9), reasons=["wish"],
    ...                          wish=Wish(extras=(("extra-led-set", 1),)))
    ...     came, went = items_changed(ledger, offer(ledger, found, used))
    >>> bool(came), went
    (True, ())
    """
    _, target, shop = quoted_work(ledger, revision.number)
    wanted = items_of(revision.job, target, shop.catalogue)
    held = ledger.items(revision.job)
    busy = {entry.item for entry in ledger.entries(TimeEntry, job=revision.job)}
    busy |= {mark.item for mark in ledger.entries(Done, job=revision.job)}
    busy |= {clock.item for clock in ledger.clocks() if clock.job == revision.job}
    first = {number: len(ledger.frozen(number).survey["lines"])
             for number in {item.quote for item in held}}
    touched = {change["key"] for change in revision.changes}

    def key(item: Item, extras_from: int) -> tuple[str, str]:
        return (f"extra-{item.assembly}" if item.line > extras_from else f"line-{item.line}",
                item.operation)

    there: dict[tuple, list[Item]] = defaultdict(list)
    for item in held:
        there[key(item, first[item.quote])].append(item)
    aims: dict[tuple, list[Item]] = defaultdict(list)
    for item in wanted:
        aims[key(item, target.scope.first_extra)].append(item)
    came: list[Item] = []
    went: list[Item] = []
    for place in dict.fromkeys([*there, *aims]):
        if place[0] not in touched and PRICES not in touched:
            continue
        some_came, some_went = _exchanged(there[place], aims[place], busy)
        came += some_came
        went += some_went
    last = max((item.item for item in ledger.items(revision.job, dropped=True)), default=0)
    gone = {item.item for item in went}
    came = _set_up(came, [item for item in held if item.item not in gone], target,
                   shop.settings.hours_shape)
    return (tuple(replace(item, item=number, quote=revision.number)
                  for number, item in enumerate(came, last + 1)), tuple(went))


def _exchanged(there: Sequence[Item], aims: Sequence[Item], busy: set[int]
               ) -> tuple[list[Item], list[Item]]:
    """Of one operation on one line: what comes and what goes, so that its hours are as aimed."""
    sums = [[math.fsum(getattr(item, name) for item in items) for name in ("low", "typical",
                                                                           "high")]
            for items in (there, aims)]
    if there and aims and all(math.isclose(was, now, rel_tol=1e-9, abs_tol=1e-9)
                              for was, now in zip(*sums, strict=True)):
        return [], []
    kept = [item for item in there if item.item in busy]
    went = [item for item in there if item.item not in busy]
    if not kept or not aims:
        return list(aims), went
    low, typical, high = (
        max(0.0, now - math.fsum(getattr(item, name) for item in kept))
        for name, now in zip(("low", "typical", "high"), sums[1], strict=True))
    if high <= 1e-9:
        return [], went
    typical = max(low, typical)
    return [replace(aims[0], low=low, typical=typical, high=max(typical, high))], went


def _set_up(came: Sequence[Item], stay: Sequence[Item], target: Estimate, shape: str
            ) -> list[Item]:
    """The new items with what is left of each operation's set-up, and their expected hours."""
    left: dict[str, float] = defaultdict(float)
    for item in target.items:
        left[item.work.operation.operation] += item.setup
    for item in stay:
        left[item.operation] -= item.setup
    shares: dict[str, float] = defaultdict(float)
    for item in came:
        shares[item.operation] += item.setup
    done = []
    for item in came:
        whole = shares[item.operation]
        setup = max(0.0, left[item.operation]) * item.setup / whole if whole else 0.0
        mean = durations.mean_of(item, shape)
        done.append(replace(item, setup=setup, expected=(mean + setup) * target.hours_factor))
    return done


# What is asked for


def _in_order(quoted: date, stands: str, on: date, ready: date | None) -> None:
    """Refuse a change offered before the quote it changes, or ready before it is offered."""
    if on < quoted:
        raise BadInput(Fault(f"{on} is before the quote {stands} of {quoted}, which it "
                             "would take the place of.", "Write a later day.", column="date"))
    if ready is not None and ready < on:
        raise BadInput(Fault(f"The job would be ready on {ready}, before the change is offered "
                             f"on {on}.", "Write a later day.", column="ready"))


def _same_machine(survey: Survey, machine: Machine) -> Survey:
    """The survey, if it is of that machine."""
    wrong = []
    for name in ("title", "serial", "era"):
        was, now = getattr(machine, name) or "", getattr(survey.machine, name) or ""
        plain = [" ".join(str(word).split()).casefold() for word in (was, now)]
        if all(plain) and plain[0] != plain[1]:
            wrong.append(Fault(f'The survey is of another machine: its {name} is "{now}", and '
                               f'that of the job is "{was}".',
                               "Name the survey of this job's machine.", survey.file or None,
                               None, name))
    if wrong:
        raise BadInput(wrong)
    return survey


def _known_today(survey: Survey, choices: Choices, shop: Shop) -> None:
    names = {line.assembly for line in survey.lines} | {name for name, _ in choices.added}
    faults = [Fault(f"The job has {name}, and today's assemblies.csv does not.",
                    "Put that row back, or keep the tables of the quote.")
              for name in sorted(names - shop.catalogue.assemblies.keys())]
    if faults:
        raise BadInput(faults)


def _whole(base: Survey, now: Survey, choices: Choices, shop: Shop) -> None:
    """A survey holds all lines: what cannot be left out cannot be missing from it either."""
    live = [{line.assembly for line in survey.lines if line.count} for survey in (base, now)]
    lost = [name for name in dict.fromkeys(line.assembly for line in base.lines)
            if name in live[0] - live[1] and not shop.catalogue.assemblies[name].droppable]
    if lost:
        named = ", ".join(lost[:3]) + (f" and {len(lost) - 3} more" if len(lost) > 3 else "")
        raise BadInput(Fault(
            f"The survey has no line any more for {named}, which cannot be left out.",
            "A changed survey holds all lines, and not the new ones alone: estimator job survey "
            "writes those of the job to begin with.", now.file or None))


def _chosen(choices: Choices, survey: Survey, wish: Wish, on: date) -> Choices:
    """The choices with the customer's wishes."""
    faults, count = [], len(survey.lines)
    for number in (*wish.leave_out, *wish.put_back):
        if not 1 <= number <= count:
            faults.append(Fault(f"There is no line {number}.", f"The job has {count} lines."))
        elif not survey.lines[number - 1].count:
            faults.append(Fault(f"Line {number} is not in the survey any more.",
                                "Put it into the survey file."))
    out = {number - 1 for number in wish.leave_out}
    back = {number - 1 for number in wish.put_back}
    faults += [Fault(f"Line {place + 1} is not left out and cannot be put back.",
                     f"Left out are: {_listed(choices.dropped)}.")
               for place in sorted(back - choices.dropped) if place < count]
    faults += [Fault(f"Line {place + 1} is left out already.", "Name another one.")
               for place in sorted(out & choices.dropped)]
    extras = dict(choices.added)
    for name, wanted in wish.extras:
        if wanted == 0 and name not in extras:
            faults.append(Fault(f"{name} is not among the extras taken.",
                                one_of(name, list(extras)) if extras else "None was taken."))
        extras[name] = wanted
    if faults:
        raise BadInput(faults)
    dropped = frozenset(place for place in (choices.dropped - back) | out
                        if survey.lines[place].count)
    return replace(choices, dropped=dropped, on=on,
                   added=tuple((name, wanted) for name, wanted in extras.items() if wanted))


def _listed(places: Iterable[int]) -> str:
    return ", ".join(str(place + 1) for place in sorted(places)) or "none"


def _reasoned(changes: Sequence[Change], said: Sequence[str]) -> tuple[Change, ...]:
    """The changes, each with its reason."""
    own: dict[str, tuple[str, str]] = {}
    for_all: dict[str, tuple[str, str]] = {}
    faults = []
    known = {change.key for change in changes}
    names = [key.removeprefix("line-").removeprefix("extra-") for key in known]
    for word in said:
        place, sign, _ = word.partition("=")
        if not sign or ":" in place:
            place, told = "", word
        else:
            told = word.partition("=")[2]
        kind, _, words = (part.strip() for part in told.partition(":"))
        kind = kind.casefold()
        if kind not in REASONS:
            faults.append(Fault(f'"{kind}" is no reason for a change.', one_of(kind, REASONS)
                                + ' Words go with it in quotes: "find: cracked".'))
            continue
        place = place.strip()
        key = next((key for key in (place, f"line-{place}", f"extra-{place}") if key in known), "")
        if place and not key:
            faults.append(Fault(f"{place} has not changed, and a reason is given for it.",
                                f"What changed: {', '.join(sorted(names))}."))
        elif (kind == "price") != (key == PRICES) and place:
            faults.append(Fault(
                "Prices change because of a price, and a line because of a find or a wish.",
                "Write price for the prices of today, find or wish for a line."))
        elif place:
            own[key] = kind, words
        else:
            for_all["price" if kind == "price" else "line"] = kind, words
    lines = [reason for reason in said if reason.partition(":")[0].strip().casefold() in
             ("find", "wish")]
    if len({one.partition(":")[0].strip().casefold() for one in lines}) > 1:
        faults.append(Fault("A find and a wish are both given for all lines.",
                            "Say which line is which, such as 60=find 12=wish."))
    found = []
    for change in changes:
        kind, words = own.get(change.key) or for_all.get(
            "price" if change.key == PRICES else "line", ("", ""))
        if not kind:
            name = change.key.removeprefix("line-").removeprefix("extra-")
            faults.append(Fault(
                f"{change.title} ({change.said}): no reason is given." if change.line is None
                else f"Line {change.line + 1}, {change.title} ({change.said}): no reason is given.",
                "Add --reason price, with a word why if need be." if change.key == PRICES else
                f"Add --reason find or wish for all lines, or {name}=find for this one."))
        found.append(replace(change, reason=kind, words=words))
    if faults:
        raise BadInput(faults)
    return tuple(found)


# Before and after


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


__all__ = ["Wish", "agree", "items_changed", "offer", "revise", "survey_of"]
