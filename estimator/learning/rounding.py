"""Hours as people book them: in quarters, in halves, in whole hours.

Where nearly all past hours are multiples of a step, a forecast between two of them is drawn close
to the one it would be booked as. It never passes a multiple, so how often a level is enough stays
as it was; only the distance to what is booked shrinks.
"""

from __future__ import annotations

import numpy as np

from estimator.learning.priors import ROUND_COUNT, ROUND_FROM, ROUND_LEFT

STEPS = np.array([8.0, 4.0, 2.0, 1.0, 0.5, 0.25, 0.1])  # hours


def multiples(hours: np.ndarray) -> np.ndarray:
    """Whether hours (n,) are multiples of each of `STEPS`; shape (steps, n)."""
    parts = hours / STEPS[:, None]
    return np.abs(parts - np.round(parts)) < 1e-6


class Rounding:
    """The step in which each person books, from the tasks that did not end at their estimate.

    Parameters
    ----------
    on, weight, persons
        Whether each task is a multiple of each step (steps, n), its recency (n,), the number of
        its person (n,) below `people`.
    """

    def __init__(self, on: np.ndarray, weight: np.ndarray, persons: np.ndarray, people: int):
        shop = (on @ weight) / (weight.sum() + ROUND_COUNT)
        count = np.bincount(persons, weight, people)
        own = np.stack([np.bincount(persons, weight * row, people) for row in on])
        share = (own + ROUND_COUNT * shop[:, None]) / (count + ROUND_COUNT)
        # The last column is for persons never seen.
        share = np.concatenate([share, shop[:, None]], axis=1)
        coarsest = (share >= ROUND_FROM).argmax(axis=0)
        best = np.take_along_axis(share, coarsest[None], axis=0)[0]
        self.step = STEPS[coarsest]
        habit = np.clip((best - ROUND_FROM) / (0.97 - ROUND_FROM), 0.0, 1.0)
        self.left = 1 - (1 - ROUND_LEFT) * habit

    def draw(self, hours: np.ndarray, estimates: np.ndarray, persons: np.ndarray) -> np.ndarray:
        """Hours (n, m) drawn close to what persons (n,) would book; −1 is a person never seen."""
        step, left = self.step[persons][:, None], self.left[persons][:, None]
        if (left == 1).all():
            return hours
        parts, at = hours / step, np.round(estimates[:, None] / step, 9)
        low = np.floor(parts)
        # What would be booked as the estimate is counted there already: all others next to the
        # estimate go away from it, and none of them passes it.
        near = (at >= low) & (at <= low + 1)
        up = parts >= np.where(near, at, low + 0.5)
        target = np.where(up | (low == 0), low + 1, low)  # nothing is booked as no time
        stay = (hours == estimates[:, None]) | ((low == 0) & near & ~up & (at < 1))
        return np.where(stay, hours, step * (target + left * (parts - target)))
