"""Where a job stands that is not finished, in hours, and what it will come to."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import date

from estimator import earned
from estimator.errors import BadInput, Fault
from estimator.review.books import Books


def done_of(books: Books, said: Mapping[int, float] | None = None, on: date | None = None
             ) -> dict[int, float]:
    """Share of each work item that is done.

    What is not said is taken from the marks where the job has any: an item marked by that day is
    done, another one that hours are booked to is half done. Without marks it is taken from the
    bookings: an item that hours are booked to is done, once its person has gone on to another
    one; the one that each person was on last is half done. A job that is finished is done.

    Parameters
    ----------
    on
        The day to look at it; None counts every mark.

    Raises
    ------
    BadInput
        If `said` names an item that the job does not have, or no share from 0 to 1.
    """
    said = said or {}
    numbers = [item.item for item in books.items]
    faults = [Fault(f"{books.job.name} has no work item {item}.",
                    f"Its items are numbered 1 to {max(numbers, default=0)}.")
              for item in said if item not in numbers]
    faults += [Fault(f"{share:g} of item {item} cannot be done.", "Write 0.5 for 50 %.")
               for item, share in said.items() if not 0 <= share <= 1]
    if faults:
        raise BadInput(faults)
    if books.job.state in ("finished", "closed"):
        return dict.fromkeys(numbers, 1.0) | dict(said)
    last = {entry.person: entry.item for entry in books.time if entry.item is not None}
    booked = books.on_items
    if books.marks:
        marked = {mark.item for mark in books.marks if on is None or mark.day <= on}
        return {item: 1.0 if item in marked else 0.5 if booked[item] > 0 else 0.0
                for item in numbers} | dict(said)
    shares = {item: (0.5 if item in last.values() else 1.0) if booked[item] > 0 else 0.0
              for item in numbers}
    return shares | dict(said)


def _planned_of(books: Books, on: date) -> dict[int, float]:
    """Share of each work item that was to be done by a day.

    One after the other in the order of the quote, evenly from the day the job was accepted to
    the day it is promised for; nothing is planned where nothing is promised.
    """
    job = books.job
    if job.promised is None:
        return dict.fromkeys((item.item for item in books.items), 0.0)
    days = (job.promised - job.accepted).days
    gone = (on - job.accepted).days / days if days else float(on >= job.promised)
    left = min(max(gone, 0.0), 1.0) * math.fsum(item.expected for item in books.items)
    shares = {}
    for item in books.items:
        shares[item.item] = (min(1.0, max(0.0, left) / item.expected) if item.expected
                             else float(left > 0))
        left -= item.expected
    if gone >= 1:
        return dict.fromkeys(shares, 1.0)
    return shares


def status_of(books: Books, on: date, done: Mapping[int, float] | None = None
              ) -> earned.Status | None:
    """Earned value of a job in hours, found work left out; None if nothing is expected of it."""
    if not any(item.expected > 0 for item in books.items):
        return None
    shares, planned = done_of(books, done, on), _planned_of(books, on)
    return earned.status([item.expected for item in books.items],
                         [planned[item.item] for item in books.items],
                         [shares[item.item] for item in books.items], books.of_its_work)


def past_of(closed: Iterable[Books]) -> earned.PastJobs | None:
    """How closed jobs lay around the book; None while they are too few to tell."""
    tables = []
    for books in closed:
        booked = books.on_items
        table = [(item.expected, booked[item.item]) for item in books.items if item.expected > 0]
        if any(hours for _, hours in table):
            tables.append(table)
    if len(tables) < 2 or not any(len(table) > 1 for table in tables):
        return None
    return earned.past_jobs(tables)
