"""Stop after teardown: which way to go once the finds are seen, and what that freedom is worth.

What a way is worth falls evenly with what the finds seen are expected to cost, so each way is a
straight line, fitted to one half of the trials; the best way is the highest line, and where two
cross is a limit of the rule. The other half of the trials says what the rule is worth, so that
luck of the draw does not flatter it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from estimator import decisions
from estimator.units import within

_FEW = 20
"""Trials that a mean is taken of at least."""
_CLEAR = 0.25
"""By so much of each unit of finds two ways must differ to be told apart beyond what was seen."""


@dataclass(frozen=True)
class Rule:
    """Which way to go by what the finds cost that were seen.

    Parameters
    ----------
    ways
        The way to go in each stretch, from no finds upward.
    limits
        Where one stretch ends and the next begins, in rising order, one fewer. [money]
    shares
        Share of the trials that came into each stretch. [–]
    worth
        Mean worth of following the rule. [money]
    single, single_worth
        The best way if one had to be fixed before teardown, and its mean worth.
    gain, gain_error
        What the freedom to choose after teardown is worth: the difference, and its standard error.
    lines
        What each way is worth by what the finds cost, as a straight line: its worth without finds
        [money], and how that changes with each unit of them. [–]
    """

    ways: tuple[str, ...]
    limits: tuple[float, ...]
    shares: tuple[float, ...]
    worth: float
    single: str
    single_worth: float
    gain: float
    gain_error: float
    lines: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def rule(signal: np.ndarray, worths: Mapping[str, np.ndarray], *,
         setters: np.ndarray | None = None, weights: np.ndarray | None = None) -> Rule:
    """The rule that is worth most, and what it is worth.

    Parameters
    ----------
    signal
        What is seen after teardown, 0 or more; shape (trials,). [money]
    worths
        What each way is worth in each trial, from the same day; shape (trials,) each. [money]
    setters
        Trials that set the rule; the others value it. All do both where it is None, which is
        right for outcomes that are listed whole, not drawn.
    weights
        Chance of each outcome; all alike where None. [–]

    Examples
    --------
    >>> found = rule(np.array([0.0, 100, 200, 300]), {
    ...     "go on": np.array([150.0, 50, -50, -150]), "stop": np.zeros(4)})
    >>> found.ways, found.limits, found.gain
    (('go on', 'stop'), (150.0,), 50.0)
    """
    if not worths:
        raise ValueError("worths names no way to go")
    signal = np.asarray(signal, float)
    names = list(worths)
    table = np.stack([np.asarray(worths[name], float) for name in names])
    chance = np.ones(len(signal)) if weights is None else np.asarray(weights, float)
    set_by = np.ones(len(signal), bool) if setters is None else setters
    judged = set_by if setters is None else ~set_by
    lines = [_line(signal[set_by], row[set_by], chance[set_by]) for row in table]
    order, limits = _envelope(lines, float(signal.max()))
    means = table[:, set_by] @ chance[set_by]
    single = int(means.argmax())
    weight = chance[judged] / chance[judged].sum()
    place = np.searchsorted(limits, signal[judged], side="left")
    followed = table[:, judged][np.array(order)[place], np.arange(judged.sum())]
    alone = table[single, judged]
    more = followed - alone
    gain = float(more @ weight)
    error = float(math.sqrt(max(0.0, float((more - gain)**2 @ weight)) / judged.sum()))
    shares = np.bincount(place, weight, len(order))
    return Rule(tuple(names[way] for way in order), tuple(limits), tuple(shares.tolist()),
                float(followed @ weight), names[single], float(alone @ weight), gain,
                0.0 if weights is not None else error, dict(zip(names, lines, strict=True)))


def halves(trials: int) -> np.ndarray:
    """Which trials set a rule: every other one. The streams do not know even from odd."""
    return np.arange(trials) % 2 == 0


def _line(x: np.ndarray, y: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    """Intercept and slope of least squares; level where x does not vary."""
    total = weight.sum()
    middle, height = float(x @ weight / total), float(y @ weight / total)
    spread = float((x - middle)**2 @ weight)
    if spread <= 1e-12 * max(1.0, middle**2) * total:
        return height, 0.0
    slope = float((x - middle) * weight @ (y - height)) / spread
    return height - slope * middle, slope


def _envelope(lines: list[tuple[float, float]], seen: float) -> tuple[list[int], list[float]]:
    """The highest line from 0 upward: which, and where it changes.

    Beyond what was seen only lines that part clearly are said to cross.
    """
    at, found, limits = 0.0, [], []
    best = max(range(len(lines)), key=lambda way: (lines[way][0], lines[way][1], -way))
    while True:
        found.append(best)
        height, slope = lines[best]
        crossing = [((height - other) / (rise - slope), rise, way)
                    for way, (other, rise) in enumerate(lines) if rise > slope + 1e-9]
        crossing = [(max(x, at), rise, way) for x, rise, way in crossing
                    if x <= seen or rise - slope > _CLEAR]
        if not crossing:
            return found, limits
        x, _, best = min(crossing, key=lambda one: (one[0], -one[1], one[2]))
        at = x
        limits.append(x)


@dataclass(frozen=True)
class Inspection:
    """What an inspection is worth before the choice is made.

    Parameters
    ----------
    limit
        Damage that would cost more than this changes the choice; None where none would. [money]
    chance
        Chance that there is so much. [–]
    perfect
        What it is worth to know for sure. [money]
    value
        What an inspection is worth that misses some and raises false alarms. [money]
    everything
        What it would be worth to know all of it, the price it will sell at too. [money]
    fine, bad
        The best choice if there is not so much damage, and if there is.
    """

    limit: float | None
    chance: float
    perfect: float
    value: float
    everything: float
    fine: str
    bad: str


def inspection(signal: np.ndarray, worths: Mapping[str, np.ndarray], *, sees: float,
               false_alarm: float) -> Inspection:
    """What knowing about hidden damage before choosing is worth, for sure and nearly so.

    Parameters
    ----------
    signal, worths
        As `rule` takes them; "leave it" is a choice like any other, worth nothing.
    sees
        Chance that damage over the limit is seen. [–]
    false_alarm
        Chance that it is reported where there is none. [–]

    Notes
    -----
    H. Raiffa & R. Schlaifer, "Applied Statistical Decision Theory", 1961.
    """
    within("sees", sees, at_least=0, up_to=1, fix="Write 0.7 for 70 %.")
    within("false_alarm", false_alarm, at_least=0, up_to=1, fix="Write 0.1 for 10 %.")
    signal = np.asarray(signal, float)
    names = list(worths)
    table = np.stack([np.asarray(worths[name], float) for name in names])
    means = table.mean(axis=1)
    best = int(means.argmax())
    everything = max(0.0, float(table.max(axis=0).mean() - means[best]))
    lines = [_line(signal, row, np.ones(len(signal))) for row in table]
    _, limits = _envelope(lines, float(signal.max()))
    for limit in limits:
        bad = signal > limit
        if _FEW <= bad.sum() <= len(bad) - _FEW:
            break
    else:
        return Inspection(None, 0.0, 0.0, 0.0, everything, names[best], names[best])
    payoffs = np.stack([table[:, ~bad].mean(axis=1), table[:, bad].mean(axis=1)], axis=1)
    chance = float(bad.mean())
    prior = [1 - chance, chance]
    told = decisions.value_of_test(payoffs, prior,
                                   [[1 - false_alarm, false_alarm], [1 - sees, sees]])
    fine, worse = payoffs.argmax(axis=0)
    return Inspection(float(limit), chance, decisions.value_of_knowing(payoffs, prior), told.value,
                      everything, names[fine], names[worse])
