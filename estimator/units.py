"""Range checks, metric and US units, the day of a moment, counts and shares in words."""

from __future__ import annotations

import math
from datetime import date, timedelta

# Exact by definition: NIST Handbook 44, Appendix C.
MM_PER_INCH = 25.4
M2_PER_SQFT = 0.3048**2
LITRES_PER_US_GALLON = 3.785411784
KG_PER_POUND = 0.45359237
UM_PER_MIL = 25.4


def within(
    name: str,
    value: float,
    *,
    above: float | None = None,
    at_least: float | None = None,
    up_to: float | None = None,
    fix: str = "",
) -> float:
    """The value itself, if it is a finite number inside a range.

    Parameters
    ----------
    name
        What it is called in the message.
    above, at_least, up_to
        Limits: it must be over `above`, no less than `at_least`, no more than `up_to`; those left
        out do not count.
    fix
        A sentence on how to put it right, after the message.

    Raises
    ------
    ValueError
        If it is outside, infinite or not a number; the message names it, its value and the range.

    Examples
    --------
    >>> within("transfer", 0.6, above=0, up_to=1)
    0.6
    >>> within("transfer", 60, above=0, up_to=1, fix="Write 0.6 for 60 %.")
    Traceback (most recent call last):
    ...
    ValueError: transfer is 60; it must be over 0 and at most 1. Write 0.6 for 60 %.
    """
    if not (
        math.isfinite(value)
        and (above is None or value > above)
        and (at_least is None or value >= at_least)
        and (up_to is None or value <= up_to)
    ):
        low = (
            f"over {above:g}"
            if above is not None
            else f"at least {at_least:g}"
            if at_least is not None
            else ""
        )
        high = f"at most {up_to:g}" if up_to is not None else ""
        wanted = " and ".join(part for part in (low, high) if part) or "a finite number"
        raise ValueError(f"{name} is {value:g}; it must be {wanted}. {fix}".rstrip())
    return value


def round_up(count: float) -> int:
    """The next whole number, or the one just below where the excess is only floating-point dust.

    Dust is less than a millionth: of a pack, that is nothing a bench could measure.

    Parameters
    ----------
    count
        Packs, pieces or billing steps; 0 or more. [–]

    Raises
    ------
    ValueError
        If `count` is negative or not finite.

    Examples
    --------
    >>> round_up(2.01), round_up(3 * 0.1 / 0.1)  # the second is 3.0000000000000004
    (3, 3)
    """
    within("count", count, at_least=0)
    return math.ceil(count - 1e-6)


def day_at(first: date, days: float) -> date:
    """The day on which a moment lies that is so many days after the first day began.

    Parameters
    ----------
    first
        Day 0.
    days
        From the beginning of that day on; what lacks of a whole day by floating-point dust does
        not count. [d]

    Examples
    --------
    >>> str(day_at(date(2026, 11, 26), 5.6)), str(day_at(date(2026, 11, 26), 3 - 1e-12))
    ('2026-12-01', '2026-11-29')
    """
    return first + timedelta(math.floor(days + 1e-9))


def counted(count: int, noun: str, plural: str = "") -> str:
    """A count and its noun.

    Examples
    --------
    >>> counted(1, "line"), counted(3, "assembly", "assemblies")
    ('1 line', '3 assemblies')
    """
    return f"{count:,} {noun if count == 1 else plural or noun + 's'}"


def of_a_hundred(share: float) -> str:
    """How many of a hundred a share comes to; what is neither none nor all never reads as such.

    Parameters
    ----------
    share
        0 to 1. [–]

    Examples
    --------
    >>> [of_a_hundred(share) for share in (0, 0.004, 0.062, 0.998, 1)]
    ['0', 'under 1', '6', 'over 99', '100']
    """
    if 0 < share < 0.005:
        return "under 1"
    if 0.995 < share < 1:
        return "over 99"
    return f"{round(100 * share)}"


def in_a_hundred(share: float) -> str:
    """A chance as people say it.

    Parameters
    ----------
    share
        0 to 1. [–]

    Examples
    --------
    >>> in_a_hundred(0.062), in_a_hundred(0.004), in_a_hundred(0)
    ('6 in 100', 'under 1 in 100', 'none')
    """
    return "none" if share <= 0 else f"{of_a_hundred(share)} in 100"
