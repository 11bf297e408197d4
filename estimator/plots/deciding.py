"""Ways with a machine beside each other: profit and its range, cash, hours, when to stop."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from estimator.plots._looks import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    PURPLE,
    VERMILION,
    across,
    area,
    bars,
    beside_ends,
    dashed,
    fit,
    guides,
    heights,
    line,
    numbers,
    over,
    panel,
    per_point,
    points,
    reach,
    scale,
    step,
    wide,
    widest,
    width,
    write,
)
from estimator.plots.against import ACROSS
from estimator.units import in_a_hundred

_ROW = 46.0  # [pt]
# From the top of a row: the middle of the name, of the mark, and of the figure under it.
_NAME, _MARK, _UNDER = 0.18, 0.53, 0.85
_LOOKS = ((BLUE, "-", "o"), (VERMILION, (0, (6, 2)), "s"), (GREEN, (0, (2, 2)), "^"),
          (PURPLE, (0, (6, 2, 1, 2)), "D"), (INK, (0, (1, 1.5)), "v"))
_BAD_GROUND = {"facecolor": "white", "edgecolor": VERMILION, "alpha": 0.55, "linewidth": 0,
               "hatch": "///", "zorder": 0}
_FAR = 1.5
"""How far to the left of nought a scale goes, over how far to the right."""
Money = Callable[[float], str]


def profit_ranges(rows: Sequence[tuple[str, float, float, float]], ax=None, *, best: int = 0,
                  money: Money = "{:,.0f}".format):
    """Profit of each choice: a dot where half make more, a line over eight in ten; losses apart.

    Parameters
    ----------
    rows
        Name, and profit that nine, five and one in ten make more than (P10, P50, P90). [money]
    ax
        Axes to draw on; None makes new ones.
    best
        Which row is the choice that is advised.
    money
        How an amount is written.

    Raises
    ------
    ValueError
        If there are no rows, or an amount is not finite.

    Examples
    --------
    >>> ax = profit_ranges([("Sell as found", 100, 500, 900), ("Restore", -800, 200, 1400)])
    >>> [text.get_text() for text in ax.texts][:4]
    ['Sell as found (advised)', '100', '500', '900']
    """
    found = numbers([row for _, *row in rows], "choices")
    names = [name for name, *_ in rows]
    said = [[money(value) for value in row] for row in found]
    ax = panel(ax, (8, 8, 6, 24), _ROW * len(names) + 30, ACROSS)
    ax.set_ylim(len(names), 0)
    # One choice that loses a fortune must not press all others into a dot.
    top = float(found.max())
    least = max(float(found.min()), -_FAR * top) if top > 0 else float(found.min())
    reach(ax, min(0.0, least), max(0.0, top),
          widest(row[0] for row in said) + 9, widest(row[2] for row in said) + 9)
    low, high = ax.get_xlim()
    # All that is lost lies on ground of its own.
    if found.min() < 0:
        area(ax, [(low, 0), (0, 0), (0, len(names)), (low, len(names))], **_BAD_GROUND)
    line(ax, [0, 0], [0, len(names)], linewidth=1.4)
    gap = 6 * per_point(ax)
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 1}
    for place, (name, (p10, p50, p90), words) in enumerate(zip(names, found, said, strict=True)):
        at = place + _MARK
        _named(ax, place, f"{name} (advised)" if place == best else name, ground)
        if p10 < least:
            line(ax, [least], [at], marker="<", markersize=9, color=VERMILION)
            if p90 < least:
                write(ax, least + gap, at, f"further left: {words[0]} to {words[2]}, half over "
                      f"{words[1]}", bbox=ground)
                continue
            write(ax, least + gap, place + _UNDER, f"from {words[0]}", bbox=ground)
        for left, right, color in ((max(p10, least), min(p90, 0.0), VERMILION),
                                   (max(p10, 0.0), p90, BLUE)):
            if right > left:
                line(ax, [left, right], [at, at], color=color, linewidth=3.2,
                     solid_capstyle="butt")
        ends = [p10, p90] if p10 >= least else [p90]
        line(ax, ends, [at] * len(ends), linewidth=0, marker="|", markersize=10, color=INK)
        if p10 >= least:
            write(ax, p10 - gap, at, words[0], ha="right", bbox=ground)
        if p50 >= least:
            line(ax, [p50], [at], marker="D" if place == best else "o", markersize=9,
                 color=VERMILION if p50 < 0 else BLUE, markeredgecolor="white")
            if p10 >= least:
                write(ax, p50, place + _UNDER, words[1], ha="center", bbox=ground)
        write(ax, p90 + gap, at, words[2], bbox=ground)
    room = wide(ax)
    nought = room * (0 - low) / (high - low)
    at = points(ax, 0, 1)
    if nought > width("← loss") + 8:
        write(ax, nought - 5, 9, "← loss", ha="right", transform=at)
    if room - nought > width("profit →") + 8:
        write(ax, nought + 5, 9, "profit →", transform=at)
    return ax


def loss_chances(rows: Sequence[tuple[str, float]], ax=None):
    """The chance that each choice loses money.

    Parameters
    ----------
    rows
        Name and chance of each. [–]
    ax
        Axes to draw on; None makes new ones.

    Raises
    ------
    ValueError
        If there are no rows, or a chance is not from 0 to 1.

    Examples
    --------
    >>> [text.get_text() for text in loss_chances([("Sell", 0.0), ("Restore", 0.4)]).texts]
    ['Sell', 'none', 'Restore', '40 in 100']
    """
    shares = numbers([share for _, share in rows], "choices")
    if shares.min() < 0 or shares.max() > 1:
        raise ValueError("a chance is from 0 to 1")
    ax = panel(ax, (8, 8, 6, 6), 32.0 * len(shares) + 12, ACROSS)
    ax.set_ylim(len(shares), 0)
    said = [in_a_hundred(share) for share in shares]
    reach(ax, 0, 1, 0, widest(said) + 10)
    bars(ax, [(0, share, place + 0.48, place + 0.86)
              for place, share in enumerate(shares) if share], VERMILION, hatched=True)
    for place, ((name, share), words) in enumerate(zip(rows, said, strict=True)):
        _named(ax, place, name, at=0.24)
        write(ax, share + 6 * per_point(ax), place + 0.67, words)
        line(ax, [0, 0], [place + 0.42, place + 0.92], color=FAINT, linewidth=1)
    return ax


def cash_flow(lines: Sequence[tuple[str, Sequence[float]]], ax=None, *,
              money: Money = "{:,.0f}".format):
    """Expected cash of some choices, summed up month by month.

    Parameters
    ----------
    lines
        Name, and the sum at the end of each month, the first is now; at most five. [money]
    ax
        Axes to draw on; None makes new ones.
    money
        How an amount is written.

    Raises
    ------
    ValueError
        If there are no lines, more than five, or an amount is not finite.

    Examples
    --------
    >>> ax = cash_flow([("Sell", [-500, 300]), ("Restore", [-500, -900, 800])])
    >>> [text.get_text() for text in ax.texts if "0" in text.get_text()][-3:-1]
    ['Restore 800', 'Sell 300']
    """
    if len(lines) > len(_LOOKS):
        raise ValueError(f"{len(lines)} lines cannot be told apart; take {len(_LOOKS)}")
    sums = [numbers(row, "months") for _, row in lines]
    numbers([row[-1] for row in sums], "lines")
    last = max(1, *(len(row) - 1 for row in sums))
    low, high = min(0.0, *(row.min() for row in sums)), max(0.0, *(row.max() for row in sums))
    apart = step(max(high - low, 1.0) / 5, 1.0)
    levels = [apart * n for n in range(math.floor(low / apart), math.ceil(high / apart) + 1)]
    ends = [(f"{fit(name, 130)} {money(float(row[-1]))}", float(row[-1]), look[0])
            for (name, _), row, look in zip(lines, sums, _LOOKS, strict=False)]
    side = widest(words for words, *_ in ends) + 24
    ax = panel(ax, (widest(money(level) for level in levels) + 12, side, 40, 10), 290, 560)
    reach(ax, 0, last, 3, 6)
    ax.set_ylim(levels[0] - 0.04 * apart, levels[-1] + 0.04 * apart)
    left, right = ax.get_xlim()
    guides(ax, [(left, right, level) for level in levels])
    heights(ax, [(level, money(level)) for level in levels])
    line(ax, [left, right], [0, 0], linewidth=1.4)
    for row, (color, dash, marker) in zip(sums, _LOOKS, strict=False):
        # After its last payment a choice stands where it is.
        months = [*range(len(row)), last] if len(row) - 1 < last else list(range(len(row)))
        line(ax, months, [*row, *[row[-1]] * (len(months) - len(row))], color=color,
             linestyle=dash, linewidth=2, marker=marker, markersize=6,
             markevery=max(1, last // 8))
    beside_ends(ax, ends, right)
    scale(ax, "{:.0f}".format, "Months from now", least=0)
    return ax


def effort(choices: Sequence[tuple[str, float, float]], sets: Sequence[tuple[float, float]],
           ax=None, *, elsewhere: float | None = None, money: Money = "{:,.0f}".format):
    """What is gained over selling as found, against bench hours.

    Parameters
    ----------
    choices
        Name, hours and gain of each. [h], [money]
    sets
        Hours and gain of the best sets of lines, in rising order of hours. [h], [money]
    ax
        Axes to draw on; None makes new ones.
    elsewhere
        What an hour leaves over its cost in other work; None draws no line. [money/h]
    money
        How an amount is written.

    Raises
    ------
    ValueError
        If there are no choices, or a figure is not finite.

    Examples
    --------
    >>> ax = effort([("Sell as found", 0, 0), ("Clean and sell", 4, 300)], [(0, 0), (3, 250)])
    >>> [text.get_text() for text in ax.texts if "Clean" in text.get_text()]
    ['Clean and sell 300']
    """
    found = numbers([row for _, *row in choices], "choices")
    pairs = [tuple(float(value) for value in numbers(pair, "sets")) for pair in sets]
    gains = [*found[:, 1], *(gain for _, gain in pairs)]
    top, foot = max(0.0, *gains), min(0.0, *gains)
    apart = step(max(top - foot, 1.0) / 5, 1.0)
    levels = [apart * n for n in range(math.floor(foot / apart), math.ceil(top / apart) + 1)]
    ax = panel(ax, (widest(money(level) for level in levels) + 12, 12, 40, 58), 350, 560)
    most = max(*found[:, 0], *(hours for hours, _ in pairs), 1.0)
    reach(ax, 0, most, 8, 8)
    ax.set_ylim(levels[0] - 0.2 * apart, levels[-1] + 0.2 * apart)
    left, right = ax.get_xlim()
    guides(ax, [(left, right, level) for level in levels])
    heights(ax, [(level, money(level)) for level in levels])
    line(ax, [left, right], [0, 0], linewidth=1.4)
    key = [("o", BLUE, "-", "a choice")]
    if elsewhere:
        end = min(right, levels[-1] / elsewhere) if elsewhere > 0 else right
        dashed(ax, [0, end], [0, end * elsewhere], color=GREEN, linewidth=1.6)
        key.append(("", GREEN, (0, (4, 3)),
                    f"what the hours leave elsewhere, {money(elsewhere)} each"))
    if pairs:
        line(ax, *zip(*pairs, strict=True), color=VERMILION, linewidth=1.6, marker="s",
             markersize=6)
        key.append(("s", VERMILION, "-", "the best set of lines for so many hours"))
    per = (ax.get_ylim()[1] - ax.get_ylim()[0]) / (72 * ax.bbox.height / ax.figure.dpi)
    half = 6 * per_point(ax)
    taken = [(hours - half, hours + half, gain) for hours, gain in [*found.tolist(), *pairs]]
    for (name, *_), (hours, gain) in zip(choices, found, strict=True):
        line(ax, [hours], [gain], marker="o", markersize=9, color=BLUE, markeredgecolor="white",
             zorder=5)
        _beside(ax, hours, gain, f"{name} {money(gain)}", taken, per)
    above = points(ax, 0, 1)
    for place, (marker, color, dash, words) in enumerate(key):
        rise = 46 - 16 * place
        line(ax, [2, 22], [rise, rise], color=color, linestyle=dash if marker != "o" else "",
             marker=marker or None, markersize=7, markevery=[1] if marker == "o" else None,
             transform=above)
        write(ax, 30, rise, words, transform=above)
    scale(ax, "{:.0f}".format, "Bench hours", least=0)
    return ax


def near(gains: Sequence[float]) -> list[bool]:
    """Which gains belong on one scale; one far under nought would press the others together.

    Examples
    --------
    >>> near([300, -400, -15_000])
    [True, True, False]
    """
    found = numbers(gains, "gains")
    top = max(float(found.max()), 0.25 * float(sorted(abs(found))[len(found) // 2]), 1.0)
    return [bool(gain >= -_FAR * top) for gain in found]


def stop_rule(lines: Sequence[tuple[str, float, float, bool]], limit: float | None,
              finds: tuple[float, float, float], ax=None, *, money: Money = "{:,.0f}".format):
    """What going on and stopping are worth, against what the finds are expected to cost.

    Parameters
    ----------
    lines
        Name, worth without finds [money], change with each unit of finds [–], and whether it is a
        way to stop; at most five.
    limit
        Finds over which it is better to stop; None where there is no such limit. [money]
    finds
        What they came to as often as not, in one of ten trials, and at most. [money]
    ax
        Axes to draw on; None makes new ones.
    money
        How an amount is written.

    Raises
    ------
    ValueError
        If there are no lines, more than five, or a figure is not finite.

    Examples
    --------
    >>> ax = stop_rule([("Go on", 900, -1, False), ("Stop", 300, 0, True)], 600, (100, 400, 900))
    >>> [text.get_text() for text in ax.texts if "over" in text.get_text()]
    ['stop over 600']
    """
    if len(lines) > len(_LOOKS):
        raise ValueError(f"{len(lines)} lines cannot be told apart; take {len(_LOOKS)}")
    found = numbers([row[:2] for _, *row in lines], "ways")
    usual, seldom, most = (float(value) for value in numbers(finds, "finds"))
    end = max(1.0, most, 1.15 * (limit or 0.0))
    at_end = found[:, 0] + found[:, 1] * end
    low, high = min(0.0, found[:, 0].min(), at_end.min()), max(0.0, found[:, 0].max(), at_end.max())
    apart = step(max(high - low, 1.0) / 5, 1.0)
    levels = [apart * n for n in range(math.floor(low / apart), math.ceil(high / apart) + 1)]
    ends = [(fit(name, 190), float(value), look[0])
            for (name, *_), value, look in zip(lines, at_end, _LOOKS, strict=False)]
    ax = panel(ax, (widest(money(level) for level in levels) + 12,
                    widest(words for words, *_ in ends) + 24, 40, 40), 310, 560)
    reach(ax, 0, end, 3, 6)
    ax.set_ylim(levels[0] - 0.04 * apart, levels[-1] + 0.04 * apart)
    left, right = ax.get_xlim()
    guides(ax, [(left, right, level) for level in levels])
    heights(ax, [(level, money(level)) for level in levels])
    line(ax, [left, right], [0, 0], linewidth=1.2)
    for (_, *_, stops), (start, slope), (color, dash, _) in zip(lines, found, _LOOKS,
                                                                strict=False):
        line(ax, [0, end], [start, start + slope * end], color=color, linestyle=dash,
             linewidth=1.8 if stops else 2.6)
    beside_ends(ax, ends, right)
    foot, top = ax.get_ylim()
    if limit is not None and limit <= end:
        area(ax, [(limit, foot), (end, foot), (end, top), (limit, top)], **_BAD_GROUND)
        dashed(ax, [limit, limit], [foot, top], linewidth=1.8)
        over(ax, limit, f"stop over {money(limit)}", 28)
    line(ax, [usual, seldom], [0, 0], linewidth=0, marker=11, markersize=7, transform=across(ax))
    write(ax, 0, 11, f"▾ finds came to {money(usual)} as often as not, {money(seldom)} in 1 of 10",
          transform=points(ax, 0, 1))
    scale(ax, money, "What the finds are expected to cost", least=0)
    return ax


def _named(ax, place: int, name: str, ground: dict | None = None, at: float = _NAME) -> None:
    from matplotlib.transforms import blended_transform_factory
    write(ax, 0, place + at, fit(name, wide(ax)), bbox=ground,
          transform=blended_transform_factory(ax.transAxes, ax.transData))


def _beside(ax, x: float, y: float, words: str, taken: list[tuple[float, float, float]],
            per: float) -> None:
    """Words beside a mark, moved up or down where others stand. `per`: data along y to a point."""
    low, high = ax.get_xlim()
    need = (width(words) + 12) * per_point(ax)
    right = x + need <= high or x - low < high - x
    start = x + 9 * per_point(ax) if right else x - 9 * per_point(ax)
    left_edge, right_edge = (start, start + need) if right else (start - need, start)
    place = y
    for move in (0, 14, -14, 28, -28, 42, -42, 56, 70):
        place = y + move * per
        if all(right_edge < a or left_edge > b or abs(place - h) >= 13 * per
               for a, b, h in taken):
            break
    taken.append((left_edge, right_edge, place))
    write(ax, start, place, words, ha="left" if right else "right",
          bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.85})


__all__ = ["cash_flow", "effort", "loss_chances", "near", "profit_ranges", "stop_rule"]
