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
    SIMILAR_NEEDS,
    SIMILAR_SHARE,
    SIZE_STEP,
    SPREAD,
    STRETCH,
    WILDER,
    WINDOW,
)
from estimator.learning.records import Labels, Tasks, plain, read
from estimator.learning.rounding import STEPS, Rounding, multiples
from estimator.learning.shape import GUESS, KNOTS, shape
from estimator.learning.similar import Similar
from estimator.learning.spread import Spread
from estimator.learning.totals import Jobs, table_levels, total_quantiles

_BLOCK = 256  # tasks forecast at once: bounds the memory
_CHUNK = 250  # tasks learnt at once: each is forecast from those before it
_LEAST, _MOST = 0.002, 0.95  # share of tasks exactly at the estimate
_LONGEST = 20.0  # |ln(actual / estimate)| beyond this is nobody's work


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
        self._range = (-np.inf, np.inf)  # of ln(estimate) so far
        # Of the tasks kept: ratio, ln(estimate), place in its forecast in spreads, its levels.
        self._kept = np.zeros((5, 0))
        self._on_step = np.zeros((len(STEPS), 0), bool)
        self._rounding: Rounding | None = None
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
        for cut, found in self._forecasts(x, tasks.kind, tasks.person):
            places[cut] = (ratio[cut] - found.level) / found.sd
            levels[:, cut] = found.spread.levels(ratio[cut], exact[cut])
        put_right = np.interp(levels.mean(axis=0), calibration.EDGES, self._levels)
        self._jobs.add([plain(job) for job in tasks.job], ndtri(np.clip(put_right, 0.005, 0.995)))
        self._keep(tasks, np.stack([ratio, x, places, *levels]), exact)
        self._fit()

    def _keep(self, tasks: Tasks, columns: np.ndarray, exact: np.ndarray) -> None:
        kinds, persons = self._kinds.add(tasks.kind), self._persons.add(tasks.person)
        pairs = self._pairs.add(zip(kinds.tolist(), persons.tolist(), strict=True))
        sizes = self._sizes.add(_size(columns[1]).tolist())
        codes = np.stack([kinds, persons, pairs, sizes])
        on = multiples(tasks.act)
        self._on_step = np.concatenate([self._on_step, on], axis=1)[:, -WINDOW:]
        columns[2] = np.where(exact, np.nan, columns[2])
        self._kept = np.concatenate([self._kept, columns], axis=1)[:, -WINDOW:]
        self._codes = np.concatenate([self._codes, codes], axis=1)[:, -WINDOW:]

    def _fit(self) -> None:
        ratio, x, places, low, high = self._kept
        self._range = (x.min(), x.max())
        age = np.arange(len(ratio) - 1, -1, -1)
        weight = 0.5 ** (age / HALF_LIFE)
        self._levels = calibration.levels(low, high, weight)
        exact, stretch = np.isnan(places), _stretch(age)
        sizes = [len(self._kinds), len(self._persons), len(self._pairs), len(self._sizes),
                 int(stretch[0]) + 1]
        codes = [*self._codes, stretch]
        self._exact.fit(exact.astype(float), weight, x, codes, sizes)
        others = ~exact
        if others.any():
            ratio, x, weight = ratio[others], x[others], weight[others]
            codes = [part[others] for part in codes]
            self._fit_level(ratio, x, weight, codes, sizes)
            self._shape = shape(places[others], weight)
            self._rounding = Rounding(self._on_step[:, others], weight, codes[1], sizes[1])
            self._similar = Similar(ratio, x, weight, codes[:2], sizes[:2])

    def _fit_level(self, ratio, x, weight, codes, sizes) -> None:
        """Level and spread in turn: far tasks pull no harder than `CLIP` spreads would."""
        level = self._level.fitted(x, codes)
        log_spread = self._spread.fitted(x, codes)
        spread = np.exp(np.clip(log_spread, -6, 3) - LOG_OF_NORMAL)
        drawn = level + np.clip(ratio - level, -CLIP * spread, CLIP * spread)
        precise = (self._level_noise() / spread) ** 2
        level = self._level.fit(drawn, weight * np.clip(precise, 0.05, 20), x, codes, sizes)
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
        hours = np.empty((len(estimates), len(probs)))
        for cut, found in self._forecasts(np.log(estimates), kinds, persons):
            hours[cut] = self._hours(estimates[cut], found, probs)
        if self._rounding is not None:
            hours = self._rounding.draw(hours, estimates, self._persons.find(persons))
        return hours

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
        tables, doubt = np.empty((len(estimates), len(table_levels()))), np.empty(len(estimates))
        for cut, found in self._forecasts(np.log(estimates), kinds, persons):
            tables[cut] = self._hours(estimates[cut], found, table_levels())
            doubt[cut] = found.doubt
        # Tasks also share what is not known yet of their levels: about half of it, for persons
        # and kinds differ within a job.
        return total_quantiles(tables, probs, self._jobs.rho, min(0.5 * doubt.mean(), 0.3),
                               self._jobs.factor(plain(job)))

    def _hours(self, estimates: np.ndarray, found: _Forecast, probs: np.ndarray) -> np.ndarray:
        """Hours at levels put right; shape (tasks, levels)."""
        order = probs.argsort(kind="stable")
        levels = np.interp(probs[order], self._levels, calibration.EDGES)
        ratio = np.clip(found.spread.quantiles(levels), -_LONGEST, _LONGEST)
        hours = estimates[:, None] * np.exp(np.maximum.accumulate(ratio, axis=1))
        return np.minimum(hours, np.finfo(float).max)[:, order.argsort()]

    def _forecasts(self, x: np.ndarray, kinds: list, persons: list
                   ) -> Iterable[tuple[slice, _Forecast]]:
        """Forecasts of tasks with ln(estimate) `x`, block by block, which bounds the memory."""
        kind, person = self._kinds.find(kinds), self._persons.find(persons)
        for at in range(0, len(x), _BLOCK):
            cut = slice(at, at + _BLOCK)
            # People write round figures: tasks that are alike are forecast once.
            alike, back = np.unique(np.stack([kind[cut], person[cut], x[cut]]), axis=1,
                                    return_inverse=True)
            found = self._forecast(alike[2], *alike[:2].astype(int))
            yield cut, found.rows(back.ravel())

    def _forecast(self, x: np.ndarray, kind: np.ndarray, person: np.ndarray) -> _Forecast:
        pair = self._pairs.find(zip(kind.tolist(), person.tolist(), strict=True))
        size = self._sizes.find(_size(x).tolist())
        codes = [kind, person, pair, size, np.zeros(len(x), int)]
        # Beyond all past estimates a slope is a guess: it is not followed further.
        inside = np.clip(x, *self._range)
        level, level_var = self._level.at(inside, codes)
        log_spread, spread_var = self._spread.at(inside, codes)
        # No label is so much steadier or wilder than its shop as a few records may look.
        usual = self._spread.mean
        log_spread = usual + np.clip(log_spread - usual, -WILDER, WILDER) - LOG_OF_NORMAL
        var = np.exp(2 * log_spread + np.minimum(spread_var, 0.2)) + level_var
        sd = np.sqrt(var)
        exact = np.clip(self._exact.at(inside, codes)[0], _LEAST, _MOST)
        ratio = level[:, None] + sd[:, None] * KNOTS
        below = np.broadcast_to(self._shape, ratio.shape)
        if self._similar is not None:
            alike, count = self._similar.below(ratio, x, codes[:2])
            share = (SIMILAR_SHARE * count / (count + SIMILAR_NEEDS))[:, None]
            below = (1 - share) * below + share * alike
            below[:, 0], below[:, -1] = 0.0, 1.0
        return _Forecast(level, sd, level_var / var, Spread(exact, ratio, below))


@dataclass(frozen=True)
class _Forecast:
    """Level and standard deviation of r, the share of its variance that is doubt about the level,
    and the whole spread."""

    level: np.ndarray
    sd: np.ndarray
    doubt: np.ndarray
    spread: Spread

    def rows(self, at: np.ndarray) -> _Forecast:
        """Forecasts at these places, which may repeat."""
        one = self.spread
        return _Forecast(self.level[at], self.sd[at], self.doubt[at],
                         Spread(one.exact[at], one.ratio[at], one.below[at]))


def _ratios(est: np.ndarray, act: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """ln(actual / estimate), whether they are the same, and ln(estimate)."""
    x = np.log(est)
    ratio = np.clip(np.log(act) - x, -_LONGEST, _LONGEST)
    return ratio, np.abs(ratio) < 1e-9, x


def _size(x: np.ndarray) -> np.ndarray:
    return np.floor(x / SIZE_STEP + 0.5).astype(int)


def _stretch(age: np.ndarray) -> np.ndarray:
    """Number of the stretch of time in which tasks of this age were finished; 0 is the youngest."""
    return np.floor(np.log2(age / STRETCH + 1)).astype(int)


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
