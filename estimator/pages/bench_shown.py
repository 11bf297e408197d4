"""How a bench plan is shown: figures, charts, tables as HTML. Every word of a person is escaped."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping
from datetime import date, timedelta

from estimator import plots, schedule
from estimator.documents import bench_rows
from estimator.documents.wording import counted, money, whole
from estimator.pages import showing
from estimator.pages.bench_desk import (
    Drawn,
    closed_days,
    day_rows,
    held_up,
    in_days,
    week_loads,
)
from estimator.plots import planning
from estimator.schedule import Promise, Way
from estimator.units import day_at, in_a_hundred

_SOON = 7
_MOST = 12
_MOST_WEEKS = 26


def _said(when: date) -> str:
    """A day of the plan; its year is told by the months around it, and by the form."""
    return f"{when:%a}\u00a0{when.day}\u00a0{when:%b}"


def _short(when: date) -> str:
    return f"{when.day}\u00a0{when:%b}"


def strip(found: Drawn) -> str:
    """The days to promise, seen first."""
    rows = []
    for at, (name, ready) in enumerate(found.outlook.ready.items()):
        promise = ready.promise(found.ask.promise)
        note = f"holds in {in_a_hundred(promise.chance)}; as planned {_short(ready.planned.date())}"
        if ready.due is not None:
            note += f"; due {_short(ready.due.day)} holds in {in_a_hundred(ready.due.chance)}"
        rows.append((f"promise-{at}", name, _said(promise.day), note))
    return showing.figures(rows)


def days(found: Drawn, by: str, today: float) -> str:
    """The plan over its days, as a chart."""
    rows = day_rows(found, by)
    ax = planning.bench_days(rows, found.plan.start, closed=closed_days(found), today=today,
                             day=_short)
    ends = "; ".join(f"{name} ready {_said(end.date())}" for name, end in
                     found.plan.finishes.items())
    words = f"The plan from {_said(found.plan.start)} on, in {counted(len(rows), 'row')}. {ends}."
    return ('<div class="est-scroll est-days" tabindex="0" role="region" aria-label="The plan over '
            f'its days"><div><figure data-testid="chart-days">{plots.svg(ax, words)}</figure>'
            "</div></div>")


def load(found: Drawn) -> str:
    """Hours planned and open by week and person, as a chart."""
    rows = [(f"Week of {_short(monday)}, {person}", planned, there)
            for monday, person, planned, there in week_loads(found) if planned or there]
    if not rows:
        return showing.said("No hours are planned.")
    shown = rows[:_MOST_WEEKS]
    words = "; ".join(f"{name}: {planned:.1f} of {there:.1f} h" for name, planned, there in shown)
    caption = "" if len(shown) == len(rows) else f"And {len(rows) - len(shown)} rows more."
    return ('<div class="est-pictures">' + showing.chart(
        "load", "Hours planned within open hours", planning.loads(shown), f"{words}.", caption)
        + "</div>")


def _table(found: Drawn, test: str, title: str, heads, rows, *, once: bool = False) -> str:
    """A table, without the column of the machine where there is only one."""
    if len(found.jobs) == 1 and "Machine" in heads:
        at = list(heads).index("Machine")
        heads = [*heads[:at], *heads[at + 1:]]
        rows = [[*row[:at], *row[at + 1:]] for row in rows]
    return showing.table(test, title, heads, rows, once=once)


def critical(found: Drawn) -> str:
    """What holds up the end most often, by name."""
    rows = [[step.name, step.job, _what(step, found), in_a_hundred(share),
             f"{step.slack_hours / 24:.1f} d" if step.slack_hours >= 12 else
             f"{step.slack_hours:.1f} h"]
            for step, share in held_up(found, 0.5) if step.what != "work" or step.hours >= 1]
    if not rows:
        return showing.said("Nothing holds up the end in more than half of the trials.",
                            test="critical")
    return _table(found, "critical", "What holds up the end in most trials, an hour or more",
                         ("Work or wait", "Machine", "Kind", "Holds up the end in", ">Slack"),
                         rows[:40])


def _what(step, found: Drawn) -> str:
    return step.person if step.what == "work" else schedule.wait_word(
        step, found.ask.shop.catalogue)


def by_day(found: Drawn) -> str:
    """Work in the plan's order."""
    rows = []
    for when, steps in found.plan.days.items():
        for step in steps:
            until = f"{step.end:%H:%M}" if step.end.date() == when else \
                f"{step.end:%a %H:%M}"
            rows.append([_said(when), f"{step.start:%H:%M}–{until}", step.person,
                         step.job, step.name, "; ".join(step.waits_for[:2])])
    return _table(found, "work", "Work in the order of the plan",
                  ("Day", "Time", "Who", "Machine", "Work", "Begins after"), rows, once=True)


def dates(found: Drawn) -> str:
    """When each machine is ready: curves, and what promising a day risks."""
    settings = found.ask.shop.settings
    pictures, rows = [], []
    for name, ready in found.outlook.ready.items():
        promise = ready.promise(found.ask.promise)
        sooner = ready.earlier(promise, _SOON)
        ax = planning.finish_curve(
            ready.hours / 24, found.plan.start, planned=in_days(found, ready.planned),
            promise=((promise.day - found.plan.start).days + 1.0,
                     f"promise {_short(promise.day)}: {in_a_hundred(promise.chance)}"), day=_short)
        words = (f"Half of the trials by {_said(ready.p50.date())}, 8 in 10 by "
                 f"{_said(ready.p80.date())}, 9 in 10 by {_said(ready.p90.date())}.")
        pictures.append(showing.chart(f"ready-{len(rows)}", name, ax, words))
        rows.append([name, _said(ready.planned.date()), _said(ready.p50.date()),
                     _said(ready.p80.date()), _said(ready.p90.date()), _promised(promise),
                     _risk(promise, sooner, settings),
                     "" if ready.due is None else
                     f"{_said(ready.due.day)}: {in_a_hundred(ready.due.chance)}, "
                     f"{ready.due.late_days:.1f} d late on average"])
    note = (f"{found.outlook.trials:,} trials with the same luck that the quotes draw. Nobody "
            "re-plans within a trial, so the dates are on the safe side. A day late is reckoned at "
            f"{money(settings.late_per_day, settings)} (late_per_day in shop.toml).")
    return ('<div class="est-pictures">' + "".join(pictures) + "</div>" + showing.table(
        "dates", "When machines are ready", (
            "Machine", "As planned, nothing found", "Half by", "8 in 10 by", "9 in 10 by",
            "Promise", "A week earlier", "Due"), rows) + showing.said(note, test="dates-note"))


def _promised(promise: Promise) -> str:
    return f"{_said(promise.day)}, holds in {in_a_hundred(promise.chance)}"


def _risk(promise: Promise, sooner: Promise, settings) -> str:
    return (f"holds in {in_a_hundred(sooner.chance)}, {sooner.late_days:.1f} d late on average, "
            f"{whole(sooner.cost - promise.cost, settings)} dearer")


def delays(found: Drawn) -> str:
    """Which waits hold up the end, and how often."""
    catalogue = found.ask.shop.catalogue
    several = len(found.jobs) > 1
    rows = [(f"{step.job}: {step.name}" if several else step.name, share,
             schedule.wait_word(step, catalogue))
            for step, share in held_up(found) if step.what != "work"]
    if not rows:
        return showing.said("No wait holds up the end: it is the hours at the bench that do.",
                            test="delays")
    shown = rows[:_MOST]
    words = "; ".join(f"{name} {in_a_hundred(share)}" for name, share, _ in shown)
    more = "" if len(rows) <= _MOST else f" {len(rows) - _MOST} waits more hold it up less often."
    return ('<div class="est-pictures">' + showing.chart(
        "delays", "In how many of 100 trials a wait holds up the end",
        planning.holds_up(shown, most=_MOST), f"{words}.",
        f"Without that wait the machine would have been ready sooner.{more}") + "</div>")


def ways(found: Drawn, compared: Mapping[str, tuple[Way, ...]]) -> str:
    """Both ways of working beside each other, for each machine."""
    settings = found.ask.shop.settings
    rows = []
    for name, both in compared.items():
        for way in both:
            rows.append([name, way.name, f"{way.hours:.1f}", f"{way.days:.1f}",
                         _said(way.finish.date()), f"{way.orders} ({way.later_orders} later)",
                         str(way.parcels), money(way.freight, settings), str(way.shelf_most),
                         f"{way.shelf_days:.0f}"])
    said = []
    for name, both in compared.items():
        if len(both) == 2:
            first, other = both
            quicker = min(both, key=lambda way: way.days)
            if abs(first.days - other.days) < 0.05:
                said.append(f"{name}: both ways take as long.")
                continue
            said.append(
                f"{name}: “{quicker.name}” is ready {abs(first.days - other.days):.1f} days "
                f"sooner, with {counted(quicker.parcels, 'parcel')} and {quicker.hours:.1f} h.")
    return showing.said(*said, test="ways-said") + showing.table(
        "ways", "Two ways of working, each machine by itself", (
            "Machine", "Way", ">Hours", ">Days", "Ready", ">Days with orders", ">Parcels",
            ">Freight", ">Assemblies waiting at most", ">Days they wait, together"), rows,
            once=True)


def waiting(found: Drawn) -> str:
    """What is waited for, by the day it is over."""
    catalogue = found.ask.shop.catalogue
    rows = []
    for step, held in bench_rows.waits(found.plan):
        rows.append([_said(step.end.date()), bench_rows.said_of(found.plan, step), step.job,
                     schedule.wait_word(step, catalogue),
                     _said(bench_rows.since(found.plan, step).date()),
                     "; ".join(held[:2]) + (f"; {len(held) - 2} more" if len(held) > 2 else "")])
    if not rows:
        return showing.said("Nothing is waited for.", test="waiting")
    return _table(found, "waiting", "Waiting list by day", (
        "Over", "What", "Machine", "Kind", "Since", "Holds up"), rows, once=True)


def orders(found: Drawn) -> str:
    """Parts to order: by which day, from whom, and what."""
    settings, first = found.ask.shop.settings, found.plan.start
    if not found.ordering.orders:
        return showing.said("No parts have to be ordered.", test="orders")
    rows = []
    for dated in found.ordering.orders:
        order = dated.order
        needed = "" if dated.needed is None else _said(day_at(first, dated.needed))
        rows.append([_said(first + timedelta(dated.place_on)), order.name,
                     counted(len(order.lines), "part"), money(order.total, settings), needed,
                     _said(day_at(first, dated.expected)),
                     "" if dated.needed is None else in_a_hundred(dated.chance_late)])
    total = math.fsum(dated.order.total for dated in found.ordering.orders)
    listed = "".join(
        f"<details><summary>{html.escape(dated.order.name)}: "
        f"{counted(len(dated.order.lines), 'part')}</summary><ul>" + "".join(
            f"<li>{html.escape(line.name)}: {line.units}"
            f"{f', in {line.packs} packs of {line.pack}' if line.pack > 1 else ''}</li>"
            for line in dated.order.lines) + "</ul></details>"
        for dated in found.ordering.orders)
    unmet = [f"{need.name}: nobody offers it." for need in found.basket.unmet]
    old = [f"{fault.what} {fault.fix}" for fault in found.basket.faults if fault.column == "dated"]
    ahead = [schedule.spares_words(dated.order, second, settings)
             for dated in found.ordering.orders
             if (second := found.spares.get(dated.order.supplier)) and second.spares]
    note = ("The plan reckons with orders that go out on its first day. An order may wait until "
            f"the day said here: it is then in time in {100 * found.ask.in_time:.0f} of 100, where "
            "that can still be.")
    return showing.table("orders", "Orders by day and supplier", (
        "Order by", "Supplier", ">What", ">Sum with freight", "Needed", "Expected then",
        ">Late in"), rows, total=["Together", "", "", money(total, settings), "", "", ""]) \
        + showing.said(schedule.basket_words(found.basket), note, *ahead, *unmet, *old,
                       test="orders-note") + listed


def lots(found: Drawn) -> str:
    """What goes out together, when, and what sharing lots saves."""
    settings, first, plan = found.ask.shop.settings, found.plan.start, found.lots
    rows = [[_said(day_at(first, lot.leaves)), lot.name, ", ".join(lot.jobs),
             str(lot.count), "; ".join(dict.fromkeys(piece.name for piece in lot.pieces)),
             _said(day_at(first, lot.expected)), money(lot.charge, settings)]
            for lot in plan.best.lots]
    if not rows:
        return showing.said("Nothing is sent out.", test="lots")
    said = []
    if plan.saved > 0.005:
        said.append(f"Sharing lots saves {money(plan.saved, settings)} against each machine for "
                    "itself.")
    said += [f"{job} waits {days_:.1f} days longer for it." for job, days_ in plan.lost
             if days_ > 0.05]
    said.append("No other way of sending them is worth more." if plan.proven else
                f"Another way could be better by at most {100 * plan.gap:.1f} %.")
    return _table(found, "lots", "Lots that go out", (
        "Leaves", "Work", "Machine", ">Pieces", "What", "Back about", ">Charge"), rows) \
        + showing.said(*said, test="lots-note")
