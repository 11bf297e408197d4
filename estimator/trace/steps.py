"""A figure, how it comes about, and the figures it is made of."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from estimator.money import minor_digits
from estimator.trace.places import Place

Value = float | str | tuple[float, float, float]
"""A number, a date, or a range: low, typical, high."""

OPS: Mapping[str, str] = {
    "row": "It stands so in the row named; no steps.",
    "definition": "So it is defined; no steps.",
    "sum": "All steps added up; 0 where there are none.",
    "product": "All steps multiplied.",
    "line amount": "All steps multiplied, rounded half up to the smallest coin.",
    "quotient": "The first step over the others.",
    "rest": "What all steps leave of 1.",
    "plus": "1 and all steps.",
    "difference": "The first step less the others.",
    "excess": "The first step less the second, not under 0.",
    "largest": "The largest of the steps.",
    "count": "How many steps there are.",
    "equal": "Each step comes to the same.",
    "mean": "Expected value of a range: (low + 4 × typical + high) / 6, the PERT-beta's.",
    "middle": "Expected value of a range: (low + typical + high) / 3, the triangle's.",
    "learning": "Time of so many units (the first step) in times of the first unit, each doubling "
    "multiplying the time of a unit by the second step.",
    "rounded": "The first step rounded to whole steps of the second, half up; to the smallest "
    "coin where that is 0.",
    "rounded up": "The first step up to the next whole number.",
    "offer": "The range of the second step, stretched to hold the first, which is typical.",
    "bought": "As many as the first step asks for or more, in whole packs and to price breaks.",
    "freight": "The first step; nothing where the second reaches the third.",
    "date": "So many days (the second step, up to the next whole one) after the first step.",
    "class": "Class by the share in the first step.",
    "simulated": "Read from the trials. The steps say what goes in, on average; they do not add "
    "up to it.",
}
"""How the value of a step follows from the values of its steps; ranges go point by point."""


@dataclass(frozen=True)
class Step:
    """One figure, opened.

    Parameters
    ----------
    key
        The same key means the same figure, wherever it comes up in a tree.
    name, value, unit
        What it is. Money is in the quote's currency, `unit` is blank for shares and factors.
    op
        One of `OPS`: how the value follows from those of `steps`.
    said
        A sentence on how it comes about, where the formula does not say enough.
    steps
        The figures it is made of.
    row
        Where it stands: a row of a table, a setting, a line of the survey, a choice. Every step
        without steps has one, an empty sum excepted.
    within
        How far rounding may take the value from what the steps come to.
    figure
        Can it be opened by its key?

    Examples
    --------
    >>> place = Place("table", "operations.csv", 12, {"typical": 0.75}, "h")
    >>> Step("hours", "Book hours", 0.75, "h", "row", row=place).how
    'operations.csv, row 12: typical'
    """

    key: str
    name: str
    value: Value
    unit: str
    op: str
    said: str = ""
    steps: tuple[Step, ...] = ()
    row: Place | None = None
    within: float = 0.0
    figure: bool = False

    @property
    def how(self) -> str:
        """How the value comes about: what is said, or the formula with names and numbers."""
        if self.said or self.op != "row":
            return self.said or formula(self.op, self.steps)
        return self.row.columns


def step(
    op: str,
    key: str,
    name: str,
    value: Value,
    unit: str = "",
    steps: Sequence[Step] = (),
    said: str = "",
    **rest,
) -> Step:
    """A step, its fields in the order in which they are thought of."""
    return Step(key, name, value, unit, op, said, tuple(steps), **rest)


def written(value: Value, unit: str = "") -> str:
    """A value as people read it: money with its cents, other numbers to what a bench can tell.

    Examples
    --------
    >>> written(1234.5, "USD"), written(0.045, "USD"), written(2 / 3), written((0.2, 0.35, 1234))
    ('1,234.50', '0.045', '0.667', '0.2–0.35–1,234')
    """
    if isinstance(value, str):
        return value
    if isinstance(value, tuple):
        return "–".join(_short(point) for point in value)
    money = re.fullmatch(r"([A-Z]{3})(/h)?", unit)
    if 0 < abs(value) < 0.1:
        return _short(value)
    if money:
        digits = minor_digits(money[1])
        return _trimmed(f"{value:,.{digits}f}", digits)
    return _trimmed(f"{value:,.{1 if abs(value) >= 100 else 2 if abs(value) >= 10 else 3}f}", 0)


def _short(value: float) -> str:
    """A number to three digits, and all of those before its point."""
    if not value:
        return "0"
    return _trimmed(f"{value:,.{max(0, 2 - math.floor(math.log10(abs(value))))}f}", 0)


def _trimmed(said: str, digits: int) -> str:
    whole, _, after = said.partition(".")
    after = after.rstrip("0").ljust(digits, "0")
    return f"{whole}.{after}" if after else whole


def formula(op: str, steps: Sequence[Step], *, names: bool = True) -> str:
    """How a value follows from its steps, with their numbers, and their names if asked for.

    Examples
    --------
    >>> margin = step("row", "m", "Margin", 0.25)
    >>> rest = step("rest", "r", "What is left", 0.75, steps=[margin])
    >>> cost = step("row", "c", "Cost", 75.0, "USD")
    >>> formula("quotient", [cost, rest]), formula("quotient", [cost, rest], names=False)
    ('cost 75.00 / (1 − margin 0.25)', '75.00 / 0.75')
    """
    said = [_said(one) if names else _number(one) for one in steps]
    if op in ("mean", "middle"):
        low, typical, high = (_short(point) for point in steps[0].value)
        return (f"({low} + 4 × {typical} + {high}) / 6" if op == "mean"
                else f"({low} + {typical} + {high}) / 3")
    if op == "sum" and len(said) > 3:
        return f"the sum of these {len(said)}"
    if op in _BETWEEN:
        return _BETWEEN[op].join(["1", *said] if op in ("rest", "plus") else said) or "nothing"
    if op == "learning":
        return f"{said[0]}, each doubling at {_number(steps[1])} of the time"
    if op == "line amount":
        return f"{said[0]} × {said[1]}, rounded to the smallest coin"
    if op == "rounded":
        size = f"whole steps of {_number(steps[1])}" if steps[1].value else "the smallest coin"
        return f"{said[0]}, rounded to {size}"
    if op == "freight" and len(said) > 1:
        return f"{said[0]}, or nothing from {_number(steps[2])} up"
    return _WORDS.get(op, "").format(*said, count=len(said))


def cost_name(title: str, kind: str) -> str:
    """Name of what one kind of cost on a line comes to for the shop."""
    return f"{title}: expected cost of {kind}"


_BETWEEN = {"sum": " + ", "plus": " + ", "rest": " − ", "difference": " − ", "product": " × ",
            "quotient": " / "}
_WORDS = {
    "excess": "{0} − {1}, not under 0",
    "largest": "the larger of {0} and {1}",
    "count": "{count} of them",
    "equal": "reckoned, and handed out over the lines",
    "rounded up": "{0}, up to the next whole one",
    "offer": "{0}, within {1}",
    "bought": "{0}, in packs of {1} and to price breaks",
    "freight": "{0}",
    "date": "{0} and {1} days",
}


def _number(one: Step) -> str:
    return written(one.value, one.unit)


def _said(one: Step) -> str:
    """A step inside a formula: its name and number, or its own formula where that is short."""
    if one.op in ("rest", "plus"):
        return f"({formula(one.op, one.steps)})"
    return f"{one.name[:1].lower()}{one.name[1:]} {_number(one)}"
