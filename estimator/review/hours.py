"""Hours booked against hours expected, by what the work items have in common."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping

from estimator.review.books import Books
from estimator.review.records import ASPECTS, Group


def groups_of(books: Books) -> Mapping[str, tuple[Group, ...]]:
    """Hours of a job by each of `ASPECTS`, the most booked first.

    An item that several people worked on counts for each by the share of hours they booked.
    """
    sums: dict[tuple[str, str], list] = defaultdict(lambda: [0, 0, [], [], []])
    for item in books.items:
        people = books.by_person[item.item]
        hours = math.fsum(people.values())
        names = {"operation": item.operation, "kind": item.kind, "assembly": item.assembly,
                 "line": f"{item.line} {item.title}", "job": books.job.name,
                 "level": books.sent.level}
        for by, name in names.items():
            _add(sums[by, name], item.expected, hours)
        for person, own in people.items():
            if hours > 0:
                _add(sums["person", person], item.expected * own / hours, own)
    return _sorted(
        Group(by, name, 1, items, worked, math.fsum(expected), math.fsum(of_worked),
              math.fsum(booked))
        for (by, name), (items, worked, expected, of_worked, booked) in sums.items())


def together(jobs: Iterable[Mapping[str, tuple[Group, ...]]]) -> Mapping[str, tuple[Group, ...]]:
    """The same over several jobs."""
    alike: dict[tuple[str, str], list[Group]] = defaultdict(list)
    for groups in jobs:
        for found in groups.values():
            for one in found:
                alike[one.by, one.name].append(one)
    return _sorted(merged(by, name, found) for (by, name), found in alike.items())


def merged(by: str, name: str, groups: Collection[Group]) -> Group:
    """Groups of different jobs as one."""
    return Group(by, name, *(sum(getattr(one, count) for one in groups)
                             for count in ("jobs", "items", "worked")),
                 *(math.fsum(getattr(one, hours) for one in groups)
                   for hours in ("expected", "expected_worked", "booked")))


def _sorted(groups: Iterable[Group]) -> Mapping[str, tuple[Group, ...]]:
    found: dict[str, list[Group]] = {by: [] for by in ASPECTS}
    for one in groups:
        found[one.by].append(one)
    return {by: tuple(sorted(alike, key=lambda one: (-one.booked, -one.expected, one.name)))
            for by, alike in found.items()}


def _add(sums: list, expected: float, hours: float) -> None:
    sums[0] += 1
    sums[2].append(expected)
    sums[4].append(hours)
    if hours > 0:
        sums[1] += 1
        sums[3].append(expected)
