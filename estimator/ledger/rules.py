"""What may be booked: pure rules that refuse what cannot be and ask about what seldom is.

A rule gets an entry and what the ledger knows, and yields faults and questions; it changes
nothing. Times of day are those of this computer.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from estimator.errors import BadInput, Fault, one_of, quoted
from estimator.ledger.records import (
    Clock,
    Done,
    Entry,
    Item,
    Job,
    Outwork,
    Question,
    Sale,
    TimeEntry,
    no_job,
)
from estimator.money import minor_digits

DAY_HOURS = 24
LONG_DAY_HOURS = 14
"""A person's day over this is asked about. [h]"""
LONG_CLOCK_HOURS = 12
"""A clock that runs longer was probably forgotten. [h]"""
LONG_AGO_DAYS = 60
"""A day further back is asked about: often the year is a slip."""
LEAST_HOURS = 0.0001
"""Less than a clock can tell. [h]"""
LEAST_QUANTITY = 0.001
MOST = 1e12
"""No sum and no count of a shop is over it; larger ones only overflow on the way."""
_DUST = 1 / 3600


@dataclass(frozen=True)
class Known:
    """What the ledger knows that bears on new entries.

    Parameters
    ----------
    jobs, items
        By number, and by number of job and item.
    dropped
        Of items that were dropped, the revision that did.
    done
        Marks of items that are done.
    unbilled
        Names of the kinds of time that no quote pays for.
    people
        Everybody who has booked so far.
    booked
        Time entries in force of the people and days concerned.
    now
        The moment of booking, with its time zone.
    """

    jobs: Mapping[str, Job] = field(default_factory=dict)
    items: Mapping[tuple[str, int], Item] = field(default_factory=dict)
    dropped: Mapping[tuple[str, int], str] = field(default_factory=dict)
    done: Mapping[tuple[str, int], Done] = field(default_factory=dict)
    unbilled: Collection[str] = ()
    people: Sequence[str] = ()
    booked: Sequence[TimeEntry] = ()
    now: datetime = field(default_factory=lambda: datetime.now(UTC))

    @property
    def today(self) -> date:
        """The day on this computer's calendar."""
        return self.now.astimezone().date()


def job_named(said: str, jobs: Sequence[Job]) -> Job:
    """The job that a number or a name means, whatever its case.

    Raises
    ------
    BadInput
        If there is no such job, with the nearest, or several have the name.

    Examples
    --------
    >>> jobs = [Job("260302-A1", "Harbour Lights", date(2026, 3, 2))]
    >>> job_named("harbour lights", jobs).number
    '260302-A1'
    """
    plain = said.strip().casefold()
    found = [job for job in jobs if job.number.casefold() == plain] \
        or [job for job in jobs if job.name.casefold() == plain]
    still_open = [job for job in found if job.state != "closed"]
    if len(found) == 1 or len(still_open) == 1:
        return (still_open or found)[0]
    if found:
        raise BadInput(Fault(f"{len(found)} jobs are called {quoted(said)}.",
                             f"Use a number: {', '.join(job.number for job in found)}.",
                             column="job"))
    raise BadInput(no_job(said, jobs))


def item_named(said: str, items: Sequence[Item]) -> Item:
    """The work item that its number, or an operation that stands once in the job, means.

    Raises
    ------
    BadInput
        If there is none, with the nearest, or an operation stands on several lines.

    Examples
    --------
    >>> item = Item("260302-A1", 3, "260302-A1", 1, "Flipper", "flipper", "flipper-rebuild",
    ...             "Rebuild a flipper", "repair", "mechanical", 0.5, 0.75, 1.5, 0.1, 2.1)
    >>> item_named("3", [item]) == item_named("flipper rebuild", [item]) == item
    True
    """
    plain = "-".join(said.split()).casefold()
    found = [item for item in items
             if plain in (str(item.item), item.operation, "-".join(item.name.split()).casefold())]
    if len(found) == 1:
        return found[0]
    if found:
        listed = ", ".join(f"{item.item} ({item.title})" for item in found[:8])
        more = " …" if len(found) > 8 else ""
        raise BadInput(Fault(f"{quoted(said)} stands on {len(found)} lines of the job.",
                             f"Use the number of the item: {listed}{more}.", column="item"))
    if not items:
        raise BadInput(Fault(f"The job has no work item {quoted(said)}; it has none at all.",
                             'Book it as "unlisted".', column="item"))
    if said.strip().isdecimal():
        last = max(item.item for item in items)
        gone = "" if len(items) == last else " Some were dropped by a revision."
        near = f"Its items are numbered 1 to {last}.{gone}"
    else:
        near = one_of(said, list(dict.fromkeys(item.operation for item in items)))
    raise BadInput(Fault(f"The job has no work item {quoted(said)}.", near, column="item"))


def unbilled_named(said: str, unbilled: Collection[str]) -> str:
    """The kind of unbilled time that somebody means.

    Raises
    ------
    BadInput
        If there is none, with the nearest.

    Examples
    --------
    >>> unbilled_named("Shop care", ["ordering", "shop-care"])
    'shop-care'
    """
    plain = "-".join(said.replace("_", " ").split()).casefold()
    if plain in unbilled:
        return plain
    raise BadInput(Fault(f"{quoted(said)} is no kind of unbilled time.", one_of(said, unbilled),
                         column="unbilled"))


def settled(entries: Sequence[TimeEntry], people: Sequence[str]) -> list[TimeEntry]:
    """The entries with each person written in one way: "anna" is Anna if Anna came before.

    Examples
    --------
    >>> entries = [TimeEntry(person=person, day=date(2026, 3, 2), hours=1, unbilled="tools")
    ...            for person in ("ANNA", "Ben", " ben ")]
    >>> [entry.person for entry in settled(entries, ["Anna"])]
    ['Anna', 'Ben', 'Ben']
    """
    known = {person.casefold(): person for person in people}
    plain = [" ".join(entry.person.split()) for entry in entries]
    return [replace(entry, person=known.setdefault(name.casefold(), name))
            for entry, name in zip(entries, plain, strict=True)]


def judge(entries: Sequence[TimeEntry], known: Known, rows: Sequence[int] = (), file: str = ""
          ) -> tuple[list[Fault], list[Question]]:
    """Every fault and every question of entries that are to be booked together.

    Parameters
    ----------
    rows, file
        Where the entries stand in a time sheet; empty for entries typed one by one.

    Examples
    --------
    >>> entry = TimeEntry(person="Anna", day=date(2026, 3, 2), hours=-2, unbilled="ordering")
    >>> faults, questions = judge([entry], Known(unbilled={"ordering"}))
    >>> print(faults[0])
    hours: The hours are -2; they must be over 0. To take hours back, correct their entry.
    """
    faults: list[Fault] = []
    questions: list[Question] = []
    fine: list[tuple[int | None, TimeEntry]] = []
    for place, entry in enumerate(entries):
        row = rows[place] if rows else None
        found = [replace(fault, file=file or None, row=row) for fault in impossible(entry, known)]
        faults += found
        if not found:
            fine.append((row, entry))
            questions += [Question(key, text, file or None, row)
                          for key, text in odd(entry, known)]
    for found, row in _together(fine, known):
        if isinstance(found, Fault):
            faults.append(replace(found, file=file or None, row=row))
        else:
            questions.append(replace(found, file=file or None, row=row))
    # Asked once for each person or job, at the first row that it stands in.
    first = {(one.key, one.text): one for one in reversed(questions)}
    return (sorted(faults, key=lambda fault: fault.row or 0),
            sorted(first.values(), key=lambda one: one.row or 0))


def impossible(entry: TimeEntry, known: Known) -> Iterator[Fault]:
    """What cannot be, of one entry by itself."""
    if not entry.person.strip():
        yield Fault("Nobody is named for the time.", "Say whose hours they are.",
                    column="person")
    if not entry.hours > 0 or not math.isfinite(entry.hours):
        yield Fault(f"The hours are {entry.hours:g}; they must be over 0.",
                    "To take hours back, correct their entry.", column="hours")
    elif entry.hours < LEAST_HOURS:
        yield Fault(f"{entry.hours:g} hours are less than a second.", "Count the zeros.",
                    column="hours")
    elif entry.hours > DAY_HOURS:
        yield Fault(f"{entry.hours:g} hours do not fit into a day.",
                    "Book each day by itself.", column="hours")
    if entry.day > known.today:
        yield Fault(f"{entry.day} is still to come.", "Book hours once they are worked.",
                    column="day")
    yield from _impossible_times(entry, known)
    yield from _unknown_place(entry, known)


def _impossible_times(entry: TimeEntry, known: Known) -> Iterator[Fault]:
    if (entry.started is None) != (entry.stopped is None):
        yield Fault("Start and stop go together, and one of them is missing.",
                    "Give both, or the hours alone.", column="stop")
        return
    if entry.started is None:
        return
    span = (entry.stopped - entry.started).total_seconds() / 3600
    when = f"from {_clock(entry.started)} to {_clock(entry.stopped)}"
    if span <= 0:
        yield Fault(f"The time {when} does not run forward.",
                    "The stop comes after the start.", column="stop")
    elif entry.hours > span + _DUST:
        yield Fault(f"{entry.hours:g} hours do not fit into the time {when}.",
                    f"That is {span:.2f} hours at most.", column="hours")
    if entry.stopped > known.now + timedelta(minutes=1):
        yield Fault(f"The stop, {_clock(entry.stopped)}, is still to come.",
                    "Book hours once they are worked.", column="stop")
    if abs((entry.started.astimezone().date() - entry.day).days) > 1:
        yield Fault(f"The day is {entry.day}, and the start {_clock(entry.started)}.",
                    "Put one of the two right.", column="day")


def _unknown_place(entry: TimeEntry, known: Known) -> Iterator[Fault]:
    if entry.job is not None and entry.job not in known.jobs:
        yield no_job(entry.job, tuple(known.jobs.values()))
        return
    if (entry.item is None) == (entry.unbilled is None):
        yield Fault("Hours go to one work item of a job, or to one kind of unbilled time.",
                    "Name one of the two.", column="item")
    elif entry.unbilled is not None and entry.unbilled not in known.unbilled:
        yield Fault(f"{quoted(entry.unbilled)} is no kind of unbilled time.",
                    one_of(entry.unbilled, known.unbilled), column="unbilled")
    elif entry.item is not None and entry.job is None:
        yield Fault("A work item belongs to a job, and none is named.", "Name the job.",
                    column="job")
    elif (entry.job, entry.item) in known.dropped:
        yield _dropped(entry.item, known.dropped[entry.job, entry.item])
    elif entry.item is not None and (entry.job, entry.item) not in known.items:
        last = max((item for job, item in known.items if job == entry.job), default=0)
        yield Fault(f"The job has no work item {entry.item}.",
                    f"Its items are numbered 1 to {last}." if last else "It has none at all.",
                    column="item")


def odd(entry: TimeEntry, known: Known) -> Iterator[tuple[str, str]]:
    """What is seldom right, of one entry by itself: key and words of each question."""
    job = known.jobs.get(entry.job) if entry.job else None
    if job and job.state == "closed":
        yield "closed-job", f"The job {job.name} was closed on {job.closed}."
    if job and entry.day < job.accepted:
        yield "before-job", f"{entry.day} is before the job {job.name} was accepted."
    mark = known.done.get((entry.job, entry.item))
    if mark and entry.day > mark.day:
        yield "done-item", (f"Item {entry.item} of {job.name} was marked as done on {mark.day}.")
    if (known.today - entry.day).days > LONG_AGO_DAYS:
        yield "long-ago", f"{entry.day} is {(known.today - entry.day).days} days ago."
    if known.people and entry.person not in known.people:
        near = one_of(entry.person, known.people)
        meant = f" {near}" if near.startswith("Did you") else ""
        yield "new-person", f"{entry.person} has not booked before.{meant}"


def _together(fine: Sequence[tuple[int | None, TimeEntry]], known: Known
              ) -> Iterator[tuple[Fault | Question, int | None]]:
    """What the entries mean beside each other and beside what was booked."""
    before: dict[tuple[str, date], list[TimeEntry]] = {}
    totals: dict[tuple[str, date], float] = {}
    for one in known.booked:
        before.setdefault((one.person, one.day), []).append(one)
        totals[one.person, one.day] = totals.get((one.person, one.day), 0) + one.hours
    asked = set()
    for row, entry in fine:
        key = entry.person, entry.day
        totals[key] = totals.get(key, 0) + entry.hours
        said = f"{entry.person} has {totals[key]:.4g} hours on {entry.day}"
        if totals[key] > DAY_HOURS + _DUST:
            yield Fault(f"{said}; a day has {DAY_HOURS}.", "Look which of them are wrong.",
                        column="hours"), row
        elif totals[key] > LONG_DAY_HOURS and key not in asked:
            asked.add(key)
            yield Question("long-day", f"{said}."), row
        # Work past midnight stands under the day that it began.
        for other in [one for days in (-1, 0, 1)
                      for one in before.get((entry.person, entry.day + timedelta(days)), ())]:
            if _what(other) == _what(entry):
                yield Question("twice", f"{entry.person} has the same {entry.hours:g} hours on "
                                        f"{entry.day} already{_id(other)}."), row
            elif _overlap(entry, other):
                yield Question(
                    "overlap", f"{entry.person} is booked from {_clock(other.started)} to "
                               f"{_clock(other.stopped)} already{_id(other)}."), row
        before.setdefault(key, []).append(entry)


def _overlap(one: TimeEntry, other: TimeEntry) -> bool:
    """Do two entries hold the same minute? Only those with start and stop can.

    Examples
    --------
    >>> def at(start, stop):
    ...     return TimeEntry(person="Anna", day=date(2026, 3, 2), hours=1, unbilled="tools",
    ...                      started=datetime(2026, 3, 2, start, tzinfo=UTC),
    ...                      stopped=datetime(2026, 3, 2, stop, tzinfo=UTC))
    >>> _overlap(at(8, 10), at(9, 11)), _overlap(at(8, 10), at(10, 11))
    (True, False)
    """
    if None in (one.started, one.stopped, other.started, other.stopped):
        return False
    return one.started < other.stopped and other.started < one.stopped


def forgotten(clock: Clock, now: datetime) -> bool:
    """Has a clock run so long that somebody forgot to stop it?"""
    return (now - clock.started).total_seconds() / 3600 > LONG_CLOCK_HOURS


def amounts_wrong(entry: Entry, known: Known) -> Iterator[Fault]:
    """What cannot be, of a purchase, of outwork or of a sale."""
    if entry.day > known.today:
        yield Fault(f"{entry.day} is still to come.", "Book it once it has happened.",
                    column="day")
    if entry.job is not None and entry.job not in known.jobs:
        yield no_job(entry.job, tuple(known.jobs.values()))
    if not entry.what.strip():
        yield Fault("It does not say what it is for.", "Name it.", column="what")
    yield from _sum_wrong(entry.amount, "amount", entry.currency)
    if isinstance(entry, Sale):
        yield from _sum_wrong(entry.fees, "fees", entry.currency)
    elif not LEAST_QUANTITY <= entry.quantity <= MOST:
        yield Fault(f"The quantity is {entry.quantity:g}; it must be over 0: {LEAST_QUANTITY:g} to "
                    f"{MOST:,.0f}.", "Count again.", column="quantity")
    if isinstance(entry, Outwork) and {"sent": False, "back": True}.get(entry.event) != (
            entry.of is not None):
        yield Fault("Outwork is sent, or comes back from an entry by which it was sent.",
                    "Say which.", column="event")


def amounts_odd(entry: Entry, booked: Iterable[Entry]) -> Iterator[Question]:
    """What is seldom right, of a purchase, of outwork or of a sale beside those of its kind and day
    that are in force: a button pressed twice, one bill in two piles."""
    for other in booked:
        if _said(other) == _said(entry):
            yield Question("twice", f"{entry.what} stands under {entry.day} already, with the same "
                                    f"figures{_id(other)}.")
            return


def _said(entry: Entry) -> Entry:
    """An entry without what the ledger adds to it."""
    return replace(entry, id=None, booked=None, replaces=None, why="")


_SUMS = {"amount": "The amount is", "fees": "The fees are"}


def _sum_wrong(amount: Decimal, name: str, currency: str) -> Iterator[Fault]:
    """What cannot be, of a sum of money."""
    coin = Decimal(1).scaleb(-minor_digits(currency))
    if not amount.is_finite() or amount < 0:
        yield Fault(f"{_SUMS[name]} {amount}, and must be 0 or more.",
                    "To take an amount back, correct its entry.", column=name)
    elif amount > MOST:
        yield Fault(f"{_SUMS[name]} over {MOST:,.0f}.", "Count its digits.", column=name)
    elif 0 < amount < coin:
        yield Fault(f"{_SUMS[name]} {amount}, less than the smallest coin: {coin} {currency}.",
                    "Count the zeros, or write 0.", column=name)


def marks_wrong(job: Job, marks: Sequence[Done], known: Known) -> list[Fault]:
    """What cannot be, of items of a job that are to be marked as done together."""
    faults = []
    if job.state == "closed":
        faults.append(Fault(f"The job {job.name} was closed on {job.closed}.",
                            "All of a closed job counts as done."))
    if any(mark.day > known.today for mark in marks):
        faults.append(Fault(f"{marks[0].day} is still to come.", "Mark items once they are done.",
                            column="date"))
    last = max((item for _, item in known.items), default=0)
    for mark in marks:
        place = mark.job, mark.item
        if place in known.dropped:
            faults.append(_dropped(mark.item, known.dropped[place]))
        elif place not in known.items:
            faults.append(Fault(f"The job has no work item {mark.item}.",
                                f"Its items are numbered 1 to {last}." if last
                                else "It has none at all.", column="item"))
        elif place in known.done:
            faults.append(Fault(f"Item {mark.item} is done since {known.done[place].day} already.",
                                "Take that mark back first, if it is wrong: estimator job "
                                "not-done.", column="item"))
    return faults


def _dropped(item: int, revision: str) -> Fault:
    return Fault(f"Work item {item} was dropped by the revision {revision}.",
                 'Book to another item, or to "unlisted".', column="item")


def _what(entry: TimeEntry) -> tuple:
    return (entry.person, entry.day, entry.hours, entry.job, entry.item, entry.unbilled,
            entry.started, entry.stopped, entry.note)


def _id(entry: Entry) -> str:
    return "" if entry.id is None else f" (entry {entry.id})"


def _clock(moment: datetime) -> str:
    return f"{moment.astimezone():%Y-%m-%d %H:%M}"
