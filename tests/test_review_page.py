"""The page "Review hours": jobs, hours and amounts booked, reviews, proposals, changes."""

import ast
import html
import json
import math
import os
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import test_pages
from ledgers import DAY, with_job
from test_ledger_change import CRACKED, Bench
from test_pages import window

import estimator
from estimator import jobs, review
from estimator.catalogue import Level, data_folder
from estimator.ledger import (
    Clock,
    Done,
    Frozen,
    Item,
    Job,
    Ledger,
    Outwork,
    Purchase,
    Sale,
    Sent,
    TimeEntry,
)
from estimator.pages import looking_over, review_page, serving, showing, typed, unbooked
from estimator.pages.entering import plain_words
from estimator.pages.review_page import PARTS, ReviewPage
from estimator.quote import TIME, Choices, quote
from estimator.review import decided
from estimator.shop import new_shop, open_shop
from estimator.survey import read

# A fixture of that module: pytest finds it here by its name.
browser = test_pages.browser
EVIL = '<script>alert("x")</script>'
PACKAGE = Path(estimator.__file__).parent
SURE = ("long-day", "new-person", "long-ago", "before-job", "closed-job", "twice", "cap",
        "cap-ahead")


@pytest.fixture
def shop_dir(tmp_path):
    """A shop folder with no jobs."""
    return new_shop(tmp_path / "shop")


@pytest.fixture
def ledger(shop_dir):
    """Its ledger, beside the page's own."""
    found = Ledger(shop_dir)
    yield found
    found.close()


@pytest.fixture
def opened(shop_dir):
    """Opens pages of the shop, without a browser; closed at the end."""
    pages = []

    def another(part="time", window=None):
        page = ReviewPage(shop_dir, open_shop(shop_dir), window)
        pages.append(page)
        page._there()
        page._go(part)
        return page

    yield another
    for page in pages:
        page.workshop.ledger.close()


@pytest.fixture
def job(ledger):
    """A job of three work items, accepted two days before today."""
    return with_job(ledger, accepted=date.today() - timedelta(2))


@pytest.fixture(scope="module")
def offer():
    """A quote of the demo survey by time and materials, with a cap."""
    shop = open_shop()
    survey = read(data_folder() / "demo" / "survey.csv", shop.catalogue)
    return quote(survey, Choices(Level.SHOP_JOB, pricing=TIME, trials=200,
                                 on=date.today() - timedelta(3)), shop, compare=False)


@pytest.fixture
def sent(ledger, offer, shop_dir):
    """That quote, sent."""
    shop = open_shop(shop_dir)
    jobs.keep(ledger, offer, replace(shop, settings=offer.settings))
    return offer


@pytest.fixture(scope="module")
def still(tmp_path_factory):
    """A page of a shop with one job, for tests that book nothing."""
    folder = new_shop(tmp_path_factory.mktemp("still") / "shop")
    ledger = Ledger(folder)
    with_job(ledger, accepted=date.today() - timedelta(2))
    page = ReviewPage(folder, open_shop(folder))
    page._there()
    yield page
    page.workshop.ledger.close()
    ledger.close()


def part(page, name=None):
    """The open part, or one that is opened."""
    if name:
        page._go(name)
    return page.parts[page.bar.current]


def say(form, act, **values):
    """What a person types into a form, and the button they take."""
    form.act(act, {**form.values, **values})


def told(form):
    """All that a form says is wrong."""
    return " ".join([*form.faults.values(), *form.general])


def fine(page):
    """No part of the page says that something is wrong."""
    for one in (page, *page.parts.values()):
        for alert in one.alerts.values():
            assert alert.widget.value == ""


def hours_of(ledger):
    """Person, hours and place of every entry in force."""
    return [(one.person, one.hours, one.job, one.item, one.unbilled)
            for one in ledger.entries(TimeEntry)]


# The page -----------------------------------------------------------------------------------------


def test_a_page_opens_with_one_part_and_builds_the_others_when_asked(opened, job):
    """Parts that nobody looked at are not there; each opens without a fault."""
    page = opened()
    assert list(page.parts) == ["time"]
    for name in PARTS:
        page._go(name)
        assert page.bar.current == name
        if name not in ("job", "shop"):  # Nothing is booked yet, which is said.
            assert [a.widget.value for a in page.parts[name].alerts.values()] == [""]
    assert list(page.parts) == ["time", *(name for name in PARTS if name != "time")]


def test_an_empty_shop_leads_to_accepting_a_quote(opened):
    """Without a job the page opens on jobs; every part says in words what is missing."""
    page = opened("jobs")
    assert part(page).jobs.rows == []
    assert "No job so far" in part(page).jobs.empty
    assert "No job is chosen" in part(page, "job").alerts["review"].widget.value
    assert "No hours are booked" in part(page, "shop").alerts["review"].widget.value
    assert "nothing against the book" in part(page, "proposals").none.value
    assert "Choose a job above" in part(page, "time").hint.value


def test_what_takes_long_waits_for_the_browser(shop_dir, job, opened):
    """A page left on the review is not drawn into a cell that nobody sees yet."""
    opened("shop")
    page = ReviewPage(shop_dir, open_shop(shop_dir))
    try:
        assert page.bar.current == "shop"
        assert page.parts["shop"].alerts["review"].widget.value == ""
        page._there()
        assert "No hours are booked" in page.parts["shop"].alerts["review"].widget.value
    finally:
        page.workshop.ledger.close()


def test_a_page_without_a_shop_folder_says_so(monkeypatch):
    """Hours cannot be kept nowhere: the page says what to do instead of opening."""
    monkeypatch.setenv(serving.SHOP_VARIABLE, "")
    said = " ".join(one.value for one in review_page.opened().children if hasattr(one, "value"))
    assert "kept in a shop folder" in said
    assert "--shop" in said


def _messages():
    """Every text in the rooms that the page asks, as far as it stands in the code."""
    rooms = ("ledger", "jobs", "review")
    for path in (path for room in rooms for path in (PACKAGE / room).glob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        notes = {id(node.body[0].value) for node in ast.walk(tree)
                 if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and node.body
                 and isinstance(node.body[0], ast.Expr)}
        for node in ast.walk(tree):
            if isinstance(node, ast.JoinedStr):
                yield "".join(part.value if isinstance(part, ast.Constant) else "X"
                              for part in node.values)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str) \
                    and id(node) not in notes:
                yield node.value


def test_nothing_on_the_page_names_a_command():
    """What a terminal would do is no help to somebody at a page."""
    named = [said for said in _messages() if "estimator " in said or " --" in said]
    assert len(named) > 20
    left = [plain_words(said) for said in named]
    assert [said for said in left if "estimator " in said or "--" in said] == []
    assert plain_words("Book hours with: estimator time add --job 1.") == "Book hours."
    assert plain_words("Ask first: estimator job change") == "Ask first."
    assert plain_words("Nothing to cut: 2 of 3 h.") == "Nothing to cut: 2 of 3 h."


def test_words_of_people_stay_words(opened, ledger, sent):
    """A job, a person or a remark made of markup is shown as typed and never as markup."""
    jobs.accept(ledger, sent.number, name=EVIL, on=date.today() - timedelta(2))
    ledger.book([TimeEntry(person=EVIL, day=date.today(), hours=1.0, job=sent.number, item=1,
                           note=EVIL)], unbilled=(), sure=SURE)
    ledger.set_state(sent.number, "closed", date.today())
    page = opened("jobs")
    page.workshop.choose(sent.number)
    for name in PARTS:
        page._go(name)
    page.parts["job"].hours.put_together("person")
    page.parts["shop"].hours.put_together("job")
    page.parts["shop"]._left_by("job")
    fine(page)

    def values(widget):
        yield from [widget.value] if type(widget).__name__ == "HTML" else []
        for child in getattr(widget, "children", ()):
            yield from values(child)

    whole = "".join(text for one in page.parts.values() for text in values(one.widget))
    assert "<script" not in whole
    assert html.escape(EVIL) in whole


# Booking time -------------------------------------------------------------------------------------


def test_hours_that_are_typed_are_booked_and_counted(opened, ledger, job):
    """The entry stands in the ledger and in the list; who and what on stay in the form."""
    page = opened()
    form = part(page).hours
    say(form, "book", person="Anna", hours="1:30", work="item:2", note="left one sticks")
    assert told(form) == ""
    assert "1.50 hours of Anna" in form.status
    assert hours_of(ledger) == [("Anna", 1.5, job.number, 2, None)]
    (row,) = part(page).entries.rows
    assert row["cells"][:3] == [date.today().isoformat(), "Anna", "1.50"]
    assert "1.50 hours in 1 entry" in part(page).total.value
    assert (form.values["person"], form.values["work"], form.values["hours"],
            form.values["note"]) == ("Anna", "item:2", "", "")
    # Of yesterday, so that those hours are over whenever this is run.
    say(form, "book", day=(date.today() - timedelta(1)).isoformat(), start="9:15", stop="11:00",
        work="unbilled:ordering", whose="shop")
    assert ("Anna", 1.75, None, None, "ordering") in hours_of(ledger)
    fine(page)


@pytest.mark.parametrize(("field", "value", "words"), [
    ("person", "", "blank"), ("day", "", "blank"), ("day", "2026-02-30", "there is not"),
    ("day", "yesterday", "not a day"), ("day", "2199-01-01", "still to come"),
    ("hours", "", "neither how many hours"), ("hours", "abc", "abc"), ("hours", "0", "over 0"),
    ("hours", "-1", "over 0"), ("hours", "25", "do not fit into a day"),
    ("hours", "1.234,5", "two ways"), ("start", "9:75", "not a time of day"),
    ("stop", "noon", "not a time of day"), ("work", "", "what was worked on"),
    ("work", "item:99", "no work item 99"), ("work", "unbilled:napping", "no kind"),
    ("note", "\x07", "cannot be printed"), ("note", "x" * 3000, "characters"),
])
def test_what_is_wrong_with_hours_is_said_at_its_field(still, field, value, words):
    """Every field refuses what it cannot hold; nothing is booked, and nothing typed is lost."""
    form, ledger = part(still, "time").hours, still.workshop.ledger
    typed_in = {"person": "Anna", "day": date.today().isoformat(), "hours": "1.5", "start": "",
                "stop": "", "work": "item:1", "whose": "job", "note": "as found"}
    say(form, "book", **(typed_in | {field: value}))
    assert words in (form.faults.get(field) or told(form)), (form.faults, form.general)
    assert ledger.entries(TimeEntry) == ()
    assert form.status == ""
    assert {name: form.values[name] for name in typed_in} == typed_in | (
        {field: value} if field in typed_in else {})
    assert form.values[field] == value


def test_all_that_is_wrong_is_said_at_once(opened, job):
    """Two blank fields and hours that are none: three faults, each at its field."""
    form = part(opened()).hours
    for hours in ("abc", "-3", "0"):
        say(form, "book", person="", hours=hours, work="")
        assert set(form.faults) == {"person", "hours", "work"}


def test_what_is_seldom_right_is_asked_and_booked_with_a_yes(opened, ledger, job):
    """Fifteen hours in a day: asked, not booked; with a yes it is; a no leaves the form."""
    form = part(opened()).hours
    say(form, "book", person="Anna", hours="15", work="item:1")
    assert [one["key"] for one in form.questions] == ["long-day"]
    assert "--" not in form.questions[0]["text"]
    assert ledger.entries(TimeEntry) == ()
    form._heard(None, {"no": 1}, [])
    assert form.questions == []
    say(form, "book")
    form.act("book", form.values, [one["key"] for one in form.questions])
    assert [one.hours for one in ledger.entries(TimeEntry)] == [15.0]
    assert form.questions == []


def test_a_clock_is_started_shown_and_stopped(opened, ledger, job):
    """It runs in the ledger, stands in the head of the page, and books its hours."""
    page = opened()
    booking = part(page)
    say(booking.start, "start", person="Anna", work="item:3")
    assert told(booking.start) == ""
    (clock,) = ledger.clocks()
    assert (clock.person, clock.job, clock.item) == ("Anna", job.number, 3)
    assert "Anna since" in page.running.value
    head, form = booking.clocks.children
    assert "Running: Anna" in head.value
    say(form, "stop", hours="0.25", note="stuck pawl")
    assert "0.25" in told(form)  # The clock has run for no quarter of an hour yet.
    ledger.drop("Anna")
    ledger.start(Clock("Anna", datetime.now(UTC) - timedelta(hours=2), job.number, 3),
                 unbilled=())
    page.workshop.changed()
    say(booking.clocks.children[1], "stop", note="stuck pawl")
    (entry,) = ledger.entries(TimeEntry)
    assert entry.hours == pytest.approx(2.0, abs=0.02)
    assert (entry.item, entry.note) == (3, "stuck pawl")
    assert ledger.clocks() == ()
    assert booking.clocks.children == ()
    assert "No clock" in page.running.value


def test_a_clock_that_was_forgotten_asks_for_its_end(opened, ledger, job):
    """Thirteen hours: it says to write the end or the hours, without words of a terminal."""
    ledger.start(Clock("Anna", datetime.now(UTC) - timedelta(hours=13), job.number, 3),
                 unbilled=())
    page = opened()
    form = part(page).clocks.children[1]
    say(form, "stop")
    assert "Was it forgotten?" in told(form)
    assert "--" not in told(form)
    assert ledger.entries(TimeEntry) == ()
    say(form, "stop", hours="x")
    assert "hours" in form.faults
    say(form, "stop", hours="2")
    assert [one.hours for one in ledger.entries(TimeEntry)] == [2.0]


def test_a_clock_may_be_stopped_at_a_time_that_has_passed(opened, ledger, job):
    """Two hours ago it was started, an hour ago the work ended: one hour is booked."""
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    ledger.start(Clock("Anna", now - timedelta(hours=2), job.number, 3), unbilled=())
    form = part(opened()).clocks.children[1]
    say(form, "stop", stop="9:75")
    assert "stop" in form.faults
    say(form, "stop", stop=f"{(now - timedelta(hours=1)).astimezone():%H:%M}")
    assert [one.hours for one in ledger.entries(TimeEntry)] == [1.0]


def test_a_clock_let_go_books_nothing_and_a_second_one_asks(opened, ledger, job):
    """Another start asks whether to stop the first; letting go leaves no entry."""
    page = opened()
    booking = part(page)
    say(booking.start, "start", person="Anna", work="item:3")
    say(booking.start, "start", person="anna", work="item:1")
    assert [one["key"] for one in booking.start.questions] == ["switch"]
    assert [clock.item for clock in ledger.clocks()] == [3]
    say(booking.clocks.children[1], "drop")
    assert ledger.clocks() == ()
    assert ledger.entries(TimeEntry) == ()


def test_an_entry_is_put_right_by_a_counter_entry(opened, ledger, job):
    """The old one is taken back, the new one stands in its place, and the list says why."""
    page = opened()
    booking = part(page)
    say(booking.hours, "book", person="Anna", hours="2", work="item:1")
    (entry,) = ledger.entries(TimeEntry)
    booking._asked("correct", str(entry.id))
    assert booking.correct.values["hours"] == "2"
    say(booking.correct, "correct", hours="3")
    assert "why" in booking.correct.faults
    say(booking.correct, "correct", why="read the watch wrong")
    assert [one.hours for one in ledger.entries(TimeEntry)] == [3.0]
    history = ledger.entries(TimeEntry, history=True)
    assert sorted(one.hours for one in history) == [-2.0, 2.0, 3.0]
    booking._scoped("history")
    said = " ".join(row["cells"][6] for row in booking.entries.rows)
    assert f"in place of entry {entry.id}: read the watch wrong" in said
    assert f"takes back entry {entry.id}" in said
    assert sum(bool(row["buttons"]) for row in booking.entries.rows) == 1
    booking._asked("take-back", str(ledger.entries(TimeEntry)[0].id))
    say(booking.correct, "take-back", why="not worked at all")
    assert ledger.entries(TimeEntry) == ()
    fine(page)


def test_a_correction_may_lead_to_another_job(opened, ledger, job):
    """Choosing another job offers its work items; from and to are kept unless the end changes."""
    other = with_job(ledger, "260303-B2", "Old Comet", items=2,
                     accepted=date.today() - timedelta(2))
    page = opened()
    page.workshop.choose(job.number)
    booking = part(page)
    say(booking.hours, "book", person="Anna", start="9:00", stop="10:00", work="item:3",
        day=(date.today() - timedelta(1)).isoformat())
    (entry,) = ledger.entries(TimeEntry)
    booking._asked("correct", str(entry.id))
    assert booking.correct.values["hours"] == ""  # From and to say it.
    booking.correct._heard(None, {"typed": booking.correct.values | {"job": other.number}}, [])
    offered = [value for field in booking.correct.fields if field["name"] == "work"
               for group in field["options"] if isinstance(group[1], list)
               for value, _ in group[1]]
    assert [one for one in offered if one.startswith("item:")] == ["item:1", "item:2"]
    assert booking.correct.values["work"] == ""
    say(booking.correct, "correct", work="item:2", stop="10:30", why="wrong machine")
    (entry,) = ledger.entries(TimeEntry)
    assert (entry.job, entry.item, entry.hours) == (other.number, 2, 1.5)


def test_a_time_sheet_is_booked_whole_or_not_at_all(opened, ledger, job):
    """Faults name file, row and column; questions are asked by row; then all rows stand."""
    booking = part(opened())

    def upload(*rows):
        data = "\n".join(("person,day,hours,job,item,unbilled", *rows)).encode()
        booking._uploaded("march.csv", len(data), data)

    upload(f"Anna,{date.today()},1.5,Harbour Lights,1,", f"Anna,{date.today()},x,,,ordering",
           f"Anna,{date.today()},1,Harbor Lights,1,")
    said = told(booking.sheet)
    assert "march.csv, row 3, hours" in said
    assert 'Did you mean "Harbour Lights"' in said
    assert ledger.entries(TimeEntry) == ()
    upload(f"Anna,{date.today()},15,Harbour Lights,1,", f"Anna,{date.today()},0.5,,,ordering")
    assert booking.sheet.questions[0]["text"].startswith("Row 2: ")
    booking.sheet.act("sure", {}, [one["key"] for one in booking.sheet.questions])
    assert [one.hours for one in ledger.entries(TimeEntry)] == [15.0, 0.5]
    assert "2 rows are booked" in booking.sheet.status
    booking._uploaded("huge.csv", 99_000_000, None)
    assert "99 MB" in told(booking.sheet)
    booking._uploaded("book.xlsx", 9, b"PK\x03\x04 etc")
    assert "Save it as CSV" in told(booking.sheet)


def test_what_was_typed_is_there_again_until_it_is_booked(opened, ledger, job):
    """Another page of the shop shows it; once booked, only who and what on stay."""
    form = part(opened()).hours
    form._heard(None, {"typed": form.values | {"person": "Anna", "hours": "2.5", "work": "item:2",
                                               "note": "half done"}}, [])
    again = part(opened()).hours
    assert {name: again.values[name] for name in ("person", "hours", "work", "note")} == {
        "person": "Anna", "hours": "2.5", "work": "item:2", "note": "half done"}
    say(again, "book")
    last = part(opened()).hours
    assert (last.values["person"], last.values["hours"], last.values["note"]) == ("Anna", "", "")


def test_a_file_of_typed_words_that_is_broken_keeps_nobody_from_working(opened, shop_dir, job):
    """A damaged file is as none at all."""
    opened()
    (path,) = (shop_dir / unbooked.FOLDER).iterdir()
    for broken in ("{", "[1]", '{"hours": 3}', ""):
        path.write_text(broken, encoding="utf-8")
        fine(opened())


def type_into(form, **values):
    """Type, and press no button."""
    form._heard(None, {"typed": form.values | values}, [])


def test_two_windows_keep_their_words_apart(opened, job):
    """Both type into the same forms, one opened by the other's address among them: each finds its
    own words again, a new window those of the last, and forms that only another one holds."""
    pages = [opened(), opened()]
    pages.append(opened(window=pages[0].workshop.unbooked.key))
    for number, page in enumerate(pages):
        type_into(part(page).hours, person="Anna", note=f"of {number}")
    for number, page in enumerate(pages):
        type_into(part(page).start, person="Ben", note=f"clock of {number}")
    page = pages[1]
    type_into(part(page, "amounts").forms["bought"], what="springs")
    part(page, "time")
    type_into(part(pages[0]).hours, note="the last")
    again = [part(opened(window=page.workshop.unbooked.key)) for page in pages]
    assert [(one.hours.values["note"], one.start.values["note"]) for one in again] == [
        ("the last", "clock of 0"), ("of 1", "clock of 1"), ("of 2", "clock of 2")]
    new = part(opened(window="../../typed"))
    assert (new.hours.values["note"], new.start.values["note"]) == ("the last", "clock of 0")
    assert part(opened("amounts")).forms["bought"].values["what"] == "springs"


def test_words_that_nobody_asked_for_in_months_are_taken_away(opened, shop_dir, job):
    """Each window leaves a file; those of today, and what is not of such a name, stay."""
    folder = shop_dir / unbooked.FOLDER
    for note in "xy":
        type_into(part(opened()).hours, note=note)
    old, kept = sorted(folder.iterdir())
    (folder / "mine.json").write_text("{}")
    for path in (old, folder / "mine.json"):
        os.utime(path, (0, 0))
    opened(window=kept.stem)
    assert kept.exists()
    opened()
    assert not old.exists()
    assert (folder / "mine.json").exists()


# Amounts ------------------------------------------------------------------------------------------


def test_what_was_bought_sent_out_and_sold_is_booked(opened, ledger, job):
    """A purchase with its part, a lot out and partly back, a sale with fees; each in the list."""
    page = opened("amounts")
    booking = part(page)
    catalogue = page.workshop.shop.catalogue
    name, row = next(iter(catalogue.parts.items()))
    say(booking.forms["bought"], "bought", part=row.name.upper(), quantity="2", amount="19,90",
        supplier="Oakbench Parts")
    assert told(booking.forms["bought"]) == ""
    (bought,) = ledger.entries(Purchase)
    assert (bought.part, bought.what, bought.amount, bought.job) == (
        name, row.name, Decimal("19.9"), job.number)
    booking._kind("sent-out")
    service = next(iter(catalogue.services))
    say(booking.forms["sent-out"], "sent-out", service=service, what="Legs", quantity="4")
    booking._kind("came-back")
    back = booking.forms["came-back"]
    (lot,) = ledger.entries(Outwork)
    say(back, "came-back", lot=str(lot.id), quantity="5", amount="10")
    assert "4 piece are still out" in told(back)
    say(back, "came-back", lot=str(lot.id), quantity="1", amount="10")
    assert ledger.still_out()[0][1] == 3
    booking._kind("sold")
    say(booking.forms["sold"], "sold", what="Job paid", amount="900", fees="20", whose="job")
    (sold,) = ledger.entries(Sale)
    assert (sold.amount, sold.fees) == (900, 20)
    kinds = [row["cells"][1] for row in booking.list.rows]
    assert sorted(kinds) == ["bought", "came back", "came in", "sent out"]
    booking._asked("take-back", f"sale:{sold.id}")
    say(booking.back, "take-back", why="")
    assert "why" in booking.back.faults
    say(booking.back, "take-back", why="paid twice")
    assert ledger.entries(Sale) == ()
    fine(page)


@pytest.mark.parametrize(("kind", "field", "value", "words"), [
    ("bought", "part", "no such thing", "table of parts"), ("bought", "what", "", "was bought"),
    ("bought", "quantity", "0", "over 0"), ("bought", "quantity", "two", "two"),
    ("bought", "quantity", "", "blank"), ("bought", "amount", "", "blank"),
    ("bought", "amount", "-1", "0 or more"), ("bought", "amount", "1e999", "1e999"),
    ("bought", "day", "", "blank"), ("bought", "day", "2199-01-01", "still to come"),
    ("sent-out", "service", "", "blank"), ("sent-out", "service", "gilding", "table of services"),
    ("sent-out", "what", "", "blank"), ("came-back", "lot", "", "what came back"),
    ("sold", "what", "", "blank"), ("sold", "amount", "", "blank"),
    ("sold", "amount", "1.234,5", "two ways"), ("sold", "fees", "-2", "0 or more"),
])
def test_what_is_wrong_with_an_amount_is_said_at_its_field(still, kind, field, value, words):
    """Every field refuses what it cannot hold, and nothing is booked."""
    booking, ledger = part(still, "amounts"), still.workshop.ledger
    booking._kind(kind)
    form = booking.forms[kind]
    fill = {"what": "Glass", "quantity": "1", "amount": "40", "service": next(iter(
        booking.workshop.shop.catalogue.services)), "fees": "0", "part": "",
        "day": date.today().isoformat()}
    say(form, kind, **{name: text for name, text in (fill | {field: value}).items()
                       if name in form.values})
    assert words in form.faults.get(field, ""), (form.faults, form.general)
    assert not any(ledger.entries(one) for one in (Purchase, Outwork, Sale))


# Jobs ---------------------------------------------------------------------------------------------


def test_a_quote_becomes_a_job_and_is_closed_and_opened_again(opened, ledger, sent):
    """From the list of quotes sent to a closed job, and back onto the bench."""
    page = opened("jobs")
    listed = part(page)
    assert [row["key"] for row in listed.sent.rows] == [sent.number]
    listed._asked("accept", sent.number)
    say(listed.accept, "accept", promised=(date.today() - timedelta(9)).isoformat())
    assert "before it was accepted" in told(listed.accept)
    assert ledger.jobs() == ()
    say(listed.accept, "accept", name="Harbour", promised=(date.today() + timedelta(9)).isoformat())
    (job,) = ledger.jobs()
    assert (job.name, page.workshop.number) == ("Harbour", sent.number)
    assert listed.sent.rows == []
    assert listed.jobs.rows[0]["chosen"]
    assert "work items" in listed.state.status
    say(listed.state, "keep", state="waiting", promised="")
    assert (ledger.job("Harbour").state, ledger.job("Harbour").promised) == ("waiting", None)
    ledger.start(Clock("Anna", datetime.now(UTC), job.number, 1), unbilled=())
    say(listed.state, "close")
    assert "A clock still runs" in told(listed.state)
    assert "estimator" not in told(listed.state)
    ledger.drop("Anna")
    say(listed.state, "close", closed="")
    assert "closed" in listed.state.faults
    say(listed.state, "close", closed=date.today().isoformat())
    assert ledger.job("Harbour").state == "closed"
    assert [one["act"] for one in listed.state.buttons] == ["reopen"]
    say(listed.state, "reopen")
    assert (ledger.job("Harbour").state, ledger.job("Harbour").closed) == ("on the bench", None)
    fine(page)


def test_items_are_marked_as_done_and_taken_back(opened, ledger, job):
    """A click marks; taking the mark back needs a reason, and both stay in the books."""
    page = opened("jobs")
    items = part(page).items
    items._asked("done", "2")
    assert [mark.item for mark in ledger.entries(Done, job=job.number)] == [2]
    assert "1 of 3" in items.count.value
    items._asked("not-done", "2")
    say(items.why, "not-done")
    assert "why" in items.why.faults
    say(items.why, "not-done", why="came loose again")
    assert ledger.entries(Done, job=job.number) == ()
    assert "0 of 3" in items.count.value
    fine(page)


def test_a_job_is_changed_offered_and_agreed_to(opened, ledger, sent, shop_dir):
    """A worse condition: worked out, nothing kept; offered with its paper; agreed, with items."""
    jobs.accept(ledger, sent.number, name="Harbour", on=date.today() - timedelta(2))
    page = opened("jobs")
    changing = part(page).changing
    changing._open()
    entry = next(one for one in changing.desk.entries if one.line.assembly == "flipper")
    say(changing.form, "work")
    assert "Nothing is different" in told(changing.form)
    changing._edited([[entry.id, "condition", "failed"]])
    say(changing.form, "work", words=f"cracked at a screw {EVIL}")
    assert told(changing.form) == ""
    assert "cracked at a screw" in changing.result.value
    assert "<script" not in changing.result.value
    assert ledger.revisions() == ()
    changing._edited([[entry.id, "count", "3"]])
    assert changing.result.value == ""  # What was worked out is of another change.
    say(changing.form, "offer", date="")
    assert "date" in changing.form.faults
    say(changing.form, "offer", date=date.today().isoformat())
    (revision,) = ledger.revisions()
    paper = shop_dir / "documents" / f"addendum-{revision.number}" / "addendum.pdf"
    assert paper.read_bytes().startswith(b"%PDF-")
    before = ledger.items(sent.number)
    changing._act("agree", revision.number)
    say(changing.answer, "agree", note="by telephone")
    assert ledger.revision(revision.number).answer == "agreed"
    assert ledger.items(sent.number) != before
    (row,) = changing.revisions.rows
    assert row["cells"][5].startswith("agreed")
    assert not {"agree", "refuse"} & {one["act"] for one in row["buttons"]}
    fine(page)
    assert changing.alerts["change"].widget.value == ""


def test_a_change_that_is_refused_leaves_the_job(opened, ledger, sent):
    """A line left out as the customer wishes, offered and refused: the same work items."""
    jobs.accept(ledger, sent.number, name="Harbour", on=date.today() - timedelta(2))
    page = opened("jobs")
    changing = part(page).changing
    changing._open()
    droppable = next(one.id for one in changing.desk.entries
                     if page.workshop.shop.catalogue.assemblies[one.line.assembly].droppable)
    changing._edited([[droppable, "keep", False]])
    again = part(opened("jobs")).changing
    again._open()
    assert not next(one for one in again.desk.entries if one.id == droppable).keep  # Kept so far.
    before = ledger.items(sent.number)
    say(again.form, "offer", reason="wish")
    (revision,) = ledger.revisions(sent.number)
    assert revision.changes[0]["reason"] == "wish"
    again._act("refuse", revision.number)
    say(again.answer, "refuse", date="")
    assert "date" in again.answer.faults
    say(again.answer, "refuse", date=date.today().isoformat())
    assert ledger.revision(revision.number).answer == "refused"
    assert ledger.items(sent.number) == before


# Reviews ------------------------------------------------------------------------------------------


def _worked(ledger, job, *hours, day=None, person="Anna"):
    """Book these hours on a job's items, in order."""
    ledger.book([TimeEntry(person=person, day=day or date.today(), hours=h, job=job.number,
                           item=item)
                 for item, h in enumerate(hours, 1) if h], unbilled=("ordering", "unlisted"),
                sure=SURE)


def figure(source, test):
    """What a named figure of some HTML reads."""
    return re.search(rf'data-testid="{test}"[^>]*>([^<]*)<', source)[1]


def test_a_review_shows_what_the_engine_found(opened, ledger, job):
    """Figures, indices and table of the page are those of `review.of_job`."""
    _worked(ledger, job, 2.0, 0.5)
    page = opened("job")
    shown, found = part(page), review.of_job(ledger, job.number, page.workshop.shop)
    fine(page)
    assert figure(shown.head.value, "review-booked") == "2.5 h"
    assert figure(shown.stands.value, "cpi") == f"{found.progress.cpi:.2f}"
    assert figure(shown.stands.value, "ev") == f"{found.progress.earned:.1f} h"
    assert figure(shown.left.value, "margin-quoted") == "22\u00a0%"  # Of 900 at 700.
    for drawn in (shown.course, shown.hours.chart):
        assert 'role="img"' in drawn.value
    first = re.findall(r'<th scope="row" class="">([^<]*)<', shown.hours.table.value)[0]
    assert first == showing.named("operation", "strip", page.workshop.shop.catalogue)
    shown.hours.put_together("person")
    assert "Anna" in shown.hours.table.value


def test_what_another_window_books_is_seen_when_a_part_is_opened(opened, ledger, job, shop_dir):
    """Hours booked elsewhere, a job made elsewhere, a row of a table edited elsewhere."""
    page = opened("time")
    assert part(page).entries.rows == []
    _worked(ledger, job, 2.0)
    with_job(ledger, "260303-B2", "Old Comet", items=2, accepted=date.today() - timedelta(2))
    table = shop_dir / "tables" / "operations.csv"
    text = table.read_text(encoding="utf-8")
    table.write_text(text.replace("Rebuild a flipper with a kit", "Renew a flipper"),
                     encoding="utf-8")
    page._go("time")
    assert len(part(page).entries.rows) == 1
    assert len(page.picker.fields[0]["options"]) == 3
    names = {row.name for row in page.workshop.shop.catalogue.operations.values()}
    assert "Renew a flipper" in names


def test_a_clock_keeps_what_is_typed_with_it(opened, ledger, job):
    """A remark for a clock that runs stays while something else is booked."""
    page = opened()
    booking = part(page)
    say(booking.start, "start", person="Anna", work="item:3")
    form = booking.clocks.children[1]
    form._heard(None, {"typed": form.values | {"note": "stuck pawl"}}, [])
    say(booking.hours, "book", person="Anna", hours="1", work="item:1")
    assert booking.clocks.children[1].values["note"] == "stuck pawl"


def test_booking_makes_the_review_new(opened, ledger, job):
    """An hour booked on the page is in the review when it is looked at next."""
    _worked(ledger, job, 2.0)
    page = opened("job")
    assert figure(part(page).head.value, "review-booked") == "2.0 h"
    say(part(page, "time").hours, "book", person="Anna", hours="1", work="item:2")
    assert figure(part(page, "job").head.value, "review-booked") == "3.0 h"


def test_costs_of_a_job_are_explained_to_the_cent(opened, ledger, sent):
    """Reasons of the chart lead from the quoted to the actual cost; the cap is said."""
    jobs.accept(ledger, sent.number, name="Harbour", on=date.today() - timedelta(2))
    page = opened("jobs")
    page.workshop.choose(sent.number)
    _worked(ledger, ledger.job("Harbour"), 2.0, 3.0)
    page.workshop.changed()
    shown = part(page, "job")
    fine(page)
    found = review.of_job(ledger, sent.number, page.workshop.shop)
    assert "Quoted" in shown.costs_chart.value
    money = page.workshop.shop.settings
    assert showing.signed(float(found.variances.total), money) in shown.costs.value
    assert figure(shown.head.value, "review-cap")


def _closed(ledger, count):
    """So many closed jobs that took a quarter more, give or take a tenth."""
    for n in range(count):
        job = with_job(ledger, f"2602{n:02}-A1", f"Job {n}",
                       accepted=date.today() - timedelta(60 - n))
        # Every other job takes 0.2 more or less than a quarter over.
        _worked(ledger, job, *[1.1 * (1.25 + (0.2, -0.2)[n % 2])] * 3, day=job.accepted)
        ledger.set_state(job.number, "closed", job.accepted + timedelta(1))


def test_the_shop_is_held_against_its_estimates(opened, ledger):
    """Chart, margins and the true hour of closed jobs are those of `review.of_shop`."""
    _closed(ledger, 6)
    ledger.book([TimeEntry(person="Anna", day=date.today(), hours=8.0, unbilled="ordering")],
                unbilled=("ordering",))
    page = opened("shop")
    shown, found = part(page), review.of_shop(ledger, page.workshop.shop)
    fine(page)
    assert figure(shown.head.value, "shop-jobs") == "6"
    assert figure(shown.head.value, "shop-ratio") == "1.25"
    assert f"Centre {math.exp(found.chart.centre):.2f}" in shown.control.value
    assert "first guess" in shown.signals.value
    assert showing.percent(found.hour.share) in shown.hour.value
    assert "Ordering" in shown.unbilled.value
    assert "not known" in shown.held_words.value  # These quotes kept no quantiles.
    for by in ("quarter", "job", "customer", "level"):
        shown._left_by(by)
        assert 'data-testid="margins"' in shown.left.value
        assert 'role="img"' in shown.left_chart.value
    shown.walk.start()
    assert 'data-testid="records"' in shown.records.value
    for by in ("person", "job", "kind", "quarter", "customer kind"):
        shown.hours.put_together(by)
        assert f'data-testid="hours-{by}"' in shown.hours.table.value
    fine(page)


def test_margins_by_what_jobs_share(opened, ledger):
    """Two jobs of 900 at an expected cost of 700: 22 % quoted; made as the jobs say together."""
    _closed(ledger, 2)
    found = review.of_shop(ledger, part(opened()).workshop.shop)
    sent = {one.number: one for one in ledger.sent()}
    ((name, count, income, cost, quoted, made),) = looking_over.margins_by(
        found.jobs, sent, lambda job: job.level)
    assert (name, count, income) == ("shop-job", 2, 1800)
    assert quoted == pytest.approx(200 / 900)
    assert cost == pytest.approx(sum(job.margin.cost for job in found.jobs))
    assert made == pytest.approx(1 - cost / 1800)


# The course of a job ------------------------------------------------------------------------------


def test_the_course_of_a_job_day_by_day(ledger):
    """Items of 1.1 h over 22 days: 2.2 h spent on day 1, another 1 h on day 11; done by marks.

    PV after ANSI/EIA-748: the budget of what was to be done by the day, here 3.3 h × days / 22.
    """
    job = with_job(ledger)
    _worked(ledger, job, 1.0, 1.2, day=job.accepted + timedelta(1))
    _worked(ledger, job, 0, 0, 1.0, day=job.accepted + timedelta(11))
    ledger.mark_done(job.number, [1], job.accepted + timedelta(1))
    ledger.mark_done(job.number, [2], job.accepted + timedelta(11))
    found = review.course_of(ledger, job.number, on=job.accepted + timedelta(11))
    assert [(day - job.accepted).days for day in found.days] == [0, 1, 10, 11]
    assert found.planned == pytest.approx([0, 0.15, 1.5, 1.65])
    assert found.spent == pytest.approx([0, 2.2, 2.2, 3.2])
    # Marked is done, other work under way is half done.
    assert found.earned == pytest.approx([0, 1.65, 1.65, 2.75])


def test_the_course_of_a_closed_job_ends_the_day_it_was_closed(ledger):
    """The last day has all earned, the days before what was done by then."""
    job = with_job(ledger)
    _worked(ledger, job, 1.0, 1.2, 0.9, day=job.accepted + timedelta(1))
    ledger.set_state(job.number, "closed", job.accepted + timedelta(3))
    found = review.course_of(ledger, job.number)
    assert found.days[-1] == job.accepted + timedelta(3)
    assert found.earned[-1] == pytest.approx(3.3)
    assert found.earned[-2] < 3.3


# Proposals ----------------------------------------------------------------------------------------


def _quoted_by_book(ledger, shop, count):
    """Closed jobs quoted from the shop's tables in which flippers take 1.3 times as long."""
    tables = json.dumps({"operations": [[row.model_dump(mode="json"), ""]
                                        for row in shop.catalogue.operations.values()]})
    names = ("flipper-rebuild", "pop-bumper-rebuild", "eject-rebuild", "intake-survey")
    for n in range(count):
        number, day = f"2601{n:02}-A1", date.today() - timedelta(50 - n)
        ledger.record(
            Sent(number, f"Old {n}", "shop-job", day, Decimal(900), 700.0, "USD"),
            Frozen(number, "1", {"machine": {"era": "modern"}}, {}, {}, tables, {}))
        ledger.accept(Job(number, f"Old {n}", day), [
            Item(number, place, number, place, "Line", "flipper", name, name, "rebuild", "bench",
                 0.5, 0.75, 1.5, 0.1, 1.0) for place, name in enumerate(names, 1)])
        wobble = (0.95, 1.0, 1.05)
        _worked(ledger, ledger.job(number), *(
            wobble[(n + place) % 3] * (1.3 if place == 1 else 1.0) for place in range(1, 5)),
            day=day)
        ledger.set_state(number, "closed", day)


@pytest.fixture
def proposed(opened, ledger, shop_dir):
    """A page with nine jobs against the book hours of a flipper, and its proposals."""
    _quoted_by_book(ledger, open_shop(shop_dir), 9)
    return opened("proposals")


def test_a_proposal_is_accepted_and_taken_back(proposed, shop_dir):
    """The sentence and a dot for each job; accepted it is in the table; undone it is not."""
    table = shop_dir / "tables" / "operations.csv"
    before = table.read_bytes()
    shown = part(proposed)
    fine(proposed)
    card = shown._cards["flipper-rebuild"]
    assert "9 jobs say" in card.head.value
    assert 'role="img"' in card.chart.value
    assert card.jobs.value.count('scope="row"') == 9
    say(card.form, "accept", why="nine jobs are enough")
    assert table.read_bytes() != before
    assert "flipper-rebuild" not in shown.found
    assert "Accepted" in shown.status.value
    row = proposed.workshop.shop.catalogue.operations["flipper-rebuild", None]
    assert row.typical > 0.75
    (past,) = shown.past.rows
    assert past["cells"][1] == "Accepted"
    assert past["cells"][4] == "nine jobs are enough"
    shown._undone("undo", past["key"])
    assert table.read_bytes() == before
    assert "flipper-rebuild" in shown.found
    fine(proposed)


def test_another_figure_needs_a_reason_and_a_refusal_changes_no_table(proposed, shop_dir):
    """Edited with a reason, refused without a change; what was decided is listed with undo."""
    table = shop_dir / "tables" / "operations.csv"
    before = table.read_bytes()
    shown = part(proposed)
    form = shown._cards["flipper-rebuild"].form
    for figure_, why, field in (("", "so", "figure"), ("x", "so", "figure"), ("0.9", "", "why"),
                                ("99", "so", "figure")):
        say(form, "edit", figure=figure_, why=why)
        assert field in form.faults, (figure_, why)
    for act in ("accept", "refuse"):  # The figure that stands there was meant, or it was not.
        say(form, act, figure="0.9")
        assert "own button" in form.faults["figure"]
    assert table.read_bytes() == before
    say(form, "edit", figure="0.9", why="I am getting quicker")
    assert proposed.workshop.shop.catalogue.operations["flipper-rebuild", None].typical == 0.9
    shown._undone("undo", "flipper-rebuild")
    say(shown._cards["flipper-rebuild"].form, "refuse", why="a bad batch of kits")
    assert table.read_bytes() == before
    assert "flipper-rebuild" not in shown.found
    assert [row["cells"][1] for row in shown.past.rows] == [
        "Refused", "Taken back", "Accepted with another figure"]
    assert [len(row["buttons"]) for row in shown.past.rows] == [1, 0, 0]
    assert decided.LOG in {path.name for path in (shop_dir / "tables").iterdir()}


def test_a_proposal_that_cannot_be_written_changes_nothing(proposed, shop_dir):
    """A row that somebody edited meanwhile is not overwritten; the card says why."""
    table = shop_dir / "tables" / "operations.csv"
    text = table.read_text(encoding="utf-8")
    table.write_text("".join(line for line in text.splitlines(keepends=True)
                             if not line.startswith("flipper-rebuild,")), encoding="utf-8")
    form = part(proposed)._cards["flipper-rebuild"].form
    say(form, "accept")
    assert "flipper-rebuild" in told(form)
    assert form.status == ""


# Typed values -------------------------------------------------------------------------------------


def test_a_stop_before_the_start_is_of_the_next_day():
    """From 22:00 to 1:30 are three and a half hours."""
    entry = typed.time_entry({"person": "Anna", "day": DAY.isoformat(), "start": "22:00",
                              "stop": "1:30", "work": "unbilled:ordering"}, None)
    assert (entry.hours, entry.stopped.date()) == (3.5, DAY + timedelta(1))


def test_a_clock_set_back_starts_at_the_last_such_time():
    """At 9:00 a clock since 10:00 started yesterday."""
    now = datetime(2026, 3, 4, 9, 0).astimezone()
    clock = typed.clock({"person": "Anna", "work": "unbilled:ordering", "since": "10:00"}, None,
                        now)
    assert clock.started == datetime(2026, 3, 3, 10, 0).astimezone()
    assert jobs.next_after(clock.started.time().replace(hour=11), clock.started) \
        == clock.started + timedelta(hours=1)


# In a browser -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def bench(tmp_path_factory, chromium):
    """A shop with jobs, served; its folder and its server."""
    folder = new_shop(tmp_path_factory.mktemp("review") / "shop")
    ledger = Ledger(folder)
    shop = open_shop(folder)
    _quoted_by_book(ledger, shop, 9)
    survey = read(data_folder() / "demo" / "survey.csv", shop.catalogue)
    offer = quote(survey, Choices(Level.SHOP_JOB, trials=200, on=date.today() - timedelta(3)), shop,
                  compare=False)
    jobs.keep(ledger, offer, shop)
    jobs.accept(ledger, offer.number, name="Harbour Lights", on=date.today() - timedelta(2),
                promised=date.today() + timedelta(20))
    _worked(ledger, ledger.job("Harbour Lights"), 1.0, 2.0)
    ledger.close()
    with serving.running(folder) as server:
        yield folder, server


def open_page(page, server):
    """Open the page and wait until it can be used."""
    page.goto(server.page("review-hours.ipynb"), wait_until="commit")
    page.get_by_role("navigation", name="Parts of the page").wait_for()


def go(page, name):
    """Open a part of the page."""
    page.get_by_role("button", name=name, exact=True).click()


def test_time_is_booked_and_counted(browser, bench):
    """Typed, asked about, booked; a reload in between loses nothing; the review counts it."""
    from playwright.sync_api import expect
    folder, server = bench
    with window(browser) as page:
        open_page(page, server)
        go(page, "Book time")
        form = page.get_by_test_id("form-hours")
        form.get_by_label("Person").fill("Anna")
        form.get_by_label("Hours", exact=True).fill("15")
        form.get_by_label("Work", exact=True).select_option("item:3")
        form.get_by_label("Remark").fill("Ünal's glass")
        go(page, "Jobs")
        page.get_by_test_id("jobs").wait_for()
        go(page, "Book time")  # The form is laid out anew, and what was typed stands in it.
        expect(form.get_by_label("Hours", exact=True)).to_have_value("15")
        page.wait_for_timeout(1500)
        page.reload(wait_until="commit")
        expect(form.get_by_label("Hours", exact=True)).to_have_value("15")
        expect(form.get_by_label("Remark")).to_have_value("Ünal's glass")
        expect(form.get_by_label("Work", exact=True)).to_have_value("item:3")
        page.get_by_role("button", name="Book the hours").click()
        asked = page.get_by_test_id("hours-asked")
        expect(asked).to_contain_text("18 hours")  # 3 h were booked before.
        expect(asked).to_have_attribute("role", "alert")
        page.get_by_role("button", name="No, I will change it").click()
        hours = form.get_by_label("Hours", exact=True)
        hours.fill("abc")
        page.get_by_role("button", name="Book the hours").click()
        expect(hours).to_have_attribute("aria-invalid", "true")
        expect(hours).to_be_focused()
        expect(form.get_by_test_id("fault")).to_contain_text("abc")
        # With the keyboard alone: the value, and Enter.
        page.keyboard.press("Control+a")
        page.keyboard.type("1:45")
        page.keyboard.press("Enter")
        expect(page.get_by_test_id("hours-status")).to_contain_text("1.75 hours of Anna")
        expect(hours).to_have_value("")
        expect(page.get_by_test_id("entries")).to_contain_text("Ünal's glass")
        go(page, "Review of the job")
        expect(page.get_by_test_id("review-booked")).to_have_text("4.8 h")
        page.get_by_test_id("chart-course").locator("svg").wait_for()
    ledger = Ledger(folder)
    entry = ledger.entries(TimeEntry)[-1]
    ledger.close()
    assert (entry.person, entry.hours, entry.item) == ("Anna", 1.75, 3)


def test_a_proposal_is_accepted_and_undone_in_the_browser(browser, bench):
    """A click takes it into the table, another one brings the table back."""
    from playwright.sync_api import expect
    folder, server = bench
    table = folder / "tables" / "operations.csv"
    before = table.read_bytes()
    with window(browser) as page:
        open_page(page, server)
        go(page, "Proposals")
        card = page.locator(".est-proposal").filter(has_text="9 jobs say").first
        card.locator("svg").first.wait_for()
        card.get_by_label("Why").fill("nine jobs")
        card.get_by_label("Why").press("Enter")  # Which decides nothing.
        page.wait_for_timeout(1000)
        assert table.read_bytes() == before
        card.get_by_role("button", name="Accept", exact=True).click()
        expect(page.get_by_test_id("decided")).to_contain_text("Accepted")
        assert table.read_bytes() != before
        page.get_by_role("button", name=re.compile("^Undo: ")).first.click()
        expect(page.get_by_test_id("decided")).to_contain_text("as it was")
        assert table.read_bytes() == before
        expect(page.get_by_test_id("fault")).to_have_count(0)


def test_a_change_is_offered_and_its_addendum_handed_out(browser, bench):
    """A worse condition is worked out, offered and agreed to; the paper is a PDF each time."""
    from playwright.sync_api import expect
    _, server = bench
    with window(browser) as page:
        open_page(page, server)
        go(page, "Jobs")
        page.get_by_role("button", name="Change the job").click()
        page.get_by_label("Condition, row 5", exact=True).select_option("failed")
        page.get_by_label("In your words").fill("seized studs")
        go(page, "Work out the change")
        expect(page.get_by_test_id("change-result")).to_contain_text("seized studs")
        with page.expect_download() as download:
            go(page, "Addendum to sign (PDF)")
        assert Path(download.value.path()).read_bytes().startswith(b"%PDF-")
        go(page, "Offer it")
        expect(page.get_by_test_id("change-said")).to_contain_text("is offered")
        with page.expect_download() as download:
            page.get_by_role("button", name=re.compile("^Addendum .* as PDF$")).click()
        assert Path(download.value.path()).read_bytes().startswith(b"%PDF-")
        page.get_by_role("button", name=re.compile("^The customer agreed to ")).click()
        page.get_by_role("button", name="The customer agreed", exact=True).click()
        expect(page.get_by_test_id("change-said")).to_contain_text("is agreed")
        expect(page.get_by_test_id("fault")).to_have_count(0)


def test_the_start_page_leads_to_it(browser, bench):
    """The link of the first notebook works as it stands, and so does the one to the quote."""
    _, server = bench
    with window(browser) as page:
        page.goto(server.page("start.ipynb"), wait_until="commit")
        page.get_by_role("link", name="Review hours").click()
        page.get_by_role("navigation", name="Parts of the page").wait_for()
        page.get_by_role("link", name="Quote a machine").click()
        page.get_by_test_id("price").wait_for()


def test_what_is_typed_while_something_else_is_booked_stays(browser, bench):
    """Hours are typed while the start of a clock lays the forms out anew: the hours stand."""
    from playwright.sync_api import expect
    _, server = bench
    with window(browser) as page:
        open_page(page, server)
        go(page, "Book time")
        start = page.get_by_test_id("form-start")
        start.get_by_label("Person").fill("Anna")
        start.get_by_label("Work", exact=True).select_option("unbilled:sweeping")
        # In one go, so that the answer to the click comes while it is being typed.
        page.evaluate("""() => {
            const form = document.querySelector('[data-testid=form-start]');
            form.querySelector('button').click();
            const hours = document.querySelector('#hours-hours');
            hours.focus();
            hours.value = '2.5';
            hours.dispatchEvent(new Event('input', {bubbles: true}));
            const note = document.querySelector('#hours-note');
            note.focus();
            note.value = 'half';
            note.dispatchEvent(new Event('input', {bubbles: true}));
        }""")
        page.get_by_test_id("clock").wait_for()
        page.wait_for_timeout(1000)
        expect(page.locator("#hours-hours")).to_have_value("2.5")
        expect(page.locator("#hours-note")).to_have_value("half")
        page.get_by_role("button", name="Let it go, book nothing").click()
        expect(page.get_by_test_id("running")).to_contain_text("No clock")
        expect(page.locator("#hours-hours")).to_have_value("2.5")


def test_a_clock_runs_over_a_reload(browser, bench):
    """Started with a click, it is there after a reload, and stops with a click."""
    from playwright.sync_api import expect
    folder, server = bench
    with window(browser) as page:
        open_page(page, server)
        go(page, "Book time")
        form = page.get_by_test_id("form-start")
        form.get_by_label("Person").fill("Anna")
        form.get_by_label("Work", exact=True).select_option("unbilled:sweeping")
        page.get_by_role("button", name="Start the clock").click()
        expect(page.get_by_test_id("running")).to_contain_text("Anna since")
        page.reload(wait_until="commit")
        expect(page.get_by_test_id("running")).to_contain_text("Anna since")
        go(page, "Book time")
        page.get_by_role("button", name="Let it go, book nothing").click()
        expect(page.get_by_test_id("running")).to_contain_text("No clock")
    ledger = Ledger(folder)
    assert ledger.clocks() == ()
    ledger.close()


def test_the_margin_quoted_of_a_revised_job_is_that_of_the_revision(tmp_path):
    """After a yes what was made is held against the price agreed to, not the first one."""
    survey = read(data_folder() / "demo" / "survey.csv", open_shop().catalogue, final=True)
    bench = Bench(tmp_path / "shop", survey)
    bench.offer(survey.with_line(bench.place("flipper"), **CRACKED))
    number = bench.job.number
    assert looking_over._holding(bench.ledger)[number].price == bench.quoted.price
    jobs.agree(bench.ledger, "harbour", on=DAY)
    held = looking_over._holding(bench.ledger)[number]
    assert held.number != number
    assert held.price > bench.quoted.price
    bench.ledger.close()
