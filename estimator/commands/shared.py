"""What the commands on the ledger have in common: the shop's ledger, days, tables, JSON."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

from estimator.errors import BadInput, Fault


def options_of(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    """The parser with what every command on the ledger takes."""
    parser.add_argument("--shop", metavar="DIR", type=Path, help="shop folder")
    parser.add_argument("--json", action="store_true", help="answer in JSON")
    return parser


def verbs(parser: argparse.ArgumentParser):
    """Says how to add a command below another one: `add(name, run, said)`."""
    below = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def add(name: str, run, said: str) -> argparse.ArgumentParser:
        found = options_of(below.add_parser(name, help=said, description=said))
        found.set_defaults(run=run)
        return found

    return add


@contextlib.contextmanager
def ledger_of(options) -> Iterator[tuple]:
    """The shop and its ledger, closed at the end.

    Raises
    ------
    BadInput
        If no shop folder was named.
    """
    from estimator.ledger import Ledger
    from estimator.shop import open_shop

    folder = options.shop or os.environ.get("ESTIMATOR_SHOP") or None
    if folder is None:
        raise BadInput(Fault("Jobs and hours are kept in a shop folder, and none was named.",
                             "Make one with: estimator new-shop shop; then add --shop shop."))
    shop = open_shop(folder)
    ledger = Ledger(shop.folder, shop.settings.ledger)
    try:
        yield shop, ledger
    finally:
        ledger.close()


def say(options, said: dict, text: str) -> int:
    """Print an answer, in JSON if that was asked for; 0, for done."""
    if options.json:
        print(json.dumps({"schema": 1} | said, indent=2, ensure_ascii=False, default=plain))
    else:
        print(text)
    return 0


def plain(value):
    """A value as JSON has it: days and moments as text, amounts as the number they are."""
    if isinstance(value, date | datetime | Path):
        return str(value) if isinstance(value, Path) else value.isoformat()
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(f"{value!r} has no place in JSON")


def as_json(record) -> dict:
    """A record of the ledger, field by field."""
    return asdict(record)


def table(rows: Sequence[Sequence[str]], right: Sequence[int] = ()) -> str:
    """Rows under the first one as a table; columns `right` stand to the right.

    Examples
    --------
    >>> print(table([("Person", "Hours"), ("Anna", "1.50")], right=[1]))
    Person  Hours
    Anna     1.50
    """
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(f"{cell:{'>' if place in right else '<'}{wide[place]}}"
                  for place, cell in enumerate(row)).rstrip()
        for row in rows)


def day_said(word: str | None, column: str) -> date | None:
    """The day in an option; None where it was not given.

    Raises
    ------
    BadInput
        If it is none.
    """
    from estimator.jobs import day_of

    return _read(day_of, word, column)


def time_said(word: str | None, column: str):
    """The time of day in an option; None where it was not given."""
    from estimator.jobs import time_of

    return _read(time_of, word, column)


def hours_said(word: str | None):
    """The hours in an option, as 1.5 or 1:30; None where they were not given."""
    from estimator.jobs import hours_of

    return _read(hours_of, word, "hours")


def number_said(word: str, column: str) -> float:
    """The number in an option; no sum, share or count of a shop is over a million million.

    Raises
    ------
    BadInput
        If it is none, or out of all range.
    """
    from estimator.survey.cells import number, shown

    found = None if word.rstrip().endswith("%") else _read(number, word, column)
    if not word.strip():
        raise BadInput(Fault("Nothing is said.", "Write a number.", column=column))
    if found is None:
        raise BadInput(Fault(f"{shown(word)} is not a number.", "Write 0.15 for 15 %.",
                             column=column))
    if abs(found) > 1e12:
        raise BadInput(Fault(f"{shown(word)} is out of all range.", "Count its digits.",
                             column=column))
    return found


def number_option(word: str) -> float:
    """`number_said` as the type of an argument, whose name argparse puts before the fault."""
    try:
        return number_said(word, "")
    except BadInput as error:
        (fault,) = error.faults
        raise argparse.ArgumentTypeError(f"{fault.what} {fault.fix}") from None


def amount_said(word: str, column: str) -> Decimal:
    """The sum of money in an option, to the digit that was written."""
    return Decimal(str(number_said(word, column)))


def _read(how, word: str | None, column: str):
    from estimator.survey.cells import Wrong

    try:
        return how(word or "")
    except Wrong as wrong:
        raise BadInput(Fault(wrong.what, wrong.fix, column=column)) from None
