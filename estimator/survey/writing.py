"""Write a survey as CSV or XLSX, whole or not at all."""

from __future__ import annotations

import csv
import datetime
import io
from pathlib import Path

from estimator import disk
from estimator.catalogue import CONDITIONS, Catalogue, Certainty, Era
from estimator.errors import BadInput, Fault
from estimator.outside import guarded
from estimator.survey.cells import MAX_COUNT, written
from estimator.survey.grid import MAX_ROWS
from estimator.survey.parsing import COLUMNS, FACTS
from estimator.survey.reading import read_bytes
from estimator.survey.records import Line, Survey

_SPARE_ROWS = 200
"""Rows below the last line that still offer their choices."""
_WIDTHS = (26, 8, 12, 12, 12, 12, 60)


def write(survey: Survey, path: Path | str, catalogue: Catalogue) -> None:
    """Write a survey to a file ending in .csv or .xlsx; a draft may have gaps.

    What could not be read back is not written. The file appears whole: it is written beside
    its place and then moved there.

    Parameters
    ----------
    path
        Where to; the ending says which kind of file. What stands there is replaced.
    catalogue
        Tables whose assemblies and eras the survey names.

    Raises
    ------
    BadInput
        Another ending, no such folder, no leave to write, or faults in the survey: those that
        reading the file would find, by the row they would stand in.

    Examples
    --------
    >>> import tempfile
    >>> from estimator.catalogue import Era, load
    >>> from estimator.survey import read, template
    >>> tables, path = load(), Path(tempfile.mkdtemp()) / "survey.xlsx"
    >>> write(template(Era.MODERN, tables), path, tables)
    >>> len(read(path, tables).lines) == len(template(Era.MODERN, tables).lines)
    True
    """
    path = Path(path)
    make = {".csv": csv_bytes, ".xlsx": xlsx_bytes}.get(path.suffix.casefold())
    if make is None:
        raise BadInput(Fault(f'A survey is not written as "{path.suffix}".',
                             "End the name in .csv or .xlsx.", path.name))
    data = make(survey, catalogue)
    read_bytes(data, path.name, catalogue)
    if not path.parent.is_dir():
        raise BadInput(Fault(f'There is no folder "{path.parent.name}" to write to.',
                             "Make it first, or name another.", path.name))
    try:
        disk.write(path, data)
    except OSError as error:
        raise BadInput(Fault(
            f"The file cannot be written ({error.strerror or error}).",
            "Close it where it is open, or choose another folder.", path.name)) from None


def csv_bytes(survey: Survey, catalogue: Catalogue) -> bytes:
    """The survey as CSV: UTF-8 with its mark, so that spreadsheets know it, and commas.

    Examples
    --------
    >>> from estimator.catalogue import Era, load
    >>> from estimator.survey import template
    >>> csv_bytes(template(Era.MODERN, load()), load()).decode("utf-8-sig").splitlines()[0]
    'machine,title,'
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    for fact in FACTS:
        writer.writerow(("machine", fact, guarded(_words(getattr(survey.machine, fact)))))
    writer.writerow(())
    writer.writerow(COLUMNS)
    for line in survey.lines:
        writer.writerow([
            guarded(cell) if isinstance(cell, str) else
            "" if cell is None else
            written(cell)
            for cell in _cells(line)
        ])
    return text.getvalue().encode("utf-8-sig", "surrogatepass")


def xlsx_bytes(survey: Survey, catalogue: Catalogue) -> bytes:
    """The survey as a workbook: its lines, the machine, and the choices that cells offer.

    Examples
    --------
    >>> from estimator.catalogue import Era, load
    >>> from estimator.survey import template
    >>> xlsx_bytes(template(Era.MODERN, load()), load())[:2]
    b'PK'
    """
    import xlsxwriter

    file = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
               "strings_to_numbers": False}
    with xlsxwriter.Workbook(file, options) as book:
        # Without a fixed date the same survey would give another file every second.
        book.set_properties({"created": datetime.datetime(2000, 1, 1)})
        heading = book.add_format({"bold": True, "bottom": 1})
        wrapped = book.add_format({"text_wrap": True, "valign": "top", "num_format": "@"})
        top = book.add_format({"valign": "top"})
        lines, machine, choices = map(book.add_worksheet, ("survey", "machine", "choices"))

        for column, (name, width) in enumerate(zip(COLUMNS, _WIDTHS, strict=True)):
            lines.set_column(column, column, width, wrapped if name == "note" else top)
            lines.write_string(0, column, name, heading)
        lines.freeze_panes(1, 1)
        # It is printed for the clipboard too.
        lines.set_landscape()
        lines.fit_to_pages(1, 0)
        lines.repeat_rows(0)
        for row, line in enumerate(survey.lines, start=1):
            for column, cell in enumerate(_cells(line)):
                if isinstance(cell, str):
                    form = wrapped if COLUMNS[column] == "note" else top
                    lines.write_string(row, column, cell, form) if cell else None
                elif cell is not None:
                    lines.write_number(row, column, cell, top)

        machine.set_column(0, 0, 14, heading)
        machine.set_column(1, 1, 60, wrapped)
        for row, fact in enumerate(FACTS):
            machine.write_string(row, 0, fact, heading)
            said = _words(getattr(survey.machine, fact))
            machine.write_string(row, 1, said, wrapped) if said else None

        offered = {
            "assembly": list(catalogue.assemblies),
            "name": [row.name for row in catalogue.assemblies.values()],
            "condition": list(CONDITIONS),
            "certainty": list(Certainty),
            "era": list(Era),
        }
        ranges = {}
        for column, (name, values) in enumerate(offered.items()):
            choices.set_column(column, column, 26)
            choices.write_string(0, column, name, heading)
            choices.write_column(1, column, [str(value) for value in values])
            letter = "ABCDE"[column]
            ranges[name] = f"=choices!${letter}$2:${letter}${len(values) + 1}"
        choices.hide()
        _offer_choices(lines, machine, ranges, min(len(survey.lines) + _SPARE_ROWS, MAX_ROWS))
    return file.getvalue()


def _offer_choices(lines, machine, ranges: dict[str, str], last: int) -> None:
    for name in ("assembly", "condition", "certainty"):
        column = COLUMNS.index(name)
        lines.data_validation(1, column, last, column, {
            "validate": "list", "source": ranges[name], "error_title": f"Not a known {name}",
            "error_message": "Choose from the list.",
        })
    column = COLUMNS.index("count")
    lines.data_validation(1, column, last, column, {
        "validate": "integer", "criteria": "between", "minimum": 0, "maximum": MAX_COUNT,
        "error_title": "Not a count", "error_message": f"Write a whole number, 0 to {MAX_COUNT}.",
    })
    for name in ("length_mm", "area_cm2"):
        column = COLUMNS.index(name)
        lines.data_validation(1, column, last, column, {
            "validate": "decimal", "criteria": ">", "value": 0, "error_title": "Not a size",
            "error_message": "Write a number over 0, or leave it blank for the usual figure.",
        })
    machine.data_validation(FACTS.index("era"), 1, FACTS.index("era"), 1, {
        "validate": "list", "source": ranges["era"], "error_title": "Not a known era",
        "error_message": "Choose from the list.",
    })


def _cells(line: Line) -> list[str | int | float | None]:
    cells = (getattr(line, column) for column in COLUMNS)
    return [_words(cell) if isinstance(cell, str) else cell for cell in cells]


def _words(said: str | None) -> str:
    return "" if said is None else str(said).replace("\r\n", "\n").replace("\r", "\n").strip()
