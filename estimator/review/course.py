"""How a job went on: hours planned, earned and spent by the end of each day that matters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

from estimator.ledger import Ledger
from estimator.review.books import Books, books_of
from estimator.review.progress import status_of


@dataclass(frozen=True)
class Course:
    """A job day by day; one figure for each of `days`.

    Parameters
    ----------
    days
        The day it was accepted, every day that hours were booked on, and the last one.
    planned, earned, spent
        By the end of the day (PV, EV, AC). [h]
    """

    days: tuple[date, ...]
    planned: tuple[float, ...]
    earned: tuple[float, ...]
    spent: tuple[float, ...]


def course_of(ledger: Ledger, number: str, *, on: date | None = None) -> Course | None:
    """The course of a job up to a day, today or the day that it was closed; in hours.

    What was done on a day is told from what was marked and booked by then; see
    `progress.done_of`. None if nothing is expected of the job.

    Parameters
    ----------
    number
        Of the job.
    on
        The last day looked at; None is today.

    Raises
    ------
    BadInput
        If there is no such job.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     number = ledger.job("Harbour Lights").number
    ...     found = course_of(ledger, number, on=date(2026, 3, 6))
    >>> [(f"{day:%d}", hours) for day, hours in zip(found.days, found.spent, strict=True)]
    [('03', 0.0), ('04', 0.0), ('05', 3.35), ('06', 3.35)]
    """
    job = ledger.job(number)
    books = books_of(ledger, job)
    last = max(min(on or date.today(), job.closed or date.max), job.accepted)
    worked = {entry.day for entry in books.time if job.accepted <= entry.day <= last}
    # Straight between two days of work, so that a week without any is seen as one.
    days = sorted({job.accepted, last, *worked,
                   *(day - timedelta(1) for day in worked if day > job.accepted)})
    found = []
    for day in days:
        status = status_of(_until(books, day, day == last), day)
        if status is None:
            return None
        found.append((status.planned, status.earned, status.spent))
    return Course(tuple(days), *(tuple(values) for values in zip(*found, strict=True)))


def _until(books: Books, day: date, now: bool) -> Books:
    """The books as they stood on a day; before the last one the job was under way."""
    return replace(books, time=tuple(entry for entry in books.time if entry.day <= day),
                   job=books.job if now else replace(books.job, state="on the bench"))
