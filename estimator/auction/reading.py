"""An auction list: one row a machine, read as surveys are.

One row for each machine::

    lot,title,maker,year,era,found,bad,survey,value,value_low,value_high,asking,note
    101,Lantern Parade,,1978,,not working,,,1200,,,150,backglass good
    102,Comet Harbour,,,dot-matrix,working,flipper 2; cpu-board,,4200,3600,5000,1800,

==========  =============================================================================
column      what it holds
==========  =============================================================================
lot         its number in the sale; blank takes the row's
title       its name; maker and year the same way
era         as in a survey; blank takes it from the year
found       state: incomplete, not-working, working, nice, collector; blank: not-working
bad         pieces known to be bad, parted by semicolons: an assembly, how many, and a
            condition if it is not failed, such as "flipper 2; backglass missing"
survey      a survey file beside the list; then state and era may be blank
value       what the same machine brings nice and working; value_low, value_high: one in
            a hundred brings less, or more
asking      asking, reserve or start price, before premium; may be called so
note        any words
==========  =============================================================================

Columns come in any order; `value` must be there, and `lot` or `title`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from estimator import survey as surveys
from estimator.auction.records import Bad, Offered
from estimator.catalogue import FOUND, Catalogue, Condition, Era
from estimator.errors import BadInput, Fault, one_of, quoted
from estimator.outside import leading_out
from estimator.survey import cells, files
from estimator.survey.cells import Cell, Wrong, shown
from estimator.survey.grid import Kind, named_in, placed
from estimator.survey.names import Names, tight
from estimator.textfiles import MOST_FAULTS, rest_unread

COLUMNS = ("lot", "title", "maker", "year", "era", "found", "bad", "survey", "value", "value_low",
           "value_high", "asking", "note")
MOST = 50_000
"""Machines in one list."""
_ALSO = {"reserve": "asking", "start": "asking", "startprice": "asking", "askingprice": "asking",
         "reserveprice": "asking", "price": "asking", "state": "found", "lotnumber": "lot",
         "number": "lot", "manufacturer": "maker"}
_COLUMN = {tight(column): column for column in COLUMNS} | _ALSO
_YEAR = re.compile(r"(?<![0-9])(1[89][0-9]{2}|20[0-9]{2})(?![0-9])")
_COUNT = re.compile(r"(?<![\w-])([0-9]+)(?![\w-])")
_MOST_MONEY = 1_000_000_000
_DEFAULT_FOUND = "not-working"


def read(path: Path | str, catalogue: Catalogue, *, value: float | None = None
         ) -> tuple[tuple[Offered, ...], tuple[str, ...]]:
    """Machines of a list, CSV or XLSX, and remarks on the file.

    Parameters
    ----------
    value
        Taken where a row says none. [money]

    Raises
    ------
    BadInput
        With every fault of every row, up to 200.

    Examples
    --------
    >>> import tempfile
    >>> from estimator.catalogue import load
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "sale.csv")
    ...     size = path.write_text(EXAMPLE, encoding="utf-8")
    ...     machines, notes = read(path, load())
    >>> [(one.lot, str(one.era), one.value) for one in machines][:2]
    [('101', 'electromechanical', 1100.0), ('102', 'dot-matrix', 4200.0)]
    """
    path = Path(path)
    return read_bytes(files.fetch(path, _KIND), path.name, catalogue, value=value,
                      folder=path.parent)


def read_bytes(data: bytes, name: str, catalogue: Catalogue, *, value: float | None = None,
               folder: Path | None = None) -> tuple[tuple[Offered, ...], tuple[str, ...]]:
    """As `read`, from the bytes of a file; surveys are looked for in `folder`.

    Raises
    ------
    BadInput
        As `read`.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> rows = b"Lot;Year;State;Value;Start price\\n7;1994;Working;4.200,00;1800\\n"
    >>> try:
    ...     read_bytes(rows, "sale.csv", load())
    ... except BadInput as error:
    ...     print(error)
    sale.csv, row 2, Value: "4.200,00" has both a point and a comma, so it can be read two ways. \
Leave the thousands mark out, as in 4200.00 or 4200,00.
    >>> one = read_bytes(rows.replace(b".200", b"200"), "sale.csv", load())[0][0]
    >>> one.lot, str(one.era), one.value, one.asking
    ('7', 'dot-matrix', 4200.0, 1800.0)
    """
    found = files.sheets(data, name, _KIND)
    rows = found.lines.rows
    header = next((place for place, (_, row) in enumerate(rows) if _columns_named(row)), None)
    if header is None:
        raise BadInput(Fault("No header row was found; it must name lot or title, and value.",
                             f"Its columns are {', '.join(COLUMNS)}.", name))
    row, names = rows[header]
    places, faults = placed((row, names), _COLUMN, _KIND.one, name)
    faults += _lacking(places, row, name, value)
    reader = _Reader(catalogue, value, folder)
    machines: list[Offered] = []
    seen: dict[str, int] = {}
    for number, row in rows[header + 1:] if not faults else ():
        said = {column: row[place] for column, place in places.items() if place < len(row)}
        stray = [cell for place, cell in enumerate(row)
                 if place not in places.values() and str(cell).strip()]
        if stray:
            # A decimal comma that parts the cells moves all the rest by one: say only that.
            one, wrong = None, [Fault(f"{shown(stray[0])} stands under no header.",
                                      "Put decimals with a comma in quotes where commas part the "
                                      "cells, and text that holds a comma too.")]
        else:
            one, wrong = reader.machine(said, number)
        if one is not None and one.lot in seen:
            one, wrong = None, [Fault(f'Lot "{one.lot}" stands in row {seen[one.lot]} already.',
                                      "Keep one of the two, or number them apart.", column="lot")]
        # A column is called as the file calls it.
        faults += [replace(fault, file=name, row=number, column=str(names[places[fault.column]])
                           .strip() if fault.column in places else fault.column)
                   for fault in wrong]
        if len(faults) >= MOST_FAULTS:
            faults.append(rest_unread(name, number))
            break
        if one is not None:
            machines.append(one)
            seen[one.lot] = number
    if not faults and not machines:
        faults.append(Fault("There are no machines under the header.", "Fill in a row.", name))
    if not faults and len(machines) > MOST:
        faults.append(Fault(f"There are more than {MOST:,} machines.", "Part the list.", name))
    if faults:
        raise BadInput(faults)
    return tuple(machines), found.notes


def _columns_named(row: Sequence[Cell]) -> int:
    count = len(named_in(row, _COLUMN))
    return count if count >= 2 else 0


_KIND = Kind("auction list", _columns_named, ("lot or title", "value"), most=MOST + 60)


def _lacking(places: Mapping[str, int], row: int, name: str, value: float | None) -> list[Fault]:
    """What the header in this row must name and does not."""
    faults = []
    if "value" not in places and value is None:
        faults.append(Fault('The column "value" is missing: what such a machine brings nice and '
                            "working.", "Add it, or say --value for all.", name, row, "value"))
    if not {"lot", "title"} & places.keys():
        faults.append(Fault("Neither lot nor title is there.", "Add one of them.", name, row,
                            "lot"))
    if not {"era", "year", "survey"} & places.keys():
        faults.append(Fault("Neither era nor year is there.", "Add one of them.", name, row,
                            "era"))
    return faults


class _Reader:
    """Reads rows; what the tables say is looked up once."""

    def __init__(self, catalogue: Catalogue, value: float | None, folder: Path | None):
        self._catalogue, self._value, self._folder = catalogue, value, folder
        self._names = Names(catalogue)
        self._years = [(era, *span) for era, row in catalogue.eras.items()
                       if (span := _span(row.years)) is not None]
        self._surveys: dict[str, object] = {}
        self._states = {tight(state): state for state in FOUND}

    def machine(self, said: Mapping[str, Cell], row: int) -> tuple[Offered | None, list[Fault]]:
        """The machine of a row, or None and what is wrong."""
        read, taken = cells.Reading(said), []

        def wrong(column: str, what: str, fix: str) -> None:
            read.faults.append(Fault(what, fix, column=column))

        words = {column: read.take(column) or ""
                 for column in ("lot", "title", "maker", "year", "note")}
        era = read.take("era", cells.if_any(self._names.era))
        found = read.take("found", cells.if_any(self._state))
        bad = read.take("bad", self._bad) or ()
        survey = read.take("survey", cells.if_any(self._survey))
        amounts = {column: read.take(column, _amount)
                   for column in ("value", "value_low", "value_high", "asking")}
        failed = read.wrong
        if survey is not None:
            era = survey.machine.era if era is None else era
            if era != survey.machine.era:
                wrong("era", f"The survey says {survey.machine.era}.",
                              "Bring the two together.")
        elif era is None and not failed & {"era", "survey"}:
            era = self._era_of(words["year"], taken, wrong)
        if found is None and survey is None and "found" not in failed:
            found = _DEFAULT_FOUND
            taken.append(f"state not said: {_DEFAULT_FOUND.replace('-', ' ')}")
        value = amounts["value"]
        if value is None and "value" not in failed:
            value = self._value
            if value is None:
                wrong("value", "The cell is blank: what it brings nice and working.",
                              "Fill it in, or say --value for all.")
            else:
                taken.append(f"value not said: {value:g}")
        elif value == 0:
            wrong("value", "The value is 0; it must be over 0.",
                          "Write what it brings nice and working.")
        low, high = amounts["value_low"], amounts["value_high"]
        if value and low is not None and low > value:
            wrong("value_low", f"{low:g} is over the value {value:g}.",
                          "Bring them into order.")
        if value and high is not None and high < value:
            wrong("value_high", f"{high:g} is under the value {value:g}.",
                          "Bring them into order.")
        if read.faults:
            return None, read.faults
        if value is not None and low is None and high is None:
            taken.append("spread of the value as usual")
        return Offered(
            lot=words["lot"] or f"row {row}", era=era, found=found, value=value, value_low=low,
            value_high=high, asking=amounts["asking"], bad=bad, survey=survey,
            title=words["title"], maker=words["maker"], year=words["year"], note=words["note"],
            taken=tuple(taken), row=row), []

    def _state(self, word: str) -> str:
        found = self._states.get(tight(word))
        if found is None:
            raise Wrong(f"{shown(word)} is not a state a machine is found in.",
                        one_of(word, FOUND))
        return found

    def _bad(self, cell: Cell) -> tuple[Bad, ...]:
        found = []
        for part in re.split(r"[;\n]", cells.text(cell)):
            if not part.strip():
                continue
            count, condition, words = 1, Condition.FAILED, part
            figures = _COUNT.findall(part)
            if len(figures) > 1:
                raise Wrong(f"{shown(part)} has two counts.", 'Write it like "flipper 2".')
            if figures:
                count = int(figures[0])
                words = _COUNT.sub(" ", words)
                if not 1 <= count <= cells.MAX_COUNT:
                    raise Wrong(f"{count} is no count of bad pieces.", "Write 1 or more.")
            kept = []
            for word in words.split():
                if word.casefold() in set(Condition):
                    condition = Condition(word.casefold())
                else:
                    kept.append(word)
            found.append(Bad(self._names.assembly(" ".join(kept)), count, condition))
        return tuple(sorted(found, key=lambda bad: (bad.assembly, str(bad.condition), bad.count)))

    def _survey(self, word: str):
        if self._folder is None:
            raise Wrong("A survey beside the list is read from a folder alone.",
                        "Save the list in a folder with its surveys.")
        if next(leading_out(self._folder, [self._folder / word]), None):
            raise Wrong(f"{shown(word)} leads out of the folder of the list.",
                        "Put the survey beside the list.")
        if word not in self._surveys:
            try:
                self._surveys[word] = surveys.read(self._folder / word, self._catalogue, final=True)
            except BadInput as error:
                # The row is that of the list; where it is in the survey belongs to what is wrong.
                raise BadInput([
                    Fault(str(replace(fault, fix="", file=quoted(fault.file)[1:-1])), fault.fix)
                    for fault in error.faults[:5]]) from None
        return self._surveys[word]

    def _era_of(self, year: str, taken: list[str], wrong: Callable[[str, str, str], None]
                ) -> Era | None:
        figures = _YEAR.search(year)
        if figures is None:
            wrong("era", "Neither an era nor a year is said.",
                          f"Write one: {', '.join(era.value for era in self._catalogue.eras)}.")
            return None
        number = int(figures[0])
        fits = [era for era, first, last in self._years if first <= number <= last]
        if not fits:
            wrong("year", f"No era holds the year {number}.", "Write the era.")
            return None
        or_so = f", or {fits[0]}" if len(fits) > 1 else ""
        taken.append(f"era by the year: {fits[-1]}{or_so}")
        return fits[-1]


def _span(years: str) -> tuple[int, int] | None:
    """First and last year of an era, as the table says them in words."""
    figures = [int(figure) for figure in _YEAR.findall(years)]
    if len(figures) == 2:
        return figures[0], figures[1]
    if len(figures) == 1:
        return (0, figures[0]) if years.strip().startswith("to") else (figures[0], 9999)
    return None


def _amount(cell: Cell) -> float | None:
    found = cells.number(cell, "1200")
    if found is not None and found < 0:
        raise Wrong(f"{shown(cell)} is under 0; a price is 0 or more.", "Write the price alone.")
    if found is not None and found > _MOST_MONEY:
        raise Wrong(f"{shown(cell)} is over {_MOST_MONEY:,}; no machine brings that.",
                    "Look whether two figures ran together.")
    return found


EXAMPLE = """\
lot,title,maker,year,era,found,bad,survey,value,value_low,value_high,asking,note
101,Lantern Parade,,1976,,not working,,,1100,,,150,backglass good
102,Comet Harbour,,1994,,working,flipper 2,,4200,3600,5000,1800,
103,Marmalade Observatory,,,dot-matrix,incomplete,backglass missing; cpu-board,,3800,,,400,\
no legs
104,Ninth Ferry,,1981,,,,,1500,,,,not seen
105,Glass Orchard,,2013,,nice,,,5200,4600,6000,3900,
"""
"""An invented list to start from."""


__all__ = ["EXAMPLE", "read", "read_bytes"]
