"""Small files of text that people write: how they are read, and why one is refused."""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

from estimator.errors import BadInput, Fault

MOST_FAULTS = 200
"""So many are told: a file with more has one cause, not two hundred."""


def rest_unread(file: str, row: int) -> Fault:
    """The last fault that is told of a file with more than `MOST_FAULTS`.

    Examples
    --------
    >>> print(rest_unread("parts.csv", 312))
    parts.csv, row 312: There are 200 faults above; the rest was not read. Put those right first.
    """
    return Fault(f"There are {MOST_FAULTS} faults above; the rest was not read.",
                 "Put those right first.", file, row)


def refuse(file: str, what: str, fix: str, row: int | None = None) -> NoReturn:
    """Raise BadInput with one fault of a whole file or row.

    Examples
    --------
    >>> refuse("parts.csv", "The cells are parted by tabs.", "Save it as CSV.", 1)
    Traceback (most recent call last):
    ...
    estimator.errors.BadInput: parts.csv, row 1: The cells are parted by tabs. Save it as CSV.
    """
    raise BadInput(Fault(what, fix, file, row)) from None


def read_text(path: Path, noun: str, most_bytes: int) -> str:
    """The text of a small file in UTF-8, with or without its mark; line ends as they stand.

    Parameters
    ----------
    path
        The file.
    noun
        What it is, for messages: "table".
    most_bytes
        So long it may be; what is longer is not read.

    Raises
    ------
    BadInput
        If it cannot be read, is too long, or is no plain text.

    Examples
    --------
    >>> from estimator.catalogue import data_folder
    >>> read_text(data_folder() / "cautions.csv", "table", 2**20).startswith("caution,")
    True
    """
    try:
        if path.stat().st_size > most_bytes:
            refuse(path.name, f"The {noun} is over {most_bytes // 2**20} MB.",
                   "Is it the right file?")
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        refuse(path.name, f"The {noun} is not UTF-8 text.", "Save it as UTF-8.")
    except OSError as error:
        refuse(path.name, f"The {noun} cannot be read ({error.strerror or error}).",
               "Look whether it is a plain file, and whether you may open it.")
    if "\0" in text:
        refuse(path.name, f"The {noun} holds zero bytes, so it is no plain text.",
               "Save it as UTF-8.")
    return text


def csv_rows(text: str, file: str, mark: str = ",") -> Iterator[tuple[int, list[str]]]:
    """Rows of CSV with their numbers as a spreadsheet counts: a quoted line end is no new row.

    Parameters
    ----------
    text, file
        What the file holds, and its name for messages.
    mark
        What parts the cells.

    Raises
    ------
    BadInput
        At a row whose quotes do not pair up, or with a cell that is far too long.

    Examples
    --------
    >>> list(csv_rows('a;"b\\nc"\\n\\nd\\n', "x.csv", ";"))
    [(1, ['a', 'b\\nc']), (2, []), (3, ['d'])]
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    for number in itertools.count(1):
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            if "field limit" in str(error):
                refuse(file, "A cell in this row is far too long.", "Shorten it.", number)
            refuse(file, "The quotation marks in this row do not pair up.",
                   "Put a text in quotes as a whole, and double each quote inside it.", number)
        yield number, cells


__all__ = ["MOST_FAULTS", "csv_rows", "read_text", "refuse", "rest_unread"]
