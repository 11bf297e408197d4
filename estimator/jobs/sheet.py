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
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from estimator.errors import BadInput, Fault
from estimator.jobs.times import day_of, hours_between, hours_of, moments, time_of
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
from estimator.survey.cells import Cell, Reading, shown
from estimator.survey.grid import Kind, lacking, named_in, placed
from estimator.survey.names import tight
from estimator.textfiles import MOST_FAULTS, rest_unread

COLUMNS = ("person", "day", "hours", "start", "stop", "job", "item", "unbilled", "note")
_COLUMN = {tight(column): column for column in COLUMNS}


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
    header = next((place for place, (_, row) in enumerate(rows) if _columns_named(row)), None)
    if header is None:
        raise BadInput(Fault("No header row was found; it must name person, day and hours.",
                             f"Its columns are {', '.join(COLUMNS)}.", name))
    places, faults = placed(rows[header], _COLUMN, _KIND.one, name)
    faults += lacking(_wanted(places), places, rows[header][0], _COLUMN, name)
    found, numbers = [], []
    job_of = functools.cache(lambda word: job_named(word, jobs))
    for number, row in rows[header + 1:] if not faults else ():
        said = {column: row[place] for column, place in places.items() if place < len(row)}
        entry, wrong = _entry(said, job_of, items, unbilled)
        stray = [cell for place, cell in enumerate(row)
                 if place not in places.values() and str(cell).strip()]
        if stray:
            # A decimal comma that parts the cells moves all the rest by one: say only that.
            entry, wrong = None, [Fault(f"{shown(stray[0])} stands under no header.",
                                        "Put decimals with a comma in quotes where commas part "
                                        "the cells, and text that holds a comma too.")]
        faults += [replace(fault, file=name, row=number) for fault in wrong]
        if len(faults) >= MOST_FAULTS:
            faults.append(rest_unread(name, number))
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
    count = len(named_in(row, _COLUMN))
    return count if count >= 2 else 0


_KIND = Kind("time sheet", _columns_named, ("person", "day", "hours"))


def _wanted(places: Mapping[str, int]) -> list[str]:
    """Columns that a sheet must have that has these."""
    return ["person", "day",
            *([] if {"start", "stop"} <= places.keys() else ["hours"]),
            *([] if "unbilled" in places else ["item"])]


def _entry(said: Mapping[str, Cell], job_of: Callable[[str], Job],
           items: Callable[[str], Sequence[Item]], unbilled: Collection[str]
           ) -> tuple[TimeEntry | None, list[Fault]]:
    """The entry of a row, or None and what is wrong with it."""
    read = Reading(said)
    person, day = read.take("person"), read.take("day", day_of)
    hours, start, stop = (read.take("hours", hours_of), read.take("start", time_of),
                          read.take("stop", time_of))
    job = read.take("job", cells.if_any(job_of))
    kind = read.take("unbilled", cells.if_any(lambda word: unbilled_named(word, unbilled)))
    item = None
    if read.take("item") and "job" not in read.wrong:
        if job is None:
            read.faults.append(Fault("A work item belongs to a job, and none is named.",
                                     "Name the job.", column="job"))
        else:
            mine = items(job.number)
            item = read.take("item", cells.if_any(lambda word: item_named(word, mine)))
    note = read.take("note")
    read.faults += [Fault("The cell is blank.", "Fill it in.", column=column)
                    for column, value in (("person", person), ("day", day))
                    if not value and column not in read.wrong]
    if hours is None and None in (start, stop) and not read.wrong & {"hours", "start", "stop"}:
        read.faults.append(Fault("The row says neither hours nor start and stop.",
                                 "Write hours such as 1.5.", column="hours"))
    if read.faults:
        return None, read.faults
    started, stopped = moments(day, start, stop)
    return TimeEntry(person=person, day=day,
                     hours=hours_between(started, stopped) if hours is None else hours,
                     job=job.number if job else None, item=item.item if item else None,
                     unbilled=kind, started=started, stopped=stopped, note=note), []
