"""Finished tasks as columns of numbers, checked before any of them counts."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from estimator.errors import BadInput, Fault

FIELDS = ("est", "act", "kind", "person", "job", "day")


@dataclass(frozen=True)
class Tasks:
    """Columns of tasks, in order."""

    est: np.ndarray
    act: np.ndarray
    kind: list
    person: list
    job: list

    def __len__(self) -> int:
        return len(self.est)

    def part(self, start: int, stop: int) -> Tasks:
        """Some of them."""
        cut = slice(start, stop)
        return Tasks(self.est[cut], self.act[cut], self.kind[cut], self.person[cut], self.job[cut])


def read(records: Iterable[Mapping]) -> Tasks:
    """Columns of records with hours over 0, or `BadInput` with every fault in them."""
    rows = list(records)
    try:
        columns = {name: [row[name] for row in rows] for name in FIELDS}
        hours = [np.array(columns[name], float) for name in ("est", "act")]
        days = np.array(columns["day"], float)
        sound = all(part.ndim == 1 and np.isfinite(part).all() for part in (*hours, days))
        sound = sound and all((part > 0).all() for part in hours)
    except (KeyError, TypeError, ValueError, IndexError):
        sound = False
    if not sound:
        raise BadInput(islice(_faults(rows), 20))
    return Tasks(*hours, columns["kind"], columns["person"], columns["job"])


def _faults(rows: Sequence) -> Iterable[Fault]:
    for at, row in enumerate(rows):
        if not isinstance(row, Mapping):
            yield Fault(f"Record {at} is not a mapping.", "Give dicts with " + ", ".join(FIELDS))
            continue
        for name in FIELDS:
            if name not in row:
                yield Fault(f"Record {at} has no {name}.", "None stands for unknown labels.")
            elif name in ("est", "act", "day"):
                number = _number(row[name])
                if not np.isfinite(number) or (name != "day" and number <= 0):
                    wanted = "a whole number of days" if name == "day" else "hours over 0"
                    yield Fault(f"Record {at}, {name}: {row[name]!r} is not {wanted}.",
                                "Leave the record out or put it right.")


def _number(value: object) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        return float("nan")


class Labels:
    """Numbers for labels of any type, in the order in which they turn up."""

    def __init__(self):
        self.known: dict[Hashable, int] = {}

    def __len__(self) -> int:
        return len(self.known)

    def add(self, labels: Iterable) -> np.ndarray:
        """Numbers of labels; new ones get the next."""
        known = self.known
        return np.array([known.setdefault(plain(label), len(known)) for label in labels], int)

    def find(self, labels: Iterable) -> np.ndarray:
        """Numbers of labels; −1 for those never seen."""
        return np.array([self.known.get(plain(label), -1) for label in labels], int)


def plain(label: object) -> Hashable:
    """The label itself where it can be looked up; what is not a number counts as None."""
    try:
        hash(label)
    except TypeError:
        return repr(label)
    if isinstance(label, tuple):
        return tuple(plain(part) for part in label)
    return None if isinstance(label, (float, np.floating)) and label != label else label
