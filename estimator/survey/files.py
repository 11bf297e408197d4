"""From a file to rows of cells: how big it may be, and what kind of file it is."""

from __future__ import annotations

import difflib
import io
import re
import zipfile
from pathlib import Path

from estimator.survey import texts, workbooks
from estimator.survey.grid import Kind, Sheets
from estimator.textfiles import refuse

MAX_BYTES = 8 * 2**20


def fetch(path: Path, kind: Kind) -> bytes:
    """The bytes of a file of at most 8 MB.

    Raises
    ------
    BadInput
        No such file, a folder, no leave to read it, too big.

    Examples
    --------
    >>> import tempfile
    >>> kind = Kind("survey", lambda row: len(row), ("assembly",))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "survey.csv")
    ...     size = path.write_text("assembly,count", encoding="utf-8")
    ...     fetch(path, kind)
    b'assembly,count'
    """
    try:
        if path.is_dir():
            refuse(path.name, "This is a folder.", f"Name the {kind.name} file in it.")
        if not path.is_file():
            if path.exists():
                refuse(path.name, "This is not a plain file.", "Name a CSV or XLSX file.")
            refuse(path.name, "There is no such file.", _neighbours(path))
        _too_big(path.stat().st_size, path.name, kind)
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except OSError as error:
        refuse(path.name, f"The file cannot be read ({error.strerror or error}).",
               "Look whether you may open it, and whether another program holds it.")


def _too_big(size: int, name: str, kind: Kind) -> None:
    """Refuse a file of more than 8 MB."""
    if size > MAX_BYTES:
        refuse(name, f"The file is {size / 2**20:,.1f} MB; {kind.one} is at most "
                     f"{MAX_BYTES // 2**20} MB.",
               f"Keep only the rows of the {kind.name}; photographs and other sheets belong "
               "elsewhere.")


def _neighbours(path: Path) -> str:
    if not path.parent.is_dir():
        return "Its folder does not exist either; look at how the path is spelled."
    others = [other.name for _, other in zip(range(500), path.parent.iterdir(), strict=False)]
    near = difflib.get_close_matches(path.name, others, n=1)
    return f'Did you mean "{near[0]}"?' if near else "Look at how its name is spelled."


# First bytes of what people rename to .csv: from memory, each checked against a file of its kind;
# {} is what the file should be.
_OTHERS: tuple[tuple[bytes, str, str], ...] = (
    (b"%PDF", "a PDF document", "Export the {} from the spreadsheet as CSV or XLSX."),
    (b"\x89PNG", "a PNG picture", "Type the {} into a spreadsheet."),
    (b"\xff\xd8\xff", "a JPEG picture", "Type the {} into a spreadsheet."),
    (b"GIF8", "a GIF picture", "Type the {} into a spreadsheet."),
    (b"II*\0", "a TIFF picture", "Type the {} into a spreadsheet."),
    (b"MM\0*", "a TIFF picture", "Type the {} into a spreadsheet."),
    (b"RIFF", "a picture or a recording", "Type the {} into a spreadsheet."),
    (b"{\\rtf", "a word-processor document", "Save the table as CSV or XLSX."),
    (b"\x1f\x8b", "a gzip archive", "Unpack it first."),
    (b"7z\xbc\xaf", "a 7z archive", "Unpack it first."),
    (b"Rar!", "a RAR archive", "Unpack it first."),
    (b"SQLite format 3\0", "a database", "Export the {} as CSV."),
    (b"\x7fELF", "a program", "Name a CSV or XLSX file."),
    (b"MZ", "a program", "Name a CSV or XLSX file."),
)
_OLD_EXCEL = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_LOCKED = "EncryptedPackage".encode("utf-16-le")
_WEB_PAGE = re.compile(rb"\s*(<!doctype html|<html|<\?xml)", re.IGNORECASE)


def sheets(data: bytes, name: str, kind: Kind) -> Sheets:
    """The rows of a CSV or XLSX file, told apart by what is in it, not by its name.

    Parameters
    ----------
    data, name
        The file's bytes and its name, for messages.
    kind
        What it should be.

    Examples
    --------
    >>> kind = Kind("survey", lambda row: len({"assembly", "count"} & set(row)), ("assembly",))
    >>> sheets(b"assembly;count\\nflipper;2\\n", "survey.csv", kind).lines.rows
    ((1, ('assembly', 'count')), (2, ('flipper', '2')))
    """
    _too_big(len(data), name, kind)
    if not data.strip(b"\0 \t\r\n"):
        what = "The file is empty." if not data.strip() else "The file holds nothing but zeros."
        refuse(name, what, f"Save the {kind.name} again from the spreadsheet.")
    if data.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        other = _archive(data, name)
        if other is not None:
            refuse(name, f"This is {other[0]}, not {kind.one}.", other[1])
        return workbooks.sheets(data, name, kind)
    if data.startswith(_OLD_EXCEL):
        if _LOCKED in data:
            refuse(name, "The workbook is locked with a password.", "Save it without one.")
        refuse(name, "This is a document in the old Excel format (.xls).",
               "Open it and save it as XLSX or as CSV.")
    for magic, other, fix in _OTHERS:
        if data.startswith(magic):
            refuse(name, f"This is {other}, not {kind.one}.", fix.format(kind.name))
    if _WEB_PAGE.match(data):
        refuse(name, f"This is a web page or XML, not {kind.one}.",
               "Save the table as CSV or XLSX from the spreadsheet.")
    if name.casefold().endswith((".xlsx", ".xlsm")):
        refuse(name, "The file is called a workbook and is none; it may be damaged.",
               "Open it in the spreadsheet and save it again as XLSX.")
    return texts.sheets(data, name, kind)


def _archive(data: bytes, name: str) -> tuple[str, str] | None:
    """What a zip archive is and what to do about it, or None for a workbook."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            inside = set(archive.namelist())
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        refuse(name, "The workbook or archive is damaged and cannot be opened.",
               "Open it in the spreadsheet and save it again, or fetch it again.")
    if "xl/workbook.xml" in inside:
        return None
    if "xl/workbook.bin" in inside:
        return "a binary workbook (.xlsb)", "Save it as XLSX or as CSV."
    if "word/document.xml" in inside:
        return "a word-processor document", "Save the table as CSV or XLSX."
    if "content.xml" in inside and "mimetype" in inside:
        return "an OpenDocument file", "Save it as XLSX or as CSV."
    return "a zip archive", "Unpack it, and name the survey inside."
