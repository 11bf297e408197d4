"""The `estimator` command.

Exit codes: 0 done, 2 bad input (every fault listed, nothing written), 1 a fault of the program.
"""

from __future__ import annotations

import argparse
import errno
import json
import os
import sys
import traceback
from collections.abc import Mapping, Sequence
from pathlib import Path

from estimator import __version__
from estimator.commands import register
from estimator.commands.shared import day_said, number_option, number_said
from estimator.errors import BadInput, Fault

# Longest word of a command; a cell of a survey holds as much.
LONGEST_WORD = 2_000

# What commands write that could also be the name of a survey.
WRITTEN = frozenset({"estimate.xlsx", "parts-budget.csv", "parts-waiting.csv", "plan.csv",
                     "waiting.csv", "lamps.csv", "labels.csv", "coil-labels.csv", "job-card.csv"})


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    options = _parser().parse_args(arguments)
    try:
        _check_words(options)
        return options.run(options)
    except BadInput as error:
        if getattr(options, "json", False):
            print(
                json.dumps(
                    {"schema": 1, "faults": [_fault(f) for f in error.faults],
                     "questions": [vars(asked) for asked in getattr(error, "questions", ())]},
                    indent=2,
                    ensure_ascii=False,
                )
            )
        for fault in error.faults:
            print(fault, file=sys.stderr)
        if len(error.faults) > 1:
            print(f"{len(error.faults)} faults; nothing was written.", file=sys.stderr)
        return 2
    except BrokenPipeError:
        # The reader of our output went away, as `head` does; there is nobody to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 1
    except Exception as error:
        if isinstance(error, OSError) and error.errno == errno.ENAMETOOLONG:
            print("The name is too long for a file. Choose a shorter one.", file=sys.stderr)
            return 2
        if os.environ.get("ESTIMATOR_TRACE"):
            traceback.print_exc()
        print(
            f"The program failed: {type(error).__name__}: {error}\n"
            "Set ESTIMATOR_TRACE=1 and run it again to see where.",
            file=sys.stderr,
        )
        return 1


def _check_words(options: argparse.Namespace) -> None:
    """Refuse words that would break a table, a terminal or the ledger: all at once."""
    faults = []
    for name, value in vars(options).items():
        for word in value if isinstance(value, list) else (value,):
            if isinstance(word, str) and (len(word) > LONGEST_WORD or not word.isprintable()):
                faults += _word_faults(word, name)
    surveys = getattr(options, "survey", None) or []
    out = getattr(options, "out", None)
    for path in surveys if isinstance(surveys, list) else [surveys]:
        if out and path.name in WRITTEN and path.resolve().parent == out.resolve():
            faults.append(Fault("The documents would be written over the survey.",
                                "Name another folder with --out.", str(path)))
    if faults:
        raise BadInput(faults)


def _word_faults(word: str, name: str) -> list[Fault]:
    from estimator.survey import cells

    try:
        said = cells.text(word)
    except cells.Wrong as wrong:
        return [Fault(wrong.what.replace("The cell", "The text"), wrong.fix, column=name)]
    if "\n" in said or "\r" in said:
        return [Fault(f"{cells.shown(word)} holds a line break.", "Write it on one line.",
                      column=name)]
    return []


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="estimator",
        description="From a condition survey of a pinball machine to a quote a customer can sign.",
    )
    parser.add_argument("--version", action="version", version=f"estimator {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def command(name: str, run, said: str) -> argparse.ArgumentParser:
        found = commands.add_parser(name, help=said, description=said)
        found.set_defaults(run=run)
        return found

    new = command("new-shop", _new_shop, "Make a shop folder: settings, tables, documents.")
    new.add_argument("folder", metavar="DIR", type=Path)

    check = command("check", _check, "List every fault of a survey or a table, with its place.")
    check.add_argument("file", metavar="FILE", type=Path)

    template = command(
        "template", _template, "Write a survey to fill in, with an era's usual counts."
    )
    template.add_argument(
        "era", metavar="ERA", help="such as dot-matrix; a wrong one lists them all"
    )
    template.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        type=Path,
        required=True,
        help="a name ending in .csv or .xlsx",
    )

    quote = command("quote", _quote, "Price a survey; with --out, write the documents.")
    quote.add_argument("survey", metavar="SURVEY", type=Path, help="a survey, CSV or XLSX")
    quote.add_argument(
        "--level",
        metavar="L",
        required=True,
        help="service level: as-found, clean, shop-job, reconditioned, "
        "full-restoration, show-grade",
    )
    quote.add_argument(
        "--pricing",
        metavar="P",
        default="fixed price",
        help='"fixed price" (default) or "time and materials", with a cap',
    )
    quote.add_argument(
        "--confidence",
        metavar="C",
        type=number_option,
        help="share of jobs that must stay within the cost priced, 0.05 to 0.99",
    )
    quote.add_argument("--margin", metavar="M", type=number_option,
                       help="share of the price, such as 0.25")
    quote.add_argument(
        "--leave-out",
        metavar="N",
        type=int,
        nargs="+",
        default=[],
        help="survey lines the customer does without, counted from 1",
    )
    quote.add_argument(
        "--add", metavar="EXTRA", nargs="+", default=[], help="extras taken, by name, or NAME=COUNT"
    )
    quote.add_argument("--budget", metavar="MONEY", type=number_option,
                       help="leave out what is worth least, so that the price before tax fits this")
    quote.add_argument("--ready-by", metavar="YYYY-MM-DD",
                       help="the same, so that it is ready by this day in four jobs of five")
    quote.add_argument("--worth", metavar="LINE=MONEY", nargs="+", default=[],
                       help="what survey lines are worth to the customer; their price otherwise")
    quote.add_argument("--trials", metavar="N", type=int, default=10_000,
                       help="how often the job is played through; 10,000 by default")
    quote.add_argument("--sampler", metavar="S", default="random",
                       help='"random" (default) or "sobol": evenly spread points, best with a '
                       "power of two as trials")
    quote.add_argument("--seed", metavar="N", type=int, default=1,
                       help="the same seed gives the same figures")
    quote.add_argument("--date", metavar="YYYY-MM-DD", help="date of the quote; today by default")
    quote.add_argument("--out", metavar="DIR", type=Path, help="write the documents here")
    quote.add_argument(
        "--trace",
        metavar="FIGURE",
        nargs="+",
        default=[],
        help="open figures instead, such as price, line-12 or hour_cost: what they are made of, "
        "down to the rows of the tables; a wrong one lists them all",
    )
    quote.add_argument("--depth", metavar="N", type=int, help="levels to show with --trace")

    quotes = command(
        "quotes", _quotes, "List the quotes sent, and what they teach; with a number, book one."
    )
    quotes.add_argument("number", metavar="NUMBER", nargs="?", help="of the quote to book")
    quotes.add_argument(
        "outcome", metavar="OUTCOME", nargs="?", help="what came of it: won, lost or open"
    )

    register(command)

    pages = command("pages", _pages, "Open the pages in a browser.")
    pages.add_argument("--port", type=int, help="port on this machine; a free one by default")
    pages.add_argument("--no-browser", action="store_true", help="only print the address")

    for found in (check, quote, quotes, template):
        found.add_argument(
            "--shop", metavar="DIR", type=Path, help="shop folder; the trade's defaults otherwise"
        )
        found.add_argument("--json", action="store_true", help="answer in JSON")
    new.add_argument("--json", action="store_true", help="answer in JSON")
    pages.add_argument(
        "--shop", metavar="DIR", type=Path, help="shop folder; made if missing, ./shop by default"
    )
    return parser


def _fault(fault: Fault) -> dict:
    return {
        "file": fault.file,
        "row": fault.row,
        "column": fault.column,
        "what": fault.what,
        "fix": fault.fix,
    }


def _shop(options):
    from estimator.shop import open_shop

    folder = options.shop or os.environ.get("ESTIMATOR_SHOP") or None
    return open_shop(folder)


def _new_shop(options) -> int:
    from estimator.shop import new_shop

    folder = new_shop(options.folder)
    if options.json:
        print(json.dumps({"schema": 1, "shop": str(folder)}))
    else:
        print(
            f"{folder / 'shop.toml'}: your rates, policy and terms\n"
            f"{folder / 'tables'}: your own hours, parts and prices"
        )
    return 0


def _check(options) -> int:
    from estimator import buying, catalogue

    names = {f"{row.table}.csv": row for row in (*catalogue.TABLES, *buying.EXTRA)}
    row_type = names.get(options.file.name)
    if row_type is not None and options.file.is_file():
        rows, faults, _ = catalogue.read_table(options.file, row_type)
        said = f"{len(rows)} rows, no fault"
        notes: tuple[str, ...] = ()
    else:
        from estimator import survey

        found, faults, notes = survey.check(options.file, _shop(options).catalogue)
        said = f"{len(found.lines)} lines, no fault" if found else ""
    if options.json:
        print(
            json.dumps(
                {"schema": 1, "faults": [_fault(f) for f in faults], "notes": list(notes)},
                indent=2,
                ensure_ascii=False,
            )
        )
    else:
        for fault in faults:
            print(fault)
        for note in notes:
            print(note)
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        print(count if faults else f"{options.file.name}: {said}")
    return 2 if faults else 0


def _template(options) -> int:
    from estimator import survey
    from estimator.catalogue import Era
    from estimator.errors import one_of

    shop = _shop(options)
    plain = "-".join(options.era.casefold().replace("_", " ").replace("-", " ").split())
    found = [era for era in Era if plain and era.startswith(plain)]
    if len(found) != 1:
        raise BadInput(Fault(f'"{options.era}" is not an era.', one_of(options.era, list(Era))))
    survey.write(survey.template(found[0], shop.catalogue), options.output, shop.catalogue)
    if options.json:
        print(json.dumps({"schema": 1, "survey": str(options.output)}))
    else:
        print(
            f"{options.output}: correct the counts and conditions, then run\n"
            f'estimator quote "{options.output}" --level shop-job --out quote'
        )
    return 0


def _quote(options) -> int:
    from estimator import documents, survey
    from estimator.quote import Choices, as_dict, level_named, quote
    from estimator.review import records_dict

    shop = _shop(options)
    choices = Choices(
        level=level_named(options.level),
        pricing=" ".join(options.pricing.casefold().replace("-", " ").split()),
        confidence=options.confidence,
        margin=options.margin,
        dropped=frozenset(number - 1 for number in options.leave_out),
        added=tuple(_extra(word) for word in options.add),
        trials=options.trials,
        seed=options.seed,
        sampler=options.sampler.casefold(),
        on=day_said(options.date, "--date"),
    )
    found = survey.read(options.survey, shop.catalogue, final=True)
    fit = _fit(found, choices, shop, options)
    if fit:
        choices = fit.taken(choices)
    offer = quote(found, choices, shop, compare=bool(options.out or not options.trace),
                  progress=_progress(options.trials))
    opened = _opened(offer, shop, options)
    written = documents.write(offer, options.out) if options.out else {}
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


def _sent(offer, shop) -> int:
    """Keep a quote that was written in the shop's ledger; 2, with a word why, if that fails."""
    from estimator import jobs
    from estimator.ledger import Ledger

    ledger = Ledger(shop.folder)
    try:
        jobs.keep(ledger, offer, shop)
    except BadInput as error:
        print("The documents are written, but the quote is not among the quotes sent:",
              error, sep="\n", file=sys.stderr)
        return 2
    finally:
        ledger.close()
    return 0


def _by_records(offer, shop):
    """Hours by the shop's own closed jobs; None without a ledger, or while they are too few."""
    if shop.folder is None:
        return None
    from estimator import review
    from estimator.ledger import Ledger

    ledger = Ledger(shop.folder, shop.settings.ledger)
    try:
        known = review.experience_of(ledger, shop.catalogue)
        return review.by_records(offer.job, shop.settings, known)
    except BadInput as error:
        print("What the shop's own jobs say of the hours could not be read:", error, sep="\n",
              file=sys.stderr)
        return None
    finally:
        ledger.close()


def _quotes(options) -> int:
    from estimator import winning
    from estimator.ledger import OUTCOMES, Ledger

    shop = _shop(options)
    if shop.folder is None:
        raise BadInput(Fault("Quotes sent are kept in a shop folder, and none was named.",
                             "Make one with: estimator new-shop shop; then add --shop shop."))
    if options.number is not None and options.outcome is None:
        raise BadInput(Fault(f"What came of {options.number} is missing.",
                             f"Write {', '.join(OUTCOMES[1:])} or {OUTCOMES[0]} after the number."))
    ledger = Ledger(shop.folder)
    try:
        booked = (() if options.number is None
                  else (ledger.decide(options.number, options.outcome),))
        sent = ledger.sent()
        revises = {one.number: one.of for one in ledger.revisions()}
    finally:
        ledger.close()
    # A revision of a job says nothing about winning one.
    asked = [one for one in sent if one.number not in revises]
    advice = winning.advice(asked, reserve=shop.settings.warranty_share)
    listed = booked or sent
    if options.json:
        said = winning.as_dict(listed, advice)
        for one in said["quotes"]:
            one["revision_of"] = revises.get(one["number"])
        print(json.dumps(said, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        print(_listed(listed, shop.settings.locale, revises), *advice.words(shop.settings),
              sep="\n")
    return 0


def _listed(sent, locale: str, revises: Mapping[str, str]) -> str:
    """Quotes sent as a table for a person; blank line at its end."""
    from estimator.money import format_money
    from estimator.winning import ratio_of

    if not sent:
        return "No quotes sent so far: one counts as sent when its documents are written.\n"
    rows = [("Number", "Sent", "Machine", "Level", "Price", "Over cost", "Outcome")]
    rows += [
        (one.number, one.sent.isoformat(), one.title[:40], one.level,
         format_money(one.price, one.currency, locale), f"{ratio_of(one):.2f} ×",
         one.outcome + (f", revises {revises[one.number]}" if one.number in revises else ""))
        for one in sent
    ]
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "".join(
        "  ".join(f"{cell:{'>' if place in (4, 5) else '<'}{wide[place]}}"
                  for place, cell in enumerate(row)).rstrip() + "\n"
        for row in rows)


def _fit(found, choices, shop, options):
    """The best set of lines for a budget or a date, if one was asked for."""
    worth = dict(_worth(word) for word in options.worth)
    ready_by = day_said(options.ready_by, "--ready-by")
    if options.budget is None and ready_by is None:
        if worth:
            raise BadInput(Fault("--worth says what lines are worth, but there is nothing to fit "
                                 "them to.", "Add --budget or --ready-by."))
        return None
    from estimator.options import fitted

    return fitted(found, choices, shop, budget=options.budget, ready_by=ready_by, worth=worth)


def _worth(word: str) -> tuple[int, float]:
    line, sign, value = word.partition("=")
    try:
        if not sign:
            raise ValueError
        return int(line) - 1, number_said(value, f"--worth {line}")
    except ValueError:
        raise BadInput(Fault(f'"{word}" does not say what a line is worth.',
                             "Write it like 12=300: line 12 is worth 300.")) from None


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


def _extra(word: str) -> tuple[str, int]:
    name, _, count = word.partition("=")
    if count and not (count.isdecimal() and len(count) < 10):
        raise BadInput(Fault(f'"{count}" is not a count of {name}.', "Write it like NAME=2."))
    return name, int(count) if count else 1


def _summary(offer, records=None) -> str:
    from estimator.money import format_money
    from estimator.quote import TIME

    def money(amount) -> str:
        return format_money(amount, offer.settings.currency, offer.settings.locale)

    p50, p80, p90 = offer.odds.at("hours", 0.5, 0.8, 0.9)
    rows = [
        ("Quote", f"{offer.number}, {offer.level.name}, {offer.choices.pricing}"),
        (
            "Price",
            f"{money(offer.price)} and {money(offer.total - offer.price)} tax: "
            f"{money(offer.total)}",
        ),
    ]
    if offer.choices.pricing == TIME:
        rows.append(("Cap", f"{money(offer.cap)} before tax, not passed without asking"))
    rows += [
        ("of it finds", money(offer.find_allowance)),
        (
            "Hours",
            f"{p50:.0f} as often as not, {p80:.0f} in four jobs of five, {p90:.0f} in nine of ten",
        ),
        *_records_rows(records),
        ("Loss", f"{100 * offer.chance_of_loss:.1f} jobs in a hundred lose money at this price"),
        ("Ready by", f"{offer.finish_p80.isoformat()} in four jobs of five"),
        (
            "Estimate",
            f"class {offer.estimate_class}; {100 * offer.seen_share:.0f} % of the cost was seen",
        ),
    ]
    return "\n".join(f"{name:<12} {said}" for name, said in rows)


def _records_rows(found) -> list[tuple[str, str]]:
    if found is None:
        return []
    p50, p80, p90 = found.hours.values()
    return [("by records", f"{p50:.0f} as often as not, {p80:.0f} in four jobs of five, {p90:.0f} "
                           f"in nine of ten, by {found.jobs} finished jobs")]


def _pages(options) -> int:
    from estimator import pages

    return pages.serve(options.shop, port=options.port, browser=not options.no_browser)
