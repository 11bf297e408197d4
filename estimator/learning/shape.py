"""The shape of the spread: where tasks fell in spreads from their level, and a guess beside them.

The observed places decide as soon as there are some; the guess is a mixture of two normals, cut
off at the last knot. An unbounded Student's t in logarithms would make mean and P90 explode.
"""

from __future__ import annotations

import math

import numpy as np

from estimator.learning.priors import SHAPE_COUNT, SHAPE_MIX

# Places, in spreads, at which a distribution is kept; closer where most tasks fall.
KNOTS = np.sinh(np.linspace(-2.4, 2.4, 61)) * 0.82


def _guess() -> np.ndarray:
    """Share of tasks guessed below each knot."""
    below = sum(share * np.array([0.5 * math.erfc(-k / (sd * math.sqrt(2))) for k in KNOTS])
                for share, sd in SHAPE_MIX)
    return (below - below[0]) / (below[-1] - below[0])


GUESS = _guess()


def shape(places: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Share of tasks below each of `KNOTS`, from the weighted places of past tasks and the guess.

    Examples
    --------
    >>> float(shape(np.zeros(0), np.zeros(0))[30])
    0.5
    """
    order = places.argsort()
    added = np.concatenate([[0.0], weights[order].cumsum()])
    sorted_places = np.clip(places[order], KNOTS[0], KNOTS[-1])
    # Half of those at a knot count as below it, so that the shape leans to neither side.
    below = 0.5 * (added[np.searchsorted(sorted_places, KNOTS, "left")]
                   + added[np.searchsorted(sorted_places, KNOTS, "right")])
    below[0], below[-1] = 0.0, added[-1]
    return (below + SHAPE_COUNT * GUESS) / (added[-1] + SHAPE_COUNT)
