"""How a job goes on, day by day: planned, earned and spent, and what it will come to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta

from estimator.plots._looks import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    VERMILION,
    across,
    beside_ends,
    guides,
    heights,
    line,
    numbers,
    panel,
    per_point,
    points,
    reach,
    step,
    wide,
    widest,
    width,
    write,
)
from estimator.plots.against import ACROSS


def earned_value(days: Sequence[date], planned: Sequence[float], earned: Sequence[float],
                 spent: Sequence[float], ax=None, *, budget: float,
                 forecast: tuple[float, float, float] | None = None,
                 day: Callable[[date], str] = str):
    """Hours planned, earned and spent over the days of a job.

    Parameters
    ----------
    days
        One or more, in order.
    planned, earned, spent
        By the end of each day (PV, EV, AC). [h]
    ax
        Axes to draw on; None makes new ones.
    budget
        Of the whole job (BAC). [h]
    forecast
        What it will come to: low end, mean and high end; None where there is none. [h]
    day
        How a day is written.

    Raises
    ------
    ValueError
        If there are no days, or a figure is not finite.

    Examples
    --------
    >>> days = [date(2026, 3, 2), date(2026, 3, 9)]
    >>> ax = earned_value(days, [0, 5], [0, 4], [0, 4.5], budget=10, forecast=(9, 11, 14))
    >>> [text.get_text() for text in ax.texts if text.get_text().endswith(".0 h")]
    ['Comes to 11.0 h', 'Planned 5.0 h', 'Earned 4.0 h']
    """
    import numpy as np

    planned, earned, spent = (numbers(values, "hours") for values in (planned, earned, spent))
    at = np.array([(one - days[0]).days for one in days], dtype=float)
    top = max(budget, planned.max(), earned.max(), spent.max(), *(forecast or (0.0,)))
    apart = step(top / 5, 0.5 if top < 5 else 1.0)
    levels = [apart * n for n in range(int(1.02 * top / apart) + 1)]
    words = widest(f"{level:g} h" for level in levels)
    ends = widest(f"Comes to {value:.1f} h" for value in (top, *(forecast or ())))
    ax = panel(ax, (words + 14, ends + 26, 26, 48), 266, ACROSS)
    reach(ax, 0, max(1.0, at[-1]), 2, 6)
    ax.set_ylim(0, 1.05 * top)
    left, right = ax.get_xlim()
    guides(ax, [(left, right, level) for level in levels])
    heights(ax, [(level, f"{level:g} h") for level in levels])
    line(ax, [left, right], [budget] * 2, color=INK, linewidth=1)
    every = max(1, len(at) // 6)
    looks = (("Planned", planned, INK, {"linestyle": (0, (5, 3))}, None),
             ("Earned", earned, GREEN, {"linewidth": 2.2}, "o"),
             ("Spent", spent, VERMILION, {"linewidth": 2.2}, "s"))
    for _, values, color, drawn, marker in looks:
        line(ax, at, values, color=color, marker=marker, markersize=6, markevery=every, **drawn)
    ends = [(f"{name} {values[-1]:.1f} h", float(values[-1]), color)
            for name, values, color, *_ in looks]
    if forecast is not None:
        low, mean, high = forecast
        beside = right + 6 * per_point(ax)
        line(ax, [beside] * 2, [low, high], color=BLUE, linewidth=3)
        line(ax, [beside], [mean], color=BLUE, marker="D", markersize=8)
        ends.append((f"Comes to {mean:.1f} h", mean, BLUE))
    beside_ends(ax, ends, right)
    _days(ax, days, at, day)
    above = points(ax, 0, 1)
    write(ax, 0, 32 if forecast else 16, f"Quoted: {budget:.1f} h in all", transform=above)
    if forecast:
        write(ax, 0, 16, f"In 8 of 10 such jobs: {forecast[0]:.0f} to {forecast[2]:.0f} h",
              transform=above)
    return ax


def _days(ax, days: Sequence[date], at, day: Callable[[date], str]) -> None:
    """A few days below the Axes, as many as have room."""
    need = width(day(days[-1])) + 16
    count = max(2, min(5, int(wide(ax) / need)))
    span = max(1, int(at[-1]))
    places = sorted({round(span * n / (count - 1)) for n in range(count)}) if at[-1] else [0]
    below = across(ax)
    line(ax, [0, span], [0, 0], color=FAINT, linewidth=0.8, transform=below)
    for place in places:
        side = "left" if place == 0 else "right" if place == span and span else "center"
        write(ax, place, -12, day(days[0] + timedelta(place)), ha=side, transform=below)


__all__ = ["earned_value"]
