"""`estimator job`: from a quote that was accepted to a job that is closed."""

from __future__ import annotations

import math
from collections import defaultdict

from estimator.commands import amounts, change
from estimator.commands.parsing import day_option
from estimator.commands.shared import as_json, ledger_of, say, table, verbs
from estimator.units import counted


def register(command) -> None:
    """Add `job` and the commands below it."""
    add = verbs(command("job", None, "Jobs: accept a quote, change it, book amounts, close it."))
    accept = add("accept", _accept, "Make a job of a quote that a customer accepted.")
    accept.add_argument("number", metavar="NUMBER", help="of the quote")
    accept.add_argument("--name", default="",
                        help="what to call it; otherwise machine and customer")
    accept.add_argument("--date", metavar="YYYY-MM-DD", type=day_option,
                        help="when it was accepted; today by default")
    accept.add_argument("--promised", metavar="YYYY-MM-DD", type=day_option,
                        help="when it is to be ready")
    add("list", _list, "List the jobs with the hours quoted and booked.")
    show = add("show", _show, "Show a job: its work items, hours quoted and booked.")
    state = add("state", _state, "Set where a job stands: on the bench, waiting, finished.")
    promise = add("promise", _promise, "Say by when a job is promised.")
    close = add("close", _close, "Close a job.")
    change.register(add)
    amounts.register(add)
    for found in (show, state, promise, close):
        found.add_argument("job", metavar="JOB", help="number or name")
    state.add_argument("state", metavar="STATE",
                       help='accepted, "on the bench", waiting, finished or closed')
    promise.add_argument("day", metavar="YYYY-MM-DD", type=day_option, help="such as 2026-12-20")
    close.add_argument("--date", metavar="YYYY-MM-DD", type=day_option, help="today by default")


def _accept(options) -> int:
    from estimator import jobs

    with ledger_of(options) as (_, ledger):
        job = jobs.accept(ledger, options.number, name=options.name,
                          on=options.date,
                          promised=options.promised)
        items = ledger.items(job.number)
    hours = math.fsum(item.expected for item in items)
    return say(options, {"job": as_json(job), "items": [as_json(item) for item in items],
                         "hours_expected": round(hours, 2)},
               f"{job.number}, {job.name}: {counted(len(items), 'work item')}, "
               f"{hours:.1f} hours expected")


def _list(options) -> int:
    with ledger_of(options) as (_, ledger):
        expected, booked = ledger.hours_expected(), ledger.hours_of_jobs()
        found = [(job, expected.get(job.number, 0.0), booked.get(job.number, 0.0))
                 for job in ledger.jobs()]
        revised = defaultdict(list)
        for one in ledger.revisions():
            revised[one.job].append(one)
    rows = [("Number", "Job", "State", "Accepted", "Promised", "Expected h", "Booked h",
             "Revisions")]
    rows += [(job.number, job.name[:40], job.state, str(job.accepted), str(job.promised or ""),
              f"{expected:.1f}", f"{booked:.1f}", _answers(revised[job.number]))
             for job, expected, booked in found]
    text = table(rows, right=(5, 6)) if found else \
        "No jobs so far: estimator job accept NUMBER makes one of a quote sent."
    return say(options, {"jobs": [
        as_json(job) | {"hours_expected": round(expected, 2), "hours_booked": round(booked, 2),
                        "revisions": {one.number: one.answer for one in revised[job.number]}}
        for job, expected, booked in found]}, text)


def _answers(revised) -> str:
    """How many revisions of a job came to what."""
    from estimator.ledger import ANSWERS

    counts = {answer: sum(one.answer == answer for one in revised) for answer in ANSWERS}
    return ", ".join(f"{count} {answer}" for answer, count in counts.items() if count)


def _show(options) -> int:
    with ledger_of(options) as (shop, ledger):
        job = ledger.job(options.job)
        return _shown(options, ledger, job, shop.settings)


def _shown(options, ledger, job, settings) -> int:
    from estimator.ledger import Done, Outwork, Purchase, Sale, TimeEntry

    items = ledger.items(job.number)
    entries = ledger.entries(TimeEntry, job=job.number)
    booked = {item.item: 0.0 for item in items}
    other: dict[str, float] = {}
    for entry in entries:
        if entry.item is None:
            other[entry.unbilled] = other.get(entry.unbilled, 0.0) + entry.hours
        else:
            booked[entry.item] += entry.hours
    clocks = [clock for clock in ledger.clocks() if clock.job == job.number]
    done = {mark.item: mark.day for mark in ledger.entries(Done, job=job.number)}
    said = {
        "job": as_json(job),
        "items": [as_json(item) | {"hours_booked": round(booked[item.item], 4),
                                   "done": done.get(item.item)} for item in items],
        "hours_unbilled": other,
        "hours_expected": round(math.fsum(item.expected for item in items), 2),
        "hours_booked": round(math.fsum(entry.hours for entry in entries), 2),
        "clocks": [as_json(clock) for clock in clocks],
        **{name: [as_json(entry) for entry in ledger.entries(kind, job=job.number)]
           for name, kind in (("purchases", Purchase), ("outwork", Outwork), ("sales", Sale))},
        **change.standing_dict(ledger, job),
    }
    rows = [("Item", "Line", "Work", "Expected h", "Booked h", "Done")]
    rows += [(str(item.item), item.title[:40], f"{item.name[:40]} ({item.operation})",
              f"{item.expected:.2f}", f"{booked[item.item]:.2f}" if booked[item.item] else "",
              str(done.get(item.item, "")))
             for item in items]
    rows += [("", "", f"unbilled: {kind}", "", f"{hours:.2f}", "")
             for kind, hours in other.items()]
    rows.append(("", "", "together", f"{said['hours_expected']:.2f}",
                 f"{said['hours_booked']:.2f}", ""))
    dates = [f"accepted {job.accepted}", f"promised {job.promised}" if job.promised else "",
             f"closed {job.closed}" if job.closed else ""]
    head = f"{job.number}, {job.name}: {job.state}; {', '.join(filter(None, dates))}"
    running = [f"The clock of {clock.person} runs since "
               f"{clock.started.astimezone():%Y-%m-%d %H:%M}." for clock in clocks]
    more = change.standing_words(ledger, job, settings)
    return say(options, said, "\n".join([head, "", table(rows, right=(0, 3, 4)), *running, *more]))


def _state(options) -> int:
    with ledger_of(options) as (shop, ledger):
        job = ledger.set_state(
            options.job, " ".join(options.state.replace("-", " ").split()).casefold())
        followed = _followed(ledger, shop, job) if job.state == "closed" else ()
    return say(options, {"job": as_json(job), "followed": followed},
               "\n".join([f"{job.name}: {job.state}", *followed]))


def _promise(options) -> int:
    with ledger_of(options) as (_, ledger):
        job = ledger.promise(options.job, options.day)
    return say(options, {"job": as_json(job)}, f"{job.name}: promised for {job.promised}")


def _close(options) -> int:
    with ledger_of(options) as (shop, ledger):
        job = ledger.set_state(options.job, "closed", options.date)
        expected, booked = _hours(ledger, job)
        if not options.json:
            # At once: what follows from it reads every job that was ever closed.
            print(f"{job.name}: closed; {booked:.1f} hours booked, {expected:.1f} expected",
                  flush=True)
        followed = _followed(ledger, shop, job)
    if options.json:
        return say(options, {"job": as_json(job), "hours_expected": round(expected, 2),
                             "hours_booked": round(booked, 2), "followed": followed}, "")
    for sentence in followed:
        print(sentence)
    return 0


def _followed(ledger, shop, job) -> tuple[str, ...]:
    """What else a job that was closed changed."""
    from estimator.review import proposals

    return proposals.closed(ledger, shop, job.number)


def _hours(ledger, job) -> tuple[float, float]:
    """Hours expected of a job's items, and hours booked to it."""
    return (math.fsum(item.expected for item in ledger.items(job.number)),
            ledger.counted(job=job.number)[1])
