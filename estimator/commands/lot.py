"""`estimator lot`: a whole auction list, for each machine what to bid and what to do with it."""

from __future__ import annotations

import sys
from pathlib import Path

from estimator.commands.shared import (
    Gathered,
    day_said,
    options_of,
    shop_of,
    table,
    whole_said,
)
from estimator.commands.terms import TERMS, add_terms, at_options, numbers, ways
from estimator.errors import BadInput, Fault

_NUMBERS = (
    ("--value", "MONEY", "what a machine brings nice and working, where the list says none"),
    *TERMS,
)
_WHOLE = (("trials", "how often a machine is played through; 10,000 by default"),
          ("seed", "the same seed gives the same figures"),
          ("top", "machines shown; 20 by default"))


def register(command) -> None:
    """Add the command."""
    parser = options_of(command(
        "lot", _lot, "A whole auction list: for each machine what to bid at most and what to do "
        "with it, ranked by what an hour of the bench brings in."))
    parser.add_argument("list", metavar="LOT", type=Path, nargs="?",
                        help="the list, CSV or XLSX, one row a machine")
    parser.add_argument("--example", metavar="FILE", type=Path,
                        help="write an invented list to start from, and stop")
    add_terms(parser, _NUMBERS, buying="auction")
    for name, said in _WHOLE:
        parser.add_argument(f"--{name}", metavar="N", help=said)
    parser.add_argument("--all", action="store_true", help="show every machine")
    parser.add_argument("--full", action="store_true",
                        help="play the trials of every machine, also where the answer is clear")
    parser.add_argument("--scheduler", metavar="ADDRESS",
                        help="a Dask scheduler, such as tcp://bench:8786; its workers do it then")
    parser.add_argument("--out", metavar="DIR", type=Path,
                        help="write lot.csv, lot.xlsx, lot.json and bids.pdf here; finished "
                        "pieces are kept here too, and taken up again after a stop")


def _lot(options) -> int:
    import json
    from datetime import date

    from estimator import auction
    from estimator.simulate import Stopped

    if options.example:
        return _example(options)
    shop = shop_of(options)
    machines, notes, terms, top = _read(options, shop)
    keep = options.out / "pieces" if options.out else None
    try:
        judged = auction.judge(
            machines, terms, shop, terms.on or date.today(), keep=keep,
            scheduler=options.scheduler, full=options.full, workers=None,
            progress=_tell if sys.stderr.isatty() else None)
    except (KeyboardInterrupt, Stopped):
        print("Stopped." + (f" Finished pieces are kept in {keep}; the same command goes on from "
                            "there." if keep else ""), file=sys.stderr)
        return 1
    rows = auction.ranked(machines, judged)
    written = {}
    if options.out:
        from estimator.auction import papers

        written = papers.write(rows, terms, shop, options.out, notes)
    if options.json:
        print(json.dumps(auction.as_dict(rows, terms, shop, notes), indent=2, ensure_ascii=False,
                         allow_nan=False))
        return 0
    print(_said(rows, terms, shop, notes, len(rows) if options.all else top))
    for path in written.values():
        print(path)
    return 0


def _example(options) -> int:
    import json

    from estimator import disk
    from estimator.auction import EXAMPLE

    path = options.example
    if path.suffix.casefold() != ".csv":
        raise BadInput(Fault(f'A list is not written as "{path.suffix}".',
                             "End the name in .csv.", path.name, column="--example"))
    try:
        # Not over a list that somebody filled in.
        disk.write(path, EXAMPLE.encode("utf-8-sig"), new=True)
    except FileExistsError:
        raise BadInput(Fault("There is a file of this name already.", "Choose another name.",
                             path.name, column="--example")) from None
    except OSError as error:
        raise BadInput(Fault(f"The file cannot be written ({error.strerror or error}).",
                             "Choose another place.", path.name, column="--example")) from None
    print(json.dumps({"schema": 1, "example": str(path)}) if options.json else path)
    return 0


def _read(options, shop):
    """The machines, remarks, the terms and how many to show; all faults are told together."""
    from dataclasses import replace
    from datetime import date

    from estimator import auction
    from estimator.resale import Deal
    from estimator.resale.checking import faults

    read = Gathered()
    values = numbers(read, options, _NUMBERS)
    whole = {name: read.take(whole_said, word, f"--{name}") for name, _ in _WHOLE
             if (word := getattr(options, name)) is not None}
    whole = {name: value for name, value in whole.items() if value is not None}
    day = read.take(day_said, options.date, "--date")
    value, top = values.pop("value", None), whole.pop("top", 20)
    if top < 1:
        read.faults.append(Fault(f"{top} machines to show; it must be 1 or more.", column="--top"))
    if options.out and options.list and options.list.name.casefold() in ("lot.csv", "lot.xlsx") \
            and options.list.resolve().parent == options.out.resolve():
        read.faults.append(Fault(f"{options.list.name} would be written over the list that is "
                                 "read.", "Name another folder.", column="--out"))
    terms = Deal(1.0 if value is None else value, **values, **whole, **ways(options), on=day)
    read.faults += at_options(faults(terms, shop.catalogue, day or date.today()))
    machines, notes = (), ()
    if options.list is None:
        read.faults.append(Fault("No list is named.", "Write one with: estimator lot --example "
                                 "lot.csv; then: estimator lot lot.csv.", column="LOT"))
    else:
        machines, notes = read.take(auction.read, options.list, shop.catalogue, value=value) \
            or (machines, notes)
    read.done()
    return machines, notes, replace(terms, value=1.0), top


def _tell(done: int, of: int) -> None:
    print(f"\r{done:,} of {of:,} machines", end="" if done < of else "\r\033[K", file=sys.stderr,
          flush=True)


def _said(rows, terms, shop, notes, top: int) -> str:
    import textwrap

    from estimator.auction import cautions, names
    from estimator.money import format_money

    def money(amount: float | None) -> str:
        if amount is None:
            return ""
        return format_money(round(amount) + 0.0, shop.settings.currency, shop.settings.locale,
                            digits=0)

    called = names(shop.catalogue)
    shown = [("", "Lot", "Machine", "Found", "Bid at most", "Asked", "Then", "Profit", "P10",
              "Hours", "An hour", "Judged")]
    for row in rows[:top]:
        one, said = row.one, row.said
        title = one.title or str(one.era).replace("-", " ")
        shown.append((
            str(row.rank) if row.bid else "–", one.lot,
            title if len(title) <= 26 else title[:25] + "…",
            (one.found or "by survey").replace("-", " "), money(said.limit), money(one.asking),
            called.get(said.best, said.best), money(said.profit), money(said.profit_p10),
            f"{said.hours:.1f}", money(said.per_hour), "played" if said.played else "screened"))
    bids = sum(1 for row in rows if row.bid)
    played = sum(1 for row in rows if row.said.played)
    sure = shop.settings.confidence if terms.confidence is None else terms.confidence
    machines = "machine" if len(rows) == 1 else "machines"
    told = [f"{bids} of {len(rows):,} {machines} to bid on; at the limit the return that is "
            f"wanted is reached in {100 * sure:.0f} of 100 such. Premium and tax are inside it. "
            "Profit is reckoned at what is asked, or at the limit where nothing is; an hour is "
            f"what an hour of the bench brings in. {played:,} stood close and were played in "
            "full, the rest was screened; --full plays all."]
    if len(rows) > top:
        told.append(f"{len(rows) - top:,} more: --all shows them.")
    taken = sum(1 for row in rows if row.one.taken)
    if taken:
        told.append(f"{taken:,} lack facts, for which the tables' usual ones were taken; --json "
                    "and lot.csv say which. What a state holds is judgement (found_cases.csv).")
    told += [cautions([row.one for row in rows], shop.catalogue), *notes]
    return "\n\n".join([table(shown, right=(0, 4, 5, 7, 8, 9, 10)),
                        "\n".join(textwrap.fill(text, 100) for text in told)])
