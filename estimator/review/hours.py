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
    sums: dict[str, dict[str, list]] = {by: {} for by in ASPECTS}
    for item in books.items:
        hours = books.on_items[item.item]
        _add(sums["operation"], item.operation, item.expected, hours)
        _add(sums["kind"], item.kind, item.expected, hours)
        _add(sums["assembly"], item.assembly, item.expected, hours)
        _add(sums["line"], f"{item.line} {item.title}", item.expected, hours)
        if hours > 0:
            for person, own in books.by_person[item.item].items():
                _add(sums["person"], person, item.expected * own / hours, own)
    # All of a job is of one name and one level.
    if sums["kind"]:
        items, worked, *hours = zip(*sums["kind"].values(), strict=True)
        sums["job"][books.job.name] = sums["level"][books.sent.level] = [
            sum(items), sum(worked), *map(math.fsum, hours)]
    return {by: _sorted(Group(by, name, 1, *one) for name, one in found.items())
            for by, found in sums.items()}


def together(jobs: Iterable[Mapping[str, tuple[Group, ...]]]) -> Mapping[str, tuple[Group, ...]]:
    """The same over several jobs."""
    alike: dict[str, dict[str, list[Group]]] = {by: defaultdict(list) for by in ASPECTS}
    for groups in jobs:
        for by, found in groups.items():
            for one in found:
                alike[by][one.name].append(one)
    return {by: _sorted(merged(by, name, found) for name, found in named.items())
            for by, named in alike.items()}


def merged(by: str, name: str, groups: Collection[Group]) -> Group:
    """Groups of different jobs as one."""
    jobs, items, worked, *hours = zip(*(
        (one.jobs, one.items, one.worked, one.expected, one.expected_worked, one.booked)
        for one in groups), strict=True)
    return Group(by, name, sum(jobs), sum(items), sum(worked), *map(math.fsum, hours))


def _sorted(groups: Iterable[Group]) -> tuple[Group, ...]:
    return tuple(sorted(groups, key=lambda one: (-one.booked, -one.expected, one.name)))


def _add(sums: dict[str, list], name: str, expected: float, hours: float) -> None:
    """Count an item: items, items worked on, hours expected, expected of those, booked."""
    one = sums.get(name)
    if one is None:
        one = sums[name] = [0, 0, 0.0, 0.0, 0.0]
    one[0] += 1
    one[2] += expected
    one[4] += hours
    if hours > 0:
        one[1] += 1
        one[3] += expected
