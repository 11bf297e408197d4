"""How something spreads over jobs, as bars."""

from __future__ import annotations

import math
from collections.abc import Sequence

from estimator.plots._looks import (
    BLUE,
    VERMILION,
    bars,
    dashed,
    key,
    line,
    numbers,
    panel,
    per_point,
    scale,
    step,
    width,
    write,
)
from estimator.units import in_a_hundred


def margin(shares: Sequence[float], ax=None, *, of: str = "of the price"):
    """How the margin spreads over jobs like this one; those that lose money stand apart.

    Parameters
    ----------
    shares
        Margin of each trial as a share of its price; negative where the job loses money. [–]
    ax
        Axes to draw on; None makes new ones.
    of
        What the per cents on the scale are of.

    Raises
    ------
    ValueError
        If there are no shares, or one is not finite.

    Examples
    --------
    >>> ax = margin([-0.1, 0.1, 0.2, 0.3])
    >>> [text.get_text() for text in ax.texts][:3]
    ['on average 12 %', 'Earns: 75 in 100', 'Loses money: 25 in 100']
    """
    import numpy as np

    per_cent = 100 * numbers(shares, "trials")
    ax = panel(ax, (11, 14, 42, 36))
    low, high = np.quantile(per_cent, (0.002, 0.998))
    low, high = min(low, -2.0), max(high, low + 4, 5.0)
    apart = step((high - low) / 32)
    edges = np.arange(math.floor(low / apart), math.ceil(high / apart) + 1) * apart
    counts, _ = np.histogram(np.clip(per_cent, edges[0], edges[-1]), edges)
    boxes = np.column_stack([edges[:-1], edges[1:], 0 * counts, counts / per_cent.size])
    lost = (edges[:-1] < -1e-9) & (counts > 0)
    earned = (edges[:-1] >= -1e-9) & (counts > 0)
    bars(ax, boxes[earned], BLUE)
    bars(ax, boxes[lost], VERMILION, hatched=True)
    top = 1.22 * boxes[:, 3].max()
    ax.set_ylim(0, top)
    ax.set_xlim(edges[0], edges[-1])
    line(ax, [0, 0], [0, top])
    mean = float(per_cent.mean())
    dashed(ax, [mean, mean], [0, top])
    words = f"on average {mean:.0f} %"
    gap = 4 * per_point(ax)
    need = gap + width(words) * per_point(ax)
    # On the side where nought is not, if there is room.
    left = mean - need > edges[0] and (mean < 0 or mean > (edges[0] + edges[-1]) / 2)
    write(ax, mean + (-gap if left else gap), 0.99 * top, words,
          ha="right" if left else "left", va="top")
    loss = float((per_cent < 0).mean())
    key(ax, [(VERMILION, True, f"Loses money: {in_a_hundred(loss)}"),
             (BLUE, False, f"Earns: {in_a_hundred(1 - loss)}")])
    scale(ax, "{:.0f} %".format, f"Left over after all costs, {of}")
    return ax


__all__ = ["margin"]
