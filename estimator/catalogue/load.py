"""Read the tables, check every row against its schema and every link between tables."""

from __future__ import annotations

import functools
import io
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import get_args

from pydantic import ValidationError

from estimator import correlation
from estimator.catalogue import rows as schema
from estimator.catalogue.supplies import Finish, Offer
from estimator.catalogue.tables import TABLES
from estimator.catalogue.wrong import in_words
from estimator.errors import BadInput, Fault, one_of, quoted, unfit
from estimator.textfiles import MOST_FAULTS, csv_rows, read_text, refuse, rest_unread

MAX_BYTES = 8 * 2**20
_PACKAGE = Path(__file__).resolve().parent.parent


def data_folder() -> Path:
    """Folder of the trade's default tables: inside an installed package, or beside a checkout's.

    Examples
    --------
    >>> (data_folder() / "operations.csv").exists()
    True
    """
    inside = _PACKAGE / "data"
    return inside if inside.is_dir() else _PACKAGE.parent / "data"


@dataclass(frozen=True, eq=False)
class Catalogue:
    """Every table, as typed rows by key. It is too large to compare, and equals itself alone.

    A key is the row's name where one column names it, else a tuple of the key columns. Where
    each row was read from is kept, so that a figure can be walked back to its line.

    Examples
    --------
    >>> found = load()
    >>> row = found.operation("flipper-rebuild", schema.Era.DOT_MATRIX)
    >>> row.unit, found.at(row)[0], len(found.offers_of["flipper-kit"]) > 0
    ('h per each', 'operations.csv', True)
    """

    tables: Mapping[str, Mapping]
    places: Mapping[tuple[str, object], str] = field(repr=False)

    def __getattr__(self, table: str) -> Mapping:
        try:
            return self.tables[table]
        except KeyError:
            raise AttributeError(f"there is no table {table!r}") from None

    def __reduce__(self):
        # Views of dicts do not travel to another process; the dicts do.
        tables = {name: dict(rows) for name, rows in self.tables.items()}
        return _rebuilt, (tables, dict(self.places))

    def operation(self, name: str, era: schema.Era) -> schema.Operation:
        """The operation's row for an era, or its row for all eras."""
        return self.operations.get((name, era)) or self.operations[name, None]

    @functools.cached_property
    def treatments_of(self) -> Mapping[str, tuple[schema.Treatment, ...]]:
        """Treatments of each assembly, in the order of the table."""
        return _by("assembly", self.assemblies, self.treatments.values())

    @functools.cached_property
    def finds_of(self) -> Mapping[str, tuple[schema.Find, ...]]:
        """Finds of each assembly, in the order of the table."""
        return _by("assembly", self.assemblies, self.finds.values())

    @functools.cached_property
    def offers_of(self) -> Mapping[str, tuple[Offer, ...]]:
        """Offers for each part, over all suppliers."""
        return _by("part", self.parts, self.offers.values())

    def place(self, row: schema.Row) -> str:
        """Where a row stands, as "operations.csv, row 12"."""
        return self.places[row.table, key_of(row)]

    def at(self, row: schema.Row) -> tuple[str, int]:
        """File and row where a row stands."""
        return file_and_row(self.place(row))


def _by(column: str, names: Iterable[str], rows: Iterable[schema.Row]) -> dict[str, tuple]:
    """Rows of each name, in their order."""
    found: dict[str, list] = {name: [] for name in names}
    for row in rows:
        found[getattr(row, column)].append(row)
    return {name: tuple(rows) for name, rows in found.items()}


def _rebuilt(tables: dict[str, dict], places: dict) -> Catalogue:
    return Catalogue(MappingProxyType({name: MappingProxyType(rows)
                                       for name, rows in tables.items()}), places)


def load(*folders: Path | str) -> Catalogue:
    """Read every table from `folders`; a table found in a later folder replaces the earlier one.

    Rates are replaced row by row: what a later folder does not say stays. Without folders, the
    trade's defaults are read.

    Raises
    ------
    BadInput
        With every fault in every table: file, row, column, what is allowed.

    Examples
    --------
    >>> load().assemblies["flipper"].unit
    'each'
    """
    paths = tuple(Path(folder) for folder in folders) or (data_folder(),)
    stamps = tuple(
        (path, path.stat().st_mtime_ns)
        for folder in paths
        for path in (folder / f"{row.table}.csv" for row in TABLES)
        if path.exists()
    )
    return _load(paths, stamps)


@functools.lru_cache(maxsize=4)
def _load(folders: tuple[Path, ...], stamps: tuple) -> Catalogue:
    # `stamps` makes the cache forget a table that was edited.
    faults: list[Fault] = []
    tables: dict[str, Mapping] = {}
    places: dict[tuple[str, object], str] = {}
    for row_type in TABLES:
        name = f"{row_type.table}.csv"
        found = [folder / name for folder in folders if (folder / name).exists()]
        if not found:
            faults.append(
                Fault(f"The table {name} is missing.", "Restore it from a new shop folder.")
            )
            continue
        rows = {}
        for path in found if row_type.row_by_row else found[-1:]:
            # Two files of one name make up such a table: the shop's is told by its folder.
            own = f"{path.parent.name}/" if row_type.row_by_row and path != found[0] else ""
            more, wrong, where = read_table(path, row_type)
            rows |= more
            faults += [replace(fault, file=own + fault.file) for fault in wrong]
            places |= {(row_type.table, key): own + place for key, place in where.items()}
        tables[row_type.table] = MappingProxyType(rows)
    if not faults:
        faults = [*_gaps(tables), *_dangling(tables, places),
                  *_contradicting(tables["correlations"], places)]
    if faults:
        raise BadInput(faults)
    return Catalogue(MappingProxyType(tables), places)


def read_table(path: Path, row_type: type[schema.Row]) -> tuple[dict, list[Fault], dict]:
    """Rows by key, faults, and the place of each row, of one CSV table in UTF-8.

    Parameters
    ----------
    path
        The file, at most 8 MB; blank lines are passed over.
    row_type
        The schema that every row is checked against.

    Returns
    -------
    tuple
        Rows by key; everything wrong, with file, row and column, up to 200, nothing raised; places
        by key, such as "offers.csv, row 12".

    Examples
    --------
    >>> from estimator.catalogue import Caution
    >>> rows, faults, places = read_table(data_folder() / "cautions.csv", Caution)
    >>> rows["springs"].hazard, faults, places["springs"].startswith("cautions.csv, row ")
    ('Springs and pinch points', [], True)
    """
    try:
        lines = _lines(path, row_type)
    except BadInput as error:
        return {}, list(error.faults), {}
    header = [cell.strip() for cell in lines[0]] if lines else []
    faults = _misheaded(header, row_type, path.name)
    if faults:
        return {}, faults, {}
    rows: dict = {}
    where: dict = {}
    # Rows as a spreadsheet counts them: a cell with a line end in it is still one row.
    for number, cells in enumerate(lines[1:], 2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(faults) >= MOST_FAULTS:
            faults.append(rest_unread(path.name, number))
            break
        if len(cells) > len(header):
            faults.append(
                Fault(
                    f"There are {len(cells)} cells under {len(header)} headers.",
                    "Put text that holds a comma in quotes.",
                    path.name,
                    number,
                )
            )
            continue
        filled = {name: cell for name, cell in zip(header, cells, strict=False) if cell.strip()}
        try:
            row = row_type.model_validate(filled)
        except ValidationError as error:
            faults += [_fault(problem, row_type, path.name, number) for problem in error.errors()]
            continue
        key = key_of(row)
        if key in rows:
            faults.append(
                Fault(
                    f"{_said(key)} stands in {where[key]} already.",
                    "Keep one of the two.",
                    path.name,
                    number,
                )
            )
            continue
        rows[key] = row
        where[key] = f"{path.name}, row {number}"
    return rows, faults, where


def _lines(path: Path, row_type: type[schema.Row]) -> list[list[str]]:
    """Rows of cells of a table's file.

    Raises
    ------
    BadInput
        If it cannot be read, is too big, or is not such a table at all.
    """
    text = read_text(path, "table", MAX_BYTES)
    top = next(io.StringIO(text), "")
    for mark, name in ((";", "semicolons"), ("\t", "tabs")):
        if "," not in top and {cell.strip(' "\n') for cell in top.split(mark)} >= {*row_type.key}:
            refuse(path.name, f"The cells are parted by {name}.",
                   "Save the table as CSV with commas.", 1)
    lines = [cells for _, cells in csv_rows(text, path.name)]
    if unfit(text):
        raise BadInput([Fault(f"{quoted(cell)} {wrong}.", "Type the cell again.", path.name, row)
                        for row, cells in enumerate(lines, 1) for cell in cells
                        if (wrong := unfit(cell))][:MOST_FAULTS])
    return lines


def _misheaded(header: Sequence[str], row_type: type[schema.Row], file: str) -> list[Fault]:
    """What is wrong with the header of a table."""
    faults: list[Fault] = []
    fields = row_type.model_fields
    for column, times in Counter(header).items():
        if len(faults) >= MOST_FAULTS:
            break
        shown = quoted(column)
        if times > 1:
            faults.append(Fault(f"The column {shown} stands there twice.",
                                "Keep one of the two.", file, 1, shown[1:-1]))
        if column not in fields:
            faults.append(
                Fault(f"There is no column {shown}.", one_of(column, fields), file, 1, shown[1:-1])
            )
    for column, info in fields.items():
        if info.is_required() and column not in header:
            faults.append(
                Fault(f'The column "{column}" is missing.', "Add it.", file, 1, column)
            )
    return faults


def group_slug(group: str) -> str:
    """A group's heading as one word.

    Examples
    --------
    >>> group_slug("Assembly, test and delivery")
    'assembly-test-and-delivery'
    """
    return "-".join(group.casefold().replace(",", " ").split())


def _fault(problem: Mapping, row_type: type[schema.Row], file: str, row: int) -> Fault:
    column = str(problem["loc"][0]) if problem["loc"] else None
    if problem["type"] == "missing":
        return Fault("The cell is blank.", "Fill it in.", file, row, column)
    return Fault(*in_words(problem, row_type.model_fields.get(column)), file, row, column)


def _contradicting(rows: Mapping[tuple[str, str], schema.Correlation], places: Mapping
                   ) -> Iterable[Fault]:
    """Correlations that are said twice, or that cannot hold together."""
    def at(key) -> tuple[str, int]:
        return file_and_row(places["correlations", key])

    twice = [key for key in rows if key[::-1] in rows and at(key) > at(key[::-1])]
    for key in twice:
        yield Fault(f"{key[0]} with {key[1]} stands in {places['correlations', key[::-1]]} "
                    "already, the other way round.", "Keep one of the two.", *at(key))
    if twice:
        return
    names = sorted({name for key in rows for name in key})
    against = correlation.contradiction(
        correlation.matrix(names, {key: row.correlation for key, row in rows.items()}))
    if against:
        kinds = {names[place] for place in against}
        keys = [key for key in rows if set(key) <= kinds]
        numbers = ", ".join(str(at(key)[1]) for key in keys)
        yield Fault(f"Rows {numbers} contradict each other: {', '.join(sorted(kinds))} cannot "
                    "be correlated so.",
                    "If a goes with b and b with c, then a goes with c: bring the figures nearer "
                    "to each other, or to 0.", *at(keys[0]), "correlation")


def file_and_row(place: str) -> tuple[str, int]:
    """The file and the row that a place such as "offers.csv, row 12" names.

    Examples
    --------
    >>> file_and_row("offers.csv, row 12")
    ('offers.csv', 12)
    """
    file, _, number = place.rpartition(", row ")
    return file, int(number)


def _said(key) -> str:
    """A row's key in the words of its cells."""
    parts = key if isinstance(key, tuple) else (key,)
    return ", ".join(str(part) for part in parts if part is not None)


def key_of(row: schema.Row) -> object:
    """A row's key: the cell that names it, or all of them where several do.

    Examples
    --------
    >>> found = load()
    >>> key_of(found.assemblies["flipper"]), key_of(next(iter(found.offers.values())))[2]
    ('flipper', 1)
    """
    parts = tuple(getattr(row, column) for column in row.key)
    return parts[0] if len(parts) == 1 else parts


def _gaps(tables: Mapping[str, Mapping]) -> Iterable[Fault]:
    """Rows that are not there in tables that need one for each word."""
    for name, column, words in (
        ("marks", "condition", schema.Condition),
        ("finishes", "finish", get_args(Finish.model_fields["finish"].annotation)),
    ):
        for word in words:
            if word not in tables[name]:
                yield Fault(f'The row of "{word}" is missing.', "Add it; without a table of the "
                            "shop's own, the default counts.", f"{name}.csv", None, column)


def _dangling(tables: Mapping[str, Mapping], places: Mapping) -> Iterable[Fault]:
    """Names in one table that the table they point to does not have."""
    known = {**{name: set(rows) for name, rows in tables.items()},
             "operations": {name for name, _ in tables["operations"]}}
    for row, column, table, name in _pointers(tables):
        if name not in known[table]:
            yield Fault(f'"{name}" is not in {table}.csv.', one_of(name, known[table]),
                        *_place_of(row, places), column)
    yield from _unknown_words(tables, known, places)
    yield from _missing_eras(tables, places)


def _pointers(tables: Mapping[str, Mapping]) -> Iterable[tuple[schema.Row, str, str, str]]:
    """(row, column, table, name): each name that a cell says, and the table it stands in."""
    targets = {
        "operation": "operations",
        "part": "parts",
        "material": "materials",
        "service": "services",
    }
    for row in tables["treatments"].values():
        yield row, "assembly", "assemblies", row.assembly
        yield row, "item", targets[row.does], row.item
    for table, column, target in _ONE_NAME:
        for row in tables[table].values():
            yield row, column, target, getattr(row, column)
    for table, column, target in _SOME_NAMES:
        for row in tables[table].values():
            for name in getattr(row, column):
                yield row, column, target, name


# Table and column with a name, and the table that it stands in.
_ONE_NAME = (
    *((table, "assembly", "assemblies")
      for table in ("counts", "finds", "part_out", "sale_weights")),
    ("offers", "part", "parts"),
    ("offers", "supplier", "suppliers"),
    ("days_to_sell", "way", "ways"),
    ("marks", "first_grit", "grits"),
    ("finishes", "last_grit", "grits"),
)
_SOME_NAMES = (
    ("sale_ratios", "adds", "assemblies"),
    ("sale_ratios", "without", "assemblies"),
    ("found_cases", "failed", "assemblies"),
    *((table, "cautions", "cautions")
      for table in ("operations", "services", "materials", "finds")),
)


def _unknown_words(tables: Mapping[str, Mapping], known: Mapping[str, set], places: Mapping
                   ) -> Iterable[Fault]:
    """Words of the order of work and of spaces that pick nothing."""
    picked = {"kind": set(schema.WORK_KINDS), "skill": set(schema.SKILLS),
              "group": {group_slug(row.group) for row in tables["assemblies"].values()},
              "assembly": known["assemblies"], "operation": known["operations"],
              "service": known["services"]}
    for name, columns in (("precedence", ("before", "after")), ("spaces", ("holds",))):
        for row in tables[name].values():
            for column in columns:
                for word in getattr(row, column).replace("+", " ").split():
                    what, sign, said = word.lstrip("-").partition(":")
                    if sign and said not in picked[what]:
                        yield Fault(f'There is no {what} "{said}".', one_of(said, picked[what]),
                                    *_place_of(row, places), column)


def _missing_eras(tables: Mapping[str, Mapping], places: Mapping) -> Iterable[Fault]:
    """Operations without a row for some era; eras and levels without a row of their own."""
    for (name, era), row in tables["operations"].items():
        if era is not None and (name, None) not in tables["operations"]:
            others = {e for n, e in tables["operations"] if n == name}
            if len(others) < len(schema.Era):
                yield Fault(f'"{name}" has no row for the other eras.',
                            "Add a row with a blank era, or one for each era.",
                            *_place_of(row, places), "era")
    for column, table in (("era", "eras"), ("level", "levels")):
        for member in schema.Era if column == "era" else schema.Level:
            if member not in tables[table]:
                yield Fault(f'"{member}" has no row.', "Add it.", f"{table}.csv", None, column)


def _place_of(row: schema.Row, places: Mapping) -> tuple[str, int]:
    return file_and_row(places[row.table, key_of(row)])
