"""What `estimator resell` and `lot` ask alike: the terms of a deal."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from dataclasses import replace

from estimator.commands.shared import Gathered, number_said
from estimator.errors import Fault

Row = tuple[str, str, str]
"""An option with a number, what stands for it in the help, and what it means."""

TERMS: tuple[Row, ...] = (
    ("--fee", "SHARE", "what the seller gives up, if known, such as 0.1"),
    ("--premium", "SHARE", "buyer's premium, if known, such as 0.15"),
    ("--purchase-tax", "SHARE", "tax on price and premium, such as 0.07"),
    ("--fetching", "MONEY", "what it costs to fetch a machine"),
    ("--want", "RETURN", "return wanted a year, such as 0.2; the cost of capital otherwise"),
    ("--want-profit", "MONEY", "profit wanted on top, of a machine"),
    ("--confidence", "C", "how sure that is to be, 0.05 to 0.99"),
    ("--hours-per-week", "H", "bench hours a week for a machine"),
    ("--wait", "WEEKS", "until the bench is free"),
    ("--storage", "MONEY", "what a month of keeping a machine costs"),
    ("--capital", "RATE", "cost of capital a year, such as 0.1"),
)
_FIELDS = {"wait": "wait_weeks", "storage": "storage_per_month", "capital": "capital_rate",
           "bench_earns": "bench_hour_earns"}
"""Fields of a deal that are called otherwise than their option."""


def add_terms(parser: argparse.ArgumentParser, rows: Iterable[Row], *, buying: str) -> None:
    """Options with numbers, then the ways of selling and buying; `buying` is the usual one."""
    for name, metavar, said in rows:
        parser.add_argument(name, metavar=metavar, help=said)
    parser.add_argument("--way", metavar="WAY", default="private",
                        help="how it is sold: private (default), auction, club-auction, online, "
                        "consignment, dealer, or one of your own")
    parser.add_argument("--buying", metavar="WAY", default=buying,
                        help=f"where it is bought, whose premium is paid; {buying} by default")
    parser.add_argument("--parts-way", metavar="WAY", default="online", help="how parts are sold")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="today, if another day is meant")


def numbers(read: Gathered, options: argparse.Namespace, rows: Iterable[Row]) -> dict[str, float]:
    """The numbers that were given, by their field of a deal."""
    found = {}
    for name, _, _ in rows:
        key = name.removeprefix("--").replace("-", "_")
        word = getattr(options, key)
        value = None if word is None else read.take(number_said, word, name)
        if value is not None:
            found[_FIELDS.get(key, key)] = value
    return found


def ways(options: argparse.Namespace) -> dict[str, str]:
    """The ways of selling and buying, as the tables write them."""
    return {name: slug(getattr(options, name)) for name in ("way", "buying", "parts_way")}


def at_options(faults: Sequence[Fault]) -> list[Fault]:
    """Faults of a deal, each at the option that its field comes from.

    Examples
    --------
    >>> [fault.column for fault in at_options([Fault("It is 7.", column="capital_rate")])]
    ['--capital']
    """
    names = {field: key for key, field in _FIELDS.items()}
    return [replace(fault, column="--" + names.get(fault.column, fault.column or "")
                    .replace("_", "-")) for fault in faults]


def slug(word: str) -> str:
    """A word as tables write names.

    Examples
    --------
    >>> slug("Not  Working")
    'not-working'
    """
    return "-".join(word.casefold().replace("_", " ").replace("-", " ").split())
