"""What was wrong, where it stands, and how to put it right.

A reader of files gathers every fault before it gives up, so that a person mends a file once.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong in one place.

    Parameters
    ----------
    what
        What was read or is missing, and what is allowed; a full sentence without the place.
    fix
        What to do about it; a full sentence, may be empty where `what` says it all.
    file, row, column
        Where: the file's name, the row as a spreadsheet counts it (1 is the first line), the
        column's header. None where the fault has no such place.

    Examples
    --------
    >>> print(Fault('"wron" is not a condition.', 'Did you mean "worn"?', "s.csv", 7, "condition"))
    s.csv, row 7, condition: "wron" is not a condition. Did you mean "worn"?
    """

    what: str
    fix: str = ""
    file: str | None = None
    row: int | None = None
    column: str | None = None

    @property
    def place(self) -> str:
        """File, row and column, as far as they are known."""
        row = None if self.row is None else f"row {self.row}"
        return ", ".join(part for part in (self.file, row, self.column) if part)

    def __str__(self) -> str:
        said = f"{self.what} {self.fix}".strip()
        return f"{self.place}: {said}" if self.place else said


class BadInput(ValueError):
    """Input that cannot be used; carries every fault found, in the order of the file.

    Commands print it and leave with exit code 2; pages show it in plain words.

    Examples
    --------
    >>> try:
    ...     raise BadInput([Fault("The file is empty.", "Export the survey again.", "a.csv")])
    ... except BadInput as error:
    ...     print(error)
    a.csv: The file is empty. Export the survey again.
    """

    def __init__(self, faults: Iterable[Fault] | Fault):
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def one_of(read: str, allowed: Iterable[str]) -> str:
    """Say what is allowed instead of `read`, the nearest known name first.

    Examples
    --------
    >>> one_of("fliper", ["flipper", "pop bumper", "spinner"])
    'Did you mean "flipper"?'
    >>> one_of("xyz", ["seen", "assumed", "hidden"])
    'Allowed: seen, assumed, hidden.'
    """
    names = list(allowed)
    plain = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(read.strip().casefold(), list(plain), n=3, cutoff=0.6)
    if near:
        return "Did you mean " + " or ".join(f'"{plain[name]}"' for name in near) + "?"
    if len(names) <= 12:
        return "Allowed: " + ", ".join(names) + "."
    return f"Allowed: {', '.join(names[:8])} … ({len(names)} in all)."
