"""`estimator review`: what was booked against what was quoted."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from estimator.commands.shared import (
    hours_said,
    ledger_of,
    number_said,
    options_of,
    say,
    table,
    told,
)
from estimator.errors import BadInput, Fault, quoted
from estimator.units import counted

MOST = 12
"""Rows of a table in the terminal; JSON has them all."""
DECIDE = ("accept", "edit", "refuse", "undo")
SETTING = {"at_budget": "the rest as quoted", "at_cpi": "the rest as so far",
           "at_cpi_and_spi": "and late days cost too"}


def register(command) -> None:
    """Add `review`."""
    found = options_of(command("review", _review,
                               "Hours and costs booked against those quoted, and why."))
    found.add_argument("job", metavar="JOB", nargs="?",
                       help="number or name; all closed jobs by default. Or one of: proposals, "
                            "for book hours and shares that finished jobs contradict; accept, "
                            "edit, refuse and undo, to take one into the shop's table, take it "
                            "with another figure, keep it from coming again, and take that back")
    found.add_argument("operation", metavar="OPERATION", nargs="?",
                       help="after accept, edit, refuse and undo: which, such as flipper-rebuild "
                            "or job_factor_share")
    found.add_argument("--figure", metavar="NUMBER",
                       help="with edit: hours as 1.5 or 1:30 in the unit of the book, or a share")
    found.add_argument("--why", metavar="TEXT", default="", help="the reason, kept in the log")
    found.add_argument("--done", metavar="ITEM=SHARE", nargs="+", default=[],
                       help="how far work items are, such as 3=0.5 or 4 for all of it; taken "
                            "from the bookings by default")


def _review(options) -> int:
    from estimator import review

    word = (options.job or "").casefold()
    if word == "proposals" and options.operation is None:
        return _proposals(options)
    if word in DECIDE:
        return _decide(options, word)
    if options.figure is not None or options.why:
        raise BadInput(Fault("A figure and a reason belong to a proposal.",
                             "Write: estimator review edit OPERATION --figure 1.5 --why TEXT"))
    if options.operation is not None:
        raise BadInput(Fault(f'"{options.operation}" is one word too many.',
                             "Put a name of several words in quotes."))
    done = _done(options.done)
    if done and options.job is None:
        raise BadInput(Fault("Work items belong to a job, and none is named.", "Name the job."))
    with ledger_of(options) as (shop, ledger):
        currency = shop.settings.currency
        if options.job is None:
            found = review.of_shop(ledger, shop, progress=told)
            walked = review.walk(ledger, shop)
            return say(options, {"review": review.shop_dict(found, currency, walked)},
                       "\n\n".join(_shop_text(found, walked, currency)))
        found = review.of_job(ledger, options.job, shop, done=done)
        return say(options, {"review": review.job_dict(found, currency)},
                   "\n\n".join(_job_text(found, currency)))


def _proposals(options) -> int:
    from estimator.review import proposals

    with ledger_of(options) as (shop, ledger):
        found, past = proposals.proposals(ledger, shop, told), proposals.decisions(shop)
    text = "\n".join(one.words for one in found) + \
        "\n\nTake one into the shop's table with: estimator review accept OPERATION"
    return say(options, {"proposals": [_proposal(one) for one in found],
                         "decisions": [_decision(one) for one in past]},
               text if found else "Finished jobs say nothing against the book so far.")


def _decide(options, word: str) -> int:
    from estimator.review import proposals

    key = _operation(options)
    if word != "edit" and options.figure is not None:
        raise BadInput(Fault(f"A figure of one's own is for edit, and this is {word}.",
                             f"Write: estimator review edit {key} --figure … --why TEXT"))
    with ledger_of(options) as (shop, ledger):
        if word == "undo":
            key = proposals.key_said(key, (one.key for one in proposals.decisions(shop)))
            row = proposals.undo(shop, key)
            return say(options, {"undone": key, "row": row},
                       f"{row} is as it was." if row else f"{key} is as it was.")
        found = proposals.proposal_named(key, proposals.proposals(ledger, shop),
                                         proposals.decisions(shop))
        back = f"Back with: estimator review undo {found.key}"
        if word == "refuse":
            proposals.refuse(shop, found, options.why)
            return say(options, {"refused": _proposal(found)},
                       f"{found.words}: not proposed again until the jobs say something else. "
                       + back)
        if word == "edit":
            figure = _figure(options.figure, found)
            row = proposals.edit(shop, found, figure, options.why)
            return say(options, {"edited": _proposal(found), "figure": figure, "row": row},
                       f"{found.words}: {figure:g} in {row} now. {back}")
        row = proposals.accept(shop, found, why=options.why)
    return say(options, {"accepted": _proposal(found), "row": row},
               f"{found.words}: in {row} now. {back}")


def _figure(said: str | None, found) -> float:
    if not (said or "").strip():
        raise BadInput(Fault("No figure is given.", "Add it: --figure 1.5", column="figure"))
    return number_said(said, "figure") if found.is_setting else hours_said(said, "figure")


def _operation(options) -> str:
    if not options.operation:
        raise BadInput(Fault("No operation is named.",
                             "Look at them with: estimator review proposals"))
    return options.operation


def _proposal(found) -> dict:
    return {
        "key": found.key, "name": found.name, "unit": found.unit, "book": found.book,
        "says": found.says, "low": found.low, "high": found.high,
        "ratio": round(found.ratio, 4) if math.isfinite(found.ratio) else None,
        "caveat": found.caveat, "source": found.source,
        "evidence": [{"job": one.job, "expected_h": round(one.expected, 4),
                      "booked_h": round(one.booked, 4)} for one in found.evidence]}


def _decision(one) -> dict:
    return {"key": one.key, "did": one.did, "when": one.when, "why": one.why,
            "proposal": one.words, "book": one.book, "says": one.says, "low": one.low,
            "high": one.high, "chosen": one.chosen, "jobs": [job for job, *_ in one.evidence]}


def _done(words: Sequence[str]) -> dict[int, float]:
    found = {}
    for word in words:
        item, _, share = word.partition("=")
        if not item.isdecimal():
            raise BadInput(Fault(f"{quoted(word)} names no work item by its number.",
                                 "Write 3=0.5, or 3 where all of it is done.", column="done"))
        found[int(item)] = number_said(share, "done") if share else 1.0
    return found


def _job_text(found, currency: str) -> Iterator[str]:
    job, margin = found.job, found.margin
    yield (f"{job.number}, {job.name}: {job.state}; {found.booked:.2f} hours booked on work "
           f"items, {found.expected:.2f} expected")
    for by in ("operation", "kind", "assembly", "line", "person"):
        yield from _groups(found.groups, by)
    yield from _unbilled(found.unbilled)
    yield from _costs(found, currency)
    yield from _progress(found)
    came = "came in" if margin.sold else "quoted"
    warranty = f", warranty {margin.warranty:.2f}" if margin.warranty else ""
    yield (f"Of {float(margin.income):.2f} {currency} {came}, {margin.left:.2f} are left over "
           f"cost {margin.cost:.2f}{warranty}: a margin of {_percent(margin.share)}"
           + ("." if job.state == "closed" else " so far."))
    yield from _notes(found.notes)


def _shop_text(found, walked, currency: str) -> Iterator[str]:
    yield f"{len(found.jobs)} closed jobs with hours"
    for by in ("operation", "kind", "assembly", "person", "job", "level"):
        yield from _groups(found.groups, by)
    if found.jobs:
        rows = [("Margin of job", "Level", "Income", "Cost", "Left", "Share")]
        rows += [(one.job.name[:40], one.level, f"{float(one.margin.income):.2f}",
                  f"{one.margin.cost + one.margin.warranty:.2f}", f"{one.margin.left:.2f}",
                  _percent(one.margin.share)) for one in found.jobs[-MOST:]]
        yield table(rows, right=(2, 3, 4, 5)) + _rest(len(found.jobs))
        for by in ("level", "quarter", "customer kind"):
            rows = [(f"Margin of {by}", "Jobs", "Income", "Cost", "Share")]
            rows += [(one.name[:40], str(one.jobs), f"{float(one.income):.2f}", f"{one.cost:.2f}",
                      _percent(one.share)) for one in found.margins[by][-MOST:]]
            yield table(rows, right=(1, 2, 3, 4))
    yield from _costs(found, currency)
    if found.enough:
        rows = [("Was it enough?", "Jobs", "Enough", "Share", "In the long run", "Luck")]
        rows += [(f"{one.what} at P{round(100 * one.share)}", str(one.held.cases),
                  str(one.held.hits), _percent(one.held.share),
                  f"{_percent(one.held.low)} to {_percent(one.held.high)}", _percent(one.luck))
                 for one in (*found.enough, *walked.enough)]
        yield table(rows, right=(1, 2, 3, 5))
    yield from _chart(found)
    reserve = found.reserve
    if reserve is not None:
        yield (f"Of {counted(len(reserve.jobs), 'job')} closed {reserve.days} days ago or longer, "
               f"{reserve.back} came back: {reserve.hours:.1f} hours, {reserve.cost:.2f} "
               f"{currency}. Their prices held back {reserve.held:.2f}, "
               f"{100 * reserve.held_share:.1f} %; {100 * reserve.needed_share:.1f} % would have "
               "been enough.")
    yield from _unbilled(found.unbilled)
    hour = found.hour
    if hour.cost is not None:
        yield (f"Of {hour.billed + hour.unbilled:.1f} hours booked, {_percent(hour.share)} are "
               f"work that quotes pay for; the settings say {_percent(hour.settings_share)}.\n"
               f"An hour costs {hour.cost:.2f} {currency} by the bookings, "
               f"{hour.settings_cost:.2f} by the settings.")
    yield (f"Charged at {hour.rate:.2f} {currency} an hour, {hour.break_even:.0f} billed hours a "
           "year pay for wages and overhead.")
    yield from _notes(found.notes)


def _groups(groups, by: str) -> Iterator[str]:
    found = groups[by]
    if not found:
        return
    rows = [(f"By {by}", "Items", "Worked on", "Expected h", "Booked h", "Booked / expected")]
    rows += [(one.name[:40], str(one.items), str(one.worked), f"{one.expected_worked:.2f}",
              f"{one.booked:.2f}", "" if one.ratio is None else f"{one.ratio:.2f}")
             for one in found[:MOST]]
    yield table(rows, right=(1, 2, 3, 4, 5)) + _rest(len(found))


def _rest(count: int) -> str:
    return f"\nand {count - MOST} more; --json has them all" if count > MOST else ""


def _unbilled(unbilled) -> Iterator[str]:
    if unbilled:
        yield table([("Unbilled", "h"),
                     *((kind, f"{hours:.2f}") for kind, hours in unbilled.items())], right=[1])


def _costs(found, currency: str) -> Iterator[str]:
    from estimator.variances import side

    if found.variances is None:
        return
    total = found.variances
    rows = [(f"Cost, {currency}", "Quoted", "Actual", "More")]
    rows += [(one.kind, f"{one.quoted:.2f}", f"{one.actual:.2f}",
              f"{one.actual - one.quoted:+.2f}") for one in found.costs]
    rows.append(("together", f"{total.quoted:.2f}", f"{total.actual:.2f}", f"{total.total:+.2f}"))
    yield table(rows, right=(1, 2, 3))
    rows = [("Why", f"{currency} more", "")]
    rows += [(f"{one.kind} {one.cause}", f"{one.amount:+.2f}", side(round(one.amount, 2)))
             for one in total.parts if round(one.amount, 2)]
    rows.append(("together", f"{total.total:+.2f}", side(round(total.total, 2))))
    yield table(rows, right=[1])


def _progress(found) -> Iterator[str]:
    from estimator.review import forecasts_of

    status = found.progress
    if status is None:
        return
    rows = [("Where it stands", "h"), ("budget (BAC)", f"{status.budget:.2f}"),
            ("planned by now (PV)", f"{status.planned:.2f}"),
            ("earned (EV)", f"{status.earned:.2f}"), ("spent (AC)", f"{status.spent:.2f}"),
            ("CPI, earned / spent", _number(status.cpi)),
            ("SPI, earned / planned", _number(status.spi)),
            ("TCPI to keep the budget", _number(status.tcpi(status.budget)))]
    yield table(rows, right=[1])
    rows = [("What it comes to", "EAC h", "ETC h", "VAC h", "TCPI")]
    rows += [(SETTING[name], f"{eac:.2f}", f"{status.etc(eac):.2f}", f"{status.vac(eac):+.2f}",
              _number(status.tcpi(eac)))
             for name, eac in forecasts_of(status).items() if eac is not None]
    yield table(rows, right=(1, 2, 3, 4))
    if found.forecast is not None:
        best = found.forecast
        yield (f"With what past jobs say: {best.mean:.1f} hours in all, {best.low:.1f} to "
               f"{best.high:.1f} in 8 of 10 such jobs; {best.rest:.1f} to come.")
    yield from _notes(status.notes)


def _chart(found) -> Iterator[str]:
    chart = found.chart
    if chart is None:
        return
    low, high = (math.exp(limit) for limit in chart.limits)
    said = [f"Control chart of booked / expected: centre {math.exp(chart.centre):.2f}, limits "
            f"{low:.2f} to {high:.2f}."]
    names = {one.job.number: one.job.name for one in found.jobs}
    said += [f"{names[found.charted[one.at]]} at {math.exp(chart.points[one.at]):.2f}: "
             f"{one.words}." for one in chart.signals]
    yield "\n".join([*said, *filter(None, [chart.caution])])


def _notes(notes) -> Iterator[str]:
    if notes:
        more = f"\nand {len(notes) - MOST} more notes; --json has them all"
        yield "\n".join(notes[:MOST]) + (more if len(notes) > MOST else "")


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}"


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.0f} %"
