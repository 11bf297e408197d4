"""What is known after teardown, and which way to go then."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from estimator import durations
from estimator.estimate import Estimate
from estimator.resale import stopping
from estimator.resale.playing import AS_FOUND, Played, Setting, work_choices
from estimator.resale.records import Parted, Teardown
from estimator.shop import Settings
from estimator.simulate import Odds
from estimator.simulate.plan import plan_of

_TEARDOWN = ("inspect", "remove", "dismantle")
_REFIT = "assemble"


def _kind_hours(job: Estimate, kinds: tuple[str, ...]) -> float:
    """Expected hours of these kinds of work, with allowances. [h]"""
    return job.hours_factor * math.fsum(
        item.mean_hours for item in job.items if item.work.operation.kind in kinds)


def finds_seen(job: Estimate, odds: Odds, settings: Settings) -> np.ndarray:
    """What the finds that came to light are expected to cost, in each trial. [money]

    Which finds there are is known after teardown; how much work each will be is not yet.
    """
    plan, found = plan_of(job, settings), np.zeros(odds.trials)
    for index, line in odds.lines.items():
        if line.pattern is None:
            continue
        for bit, event in enumerate(plan.lines[index].events[:32]):
            hours = durations.mean_of(event.hours)
            other = durations.mean_of(event.other)
            here = (line.pattern >> bit) & 1
            found += here * (hours * job.hours_factor * job.hour_cost + other)
    return found


def teardown(here: Setting, played: Mapping[str, Played], worths: Mapping[str, np.ndarray],
             parts: tuple[Parted, ...]) -> tuple[Teardown | None, np.ndarray]:
    """The rule after the teardown of the best choice that has one, and what is seen then."""
    works = work_choices(played)
    if not works:
        return None, np.zeros(here.deal.trials)
    aim = max(works, key=lambda one: float(worths[one.key].mean()))
    seen = finds_seen(aim.job, aim.odds, here.settings)
    hours, refit = (_kind_hours(aim.job, kinds) for kinds in (_TEARDOWN, (_REFIT,)))
    hour = here.hour_cost
    going = {}
    for one in works:
        # Another level has less to take apart or more; what is off must go on again.
        extra = max(0.0, hours - _kind_hours(one.job, _TEARDOWN)) \
            + max(0.0, refit - _kind_hours(one.job, (_REFIT,)))
        going[one.key] = worths[one.key] - (0.0 if one is aim else extra * hour)
    base, spent = played[AS_FOUND], hours * hour
    # Put back together it is the machine it was, to be sold as found or cleaned.
    plain = [one.key for one in played.values() if one.job is not None and one not in works]
    stops = {"put-back": worths[max(plain, key=lambda key: float(worths[key].mean()))]
             - spent - refit * hour}
    project = here.tables.sale_ratios.get((AS_FOUND, "incomplete", None))
    if project is not None:
        cash = replace(base.cash, sales=((here.income(here.ratio(project, "in pieces")),
                                          base.cash.kept),))
        stops["sell-in-pieces"] = cash.worth(here.rate) - spent
    if "part-out" in played:
        off = math.fsum(part.listing.take_off for part in parts if part.pays)
        stops["part-out"] = worths["part-out"] - spent + min(off, hours) * hour
    rule = stopping.rule(seen, going | stops, setters=stopping.halves(here.deal.trials))
    return Teardown(aim.key, spent, hours, rule, *(
        float(np.quantile(seen, q)) for q in (0.5, 0.9)), float(seen.max())), seen
