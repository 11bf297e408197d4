"""Past quotes on the page: listed, answered, kept; and what they say about the price."""

import json
import re
from dataclasses import replace

import pytest
import test_pages
from test_pages import no_fault, open_page, window
from test_winning import filled, past_quotes

from estimator.errors import BadInput, Fault
from estimator.ledger import FILE, Ledger
from estimator.pages import past, quote_page, serving
from estimator.quote import TIME
from estimator.shop import new_shop, open_shop

# A fixture of that module: pytest finds it here by its name.
browser = test_pages.browser


@pytest.fixture
def shop_dir(tmp_path):
    """A shop folder with no quotes."""
    return new_shop(tmp_path / "shop")


@pytest.fixture
def opened(shop_dir):
    """Opens pages of the shop, without a browser; closed at the end."""
    pages = []

    def another():
        pages.append(quote_page.QuotePage(shop_dir, open_shop(shop_dir)))
        return pages[-1]

    yield another
    for page in pages:
        page.ledger.close()


def choose(page, number, outcome):
    """What the table sends up when a person chooses from a list."""
    page.past.table._heard(None, {"decide": [number, outcome]}, [])


def shown(page):
    """Outcome by number, as the table has it."""
    return {row["number"]: row["outcome"] for row in page.past.table.rows}


def kept(shop_dir):
    """Outcome by number, as the ledger has it, read anew."""
    ledger = Ledger(shop_dir)
    found = {one.number: one.outcome for one in ledger.sent()}
    ledger.close()
    return found


def told(page):
    """What the block's alert says."""
    return page.past.alerts["past"].widget.value


def test_looking_keeps_nothing_and_says_what_is_missing(opened, shop_dir):
    """An empty shop: no table, no chart, no ledger; how many answers it takes."""
    page = opened()
    assert page.past.table_box.layout.display == "none"
    assert "20 answered quotes (0 so far)" in page.past.words.value
    assert page.past.chart.value == ""
    assert not (shop_dir / FILE).exists()


def test_writing_the_documents_makes_a_quote_a_sent_one(opened, shop_dir):
    """It stands in the table with its figures, once, however often it is written."""
    page = opened()
    page._write()
    page._write()
    (row,) = page.past.table.rows
    (folder,) = (shop_dir / "documents").glob("marmalade-observatory-*")
    assert folder.name.endswith(row["number"])
    assert row["words"][1:] == ["Marmalade Observatory", "Shop job"]
    assert row["figures"][0] == f"${page.offer.price:,.2f}"
    assert row["outcome"] == "open"
    assert f"Quote {row['number']} is kept as open" in page.past.status.value
    assert kept(shop_dir) == {row["number"]: "open"}
    page.choices.pricing.value = TIME
    page._write()
    assert len(page.past.table.rows) == 2


def test_an_outcome_is_kept_at_once_and_there_when_the_page_opens_again(opened, shop_dir):
    """Won, then open again, in the ledger each time; another window shows it after a reload."""
    page = opened()
    page._write()
    (number,), other = shown(page), opened()
    for outcome in ("won", "lost", "open", "won"):
        choose(page, number, outcome)
        assert kept(shop_dir) == shown(page) == {number: outcome}
        assert f"is kept as {outcome}" in page.past.status.value
    assert shown(other) == {number: "open"}
    assert shown(opened()) == {number: "won"}
    assert told(page) == ""


def test_what_another_window_decided_is_not_lost(opened, shop_dir):
    """Each window changes its own quote only, and then shows what the other did."""
    sent = filled(shop_dir, past_quotes(6, still_open=6))
    one, two = opened(), opened()
    choose(one, sent[0].number, "won")
    choose(two, sent[1].number, "lost")
    assert kept(shop_dir)[sent[0].number] == shown(two)[sent[0].number] == "won"
    assert kept(shop_dir)[sent[1].number] == "lost"
    assert shown(one)[sent[1].number] == "open"


def test_with_enough_answers_the_chance_the_best_price_and_the_chart_show(opened, shop_dir):
    """The last answer that was missing switches it on; the price on the page stays."""
    sent = filled(shop_dir, past_quotes(25, seed=3, still_open=8))
    page = opened()
    before = page.offer.price
    for at, one in enumerate(sent[:8]):
        assert bool(page.past.chart.value) == (at >= 3)
        choose(page, one.number, "won" if at % 2 else "lost")
    assert "<svg" in page.past.chart.value
    words = page.past.words.value
    assert "Of 25 quotes answered" in words
    assert f"At ${page.offer.price:,.0f} (" in words
    assert "the chance of winning is" in words
    assert "Most is earned on average at about" in words
    assert "price of this quote" in page.past.chart.value
    assert page.offer.price == before
    assert "est-drivers" in page.past.advice._dom_classes


def test_the_advice_follows_the_price_and_is_old_where_that_is(opened, shop_dir):
    """Another margin, another chance; far off the history it says so, without a mark."""
    filled(shop_dir, past_quotes())
    page = opened()
    first = page.past.words.value, page.past.chart.value
    page.choices.margin.value = 35
    assert page.past.words.value != first[0]
    assert page.past.chart.value != first[1]
    page.choices.margin.value = 80
    assert "its chance is not known" in page.past.words.value
    assert "price of this quote" not in page.past.chart.value
    page._edited([[5, "condition", ""]])
    assert "est-old" in page.past.advice._dom_classes


def test_an_edit_that_changes_nothing_draws_no_chart_again(opened, shop_dir, monkeypatch):
    """The chart is drawn once for one price and one history."""
    filled(shop_dir, past_quotes())
    page = opened()
    drawn = []
    monkeypatch.setattr(past.PastQuotes, "_charted", lambda self, said: drawn.append(1) or "x")
    page._edited([[5, "note", "seen again"]])
    assert drawn == []
    page._edited([[5, "condition", "failed"]])
    assert drawn == [1]


def test_long_lists_show_the_latest_with_a_count(opened, shop_dir):
    """25 of 40, the newest first, and how to see the others."""
    sent = filled(shop_dir, past_quotes(40))
    page = opened()
    assert list(shown(page)) == [one.number for one in sent[:25]]
    assert "latest 25 of 40" in page.past.count.value
    assert "estimator quotes" in page.past.count.value


def test_a_ledger_that_fails_is_said_and_the_choice_goes_back(opened, shop_dir, monkeypatch):
    """Plain words in the block; the list shows again what is kept; the next try clears it."""
    sent = filled(shop_dir, past_quotes(6, still_open=6))
    page = opened()
    messages = []
    monkeypatch.setattr(page.past.table, "send", messages.append)
    with monkeypatch.context() as broken:
        broken.setattr(Ledger, "decide", lambda *_: (_ for _ in ()).throw(
            BadInput(Fault("The ledger is busy.", "Try again."))))
        choose(page, sent[0].number, "won")
    assert "ledger is busy" in told(page)
    assert messages == [{"back": 1}]
    assert shown(page)[sent[0].number] == "open"
    choose(page, sent[0].number, "won")
    assert told(page) == ""
    choose(page, "no-such-number", "won")
    assert "No quote with the number" in told(page)
    choose(page, sent[0].number, "<b>")
    assert "<b>" not in told(page).replace("<b></b>", "")


def test_documents_are_written_even_where_the_ledger_fails(opened, monkeypatch):
    """Both are said: where the documents are, and that the quote is not kept."""
    page = opened()
    monkeypatch.setattr(Ledger, "record", lambda *_: (_ for _ in ()).throw(
        BadInput(Fault("The ledger is busy.", "Try again."))))
    page._write()
    assert "quote.pdf" in page.written.value
    assert "ledger is busy" in told(page)
    assert page.alerts["documents"].widget.value == ""


def test_words_from_the_ledger_are_text(opened, shop_dir):
    """Markup in a number, as another program may have written it, is shown and not obeyed."""
    bad = "<img src=x>"
    filled(shop_dir, [replace(one, number=bad, title=bad) for one in past_quotes(1, still_open=1)])
    page = opened()
    choose(page, bad, "won")
    assert "<img" not in page.past.status.value
    assert page.past.table.rows[0]["number"] == bad


def test_without_a_shop_folder_nothing_is_kept_and_that_is_said(monkeypatch, tmp_path):
    """The block says so, and has no table and no advice."""
    monkeypatch.chdir(tmp_path)
    page = quote_page.QuotePage(None, open_shop())
    words = [child.value for child in page.past.widget.children if hasattr(child, "value")]
    assert any("Without a shop folder" in said for said in words)
    assert page.past.table_box.layout.display == "none"
    assert "answered" not in page.past.words.value


# In a real browser --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def served(tmp_path_factory, chromium):
    """The pages of a shop with three quotes open, twenty and more answered."""
    folder = new_shop(tmp_path_factory.mktemp("past") / "shop")
    filled(folder, past_quotes(30, still_open=3))
    with serving.running(folder) as server:
        yield server, folder


def test_a_quote_is_written_won_and_still_won_after_a_reload(browser, served):
    """Write, choose, reload; the chart stands under it and no fault shows."""
    from playwright.sync_api import expect
    server, folder = served
    with window(browser) as page:
        open_page(page, server)
        expect(page.get_by_test_id("chart-winning").locator("svg")).to_be_visible()
        price = page.get_by_test_id("price").inner_text()
        page.get_by_role("button", name="Write the documents").click()
        status = page.get_by_test_id("sent-kept")
        expect(status).to_have_text(re.compile("^Quote .* is kept as open"))
        number = status.inner_text().split()[1]
        outcome = page.get_by_label(f"Outcome of quote {number}", exact=True)
        outcome.focus()
        outcome.select_option("won")
        expect(status).to_have_text(f"Quote {number} is kept as won.")
        expect(outcome).to_be_focused()
        expect(page.get_by_test_id("winning")).to_contain_text("Of 28 quotes answered")
        page.reload(wait_until="commit")
        expect(outcome).to_have_value("won")
        expect(page.get_by_test_id("price")).to_have_text(price)
        no_fault(page)
    assert kept(folder)[number] == "won"
    (written,) = (folder / "documents").glob(f"*{number}/quote.json")
    assert json.loads(written.read_text(encoding="utf-8"))["number"] == number
