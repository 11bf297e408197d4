"""Two surveys of one machine laid over each other: which line became which.

Lines have no names, so they are matched by what they say. What stays keeps its number, what is new
comes after the last, and what is gone stays with a count of 0: numbers on papers go on to hold.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from estimator.catalogue import CONDITIONS
from estimator.survey.records import Line, Survey


def merged(before: Survey, after: Survey) -> Survey:
    """The later survey in the order of the earlier one; the machine's facts are the earlier's.

    Lines of one assembly are matched with each other: equal ones first, then those that differ
    least. A line that is no longer there has a count of 0.

    Examples
    --------
    >>> from estimator.catalogue import Condition
    >>> from estimator.survey import Machine
    >>> one, two = Line("flipper", 2, Condition.WORN), Line("post", 9, Condition.LIGHT)
    >>> base = Survey(Machine(), (one, two))
    >>> later = Survey(Machine(), (two, Line("gate", 1, Condition.WORN)))
    >>> [(line.assembly, line.count) for line in merged(base, later).lines]
    [('flipper', 0), ('post', 9), ('gate', 1)]
    """
    places: dict[str, list[int]] = defaultdict(list)
    for place, line in enumerate(before.lines):
        places[line.assembly].append(place)
    found: dict[int, Line] = {}
    new: list[tuple[int, Line]] = []
    later: dict[str, list[tuple[int, Line]]] = defaultdict(list)
    for place, line in enumerate(after.lines):
        if line.count:
            later[line.assembly].append((place, line))
    for assembly, lines in later.items():
        # The nearest pair first; among equals those that stand first.
        pairs = sorted(
            ((*_unlike(before.lines[old], line), old, place), old, place, line)
            for old in places[assembly] for place, line in lines
            if before.lines[old].count or _alike(before.lines[old], line))
        taken: set[int] = set()
        for _, old, place, line in pairs:
            if old not in found and place not in taken:
                found[old] = line
                taken.add(place)
        new += [(place, line) for place, line in lines if place not in taken]
    kept = tuple(found[place] if place in found else replace(line, count=0)
                 for place, line in enumerate(before.lines))
    return replace(before, lines=kept + tuple(line for _, line in sorted(
        new, key=lambda one: one[0])))


def differences(before: Line, after: Line) -> tuple[str, ...]:
    """What a line says now that it did not say before, in words; notes do not count.

    Examples
    --------
    >>> from estimator.catalogue import Condition
    >>> differences(Line("flipper", 1, Condition.WORN), Line("flipper", 2, Condition.FAILED))
    ('count 1, now 2', 'condition worn, now failed')
    """
    words = {"length_mm": ("length", " mm"), "area_cm2": ("area", " cm²")}
    found = []
    for name in ("count", "condition", "certainty", "length_mm", "area_cm2"):
        old, new = getattr(before, name), getattr(after, name)
        if old != new:
            word, unit = words.get(name, (name, ""))
            found.append(f"{word} {_said(old, unit)}, now {_said(new, unit)}")
    return tuple(found)


def _said(value, unit: str) -> str:
    if value is None:
        return "as usual"
    return f"{value:g}{unit}" if isinstance(value, float) else f"{value}{unit}"


def _unlike(old: Line, new: Line) -> tuple:
    """How far two lines of one assembly are apart, for sorting."""
    return (
        old != new, not old.count, old.note != new.note and bool(old.note and new.note),
        abs(CONDITIONS.index(old.condition) - CONDITIONS.index(new.condition)),
        (old.length_mm, old.area_cm2) != (new.length_mm, new.area_cm2),
        old.certainty != new.certainty, abs(old.count - new.count), old.note != new.note,
    )


def _alike(old: Line, new: Line) -> bool:
    """Does the new line bring back one that is gone?"""
    return replace(old, count=new.count) == new
