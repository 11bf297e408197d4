"""What was expected and what came, a row for each: hours, and what was left over."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from estimator.plots._looks import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    PALE_BLUE,
    VERMILION,
    bars,
    fit,
    line,
    numbers,
    panel,
    per_point,
    points,
    reach,
    scale,
    wide,
    widest,
    write,
)

ACROSS = 420.0
"""Width of the charts of a review: two beside each other on a page. [pt]"""
_ROW = 42.0  # [pt]
# From the top of a row: the middle of its name, then the bars of what was expected and what came.
_NAME, _EXPECTED, _CAME, _THICK = 0.17, 0.48, 0.78, 0.25


def hours_against(rows: Sequence[tuple[str, float, float]], ax=None, *, most: int = 10):
    """Hours expected and hours booked, two bars a row, in the order given.

    Parameters
    ----------
    rows
        Name, hours expected and hours booked, 0 or more. [h]
    ax
        Axes to draw on; None makes new ones.
    most
        How many to show at most.

    Raises
    ------
    ValueError
        If there are no rows, or hours are not finite or under 0.

    Examples
    --------
    >>> ax = hours_against([("Rebuild a flipper", 2.0, 3.0), ("Test", 1.0, 0.9)])
    >>> [text.get_text() for text in ax.texts][:3]
    ['Rebuild a flipper', '2.0 h', '3.0 h, 1.50 ×']
    """
    found = numbers([hours for _, *hours in rows], "hours")
    if found.min() < 0:
        raise ValueError("hours are 0 or more")
    shown = [(name, *pair) for (name, *_), pair in zip(rows, found.tolist(), strict=True)][:most]
    # Of small hours a tenth says too little.
    digits = 2 if max(max(pair) for _, *pair in shown) < 3 else 1
    said = [f"{came:.{digits}f} h" + (f", {came / expected:.2f} ×" if expected else "")
            for _, expected, came in shown]
    ax = _rows(ax, len(shown), 54, 4)
    reach(ax, 0, max(0.1, *(max(pair) for _, *pair in shown)), 0, widest(said) + 8)
    gap = 5 * per_point(ax)
    for place, (name, expected, came) in enumerate(shown):
        over = came > expected
        write(ax, 0, place + _NAME, fit(name, wide(ax)))
        _bar(ax, expected, place + _EXPECTED, PALE_BLUE, False, edgecolor=BLUE)
        _bar(ax, came, place + _CAME, VERMILION if over else BLUE, over)
        write(ax, expected + gap, place + _EXPECTED, f"{expected:.{digits}f} h")
        write(ax, came + gap, place + _CAME, said[place])
    line(ax, [0, 0], [0, len(shown)], color=INK, linewidth=1)
    _key(ax)
    return ax


def margins(rows: Sequence[tuple[str, float, float]], ax=None, *, most: int = 12,
            share: Callable[[float], str] = lambda value: f"{100 * value:.0f} %"):
    """What was to be left over and what was, as shares of the price or of the income.

    Parameters
    ----------
    rows
        Name, share quoted and share made. [–]
    ax
        Axes to draw on; None makes new ones.
    share
        How a share is written.

    Raises
    ------
    ValueError
        If there are no rows, or a share is not finite.

    Examples
    --------
    >>> ax = margins([("Shop job, 11 jobs", 0.25, 0.17)])
    >>> [text.get_text() for text in ax.texts][:3]
    ['Shop job, 11 jobs', '25 %', '17 %']
    """
    found = numbers([pair for _, *pair in rows], "margins").tolist()
    shown = [(name, *pair) for (name, *_), pair in zip(rows, found, strict=True)][:most]
    ax = _rows(ax, len(shown), 34, 34)
    ends = [value for _, *pair in shown for value in pair]
    words = widest(map(share, ends)) + 14
    reach(ax, min(0.0, *ends), max(0.0, *ends), words, words)
    gap = 10 * per_point(ax)
    line(ax, [0, 0], [0, len(shown)], color=FAINT, linewidth=1.2)
    for place, (name, quoted, made) in enumerate(shown):
        middle = place + 0.62
        write(ax, ax.get_xlim()[0], place + _NAME, fit(name, wide(ax)))
        line(ax, [quoted, made], [middle, middle], linewidth=2,
             color=VERMILION if made < quoted else GREEN)
        line(ax, [quoted], [middle], marker="o", markersize=9, markerfacecolor="white",
             markeredgewidth=2, color=INK)
        line(ax, [made], [middle], marker="D", markersize=8,
             color=VERMILION if made < quoted else GREEN)
        first = 1 if quoted >= made else -1
        write(ax, quoted + first * gap, middle, share(quoted), ha="left" if first > 0 else "right")
        write(ax, made - first * gap, middle, share(made), ha="right" if first > 0 else "left")
    above = points(ax, 0, 1)
    for at, marker, face, color, said in ((4, "o", "white", INK, "Quoted"),
                                          (80, "D", GREEN, GREEN, "Made, more"),
                                          (180, "D", VERMILION, VERMILION, "Made, less")):
        line(ax, [at], [14], marker=marker, markersize=8, markerfacecolor=face, color=color,
             markeredgewidth=2, transform=above)
        write(ax, at + 12, 14, said, transform=above)
    scale(ax, share, "Left over", finest=0.01)
    return ax


def hours_by(rows: Sequence[tuple[str, float]], ax=None, *, most: int = 12):
    """Hours by what they went to, one bar each, in the order given, with the share of all.

    Parameters
    ----------
    rows
        Name and hours, 0 or more. [h]
    ax
        Axes to draw on; None makes new ones.
    most
        How many to show at most; shares are of all.

    Raises
    ------
    ValueError
        If there are no rows, or hours are not finite or under 0.

    Examples
    --------
    >>> ax = hours_by([("Ordering", 30), ("Messages", 10)])
    >>> [text.get_text() for text in ax.texts]
    ['Ordering', '30.0 h, 75 %', 'Messages', '10.0 h, 25 %']
    """
    hours = numbers([value for _, value in rows], "hours").tolist()
    if min(hours) < 0:
        raise ValueError("hours are 0 or more")
    whole = math.fsum(hours)
    names = [fit(name, 190.0) for name, _ in rows][:most]
    said = [f"{value:.1f} h" + (f", {100 * value / whole:.0f} %" if whole else "")
            for value in hours[:most]]
    left = widest(names) + 14
    ax = panel(ax, (left, 6, 6, 6), 12 + 24.0 * len(names), ACROSS)
    ax.set_ylim(len(names) - 0.5, -0.5)
    reach(ax, 0, max(0.1, *hours[:most]), 0, widest(said) + 8)
    bars(ax, [(0, value, place - 0.32, place + 0.32) for place, value in enumerate(hours[:most])],
         BLUE)
    line(ax, [0, 0], [-0.5, len(names) - 0.5], color=INK, linewidth=1)
    for place, (name, value, words) in enumerate(zip(names, hours, said, strict=False)):
        write(ax, -6 * per_point(ax), place, name, ha="right")
        write(ax, value + 5 * per_point(ax), place, words)
    return ax


def _rows(ax, count: int, above: float, below: float):
    """Axes with a row for each name."""
    ax = panel(ax, (6, 6, below, above), above + below + _ROW * count, ACROSS)
    ax.set_ylim(count, 0)
    return ax


def _bar(ax, value: float, middle: float, color: str, hatched: bool, **looks) -> None:
    bars(ax, [(0, value, middle - _THICK / 2, middle + _THICK / 2)], color, hatched=hatched,
         **looks)


def _key(ax) -> None:
    """What the bars stand for, above the Axes."""
    above = points(ax, 0, 1)
    for rise, color, hatched, looks, words in (
            (41, PALE_BLUE, False, {"edgecolor": BLUE}, "Expected"),
            (27, BLUE, False, {}, "Booked, no more than expected"),
            (13, VERMILION, True, {}, "Booked, more than expected")):
        bars(ax, [(0, 11, rise - 4, rise + 4)], color, hatched=hatched, transform=above, **looks)
        write(ax, 16, rise, words, transform=above)


__all__ = ["hours_against", "hours_by", "margins"]
