"""Surveys as they come broken from the field: each is made in a folder and says what is wrong.

`CASES` gives for each name a function that makes the file in a folder and returns its path;
`SAYS` the words that the report on it must hold: the place, what is wrong, what to do.
Every one is refused even as a draft. `gappy` is fine as a draft and refused by a quote.
"""

from __future__ import annotations

import datetime
import io
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

HEADER = "assembly,count,condition,certainty,length_mm,area_cm2,note\n"
FACTS = "machine,title,Test piece\nmachine,era,dot-matrix\n\n"
GOOD = "flipper,2,worn,seen,,,left one sticks\n"

CASES: dict[str, Callable[[Path], Path]] = {}
SAYS: dict[str, tuple[str, ...]] = {}


def case(*says: str):
    """Register a maker of a broken survey under its own name."""
    def register(make):
        CASES[make.__name__] = make
        SAYS[make.__name__] = says
        return make
    return register


def save(folder: Path, content: str | bytes, name: str = "survey.csv") -> Path:
    """The file with this content."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def workbook(folder: Path, *rows, title: str = "survey", name: str = "survey.xlsx") -> Path:
    """A workbook of one sheet with these rows; text that begins with = becomes a formula."""
    import openpyxl

    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    book.save(folder / name)
    return folder / name


def repacked(path: Path, part: str, content: bytes) -> Path:
    """The workbook with one of its parts replaced."""
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, held in (parts | {part: content}).items():
            new.writestr(name, held)
    return path


COLUMNS = HEADER.strip().split(",")


# What is no survey at all

@case("survey.csv: The file is empty.", "Save the survey again")
def empty_file(folder):
    return save(folder, b"")


@case("survey.csv: The file is empty.")
def nothing_but_blank_lines(folder):
    return save(folder, "\n\n  \n")


@case("survey.csv: This is a PDF document", "Export the survey")
def pdf_called_csv(folder):
    return save(folder, b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n<< /Type /Catalog >>\nendobj\n")


@case("survey.csv: This is a PNG picture", "Type the survey")
def picture_called_csv(folder):
    return save(folder, b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\2\0\0\0")


@case("survey.csv: This is a zip archive", "Unpack it")
def zip_called_csv(folder):
    with zipfile.ZipFile(folder / "survey.csv", "w") as archive:
        archive.writestr("inside.csv", FACTS + HEADER + GOOD)
    return folder / "survey.csv"


@case("survey.csv: This is a document in the old Excel format (.xls).", "save it as XLSX")
def old_excel_called_csv(folder):
    return save(folder, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 2000)


@case("survey.xlsx: The workbook is locked with a password.", "Save it without one.")
def locked_workbook(folder):
    # A locked workbook is a compound file that holds a stream of this name (MS-OFFCRYPTO 2.3.4).
    inside = "EncryptedPackage".encode("utf-16-le")
    return save(folder, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 900 + inside, "survey.xlsx")


@case("survey.ods: This is an OpenDocument file", "Save it as XLSX or as CSV.")
def open_document(folder):
    with zipfile.ZipFile(folder / "survey.ods", "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", "<x/>")
    return folder / "survey.ods"


@case("survey.csv: This is a web page", "Save the table as CSV")
def web_page_called_csv(folder):
    return save(folder, "<!DOCTYPE html>\n<html><table><tr><td>assembly</td></tr></table></html>")


@case("survey.csv, row 1: The byte 0x81 is neither UTF-8 nor Windows-1252 text.", "CSV UTF-8")
def binary_garbage(folder):
    return save(folder, bytes((i * 73 + 129) % 256 for i in range(4000)))


@case("a folder", "Name the survey file in it.")
def folder_instead_of_file(folder):
    (folder / "survey.csv").mkdir()
    return folder / "survey.csv"


@case("surveys.csv: There is no such file.", 'Did you mean "survey.csv"?')
def missing_file(folder):
    save(folder, FACTS + HEADER + GOOD)
    return folder / "surveys.csv"


@case("survey.csv: The file is 100.0 MB; a survey is at most 8 MB.", "Keep only")
def hundred_megabytes(folder):
    path = save(folder, FACTS + HEADER + GOOD)
    with path.open("r+b") as file:
        file.truncate(100 * 2**20)  # sparse: it takes no room on the disk
    return path


# Text that cannot be read as it stands

@case("survey.csv, row 5: The byte 0x90 is neither", "CSV UTF-8")
def wrong_encoding(folder):
    return save(folder, (FACTS + HEADER).encode() + b"flipper,2,worn,seen,,,caf\x90 \xe9\n")


@case("survey.csv, row 1: The file holds zero bytes", "CSV UTF-8")
def utf16_without_mark(folder):
    return save(folder, (FACTS + HEADER + GOOD).encode("utf-16-le"))


@case("survey.csv: The file begins as UTF-16 text and breaks off.")
def utf16_cut_short(folder):
    return save(folder, (FACTS + HEADER + GOOD).encode("utf-16")[:-1])


@case("survey.csv, row 5: The file holds zero bytes", "Save it again")
def zero_bytes(folder):
    return save(folder, FACTS + HEADER + "flipper,2,wo\0rn,seen,,,\n")


@case("survey.csv, row 6: The quotation marks in this row do not pair up.", "double each quote")
def quote_left_open(folder):
    return save(folder, FACTS + HEADER + GOOD + 'flipper,1,heavy,seen,,,"cracked\n' + GOOD)


@case("survey.csv, row 5, note:", "U+0007", "Type the cell again.")
def control_character(folder):
    return save(folder, FACTS + HEADER + "flipper,2,worn,seen,,,ding\a\n")


@case("survey.csv, row 5, note: The cell holds 3,000 characters; 2,000 are allowed.", "Shorten")
def very_long_cell(folder):
    return save(folder, FACTS + HEADER + "flipper,2,worn,seen,,," + "x" * 3000 + "\n")


@case("survey.csv, row 5: A cell in this row is far too long.", "Shorten it.")
def cell_without_end(folder):
    return save(folder, FACTS + HEADER + "flipper,2,worn,seen,,," + "x" * 200_000 + "\n")


@case("survey.csv, row 5002: There are more than 5,000 rows.")
def too_many_rows(folder):
    rows = (f"flipper,1,worn,seen,,,number {i}\n" for i in range(6000))
    return save(folder, FACTS + HEADER + "".join(rows))


# Columns and facts

@case("survey.csv, row 4: There is no line under the header.", "template")
def header_alone(folder):
    return save(folder, FACTS + HEADER)


@case("survey.csv, row 1: No header row was found", "assembly, count, condition, certainty")
def no_header(folder):
    return save(folder, "flipper,2,worn,seen\npop-bumper,3,worn,seen\n")


@case('row 4, condition: The column "condition" is missing.',
      'row 4, certainty: The column "certainty" is missing.', "Add it to the header")
def missing_columns(folder):
    return save(folder, FACTS + "assembly,count,note\nflipper,2,fine\n")


@case('row 4, colour: There is no column "colour"', 'Did you mean "condition"',
      'row 4, conditon: There is no column "conditon"', 'The column "condition" is missing.')
def unknown_columns(folder):
    return save(folder, FACTS + "assembly,count,conditon,certainty,colour\n"
                "flipper,2,worn,seen,red\n")


@case('row 4, count: The column "count" stands there twice.', "Keep one")
def column_twice(folder):
    return save(folder, FACTS + "assembly,count,condition,certainty,Count\nflipper,2,worn,seen,3\n")


@case('survey.csv, row 2, era: "dot matrx" is not an era.', 'Did you mean "dot-matrix"?')
def unknown_era(folder):
    return save(folder, FACTS.replace("dot-matrix", "dot matrx") + HEADER + GOOD)


@case('survey.csv, row 1, machine: "titel" is not a fact of the machine.', '"title"',
      "row 3, era: The machine's era is given twice.")
def unknown_and_repeated_facts(folder):
    return save(folder, "machine,titel,Test piece\nmachine,era,2000s\nmachine,era,modern\n"
                + HEADER + GOOD)


@case('survey.csv, row 1: "Survey of the hall" is neither a machine fact nor the header',
      "Begin the row with machine", "row 7: Machine facts stand above the header row.")
def rows_in_the_wrong_place(folder):
    return save(folder, "Survey of the hall\n" + FACTS + HEADER + GOOD + "machine,serial,12\n")


# Cells

@case('survey.csv, row 5, assembly: "fliper" is not an assembly', 'Did you mean "flipper"',
      "survey.csv, row 6, assembly: The row names no assembly.", "Name it, or delete the row.")
def unknown_assembly(folder):
    return save(folder, FACTS + HEADER + "fliper,2,worn,seen,,,\n,2,worn,seen,,,\n")


@case('survey.csv, row 5, condition: "wron" is not a condition.', 'Did you mean "worn"?',
      'survey.csv, row 5, certainty: "guess" is not a certainty.',
      "Allowed: seen, assumed, hidden.")
def unknown_grades(folder):
    return save(folder, FACTS + HEADER + "flipper,2,wron,guess,,,\n")


@case('row 5, count: "-2" is below zero', 'row 6, count: "2.5" is not whole',
      'row 7, count: "100000" is more than any machine has', 'row 8, count: "two" is not a number.',
      "Write how many there are")
def negative_and_other_impossible_counts(folder):
    return save(folder, FACTS + HEADER + "".join(
        f"flipper,{count},worn,seen,,,{count}\n" for count in ("-2", "2.5", "100000", "two")))


@case('row 5, length_mm: "-40" is out of range', 'row 6, length_mm: "nan" is not a number.',
      'row 7, length_mm: "1e999" is not a number.', 'row 8, area_cm2: "0" is out of range',
      'row 9, length_mm: "12 mm" is not a number. Write the figure alone: 12.',
      'row 10, length_mm: "3,5 in" is in inches; the column is in mm. Write 88.9.',
      "leave the cell blank to take the usual figure")
def impossible_sizes(folder):
    return save(folder, FACTS + HEADER + "".join(
        f"flipper,1,worn,seen,{sizes},{note}\n" for note, sizes in
        enumerate(("-40,", "nan,", "1e999,", ",0", "12 mm,", '"3,5 in",'))))


@case('"1.234,5" has both a point and a comma', "as in 1234.5 or 1234,5",
      'row 6, length_mm: "1,200" can be read two ways, as 1200 or as 1,2.', "Write one of these.")
def numbers_that_read_two_ways(folder):
    return save(folder, FACTS + HEADER
                + 'flipper,1,worn,seen,"1.234,5",,a\nflipper,1,worn,seen,"1,200",,b\n')


@case('row 5, count: "2024-03-04" reads as a date', 'row 6, count: "4-Mar" reads as a date',
      'row 7, count: "3/4" reads as a date', "format to number")
def dates_for_numbers(folder):
    return save(folder, FACTS + HEADER + "".join(
        f"flipper,{count},worn,seen,,,{count}\n" for count in ("2024-03-04", "4-Mar", "3/4")))


@case('survey.csv, row 5, count: "=1+1" is a formula', "Paste its value")
def formula_in_csv(folder):
    return save(folder, FACTS + HEADER + "flipper,=1+1,worn,seen,,,=this is text\n")


@case("survey.csv, row 9: The row repeats row 5 (flipper).", "Add the counts together")
def duplicate_lines(folder):
    return save(folder, FACTS + HEADER + GOOD + "flipper,1,heavy,seen,,,\n\n\n"
                + GOOD.replace(",2,", ",1,"))


@case('survey.csv, row 5: "one sticks" stands under no header.', "in quotes")
def comma_in_a_note(folder):
    return save(folder, FACTS + HEADER + "flipper,2,worn,seen,,,left, one sticks\n")


@case("survey.csv, row 5, condition", "There are 200 faults above", "Put those right first")
def wrong_all_over(folder):
    return save(folder, FACTS + HEADER + "".join(
        f"flipper,1,bad,seen,,,{i}\n" for i in range(1000)))


# Workbooks

@case("survey.xlsx, row 2, count: The cell holds a formula, not a number.",
      "survey.xlsx, row 2, note: The cell holds a formula.", "Paste its value")
def formulas_in_workbook(folder):
    return workbook(folder, COLUMNS, ["flipper", "=1+1", "worn", "seen", None, None, '="a"&"b"'])


@case("survey.xlsx, row 2, count: The cell holds a date or time (2024-03-04), not a number.",
      "survey.xlsx, row 2, length_mm: The cell holds a date or time (12:30:00)",
      "survey.xlsx, row 3, count: The cell holds TRUE, not a number.", "format to number")
def dates_in_workbook(folder):
    return workbook(folder, COLUMNS,
                    ["flipper", datetime.date(2024, 3, 4), "worn", "seen", datetime.time(12, 30)],
                    ["flipper", True, "light", "seen"])


@case("survey.xlsx, row 2, count: The cell holds the error #REF!", "Type the value.")
def error_in_workbook(folder):
    return workbook(folder, COLUMNS, ["flipper", "#REF!", "worn", "seen"])


@case("survey.xlsx: No sheet is called survey", 'Sheets found: "Photos".', 'Call the sheet')
def workbook_without_survey(folder):
    return workbook(folder, ["photo", "of"], ["1.jpg", "playfield"], title="Photos")


@case('survey.xlsx: There is nothing in the sheet "survey".', "template")
def empty_workbook(folder):
    return workbook(folder)


@case('in the sheet "Machine": "modrn" is not an era.', 'Did you mean "modern"?', "row 1, era")
def unknown_era_in_workbook(folder):
    import openpyxl

    path = workbook(folder, COLUMNS, ["flipper", 2, "worn", "seen"])
    book = openpyxl.load_workbook(path)
    book.create_sheet("Machine").append(["era", "modrn"])
    book.save(path)
    return path


@case("survey.xlsx: The file is called a workbook and is none", "save it again as XLSX")
def text_called_workbook(folder):
    return save(folder, FACTS + HEADER + GOOD, "survey.xlsx")


@case("survey.xlsx: The workbook or archive is damaged", "save it again")
def workbook_cut_short(folder):
    path = workbook(folder, COLUMNS, ["flipper", 2, "worn", "seen"])
    path.write_bytes(path.read_bytes()[:2000])
    return path


@case("survey.xlsx: The workbook is damaged", "save it again")
def workbook_with_damaged_part(folder):
    path = workbook(folder, COLUMNS, ["flipper", 2, "worn", "seen"])
    return repacked(path, "xl/worksheets/sheet1.xml", b"<worksheet><sheetData><row r='x")


@case("survey.xlsx: The workbook unpacks to 8", "64 MB are allowed.", "new workbook")
def zip_bomb(folder):
    path = workbook(folder, COLUMNS, ["flipper", 2, "worn", "seen"])
    return repacked(path, "xl/sharedStrings.xml", b" " * (80 * 2**20))


@case("survey.xlsx: The workbook is damaged and cannot be unpacked.")
def zip_bomb_that_lies(folder):
    """A part that unpacks to far more than the archive says."""
    path = repacked(workbook(folder, COLUMNS, ["flipper", 2, "worn", "seen"]),
                    "xl/sharedStrings.xml", b" " * (80 * 2**20))
    return save(folder, path.read_bytes().replace(struct.pack("<I", 80 * 2**20),
                                                  struct.pack("<I", 1000)), "survey.xlsx")


@case("survey.xlsx: The workbook declares entities", "new workbook")
def entities_that_swell(folder):
    path = workbook(folder, COLUMNS, ["flipper", 2, "worn", "seen"])
    levels = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 12))
    return repacked(path, "xl/sharedStrings.xml",
                    f'<!DOCTYPE sst [<!ENTITY e0 "lol">{levels}]><sst>&e11;</sst>'.encode())


@case('The sheet "survey" is far bigger than any survey.', "new workbook")
def workbook_of_huge_size(folder):
    path = workbook(folder, COLUMNS, ["flipper", 2, "worn", "seen"])
    sheet = io.StringIO()
    sheet.write('<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
                '<dimension ref="A1:XFD1048576"/><sheetData>')
    for row in range(1, 40):
        sheet.write(f'<row r="{row}"><c r="XFD{row}"><v>1</v></c></row>')
    sheet.write("</sheetData></worksheet>")
    return repacked(path, "xl/worksheets/sheet1.xml", sheet.getvalue().encode())


@case("survey.xlsx, row 1048576: The sheet", "far bigger")
def workbook_with_a_row_far_below(folder):
    path = workbook(folder, COLUMNS, ["flipper", 2, "worn", "seen"])
    return repacked(path, "xl/worksheets/sheet1.xml", (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        b'<row r="999999999"><c r="A999999999"><v>1</v></c></row></sheetData></worksheet>'))


def gappy(folder: Path) -> Path:
    """A draft: no era, and a line without count, condition and certainty."""
    return save(folder, HEADER + GOOD + "pop-bumper,,,,,,to be looked at\n")
