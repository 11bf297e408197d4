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
    over,
    panel,
    per_point,
    points,
    reach,
    wide,
    widest,
    width,
    write,
)

# Names left of the bars: room for a kind of cost, and the most that a longer one gets. [pt]
_NAMES, _MOST_NAMES = 68.0, 120.0
_THICK = 0.66  # of a row
# Of a bridge: its width, and the most that the names of reasons get. [pt]
_BRIDGE, _BRIDGE_NAMES = 420.0, 170.0


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


def bridge(quoted: float, steps: Sequence[tuple[str, float]], actual: float, ax=None, *,
           money: Callable[[float], str] = "{:,.0f}".format):
    """How a cost came from what was quoted to what it was, reason by reason.

    The Axes begin at what was quoted, so that reasons are seen that are small beside it; both
    ends say how large they are.

    Parameters
    ----------
    quoted, actual
        Both ends. [money]
    steps
        Reason and amount of each, in order; over 0 it cost more. [money]
    ax
        Axes to draw on; None makes new ones.
    money
        How an amount is written.

    Raises
    ------
    ValueError
        If an amount is not finite, or the steps do not lead from one end to the other.

    Examples
    --------
    >>> ax = bridge(2000, [("Labour efficiency", 120), ("Material price", -40)], 2080)
    >>> words = [text.get_text() for text in ax.texts]
    >>> words[:2], words[-2:]
    (['+120', '−40'], ['Quoted 2,000', 'Actual 2,080'])
    """
    values = [float(value) for value in numbers([quoted, *(v for _, v in steps), actual],
                                                "amounts")]
    quoted, *values, actual = values
    if not math.isclose(quoted + math.fsum(values), actual, rel_tol=1e-6, abs_tol=0.01):
        raise ValueError(f"the steps lead to {quoted + math.fsum(values):,.2f}, not to "
                         f"{actual:,.2f}")
    ends = list(itertools.accumulate(values, initial=0.0))
    names = [name for name, _ in steps]
    said = [("+" if value > 0 else "−" if value < 0 else "") + money(abs(value))
            for value in values]
    left = max(_NAMES, min(_BRIDGE_NAMES, widest(names) + 12))
    ax = panel(ax, (left, 10, 26, 26), 52 + 27.0 * max(1, len(names)), _BRIDGE)
    reach(ax, min(ends), max(ends), 4, widest(said) + 9)
    ax.set_ylim(max(1, len(names)) - 0.5, -0.5)
    gap = 5 * per_point(ax)
    line(ax, [0, 0], [-0.75, len(names) - 0.4], linewidth=1.2)
    joints = [(end, place - 1 + side * _THICK / 2) for place, end in enumerate(ends[1:-1], 1)
              for side in (1, 2 / _THICK - 1, math.nan)]
    if joints:
        line(ax, *zip(*joints, strict=True), linewidth=0.8)
    for more, color in ((True, VERMILION), (False, GREEN)):
        bars(ax, [(min(start, end), max(start, end), place - _THICK / 2, place + _THICK / 2)
                  for place, (start, end) in enumerate(itertools.pairwise(ends))
                  if (end > start) is more and end != start], color, hatched=more)
    for place, (words, pair) in enumerate(zip(said, itertools.pairwise(ends), strict=True)):
        write(ax, max(pair) + gap, place, words)
    heights(ax, [(place, fit(name, left - 6)) for place, name in enumerate(names)])
    over(ax, 0, f"Quoted {money(quoted)}", 12)
    last = len(names) - 1 + _THICK / 2
    line(ax, [ends[-1]] * 2, [last, len(names) - 0.4], linewidth=1.2)
    _under(ax, ends[-1], f"Actual {money(actual)}")
    return ax


def _under(ax, x: float, words: str) -> None:
    """Words below the Axes under a value, within the Axes if they can be."""
    low, high = ax.get_xlim()
    room, need = wide(ax), width(words)
    at = min(max(room * (x - low) / (high - low), need / 2), max(need / 2, room - need / 2))
    write(ax, at, -12, words, ha="center", transform=points(ax))


def _rows(ax, names: Sequence[str], said: Sequence[str], low: float, high: float):
    """Axes with a row for each name and room for words right of the bars; and a gap along x."""
    left = min(max(_NAMES, widest(names) + 6), _MOST_NAMES)
    ax = panel(ax, (left, 4, 7, 7), max(21.0 * len(names) + 14, min(209.0, 28.0 * len(names) + 14)))
    reach(ax, low, high, 3 if low < 0 else 0, widest(said) + 5)
    ax.set_ylim(len(names) - 0.5, -0.5)
    return ax, 5 * per_point(ax)


def _named(ax, names: Sequence[str]) -> None:
    heights(ax, [(place, fit(name, _MOST_NAMES - 6)) for place, name in enumerate(names)])


__all__ = ["bridge", "cost_breakdown", "waterfall"]
