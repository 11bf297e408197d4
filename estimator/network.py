"""A network of tasks: early and late dates, slack, critical paths, and circles where there are any.

Tasks are numbered from 0; a link (a, b) says that b waits for a. Durations and dates are in any
one unit of time. After the critical-path method, as in J. Heizer and B. Render, "Operations
Management", chapter on project management.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

Link = tuple[int, int]


@dataclass(frozen=True)
class Dates:
    """Dates of every task, one number each, in the unit of the durations; counted from the start.

    Parameters
    ----------
    early_start, early_finish
        The earliest there can be.
    late_start, late_finish
        The latest that do not delay the end.
    total_slack
        How far a task can slip without delaying the end.
    free_slack
        How far it can slip without delaying any task after it.
    end
        When the last task is finished.
    """

    early_start: tuple[float, ...]
    early_finish: tuple[float, ...]
    late_start: tuple[float, ...]
    late_finish: tuple[float, ...]
    total_slack: tuple[float, ...]
    free_slack: tuple[float, ...]
    end: float


class Circle(ValueError):
    """Tasks that wait for each other; `tasks` are those of one circle, each before the next."""

    def __init__(self, tasks: Sequence[int]):
        self.tasks = tuple(tasks)
        super().__init__("these tasks wait for each other: " + ", ".join(map(str, self.tasks)))


def in_order(count: int, links: Iterable[Link]) -> list[int]:
    """The tasks in an order in which each comes after all that it waits for; the first, first.

    Raises
    ------
    Circle
        If tasks wait for each other.

    Examples
    --------
    >>> in_order(3, [(2, 0), (0, 1)])
    [2, 0, 1]
    """
    before, after = _sides(count, set(links))
    open_links = [len(row) for row in before]
    ready = [task for task in range(count) if not open_links[task]]
    found = []
    while ready:
        task = heapq.heappop(ready)
        found.append(task)
        for other in after[task]:
            open_links[other] -= 1
            if not open_links[other]:
                heapq.heappush(ready, other)
    if len(found) < count:
        raise Circle(_circle(set(range(count)) - set(found), before))
    return found


def _sides(count: int, links: Iterable[Link]) -> tuple[list[list[int]], list[list[int]]]:
    """By task, what it waits for, and what waits for it."""
    before: list[list[int]] = [[] for _ in range(count)]
    after: list[list[int]] = [[] for _ in range(count)]
    for a, b in links:
        before[b].append(a)
        after[a].append(b)
    return before, after


def _circle(left: set[int], before: Sequence[Sequence[int]]) -> list[int]:
    """The shortest circle among tasks of which each waits for another one of them."""
    best: list[int] = []
    for task in sorted(left):
        # Back from the task along what waits for what, one step further each time.
        came: dict[int, int] = {}
        edge, steps = [task], 0
        while edge and task not in came and (not best or steps < len(best)):
            steps += 1
            nearer, edge = edge, []
            for at in nearer:
                for other in before[at]:
                    if other in left and other not in came:
                        came[other] = at
                        edge.append(other)
        if task in came and (not best or steps < len(best)):
            best, at = [task], came[task]
            while at != task:
                best.append(at)
                at = came[at]
    return best


def needed(count: int, links: Iterable[Link]) -> list[Link]:
    """The links without those that follow from others, sorted.

    Raises
    ------
    Circle
        If tasks wait for each other.

    Examples
    --------
    >>> needed(3, [(0, 1), (1, 2), (0, 2)])
    [(0, 1), (1, 2)]
    """
    links = set(links)
    before, _ = _sides(count, links)
    # The tasks that one waits for, near and far, as bits.
    far = [0] * count
    found = []
    for task in in_order(count, links):
        through = 0
        for other in before[task]:
            through |= far[other]
        far[task] = through
        for other in before[task]:
            far[task] |= 1 << other
            if not through >> other & 1:
                found.append((other, task))
    return sorted(found)


def dates(durations: Sequence[float], links: Iterable[Link], end: float | None = None) -> Dates:
    """Early and late dates and slack of every task.

    Parameters
    ----------
    durations
        Of each task, 0 or more.
    end
        When all must be finished; None takes the earliest possible. One that is earlier still
        gives slack below 0.

    Raises
    ------
    Circle
        If tasks wait for each other.

    Examples
    --------
    >>> found = dates([2, 3, 1], [(0, 1), (2, 1)])
    >>> found.end, found.total_slack, found.free_slack
    (5, (0, 0, 1), (0, 0, 1))
    """
    count, links = len(durations), set(links)
    order = in_order(count, links)
    before, after = _sides(count, links)
    start: list[float] = [0] * count
    finish: list[float] = [0] * count
    for task in order:
        start[task] = max((finish[other] for other in before[task]), default=0)
        finish[task] = start[task] + durations[task]
    last = max(finish, default=0)
    limit = last if end is None else end
    late: list[float] = [0] * count
    for task in reversed(order):
        late[task] = min((late[other] for other in after[task]), default=limit) - durations[task]
    return Dates(
        tuple(start), tuple(finish), tuple(late),
        tuple(late[task] + durations[task] for task in range(count)),
        tuple(late[task] - start[task] for task in range(count)),
        tuple(min((start[other] for other in after[task]), default=last) - finish[task]
              for task in range(count)),
        last,
    )


def critical_paths(durations: Sequence[float], links: Iterable[Link], *, most: int = 100,
                   within: float = 1e-9) -> list[tuple[int, ...]]:
    """The longest ways through the network, each from its first task to its last.

    Parameters
    ----------
    most
        No more than so many; a network can have very many that are equally long.
    within
        How far apart dates may lie and still count as the same.

    Examples
    --------
    >>> critical_paths([2, 3, 2], [(0, 1), (2, 1)])
    [(0, 1), (2, 1)]
    """
    links = needed(len(durations), links)
    found = dates(durations, links)
    after: list[list[int]] = [[] for _ in durations]
    firsts = set(range(len(durations)))
    for a, b in links:
        if found.early_start[b] - found.early_finish[a] <= within:
            after[a].append(b)
        firsts.discard(b)
    critical = [abs(slack) <= within for slack in found.total_slack]
    paths: list[tuple[int, ...]] = []
    waiting = [(task,) for task in sorted(firsts, reverse=True) if critical[task]]
    while waiting and len(paths) < most:
        path = waiting.pop()
        onward = [task for task in sorted(after[path[-1]], reverse=True) if critical[task]]
        if onward:
            waiting += [(*path, task) for task in onward]
        else:  # what has no slack is followed by what has none, or ends with the last
            paths.append(path)
    return paths


__all__ = ["Circle", "Dates", "Link", "critical_paths", "dates", "in_order", "needed"]
