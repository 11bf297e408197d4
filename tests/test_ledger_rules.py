"""What may be booked: refused where it cannot be, asked about where it seldom is."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ledgers import DAY, NOW, UNBILLED, at, worked

from estimator.errors import BadInput
from estimator.ledger import Clock, Item, Job, item_named, job_named, rules, unbilled_named
from estimator.ledger.rules import Known, judge

JOB = Job("260302-A1", "Harbour Lights", DAY - timedelta(2))
CLOSED = Job("260101-B2", "Comet", date(2026, 1, 5), None, "closed", date(2026, 2, 1))


def _item(place, operation, job=JOB.number):
    return Item(job, place, job, place, f"Line {place}", "flipper", operation,
                operation.capitalize(), "rebuild", "bench", 0.5, 0.75, 1.5, 0.0, 1.0)


ITEMS = (_item(1, "strip"), _item(2, "flipper-rebuild"), _item(3, "flipper-rebuild"))
KNOWN = Known(jobs={job.number: job for job in (JOB, CLOSED)},
              items={(item.job, item.item): item for item in ITEMS}, unbilled=UNBILLED,
              people=("Anna", "Ben"), now=NOW)


def _said(*entries, booked=()):
    """Texts of the faults, and keys of the questions."""
    faults, questions = judge(entries, replace(KNOWN, booked=booked))
    return [str(fault) for fault in faults], [one.key for one in questions]


def test_usual_hours_raise_no_fault_and_no_question():
    """A morning on an item, an afternoon on another, an hour of messages."""
    day = (worked(3.5, job=JOB.number, item=1, started=at(8), stopped=at(12)),
           worked(4.0, job=JOB.number, item=2, started=at(12), stopped=at(16)),
           worked(1.0, unbilled="messages"), worked(1.0, person="Ben", unbilled="sweeping"))
    assert _said(*day) == ([], [])


@pytest.mark.parametrize(("entry", "wanted"), [
    (worked(0), "must be over 0"),
    (worked(-2), "must be over 0"),
    (worked(float("nan")), "must be over 0"),
    (worked(float("inf")), "must be over 0"),
    (worked(30), "30 hours do not fit into a day"),
    (worked(person=" "), "Nobody is named"),
    (worked(day=DAY + timedelta(1)), "still to come"),
    (worked(started=at(8)), "go together"),
    (worked(stopped=at(8)), "go together"),
    (worked(1, started=at(9), stopped=at(8)), "does not run forward"),
    (worked(8, started=at(9), stopped=at(12)), "do not fit into the time"),
    (worked(2, started=at(17), stopped=at(19)), "still to come"),
    (worked(1, started=at(9), stopped=at(10), day=DAY - timedelta(5)), "Put one of the two right"),
    (worked(job="260302-A7"), 'Did you mean "260302-A1"'),
    (worked(job=JOB.number, item=9), "numbered 1 to 3"),
    (worked(job=CLOSED.number, item=1), "none at all"),
    (worked(item=1), "none is named"),
    (worked(unbilled="odering"), 'Did you mean "ordering"'),
    (worked(unbilled=None), "one of the two"),
    (worked(job=JOB.number, item=1, unbilled="ordering"), "one of the two"),
])
def test_what_cannot_be_is_refused(entry, wanted):
    """One fault each, that says what is wrong and how to put it right; nothing is asked."""
    faults, questions = _said(entry)
    assert len(faults) == 1
    assert wanted in faults[0]
    assert questions == []


@pytest.mark.parametrize(("entry", "key"), [
    (worked(job=CLOSED.number, day=date(2026, 2, 3)), "closed-job"),
    (worked(job=JOB.number, item=1, day=DAY - timedelta(3)), "before-job"),
    (worked(day=DAY - timedelta(365)), "long-ago"),
    (worked(person="Anne"), "new-person"),
    (worked(15), "long-day"),
])
def test_what_is_seldom_right_is_asked(entry, key):
    """It may be right: a late entry, a new hand, a night before a fair."""
    assert _said(entry) == ([], [key])


def test_a_new_name_like_a_known_one_says_so():
    """A slip of the finger must not make a second person."""
    _, (question,) = judge([worked(person="Anne")], KNOWN)
    assert 'Did you mean "Anna"?' in question.text


def test_the_first_person_of_all_is_not_asked():
    """Nobody has booked: there is nobody to be mistaken for."""
    faults, questions = judge([worked(person="Zoe")], replace(KNOWN, people=()))
    assert (faults, questions) == ([], [])


@pytest.mark.parametrize(("start", "stop", "key"), [
    (9, 11, ["overlap"]), (7, 9, ["overlap"]), (8, 10, ["overlap"]), (7, 13, ["overlap"]),
    (6, 8, []), (10, 12, []),
])
def test_two_places_at_once_are_asked_about(start, stop, key):
    """Of one person; stretches that only touch do not overlap."""
    before = worked(2, started=at(8), stopped=at(10), id=7)
    entry = worked(0.5, unbilled="messages", started=at(start), stopped=at(stop))
    assert _said(entry, booked=[before])[1] == key
    assert _said(before, entry)[1] == key
    assert _said(replace(entry, person="Ben"), booked=[before])[1] == []


def test_an_overlap_past_midnight_is_seen():
    """Work that began yesterday evening may still run this morning."""
    night = worked(5, day=DAY - timedelta(1), started=at(22, day=DAY - timedelta(1)),
                   stopped=at(3))
    assert _said(worked(2, unbilled="messages", started=at(2), stopped=at(4)),
                 booked=[night])[1] == ["overlap"]


def test_the_same_hours_again_are_asked_about():
    """A time sheet read twice is seen; other hours of that day are not the same."""
    before = worked(2, id=3, note="rubber")
    assert _said(replace(before, id=None), booked=[before])[1] == ["twice"]
    assert _said(worked(2, note="lamps"), booked=[before])[1] == []


def test_a_day_has_24_hours_for_one_person():
    """Entries that are fine by themselves may not be so together."""
    faults, questions = _said(worked(12), worked(11, unbilled="messages"), booked=[worked(2)])
    assert len(faults) == 1
    assert "Anna has 25 hours" in faults[0]
    assert questions == []
    assert _said(worked(12), worked(11, person="Ben"), booked=[worked(2)]) == ([], [])


def test_every_fault_and_question_of_a_sheet_is_told_with_its_row():
    """By row, each once."""
    entries = [worked(-1), worked(2), worked(2, person="Anne"), worked(1, person="Anne"),
               worked(40, job="nowhere")]
    faults, questions = judge(entries, KNOWN, rows=[2, 3, 4, 5, 6], file="march.csv")
    assert [(fault.row, fault.column) for fault in faults] == [
        (2, "hours"), (6, "hours"), (6, "job")]
    assert all(fault.file == "march.csv" for fault in faults)
    assert [(one.row, one.key) for one in questions] == [(4, "new-person")]


def test_a_job_is_found_by_number_or_name():
    """Whatever the case; of several of one name the one that is open."""
    assert job_named(" 260302-a1", [JOB, CLOSED]) is JOB
    assert job_named("comet", [JOB, CLOSED]) is CLOSED
    again = replace(CLOSED, number="260303-C3", state="accepted", closed=None)
    assert job_named("Comet", [CLOSED, again]) is again
    with pytest.raises(BadInput, match="2 jobs are called"):
        job_named("Comet", [again, replace(again, number="260303-C4")])
    with pytest.raises(BadInput, match='Did you mean "Harbour Lights"'):
        job_named("Harbor Lights", [JOB, CLOSED])
    with pytest.raises(BadInput, match="None was accepted so far"):
        job_named("x", [])


def test_an_item_is_found_by_number_or_operation():
    """An operation on several lines needs the number."""
    assert item_named("3", ITEMS) is ITEMS[2]
    assert item_named("Strip", ITEMS) is ITEMS[0]
    with pytest.raises(BadInput, match=r"2 lines.*2 \(Line 2\), 3 \(Line 3\)"):
        item_named("flipper rebuild", ITEMS)
    with pytest.raises(BadInput, match='Did you mean "strip"'):
        item_named("stripp", ITEMS)
    with pytest.raises(BadInput, match="numbered 1 to 3"):
        item_named("4", ITEMS)
    with pytest.raises(BadInput, match="none at all"):
        item_named("strip", ())


def test_unbilled_time_is_found_as_people_write_it():
    """Case and blanks do not count."""
    assert unbilled_named("Hunting Parts", ["hunting-parts"]) == "hunting-parts"
    with pytest.raises(BadInput, match="no kind of unbilled time"):
        unbilled_named("sleeping", UNBILLED)


def test_a_clock_is_forgotten_after_half_a_day():
    """A long evening is not; the next morning is."""
    clock = Clock("Anna", at(8))
    assert not rules.forgotten(clock, at(8) + timedelta(hours=11.9))
    assert rules.forgotten(clock, at(8) + timedelta(hours=12.1))


@given(hours=st.floats(allow_nan=True), days=st.integers(-400, 400),
       start=st.none() | st.integers(0, 23), stop=st.none() | st.integers(0, 23),
       item=st.none() | st.integers(-1, 5), unbilled=st.none() | st.sampled_from(UNBILLED))
def test_no_entry_upsets_the_rules(hours, days, start, stop, item, unbilled):
    """Whatever is typed, there is an answer; and what is let through is a stretch of one day."""
    entry = worked(hours, day=DAY + timedelta(days), job=JOB.number, item=item, unbilled=unbilled,
                   started=None if start is None else at(start),
                   stopped=None if stop is None else at(stop))
    faults, _ = judge([entry], KNOWN)
    if not faults:
        assert 0 < hours <= 24
        assert days <= 0
        assert (item is None) != (unbilled is None)
