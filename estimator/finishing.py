"""Metal by its grit ladder: which grits to run, for how long, and how many sheets that takes.

The depth of the marks says where the ladder starts and how often its first grit is run; the
finish asked for says where it ends. The rows come from `grits.csv`, `marks.csv`, `finishes.csv`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence

from estimator.catalogue import Finish, Grit, Mark
from estimator.errors import one_of
from estimator.units import within


def ladder(grits: Iterable[Grit], first: str, last: str) -> tuple[Grit, ...]:
    """Grits to run, coarse to fine: `first`, the shop's steps between, and `last`.

    A finish may end coarser than the marks ask to start: a brushed grain over light marks. Then
    the last grit alone is run, which takes out the marks and leaves the finish.

    Parameters
    ----------
    grits
        Rows of the table of grits, in any order. `first` and `last` are run even if they are
        not among the steps of the shop's own ladder.

    Raises
    ------
    ValueError
        If `first` or `last` is not in `grits`.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> [step.grit for step in ladder(load().grits.values(), "P2500", "P320")]
    ['P320']
    """
    rows = {row.grit: row for row in grits}
    for name in (first, last):
        if name not in rows:
            raise ValueError(f'"{name}" is not in the table of grits. {one_of(name, rows)}')
    start, end = rows[first].grain_um, rows[last].grain_um
    if start < end:
        return (rows[last],)
    steps = [
        row for row in rows.values()
        if row.grit in (first, last) or (row.ladder and end < row.grain_um < start)
    ]
    return tuple(sorted(steps, key=lambda row: -row.grain_um))


def step_ratios(steps: Sequence[Grit]) -> tuple[float, ...]:
    """How much finer each step is than the one before: ratio of the median grains, over 1. [–]

    The scratches of a grit are about as deep as its grains are large, so the finer grit has this
    much to take away. Long jumps leave marks that show after polishing.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> grits = load().grits.values()
    >>> all(ratio > 1 for ratio in step_ratios(ladder(grits, "P320", "P2500")))
    True
    """
    return tuple(
        coarse.grain_um / fine.grain_um for coarse, fine in itertools.pairwise(steps)
    )


def runs(steps: Sequence[Grit], mark: Mark) -> tuple[float, ...]:
    """How often each grit is run over the metal: the mark's passes first, then once each. [–]

    Where the ladder starts coarser than the mark needs, that grit takes the mark out in one pass.

    Parameters
    ----------
    steps
        A ladder, coarse to fine.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> tables = load()
    >>> heavy = tables.marks["heavy"]
    >>> steps = ladder(tables.grits.values(), heavy.first_grit, "P2500")
    >>> runs(steps, heavy)[0] == heavy.passes, set(runs(steps, heavy)[1:])
    (True, {1.0})
    """
    if not steps:
        return ()
    needed = mark.passes if steps[0].grit == mark.first_grit else 1.0
    return (needed, *[1.0] * (len(steps) - 1))


def hours(
    area_m2: float, grits: Iterable[Grit], mark: Mark, finish: Finish
) -> tuple[float, float, float]:
    """Low, typical and high hands-on hours to bring metal from a mark to a finish. [h]

    Minutes per square metre are summed over the ladder, the first grit as often as the mark
    asks, and the minutes with compound added.

    Parameters
    ----------
    area_m2
        Metal to work, each face counted; 0 or more. [m²]
    grits
        Rows of the table of grits.

    Notes
    -----
    A finer finish never takes less where the ladder starts at the mark's own grit, and a deeper
    mark never less where a coarser grit, with its passes, takes at least as long as the extra
    passes it replaces. The tables must be right for it; nothing is adjusted here.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> tables = load()
    >>> light, bright = tables.marks["light"], tables.finishes["bright"]
    >>> low, typical, high = hours(0.05, tables.grits.values(), light, bright)
    >>> 0 < low <= typical <= high
    True
    """
    within("area_m2", area_m2, at_least=0)
    steps = ladder(grits, mark.first_grit, finish.last_grit)
    often = runs(steps, mark)
    low, typical, high = (
        area_m2 / 60 * (finish.compound_minutes + math.fsum(
            times * getattr(step, point) for times, step in zip(often, steps, strict=True)))
        for point in ("low", "typical", "high")
    )
    return low, typical, high


def sheets(area_m2: float, ladder: Sequence[Grit], passes: float) -> float:
    """Sheets of abrasive used up, over all grits; a fraction, the rest of a sheet is kept. [–]

    Parameters
    ----------
    area_m2
        Metal to work, 0 or more. [m²]
    ladder
        Coarse to fine. Grits without a life (wheels, compounds) use no sheets.
    passes
        With the first grit, over 0; what `runs` says of it. [–]

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> steps = ladder(load().grits.values(), "P320", "P2500")
    >>> sheets(0.2, steps, 2) > sheets(0.2, steps, 1) > 0
    True
    """
    within("area_m2", area_m2, at_least=0)
    within("passes", passes, above=0)
    return area_m2 * math.fsum(
        (passes if place == 0 else 1) / step.life_m2
        for place, step in enumerate(ladder) if step.life_m2
    )
