"""What is added to hands-on hours: personal needs, set-up and clean-up, learning the trade."""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from estimator.durations.ranges import Range
from estimator.units import within

Hours = TypeVar("Hours", float, Range, np.ndarray)


def standard_time(normal: Hours, allowance: float, of: str = "normal") -> Hours:
    """Time to plan with, from the time the work takes at a normal pace.

    Parameters
    ----------
    normal
        Hands-on time: a number, an array or a `Range`.
    allowance
        Share for personal needs, fatigue, set-up and clean-up; 0 or more. [–]
    of
        "normal": the share is of the normal time, normal × (1 + allowance). "shift": it is of the
        whole shift, normal / (1 − allowance), and must be under 1.

    Raises
    ------
    ValueError
        If the allowance is out of range, or `of` is another word.

    Notes
    -----
    Both conventions are in use and differ: 10 % of 18.3 minutes gives 20.1 or 20.3.

    Examples
    --------
    >>> round(standard_time(18.275, 0.10), 4), round(standard_time(18.275, 0.10, of="shift"), 4)
    (20.1025, 20.3056)
    """
    within("allowance", allowance, at_least=0, fix="Write 0.1 for 10 %.")
    if of == "normal":
        return normal * (1 + allowance)
    if of != "shift":
        raise ValueError(f'of is "{of}"; it must be "normal" or "shift"')
    if allowance >= 1:
        raise ValueError(f"allowance is {allowance:g}; of a shift it must be under 1")
    return normal * (1 / (1 - allowance))


def learner(hours: Hours, multiplier: float) -> Hours:
    """Hours of someone who is still learning the trade; `multiplier` is 1 or more.

    Examples
    --------
    >>> learner(Range(0.5, 1, 2), 1.5)
    Range(low=0.75, typical=1.5, high=3.0)
    """
    within("multiplier", multiplier, at_least=1)
    return hours * multiplier
