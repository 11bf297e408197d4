"""What matters most, first: a row for each, its name over its bar, so that long names fit."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from estimator.plots._looks import (
    BLUE,
    FAINT,
    VERMILION,
    bars,
    fit,
    key,
    line,
    numbers,
    over,
    panel,
    per_point,
    points,
    reach,
    wide,
    widest,
    write,
)

_ROW, _LEAST_ROW = 30.0, 25.0  # [pt]
# From the top of a row: the middle of the name, the top and the foot of the bar. [rows]
_NAME, _TOP, _FOOT = 0.22, 0.47, 0.85
_MIDDLE = (_TOP + _FOOT) / 2


def tornado(drivers: Sequence[tuple[str, float, float]], middle: float, ax=None, *,
            most: int = 10, money: Callable[[float], str] = "{:,.0f}".format, of: str = "Cost",
            more_is_good: bool = False):
    """How far each driver alone moves a figure down and up, the widest first.

    Parameters
    ----------
    drivers
        Name of each, the figure with the driver at its low end, and at its high end. [money]
    middle
        The figure with all drivers as they are. [money]
    ax
        Axes to draw on; None makes new ones.
    most
        How many to show at most; fewer in Axes that are too low for them.
    money
        How an amount is written.
    of
        What the figure is.
    more_is_good
        True for a figure such as a profit.

    Raises
    ------
    ValueError
        If there are no drivers, or an amount is not finite.

    Examples
    --------
    >>> ax = tornado([("Parts", 950, 1100), ("Playfield", 800, 1400)], 1000)
    >>> [text.get_text() for text in ax.texts][:4]
    ['Playfield', '800', '1,400', 'Parts']
    """
    ends = numbers([ends for _, *ends in drivers], "drivers")
    middle = float(numbers([middle], "figures")[0])
    rows = sorted(((name, min(pair), max(pair)) for (name, *_), pair
                   in zip(drivers, ends.tolist(), strict=True)),
                  key=lambda row: row[1] - row[2])[:_fitting(ax, most)]
    low, high = ([money(row[end]) for row in rows] for end in (1, 2))
    ax = _rows(ax, len(rows), 20, 20)
    least, greatest = min(middle, *(row[1] for row in rows)), max(middle, *(row[2] for row in rows))
    spare = 1.0 if least == greatest else 0.0
    reach(ax, least - spare, greatest + spare, widest(low) + 7, widest(high) + 7)
    gap = 5 * per_point(ax)
    meet = [min(max(middle, left), right) for _, left, right in rows]
    for good, spans in ((not more_is_good, [(row[1], at) for row, at
                                            in zip(rows, meet, strict=True)]),
                        (more_is_good, [(at, row[2]) for row, at
                                        in zip(rows, meet, strict=True)])):
        _bars(ax, spans, BLUE if good else VERMILION, hatched=not good)
    # Beside the bars only: names stay free.
    line(ax, *_strokes([middle] * len(rows), 0.07), linewidth=1.6)
    for place, ((name, left, right), below, above) in enumerate(
            zip(rows, low, high, strict=True)):
        _name(ax, place, name)
        write(ax, left - gap, place + _MIDDLE, below, ha="right")
        write(ax, right + gap, place + _MIDDLE, above)
    over(ax, middle, f"{of} {money(middle)}")
    left, right = ("badly", "well") if more_is_good else ("well", "badly")
    write(ax, 0, -12, f"← goes {left}", transform=points(ax))
    write(ax, wide(ax), -12, f"goes {right} →", ha="right", transform=points(ax))
    return ax


def variance_shares(drivers: Sequence[tuple[str, float, float]], ax=None, *, most: int = 10):
    """How much of the spread each driver makes, alone and with the others, the largest first.

    Shares of variance after Sobol, of first order and total: a bar, and a mark for the total.

    Parameters
    ----------
    drivers
        Name, share of first order and total share of each; an estimate just under nought counts
        as nought. [–]
    ax
        Axes to draw on; None makes new ones.
    most
        How many to show at most; fewer in Axes that are too low for them.

    Raises
    ------
    ValueError
        If there are no drivers, or a share is not finite.

    Examples
    --------
    >>> ax = variance_shares([("Parts", 0.05, 0.06), ("Playfield", 0.61, 0.7)])
    >>> [text.get_text() for text in ax.texts][:4]
    ['Playfield', '61 to 70 %', 'Parts', '5 to 6 %']
    """
    shares = 100 * numbers([shares for _, *shares in drivers], "drivers").clip(0)
    rows = sorted(((name, *pair) for (name, *_), pair
                   in zip(drivers, shares.tolist(), strict=True)),
                  key=lambda row: -max(row[1:]))[:_fitting(ax, most)]
    said = [f"{alone:.0f} %" if f"{alone:.0f}" == f"{whole:.0f}" else
            f"{alone:.0f} to {whole:.0f} %" for _, alone, whole in rows]
    ax = _rows(ax, len(rows), 26, 4)
    reach(ax, 0, max(max(alone, whole) for _, alone, whole in rows), 0, widest(said) + 8)
    gap = 5 * per_point(ax)
    _bars(ax, [(0, alone) for _, alone, _ in rows], BLUE)
    line(ax, *_strokes([whole for *_, whole in rows], 0.06), linewidth=2.2)
    for place, ((name, alone, whole), words) in enumerate(zip(rows, said, strict=True)):
        _name(ax, place, name)
        write(ax, max(alone, whole) + gap, place + _MIDDLE, words)
    line(ax, *_strokes([0.0] * len(rows), 0.06), color=FAINT, linewidth=1)
    key(ax, [(BLUE, False, "by itself")], 4)
    at = points(ax, 0, 1)
    line(ax, [90, 90], [6, 16], linewidth=2.2, transform=at)
    write(ax, 96, 11, "together with others", transform=at)
    return ax


def inspect_next(sights: Sequence[tuple[str, float]], ax=None, *, most: int = 5,
                 money: Callable[[float], str] = "{:,.0f}".format):
    """Which lines to see before quoting: what that saves on average, the largest first.

    Parameters
    ----------
    sights
        Name of a line and what seeing it is worth. [money per job]
    ax
        Axes to draw on; None makes new ones.
    most
        How many to show at most; fewer in Axes that are too low for them.
    money
        How an amount is written.

    Raises
    ------
    ValueError
        If there are no lines, or an amount is not finite.

    Examples
    --------
    >>> ax = inspect_next([("Cabinet", 12), ("Playfield", 85)])
    >>> [text.get_text() for text in ax.texts]
    ['Playfield', '85', 'Cabinet', '12']
    """
    values = numbers([value for _, value in sights], "lines").tolist()
    rows = sorted(((name, value) for (name, _), value in zip(sights, values, strict=True)),
                  key=lambda row: -row[1])[:_fitting(ax, most)]
    said = [money(value) for _, value in rows]
    ax = _rows(ax, len(rows), 4, 4)
    reach(ax, min(0.0, rows[-1][1]), max(0.0, rows[0][1]), 0, widest(said) + 8)
    gap = 5 * per_point(ax)
    _bars(ax, [(min(value, 0), max(value, 0)) for _, value in rows], BLUE)
    for place, ((name, value), words) in enumerate(zip(rows, said, strict=True)):
        _name(ax, place, name)
        write(ax, max(value, 0) + gap, place + _MIDDLE, words)
    line(ax, *_strokes([0.0] * len(rows), 0.06), color=FAINT, linewidth=1)
    return ax


def _fitting(ax, most: int) -> int:
    """How many rows to show: as many as wanted, unless given Axes have no room for them."""
    room = most if ax is None else int(72 * ax.bbox.height / ax.figure.dpi // _LEAST_ROW)
    return max(1, min(most, room))


def _rows(ax, count: int, above: float, below: float):
    """Axes with so many rows, the first on top, and room above and below. [pt]"""
    ax = panel(ax, (8, 8, below, above), _ROW * count + above + below)
    ax.set_ylim(count, 0)
    return ax


def _bars(ax, spans: Sequence[tuple[float, float]], color: str, *, hatched: bool = False) -> None:
    bars(ax, [(left, right, place + _TOP, place + _FOOT)
              for place, (left, right) in enumerate(spans)], color, hatched=hatched)


def _strokes(values: Sequence[float], more: float):
    """An upright stroke in each row, by `more` of a row longer than its bar at both ends."""
    return zip(*[(value, place + at) for place, value in enumerate(values)
                 for at in (_TOP - more, _FOOT + more, math.nan)], strict=True)


def _name(ax, place: int, name: str) -> None:
    from matplotlib.transforms import blended_transform_factory
    write(ax, 0, place + _NAME, fit(name, wide(ax)),
          transform=blended_transform_factory(ax.transAxes, ax.transData))


__all__ = ["inspect_next", "tornado", "variance_shares"]
