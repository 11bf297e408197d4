"""Where a figure of the page comes from: opened by what the page shows, down to row and source."""

import csv
import html
import itertools
import json
import re

import pytest
import test_pages
from test_pages import demo, no_fault, open_page, window

from estimator.catalogue import LEVELS, Level, data_folder
from estimator.errors import BadInput, Fault
from estimator.pages import origin, quote_page
from estimator.quote import TIME
from estimator.shop import new_shop, open_shop
from estimator.trace import Place
from estimator.trace.steps import step

# Fixtures of that module: pytest finds them here by their names.
browser, page, server, shop = (
    test_pages.browser, test_pages.page, test_pages.server, test_pages.shop)
BUTTON = re.compile(r'<button [^>]*data-figure="([^"]+)" data-of="([^"]*)"[^>]*>([^<]*)</button>')


class Panel:
    """What the browser's side of the panel would ask, and the last answer to it."""

    def __init__(self, page):
        self.page, self.device = page, page.origin
        self.answer, self.asked = None, 0
        self.device.send = lambda content, buffers=None: setattr(self, "answer", content)

    def open(self, key, of=""):
        """Open a figure; the answer."""
        self.asked += 1
        return self.say({"open": key, "of": of, "ask": self.asked})

    def more(self, *path):
        """The steps of a figure in the tree that is open."""
        return self.say({"more": list(path), "ask": self.asked})["steps"]

    def say(self, message):
        """Send a message up; the answer, None where there is none."""
        self.answer = None
        self.device._heard(None, message, [])
        return self.answer


def new_page(folder):
    """The page on an empty ledger, without a browser."""
    return quote_page.QuotePage(new_shop(folder), open_shop(folder))


@pytest.fixture
def desk_page(tmp_path):
    """A page to change things on."""
    found = new_page(tmp_path / "shop")
    yield found
    found.ledger.close()


@pytest.fixture(scope="module")
def calm_page(tmp_path_factory):
    """A page on which nobody changes anything."""
    found = new_page(tmp_path_factory.mktemp("calm") / "shop")
    yield found
    found.ledger.close()


@pytest.fixture
def panel(calm_page):
    """The panel of that page."""
    return Panel(calm_page)


def buttons(page):
    """Key, level and text of every figure on the page that says it can be opened."""
    said = "".join(one.value for one in (
        page.strip, page.board.levels, page.board.parts, page.board.firmness,
        *page.choices.extra_figures.values()))
    found = [(key, of, html.unescape(text)) for key, of, text in BUTTON.findall(said)]
    return found + [(key, "", page.table.prices[line]) for line, key in page.table.opens.items()]


@pytest.mark.parametrize("pricing", ["fixed price", TIME])
def test_every_figure_that_says_it_opens_does_and_has_the_value_shown(desk_page, pricing):
    """Each button on the page: the panel's headline is the text of the button, to the letter."""
    panel = Panel(desk_page)
    for box in list(desk_page.choices.extras.values())[:2]:
        box.value = True
    desk_page.choices.pricing.value = pricing
    found = buttons(desk_page)
    keys = {key for key, of, _ in found if not of}
    assert keys >= {"price", "total", "hours_p50", "hours_p80", "hours_p90", "finish_p80",
                    "chance_of_loss", "margin_mean", "find_allowance", "parts_budget",
                    "hourly_rate", "estimate_class", "seen_share",
                    "cap" if pricing == TIME else "cover"}
    assert {of for _, of, _ in found} == {"", *LEVELS[1:]}
    assert sum(key.startswith("parts_budget.") for key in keys) >= 1
    assert sum(re.fullmatch(r"line-\d+", key) is not None for key in keys) > 30
    for key, of, text in found:
        opened = panel.open(key, of)["opened"]
        assert opened["figure"] == text.lstrip("+"), (key, of)
        assert opened["steps"] or key == "cover", (key, of)


def walked(panel, path=()):
    """Every step below one that is open, down to the leaves."""
    for place, one in enumerate(panel.more(*path)):
        yield one
        if one["more"]:
            yield from walked(panel, (*path, place))


def test_a_line_leads_to_the_row_of_the_table_with_its_source(panel):
    """The hours named stand in operations.csv in just that row, with that source and date."""
    (line,) = {key for key in panel.page.table.opens.values() if key == "line-1"}
    panel.open(line)
    leaves = [one for one in walked(panel) if not one["more"]]
    assert all(one["row"] for one in leaves)
    book = next(one for one in leaves if one["row"]["at"].startswith("operations.csv"))
    number = int(book["row"]["at"].rpartition(" ")[2])
    with (data_folder() / "operations.csv").open(encoding="utf-8", newline="") as file:
        row = next(itertools.islice(csv.DictReader(file), number - 2, None))
    assert book["value"] == "–".join(f"{float(row[name]):g}" for name in ("low", "typical", "high")
                                     ) + " h"
    assert book["row"]["rests"] == [["Basis", row["basis"]], ["Source", row["source"]],
                                    ["Date", row["dated"]]]


def test_one_level_goes_to_the_browser_at_a_time(desk_page):
    """The price at the highest level has a tree of megabytes; an answer is a few kilobytes."""
    panel = Panel(desk_page)
    desk_page.choices.level.value = LEVELS[-1]
    opened = panel.open("price")
    assert len(json.dumps(opened)) < 5_000
    assert "steps" not in opened["opened"]["steps"][0]
    assert len(panel.more(1)) > 60
    assert len(json.dumps(panel.answer)) < 50_000


def test_an_open_figure_says_when_the_job_was_changed(desk_page):
    """Changed: still the old tree, said to be old; taken back: not old; closed: nothing."""
    panel = Panel(desk_page)
    before = panel.open("price")["opened"]["figure"]
    assert panel.device.state == ""
    desk_page._edited([[5, "condition", "heavy"]])
    assert panel.device.state == origin.CHANGED
    assert panel.more(1)[0]["value"]
    desk_page._edited([[5, "condition", "worn"]])
    assert panel.device.state == ""
    desk_page._edited([[5, "condition", "heavy"]])
    after = panel.open("price")["opened"]["figure"]
    assert panel.device.state == ""
    assert after != before
    panel.say({"close": 1})
    desk_page._edited([[5, "condition", "worn"]])
    assert panel.device.state == ""


def test_without_a_new_price_an_open_figure_is_the_last_one(desk_page):
    """Where lines are to be filled in, or a choice is refused, the panel says what it shows."""
    panel = Panel(desk_page)
    before = panel.open("total")["opened"]["figure"]
    desk_page._line_added("flipper")
    assert panel.device.state == origin.UNPRICED
    assert panel.open("total")["opened"]["figure"] == before
    assert panel.device.state == origin.UNPRICED
    desk_page._line_removed(desk_page.desk.entries[-1].id)
    assert panel.open("total")["opened"]["figure"] == before
    assert panel.device.state == ""
    desk_page.choices.confidence.value = 1
    assert panel.device.state == origin.UNPRICED


def test_nothing_is_opened_by_an_edit(desk_page, monkeypatch):
    """A trace is worked out when somebody asks, and not before."""
    def asked(*_):
        raise AssertionError("nobody asked")

    monkeypatch.setattr(origin, "trace", asked)
    monkeypatch.setattr(origin, "figures", asked)
    desk_page._edited([[5, "condition", "heavy"]])
    desk_page.choices.level.value = Level.RECONDITIONED
    assert all(not alert.widget.value for alert in desk_page.alerts.values())


def test_other_levels_are_opened_in_their_own_quote(panel):
    """The same key gives another figure, named by its level; the page's quote stays."""
    here = panel.open("price")["opened"]
    there = panel.open("price", LEVELS[-1])["opened"]
    assert there["figure"] != here["figure"]
    level = panel.page.shop.catalogue.levels[LEVELS[-1]].name
    assert there["name"] == f"Price before tax, {level}"
    assert panel.page.strip.value.count(there["figure"]) == 0


@pytest.mark.parametrize("message", [
    {"open": "unheard-of"}, {"open": "cap"}, {"open": None}, {"open": "line-4999"},
    {"open": "price", "of": "unheard-of"}])
def test_what_is_not_there_is_said_in_plain_words(panel, message):
    """The panel says it, not the page; the figures on the page are not marked as old."""
    ((_, what, fix),) = panel.say({**message, "ask": 7})["faults"]
    assert what.endswith((".", "here."))
    assert fix
    assert "Traceback" not in what + fix
    assert len(what + fix) < 300
    assert all(not alert.widget.value for alert in panel.page.alerts.values())
    assert "est-old" not in panel.page.strip._dom_classes


@pytest.mark.parametrize("path", [[99], [0, 0, 99], ["0"], [None], 3, None, "00"])
def test_a_way_that_leads_nowhere_is_said(panel, path):
    """So is a level asked for after the figure was closed."""
    panel.open("price")
    for _ in range(2):
        answer = panel.say({"more": path, "ask": panel.asked})
        assert "not open any more" in answer["faults"][0][1]
        panel.say({"close": 1})


def test_messages_that_are_no_questions_are_passed_over(panel):
    """Nor is one answered that belongs to a figure opened before."""
    panel.open("price")
    for message in (None, [], "open", {}, {"more": [0], "ask": panel.asked - 1}):
        assert panel.say(message) is None


def test_a_fault_of_the_program_is_logged_and_said(desk_page, monkeypatch):
    """Faults of input keep their place; others go to the log, with where to find it."""
    panel = Panel(desk_page)
    def broken(*_):
        raise RuntimeError("no such luck")

    monkeypatch.setattr(origin, "trace", broken)
    ((_, what, fix),) = panel.open("price")["faults"]
    assert "Something went wrong" in what
    assert str(desk_page.log_path) in fix
    assert "no such luck" in desk_page.log_path.read_text(encoding="utf-8")

    def refused(*_):
        raise BadInput(Fault("This is wrong.", "Mend it.", "rates.csv", 3))

    monkeypatch.setattr(origin, "trace", refused)
    assert panel.open("price")["faults"] == [["rates.csv, row 3", "This is wrong.", "Mend it."]]


def test_lines_of_the_survey_are_named_as_the_page_numbers_them(desk_page):
    """With what was noted on them, and by whom and when, as the page has it now."""
    panel = Panel(desk_page)
    desk_page._line_removed(1)
    desk_page._edited([[6, "note", "seen <b>twice</b>"]])
    desk_page.machine.fields["surveyor"].value = "A. <i>Person</i>"
    desk_page.machine.fields["surveyed"].value = "3 May"
    index = desk_page.desk.numbered()[6]
    panel.open(f"line-{index + 1}")
    rows = [one["row"] for one in walked(panel) if one["row"]]
    row = next(row for row in rows if row["at"] == f"survey, row {index + 1}")
    assert "condition worn" in row["columns"]
    assert row["columns"].endswith("note seen <b>twice</b>")
    assert row["rests"] == [["Source", "survey of the machine, by A. <i>Person</i>"],
                            ["Date", "3 May"]]


def test_words_of_the_tables_cannot_leave_their_place_on_the_page():
    """Names with markup or quotes in them stay text in the button and in its name."""
    said = quote_page.figures.opening('a"b', '<img src=x onerror="alert(1)">', "<b>1</b>")
    assert "<img" not in said
    assert "<b>" not in said
    assert said.count('"') % 2 == 0
    assert 'data-figure="a&quot;b"' in said


def test_titles_that_stand_above_are_not_said_again():
    """Of a line's steps neither name nor formula repeats the line's name."""
    cost = step("row", "c", "Flipper (2): expected cost of labour", 75.0, "USD",
                row=Place("choice", "", None))
    other = step("row", "o", "Post (9): units", 2.0, row=Place("choice", "", None))
    labour = step("product", "l.labour", "Flipper (2): labour", 150.0, "USD", [cost, other])
    line = step("sum", "l", "Flipper (2)", 150.0, "USD", [labour])
    assert origin.shown(line)["how"] == "labour 150.00"
    (below,) = origin.steps_of([line])
    assert (below["name"], below["how"]) == (
        "Labour", "expected cost of labour 75.00 × post (9): units 2")
    assert [one["name"] for one in origin.steps_of([line, labour])] == [
        "Expected cost of labour", "Post (9): units"]


def test_read_from_trials_says_that_the_steps_do_not_add_up(panel):
    """What a person would otherwise try to add."""
    how = panel.open("hours_p80")["opened"]["how"]
    assert "in 80 % of" in how
    assert "does not add up" in how


# In a real browser --------------------------------------------------------------------------------


def inside(summary):
    """The rows right under a row that was opened."""
    found = summary.locator("xpath=..").locator(":scope > ul > li")
    found.first.wait_for()
    return found


def opened_down(panel, names):
    """Open the tree along names, by keyboard; the rows under the last one."""
    rows = panel.locator(".est-tree > ul > li")
    for name in names:
        row = rows.filter(has=panel.page.locator(":scope > details > summary .est-name",
                                                 has_text=re.compile(name))).first
        summary = row.locator(":scope > details > summary")
        summary.focus()
        panel.page.keyboard.press("Enter")
        rows = inside(summary)
    return rows


def test_the_price_opens_down_to_a_row_by_keyboard(page):
    """Enter opens it beside the figure, rows open down to table and source, Escape goes back."""
    from playwright.sync_api import expect
    figure = page.get_by_test_id("price").get_by_role("button")
    expect(figure).to_have_accessible_name(re.compile("^Price before tax, .*where this comes from"))
    shown, box = figure.inner_text(), figure.bounding_box()
    figure.focus()
    page.keyboard.press("Enter")
    panel = page.get_by_role("dialog", name=re.compile("Price before tax"))
    expect(panel.locator("h2")).to_be_focused()
    expect(panel.locator("h2 b")).to_have_text(shown)
    expect(figure).to_have_attribute("aria-expanded", "true")
    assert figure.bounding_box() == box
    over = panel.bounding_box()
    assert over["x"] + over["width"] <= box["x"] or over["x"] >= box["x"] + box["width"]
    rows = opened_down(panel, ["Handed out", "Intake", "^Labour", "Expected cost", "Expected hours",
                               "Hands-on", "", "Hours, low"])
    expect(rows.first).to_contain_text(re.compile(r"operations\.csv, row \d+"))
    expect(rows.first).to_contain_text(re.compile(r"Source \w"))
    page.keyboard.press("Escape")
    expect(panel).to_be_hidden()
    expect(figure).to_be_focused()
    expect(figure).not_to_have_attribute("aria-expanded", "true")
    no_fault(page)


def test_a_lines_price_opens_and_what_was_typed_is_text(page):
    """A note with markup runs nothing; an edit while it is open is said and can be followed."""
    from playwright.sync_api import expect
    page.get_by_label("Note, row 5", exact=True).fill('<img src=x onerror="window.bad = 1">')
    page.get_by_label("Count, row 5", exact=True).focus()
    price = page.get_by_test_id("price-row-5").get_by_role("button")
    shown = price.inner_text()
    price.click()
    panel = page.get_by_test_id("origin")
    expect(panel.locator("h2 b")).to_have_text(shown)
    while (shut := panel.locator("details:not([open]) > summary")).count():
        first = shut.first.element_handle()
        shut.first.click()
        page.wait_for_function("row => row.parentElement.querySelector(':scope > ul > li')",
                               arg=first)
    expect(panel.locator(".est-tree")).to_contain_text("note <img src=x onerror=")
    assert panel.locator("img").count() == 0
    assert page.evaluate("window.bad") is None

    page.get_by_label("Condition, row 5", exact=True).select_option("failed")
    expect(panel.locator(".est-note")).to_contain_text("The job was changed")
    expect(price).not_to_have_text(shown)
    expect(panel.locator("h2 b")).to_have_text(shown)
    panel.get_by_role("button", name="Show the new one").click()
    expect(panel.locator("h2 b")).not_to_have_text(shown)
    expect(panel.locator("h2 b")).to_have_text(price.inner_text())
    expect(panel.locator(".est-note")).to_be_empty()
    panel.get_by_role("button", name="Close").click()
    expect(panel).to_be_hidden()
    expect(price).to_be_focused()
    no_fault(page)


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (820, 1180)])
def test_the_open_panel_can_be_read_and_reached_by_everyone(browser, server, width, height):
    """No critical or serious finding by axe, nothing cut off, the figure in sight beside it."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    with window(browser, width, height) as page:
        open_page(page, server)
        demo(page)
        figure = page.get_by_test_id("hours-p80").get_by_role("button")
        figure.click()
        panel = page.get_by_test_id("origin")
        summary = panel.locator("summary").nth(2)
        summary.click()
        inside(summary)
        found = axe.Axe().run(page).response["violations"]
        assert [(one["id"], node["target"]) for one in found for node in one["nodes"][:3]
                if one["impact"] in ("critical", "serious")] == []
        over, box = panel.bounding_box(), figure.bounding_box()
        assert over["x"] >= 0
        assert over["y"] >= 0
        assert over["x"] + over["width"] <= width
        assert over["y"] + over["height"] <= height
        assert (over["x"] + over["width"] <= box["x"] or over["y"] >= box["y"] + box["height"])
        assert panel.evaluate("""node => [...node.querySelectorAll('.est-tree *')]
            .filter(e => e.getBoundingClientRect().right > node.getBoundingClientRect().right)
            .length""") == 0
