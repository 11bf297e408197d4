"""What the commands have in common: shop and ledger, words read, tables, JSON."""

from __future__ import annotations

import argparse
import contextlib
import itertools
import json
import os
import re
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import is_dataclass
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path

from estimator.errors import BadInput, Fault


def options_of(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    """The parser with what every command takes that has to do with a shop."""
    parser.add_argument("--shop", metavar="DIR", type=Path,
                        help="shop folder; that of ESTIMATOR_SHOP by default")
    parser.add_argument("--json", action="store_true", help="answer in JSON")
    return parser


def verbs(parser: argparse.ArgumentParser):
    """Says how to add a command below another one: `add(name, run, said)`."""
    below = parser.add_subparsers(title="commands", metavar="COMMAND")

    def add(name: str, run, said: str) -> argparse.ArgumentParser:
        found = options_of(below.add_parser(name, help=said, description=said))
        found.set_defaults(run=run)
        return found

    return add


def shop_of(options: argparse.Namespace):
    """The shop that was named, by --shop or ESTIMATOR_SHOP; the trade's defaults otherwise.

    Raises
    ------
    BadInput
        With every fault of its settings and tables.
    """
    from estimator.shop import open_shop

    return open_shop(options.shop or os.environ.get("ESTIMATOR_SHOP") or None)


def ledger_in(shop) -> contextlib.closing:
    """The ledger of a shop that has a folder, closed at the end."""
    from estimator.ledger import Ledger

    return contextlib.closing(Ledger(shop.folder))


@contextlib.contextmanager
def ledger_of(options: argparse.Namespace) -> Iterator[tuple]:
    """The shop and its ledger, closed at the end.

    Raises
    ------
    BadInput
        If no shop folder was named.
    """
    shop = shop_of(options)
    if shop.folder is None:
        raise BadInput(Fault("Jobs and hours are kept in a shop folder, and none was named.",
                             "Make one with: estimator new-shop shop; then add --shop shop."))
    with ledger_in(shop) as ledger:
        yield shop, ledger


class Gathered:
    """Reads one thing after the other; what is wrong with any of them is told together.

    Examples
    --------
    >>> read = Gathered()
    >>> read.take(number_said, "2.5", "--hours")
    2.5
    >>> read.take(number_said, "many", "--margin"), read.take(number_said, "", "--fee")
    (None, None)
    >>> [fault.column for fault in read.faults]
    ['--margin', '--fee']
    """

    def __init__(self):
        self.faults: list[Fault] = []

    def take(self, read: Callable, *given, **named):
        """What `read` gives; None where it finds faults, which are kept."""
        try:
            return read(*given, **named)
        except BadInput as error:
            self.faults += error.faults
            return None

    def done(self) -> None:
        """Nothing more is read.

        Raises
        ------
        BadInput
            With every fault, if there is one.
        """
        if self.faults:
            raise BadInput(self.faults)


def say(options, said: dict, text: str) -> int:
    """Print an answer, in JSON if that was asked for; 0, for done."""
    if options.json:
        written = json.JSONEncoder(indent=2, ensure_ascii=False, default=plain)
        pieces = written.iterencode({"schema": 1} | said)
        # So many at a time: entries of years are not to be in memory twice.
        while some := "".join(itertools.islice(pieces, 10_000)):
            sys.stdout.write(some)
        print()
    else:
        print(text)
    return 0


def told(share: float) -> bool:
    """Say on the terminal how far long work is, nothing into a file; it may always go on."""
    if sys.stderr.isatty():
        print(f"{100 * share:3.0f} %", end="\r" if share < 1 else "\r\033[K", file=sys.stderr,
              flush=True)
    return True


@contextlib.contextmanager
def stoppable() -> Iterator[Callable[[float], bool]]:
    """As `told`; after Ctrl-C it answers that the work is to stop.

    So it stops where it can take back what it began, and says what became of it; pressed again,
    Ctrl-C breaks off at once as everywhere else.
    """
    pressed = []

    def press(*_) -> None:
        pressed.append(True)
        signal.signal(signal.SIGINT, signal.default_int_handler)

    # Another's way with Ctrl-C is left alone, as that of `nohup`.
    ours = (threading.current_thread() is threading.main_thread()
            and signal.getsignal(signal.SIGINT) is signal.default_int_handler)
    if ours:
        signal.signal(signal.SIGINT, press)
    try:
        yield lambda share: told(share) and not pressed
    finally:
        if ours:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        if sys.stderr.isatty():
            print("\r\033[K", end="", file=sys.stderr, flush=True)


def plain(value):
    """A value as JSON has it: days and moments as text, amounts as the number they are, records
    field by field."""
    if isinstance(value, date | datetime | Path):
        return str(value) if isinstance(value, Path) else value.isoformat()
    if isinstance(value, Decimal):
        return float(value)
    if is_dataclass(value):
        return vars(value)
    raise TypeError(f"{value!r} has no place in JSON")


def fault_dict(fault: Fault) -> dict:
    """A fault in plain values: where it stands, what is wrong, how to put it right.

    Examples
    --------
    >>> from estimator.errors import Fault
    >>> fault_dict(Fault("The cell is blank.", "Fill it in.", "survey.csv", 3, "count"))["row"]
    3
    """
    return {"file": fault.file, "row": fault.row, "column": fault.column, "what": fault.what,
            "fix": fault.fix}


def as_json(record) -> dict:
    """A record of the ledger, field by field."""
    return dict(vars(record))


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


def time_said(word: str, column: str) -> time | None:
    """The time of day in an option."""
    from estimator.jobs import time_of

    return _read(time_of, word, column)


def hours_said(word: str, column: str) -> float | None:
    """The hours in an option, as 1.5 or 1:30."""
    from estimator.jobs import hours_of

    return _read(hours_of, word, column)


def number_said(word: str, column: str, fix: str = "Write 0.15 for 15 %.") -> float:
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
        raise BadInput(Fault(f"{shown(word)} is not a number.", fix, column=column))
    if abs(found) > 1e12:
        raise BadInput(Fault(f"{shown(word)} is out of all range.", "Count its digits.",
                             column=column))
    return found


def whole_said(word: str, column: str) -> int:
    """The whole number in an option.

    Raises
    ------
    BadInput
        If it is none.

    Examples
    --------
    >>> whole_said("10000", "--trials"), whole_said("-3", "--seed")
    (10000, -3)
    """
    if not re.fullmatch(r"[+-]?[0-9]{1,18}", word.strip()):
        from estimator.survey.cells import shown

        raise BadInput(Fault(f"{shown(word)} is not a whole number.", "Write it like 10000.",
                             column=column))
    return int(word)


def extras_said(words: Iterable[str], column: str) -> tuple[tuple[str, int], ...]:
    """Extras with their counts, as NAME or NAME=COUNT; each once.

    Raises
    ------
    BadInput
        If a count is none, or an extra is named twice.

    Examples
    --------
    >>> extras_said(["extra-led-set", "extra-legs=2"], "--add")
    (('extra-led-set', 1), ('extra-legs', 2))
    """
    found, faults = {}, []
    for word in words:
        name, _, count = word.partition("=")
        if count and not (count.isdecimal() and len(count) < 10):
            faults.append(Fault(f'"{count}" is not a count of {name}.', "Write it like NAME=2.",
                                column=column))
        elif name in found:
            faults.append(Fault(f"{name} is named twice.", f"Name it once: {name}=2 takes two.",
                                column=column))
        else:
            found[name] = int(count or 1)
    if faults:
        raise BadInput(faults)
    return tuple(found.items())


def amount_said(word: str, column: str) -> Decimal:
    """The sum of money in an option, to the digit that was written."""
    return Decimal(str(number_said(word, column, "Write money such as 120 or 85.50.")))


def _read(how, word: str | None, column: str):
    from estimator.survey.cells import Wrong

    try:
        return how(word or "")
    except Wrong as wrong:
        raise BadInput(Fault(wrong.what, wrong.fix, column=column)) from None
