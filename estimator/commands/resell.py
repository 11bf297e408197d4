"""`estimator resell`: what to do with a machine that the shop owns or may buy."""

from __future__ import annotations

from pathlib import Path

from estimator.commands.shared import day_said, number_said, options_of, table
from estimator.errors import BadInput, Fault

_NUMBERS = (
    ("--value", "MONEY", "what the same machine brings nice and working, in a private sale"),
    ("--value-low", "MONEY", "one in a hundred brings less; the shop's spread otherwise"),
    ("--value-high", "MONEY", "one in a hundred brings more"),
    ("--paid", "MONEY", "what was paid for it: shown, and no part of the choice"),
    ("--asking", "MONEY", "what it can be bought for, before premium and tax"),
    ("--fee", "SHARE", "what the seller gives up, if known, such as 0.1"),
    ("--premium", "SHARE", "buyer's premium, if known, such as 0.15"),
    ("--purchase-tax", "SHARE", "tax on price and premium, such as 0.07"),
    ("--fetching", "MONEY", "what it costs to fetch it"),
    ("--want", "RETURN", "return wanted a year, such as 0.2; the cost of capital otherwise"),
    ("--want-profit", "MONEY", "profit wanted on top"),
    ("--confidence", "C", "how sure that is to be, 0.05 to 0.99"),
    ("--hours-per-week", "H", "bench hours a week for this machine"),
    ("--wait", "WEEKS", "until the bench is free"),
    ("--storage", "MONEY", "what a month of keeping it costs"),
    ("--capital", "RATE", "cost of capital a year, such as 0.1"),
    ("--bench-earns", "MONEY", "what a bench hour brings in otherwise"),
    ("--budget", "MONEY", "the most that the lines that pay may cost"),
    ("--hours", "H", "the most bench hours they may take"),
)
_FIELDS = {"wait": "wait_weeks", "storage": "storage_per_month", "capital": "capital_rate",
           "bench_earns": "bench_hour_earns"}
_WHOLE = (("--trials", "trials"), ("--seed", "seed"))


def register(command) -> None:
    """Add the command."""
    parser = options_of(command(
        "resell", _resell, "Restore, resell, part out or leave it: what a machine is worth each "
        "way, how sure that is, and what to bid at most."))
    parser.add_argument("survey", metavar="SURVEY", type=Path, help="a survey, CSV or XLSX")
    for name, metavar, said in _NUMBERS:
        parser.add_argument(name, metavar=metavar, help=said)
    parser.add_argument("--way", metavar="WAY", default="private",
                        help="how it is sold: private (default), auction, club-auction, online, "
                        "consignment, dealer, or one of your own")
    parser.add_argument("--buying", metavar="WAY", default="private",
                        help="where it is bought, whose premium is paid")
    parser.add_argument("--parts-way", metavar="WAY", default="online", help="how parts are sold")
    parser.add_argument("--found", metavar="STATE",
                        help="incomplete, not-working, working, nice or collector; read off the "
                        "survey otherwise")
    parser.add_argument("--ready-by", metavar="YYYY-MM-DD",
                        help="the day by which the lines that pay are to be done")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="today, if another day is meant")
    for name, said in _WHOLE:
        parser.add_argument(name, metavar="N", help=f"of the simulation: {said}")
    parser.add_argument("--parts", action="store_true", help="list the parts with their prices")
    parser.add_argument("--out", metavar="DIR", type=Path,
                        help="write decision.pdf, one page, and decision.json here")


def _resell(options) -> int:
    import json
    import os

    from estimator.resale import Words, as_dict, resale
    from estimator.shop import open_shop

    shop = open_shop(options.shop or os.environ.get("ESTIMATOR_SHOP") or None)
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
    from dataclasses import replace
    from datetime import date

    from estimator import survey
    from estimator.resale import Deal
    from estimator.resale.checking import faults

    wrong: list[Fault] = []
    found = None
    try:
        found = survey.read(options.survey, shop.catalogue, final=True)
    except BadInput as error:
        wrong += error.faults
    values = {}
    for name, _, _ in _NUMBERS:
        key = name.removeprefix("--").replace("-", "_")
        word = getattr(options, key)
        try:
            if word is not None:
                values[_FIELDS.get(key, key)] = number_said(word, name)
        except BadInput as error:
            wrong += error.faults
    for name, key in _WHOLE:
        word = getattr(options, key)
        try:
            if word is not None:
                values[key] = int(word)
        except ValueError:
            wrong.append(Fault(f'"{word}" is not a whole number.', "Write it like 10000.",
                               column=name))
    days = {}
    for key, name in (("ready_by", "--ready-by"), ("date", "--date")):
        try:
            days[key] = day_said(getattr(options, key), name)
        except BadInput as error:
            wrong += error.faults
    if options.value is None:
        wrong.append(Fault("No market value is said, and nothing can be held against it.",
                           "Add --value with what the same machine brings nice and working.",
                           column="--value"))
    values.setdefault("value", 1.0)
    deal = Deal(**values, way=_name(options.way), buying=_name(options.buying),
                parts_way=_name(options.parts_way),
                found=None if options.found is None else _name(options.found),
                ready_by=days.get("ready_by"), on=days.get("date"))
    options_of_fields = {field: key for key, field in _FIELDS.items()}
    wrong += [replace(fault, column="--" + options_of_fields.get(
        fault.column, fault.column).replace("_", "-"))
        for fault in faults(deal, shop.catalogue, deal.on or date.today())]
    if wrong:
        raise BadInput(wrong)
    return found, deal


def _name(word: str) -> str:
    return "-".join(word.casefold().replace("_", " ").replace("-", " ").split())


def _said(answer, words) -> str:
    from estimator.resale import LEAVE

    rows = [("", "Hours", "Work", "Sale", "Months", "Profit", "P10", "P90", "Loss", "Worth now",
             "A year", "Best in", "Bid" if answer.deal.asking is not None else "Take")]
    for one in answer.choices:
        best = "*" if one.key == answer.best else " "
        if one.key == LEAVE:
            rows.append((f"{best} {one.name}", *("",) * 4, words.money(0), *("",) * 3,
                         words.money(0), "", f"{100 * one.best_in:.0f}", ""))
            continue
        rows.append((
            f"{best} {one.name}", f"{one.hours:.0f}", words.money(one.cost), words.money(one.sale),
            f"{one.months:.1f}", words.money(one.profit), words.money(one.profit_p10),
            words.money(one.profit_p90), f"{100 * one.chance_of_loss:.0f}", words.money(one.worth),
            words.rate(one), f"{100 * one.best_in:.0f}", words.money(one.highest_price)))
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
