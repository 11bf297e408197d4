"""Odds by Monte Carlo: hours, cost and days of a job over many trials.

Every quantity draws from a stream of its own, named after what it is and keyed by the seed
(Philox, counter-based). So the same seed gives the same figures on any machine and in any
order; a line that is edited, dropped or done at another level leaves all other draws as they
were, and differences between two quotes are not noise.

PERT-beta quantiles come from tables over the standard normal, so that a factor shared by the
whole job can be mixed in before the look-up (a Gaussian copula).
"""

from __future__ import annotations

import functools
import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from estimator import durations
from estimator.durations import Range
from estimator.estimate import Estimate
from estimator.labour import charge_out
from estimator.shop import Settings

_Z_END = 5.0
_CELLS = 1024
_STEP = 2 * _Z_END / _CELLS


@functools.lru_cache(maxsize=1)
def _normal_cdf() -> np.ndarray:
    grid = np.linspace(-_Z_END, _Z_END, _CELLS + 1)
    return np.array([0.5 * math.erfc(-z / math.sqrt(2)) for z in grid])


@functools.lru_cache(maxsize=2048)
def _pert_table(mode: float) -> np.ndarray:
    """Quantiles of the PERT-beta on 0 to 1 with this mode, over a grid of standard normals."""
    a, b = 1 + 4 * mode, 5 - 4 * mode
    # The CDF on a grid that is finer at both ends, where quantiles are steep.
    x = 0.5 * (1 - np.cos(np.linspace(0, math.pi, 4097)))
    middle = (x[1:] + x[:-1]) / 2
    density = middle ** (a - 1) * (1 - middle) ** (b - 1)
    cdf = np.concatenate([[0.0], np.cumsum(density * np.diff(x))])
    return np.interp(_normal_cdf(), cdf / cdf[-1], x).astype(np.float32)


def pert_at(normals: np.ndarray, found: Range) -> np.ndarray:
    """PERT-beta values at standard normal scores, by linear interpolation in a table.

    Parameters
    ----------
    normals
        Standard normal scores, any shape, float32; beyond ±5 they count as ±5.
    found
        Low, typical, high.

    Returns
    -------
    array of the same shape, float32, within low and high.

    Examples
    --------
    >>> round(float(pert_at(np.zeros(1, np.float32), Range(4, 8, 16))[0]), 2)  # the median
    8.51
    """
    width = found.high - found.low
    if width <= 0:
        return np.full(normals.shape, found.low, np.float32)
    # Modes that agree to four places share a table, which is kept for re-use.
    table = _pert_table(round((found.typical - found.low) / width, 4))
    place = np.clip((normals + np.float32(_Z_END)) * np.float32(1 / _STEP), 0, _CELLS - 1e-3)
    cell = place.astype(np.int32)
    place -= cell
    left = table[cell]
    return np.float32(found.low) + np.float32(width) * (left + place * (table[cell + 1] - left))


@functools.lru_cache(maxsize=4096)
def normals(seed: int, name: str, trials: int) -> np.ndarray:
    """The stream of standard normal scores of one named quantity; shape (trials,), float32."""
    word = hashlib.blake2b(name.encode(), digest_size=8).digest()
    key = np.array([seed % 2**64, int.from_bytes(word, "little")], dtype=np.uint64)
    drawn = np.random.Generator(np.random.Philox(key=key)).standard_normal(trials, dtype=np.float32)
    drawn.setflags(write=False)
    return drawn


@dataclass(frozen=True)
class Odds:
    """What the trials gave.

    Parameters
    ----------
    hours, cost, days
        Of the whole job, finds included; shape (trials,). [h], [money], [d]
    find_hours, find_cost
        The part of it that comes from finds and lines worse than assumed.
    bill
        What time and materials would come to in each trial, before any cap. [money]
    """

    hours: np.ndarray
    cost: np.ndarray
    days: np.ndarray
    find_hours: np.ndarray
    find_cost: np.ndarray
    bill: np.ndarray
    seed: int

    @property
    def trials(self) -> int:
        """How many trials."""
        return len(self.cost)

    def at(self, what: str, *shares: float) -> tuple[float, ...]:
        """Values of `what` ("hours", "cost", "days", "bill") that these shares stay below."""
        return tuple(float(v) for v in np.quantile(getattr(self, what), shares))

    def chance_of_loss(self, income: float | np.ndarray) -> float:
        """Share of trials in which the job costs more than it brings in. [–]"""
        return float(np.mean(self.cost > income))

    def loss_range(self, income: float | np.ndarray) -> tuple[float, float]:
        """Between what the chance of loss lies, as far as this many trials can tell (95 %). [–]"""
        return share_range(int(np.sum(self.cost > income)), self.trials)


def share_range(hits: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Range of a share of which a sample was seen: the score interval of Wilson (1927). [–]

    Examples
    --------
    >>> low, high = share_range(421, 500)
    >>> round(low, 4), round(high, 4)
    (0.8074, 0.8713)
    """
    z = _normal_quantile((1 + confidence) / 2)
    share, square = hits / trials, z * z
    middle = (share + square / (2 * trials)) / (1 + square / trials)
    half = (
        z
        / (1 + square / trials)
        * math.sqrt(share * (1 - share) / trials + square / (4 * trials**2))
    )
    return max(0.0, middle - half), min(1.0, middle + half)


def simulate(job: Estimate, settings: Settings, *, trials: int = 10_000, seed: int = 1) -> Odds:
    """Play the job through `trials` times.

    Hours of every work item vary over their range; a share of the variance
    (`job_factor_share`) is common to the whole job, because a machine that fights back does
    so everywhere. Where an item is n alike units, their spread evens out in part
    (`repeat_correlation`). Finds happen or do not; lines that were not seen may be one
    condition worse; prices and outwork vary over their ranges.

    Raises
    ------
    ValueError
        If there are fewer than 100 trials.
    """
    if trials < 100:
        raise ValueError(f"{trials} trials say nothing about odds; take 100 or more.")

    def draw(name: str) -> np.ndarray:
        return normals(seed, name, trials)

    shared = math.sqrt(settings.job_factor_share) * draw("job")
    own = np.float32(math.sqrt(1 - settings.job_factor_share))

    hours = np.zeros(trials)
    for item in job.items:
        values = pert_at(shared + own * draw(item.name), item.hours)
        evened = _evened(item.work.units, settings.repeat_correlation)
        if evened < 1:
            mean = np.float32(
                durations.pert_mean(item.hours.low, item.hours.typical, item.hours.high)
            )
            values = mean + (values - mean) * np.float32(evened)
        hours += values
        hours += item.setup
    hours *= job.hours_factor

    find_hours = np.zeros(trials)
    find_other = np.zeros(trials)
    find_days = np.zeros(trials)
    for risk in job.risks:
        name = f"{job.scope.names[risk.line]}: {risk.find.find}"
        hit = _happens(draw(f"{name} happens"), risk.chance)
        find = risk.find
        find_hours += hit * pert_at(draw(f"{name} hours"), Range(find.low, find.typical, find.high))
        find_other += hit * pert_at(
            draw(f"{name} cost"), Range(find.cost_low, find.cost_typical, find.cost_high)
        )
        find_days += hit * np.float32(find.days)
    for unseen in job.unseen:
        name = f"{job.scope.names[unseen.line]}: worse"
        hit = _happens(draw(name), unseen.chance)
        find_hours += hit * np.float32(unseen.hours)
        find_other += hit * np.float32(unseen.cost)
    find_hours *= job.hours_factor

    bought: Mapping[str, np.ndarray] = {"part": np.zeros(trials), "material": np.zeros(trials)}
    for supply in _by_item(job):
        bought[supply[0]] += pert_at(draw(f"price of {supply[1]}"), supply[2])
    outside = np.zeros(trials)
    away = np.zeros(trials)
    for lot in job.lots:
        outside += pert_at(draw(f"charge of {lot.service}"), lot.charge)
        away = np.maximum(away, pert_at(draw(f"days of {lot.service}"), lot.days))

    all_hours = hours + find_hours
    find_cost = find_hours * job.hour_cost + find_other
    cost = hours * job.hour_cost + bought["part"] + bought["material"] + outside + find_cost
    rate = charge_out(job.hour_cost, settings.margin)
    step = settings.billing_increment_hours
    bill = (
        np.ceil(all_hours / step - 1e-9) * step * rate
        + bought["part"] * (1 + settings.parts_markup)
        + bought["material"] * (1 + settings.materials_markup)
        + outside * (1 + settings.outwork_markup)
        + find_other * (1 + settings.parts_markup)
    )
    unattended = max((item.work.operation.unattended for item in job.items), default=0.0) / 24
    days = all_hours / settings.bench_hours_per_week * 7 + away + find_days + unattended
    return Odds(all_hours, cost, days, find_hours, find_cost, bill, seed)


def _evened(units: float, correlation: float) -> float:
    """Spread of the sum of alike, equally correlated units, against that of one times n.

    sqrt((1 + (n − 1)ρ) / n), from Var ΣX = nσ²(1 + (n − 1)ρ).
    """
    return math.sqrt((1 + (units - 1) * correlation) / units) if units > 1 else 1.0


def _happens(normals: np.ndarray, chance: float) -> np.ndarray:
    if chance <= 0:
        return np.zeros(normals.shape, bool)
    if chance >= 1:
        return np.ones(normals.shape, bool)
    return normals < np.float32(_normal_quantile(chance))


@functools.lru_cache(maxsize=1024)
def _normal_quantile(share: float) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf(share)


def _by_item(job: Estimate) -> list[tuple[str, str, Range]]:
    """Parts and materials summed over lines: one price a thing, for all lines that need it."""
    sums: dict[tuple[str, str], list[float]] = {}
    for supply in job.supplies:
        total = sums.setdefault((supply.does, supply.item), [0.0, 0.0, 0.0])
        for k, value in enumerate((supply.cost.low, supply.cost.typical, supply.cost.high)):
            total[k] += value
    return [(does, item, Range(*total)) for (does, item), total in sums.items()]
