"""Open hours: when a shop or a person is at work, and how those hours and the clock go together.

The clock counts elapsed minutes from midnight before the first day. Open time counts only the
minutes in which somebody is in. Work runs on open time; paint dries by the clock.
"""

from __future__ import annotations

import bisect
import functools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from estimator.errors import BadInput, Fault
from estimator.shop import Person, Settings

DAY = 24 * 60
MOST_DAYS = 3660


@dataclass(frozen=True)
class Hours:
    """Spans of time in which work goes on, as minutes of the clock: (from, to), in order.

    Examples
    --------
    >>> week = Hours(((540, 1020), (1980, 2460)))
    >>> week.opened(600), week.clock(480), week.next_open(1100)
    (60, 1020, 1980)
    """

    spans: tuple[tuple[int, int], ...]

    @functools.cached_property
    def starts(self) -> tuple[int, ...]:
        """Where each span begins, by the clock."""
        return tuple(start for start, _ in self.spans)

    @functools.cached_property
    def before(self) -> tuple[int, ...]:
        """Open minutes before each span."""
        found, total = [], 0
        for start, end in self.spans:
            found.append(total)
            total += end - start
        return tuple(found)

    @functools.cached_property
    def total(self) -> int:
        """Open minutes of all spans."""
        return sum(end - start for start, end in self.spans)

    def opened(self, clock: float) -> float:
        """Open minutes up to a moment of the clock."""
        at = bisect.bisect_right(self.starts, clock) - 1
        if at < 0:
            return 0
        start, end = self.spans[at]
        return self.before[at] + min(clock, end) - start

    def clock(self, opened: float) -> float:
        """The moment when so many open minutes are over: the end of a day, not the next morning.

        Raises
        ------
        BadInput
            If there are not so many.
        """
        at = max(bisect.bisect_left(self.before, opened) - 1, 0)
        start, end = self.spans[at]
        found = start + opened - self.before[at]
        if found > end + 1e-6:
            raise BadInput(Fault("The work does not end within ten years.",
                                 "Open the shop for longer hours, or close it on fewer days.",
                                 "shop.toml", None, "open_hours"))
        return found

    def next_open(self, clock: float) -> float:
        """The moment itself if somebody is in, else when somebody comes next."""
        at = bisect.bisect_right(self.starts, clock) - 1
        if at >= 0 and clock < self.spans[at][1]:
            return clock
        if at + 1 >= len(self.spans):
            return self.clock(self.total + 1)
        return self.starts[at + 1]

    @functools.cached_property
    def longest(self) -> int:
        """Minutes of the longest span."""
        return max(end - start for start, end in self.spans)

    def in_one_go(self, clock: float, minutes: float) -> float:
        """The first moment from then on at which so much work can begin and ends in one span.

        What is longer than every span begins as soon as somebody is in.

        Examples
        --------
        >>> week = Hours(((540, 1020), (1980, 2460)))
        >>> week.in_one_go(900, 120), week.in_one_go(901, 120), week.in_one_go(901, 900)
        (900, 1980, 901)
        """
        found = self.next_open(clock)
        if minutes > self.longest:
            return found
        at = bisect.bisect_right(self.starts, found) - 1
        while found + minutes > self.spans[at][1] + 1e-6:
            at += 1
            if at == len(self.spans):
                return self.clock(self.total + 1)
            found = self.starts[at]
        return found


ALWAYS = Hours(((0, MOST_DAYS * DAY),))
"""Never closed."""


def union(hours: Sequence[Hours]) -> Hours:
    """When any of them is open."""
    spans: list[tuple[int, int]] = []
    for start, end in sorted(span for one in hours for span in one.spans):
        if spans and start <= spans[-1][1]:
            spans[-1] = spans[-1][0], max(spans[-1][1], end)
        else:
            spans.append((start, end))
    return Hours(tuple(spans))


def holidays_of(country: str, region: str, years: Iterable[int]) -> dict[date, str]:
    """Public holidays of a country, or a region of it, with their names; none for a blank one.

    Raises
    ------
    BadInput
        If there is no such country or region.
    """
    if not country:
        return {}
    import holidays

    try:
        found = holidays.country_holidays(country, subdiv=region or None, years=list(years))
    except NotImplementedError:
        known = holidays.list_supported_countries()
        if country not in known:
            raise BadInput(Fault(f'No holidays are known for the country "{country}".',
                                 "Write two letters after ISO 3166, such as US or DE, or leave it "
                                 "blank.", "shop.toml", None, "country")) from None
        raise BadInput(Fault(f'{country} has no region "{region}".',
                             f"Regions: {', '.join(known[country]) or 'none'}.",
                             "shop.toml", None, "region")) from None
    return dict(found)


def calendars(settings: Settings, first: date, days: int, people: Sequence[Person]
              ) -> list[Hours]:
    """When each person is at the bench, from midnight before `first` for so many days.

    Open hours of the shop, or hours of their own, without public holidays and closed days.

    Raises
    ------
    BadInput
        If a day is closed for somebody who is not there at all, somebody is never in, or the
        country has no holidays known.
    """
    days = min(days, MOST_DAYS)
    names = {person.name for person in people}
    faults = [
        Fault(f'{entry.first} is closed for "{entry.person}", who is not at the bench.',
              f"At the bench: {', '.join(sorted(names))}.", "shop.toml", None, "closed")
        for entry in settings.closed if entry.person and entry.person not in names
    ]
    if faults:
        raise BadInput(faults)
    last = first + timedelta(days)
    free = holidays_of(settings.country, settings.region, range(first.year, last.year + 1))
    found = []
    for person in people:
        week = [minutes_of(word) for word in (person.hours or settings.open_hours).split()]
        away: dict[date, list] = {}
        for entry in settings.closed:
            if entry.person in ("", person.name):
                hours = minutes_of(entry.hours) if entry.hours else (0, DAY)
                begins = max(entry.first, first)
                for n in range((min(entry.last or entry.first, last) - begins).days + 1):
                    away.setdefault(begins + timedelta(n), []).append(hours)
        spans: list[tuple[int, int]] = []
        for n in range(days):
            day = first + timedelta(n)
            hours = week[day.weekday()]
            if hours is None or day in free:
                continue
            for start, end in _without(hours, away.get(day, ())):
                if spans and spans[-1][1] == n * DAY + start:
                    spans[-1] = spans[-1][0], n * DAY + end
                else:
                    spans.append((n * DAY + start, n * DAY + end))
        if not spans:
            raise BadInput(Fault(
                f"{person.name} is never at the bench from {first} on: the calendar is closed.",
                "Give some open hours, or shorten the closed days.", "shop.toml", None,
                "open_hours"))
        found.append(Hours(tuple(spans)))
    return found


def moment(first: date, clock: float) -> datetime:
    """The moment that so many minutes after midnight before `first` are, to the minute."""
    return datetime.combine(first, time()) + timedelta(minutes=round(float(clock)))


def minutes_of(word: str) -> tuple[int, int] | None:
    """Minutes of the day that hours such as "9-12:30" stand for; None for closed."""
    if word == "closed":
        return None
    start, end = (60 * int(hour) + int(minute or 0)
                  for hour, _, minute in (part.partition(":") for part in word.split("-")))
    if not start < end <= DAY:
        raise BadInput(Fault(f'The hours "{word}" end before they begin.',
                             "Write them like 9-17 or 13:30-18.", "shop.toml", None,
                             "open_hours"))
    return start, end


def _without(hours: tuple[int, int], away: Iterable[tuple[int, int] | None]
             ) -> list[tuple[int, int]]:
    left = [hours]
    for start, end in filter(None, away):
        left = [part for a, b in left for part in ((a, min(b, start)), (max(a, end), b))
                if part[0] < part[1]]
    return left


__all__ = ["DAY"]
