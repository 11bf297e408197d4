"""Time sheets: hours from a spreadsheet, read as surveys are.

One row for each stretch of work::

    person,day,hours,start,stop,job,item,unbilled,note
    Anna,2026-03-02,1.5,,,Harbour Lights,flipper-rebuild,,left one sticks
    Anna,2.3.2026,,9:15,11:00,,,ordering,

========  ===============================================================================
column    what it holds
========  ===============================================================================
person    whose hours
day       2026-03-02 or 2.3.2026; 3/2/2026 only where it cannot be read two ways
hours     1.5, 1,5 or 1:30; blank where start and stop say it
start     time of day, 9:15 or 1:30 pm
stop      the same; earlier than the start, it is of the next day
job       number or name; may be blank with unbilled time
item      number of the work item, or its operation
unbilled  kind of time that no quote pays for; either this or an item
note      any words
========  ===============================================================================

Columns come in any order; `person`, `day` and `item` or `unbilled` must be there.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path

from estimator.errors import BadInput, Fault, one_of
from estimator.ledger import (
    Item,
    Job,
    Ledger,
    TimeEntry,
    item_named,
    job_named,
    unbilled_named,
)
from estimator.survey import cells, files, texts
from estimator.survey.cells import Cell, Wrong, shown
from estimator.survey.grid import Kind
from estimator.survey.names import tight

COLUMNS = ("person", "day", "hours", "start", "stop", "job", "item", "unbilled", "note")
MAX_FAULTS = 200
"""So many are told: a sheet with more has one cause, not two hundred."""
_COLUMN = {tight(column): column for column in COLUMNS}

# What a shop writes down or plans; beyond that, a digit is wrong.
_YEARS = (1900, 2199)
_ISO = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})")
_DOTS = re.compile(r"([0-9]{1,2})\. ?([0-9]{1,2})\. ?([0-9]{4})")
_SLASHES = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_TIME = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::[0-9]{2})? ?([ap])?\.?m?\.?", re.IGNORECASE)


def book_sheet(ledger: Ledger, path: Path | str, *, unbilled: Collection[str],
               sure: Collection[str] = (), now: datetime | None = None
               ) -> tuple[TimeEntry, ...]:
    """Book every row of a time sheet, or none; returns the entries.

    Parameters
    ----------
    path
        Of the sheet, as CSV.
    unbilled
        Kinds of time that no quote pays for, by their key.
    sure
        Keys of questions that are answered with yes, such as "overlap".
    now
        When it is booked; None is now.

    Raises
    ------
    BadInput
        With every fault of every row, up to 200.
    Unsure
        Where rows may be right and seldom are.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     path = shop.folder / "march.csv"
    ...     size = path.write_text("person,day,hours,unbilled\\nMara,2026-03-06,1.5,ordering\\n",
    ...                            encoding="utf-8")
    ...     booked = book_sheet(ledger, path, unbilled=shop.catalogue.unbilled,
    ...                         now=datetime(2026, 3, 6, 18).astimezone())
    >>> [(one.person, one.hours, one.unbilled) for one in booked]
    [('Mara', 1.5, 'ordering')]
    """
    path = Path(path)
    rows, entries = read_sheet(files.fetch(path, _KIND), path.name, ledger.jobs(),
                               functools.cache(ledger.items), unbilled)
    return ledger.book(entries, unbilled=unbilled, sure=sure, rows=rows, file=path.name, now=now)


def read_sheet(data: bytes, name: str, jobs: Sequence[Job],
               items: Callable[[str], Sequence[Item]], unbilled: Collection[str]
               ) -> tuple[list[int], list[TimeEntry]]:
    """Rows and entries of a time sheet's bytes.

    Parameters
    ----------
    data, name
        What the file holds, and its name for faults.
    jobs, items
        Those that hours can be booked on; what gives the work items of one by its number, asked
        for jobs that stand in the sheet.
    unbilled
        Kinds of time that no quote pays for, by their key.

    Raises
    ------
    BadInput
        With every fault of every row, up to 200.

    Examples
    --------
    >>> sheet = b"person;day;hours;unbilled\\nAnna;2.3.2026;1,5;ordering\\n"
    >>> rows, entries = read_sheet(sheet, "march.csv", [], lambda job: (), ["ordering"])
    >>> rows, entries[0].hours, entries[0].day.isoformat()
    ([2], 1.5, '2026-03-02')
    """
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise BadInput(Fault("A time sheet is read as CSV, and this is a workbook.",
                             "Save it as CSV from the spreadsheet.", name))
    rows = texts.sheets(data, name, _KIND).lines.rows
    faults: list[Fault] = []
    header = next((place for place, (_, row) in enumerate(rows) if _columns_named(row)), None)
    if header is None:
        raise BadInput(Fault("No header row was found; it must name person, day and hours.",
                             f"Its columns are {', '.join(COLUMNS)}.", name))
    places = _places(rows[header], name, faults)
    found, numbers = [], []
    job_of = functools.cache(lambda word: job_named(word, jobs))
    for number, row in rows[header + 1:] if not faults else ():
        said = {column: row[place] for column, place in places.items() if place < len(row)}
        entry, wrong = _entry(said, job_of, items, unbilled)
        stray = [cell for place, cell in enumerate(row)
                 if place not in places.values() and str(cell).strip()]
        if stray:
            # A decimal comma that parts the cells moves all the rest by one: say only that.
            entry, wrong = None, [("", f"{shown(stray[0])} stands under no header.",
                                   "Put decimals with a comma in quotes where commas part the "
                                   "cells, and text that holds a comma too.")]
        faults += [Fault(what, fix, name, number, column or None)
                   for column, what, fix in wrong]
        if len(faults) >= MAX_FAULTS:
            faults.append(Fault(f"There are {MAX_FAULTS} faults above; the rest was not read.",
                                "Put those right first.", name, number))
            break
        if entry is not None:
            found.append(entry)
            numbers.append(number)
    if not faults and not found:
        faults.append(Fault("There are no hours under the header.", "Fill in a row.", name))
    if faults:
        raise BadInput(faults)
    return numbers, found


def _columns_named(row: Sequence[Cell]) -> int:
    names = {tight(cell) for cell in row if isinstance(cell, str) and len(cell) < 40}
    count = len(names & _COLUMN.keys())
    return count if count >= 2 else 0


_KIND = Kind("time sheet", _columns_named, ("person", "day", "hours"))


def _places(header: tuple[int, Sequence[Cell]], name: str, faults: list[Fault]
            ) -> dict[str, int]:
    number, row = header
    places: dict[str, int] = {}
    for place, cell in enumerate(row):
        if not str(cell).strip():
            continue
        if len(faults) >= MAX_FAULTS:
            break
        column = _COLUMN.get(tight(str(cell)))
        if column is None:
            faults.append(Fault(f"There is no column {shown(cell)} in a time sheet.",
                                f"{one_of(str(cell), COLUMNS)} Rename or delete it.",
                                name, number, shown(cell)[1:-1]))
        elif column in places:
            faults.append(Fault(f'The column "{column}" stands there twice.',
                                "Keep one of the two.", name, number, column))
        else:
            places[column] = place
    wanted = ["person", "day"]
    wanted += ["hours"] if not {"start", "stop"} <= places.keys() else []
    wanted += ["item"] if "unbilled" not in places else []
    faults += [Fault(f'The column "{column}" is missing.', "Add it to the header.", name, number,
                     column)
               for column in wanted if column not in places]
    return places


def _entry(said: Mapping[str, Cell], job_of: Callable[[str], Job],
           items: Callable[[str], Sequence[Item]], unbilled: Collection[str]
           ) -> tuple[TimeEntry | None, list[tuple[str, str, str]]]:
    """The entry of a row, or None and what is wrong: column, what, cure."""
    wrong: list[tuple[str, str, str]] = []
    failed: set[str] = set()

    def take(column: str, how: Callable):
        try:
            return how(said.get(column, ""))
        except Wrong as fault:
            wrong.append((column, fault.what, fault.fix))
        except BadInput as error:
            wrong.extend((column, fault.what, fault.fix) for fault in error.faults)
        failed.add(column)
        return None

    person, day = take("person", cells.text), take("day", day_of)
    hours, start, stop = (take("hours", hours_of), take("start", time_of),
                          take("stop", time_of))
    job = take("job", cells.if_any(job_of))
    kind = take("unbilled", cells.if_any(lambda word: unbilled_named(word, unbilled)))
    item = None
    if take("item", cells.text) and "job" not in failed:
        if job is None:
            wrong.append(("job", "A work item belongs to a job, and none is named.",
                          "Name the job."))
        else:
            mine = items(job.number)
            item = take("item", cells.if_any(lambda word: item_named(word, mine)))
    note = take("note", cells.text)
    for column, value in (("person", person), ("day", day)):
        if not value and column not in failed:
            wrong.append((column, "The cell is blank.", "Fill it in."))
    if hours is None and None in (start, stop) and not failed & {"hours", "start", "stop"}:
        wrong.append(("hours", "The row says neither hours nor start and stop.",
                      "Write hours such as 1.5."))
    if wrong:
        return None, wrong
    started, stopped = _moments(day, start, stop)
    if hours is None:
        hours = round((stopped - started).total_seconds() / 3600, 4)
    return TimeEntry(person=person, day=day, hours=hours, job=job.number if job else None,
                     item=item.item if item else None, unbilled=kind, started=started,
                     stopped=stopped, note=note), []


def _moments(day: date, start: time | None, stop: time | None
             ) -> tuple[datetime | None, datetime | None]:
    """Start and stop as moments of this computer's time zone."""
    if start is None or stop is None:
        return (datetime.combine(day, start).astimezone() if start is not None else None,
                datetime.combine(day, stop).astimezone() if stop is not None else None)
    last = day + timedelta(days=1) if stop <= start else day
    return datetime.combine(day, start).astimezone(), datetime.combine(last, stop).astimezone()


def day_of(cell: Cell) -> date | None:
    """The day in a cell; None where it is blank.

    Raises
    ------
    Wrong
        No day, no such day, one that can be read two ways, or one of another century.

    Examples
    --------
    >>> day_of("2026-03-02") == day_of("2.3.2026")
    True
    >>> day_of("3/2/2026")
    Traceback (most recent call last):
    ...
    estimator.survey.cells.Wrong: "3/2/2026" can be read two ways, as 2026-03-02 or as 2026-02-03. \
Write one of these.
    """
    said = cells.text(cell)
    if not said:
        return None
    iso, dots, slashes = (kind.fullmatch(said) for kind in (_ISO, _DOTS, _SLASHES))
    if iso:
        year, month, day = map(int, iso.groups())
    elif dots:
        day, month, year = map(int, dots.groups())
    elif slashes:
        month, day, year = map(int, slashes.groups())
        if month > 12:
            month, day = day, month
        elif day <= 12 and day != month:
            raise Wrong(f"{shown(said)} can be read two ways, as {year}-{month:02}-{day:02} or "
                        f"as {year}-{day:02}-{month:02}.", "Write one of these.")
    else:
        raise Wrong(f"{shown(said)} is not a day.", "Write it like 2026-03-02.")
    try:
        found = date(year, month, day)
    except ValueError:
        raise Wrong(f"{shown(said)} is a day that there is not.", "Look in the calendar.") from None
    if not _YEARS[0] <= year <= _YEARS[1]:
        raise Wrong(f"{shown(said)} is not from {_YEARS[0]} to {_YEARS[1]}.", "Look at the year.")
    return found


def time_of(cell: Cell) -> time | None:
    """The time of day in a cell; None where it is blank.

    Raises
    ------
    Wrong
        If it holds no time of day.

    Examples
    --------
    >>> time_of("9:15"), time_of("1:30 pm"), time_of("")
    (datetime.time(9, 15), datetime.time(13, 30), None)
    """
    said = cells.text(cell)
    if not said:
        return None
    found = _TIME.fullmatch(said)
    if found:
        hour, minute, half = int(found[1]), int(found[2]), (found[3] or "").casefold()
        if half and 1 <= hour <= 12:
            hour = hour % 12 + (12 if half == "p" else 0)
        if hour < 24 and minute < 60:
            return time(hour, minute)
    raise Wrong(f"{shown(said)} is not a time of day.", "Write it like 9:15 or 16:30.")


def hours_of(cell: Cell) -> float | None:
    """The hours in a cell, as 1.5, 1,5 or 1:30; None where it is blank.

    Examples
    --------
    >>> hours_of("1,5"), hours_of("1:30"), hours_of("")
    (1.5, 1.5, None)
    """
    found = re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])", cell.strip()) \
        if isinstance(cell, str) else None
    if found:
        return round(int(found[1]) + int(found[2]) / 60, 4)
    return cells.number(cell, "1.5")
