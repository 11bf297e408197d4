"""Files made to harm: bombs, false sizes, deep nesting, a million columns, odd codings.

Each is made when it is asked for: some take megabytes. `FILES` gives the name of the family, the
name of the file and a function that makes its bytes.
"""

from __future__ import annotations

import io
import json
import struct
import zipfile
from collections.abc import Callable

from fuzzing.mutations import packed, unpacked

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_HEAD = "assembly,count,condition,certainty,length_mm,area_cm2,note\n"
_FACTS = "machine,title,Test piece\nmachine,era,dot-matrix\n\n"
_ROW = "flipper,2,worn,seen,,,left one sticks\n"
_COLUMNS = tuple(_HEAD.strip().split(","))

FILES: dict[str, tuple[str, str, Callable[[], bytes]]] = {}


def _file(family: str, name: str):
    def register(make: Callable[[], bytes]) -> Callable[[], bytes]:
        FILES[make.__name__] = family, name, make
        return make
    return register


# Workbooks

def _cell(place: str, said: object) -> str:
    if isinstance(said, str):
        return f'<c r="{place}" t="inlineStr"><is><t>{said}</t></is></c>'
    return f'<c r="{place}"><v>{said}</v></c>'


def _sheet(rows: str) -> bytes:
    return f'<?xml version="1.0"?><worksheet xmlns="{_MAIN}"><sheetData>{rows}</sheetData>' \
           "</worksheet>".encode()


def _good_rows(count: object = 2) -> str:
    head = "".join(_cell(f"{'ABCDEFG'[at]}1", name) for at, name in enumerate(_COLUMNS))
    row = "".join(_cell(f"{'ABCDEFG'[at]}2", said)
                  for at, said in enumerate(("flipper", count, "worn", "seen")))
    return f'<row r="1">{head}</row><row r="2">{row}</row>'


def _book(sheets: tuple[tuple[str, str], ...] = (("survey", "sheet1"),),
          parts: dict[str, bytes] | None = None, main: str = "sheet.main") -> bytes:
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    files = list(dict.fromkeys(file for _, file in sheets))
    types = "".join(f'<Override PartName="/xl/worksheets/{file}.xml" ContentType="{kind}.worksheet'
                    '+xml"/>' for file in files)
    if main != "sheet.main":
        book_kind = "application/vnd.ms-excel.sheet.macroEnabled.main+xml"
    else:
        book_kind = f"{kind}.sheet.main+xml"
    if parts and "xl/sharedStrings.xml" in parts:
        types += (f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}.sharedStrings'
                  '+xml"/>')
    if parts and "xl/styles.xml" in parts:
        types += f'<Override PartName="/xl/styles.xml" ContentType="{kind}.styles+xml"/>'
    listed = "".join(f'<sheet name="{name}" sheetId="{number}" r:id="r{files.index(file)}"/>'
                     for number, (name, file) in enumerate(sheets, 1))
    related = "".join(f'<Relationship Id="r{at}" Type="{_RELS}/worksheet" Target="worksheets/{file}'
                      '.xml"/>' for at, file in enumerate(files))
    return packed({
        "[Content_Types].xml": (
            '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/'
            'content-types"><Default Extension="xml" ContentType="application/xml"/><Override '
            f'PartName="/xl/workbook.xml" ContentType="{book_kind}"/>{types}</Types>').encode(),
        "_rels/.rels": (
            '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/'
            f'2006/relationships"><Relationship Id="r1" Type="{_RELS}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>').encode(),
        "xl/workbook.xml": (
            f'<?xml version="1.0"?><workbook xmlns="{_MAIN}" xmlns:r="{_RELS}"><sheets>{listed}'
            "</sheets></workbook>").encode(),
        "xl/_rels/workbook.xml.rels": (
            '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/'
            f'2006/relationships">{related}</Relationships>').encode(),
        **{f"xl/worksheets/{file}.xml": _sheet(_good_rows()) for file in files},
        **(parts or {}),
    })


@_file("survey-xlsx", "survey.xlsx")
def good_by_hand() -> bytes:
    """A good one: what is wrong with the others is what they say."""
    return _book()


@_file("survey-xlsx", "survey.xlsx")
def number_of_400_digits() -> bytes:
    """More digits than a float can hold, as a whole number."""
    return _book(parts={"xl/worksheets/sheet1.xml": _sheet(_good_rows(int("9" * 400)))})


@_file("survey-xlsx", "survey.xlsx")
def number_of_5000_digits() -> bytes:
    """More digits than Python reads."""
    return _book(parts={"xl/worksheets/sheet1.xml": _sheet(
        _good_rows().replace("<v>2<", f"<v>{'9' * 5_000}<"))})


@_file("survey-xlsx", "survey.xlsx")
def strings_without_end() -> bytes:
    """Thirty megabytes of shared strings, each empty."""
    return _book(parts={"xl/sharedStrings.xml": (
        f'<?xml version="1.0"?><sst xmlns="{_MAIN}">{"<si/>" * 6_000_000}</sst>').encode()})


@_file("survey-xlsx", "survey.xlsx")
def one_string_of_20_megabytes() -> bytes:
    """One shared string, and a cell that points to it."""
    return _book(parts={
        "xl/sharedStrings.xml": (f'<?xml version="1.0"?><sst xmlns="{_MAIN}"><si><t>'
                                 f'{"x" * 20_000_000}</t></si></sst>').encode(),
        "xl/worksheets/sheet1.xml": _sheet(_good_rows().replace(
            '<c r="B2"><v>2</v></c>', '<c r="B2" t="s"><v>0</v></c>'))})


@_file("survey-xlsx", "survey.xlsx")
def rows_without_cells() -> bytes:
    """Sixty megabytes of rows that hold nothing."""
    return _book(parts={"xl/worksheets/sheet1.xml": _sheet(_good_rows() + "<row/>" * 10_000_000)})


@_file("survey-xlsx", "survey.xlsx")
def one_row_far_below() -> bytes:
    """A cell in the last row that a sheet can have."""
    return _book(parts={"xl/worksheets/sheet1.xml": _sheet(
        _good_rows() + '<row r="1048576"><c r="A1048576"><v>1</v></c></row>')})


@_file("survey-xlsx", "survey.xlsx")
def thousands_of_sheets() -> bytes:
    """Five thousand sheets that are all one file."""
    return _book(tuple((f"s{number}", "sheet1") for number in range(5_000)), {
        "xl/worksheets/sheet1.xml": _sheet("<row/>" * 200_000)})


@_file("survey-xlsx", "survey.xlsx")
def sheets_far_below() -> bytes:
    """Three hundred sheets, each with a cell in its last row."""
    return _book(tuple((f"s{number}", "sheet1") for number in range(300)), {
        "xl/worksheets/sheet1.xml": _sheet(
            '<row r="1048576"><c r="A1048576"><v>1</v></c></row>')})


@_file("survey-xlsx", "survey.xlsx")
def entities_in_utf16() -> bytes:
    """Entities that swell, in a coding in which bytes do not show them."""
    levels = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 12))
    part = (f'<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE sst [<!ENTITY e0 "lol">{levels}]>'
            f'<sst xmlns="{_MAIN}"><si><t>&e11;</t></si></sst>')
    return _book(parts={"xl/sharedStrings.xml": part.encode("utf-16")})


@_file("survey-xlsx", "survey.xlsx")
def entities_in_a_part_of_another_name() -> bytes:
    """A sheet called sheet1.bin that declares entities."""
    part = (f'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY e "{"x" * 100_000}">]><worksheet '
            f'xmlns="{_MAIN}"><sheetData><row><c t="inlineStr"><is><t>{"&e;" * 5_000}</t></is></c>'
            "</row></sheetData></worksheet>").encode()
    parts = {name: text.replace(b"sheet1.xml", b"sheet1.bin")
             for name, text in unpacked(_book()).items() if name != "xl/worksheets/sheet1.xml"}
    return packed(parts | {"xl/worksheets/sheet1.bin": part})


@_file("survey-xlsx", "survey.xlsx")
def file_outside_is_named() -> bytes:
    """An entity that stands for a file of this machine."""
    part = ('<?xml version="1.0"?><!DOCTYPE w [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
            f'<worksheet xmlns="{_MAIN}"><sheetData><row><c t="inlineStr"><is><t>&e;</t></is></c>'
            "</row></sheetData></worksheet>").encode()
    return _book(parts={"xl/worksheets/sheet1.xml": part})


@_file("survey-xlsx", "survey.xlsx")
def elements_nested_deep() -> bytes:
    """A million elements, one in the other."""
    deep = "<a>" * 1_000_000 + "</a>" * 1_000_000
    return _book(parts={"xl/worksheets/sheet1.xml": _sheet(_good_rows() + deep)})


@_file("survey-xlsx", "survey.xlsx")
def formats_without_end() -> bytes:
    """A style sheet with seven hundred thousand formats."""
    return _book(parts={"xl/styles.xml": (
        f'<?xml version="1.0"?><styleSheet xmlns="{_MAIN}"><cellXfs>{"<xf/>" * 700_000}'
        "</cellXfs></styleSheet>").encode()})


@_file("survey-xlsx", "survey.xlsx")
def names_without_end() -> bytes:
    """Half a million defined names."""
    names = "".join(f'<definedName name="n{i}">A1</definedName>' for i in range(500_000))
    parts = unpacked(_book())
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(
        b"</sheets>", f"</sheets><definedNames>{names}</definedNames>".encode())
    return packed(parts)


@_file("survey-xlsx", "survey.xlsx")
def parts_without_end() -> bytes:
    """An archive of three thousand empty parts."""
    out = io.BytesIO(_book())
    with zipfile.ZipFile(out, "a") as archive:
        for number in range(3_000):
            archive.writestr(f"x{number}.xml", b"")
    return out.getvalue()


@_file("survey-xlsx", "survey.xlsx")
def bomb_of_many_parts() -> bytes:
    """Ten parts of 30 MB each."""
    out = io.BytesIO(_book())
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        for number in range(10):
            archive.writestr(f"x{number}.xml", b" " * 30_000_000)
    return out.getvalue()


@_file("survey-xlsx", "survey.xlsx")
def bomb_packed_otherwise() -> bytes:
    """Forty megabytes packed by a method that no spreadsheet uses."""
    out = io.BytesIO(_book())
    with zipfile.ZipFile(out, "a", zipfile.ZIP_LZMA) as archive:
        archive.writestr("xl/sharedStrings.xml", b" " * 40_000_000)
    return out.getvalue()


@_file("survey-xlsx", "survey.xlsx")
def bomb_that_lies() -> bytes:
    """A part that unpacks to far more than the archive says."""
    data = _book(parts={"xl/sharedStrings.xml": b" " * 300_000_000})
    return data.replace(struct.pack("<I", 300_000_000), struct.pack("<I", 1_000))


@_file("survey-xlsx", "survey.xlsm")
def with_macros_and_links() -> bytes:
    """A workbook with macros and a link to another one: both are left alone."""
    return _book(parts={"xl/vbaProject.bin": b"\xd0\xcf\x11\xe0" + b"\0" * 4_000,
                        "xl/externalLinks/externalLink1.xml": b"<externalLink/>"}, main="macros")


@_file("survey-xlsx", "survey.xlsx")
def rows_out_of_order() -> bytes:
    """A row numbered as one before it: what it holds must not be lost without a word."""
    return _book(parts={"xl/worksheets/sheet1.xml": _sheet(
        _good_rows() + '<row r="1">' + _cell("A1", "spinner") + "</row>")})


@_file("survey-xlsx", "survey.xlsx")
def cells_out_of_order() -> bytes:
    """Cells of a row from right to left."""
    rows = _good_rows()
    turned = ('<row r="2">' + _cell("D2", "seen") + _cell("C2", "worn") + _cell("B2", 2)
              + _cell("A2", "flipper") + "</row>")
    return _book(parts={"xl/worksheets/sheet1.xml": _sheet(
        rows[: rows.index('<row r="2">')] + turned)})


# Text

@_file("survey-csv", "survey.csv")
def a_million_columns() -> bytes:
    """A header with a million columns."""
    return (_FACTS + _HEAD.strip() + "," * 1_000_000 + "\n" + _ROW).encode()


@_file("survey-csv", "survey.csv")
def a_million_headers() -> bytes:
    """A million columns that nobody knows."""
    return (_FACTS + _HEAD.strip() + ",x" * 1_000_000 + "\n" + _ROW).encode()


@_file("survey-csv", "survey.csv")
def wide_rows() -> bytes:
    """Four thousand rows, each with a thousand cells too many."""
    return (_FACTS + _HEAD + ("flipper,2,worn,seen,,,x" + "," * 1_900 + "\n") * 4_000).encode()


@_file("survey-csv", "survey.csv")
def millions_of_blank_rows() -> bytes:
    """Eight megabytes of line ends."""
    return (_FACTS + _HEAD + _ROW + "\n" * 8_000_000).encode()


@_file("survey-csv", "survey.csv")
def millions_of_commas() -> bytes:
    """Eight megabytes of commas."""
    return b"," * 8_000_000


@_file("survey-csv", "survey.csv")
def millions_of_quotes() -> bytes:
    """Eight megabytes of quotation marks."""
    return (_FACTS + _HEAD).encode() + b'"' * 8_000_000


@_file("survey-csv", "survey.csv")
def one_word_of_8_megabytes() -> bytes:
    """No line end, no comma."""
    return b"x" * 8_000_000


@_file("survey-csv", "survey.csv")
def lone_carriage_returns() -> bytes:
    """Lines parted as old computers parted them."""
    return (_FACTS + _HEAD + _ROW).replace("\n", "\r").encode()


@_file("survey-csv", "survey.csv")
def two_marks() -> bytes:
    """The mark of UTF-8 twice."""
    return b"\xef\xbb\xbf\xef\xbb\xbf" + (_FACTS + _HEAD + _ROW).encode()


@_file("survey-csv", "survey.csv")
def in_utf32() -> bytes:
    """UTF-32 begins as UTF-16 does."""
    return (_FACTS + _HEAD + _ROW).encode("utf-32")


@_file("survey-csv", "survey.csv")
def long_assembly_names() -> bytes:
    """Five thousand names of 2,000 characters that are near to nothing."""
    return (_FACTS + _HEAD + "".join(f"{'flip per-' * 170}{i},2,worn,seen,,,\n"
                                     for i in range(4_000))).encode()


@_file("lot", "lot.csv")
def a_long_list() -> bytes:
    """Fifty thousand machines that are wrong."""
    return b"lot,year,value\n" + b"".join(b"%d,1994,x\n" % i for i in range(50_000))


@_file("lot", "lot.csv")
def bad_pieces_without_end() -> bytes:
    """A cell with hundreds of bad pieces."""
    return ("lot,year,value,bad\n1,1994,500,\"" + "flipper 2;" * 199 + '"\n').encode()


@_file("lot", "lot.csv")
def a_survey_of_a_long_name() -> bytes:
    """A survey that is not there, called by two lines of a thousand letters."""
    return ("lot,year,value,survey\n1,1994,500,\"a\u2029" + "x" * 1_000 + '.csv"\n').encode()


@_file("time-sheet", "march.csv")
def a_long_sheet() -> bytes:
    """More rows than a sheet may have."""
    return ("person,day,hours,unbilled\n" + "Anna,2026-03-04,0.001,ordering\n" * 6_000).encode()


@_file("time-sheet", "march.csv")
def a_sheet_too_big() -> bytes:
    """Twenty megabytes."""
    return ("person,day,hours,unbilled\n" + "Anna,2026-03-04,0.001,ordering\n" * 650_000).encode()


@_file("tables", "operations.csv")
def a_table_too_big() -> bytes:
    """Seventy megabytes of one table."""
    return b"operation,era,name,kind\n" + b"x,,Some name,clean\n" * 3_700_000


@_file("tables", "operations.csv")
def a_table_of_faults() -> bytes:
    """Two hundred thousand wrong rows."""
    return b"operation,name,kind,unit,low,typical,high,basis,source,dated\n" \
        + b"X,,y,,a,b,c,d,e,f\n" * 200_000


# Settings and JSON

@_file("shop-toml", "shop.toml")
def arrays_nested_deep() -> bytes:
    """An array in an array, a hundred thousand times."""
    return b"people = " + b"[" * 100_000


@_file("shop-toml", "shop.toml")
def keys_nested_deep() -> bytes:
    """A key of fifty thousand parts."""
    return b".".join([b"a"] * 50_000) + b" = 1"


@_file("shop-toml", "shop.toml")
def a_very_long_number() -> bytes:
    """A whole number of 100,000 digits."""
    return b"margin = " + b"9" * 100_000


@_file("shop-toml", "shop.toml")
def a_number_of_4000_digits() -> bytes:
    """As long as Python reads, and longer than a float."""
    return b"stage_count = " + b"9" * 4_000 + b"\npay_per_hour = " + b"9" * 4_000


@_file("shop-toml", "shop.toml")
def a_setting_of_8_megabytes() -> bytes:
    """A name that fills the page."""
    return b'name = "' + b"x" * 8_000_000 + b'"'


@_file("shop-toml", "shop.toml")
def closed_for_ten_thousand_years() -> bytes:
    """Closed days from the first year to the last, a hundred times."""
    return b"[[closed]]\nfirst = 0001-01-01\nlast = 9999-12-31\nhours = '13-15'\n" * 100


@_file("shop-toml", "shop.toml")
def the_last_day() -> bytes:
    """Closed on the last day that a calendar has."""
    return b"[[closed]]\nfirst = 9999-12-31\n"


@_file("shop-toml", "shop.toml")
def thousands_of_people() -> bytes:
    """People without end."""
    return b'[[people]]\nname = "a"\nskills = "bench"\n' * 20_000


@_file("survey-json", "survey.json")
def json_nested_deep() -> bytes:
    """Arrays in arrays."""
    return b"[" * 100_000


@_file("archive", "time_entries.json")
def rows_nested_deep() -> bytes:
    """A cell that holds arrays in arrays."""
    deep = "[" * 5_000 + "]" * 5_000
    return f'{{"schema":1,"table":"time_entries","columns":["id"],"rows":[[{deep}]]}}'.encode()


@_file("archive", "ledger.json")
def deep_nested_ledger() -> bytes:
    """Arrays in arrays where the ledger tells of itself."""
    return b"[" * 100_000


@_file("archive", "ledger.json")
def a_version_of_5000_digits() -> bytes:
    """A version that no number holds."""
    return b'{"ledger": ' + b"9" * 5_000 + b', "rows": {}}'


@_file("archive", "ledger.json")
def a_version_without_end() -> bytes:
    """Infinity, and not a number."""
    return b'{"ledger": Infinity, "rows": {"jobs": NaN}}'


@_file("archive", "ledger.json")
def rows_of_other_places() -> bytes:
    """A name that leads out of the folder."""
    return json.dumps({"ledger": 1, "rows": {"../../secret": 1, "/etc/passwd": 2}}).encode()


@_file("archive", "backup.zip")
def backup_bomb() -> bytes:
    """A ledger that unpacks to a gigabyte."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive, \
            archive.open("ledger.json", "w", force_zip64=True) as part:
        for _ in range(1_000):
            part.write(b" " * 1_000_000)
    return out.getvalue()


@_file("archive", "backup.zip")
def backup_with_a_password() -> bytes:
    """A zip archive whose parts say they are locked."""
    data = bytearray(packed({"ledger.json": b'{"ledger": 1, "rows": {}}'}))
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    return bytes(data)


@_file("archive", "backup.zip")
def backup_packed_otherwise() -> bytes:
    """A zip archive packed by a method that there is not."""
    data = bytearray(packed({"ledger.json": b'{"ledger": 1, "rows": {}}'}))
    data[8] = 99
    data[data.index(b"PK\x01\x02") + 10] = 99
    return bytes(data)
