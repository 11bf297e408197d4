"""Hours booked against hours expected, by what the work items have in common."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping

from estimator.review.books import Books
from estimator.review.records import ASPECTS, Group


def groups_of(all_books: Iterable[Books]) -> Mapping[str, tuple[Group, ...]]:
    """Hours by each of `ASPECTS`, the most booked first.

    An item that several people worked on counts for each by the share of hours they booked.
    """
    sums: dict[tuple[str, str], list] = defaultdict(lambda: [set(), set(), set(), [], [], []])
    for books in all_books:
        booked = books.on_items()
        for item in books.items:
            hours, key = booked[item.item], (books.job.number, item.item)
            names = {"operation": item.operation, "kind": item.kind, "assembly": item.assembly,
                     "line": f"{item.line} {item.title}", "job": books.job.name,
                     "level": books.sent.level}
            for by, name in names.items():
                _add(sums[by, name], key, item.expected, hours)
            for person, share in _shares(books, item.item, hours).items():
                _add(sums["person", person], key, item.expected * share, hours * share)
    found: dict[str, list[Group]] = {by: [] for by in ASPECTS}
    for (by, name), (jobs, items, worked, expected, of_worked, hours) in sums.items():
        found[by].append(Group(by, name, len(jobs), len(items), len(worked), math.fsum(expected),
                               math.fsum(of_worked), math.fsum(hours)))
    return {by: tuple(sorted(groups, key=lambda one: (-one.booked, -one.expected, one.name)))
            for by, groups in found.items()}


def _shares(books: Books, item: int, hours: float) -> dict[str, float]:
    found: dict[str, float] = defaultdict(float)
    for entry in books.time:
        if entry.item == item and hours > 0:
            found[entry.person] += entry.hours / hours
    return found


def _add(sums: list, key: tuple[str, int], expected: float, hours: float) -> None:
    jobs, items, worked, all_expected, of_worked, booked = sums
    jobs.add(key[0])
    items.add(key)
    all_expected.append(expected)
    booked.append(hours)
    if hours > 0:
        worked.add(key)
        of_worked.append(expected)
