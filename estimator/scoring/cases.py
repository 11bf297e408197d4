"""Cases to be scored, as arrays that fit one another."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def arrays(*figures: ArrayLike) -> list[np.ndarray]:
    """The figures of each case; refused where there is no case, or a figure is not finite."""
    found = np.broadcast_arrays(*(np.asarray(figure, float) for figure in figures))
    if not found[0].size:
        raise ValueError("there is no case to score")
    if not all(np.isfinite(figure).all() for figure in found):
        raise ValueError("a figure is missing or not finite")
    return found
