"""`estimator resell`: what to do with a machine that the shop owns or may buy."""

from __future__ import annotations

from pathlib import Path

from estimator.commands.shared import (
    Gathered,
    day_said,
    options_of,
    shop_of,
    table,
    whole_said,
)
from estimator.commands.terms import TERMS, add_terms, at_options, numbers, slug, ways
from estimator.errors import Fault
from estimator.units import of_a_hundred

_NUMBERS = (
    ("--value", "MONEY", "what the same machine brings nice and working, in a private sale"),
    ("--value-low", "MONEY", "one in a hundred brings less; the shop's spread otherwise"),
    ("--value-high", "MONEY", "one in a hundred brings more"),
    ("--paid", "MONEY", "what was paid for it: shown, and no part of the choice"),
    ("--asking", "MONEY", "what it can be bought for, before premium and tax"),
    *TERMS,
    ("--bench-earns", "MONEY", "what a bench hour brings in otherwise"),
    ("--budget", "MONEY", "the most that the lines that pay may cost"),
    ("--hours", "H", "the most bench hours they may take"),
)
_WHOLE = {"trials": "how often each choice is played through; 10,000 by default",
          "seed": "the same seed gives the same figures"}


def register(command) -> None:
    """Add the command."""
    parser = options_of(command(
        "resell", _resell, "Restore, resell, part out or leave it: what a machine is worth each "
        "way, how sure that is, and what to bid at most."))
    parser.add_argument("survey", metavar="SURVEY", type=Path, help="a survey, CSV or XLSX")
    add_terms(parser, _NUMBERS, buying="private")
    parser.add_argument("--found", metavar="STATE",
                        help="incomplete, not-working, working, nice or collector; read off the "
                        "survey otherwise")
    parser.add_argument("--ready-by", metavar="YYYY-MM-DD",
                        help="the day by which the lines that pay are to be done")
    for name, said in _WHOLE.items():
        parser.add_argument(f"--{name}", metavar="N", help=said)
    parser.add_argument("--parts", action="store_true", help="list the parts with their prices")
    parser.add_argument("--out", metavar="DIR", type=Path,
                        help="write decision.pdf, one page, and decision.json here")


def _resell(options) -> int:
    import json

    from estimator.resale import Words, as_dict, resale

    shop = shop_of(options)
    found, deal = _read(options, shop)
    answer = resale(found, deal, shop)
    written = {}
    if options.out:
        from estimator.documents import decision

        written = decision.write(answer, options.out)
    if options.json:
        print(json.dumps(as_dict(answer), indent=2, ensure_ascii=False, allow_nan=False))
        return 0
    print(_said(answer, Words(answer)))
    if options.parts:
        print("\n" + _parts(answer, Words(answer)))
    for path in written.values():
        print(path)
    return 0


def _read(options, shop):
    """The survey and the deal; what is wrong with either is told together."""
    from datetime import date

    from estimator import survey
    from estimator.resale import Deal
    from estimator.resale.checking import faults

    read = Gathered()
    found = read.take(survey.read, options.survey, shop.catalogue, final=True)
    values = numbers(read, options, _NUMBERS)
    for name in _WHOLE:
        word = getattr(options, name)
        whole = None if word is None else read.take(whole_said, word, f"--{name}")
        if whole is not None:
            values[name] = whole
    ready_by = read.take(day_said, options.ready_by, "--ready-by")
    on = read.take(day_said, options.date, "--date")
    if options.value is None:
        read.faults.append(Fault("No market value is said, and nothing can be held against it.",
                                 "Add --value with what the same machine brings nice and working.",
                                 column="--value"))
    values.setdefault("value", 1.0)
    deal = Deal(**values, **ways(options), ready_by=ready_by, on=on,
                found=None if options.found is None else slug(options.found))
    read.faults += at_options(faults(deal, shop.catalogue, on or date.today()))
    read.done()
    return found, deal


def _said(answer, words) -> str:
    from estimator.resale import LEAVE

    rows = [("", "Hours", "Work", "Sale", "Months", "Profit", "P10", "P90", "Loss", "Worth now",
             "A year", "Best in", "Bid" if answer.deal.asking is not None else "Take")]
    for one in answer.choices:
        best = "*" if one.key == answer.best else " "
        if one.key == LEAVE:
            rows.append((f"{best} {one.name}", *("",) * 4, words.money(0), *("",) * 3,
                         words.money(0), "", of_a_hundred(one.best_in), ""))
            continue
        rows.append((
            f"{best} {one.name}", f"{one.hours:.0f}", words.money(one.cost), words.money(one.sale),
            f"{one.months:.1f}", words.money(one.profit), words.money(one.profit_p10),
            words.money(one.profit_p90), of_a_hundred(one.chance_of_loss), words.money(one.worth),
            words.rate(one), of_a_hundred(one.best_in), words.money(one.highest_price)))
    said = [words.head(), "", table(rows, right=range(1, len(rows[0]))), ""]
    said.append("Work at own cost; sale after fees; profit from now on; loss and best in 100 "
                "trials.\n")
    bid = "Highest bid" if answer.deal.asking is not None else "Least to take"
    for name, text in (("Why", words.why()), (bid, words.bid()), ("Stop rule", words.stop()),
                       ("Bench hour", words.bench()),
                       ("A look first", words.look()), ("What pays", words.pays()),
                       ("By hours", words.by_hours()), ("Turns", words.turns()),
                       ("Spent", [words.sunk()]),
                       ("Mind", [*words.cautions(), *answer.notes])):
        if any(text):
            said.append(_wrapped(name, " ".join(text)))
    why = [f"{one.name}: {one.earned.why}" for one in answer.choices
           if one.earned.rate is None and len(one.earned.roots) > 1]
    if why:
        said.append(_wrapped("Return", " ".join(why)))
    return "\n".join(said)


def _wrapped(name: str, text: str) -> str:
    import textwrap

    return textwrap.fill(text, 100, initial_indent=f"{name:<14}", subsequent_indent=" " * 14)


def _parts(answer, words) -> str:
    rows = [("Line", "Part", "Pieces", "Offers", "Each", "Sold", "Brings", "Hours", "Months", "")]
    rows += [
        (str(part.listing.line + 1), part.listing.title, str(part.listing.count),
         str(part.listing.listings), words.money(part.price), f"{100 * part.listing.sold:.0f} %",
         words.money(part.income), f"{part.listing.hours.typical:.1f}",
         f"{part.listing.months.typical:g}", "" if part.pays else "not worth its hours")
        for part in answer.parts]
    return table(rows, right=(0, 2, 3, 4, 5, 6, 7, 8))
