"""The bench over days: who works on what and what is waited for, loads, and when it is ready."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from datetime import date, timedelta

from estimator.plots._looks import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    PALE_BLUE,
    PURPLE,
    VERMILION,
    across,
    bars,
    dashed,
    fit,
    guides,
    heights,
    line,
    numbers,
    panel,
    per_point,
    points,
    reach,
    scale,
    wide,
    widest,
    width,
    write,
)
from estimator.plots.against import ACROSS
from estimator.units import in_a_hundred

KINDS = {
    "work": ("Work", BLUE, ""),
    "cure": ("Cure", "white", "////"),
    "tumbler": ("Tumbler or bath", "white", "xxxx"),
    "parts": ("Parts on their way", "white", "...."),
    "outwork": ("Away for outwork", "white", "\\\\\\\\"),
}
"""What bars stand for: words, colour, hatching."""
_EDGES = {"work": BLUE, "cure": PURPLE, "tumbler": INK, "parts": GREEN, "outwork": VERMILION}
_WIDE, _ROW, _NAMES = 900.0, 21.0, 190.0  # [pt]
_THIN = 1.5  # least width of a bar [pt]
# Closed days: a ground too pale to be told by every eye, and a foot that keeps 3:1 against white.
_CLOSED, _FOOT = "#e6e8eb", "#7d848e"
_PLAIN = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
_MARKS = ((0.5, "5 in 10"), (0.8, "8 in 10"), (0.9, "9 in 10"))


def bench_days(rows: Sequence[tuple[str, Sequence[tuple[float, float, str]]]], first: date,
               ax=None, *, closed: Collection[int] = (), today: float | None = None,
               day: Callable[[date], str] = "{:%d %b}".format):
    """A plan over days: a row for each assembly, group, job or person, with work and waits.

    Waits are told apart by hatching, and by a word where there is room; closed days are shaded.

    Parameters
    ----------
    rows
        Name, and bars as (from, to, kind), in days from midnight before the first day; a kind is
        one of `KINDS`. [d]
    first
        The first day.
    ax
        Axes to draw on; None makes new ones.
    closed
        Days on which nobody is in, counted from the first. [d]
    today
        Where to draw the line of today; None draws none. [d]
    day
        How a day is written.

    Raises
    ------
    ValueError
        If there are no rows, a kind is another one, or a bar ends before it begins.

    Examples
    --------
    >>> ax = bench_days([("Flipper", [(0.4, 0.6, "work"), (0.6, 3.6, "parts")])], date(2026, 3, 2),
    ...                 closed=[5, 6], today=0.5)
    >>> [text.get_text() for text in ax.texts][:3]
    ['Flipper', 'parts', 'today']
    """
    ends = numbers([end for _, found in rows for _, end, _ in found], "bars")
    for _, found in rows:
        for start, end, kind in found:
            if kind not in KINDS:
                raise ValueError(f"{kind} is no kind of bar; there are {', '.join(KINDS)}")
            if not 0 <= start <= end:
                raise ValueError(f"a bar from {start:g} to {end:g} cannot be")
    last = max(1.0, float(ends.max()), 0.0 if today is None else today)
    ax = panel(ax, (_NAMES, 14, 30, 46), _ROW * len(rows) + 76, _WIDE)
    reach(ax, 0, last)
    ax.set_ylim(len(rows), 0)
    shut = [(at, min(at + 1, last)) for at in sorted(closed) if at < last]
    for color, top in ((_CLOSED, 0), (_FOOT, len(rows) - 3 / _ROW)):
        bars(ax, [(*days, top, len(rows)) for days in shut], color, linewidth=0)
    if len(rows) > 1:
        guides(ax, [(0, last, place) for place in range(1, len(rows))])
    names, words = [], []
    boxes: dict[str, list] = {kind: [] for kind in KINDS}
    for place, (name, found) in enumerate(rows):
        names.append((place + 0.5, fit(name, _NAMES - 14)))
        taken = -1.0
        for start, end, kind in found:
            # Work stands before waits of the same row.
            thick = 0.34 if kind == "work" else 0.26
            boxes[kind].append((start, max(end, start + _THIN * per_point(ax)),
                                place + 0.5 - thick, place + 0.5 + thick))
            # Beside what was written before in the row, and where it can be read.
            middle, half = (start + end) / 2, per_point(ax) * (width(kind) / 2 + 4)
            if kind != "work" and end - start > 2 * half and middle - half > taken:
                words.append((middle, place + 0.5, kind))
                taken = middle + half
    for kind in (*list(KINDS)[1:], "work"):
        _, color, hatch = KINDS[kind]
        bars(ax, boxes[kind], color, edgecolor=_EDGES[kind], hatch=hatch or None,
             linewidth=0.4 if kind == "work" else 1)
    heights(ax, names)
    for at, middle, word in words:
        write(ax, at, middle, word, ha="center", fontsize=9,
              bbox=_PLAIN)
    line(ax, [0, 0], [0, len(rows)], color=INK, linewidth=1)
    if today is not None:
        line(ax, [today, today], [0, len(rows)], color=INK, linewidth=1.8)
        room, need = wide(ax), width("today") / 2
        at = min(max(today / per_point(ax), need), room - need)
        write(ax, at, 8, "today", ha="center", weight="bold", transform=points(ax, 0, 1))
    _days(ax, first, last, day)
    _key(ax, [kind for kind in KINDS if boxes[kind]], bool(closed))
    return ax


def loads(rows: Sequence[tuple[str, float, float]], ax=None):
    """Hours that are planned against hours that somebody is in, a row a person and week.

    Parameters
    ----------
    rows
        Name, hours planned and hours open, 0 or more. [h]
    ax
        Axes to draw on; None makes new ones.

    Raises
    ------
    ValueError
        If there are no rows, or hours are not finite or under 0.

    Examples
    --------
    >>> ax = loads([("Week of 2 Mar, Mara", 30.0, 40.0)])
    >>> [text.get_text() for text in ax.texts][:2]
    ['Week of 2 Mar, Mara', '30.0 of 40.0 h, 75 %']
    """
    found = numbers([hours for _, *hours in rows], "hours")
    if found.min() < 0:
        raise ValueError("hours are 0 or more")
    said = [f"{used:.1f} of {there:.1f} h" + (f", {100 * used / there:.0f} %" if there else "")
            for _, used, there in rows]
    names = min(max(width(name) for name, *_ in rows), 200.0)
    ax = panel(ax, (names + 12, 6, 34, 6), 22.0 * len(rows) + 40, ACROSS)
    reach(ax, 0, max(0.1, float(found.max())), 0, widest(said) + 8)
    ax.set_ylim(len(rows), 0)
    for place, ((name, used, there), words) in enumerate(zip(rows, said, strict=True)):
        middle = place + 0.5
        heights(ax, [(middle, fit(name, names))])
        bars(ax, [(0, there, middle - 0.36, middle + 0.36)], PALE_BLUE, edgecolor=BLUE)
        bars(ax, [(0, used, middle - 0.22, middle + 0.22)], BLUE)
        write(ax, max(used, there) + 5 * per_point(ax), middle, words)
    scale(ax, "{:.0f}".format, "Hours at the bench: planned, within those open", least=0)
    line(ax, [0, 0], [0, len(rows)], color=INK, linewidth=1)
    return ax


def finish_curve(days: Sequence[float], first: date, ax=None, *, planned: float | None = None,
                 promise: tuple[float, str] | None = None,
                 day: Callable[[date], str] = "{:%d %b}".format):
    """The chance that a machine is ready by a day, with the days that people quote.

    Parameters
    ----------
    days
        When it is ready in each trial, from midnight before the first day. [d]
    first
        The first day.
    ax
        Axes to draw on; None makes new ones.
    planned
        When it is ready if all goes as planned; None draws no mark. [d]
    promise
        End of the day that is promised, and words to it. [d]
    day
        How a day is written.

    Raises
    ------
    ValueError
        If there are no trials, or one is not finite.

    Examples
    --------
    >>> ax = finish_curve([10.2, 11.5, 14.9], date(2026, 3, 2))
    >>> [text.get_text() for text in ax.texts][0]
    '5 in 10: 13 Mar'
    """
    import numpy as np

    found = np.sort(numbers(days, "trials"))
    ax = panel(ax, (60, 14, 44, 26), 250, ACROSS)
    shares = np.linspace(0.005, 0.995, 100)
    along = np.quantile(found, shares)
    values = np.quantile(found, [share for share, _ in _MARKS])
    # Ready on the morning of a day is ready on that day; ready at midnight on the one before.
    said = [f"{words}: {day(_on(first, value))}" for (_, words), value in
            zip(_MARKS, values, strict=True)]
    low, high = float(along[0]), float(along[-1])
    for mark in (planned, promise and promise[0]):
        if mark is not None:
            low, high = min(low, mark), max(high, mark)
    reach(ax, low, high, 0.3 * wide(ax), 8)
    ax.set_ylim(0, 104)
    line(ax, along, 100 * shares, color=BLUE, linewidth=2.2)
    gap = 8 * per_point(ax)
    for (share, _), value, words in zip(_MARKS, values, said, strict=True):
        write(ax, value - gap, 100 * share, words, ha="right", bbox=_PLAIN)
        dashed(ax, [value, value], [0, 100 * share], linewidth=1)
    line(ax, values, [100 * share for share, _ in _MARKS], color=BLUE, marker="o", markersize=7,
         linestyle="none")
    if promise is not None:
        line(ax, [promise[0]] * 2, [0, 104], color=VERMILION, linewidth=2)
        room = promise[0] - ax.get_xlim()[0]
        at = min(max(room / per_point(ax), width(promise[1]) / 2), wide(ax) - width(promise[1]) / 2)
        write(ax, at, 12, promise[1], ha="center", transform=points(ax, 0, 1))
    if planned is not None:
        line(ax, [planned], [0], color=INK, marker="^", markersize=9)
        write(ax, planned - gap, 7, "as planned", ha="right", bbox=_PLAIN)
    heights(ax, [(share, f"{share} %") for share in (0, 50, 80, 100)])
    _days(ax, first, high, day, low)
    write(ax, wide(ax) / 2, -30, "Ready by the end of this day", ha="center",
          transform=points(ax))
    write(ax, -50, 0, "Chance", ha="center", rotation=90, transform=points(ax, 0, 0.5))
    return ax


def _on(first: date, at: float) -> date:
    return first + timedelta(max(math.ceil(at) - 1, 0))


def holds_up(rows: Sequence[tuple[str, float, str]], ax=None, *, most: int = 12):
    """In how many of a hundred trials each thing holds up the end, in the order given.

    Parameters
    ----------
    rows
        Name, share of the trials and what it is: one of `KINDS`. [–]
    ax
        Axes to draw on; None makes new ones.
    most
        How many to show at most.

    Raises
    ------
    ValueError
        If there are no rows, or a share is not from 0 to 1.

    Examples
    --------
    >>> ax = holds_up([("Parts from Oakbench", 0.4, "parts")])
    >>> [text.get_text() for text in ax.texts][:2]
    ['Parts from Oakbench', '40 in 100 (parts)']
    """
    found = numbers([share for _, share, _ in rows], "shares")
    if found.min() < 0 or found.max() > 1:
        raise ValueError("shares are 0 to 1")
    shown = list(rows)[:most]
    said = [f"{in_a_hundred(share)} ({kind})" for _, share, kind in shown]
    ax = panel(ax, (4, 6, 8, 6), 36.0 * len(shown) + 16, ACROSS)
    reach(ax, 0, max(0.05, *(share for _, share, _ in shown)), 0, widest(said) + 8)
    ax.set_ylim(len(shown), 0)
    for place, ((name, share, kind), words) in enumerate(zip(shown, said, strict=True)):
        _, color, hatch = KINDS[kind]
        write(ax, 0, place + 0.22, fit(name, wide(ax)))
        bars(ax, [(0, share, place + 0.46, place + 0.86)], color, edgecolor=_EDGES[kind],
             hatch=hatch or None, linewidth=1)
        write(ax, share + 5 * per_point(ax), place + 0.66, words)
    line(ax, [0, 0], [0, len(shown)], color=FAINT, linewidth=1.2)
    return ax


def _days(ax, first: date, last: float, day: Callable[[date], str], low: float = 0.0) -> None:
    """Days below the Axes, as many as have room: each day, Mondays, or every so many of them."""
    need = width(day(first)) + 16
    # From a round day on; of longer plans Mondays.
    fits = max(1, int((last - low) / per_point(ax) / need))
    apart = next(step for step in (1, 2, 7, 14, 28, 56, 112, 224, 448, 896, 1792)
                 if (last - low) / step <= fits or step == 1792)
    start = int(low) + (-(first + timedelta(int(low))).weekday() % 7 if apart >= 7 else 0)
    places = [at for at in range(start, int(last) + 1, apart) if at >= low]
    at = across(ax)
    left, right = ax.get_xlim()
    line(ax, [max(low, left), *places, min(last, right)], [0.0] * (len(places) + 2), color=FAINT,
         linewidth=0.8, marker=3, markersize=4, markevery=slice(1, -1), transform=at)
    for place in places:
        spare = (right - place) / per_point(ax)
        before = (place - left) / per_point(ax)
        if spare > need / 2 - 12:
            write(ax, place, -12, day(first + timedelta(place)),
                  ha="center" if before > need / 2 - 20 else "left", transform=at)


def _key(ax, kinds: Sequence[str], closed: bool) -> None:
    """What bars stand for, in one line above the Axes."""
    at, start = points(ax, 0, 1), -_NAMES + 14
    for kind in (*kinds, *(["closed"] if closed else [])):
        words, color, hatch = KINDS.get(kind, ("Closed", _CLOSED, ""))
        bars(ax, [(start, start + 20, 25, 37)], color, edgecolor=_EDGES.get(kind, FAINT),
             hatch=hatch or None, linewidth=1, transform=at)
        if kind == "closed":
            bars(ax, [(start, start + 20, 25, 28)], _FOOT, transform=at)
        write(ax, start + 26, 31, words, transform=at)
        start += 26 + width(words) + 20


__all__ = ["bench_days", "finish_curve", "holds_up", "loads"]
