"""Read a survey from a file or an upload: the survey, or every fault at once."""

from __future__ import annotations

from pathlib import Path

from estimator.catalogue import Catalogue
from estimator.errors import BadInput, Fault
from estimator.survey.files import fetch, sheets
from estimator.survey.grid import Kind
from estimator.survey.parsing import NEEDED, columns_named, parse
from estimator.survey.records import Survey

KIND = Kind("survey", columns_named, NEEDED, sheet="survey")
_Found = tuple[Survey | None, tuple[Fault, ...], tuple[str, ...]]


def read(path: Path | str, catalogue: Catalogue, *, final: bool = False) -> Survey:
    """The survey in a CSV or XLSX file.

    Parameters
    ----------
    path
        The file, at most 8 MB.
    catalogue
        Tables whose assemblies and eras the survey may name.
    final
        True where it shall be quoted: then each gap is a fault as well.

    Raises
    ------
    BadInput
        With every fault in the file, by row.

    Examples
    --------
    >>> from estimator.catalogue import data_folder, load
    >>> found = read(data_folder() / "demo" / "survey.csv", load(), final=True)
    >>> len(found.lines) > 20, found.gaps
    (True, ())
    """
    return _or_raise(_examine(Path(path), catalogue, final))


def read_bytes(data: bytes, name: str, catalogue: Catalogue, *, final: bool = False) -> Survey:
    """The survey in the bytes of a file called `name`, as from an upload.

    Parameters
    ----------
    data
        CSV or XLSX, at most 8 MB; which of them shows in the bytes.
    name
        Of the file, for messages.
    catalogue, final
        As `read` takes them; it raises what `read` raises.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> data = b"assembly;count;condition;certainty\\nFlippers;2;worn;seen\\n"
    >>> line = read_bytes(data, "survey.csv", load()).lines[0]
    >>> line.assembly, line.count, line.row
    ('flipper', 2, 2)
    """
    plain_name = name.replace("\\", "/").rsplit("/", 1)[-1]
    return _or_raise(_parse(data, plain_name, catalogue, final))


def check(path: Path | str, catalogue: Catalogue) -> _Found:
    """The survey if it can be read, every fault, and remarks: the gaps of a draft among them.

    Never raises for what is in the file or for a file that is not there.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> survey, faults, remarks = check("nowhere.csv", load())
    >>> survey is None, faults[0].what
    (True, 'There is no such file.')
    """
    return _examine(Path(path), catalogue, final=False)


def _or_raise(found: _Found) -> Survey:
    survey, faults, _ = found
    if survey is None:
        raise BadInput(faults)
    return survey


def _examine(path: Path, catalogue: Catalogue, final: bool) -> _Found:
    try:
        data = fetch(path, KIND)
    except BadInput as error:
        return None, error.faults, ()
    return _parse(data, path.name, catalogue, final)


def _parse(data: bytes, name: str, catalogue: Catalogue, final: bool) -> _Found:
    try:
        found = sheets(data, name, KIND)
    except BadInput as error:
        return None, error.faults, ()
    survey, faults = parse(found, name, catalogue, final=final)
    if survey is None:
        return None, faults, found.notes
    return survey, (), (*found.notes, *_gaps(survey))


def _gaps(survey: Survey) -> list[str]:
    notes = []
    if survey.machine.era is None:
        notes.append(f"{survey.file}: the machine's era is not given; a quote needs it.")
    for index, column in survey.gaps:
        line = survey.lines[index]
        notes.append(f"{survey.file}, row {line.row}, {column}: blank for {line.assembly}; "
                     "a quote needs it.")
    return notes
