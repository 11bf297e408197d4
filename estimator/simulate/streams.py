"""Random numbers by name: every quantity draws from a stream of its own.

A stream is keyed by the seed and the name of what it is for. So the same seed gives the same
figures on any machine, in any order and with any number of workers; a line that is edited, left
out or done at another level leaves all other draws as they were, and the difference between two
quotes is not noise.

Streams hold ranks: whole numbers from 0 to 65,535 that stand for the middles of 65,536 equally
likely slices. That is finer than anything that is known about a bench, and a quarter of the size.
"""

from __future__ import annotations

import hashlib
import operator
import threading
from collections.abc import Hashable, Sequence

import numpy as np

from estimator.simulate.kept import Kept

RANKS = 65_536
SAMPLERS = ("random", "sobol")
MOST_DIMENSIONS = 256
_WARM_UP = 12
_AT_ONCE = 4096
_POINTS = Kept(64 * 2**20)


class _Source(threading.local):
    """A generator for each thread, and the state that it is started from."""

    def __init__(self):
        self.generator = np.random.SFC64(0)
        self.words = np.ones(4, np.uint64)
        self.state = {"bit_generator": "SFC64", "state": {"state": self.words},
                      "has_uint32": 0, "uinteger": 0}


_SOURCE = _Source()


def _random(seed: int, name: str, trials: int) -> np.ndarray:
    # SFC64 (C. Doty-Humphrey, PractRand) started from a hash of seed and name, with its author's
    # twelve rounds before the first number; setting its state is quicker than making another.
    digest = hashlib.blake2b(f"{seed}:{name}".encode(), digest_size=24).digest()
    source = _SOURCE
    source.words[:3] = np.frombuffer(digest, "<u8")
    source.generator.state = source.state
    raw = source.generator.random_raw(_WARM_UP - (-trials // 4))
    return raw[_WARM_UP:].astype("<u8", copy=False).view("<u2")[:trials]


def _sobol(seed: int, trials: int, dimensions: int) -> np.ndarray:
    """Scrambled Sobol points as ranks, shape (dimensions, trials)."""
    from scipy.stats import qmc

    rng = np.random.default_rng(seed if seed >= 0 else (-seed, 1))
    engine = qmc.Sobol(dimensions, scramble=True, rng=rng)
    found = np.empty((dimensions, trials), np.uint16)
    # Not all at once: as floating numbers a million of them take gigabytes.
    step = min(_AT_ONCE, 1 << (trials - 1).bit_length())
    for start in range(0, trials, step):
        points = engine.random(step)[:trials - start]
        found[:, start:start + step] = (points * RANKS).T
    found.flags.writeable = False
    return found


class Streams:
    """The streams of one simulation.

    Parameters
    ----------
    seed
        Any whole number.
    trials
        Length of each stream.
    sampler
        "random": independent numbers. "sobol": points that fill the space evenly (I. M. Sobol
        1967, scrambled after A. B. Owen 1995), so that fewer are needed for the same sampling
        error; a power of two of them is best. Only with "random" do streams keep still when
        others come or go.
    names
        For "sobol": the quantities that matter most, the most variable first. The first 256 get
        a dimension each, for later ones and all others independent numbers serve.

    Raises
    ------
    ValueError
        If there is no such sampler.

    Examples
    --------
    >>> streams = Streams(7, 1_000)
    >>> a, b = streams.ranks("polish"), streams.ranks("refit")
    >>> bool((a == streams.ranks("polish")).all()), bool((a == b).all())
    (True, False)
    """

    def __init__(self, seed: int, trials: int, sampler: str = "random",
                 names: Sequence[str] = ()):
        if sampler not in SAMPLERS:
            raise ValueError(f'"{sampler}" is no sampler; choose one of: {", ".join(SAMPLERS)}')
        self.seed, self.trials, self.sampler = int(operator.index(seed)), trials, sampler
        chosen = tuple(dict.fromkeys(names))[:MOST_DIMENSIONS] if sampler == "sobol" else ()
        self._points: dict[str, np.ndarray] = {}
        if chosen:
            what = self.seed, trials, len(chosen)
            points = _POINTS.get(what, lambda: ((found := _sobol(*what)), found.nbytes))
            self._points = dict(zip(chosen, points, strict=True))

    @property
    def key(self) -> Hashable | None:
        """What tells these streams from others; None if they depend on the company they keep."""
        return None if self._points else (self.seed, self.trials)

    def ranks(self, name: str) -> np.ndarray:
        """The stream of a quantity: shape (trials,), uint16."""
        points = self._points.get(name)
        return _random(self.seed, name, self.trials) if points is None else points


__all__ = ["RANKS", "SAMPLERS", "Streams"]
