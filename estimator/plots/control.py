"""Whether estimates hold: job by job against control limits, and promise by promise."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from estimator.plots._looks import (
    BLUE,
    FAINT,
    INK,
    VERMILION,
    across,
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
    width,
    write,
)
from estimator.plots.against import ACROSS

_RATIOS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0,
           4.0, 5.0, 7.0, 10.0)
_ROUND = (0.1, 0.25, 0.5, 0.8, 1.25, 1.5, 2.0, 3.0, 5.0, 10.0)


def control(ratios: Sequence[float], centre: float, limits: tuple[float, float], ax=None, *,
            out: Mapping[int, str] | None = None, names: Sequence[str] = ()):
    """Actual over expected of each job in order, between control limits, on a log scale.

    Parameters
    ----------
    ratios
        Actual over expected hours, over 0. [–]
    centre, limits
        Centre, and lower and upper limit, over 0. [–]
    ax
        Axes to draw on; None makes new ones.
    out
        Of points that should not be there by chance: place from 0, and which rule says so.
    names
        Of the jobs.

    Raises
    ------
    ValueError
        If there are no ratios, or a figure is not finite or not over 0.

    Examples
    --------
    >>> ax = control([1.0, 1.1, 1.9], 1.05, (0.8, 1.4), out={2: "beyond a limit"})
    >>> [text.get_text() for text in ax.texts if " " in text.get_text()][-6:-2]
    ['Centre 1.05', 'Lower 0.80', 'job 3', 'within limits']
    """
    found = numbers([*ratios], "ratios")
    lines = numbers([centre, *limits], "limits")
    if min(found.min(), lines.min()) <= 0:
        raise ValueError("ratios and limits must be over 0")
    out = out or {}
    ax = panel(ax, (50, 84, 36, 30), 250, ACROSS)
    least, greatest = min(found.min(), *lines, 1.0), max(found.max(), *lines, 1.0)
    low, high = math.log(least), math.log(greatest)
    spare = 0.08 * (high - low) or 0.1
    ax.set_ylim(low - spare, high + spare)
    reach(ax, 1, max(2, len(found)), 8, 8)
    left, right = ax.get_xlim()
    named = _ticks(ax, least, greatest)
    guides(ax, [(left, right, math.log(ratio)) for ratio in named])
    heights(ax, [(math.log(ratio), f"{ratio:g} ×") for ratio in named])
    for value in limits:
        line(ax, [left, right], [math.log(value)] * 2, linestyle=(0, (6, 3)))
    line(ax, [left, right], [math.log(centre)] * 2, linewidth=1.8)
    # Words of lines that nearly meet stand apart.
    at = _apart(ax, [math.log(value) for value in (limits[1], centre, limits[0])])
    for place, value, words in zip(at, (limits[1], centre, limits[0]),
                                   ("Upper", "Centre", "Lower"), strict=True):
        write(ax, right + 5 * per_point(ax), place, f"{words} {value:.2f}")
    logs = [math.log(value) for value in found]
    line(ax, range(1, len(logs) + 1), logs, color=BLUE, linewidth=0.9)
    inside = [(place, log) for place, log in enumerate(logs, 1) if place - 1 not in out]
    outside = [(place + 1, logs[place]) for place in out]
    for dots, looks in ((inside, {"color": BLUE, "marker": "o", "markersize": 6}),
                        (outside, {"color": VERMILION, "marker": "D", "markersize": 9,
                                   "markeredgecolor": INK})):
        if dots:
            line(ax, *zip(*dots, strict=True), linestyle="", **looks)
    for place, log in outside:
        _tell(ax, place, log, names[place - 1] if place <= len(names) else f"job {place}")
    _explain(ax, bool(out))
    scale(ax, "{:.0f}".format, "Jobs in the order they were closed", least=1)
    return ax


def calibration(held: Mapping[str, Sequence[tuple[float, int, int, float, float]]], ax=None):
    """How often what was promised was enough, against how often it should have been.

    Parameters
    ----------
    held
        By what was promised, such as hours and cost, at most two: share of the promise, jobs in
        which it was enough, jobs, and low and high end of where the share may lie in the long
        run. [–]
    ax
        Axes to draw on; None makes new ones.

    Raises
    ------
    ValueError
        If there is nothing, or a share lies outside 0 to 1.

    Examples
    --------
    >>> ax = calibration({"hours": [(0.8, 19, 30, 0.46, 0.78)]})
    >>> [text.get_text() for text in ax.texts][:2]
    ['19 of 30', 'hours']
    """
    rows = [row for found in held.values() for row in found]
    found = numbers(rows, "promises")
    shares = found[:, [0, 3, 4]]
    if shares.min() < 0 or shares.max() > 1 or found[:, 2].min() < 1:
        raise ValueError("shares lie between 0 and 1, of one job or more")
    ax = panel(ax, (48, 12, 38, 30), 300, ACROSS)
    least = max(0.0, min(0.4, found[:, 0].min() - 0.1))
    reach(ax, least, 1.0, 6, 6)
    ax.set_ylim(-8, 108)
    guides(ax, [(*ax.get_xlim(), level) for level in (0, 25, 50, 75, 100)])
    dashed(ax, [least, 1.0], [100 * least, 100], linewidth=1.4)
    looks = [(BLUE, "o", "full", -1), (VERMILION, "s", "none", 1)]
    above = points(ax, 0, 1)
    for place, ((what, promised), (color, marker, fill, side)) in enumerate(
            zip(held.items(), looks, strict=False)):
        aside = side * 7 * per_point(ax)
        for share, hits, cases, low, high in promised:
            at, seen = share + aside, 100 * hits / cases
            line(ax, [at, at], [100 * low, 100 * high], color=color, linewidth=2)
            line(ax, [at], [seen], color=color, marker=marker, markersize=9, fillstyle=fill,
                 markeredgewidth=2, markerfacecoloralt="white",
                 markerfacecolor=color if fill == "full" else "white")
            # Beyond the end that the other one has not: the words do not meet.
            end = 100 * (high if side > 0 else low)
            write(ax, at, end, f"{hits:.0f} of {cases:.0f}", ha="center",
                  va="bottom" if side > 0 else "top",
                  bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.5})
        start = 110 * place
        line(ax, [start + 5], [16], color=color, marker=marker, markersize=9, transform=above,
             markerfacecolor=color if fill == "full" else "white", markeredgewidth=2)
        write(ax, start + 16, 16, what, transform=above)
    dashed(ax, [230, 254], [16, 16], transform=above, linewidth=1.4)
    write(ax, 260, 16, "as promised", transform=above)
    heights(ax, [(level, f"{level} %") for level in (0, 25, 50, 75, 100)])
    foot = across(ax)
    line(ax, [least, 1.0], [0, 0], color=FAINT, linewidth=0.8, transform=foot)
    for share in sorted({row[0] for row in rows}):
        write(ax, share, -11, f"{100 * share:.0f} %", ha="center", transform=foot)
    write(ax, wide(ax) / 2, -26, "Promised: enough in so many jobs", ha="center",
          transform=points(ax))
    return ax


def _ticks(ax, least: float, greatest: float) -> list[float]:
    """Round ratios between these, 1 first of all, whose words have room above each other."""
    low, high = ax.get_ylim()
    need = 16 * (high - low) / (72 * ax.bbox.height / ax.figure.dpi)
    taken: list[float] = []
    for ratio in sorted(_RATIOS, key=lambda one: (one != 1, one not in _ROUND, one)):
        if least * 0.97 <= ratio <= greatest * 1.03 and all(
                abs(math.log(ratio / other)) > need for other in taken):
            taken.append(ratio)
    return sorted(taken)


def _tell(ax, x: float, y: float, name: str) -> None:
    """The name of a job that is out, on the side that has room."""
    high = ax.get_xlim()[1]
    said = fit(name, 130.0)
    right = (high - x) / per_point(ax) > width(said) + 10
    write(ax, x + (9 if right else -9) * per_point(ax), y, said, ha="left" if right else "right",
          bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1})


def _explain(ax, any_out: bool) -> None:
    above = points(ax, 0, 1)
    line(ax, [4], [14], color=BLUE, marker="o", markersize=6, transform=above)
    write(ax, 14, 14, "within limits", transform=above)
    line(ax, [124], [14], color=VERMILION, marker="D", markersize=8, markeredgecolor=INK,
         transform=above)
    write(ax, 136, 14, "out of control" if any_out else "out of control: none", transform=above)


def _apart(ax, values: Sequence[float], least: float = 14.0) -> list[float]:
    """Heights for words beside values, from the top down, at least so many points apart."""
    low, high = ax.get_ylim()
    tall = 72 * ax.bbox.height / ax.figure.dpi
    per = (high - low) / tall
    places: list[float] = []
    for value in values:
        places.append(min(value, places[-1] - least * per) if places else value)
    return places


__all__ = ["calibration", "control"]
