"""The charts of a quote: each takes plain data and Axes, and returns the Axes.

Colours are those of Okabe and Ito that keep 3:1 against white, and none says anything alone:
words and values stand beside the marks. Figures are made without pyplot, so nothing has to be
closed. Margins are fixed, which is quick and keeps a chart from jumping as figures change.
"""

from __future__ import annotations

import html
import io
import math
import re
from collections.abc import Callable, Mapping, Sequence

BLUE, VERMILION, GREEN, PURPLE = "#0072B2", "#D55E00", "#009E73", "#CC79A7"
INK, FAINT = "#1c1e21", "#c9ccd1"
_POINTS = 10.5

# About 400 × 280 px: three side by side on a page, text as large as the page's own.
SIZE = (4.2, 2.9)


def _axes(ax, margins: tuple[float, float, float, float], size=SIZE):
    """The Axes given, or new ones; margins left, right, bottom, top. [inches]"""
    if ax is None:
        from matplotlib.figure import Figure
        left, right, bottom, top = margins
        width, height = size
        ax = Figure(figsize=size).add_axes((
            left / width, bottom / height,
            (width - left - right) / width, (height - bottom - top) / height))
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.spines["bottom"].set_color(FAINT)
    ax.tick_params(labelsize=_POINTS, colors=INK, length=3, color=FAINT)
    return ax


def in_a_hundred(share: float) -> str:
    """A chance as people say it.

    Parameters
    ----------
    share
        0 to 1. [–]

    Examples
    --------
    >>> in_a_hundred(0.062), in_a_hundred(0.004), in_a_hundred(0), in_a_hundred(0.998)
    ('6 in 100', 'under 1 in 100', 'none', 'over 99 in 100')
    """
    if share <= 0:
        return "none"
    if share < 0.005:
        return "under 1 in 100"
    if 0.995 < share < 1:
        return "over 99 in 100"
    return f"{round(100 * share)} in 100"


def margin(shares: Sequence[float], ax=None, *, of: str = "of the price"):
    """How the margin spreads over jobs like this one; those that lose money stand apart.

    Parameters
    ----------
    shares
        Margin of each trial as a share of its price; negative where the job loses money. [–]
    ax
        Axes to draw on; None makes new ones.
    of
        What the per cents on the axis are of.

    Raises
    ------
    ValueError
        If there are no shares.

    Examples
    --------
    >>> ax = margin([-0.1, 0.1, 0.2, 0.3])
    >>> [text.get_text() for text in ax.get_legend().get_texts()]
    ['Loses money: 25 in 100', 'Earns: 75 in 100']
    """
    import numpy as np
    from matplotlib.patches import Patch

    per_cent = 100 * np.asarray(shares, dtype=float)
    if not per_cent.size:
        raise ValueError("there are no trials to show")
    ax = _axes(ax, (0.15, 0.2, 0.58, 0.5))
    low, high = np.quantile(per_cent, (0.002, 0.998))
    low, high = min(low, -2.0), max(high, low + 4, 5.0)
    step = _step((high - low) / 32)
    edges = np.arange(math.floor(low / step), math.ceil(high / step) + 1) * step
    counts, _ = np.histogram(np.clip(per_cent, edges[0], edges[-1]), edges)
    heights = counts / per_cent.size
    lost = edges[:-1] < -1e-9
    ax.bar(edges[:-1][~lost], heights[~lost], step, align="edge", color=BLUE,
           edgecolor="white", linewidth=0.6)
    ax.bar(edges[:-1][lost], heights[lost], step, align="edge", color=VERMILION,
           edgecolor="white", linewidth=0.6, hatch="////")
    top = 1.22 * max(heights.max(), 1e-9)
    ax.set_ylim(0, top)
    ax.set_xlim(edges[0], edges[-1])
    ax.axvline(0, color=INK, linewidth=1.2)
    mean = float(per_cent.mean())
    ax.axvline(mean, color=INK, linewidth=1.2, linestyle=(0, (4, 3)))
    gap = 0.012 * (edges[-1] - edges[0])
    # On the side where nought is not, if there is room.
    side = "right" if mean < 0 or mean > (edges[0] + edges[-1]) / 2 else "left"
    ax.text(mean + (-gap if side == "right" else gap), 0.99 * top, f"on average {mean:.0f} %",
            ha=side, va="top", fontsize=_POINTS, color=INK)
    loss = float((per_cent < 0).mean())
    marks = [Patch(facecolor=VERMILION, edgecolor="white", hatch="////"), Patch(facecolor=BLUE)]
    ax.legend(marks, [f"Loses money: {in_a_hundred(loss)}", f"Earns: {in_a_hundred(1 - loss)}"],
              loc="lower left", bbox_to_anchor=(0, 1), frameon=False, borderaxespad=0.2,
              labelspacing=0.25, handletextpad=0.5,
              borderpad=0, handlelength=1.1, fontsize=_POINTS, labelcolor=INK)
    ax.set_yticks([])
    ax.xaxis.set_major_formatter(lambda value, _place: f"{value:.0f} %")
    ax.set_xlabel(f"Left over after all costs, {of}", fontsize=_POINTS, color=INK)
    return ax


def _step(rough: float) -> float:
    """A round width near `rough`."""
    power = 10 ** math.floor(math.log10(rough))
    return next(power * factor for factor in (1, 2, 2.5, 5, 10) if power * factor >= rough)


def cost_breakdown(amounts: Mapping[str, float], ax=None, *,
                   money: Callable[[float], str] = "{:,.0f}".format,
                   earned: Sequence[str] = ()):
    """What a price is made of, one bar each, in the order given.

    Parameters
    ----------
    amounts
        Amount by what it is for; a negative one points the other way. [money]
    money
        How an amount is written.
    earned
        Those that are not cost; their bars look different.

    Raises
    ------
    ValueError
        If there are no amounts.

    Examples
    --------
    >>> ax = cost_breakdown({"Labour": 1200, "Parts": 300, "Margin": 500}, earned=["Margin"])
    >>> [text.get_text() for text in ax.texts]
    ['1,200 · 60 %', '300 · 15 %', '500 · 25 %']
    """
    if not amounts:
        raise ValueError("there are no amounts to show")
    ax = _axes(ax, (0.95, 0.1, 0.1, 0.1))
    names, values = list(amounts), [float(v) for v in amounts.values()]
    whole = math.fsum(values)
    reach = max((abs(value) for value in values), default=0) or 1.0
    for place, (name, value) in enumerate(zip(names, values, strict=True)):
        ax.barh(place, value, height=0.66, color=GREEN if name in earned else BLUE)
        share = f" · {100 * value / whole:.0f} %" if whole else ""
        ax.text(max(value, 0) + 0.02 * reach, place, f"{money(value)}{share}", va="center",
                ha="left", fontsize=_POINTS, color=INK)
    ax.set_yticks(range(len(names)), names, fontsize=_POINTS, color=INK)
    ax.tick_params(axis="y", length=0)
    ax.invert_yaxis()
    ax.set_xticks([])
    ax.set_xlim(min(0.0, *values) if len(values) > 1 else min(0.0, values[0]), 1.75 * reach)
    ax.spines["bottom"].set_visible(False)
    ax.axvline(0, color=FAINT, linewidth=1)
    return ax


HOURS_WORDS = {0.5: "as often as not", 0.8: "4 jobs in 5", 0.9: "9 jobs in 10"}


def hours_curve(hours: Sequence[float], ax=None, *, shares: Sequence[float] = (0.5, 0.8, 0.9)):
    """Share of jobs that are done within so many hours, with the marks that people quote.

    Parameters
    ----------
    hours
        Hours of each trial. [h]
    shares
        Which shares to mark. [–]

    Raises
    ------
    ValueError
        If there are no hours.

    Examples
    --------
    >>> ax = hours_curve([10, 20, 30, 40])
    >>> [text.get_text() for text in ax.texts][0]
    'as often as not: 25 h'
    """
    import numpy as np

    hours = np.sort(np.asarray(hours, dtype=float))
    if not hours.size:
        raise ValueError("there are no trials to show")
    ax = _axes(ax, (0.82, 0.12, 0.58, 0.12))
    at = np.linspace(0, 1, 201)
    along = np.quantile(hours, at)
    low, high = along[1], along[-2]
    room = max(high - low, 0.05 * high, 0.1)
    ax.plot(along[1:-1], 100 * at[1:-1], color=BLUE, linewidth=2.2)
    for share in shares:
        value = float(np.quantile(hours, share))
        ax.plot([value, value], [0, 100 * share], color=INK, linewidth=1, linestyle=(0, (4, 3)))
        ax.plot(value, 100 * share, "o", color=BLUE, markersize=7, markeredgecolor="white")
        words = HOURS_WORDS.get(share, f"{100 * share:.0f} in 100")
        ax.text(value - 0.05 * room, 100 * share, f"{words}: {value:.0f} h", va="center",
                ha="right", fontsize=_POINTS, color=INK)
    ax.set_xlim(low - 0.75 * room, high + 0.03 * room)
    ax.set_ylim(0, 104)
    ax.xaxis.set_major_formatter(lambda value, _place: f"{value:.0f}" if value >= 0 else "")
    ax.set_yticks([0, 50, 80, 100], ["0 %", "50 %", "80 %", "100 %"])
    ax.set_ylabel("Share of jobs done", fontsize=_POINTS, color=INK)
    ax.set_xlabel("Hours at the bench", fontsize=_POINTS, color=INK)
    return ax


_NUMBERED = re.compile(r' id="[a-zA-Z0-9]+_\d+"')


def svg(ax, alt: str) -> str:
    """The figure of some Axes as an SVG element that fills its container.

    Text stays text; the same data gives the same bytes.

    Parameters
    ----------
    alt
        What the chart says, in words: read aloud in its place.

    Examples
    --------
    >>> said = svg(hours_curve([10, 20]), "Half of the jobs take 15 hours.")
    >>> said.startswith('<svg role="img" aria-label="Half of the jobs take 15 hours."')
    True
    """
    import matplotlib

    out = io.StringIO()
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "estimator"}):
        ax.figure.savefig(out, format="svg", metadata={"Date": None})
    drawn = out.getvalue()
    drawn = drawn[drawn.index("<svg"):].strip()
    # Several charts stand on one page: names that only number the parts would clash.
    drawn = _NUMBERED.sub("", drawn)
    drawn = re.sub(r'\s(?:width|height)="[\d.]+pt"', "", drawn, count=2)
    # Fonts differ from machine to machine; the size does not.
    drawn = drawn.replace("'DejaVu Sans'", "'Noto Sans', 'DejaVu Sans'")
    return drawn.replace("<svg", f'<svg role="img" aria-label="{html.escape(alt)}"', 1)


__all__ = ["SIZE", "cost_breakdown", "hours_curve", "in_a_hundred", "margin", "svg"]
