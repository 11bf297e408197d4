"""What the charts share: colours, sizes, words, bars, scales, and the way into a page.

A chart is redrawn at every move of a slider, so it consists of few artists: the axis machinery
of matplotlib stays off, a scale is one line and its words, all bars of a colour are one shape.
Margins are fixed, which also keeps a chart from jumping as figures change. Figures are made
without pyplot, so nothing has to be closed.
"""

from __future__ import annotations

import functools
import html
import io
import math
import re
from collections.abc import Callable, Iterable, Sequence

# Of Okabe and Ito's colours those that keep 3:1 against white; none says anything alone, words,
# values, hatching or place stand beside it.
BLUE, VERMILION, GREEN, PURPLE = "#0072B2", "#D55E00", "#009E73", "#CC79A7"
INK = "#1c1e21"
# Lines that lead the eye, and areas whose edge is drawn in a stronger colour.
FAINT, PALE_BLUE = "#c9ccd1", "#cfe3f0"
HATCH = "////"
POINTS = 10.5
# Fractions of multiples of the golden ratio strew marks evenly, and the same each time.
GOLDEN = 0.6180339887498949
# Comes with matplotlib, so that a chart is laid out alike on every machine.
FONT = "DejaVu Sans"

# About 400 × 280 px: three side by side on a page, text as large as the page's own.
SIZE = (4.2, 2.9)
_DASHES = (0, (4, 3))
_GAP = 5.0  # between a mark and its words [pt]


def numbers(values: Iterable[float], what: str):
    """Values as an array of floats.

    Raises
    ------
    ValueError
        If there are none, or one is not finite.
    """
    import numpy as np
    found = np.asarray(values if isinstance(values, np.ndarray) else list(values), dtype=float)
    if not found.size:
        raise ValueError(f"there are no {what} to show")
    if not np.isfinite(found).all():
        raise ValueError(f"there are {what} that are no numbers")
    return found


def panel(ax, margins: tuple[float, float, float, float], height: float = 72 * SIZE[1],
          across: float = 72 * SIZE[0]):
    """The Axes given, or new ones, without scales.

    Parameters
    ----------
    margins
        Left, right, bottom, top, for new Axes. [pt]
    height, across
        Of a new figure. [pt]
    """
    if ax is None:
        from matplotlib.figure import Figure
        left, right, bottom, top = margins
        ax = Figure(figsize=(across / 72, height / 72)).add_axes((
            left / across, bottom / height,
            (across - left - right) / across, (height - bottom - top) / height))
    ax.set_axis_off()
    return ax


def points(ax, x: float = 0, y: float = 0):
    """A transform that measures in points from a place of the Axes, given as a share of them."""
    from matplotlib.transforms import Affine2D, ScaledTranslation
    return (Affine2D().scale(1 / 72) + ax.figure.dpi_scale_trans
            + ScaledTranslation(x, y, ax.transAxes))


def across(ax, y: float = 0):
    """A transform with data along x and points up from a height of the Axes along y."""
    from matplotlib.transforms import blended_transform_factory
    return blended_transform_factory(ax.transData, points(ax, 0, y))


def wide(ax) -> float:
    """How wide Axes are. [pt]"""
    return 72 * ax.bbox.width / ax.figure.dpi


def per_point(ax) -> float:
    """How much data along x goes into a point."""
    low, high = ax.get_xlim()
    return (high - low) / wide(ax)


def write(ax, x: float, y: float, words: str, **looks):
    """Words in the size and colour of all charts; a dollar sign starts no formula."""
    looks = {"va": "center", "fontsize": POINTS, "color": INK, "parse_math": False} | looks
    return ax.text(x, y, words, **looks)


@functools.lru_cache(4096)
def width(words: str) -> float:
    """How wide words are. [pt]"""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path
    looks = FontProperties(family=FONT, size=POINTS)
    # Screens set letters on whole dots, and thereby wider.
    return 1.04 * text_to_path.get_text_width_height_descent(words, looks, False)[0]


def widest(written: Iterable[str]) -> float:
    """How wide the widest of some words is, by its letters; 0 for none. [pt]"""
    return max(map(width, sorted(written, key=len)[-2:]), default=0.0)


@functools.lru_cache(4096)
def fit(words: str, room: float) -> str:
    """Words on one line that is no wider than `room` [pt]; what had to go is shown by dots.

    Examples
    --------
    >>> fit("Playfield", 100.0), fit("Mechanisms of the playfield", 100.0)
    ('Playfield', 'Mechanisms of…')
    """
    words = " ".join(words.split())
    if width(words) <= room:
        return words
    keep = len(words)
    while keep > 1 and width(words[:keep] + "…") > room:
        keep -= 1
    cut = words[:keep]
    # Between words, unless that loses much of what there is room for.
    space = cut.rfind(" ")
    if not words[keep:].startswith(" ") and space > 0.6 * keep:
        cut = cut[:space]
    return cut.rstrip(" ,;:–-") + "…"


def line(ax, x: Sequence[float], y: Sequence[float], **looks):
    """A line, added without the cost of fitting the Axes to it."""
    from matplotlib.lines import Line2D
    return ax.add_artist(Line2D(x, y, clip_on=False, **({"color": INK, "linewidth": 1.2} | looks)))


def guides(ax, ends: Sequence[tuple[float, float, float]]) -> None:
    """Level lines that lead the eye: where each starts and ends along x, and its height."""
    corners = [corner for left, right, level in ends
               for corner in ((left, level), (right, level), (math.nan, math.nan))]
    line(ax, *zip(*corners, strict=True), color=FAINT, linewidth=0.8)


def dashed(ax, x: Sequence[float], y: Sequence[float], **looks):
    """A broken line, that marks a value."""
    return line(ax, x, y, **({"linestyle": _DASHES} | looks))


def area(ax, corners: Sequence[Sequence[float]], **looks):
    """A filled shape."""
    from matplotlib.patches import Polygon
    return ax.add_artist(Polygon(corners, clip_on=False, **looks))


def bars(ax, boxes: Sequence[tuple[float, float, float, float]], color: str, *,
         hatched: bool = False, **looks):
    """Bars of one colour as one shape: left, right, bottom and top of each; nothing for none."""
    if not len(boxes):
        return None
    import numpy as np
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path
    x0, x1, y0, y1 = np.asarray(boxes, dtype=float).T
    corners = np.array([[x0, x1, x1, x0, x0], [y0, y0, y1, y1, y0]]).T.reshape(-1, 2)
    codes = np.tile([Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY], len(x0))
    looks = {"facecolor": color, "edgecolor": "white", "linewidth": 0.6,
             "hatch": HATCH if hatched else None} | looks
    return ax.add_artist(PathPatch(Path(corners, codes), clip_on=False, **looks))


def key(ax, entries: Sequence[tuple[str, bool, str]], rise: float = 0.0,
        start: float = 0.0) -> None:
    """What the colours stand for, above the Axes: colour, hatched or not, words; top first.

    Parameters
    ----------
    rise, start
        How far above the Axes, and right of their left edge. [pt]
    """
    at = points(ax, 0, 1)
    for place, (color, hatched, words) in enumerate(reversed(entries)):
        middle = rise + 7 + 14 * place
        bars(ax, [(start, start + 11, middle - 4, middle + 4)], color, hatched=hatched,
             transform=at)
        write(ax, start + 11 + _GAP, middle, words, transform=at)


def over(ax, x: float, words: str, rise: float = 8.0):
    """Words above the Axes over a value, within the Axes if they can be."""
    low, high = ax.get_xlim()
    room, need = wide(ax), width(words)
    at = room * (x - low) / (high - low)
    if need > room:
        at, side = room, "right"  # out over the names, which stand on the left
    elif at < need / 2:
        at, side = 0.0, "left"
    elif at > room - need / 2:
        at, side = room, "right"
    else:
        side = "center"
    return write(ax, at, rise, words, ha=side, transform=points(ax, 0, 1))


def reach(ax, low: float, high: float, before: float = 0.0, after: float = 0.0) -> None:
    """Set the limits along x so that words beside the outermost marks have room.

    Parameters
    ----------
    before, after
        Room for words left of `low` and right of `high`. [pt]
    """
    if not high > low:
        high = low + (abs(low) or 1.0)
    # In Axes that are too narrow the words win over the marks only so far.
    per_point = (high - low) / max(wide(ax) - before - after, 0.2 * wide(ax))
    ax.set_xlim(low - per_point * before, high + per_point * after)


def step(rough: float, finest: float = 0.0) -> float:
    """A round width, `rough` or the next above it; a multiple of `finest`, if that is given.

    Examples
    --------
    >>> step(2.1), step(2.1, 1), step(0.7), step(0.7, 1), step(21, 1)
    (2.5, 5.0, 1.0, 1.0, 25.0)
    """
    power = 10.0 ** math.floor(math.log10(max(rough, finest)))
    return next(found for found in (power * factor for factor in (1, 2, 2.5, 5, 10, 20))
                if found >= rough and not (finest and round(found / finest, 6) % 1))


def scale(ax, said: Callable[[float], str], label: str, *, least: float = -math.inf,
          finest: float = 1.0) -> None:
    """A line below the Axes with a few round values, as many as have room.

    Parameters
    ----------
    said
        How a value is written.
    label
        What the values are.
    least
        Values under it are left out.
    finest
        What every step is a multiple of, so that `said` writes it in full.
    """
    low, high = sorted(ax.get_xlim())
    fine = step((high - low) / 6, finest)
    need = max(20.0, *(width(said(fine * round(end / fine))) for end in (low, high))) + 14
    apart = step((high - low) / max(2.0, min(6.0, wide(ax) / need)), finest)
    places = [apart * number for number in range(math.ceil(low / apart - 1e-9),
                                                 math.floor(high / apart + 1e-9) + 1)]
    # Words of the outermost would stand out of the picture; one there must be.
    spare = per_point(ax) * (need / 2 - 16)
    fitting = [place for place in places if max(least, low + spare) <= place <= high - spare]
    places = fitting or [fine * round((low + high) / 2 / fine)]
    at = across(ax)
    line(ax, [low, *places, high], [0.0] * (len(places) + 2), color=FAINT, linewidth=0.8,
         marker=3, markersize=3, markevery=slice(1, -1), transform=at)
    for place in places:
        write(ax, place, -11, said(place), ha="center", transform=at)
    write(ax, wide(ax) / 2, -26, label, ha="center", transform=points(ax))


def heights(ax, named: Sequence[tuple[float, str]]) -> None:
    """Words left of the Axes, at values along y."""
    from matplotlib.transforms import blended_transform_factory
    at = blended_transform_factory(points(ax), ax.transData)
    for value, words in named:
        write(ax, -_GAP, value, words, ha="right", transform=at)


def beside_ends(ax, ends: Sequence[tuple[str, float, str]], right: float) -> None:
    """Words beside the ends of lines, apart from each other, each with a stroke to its end.

    Parameters
    ----------
    ends
        Words, value along y, and colour of each line.
    right
        Where the lines end along x.
    """
    low, high = ax.get_ylim()
    per = (high - low) / (72 * ax.bbox.height / ax.figure.dpi)
    rows = sorted(ends, key=lambda one: -one[1])
    places: list[float] = []
    for _, value, _ in rows:
        places.append(min(value, places[-1] - 15 * per) if places else value)
    # Pushed out at the foot, all move up.
    lift = max(0.0, low + 6 * per - places[-1])
    for place in range(len(places) - 1, -1, -1):
        least = places[place + 1] + 15 * per if place + 1 < len(places) else low + 6 * per
        if lift:
            places[place] = max(places[place], least)
    start = right + 14 * per_point(ax)
    for (words, value, color), place in zip(rows, places, strict=True):
        line(ax, [start - 4 * per_point(ax), start + 2 * per_point(ax)], [value, place],
             color=color, linewidth=1)
        write(ax, start + 5 * per_point(ax), place, words)


_AS_SVG = {"svg.fonttype": "none", "svg.hashsalt": "estimator", "font.sans-serif": [FONT]}
_NUMBERED = re.compile(r' id="[a-zA-Z0-9]+_\d+"')


@functools.cache
def _renderer():
    """matplotlib's own renderer, but for that it measures no words twice.

    A third of the time that a chart takes goes into that, and most words stay as figures change.
    """
    from matplotlib.backends.backend_svg import RendererSVG
    from matplotlib.textpath import text_to_path

    @functools.lru_cache(4096)
    def measured(words, looks, formula):
        return text_to_path.get_text_width_height_descent(words, looks, formula)

    class Renderer(RendererSVG):
        def get_text_width_height_descent(self, s, prop, ismath):
            return measured(s, prop, ismath)

    return Renderer


def svg(ax, alt: str) -> str:
    """The figure of some Axes as an SVG element that fills its container.

    Text stays text; the same data gives the same bytes.

    Parameters
    ----------
    alt
        What the chart says, in words: read aloud in its place.

    Examples
    --------
    >>> from estimator.plots import hours_curve
    >>> said = svg(hours_curve([10, 20]), "Half of the jobs take 15 hours.")
    >>> said.startswith('<svg role="img" aria-label="Half of the jobs take 15 hours."')
    True
    """
    import matplotlib

    figure = ax.get_figure(root=True)
    out, dots = io.StringIO(), figure.dpi
    with matplotlib.rc_context(_AS_SVG):
        figure.dpi = 72
        try:
            renderer = _renderer()(*figure.get_size_inches() * 72, out, image_dpi=dots,
                                   metadata={"Date": None})
            figure.draw(renderer)
            renderer.finalize()
        finally:
            figure.dpi = dots
    drawn = out.getvalue()
    drawn = drawn[drawn.index("<svg"):].strip()
    # Several charts stand on one page: names that only number the parts would clash.
    drawn = _NUMBERED.sub("", drawn)
    drawn = re.sub(r'\s(?:width|height)="[\d.]+pt"', "", drawn, count=2)
    # What a browser has differs from machine to machine; the size does not.
    drawn = drawn.replace(f"'{FONT}'", f"'Noto Sans', '{FONT}'")
    return drawn.replace("<svg", f'<svg role="img" aria-label="{html.escape(alt)}"', 1)


__all__ = ["SIZE", "svg"]
