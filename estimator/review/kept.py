"""Hours on the work items of closed jobs, kept from one look to the next.

To sum them the database goes through every booking of the shop's life, and what it found is the
same each time but for a job or two. So a shop of many closed jobs keeps the sums in a file beside
its ledger, each job's with the mark that the ledger gives its work; a job of another mark is read
anew. What is kept are the numbers as they were read, so it makes no difference to any figure
whether they were; losing the file, or finding it spoiled, costs no more than the time to read
them again.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from estimator import disk
from estimator.errors import Stopped
from estimator.ledger import Ledger, OnItem

FILE = "ledger-worked.npz"
MANY = 200
"""Jobs; of fewer nothing is kept: they are read in no time."""
_AT_ONCE = 200
"""Jobs that are read together: the hours of years would fill the memory."""
_FORM = 1  # of the file; another one is not read
_ROW = np.dtype([("quote", "<i4"), ("operation", "<i4"), ("person", "<i4"),
                 ("expected", "<f8"), ("booked", "<f8")])


@dataclass(frozen=True)
class OnItems:
    """Work items that hours are booked to, job after job.

    Parameters
    ----------
    jobs, counts
        Numbers of the jobs, and how many of the items are of each.
    rows
        Of each item `quote`, `operation` and `person`, who booked most of its hours, as places
        in `names`; hours `expected` by the quote and `booked`, both over 0. [h]
    names
        What the places mean.
    """

    jobs: tuple[str, ...]
    counts: np.ndarray
    rows: np.ndarray
    names: tuple[str, ...]


def foremost(hands: Mapping[str, float]) -> str | None:
    """Who booked most hours of an item; of those who booked as many the first by name.

    Examples
    --------
    >>> foremost({"Ben": 1.5, "Anna": 1.5}), foremost({})
    ('Anna', None)
    """
    return max(sorted(hands), key=hands.__getitem__) if hands else None


def on_items(ledger: Ledger, jobs: Sequence[str],
             progress: Callable[[float], bool | None] | None = None) -> OnItems:
    """The work items of these jobs that hours are booked to, in the order of the jobs.

    Parameters
    ----------
    progress
        Told the share that is done; if it answers False, `Stopped` is raised.
    """
    path = ledger.folder / FILE if len(jobs) >= MANY else None
    # Before the hours: what is booked meanwhile makes another mark, and is read the next time.
    marks = ledger.work_marks(jobs)
    kept, names = _read(path) if path else ({}, {})
    found = {job: rows for job, (mark, rows) in kept.items() if marks.get(job) == mark}
    missing = [job for job in jobs if job in marks and job not in found]
    for start in range(0, len(missing), _AT_ONCE):
        if progress is not None and progress(start / len(missing)) is False:
            raise Stopped("The search for proposals was stopped.")
        some = missing[start:start + _AT_ONCE]
        found |= _folded(ledger.worked(some), names)
        for job in some:
            found.setdefault(job, np.zeros(0, _ROW))
    there = tuple(job for job in jobs if job in found)
    parts = [found[job] for job in there]
    items = OnItems(there, np.array([len(rows) for rows in parts], "<i4"),
                    np.concatenate([np.zeros(0, _ROW), *parts]), tuple(names))
    if path and missing:
        _write(path, items, marks)
    return items


def _folded(hours: Iterable[OnItem], names: dict[str, int]) -> dict[str, np.ndarray]:
    """The items of each job; `hours` by job and item. Names that are new get a place."""
    found = {}
    for job, mine in itertools.groupby(hours, key=lambda one: one.job):
        rows = [(*(names.setdefault(name, len(names)) for name in said), *figures)
                for said, figures in _items(mine)]
        found[job] = np.array(rows, _ROW)
    return found


def _items(hours: Iterable[OnItem]) -> Iterator[tuple[tuple[str, ...], tuple[float, float]]]:
    """Quote, operation and person of each item of a job; hours expected and booked."""
    for _, group in itertools.groupby(hours, key=lambda one: one.item):
        item, *others = group
        hands = {one.person: one.hours for one in (item, *others)}
        booked = math.fsum(hands.values())
        if booked > 0 and item.expected > 0:
            yield (item.quote, item.operation, foremost(hands)), (item.expected, booked)


def _read(path: Path) -> tuple[dict[str, tuple[str, np.ndarray]], dict[str, int]]:
    """Mark and items of each job that is kept, and the places of names; none if they are spoiled.
    """
    # Damaged files let reading stumble on anything; the archive holds a sum of each part.
    with (contextlib.suppress(Exception), path.open("rb") as file,
          np.load(file, allow_pickle=False) as held):
        # It is written unpacked: what would unpack to more is none of ours.
        unpacked = sum(part.file_size for part in held.zip.infolist())
        if unpacked > path.stat().st_size or held["form"] != _FORM:
            return {}, {}
        rows, names = held["rows"], held["names"].tolist()
        jobs, marks, counts = (held[name].tolist() for name in ("jobs", "marks", "counts"))
        ends = list(itertools.accumulate(counts))
        places = np.concatenate([rows[name] for name in ("quote", "operation", "person")])
        if (rows.dtype == _ROW and min(counts) >= 0 and ends[-1] == len(rows)
                and 0 <= places.min() <= places.max() < len(names) == len(set(names))):
            kept = {job: (mark, rows[end - count:end]) for job, mark, count, end
                    in zip(jobs, marks, counts, ends, strict=True)}
            return kept, {name: place for place, name in enumerate(names)}
    return {}, {}


def _write(path: Path, items: OnItems, marks: Mapping[str, str]) -> None:
    file = io.BytesIO()
    np.savez(file, form=_FORM, jobs=np.array(items.jobs), counts=items.counts, rows=items.rows,
             marks=np.array([marks[job] for job in items.jobs]), names=np.array(items.names))
    # Where nothing can be written it is read anew each time.
    with contextlib.suppress(OSError):
        disk.write(path, file.getvalue())
