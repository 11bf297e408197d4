"""What was decided on proposals: one log beside the shop's tables, with what, when and why.

The log is written first, with the row as it was and as it will be; then the table; then the log
again, to say that it is done. Whoever finds a decision that is not done looks at the table: if the
new row stands there, it was; if not, it never was. One program writes at a time.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Literal

from estimator.catalogue import Operation, Rate
from estimator.errors import BadInput, Fault
from estimator.reread import reread
from estimator.review.tables import Table, checked, not_written, table_of, write

LOG = "decided.json"
_OLD = "accepted.json"  # kept by earlier versions: rows accepted, without a day
_WAIT = 10.0  # seconds for another program to finish writing
# Whatever a spoiled file lets reading stumble on.
_UNREADABLE = (OSError, ValueError, KeyError, TypeError, RecursionError)
_KINDS = {"operations.csv": Operation, "rates.csv": Rate}


@dataclass(frozen=True)
class Decision:
    """One decision on a proposal.

    Parameters
    ----------
    key
        Of the proposal: an operation, or a setting.
    did
        What was done. "followed" came with the closing of a job; "undone" takes back the last
        decision on this key that still stands.
    when
        Day and time on this computer's clock; blank where it was not kept.
    why
        In the words of the one who decided.
    words
        The proposal as a sentence.
    book, says, low, high
        What the table said, what the jobs said, and its range.
    chosen
        What stands in the table now; None where nothing was changed.
    evidence
        Of each job: number, hours expected, hours booked.
    file, before, after
        The table, and the row before and after; blank where there was none.
    done
        Whether the table is known to be written.
    """

    key: str
    did: Literal["accepted", "edited", "refused", "followed", "undone"]
    when: str = ""
    why: str = ""
    words: str = ""
    book: float = 0.0
    says: float = 0.0
    low: float = 0.0
    high: float = 0.0
    chosen: float | None = None
    evidence: tuple[tuple[str, float, float], ...] = ()
    file: Literal["", "operations.csv", "rates.csv"] = ""
    before: str = ""
    after: str = ""
    done: bool = True


def log_of(tables: Path) -> tuple[Decision, ...]:
    """Every decision, the oldest first; one that a table was never written for is none.

    Raises
    ------
    BadInput
        If the log cannot be read.
    """
    path = tables / LOG
    if not path.is_file():
        return _old(tables / _OLD)
    try:
        said = json.loads(path.read_text(encoding="utf-8"))["decisions"]
        found = reread(list[Decision], said, finite=False)
    except _UNREADABLE:
        raise _unreadable(path) from None
    return tuple(replace(one, done=True) for one in found if one.done or _written(tables, one))


def standing(log: Sequence[Decision]) -> dict[str, list[Decision]]:
    """The decisions on each key that were not taken back, the oldest first.

    Examples
    --------
    >>> log = [Decision("coil-sleeve", did) for did in ("accepted", "edited", "undone")]
    >>> [one.did for one in standing(log)["coil-sleeve"]]
    ['accepted']
    """
    found: dict[str, list[Decision]] = defaultdict(list)
    for one in log:
        if one.did != "undone":
            found[one.key].append(one)
        elif found[one.key]:
            found[one.key].pop()
    return {key: rows for key, rows in found.items() if rows}


@contextlib.contextmanager
def one_writer(tables: Path) -> Iterator[None]:
    """Held while a table and the log are looked at and written; others wait for it.

    Raises
    ------
    BadInput
        If another program does not finish, or the folder cannot be written to.
    """
    # A lock of SQLite works on every system, and falls with the program that holds it.
    try:
        connection = sqlite3.connect(tables / f"{LOG}.lock", timeout=_WAIT, isolation_level=None)
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.Error:
            connection.close()
            raise
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise BadInput(Fault("Another program is writing the shop's tables.",
                                 "Try again in a moment.", str(tables))) from None
        raise not_written(OSError(str(error)), tables) from None
    try:
        yield
    except OSError as error:
        raise not_written(error, tables) from None
    finally:
        connection.close()


def note(tables: Path, decision: Decision) -> None:
    """Add a decision that changes no table."""
    _write(tables, [*log_of(tables), _dated(decision)])


def change(tables: Path, table: Table, decision: Decision) -> str:
    """Put `decision.after` in the place of the row, and log it; returns where the row stands.

    Raises
    ------
    BadInput
        If the table would not be valid; nothing is written then.
    """
    text = table.with_row(decision.key, decision.after)
    where = checked(table, text, decision.key)
    log, decision = log_of(tables), _dated(decision)
    _write(tables, [*log, replace(decision, done=False)])
    write(table.path, text)
    _write(tables, [*log, decision])
    return where


def _dated(decision: Decision) -> Decision:
    return replace(decision, when=decision.when or datetime.now().isoformat(" ", "seconds"))


def _written(tables: Path, decision: Decision) -> bool:
    """Whether the table has the new row; what changes no table has nothing to be written."""
    if not decision.file:
        return True
    table = table_of(tables / decision.file, _KINDS[decision.file])
    return table.text(decision.key).strip() == decision.after.strip()


def _write(tables: Path, log: Sequence[Decision]) -> None:
    # A decision a line: easy to look through, and to compare with an earlier one.
    rows = ",\n".join(json.dumps(asdict(one), ensure_ascii=False) for one in log)
    write(tables / LOG, f'{{"schema": 1, "decisions": [\n{rows}\n]}}\n')
    (tables / _OLD).unlink(missing_ok=True)


def _old(path: Path) -> tuple[Decision, ...]:
    if not path.is_file():
        return ()
    try:
        return tuple(reread(Decision, {
            "key": one["key"], "did": "accepted", "chosen": one["proposal"]["says"],
            **{name: one["proposal"][name] for name in ("book", "says", "low", "high")},
            "evidence": [(job["job"], job["expected"], job["booked"])
                         for job in one["proposal"]["evidence"]],
            "file": "operations.csv", "before": one["before"], "after": one["after"]},
            finite=False) for one in json.loads(path.read_text(encoding="utf-8")))
    except _UNREADABLE:
        raise _unreadable(path) from None


def _unreadable(path: Path) -> BadInput:
    return BadInput(Fault("The log of decisions on proposals cannot be read.",
                          "Restore it from a backup, or move it out of the folder.", str(path)))
