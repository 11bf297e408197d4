"""What drives the cost: how much of its spread each line, find, price and shared factor brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from estimator.estimate import Estimate
from estimator.shop import Settings
from estimator.simulate.odds import Odds
from estimator.simulate.plan import Plan, plan_of
from estimator.simulate.run import player_of
from estimator.simulate.shares import TRIALS, variance_shares

_MOST_BARS = 30
_TENTH = 0.1


@dataclass(frozen=True)
class Driver:
    """Something that the cost depends on.

    Parameters
    ----------
    what
        "hours" of a line, with the parts whose number is not sure; "finds" of a line;
        "prices" of parts and materials; "outwork", the charge of a lot; "shared", what several
        lines have in common.
    line
        Index of the survey line; None for what is not one line's.
    low, high
        What the cost comes to at the confidence asked for if this driver is in the lowest or
        the highest tenth of what it can be, on average over that tenth. [money]
    first, total
        Shares of the variance of cost, after I. M. Sobol: from this driver alone, and together
        with what it does jointly with others. [–]
    """

    name: str
    what: str
    line: int | None
    low: float
    high: float
    first: float
    total: float


def drivers(job: Estimate, settings: Settings, odds: Odds, titles: Sequence[str], *,
            confidence: float = 0.8, trials: int = TRIALS) -> tuple[Driver, ...]:
    """The drivers of a job's cost, the widest bar first; at most thirty.

    Parameters
    ----------
    titles
        What the survey lines are called.
    trials
        Of the estimate of variance shares, which has numbers of its own.

    Raises
    ------
    ValueError
        If the odds were too many to keep what each line drew.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> made = small_quote()
    >>> found = drivers(made.job, made.settings, made.odds, made.titles, trials=128)
    >>> found[0].name, found[0].low < found[0].high
    ('Flipper (2)', True)
    """
    if not odds.lines:
        raise ValueError("the odds hold totals only; take fewer trials to see what drives them")
    plan = plan_of(job, settings)
    shares = variance_shares(plan, job.hour_cost * job.hours_factor, odds.seed, trials)
    spread = float(np.var(odds.cost)) or 1.0
    found = sorted(((key, first / spread, total / spread)
                    for key, (first, total) in shares.items()), key=lambda row: -row[2])
    parts = _contributions(job, odds, plan)
    bars = []
    for (what, which), first, total in found[:_MOST_BARS]:
        if total <= 1e-9:
            continue
        low, high = _bar(odds.cost, parts(what, which), confidence)
        line = which if what in ("hours", "finds") else None
        bars.append(Driver(_name(what, which, job, titles), what, line, low, high,
                           max(0.0, first), total))
    return tuple(sorted(bars, key=lambda bar: bar.low - bar.high))


def _name(what: str, which, job: Estimate, titles: Sequence[str]) -> str:
    if what == "hours":
        return titles[which]
    if what == "finds":
        return f"{titles[which]}: finds"
    if what == "outwork":
        return job.lots[which].name
    if what == "prices":
        return "Prices of parts and materials"
    return {"job": "How the whole job goes", "hand": "Pace of the hands",
            "kind": "How each kind of work goes", "cause": "Finds that share a cause"}[which]


def _contributions(job: Estimate, odds: Odds, plan: Plan):
    """A function from a driver to what it adds to the cost in each trial, shape (trials,)."""
    hour = job.hour_cost * job.hours_factor
    player = player_of(plan, job, trials=odds.trials, seed=odds.seed, sampler=odds.sampler)

    def found(what: str, which) -> np.ndarray:
        if what == "hours":
            return _sum(odds, which, (("hours", hour), ("parts", 1.0), ("materials", 1.0)))
        if what == "finds":
            return _sum(odds, which, (("find_hours", hour), ("find_other", 1.0)))
        if what == "outwork":
            return player.amount(plan.charges[which])
        if what == "prices":
            return odds.kinds["parts"] + odds.kinds["materials"]
        return _followed(odds.cost, [player.score(name) for name in _streams_of(which, plan)])
    return found


def _sum(odds: Odds, line: int, rows) -> np.ndarray:
    total = np.zeros(odds.trials)
    for name, factor in rows:
        row = getattr(odds.lines[line], name)
        if row is not None:
            total += row * factor
    return total


def _streams_of(shared: str, plan: Plan) -> list[str]:
    if shared == "job":
        return ["job"]
    if shared == "cause":
        events = [e for line in plan.lines.values() for e in line.events]
        return sorted({f"cause {e.cause}" for e in events if e.cause})
    factors = {a.factors for line in plan.lines.values() for a in line.hours}
    if shared == "hand":
        return sorted({f"hand {hand}" for hand, _ in factors})
    kinds = {kind for _, kind in factors} | set(plan.factors.kinds)
    return sorted(f"kind {kind}" for kind in kinds)


def _followed(cost: np.ndarray, scores: list[np.ndarray]) -> np.ndarray:
    """The part of the cost that follows independent scores: its terms in z and in z²."""
    rest = cost - cost.mean()
    for z in scores:
        terms = np.stack([z, z * z]).astype(float)
        terms -= terms.mean(axis=1, keepdims=True)
        # Least squares; einsum, because a matrix product would wait for threads.
        weights = np.linalg.solve(np.einsum("it,jt->ij", terms, terms),
                                  np.einsum("it,t->i", terms, rest))
        rest -= weights[0] * terms[0]
        rest -= weights[1] * terms[1]
    return cost - rest


def _bar(cost: np.ndarray, part: np.ndarray, confidence: float) -> tuple[float, float]:
    """The cost at a confidence with one part of it in its lowest and in its highest tenth."""
    tenth = round(_TENTH * len(part))
    split = np.partition(part, (tenth - 1, len(part) - tenth))
    rest = _quantile((cost - part).astype(np.float32), confidence)
    return (rest + float(split[:tenth].mean()), rest + float(split[-tenth:].mean()))


def _quantile(values: np.ndarray, share: float) -> float:
    # As np.quantile, in half the time.
    place = (len(values) - 1) * share
    whole = int(place)
    split = np.partition(values, whole)
    below = float(split[whole])
    above = float(split[whole + 1:].min()) if place > whole else below
    return below + (place - whole) * (above - below)


__all__ = ["Driver", "drivers"]
