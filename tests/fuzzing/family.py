"""A family of what is handed to the program, and what may come of one: accepted, or refused well.

A refusal is as it should be where every fault names its place and a cure, in words of the shop.
"""

from __future__ import annotations

import contextlib
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from random import Random

from estimator import jobs, ledger
from estimator.errors import BadInput, Fault

NOW = datetime(2026, 3, 4, 18, 0).astimezone()
ACCEPTED, REFUSED = "accepted", "refused"


@dataclass(frozen=True)
class Family:
    """Files or words of one kind.

    Parameters
    ----------
    seeds
        Names and contents of good ones.
    spoil
        Makes a bad one of a good one.
    read
        Hands one to the program, as a user would: name and bytes.
    of_file
        Whether a refusal must name a file, or else a field or nothing.
    """

    name: str
    seeds: tuple[tuple[str, bytes], ...]
    spoil: Callable[[Random, bytes], bytes]
    read: Callable[[str, bytes], object]
    of_file: bool = True

    def case(self, number: int) -> tuple[str, bytes]:
        """Name and bytes of the spoiled file of a number; always the same."""
        chance = Random(f"{self.name} {number}")
        name, data = chance.choice(self.seeds)
        return name, self.spoil(chance, data)


def verdict(family: Family, name: str, data: bytes) -> str:
    """Hand one to the program: "accepted", "refused", or what went wrong."""
    try:
        family.read(name, data)
    except BadInput as error:
        return unfit(error.faults, family.of_file) or REFUSED
    except Exception as error:
        return f"{type(error).__name__}: {str(error)[:200]}"
    return ACCEPTED


# Words of libraries that say nothing to a restorer.
_FOREIGN = re.compile(
    r"Input should|Field required|validation error|Extra inputs|valid (string|number|integer|"
    r"boolean|dictionary)|NoneType|Traceback|object has no|Errno|codec|string_pattern|"
    r"not subscriptable|unhashable|out of range:|literal for|<class|<built-in|Expecting|"
    r"Invalid (control|\\\\escape)|IntegrityError|Decimal\(|datetime\.\w|int\(\)|"
    r"too large to convert",
)

_UNPRINTABLE = ("Cc", "Cs", "Zl", "Zp")
_BIDI = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def unfit(faults: tuple[Fault, ...], of_file: bool) -> str:
    """Why a refusal is not as it should be; blank where it is."""
    if not faults:
        return "refused without a word"
    for fault in faults:
        said = str(fault)
        if not fault.what.strip():
            return f"says nothing: {fault!r}"
        if not fault.fix.strip():
            return f"no cure: {said[:200]}"
        if of_file and not fault.file:
            return f"no file: {said[:200]}"
        if fault.row is not None and fault.row < 1:
            return f"row {fault.row}: {said[:200]}"
        if _FOREIGN.search(said):
            return f"foreign words: {said[:300]}"
        if len(said) > 1_200:
            return f"{len(said):,} characters: {said[:200]}"
        odd = [one for one in said if unicodedata.category(one) in _UNPRINTABLE or one in _BIDI]
        if odd:
            return f"unprintable {odd[0]!r}: {said[:200]!r}"
    return ""


def browsed(book: ledger.Ledger) -> None:
    """What the lists of a ledger show."""
    for one in book.jobs():
        book.items(one.number)
        book.revisions(one.number)
    for one in book.drafts():
        book.draft(one.key)
    for one in book.sent():
        with contextlib.suppress(BadInput):
            jobs.opened(book.frozen(one.number), one.number)
    for kind in (ledger.TimeEntry, ledger.Purchase, ledger.Outwork, ledger.Sale, ledger.Done):
        book.entries(kind, history=True)
    book.clocks()
