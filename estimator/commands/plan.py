"""`estimator plan`: surveys into a plan of the bench by day, with dates and their odds."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

from estimator.commands.parsing import day_option, number_option, one_option, whole_option
from estimator.commands.shared import (
    Gathered,
    day_said,
    ledger_of,
    options_of,
    plain,
    say,
    shop_of,
    table,
)
from estimator.errors import BadInput, Fault
from estimator.units import counted, day_at, of_a_hundred

_WISHES = ("cheapest", "fastest", "fewest-parcels", "trade-off")
_SECONDS = 5.0, 12.0
"""For the search, unless said otherwise: for one job, for several."""


def register(command) -> None:
    """Add the command."""
    found = options_of(command("plan", _plan, "Plan the bench: who does what when, what is "
                                              "waited for, when machines are ready."))
    found.add_argument("survey", metavar="SURVEY", type=Path, nargs="*",
                       help="surveys, CSV or XLSX; the first is the most pressing if none is due")
    found.add_argument("--level", metavar="L", nargs="+", default=[],
                       help="service level: one for all, or one for each survey")
    found.add_argument("--jobs", metavar="JOB", nargs="*",
                       help="jobs of the shop, by number or name, from what is done, booked, "
                            "bought and away today; all that are open if none is named")
    found.add_argument("--start", metavar="YYYY-MM-DD", type=day_option,
                       help="first day; today by default")
    found.add_argument("--due", metavar="YYYY-MM-DD", nargs="+", default=[],
                       help="day it is promised for: one for all, or one for each; - for none")
    found.add_argument("--promise", metavar="CONFIDENCE", type=number_option, default=0.8,
                       help="how sure a date is to be, such as 0.8 (default)")
    found.add_argument("--ways", action="store_true",
                       help="compare finishing each assembly as it comes off with stripping "
                            "everything first")
    found.add_argument("--buy", metavar="WISH", default="cheapest", type=one_option(*_WISHES),
                       help="what parts are bought for: " + ", ".join(_WISHES))
    found.add_argument("--day-worth", metavar="MONEY", type=number_option, default=0.0,
                       help="with trade-off: what the last part a day sooner is worth")
    found.add_argument("--parcel-worth", metavar="MONEY", type=number_option, default=0.0,
                       help="with trade-off: what a parcel less to open is worth")
    found.add_argument("--baskets", action="store_true",
                       help="compare buying for all of these")
    found.add_argument("--seconds", metavar="N", type=number_option,
                       help="for the search; 0 takes the plan that is drawn at once")
    found.add_argument("--workers", metavar="N", type=whole_option, default=1,
                       help="threads of the search; with one, the same seed gives the same plan")
    found.add_argument("--trials", metavar="N", type=whole_option, default=10_000,
                       help="how often the job is played through; 10,000 by default")
    found.add_argument("--seed", metavar="N", type=whole_option, default=1,
                       help="the same seed gives the same figures")
    found.add_argument("--out", metavar="DIR", type=Path,
                       help="write plan.json, plan.csv and the papers for the bench here")
    found.add_argument("--labels", metavar="SHEET",
                       help="sheet that labels for bags are printed on, of label_sheets.csv; one "
                            "for the shop's paper by default")


def _plan(options: argparse.Namespace) -> int:
    from datetime import date

    from estimator import schedule

    shop = shop_of(options)
    _check(options)
    if options.labels is not None:
        from estimator.documents.bench import sheet_named
        sheet_named(options.labels, shop)
    start = options.start or date.today()
    jobs, bought = _jobs(options, shop, start)
    there = {"offered": schedule.market_of(shop), "bought": bought}
    # Ages of prices are told as of today, whenever the plan begins.
    today = date.today()
    basket = schedule.basket_of(jobs, shop, wish=_wish(options), on=today, **there)
    baskets = schedule.baskets_of(jobs, shop, basket, on=today, **there) if options.baskets else ()
    jobs = schedule.ordered(jobs, basket)
    seconds = _SECONDS[len(jobs) > 1] if options.seconds is None else options.seconds
    plan = schedule.plan(jobs, shop, start=start, seconds=seconds, seed=options.seed,
                         workers=options.workers, progress=_progress(seconds))
    sure = schedule.outlook(plan, jobs, shop, trials=options.trials, seed=options.seed)
    ways = {one.name: schedule.compared(one, shop, start=start) for one in jobs} \
        if options.ways else {}
    said = schedule.as_dict(plan, sure, confidence=options.promise)
    if ways:
        said["ways"] = {name: schedule.as_dict(plan, ways=rows)["ways"]
                        for name, rows in ways.items()}
    ordering = schedule.ordering_of(plan, jobs, basket, chance=shop.settings.order_confidence,
                                    margin=shop.settings.order_margin_days)
    spares = schedule.spares_of(jobs, shop, basket, **there)
    said["buying"] = _buying(basket, ordering, start, baskets) | {
        "spares": _spares(basket, spares)}
    written, left = [], []
    if options.out:
        from estimator.documents import bench, put
        made = bench.papers(
            plan, jobs, shop, ordering=ordering,
            lots=schedule.lots_of(plan, jobs, shop).best.lots, sheet=options.labels)
        written = [*put(_plan_files(said) | made, options.out, options.survey).values()]
        left = bench.left_over(options.out, {path.name for path in written})
    text = "\n".join([_text(plan, sure, ways, options.promise, shop), "",
                      *_bought(said["buying"], basket, spares, shop.settings)])
    if left:
        text += f"\nOf an earlier plan, and not of this one: {', '.join(left)}"
    return say(options, said, "\n".join([text, *map(str, written)]))


def _check(options) -> None:
    faults = []
    many = len(options.survey)
    if not many and options.jobs is None:
        faults.append(Fault("There is nothing to plan.",
                            "Name surveys and a level, or write --jobs for those of the shop."))
    if many and not options.level:
        faults.append(Fault("A survey is planned at a service level.",
                            "Write --level reconditioned, or one for each survey.",
                            column="level"))
    if not many and (options.level or options.due):
        faults.append(Fault("Jobs of the shop have a level and a day already.",
                            "Leave --level and --due out; estimator job promise sets the day."))
    for name, given in (("level", options.level), ("due", options.due)):
        if many and len(given) not in (0, 1, many):
            faults.append(Fault(
                f"There are {len(given)} of --{name} for {many} survey{'s' * (many > 1)}.",
                "Give one for all, or one for each." if many > 1 else "Give one.", column=name))
    if not 0 < options.promise < 1:
        faults.append(Fault(f"A confidence of {options.promise:g} cannot be promised.",
                            "Write a share such as 0.8: four in five.", column="promise"))
    for name in ("day_worth", "parcel_worth"):
        worth = getattr(options, name)
        if not 0 <= worth < 1e9:
            faults.append(Fault(f"{worth:g} is no worth of a day or a parcel.",
                                "Write money, 0 or more.", column=name))
        elif worth and options.buy != "trade-off":
            faults.append(Fault(f"Buying for {options.buy} weighs no days and no parcels.",
                                "Write --buy trade-off with it.", column=name))
    if options.seconds is not None and not 0 <= options.seconds <= 3600:
        faults.append(Fault(f"{options.seconds:g} seconds are no time to search for.",
                            "Write 0 to 3600.", column="seconds"))
    if not 1 <= options.workers <= 64:
        faults.append(Fault(f"{options.workers} threads cannot search.", "Write 1 to 64.",
                            column="workers"))
    if not 100 <= options.trials <= 1_000_000:
        faults.append(Fault(f"{options.trials} trials are too few or too many.",
                            "Write 100 to 1000000.", column="trials"))
    if faults:
        raise BadInput(faults)


def _jobs(options, shop, start) -> tuple[list, dict[str, float]]:
    """What is to be planned, and units of parts that were bought for it already."""
    jobs = _surveyed(options, shop) if options.survey else []
    if options.jobs is None:
        return jobs, {}
    found, bought = _of_the_shop(options, shop, start, {job.name for job in jobs})
    return jobs + found, bought


def _of_the_shop(options, shop, start, taken: set[str]) -> tuple[list, dict[str, float]]:
    from collections import Counter

    from estimator.jobs import benching, quoted_work
    from estimator.ledger import job_named
    from estimator.schedule import OnBench

    with ledger_of(options) as (_, ledger):
        known = ledger.jobs()
        if options.jobs:
            wanted, faults = [], []
            for word in dict.fromkeys(options.jobs):
                try:
                    wanted.append(job_named(word, known))
                except BadInput as error:
                    faults += [replace(fault, column="jobs") for fault in error.faults]
            faults += [Fault(f"{job.name} is closed.", "Plan jobs that are open.", column="jobs")
                       for job in wanted if job.state == "closed"]
            if faults:
                raise BadInput(faults)
        else:
            wanted = [job for job in known if job.state in benching.OPEN]
        if not wanted:
            raise BadInput(Fault("No job of the shop is open.",
                                 "Accept a quote: estimator job accept NUMBER."))
        standing, found, bought = ledger.standing(), [], Counter()
        for job in wanted:
            name = job.name if job.name not in taken else f"{job.name}, {job.number}"
            taken.add(name)
            _, work, _ = quoted_work(ledger, standing.get(job.number, job.number))
            machine, parts = benching.on_bench(OnBench(name, work, due=job.promised), job.number,
                                               ledger, shop, start)
            found.append(machine)
            bought.update(parts)
    return found, dict(bought)


def _surveyed(options, shop) -> list:
    from estimator import schedule, survey
    from estimator.estimate import estimate
    from estimator.quote import level_named
    from estimator.scope import scope

    many = len(options.survey)
    read = Gathered()
    levels = [read.take(level_named, word) for word in options.level]
    due = [None if word == "-" else read.take(day_said, word, "--due")
           for word in options.due] or [None]
    read.done()
    levels, due = levels * (many // len(levels)), due * (many // len(due))
    jobs, names = [], []
    for path, level, day in zip(options.survey, levels, due, strict=True):
        found = survey.read(path, shop.catalogue, final=True)
        name = found.machine.title or path.stem
        if name in names:
            name = next(f"{name} ({n})" for n in range(2, many + 2)
                        if f"{name} ({n})" not in names)
        names.append(name)
        jobs.append(schedule.OnBench(
            name, estimate(scope(found, level, shop.catalogue), shop), due=day))
    return jobs


def _wish(options):
    from estimator import buying

    if options.buy == "trade-off":
        return buying.trade_off(options.day_worth, options.parcel_worth)
    return {"cheapest": buying.CHEAPEST, "fastest": buying.FASTEST,
            "fewest-parcels": buying.FEWEST}[options.buy]


def _buying(basket, ordering, start, baskets) -> dict:
    """What is bought, for what, and when; days are dates."""
    from datetime import timedelta

    # Four digits of money hold the smallest coin of every currency.
    def whole(one) -> dict:
        return {"wish": one.wish.name, "total": round(one.total, 4), "parcels": one.parcels,
                "days": round(one.delay, 1), "proven": one.proven,
                "gap_share": round(one.gap, 4)}

    return whole(basket) | {
        "orders": [{
            "supplier": row.order.supplier, "name": row.order.name,
            "lines": len(row.order.lines), "goods": round(row.order.goods, 4),
            "top_up": round(row.order.top_up, 4), "freight": round(row.order.freight, 4),
            "total": round(row.order.total, 4),
            "order_on": start + timedelta(row.place_on),
            "expected": day_at(start, row.expected),
            "late_chance": round(row.chance_late, 4)} for row in ordering.orders],
        "without_offer": [one.name for one in basket.unmet],
        "notices": [{"what": fault.what, "cure": fault.fix, "file": fault.file, "row": fault.row}
                    for fault in basket.faults],
        "compared": [whole(one) for one in baskets]}


def _spares(basket, rounds) -> list[dict]:
    """What to buy ahead at each supplier where a second order may follow."""
    orders = {order.supplier: order for order in basket.orders}
    found = []
    for supplier, one in rounds.items():
        names = {line.part: line.name for line in orders[supplier].lines}
        found.append({
            "supplier": supplier, "name": orders[supplier].name,
            "parts": [{"part": part, "name": names[part], "units": units}
                      for part, units in one.spares],
            "second_order_chance": round(one.chance_without, 4),
            "second_order_chance_with_spares": round(one.chance, 4),
            "saves_mean": round(one.cost_without - one.cost, 2)})
    return found


def _bought(said: dict, basket, spares, settings) -> list[str]:
    """The orders in words."""
    from estimator.schedule import basket_words, spares_words

    currency = settings.currency
    if not said["orders"]:
        return ["No parts are to be ordered."]
    rows = [(f"Orders, {said['wish']}", "Lines", "Goods", "Freight", f"In all, {currency}",
             "Order on", "Expected", "Late in 100")]
    rows += [(row["name"], str(row["lines"]), f"{row['goods'] + row['top_up']:.2f}",
              f"{row['freight']:.2f}", f"{row['total']:.2f}", f"{row['order_on']}",
              f"{row['expected']}", of_a_hundred(row["late_chance"])) for row in said["orders"]]
    out = [table(rows, right=(1, 2, 3, 4, 7)),
           f"{said['total']:.2f} {currency} in all. {basket_words(basket)}"]
    if said["compared"]:
        rows = [("Bought for", f"In all, {currency}", "Parcels", "Days to the last part")]
        rows += [(one["wish"], f"{one['total']:.2f}", str(one["parcels"]), f"{one['days']:.0f}")
                 for one in said["compared"]]
        out += ["", table(rows, right=(1, 2, 3))]
    out += [spares_words(order, second, settings) for order in basket.orders
            if (second := spares.get(order.supplier)) and second.spares]
    out += [f"{one['what']} {one['cure']}" for one in said["notices"]]
    return out


def _progress(seconds: float):
    """Says on the terminal that the search goes on; nothing into a file."""
    if seconds < 3 or not sys.stderr.isatty():
        return None

    def told(end: float, least: float) -> bool:
        print(f"\r{end / 60:.1f} open hours, {least / 60:.1f} at least", end="\r",
              file=sys.stderr, flush=True)
        return True

    return told


def _text(plan, sure, ways, confidence: float, shop) -> str:
    from estimator.schedule import critical, proof_words

    out = []
    several = len(plan.finishes) > 1
    for day, steps in plan.at_work.items():
        out.append(f"{day:%a} {day}")
        rows = [("", "", "", "")]
        for step in steps:
            name = f"{step.job}: {step.name}" if several else step.name
            begins = f"{step.start:%H:%M}" if step.start.date() == day else "goes on"
            until = f"{step.end:%H:%M}" if step.end.date() == day else f"{step.end:%a %H:%M}"
            rows.append((f"  {begins}–{until}", step.person, name,
                         "" if sure.criticality[step.number] < 0.5 else "holds up the end"))
        out += [*table(rows).splitlines()[1:], ""]
    if plan.waits:
        rows = [("Waits", "from", "until")]
        rows += [(step.name, f"{step.start:%Y-%m-%d}", f"{step.end:%Y-%m-%d}")
                 for step in plan.waits if step.end > step.start]
        out += [table(rows), ""]
    held = [step for step in critical(plan, sure) if step.what != "work" or step.hours >= 1]
    if held:
        out += ["What holds up the end in most trials, an hour or more:"]
        out += [f"  {step.name} ({of_a_hundred(sure.criticality[step.number])} %)"
                for step in held]
        out.append("")
    for name, ready in sure.ready.items():
        promise = ready.promise(confidence)
        sooner = ready.earlier(promise)
        out += [
            f"{name}: ready {ready.planned:%Y-%m-%d %H:%M} if all goes as expected and nothing "
            "is found",
            f"  half of all trials by {ready.p50:%Y-%m-%d}, 8 in 10 by {ready.p80:%Y-%m-%d}, "
            f"9 in 10 by {ready.p90:%Y-%m-%d}",
            f"  promise {promise.day}: it holds in {of_a_hundred(promise.chance)} of 100; a "
            f"week earlier in {of_a_hundred(sooner.chance)}, late {sooner.late_days:.1f} days on "
            f"average and {sooner.cost - promise.cost:.0f} {shop.settings.currency} dearer",
        ]
        if ready.due:
            out.append(f"  due {ready.due.day}: holds in {of_a_hundred(ready.due.chance)} of 100, "
                       f"late {ready.due.late_days:.1f} days on average")
        for way in ways.get(name, ()):
            out.append(f"  {way.name}: {way.hours:.1f} h, {way.days:.0f} days, orders on "
                       f"{counted(way.orders, 'day')}, {counted(way.parcels, 'parcel')} for "
                       f"{way.freight:.0f} {shop.settings.currency}, at most "
                       f"{counted(way.shelf_most, 'assembly', 'assemblies')} waiting on the shelf")
    out.append(proof_words(plan))
    return "\n".join(out)


def _plan_files(said: dict) -> dict[str, bytes]:
    """The plan itself, for programs and spreadsheets."""
    from estimator.outside import csv_file, json_file

    columns = ("start", "end", "job", "what", "name", "person", "hours", "slack_hours",
               "criticality_share", "item")
    listed = csv_file(columns, ([step.get(column, "") for column in columns]
                                for step in said["steps"]))
    return {"plan.json": json_file({"schema": 1} | said, default=plain), "plan.csv": listed}
