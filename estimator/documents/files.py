"""Writing the documents: all of them or none."""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Collection
from pathlib import Path

from estimator import disk
from estimator.documents import budget, pdf, workbook
from estimator.errors import BadInput, Fault, one_of
from estimator.outside import json_file
from estimator.quote import Quote, as_dict


def _json(offer: Quote) -> bytes:
    return json_file(as_dict(offer))


_MAKERS = {
    "quote.pdf": pdf.render,
    "estimate.xlsx": workbook.render,
    "parts-budget.csv": budget.render,
    "quote.json": _json,
}

NAMES = tuple(_MAKERS)
"""File names, in the order they are written."""

MEDIA = {
    "quote.pdf": "application/pdf",
    "estimate.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "parts-budget.csv": "text/csv",
    "quote.json": "application/json",
}
"""Media type of each file, for downloads."""


def render(offer: Quote, which: str) -> bytes:
    """The bytes of one document.

    Parameters
    ----------
    which
        One of `NAMES`.

    Raises
    ------
    BadInput
        If there is no such document.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> render(small_quote(), "quote.pdf")[:5]
    b'%PDF-'
    >>> render(small_quote(), "parts-budget.csv").decode("utf-8-sig").split(",")[0]
    'part'
    """
    if which not in _MAKERS:
        raise BadInput(Fault(f'"{which}" is not a document.', one_of(which, NAMES)))
    return _MAKERS[which](offer)


def write(offer: Quote, folder: Path | str, sources: Collection[Path] = ()) -> dict[str, Path]:
    """Write all documents into `folder`, which is made if need be; returns them by name.

    Documents of the same names are replaced. If anything goes wrong, those that stood there
    before stand there still, and nothing is left behind. Killed on the way, those that are not
    moved yet lie in a folder that says so; what is written there next moves them up first.

    Parameters
    ----------
    sources
        Files that they were made from: none of these is written over.

    Raises
    ------
    BadInput
        If they cannot be written there.

    Examples
    --------
    >>> import tempfile
    >>> from estimator.demo import small_quote
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     found = write(small_quote(), Path(folder, "out"))
    ...     sorted(found), found["quote.json"].read_bytes()[:1]
    (['estimate.xlsx', 'parts-budget.csv', 'quote.json', 'quote.pdf'], b'{')
    """
    return put({name: render(offer, name) for name in NAMES}, folder, sources)


def file_stem(title: str, otherwise: str = "machine") -> str:
    """A title as part of a file name, of plain letters that every system takes.

    Parameters
    ----------
    otherwise
        What stands for a title without such letters.

    Examples
    --------
    >>> file_stem("Harbour Lights, 1992"), file_stem("灯")
    ('harbour-lights-1992', 'machine')
    """
    return re.sub(r"[^a-z0-9]+", "-", title.casefold()).strip("-")[:40].strip("-") or otherwise


def put(made: dict[str, bytes], folder: Path | str, sources: Collection[Path] = ()
        ) -> dict[str, Path]:
    """Write these files into `folder`, all of them or none; as `write`.

    Parameters
    ----------
    made
        Bytes of each file by its name.
    sources
        Files that they were made from: none of these is written over.

    Raises
    ------
    BadInput
        If they cannot be written there.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     written = put({"a.csv": b"1,2"}, Path(folder) / "new")
    ...     held = written["a.csv"].read_bytes()
    >>> held
    b'1,2'
    """
    folder = Path(folder)
    faults = [Fault("The documents would be written over the survey.",
                    "Name another folder with --out.", str(path))
              for path in sources if any(_same(path, folder / name) for name in made)]
    if faults:
        raise BadInput(faults)
    try:
        new = _make(folder)
    except (OSError, ValueError) as error:
        raise BadInput(_fault(error, folder, made)) from None
    try:
        disk.write_set(made, folder)
    except BaseException as error:
        for path in new:
            path.rmdir()
        if isinstance(error, OSError):
            raise BadInput(_fault(error, folder, made)) from None
        raise
    return {name: folder / name for name in made}


def _same(one: Path, other: Path) -> bool:
    try:
        return os.path.samefile(one, other)
    except (OSError, ValueError):
        return False


def _make(folder: Path) -> list[Path]:
    """Make a folder; returns what had to be made, the innermost first."""
    missing = []
    for path in (folder, *folder.parents):
        if path.exists():
            break
        missing.append(path)
    made: list[Path] = []
    try:
        for path in reversed(missing):
            path.mkdir()
            made.insert(0, path)
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder))
    except BaseException:
        for path in made:
            path.rmdir()
        raise
    return made


def _fault(error: OSError | ValueError, folder: Path, names: Collection[str]) -> Fault:
    """What went wrong in plain words."""
    code = getattr(error, "errno", None)
    name = getattr(error, "filename", None)
    held = Path(name).name if name else ""
    if code in (errno.EACCES, errno.EPERM, errno.EROFS):
        if held in names:
            # So answers a system that keeps open files from being replaced.
            return Fault(
                f"{held} cannot be replaced.",
                "Close it where it is open, or choose another folder.",
                str(folder),
            )
        return Fault(
            "The documents may not be written here.", "Choose a folder of your own.", str(folder)
        )
    if code == errno.EISDIR:
        return Fault(
            f"There is a folder named {held} in it.",
            "Rename that folder, or choose another.",
            str(folder),
        )
    if code in (errno.ENOTDIR, errno.EEXIST):
        return Fault(
            "There is a file where the folder should be.", "Choose another folder.", str(folder)
        )
    if code in (errno.ENOSPC, errno.EDQUOT):
        return Fault(
            "There is no room left on the disk.",
            "Make room, or choose another folder.",
            str(folder),
        )
    if code == errno.ENOTEMPTY:
        return Fault("Documents are just being written here by another window or command.",
                     "Try again.", str(folder))
    said = getattr(error, "strerror", None) or str(error)
    return Fault(f"The documents cannot be written: {said}.", "Choose another folder.", str(folder))


__all__ = ["MEDIA", "NAMES", "file_stem", "put", "render", "write"]
