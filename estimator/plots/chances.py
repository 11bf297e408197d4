"""The chance of winning a job at a price."""

from __future__ import annotations

from collections.abc import Sequence

from estimator.plots._looks import (
    BLUE,
    GOLDEN,
    GREEN,
    PALE_BLUE,
    VERMILION,
    area,
    dashed,
    guides,
    heights,
    line,
    numbers,
    over,
    panel,
    points,
    reach,
    scale,
    write,
)

# Where quotes that were won and lost are strewn, so that equal ones do not hide each other. [%]
_WON, _LOST = (103.0, 114.0), (-3.0, -14.0)


def winning(curve_points: Sequence[tuple[float, float, float, float]], ax=None, *,
            history: Sequence[tuple[float, bool]] = (), best: float | None = None,
            said: str = "Earns most at {:.2f} × cost", latest: int = 300):
    """How likely a customer says yes, by price over cost, and where a price earns most.

    Parameters
    ----------
    curve_points
        Price over cost, chance of winning, and the low and high end of where that chance may
        lie. [–]
    ax
        Axes to draw on; None makes new ones.
    history
        Price over cost of past quotes and whether they were won, the oldest first.
    best
        Price over cost that earns most on average; None marks none. [–]
    said
        Words over that mark; the figure takes the place of the braces, if there are any.
    latest
        How many of the past quotes to draw at most; all of them are counted.

    Raises
    ------
    ValueError
        If there are no points, a figure is not finite, or a chance lies outside 0 to 1.

    Examples
    --------
    >>> ax = winning([(1.0, 0.9, 0.7, 1.0), (2.0, 0.2, 0.1, 0.5)],
    ...              history=[(1.2, True), (1.5, False), (1.9, False)], best=1.4)
    >>> [text.get_text() for text in ax.texts][:3]
    ['Earns most at 1.40 × cost', 'Won: 1', 'Lost: 2']
    """
    import numpy as np

    found = numbers(curve_points, "points")
    if found[:, 1:].min() < 0 or found[:, 1:].max() > 1:
        raise ValueError("a chance lies between 0 and 1")
    found = found[np.argsort(found[:, 0], kind="stable")]
    found = found[np.unique(np.linspace(0, len(found) - 1, 121).round().astype(int))]
    at, chance, low, high = found.T * [[1], [100], [100], [100]]
    past = list(history)[max(0, len(history) - latest):]
    ratios = numbers([ratio for ratio, _ in past], "quotes") if past else np.array([])
    won = np.array([yes for _, yes in past], dtype=bool)

    ax = panel(ax, (46, 12, 42, 36 if past else 20))
    reached = [*at, *ratios, *([] if best is None else [best])]
    reach(ax, min(reached), max(reached), 4, 4)
    ax.set_ylim(_LOST[1], _WON[1])
    guides(ax, [(*ax.get_xlim(), level) for level in (0, 50, 100)])
    area(ax, [*zip(at, low, strict=True), *zip(at[::-1], high[::-1], strict=True)],
         facecolor=PALE_BLUE, edgecolor=BLUE, linewidth=0.6)
    line(ax, at, chance, color=BLUE, linewidth=2.2)
    strewn = np.arange(1, len(past) + 1) * GOLDEN % 1
    for kind, (near, far), color, marker in ((won, _WON, GREEN, "o"),
                                             (~won, _LOST, VERMILION, "x")):
        line(ax, ratios[kind], near + (far - near) * strewn[kind], color=color, linestyle="",
             marker=marker, markersize=5)
    if best is not None:
        dashed(ax, [best, best], [0, 100], linewidth=1.6)
        line(ax, [best], [np.interp(best, at, chance)], marker="D", markersize=7,
             markeredgecolor="white")
        over(ax, best, said.format(best))
    if past:
        _counted(ax, sum(bool(yes) for _, yes in history), len(history))
    heights(ax, [(level, f"{level} %") for level in (0, 50, 100)])
    scale(ax, "{:g} ×".format, "Price over cost", finest=0.01)
    return ax


def _counted(ax, won: int, quotes: int) -> None:
    """How many quotes were won and lost, with the marks that they have."""
    above = points(ax, 0, 1)
    for place, color, marker, words in ((0, GREEN, "o", f"Won: {won}"),
                                        (90, VERMILION, "x", f"Lost: {quotes - won}")):
        line(ax, [place + 4], [24], color=color, marker=marker, markersize=6, transform=above)
        write(ax, place + 13, 24, words, transform=above)


__all__ = ["winning"]
