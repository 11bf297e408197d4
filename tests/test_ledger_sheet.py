"""Time sheets: read as surveys are, every fault at once, booked whole or not at all."""

from datetime import date

import pytest
from ledgers import DAY, NOW, UNBILLED, at, with_job

from estimator import jobs
from estimator.errors import BadInput
from estimator.ledger import Ledger, TimeEntry, Unsure
from estimator.survey.cells import Wrong

SHEET = """\
Person;Day;Hours;Start;Stop;Job;Item;Unbilled;Note
Anna;2026-03-04;1,5;;;harbour lights;strip;;"rust; below the lane"
Anna;4.3.2026;;9:15;11:00;;;Ordering;
anna;3/3/2026;0:45;;;260302-A1;3;;'=A1
"""


@pytest.fixture
def ledger(tmp_path):
    """A ledger with a job of three items."""
    found = Ledger(tmp_path)
    with_job(found)
    yield found
    found.close()


def _book(ledger, tmp_path, text, encoding="utf-8", **said):
    path = tmp_path / "march.csv"
    path.write_bytes(text.encode(encoding))
    return jobs.book_sheet(ledger, path, unbilled=UNBILLED, now=NOW, **said)


def test_a_sheet_as_people_write_it_is_booked(ledger, tmp_path):
    """Semicolons, decimal commas, German days, names in any case, hours as 0:45."""
    first, second, third = _book(ledger, tmp_path, SHEET)
    assert (first.hours, first.job, first.item, first.note) == (
        1.5, "260302-A1", 1, "rust; below the lane")
    assert (second.hours, second.unbilled, second.day) == (1.75, "ordering", DAY)
    assert (second.started, second.stopped) == (at(9, 15), at(11))
    assert (third.hours, third.item, third.day, third.note) == (0.75, 3, date(2026, 3, 3), "=A1")
    assert third.person == "Anna"
    assert set(ledger.entries(TimeEntry)) == {first, second, third}


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("mark", [",", "\t"])
def test_encodings_and_marks_are_those_of_a_survey(ledger, tmp_path, encoding, mark):
    """Commas or tabs; UTF-8 with its mark, UTF-16, Windows-1252."""
    text = "person;day;hours;unbilled\nZoë;2026-03-04;2;sweeping\n".replace(";", mark)
    (entry,) = _book(ledger, tmp_path, text, encoding)
    assert (entry.person, entry.hours) == ("Zoë", 2)


def test_every_fault_of_a_sheet_is_told_at_once_and_nothing_is_booked(ledger, tmp_path):
    """Row, column, what was read and how to put it right; the good rows wait too."""
    text = """person,day,hours,start,stop,job,item,unbilled,note
Anna,2026-03-04,2,,,,,ordering,
,2026-03-04,2,,,,,ordering,
Anna,3/2/2026,2,,,,,ordering,
Anna,2026-02-30,2,,,,,ordering,
Anna,2026-03-04,"1.234,5",,,,,ordering,
Anna,2026-03-04,,,,,,ordering,
Anna,2026-03-04,2,9.15,11:00,,,ordering,
Anna,2026-03-04,2,,,Harbor Lights,strip,,
Anna,2026-03-04,2,,,Harbour Lights,stripp,,
Anna,2026-03-04,2,,,,strip,,
Anna,2026-03-04,2,,,,,odering,
Anna,2026-03-04,1,5,,,,ordering,,x
"""
    with pytest.raises(BadInput) as caught:
        _book(ledger, tmp_path, text)
    said = [(fault.row, fault.column) for fault in caught.value.faults]
    assert said == [(3, "person"), (4, "day"), (5, "day"), (6, "hours"), (7, "hours"),
                    (8, "start"), (9, "job"), (10, "item"), (11, "job"), (12, "unbilled"),
                    (13, None)]
    words = str(caught.value)
    for wanted in ("march.csv, row 4, day", "two ways", "2026-02-03", "Harbour Lights",
                   '"strip"', '"ordering"', "under no header"):
        assert wanted in words
    assert ledger.entries(TimeEntry) == ()


def test_the_rules_of_booking_hold_for_a_sheet_with_its_rows(ledger, tmp_path):
    """Faults of the entries, and what rows mean together, name the row."""
    text = """person,day,hours,unbilled
Anna,2026-03-04,30,ordering
Anna,2026-03-03,13,ordering
Anna,2026-03-03,12,messages
Anna,2026-03-05,2,messages
"""
    with pytest.raises(BadInput) as caught:
        _book(ledger, tmp_path, text)
    assert [fault.row for fault in caught.value.faults] == [2, 4, 5]
    assert ledger.entries(TimeEntry) == ()


def test_a_sheet_that_is_read_twice_is_asked_about(ledger, tmp_path):
    """Each row says that it is booked already; nothing is booked a second time."""
    _book(ledger, tmp_path, SHEET)
    with pytest.raises(Unsure) as caught:
        _book(ledger, tmp_path, SHEET)
    assert [(one.key, one.row) for one in caught.value.questions] == [
        ("twice", 2), ("twice", 3), ("twice", 4)]
    assert len(ledger.entries(TimeEntry)) == 3
    _book(ledger, tmp_path, SHEET, sure=["twice"])
    assert len(ledger.entries(TimeEntry)) == 6


def test_work_past_midnight_ends_on_the_next_day(ledger, tmp_path):
    """A stop earlier than the start is of the next morning."""
    text = "person,day,start,stop,unbilled\nAnna,2026-03-03,22:00,1:30,ordering\n"
    (entry,) = _book(ledger, tmp_path, text)
    assert (entry.hours, entry.day) == (3.5, date(2026, 3, 3))
    assert entry.stopped == at(1, 30)


@pytest.mark.parametrize(("text", "wanted"), [
    ("a,b\n1,2\n", "No header row"),
    ("person,day,hours,unbilled\n", "no hours under the header"),
    ("person,day,hours,unbiled\nAnna,2026-03-04,2,ordering\n", 'Did you mean "unbilled"'),
    ("person,day,person,hours,unbilled\n", "stands there twice"),
    ("person,hours,unbilled\n", 'column "day" is missing'),
    ("person,day,unbilled\n", 'column "hours" is missing'),
    ("person,day,hours\n", 'column "item" is missing'),
])
def test_a_sheet_without_its_columns_says_which(ledger, tmp_path, text, wanted):
    """With the nearest name where one is misspelled."""
    with pytest.raises(BadInput, match=wanted):
        _book(ledger, tmp_path, text)


def test_a_workbook_is_to_be_saved_as_csv(ledger, tmp_path):
    """It is told apart by its content."""
    path = tmp_path / "march.csv"
    path.write_bytes(b"PK\x03\x04 and so on")
    with pytest.raises(BadInput, match="Save it as CSV"):
        jobs.book_sheet(ledger, path, unbilled=UNBILLED)
    with pytest.raises(BadInput, match="no such file"):
        jobs.book_sheet(ledger, tmp_path / "april.csv", unbilled=UNBILLED)


@pytest.mark.parametrize(("said", "day"), [
    ("2026-03-04", date(2026, 3, 4)), ("2026-3-4", date(2026, 3, 4)),
    ("4.3.2026", date(2026, 3, 4)), ("04. 03. 2026", date(2026, 3, 4)),
    ("3/25/2026", date(2026, 3, 25)), ("25/3/2026", date(2026, 3, 25)),
    ("4/4/2026", date(2026, 4, 4)), ("", None),
])
def test_days_are_read_as_people_write_them(said, day):
    """Where there is one way to read them."""
    assert jobs.day_of(said) == day


@pytest.mark.parametrize("said", ["3/4/2026", "4.3.26", "March 4", "20260304", "2026-13-01"])
def test_days_that_are_none_or_two_are_refused(said):
    """Never guessed."""
    with pytest.raises(Wrong):
        jobs.day_of(said)


@pytest.mark.parametrize("said", ["25:00", "9", "9:60", "13:00 pm x", "nine"])
def test_times_that_are_none_are_refused(said):
    """Hours to 23, minutes to 59."""
    with pytest.raises(Wrong):
        jobs.time_of(said)


@pytest.mark.parametrize(("said", "hour"), [("12:00 am", 0), ("12:00pm", 12), ("1:00 p.m.", 13)])
def test_noon_and_midnight_are_told_apart(said, hour):
    """Twelve o'clock of the night is hour 0."""
    assert jobs.time_of(said).hour == hour
