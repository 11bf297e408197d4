"""An opened figure as plain JSON, and as text for the terminal."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from estimator.trace.places import Place
from estimator.trace.steps import Step, formula, written

_WIDTH = 100


def as_dict(step: Step) -> dict:
    """A figure and all its steps as plain JSON.

    A range becomes {"low", "typical", "high"}. What comes up a second time in a tree is given
    without its steps, and says so with `"above": true`.

    Examples
    --------
    >>> from estimator.trace.steps import step
    >>> share = step("sum", "share", "Share", 0.25, steps=[step("sum", "none", "Nothing", 0.0)])
    >>> as_dict(share)["steps"][0]["value"]
    0.0
    """
    return _as_dict(step, set())


def _as_dict(step: Step, given: set[str]) -> dict:
    above = step.key in given and bool(step.steps)
    given.add(step.key)
    return {
        "key": step.key,
        "name": step.name,
        "value": _plain(step.value),
        "unit": step.unit,
        "op": step.op,
        "how": step.how,
        "within": step.within,
        "figure": step.figure,
        "row": None if step.row is None else _place(step.row),
        "above": above,
        "steps": [] if above else [_as_dict(one, given) for one in step.steps],
    }


def _plain(value):
    if isinstance(value, tuple):
        return dict(zip(("low", "typical", "high"), map(_plain, value), strict=True))
    # Twelve digits are more than any figure has, and leave out what adding floats leaves over.
    return value if isinstance(value, str) else float(f"{value:.12g}")


def _place(place: Place) -> dict:
    return {
        "kind": place.kind,
        "place": str(place),
        "file": place.file or None,
        "row": place.row,
        "cells": dict(place.cells),
        "unit": place.unit,
        "basis": place.basis,
        "source": place.source,
        "dated": place.dated or None,
        "default": place.default,
    }


def as_text(step: Step, depth: int | None = None) -> str:
    """A figure as an indented list, numbers in a column of their own, its rows listed below.

    Parameters
    ----------
    depth
        How many levels below the figure are shown. None shows all, but leaves closed what is
        better opened by itself: its key stands in brackets.

    Examples
    --------
    >>> from estimator.trace.places import Place
    >>> from estimator.trace.steps import step
    >>> row = Place("table", "rates.csv", 7, {"value": 0.25}, basis="from memory", source="a guess")
    >>> margin = step("row", "margin", "Margin", 0.25, row=row)
    >>> print(as_text(step("rest", "rest", "Left for cost", 0.75, steps=[margin])))
    0.75  Left for cost: 1 − 0.25
    0.25    Margin (rates.csv, row 7: value)
    <BLANKLINE>
    rates.csv, row 7: from memory. a guess
    """
    rows = list(_rows(step, depth))
    numbers = [written(row.step.value, row.step.unit) for row in rows]
    width = max(map(len, numbers))
    units = max(len(row.step.unit) for row in rows)
    lines = []
    for row, number in zip(rows, numbers, strict=True):
        unit = f" {row.step.unit:<{units}}" if units else ""
        lines += _wrapped(row.said, f"{number:>{width}}{unit}  {'  ' * row.level}")
    found = [row.step.row for row in rows if row.step.row is not None and not row.closed]
    return "\n".join([*lines, *_places(found)])


@dataclass(frozen=True)
class _Line:
    """One line of the list: how far in, which figure, what is said of it."""

    level: int
    step: Step
    said: str
    closed: bool = False


def _rows(root: Step, depth: int | None) -> Iterator[_Line]:
    given: set[str] = set()
    title = root.name.partition(": ")[0]

    def walk(step: Step, level: int) -> Iterator[_Line]:
        name = step.name
        if level and name.startswith(f"{title}: "):
            name = name[len(title) + 2:]
            name = f"{name[:1].upper()}{name[1:]}"
        key = f" [{step.key}]" if step.figure else ""
        if not step.steps:
            yield _Line(level, step, f"{name}{key} ({_where(step)})")
        elif step.key in given:
            yield _Line(level, step, f"{name}{key} (as above)")
        elif level >= depth if depth is not None else level and _better_alone(step, root):
            yield _Line(level, step, f"{name}{key}" if key else f"{name}: {_how(step)}", True)
        else:
            given.add(step.key)
            place = f" ({step.row})" if step.row else ""
            yield _Line(level, step, f"{name}{key}: {_how(step)}{place}")
            for one in step.steps:
                yield from walk(one, level + 1)

    yield from walk(root, 0)


def _better_alone(step: Step, root: Step) -> bool:
    """Does a figure stay closed? Those of another line or kind do, and single items of a line."""
    family = step.key.partition(".")[0] == root.key.partition(".")[0]
    item = re.search(r"\.(work|part|material)-\d+$", step.key)
    return step.figure and (not family or item is not None)


def _how(step: Step) -> str:
    """How it comes about, without the names that stand in the lines below."""
    return step.said or formula(step.op, step.steps, names=False)


def _where(step: Step) -> str:
    """Where a leaf stands; settings are known by their names."""
    if step.row is None or step.row.kind in ("definition", "survey"):
        return step.how
    return step.row.columns if step.row.kind == "table" else str(step.row)


def _places(found: list[Place]) -> list[str]:
    """The rows that were named, those that stand on the same told together."""
    said: dict[tuple[str, str], list[Place]] = {}
    for place in dict.fromkeys(str(place) for place in found):
        one = next(other for other in found if str(other) == place)
        if one.kind in ("table", "setting", "survey"):
            said.setdefault((one.file, _stands(one)), []).append(one)
    lines = [""] if said else []
    for (file, stands), places in said.items():
        numbers = sorted(place.row for place in places if place.row is not None)
        rows = f", row{'s' * (len(numbers) > 1)} {', '.join(map(str, numbers))}" if numbers else ""
        lines += _wrapped(f"{file}{rows}: {stands}", "", "    ")
    return lines


def _stands(place: Place) -> str:
    """On what a row rests."""
    if place.kind == "survey":
        cells = dict(place.cells)
        note = cells.pop("note", "")
        units = {"length_mm": " mm long", "area_cm2": " cm²"}
        said = ", ".join(f"{value:g}{units[name]}" if name in units else str(value)
                         for name, value in cells.items())
        return f"{said}; {note}" if note else said
    dated = f", {place.dated}" if place.dated else ""
    return f"{place.basis}. {place.source}{dated}"


def _wrapped(text: str, first: str, later: str | None = None) -> list[str]:
    later = " " * (len(first) + 2) if later is None else later
    return textwrap.wrap(text, _WIDTH, initial_indent=first, subsequent_indent=later,
                         break_long_words=False, break_on_hyphens=False)
