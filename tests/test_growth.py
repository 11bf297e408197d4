"""A shop of years: what is done with one job does not take longer for all the jobs before it."""

import csv
import functools
import io
import json
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from ledgers import DAY, NOW, UNBILLED, with_job, worked

from estimator import review
from estimator.jobs import book_sheet
from estimator.ledger import (
    Draft,
    Frozen,
    Ledger,
    Outwork,
    Purchase,
    Revision,
    Sale,
    Sent,
    TimeEntry,
)
from estimator.ledger.plain import parsed
from estimator.outside import spreadsheet_pieces
from estimator.pages import bench_form, looking_over, showing
from estimator.pages.quote_page import QuotePage
from estimator.pages.review_page import ReviewPage
from estimator.pages.workshop import LATEST_CLOSED
from estimator.review import proposals
from estimator.shop import new_shop, open_shop
from estimator.simulate import Stopped

SURE = ("new-person", "long-ago", "before-job", "closed-job", "twice", "long-day")
FEW, MANY = 4, 9
ENTRIES = ("time_entries", "purchases", "outwork", "sales", "done_marks")
GROWING = (*ENTRIES, "items", "jobs", "sent", "frozen", "revisions", "dropped_items", "drafts")


def filled(folder, jobs):
    """A ledger with one open job and so many closed ones, hours and amounts on each."""
    ledger = Ledger(folder)
    for n in range(jobs + 1):
        job = with_job(ledger, f"260302-{n:03}", f"Harbour {n}")
        entries = ledger.book(
            [worked(item=item, job=job.number, person=f"Anna {n}") for item in (1, 2, 3)]
            + [worked(job=job.number, person="Ben", hours=0.25)],
            unbilled=UNBILLED, sure=SURE, now=NOW)
        ledger.correct(TimeEntry, entries[0].id, "a slip", replace(entries[0], hours=1.5),
                       unbilled=UNBILLED, sure=SURE, now=NOW)
        said = {"day": DAY, "job": job.number, "what": "Legs", "currency": "USD"}
        ledger.add(Purchase(**said, supplier="", quantity=1, unit="piece", amount=Decimal(3)),
                   now=NOW)
        lot = ledger.add(Outwork(**said, service="chrome", event="sent", quantity=4, unit="piece",
                                 amount=Decimal(0)), now=NOW)
        ledger.add(replace(lot, event="back", of=lot.id, quantity=2.0 if n % 2 else 4.0,
                           id=None), now=NOW)
        ledger.add(Sale(**said, amount=Decimal(900), fees=Decimal(0)), now=NOW)
        ledger.save(Draft(f"{n:010x}", f"Harbour {n}", {}))
        if n:
            ledger.set_state(job.number, "closed", DAY + timedelta(1))
    return ledger


@pytest.fixture
def of_size(tmp_path):
    """Makes shops of a size, each with its ledger; closed at the end."""
    made = []

    def another(jobs):
        folder = new_shop(tmp_path / f"shop-{jobs}")
        made.append(filled(folder, jobs))
        return made[-1]

    yield another
    for ledger in made:
        ledger.close()


class Heard:
    """What is said to a database while it is open: statements, and how each would be read."""

    def __init__(self, ledger):
        self.ledger, self.said = ledger, []

    def __enter__(self):
        from sqlalchemy import event
        event.listen(self.ledger._engine, "before_cursor_execute", self._hear)
        return self

    def __exit__(self, *_):
        from sqlalchemy import event
        event.remove(self.ledger._engine, "before_cursor_execute", self._hear)

    def _hear(self, _connection, _cursor, statement, given, _context, _many):
        self.said.append((statement, given))

    def read_whole(self):
        """Tables and what they were read for, where that was not by an index of what was asked.

        What ends with the first rows is not read whole.
        """
        found = []
        with self.ledger._engine.connect() as connection:
            for statement, given in self.said:
                if not statement.lstrip().startswith(("SELECT", "WITH")) or "LIMIT" in statement:
                    continue
                for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", given):
                    words = row[3].split()
                    if (words[:1] == ["SCAN"] and words[1] in GROWING) or (
                            words[:1] == ["SEARCH"] and words[1] in GROWING
                            and row[3].endswith("(reverses=?)")):
                        found.append((row[3], statement))
        return found


def on_one_job(ledger, sheet):
    """What a person does with a job in a day."""
    number = "260302-000"
    ledger.job(number)
    ledger.items(number)
    ledger.entries(TimeEntry, job=number)
    ledger.hours_on_items(number)
    ledger.last_booked(TimeEntry, 5)
    ledger.last_booked(Purchase, 5, job=number)
    ledger.counted(job=number)
    ledger.cap_use(number)
    ledger.holds(number)
    ledger.revisions(number)
    ledger.drafts(most=5)
    ledger.still_out()
    (entry,) = ledger.book([worked(item=1, job=number)], unbilled=UNBILLED, sure=SURE, now=NOW)
    ledger.correct(TimeEntry, entry.id, "a slip", unbilled=UNBILLED, sure=SURE, now=NOW)
    ledger.add(Purchase(day=DAY, job=number, what="Levelers", currency="USD", supplier="",
                        quantity=1, unit="piece", amount=Decimal(3)), now=NOW)
    ledger.mark_done(number, [2], DAY, now=NOW)
    ledger.not_done(number, [2], "not yet", now=NOW)
    ledger.set_state(number, "waiting")
    book_sheet(ledger, sheet, unbilled=UNBILLED, sure=SURE, now=NOW)


def test_a_days_work_on_a_job_reads_no_table_from_end_to_end(of_size, tmp_path):
    """Every row is found by an index of what was asked for, and as many statements find it."""
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(f"person,day,hours,job,item\nAnna,{DAY},1,Harbour 0,3\n", encoding="utf-8")
    counts = set()
    for jobs in (FEW, MANY):
        ledger = of_size(jobs)
        with Heard(ledger) as heard:
            on_one_job(ledger, sheet)
        counts.add(len(heard.said))
        # In a time sheet jobs may be named, so that all names are looked through; and what is out
        # is found among all that was sent.
        assert {what for what, _ in heard.read_whole()} <= {"SCAN jobs", "SCAN outwork"}
    assert len(counts) == 1


@pytest.mark.parametrize("look", [
    lambda ledger, shop: (ledger.jobs(), ledger.hours_expected(), ledger.hours_of_jobs()),
    lambda ledger, shop: review.of_shop(ledger, shop, on=DAY),
    lambda ledger, shop: review.of_job(ledger, "260302-000", shop, on=DAY),
    lambda ledger, shop: review.experience_of(ledger, shop.catalogue),
    lambda ledger, shop: proposals.proposals(ledger, shop),
    lambda ledger, shop: bench_form.candidates(ledger, ledger.drafts(most=20)),
])
def test_looking_at_all_jobs_takes_as_many_statements_for_few_as_for_many(of_size, look):
    """Nothing is asked of the database once for each job."""
    counts = set()
    for jobs in (FEW, MANY):
        ledger = of_size(jobs)
        shop = open_shop(ledger.folder)
        with Heard(ledger) as heard:
            look(ledger, shop)
        counts.add(len(heard.said))
    assert len(counts) == 1


def test_parts_of_the_page_take_as_many_statements_for_few_jobs_as_for_many(of_size):
    """Opening the page, its parts, another job, and booking an hour."""
    counts = set()
    for jobs in (FEW, MANY):
        folder = of_size(jobs).folder
        page = ReviewPage(folder, open_shop(folder))
        with Heard(page.workshop.ledger) as heard:
            page._there()
            for part in ("jobs", "time", "amounts", "job"):
                page._go(part)
            page.workshop.choose(f"260302-{jobs:03}")
            page._go("time")
            form = page.parts["time"].hours
            form.act("book", form.values | {"person": "Ben", "hours": "1", "work": "item:1",
                                            "day": DAY.isoformat()}, SURE)
            assert "booked" in form.status
        page.workshop.ledger.close()
        counts.add(len(heard.said))
    assert len(counts) == 1


# --- what is put together is what stands entry by entry ----------------------------------------


def test_sums_of_the_database_are_those_of_the_entries(of_size):
    """By job, by item, by person, of all: taken back and in force."""
    ledger = of_size(FEW)
    entries = ledger.entries(TimeEntry)
    alike = {}
    for one in entries:
        key = one.job, one.item, one.person, one.unbilled
        alike[key] = alike.get(key, 0.0) + one.hours
    assert {(one.job, one.item, one.person, one.unbilled): one.hours
            for one in ledger.together()} == pytest.approx(alike)
    assert ledger.counted() == (len(entries), pytest.approx(sum(one.hours for one in entries)))
    assert ledger.counted(history=True)[0] == len(ledger.entries(TimeEntry, history=True))
    for number, hours in ledger.hours_of_jobs().items():
        mine = [one for one in entries if one.job == number]
        assert hours == pytest.approx(sum(one.hours for one in mine))
        assert ledger.counted(job=number)[0] == len(mine)
        on_items = {}
        for one in mine:
            if one.item is not None:
                on_items[one.item] = on_items.get(one.item, 0.0) + one.hours
        assert ledger.hours_on_items(number) == pytest.approx(on_items)
    assert ledger.people() == tuple(sorted({one.person for one in entries}))
    assert {one.id for one in ledger.last_booked(TimeEntry, 7)} == set(
        sorted(one.id for one in entries)[-7:])
    assert ledger.hours_expected() == pytest.approx({
        job.number: sum(item.expected for item in ledger.items(job.number))
        for job in ledger.jobs()})


def test_whose_hours_were_all_taken_back_is_gone(of_size):
    """From the people, from the sums, and from what is put together."""
    ledger = of_size(FEW)
    (entry,) = ledger.book([worked(person="Zoë")], unbilled=UNBILLED, sure=SURE, now=NOW)
    assert "Zoë" in ledger.people()
    ledger.correct(TimeEntry, entry.id, "somebody else's", now=NOW)
    assert "Zoë" not in ledger.people()
    assert "Zoë" not in {one.person for one in ledger.together()}
    assert ledger.entry(TimeEntry, entry.id) is None


def test_lots_that_are_away_are_those_with_pieces_still_out(of_size):
    """What came back is taken off, and what of it was taken back is out again."""
    ledger = of_size(FEW)
    assert [(lot.job, left) for lot, left in ledger.still_out()] == [
        ("260302-001", 2), ("260302-003", 2)]
    back = next(one for one in ledger.entries(Outwork) if one.event == "back"
                and one.job == "260302-000")
    ledger.correct(Outwork, back.id, "not these", now=NOW)
    assert ("260302-000", 4) in [(lot.job, left) for lot, left in ledger.still_out()]


def test_quotes_that_can_become_jobs_are_no_jobs_not_lost_and_no_revisions(of_size):
    """The newest first, and so many at most."""
    ledger = of_size(FEW)
    (one, *_) = ledger.sent()
    for number, day in (("A", 1), ("B", 2), ("C", 3), ("D", 4)):
        ledger.record(replace(one, number=number, outcome="open", sent=date(2026, 3, day)))
    ledger.decide("B", "lost")
    ledger.offer(replace(one, number="R", outcome="open"), Frozen("R", "1", {}, {}, {}, "{}", {}),
                 Revision(number="R", job="260302-000", of="260302-000", offered=DAY, ready=None,
                          changes=()))
    assert [one.number for one in ledger.can_become_jobs(9)] == ["D", "C", "A"]
    assert [one.number for one in ledger.can_become_jobs(1)] == ["D"]


# --- a review that takes long --------------------------------------------------------------------


def test_a_review_of_the_shop_says_how_far_it_is_and_can_be_stopped(of_size, monkeypatch):
    """From nothing to all; as soon as it is told to, nothing more is read."""
    monkeypatch.setattr("estimator.review.looking._AT_ONCE", 2)
    ledger = of_size(FEW)
    shop = open_shop(ledger.folder)
    told = []
    whole = review.of_shop(ledger, shop, on=DAY, progress=lambda share: not told.append(share))
    assert told == [0, 0.5, 1]
    assert len(whole.jobs) == FEW
    assert whole.jobs == review.of_shop(ledger, shop, on=DAY).jobs
    with pytest.raises(Stopped):
        review.of_shop(ledger, shop, on=DAY, progress=lambda share: share < 0.5)


# --- choices and lists of a page --------------------------------------------------------------


def test_a_page_offers_the_latest_closed_jobs_and_finds_the_others(of_size):
    """Also the one that was chosen, however old it is."""
    folder = of_size(LATEST_CLOSED + 5).folder
    page = ReviewPage(folder, open_shop(folder))
    page._there()
    page._go("jobs")
    part = page.parts["jobs"]
    listed = [row["key"] for row in part.jobs.rows]
    assert len(listed) == LATEST_CLOSED + 1
    assert f"{LATEST_CLOSED + 1} of {LATEST_CLOSED + 6} jobs" in part.count.value
    old = "260302-001"
    assert old not in listed
    assert old not in [key for key, _ in page.picker.fields[0]["options"]]
    part.find.field.value = "harbour 1"
    assert old in [row["key"] for row in part.jobs.rows]
    part._chosen("choose", old)
    assert old in [key for key, _ in page.picker.fields[0]["options"]]
    assert page.workshop.job.name == "Harbour 1"
    part.find.field.value = "no such job"
    assert "Nothing holds all these words." in part.find.said.value
    page.workshop.ledger.close()


def test_drafts_are_listed_by_the_latest_and_found_by_their_titles(of_size):
    """Each page has its own kind; one that was chosen is offered however old it is."""
    ledger = of_size(FEW)
    ledger.save(Draft("deal-00", "A deal", {}))
    ledger.save(Draft("bench-plan-00", "A plan", {}))
    assert [one.title for one in ledger.drafts(most=2)] == ["Harbour 4", "Harbour 3"]
    assert [one.title for one in ledger.drafts(words="HARB 3")] == ["Harbour 3"]
    assert ledger.drafts(words="100%") == ()
    assert [one.key for one in ledger.drafts_of(["0000000000", "gone"])] == ["0000000000"]
    assert [one.title for one in ledger.drafts("deal")] == ["A deal"]
    for key, title, serial, customer in (("aa", "Åland Étoile", "S-7", "Özil"),
                                         ("bb", "Åland", "S-8", "Zoë Äppelman")):
        ledger.save(Draft(key, f"{title} – {customer}",
                          {"machine": {"title": title, "serial": serial}}))
    ledger.record(Sent("260401-F0", "Åland Étoile", "clean", DAY, Decimal(480), 350.0, "USD"))
    for words, wanted in (("ÅLAND özil", ["aa"]), ("aland ETOILE", ["aa"]), ("appelman", ["bb"]),
                          ("åland", ["bb", "aa"]), ("s-8", ["bb"]), ("401-f0", ["aa"]),
                          ("401-f0 zoë", []), ("\U0001f602", [])):
        assert [one.key for one in ledger.drafts(words=words)] == wanted, words
    assert [one.key for one in ledger.drafts(words="åland", most=1)] == ["bb"]
    assert [one.title for one in ledger.drafts("bench-plan")] == ["A plan"]


def test_the_quote_page_lists_so_many_drafts_and_finds_the_others(of_size, monkeypatch):
    """The field to look for one is there when there may be more."""
    monkeypatch.setattr("estimator.pages.finding.MOST", 3)
    folder = of_size(FEW).folder
    page = QuotePage(folder, open_shop(folder))
    bar = page.source
    assert bar.find.widget.layout.display == ""
    assert not any("Harbour 0" in said for said, _ in bar.draft.options)
    bar.find.field.value = "Harbour 0"
    assert any("Harbour 0" in said for said, _ in bar.draft.options)
    page.ledger.close()


def test_tables_and_charts_of_a_page_end_somewhere(monkeypatch):
    """Of many rows the first are shown, and how many there are."""
    monkeypatch.setattr(showing, "MOST_ROWS", 2)
    said = showing.table("x", "X", ("A",), [["1"], ["2"], ["3"]], total=["6"])
    assert said.count("<tr") == 4
    assert "The first 2 of 3 rows." in said
    assert looking_over.showing.LATEST <= 200


# --- a whole ledger in and out -----------------------------------------------------------------


@pytest.mark.parametrize("rows", [[], [["a", None, 1.5]], [["]", {"x": [1, "}"]}, "ü\\\""]] * 3,
                                  [[-1.25e-300, [True, 123456789], "\U0001f3b1" * 99]] * 2])
@pytest.mark.parametrize("piece", [1, 7, 10_000])
def test_a_table_is_parsed_row_by_row_as_json_would_be(rows, piece, monkeypatch):
    """Whatever blanks stand between, and wherever a piece of the file ends."""
    monkeypatch.setattr("estimator.ledger.plain._PIECE", piece)
    for indent in (None, 1):
        text = json.dumps({"schema": 1, "table": "x", "columns": ["a", "b", "c"], "rows": rows},
                          indent=indent)
        held = parsed(lambda text=text: io.StringIO(text))
        assert (held.name, held.columns) == ("x", ("a", "b", "c"))
        assert list(held.rows()) == list(held.rows()) == rows


def test_a_large_table_is_written_piece_by_piece():
    """No piece holds more than some hundred rows, and together they are all of it."""
    rows = [[n, "=A1"] for n in range(1_200)]
    pieces = list(spreadsheet_pieces(["n", "what"], iter(rows)))
    assert max(piece.count("\r\n") for piece in pieces) <= 500
    assert list(csv.reader("".join(pieces).splitlines())) == [
        ["n", "what"], *([str(n), "'=A1"] for n, _ in rows)]


@functools.cache
def _text():
    return '{"schema":1,"table":"x","columns":["a"],"rows":[["1"],["2"]]}'


@pytest.mark.parametrize("text", [
    *(_text()[:at] for at in range(len(_text()))), _text() + "]", _text().replace(",[", ",,["),
    _text().replace('],["2"', '["2"'), '{"rows":[]}', "[]"])
@pytest.mark.parametrize("piece", [1, 10_000])
def test_a_table_that_was_cut_or_altered_is_told(text, piece, monkeypatch):
    """Wherever it was cut: none of it may pass for all of it."""
    monkeypatch.setattr("estimator.ledger.plain._PIECE", piece)
    with pytest.raises((ValueError, KeyError)):
        list(parsed(lambda: io.StringIO(text)).rows())
