"""What a cell says: numbers, whole counts and text, or why it says none.

Each function takes a cell as a file held it and returns its value; a cell that cannot be used
raises `Wrong`, which the reader turns into a fault with its place.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from estimator.errors import BadInput, Fault, quoted, unfit
from estimator.units import MM_PER_INCH

MAX_COUNT = 9_999
MAX_TEXT = 2_000
"""Longest text in one cell. [characters]"""


@dataclass(frozen=True)
class Odd:
    """A workbook cell that is neither text nor number.

    Parameters
    ----------
    holds
        What it is, to complete "The cell holds …".
    fix
        How to put it right where it may not stand.
    text
        How it reads as text; None where it may not stand even in a note.
    """

    holds: str
    fix: str
    text: str | None = None


Cell = str | int | float | Odd
"""A cell as read: a blank one is the empty string."""


class Wrong(ValueError):
    """A cell that cannot be used: what was read and what is allowed, and the way out.

    Examples
    --------
    >>> str(Wrong("The cell is blank.", "Fill it in."))
    'The cell is blank. Fill it in.'
    """

    def __init__(self, what: str, fix: str = ""):
        self.what = what
        self.fix = fix
        super().__init__(f"{what} {fix}".strip())


BLANK = "This is blank."

_LINE_END = re.compile("\r\n?")

_GROUP_BLANK = re.compile(r"(?<=[0-9])[ \u00a0\u2009\u202f'’](?=[0-9]{3}(?![0-9]))")
_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")
_BOTH_MARKS = re.compile(r"[+-]?[0-9][0-9.,]*[0-9]")
_TWO_WAYS = re.compile(r"[+-]?([1-9][0-9]{0,2})([.,])([0-9]{3})")
_INCHES = re.compile(
    r"([0-9]{1,4}(?:[.,][0-9]{1,4})?) *(?:\"|″|”|''|in\.?|inch|inches)", re.IGNORECASE
)
_FIGURE = re.compile(r"[0-9]+(?:[.,][0-9]+)?")
_MONTH = r"(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-zä]*\.?"
_DATE = re.compile(
    rf"[0-9]{{1,4}}([./-])[0-9]{{1,2}}(\1[0-9]{{1,4}})?([ T][0-9:.]+)?"
    rf"|[0-9]{{1,2}}[-. /]*{_MONTH}([-. /]*[0-9]{{2,4}})?|{_MONTH}[-. /]*[0-9]{{1,4}}",
    re.IGNORECASE,
)


def shown(cell: Cell | str) -> str:
    """A cell in quotes for a message: shortened, with what cannot be printed replaced.

    Examples
    --------
    >>> shown("a" * 50)
    '"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa…"'
    """
    return quoted(cell.text or cell.holds if isinstance(cell, Odd) else cell)


def text(cell: Cell) -> str:
    """The cell's words, without blanks around them and with plain line ends.

    Raises
    ------
    Wrong
        A formula, an error of the spreadsheet, characters that cannot be printed or turn the order
        of the text, or over 2,000 characters.

    Examples
    --------
    >>> text(" rusty below\\r\\nthe shooter lane "), text(1994.0)
    ('rusty below\\nthe shooter lane', '1994')
    """
    if isinstance(cell, Odd):
        if cell.text is None:
            raise Wrong(f"The cell holds {cell.holds}.", cell.fix)
        return cell.text
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    said = _LINE_END.sub("\n", str(cell)).strip()
    if len(said) > MAX_TEXT:
        raise Wrong(
            f"The cell holds {len(said):,} characters; {MAX_TEXT:,} are allowed.",
            "Shorten it, and keep the long text elsewhere.",
        )
    wrong = unfit(said)
    if wrong:
        raise Wrong(f"{shown(said)} {wrong}.", "Type the cell again.")
    return said


def if_any(how: Callable[[str], object]) -> Callable[[Cell], object]:
    """`how` on the words of a cell; None where it is blank.

    Examples
    --------
    >>> if_any(str.upper)("worn"), if_any(str.upper)(" ")
    ('WORN', None)
    """
    def read(cell: Cell) -> object:
        said = text(cell)
        return how(said) if said else None

    return read


def number(cell: Cell, such_as: str = "12.5") -> float | None:
    """The number in a cell, with a decimal point or comma; None where it is blank.

    `such_as` is a figure of its kind, for the message.

    Raises
    ------
    Wrong
        Text, dates, formulas, infinities, and what could be read two ways.

    Examples
    --------
    >>> number("12,5"), number("12.5"), number("1 200"), number("")
    (12.5, 12.5, 1200.0, None)
    >>> number("1.234,5")
    Traceback (most recent call last):
    ...
    estimator.survey.cells.Wrong: "1.234,5" has both a point and a comma, so it can be read two \
ways. Leave the thousands mark out, as in 1234.5 or 1234,5.
    """
    if isinstance(cell, Odd):
        raise Wrong(f"The cell holds {cell.holds}, not a number.", cell.fix)
    if not isinstance(cell, str):
        # A whole number of a workbook may have more digits than a float holds.
        if not abs(cell) <= sys.float_info.max:
            raise Wrong(f"{shown(cell)} is not a number that can be used.",
                        "Write the figure itself.")
        return float(cell)
    read = text(cell)
    if not read:
        return None
    if read.startswith("="):
        raise Wrong(f"{shown(read)} is a formula, not a number.", "Paste its value instead.")
    plain = _GROUP_BLANK.sub("", read.replace("−", "-"))
    _refuse_two_readings(plain)
    if _NUMBER.fullmatch(plain):
        value = float(plain.replace(",", "."))
        if math.isfinite(value):
            return value
    elif _DATE.fullmatch(plain):
        raise Wrong(
            f"{shown(read)} reads as a date, not a number.",
            "Spreadsheets turn some figures into dates: set the column's format to number and "
            "type the figure again.",
        )
    figures = _FIGURE.findall(plain)
    raise Wrong(
        f"{shown(read)} is not a number.",
        f"Write the figure alone: {figures[0]}." if len(figures) == 1
        else f"Write a figure such as {such_as}.",
    )


def _refuse_two_readings(plain: str) -> None:
    if _BOTH_MARKS.fullmatch(plain):
        marks = [mark for mark in plain if mark in ".,"]
        digits = re.sub("[.,]", "", plain)
        if len(set(marks)) == 2:
            cut = len(plain) - max(plain.rfind("."), plain.rfind(",")) - 1
            whole, part = digits[: len(digits) - cut], digits[len(digits) - cut:]
            raise Wrong(
                f"{shown(plain)} has both a point and a comma, so it can be read two ways.",
                f"Leave the thousands mark out, as in {whole}.{part} or {whole},{part}.",
            )
        if len(marks) > 1 and not _DATE.fullmatch(plain):
            raise Wrong(
                f"{shown(plain)} has more than one {'point' if marks[0] == '.' else 'comma'}.",
                f"Leave the thousands marks out, as in {digits}.",
            )
    two = _TWO_WAYS.fullmatch(plain)
    if two:
        whole, mark, part = two.groups()
        short = part.rstrip("0")
        small = f"{whole}{mark}{short if len(short) < 3 else short + '0'}".rstrip(mark)
        raise Wrong(f"{shown(plain)} can be read two ways, as {whole}{part} or as {small}.",
                    "Write one of these.")


def whole(cell: Cell) -> int | None:
    """A count, 0 to 9,999; None where the cell is blank.

    Raises
    ------
    Wrong
        If it holds no whole number of that range.

    Examples
    --------
    >>> whole("3"), whole(3.0), whole("")
    (3, 3, None)
    >>> whole("-2")
    Traceback (most recent call last):
    ...
    estimator.survey.cells.Wrong: "-2" is below zero; a count is 0 to 9999. Write how many there \
are; 0 where there is none.
    """
    value = number(cell, "2")
    if value is None:
        return None
    if value < 0:
        raise Wrong(f"{shown(cell)} is below zero; a count is 0 to {MAX_COUNT}.",
                    "Write how many there are; 0 where there is none.")
    if not value.is_integer():
        raise Wrong(f"{shown(cell)} is not whole; a count is 0 to {MAX_COUNT}.",
                    "Count whole pieces; lengths and areas have columns of their own.")
    if value > MAX_COUNT:
        raise Wrong(f"{shown(cell)} is more than any machine has; a count is 0 to {MAX_COUNT}.",
                    "Count again, or look whether two figures ran together.")
    return int(value)


def size(cell: Cell, unit: str, up_to: float) -> float | None:
    """A length or an area over 0 and up to `up_to`; None where the cell is blank.

    Raises
    ------
    Wrong
        If it holds no number of that range, or one in inches.

    Examples
    --------
    >>> size("355,6", "mm", 10_000)
    355.6
    >>> size('14"', "mm", 10_000)
    Traceback (most recent call last):
    ...
    estimator.survey.cells.Wrong: "14"" is in inches; the column is in mm. Write 355.6.
    """
    inches = _INCHES.fullmatch(cell.strip()) if isinstance(cell, str) and unit == "mm" else None
    if inches:
        figure = float(inches[1].replace(",", ".")) * MM_PER_INCH
        raise Wrong(f"{shown(cell)} is in inches; the column is in mm.", f"Write {figure:.1f}.")
    value = number(cell)
    if value is not None and not 0 < value <= up_to:
        raise Wrong(
            f"{shown(cell)} is out of range; it must be over 0 and at most {up_to:,.0f} {unit}.",
            f"Measure one piece in {unit}, or leave the cell blank to take the usual figure.",
        )
    return value


class Reading:
    """Reads fields one by one and gathers what is wrong.

    Examples
    --------
    >>> read = Reading({"count": "2", "note": "left one sticks", "length_mm": "wide"})
    >>> read.take("count", whole), read.take("note"), read.take("length_mm", number)
    (2, 'left one sticks', None)
    >>> read.wrong
    {'length_mm'}
    """

    def __init__(self, values: Mapping[str, Cell]):
        self.values = values
        self.faults: list[Fault] = []

    def take(self, field: str, how: Callable = text, needed: str = ""):
        """The value of a field; None, and a fault, where it cannot be read.

        `needed` says what to do about a blank field that must not be.
        """
        try:
            found = how(self.values.get(field, ""))
        except Wrong as wrong:
            self.faults.append(Fault(wrong.what, wrong.fix, column=field))
            return None
        except BadInput as error:
            self.faults += [Fault(one.what, one.fix, column=field) for one in error.faults]
            return None
        if needed and found in (None, ""):
            self.faults.append(Fault(BLANK, needed, column=field))
        return found

    @property
    def wrong(self) -> set[str]:
        """Fields that something is wrong with."""
        return {fault.column for fault in self.faults}

    def done(self) -> None:
        """Raise what was found wrong, if anything was."""
        if self.faults:
            raise BadInput(self.faults)


def written(value: float) -> str:
    """A size as text that `number` reads back to the same figure.

    Examples
    --------
    >>> written(12.5), written(40.0), written(1.234)
    ('12.5', '40', '1.2340')
    """
    if float(value).is_integer() and abs(value) < 1e15:
        return str(int(value))
    said = repr(float(value))
    return said + "0" if _TWO_WAYS.fullmatch(said) else said
