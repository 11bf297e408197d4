"""What moves the profit of a choice, and its lead over another, from the trials that are kept."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from estimator.resale.after import finds_seen
from estimator.resale.playing import Played, Setting
from estimator.resale.records import Swing, Swings

_FIFTH = 5
_CLEAR = 3.0
"""Standard errors by which both ends must part; of a dozen drivers none does by luck."""


def swings(here: Setting, played: Mapping[str, Played], order: Sequence[str]
           ) -> tuple[Swings, ...]:
    """What moves the profit of the first choice, and then its lead over the second."""
    best = played[order[0]]
    found = [Swings(best.key, "", float(best.cash.profit.mean()),
                    moved(best.cash.profit, {**_shared(here), **_own(here, best)}))]
    if len(order) > 1:
        other = played[order[1]]
        lead = best.cash.profit - other.cash.profit
        draws = _shared(here)
        for one in (best, other):
            draws |= {f"{what}: {one.row.name}": row for what, row in _own(here, one).items()}
        found.append(Swings(best.key, other.key, float(lead.mean()), moved(lead, draws)))
    return tuple(found)


def moved(figure: np.ndarray, draws: Mapping[str, np.ndarray]) -> tuple[Swing, ...]:
    """Means of a figure in the fifths of the trials where each draw is least and most.

    Examples
    --------
    >>> draws = np.arange(1000.0)
    >>> moved(10 * draws, {"price": draws, "nothing": np.zeros(1000)})
    (Swing(what='price', low=995.0, high=8995.0),)
    """
    found = []
    count = len(figure) // _FIFTH
    unclear = _CLEAR * float(figure.std()) * math.sqrt(2 / count)
    for what, row in draws.items():
        if row.min() == row.max():
            continue
        ends = np.argpartition(row, (count, len(row) - count - 1))
        low, high = (float(figure[part].mean()) for part in (ends[:count], ends[-count:]))
        if abs(high - low) > unclear:
            found.append(Swing(what, low, high))
    return tuple(sorted(found, key=lambda one: -abs(one.high - one.low)))


def _shared(here: Setting) -> dict[str, np.ndarray]:
    return {"Market value": here.value}


def _own(here: Setting, one: Played) -> dict[str, np.ndarray]:
    """What was drawn for a choice, with what is found in it."""
    found = dict(one.draws)
    if one.job is not None:
        found["Hidden damage"] = finds_seen(one.job, one.odds, here.settings)
    return found
