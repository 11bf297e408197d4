"""What the ledger keeps, as records: drafts, quotes as sent, jobs, and what is booked to them."""

from __future__ import annotations

import math
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from estimator.errors import BadInput, Fault, one_of

OUTCOMES = ("open", "won", "lost")
STATES = ("accepted", "on the bench", "waiting", "finished", "closed")
"""What a job can be: waiting means for parts, outwork, a cure or the customer."""


@dataclass(frozen=True)
class Draft:
    """A quote in the making: one for each machine on the bench.

    Parameters
    ----------
    key
        Name of the draft, for addresses; made by `new_key`.
    title
        What it is listed under.
    content
        What the page needs to open it again; JSON values only.
    revision
        0 for one that was never saved; each save counts one up.
    saved
        When it was last saved, in UTC; None if never.
    """

    key: str
    title: str = ""
    content: Mapping | None = None
    revision: int = 0
    saved: datetime | None = None


@dataclass(frozen=True)
class Sent:
    """A quote as it was sent to a customer.

    Parameters
    ----------
    number
        Of the quote; no two have the same.
    title
        Of the machine.
    level
        The service level that was quoted.
    sent
        The day it was sent.
    price
        What was asked for, before tax, over 0. [money]
    cost_mean
        What the job was expected to cost, finds included, over 0. A planning figure, and so not
        rounded to the cent. [money]
    currency
        Of both, as three letters (ISO 4217).
    outcome
        "open" until the customer has answered, then "won" or "lost".

    Raises
    ------
    BadInput
        If the number is empty, an amount is not over 0, or the outcome is another one.
    """

    number: str
    title: str
    level: str
    sent: date
    price: Decimal
    cost_mean: float
    currency: str
    outcome: str = "open"

    def __post_init__(self) -> None:
        faults = [
            Fault(f"{what} of quote {self.number} is {amount}; it must be a number over 0.")
            for what, amount in (("The price", self.price), ("The expected cost", self.cost_mean))
            if not 0 < float(amount) < math.inf
        ]
        if not self.number.strip():
            faults.insert(0, Fault("A quote needs a number to be kept under."))
        if self.outcome not in OUTCOMES:
            faults.append(no_outcome(self.outcome))
        if faults:
            raise BadInput(faults)


@dataclass(frozen=True)
class Frozen:
    """All that a quote was computed from, and what came out; kept for good.

    Parameters
    ----------
    number
        Of the quote sent.
    version
        Of the program that computed it.
    survey, choices, settings
        As JSON values.
    tables
        The shop's tables at that moment, as JSON text; the ledger keeps equal ones once.
    answer
        The quote as plain numbers and words, as `quote.json` has it.
    revision_of
        Number of the quote that this one takes the place of; None for a first one.
    kept
        When it was kept, in UTC; None before it was.
    """

    number: str
    version: str
    survey: Mapping
    choices: Mapping
    settings: Mapping
    tables: str
    answer: Mapping
    revision_of: str | None = None
    kept: datetime | None = None


class Stale(BadInput):
    """A save that would overwrite a newer one, made in another window.

    `newer` is the draft as it stands in the ledger.
    """

    def __init__(self, newer: Draft):
        self.newer = newer
        clock = f"{newer.saved.astimezone():%H:%M:%S}" if newer.saved else "some time ago"
        super().__init__(Fault(
            f"This draft was changed in another window at {clock}; "
            "what you change here is not kept.",
            "Reload this page to go on from there.",
        ))


def new_key() -> str:
    """A key for a new draft: ten letters and digits, never used before."""
    return secrets.token_hex(5)


def no_outcome(said: str) -> Fault:
    """What is wrong with an outcome that is none."""
    return Fault(f'"{said}" is no outcome of a quote.', one_of(said, OUTCOMES))


def no_number(number: str, known: Sequence[str]) -> Fault:
    """What is wrong with a number that no quote has; `known` are those that there are."""
    near = one_of(number, known) if known else "None was kept so far."
    return Fault(f'No quote with the number "{number}" was kept.', near)
