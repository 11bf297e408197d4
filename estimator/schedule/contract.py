"""A plan as plain numbers and words, for JSON and for a person: schema 1, additions only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from estimator.schedule.dates import Outlook, Promise
from estimator.schedule.records import BenchPlan, Step
from estimator.schedule.ways import Way

_CRITICAL = 0.5
"""Shown as critical: what holds up the end in at least so many trials. [–]"""


def as_dict(plan: BenchPlan, outlook: Outlook | None = None, *, confidence: float = 0.8,
            ways: Sequence[Way] = ()) -> dict:
    """A plan in plain values; moments as ISO 8601 without a zone, by the shop's clock.

    Parameters
    ----------
    outlook
        Adds odds: dates, promises, and how often each step holds up the end.
    confidence
        How sure the promised day is to be, between 0 and 1. [–]
    ways
        Both ways of working, of one job.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import OnBench, plan
    >>> from estimator.shop import open_shop
    >>> jobs = [OnBench("Harbour Lights", small_quote().job, due=date(2026, 12, 18))]
    >>> found = as_dict(plan(jobs, open_shop(), start=date(2026, 11, 26), seconds=0))
    >>> found["jobs"][0]["due"], found["proven_best"], found["steps"][0]["what"]
    ('2026-12-18', False, 'work')
    """
    found = {
        "start": plan.start.isoformat(),
        "proven_best": plan.proof.proven,
        "gap_share": round(plan.proof.gap, 4),
        "gap_of": plan.proof.of,
        "search_seconds": round(plan.proof.seconds, 2),
        "steps_moved": plan.proof.moved,
        "drawn_by": plan.rule,
        "jobs": [_job(plan, name, outlook, confidence) for name in plan.finishes],
        "steps": [_step(step, outlook) for step in
                  sorted(plan.steps, key=lambda one: (one.start, one.number))],
    }
    if outlook is not None:
        found |= {"trials": outlook.trials, "seed": outlook.seed, "confidence": confidence}
    if ways:
        found["ways"] = [
            {"way": way.way, "name": way.name, "hours": round(way.hours, 2),
             "finish": way.finish.isoformat(timespec="minutes"), "days": round(way.days, 2),
             "orders": way.orders, "later_orders": way.later_orders, "parcels": way.parcels,
             "freight": round(way.freight, 2), "shelf_most": way.shelf_most,
             "shelf_days": round(way.shelf_days, 2)} for way in ways]
    return found


def _job(plan: BenchPlan, name: str, outlook: Outlook | None, confidence: float) -> dict:
    due = plan.due.get(name)
    found = {"job": name, "finish": plan.finishes[name].isoformat(timespec="minutes"),
             "due": due and due.isoformat()}
    if outlook is not None:
        ready = outlook.ready[name]
        promise = ready.promise(confidence)
        found |= {
            "finish_p50": ready.p50.isoformat(timespec="minutes"),
            "finish_p80": ready.p80.isoformat(timespec="minutes"),
            "finish_p90": ready.p90.isoformat(timespec="minutes"),
            "due_holds": ready.due and _promise(ready.due),
            "promise": _promise(promise),
            "week_earlier": _promise(ready.earlier(promise)),
        }
    return found


def _promise(promise: Promise) -> dict:
    return {"day": promise.day.isoformat(), "chance": round(promise.chance, 4),
            "late_days_mean": round(promise.late_days, 3), "cost": round(promise.cost, 2)}


def _step(step: Step, outlook: Outlook | None) -> dict:
    found = asdict(step)
    found["start"] = step.start.isoformat(timespec="minutes")
    found["end"] = step.end.isoformat(timespec="minutes")
    found["hours"] = round(step.hours, 3)
    found["slack_hours"] = round(step.slack_hours, 2)
    found["lines"] = [line + 1 for line in step.lines]
    found["item"] = None if step.item is None else step.item + 1
    found["waits_for"] = list(step.waits_for)
    if outlook is not None:
        found["criticality_share"] = round(outlook.criticality[step.number], 4)
    return found


def critical(plan: BenchPlan, outlook: Outlook | None = None) -> list[Step]:
    """The steps that hold up the end, in their order: in most trials, or else in the plan.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import OnBench, plan
    >>> from estimator.shop import open_shop
    >>> jobs = [OnBench("Harbour Lights", small_quote().job)]
    >>> made = plan(jobs, open_shop(), start=date(2026, 11, 26), seconds=0)
    >>> [step.operation for step in critical(made)]
    ['leg-clean', 'metal-send', 'powder-coat-set', 'leg-change']
    """
    return sorted((step for step in plan.steps if step.end > step.start and (
        step.critical if outlook is None
        else outlook.criticality[step.number] >= _CRITICAL)),
        key=lambda one: (one.start, one.number))


__all__ = ["as_dict", "critical"]
