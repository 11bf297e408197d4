"""What a schema finds wrong with a value, in the words of a shop."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime

from pydantic.fields import FieldInfo

from estimator.errors import one_of, quoted

_BOUNDS = {"gt": "over {:g}", "ge": "{:g} or more", "lt": "under {:g}", "le": "at most {:g}"}
_SLUG = "[a-z0-9]+(-[a-z0-9]+)*"


def in_words(problem: Mapping, info: FieldInfo | None = None, hint: str = "") -> tuple[str, str]:
    """What is wrong and how to put it right, of one problem as pydantic tells it.

    Parameters
    ----------
    problem
        One of the errors of a ValidationError.
    info
        The field it is about, which knows its whole range.
    hint
        What is to stand there, where no rule of the field says it; else its description.

    Examples
    --------
    >>> from pydantic import BaseModel, Field, ValidationError
    >>> class Rate(BaseModel):
    ...     margin: float = Field(ge=0, lt=1)
    >>> try:
    ...     Rate(margin=25)
    ... except ValidationError as error:
    ...     print(*in_words(error.errors()[0], Rate.model_fields["margin"]))
    25 is out of range. Write a number, 0 or more and under 1: 0.25 for 25 %.
    """
    kind, context = problem["type"], problem.get("ctx", {})
    read = said(problem.get("input"))
    hint = hint or (info.description if info and info.description else "") \
        or "Leave it out to take the default."
    if kind == "missing":
        return "It is missing.", "Fill it in."
    if kind == "extra_forbidden":
        return "There is no such setting.", "Look at how it is spelled, or leave it out."
    if kind == "value_error":
        return f"{problem['msg'].removeprefix('Value error, ')}.", "Put one of them right."
    if kind in _NUMBERS:
        outside = kind in _OUTSIDE
        return (f"{read} is out of range." if outside else f"{read} is not {_number(kind)}.",
                f"Write {_number(kind)}{_range(info, context)}.")
    if kind in ("enum", "literal_error"):
        allowed = re.findall(r"'([^']*)'", context.get("expected", ""))
        return f"{read} is not known here.", one_of(str(problem["input"]), allowed)
    if kind.startswith("bool"):
        return f"{read} is neither true nor false.", "Write true or false."
    if kind.startswith("date"):
        return f"{read} is not a day.", "Write it like 2026-03-02."
    if kind == "string_too_short":
        return f"{read} is too short.", f"It takes {_letters(context['min_length'])} or more."
    if kind == "string_too_long":
        return f"{read} is too long.", f"It takes at most {_letters(context['max_length'])}."
    if kind == "too_long":
        return f"There are more than {context['max_length']:,} of them.", "Keep those that matter."
    if kind == "string_pattern_mismatch":
        if context["pattern"] == f"^{_SLUG}$":
            return f"{read} is not a name.", "Write small letters and digits, parted by hyphens."
        return f"{read} is not written as it must be.", hint
    if kind.startswith("string"):
        return f"{read} is no text.", "Write it in quotes."
    return f"{read} does not belong here.", hint


_OUTSIDE = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")
_WHOLE = ("int_type", "int_parsing", "int_from_float", "int_parsing_size")
_NUMBERS = (*_OUTSIDE, *_WHOLE, "float_type", "float_parsing", "finite_number")


def said(value: object) -> str:
    """A value of a file in a message: words in quotes, figures as they are.

    Examples
    --------
    >>> said(1.5), said("a word"), said(True), said([1, 2])
    ('1.5', '"a word"', 'true', 'A list')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float | date | datetime):
        return quoted(value)[1:-1]
    if isinstance(value, Mapping):
        return "A group of settings"
    if isinstance(value, list | tuple):
        return "A list"
    return quoted(value)


def _number(kind: str) -> str:
    return "a whole number" if kind in _WHOLE else "a number"


def _range(info: FieldInfo | None, context: Mapping) -> str:
    """The range of a field as the rest of a sentence; blank without one."""
    held = {name: getattr(one, name) for one in (info.metadata if info else ())
            for name in _BOUNDS if hasattr(one, name)} or \
           {name: context[name] for name in _BOUNDS if name in context}
    words = " and ".join(how.format(held[name]) for name, how in _BOUNDS.items() if name in held)
    share = held.get("lt", held.get("le")) == 1
    return (f", {words}" if words else "") + (": 0.25 for 25 %" if share else "")


def _letters(count: int) -> str:
    return "1 character" if count == 1 else f"{count} characters"
