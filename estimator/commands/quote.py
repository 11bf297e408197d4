"""`estimator quote`: a survey priced, fitted to a budget or a day, opened, written."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from estimator.commands.parsing import number_option, whole_option
from estimator.commands.shared import (
    Gathered,
    day_said,
    extras_said,
    ledger_in,
    number_said,
    options_of,
    shop_of,
)
from estimator.errors import BadInput, Fault
from estimator.units import in_a_hundred


def register(command) -> None:
    """Add the command."""
    quote = options_of(command(
        "quote", _quote, "Price a survey; with --out, write the documents."))
    quote.add_argument("survey", metavar="SURVEY", type=Path, help="a survey, CSV or XLSX")
    quote.add_argument("--level", metavar="L", required=True,
                       help="service level: as-found, clean, shop-job, reconditioned, "
                       "full-restoration, show-grade")
    quote.add_argument("--pricing", metavar="P", default="fixed price",
                       help='"fixed price" (default) or "time and materials", with a cap')
    quote.add_argument("--confidence", metavar="C", type=number_option,
                       help="share of jobs that must stay within the cost priced, 0.05 to 0.99")
    quote.add_argument("--margin", metavar="M", type=number_option,
                       help="share of the price, such as 0.25")
    quote.add_argument("--leave-out", metavar="N", type=whole_option, nargs="+", default=[],
                       help="survey lines the customer does without, counted from 1")
    quote.add_argument("--add", metavar="EXTRA", nargs="+", default=[],
                       help="extras taken, by name, or NAME=COUNT")
    quote.add_argument("--budget", metavar="MONEY", type=number_option,
                       help="leave out what is worth least, so that the price before tax fits this")
    quote.add_argument("--ready-by", metavar="YYYY-MM-DD",
                       help="the same, so that it is ready by this day in four jobs of five")
    quote.add_argument("--worth", metavar="LINE=MONEY", nargs="+", default=[],
                       help="what survey lines are worth to the customer; their price otherwise")
    quote.add_argument("--trials", metavar="N", type=whole_option, default=10_000,
                       help="how often the job is played through; 10,000 by default")
    quote.add_argument("--sampler", metavar="S", default="random",
                       help='"random" (default) or "sobol": evenly spread points, best with a '
                       "power of two as trials")
    quote.add_argument("--seed", metavar="N", type=whole_option, default=1,
                       help="the same seed gives the same figures")
    quote.add_argument("--date", metavar="YYYY-MM-DD", help="date of the quote; today by default")
    quote.add_argument("--out", metavar="DIR", type=Path, help="write the documents here")
    quote.add_argument("--trace", metavar="FIGURE", nargs="+", default=[],
                       help="open figures instead, such as price, line-12 or hour_cost: what they "
                       "are made of, down to the rows of the tables; a wrong one lists them all")
    quote.add_argument("--depth", metavar="N", type=whole_option,
                       help="levels to show with --trace")


def _quote(options) -> int:
    from estimator import documents
    from estimator.quote import as_dict, quote
    from estimator.review import records_dict

    shop = shop_of(options)
    found, choices, wishes = _read(options, shop)
    fit = None
    if wishes:
        from estimator.options import fitted

        fit = fitted(found, choices, shop, **wishes)
        choices = fit.taken(choices)
    offer = quote(found, choices, shop, compare=bool(options.out or not options.trace),
                  progress=_progress(options.trials))
    opened = _opened(offer, shop, options)
    written = documents.write(offer, options.out, [options.survey]) if options.out else {}
    if opened:
        print(opened)
        for path in () if options.json else written.values():
            print(path)
    elif options.json:
        said = as_dict(offer) | _fit_dict(fit) | records_dict(_by_records(offer, shop))
        print(json.dumps(said, indent=2, ensure_ascii=False))
    else:
        print(_summary(offer, _by_records(offer, shop)))
        if fit:
            print(_fit_words(fit, offer))
        for path in written.values():
            print(path)
    return _sent(offer, shop) if written and shop.folder else 0


def _read(options, shop) -> tuple:
    """The survey, what is chosen, and what lines are to fit; all that is wrong is told together."""
    from estimator import survey
    from estimator.quote import Choices, aims_of, level_named

    read = Gathered()
    level = read.take(level_named, options.level)
    on = read.take(day_said, options.date, "--date")
    added = read.take(extras_said, options.add, "--add")
    worth = read.take(_worth, options.worth)
    ready_by = read.take(day_said, options.ready_by, "--ready-by")
    wishes = {}
    if options.budget is not None or options.ready_by is not None:
        wishes = {"budget": options.budget, "ready_by": ready_by, "worth": worth}
    elif worth:
        read.faults.append(Fault("--worth says what lines are worth, but there is nothing to fit "
                                 "them to.", "Add --budget or --ready-by."))
    choices = Choices(
        level=level, pricing=" ".join(options.pricing.casefold().replace("-", " ").split()),
        confidence=options.confidence, margin=options.margin,
        dropped=frozenset(number - 1 for number in options.leave_out), added=added,
        trials=options.trials, seed=options.seed, sampler=options.sampler.casefold(), on=on)
    read.take(aims_of, choices, shop.settings)
    found = read.take(survey.read, options.survey, shop.catalogue, final=True)
    read.done()
    return found, choices, wishes


def _sent(offer, shop) -> int:
    """Keep a quote that was written in the shop's ledger; 2, with a word why, if that fails."""
    from estimator import jobs

    try:
        with ledger_in(shop) as ledger:
            jobs.keep(ledger, offer, shop)
    except BadInput as error:
        print("The documents are written, but the quote is not among the quotes sent:",
              error, sep="\n", file=sys.stderr)
        return 2
    return 0


def _by_records(offer, shop):
    """Hours by the shop's own closed jobs; None without a ledger, or while they are too few."""
    if shop.folder is None:
        return None
    from estimator import review

    try:
        with ledger_in(shop) as ledger:
            known = review.experience_of(ledger, shop.catalogue)
        return review.by_records(offer.job, shop.settings, known)
    except BadInput as error:
        print("What the shop's own jobs say of the hours could not be read:", error, sep="\n",
              file=sys.stderr)
        return None


def _worth(words) -> dict[int, float]:
    """What lines are worth, by their index; each line once. [money]"""
    from estimator.survey.cells import shown

    found, faults = {}, []
    for word in words:
        line, sign, value = word.partition("=")
        try:
            if not sign:
                raise ValueError
            place, worth = int(line) - 1, number_said(value, "--worth")
        except ValueError:  # BadInput is one, too.
            faults.append(Fault(f"{shown(word)} does not say what a line is worth.",
                                "Write it like 12=300: line 12 is worth 300.", column="--worth"))
            continue
        if place in found:
            faults.append(Fault(f"Line {place + 1} is given a worth twice.", "Say it once.",
                                column="--worth"))
        found[place] = worth
    if faults:
        raise BadInput(faults)
    return found


def _fit_dict(fit) -> dict:
    if not fit:
        return {}
    return {"fit": {
        "left_out": sorted(index + 1 for index in fit.left_out),
        "worth": round(fit.worth, 2),
        "worth_of_all": round(fit.worth_of_all, 2),
        "worth_at_most": round(fit.bound, 2),
        "proven_best": fit.proven,
    }}


def _fit_words(fit, offer) -> str:
    names = ", ".join(f"{index + 1} {offer.titles[index]}" for index in sorted(fit.left_out))
    sure = ("no other choice that fits is worth more" if fit.proven else
            f"no choice that fits is worth more than {fit.bound:,.0f}")
    return (f"{'Left out':<12} {names or 'nothing'}\n"
            f"{'Worth':<12} {fit.worth:,.0f} of {fit.worth_of_all:,.0f}; {sure}")


def _progress(trials: int):
    """Says on a terminal how far a long simulation is; Ctrl-C stops it. None for a short one."""
    if trials < 200_000 or not sys.stderr.isatty():
        return None

    def say(share: float) -> None:
        end = "\r" if share < 1 else "\r\033[K"
        print(f"{100 * share:3.0f} % of {trials:,} trials", end=end, file=sys.stderr, flush=True)

    return say


def _opened(offer, shop, options) -> str:
    """The figures asked for with --trace, as text or JSON; blank where none was."""
    if not options.trace:
        return ""
    from estimator import trace

    steps = trace.trace_all(offer, options.trace, shop.catalogue)
    if options.json:
        figures = [trace.as_dict(step) for step in steps]
        return json.dumps({"schema": 1, "figures": figures}, indent=2, ensure_ascii=False)
    return "\n\n".join(trace.as_text(step, options.depth) for step in steps)


def _summary(offer, records=None) -> str:
    from estimator.money import format_money
    from estimator.quote import TIME

    def money(amount) -> str:
        return format_money(amount, offer.settings.currency, offer.settings.locale)

    p50, p80, p90 = offer.odds.at("hours", 0.5, 0.8, 0.9)
    rows = [
        ("Quote", f"{offer.number}, {offer.level.name}, {offer.choices.pricing}"),
        ("Price", f"{money(offer.price)} and {money(offer.total - offer.price)} tax: "
                  f"{money(offer.total)}"),
    ]
    if offer.choices.pricing == TIME:
        rows.append(("Cap", f"{money(offer.cap)} before tax, not passed without asking"))
    rows += [
        ("of it finds", money(offer.find_allowance)),
        ("Hours", _hours(p50, p80, p90)),
        *_records_rows(records),
        ("Loss", f"{in_a_hundred(offer.chance_of_loss)} lose money at this price"),
        ("Ready by", f"{offer.finish_p80.isoformat()} in four jobs of five"),
        ("Estimate", f"class {offer.estimate_class}; {100 * offer.seen_share:.0f} % of the cost "
                     "was seen"),
    ]
    return "\n".join(f"{name:<12} {said}" for name, said in rows)


def _records_rows(found) -> list[tuple[str, str]]:
    return [] if found is None else [
        ("by records", f"{_hours(*found.hours.values())}, by {found.jobs} finished jobs")]


def _hours(p50: float, p80: float, p90: float) -> str:
    return f"{p50:.0f} as often as not, {p80:.0f} in four jobs of five, {p90:.0f} in nine of ten"
