"""What was wrong, where it stands, and how to put it right.

A reader of files gathers every fault before it gives up, so that a person mends a file once.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass

# Line ends and tabs may stand in a text. Other control characters, half characters and the two that
# XML forbids cannot be written everywhere; marks that embed or override a direction (Unicode
# Standard Annex 9) make a text read other than it stands.
_UNPRINTABLE = "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff"
_TURNING = "\u202a-\u202e\u2066-\u2069"
_UNFIT = re.compile(f"[{_UNPRINTABLE}{_TURNING}]")
_TURNS = re.compile(f"[{_TURNING}]")
# A fault is one line, whatever it tells of.
_BREAKS = re.compile("[\t\n\r\u2028\u2029]+")
_MOST_QUOTED = 40


def unfit(said: str) -> str:
    r"""Why a text may not be taken as it stands, as the end of a sentence; blank where it may.

    Examples
    --------
    >>> unfit("left one sticks"), unfit("ding\a")
    ('', 'holds a character that cannot be printed (U+0007)')
    >>> unfit("photo\u202egpj")
    'holds a hidden character that turns the order of the text (U+202E)'
    """
    found = _UNFIT.search(said)
    if found is None:
        return ""
    what = ("a hidden character that turns the order of the text" if _TURNS.match(found[0])
            else "a character that cannot be printed")
    return f"holds {what} (U+{ord(found[0]):04X})"


def printable(said: str) -> str:
    r"""A text with a mark in place of every character that may not stand in one.

    Examples
    --------
    >>> printable("photo\u202egpj")
    'photo�gpj'
    """
    return _UNFIT.sub("\ufffd", said)


def quoted(said: object) -> str:
    """What was read, in quotes for a message: on one line, shortened, printable.

    Examples
    --------
    >>> quoted("a" * 50), quoted("two \t parts")
    ('"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa…"', '"two parts"')
    """
    # What a message shows is cut first: the whole may be megabytes.
    words = " ".join(printable(str(said)[: 50 * _MOST_QUOTED]).split())
    return f'"{words if len(words) <= _MOST_QUOTED else words[: _MOST_QUOTED - 1] + "…"}"'


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

    Characters that cannot be printed are replaced in all of them, and line ends by blanks: a fault
    is shown on terminals and pages, and must not do there what a file wants.

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

    def __post_init__(self):
        for name in ("what", "fix", "file", "column"):
            said = getattr(self, name)
            if said and (_UNFIT.search(said) or _BREAKS.search(said)):
                object.__setattr__(self, name, _BREAKS.sub(" ", printable(said)))

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


class Stopped(Exception):
    """Long work was told to stop; nothing of it is kept, and what was there before still stands.

    Commands print it and leave with exit code 1.

    Examples
    --------
    >>> str(Stopped("The backup was stopped; nothing was written."))
    'The backup was stopped; nothing was written.'
    """


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
    # Comparing takes time by the square of the length; no name is as long as a pasted page.
    read = read[:200]
    plain = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(read.strip().casefold(), list(plain), n=3, cutoff=0.6)
    if near:
        return "Did you mean " + " or ".join(f'"{plain[name]}"' for name in near) + "?"
    if len(names) <= 12:
        return "Allowed: " + ", ".join(names) + "."
    return f"Allowed: {', '.join(names[:8])} … ({len(names)} in all)."
