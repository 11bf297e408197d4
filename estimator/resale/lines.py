"""Which lines of the job pay: their gains, costs and hours, and what they share."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from estimator import durations
from estimator.catalogue import Level, SaleRatio
from estimator.errors import BadInput, Fault
from estimator.estimate import Estimate
from estimator.money import format_money
from estimator.picking import Shared
from estimator.resale import paying
from estimator.resale.playing import AS_FOUND, Played, Setting, work_choices
from estimator.resale.records import Paying, PayingLine


def paying_lines(here: Setting, played: Mapping[str, Played], worths: Mapping[str, np.ndarray]
            ) -> Paying | None:
    """Which lines pay at the end that earns most, within the limits; None without lines.

    Raises
    ------
    BadInput
        If what cannot be left out is over a limit.
    """
    works = work_choices(played)
    if not works:
        return None
    aim = max(works, key=lambda one: float(worths[one.key].mean()))
    base = played[AS_FOUND]
    step = float((aim.cash.income_worth(here.rate) - base.cash.income_worth(here.rate)).mean())
    step = max(step, 0.0)
    job, odds, tables = aim.job, aim.odds, here.tables
    costs = {index: float(row.mean()) for index, row in odds.line_cost.items()}
    sent = {index for lot in job.lots for index in lot.shares}
    indexes = sorted(index for index, cost in costs.items() if cost > 0 or index in sent)
    if not indexes:
        return None
    lines = [job.scope.lines[index] for index in indexes]
    usual = {name: max(1.0, tables.counts[here.era, name].typical)
             for name in tables.sale_weights if (here.era, name) in tables.counts}
    done = _done(here, job)
    weights = [
        tables.sale_weights[line.assembly].weight * tables.wear_worth[line.condition].gain
        * line.count / max(usual.get(line.assembly, 1.0), line.count) * done.get(index, 1.0)
        if line.assembly in tables.sale_weights and line.condition is not None else 0.0
        for index, line in zip(indexes, lines, strict=True)]
    gains = _gains(here, aim.row, step, lines, weights)
    factor = odds.hours_factor
    hours = np.array([factor * sum(float(row.mean()) for row in
                                   (odds.lines[k].hours, odds.lines[k].find_hours)
                                   if row is not None) for k in indexes])
    fixed = np.array([not tables.assemblies[line.assembly].droppable for line in lines])
    whole = paying.Job(gains, np.array([costs[k] for k in indexes]), hours, fixed,
                       _shared(job, indexes, tables))
    limit = _hours_limit(here)
    try:
        chosen = paying.choose(whole, budget=here.deal.budget, hours=limit)
    except paying.NothingFits as error:
        raise BadInput(_too_tight(here, aim.row.name, error, limit)) from None
    titles = {index: tables.assemblies[line.assembly].name
              for index, line in zip(indexes, lines, strict=True)}
    rows = [PayingLine(index, titles[index], float(gains[k]), costs[index], float(hours[k]),
                       not fixed[k]) for k, index in enumerate(indexes)]
    every = paying.Chosen(tuple(range(len(indexes))), *whole.of(range(len(indexes))))

    def named(one: paying.Chosen) -> paying.Chosen:
        return replace(one, lines=tuple(indexes[k] for k in one.lines))

    return Paying(aim.key, step,
                  tuple(sorted(rows, key=lambda row: (row.cost - row.gain, row.line))),
                  named(chosen), named(every),
                  lambda: tuple(map(named, paying.frontier(whole, budget=here.deal.budget))))


def _too_tight(here: Setting, name: str, least: paying.NothingFits, most_hours: float | None
               ) -> Fault:
    """What cannot be left out costs or takes more than there is for it."""
    budget, over = here.deal.budget, []
    field = "ready_by" if here.deal.hours is None else "hours"
    if budget is not None and least.cost > budget:
        needed, most = (format_money(round(amount), here.settings.currency,
                                     here.settings.locale, digits=0)
                        for amount in (least.cost, budget))
        over.append(f"costs {needed}, over the limit of {most}")
        field = "budget"
    if most_hours is not None and least.hours > most_hours:
        over.append(f"takes {least.hours:.1f} h, over the limit of {most_hours:.1f} h")
    return Fault(f"{name}: what cannot be left out {', and '.join(over)}.",
                 "Raise the limit, or leave the machine as it is.", column=field)


def _gains(here: Setting, row: SaleRatio, step: float, lines: Sequence, weights: Sequence[float]
           ) -> np.ndarray:
    """The step shared out over the lines; together just the step. [money]

    What a machine gains by being whole and playing goes to the lines that kept it from that,
    the rest by the weights.
    """
    stopped = [
        weight if weight and line.condition in ("failed", "missing")
        and (here.found == "incomplete" or here.tables.sale_weights[line.assembly].stops_play)
        else 0.0
        for line, weight in zip(lines, weights, strict=True)]
    plays, now = (here.tables.sale_ratios.get((AS_FOUND, state, None))
                  for state in ("working", here.found))
    part = 0.0
    if here.found in ("not-working", "incomplete") and any(stopped) and plays and now \
            and row.typical > now.typical:
        part = min(1.0, (plays.typical - now.typical) / (row.typical - now.typical))
    return step * (part * paying.shares(stopped) + (1 - part) * paying.shares(weights))


def _done(here: Setting, job: Estimate) -> dict[int, float]:
    """How much a buyer sees of what could be done on a line, by its index. [–]

    The square root of what the level spends on it over what show grade would: the first hour on
    an assembly shows most. Judgement, no source.
    """
    most = here.job(Level.SHOW)
    could = {line.line: line.cost for line in most.lines}
    return {line.line: math.sqrt(min(1.0, line.cost / could[line.line]))
            for line in job.lines if could.get(line.line)}


def _hours_limit(here: Setting) -> float | None:
    """Bench hours that may be spent, by the limit itself and by the day."""
    limits = [] if here.deal.hours is None else [here.deal.hours]
    if here.deal.ready_by is not None:
        days = (here.deal.ready_by - here.on).days - 7 * here.deal.wait_weeks
        limits.append(max(0.0, days) * here.settings.bench_hours_per_week / 7)
    return min(limits) if limits else None


def _shared(job: Estimate, indexes: list[int], tables) -> tuple[tuple[Shared, float], ...]:
    """Set-ups, lots and whole packs, which lines share; by the place of a line in `indexes`."""
    place = {index: k for k, index in enumerate(indexes)}
    found: list[tuple[Shared, float]] = []
    users: dict[str, set[int]] = defaultdict(set)
    times: dict[str, float] = defaultdict(float)
    for item in job.items:
        if item.setup and item.line in place:
            name = item.work.operation.operation
            users[name].add(place[item.line])
            times[name] += item.setup * job.hours_factor
    for name, lines in users.items():
        found.append((Shared(times[name] * job.hour_cost, sorted(lines)), times[name]))
    for lot in job.lots:
        row = tables.services[lot.service]
        lines = sorted(place[index] for index in lot.shares if index in place)
        if not lines:
            continue
        mean = durations.mean_of(row)
        parts = [lot.shares[indexes[k]] * lot.quantity * mean for k in lines]
        found.append((Shared(row.setup, lines, row.lot_minimum, parts, row.multiplier), 0.0))
        if row.line_fee:
            found += [(Shared(row.line_fee, [line]), 0.0) for line in lines]
        if row.freight:
            found.append((Shared(row.freight, lines), 0.0))
    packs: dict[str, tuple[set[int], float]] = {}
    for supply in job.supplies:
        if supply.whole and supply.line in place:
            lines, cost = packs.get(supply.item, (set(), 0.0))
            packs[supply.item] = (lines | {place[supply.line]},
                                  cost + durations.mean_of(supply.cost))
    found += [(Shared(cost, sorted(lines)), 0.0) for lines, cost in packs.values()]
    return tuple(found)
