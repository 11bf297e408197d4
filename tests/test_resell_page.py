"""The page "Restore or resell": the deal as it is typed, the answer, drafts, papers, a browser."""

import html
import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import test_pages
from test_pages import window

from estimator import survey
from estimator.catalogue import Condition, Era, data_folder
from estimator.errors import BadInput
from estimator.ledger import Draft, Ledger, new_key
from estimator.pages import deal as deals
from estimator.pages import deciding, resell_answer, resell_page, serving
from estimator.pages import desk as desks
from estimator.pages.resell_page import ResellPage
from estimator.resale import Deal, Jobs, Words, as_dict, playing, resale
from estimator.resale.swings import moved
from estimator.shop import new_shop, open_shop
from estimator.simulate import Stopped

# A fixture of that module: pytest finds it here by its name.
browser = test_pages.browser
EVIL = '<script>alert("x")</script>'
QUICK = {"trials": "400"}


@pytest.fixture(scope="module")
def shop():
    """The shop as it is shipped."""
    return open_shop()


@pytest.fixture(scope="module")
def demo(shop):
    """The demo survey."""
    return survey.read(data_folder() / "demo" / "survey.csv", shop.catalogue)


@pytest.fixture
def shop_dir(tmp_path):
    """A shop folder with nothing kept."""
    return new_shop(tmp_path / "shop")


@pytest.fixture
def opened(shop_dir):
    """Opens pages of the shop, without a browser; closed at the end."""
    pages = []

    def another(draft=None):
        page = ResellPage(shop_dir, open_shop(shop_dir), draft)
        pages.append(page)
        return page

    yield another
    for page in pages:
        page.ledger.close()


@pytest.fixture
def page(opened):
    """A page with the example on it, played a few times."""
    found = opened()
    found._typed(QUICK)
    return found


def figure(page, test):
    """A figure of the answer at a glance."""
    shown = page.answer.strip.value
    return html.unescape(re.search(rf'data-testid="{test}"[^>]*>([^<]*)<', shown)[1])


def wrong(page):
    """What is marked as wrong, by field."""
    return {name: said for form in page.forms.values() for name, said in form.faults.items()}


def fine(page):
    """Nothing on the page says that something is wrong."""
    assert wrong(page) == {}
    assert [alert.widget.value for alert in page.alerts.values()] == [""] * len(page.alerts)
    assert page.gaps.value == ""


def engine(page, **changed):
    """What the engine finds for the deal on a page, with nothing kept from before."""
    return resale(page.survey, replace(page.found.deal, **changed), page.shop)


# The deal -----------------------------------------------------------------------------------------


def test_a_deal_is_read_as_people_write_it(shop):
    """Per cents become shares, a decimal comma is read, a blank is what the shop says."""
    deal = deals.read({"value": "5 000", "asking": "2600,50", "fee": "12,5 %", "premium": "10",
                       "want": "20", "confidence": "90", "buying": "auction", "seed": "7",
                       "ready_by": "2027-03-02"}, shop, date(2026, 3, 2))
    assert deal == Deal(5000.0, asking=2600.5, fee=0.125, premium=0.1, want=0.2, confidence=0.9,
                        buying="auction", seed=7, ready_by=date(2027, 3, 2), on=date(2026, 3, 2))


def test_what_does_not_apply_is_not_read(shop):
    """The asking price of a machine that is owned, and what was paid for one that is not."""
    both = {"value": "5000", "asking": "oops", "paid": "1900", "premium": "x"}
    deal = deals.read({**both, "standing": deals.OWNED}, shop, date.today())
    assert (deal.asking, deal.paid, deal.premium) == (None, 1900.0, None)
    deal = deals.read({**both, "standing": deals.OFFERED, "asking": "0", "premium": "",
                       "paid": "oops"}, shop, date.today())
    assert (deal.asking, deal.paid) == (0.0, None)


WRONG = [
    ("value", "", "blank"), ("value", "abc", "abc"), ("value", "0", "over 0"),
    ("value", "-5", "over 0"), ("value", "1.200", "two ways"), ("value", "1e9", "more than"),
    ("value_low", "6000", "over the market value"), ("value_high", "10", "under the market value"),
    ("asking", "", "blank"), ("asking", "-1", "0 or more"), ("paid", "-5", "0 or more"),
    ("fee", "120", "0 to 90 %"), ("fee", "ten", "ten"), ("premium", "-3", "0 to 90 %"),
    ("purchase_tax", "91", "0 to 90 %"), ("fetching", "-1", "0 or more"),
    ("want", "501", "0 to 500 %"), ("want_profit", "-1", "0 or more"),
    ("confidence", "100", "5 to 99 %"), ("capital_rate", "-1", "0 to 500 %"),
    ("storage_per_month", "-1", "0 or more"), ("hours_per_week", "0", "0.5 to 168"),
    ("wait_weeks", "600", "ten years"), ("bench_hour_earns", "=1+1", "formula"),
    ("budget", "x", "not a number"), ("hours", "-1", "0 or more"),
    ("ready_by", "2020-01-01", "not after"), ("ready_by", "soon", "not a day"),
    ("trials", "12.5", "whole number"), ("trials", "99", "whole number"),
    ("trials", "1e6", "whole number"), ("seed", "-1", "whole number"),
    ("way", "barter", "not a way"), ("found", "rusty", "not a state"),
]


@pytest.mark.parametrize(("field", "value", "words"), WRONG)
def test_what_is_wrong_is_said_at_its_field(shop, field, value, words):
    """Every field refuses what it cannot hold, in plain words, and no other field is blamed."""
    values = {"value": "5000", "asking": "2600", "standing":
              deals.OWNED if field == "paid" else deals.OFFERED, field: value}
    with pytest.raises(BadInput) as raised:
        deals.read(values, shop, date.today())
    assert [fault.column for fault in raised.value.faults] == [field]
    assert words in str(raised.value.faults[0])


def test_all_that_is_wrong_is_said_at_once(page):
    """Two forms with a fault each: both are marked, the answer stays and is said to be old."""
    before = figure(page, "bid")
    page._typed({"value": "abc", "seed": "-1"})
    assert set(wrong(page)) == {"value", "seed"}
    assert figure(page, "bid") == before
    assert "last good" in page.gaps.value
    assert "est-old" in page.answer.strip._dom_classes
    assert page.answer.papers["pdf"].disabled
    page._typed({"value": "5000", "seed": "1"})
    fine(page)
    assert "est-old" not in page.answer.strip._dom_classes
    assert not page.answer.papers["pdf"].disabled


def test_fields_follow_whether_the_machine_is_owned(page):
    """Owned: what was paid, and nothing of buying; what was typed before comes back."""
    page._typed({"asking": "2 600", "premium": "10"})
    page._typed({"standing": deals.OWNED})
    assert "paid" in page.forms["machine"].values
    assert not {"asking", "premium", "buying"} & {name for form in page.forms.values()
                                                  for name in form.values}
    page._typed({"standing": deals.OFFERED})
    assert page.forms["machine"].values["asking"] == "2 600"
    assert page.forms["trade"].values["premium"] == "10"
    fine(page)


# The answer ---------------------------------------------------------------------------------------


def test_a_first_page_shows_an_example_and_its_answer(opened):
    """Without drafts the demo survey is there with figures, said to be an example."""
    page = opened()
    page._there()
    fine(page)
    assert "An example" in page.keeping.widget.value
    assert page.found == engine(page)
    assert figure(page, "advice") == Words(page.found).head()
    for name, chart in page.answer.charts.items():
        assert f'data-testid="chart-{name}"' in chart.value


@pytest.mark.parametrize("change", [
    {"value": "6200"}, {"fee": "12"}, {"asking": "3500"}, {"way": "auction"},
    {"standing": deals.OWNED, "paid": "1900"}, {"hours_per_week": "9"}, {"wait_weeks": "30"},
    {"value_low": "2000"}, {"seed": "2"}, {"capital_rate": "40"}, {"survey": "era:modern"},
    {"found": "not-working"}, {"budget": "900000"}, {"trials": "500"},
])
def test_an_edit_is_answered_as_if_nothing_had_been_kept(page, change):
    """Whatever changes, the page's answer is the one that the engine finds from nothing."""
    before = page.found
    page._typed(change)
    fine(page)
    fresh = resale(page.survey, deals.read(page.values, page.shop, date.today()), page.shop)
    assert page.found == fresh
    assert page.found != before
    assert all(np.array_equal(row, fresh.worths[key]) for key, row in page.found.worths.items())


def test_jobs_are_played_once_for_a_survey(demo, shop, monkeypatch):
    """Prices, fees and ways play no job again; trials, bench hours a week and the survey do."""
    played = []
    simulate = playing.simulate
    monkeypatch.setattr(playing, "simulate",
                        lambda *given, **named: played.append(1) or simulate(*given, **named))
    jobs, deal = Jobs(), Deal(5000, trials=200)

    def more(of=demo, **changed):
        played.clear()
        resale(of, replace(deal, **changed), shop, jobs=jobs)
        return len(played)

    assert more() > 3
    assert more(value=7000, fee=0.1, asking=100, way="auction", storage_per_month=99) == 0
    assert more(seed=2) > 3
    assert more(hours_per_week=5) > 3
    worse = replace(demo, lines=(replace(demo.lines[0], condition=Condition.FAILED),
                                 *demo.lines[1:]))
    assert more(worse, hours_per_week=5) > 3


def test_play_can_be_stopped(demo, shop):
    """What is told how far it is may say no, and then nothing comes of it."""
    told = []
    with pytest.raises(Stopped):
        resale(demo, Deal(5000, trials=200), shop,
               progress=lambda share: told.append(share) or len(told) < 3)
    assert told == sorted(told)
    assert told[0] == 0
    assert len(told) == 3


def test_money_that_is_spent_is_shown_and_left_out(page):
    """What was paid changes the sentence about it and no choice."""
    page._typed({"standing": deals.OWNED, "paid": "1900"})
    first = page.found
    assert figure(page, "spent") == "$1,900, left out"
    assert "no part in the choice" in page.answer.words.value
    page._typed({"paid": "4000"})
    assert page.found.choices == first.choices
    assert page.found.best == first.best
    assert figure(page, "spent") == "$4,000, left out"


def test_limits_that_nothing_fits_are_said_at_their_field(page):
    """A cost that not even the least work keeps to: marked; the answer is without limits."""
    free = page.found
    page._typed({"budget": "1"})
    assert "over the limit" in wrong(page)["budget"]
    assert "without limits" in wrong(page)["budget"]
    assert page.found == free
    page._typed({"budget": "", "hours": "0.1"})
    assert set(wrong(page)) == {"hours"}


def test_a_budget_moves_the_best_set(page):
    """With a limit fewer lines are taken, within it; the table marks those that are."""
    whole = page.found.paying.chosen
    limit = round(0.97 * whole.cost)
    page._typed({"budget": str(limit)})
    fine(page)
    chosen = page.found.paying.chosen
    assert chosen.cost <= limit < whole.cost
    assert page.answer.pays.value.count("<td class=\"\">yes") == sum(
        row.line in chosen.lines for row in page.found.paying.lines)
    assert f"cost ${limit:,}" in page.answer.pays.value
    assert "Proven" in page.answer.pays.value


def test_the_table_holds_what_the_engine_found(page):
    """A row for each choice with its words, and the numbers that put it in order."""
    found = page.found
    assert [row["key"] for row in page.answer.ranked.rows] == [one.key for one in found.choices]
    (chosen,) = [row for row in page.answer.ranked.rows if row["chosen"]]
    assert chosen["key"] == found.best
    heads = [head["label"] for head in page.answer.ranked.heads]
    assert len(heads) == len(deciding.HEADS)
    for row, one in zip(page.answer.ranked.rows, found.choices, strict=True):
        assert len(row["cells"]) == len(row["values"]) == len(heads)
        if one.key != "leave-it":
            held = dict(zip(heads, row["values"], strict=True))
            assert held["Profit, mean"] == one.profit
            assert held["Loss in 100"] == one.chance_of_loss
            assert held["Brings per bench hour"] == one.per_hour
            assert row["cells"][heads.index("Bid at most")] == f"{one.highest_price:,.0f}"
    assert json.dumps(page.answer.ranked.rows)
    page._typed({"standing": deals.OWNED})
    assert [head["label"] for head in page.answer.ranked.heads][-1] == "Take from"
    # Selling as found is what the others are held against, and has no return of its own.
    assert "held against" in page.answer.under.value


def test_more_trials_than_an_edit_waits_for_are_played_after_it(page, monkeypatch):
    """At first few, then all that were asked for; the button plays many."""
    monkeypatch.setattr(resell_answer, "LIVE", 300)
    shown = []
    take = page.answer.take
    monkeypatch.setattr(page.answer, "take",
                        lambda found: shown.append(found.deal.trials) or take(found))
    page._typed({"trials": "600"})
    page._there()
    assert shown[0] == 300
    assert shown[-1] == 600
    assert figure(page, "trials") == "600"
    assert page.found == engine(page, trials=600)
    monkeypatch.setattr(resell_answer, "MANY", 1200)
    page._typed({"trials": "300"})
    assert figure(page, "trials") == "300"
    page.answer.many.start()
    assert figure(page, "trials") == "1,200"
    assert "1,200 times" in page.answer.many.said.value
    page._typed({"value": "5100"})
    assert page.answer.many.said.value == ""


def test_what_moves_the_profit_is_what_the_profit_is_made_of():
    """The ends are means of the outer fifths; what moves nothing, or only by luck, is left out."""
    rng = np.random.default_rng(3)
    draws = {"value": rng.normal(size=5000), "luck": rng.normal(size=5000),
             "fixed": np.ones(5000), "cost": rng.normal(size=5000)}
    found = moved(500 * draws["value"] - 200 * draws["cost"], draws)
    assert [row.what for row in found] == ["value", "cost"]
    # Mean of a standard normal beyond its upper fifth: φ(z)/0.2 with z = 0.8416 is 1.400; R. D.
    # Gordon's inverse Mills ratio, "Annals of Mathematical Statistics" 12, 1941.
    assert found[0].high == pytest.approx(500 * 1.400, rel=0.05)
    assert found[0].low == pytest.approx(-500 * 1.400, rel=0.05)
    assert found[1].high == pytest.approx(-200 * 1.400, rel=0.15)


def test_swings_stand_in_the_answer(page):
    """A dearer market is better; the lead over the next is its own figure, and in the contract."""
    profit, lead = page.found.swings
    best, other = (page.found.choice(key) for key in (lead.key, lead.other))
    assert profit.middle == pytest.approx(best.profit)
    assert lead.middle == pytest.approx(best.profit - other.profit)
    value = next(row for row in profit.rows if row.what == "Market value")
    assert value.low < profit.middle < value.high
    assert [row["choice"] for row in as_dict(page.found)["swings"]] == [profit.key, lead.key]
    page.answer.moved("1")
    assert f"over: {other.name}" in page.answer.charts["swings"].value


def test_choices_are_ticked_for_the_chart_of_cash(page, opened):
    """Three at first; what is ticked is drawn and kept; a sixth takes the place of the first."""
    assert [key for key, one in page.answer.ticks.items() if one.value] == \
        [key for key in page.answer.ticks if key in page.answer._ticked()]
    assert len(page.answer._ticked()) == 3
    page.answer.ticks["part-out"].value = True
    assert "Part out" in page.answer.charts["cash"].value
    page.save()
    again = opened()
    assert again.answer.ticks["part-out"].value
    for one in page.answer.ticks.values():
        one.value = True
    assert sum(one.value for one in page.answer.ticks.values()) == deciding.MOST_LINES
    for one in page.answer.ticks.values():
        one.value = False
    fine(page)


def test_words_of_people_stay_words(page, demo, shop):
    """A machine whose name is markup is shown as typed and never as markup."""
    evil = replace(demo, machine=replace(demo.machine, title=EVIL, maker=EVIL))
    page._uploaded(f"{EVIL}.csv", 1000, survey.csv_bytes(evil, shop.catalogue))
    fine(page)
    page.save()
    assert page.survey.machine.title == EVIL
    answer = page.answer
    for shown in (answer.strip, answer.words, answer.under, answer.pays, page.keeping.widget,
                  page.gaps, *answer.charts.values()):
        assert "<script" not in shown.value


# Surveys and drafts -------------------------------------------------------------------------------


def kept_quote(ledger, desk):
    """A draft of the page "Quote a machine"."""
    return ledger.save(Draft(new_key(), desk.title, desks.as_json(desk)))


def test_the_draft_of_a_quote_is_taken(shop_dir, demo, opened):
    """The machine that is being quoted is offered first, without a value; it is asked for."""
    ledger = Ledger(shop_dir)
    draft = kept_quote(ledger, desks.of_survey(demo))
    page = opened()
    assert page.values["survey"] == f"draft:{draft.key}"
    assert page.survey.lines == demo.lines
    assert page.found is None
    assert "Say the market value and the asking price" in page.gaps.value
    assert wrong(page) == {}
    assert page.answer.strip.value == ""
    assert page.answer.body.layout.display == "none"
    page._typed({"value": "5000", "asking": "2600", **QUICK})
    fine(page)
    assert page.answer.body.layout.display == ""
    page._typed({"value": ""})
    assert set(wrong(page)) == {"value"}
    assert "last good" in page.gaps.value
    page._typed({"value": "5000"})
    page.save()
    ledger.forget(draft.key)
    ledger.close()
    gone = opened()
    assert "not there any more" in gone.alerts["survey"].widget.value
    assert "choose one" in gone.gaps.value
    gone._typed({"survey": f"era:{Era.MODERN}"})
    fine(gone)


def test_a_survey_with_gaps_leads_to_the_page_where_they_are_filled(shop_dir, demo, opened):
    """What is missing is named with its row; there is no answer until it is filled in."""
    ledger = Ledger(shop_dir)
    desk, _ = desks.edited(desks.of_survey(demo), [(3, "condition", "")], open_shop().catalogue)
    kept_quote(ledger, desk)
    ledger.close()
    page = opened()
    page._typed({"value": "5000", "asking": "1000"})
    assert "condition of row 3" in page.gaps.value
    assert 'href="quote.ipynb"' in page.gaps.value
    assert page.found is None


def test_what_is_typed_is_kept_as_it_was_typed(page, opened):
    """A new window has every word again, also one that cannot be read."""
    page._typed({"value": "5 100,0", "fee": "ten", "want": "20 %"})
    page.save()
    again = opened()
    assert again.keeping.draft.key == page.keeping.draft.key
    assert again.forms["machine"].values["value"] == "5 100,0"
    assert again.forms["trade"].values["fee"] == "ten"
    assert set(wrong(again)) == {"fee"}
    again._typed({"fee": "10"})
    fine(again)
    assert again.found.deal.value == 5100


def test_a_survey_from_a_file_is_kept_with_the_decision(page, opened, demo, shop):
    """It is there after a reload, without the file; a broken one is refused with its place."""
    other = replace(demo, machine=replace(demo.machine, title="Comet"), lines=demo.lines[:30])
    page._uploaded("comet.csv", 900, survey.csv_bytes(other, shop.catalogue))
    fine(page)
    page.save()
    again = opened()
    assert again.survey.lines == other.lines
    assert "Comet" in dict(map(reversed, again.picker.options))[again.keeping.draft.key]
    before = again.found
    again._uploaded("broken.csv", 60, b"assembly,count,condition,certainty\nfliper,2,worn,seen\n")
    assert "broken.csv" in again.alerts["source"].widget.value
    assert "row 2" in again.alerts["source"].widget.value
    assert again.found is before
    again._uploaded("huge.csv", 100_000_000, None)
    assert "100 MB" in again.alerts["source"].widget.value


def test_decisions_and_quotes_keep_to_their_pages(page, shop_dir):
    """A decision is no draft of a quote, nor the other way round."""
    page.save()
    ledger = Ledger(shop_dir)
    try:
        assert ledger.drafts() == ()
        assert ledger.latest() is None
        assert [one.key for one in ledger.drafts(deals.KIND)] == [page.keeping.draft.key]
        kept_quote(ledger, desks.Desk())
        assert len(ledger.drafts()) == len(ledger.drafts(deals.KIND)) == 1
    finally:
        ledger.close()


def test_decisions_are_begun_chosen_and_deleted(page):
    """A new one begins with the same survey and no figures; the old one comes back as it was."""
    page._typed({"value": "4321"})
    page.save()
    first = page.keeping.draft.key
    page._asked("new")
    assert page.keeping.draft.key != first
    assert page.answer.strip.value == ""
    assert page.forms["machine"].values["value"] == ""
    assert page.values["survey"] == "demo"
    page.picker.value = first
    assert page.forms["machine"].values["value"] == "4321"
    page._asked("delete")
    assert page.keeping.draft.key == first
    assert page.buttons["delete"].description == "Really delete it?"
    page._asked("delete")
    assert page.keeping.draft.key != first
    assert page.ledger.draft(first) is None


def test_older_drafts_and_decisions_are_found(page, opened, monkeypatch, demo):
    """Each list has its field once it is full; what was chosen stays there, and the figures too."""
    assert {one.widget.layout.display for one in page.find.values()} == {"none"}
    monkeypatch.setattr("estimator.pages.finding.MOST", 2)
    for n in range(4):
        desk = desks.of_survey(replace(demo, machine=replace(
            demo.machine, title=f"Night Ferry {n}", customer="Zoë Example")))
        kept_quote(page.ledger, desk)
        page._asked("new")
        page._typed(QUICK | {"value": f"{n + 1}000", "asking": "900"})
        page.save()
    first = page.ledger.drafts(deals.KIND)[-1]
    again = opened()
    assert {one.widget.layout.display for one in again.find.values()} == {""}

    def surveys():
        (field,) = [one for one in again.forms["machine"].fields if one["name"] == "survey"]
        return [words for group, options in field["options"] if "Drafts" in group
                for _, words in options]

    assert len(surveys()) == 2
    again.find["draft"].field.value = "ferry 1, zoe"
    assert [words[:13] for words in surveys()] == ["Night Ferry 1"]
    before = again.found
    key = again.ledger.drafts(words="ferry 1,")[0].key
    again._typed({"survey": f"draft:{key}"})
    again.find["draft"].field.value = "ferry 2,"
    assert [words[:13] for words in surveys()] == ["Night Ferry 2", "Night Ferry 1"]
    assert again.values["survey"] == f"draft:{key}"
    assert again.survey.machine.title == "Night Ferry 1"
    assert again.found.deal == before.deal
    assert first.key not in dict(map(reversed, again.picker.options))
    again.find["decision"].field.value = first.title
    assert "found" in again.find["decision"].said.value or "listed" in \
        again.find["decision"].said.value


def test_another_window_is_not_overwritten(page, opened):
    """Who saves second is told so, and what the first one kept stays."""
    page.save()
    other = opened(page.keeping.draft.key)
    other._typed({"value": "6000"})
    other.save()
    page._typed({"value": "7000"})
    page.save()
    assert "another window" in page.alerts["ledger"].widget.value
    assert page.ledger.draft(page.keeping.draft.key).content["typed"]["value"] == "6000"


def test_without_a_shop_folder_nothing_is_kept_and_it_is_said(shop):
    """The page works all the same."""
    page = ResellPage(None, shop)
    page._typed(QUICK)
    fine(page)
    assert "nothing on this page is kept" in page.keeping.widget.value
    assert page.found is not None


def test_a_page_that_cannot_open_says_why(monkeypatch, tmp_path):
    """A shop file that is broken is named with its place; the cell does not raise."""
    folder = new_shop(tmp_path / "shop")
    (folder / "shop.toml").write_text("margin = 7\n", encoding="utf-8")
    monkeypatch.setenv(serving.SHOP_VARIABLE, str(folder))
    said = " ".join(one.value for one in resell_page.opened().children if hasattr(one, "value"))
    assert "margin" in said
    assert "Restore or resell" in said


# Papers -------------------------------------------------------------------------------------------


def test_papers_hold_the_answer_that_stands_on_the_page(page, monkeypatch):
    """One page of PDF, and all figures as JSON, under the machine's name."""
    handed = {}
    for kind, button in page.answer.papers.items():
        monkeypatch.setattr(button, "hand_out",
                            lambda name, _, data, kind=kind: handed.update({kind: (name, data)}))
    page.answer.hand_out("pdf")
    page.answer.hand_out("json")
    assert handed["pdf"][0] == "marmalade-observatory-decision.pdf"
    assert handed["pdf"][1].startswith(b"%PDF-")
    assert json.loads(handed["json"][1]) == json.loads(json.dumps(as_dict(page.found)))
    assert page.alerts["papers"].widget.value == ""


# In a browser -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def bench(tmp_path_factory, chromium):
    """A shop, served; its folder and its server."""
    folder = new_shop(tmp_path_factory.mktemp("resell") / "shop")
    with serving.running(folder) as server:
        yield folder, server


def open_page(page, server):
    """Open the page and wait until it has been drawn."""
    page.goto(server.page("restore-or-resell.ipynb"), wait_until="commit")
    page.get_by_test_id("pays").wait_for()


def field(page, name):
    """A field of the deal by its label."""
    return page.get_by_role("textbox", name=name, exact=True)


def said(found, test):
    """A figure at a glance as the page should write it."""
    return html.unescape(re.search(rf'data-testid="{test}"[^>]*>([^<]*)<',
                                   deciding.strip(found))[1])


def test_a_decision_is_made_in_the_browser(browser, bench, demo):
    """Typed, answered, put in order, marked where wrong, kept over a reload, handed out."""
    from playwright.sync_api import expect
    folder, server = bench
    shop = open_shop(folder)
    with window(browser) as page:
        open_page(page, server)
        deal = Deal(5000, asking=2600, buying="auction")
        expect(page.get_by_test_id("bid")).to_have_text(said(resale(demo, deal, shop), "bid"))
        field(page, "Market value").fill("6200")
        field(page, "Asking price").fill("3100")
        page.keyboard.press("Tab")
        deal = replace(deal, value=6200, asking=3100)
        found = resale(demo, deal, shop)
        expect(page.get_by_test_id("bid")).to_have_text(said(found, "bid"))
        expect(page.get_by_test_id("advice")).to_have_text(Words(found).head())

        table = page.get_by_test_id("choices")
        first = table.locator("tbody tr").first
        loss = table.get_by_role("columnheader", name="Loss in 100")
        loss.get_by_role("button").click()
        expect(loss).to_have_attribute("aria-sort", "ascending")
        page.keyboard.press("Enter")  # The heading has the focus again.
        expect(loss).to_have_attribute("aria-sort", "descending")
        worst = max((one for one in found.choices if one.key != "leave-it"),
                    key=lambda one: one.chance_of_loss)
        expect(first).to_have_attribute("data-key", worst.key)
        profit = table.get_by_role("columnheader", name="Profit, mean")
        profit.get_by_role("button").focus()
        page.keyboard.press("Enter")
        best = max(found.choices, key=lambda one: one.profit)
        expect(first).to_have_attribute("data-key", best.key)

        page.get_by_label("Part out", exact=True).focus()
        page.keyboard.press("Space")
        expect(page.get_by_test_id("chart-cash").locator("svg")).to_have_attribute(
            "aria-label", re.compile("Part out: now"))
        page.get_by_role("button", name="Its lead over the next best").click()
        expect(page.get_by_test_id("chart-swings")).to_contain_text("What moves the lead")

        fee = field(page, "Seller's fee, %")
        fee.fill("120")
        expect(fee).to_have_attribute("aria-invalid", "true")
        expect(page.get_by_test_id("fault")).to_contain_text("0 to 90 %")
        expect(fee).to_be_focused()
        expect(page.get_by_role("button", name="Decision on one page (PDF)")).to_be_disabled()
        fee.fill("8")
        page.keyboard.press("Tab")
        expect(page.get_by_test_id("fault")).to_have_count(0)
        found = resale(demo, replace(deal, fee=0.08), shop)
        expect(page.get_by_test_id("profit")).to_have_text(said(found, "profit"))

        expect(page.get_by_test_id("saved")).to_have_text(re.compile(r"Saved at \d\d:\d\d:\d\d"))
        page.wait_for_timeout(1500)
        page.reload(wait_until="commit")
        expect(field(page, "Seller's fee, %")).to_have_value("8")
        expect(page.get_by_test_id("profit")).to_have_text(said(found, "profit"))
        expect(page.get_by_label("Part out", exact=True)).to_be_checked()
        for name, begins in (("Decision on one page (PDF)", b"%PDF-"),
                             ("All figures (JSON)", b"{")):
            with page.expect_download() as download:
                page.get_by_role("button", name=name).click()
            assert Path(download.value.path()).read_bytes().startswith(begins)

        page.get_by_role("button", name=re.compile("^Play it")).click()
        expect(page.get_by_test_id("trials")).to_have_text("100,000")
        expect(page.get_by_test_id("fault")).to_have_count(0)


def test_the_start_page_leads_to_it(browser, bench):
    """The links of the start page and of the quote lead here, and one from here to the quote."""
    _, server = bench
    with window(browser) as page:
        page.goto(server.page("start.ipynb"), wait_until="commit")
        page.get_by_role("link", name="Restore or resell").click()
        page.get_by_test_id("advice").wait_for()
        page.get_by_role("link", name="Quote a machine").click()
        page.get_by_test_id("price").wait_for()
        page.get_by_role("link", name="Restore or resell").click()
        page.get_by_test_id("advice").wait_for()
