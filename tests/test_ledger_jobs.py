"""Jobs, hours, clocks, purchases, outwork and sales; entries are corrected, never changed."""

import threading
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import ledgers
import pytest
from ledgers import DAY, NOW, UNBILLED, at, with_job, worked
from sqlalchemy import insert
from sqlalchemy.exc import DatabaseError

from estimator import jobs
from estimator.catalogue import LEVELS
from estimator.errors import BadInput
from estimator.ledger import (
    Clock,
    Frozen,
    Item,
    Job,
    Ledger,
    Outwork,
    Purchase,
    Revision,
    Sale,
    TimeEntry,
    Unsure,
    schema,
)
from estimator.quote import Choices, quote
from estimator.shop import new_shop, open_shop
from estimator.survey import read

PARTS = Purchase(day=DAY, supplier="Oakbench Parts", what="Rubber kit", quantity=2, unit="kit",
                 amount=Decimal("46.10"), currency="USD", part="rubber-kit")
LOT = Outwork(day=DAY, service="powder-coat-small", what="Brackets", event="sent", quantity=5,
              unit="piece", currency="USD")
SALE = Sale(day=DAY, what="The machine", amount=Decimal("4180.00"), fees=Decimal("209.00"),
            currency="USD")


@pytest.fixture(params=ledgers.KINDS)
def bench(request, tmp_path):
    """A database of its own to open ledgers on."""
    with ledgers.bench(request.param, tmp_path) as found:
        yield found


@pytest.fixture
def ledger(bench):
    """A ledger on it."""
    return bench.ledger()


@pytest.fixture
def job(ledger):
    """A job of three work items."""
    return with_job(ledger)


def _book(ledger, *entries, **said):
    return ledger.book(entries, unbilled=UNBILLED, now=NOW, **said)


# --- jobs ----------------------------------------------------------------------------------------


def test_looking_at_jobs_makes_no_file(tmp_path):
    """A ledger without one has none, and stays away."""
    ledger = Ledger(tmp_path)
    assert ledger.jobs() == ledger.clocks() == ledger.items("x") == ()
    assert ledger.entries(TimeEntry) == ()
    assert not ledger.path.exists()


def test_a_job_comes_back_with_its_items(ledger, job, bench):
    """As it was accepted, for another ledger too; its quote is won."""
    other = bench.ledger()
    assert other.jobs() == (job,)
    assert [item.item for item in other.items(job.number)] == [1, 2, 3]
    assert other.items(job.number)[1] == Item(
        job.number, 2, job.number, 2, "Line 2", "flipper", "flipper-rebuild", "Flipper rebuild",
        "rebuild", "bench", 0.5, 0.75, 1.5, 0.1, 1.1)
    assert other.sent()[0].outcome == "won"
    assert other.job("harbour lights") == job


def test_a_quote_becomes_a_job_once(ledger, job):
    """Accepting it again says where it is; a quote that is a job stays won."""
    with pytest.raises(BadInput, match=r"is a job already.*job show"):
        ledger.accept(job, ())
    for outcome in ("lost", "open"):
        with pytest.raises(BadInput, match="is a job"):
            ledger.decide(job.number, outcome)
    assert ledger.decide(job.number, "won").outcome == "won"


def test_a_job_needs_a_quote(ledger, job):
    """A number that no quote has is refused by the links of the database; nothing is kept."""
    with pytest.raises(BadInput):
        ledger.accept(Job("none", "x", DAY), ())
    assert ledger.jobs() == (job,)


def test_a_job_s_state_is_said_in_the_words_of_the_trade(ledger, job):
    """Closing dates it; another state opens it again; an unknown one names the nearest."""
    assert ledger.set_state("harbour lights", "waiting").state == "waiting"
    closed = ledger.set_state(job.number, "closed", DAY)
    assert ledger.jobs() == (closed,)
    assert closed.closed == DAY
    assert ledger.set_state(job.number, "on the bench").closed is None
    with pytest.raises(BadInput, match='Did you mean "waiting"'):
        ledger.set_state(job.number, "waitin")
    with pytest.raises(BadInput, match="no job"):
        ledger.set_state("Comet", "waiting")
    assert ledger.promise(job.number, DAY).promised == DAY
    with pytest.raises(BadInput, match="cannot be promised for"):
        ledger.promise(job.number, job.accepted - timedelta(1))
    assert ledger.jobs()[0].promised == DAY


@pytest.mark.parametrize("level", LEVELS[1:])
def test_an_accepted_quote_brings_its_work_items(tmp_path, demo_survey_path, level):
    """At every level: one for each of the estimate's, and their expected hours add up to it."""
    shop = open_shop(new_shop(tmp_path / "shop"))
    survey = read(demo_survey_path, shop.catalogue, final=True)
    offer = quote(survey, Choices(level, trials=200, on=DAY), shop, compare=False)
    ledger = Ledger(shop.folder)
    jobs.keep(ledger, offer, shop)
    job = jobs.accept(ledger, offer.number, on=DAY, promised=DAY + timedelta(9))
    items = ledger.items(job.number)
    assert [(item.line - 1, item.name) for item in items] == [
        (item.line, item.work.operation.name) for item in offer.job.items]
    assert sum(item.expected for item in items) == pytest.approx(offer.job.hours)
    assert all(item.low <= item.typical <= item.high for item in items)
    assert job.name.startswith(survey.machine.title)
    assert ledger.sent()[0].outcome == "won"
    ledger.close()


def test_a_job_is_not_promised_for_a_day_before_it_was_accepted(tmp_path):
    """That day is a slip."""
    with pytest.raises(BadInput, match="before it was accepted"):
        jobs.accept(Ledger(tmp_path), "x", on=DAY, promised=DAY - timedelta(1))


def test_where_a_job_stands_and_its_promise_are_kept_together_or_not_at_all(ledger, job):
    """A day before it was accepted, or closing it on the side, leaves both as they were."""
    before = ledger.job(job.number)
    for state, promised, said in (("waiting", before.accepted - timedelta(1), "cannot be promised"),
                                  ("closed", None, "not what an open job can be"),
                                  ("lost", None, "not what an open job can be")):
        with pytest.raises(BadInput, match=said):
            ledger.set_state_and_promise(job.number, state, promised)
        assert ledger.job(job.number) == before
    kept = ledger.set_state_and_promise(job.number, "waiting", DAY + timedelta(9))
    assert (kept.state, kept.promised) == ("waiting", DAY + timedelta(9))
    assert ledger.set_state_and_promise(job.number, "waiting", None).promised is None


# --- entries -------------------------------------------------------------------------------------


def test_hours_come_back_as_they_were_booked(ledger, job, bench):
    """Every word of them, the moments in UTC, in the order of the days."""
    timed = worked(1.75, job=job.number, item=2, started=at(8), stopped=at(10), note="left one")
    first = worked(day=DAY - timedelta(1))
    kept = _book(ledger, timed, first)
    assert bench.ledger().entries(TimeEntry) == (kept[1], kept[0])
    assert kept[0] == replace(timed, id=kept[0].id, booked=NOW)
    assert bench.ledger().entries(TimeEntry, job=job.number) == (kept[0],)
    assert bench.ledger().entries(TimeEntry, until=DAY - timedelta(1)) == (kept[1],)
    assert bench.ledger().entries(TimeEntry, since=DAY) == (kept[0],)


def test_one_bad_entry_keeps_the_others_out(ledger, job):
    """All of them, or none; every fault is told."""
    with pytest.raises(BadInput) as caught:
        _book(ledger, worked(), worked(-1), worked(job="nowhere"))
    assert len(caught.value.faults) == 2
    assert ledger.entries(TimeEntry) == ()


def test_what_is_asked_is_booked_once_it_was_confirmed(ledger, job):
    """Nothing is lost by asking, and a yes to one question is none to another."""
    with pytest.raises(Unsure) as caught:
        _book(ledger, worked(16))
    assert [one.key for one in caught.value.questions] == ["long-day"]
    assert "--sure long-day" in str(caught.value)
    assert ledger.entries(TimeEntry) == ()
    with pytest.raises(Unsure):
        _book(ledger, worked(16), sure=["overlap"])
    assert len(_book(ledger, worked(16), sure=["long-day"])) == 1


def test_of_many_windows_that_book_the_same_hours_one_is_not_asked(ledger, job, bench):
    """The look at what is booked and the booking are one step."""
    gate, outcomes = threading.Barrier(6), []

    def book():
        mine = bench.ledger()
        mine.jobs()
        gate.wait()
        try:
            outcomes.append(len(_book(mine, worked())))
        except Unsure as error:
            outcomes.append(error.questions[0].key)

    threads = [threading.Thread(target=book) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(map(str, outcomes)) == ["1", *["twice"] * 5]
    assert len(ledger.entries(TimeEntry)) == 1


def test_a_name_is_written_as_before(ledger, job):
    """anna is Anna, and is not asked about."""
    _book(ledger, worked())
    assert _book(ledger, worked(1, person=" anna "))[0].person == "Anna"


def test_an_entry_is_corrected_by_a_counter_entry(ledger, job, bench):
    """The wrong one stays, taken back with a word why; the right one stands in its place."""
    (wrong,) = _book(ledger, worked(20, job=job.number, item=1), sure=["long-day"])
    back, right = ledger.correct(TimeEntry, wrong.id, "a slip: 2, not 20",
                                 replace(wrong, hours=2.0), unbilled=UNBILLED, now=NOW)
    assert (back.reverses, back.hours, back.why) == (wrong.id, -20, "a slip: 2, not 20")
    assert (right.replaces, right.hours) == (wrong.id, 2)
    other = bench.ledger()
    assert other.entries(TimeEntry) == (right,)
    history = other.entries(TimeEntry, history=True)
    assert history == (wrong, back, right)
    assert sum(one.hours for one in history) == sum(one.hours for one in other.entries(TimeEntry))


def test_whoever_corrects_their_only_entry_has_booked_before(ledger, job):
    """It is taken back when the right one is looked at; another name is asked for all the same."""
    _book(ledger, worked())
    (wrong,) = _book(ledger, worked(person="Ben"), sure=["new-person"])
    with pytest.raises(Unsure, match="Zoe has not booked before"):
        ledger.correct(TimeEntry, wrong.id, "a slip", replace(wrong, person="Zoe"),
                       unbilled=UNBILLED, now=NOW)
    _, right = ledger.correct(TimeEntry, wrong.id, "a slip", replace(wrong, hours=1.0),
                              unbilled=UNBILLED, now=NOW)
    assert (right.person, right.hours) == ("Ben", 1)


def test_an_entry_is_taken_back_without_another(ledger, job):
    """It counts no more; once, and not its counter-entry."""
    (wrong,) = _book(ledger, worked())
    (back,) = ledger.correct(TimeEntry, wrong.id, "was Ben", now=NOW)
    assert ledger.entries(TimeEntry) == ()
    for id, words in ((wrong.id, "taken back already: was Ben"), (back.id, "is a counter-entry"),
                      (99, "no entry 99")):
        with pytest.raises(BadInput, match=words):
            ledger.correct(TimeEntry, id, "again", now=NOW)
    with pytest.raises(BadInput, match="does not say why"):
        ledger.correct(TimeEntry, wrong.id, " ", now=NOW)


def test_a_correction_that_is_wrong_leaves_the_entry_in_force(ledger, job):
    """The counter-entry and the one in its place are one step."""
    (entry,) = _book(ledger, worked())
    with pytest.raises(BadInput, match="must be over 0"):
        ledger.correct(TimeEntry, entry.id, "x", replace(entry, hours=-1.0), unbilled=UNBILLED,
                       now=NOW)
    assert ledger.entries(TimeEntry, history=True) == (entry,)


def test_a_corrected_entry_may_be_corrected_again(ledger, job):
    """The chain of replacements can be walked back to the first."""
    (first,) = _book(ledger, worked())
    _, second = ledger.correct(TimeEntry, first.id, "a", replace(first, hours=3.0),
                               unbilled=UNBILLED, now=NOW)
    _, third = ledger.correct(TimeEntry, second.id, "b", replace(second, hours=4.0),
                              unbilled=UNBILLED, now=NOW)
    assert third.replaces == second.id
    assert second.replaces == first.id
    assert ledger.entries(TimeEntry) == (third,)


@pytest.mark.parametrize("change", ["DELETE FROM {}", "UPDATE {} SET note = 'x'"])
def test_the_database_itself_refuses_to_change_an_entry(ledger, job, change):
    """Neither this program nor another one rewrites what was booked."""
    _book(ledger, worked())
    ledger.add(PARTS, now=NOW)
    ledger.add(LOT, now=NOW)
    ledger.add(SALE, now=NOW)
    for table in ("time_entries", "purchases", "outwork", "sales"):
        with ledger._engine.connect() as connection, \
                pytest.raises(DatabaseError, match="never changed; add a counter-entry"):
            connection.exec_driver_sql(change.format(table))


@pytest.mark.parametrize("values", [
    "'Anna', 30, 'ordering', NULL", "'Anna', 0, 'ordering', NULL", "'Anna', -2, 'ordering', NULL",
    "'Anna', 2, 'ordering', 1", "'Anna', 2, NULL, NULL",
])
def test_the_database_itself_refuses_hours_that_cannot_be(ledger, job, values):
    """Also where another program writes: 30 hours, none, negative ones, two places, no place."""
    with ledger._engine.connect() as connection, pytest.raises(DatabaseError):
        connection.exec_driver_sql(
            "INSERT INTO time_entries (booked, day, job, note, why, person, hours, unbilled, item)"
            f" VALUES ('x', '2026-03-04', '{job.number}', '', '', {values})")


def test_amounts_come_back_to_the_last_digit(ledger, job, bench):
    """Purchases, outwork and sales, for a job and for the shop."""
    parts = ledger.add(replace(PARTS, job=job.number), now=NOW)
    sale = ledger.add(SALE, now=NOW)
    other = bench.ledger()
    assert other.entries(Purchase) == (parts,)
    assert str(other.entries(Purchase)[0].amount) == "46.10"
    assert other.entries(Purchase, job=job.number) == (parts,)
    assert other.entries(Sale) == (sale,)


def test_hours_worked_on_items_are_what_the_records_say(ledger, job):
    """By job, item and person; without what was taken back, is of no item, or was dropped."""
    numbers = [job.number, with_job(ledger, "260302-B2", "Salt Wind").number]
    kept = _book(ledger, *(
        worked(hours, job=number, item=item, person=person) for number in numbers
        for hours, item, person in ((0.1, 1, "Zoë"), (0.2, 1, "Zoë"), (0.3, 1, "anna"),
                                    (0.7, 2, "Zoë"), (0.4, 3, "Ben"))),
        worked(0.5, job=job.number), sure=("new-person", "twice", "long-day"))
    assert len(ledger.worked(numbers)) == 8
    ledger.correct(TimeEntry, kept[1].id, "a slip", replace(kept[1], hours=1.5),
                   unbilled=UNBILLED, sure=("twice",), now=NOW)
    ledger.correct(TimeEntry, kept[3].id, "not hers", now=NOW)
    ledger.offer(replace(ledger.sent()[0], number="R1", outcome="open"),
                 Frozen("R1", "0.1", {}, {}, {}, "{}", {}, job.number),
                 Revision("R1", job.number, job.number, DAY, None, []))
    with ledger._writing() as connection:  # with hours on it, which `agree` would refuse
        connection.execute(insert(schema.tables().dropped_items).values(
            job=job.number, item=3, revision="R1"))
    hours: dict = {}
    for one in ledger.entries(TimeEntry, jobs=numbers):
        key = one.job, one.item, one.person
        hours[key] = hours.get(key, 0.0) + one.hours
    wanted = {(item.job, item.item, person): (item.quote, item.operation, item.expected, of_item)
              for items in ledger.items_of(numbers).values() for item in items
              for (number, place, person), of_item in hours.items()
              if (number, place) == (item.job, item.item)}
    found = ledger.worked(numbers)
    assert {(one.job, one.item, one.person): (*one[2:5], pytest.approx(one.hours))
            for one in found} == wanted
    assert len(found) == len(wanted) == 6
    assert [(one.job, one.item) for one in found] == sorted((one.job, one.item) for one in found)
    assert ledger.worked([]) == () == Ledger(ledger.path.parent / "none").worked(numbers)


def test_a_purchase_is_corrected_like_hours(ledger, job):
    """Quantity and amount turn their sign; the sum is what is in force."""
    wrong = ledger.add(PARTS, now=NOW)
    back, right = ledger.correct(Purchase, wrong.id, "one kit only",
                                 replace(PARTS, quantity=1, amount=Decimal("23.05")), now=NOW)
    assert (back.quantity, back.amount) == (-2, Decimal("-46.10"))
    assert ledger.entries(Purchase) == (right,)


@pytest.mark.parametrize("entry", [PARTS, LOT, SALE], ids=["purchase", "outwork", "sale"])
def test_the_same_amount_twice_on_a_day_is_asked_about(ledger, job, entry):
    """A button pressed twice books once; with a yes, or in another word or figure, it is booked."""
    first = ledger.add(entry, now=NOW)
    with pytest.raises(Unsure, match=f"already, with the same figures .entry {first.id}") as found:
        ledger.add(entry, now=NOW)
    assert [one.key for one in found.value.questions] == ["twice"]
    assert ledger.entries(type(entry)) == (first,)
    for other in (replace(entry, note="the second parcel"), replace(entry, job=job.number),
                  replace(entry, amount=entry.amount + 1),
                  replace(entry, day=entry.day - timedelta(1))):
        ledger.add(other, now=NOW)
    ledger.add(entry, sure=["twice"], now=NOW)
    assert len(ledger.entries(type(entry))) == 6


def test_what_was_taken_back_may_be_booked_again(ledger):
    """Only what is in force counts; what takes an entry's place may be the same."""
    first = ledger.add(PARTS, now=NOW)
    _, second = ledger.correct(Purchase, first.id, "the wrong pile", PARTS, now=NOW)
    ledger.correct(Purchase, second.id, "not at all", now=NOW)
    assert ledger.add(PARTS, now=NOW) in ledger.entries(Purchase)


def test_outwork_comes_back_in_parts_and_no_more_than_went_out(ledger, job):
    """Five go, three come, two are out; a correction of the sending counts too."""
    lot = ledger.add(replace(LOT, job=job.number), now=NOW)
    back = replace(LOT, event="back", of=lot.id, quantity=3, amount=Decimal("90.00"))
    ledger.add(back, now=NOW)
    with pytest.raises(BadInput, match="2 piece are still out, and 3 would come back"):
        ledger.add(back, now=NOW)
    with pytest.raises(BadInput, match="Nothing was sent out by entry 99"):
        ledger.add(replace(back, of=99), now=NOW)
    with pytest.raises(BadInput, match="Outwork is sent"):
        ledger.add(replace(back, of=None), now=NOW)
    assert len(ledger.entries(Outwork)) == 2


@pytest.mark.parametrize(("entry", "wanted"), [
    (replace(PARTS, amount=Decimal("-1")), "0 or more"),
    (replace(PARTS, amount=Decimal("NaN")), "0 or more"),
    (replace(PARTS, quantity=0), "must be over 0"),
    (replace(PARTS, what=" "), "what it is for"),
    (replace(PARTS, day=DAY + timedelta(1)), "still to come"),
    (replace(PARTS, job="nowhere"), "no job"),
    (replace(SALE, fees=Decimal("-1")), "The fees"),
])
def test_amounts_that_cannot_be_are_refused(tmp_path, entry, wanted):
    """With what is wrong, and nothing is kept."""
    ledger = Ledger(tmp_path)
    with pytest.raises(BadInput, match=wanted):
        ledger.add(entry, now=NOW)
    assert ledger.entries(type(entry)) == ()
    ledger.close()


# --- clocks --------------------------------------------------------------------------------------


def _start(ledger, clock, now, **said):
    return ledger.start(clock, unbilled=UNBILLED, now=now, **said)


def test_a_clock_runs_on_when_the_program_ends(ledger, job, bench):
    """Another process stops it; the time between is booked."""
    _start(ledger, Clock("Anna", at(8), job.number, 2, note="seized clamp"), at(8))
    ledger.close()
    other = bench.ledger()
    assert [clock.person for clock in other.clocks()] == ["Anna"]
    entry = other.stop("anna", unbilled=UNBILLED, now=at(9, 30), note="done")
    assert (entry.hours, entry.job, entry.item, entry.day) == (1.5, job.number, 2, DAY)
    assert (entry.started, entry.stopped, entry.note) == (at(8), at(9, 30), "seized clamp; done")
    assert other.clocks() == ()
    assert other.entries(TimeEntry) == (entry,)


def test_a_clock_that_was_forgotten_is_asked_about(ledger, job):
    """The next morning: when did it end? Nothing is booked until somebody says."""
    _start(ledger, Clock("Anna", at(8), unbilled="ordering"), at(8))
    morning = at(8) + timedelta(hours=24)
    for again in (lambda: ledger.stop(unbilled=UNBILLED, now=morning),
                  lambda: _start(ledger, Clock("Anna", morning, unbilled="messages"), morning,
                                 sure=["switch"])):
        with pytest.raises(BadInput, match=r"24\.0 hours.*Was it forgotten\?.*--at"):
            again()
    assert ledger.entries(TimeEntry) == ()
    entry = ledger.stop(unbilled=UNBILLED, at=at(12), now=morning)
    assert (entry.hours, entry.day) == (4, DAY)


def test_the_hours_of_a_clock_may_be_said(ledger, job):
    """Three hours of the nine that it ran; more than it ran is refused, and it runs on."""
    _start(ledger, Clock("Anna", at(8), unbilled="ordering"), at(8))
    with pytest.raises(BadInput, match="do not fit"):
        ledger.stop(unbilled=UNBILLED, hours=10, now=at(17))
    assert len(ledger.clocks()) == 1
    assert ledger.stop(unbilled=UNBILLED, hours=3, now=at(17)).hours == 3


def test_a_clock_that_runs_already_is_switched_once_confirmed(ledger, job):
    """The first is stopped and booked, the second starts, in one step."""
    _start(ledger, Clock("Anna", at(8), job.number, 1), at(8))
    second = Clock("Anna", at(10), unbilled="messages")
    with pytest.raises(Unsure) as caught:
        _start(ledger, second, at(10))
    assert [one.key for one in caught.value.questions] == ["switch"]
    assert ledger.entries(TimeEntry) == ()
    _start(ledger, second, at(10), sure=["switch"])
    assert [entry.hours for entry in ledger.entries(TimeEntry)] == [2]
    assert ledger.clocks() == (second,)


def test_two_people_s_clocks_run_side_by_side(ledger, job):
    """Whose is meant must be said while both run; a name like it is offered."""
    _start(ledger, Clock("Anna", at(8), job.number, 1), at(8))
    _start(ledger, Clock("Ben", at(9), job.number, 1), at(9), sure=["new-person"])
    with pytest.raises(BadInput, match=r"2 clocks run.*Anna, Ben"):
        ledger.stop(unbilled=UNBILLED, now=at(10))
    with pytest.raises(BadInput, match=r'No clock runs for Benn.*Did you mean "Ben"'):
        ledger.stop("Benn", unbilled=UNBILLED, now=at(10))
    assert ledger.stop("Ben", unbilled=UNBILLED, now=at(10)).hours == 1


def test_a_clock_is_let_go_without_booking(ledger, job):
    """It was started by mistake."""
    _start(ledger, Clock("Anna", at(8), job.number, 1), at(8))
    assert ledger.drop().person == "Anna"
    assert ledger.clocks() == ()
    with pytest.raises(BadInput, match="No clock runs"):
        ledger.drop()
    assert ledger.entries(TimeEntry) == ()


@pytest.mark.parametrize(("clock", "wanted"), [
    (Clock("Anna", at(8), "nowhere", 1), "no job"),
    (Clock("Anna", at(8), None, 1), "Name the job"),
    (Clock("Anna", at(8), unbilled="sleeping"), "no kind"),
    (Clock(" ", at(8), unbilled="ordering"), "Nobody"),
    (Clock("Anna", at(20), unbilled="ordering"), "still to come"),
])
def test_a_clock_starts_only_on_what_can_be_booked(ledger, job, clock, wanted):
    """Better told at the start than at the end of the day."""
    with pytest.raises(BadInput, match=wanted):
        _start(ledger, clock, at(9))
    assert ledger.clocks() == ()


def test_a_job_on_which_a_clock_runs_is_not_closed(ledger, job):
    """Its hours would be missing."""
    _start(ledger, Clock("Anna", at(8), job.number, 1), at(8))
    with pytest.raises(BadInput, match=r"clock still runs.*Anna"):
        ledger.set_state(job.number, "closed")
    assert ledger.jobs()[0].state == "accepted"


def test_a_day_of_any_year_is_read_as_it_was_written(ledger, job):
    """Also the year 1, which some platforms write with one digit, and so do older ledgers."""
    first = date(1, 1, 1)
    with ledger._writing() as connection:
        connection.execute(schema.tables().jobs.update().values(promised=first))
    assert ledger.jobs()[0].promised == first
    day = schema.tables().jobs.c.promised.type
    assert day.result_processor(None, None)("1-01-01") == first
