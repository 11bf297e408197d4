"""Python's collector, which goes through what was made for circles that nobody holds any more."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def collector_waits() -> Iterator[None]:
    """Within the block no circles are looked for.

    For work that makes very much and needs all of it at its end: to go through that over and over
    takes longer than to make it. What nobody holds goes at once even so, circles aside.

    Examples
    --------
    >>> with collector_waits():
    ...     gc.isenabled()
    False
    >>> gc.isenabled()
    True
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


__all__ = ["collector_waits"]
