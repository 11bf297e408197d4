"""Looking back: one job against its estimate, and all closed jobs of a shop."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal

from estimator import control, earned, labour, variances
from estimator.collector import collector_waits
from estimator.errors import BadInput, Fault
from estimator.ledger import Frozen, Ledger, TimeEntry
from estimator.review.books import (
    AGAIN,
    CAME_BACK,
    FOUND,
    SHARES,
    Books,
    books_of,
    books_together,
    by_job,
    closed_jobs,
    in_currency,
    standard_of,
)
from estimator.review.costs import against_standard, spent
from estimator.review.hours import groups_of, merged, together
from estimator.review.progress import past_of, status_of
from estimator.review.records import (
    MARGIN_ASPECTS,
    NOT_STATED,
    SHOP_ASPECTS,
    CostLine,
    Enough,
    Group,
    GroupMargin,
    HourCost,
    JobReview,
    Margin,
    ShopReview,
)
from estimator.review.reserve import reserve_of
from estimator.scoring import held
from estimator.shop import Settings, Shop
from estimator.simulate import Stopped

PERIODS = ("month", "quarter")
MOST_PAST = 400
"""A job under way is forecast by so many of the youngest closed jobs."""
_AT_ONCE = 100
OF_THE_JOB = (FOUND, AGAIN)
"""Kinds of unbilled time that are hours of a job itself, and so are not lost."""


def of_job(ledger: Ledger, said: str, shop: Shop, *, on: date | None = None,
           done: Mapping[int, float] | None = None) -> JobReview:
    """A job against its estimate.

    Parameters
    ----------
    said
        Number or name of the job.
    on
        The day to look at it; None is today.
    done
        Share of work items that is done, 0 to 1; see `progress.done_of` for what is not said.

    Raises
    ------
    BadInput
        If there is no such job, with the nearest; nothing is booked to it yet; or `done` names
        what is not there.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     found = of_job(ledger, "Harbour Lights", shop, on=date(2026, 3, 6), done={2: 0.9})
    >>> round(found.expected, 2), found.booked, round(found.progress.earned, 2)
    (3.53, 3.35, 2.03)
    """
    job = ledger.job(said)
    on = on or date.today()
    books = books_of(ledger, job)
    if not (books.time or books.purchases or books.outwork):
        raise BadInput(Fault(f"Nothing is booked to the job {job.name} so far.",
                             f"Book hours with: estimator time add --job {job.number}"))
    past = None
    if job.state != "closed":
        past = past_of(books_together(ledger, closed_jobs(ledger)[-MOST_PAST:], amounts=False))
    number = books.sent.number
    spoiled: set[str] = set()
    held = ledger.frozen_of([number], spoiled=spoiled).get(number)
    return _review(books, held, shop, on, done, past, spoiled=number in spoiled)


@collector_waits()
def of_shop(ledger: Ledger, shop: Shop, *, on: date | None = None,
            progress: Callable[[float], bool] | None = None) -> ShopReview:
    """All closed jobs against their estimates, and where the shop's hours went.

    Parameters
    ----------
    progress
        Told the share that is done, from 0 to 1; answers whether to go on.

    Raises
    ------
    BadInput
        If no hours are booked at all.
    Stopped
        If `progress` says so.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     found = of_shop(ledger, shop, on=date(2026, 3, 6))
    >>> len(found.jobs), [(one.name, round(one.ratio, 2)) for one in found.groups["assembly"]]
    (3, [('flipper', 1.53), ('leg', 1.01)])
    """
    on = on or date.today()
    entries = ledger.together()
    if not entries:
        raise BadInput(Fault("No hours are booked so far, so there is nothing to review.",
                             "Book hours with: estimator time add"))
    progress = progress or (lambda share: True)
    jobs = tuple(_reviews(ledger, shop, on, by_job(entries), progress))
    progress(1.0)
    notes = [note for job in jobs for note in job.notes]
    if not jobs:
        notes.append("No job with hours is closed so far: estimator job close JOB.")
    hour = hour_of(entries, shop.settings)
    if not hour.unbilled:
        notes.append("No unbilled time is booked, so an hour looks cheaper than it is: "
                     "estimator time kinds.")
    known = [job for job in jobs if job.variances is not None]
    chart, charted = _chart(jobs)
    return ShopReview(
        jobs=jobs, groups=_groups(jobs), costs=_together(known),
        variances=_all_variances(known), enough=_enough(jobs), chart=chart, charted=charted,
        margins=_margins(jobs), unbilled=_unbilled(entries),
        hour=hour, notes=tuple(dict.fromkeys(notes)), reserve=reserve_of(jobs, on))


def _reviews(ledger: Ledger, shop: Shop, on: date, time: Mapping[str | None, list[TimeEntry]],
             progress: Callable[[float], bool]) -> Iterator[JobReview]:
    """Each closed job with hours against its estimate; so many at a time, for what was kept of
    all their quotes at once would fill the memory."""
    closed, standing = closed_jobs(ledger), ledger.standing()
    for start in range(0, len(closed), _AT_ONCE):
        if not progress(start / len(closed)):
            raise Stopped
        some = [job for job in closed[start: start + _AT_ONCE] if time.get(job.number)]
        some = books_together(ledger, some, standing=standing, time=time)
        spoiled: set[str] = set()
        held = ledger.frozen_of([books.sent.number for books in some], spoiled=spoiled)
        for books in some:
            number = books.sent.number
            yield _review(books, held.get(number), shop, on, spoiled=number in spoiled)


def hour_of(entries: Iterable[TimeEntry], settings: Settings) -> HourCost:
    """What an hour costs with the share of hours that was really booked to jobs.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> day = date(2026, 3, 2)
    >>> found = hour_of([TimeEntry(person="Mara", day=day, hours=6, job="A1", item=1),
    ...                  TimeEntry(person="Mara", day=day, hours=2, unbilled="sweeping")],
    ...                 open_shop().settings)
    >>> found.share, round(found.settings_cost, 2), round(found.cost, 2)
    (0.75, 63.9, 59.64)
    """
    entries = tuple(entries)
    billed = math.fsum(one.hours for one in entries
                       if one.item is not None or (one.job and one.unbilled in OF_THE_JOB))
    unbilled = math.fsum(one.hours for one in entries) - billed
    unbilled = unbilled if unbilled > 1e-9 else 0.0
    share = billed / (billed + unbilled) if billed > 0 else 0.0
    said = labour.hour_cost(settings)
    rate = labour.charge_out(said, settings.margin)
    return HourCost(billed, unbilled, settings.productive_share, said,
                    labour.hour_cost(settings, share) if share else None, rate,
                    labour.break_even(said * settings.paid_hours_per_year
                                      * settings.productive_share, rate))


def _review(books: Books, held: Frozen | None, shop: Shop, on: date, done=None, past=None, *,
            spoiled: bool = False) -> JobReview:
    books, notes = in_currency(books, shop.settings.currency)
    notes, job = list(notes), books.job
    hour_cost = labour.hour_cost(shop.settings)
    costs: tuple[CostLine, ...] = ()
    found, outcomes = None, {}
    try:
        if spoiled:
            raise BadInput(Fault(f"What quote {books.sent.number} was computed from is damaged in "
                                 "the ledger; put a backup in its place with: estimator restore "
                                 "FILE."))
        standard = standard_of(held, books.sent.number)
    except BadInput as error:
        notes.append(f"{error.faults[0].what} Its costs are not split.")
    else:
        outcomes = standard.quantiles
        if standard.currency == shop.settings.currency:
            costs, found = against_standard(books, standard, hour_cost)
        else:
            notes.append(f"{job.name} was quoted in {standard.currency}; its costs "
                         "are not split.")
    booked = books.on_items
    idle = sum(not hours for hours in booked.values())
    progress = forecast = None
    if job.state == "closed":
        if idle:
            notes.append(f"{idle} of {len(booked)} work items of {job.name} have no hours booked.")
    else:
        if found is not None:
            notes.append(f"{job.name} is not closed: what is still to come counts as not spent, "
                         "in its costs and in its margin.")
        progress = status_of(books, on, done)
        if progress is not None and past is not None:
            forecast = earned.forecast(progress, past)
        elif progress is not None:
            notes.append("The forecast from past jobs needs two closed jobs with hours.")
    return JobReview(
        job=job, level=books.sent.level, on=on, groups=groups_of(books),
        expected=math.fsum(item.expected for item in books.items),
        booked=math.fsum(booked.values()),
        found=books.hours(FOUND), again=books.hours(AGAIN), came_back=books.hours(CAME_BACK),
        unbilled=_unbilled(books.time), hour_cost=hour_cost, margin=_margin(books, hour_cost),
        costs=costs, variances=found, progress=progress, forecast=forecast, outcomes=outcomes,
        notes=tuple(notes), customer_kind=_customer_kind(held), price=float(books.sent.price),
        reserve=_reserve(books, held, shop.settings), bought_after=_bought_after(books))


def _customer_kind(held: Frozen | None) -> str:
    said = held.survey["machine"].get("customer_kind", "") if held else ""
    return " ".join(said.split()) or NOT_STATED


def _reserve(books: Books, held: Frozen | None, settings: Settings) -> float | None:
    if held is None or books.sent.currency != settings.currency:
        return None
    share = held.settings.get("warranty_share")
    return None if share is None else share * float(books.sent.price)


def _bought_after(books: Books) -> float:
    closed = books.job.closed
    return math.fsum(float(one.amount) for one in (*books.purchases, *books.outwork)
                     if closed is not None and one.day > closed)


def _margin(books: Books, hour_cost: float) -> Margin:
    income = sum((sale.amount - sale.fees for sale in books.sales), Decimal(0))
    return Margin(income if books.sales else books.sent.price, bool(books.sales),
                  spent(books, hour_cost), books.hours(CAME_BACK) * hour_cost)


def _unbilled(entries: Iterable[TimeEntry]) -> dict[str, float]:
    """Hours by kind, the most first."""
    found: dict[str, float] = defaultdict(float)
    for entry in entries:
        if entry.unbilled:
            found[entry.unbilled] += entry.hours
    return dict(sorted(found.items(), key=lambda one: (-one[1], one[0])))


def _together(jobs: Sequence[JobReview]) -> tuple[CostLine, ...]:
    return tuple(CostLine(lines[0].kind, math.fsum(line.quoted for line in lines),
                          math.fsum(line.actual for line in lines))
                 for lines in zip(*(job.costs for job in jobs), strict=True))


def _all_variances(jobs: Sequence[JobReview]) -> variances.Review | None:
    """The parts of all jobs, cause by cause; they add up as each job's do."""
    if not jobs:
        return None
    parts: dict[tuple[str, str], float] = defaultdict(float)
    for job in jobs:
        for part in job.variances.parts:
            parts[part.kind, part.cause] += part.amount
    return variances.Review(
        math.fsum(job.variances.actual for job in jobs),
        math.fsum(job.variances.quoted for job in jobs),
        tuple(variances.Part(*key, amount) for key, amount in parts.items()))


def _enough(jobs: Sequence[JobReview]) -> tuple[Enough, ...]:
    quoted = [job for job in jobs if job.outcomes]
    if not quoted:
        return ()
    came = {"hours": [job.hours for job in quoted], "cost": [job.margin.cost for job in quoted]}
    return tuple(
        Enough(what, share, held(came[what], [job.outcomes[what][share] for job in quoted]))
        for what in came for share in SHARES)


def _chart(jobs: Sequence[JobReview]) -> tuple[control.Chart | None, tuple[str, ...]]:
    points = [job for job in jobs if job.booked > 0 and job.expected > 0]
    if len(points) < 2:
        return None, ()
    return (control.ratio_chart([job.booked for job in points], [job.expected for job in points]),
            tuple(job.job.number for job in points))


def _groups(jobs: Sequence[JobReview]) -> Mapping[str, tuple[Group, ...]]:
    """Hours by what items share, and by what jobs share."""
    found = dict(together(job.groups for job in jobs))
    for by in SHOP_ASPECTS:
        groups = [merged(by, name, [one for job in alike for one in job.groups["level"]])
                  for name, alike in _alike(jobs, by)]
        found[by] = tuple(groups if by in PERIODS else
                          sorted(groups, key=lambda one: (-one.booked, one.name)))
    return found


def _margins(jobs: Sequence[JobReview]) -> Mapping[str, tuple[GroupMargin, ...]]:
    return {by: tuple(
        GroupMargin(by, name, len(alike), sum((job.margin.income for job in alike), Decimal(0)),
                    math.fsum(job.margin.cost + job.margin.warranty for job in alike))
        for name, alike in _alike(jobs, by)) for by in MARGIN_ASPECTS}


def _alike(jobs: Sequence[JobReview], by: str) -> list[tuple[str, list[JobReview]]]:
    """Jobs by what they have in common, in the order of its names; spelled as it was first."""
    found: dict[str, list[JobReview]] = defaultdict(list)
    names: dict[str, str] = {}
    for job in jobs:
        name = _common(job, by)
        found[names.setdefault(name.casefold(), name)].append(job)
    return sorted(found.items())


def _common(job: JobReview, by: str) -> str:
    closed = job.job.closed
    return {"level": job.level, "month": f"{closed:%Y-%m}",
            "quarter": f"{closed.year}-Q{(closed.month + 2) // 3}",
            "customer kind": job.customer_kind}[by]
