"""`estimator time`: a running clock, hours typed, corrected and read from a time sheet."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from estimator.commands.parsing import day_option, hours_option, time_option, whole_option
from estimator.commands.shared import (
    as_json,
    day_said,
    ledger_of,
    say,
    table,
    time_said,
    verbs,
)
from estimator.errors import BadInput, Fault

MOST = 500
"""Entries listed in the terminal, the last ones; JSON has them all."""


def register(command) -> None:
    """Add `time` and the commands below it."""
    add = verbs(command("time", None, "Hours: a running clock, typed, or from a time sheet."))
    start = add("start", _start, "Start your clock on a work item or on unbilled time.")
    stop = add("stop", _stop, "Stop your clock and book its hours.")
    typed = add("add", _add, "Book hours.")
    listed = add("list", _list, "List hours booked and clocks that run.")
    correct = add("correct", _correct, "Put an entry right: a counter-entry and a new one.")
    sheet = add("import", _import, "Book a time sheet: all of its rows, or none.")
    add("kinds", _kinds, "List the kinds of time that no quote pays for.")

    correct.add_argument("id", metavar="ENTRY", type=whole_option, help="number of the entry")
    correct.add_argument("--why", required=True, help="in a few words")
    correct.add_argument("--remove", action="store_true", help="take it back, nothing instead")
    sheet.add_argument("file", metavar="FILE", type=Path,
                       help="CSV: person, day, hours or start and stop, job, item or unbilled")
    for found in (start, stop, typed, listed, correct):
        found.add_argument("--person", metavar="NAME", help="whose; the only one's by default")
    for found in (start, typed, listed, correct):
        found.add_argument("--job", metavar="JOB", help="number or name")
    for found in (start, typed, correct):
        found.add_argument("--item", metavar="ITEM",
                           help="number of the work item, or its operation")
        found.add_argument("--unbilled", metavar="KIND",
                           help="such as ordering; estimator time kinds lists them")
    for found in (typed, correct):
        found.add_argument("--day", metavar="YYYY-MM-DD", type=day_option,
                           help="such as 2026-03-02; today by default")
        found.add_argument("--start", metavar="TIME", type=time_option, help="such as 9:15")
        found.add_argument("--stop", metavar="TIME", type=time_option, help="such as 11:00")
    for found in (typed, correct, stop):
        found.add_argument("--hours", metavar="H", type=hours_option, help="such as 1.5 or 1:30")
    for found in (start, stop):
        found.add_argument("--at", metavar="TIME",
                           help='such as 9:15, or "2026-03-02 9:15"; now by default')
    stop.add_argument("--drop", action="store_true", help="let the clock go, book nothing")
    for found in (start, stop, typed, correct):
        found.add_argument("--note", metavar="WORDS", default=None, help="a remark")
    for found in (start, stop, typed, correct, sheet):
        found.add_argument("--sure", metavar="KEY", nargs="+", default=[],
                           help="confirm what was asked, such as overlap or long-day")
    listed.add_argument("--since", metavar="YYYY-MM-DD", type=day_option, help="from this day on")
    listed.add_argument("--until", metavar="YYYY-MM-DD", type=day_option, help="up to this day")
    listed.add_argument("--history", action="store_true",
                        help="also entries taken back, and their counter-entries")


def _start(options) -> int:
    from estimator.ledger import Clock, on_what

    with ledger_of(options) as (shop, ledger):
        now = datetime.now(UTC)
        job, item, unbilled = _place(options, ledger, shop)
        clock = ledger.start(
            Clock(_person(options, ledger, shop), _moment(options.at, now), job, item, unbilled,
                  options.note or ""),
            unbilled=_kinds_of(shop), sure=options.sure, now=now)
    return say(options, {"clock": as_json(clock)},
               f"{clock.person}: since {_time(clock.started)} on {on_what(clock)}")


def _stop(options) -> int:
    from estimator.ledger import on_what

    with ledger_of(options) as (shop, ledger):
        now = datetime.now(UTC)
        if options.drop:
            clock = ledger.drop(options.person)
            return say(options, {"dropped": as_json(clock)},
                       f"{clock.person}: the clock on {on_what(clock)} is gone; nothing was booked")
        entry = ledger.stop(
            options.person, unbilled=_kinds_of(shop), hours=options.hours,
            at=_moment(options.at, now) if options.at else None, note=options.note or "",
            sure=options.sure, now=now)
    return _booked(options, [entry])


def _add(options) -> int:
    from estimator.ledger import TimeEntry

    with ledger_of(options) as (shop, ledger):
        job, item, unbilled = _place(options, ledger, shop)
        now = datetime.now(UTC)
        entry = TimeEntry(
            person=_person(options, ledger, shop), job=job, item=item, unbilled=unbilled,
            note=options.note or "", day=now.astimezone().date(), hours=0.0)
        entry = _timed(entry, options)
        if options.hours is None and options.start is None:
            raise BadInput(Fault("Neither hours nor start and stop were said.",
                                 "Add --hours 1.5, or --start 9:15 --stop 11:00."))
        return _booked(options, ledger.book([entry], unbilled=_kinds_of(shop), sure=options.sure,
                                            now=now))


def _correct(options) -> int:
    from estimator.ledger import TimeEntry

    with ledger_of(options) as (shop, ledger):
        found = ledger.entry(TimeEntry, options.id)
        instead = None
        if found is not None and not options.remove:
            instead = found
            if options.job or options.item or options.unbilled:
                if options.job is None and options.item and instead.job:
                    options.job = instead.job
                job, item, unbilled = _place(options, ledger, shop)
                instead = replace(instead, job=job, item=item, unbilled=unbilled)
            changes = {"person": options.person, "note": options.note}
            instead = _timed(replace(instead, **{
                name: value for name, value in changes.items() if value is not None}), options)
            if instead == found:
                raise BadInput(Fault("Nothing is said that would be different.",
                                     "Say what is right, such as --hours 2; or add --remove."))
        entries = ledger.correct(TimeEntry, options.id, options.why, instead,
                                 unbilled=_kinds_of(shop), sure=options.sure)
    return _booked(options, entries)


def _import(options) -> int:
    from estimator import jobs

    with ledger_of(options) as (shop, ledger):
        return _booked(options, jobs.book_sheet(
            ledger, options.file, unbilled=_kinds_of(shop), sure=options.sure))


def _list(options) -> int:
    from estimator.ledger import TimeEntry, on_what

    if options.since and options.until and options.since > options.until:
        raise BadInput(Fault(f"{options.until} is before {options.since}.",
                             "Change the two about.", column="until"))
    with ledger_of(options) as (_, ledger):
        job = ledger.job(options.job).number if options.job else None
        clocks, people = ledger.clocks(), None
        if options.person:
            plain = options.person.casefold()
            people = [name for name in ledger.people(history=options.history)
                      if name.casefold() == plain]
            clocks = tuple(one for one in clocks if one.person.casefold() == plain)
        asked = {"job": job, "history": options.history, "people": people,
                 "since": options.since,
                 "until": options.until}
        entries = ledger.entries(TimeEntry, **asked, last=None if options.json else MOST)
        count, total = ledger.counted(**asked)
    more = f"the last {MOST} of {count} entries; --json has them all\n" if count > MOST else ""
    running = [f"{clock.person}: since {_time(clock.started)} on {on_what(clock)}, running"
               for clock in clocks]
    text = [f"{_table(entries)}\n{more}{total:.2f} hours" if entries else "No hours booked.",
            *running]
    return say(options, {"entries": entries, "hours": round(total, 4), "clocks": clocks},
               "\n".join(text))


def _kinds(options) -> int:
    with ledger_of(options) as (shop, _):
        rows = shop.catalogue.unbilled.values()
        return say(options, {"unbilled": [
            {"unbilled": row.unbilled, "name": row.name, "meaning": row.meaning} for row in rows]},
            table([("Kind", "What is booked to it"),
                   *((row.unbilled, row.meaning) for row in rows)]))


def _booked(options, entries) -> int:
    return say(options, {"entries": [as_json(one) for one in entries],
                         "hours": round(math.fsum(one.hours for one in entries), 4)},
               _table(entries))


def _table(entries) -> str:
    rows = [("Entry", "Day", "Person", "Hours", "On", "Note")]
    for one in entries:
        what = one.unbilled or f"item {one.item}"
        note = f"takes back entry {one.reverses}: {one.why}" if one.reverses else one.note
        rows.append((str(one.id), str(one.day), one.person, f"{one.hours:.2f}",
                     f"{one.job}, {what}" if one.job else what, note.replace("\n", " ")[:40]))
    return table(rows, right=(0, 3))


def _kinds_of(shop) -> list[str]:
    return list(shop.catalogue.unbilled)


def _place(options, ledger, shop) -> tuple[str | None, int | None, str | None]:
    """Job, item and kind of unbilled time that were named."""
    from estimator.ledger import item_named, unbilled_named

    job = ledger.job(options.job).number if options.job else None
    if options.item and job is None:
        raise BadInput(Fault("A work item belongs to a job, and none is named.", "Add --job JOB."))
    item = item_named(options.item, ledger.items(job)).item if options.item else None
    unbilled = unbilled_named(options.unbilled, _kinds_of(shop)) if options.unbilled else None
    return job, item, unbilled


def _person(options, ledger, shop) -> str:
    """Who was named; else the only one who has booked; else whose bench it is."""
    if options.person:
        return options.person
    people = sorted({*ledger.people(), *(clock.person for clock in ledger.clocks())})
    if len(people) > 1:
        raise BadInput(Fault("Several people book here, and none is named.",
                             f"Add --person with one of {', '.join(people)}."))
    return people[0] if people else shop.settings.hand_bench


def _timed(entry, options):
    """The entry with the day, hours, start and stop that were said."""
    from estimator.jobs import hours_between

    day = options.day or entry.day
    start, stop = options.start, options.stop
    entry = replace(entry, day=day)
    if start is not None or stop is not None:
        started = datetime.combine(day, start).astimezone() if start is not None else entry.started
        stopped = datetime.combine(day, stop).astimezone() if stop is not None else entry.stopped
        if started and stopped and stopped <= started and stop is not None:
            stopped += timedelta(days=1)
        entry = replace(entry, started=started, stopped=stopped)
    hours = options.hours
    if hours is None and (start or stop) and entry.started and entry.stopped:
        hours = hours_between(entry.started, entry.stopped)
    elif hours is not None and start is None and stop is None and entry.started:
        # Hours put right by hand: the clock's moments hold only while the hours fit into them.
        span = (entry.stopped - entry.started).total_seconds() / 3600
        entry = entry if hours <= span else replace(entry, started=None, stopped=None)
    return entry if hours is None else replace(entry, hours=hours)


def _moment(word: str | None, now: datetime) -> datetime:
    """The moment that was said; a time of day is the last one that has passed."""
    from estimator.jobs import last_before

    if word is None:
        return now
    day, _, clock = word.replace("T", " ").strip().rpartition(" ")
    if day and not clock[:1].isdigit():  # "9:15 pm"
        day, clock = "", word
    found = time_said(clock, "at")
    if found is None:
        raise BadInput(Fault("No time was said.", "Write it like 9:15.", column="at"))
    if day:
        return datetime.combine(day_said(day, "at"), found).astimezone()
    return last_before(found, now)


def _time(moment: datetime) -> str:
    return f"{moment.astimezone():%Y-%m-%d %H:%M}"
