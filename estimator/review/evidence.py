"""What closed jobs say of book hours: each work item's hours expected and booked, pooled.

A record is one operation in one closed job: hours booked over hours expected, of the items that
hours are booked to. What a quote expected by an older book is brought to today's, so that jobs
quoted before and after a change say the same thing. Logs of the ratios are partially pooled over
operations (`learning.pool`): few records are drawn towards what all work of the shop does. Jobs
in which everything goes slowly are not told apart; ranges are a little narrow for it.
"""

from __future__ import annotations

import itertools
import json
import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from estimator.catalogue import Catalogue, Era, Operation
from estimator.errors import Stopped
from estimator.learning import pool
from estimator.ledger import Frozen, Item, Ledger, OnItem
from estimator.review.books import closed_jobs

FEWEST = 3
"""Jobs that must have worked on an operation before anything is proposed."""
_AT_ONCE = 200
Z90 = 1.6449  # standard normal: 5 % above, 5 % below −1.6449


@dataclass(frozen=True)
class Evidence:
    """One closed job's record of an operation, or of all its work.

    Parameters
    ----------
    job
        Its number.
    expected
        Of the items that hours are booked to, by the book of today. [h]
    booked
        [h]
    """

    job: str
    expected: float
    booked: float


@dataclass(frozen=True)
class Worked:
    """A work item of a closed job that hours are booked to.

    Parameters
    ----------
    job, key, kind
        Number of the job; key of the operation's row of today; kind of work.
    person
        Who booked most of its hours.
    expected, booked
        By the book of today, and as it came. [h]
    """

    job: str
    key: str
    kind: str
    person: str
    expected: float
    booked: float


@dataclass(frozen=True)
class _Book:
    """Typical hours of then, for machines of one era; and what was asked of it. [h]"""

    era: Era
    typical: Mapping[tuple[str, str | None], float]
    rows: dict[str, tuple[Operation | None, float | None]]


class TodaysBook:
    """Brings hours that were expected by the tables of a quote to the book of today.

    Parameters
    ----------
    catalogue
        The tables of today.
    kept
        What the ledger kept of quotes, by number.
    """

    def __init__(self, catalogue: Catalogue, kept: Mapping[str, Frozen]):
        self._operations = catalogue.operations
        self._kept = kept
        self._books: dict[str, _Book | None] = {}  # by quote
        self._same: dict[tuple[str, Era], _Book] = {}
        self._typical: dict[str, dict[tuple[str, str | None], float]] = {}

    def of(self, item: Item | OnItem) -> tuple[Operation, float] | None:
        """Row that the item's operation stands on today, and hours expected by it. [h]

        None where that cannot be told: nothing was kept of the quote, or one of the two books
        has no hours for the operation.
        """
        if item.quote not in self._books:
            self._books[item.quote] = self._book_of(item.quote)
        book = self._books[item.quote]
        if book is None:
            return None
        if item.operation not in book.rows:
            book.rows[item.operation] = self._row_of(item.operation, book)
        row, old = book.rows[item.operation]
        if row is None or not old:
            return None
        # Not multiplied where nothing changed: what was booked as expected stays exactly that.
        return row, item.expected if old == row.typical else item.expected * row.typical / old

    def _book_of(self, quote: str) -> _Book | None:
        held = self._kept.get(quote)
        if held is None:
            return None
        if held.tables not in self._typical:
            self._typical[held.tables] = {
                (row["operation"], row["era"]): row["typical"]
                for row, _ in json.loads(held.tables).get("operations", ())}
        key = held.tables, Era(held.survey["machine"]["era"])
        if key not in self._same:
            self._same[key] = _Book(key[1], self._typical[held.tables], {})
        return self._same[key]

    def _row_of(self, operation: str, book: _Book) -> tuple[Operation | None, float | None]:
        """The row of today, and the typical hours of then. [h]"""
        then = book.typical
        return (self._operations.get((operation, book.era))
                or self._operations.get((operation, None)),
                then.get((operation, book.era), then.get((operation, None))))


def foremost(hands: Mapping[str, float]) -> str | None:
    """Who booked most hours of an item; of those who booked as many the first by name.

    Examples
    --------
    >>> foremost({"Ben": 1.5, "Anna": 1.5}), foremost({})
    ('Anna', None)
    """
    return max(sorted(hands), key=hands.__getitem__) if hands else None


def worked_items(ledger: Ledger, catalogue: Catalogue,
                 progress: Callable[[float], bool | None] | None = None) -> tuple[Worked, ...]:
    """Every work item of closed jobs that hours are booked to, the earliest closed job first.

    Parameters
    ----------
    progress
        Told the share that is done; if it answers False, `Stopped` is raised.
    """
    closed = closed_jobs(ledger)
    today = TodaysBook(catalogue, ledger.frozen_of(
        {job.number for job in closed} | {one.number for one in ledger.revisions()},
        answers=False))
    found: list[Worked] = []
    # So many jobs at a time: the hours of years would fill the memory.
    for start in range(0, len(closed), _AT_ONCE):
        if progress is not None and progress(start / len(closed)) is False:
            raise Stopped("The search for proposals was stopped.")
        numbers = [job.number for job in closed[start:start + _AT_ONCE]]
        hours: dict[str, list[OnItem]] = {number: [] for number in numbers}
        for one in ledger.worked(numbers):
            hours[one.job].append(one)
        for mine in hours.values():
            found += _worked(mine, today)
    return tuple(found)


def _worked(hours: Iterable[OnItem], today: TodaysBook) -> Iterator[Worked]:
    """The items of one job; `hours` by item."""
    for _, group in itertools.groupby(hours, key=lambda one: one.item):
        item, *others = group
        hands = {one.person: one.hours for one in (item, *others)}
        booked = math.fsum(hands.values())
        held = today.of(item) if booked > 0 and item.expected > 0 else None
        if held is not None:
            row, expected = held
            yield Worked(item.job, key_of(row), row.kind, foremost(hands), expected, booked)


def records_of(items: Iterable[Worked]) -> dict[str, list[Evidence]]:
    """Each job's record of each operation, by key of the row it stands on today."""
    sums: dict[str, dict[str, list[float]]] = defaultdict(dict)
    for item in items:
        one = sums[item.key].setdefault(item.job, [0.0, 0.0])
        one[0] += item.expected
        one[1] += item.booked
    return {key: [Evidence(job, *both) for job, both in jobs.items()]
            for key, jobs in sums.items()}


def pooled(records: Mapping[str, Sequence[Evidence]]) -> dict[str, tuple[float, float, float]]:
    """Ratio of booked to expected hours on average, and its 90 % range, of each operation.

    The mean of a ratio whose log is normal is exp(mean + variance / 2).

    Examples
    --------
    >>> few = [Evidence("a", 1, 1.2), Evidence("b", 1, 1.3), Evidence("c", 1, 1.25)]
    >>> even = [Evidence("a", 1, 0.95), Evidence("b", 1, 1.05), Evidence("c", 1, 1)]
    >>> [round(ratio, 2) for ratio in pooled({"flipper-rebuild": few, "test": even})["test"]]
    [1.0, 0.96, 1.05]
    """
    logs = {key: np.log([one.booked / one.expected for one in found])
            for key, found in records.items()}
    count, total, square = (np.array([how(one) for one in logs.values()])
                            for how in (len, np.sum, lambda one: float((one**2).sum())))
    try:
        fit = pool(count, total, square)
    except ValueError:
        # One operation, or records that are all alike: each stands by itself.
        return {key: _alone(one) for key, one in logs.items()}
    kept = fit.between * count / (fit.within + fit.between * count)
    middle = 1 / float((count / (fit.within + fit.between * count)).sum())
    sds = np.sqrt(fit.sds**2 + (1 - kept) ** 2 * middle)
    return {key: _range(mean, sd, fit.within)
            for key, mean, sd in zip(logs, fit.means, sds, strict=True)}


def key_of(row: Operation) -> str:
    """Name of an operation, and after a slash the era where the row is for one era."""
    return f"{row.operation}/{row.era}" if row.era else row.operation


def row_of(catalogue: Catalogue, key: str) -> Operation:
    """The row of such a key."""
    operation, _, era = key.partition("/")
    return catalogue.operations[operation, Era(era) if era else None]


def _alone(logs: np.ndarray) -> tuple[float, float, float]:
    if len(logs) < FEWEST:
        return 1.0, 0.0, math.inf
    variance = float(logs.var(ddof=1))
    return _range(float(logs.mean()), math.sqrt(variance / len(logs)), variance)


def _range(mean: float, sd: float, within: float) -> tuple[float, float, float]:
    middle = mean + within / 2
    return tuple(float(math.exp(middle + z * sd)) for z in (0.0, -Z90, Z90))
