"""How far long work on a whole ledger is, and stopping it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping

from estimator.errors import Stopped

Progress = Callable[[float], bool | None]
Tell = Callable[[float], None]
_BEFORE = 0.99
"""Share that is told at most before all is done: what cannot be stopped any more comes last."""
_EACH = 100
_STEPS = 1_000_000
"""Of SQLite, between two times that it is told; they take some hundredths of a second."""
_AS_ROWS = {"frozen": 100}
"""Rows of other tables that take as long as one of this: a quote with all it was computed from."""
AT_ONCE = 500
"""Rows that are in memory together: the quotes of years do not fit into it."""


@contextlib.contextmanager
def telling(progress: Progress | None, stopped: str) -> Iterator[Tell]:
    """What tells `progress` of the share done, and raises `Stopped` with these words at its No.

    A block that ends well is told as 1; the answer to that comes too late.
    """
    progress = progress or (lambda share: None)

    def tell(share: float) -> None:
        if progress(_BEFORE * share) is False:
            raise Stopped(stopped)

    yield tell
    progress(1.0)


def within(tell: Tell, start: float, end: float) -> Tell:
    """Tells of a part of the work, which goes from one share of all of it to another."""
    return lambda share: tell(start + (end - start) * share)


@contextlib.contextmanager
def told_within(connection, tell: Tell, share: float) -> Iterator[None]:
    """While SQLite is busy with one statement, this share is told over and over: a No is heard.

    Anything that `tell` raises ends the statement and is raised from the block.
    """
    said: list[BaseException] = []

    def hear() -> bool:
        try:
            tell(share)
        except BaseException as error:  # SQLite would make an error of its own of it
            said.append(error)
        return bool(said)

    if connection.dialect.name != "sqlite":
        yield
        return
    held = connection.connection.driver_connection
    held.set_progress_handler(hear, _STEPS)
    try:
        yield
    except Exception:
        if said:
            raise said[0] from None
        raise
    finally:
        held.set_progress_handler(None, 0)


def quiet(share: float) -> None:
    """Tells nobody."""


def at_once(name: str) -> int:
    """How many rows of a table are in memory together.

    Examples
    --------
    >>> at_once("time_entries"), at_once("frozen")
    (500, 5)
    """
    return max(1, AT_ONCE // _AS_ROWS.get(name, 1))


class Rows:
    """Called for rows that were gone through: tells their share of all of them.

    Parameters
    ----------
    counts
        How many rows each table has.
    tell
        Told the share, every hundred rows or so.
    times
        How often each row is gone through.
    """

    def __init__(self, counts: Mapping[str, int], tell: Tell, times: int = 1):
        self._all = max(1, times * sum(many * _AS_ROWS.get(name, 1)
                                       for name, many in counts.items()))
        self._tell, self._done, self._told = tell, 0, 0

    def __call__(self, name: str, many: int = 1) -> None:
        self._done += many * _AS_ROWS.get(name, 1)
        if self._done - self._told >= _EACH:
            self._told = self._done
            self._tell(min(1.0, self._done / self._all))
