"""Share of jobs that stay within a value, as a curve."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from estimator.plots._looks import (
    BLUE,
    HATCH,
    PALE_BLUE,
    SIZE,
    VERMILION,
    area,
    dashed,
    guides,
    heights,
    key,
    line,
    numbers,
    over,
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
from estimator.scoring import wilson_range
from estimator.units import in_a_hundred

HOURS_WORDS = {0.5: "as often as not", 0.8: "4 jobs in 5", 0.9: "9 jobs in 10"}
# Shares of jobs that a scale of cost names. [–]
QUOTED = (0.1, 0.5, 0.8, 0.9)
# Where a curve is drawn: as many points as one of this size can show, without the rarest jobs.
_SHARES = tuple(0.005 + 0.99 * number / 90 for number in range(91))


def hours_curve(hours: Sequence[float], ax=None, *, shares: Sequence[float] = (0.5, 0.8, 0.9)):
    """Share of jobs that are done within so many hours, with the marks that people quote.

    Parameters
    ----------
    hours
        Hours of each trial. [h]
    ax
        Axes to draw on; None makes new ones.
    shares
        Which shares to mark. [–]

    Raises
    ------
    ValueError
        If there are no hours, or one is not finite.

    Examples
    --------
    >>> ax = hours_curve([10, 20, 30, 40])
    >>> [text.get_text() for text in ax.texts][0]
    'as often as not: 25 h'
    """
    import numpy as np

    found = np.sort(numbers(hours, "trials"))
    ax = panel(ax, (62, 9, 42, 9))
    along = np.quantile(found, _SHARES)
    values = np.quantile(found, shares)
    said = [f"{HOURS_WORDS.get(share, f'{100 * share:.0f} in 100')}: {value:.0f} h"
            for share, value in zip(shares, values, strict=True)]
    low, high = _ends(along)
    reach(ax, low, high, max([0.42 * wide(ax), *(
        _room_before(width(words) + 12, (value - low) / (high - low), wide(ax) - 6)
        for words, value in zip(said, values, strict=True))]), 6)
    ax.set_ylim(0, 104)
    line(ax, along, [100 * share for share in _SHARES], color=BLUE, linewidth=2.2)
    gap = 7 * per_point(ax)
    for share, value, words in zip(shares, values, said, strict=True):
        write(ax, value - gap, 100 * share, words, ha="right")
        dashed(ax, [value, value], [0, 100 * share], linewidth=1)
    _dots(ax, values, [100 * share for share in shares])
    heights(ax, [(share, f"{share} %") for share in (0, 50, 80, 100)])
    scale(ax, "{:.0f}".format, "Hours at the bench", least=0)
    write(ax, -53, 0, "Share of jobs done", ha="center", rotation=90,
          transform=points(ax, 0, 0.5))
    return ax


def cost_curve(cost: Sequence[float], price_covers: float, ax=None, *,
               money: Callable[[float], str] = "{:,.0f}".format, sure: float | None = None,
               size: tuple[float, float] = SIZE):
    """Share of jobs that cost no more than so much, and how many of them a price covers.

    Costs that one job in ten keeps to, and five, eight and nine, stand beside the curve. What
    lies beyond the price is hatched: there jobs lose money.

    Parameters
    ----------
    cost
        Cost of each trial. [money]
    price_covers
        The cost up to which the offered price loses nothing. [money]
    ax
        Axes to draw on; None makes new ones.
    money
        How an amount is written.
    sure
        Draw the band that the curve of endless trials keeps to at each cost in so large a share
        of cases, 0 to 1 and neither; None draws none. Wilson's score interval of a binomial
        share (Wilson 1927). [–]
    size
        Width and height of a new figure. [in]

    Raises
    ------
    ValueError
        If there are no costs, one is not finite, or `sure` is out of range.

    Examples
    --------
    >>> ax = cost_curve([100, 200, 300, 400], 350)
    >>> [text.get_text() for text in ax.texts][:3]
    ['The price covers 350', 'Jobs that lose money: 25 in 100', 'Jobs that cost less: 75 in 100']
    """
    import numpy as np

    found = np.sort(numbers(cost, "trials"))
    covered = float(numbers([price_covers], "prices")[0])
    if sure is not None and not 0 < sure < 1:
        raise ValueError(f"how sure a band is lies between 0 and 1, got {sure:g}")
    quoted = np.quantile(found, QUOTED)
    named = [f"{10 * share:.0f} in 10: {money(value)}"
             for share, value in zip(QUOTED, quoted, strict=True)]
    names = widest(named)
    ax = panel(ax, (10 + names, 12, 42, 51), 72 * size[1], 72 * size[0])
    along = np.quantile(found, _SHARES)
    low, high = _ends(along)
    share = float(np.searchsorted(found, covered, side="right")) / found.size
    shown = low - (high - low) <= covered <= high + (high - low)
    at_price = [(covered, 100 * share)] if shown else []
    reach(ax, min([low, *(x for x, _ in at_price)]), max([high, *(x for x, _ in at_price)]), 4, 4)
    ax.set_ylim(0, 100)

    curve = [*zip(along.tolist(), (100 * at for at in _SHARES), strict=True)]
    if sure is not None:
        _band(ax, along, found.size, sure)
    _loss(ax, [*at_price, *(point for point in curve if point[0] > covered)])
    # From the words on the left to the curve.
    guides(ax, [(ax.get_xlim()[0], value, 100 * at)
                for at, value in zip(QUOTED, quoted, strict=True)])
    # The rarest jobs are not drawn, but up to the price the curve goes.
    line(ax, *zip(*sorted({*curve, *at_price}), strict=True), color=BLUE, linewidth=2.2)
    _dots(ax, quoted, [100 * at for at in QUOTED])
    _price(ax, covered, f"The price covers {money(covered)}", at_price)
    key(ax, [(BLUE, False, f"Jobs that cost less: {in_a_hundred(share)}"),
             (VERMILION, True, f"Jobs that lose money: {in_a_hundred(1 - share)}")], 16, -names)
    heights(ax, [(100 * at, words) for at, words in zip(QUOTED, named, strict=True)])
    scale(ax, money, "Cost of a job like this")
    return ax


def _room_before(need: float, part: float, room: float) -> float:
    """How much room left of a curve leaves `need` left of a point at `part` of its width. [pt]"""
    return (need - part * room) / max(1 - part, 0.01)


def _ends(along) -> tuple[float, float]:
    """The least and the most of a curve, apart even where all jobs are alike."""
    low, high = float(along[0]), float(along[-1])
    spare = max(0.0, 0.05 * abs(high) - (high - low), 1.0 - (high - low)) / 2
    return low - spare, high + spare


def _dots(ax, x, y) -> None:
    line(ax, x, y, color=BLUE, linestyle="", marker="o", markersize=7, markeredgecolor="white")


def _loss(ax, beyond) -> None:
    """Hatch what lies over the part of the curve that is beyond the price."""
    if len(beyond) > 1:
        area(ax, [*beyond, (beyond[-1][0], 100), (beyond[0][0], 100)], facecolor="white",
             edgecolor=VERMILION, hatch=HATCH, linewidth=0.8)


def _price(ax, covered: float, words: str, at_price) -> None:
    """A line at what the price covers; only its words, with an arrow, where it is far off."""
    low, high = ax.get_xlim()
    if at_price:
        dashed(ax, [covered, covered], [0, 100], linewidth=1.6)
        line(ax, *zip(*at_price, strict=True), marker="D", markersize=7, markeredgecolor="white")
        over(ax, covered, words)
    elif covered > high:
        over(ax, high, f"{words} →")
    else:
        over(ax, low, f"← {words}")


def _band(ax, along, trials: int, sure: float) -> None:
    """How far the curve may be off with so many trials."""
    below, above = zip(*((100 * low, 100 * high) for low, high in (
        wilson_range(share * trials, trials, sure) for share in _SHARES)), strict=True)
    area(ax, [*zip(along, above, strict=True), *zip(along[::-1], below[::-1], strict=True)],
         facecolor=PALE_BLUE, edgecolor=BLUE, linewidth=0.6)


__all__ = ["HOURS_WORDS", "cost_curve", "hours_curve"]
