"""A revision is agreed to: the job gets its work items, and its day."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from estimator import durations
from estimator.errors import BadInput, Fault
from estimator.estimate import Estimate
from estimator.jobs.work import items_of, quoted_work
from estimator.ledger import Done, Item, Ledger, Revision, TimeEntry, must_wait
from estimator.quote import PRICES


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
    >>> from estimator.jobs import Wish, offer, revise
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
    >>> from estimator.jobs import Wish, offer, revise
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


__all__ = ["agree", "items_changed"]
