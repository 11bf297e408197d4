"""Which work is meant by a cell of `precedence.csv` or `spaces.csv`, and what waits for what."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from estimator.catalogue import Catalogue, Precedence
from estimator.errors import BadInput, Fault
from estimator.network import Circle, Link, in_order


@dataclass(frozen=True)
class Task:
    """A piece of work, a lot that is away or an order on its way, as rules see it.

    `what` is "work", "outwork" or "order"; `lines` are the survey lines it serves.
    """

    name: str
    what: str
    lines: frozenset[int]
    assemblies: frozenset[str]
    groups: frozenset[str]
    kind: str = ""
    skill: str = ""
    operation: str = ""
    service: str = ""
    part: tuple[int, int] = (1, 1)


def holds(cell: str, task: Task) -> bool:
    """Whether a cell means this task.

    Words without `all`, `outwork`, `order` or a service mean work only.

    Examples
    --------
    >>> washed = Task("Post: wash", "work", frozenset({3}), frozenset({"post"}),
    ...                frozenset({"metal"}), kind="clean", operation="post-clean")
    >>> holds("group:metal -kind:polish", washed), holds("kind:clean+assembly:ramp", washed)
    (True, False)
    """
    found = False
    for out, parts in _words(cell):
        if found == out and all(_fits(part, task) for part in parts) and (
                task.what == "work" or any(part[0] in ("all", "outwork", "order", "service")
                                            for part in parts)):
            found = not out
    return found


@functools.lru_cache(maxsize=1024)
def _words(cell: str) -> tuple[tuple[bool, tuple[tuple[str, str], ...]], ...]:
    """Each word of a cell: whether it takes out, and its parts as (what, name)."""
    return tuple(
        (word.startswith("-"), tuple((what, said) for what, _, said in
                                     (part.partition(":") for part in word.lstrip("-").split("+"))))
        for word in cell.split())


def _fits(part: tuple[str, str], task: Task) -> bool:
    what, said = part
    if what == "assembly":
        return said in task.assemblies
    if what == "group":
        return said in task.groups
    if what in ("outwork", "order"):
        return task.what == what
    return what == "all" or getattr(task, what) == said


def links_of(tasks: Sequence[Task], catalogue: Catalogue) -> dict[Link, Precedence]:
    """What waits for what, by the places of the tasks, each with the rule that says so.

    Parts of one item follow each other. Rules that say "wait-first" are links too.

    Raises
    ------
    BadInput
        If rules make work wait for itself, naming the rules in the circle.
    """
    found: dict[Link, Precedence] = {}
    for row in catalogue.precedence.values():
        before = [at for at, task in enumerate(tasks) if holds(row.before, task)]
        after = [at for at, task in enumerate(tasks) if holds(row.after, task)]
        if row.does == "turns":
            pairs = _turns(before, after, tasks)
        else:
            pairs = [(a, b) for a in before for b in after
                     if a != b and (row.where == "machine" or tasks[a].lines & tasks[b].lines)]
        for pair in pairs:
            found.setdefault(pair, row)
    try:
        in_order(len(tasks), found)
    except Circle as circle:
        raise BadInput(_circle(circle, found, tasks, catalogue)) from None
    return found


def turns_of(catalogue: Catalogue) -> frozenset[str]:
    """Names of rules' cells under which sessions take turns, to split items by."""
    return frozenset(cell for row in catalogue.precedence.values() if row.does == "turns"
                     for cell in (row.before, row.after))


def waits_first(catalogue: Catalogue) -> tuple[str, ...]:
    """Cells of the work whose unattended time passes before it."""
    return tuple(row.after for row in catalogue.precedence.values() if row.does == "wait-first")


def _turns(before: Sequence[int], after: Sequence[int], tasks: Sequence[Task]) -> list[Link]:
    found: list[Link] = []
    for line in sorted({line for at in before for line in tasks[at].lines}):
        first = [at for at in before if line in tasks[at].lines]
        second = [at for at in after if line in tasks[at].lines]
        row = [at for turn in range(max(len(first), len(second)))
               for at in (*first[turn:turn + 1], *second[turn:turn + 1])]
        found += itertools.pairwise(row)
    return found


def _circle(circle: Circle, rules: Mapping[Link, Precedence], tasks: Sequence[Task],
            catalogue: Catalogue) -> Fault:
    ring = circle.tasks
    pairs = list(zip(ring, (*ring[1:], ring[0]), strict=True))
    said = "; ".join(f'"{rules[pair].rule}" ({catalogue.place(rules[pair])}) puts '
                     f"{tasks[pair[0]].name} before {tasks[pair[1]].name}" for pair in pairs)
    return Fault(f"Work waits for itself: {said}.",
                 "Take one of them out of a rule with a word after -, such as "
                 f"-operation:{tasks[pairs[-1][1]].operation or 'name'}, or delete the rule.",
                 *catalogue.at(rules[pairs[-1]]), "after")
