"""A budget or a day turned round on the page: wishes kept, the best set found, taken at a click."""

from datetime import date, timedelta

import pytest

from estimator.catalogue import load
from estimator.ledger import Ledger
from estimator.pages import desk as desks
from estimator.pages.quote_page import QuotePage
from estimator.quote import quote
from estimator.shop import new_shop, open_shop
from estimator.survey import read
from estimator.survey.cells import Wrong


@pytest.fixture
def page(tmp_path):
    """The quote page with the demo survey, without a browser."""
    folder = new_shop(tmp_path / "shop")
    found = QuotePage(folder, open_shop(folder))
    found.fit.worths.value = True
    return found


def price(page):
    """What the engine computes for the page's desk."""
    return float(quote(page.desk.survey(), page.desk.choices(), page.shop, compare=False).price)


def test_a_budget_leaves_out_what_is_worth_least_and_is_taken_at_a_click(page):
    """The set found fits the budget; the click leaves its lines out and the price follows."""
    before = price(page)
    page.fit.budget.value = f"{before - 150:.0f}"
    page.fit.search.start()
    assert "No other choice that fits is worth more" in page.fit.result.value
    assert page.fit.button.layout.display == ""
    page.fit._taken()
    assert price(page) <= before - 150
    assert any(not entry.keep for entry in page.desk.entries)
    assert page.fit.result.value == ""
    assert page.fit.button.layout.display == "none"


def test_a_line_worth_much_is_kept(page):
    """Of lines that could go, the one that means much to the customer stays."""
    before = price(page)
    page.fit.budget.value = f"{before - 150:.0f}"
    page.fit.search.start()
    first = page.fit._found[0]
    page.fit._worth(first, "5000")
    page.fit.search.start()
    assert first not in page.fit._found
    assert page.fit._found


def test_wishes_come_back_with_the_draft(page):
    """Budget, day and worth are in the ledger and on the page that opens it again."""
    row = page.fit.table.rows[0]
    page.fit.budget.value = "2000"
    page.fit.ready.value = date(2030, 5, 1)
    page.fit._worth(row["id"], "75,5")
    again = QuotePage(page.folder, page.shop)
    again.fit.worths.value = True
    assert Ledger(page.folder).latest().content["budget"] == 2000
    assert again.fit.budget.value == "2000"
    assert again.fit.ready.value == date(2030, 5, 1)
    assert again.fit.table.rows[0]["worth"] == "75.5"
    assert again.desk == page.desk


def test_wishes_change_no_figure(page):
    """A wish is not a choice: price, hours and quote number stay, and nothing is computed anew."""
    before = page.offer
    page.fit.budget.value = "1500"
    page.fit._worth(page.fit.table.rows[0]["id"], "10")
    page.refresh()
    assert page.offer is before


@pytest.mark.parametrize(("typed", "said"), [
    ("many", "not a number"), ("0", "over 0"), ("-5", "over 0"), ("1.234", "two ways"),
    ("1e99", "at most")])
def test_a_budget_that_is_none_is_said_and_nothing_is_searched(page, typed, said):
    """What was typed wrong is named, the search waits, the desk keeps what it had."""
    page.fit.budget.value = typed
    assert said in page.fit.search.said.value
    page.fit.search.start()
    assert said in page.fit.search.said.value
    assert page.desk.budget is None
    page.fit.budget.value = "100000"
    page.fit.search.start()
    assert "All of it fits" in page.fit.result.value


def test_too_tight_a_wish_is_said_with_what_there_is(page):
    """Where not even the rest fits, price and days of the rest are named."""
    page.fit.budget.value = "10"
    page.fit.ready.value = date.today() + timedelta(days=1)
    page.fit.search.start()
    said = page.fit.search.said.value
    assert "Even with all left out that can be, the price is" in said
    assert "Even with all left out that can be, it takes" in said
    assert page.fit.result.value == ""


def test_nothing_is_searched_without_a_wish(page):
    """Without budget or day there is nothing to fit to."""
    page.fit.search.start()
    assert "Write a budget" in page.fit.search.said.value


def test_an_edit_takes_the_found_set_away(page):
    """What was found is of the job as it was."""
    page.fit.budget.value = f"{price(page) - 100:.0f}"
    page.fit.search.start()
    assert page.fit.result.value
    page._edited([(page.desk.entries[5].id, "condition", "heavy")])
    assert page.fit.result.value == ""
    assert page.fit.button.layout.display == "none"


def test_an_old_draft_opens_without_wishes(demo_survey_path):
    """A draft kept before there were wishes is as good as ever; a broken one is named."""
    catalogue = load()
    desk = desks.of_survey(read(demo_survey_path, catalogue))
    content = desks.as_json(desk)
    assert "budget" not in content
    assert desks.from_json(content, catalogue) == (desk, ())
    found, lost = desks.from_json(content | {"budget": "x", "ready_by": "soon"}, catalogue)
    assert (found.budget, found.ready_by, len(lost)) == (None, None, 2)


def test_worth_is_an_amount(demo_survey_path):
    """What a line is worth is a number of 0 or more, or blank."""
    desk = desks.of_survey(read(demo_survey_path, load()))
    assert desks.with_worth(desk, 3, " ").entries[2].worth is None
    assert desks.with_worth(desk, 3, "0").entries[2].worth == 0
    with pytest.raises(Wrong, match="0 or more"):
        desks.with_worth(desk, 3, "-1")
