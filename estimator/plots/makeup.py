"""What a price is made of: a bar each, from nought or one from the end of the other."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence

from estimator.plots._looks import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    VERMILION,
    bars,
    fit,
    heights,
    line,
    numbers,
    panel,
    per_point,
    reach,
    widest,
    write,
)

# Names left of the bars: room for a kind of cost, and the most that a longer one gets. [pt]
_NAMES, _MOST_NAMES = 68.0, 120.0
_THICK = 0.66  # of a row


def cost_breakdown(amounts: Mapping[str, float], ax=None, *,
                   money: Callable[[float], str] = "{:,.0f}".format,
                   earned: Sequence[str] = ()):
    """What a price is made of, one bar each, in the order given.

    Parameters
    ----------
    amounts
        Amount by what it is for; a negative one points the other way. [money]
    ax
        Axes to draw on; None makes new ones.
    money
        How an amount is written.
    earned
        Those that are not cost; their bars look different.

    Raises
    ------
    ValueError
        If there are no amounts, or one is not finite.

    Examples
    --------
    >>> ax = cost_breakdown({"Labour": 1200, "Parts": 300, "Margin": 500}, earned=["Margin"])
    >>> [text.get_text() for text in ax.texts][:3]
    ['1,200 · 60 %', '300 · 15 %', '500 · 25 %']
    """
    values = [float(value) for value in numbers(amounts.values(), "amounts")]
    whole = math.fsum(values)
    said = [money(value) + (f" · {100 * value / whole:.0f} %" if whole else "")
            for value in values]
    ax, gap = _rows(ax, list(amounts), said, min(0.0, *values, 0.0), max(0.0, *values, 0.0))
    for color, kept in ((BLUE, False), (GREEN, True)):
        bars(ax, [(min(value, 0), max(value, 0), place - _THICK / 2, place + _THICK / 2)
                  for place, (name, value) in enumerate(zip(amounts, values, strict=True))
                  if (name in earned) is kept], color)
    for place, (value, words) in enumerate(zip(values, said, strict=True)):
        write(ax, max(value, 0) + gap, place, words)
    _named(ax, list(amounts))
    line(ax, [0, 0], [-0.5, len(values) - 0.5], color=FAINT, linewidth=1)
    return ax


def waterfall(steps: Sequence[tuple[str, float]], total: float, ax=None, *,
              money: Callable[[float], str] = "{:,.0f}".format, earned: Sequence[str] = (),
              name: str = "Price"):
    """How steps add up to a price: each bar starts where the one above it ended.

    Parameters
    ----------
    steps
        Name and amount of each, in order; a negative one leads back. [money]
    total
        What they add up to, the last bar. [money]
    ax
        Axes to draw on; None makes new ones.
    money
        How an amount is written.
    earned
        Names of those that are not cost; their bars look different.
    name
        What the total is called.

    Raises
    ------
    ValueError
        If there are no steps, an amount is not finite, or they do not add up to the total.

    Examples
    --------
    >>> ax = waterfall([("Labour", 1200), ("Parts", 300), ("Margin", 500)], 2000)
    >>> [text.get_text() for text in ax.texts][:4]
    ['1,200', '300', '500', '2,000']
    """
    values = [float(value) for value in numbers([value for _, value in steps], "steps")]
    total = float(numbers([total], "totals")[0])
    if not math.isclose(math.fsum(values), total, rel_tol=1e-6, abs_tol=0.01):
        raise ValueError(f"the steps add up to {math.fsum(values):,.2f}, not to {total:,.2f}")
    names = [*(step for step, _ in steps), name]
    ends = list(itertools.accumulate(values))
    starts = [0.0, *ends[:-1]]
    said = [money(value) for value in [*values, total]]
    ax, gap = _rows(ax, names, said, min(0.0, *ends, 0.0), max(0.0, *ends, 0.0))

    def looks(place: int) -> tuple[str, bool]:
        if place == len(values):
            return INK, False
        if values[place] < 0:
            return VERMILION, True
        return (GREEN if names[place] in earned else BLUE), False

    spans = [*zip(starts, ends, strict=True), (0.0, total)]
    boxes: dict[tuple[str, bool], list] = {}
    for place, (start, end) in enumerate(spans):
        boxes.setdefault(looks(place), []).append(
            (min(start, end), max(start, end), place - _THICK / 2, place + _THICK / 2))
    # From the end of each bar down to the next.
    joints = [(end, place + side * _THICK / 2) for place, end in enumerate(ends)
              for side in (1, 2 / _THICK - 1, math.nan)]
    line(ax, *zip(*joints, strict=True), linewidth=0.8)
    for (color, hatched), found in boxes.items():
        bars(ax, found, color, hatched=hatched)
    for place, (span, words) in enumerate(zip(spans, said, strict=True)):
        write(ax, max(span) + gap, place, words)
    _named(ax, names)
    line(ax, [0, 0], [-0.5, len(names) - 0.5], color=FAINT, linewidth=1)
    return ax


def _rows(ax, names: Sequence[str], said: Sequence[str], low: float, high: float):
    """Axes with a row for each name and room for words right of the bars; and a gap along x."""
    left = min(max(_NAMES, widest(names) + 6), _MOST_NAMES)
    ax = panel(ax, (left, 4, 7, 7), max(21.0 * len(names) + 14, min(209.0, 28.0 * len(names) + 14)))
    reach(ax, low, high, 3 if low < 0 else 0, widest(said) + 5)
    ax.set_ylim(len(names) - 0.5, -0.5)
    return ax, 5 * per_point(ax)


def _named(ax, names: Sequence[str]) -> None:
    heights(ax, [(place, fit(name, _MOST_NAMES - 6)) for place, name in enumerate(names)])


__all__ = ["cost_breakdown", "waterfall"]
