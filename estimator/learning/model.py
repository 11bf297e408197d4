"""Book hours into the spread of actual hours, from what a shop's finished tasks came to.

r = ln(actual / estimate). With some chance a task comes out exactly at its estimate; all other
tasks fall about a level with a spread, and all three depend on who did what, how large it was and
when, each by partial pooling (`pooling`). Where tasks fall between, in spreads, is a shape
learnt from past forecasts (`shape`). That model is averaged with the past ratios of similar tasks
(`similar`), and the levels of the average are put right from past forecasts (`calibration`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimator.learning import calibration
from estimator.learning.pooling import Additive
from estimator.learning.priors import (
    CLIP,
    EXACT,
    HALF_LIFE,
    LEVEL,
    LOG_OF_NORMAL,
    SIMILAR_COUNT,
    SIMILAR_SHARE,
    SIZE_STEP,
    SPREAD,
    STRETCH,
    WINDOW,
)
from estimator.learning.records import Labels, Tasks, plain, read
from estimator.learning.shape import GUESS, KNOTS, cells, shape
from estimator.learning.similar import Similar
from estimator.learning.totals import Jobs, table_levels, total_quantiles

_BLOCK = 256  # tasks forecast at once: bounds the memory
_CHUNK = 250  # tasks learnt at once: each is forecast from those before it
_LEAST, _MOST = 0.002, 0.95  # share of tasks exactly at the estimate
_LONGEST = 20.0  # |ln(actual / estimate)| beyond this is nobody's work


@dataclass(frozen=True)
class _Spread:
    """Forecasts of n tasks: chance of the estimate itself, and the others' distribution of r."""

    exact: np.ndarray  # (n,)
    ratio: np.ndarray  # (n, k) rising
    below: np.ndarray  # (n, k) share of the others below

    def levels(self, ratio: np.ndarray, exact: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Levels between which cases came: apart only for those at the estimate."""
        under = (1 - self.exact) * cells(ratio[:, None], self.ratio, self.below)[:, 0]
        low = np.where(exact | (ratio <= 0), under, under + self.exact)
        return low, np.where(exact, under + self.exact, low)

    def quantiles(self, levels: np.ndarray) -> np.ndarray:
        """Ratios at levels (m,), shape (n, m); 0 where the estimate itself is the answer."""
        zero = np.zeros((len(self.exact), 1))
        exact = self.exact[:, None]
        start = (1 - exact) * cells(zero, self.ratio, self.below)
        others = np.where(levels <= start, levels, np.maximum(levels - exact, start))
        found = cells(others / (1 - exact), self.below, self.ratio)
        found = np.where(levels <= start, np.minimum(found, 0.0), np.maximum(found, 0.0))
        return np.where((levels > start) & (levels <= start + exact), 0.0, found)


class HoursModel:
    """Turns estimated hours into a calibrated spread of actual hours; one for each shop.

    It works before there are any records and improves with each. The last `WINDOW` tasks count,
    older ones less.

    Examples
    --------
    >>> model = HoursModel()
    >>> model.update([
    ...     {"est": 2.0, "act": 3.0, "kind": "flipper", "person": "A", "job": 1, "day": day}
    ...     for day in range(40)])
    >>> low, middle, high = model.predict([2.0], ["flipper"], ["A"], [0.1, 0.5, 0.9])[0]
    >>> bool(low < middle < high and 2.5 < middle < 3.2)
    True
    >>> p80 = model.predict_total([2.0, 1.0], ["flipper", "lamp"], ["A", None], [0.8], job=2)
    >>> p80.shape
    (1,)
    """

    def __init__(self):
        self._kinds, self._persons, self._pairs = Labels(), Labels(), Labels()
        self._sizes = Labels()
        self._level, self._spread, self._exact = Additive(LEVEL), Additive(SPREAD), Additive(EXACT)
        self._jobs = Jobs()
        self._shape = GUESS
        self._levels = calibration.EDGES
        self._similar: Similar | None = None
        # Of the tasks kept: ratio, ln(estimate), place in its forecast in spreads, its levels.
        self._kept = np.zeros((5, 0))
        self._codes = np.zeros((4, 0), int)  # kinds, persons, pairs, sizes

    # --- learning --------------------------------------------------------------------------------

    def update(self, records: Iterable[Mapping]) -> None:
        """Take in tasks newly finished, in the order in which they were finished.

        Parameters
        ----------
        records
            Mappings with `est` and `act` (hours over 0), `kind`, `person`, `job` (any label, or
            None) and `day` (a whole number).

        Raises
        ------
        BadInput
            Naming each record and field at fault, counted from 0; then none of them is taken.
        """
        tasks = read(records)
        start = max(len(tasks) - WINDOW, 0)
        while start < len(tasks):
            # Few at first, so that even one long list is learnt as it would have come in.
            stop = min(start + min(max(self._kept.shape[1] // 4, 8), _CHUNK), len(tasks))
            self._learn(tasks.part(start, stop))
            start = stop

    def _learn(self, tasks: Tasks) -> None:
        """Forecast tasks, see where they fell, and fit anew with them."""
        from scipy.special import ndtri
        ratio, exact, x = _ratios(tasks.est, tasks.act)
        places, levels = np.empty(len(tasks)), np.empty((2, len(tasks)))
        for cut in _blocks(len(tasks)):
            level, sd, spread = self._forecast(x[cut], tasks.kind[cut], tasks.person[cut])
            places[cut] = (ratio[cut] - level) / sd
            levels[:, cut] = spread.levels(ratio[cut], exact[cut])
        put_right = np.interp(levels.mean(axis=0), calibration.EDGES, self._levels)
        self._jobs.add([plain(job) for job in tasks.job], ndtri(np.clip(put_right, 0.005, 0.995)))
        self._keep(tasks, np.stack([np.where(exact, 0.0, ratio), x, places, *levels]), exact)
        self._fit()

    def _keep(self, tasks: Tasks, columns: np.ndarray, exact: np.ndarray) -> None:
        kinds, persons = self._kinds.add(tasks.kind), self._persons.add(tasks.person)
        pairs = self._pairs.add(zip(kinds.tolist(), persons.tolist(), strict=True))
        sizes = self._sizes.add(_size(columns[1]).tolist())
        codes = np.stack([kinds, persons, pairs, sizes])
        columns[2] = np.where(exact, np.nan, columns[2])
        self._kept = np.concatenate([self._kept, columns], axis=1)[:, -WINDOW:]
        self._codes = np.concatenate([self._codes, codes], axis=1)[:, -WINDOW:]

    def _fit(self) -> None:
        ratio, x, places, low, high = self._kept
        age = np.arange(len(ratio) - 1, -1, -1)
        weight = 0.5 ** (age / HALF_LIFE)
        exact = np.isnan(places)
        stretch = np.floor(np.log2(age / STRETCH + 1)).astype(int)
        sizes = [len(self._kinds), len(self._persons), len(self._pairs), len(self._sizes), 16]
        codes = [*self._codes, stretch]
        self._exact.fit(exact.astype(float), weight, x, codes, sizes)
        others = ~exact
        if others.any():
            ratio, x, weight = ratio[others], x[others], weight[others]
            codes = [part[others] for part in codes]
            self._fit_level(ratio, x, weight, codes, sizes)
            self._shape = shape(places[others], weight)
            self._similar = Similar(ratio, x, weight, codes[:2], sizes[:2])
        every = 0.5 ** (age / HALF_LIFE)
        self._levels = calibration.levels(low, high, every)

    def _fit_level(self, ratio, x, weight, codes, sizes) -> None:
        """Level and spread in turn: far tasks pull no harder than `CLIP` spreads would."""
        level, _ = self._level.at(x, codes)
        log_spread, _ = self._spread.at(x, codes)
        spread = np.exp(np.clip(log_spread, -6, 3) - LOG_OF_NORMAL)
        drawn = level + np.clip(ratio - level, -CLIP * spread, CLIP * spread)
        precise = (self._level_noise() / spread) ** 2
        self._level.fit(drawn, weight * np.clip(precise, 0.05, 20), x, codes, sizes)
        level, _ = self._level.at(x, codes)
        off = np.abs(ratio - level)
        off = np.log(np.clip(off, 0.1 * spread, 6 * spread))
        self._spread.fit(off, weight, x, codes, sizes)

    def _level_noise(self) -> float:
        return float(np.exp(self._spread.mean - LOG_OF_NORMAL))

    # --- forecasting -----------------------------------------------------------------------------

    def predict(self, estimates: ArrayLike, kinds: Sequence, persons: Sequence, probs: ArrayLike
                ) -> np.ndarray:
        """Quantiles of the actual hours of tasks.

        Parameters
        ----------
        estimates
            Hours over 0; shape (n,).
        kinds, persons
            Labels of each task; never seen or None is allowed.
        probs
            Levels from 0 to 1; shape (m,). The ends of the model stand for 0 and 1.

        Returns
        -------
        array of shape (n, m): hours, rising with the level.

        Raises
        ------
        ValueError
            If a figure is out of range or the lists are not of one length.
        """
        estimates, kinds, persons, probs = _asked(estimates, kinds, persons, probs)
        found = np.empty((len(estimates), len(probs)))
        order = probs.argsort(kind="stable")
        levels = np.interp(probs[order], self._levels, calibration.EDGES)
        for cut in _blocks(len(estimates)):
            _, _, spread = self._forecast(np.log(estimates[cut]), kinds[cut], persons[cut])
            ratio = np.clip(spread.quantiles(levels), -_LONGEST, _LONGEST)
            ratio = np.maximum.accumulate(ratio, axis=1)
            hours = estimates[cut, None] * np.exp(ratio)
            found[cut] = np.minimum(hours, np.finfo(float).max)[:, order.argsort()]
        return found

    def predict_total(self, estimates: ArrayLike, kinds: Sequence, persons: Sequence,
                      probs: ArrayLike, job: object = None) -> np.ndarray:
        """Quantiles of the hours of all tasks of one job together.

        Parameters
        ----------
        estimates, kinds, persons, probs
            As for `predict`, one entry for each task that is still to be done.
        job
            The job's label. Tasks of it that are finished already say how it runs.

        Returns
        -------
        array of shape (m,): hours, rising with the level; 0 if there are no tasks.
        """
        estimates, kinds, persons, probs = _asked(estimates, kinds, persons, probs)
        if len(estimates) == 0:
            return np.zeros(len(probs))
        if len(estimates) == 1:
            return self.predict(estimates, kinds, persons, probs)[0]
        tables = self.predict(estimates, kinds, persons, table_levels())
        return total_quantiles(tables, probs, self._jobs.rho, self._jobs.factor(plain(job)))

    def _forecast(self, x: np.ndarray, kinds: Sequence, persons: Sequence
                  ) -> tuple[np.ndarray, np.ndarray, _Spread]:
        """Level and standard deviation of r, and the whole spread of it."""
        kind, person = self._kinds.find(kinds), self._persons.find(persons)
        pair = self._pairs.find(zip(kind.tolist(), person.tolist(), strict=True))
        size = self._sizes.find(_size(x).tolist())
        codes = [kind, person, pair, size, np.zeros(len(x), int)]
        inside = x
        if self._kept.shape[1]:
            # Beyond all past estimates a slope is a guess: it is not followed further.
            inside = np.clip(x, self._kept[1].min(), self._kept[1].max())
        level, level_var = self._level.at(inside, codes)
        log_spread, spread_var = self._spread.at(inside, codes)
        log_spread = np.clip(log_spread - LOG_OF_NORMAL, -5, 1.2)
        sd = np.sqrt(np.exp(2 * log_spread + spread_var) + level_var)
        exact = np.clip(self._exact.at(inside, codes)[0], _LEAST, _MOST)
        ratio = level[:, None] + sd[:, None] * KNOTS
        below = np.broadcast_to(self._shape, ratio.shape)
        if self._similar is not None:
            alike, count = self._similar.below(ratio, x, codes[:2])
            share = (SIMILAR_SHARE * count / (count + SIMILAR_COUNT))[:, None]
            below = (1 - share) * below + share * alike
            below[:, 0], below[:, -1] = 0.0, 1.0
        return level, sd, _Spread(exact, ratio, below)


def _ratios(est: np.ndarray, act: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """ln(actual / estimate), whether they are the same, and ln(estimate)."""
    x = np.log(est)
    ratio = np.clip(np.log(act) - x, -_LONGEST, _LONGEST)
    return ratio, np.abs(ratio) < 1e-9, x


def _size(x: np.ndarray) -> np.ndarray:
    return np.floor(x / SIZE_STEP + 0.5).astype(int)


def _blocks(count: int) -> Iterable[slice]:
    return (slice(at, min(at + _BLOCK, count)) for at in range(0, count, _BLOCK))


def _asked(estimates: ArrayLike, kinds: Sequence, persons: Sequence, probs: ArrayLike
           ) -> tuple[np.ndarray, list, list, np.ndarray]:
    """What a forecast is asked for, checked."""
    estimates, probs = (np.atleast_1d(np.asarray(part, float)) for part in (estimates, probs))
    kinds, persons = list(kinds), list(persons)
    if estimates.ndim != 1 or probs.ndim != 1:
        raise ValueError("estimates and probs are one list of numbers each.")
    if not len(estimates) == len(kinds) == len(persons):
        raise ValueError(f"{len(estimates)} estimates, {len(kinds)} kinds and {len(persons)} "
                         "persons: give one of each for every task, None where unknown.")
    wrong = ~(np.isfinite(estimates) & (estimates > 0))
    if wrong.any():
        at = int(wrong.argmax())
        raise ValueError(f"estimates[{at}] is {estimates[at]}: it must be hours over 0.")
    wrong = ~((probs >= 0) & (probs <= 1))
    if wrong.any():
        at = int(wrong.argmax())
        raise ValueError(f"probs[{at}] is {probs[at]}: it must be 0 to 1. Write 0.8 for 80 %.")
    return estimates, kinds, persons, probs
