"""Surveys read from and written to files."""

import codecs
import csv
import datetime
import io
import time
import zipfile
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import broken_surveys
import openpyxl
import pytest
from broken_surveys import COLUMNS, FACTS, GOOD, HEADER, save, workbook
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from estimator import survey
from estimator.catalogue import Catalogue, Certainty, Condition, Era, data_folder, load
from estimator.errors import BadInput
from estimator.outside import guarded, unguarded
from estimator.survey import Line, Machine, Survey
from estimator.survey.cells import Wrong, number, whole, written


@pytest.fixture(scope="module")
def tables():
    """The trade's default tables."""
    return load()


def of_text(text: str, tables, **options) -> Survey:
    """The survey in CSV text."""
    return survey.read_bytes(text.encode(), "survey.csv", tables, **options)


def faults_of(text: str, tables, **options) -> str:
    """The report on CSV text."""
    with pytest.raises(BadInput) as caught:
        of_text(text, tables, **options)
    return str(caught.value)


# Broken files

@pytest.mark.parametrize("name", broken_surveys.CASES)
def test_broken_survey_is_refused_with_place_and_way_out(name, tables, tmp_path):
    """Each broken file is refused with its name, the place and what to do."""
    path = broken_surveys.CASES[name](tmp_path)
    with pytest.raises(BadInput) as caught:
        survey.read(path, tables)
    report = str(caught.value)
    for words in broken_surveys.SAYS[name]:
        assert words in report
    for fault in caught.value.faults:
        assert fault.file == path.name
        assert fault.fix
        assert str(tmp_path) not in str(fault)
    rows = [fault.row or 0 for fault in caught.value.faults]
    assert rows == sorted(rows)
    found, faults, _ = survey.check(path, tables)
    assert found is None
    assert faults == caught.value.faults


def test_there_are_enough_broken_surveys():
    """At least two dozen ways to break a survey are covered."""
    assert len(broken_surveys.CASES) >= 24


def test_file_that_may_not_be_opened_is_named(tables, tmp_path, monkeypatch):
    """A file that the system will not open is a fault, not a crash."""
    path = save(tmp_path, FACTS + HEADER + GOOD)

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(BadInput, match=r"survey.csv: The file cannot be read \(Permission denied"):
        survey.read(path, tables)


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
@given(data=st.binary(max_size=400))
@settings(max_examples=150, deadline=None)
def test_random_bytes_raise_nothing_but_bad_input(suffix, data):
    """Whatever is in a file, it is read or refused in words."""
    for start in (b"", b"PK\x03\x04", b"\xff\xfe", (FACTS + HEADER).encode()):
        with suppress(BadInput):
            survey.read_bytes(start + data, "survey" + suffix, load())


@given(place=st.floats(0, 1), byte=st.integers(0, 255))
@settings(max_examples=80, deadline=None)
def test_a_flipped_byte_in_a_workbook_raises_nothing_but_bad_input(place, byte):
    """A workbook damaged in one byte is read or refused in words."""
    data = bytearray(_workbook_bytes())
    data[int(place * (len(data) - 1))] = byte
    with suppress(BadInput):
        survey.read_bytes(bytes(data), "survey.xlsx", load())


def _workbook_bytes() -> bytes:
    return survey.xlsx_bytes(Survey(Machine(era=Era.MODERN), (Line("flipper", 2),)), load())


# Good files

def test_a_file_is_read_as_it_says(tables):
    """Machine facts and every cell of a line come out as written."""
    found = of_text(
        FACTS + HEADER + 'flipper,2,worn,seen,76.2,,"left, sticks"\n'
        "pop-bumper,3,light,hidden,,40,\n", tables)
    assert found == Survey(
        Machine(title="Test piece", era=Era.DOT_MATRIX),
        (Line("flipper", 2, Condition.WORN, Certainty.SEEN, 76.2, None, "left, sticks"),
         Line("pop-bumper", 3, Condition.LIGHT, Certainty.HIDDEN, None, 40.0)),
        "survey.csv")
    assert [line.row for line in found.lines] == [5, 6]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_encodings_and_line_ends(mark, encoding, end, tables):
    """Comma, semicolon and tab; four encodings; three line ends: all give the same survey."""
    rows = [["machine", "title", "Café Komet"], [],
            ["Length (mm)", "ASSEMBLY", "Count ", "condition", "Certainty", "Note"],
            ["12,5", "Flippers", "2", "Worn", "SEEN", "größer; naïve, œuvre"]]
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=mark, lineterminator=end).writerows(rows)
    found = survey.read_bytes(text.getvalue().encode(encoding), "a.csv", tables)
    assert found.machine.title == "Café Komet"
    assert found.lines == (Line("flipper", 2, Condition.WORN, Certainty.SEEN, 12.5, None,
                                "größer; naïve, œuvre"),)


def test_guessed_encoding_is_said(tables, tmp_path):
    """A file in Windows-1252 is read, and the reader is told to look at the accents."""
    path = save(tmp_path, (FACTS + HEADER + "flipper,2,worn,seen,,,défaut\n").encode("cp1252"))
    found, faults, notes = survey.check(path, tables)
    assert found.lines[0].note == "défaut"
    assert not faults
    assert "Windows-1252" in notes[0]


@pytest.mark.parametrize("name", ["pop-bumper", "Pop bumpers", "POP_BUMPER", " pop  bumper "])
def test_names_are_known_however_they_are_spelled(name, tables):
    """Case, blanks, hyphens, underscores and plurals do not count."""
    assert of_text(f"{HEADER}{name},1,worn,seen,,,\n", tables).lines[0].assembly == "pop-bumper"


def test_every_assembly_is_known_by_slug_and_by_name(tables):
    """No two assemblies of the tables stand in each other's way."""
    for row in tables.assemblies.values():
        for spelling in (row.assembly, row.name):
            cell = '"' + spelling.replace('"', '""') + '"'
            found = of_text(f"{HEADER}{cell},1,worn,seen,,,\n", tables)
            assert found.lines[0].assembly == row.assembly


def test_rows_are_counted_as_a_spreadsheet_counts_them(tables):
    """A line end inside quotes begins no new row; a blank line does count."""
    report = faults_of(HEADER + 'flipper,1,worn,seen,,,"two\nlines"\n\nflipper,x,worn,seen,,,\n',
                       tables)
    assert report.startswith("survey.csv, row 4, count:")


def test_all_faults_come_at_once_in_the_order_of_the_file(tables):
    """One report names every wrong cell."""
    report = faults_of(
        "machine,era,dotmatrixx\n" + HEADER + "fliper,-1,bad,maybe,x,y,\n"
        "flipper,1.5,worn,seen,,,\n", tables).splitlines()
    places = [line.split(":")[0].split(", ", 1)[1] for line in report]
    assert places == ["row 1, era", "row 3, assembly", "row 3, count", "row 3, condition",
                      "row 3, certainty", "row 3, length_mm", "row 3, area_cm2", "row 4, count"]


def test_upload_is_named_without_its_folders(tables):
    """A browser may send a path; the report shows the file's name alone."""
    with pytest.raises(BadInput, match=r"^x\.csv: The file is empty"):
        survey.read_bytes(b"", "C:\\fakepath\\x.csv", tables)


# Drafts

def test_draft_may_have_gaps_and_a_quote_may_not(tables, tmp_path):
    """Blank cells are remarks in a draft and faults in a quote, each with row and column."""
    path = broken_surveys.gappy(tmp_path)
    found, faults, notes = survey.check(path, tables)
    assert found.is_draft
    assert not faults
    assert [note.split(":")[0] for note in notes] == [
        "survey.csv", "survey.csv, row 3, count", "survey.csv, row 3, condition",
        "survey.csv, row 3, certainty"]
    with pytest.raises(BadInput) as caught:
        survey.read(path, tables, final=True)
    assert [(fault.row, fault.column) for fault in caught.value.faults] == [
        (None, "era"), (3, "count"), (3, "condition"), (3, "certainty")]


def test_complete_survey_passes_as_final(tables):
    """A survey with an era and without gaps may be quoted."""
    assert not of_text(FACTS + HEADER + GOOD, tables, final=True).is_draft


def test_blank_era_is_a_fault_of_a_quote_in_its_row(tables):
    """The row of the blank era is named."""
    report = faults_of("machine,era,\n" + HEADER + GOOD, tables, final=True)
    assert report.startswith("survey.csv, row 1, era: The machine's era is blank.")
    assert "electromechanical" in report


# Workbooks

def test_workbook_with_facts_above_the_header(tables, tmp_path):
    """Machine rows may stand in the survey sheet; dates and numbers there are plain text."""
    path = workbook(
        tmp_path, ["machine", "year", 1993], ["machine", "surveyed", datetime.date(2026, 2, 3)],
        ["machine", "era", "Dot matrix"], [], COLUMNS,
        ["Flipper", 2.0, "worn", "seen", 76.2, None, 7])
    found = survey.read(path, tables, final=True)
    assert found.machine == Machine(year="1993", surveyed="2026-02-03", era=Era.DOT_MATRIX)
    assert found.lines[0] == Line("flipper", 2, Condition.WORN, Certainty.SEEN, 76.2, None, "7")


def test_first_sheet_with_a_header_serves(tables, tmp_path):
    """A workbook whose sheets have other names is read by its header."""
    path = workbook(tmp_path, ["hello"], title="Cover")
    book = openpyxl.load_workbook(path)
    sheet = book.create_sheet("Tuesday")
    sheet.append(COLUMNS)
    sheet.append(["flipper", 2, "worn", "seen"])
    book.save(path)
    assert survey.read(path, tables).lines[0].assembly == "flipper"


def test_workbook_called_csv_is_read(tables, tmp_path):
    """What a file is shows in its content."""
    path = workbook(tmp_path, COLUMNS, ["flipper", 2, "worn", "seen"], name="survey.csv")
    assert survey.read(path, tables).lines[0].count == 2


def test_text_that_looks_like_a_formula_is_no_formula(tables, tmp_path):
    """A text cell of a workbook may begin with an equals sign."""
    found = Survey(Machine(), (Line("flipper", 1, note="=SUM(A1)"),))
    survey.write(found, tmp_path / "a.xlsx", tables)
    assert survey.read(tmp_path / "a.xlsx", tables).lines == found.lines
    sheet = openpyxl.load_workbook(tmp_path / "a.xlsx")["survey"]
    assert sheet["G2"].data_type == "s"


def test_written_workbook_offers_the_choices(tables, tmp_path):
    """Lists for names and grades, whole numbers for counts, a frozen header."""
    found = survey.template(Era.MODERN, tables)
    survey.write(found, tmp_path / "a.xlsx", tables)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    sheet = book["survey"]
    rules = {str(rule.sqref).split(":")[0]: rule for rule in sheet.data_validations.dataValidation}
    assert [rules[cell].type for cell in ("A2", "B2", "C2", "D2")] == ["list", "whole", "list",
                                                                     "list"]
    first, last = rules["A2"].formula1.removeprefix("choices!").replace("$", "").split(":")
    offered = [cell[0].value for cell in book["choices"][first:last]]
    assert offered == list(tables.assemblies)
    assert sheet.freeze_panes == "B2"
    assert book["choices"].sheet_state == "hidden"
    assert max(cells.max_row for cells in rules["A2"].sqref.ranges) > len(found.lines) + 1


# Writing

words = st.text(
    st.characters(exclude_categories=("Cc", "Cs", "Cn")) | st.sampled_from("\n=+-@'\",;\t"),
    max_size=40).map(str.strip)


@st.composite
def surveys(draw):
    """Any survey that may stand in a file; sizes as one measures them, to a thousandth."""
    sizes = st.none() | st.integers(1, 90_000_000).map(lambda thousandths: thousandths / 1000)
    lines = draw(st.lists(st.builds(
        Line, st.sampled_from(sorted(load().assemblies)), st.none() | st.integers(0, 9999),
        st.none() | st.sampled_from(Condition), st.none() | st.sampled_from(Certainty),
        sizes, sizes, words), min_size=1, max_size=5,
        unique_by=lambda line: replace(line, count=None)))
    machine = draw(st.builds(Machine, words, words, words, st.none() | st.sampled_from(Era),
                             words, words, words, words, words))
    return Survey(machine, tuple(lines))


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
@given(found=surveys())
# Names of columns are words too.
@example(found=Survey(Machine(customer="Assembly", note="condition"), (Line("flipper"),)))
@settings(max_examples=60, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_is_written_reads_back_the_same(suffix, found, tmp_path):
    """Any survey with any printable text survives the way through a file."""
    path = tmp_path / f"survey{suffix}"
    survey.write(found, path, load())
    again = survey.read(path, load())
    assert again.machine == found.machine
    assert again.lines == found.lines


@given(said=st.text("'=+-@\t ab", max_size=6))
def test_guard_comes_off_again_and_leaves_no_formula(said):
    """Guarding a text can be undone, and what is guarded no spreadsheet reckons."""
    assert unguarded(guarded(said)) == said
    assert guarded(said)[:1] not in set("=+-@\t")


def test_guard_takes_off_one_quote_and_only_before_a_formula_sign(tables):
    """A quote that someone typed in front of other text stays."""
    notes = ["'=A1", "''=A1", "'twas", "-3 mm"]
    text = HEADER + "".join(f"flipper,1,worn,seen,,,{note}\n" for note in notes)
    assert [line.note for line in of_text(text, tables).lines] == ["=A1", "'=A1", "'twas", "-3 mm"]


def test_csv_opens_in_a_spreadsheet(tables, tmp_path):
    """It begins with the mark of UTF-8, and no cell begins a formula."""
    found = Survey(Machine(title="@home", note="+1"), (Line("flipper", note="=1+1"),))
    survey.write(found, tmp_path / "a.csv", tables)
    data = (tmp_path / "a.csv").read_bytes()
    assert data.startswith(codecs.BOM_UTF8)
    rows = csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""))
    assert not [cell for row in rows for cell in row if cell[:1] in set("=+-@")]


def test_the_same_survey_gives_the_same_workbook(tables):
    """Nothing in the file depends on the clock."""
    found = survey.template(Era.MODERN, tables)
    parts = []
    for _ in range(2):
        with zipfile.ZipFile(io.BytesIO(survey.xlsx_bytes(found, tables))) as book:
            parts.append({name: book.read(name) for name in book.namelist()})
        time.sleep(1.1 if len(parts) == 1 else 0)
    assert parts[0] == parts[1]


@pytest.mark.parametrize(("name", "says"), [
    ("a.ods", "not written as"), ("a", "not written as"), ("nowhere/a.csv", "no folder"),
])
def test_a_place_that_cannot_be_written_is_refused(name, says, tables, tmp_path):
    """Another ending or a folder that is not there is bad input, and nothing is left behind."""
    with pytest.raises(BadInput, match=says):
        survey.write(survey.template(Era.MODERN, tables), tmp_path / name, tables)
    assert not list(tmp_path.iterdir())


def test_what_cannot_be_read_back_is_not_written(tables, tmp_path):
    """A file that stood there stays as it was when the survey is faulty."""
    path = save(tmp_path, "old")
    wrong = Survey(Machine(), (Line("no-such-thing", -1, note="bell \a"),))
    with pytest.raises(BadInput) as caught:
        survey.write(wrong, path, tables)
    assert {fault.column for fault in caught.value.faults} == {"assembly", "count", "note"}
    assert path.read_text() == "old"
    assert [left.name for left in tmp_path.iterdir()] == ["survey.csv"]


def test_a_write_that_fails_leaves_the_old_file(tables, tmp_path, monkeypatch):
    """Never half a file: the old one stays until the new one is whole."""
    path = save(tmp_path, "old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(BadInput, match="No space left"):
        survey.write(survey.template(Era.MODERN, tables), path, tables)
    assert path.read_text() == "old"
    assert [left.name for left in tmp_path.iterdir()] == ["survey.csv"]


# Numbers

@pytest.mark.parametrize(("cell", "value"), [
    ("12", 12), ("12.5", 12.5), ("12,5", 12.5), (".5", 0.5), ("1 200", 1200),
    ("1\u202f200,5", 1200.5), ("0.125", 0.125), ("0,125", 0.125), ("1234.567", 1234.567),
    ("1.5e2", 150), ("1'200", 1200), (7, 7), ("", None), ("12.", 12),
])
def test_numbers_with_point_or_comma(cell, value):
    """Decimals are read with either mark; three digits after a nought are a fraction."""
    assert number(cell) == value


@pytest.mark.parametrize("cell", [
    "1.234,5", "1,234.5", "1,200", "12.345", "1.234.567", "nan", "inf", "-inf", "1e400", "1_000",
    "0x10", "12 34", "1,2,3", "٣", "1/2", "3 pcs", "--1", "1e", float("nan"), float("inf"),
])
def test_numbers_that_cannot_be_relied_on_are_refused(cell):
    """What could be read two ways, or is no figure, is said and not guessed."""
    with pytest.raises(Wrong):
        number(cell)


@given(st.integers(0, 9999))
def test_counts_come_back(count):
    """Every count that is allowed is read from text, from a float and with a decimal nought."""
    assert whole(str(count)) == whole(float(count)) == whole(f"{count},0") == count


@given(st.floats(1e-9, 1e9))
def test_sizes_come_back_exactly(value):
    """No size is written in a way that could be read as another."""
    assert number(written(value)) == value


# Templates and the demo

@pytest.mark.parametrize("era", Era)
def test_template_is_the_counts_table(era, tables):
    """Each era's template has that era's rows, all assumed, none of them an addition."""
    found = survey.template(era, tables)
    assert found.machine.era is era
    assert not found.is_draft
    assert {line.certainty for line in found.lines} == {Certainty.ASSUMED}
    counts = {name: row.typical for (of, name), row in tables.counts.items() if of is era}
    for line in found.lines:
        assert not tables.assemblies[line.assembly].extra
        assert line.count == counts.pop(line.assembly)
    assert all(tables.assemblies[left].extra for left in counts)


def test_template_offers_no_additions(tables):
    """What a customer may order on top is in no template, even where it has a count."""
    extra = next(name for name, row in tables.assemblies.items() if row.extra)
    count = tables.counts[Era.MODERN, "flipper"].model_copy(update={"assembly": extra})
    counts = {**tables.counts, (Era.MODERN, extra): count}
    more = Catalogue({**tables.tables, "counts": counts}, tables.places)
    assert survey.template(Era.MODERN, more) == survey.template(Era.MODERN, tables)


def test_template_of_an_unknown_era_names_the_nearest(tables):
    """A misspelt era is answered with the one that was meant."""
    with pytest.raises(BadInput, match='Did you mean "electromechanical"'):
        survey.template("electro-mechanic", tables)


def test_demo_survey_can_be_quoted(tables):
    """The demo is complete, of a useful size, and mixes every condition and certainty."""
    found = survey.read(data_folder() / "demo" / "survey.csv", tables, final=True)
    assert found.machine.era is Era.DOT_MATRIX
    assert 45 <= len(found.lines) <= 75
    assert {line.condition for line in found.lines} == set(Condition)
    assert {line.certainty for line in found.lines} == set(Certainty)
    names = {line.assembly for line in found.lines}
    wanted = {name for (era, name), row in tables.counts.items()
              if era is Era.DOT_MATRIX and row.low > 0 and not tables.assemblies[name].extra}
    assert wanted <= names
