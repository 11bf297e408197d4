"""Records read again from the plain values, as JSON gives them, that they were kept as."""

from __future__ import annotations

import functools
from typing import Any


def reread(kind: Any, said: object, *, finite: bool = True) -> Any:
    """A value of a kind from what was kept of it: names, days and tuples as they were.

    Parameters
    ----------
    kind
        A dataclass, or a type such as ``list[tuple[str, float]]`` of such.
    said
        Its plain values.
    finite
        Whether a number that is infinite, or none, is refused.

    Raises
    ------
    ValueError
        If that is not what is kept of this kind: a field that it does not have, one that is
        missing, or a value of another kind.

    Examples
    --------
    >>> reread(list[tuple[str, int]], [["extra-legs", 2]])
    [('extra-legs', 2)]
    >>> reread(list[tuple[str, int]], [["extra-legs", "two"]])
    Traceback (most recent call last):
        ...
    ValueError: what was kept is no list[tuple[str, int]]
    """
    from pydantic import ValidationError

    try:
        (found,) = _adapter(kind, finite).validate_python([said])
    except ValidationError:
        raise ValueError(f"what was kept is no {kind}") from None
    return found


@functools.cache
def _adapter(kind: Any, finite: bool):
    from pydantic import ConfigDict, TypeAdapter

    # A dataclass takes no settings of its own, but those of what it stands in.
    return TypeAdapter(tuple[kind], config=ConfigDict(extra="forbid", allow_inf_nan=not finite))


__all__ = ["reread"]
