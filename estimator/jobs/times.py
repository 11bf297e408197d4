"""Days, times of day and hours as people write them."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta

from estimator.survey import cells
from estimator.survey.cells import Cell, Wrong, shown

# What a shop writes down or plans; beyond that, a digit is wrong.
_YEARS = (1900, 2199)
_ISO = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})")
_DOTS = re.compile(r"([0-9]{1,2})\. ?([0-9]{1,2})\. ?([0-9]{4})")
_SLASHES = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_TIME = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::[0-9]{2})? ?([ap])?\.?m?\.?", re.IGNORECASE)


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


def moments(day: date, start: time | None, stop: time | None
            ) -> tuple[datetime | None, datetime | None]:
    """Start and stop as moments on this computer's clock; an earlier stop is of the next day.

    Examples
    --------
    >>> started, stopped = moments(date(2026, 3, 2), time(22), time(1))
    >>> started.day, stopped.day, moments(date(2026, 3, 2), None, None)
    (2, 3, (None, None))
    """
    later = start is not None and stop is not None and stop <= start
    return (None if start is None else datetime.combine(day, start).astimezone(),
            None if stop is None else
            datetime.combine(day + timedelta(days=int(later)), stop).astimezone())


def hours_between(started: datetime, stopped: datetime) -> float:
    """Hours from one moment to a later one, to the third of a second. [h]

    Examples
    --------
    >>> hours_between(datetime(2026, 3, 2, 9, 15), datetime(2026, 3, 2, 11))
    1.75
    """
    return round((stopped - started).total_seconds() / 3600, 4)


def last_before(clock_time: time, now: datetime) -> datetime:
    """The last moment up to now with this time of day.

    Examples
    --------
    >>> now = datetime(2026, 3, 2, 9).astimezone()
    >>> last_before(time(8), now).day, last_before(time(10), now).day
    (2, 1)
    """
    today = now.astimezone().date()
    found = datetime.combine(today, clock_time).astimezone()
    return found if found <= now else \
        datetime.combine(today - timedelta(days=1), clock_time).astimezone()


def next_after(clock_time: time, started: datetime) -> datetime:
    """The first moment after a start with this time of day.

    Examples
    --------
    >>> started = datetime(2026, 3, 2, 9).astimezone()
    >>> next_after(time(10), started).day, next_after(time(8), started).day
    (2, 3)
    """
    day = started.astimezone().date()
    found = datetime.combine(day, clock_time).astimezone()
    return found if found > started else \
        datetime.combine(day + timedelta(days=1), clock_time).astimezone()
