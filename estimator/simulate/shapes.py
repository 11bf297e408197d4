"""Quantile tables: from a rank, by way of a standard normal score, to hours, money or a count.

A rank becomes a normal score, factors that quantities share are mixed in (a Gaussian copula),
and the sum picks a cell of a table that holds the distribution's quantiles. All of it is whole
numbers and look-ups, so a million values take a few milliseconds and are the same everywhere.
"""

from __future__ import annotations

import functools
import math

import numpy as np

from estimator import durations
from estimator.durations import SHAPES, Range
from estimator.simulate.streams import RANKS

CELLS = 4096
REACH = 8.5
"""Scores from −8.5 to 8.5 have cells; the largest sum of shared and own scores lies within."""

_PER_SCORE = CELLS / (2 * REACH)


def _phi(scores: np.ndarray) -> np.ndarray:
    """The standard normal CDF."""
    return np.array([0.5 * math.erfc(-z / math.sqrt(2)) for z in scores])


@functools.lru_cache(maxsize=1)
def _scores() -> np.ndarray:
    """Normal score of every rank: the quantile in the middle of its slice. (65,536,), float64."""
    knots = np.linspace(-4.4, 0, 4401)
    lower = np.interp((np.arange(RANKS // 2) + 0.5) / RANKS, _phi(knots), knots)
    return np.concatenate([lower, -lower[::-1]])


@functools.lru_cache(maxsize=64)
def _scaled_scores(own: float) -> np.ndarray:
    return (_scores() * (own * _PER_SCORE)).astype(np.float32)


@functools.lru_cache(maxsize=1)
def _cells() -> np.ndarray:
    """Score in the middle of every cell. (CELLS,)"""
    return (np.arange(CELLS) + 0.5) / _PER_SCORE - REACH


@functools.lru_cache(maxsize=1)
def _chances() -> np.ndarray:
    return _phi(_cells())


def scores(ranks: np.ndarray) -> np.ndarray:
    """Standard normal scores of ranks; float32.

    Examples
    --------
    >>> np.round(scores(np.array([0, 32768, 65535], np.uint16)).astype(float), 2).tolist()
    [-4.32, 0.0, 4.32]
    """
    return _scaled_scores(1 / _PER_SCORE).take(ranks)


def offsets(shared: np.ndarray | float) -> np.ndarray | np.float32:
    """What a shared part of the score adds to a cell's number; float32.

    Examples
    --------
    >>> [round(float(offsets(score))) for score in (-1.0, 0.0, 1.0)]
    [1807, 2048, 2289]
    """
    return np.float32(CELLS / 2) + np.float32(_PER_SCORE) * np.asarray(shared, np.float32)


def within_reach(shared: np.ndarray, own: float) -> np.ndarray:
    """A shared part of the score, cut where with the own part it would leave the table."""
    room = np.float32(REACH - 0.01 - own * _scores()[-1])
    return np.clip(shared, -room, room)


class Buffers:
    """Room to work in for one thread, so that no value waits for memory."""

    def __init__(self, trials: int):
        self.places = np.empty(trials, np.intp)
        self.cells = np.empty(trials, np.intp)
        self.floats = np.empty(trials, np.float32)
        self.ints = np.empty(trials, np.int32)


@functools.lru_cache(maxsize=1)
def _lone_cells() -> np.ndarray:
    """The cell of every rank of a quantity that shares nothing. (65,536,), intp"""
    return (_scaled_scores(1.0) + offsets(0.0)).astype(np.intp)


def cells(ranks: np.ndarray, own: float, offset, room: Buffers) -> np.ndarray:
    """The table cell of each trial: own × score + shared part; held in `room`.

    Parameters
    ----------
    own
        Loading of the quantity's own score, 0 to 1; with the loadings of the shared factors
        the squares add up to 1.
    offset
        What `offsets` gives for the shared part; None for a quantity that shares nothing.

    Examples
    --------
    >>> ranks = np.array([0, 32768, 65535], np.uint16)
    >>> cells(ranks, 1.0, None, Buffers(3)).tolist()
    [1005, 2048, 3090]
    >>> cells(ranks, 0.6, offsets(0.8), Buffers(3)).tolist()  # all share a score of 0.8
    [1615, 2240, 2865]
    """
    trials = len(ranks)
    places, cells = room.places[:trials], room.cells[:trials]
    places[:] = ranks
    if offset is None:
        return _lone_cells().take(places, out=cells, mode="wrap")
    floats = _scaled_scores(own).take(places, out=room.floats[:trials], mode="wrap")
    return whole(np.add(floats, offset, out=floats), room)


def own_part(ranks: np.ndarray, own: float) -> np.ndarray:
    """What a quantity's own score adds to a cell's number; float32."""
    return _scaled_scores(own).take(ranks)


def whole(parts: np.ndarray, room: Buffers) -> np.ndarray:
    """Cells from own and shared part together; held in `room`."""
    ints, cells = room.ints[:len(parts)], room.cells[:len(parts)]
    # By way of short whole numbers, which processors turn to quickly.
    ints[:] = parts
    cells[:] = ints
    return cells


def score_below(share: float) -> float:
    """The score below which lies this share, for comparing; ±inf at 0 and 1."""
    if share <= 0:
        return -math.inf
    return durations.normal_quantile(share) if share < 1 else math.inf


@functools.lru_cache(maxsize=4096)
def _unit_pert(mode: float) -> np.ndarray:
    """Quantiles of the PERT-beta on 0 to 1 with this mode, one a cell; float64."""
    a, b = 1 + 4 * mode, 5 - 4 * mode
    # The CDF on a grid that is finer at both ends, where quantiles are steep.
    x = 0.5 * (1 - np.cos(np.linspace(0, math.pi, 2049)))
    middle = (x[1:] + x[:-1]) / 2
    density = middle ** (a - 1) * (1 - middle) ** (b - 1)
    cdf = np.concatenate([[0.0], np.cumsum(density * np.diff(x))])
    return np.interp(_chances(), cdf / cdf[-1], x)


def _unit_triangular(mode: float) -> np.ndarray:
    chance = _chances()
    return np.where(chance <= mode, np.sqrt(chance * mode),
                    1 - np.sqrt((1 - chance) * (1 - mode)))


@functools.lru_cache(maxsize=4096)
def table(shape: str, low: float, typical: float, high: float, evened: float = 1.0) -> np.ndarray:
    """Quantiles of a three-point figure, one a cell; shape (CELLS,), float32.

    Parameters
    ----------
    shape
        One of `durations.SHAPES`.
    evened
        Spread about the mean is multiplied by this; 0 to 1. [–]

    Raises
    ------
    ValueError
        If there is no such shape.

    Examples
    --------
    >>> hours = table("pert", 4.0, 8.0, 16.0)
    >>> round(float(hours[CELLS // 2]), 1), float(hours.min()) >= 4, float(hours.max()) <= 16
    (8.5, True, True)
    """
    width = high - low
    if width <= 0:
        return np.full(CELLS, low, np.float32)
    mode = (typical - low) / width
    if shape == "pert":
        # Modes that agree to four places share a table.
        values = low + width * _unit_pert(round(mode, 4))
    elif shape == "triangular":
        values = low + width * _unit_triangular(mode)
    elif shape == "lognormal":
        found = durations.lognormal_like(Range(low, typical, high))
        values = np.exp(found.mu + found.sigma * _cells())
    else:
        raise ValueError(f'"{shape}" is no shape; choose one of: {", ".join(SHAPES)}')
    if evened < 1:
        mean = durations.mean_of(Range(low, typical, high), shape)
        values = mean + (values - mean) * evened
    return values.astype(np.float32)


@functools.lru_cache(maxsize=1024)
def breakage(pieces: int, share: float) -> np.ndarray:
    """Of `pieces` that each break with a chance of `share`, how many do.

    A binomial count as quantiles, one a rank; shape (65,536,), the smallest whole numbers that
    hold it. The share is over 0 and under 1.

    Examples
    --------
    >>> broken = breakage(4, 0.25)
    >>> sorted(set(broken.tolist())), round(float(broken.mean()), 4)
    ([0, 1, 2, 3, 4], 1.0)
    """
    counts = np.arange(pieces + 1)
    logs = np.array([math.lgamma(pieces + 1) - math.lgamma(k + 1) - math.lgamma(pieces - k + 1)
                     for k in counts])
    logs += counts * math.log(share) + (pieces - counts) * math.log1p(-share)
    cdf = np.cumsum(np.exp(logs))
    ends = np.rint(cdf / cdf[-1] * RANKS).astype(int)
    return counts.astype(np.min_scalar_type(pieces)).repeat(np.diff(ends, prepend=0))


def values(ranks: np.ndarray, quantiles: np.ndarray) -> np.ndarray:
    """Values of independent ranks in a table of quantiles; float32.

    Examples
    --------
    >>> values(np.array([32768], np.uint16), table("triangular", 4.0, 8.0, 16.0)).round(1)
    array([9.1], dtype=float32)
    """
    return quantiles.take(cells(ranks, 1.0, None, Buffers(len(ranks))))


__all__ = ["Buffers", "breakage", "cells", "offsets", "scores", "table", "values"]
