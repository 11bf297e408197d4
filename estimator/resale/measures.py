"""From what a choice pays and brings in every trial to what is said of it."""

from __future__ import annotations

import math

import numpy as np

from estimator import investing
from estimator.resale.cash import Cash, yearly


def worst_mean(values: np.ndarray, share: float = 0.1) -> float:
    """Mean of the lowest `share` of the values; one on the border counts in part. [as values]

    Conditional value at risk, R. T. Rockafellar & S. Uryasev, "Journal of Risk" 2, 2000.

    Examples
    --------
    >>> worst_mean(np.arange(10.0), 0.25)
    0.8
    """
    count = share * len(values)
    whole = int(count)
    parted = np.partition(values, min(whole, len(values) - 1))
    rest = (count - whole) * parted[whole] if whole < len(values) else 0.0
    return float((parted[:whole].sum() + rest) / count)


def held_by(values: np.ndarray, confidence: float) -> float:
    """The greatest figure that at least `confidence` of the values reach. [as values]

    Examples
    --------
    >>> held_by(np.array([10.0, 20, 30, 40, 50]), 0.8)
    20.0
    """
    # The k-th largest, k the fewest that are enough; exact, not between two values.
    count = max(1, math.ceil(confidence * len(values) - 1e-9))
    return float(np.partition(values, len(values) - count)[len(values) - count])


def flow_measures(cash: Cash, against: Cash | None, rate: float) -> dict:
    """Rates of return, payback and index of the expected payments.

    Parameters
    ----------
    against
        What else would be done: for a machine that is owned, selling it as found. The measures
        are those of the difference. None where money is put in now.
    rate
        Of capital, per month.
    """
    flows = cash.expected()
    moved = flows
    if against is not None:
        other = against.expected()
        moved = np.zeros(max(len(flows), len(other)))
        moved[:len(flows)] += flows
        moved[:len(other)] -= other
    moved = _settled(moved)
    if against is not None and not np.any(moved):
        told = investing.Earned(None, (), "It is what the others are held against.")
    else:
        told = yearly(investing.internal_rate(moved))
    modified = investing.modified_rate(moved, rate, rate)
    spent = bool(np.any(moved < 0))
    return {
        "earned": told,
        "earned_modified": None if modified is None else investing.yearly_rate(modified),
        "payback": investing.payback(moved) if spent else None,
        "payback_discounted": investing.payback(moved, rate) if spent else None,
        "index": investing.profitability(rate, moved) if spent else None,
        "flows": tuple(float(flow) for flow in flows),
    }


def _settled(flows: np.ndarray) -> np.ndarray:
    """Payments without dust and without an empty end."""
    flows = np.where(np.abs(flows) < 0.005, 0.0, flows)
    filled = np.flatnonzero(flows)
    return flows[:filled[-1] + 1] if filled.size else flows[:1]


__all__ = ["held_by"]
