"""What the ledger keeps, as records: drafts, quotes as sent, jobs, and what is booked to them."""

from __future__ import annotations

import math
import secrets
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import NamedTuple

from estimator.errors import BadInput, Fault, one_of, quoted

OUTCOMES = ("open", "won", "lost")
STATES = ("accepted", "on the bench", "waiting", "finished", "closed")
"""What a job can be: waiting means for parts, outwork, a cure or the customer."""
ANSWERS = ("open", "agreed", "refused")
"""What a customer says to a revision of a job; open while nothing was said."""


@dataclass(frozen=True)
class Draft:
    """A quote or another piece of work in the making: one for each machine on the bench.

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

    Examples
    --------
    >>> draft = Draft(new_key(), "Comet Harbour", {"schema": 1, "lines": []})
    >>> draft.revision, draft.saved is None
    (0, True)
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

    Examples
    --------
    >>> Sent("260302-0A1B2C", "Comet Harbour", "shop-job", date(2026, 3, 2), Decimal(2430), 1588.0,
    ...      "USD").outcome
    'open'
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


@dataclass(frozen=True)
class Job:
    """A machine accepted for work.

    Parameters
    ----------
    number
        Of the quote that was accepted.
    name
        What the shop calls the job.
    accepted, promised, closed
        Days; `promised` is None where no day was promised, `closed` while it is not.
    state
        One of `STATES`, in the words of the trade.
    """

    number: str
    name: str
    accepted: date
    promised: date | None = None
    state: str = "accepted"
    closed: date | None = None


@dataclass(frozen=True)
class Item:
    """A work item of a job: one operation on one line, with the hours it was quoted at.

    Parameters
    ----------
    job, item
        Number of the job; number of the item in it, from 1.
    quote
        Number of the quote that brought it: the job's, or a revision's.
    line
        Of the survey, from 1.
    title, assembly
        Of the line.
    operation, name, kind, skill
        Of the operation.
    low, typical, high
        Book hours of the whole item, hands-on. [h]
    setup
        Its part of the operation's set-up. [h]
    expected
        What the quote expects it to take, set-up and allowances included. [h]
    """

    job: str
    item: int
    quote: str
    line: int
    title: str
    assembly: str
    operation: str
    name: str
    kind: str
    skill: str
    low: float
    typical: float
    high: float
    setup: float
    expected: float


@dataclass(frozen=True, kw_only=True)
class Entry:
    """What every entry says besides its own: entries are added, never changed.

    Parameters
    ----------
    day
        The day it was worked, paid or sent.
    job
        Number of the job; None for the shop as a whole.
    id, booked
        Given by the ledger: its number, and when it was booked, in UTC.
    reverses
        Id of the entry that this one takes back; its amounts are those with the sign turned.
    replaces
        Id of the entry in whose place this one stands.
    why
        Why it was taken back or put right.
    """

    day: date
    job: str | None = None
    note: str = ""
    id: int | None = None
    booked: datetime | None = None
    reverses: int | None = None
    replaces: int | None = None
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class TimeEntry(Entry):
    """Hours of one person on one work item, or on a kind of time that no quote pays for.

    `started` and `stopped` are moments in UTC where they are known; `hours` may be less than lies
    between them, for a break. [h]

    Examples
    --------
    >>> TimeEntry(person="Ada", day=date(2026, 3, 2), hours=1.5, job="260302-0A1B2C", item=4).item
    4
    >>> TimeEntry(person="Ada", day=date(2026, 3, 2), hours=0.5, unbilled="cleaning").job is None
    True
    """

    person: str
    hours: float
    item: int | None = None
    unbilled: str | None = None
    started: datetime | None = None
    stopped: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Purchase(Entry):
    """Parts or materials bought: `amount` is what was paid for all of them, before tax. [currency]

    `part` is the name in the table of parts, where it has one.

    Examples
    --------
    >>> bought = Purchase(day=date(2026, 3, 2), job="260302-0A1B2C", supplier="oakbench-parts",
    ...                   what="Rubber rings", quantity=60, unit="piece",
    ...                   amount=Decimal("38.40"), currency="USD")
    >>> bought.amount / int(bought.quantity)  # of one
    Decimal('0.64')
    """

    supplier: str
    what: str
    quantity: float
    unit: str
    amount: Decimal
    currency: str
    part: str | None = None


@dataclass(frozen=True, kw_only=True)
class Outwork(Entry):
    """Pieces sent out, or come back: `event` is "sent" or "back".

    What comes back names with `of` the entry by which it was sent; a lot may come back in parts.
    `amount` is what was charged, before tax; 0 while it is not known. [currency]

    Examples
    --------
    >>> from dataclasses import replace
    >>> sent = Outwork(day=date(2026, 3, 2), job="260302-0A1B2C", service="blasting",
    ...                what="Legs", event="sent", quantity=1, unit="lot", currency="USD", id=7)
    >>> back = replace(sent, event="back", day=date(2026, 3, 9), of=sent.id, id=None,
    ...                amount=Decimal(40))
    >>> (back.day - sent.day).days
    7
    """

    service: str
    what: str
    event: str
    quantity: float
    unit: str
    currency: str
    of: int | None = None
    amount: Decimal = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class Sale(Entry):
    """What came in: a job paid for, a machine sold; `fees` are what selling cost. [currency]"""

    what: str
    amount: Decimal
    currency: str
    fees: Decimal = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class Done(Entry):
    """A work item that is finished, since `day`."""

    item: int


@dataclass(frozen=True)
class Revision:
    """A later quote for a job under way, which the customer agrees to or refuses.

    Parameters
    ----------
    number
        Its own, as a quote sent.
    job
        Number of the job.
    of
        Number of the quote that it would take the place of.
    offered
        The day it was offered.
    ready
        When the job would be ready with it; None where no day is known.
    changes
        What is different and why, as JSON values.
    answer
        One of `ANSWERS`.
    answered
        The day of the answer; None while it is open.
    note
        Words to the answer.
    """

    number: str
    job: str
    of: str
    offered: date
    ready: date | None
    changes: Sequence[Mapping]
    answer: str = "open"
    answered: date | None = None
    note: str = ""


@dataclass(frozen=True)
class Clock:
    """A person's running clock: on what, and since when, in UTC."""

    person: str
    started: datetime
    job: str | None = None
    item: int | None = None
    unbilled: str | None = None
    note: str = ""


class OnItem(NamedTuple):
    """Hours of one person on one work item, all that are in force.

    Parameters
    ----------
    job, item, quote, operation, expected
        As its `Item` says them. [h]
    person
        Who worked on it.
    hours
        [h]
    """

    job: str
    item: int
    quote: str
    operation: str
    expected: float
    person: str
    hours: float


class Behind(NamedTuple):
    """The book that a quote was reckoned by.

    Parameters
    ----------
    era
        Of the machine, as the survey said it.
    tables
        The shop's tables at that moment, as JSON text.
    """

    era: str
    tables: str


@dataclass(frozen=True)
class Question:
    """Something that may be right and seldom is: asked before it is booked.

    `key` is the word to confirm it with; `file` and `row` say where it stands in a time sheet.
    """

    key: str
    text: str
    file: str | None = None
    row: int | None = None


class Unsure(BadInput):
    """Entries that were not booked because something is asked first; see `questions`."""

    def __init__(self, questions: Sequence[Question]):
        self.questions = tuple(questions)
        super().__init__(
            Fault(one.text, f"If that is right, add --sure {one.key}.", one.file, one.row)
            for one in self.questions)


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


def new_key(kind: str = "") -> str:
    """A key for a new draft: ten letters and digits, never used before, after the kind if any.

    Examples
    --------
    >>> len(new_key()), new_key("deal")[:5]
    (10, 'deal-')
    """
    return (f"{kind}-" if kind else "") + secrets.token_hex(5)


def has_words(text: str, words: str) -> bool:
    """Whether a text holds each of some words, whatever their case and accents.

    Examples
    --------
    >>> has_words("Comet Parade – Zoë Müller", "muller COMET"), has_words("Comet Parade", "comets")
    (True, False)
    """
    plain = _plain(text)
    return all(word in plain for word in _plain(words).split())


def _plain(text: str) -> str:
    return "".join(letter for letter in unicodedata.normalize("NFKD", text.casefold())
                   if not unicodedata.combining(letter))


def no_job(said: str, jobs: Sequence[Job]) -> Fault:
    """What is wrong with a job that is none."""
    near = one_of(said, [word for job in jobs for word in (job.number, job.name)])
    return Fault(f"There is no job {quoted(said)}.",
                 near if jobs else "None was accepted so far: estimator job accept NUMBER.",
                 column="job")


def must_be_open(job: Job) -> None:
    """Refuse to change a job that is closed.

    Examples
    --------
    >>> must_be_open(Job("260302-A1", "Harbour Lights", date(2026, 3, 2)))
    """
    if job.state == "closed":
        raise BadInput(Fault(f"The job {job.name} was closed on {job.closed}.",
                             f'Open it again with: estimator job state {job.number} "on the '
                             'bench"; or quote the machine anew.'))


def must_wait(revision: Revision) -> None:
    """Refuse to answer a revision twice.

    Examples
    --------
    >>> must_wait(Revision("260309-B2", "260302-A1", "260302-A1", date(2026, 3, 9), None, ()))
    """
    if revision.answer != "open":
        raise BadInput(Fault(
            f"{revision.number} was {revision.answer} on {revision.answered} already.",
            "Offer another one with: estimator job change"))


def no_outcome(said: str) -> Fault:
    """What is wrong with an outcome that is none."""
    return Fault(f"{quoted(said)} is no outcome of a quote.", one_of(said, OUTCOMES),
                 column="outcome")


def no_number(number: str, known: Sequence[str]) -> Fault:
    """What is wrong with a number that no quote has; `known` are those that there are."""
    near = one_of(number, known) if known else (
        "None was kept so far: estimator quote SURVEY --level LEVEL --out DIR keeps the one that "
        "it writes.")
    return Fault(f"No quote with the number {quoted(number)} was kept.", near, column="number")
