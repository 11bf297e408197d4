"""Play a job through: from an estimate to its odds."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from estimator import durations
from estimator.estimate import Estimate
from estimator.labour import charge_out
from estimator.shop import Settings
from estimator.simulate.odds import Billing, Odds
from estimator.simulate.plan import Amount, Plan, plan_of
from estimator.simulate.play import KEEP_MOST, WHATS, Drawn, Player, play_lines
from estimator.simulate.streams import Streams

_TOTALS = ("labour", "outwork", "finds", "cost", "days")


def simulate(
    job: Estimate,
    settings: Settings,
    *,
    trials: int = 10_000,
    seed: int = 1,
    sampler: str = "random",
    workers: int | None = None,
    progress: Callable[[float], bool | None] | None = None,
) -> Odds:
    """Play the job through `trials` times.

    Hours of every work item vary over their range; shares of the variance are common to the
    whole job, to all that one person does and to one kind of work, because a machine that
    fights back does so everywhere. Where an item is n alike units, their spread evens out in
    part (`repeat_correlation`); where each of n pieces may or may not need it, how many do is
    drawn. Finds happen or do not, those with a common cause rather together; lines that were not
    seen may be one condition worse; prices and outwork vary over their ranges.

    Parameters
    ----------
    sampler
        "random", or "sobol" for points that fill the space evenly.
    workers
        Threads; the figures are the same for any number. None chooses.
    progress
        Told the share that is done; if it answers False, `Stopped` is raised.

    Raises
    ------
    ValueError
        If there are fewer than 100 trials, or no such sampler.
    Stopped
        If `progress` said so.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> made = small_quote()
    >>> odds = simulate(made.job, made.settings, trials=200, seed=1)
    >>> odds.hours.shape, bool(odds.at("hours", 0.5)[0] < odds.at("hours", 0.9)[0])
    ((200,), True)
    """
    if trials < 100:
        raise ValueError(f"{trials} trials say nothing about odds; take 100 or more.")
    plan = plan_of(job, settings)
    player = player_of(plan, job, trials=trials, seed=seed, sampler=sampler)
    last = max(plan.lines, default=-1)
    plans = [plan.lines.get(place) for place in range(last + 1)]
    # In one piece, which systems give out in large pages, many times as fast as in small ones.
    names = (*WHATS, *_TOTALS)
    sums = dict(zip(names, np.empty((len(names), trials)), strict=True))
    drawn: list[Drawn | None] = []
    if trials > KEEP_MOST:
        def add(_place: int, line: Drawn) -> None:
            for what in WHATS:
                if (row := getattr(line, what)) is not None:
                    sums[what] += row

        for what in WHATS:
            sums[what][:] = 0
        play_lines(player, plans, workers=workers, progress=progress, each=add)
    else:
        drawn = play_lines(player, plans, workers=workers, progress=progress)
        for what in WHATS:
            player.summed(drawn, what, out=sums[what])
    lines = {place: line for place, line in enumerate(drawn) if line is not None}
    return _totals(job, settings, plan, player, sums, lines)


def player_of(plan: Plan, job: Estimate, *, trials: int, seed: int, sampler: str = "random"
              ) -> Player:
    """The player that the odds of a job come from, for drawing more of the same.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> job, settings = small_quote().job, small_quote().settings
    >>> plan = plan_of(job, settings)
    >>> player = player_of(plan, job, trials=100, seed=1)
    >>> (line,) = play_lines(player, [plan.lines[1]])
    >>> line.hours.shape
    (100,)
    """
    names = _by_spread(plan, job.hour_cost * job.hours_factor) if sampler == "sobol" else ()
    return Player(Streams(seed, trials, sampler, names), plan.factors)


def _totals(job: Estimate, settings: Settings, plan: Plan, player: Player,
            sums: dict[str, np.ndarray], lines: dict[int, Drawn]) -> Odds:
    """The odds of a job from what its lines drew.

    `sums` over lines, shape (trials,) each, and room for what follows from them; hours in it are
    hands-on. All of it is changed in place.
    """
    hours, find_hours, parts, materials = (
        sums[what] for what in ("hours", "find_hours", "parts", "materials"))
    labour, outwork, finds, cost, days = (sums[what] for what in _TOTALS)
    hours += plan.setup
    hours *= job.hours_factor
    find_hours *= job.hours_factor
    wholes = player.kept(player.total, plan.wholes)
    if wholes is not None:
        materials += wholes
    charges = player.kept(player.total, plan.charges)
    outwork[:] = 0 if charges is None else charges
    np.multiply(hours, job.hour_cost, out=labour)
    np.multiply(find_hours, job.hour_cost, out=finds)
    finds += sums["find_other"]
    np.add(labour, parts, out=cost)
    for kind in (materials, outwork, finds):
        cost += kind
    hours += find_hours
    np.multiply(hours, 7 / settings.bench_hours_per_week, out=days)
    days += sums["find_days"]
    days += max((item.work.operation.unattended for item in job.items), default=0.0) / 24
    away = player.kept(player.most, plan.waits)
    if away is not None:
        days += away
    kinds = {"labour": labour, "parts": parts, "materials": materials, "outwork": outwork,
             "finds": finds}
    return Odds(
        hours, cost, days, find_hours, finds, kinds,
        Billing(charge_out(job.hour_cost, settings.margin), settings.billing_increment_hours,
                settings.parts_markup, settings.materials_markup, settings.outwork_markup),
        player.streams.seed, player.streams.sampler, lines, job.hour_cost, job.hours_factor,
    )


def _by_spread(plan: Plan, hour_cost: float) -> Sequence[str]:
    """Names of streams, those that move the cost most first."""
    found = _spreads(plan, hour_cost)
    return sorted(found, key=lambda name: (-found[name], name))


def _spreads(plan: Plan, hour_cost: float) -> dict[str, float]:
    """About how far each stream by itself moves the cost: one standard deviation. [money]"""
    found: dict[str, float] = {}

    def add(stream: str, spread: float) -> None:
        found[stream] = found.get(stream, 0.0) + spread

    def sd(amount: Amount) -> float:
        return float(durations.pert_sd(amount.low, amount.typical, amount.high))

    def mean(amount: Amount) -> float:
        return durations.mean_of(amount)

    factors = plan.factors
    for line in plan.lines.values():
        for amount in line.hours:
            spread = sd(amount) * amount.evened * hour_cost
            hand, kind = amount.factors
            add(amount.stream, spread)
            add("job", factors.job**0.5 * spread)
            add(f"hand {hand}", factors.hand**0.5 * spread)
            add(f"kind {kind}", factors.kind**0.5 * spread)
        for amount in (*line.parts, *line.materials):
            add(amount.stream, sd(amount))
        for amount, unit in [(a, hour_cost) for a in line.hours] + [(a, 1.0) for a in line.parts]:
            if amount.pieces:
                share = amount.share
                add(amount.piece_stream,
                    mean(amount) * unit * ((1 - share) / (amount.pieces * share)) ** 0.5)
        for event in line.events:
            size = mean(event.hours) * hour_cost + mean(event.other)
            spread = size * (event.chance * (1 - event.chance)) ** 0.5
            add(event.stream, spread)
            if event.cause:
                add(f"cause {event.cause}", factors.cause**0.5 * spread)
            add(event.hours.stream, event.chance * sd(event.hours) * hour_cost)
            add(event.other.stream, event.chance * sd(event.other))
    for amount in (*plan.charges, *plan.wholes):
        add(amount.stream, sd(amount))
    return {name: spread for name, spread in found.items() if spread}


__all__ = ["KEEP_MOST", "player_of", "simulate"]
