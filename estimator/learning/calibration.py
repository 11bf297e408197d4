"""Levels put right from past forecasts: if P80 held in 70 % of cases, a later P80 is set higher.

A forecast is calibrated if what came falls evenly over its levels (A. P. Dawid, J. Royal
Statistical Society A 147, 1984). Where it does not, the levels themselves are bent until it does
(V. Kuleshov, N. Fenner & S. Ermon, ICML 2018), here with a guess that they are right already.
"""

from __future__ import annotations

import numpy as np

from estimator.learning.priors import LEVEL_COUNT

CELLS = 20
EDGES = np.linspace(0.0, 1.0, CELLS + 1)


def levels(low: np.ndarray, high: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Share of past cases below each of `EDGES`, the guess among them; rises from 0 to 1.

    A case came between the levels `low` and `high`: they differ where the forecast gave one value
    a chance of its own, and the case counts evenly between them.

    Examples
    --------
    >>> bool(np.allclose(levels(np.zeros(0), np.zeros(0), np.zeros(0)), EDGES))
    True
    """
    count = np.full(CELLS, LEVEL_COUNT / CELLS)
    if len(low):
        wide = np.maximum(high - low, 1e-9)
        part = np.clip((EDGES - low[:, None]) / wide[:, None], 0.0, 1.0)
        seen = np.diff(weights @ part)
        # Neighbours are averaged: twenty cells of few cases are rougher than the truth.
        ends = np.concatenate([seen[:1], seen, seen[-1:]])
        count = count + 0.25 * ends[:-2] + 0.5 * ends[1:-1] + 0.25 * ends[2:]
    added = np.concatenate([[0.0], count.cumsum()])
    return added / added[-1]
