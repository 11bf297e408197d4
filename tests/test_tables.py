"""The shipped tables: complete, linked, nothing idle, never cheaper when worse or better done."""

import csv
import itertools
import shutil
from collections import defaultdict

import pytest

from estimator import catalogue
from estimator.catalogue import CONDITIONS, LEVELS, Certainty, Condition, Era, Level
from estimator.errors import BadInput
from estimator.estimate import estimate
from estimator.finishing import step_ratios
from estimator.scope import scope
from estimator.shop import open_shop
from estimator.survey.records import Line, Machine, Survey

SHOP = open_shop()
TABLES = SHOP.catalogue


def _cells(table):
    with open(catalogue.data_folder() / f"{table}.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(
    ("table", "name", "least"),
    [("assemblies", "assembly", 40), ("operations", "operation", 120), ("parts", "part", 150),
     ("suppliers", "supplier", 5), ("services", "service", 12), ("finds", "find", 25)],
)
def test_a_table_is_as_long_as_the_trade_needs(table, name, least):
    """Each table holds at least the rows that a whole machine asks for, distinct by name."""
    assert len({row[name] for row in _cells(table)}) >= least


@pytest.mark.parametrize("table", [kind.table for kind in catalogue.TABLES])
def test_every_row_says_its_unit_basis_source_and_date(table):
    """No figure stands without where it comes from, written in the file and not by default."""
    for number, row in enumerate(_cells(table), 2):
        for column in ("unit", "basis", "source", "dated"):
            assert row[column].strip(), f"{table}.csv, row {number}, {column}"


def test_suppliers_and_their_offers_are_invented():
    """No real firm stands in the demo's suppliers or price lists."""
    for row in (*TABLES.suppliers.values(), *TABLES.offers.values()):
        assert row.basis == catalogue.Basis.INVENTED


def test_every_assembly_has_treatments_and_a_place_in_a_template():
    """An assembly that leads to no work, or that no machine has, would only be in the way."""
    counted = {name for _, name in TABLES.counts}
    for name, row in TABLES.assemblies.items():
        assert TABLES.treatments_of[name], name
        assert row.extra != (name in counted), name
        assert not row.extra or row.droppable, name


def test_nothing_is_idle():
    """Every operation, part, material, service, caution, finish, mark and supplier is used."""
    used = defaultdict(set)
    for row in TABLES.treatments.values():
        used[row.does].add(row.item)
        used["finish"].add(row.finish)
    used["material"].add("abrasive-sheet")  # taken by the ladder itself
    for table in ("operations", "materials", "services", "finds"):
        for row in TABLES.tables[table].values():
            used["caution"] |= set(row.cautions)
    used["supplier"] = {row.supplier for row in TABLES.offers.values()}
    assert {name for name, _ in TABLES.operations} == used["operation"]
    assert set(TABLES.parts) == used["part"]
    assert set(TABLES.materials) == used["material"]
    assert set(TABLES.services) == used["service"]
    assert set(TABLES.cautions) == used["caution"]
    assert set(TABLES.finishes) == used["finish"] - {""}
    assert set(TABLES.suppliers) == used["supplier"]
    assert set(TABLES.marks) == set(CONDITIONS)


def test_only_the_grit_ladder_asks_for_a_finish():
    """A finish without a ladder says nothing, and a ladder needs one and an area to work on."""
    for row in TABLES.treatments.values():
        work = row.does == "operation"
        ladder = work and TABLES.operation(row.item, Era.MODERN).method == "ladder"
        assert ladder == bool(row.finish), row
        assert not ladder or row.measure == "area", row
        if row.measure == "area":
            assert TABLES.assemblies[row.assembly].area_cm2, row
        if row.measure == "length":
            assert TABLES.assemblies[row.assembly].length_mm, row
        coating = row.does == "material" and TABLES.materials[row.item].method != "each"
        assert not coating or row.measure == "area", row


def test_every_part_can_be_bought_in_one_pack():
    """Each part has an offer, and each supplier of it a price that holds from one pack."""
    for part, offers in TABLES.offers_of.items():
        assert offers, part
        for _, rows in itertools.groupby(sorted(offers, key=lambda r: r.supplier),
                                         key=lambda r: r.supplier):
            rows = list(rows)
            assert any(row.from_quantity <= row.pack for row in rows), (part, rows[0].supplier)
            assert len({row.pack for row in rows}) == 1, (part, rows[0].supplier)


def test_prices_fall_with_the_quantity():
    """A higher break of the same supplier is cheaper by the piece."""
    for part, offers in TABLES.offers_of.items():
        by_supplier = defaultdict(list)
        for row in offers:
            by_supplier[row.supplier].append((row.from_quantity, row.price))
        for supplier, breaks in by_supplier.items():
            for (_, dear), (_, cheap) in itertools.pairwise(sorted(breaks)):
                assert cheap < dear, (part, supplier)


def test_finds_get_likelier_the_less_was_seen():
    """No find has a chance over one, and a hidden line is at least as risky as an assumed one."""
    for row in TABLES.finds.values():
        assert 0 < row.probability <= row.probability * row.assumed <= row.probability * row.hidden
        assert row.probability * row.hidden <= 1
        assert row.high > 0
        counted = {era for era, name in TABLES.counts if name == row.assembly}
        assert (row.era in counted) if row.era else counted, row.find


def _figures(era, assembly, level, condition):
    if TABLES.assemblies[assembly].extra:
        survey = Survey(Machine(era=era), (Line("intake-and-survey", 0, condition),))
        job = estimate(scope(survey, level, TABLES, added=[(assembly, 1)]), SHOP)
    else:
        count = max(1, TABLES.counts[era, assembly].typical)
        line = Line(assembly, count, condition, Certainty.SEEN)
        job = estimate(scope(Survey(Machine(era=era), (line,)), level, TABLES), SHOP)
    risks = sum(risk.chance for risk in job.risks)
    return job.hours, job.cost, risks


def _worse(era):
    """(assembly, from, to, figure) wherever a worse piece or a higher level comes out cheaper."""
    names = [name for name, row in TABLES.assemblies.items()
             if row.extra or (era, name) in TABLES.counts]
    for name in names:
        grid = {(level, condition): _figures(era, name, level, condition)
                for level in LEVELS for condition in CONDITIONS}
        for level, condition in grid:
            rank, grade = LEVELS.index(level), CONDITIONS.index(condition)
            steps = [(LEVELS[min(rank + 1, len(LEVELS) - 1)], condition),
                     (level, CONDITIONS[min(grade + 1, len(CONDITIONS) - 1)])]
            for step in steps:
                for figure, before, after in zip(("hours", "cost", "finds"), grid[level, condition],
                                                 grid[step], strict=True):
                    if after < before - 1e-9:
                        yield name, (level, condition), step, figure, before, after


@pytest.mark.parametrize("era", list(Era))
def test_worse_or_better_done_is_never_cheaper(era):
    """Hours, cost and finds of any assembly never fall with its condition or with the level."""
    assert list(_worse(era)) == []


def test_as_found_is_inspection_alone():
    """Without an order for work nothing is cleaned, mended or bought."""
    for row in TABLES.treatments.values():
        if row.level_from == Level.AS_FOUND:
            assert row.does == "operation"
            assert TABLES.operation(row.item, Era.MODERN).kind == "inspect"


# ISO 6344-2:2021 and ISO 6344-3:2021, tables of the P series: median grain in µm. The ends P12,
# P220, P240 and P2500 as read in print; the decimals between from memory of the standard.
ISO_6344 = {
    "P12": 1815, "P16": 1324, "P20": 1000, "P24": 764, "P30": 642, "P36": 538, "P40": 425,
    "P50": 336, "P60": 269, "P80": 201, "P100": 162, "P120": 125, "P150": 100, "P180": 82,
    "P220": 68, "P240": 58.5, "P280": 52.2, "P320": 46.2, "P360": 40.5, "P400": 35.0,
    "P500": 30.2, "P600": 25.8, "P800": 21.8, "P1000": 18.3, "P1200": 15.3, "P1500": 12.6,
    "P2000": 10.3, "P2500": 8.4,
}


def test_grain_sizes_are_those_of_iso_6344():
    """Every grade of the standard's table stands in ours with its median grain."""
    assert {name: TABLES.grits[name].grain_um for name in ISO_6344} == ISO_6344


@pytest.mark.parametrize(
    ("coarse", "fine", "ratio"),
    [("P80", "P120", 1.608), ("P120", "P180", 1.524), ("P180", "P320", 1.775),
     ("P80", "P180", 2.451), ("P240", "P280", 1.12), ("P12", "P16", 1.37)],
)
def test_step_ratios_of_the_standard(coarse, fine, ratio):
    """How much finer a step is follows from the medians of ISO 6344, to half the last digit."""
    steps = [TABLES.grits[coarse], TABLES.grits[fine]]
    assert step_ratios(steps)[0] == pytest.approx(ratio, abs=0.005)


# CAMI (US) grades, median grain in µm, rounded, and the P grade beside each:
# "Sandpaper grit comparisons", ruddwoodfinishes.com/finishing/sandpaper-grit-comparisons.
CAMI = [(50, 350, "P50"), (60, 270, "P60"), (80, 192, "P80"), (120, 116, "P120"),
        (180, 82, "P180"), (220, 68, "P220"), (240, 52, "P280"), (320, 35, "P400"),
        (400, 22, "P800"), (500, 18, "P1000"), (600, 15, "P1200")]


@pytest.mark.parametrize(("cami", "grain_um", "nearest"), CAMI)
def test_cami_grades_are_nearest_to_the_p_grades_of_the_chart(cami, grain_um, nearest):
    """A grade of the other scale has the grain of the P grade that the chart puts beside it."""
    found = min(TABLES.grits.values(), key=lambda row: abs(row.grain_um - grain_um))
    assert found.grit == nearest, cami


BREAKS = [
    # table, change to one row, column named, words said
    ("operations", {"low": "soon"}, "low", "number"),
    ("operations", {"typical": "-1"}, "typical", "is out of range. Write a number, 0 or more."),
    ("operations", {"low": "9999"}, None, "out of order"),
    ("operations", {"kind": "juggle"}, "kind", "remove"),
    ("operations", {"source": ""}, "source", "blank"),
    ("operations", {"cautions": "dragons"}, "cautions", "not in cautions.csv"),
    ("treatments", {"item": "no-such-thing"}, "item", "no-such-thing"),
    ("treatments", {"assembly": "flippr"}, "assembly", 'Did you mean "flipper"?'),
    ("treatments", {"share": "30"}, "share", "over 0 and at most 1: 0.25 for 25 %"),
    ("counts", {"low": "99"}, None, "out of order"),
    ("suppliers", {"days_low": "99"}, None, "days_low 99, days_typical"),
    ("services", {"days_high": "0"}, None, "days_high 0 are out of order"),
    ("counts", {"era": "steam"}, "era", "electromechanical"),
    ("parts", {"high": "nan"}, "high", "is not a number"),
    ("offers", {"supplier": "nobody"}, "supplier", "nobody"),
    ("finds", {"probability": "0.9", "hidden": "3"}, None, "exceeds 1"),
    ("assemblies", {"assembly": "Two Words"}, "assembly", "parted by hyphens"),
    ("grits", {"dated": "soon"}, "dated", "date"),
]


def _broken(folder, table, change):
    shutil.copytree(catalogue.data_folder(), folder, ignore=shutil.ignore_patterns("demo"))
    path = folder / f"{table}.csv"
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    # The last row, so that what hangs on earlier rows is left alone.
    rows[-1].update(change)
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return len(rows) + 1


@pytest.mark.parametrize(("table", "change", "column", "said"), BREAKS)
def test_a_wrong_cell_is_named_by_file_row_and_column(tmp_path, table, change, column, said):
    """A fault in a table says the file, the row as a spreadsheet counts, the column, the remedy."""
    number = _broken(tmp_path / "tables", table, change)
    with pytest.raises(BadInput) as caught:
        catalogue.load(tmp_path / "tables")
    faults = [fault for fault in caught.value.faults
              if (fault.file, fault.row, fault.column) == (f"{table}.csv", number, column)]
    assert faults, str(caught.value)
    assert any(said in str(fault) for fault in faults), str(caught.value)


def test_all_faults_of_all_tables_come_at_once(tmp_path):
    """One look at the message is enough to mend two tables."""
    folder = tmp_path / "tables"
    _broken(folder, "operations", {"low": "soon", "kind": "juggle"})
    path = folder / "parts.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("from memory", "hearsay", 1),
                    encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        catalogue.load(folder)
    assert {(fault.file, fault.column) for fault in caught.value.faults} == {
        ("operations.csv", "low"), ("operations.csv", "kind"), ("parts.csv", "basis")}


def test_a_row_that_stands_twice_is_refused(tmp_path):
    """Which of two equal keys would hold is not left to chance."""
    folder = tmp_path / "tables"
    shutil.copytree(catalogue.data_folder(), folder)
    path = folder / "parts.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join([*lines, lines[1]]), encoding="utf-8")
    with pytest.raises(BadInput, match=r"parts\.csv, row 2 already") as caught:
        catalogue.load(folder)
    fault = caught.value.faults[0]
    assert (fault.file, fault.row) == ("parts.csv", len(lines) + 1)


def test_an_unknown_column_is_refused_with_the_nearest_known_one(tmp_path):
    """A misspelt header does not silently leave its figures out."""
    folder = tmp_path / "tables"
    shutil.copytree(catalogue.data_folder(), folder)
    path = folder / "operations.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("typical", "typicl", 1),
                    encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        catalogue.load(folder)
    said = str(caught.value)
    assert 'operations.csv, row 1, typicl: There is no column "typicl"' in said
    assert 'Did you mean "typical"?' in said
    assert '"typical" is missing' in said


def test_a_table_that_is_not_utf8_is_refused(tmp_path):
    """A spreadsheet's own encoding is not guessed at: umlauts in a source would be garbled."""
    folder = tmp_path / "tables"
    shutil.copytree(catalogue.data_folder(), folder)
    path = folder / "services.csv"
    path.write_bytes(path.read_bytes() + b"\xfc\n")
    with pytest.raises(BadInput, match=r"services\.csv: The table is not UTF-8 text"):
        catalogue.load(folder)


def _a_folder(path):
    path.unlink()
    path.mkdir()


@pytest.mark.parametrize(("table", "harm", "said"), [
    ("parts", _a_folder, "parts.csv: The table cannot be read"),
    ("parts", lambda path: path.write_text('"' + "x" * 200_000),
     "parts.csv, row 1: A cell in this row is far too long"),
    ("marks", lambda path: path.write_text(
        "".join(path.read_text().splitlines(keepends=True)[:-1])),
     'marks.csv, condition: The row of "missing" is missing'),
    ("finishes", lambda path: path.write_text(path.read_text().splitlines()[0]),
     'finishes.csv, finish: The row of "brushed" is missing'),
    ("eras", lambda path: path.write_text("\n".join(
        line + "," + line.split(",")[0] for line in path.read_text().splitlines())),
     "stands there twice"),
])
def test_a_table_that_cannot_be_used_is_named_before_anything_is_reckoned(tmp_path, table, harm,
                                                                          said):
    """A folder of its name, no CSV, a row that every quote may need, a column twice."""
    folder = tmp_path / "tables"
    shutil.copytree(catalogue.data_folder(), folder)
    harm(folder / f"{table}.csv")
    with pytest.raises(BadInput) as caught:
        catalogue.load(folder)
    assert said in str(caught.value)


def test_a_missing_table_is_named(tmp_path):
    """A folder that lost a file says which."""
    folder = tmp_path / "tables"
    shutil.copytree(catalogue.data_folder(), folder)
    (folder / "marks.csv").unlink()
    with pytest.raises(BadInput, match=r"marks\.csv is missing"):
        catalogue.load(folder)


def test_a_shop_that_edits_one_table_keeps_the_others(tmp_path):
    """A table in a later folder takes the place of the trade's own, row for row."""
    path = tmp_path / "suppliers.csv"
    text = (catalogue.data_folder() / "suppliers.csv").read_text(encoding="utf-8")
    name = next(iter(TABLES.suppliers))
    path.write_text(text.replace(TABLES.suppliers[name].name, "Corner Shop", 1), encoding="utf-8")
    changed = catalogue.load(catalogue.data_folder(), tmp_path)
    assert changed.suppliers[name].name == "Corner Shop"
    assert changed.parts == TABLES.parts


def test_missing_and_failed_pieces_are_dealt_with_from_the_shop_job_up():
    """A dead mechanism is put right, and a missing one replaced, at every level that opens it."""
    for name in ("flipper", "pop-bumper", "slingshot", "eject", "vertical-kicker", "coil",
                 "leaf-switch", "micro-switch", "cpu-board", "driver-board", "power-board",
                 "sound-board", "dot-matrix-display", "standup-target", "drop-target"):
        for condition in (Condition.FAILED, Condition.MISSING):
            survey = Survey(Machine(era=Era.DOT_MATRIX), (Line(name, 1, condition),))
            works = scope(survey, Level.SHOP_JOB, TABLES).works
            needs = scope(survey, Level.SHOP_JOB, TABLES).needs
            assert any(work.operation.kind in ("repair", "replace") for work in works), name
            assert any(need.does in ("part", "service") for need in needs), (name, condition)
