"""What leaves the program: files for this user alone, and words that no spreadsheet may run."""

from __future__ import annotations

import csv
import io
import itertools
import json
import os
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import BinaryIO

# What makes a formula of a cell, also in the wide letters of East Asian keyboards; after OWASP's
# advice on formula injection.
_SIGNS = r"[=+\-@\t\r\n＝＋－＠]"
_AT_ONCE = 500
_GUARDED = re.compile(f"'+{_SIGNS}")
_RISKY = re.compile(f"'*{_SIGNS}")


def guarded(said: str) -> str:
    """Text for a CSV cell: one quote in front where a spreadsheet would take it for a formula.

    Examples
    --------
    >>> guarded("=A1"), guarded("'-3"), guarded("plain")
    ("'=A1", "''-3", 'plain')
    """
    return "'" + said if _RISKY.match(said) else said


def unguarded(said: str) -> str:
    """The text that `guarded` was given.

    Examples
    --------
    >>> unguarded("'=A1"), unguarded("'twas rusty")
    ('=A1', "'twas rusty")
    """
    return said[1:] if _GUARDED.match(said) else said


def spreadsheet(header: Iterable[str], rows: Iterable[Iterable], end: str = "\r\n") -> str:
    """Rows under a header as CSV, each text guarded that is no number.

    Examples
    --------
    >>> print(spreadsheet(["name", "cost"], [["=A1", -2.5], ["bulb", "-3.50"]], "\\n"), end="")
    name,cost
    '=A1,-2.5
    bulb,-3.50
    """
    return "".join(spreadsheet_pieces(header, rows, end))


def spreadsheet_pieces(header: Iterable[str], rows: Iterable[Iterable], end: str = "\r\n"
                       ) -> Iterator[str]:
    """The same piece by piece, so that no more than some rows need be in memory together.

    Examples
    --------
    >>> list(spreadsheet_pieces(["name", "cost"], [["=A1", 1], ["bulb", 2]], "; "))
    ['name,cost; ', "'=A1,1; bulb,2; "]
    """
    rows, some = iter(rows), [header]
    while some:
        out = io.StringIO(newline="")
        csv.writer(out, lineterminator=end).writerows(some)
        yield out.getvalue()
        some = [[_cell(value) for value in row] for row in itertools.islice(rows, _AT_ONCE)]


def csv_file(header: Iterable[str], rows: Iterable[Iterable]) -> bytes:
    """The bytes of a CSV file, in UTF-8 with the mark by which spreadsheets know it.

    Examples
    --------
    >>> csv_file(["name"], [["lamp"]])
    b'\\xef\\xbb\\xbfname\\r\\nlamp\\r\\n'
    """
    return spreadsheet(header, rows).encode("utf-8-sig", "replace")


def json_file(said: object, *, indent: int = 2,
              default: Callable[[object], object] | None = None) -> bytes:
    """The bytes of a JSON file that a person can read too, in UTF-8.

    Parameters
    ----------
    indent
        Blanks that what lies within stands in.
    default
        Gives what stands for a value that JSON does not know.

    Raises
    ------
    ValueError
        If a figure is not finite: JSON has none such.

    Examples
    --------
    >>> json_file({"price": 12.5})
    b'{\\n  "price": 12.5\\n}\\n'
    """
    written = json.dumps(said, indent=indent, ensure_ascii=False, allow_nan=False, default=default)
    # Half of a surrogate pair is no character; it can only come from a program, never from a file.
    return (written + "\n").encode("utf-8", "replace")


def _cell(value):
    return guarded(value) if isinstance(value, str) and not _is_number(value) else value


def _is_number(said: str) -> bool:
    try:
        float(said)
    except ValueError:
        return False
    return True


def private_file(path: Path) -> BinaryIO:
    """Open a file for writing, in the place of one that is there, that only this user may read.

    A link of that name is taken away and not followed.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with private_file(Path(folder, "a")) as file:
    ...         count = file.write(b"kept")
    ...     print(count, oct(os.stat(file.name).st_mode)[-3:] if os.name != "nt" else "600")
    4 600
    """
    path.unlink(missing_ok=True)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    return open(path, "wb", opener=lambda name, _flags: os.open(name, flags, 0o600))


def private_folder(path: Path) -> None:
    """Make a folder that only this user may look into; one that is there stays as it is.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     private_folder(Path(folder, "shop"))
    ...     mode = Path(folder, "shop").stat().st_mode
    >>> oct(mode)[-3:] if os.name != "nt" else "700"
    '700'
    """
    path.mkdir(0o700, parents=True, exist_ok=True)


def leading_out(folder: Path, within: Iterable[Path]) -> Iterator[Path]:
    """Those of the paths that lead to something outside `folder`, by their name or as a link.

    Examples
    --------
    >>> [path.as_posix() for path in leading_out(Path("a"), map(Path, ["a/b", "a/../c", "/d"]))]
    ['a/../c', '/d']
    """
    # By the name first: to follow it could mean to ask another computer.
    for path in within:
        if any(not Path(real(path)).is_relative_to(real(folder))
               for real in (os.path.abspath, os.path.realpath)):
            yield path


__all__ = ["csv_file", "guarded", "json_file", "leading_out", "private_file", "private_folder",
           "spreadsheet", "unguarded"]
