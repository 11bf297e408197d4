"""What closed jobs say of book hours: each work item's hours expected and booked, pooled.

A record is one operation in one closed job: hours booked over hours expected, of the items that
hours are booked to. What a quote expected by an older book is brought to today's, so that jobs
quoted before and after a change say the same thing. Logs of the ratios are partially pooled over
operations (`learning.pool`): few records are drawn towards what all work of the shop does. Jobs
in which everything goes slowly are not told apart; ranges are a little narrow for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from estimator.catalogue import Catalogue, Era, Operation
from estimator.jobs.freezing import operations_in
from estimator.learning import pool
from estimator.ledger import Behind, Item, Ledger
from estimator.review.books import closed_jobs
from estimator.review.kept import on_items

FEWEST = 3
"""Jobs that must have worked on an operation before anything is proposed."""
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


class Column(NamedTuple):
    """What each item says, as the place of a name among `names`, which stand as they first came."""

    names: tuple[str, ...]
    places: np.ndarray


def column(said: Iterable[str]) -> Column:
    """A column of what each item says.

    Examples
    --------
    >>> column(["b", "a", "b"]).names, column(["b", "a", "b"]).places.tolist()
    (('b', 'a'), [0, 1, 0])
    """
    names: dict[str, int] = {}
    places = [names.setdefault(name, len(names)) for name in said]
    return Column(tuple(names), np.array(places, int))


@dataclass(frozen=True)
class Worked:
    """Work items of closed jobs that hours are booked to, job after job, as columns.

    Parameters
    ----------
    job, key, kind
        Number of the job; key of the operation's row of today; kind of work.
    person
        Who booked most of its hours.
    expected, booked
        By the book of today, and as it came. [h]
    """

    job: Column
    key: Column
    kind: Column
    person: Column
    expected: np.ndarray
    booked: np.ndarray

    def __len__(self) -> int:
        return len(self.expected)


@dataclass(frozen=True)
class _Book:
    """Typical hours of then, for machines of one era; and what was asked of it. [h]"""

    era: Era
    typical: Mapping[tuple[str, str | None], float]
    rows: dict[str, tuple[Operation, float] | None]


class TodaysBook:
    """Brings hours that were expected by the tables of a quote to the book of today.

    Parameters
    ----------
    catalogue
        The tables of today.
    behind
        The books that quotes were reckoned by, by number.
    """

    def __init__(self, catalogue: Catalogue, behind: Mapping[str, Behind]):
        self._operations = catalogue.operations
        self._behind = behind
        self._numbers: dict[Behind, int] = {}
        self._books: list[_Book] = []
        self._typical: dict[str, frozenset] = {}  # by tables
        self._same: dict[tuple[str, frozenset], int] = {}

    def of(self, item: Item) -> tuple[Operation, float] | None:
        """Row that the item's operation stands on today, and hours expected by it. [h]

        None where that cannot be told: nothing was kept of the quote, or one of the two books
        has no hours for the operation.
        """
        book = self.book_of(item.quote)
        held = None if book is None else self.row_of(book, item.operation)
        return held and (held[0], float(today(item.expected, held[0].typical, held[1])))

    def book_of(self, quote: str) -> int | None:
        """Number of the book that a quote was reckoned by; None where that is not known."""
        behind = self._behind.get(quote)
        if behind is None:
            return None
        if behind not in self._numbers:
            typical = self._typical_of(behind.tables)
            # Tables that differ in prices alone are one book.
            number = self._same.setdefault((behind.era, typical), len(self._books))
            if number == len(self._books):
                self._books.append(_Book(Era(behind.era), dict(typical), {}))
            self._numbers[behind] = number
        return self._numbers[behind]

    def row_of(self, book: int, operation: str) -> tuple[Operation, float] | None:
        """The row of today, and the typical hours of then; None if one has none. [h]"""
        rows = self._books[book].rows
        if operation not in rows:
            rows[operation] = self._row_of(self._books[book], operation)
        return rows[operation]

    def _typical_of(self, tables: str) -> frozenset[tuple[tuple[str, str | None], float]]:
        if tables not in self._typical:
            self._typical[tables] = frozenset(
                ((row["operation"], row["era"]), row["typical"])
                for row, _ in operations_in(tables))
        return self._typical[tables]

    def _row_of(self, book: _Book, operation: str) -> tuple[Operation, float] | None:
        row = self._operations.get((operation, book.era)) \
            or self._operations.get((operation, None))
        old = book.typical.get((operation, book.era), book.typical.get((operation, None)))
        return (row, old) if row is not None and old else None


def today(expected, new, old):
    """Hours by the book of today, where typical hours were `old` and are `new`. [h]

    Examples
    --------
    >>> today(1.2, 0.5, 0.25).tolist(), today(0.3, 0.7, 0.7).tolist()
    (2.4, 0.3)
    """
    # Not multiplied where nothing changed: what was booked as expected stays exactly that.
    return np.where(np.equal(new, old), expected, expected * new / old)


def worked_items(ledger: Ledger, catalogue: Catalogue,
                 progress: Callable[[float], bool | None] | None = None) -> Worked:
    """Every work item of closed jobs that hours are booked to, the earliest closed job first.

    Parameters
    ----------
    progress
        Told the share that is done; if it answers False, `Stopped` is raised.
    """
    found = on_items(ledger, [job.number for job in closed_jobs(ledger)], progress)
    quotes, quote = np.unique(found.rows["quote"], return_inverse=True)
    todays = TodaysBook(catalogue, ledger.behind([found.names[one] for one in quotes]))
    books = [todays.book_of(found.names[one]) for one in quotes]
    book = np.array([-1 if one is None else one for one in books], int)[quote]
    # Few pairs of a book and an operation stand in very many items.
    pairs, pair = np.unique(book * len(found.names) + found.rows["operation"],
                            return_inverse=True)
    held = [None if one < 0 else todays.row_of(one, found.names[operation])
            for one, operation in (divmod(both, len(found.names)) for both in pairs.tolist())]
    keys = np.array([(one and key_of(one[0])) or "" for one in held], object)
    kinds = np.array([(one and one[0].kind) or "" for one in held], object)
    new, old = (np.array([np.nan if one is None else how(one) for one in held], float)
                for how in (lambda one: one[0].typical, lambda one: one[1]))
    known = ~np.isnan(old)[pair]
    pair, rows = pair[known], found.rows[known]
    job = np.repeat(np.arange(len(found.jobs)), found.counts)[known]
    return Worked(
        _as_they_come(found.jobs, job), _as_they_come(keys, pair), _as_they_come(kinds, pair),
        _as_they_come(found.names, rows["person"]),
        today(rows["expected"], new[pair], old[pair]), rows["booked"])


def _as_they_come(names: Sequence[str], places: np.ndarray) -> Column:
    """A column with its names as they first come, each once."""
    first = np.full(len(names), len(places))
    # Of several written to one place the last one stays there: here the first of all.
    first[places[::-1]] = np.arange(len(places))[::-1]
    order = np.argsort(first, kind="stable")[:np.count_nonzero(first < len(places))]
    named = column(names[one] for one in order.tolist())
    spots = np.zeros(len(names), int)
    spots[order] = named.places
    return Column(named.names, spots[places])


def records_of(items: Worked) -> dict[str, list[Evidence]]:
    """Each job's record of each operation, by key of the row it stands on today."""
    jobs = len(items.job.names)
    pairs, first, pair = np.unique(items.key.places * jobs + items.job.places,
                                   return_index=True, return_inverse=True)
    expected, booked = (np.bincount(pair, hours, len(pairs)).tolist()
                        for hours in (items.expected, items.booked))
    found: dict[str, list[Evidence]] = {key: [] for key in items.key.names}
    for one in np.argsort(first).tolist():
        key, job = divmod(int(pairs[one]), jobs)
        found[items.key.names[key]].append(
            Evidence(items.job.names[job], expected[one], booked[one]))
    return found


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
