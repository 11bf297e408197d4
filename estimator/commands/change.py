"""Below `estimator job`: a job that changes, what is done of it, and where it stands."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from pathlib import Path

from estimator.commands.parsing import day_option, whole_option
from estimator.commands.shared import as_json, extras_said, ledger_of, say, table
from estimator.errors import BadInput, Fault

MOST = 12
"""Rows of a table in the terminal; JSON has them all."""


def register(add) -> None:
    """Add the commands with `add(name, run, said)`."""
    change = add("change", _change, "Offer the customer a revision: a find, a wish, a price.")
    change.add_argument("job", metavar="JOB", help="number or name")
    change.add_argument("survey", metavar="SURVEY", nargs="?", type=Path,
                        help="the survey as it is now, all lines of it; left out where only "
                             "the customer's choices change")
    change.add_argument("--reason", metavar="WHY", nargs="+", default=[],
                        help='find or wish for all lines, 60=find for one, price with '
                             '--todays-prices; words may follow: "60=find: cracked at a screw"')
    change.add_argument("--leave-out", metavar="N", type=whole_option, nargs="+", default=[],
                        help="lines the customer does without, as the quote counts them")
    change.add_argument("--put-back", metavar="N", type=whole_option, nargs="+", default=[],
                        help="lines left out that come back")
    change.add_argument("--add", metavar="EXTRA", nargs="+", default=[],
                        help="extras taken, by name, or NAME=COUNT; NAME=0 takes one out again")
    change.add_argument("--todays-prices", action="store_true",
                        help="with the tables and settings of today; otherwise those of the quote")
    change.add_argument("--ready", metavar="YYYY-MM-DD", type=day_option,
                        help="when it will be ready; else worked out")
    change.add_argument("--date", metavar="YYYY-MM-DD", type=day_option,
                        help="when it is offered; today by default")
    change.add_argument("--out", metavar="DIR", type=Path,
                        help="write the addendum to sign, and change.json, here")
    change.add_argument("--look", action="store_true", help="only work it out, keep nothing")
    survey = add("survey", _survey, "Write the survey of a job into a file, to change it.")
    survey.add_argument("job", metavar="JOB", help="number or name")
    survey.add_argument("-o", "--output", metavar="FILE", type=Path, required=True,
                        help="a name ending in .csv or .xlsx")
    agree = add("agree", _agree, "The customer agrees to a revision: the job gets its work.")
    refuse = add("refuse", _refuse, "The customer refuses a revision: the job stays as it was.")
    for found in (agree, refuse):
        found.add_argument("revision", metavar="REVISION",
                           help="its number, or the job where one waits for an answer")
        found.add_argument("--date", metavar="YYYY-MM-DD", type=day_option,
                           help="of the answer; today by default")
        found.add_argument("--note", metavar="WORDS", default="", help="a remark")
    agree.add_argument("--promised", metavar="YYYY-MM-DD", type=day_option,
                       help="when the job is promised for now; as offered by default")
    status = add("status", _status, "Say where a job stands: work done, hours, cap, revisions.")
    done = add("done", _done, "Mark work items as done.")
    undo = add("not-done", _not_done, "Take marks back by counter-entries.")
    for found in (status, done, undo):
        found.add_argument("job", metavar="JOB", help="number or name")
    for found in (done, undo):
        found.add_argument("items", metavar="ITEM", nargs="+",
                           help="number of the work item, or its operation")
    done.add_argument("--date", metavar="YYYY-MM-DD", type=day_option,
                      help="since when; today by default")
    done.add_argument("--note", metavar="WORDS", default="", help="a remark")
    undo.add_argument("--why", required=True, help="in a few words")


def _change(options) -> int:
    from estimator import documents, jobs
    from estimator.quote import revised_dict

    if options.look and options.out:
        raise BadInput(Fault("--look keeps nothing, and --out writes papers to send.",
                             "Leave one of the two out."))
    with ledger_of(options) as (shop, ledger):
        found, used = jobs.revise(
            ledger, options.job, options.survey, reasons=options.reason,
            wish=jobs.Wish(tuple(options.leave_out), tuple(options.put_back),
                           extras_said(options.add, "--add")),
            today=shop if options.todays_prices else None, on=options.date,
            ready=options.ready)
        written: dict[str, Path] = {}
        made = documents.addendum(found) if options.out else {}
        if not options.look:
            jobs.offer(ledger, found, used,
                       lambda: written.update(documents.put(
                           made, options.out, [options.survey] if options.survey else []))
                       if made else None)
    text = ["\n".join(part) for part in _revised(found, options.look)]
    return say(options, {"revision": revised_dict(found), "kept": not options.look,
                         "files": {name: str(path) for name, path in written.items()}},
               "\n\n".join(text) + "".join(f"\n{path}" for path in written.values()))


def _survey(options) -> int:
    from estimator import jobs, survey

    with ledger_of(options) as (_, ledger):
        found, shop = jobs.survey_of(ledger, options.job)
        if options.output.exists():
            raise BadInput(Fault("There is a file of that name already.", "Choose another name.",
                                 str(options.output)))
        survey.write(found, options.output, shop.catalogue)
    return say(options, {"survey": str(options.output)},
               f"{options.output}: put in what is different, then run\n"
               f'estimator job change "{options.job}" "{options.output}" --reason find')


def _revised(found, look: bool) -> Iterator[list[str]]:
    """What a person says on the phone: what, why, how much, when, and what if not."""
    from estimator.money import format_money

    settings, before, after = found.settings, found.before, found.after

    def money(amount) -> str:
        return format_money(amount, settings.currency, settings.locale)

    def more(amount) -> str:
        return ("+" if amount > 0 else "") + money(amount) if amount else "–"

    yield [f"{'Worked out, not kept' if look else after.number}: revision {found.nth} of "
           f"{found.name}, {found.offer.on}, in place of {before.number}"]
    rows = [("What", "Why", "Hours", "Before tax")]
    for one in found.changes:
        number = "" if one.line is None else f"{one.line + 1} "
        rows.append((f"{number}{one.title}: {one.said}", f"a {one.reason}", f"{one.hours:+.1f}",
                     more(one.amount)))
        rows += [(f"   {words}"[:100], "", "", "") for words in (one.words, one.note) if words]
    rows += [(one.title, "follows", f"{one.hours:+.1f}", more(one.amount)) for one in found.rest]
    told = (*found.changes, *found.rest)
    rows.append(("together", "", f"{math.fsum(one.hours for one in told):+.1f}",
                 more(after.price - before.price)))
    yield [table(rows, right=(2, 3)), *(f"   {row}" for row in found.rows[:MOST]),
           *([f"   and {len(found.rows) - MOST} more rows; --json has them all"]
             if len(found.rows) > MOST else [])]
    rows = [("", "Before", "After", "More")]
    rows += [("Price before tax" if before.cap is None else "Expected bill before tax",
              money(before.price), money(after.price), more(after.price - before.price)),
             ("with tax", money(before.total), money(after.total),
              more(after.total - before.total))]
    if before.cap is not None and after.cap is not None:
        rows.append(("Cap before tax", money(before.cap), money(after.cap),
                     more(after.cap - before.cap)))
    rows += [(f"Hours, {words}", f"{was:.1f}", f"{now:.1f}",
              f"{round(now, 1) - round(was, 1):+.1f}")
             for words, was, now in (
                 ("as often as not", before.hours_p50, after.hours_p50),
                 ("four jobs in five", before.hours_p80, after.hours_p80))]
    days = (after.ready - before.ready).days
    rows.append(("Ready", f"{'promised ' if before.promised else ''}{before.ready}",
                 str(after.ready), f"{days:+d} day{'' if abs(days) == 1 else 's'}" if days
                 else "the same"))
    yield [table(rows, right=(1, 2, 3)), *found.notes]
    bought = [f"{one.name}, {one.after - one.before:+g} {one.unit}" for one in found.supplies]
    if bought:
        yield ["To buy or send out, more or less:", *(f"   {row}" for row in bought[:MOST]),
               *([f"   and {len(bought) - MOST} more; --json has them all"]
                 if len(bought) > MOST else [])]
    if not look:
        left = "; a find stays as it was found" if any(
            one.reason == "find" for one in found.changes) else ""
        yield [f"If yes: estimator job agree {after.number}",
               f"If no:  estimator job refuse {after.number}: the job goes on at "
               f"{money(before.total)} with tax, ready {before.ready}{left}"]


def _agree(options) -> int:
    from estimator import jobs

    with ledger_of(options) as (_, ledger):
        kept, came, went, others = jobs.agree(
            ledger, options.revision, on=options.date,
            promised=options.promised, note=options.note)
        job = ledger.job(kept.job)
        left = math.fsum(item.expected for item in ledger.items(job.number))
    text = [f"{job.name}: {kept.number} was agreed on {kept.answered}; work items: {len(came)} "
            f"came ({math.fsum(item.expected for item in came):.1f} h), {len(went)} went "
            f"({math.fsum(item.expected for item in went):.1f} h); {left:.1f} h expected now; "
            f"promised for {job.promised}"]
    if came or went:
        rows = [("", "Item", "Line", "Work", "Expected h")]
        rows += [(word, str(item.item), item.title[:40], item.name[:40], f"{item.expected:.2f}")
                 for word, items in (("came", came), ("went", went)) for item in items]
        text += ["", table(rows, right=(1, 4))]
    text += [f"{other} is refused with it." for other in others]
    return say(options, {
        "revision": as_json(kept), "job": as_json(job),
        "items_added": [as_json(item) for item in came],
        "items_dropped": [as_json(item) for item in went], "also_refused": list(others),
        "hours_expected": round(left, 2)}, "\n".join(text))


def _refuse(options) -> int:
    with ledger_of(options) as (_, ledger):
        found = ledger.revision(options.revision)
        kept = ledger.refuse(found.number, options.date or date.today(),
                             options.note)
        job = ledger.job(kept.job)
    return say(options, {"revision": as_json(kept), "job": as_json(job)},
               f"{job.name}: {kept.number} was refused on {kept.answered}; the job stays as it "
               "was" + (f", promised for {job.promised}" if job.promised else ""))


def _done(options) -> int:
    from estimator.ledger import item_named

    with ledger_of(options) as (_, ledger):
        job = ledger.job(options.job)
        items = ledger.items(job.number)
        numbers = [item_named(word, items).item for word in options.items]
        marks = ledger.mark_done(job.number, numbers,
                                 options.date or date.today(),
                                 note=options.note)
        said = _state(ledger, job)
    return say(options, {"marks": [as_json(mark) for mark in marks], **said},
               f"{job.name}: {_items(marks)} done; {_of_all(said)}")


def _not_done(options) -> int:
    from estimator.ledger import item_named

    with ledger_of(options) as (_, ledger):
        job = ledger.job(options.job)
        items = ledger.items(job.number)
        marks = ledger.not_done(job.number, [item_named(word, items).item
                                             for word in options.items], options.why)
        said = _state(ledger, job)
    return say(options, {"marks": [as_json(mark) for mark in marks], **said},
               f"{job.name}: {_items(marks)} not done after all; {_of_all(said)}")


def _items(marks) -> str:
    return f"item{'s' if len(marks) > 1 else ''} {', '.join(str(mark.item) for mark in marks)}"


def _of_all(said: dict) -> str:
    return f"{len(said['items_done'])} of {said['items']} items are"


def _status(options) -> int:
    with ledger_of(options) as (shop, ledger):
        job = ledger.job(options.job)
        said = _state(ledger, job)
        words = [f"{job.number}, {job.name}: {job.state}; accepted {job.accepted}, "
                 + (f"promised for {job.promised}" if job.promised else "no day promised"),
                 f"{len(said['items_done'])} of {said['items']} work items are marked as done; "
                 f"{said['hours_booked']:.1f} hours are booked, {said['hours_expected']:.1f} "
                 "expected",
                 *standing_words(ledger, job, shop.settings)]
    return say(options, {"job": as_json(job), **said}, "\n".join(words))


def _state(ledger, job) -> dict:
    """Where a job stands, as JSON has it."""

    items = ledger.items(job.number)
    return {
        "items": len(items), **standing_dict(ledger, job),
        "hours_expected": round(math.fsum(item.expected for item in items), 2),
        "hours_booked": round(ledger.counted(job=job.number)[1], 2)}


def standing_dict(ledger, job) -> dict:
    """The quote that holds, items that are done or dropped, revisions and cap, as JSON values."""
    from estimator.ledger import Done

    use, revisions, damaged = _cap_and_revisions(ledger, job)
    return {
        "quote": ledger.holds(job.number),
        "items_done": sorted(mark.item for mark in ledger.entries(Done, job=job.number)),
        "items_dropped": sorted(ledger.dropped(job.number)),
        "revisions": [as_json(one) for one in revisions],
        "damaged": damaged,
        "cap": None if use is None else {
            "cap": float(use.cap.amount), "currency": use.cap.currency, "quote": use.cap.quote,
            "hours_billed": round(use.hours, 4), "hourly_rate": use.cap.rate,
            "labour": round(use.labour, 2), "purchases": round(use.purchases, 2),
            "outwork": round(use.outwork, 2), "used": round(use.used, 2),
            "used_share": round(use.share, 4), "rest": round(use.rest, 2),
            "comes_to": round(use.comes_to, 2), "passed": use.passed,
            "expected_to_pass": use.ahead},
    }


def standing_words(ledger, job, settings) -> list[str]:
    """Lines about the cap and the revisions of a job, and about what of them is damaged."""
    use, revisions, damaged = _cap_and_revisions(ledger, job)
    return [*_cap_words(use, settings), *_revision_words(revisions), *damaged]


def _cap_and_revisions(ledger, job) -> tuple:
    """How much of the cap is used, the revisions, and what of both is damaged: the rest is shown.
    """
    from estimator.ledger import Damaged

    use, damaged = None, []
    try:
        use = ledger.cap_use(job.number)
    except Damaged as error:
        damaged += error.faults
    try:
        revisions = ledger.revisions(job.number)
    except Damaged as error:
        damaged += error.faults
        revisions = [one for one in ledger.revisions() if one.job == job.number]
    return use, revisions, list(map(str, damaged))


def _cap_words(use, settings) -> Iterator[str]:
    """How much of a cap is used; nothing without one."""
    from estimator.money import format_money

    if use is None:
        return

    def money(amount) -> str:
        return format_money(amount, use.cap.currency, settings.locale)

    left = float(use.cap.amount) - use.comes_to
    yield (f"Of the cap of {money(use.cap.amount)} before tax, {money(use.used)} are used "
           f"({100 * use.share:.0f} %): work {money(use.labour)}, bought {money(use.purchases)}, "
           f"sent out {money(use.outwork)}")
    yield (f"The rest is expected to need {money(use.rest)}, together {money(use.comes_to)}: "
           + (f"{money(left)} below the cap" if left >= 0 else
              f"{money(-left)} over the cap. Ask the customer now: estimator job change"))


def _revision_words(revisions) -> Iterator[str]:
    """A line for each revision of a job."""
    for one in revisions:
        count = f"{len(one.changes)} change{'s' if len(one.changes) > 1 else ''}, " \
            if one.changes else ""
        answer = ("waits for an answer" if one.answer == "open"
                  else f"was {one.answer} on {one.answered}")
        yield (f"Revision {one.number} of {one.of}, {one.offered}: {count}{answer}"
               + (f" ({one.note})" if one.note else ""))
