"""The page "Quote a machine" without a browser: its desk, its callbacks, what it keeps and says."""

import ast
import asyncio
import dataclasses
import json
import selectors
from pathlib import Path

import ipywidgets as widgets
import pytest
from hypothesis import given
from hypothesis import strategies as some

from estimator.catalogue import Certainty, Condition, Era, Level, load
from estimator.errors import BadInput, Fault
from estimator.ledger import Ledger
from estimator.pages import board, figures, opening, quote_page, serving
from estimator.pages import desk as desks
from estimator.pages.guard import fault_list, guarded
from estimator.pages.later import Later
from estimator.quote import FIXED, TIME, quote
from estimator.shop import new_shop, open_shop
from estimator.survey import Line, Machine, Survey, csv_bytes, read, template

CATALOGUE = load()
NOTEBOOKS = Path(__file__).parent.parent / "notebooks"
SIZED = [row.assembly for row in CATALOGUE.assemblies.values() if row.area_cm2 and not row.extra]
PLAIN = [row.assembly for row in CATALOGUE.assemblies.values() if not row.extra]
DROPPABLE = next(row.assembly for row in CATALOGUE.assemblies.values()
                 if row.droppable and not row.extra)
NEEDED = next(row.assembly for row in CATALOGUE.assemblies.values()
              if not row.droppable and not row.extra)
EXTRA = next(row.assembly for row in CATALOGUE.assemblies.values() if row.extra)


def desk_of(*lines):
    """A desk with these lines."""
    return desks.of_survey(Survey(Machine("Tin Parade", era=Era.DOT_MATRIX), lines))


@pytest.fixture(scope="module")
def shop_dir(tmp_path_factory):
    """A shop folder."""
    return new_shop(tmp_path_factory.mktemp("page") / "shop")


@pytest.fixture
def page(shop_dir):
    """The page on an empty ledger, without a browser."""
    for path in shop_dir.glob("ledger.sqlite*"):
        path.unlink()
    found = quote_page.QuotePage(shop_dir, open_shop(shop_dir))
    yield found
    found.ledger.close()


def said(page, area):
    """What the page's alert of an area says."""
    return page.alerts[area].widget.value


# The desk -----------------------------------------------------------------------------------


def test_edits_change_their_lines_and_no_others():
    """Each edit reaches the line with its id, whatever stands before it."""
    desk = desk_of(Line("flipper", 2, Condition.WORN), Line(SIZED[0], 1, Condition.LIGHT))
    after, wrong = desks.edited(desk, [
        (2, "area_cm2", "55,5"), (2, "certainty", "hidden"), (1, "count", "3"),
        (2, "note", " dull "), (1, "condition", "")], CATALOGUE)
    assert not wrong
    assert after.entries[0].line == Line("flipper", 3, None)
    assert after.entries[1].line == Line(SIZED[0], 1, Condition.LIGHT, Certainty.HIDDEN,
                                         area_cm2=55.5, note="dull")


@pytest.mark.parametrize(("column", "value"), [
    ("count", "-1"), ("count", "2.5"), ("count", "many"), ("count", "10000"), ("count", "nan"),
    ("condition", "wron"), ("certainty", "sure"), ("length_mm", "0"), ("area_cm2", "1.200"),
    ("length_mm", "=1+1"), ("note", "x" * 2001), ("colour", "red"), ("keep", False)])
def test_a_wrong_value_is_named_and_changes_nothing(column, value):
    """What a browser lets through is checked again here."""
    desk = desk_of(Line(NEEDED, 2, Condition.WORN))
    after, wrong = desks.edited(desk, [(1, column, value)], CATALOGUE)
    assert after == desk
    assert wrong[1][column]


def test_an_edit_of_a_line_that_was_removed_does_nothing():
    """An edit may be on its way while its line goes."""
    desk = desks.without_line(desk_of(Line("flipper", 2)), 1)
    assert desks.edited(desk, [(1, "count", "3")], CATALOGUE) == (desk, {})


def test_lines_left_out_keep_their_place_when_others_go():
    """What the customer leaves out is told by line, not by position."""
    desk = desk_of(Line("flipper", 2, Condition.WORN), Line(DROPPABLE, 1, Condition.WORN))
    desk, wrong = desks.edited(desk, [(2, "keep", False)], CATALOGUE)
    assert not wrong
    assert desk.choices().dropped == {1}
    assert desks.without_line(desk, 1).choices().dropped == {0}


def test_ids_are_not_used_twice_while_a_line_lives():
    """A line added after another went has an id of its own."""
    desk = desk_of(Line("flipper", 2), Line("flipper", 1))
    desk, key = desks.with_line(desks.without_line(desk, 1), "flipper", CATALOGUE)
    assert key not in {entry.id for entry in desk.entries[:-1]}


@pytest.mark.parametrize("name", [EXTRA, "unheard-of"])
def test_only_assemblies_of_a_survey_are_added_as_lines(name):
    """Extras are ticked among the choices; what is in no table cannot be priced."""
    with pytest.raises(BadInput, match="not an assembly"):
        desks.with_line(desk_of(), name, CATALOGUE)


LINES = some.builds(
    Line, some.sampled_from(PLAIN), some.none() | some.integers(0, 9999),
    some.none() | some.sampled_from(Condition), some.none() | some.sampled_from(Certainty),
    some.none() | some.floats(0.001, 100_000), some.none() | some.floats(0.001, 1_000_000),
    some.text(some.characters(codec="utf-8", categories=["L", "N", "P", "Zs", "S"]),
              max_size=40).map(str.strip))
FACTS = some.text(some.characters(codec="utf-8", categories=["L", "N", "P"]), max_size=20)


@given(some.lists(LINES, max_size=6), some.none() | some.sampled_from(Era), FACTS,
       some.sampled_from(Level), some.sampled_from([FIXED, TIME]),
       some.none() | some.floats(0.05, 0.99), some.none() | some.floats(0, 0.8))
def test_a_desk_comes_back_from_the_ledger_as_it_was(lines, era, word, level, pricing, confidence,
                                                     margin):
    """Through JSON text and back, every desk is the same."""
    desk = dataclasses.replace(
        desks.of_survey(Survey(Machine(word, era=era, note=word), tuple(lines))), level=level,
        pricing=pricing, confidence=confidence, margin=margin, extras=(EXTRA,))
    content = json.loads(json.dumps(desks.as_json(desk)))
    assert desks.from_json(content, CATALOGUE) == (desk, ())


def test_what_the_tables_no_longer_hold_is_left_out_and_named():
    """A draft opens after the shop changed its tables, and says what it lost."""
    content = desks.as_json(desk_of(Line("flipper", 2, Condition.WORN)))
    content["lines"] += [{"assembly": "gone", "count": 1}, {"assembly": "flipper", "count": -4}]
    content["level"] = "polished"
    content["machine"]["era"] = "steam"
    desk, faults = desks.from_json(content, CATALOGUE)
    assert [entry.line.count for entry in desk.entries] == [2, None]
    assert desk.machine.era is None
    told = " ".join(fault.what for fault in faults)
    assert all(word in told for word in ("gone", "-4", "polished", "steam"))


# Later --------------------------------------------------------------------------------------


class Clockwork(asyncio.SelectorEventLoop):
    """An event loop that waits for nothing: its clock jumps to what is due next."""

    def __init__(self):
        self.now = 0.0
        selector = selectors.DefaultSelector()
        look = selector.select

        def jump(timeout=None):
            self.now += timeout or 0
            return look(timeout and 0)
        selector.select = jump
        super().__init__(selector)

    def time(self):
        """Seconds since it began."""
        return self.now


def play(act):
    """Run it to its end, on a clock of its own."""
    with asyncio.Runner(loop_factory=Clockwork) as runner:
        runner.run(act())


def test_a_new_start_takes_the_place_of_the_old_one():
    """Three quick starts run the steps once, in order, and leave room in between."""
    done = []

    async def run():
        clock = asyncio.get_running_loop().time
        later = Later(1, [lambda: done.append(("one", clock())),
                          lambda: done.append(("two", clock()))])
        for _ in range(3):
            later.start()
            await asyncio.sleep(0.9)
        assert done == []
        assert later.waiting
        await asyncio.sleep(9)
        assert not later.waiting

    play(run)
    (one, began), (two, went_on) = done
    assert (one, two) == ("one", "two")
    assert began == pytest.approx(2 * 0.9 + 1)
    assert began < went_on < began + 0.1


def test_a_step_may_stop_or_begin_anew():
    """What follows a step that stopped the rest does not run; a new start is not doubled."""
    done = []

    async def run():
        stopping = Later(0, [lambda: (done.append("a"), stopping.stop()), lambda: done.append("b")])
        stopping.start()
        await asyncio.sleep(9)
        again = Later(0, [lambda: done.append("c"),
                          lambda: done.append("d") or (done.count("d") < 2 and again.start()),
                          lambda: done.append("e")])
        again.start()
        await asyncio.sleep(9)

    play(run)
    assert done == ["a", "c", "d", "c", "d", "e"]


def test_what_is_held_waits_for_its_release():
    """Nothing runs before, once after, and every start after that counts."""
    done = []

    async def run():
        later = Later(0, [lambda: done.append("x")], held=True)
        later.start()
        await asyncio.sleep(9)
        assert done == []
        later.release()
        await asyncio.sleep(9)
        assert done == ["x"]
        later.start()
        await asyncio.sleep(9)

    play(run)
    assert done == ["x", "x"]


def test_other_work_goes_in_between_steps():
    """A step that takes long does not make the next one follow at once."""
    order = []

    async def run():
        loop = asyncio.get_running_loop()

        def long_step():
            order.append("step")
            loop.now += 60
        Later(0, [long_step, lambda: order.append("step")]).start()
        await asyncio.sleep(0.01)  # due while the step is at it
        loop.call_later(0.001, order.append, "edit")
        await asyncio.sleep(99)

    play(run)
    assert order == ["step", "edit", "step"]


# What it says -------------------------------------------------------------------------------


@pytest.mark.parametrize("pricing", [FIXED, TIME])
@pytest.mark.parametrize("confidence", [0.2, 0.8, 0.95])
def test_the_breakdown_adds_up_to_the_price(pricing, confidence, demo_survey_path):
    """Costs, finds, cover, warranty and margin are the whole price, whatever the odds."""
    shop = open_shop()
    desk = dataclasses.replace(desks.of_survey(read(demo_survey_path, shop.catalogue)),
                               pricing=pricing, confidence=confidence)
    offer = quote(desk.survey(), desk.choices(), shop, compare=False)
    amounts = figures.breakdown(offer)
    assert sum(amounts.values()) == pytest.approx(float(offer.price), rel=1e-9)
    assert ("Cover" in amounts) == (pricing == FIXED)


def test_prices_of_lines_and_extras_are_those_of_the_quote(demo_survey_path):
    """Each row shows its own line's price; what is left out shows what it would add."""
    shop = open_shop()
    desk = desks.of_survey(read(demo_survey_path, shop.catalogue))
    dropped = next(entry.id for entry in desk.entries
                   if shop.catalogue.assemblies[entry.line.assembly].droppable)
    desk, _ = desks.edited(desk, [(dropped, "keep", False)], shop.catalogue)
    desk = dataclasses.replace(desks.without_line(desk, 1), extras=(EXTRA,))
    offer = quote(desk.survey(), desk.choices(), shop, compare=False)
    prices = figures.line_prices(offer, desk)
    for line in offer.lines:
        if line.line is not None and line.line < len(desk.entries) and line.price:
            assert prices[desk.entries[line.line].id] == figures.money(line.price, shop.settings)
    assert prices[dropped].startswith("+")
    taken = next(line.price for line in offer.lines if line.kind == "extra")
    assert figures.extra_prices(offer, desk)[EXTRA] == taken


def test_words_of_a_person_are_text_on_the_page(page):
    """Markup that somebody types, or a file is named, is shown and not obeyed."""
    bad = '<img src=x onerror="alert(1)">'
    assert "<img" not in fault_list([Fault(bad, bad, bad, 1, bad)], bad)
    page.machine.fields["title"].value = bad
    page._uploaded(f"{bad}.csv", 3, b"\0\1\2")
    assert said(page, "source")
    page._write()
    for html in (said(page, "source"), page.written.value, page.keeping.widget.value,
                 page.strip.value):
        assert "<img" not in html
    assert "img-src-x" in page.written.value


def test_gaps_are_listed_by_row_until_there_is_a_price(page):
    """A new line has no condition yet: the page says so and keeps the old figures, as old."""
    before = page.strip.value
    page._line_added("flipper")
    number = len(page.desk.entries)
    assert f"condition of row {number}, " in page.gaps.value
    assert page.strip.value == before
    assert "est-old" in page.strip._dom_classes
    page._edited([[page.desk.entries[-1].id, "condition", "worn"]])
    assert not page.gaps.value
    assert page.strip.value != before
    assert "est-old" not in page.strip._dom_classes


# The page -----------------------------------------------------------------------------------


def test_the_page_opens_with_the_demo_and_the_engines_price(page, demo_survey_path, shop_dir):
    """An empty ledger shows the demo survey at the price that the engine computes."""
    shop = open_shop(shop_dir)
    desk = desks.of_survey(read(demo_survey_path, shop.catalogue))
    offer = quote(desk.survey(), desk.choices(), shop)
    assert figures.output("price", figures.money(offer.price, shop.settings)) in page.strip.value
    for one in offer.levels:
        assert figures.money(one.price, shop.settings) in page.board.levels.value
    for name, chart in page.board.charts.items():
        # In this job no line is worth a look, and the page says so.
        assert ("<svg" in chart.value) == (name != "sights")
    assert "Nothing to look at first" in page.board.sights.value
    assert all(not alert.widget.value for alert in page.alerts.values())


def test_what_is_typed_is_there_again_when_the_page_opens_again(page, shop_dir):
    """Words, lines and choices come back from the ledger into a new kernel's page."""
    page.machine.fields["customer"].value = "Ünïcode & Sons"
    page._edited([[5, "condition", "heavy"], [5, "note", "cracked"]])
    page.choices.level.value = Level.RECONDITIONED
    page.choices.margin.value = 33
    page.choices.extras[EXTRA].value = True
    price = page.offer.price
    again = quote_page.QuotePage(shop_dir, open_shop(shop_dir))
    assert again.desk == page.desk
    assert again.offer.price == price
    assert again.machine.fields["customer"].value == "Ünïcode & Sons"
    assert (again.choices.level.value, again.choices.margin.value) == (Level.RECONDITIONED, 33)
    assert again.choices.extras[EXTRA].value
    again.ledger.close()


def test_a_draft_asked_for_by_its_key_is_opened(page, shop_dir):
    """The address of a draft opens that draft and not the latest one; a wrong one does no harm."""
    page._edited([[5, "condition", "heavy"]])
    first = page.keeping.draft.key
    page.source.start.click()
    assert page.keeping.draft.key != first
    latest = page.keeping.draft.key
    for key, wanted in ((first, first), ("nonsense", latest), (None, latest)):
        again = quote_page.QuotePage(shop_dir, open_shop(shop_dir), key)
        assert again.keeping.draft.key == wanted
        again.ledger.close()


def test_drafts_are_chosen_and_deleted_from_the_list(page):
    """Deleting asks first; what is left is opened."""
    page._edited([[5, "condition", "heavy"]])
    first, kept = page.keeping.draft.key, page.desk
    page.source.start.click()
    assert page.desk.machine.era == page.source.era.value
    second = page.keeping.draft.key
    assert [key for _, key in page.source.draft.options] == [second, first]
    page.source.draft.value = first
    assert page.desk == kept
    page.source.draft.value = second
    page.source.delete.click()
    assert page.keeping.draft.key == second
    page.source.delete.click()
    assert page.keeping.draft.key == first
    assert [draft.key for draft in page.ledger.drafts()] == [first]


def test_an_older_window_is_told_and_overwrites_nothing(page, shop_dir):
    """Two windows on one draft: the one left behind says so and keeps its hands off."""
    page._edited([[5, "condition", "heavy"]])
    other = quote_page.QuotePage(shop_dir, open_shop(shop_dir))
    other._edited([[5, "condition", "failed"]])
    page._edited([[5, "condition", "light"]])
    assert "another window" in said(page, "ledger")
    page._edited([[4, "condition", "light"]])
    assert "another window" in said(page, "ledger")
    kept = Ledger(shop_dir).latest()
    assert kept.content["lines"][4]["condition"] == "failed"
    other.ledger.close()


def test_a_broken_upload_lists_its_faults_and_leaves_the_desk(page):
    """Every fault is shown with its place; the survey on the desk stays."""
    before = page.desk
    page._uploaded("broken.csv", 10, b"assembly,count,condition,certainty\n"
                                     b"fliper,2,worn,seen\nflipper,-1,wron,seen\n")
    for word in ("broken.csv, row 2", "flipper", "row 3, count", "row 3, condition"):
        assert word in said(page, "source")
    assert page.desk == before
    page._uploaded("big.csv", 90_000_000, None)
    assert "90 MB" in said(page, "source")
    good = csv_bytes(template(Era.MODERN, page.shop.catalogue), page.shop.catalogue)
    page._uploaded("good.csv", len(good), good)
    assert not said(page, "source")
    assert page.desk.machine.era == Era.MODERN


def test_a_choice_out_of_range_is_said_and_the_figures_marked_old(page):
    """120 % confidence: a sentence, old figures marked; put right, all is well again."""
    before = page.strip.value
    page.choices.confidence.value = 120
    assert "confidence is 120 %" in said(page, "offer")
    assert page.strip.value == before
    assert "est-old" in page.strip._dom_classes
    page._edited([[5, "condition", "heavy"]])
    assert "confidence is 120 %" in said(page, "offer")
    page.choices.confidence.value = 90
    assert not said(page, "offer")
    assert page.strip.value != before


def test_a_machine_without_any_work_is_shown_too(page):
    """Every count nought: a price of nothing, no fault, and no chart of a margin of nothing."""
    page._edited([[entry.id, "count", "0"] for entry in page.desk.entries])
    assert page.offer.price == 0
    assert not said(page, "offer")
    assert page.board.charts["margin"].value == ""


def test_an_unforeseen_error_is_logged_and_said_in_plain_words(page, shop_dir, monkeypatch):
    """No traceback on the page; it stands in a file that the page names."""
    def broken(*_arguments, **_named):
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr(board, "quote", broken)
    page.board._quotes.clear()
    page._edited([[5, "condition", "heavy"]])
    assert "went wrong in the program" in said(page, "offer")
    assert "nought" not in said(page, "offer")
    assert str(shop_dir / "faults.log") in said(page, "offer")
    assert "by nought" in (shop_dir / "faults.log").read_text()
    assert page.desk.entries[4].line.condition == Condition.HEAVY
    assert Ledger(shop_dir).latest().content["lines"][4]["condition"] == "heavy"


def test_every_callback_is_guarded():
    """Whatever a person's click reaches first on the page goes through the guard."""
    source = Path(quote_page.__file__).read_text(encoding="utf-8")
    page = next(node for node in ast.parse(source).body
                if isinstance(node, ast.ClassDef) and node.name == "QuotePage")
    methods = {node.name: node for node in page.body if isinstance(node, ast.FunctionDef)}
    handed = set()
    for name in ("__init__", "_build"):
        for node in ast.walk(methods[name]):
            if (isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
                    and node.value.id == "self" and node.attr in methods):
                handed.add(node.attr)
    bare = {name for name in handed if not methods[name].decorator_list}
    # Called while the page is built, or nothing in them that could fail.
    assert bare <= {"_build", "_there"}
    assert len(handed - bare) >= 10


def test_the_guard_clears_what_it_said_once_all_is_well():
    """A fault goes when the same thing works again."""
    class Page:
        log_path = None

        def __init__(self):
            self.alerts, self.failures, self.works = {"x": self}, [], False
            self.told = None

        def show(self, faults):
            self.told = list(faults)

        def clear(self):
            self.told = None

        def failed(self, area):
            self.failures.append(area)

        @guarded("x")
        def act(self):
            if not self.works:
                raise BadInput(Fault("No."))
            return 7

    page = Page()
    assert page.act() is None
    assert (page.told, page.failures) == ([Fault("No.")], ["x"])
    page.works = True
    assert page.act() == 7
    assert page.told is None


def test_the_documents_are_written_into_the_shop(page, shop_dir):
    """One folder a quote, with all four documents and the survey, named on the page."""
    page._write()
    (folder,) = (shop_dir / "documents").glob("marmalade-observatory-*")
    assert {path.name for path in folder.iterdir()} == {
        "quote.pdf", "estimate.xlsx", "parts-budget.csv", "quote.json", "survey.csv"}
    assert str(folder) in page.written.value
    kept = json.loads((folder / "quote.json").read_text(encoding="utf-8"))
    assert kept["price"] == float(page.offer.price)
    assert len(kept["levels"]) == 5
    assert read(folder / "survey.csv", page.shop.catalogue).lines == page.desk.survey().lines


def test_a_draft_with_gaps_gets_no_documents(page, shop_dir):
    """What is not finished is not sent: the gap is named, nothing is written."""
    before = set((shop_dir / "documents").rglob("*"))
    page._edited([[5, "condition", ""]])
    page._write()
    assert "condition" in said(page, "documents")
    assert page.written.value == ""
    assert set((shop_dir / "documents").rglob("*")) == before


def test_without_a_shop_folder_the_page_works_and_says_that_nothing_is_kept(monkeypatch, tmp_path):
    """No folder that can be written: figures yes, keeping no, and that is said."""
    monkeypatch.setenv(serving.SHOP_VARIABLE, "")
    monkeypatch.chdir(tmp_path)
    assert opening.shop_folder() is None
    page = quote_page.QuotePage(None, open_shop())
    page._edited([[5, "condition", "heavy"]])
    assert "nothing on this page is kept" in page.keeping.widget.value
    assert page.write.disabled
    assert "est-price" in page.strip.value
    assert all(not alert.widget.value for alert in page.alerts.values())
    assert list(tmp_path.iterdir()) == []


def test_a_shop_that_cannot_be_read_is_said_instead_of_a_page(monkeypatch, tmp_path):
    """A fault in shop.toml: the sentence with its place, no traceback, no half page."""
    folder = new_shop(tmp_path / "shop")
    (folder / "shop.toml").write_text("margin = 25\n", encoding="utf-8")
    monkeypatch.setenv(serving.SHOP_VARIABLE, str(folder))
    shown = "".join(part.value for part in quote_page.opened().children if hasattr(part, "value"))
    assert "shop.toml, margin" in shown
    assert 'role="alert"' in shown


# Serving ------------------------------------------------------------------------------------


def test_a_port_that_is_taken_is_said():
    """Before anything starts, and with what to do."""
    import socket
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(BadInput, match=r"taken or not allowed.*Leave --port out"), \
                serving.running(None, port=taken.getsockname()[1]):
            pass


def test_a_server_that_does_not_start_is_said(monkeypatch, tmp_path):
    """The message names the file that says why."""
    monkeypatch.setattr(serving, "_command", lambda port, private: [
        serving.sys.executable, "-c", "print('no such thing'); raise SystemExit(3)"])
    log = tmp_path / "log"
    with pytest.raises(BadInput, match="did not start"), \
            serving.running(None, NOTEBOOKS, log=log):
        pass
    assert "no such thing" in log.read_text()


def test_the_shop_folder_is_made_at_the_first_start(tmp_path, monkeypatch, capsys):
    """Named, by environment, or ./shop; where it cannot be made that is said and nothing kept."""
    monkeypatch.delenv(serving.SHOP_VARIABLE, raising=False)
    monkeypatch.chdir(tmp_path)
    assert serving.prepare_shop() == tmp_path / "shop"
    assert (tmp_path / "shop" / "shop.toml").is_file()
    monkeypatch.setenv(serving.SHOP_VARIABLE, str(tmp_path / "mine"))
    assert serving.prepare_shop() == tmp_path / "mine"
    (tmp_path / "file").write_text("x")
    assert serving.prepare_shop(tmp_path / "file" / "shop") is None
    assert "cannot be written" in capsys.readouterr().err


# The notebooks ------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted(NOTEBOOKS.glob("*.ipynb")), ids=lambda path: path.name)
def test_a_notebook_defines_nothing_and_does_no_sums(path):
    """Everything is in the package, where it is tested; a notebook calls it and holds no output."""
    notebook = json.loads(path.read_text(encoding="utf-8"))
    allowed = (ast.Module, ast.ImportFrom, ast.alias, ast.Expr, ast.Call, ast.Attribute, ast.Name,
               ast.Load)
    for cell in notebook["cells"]:
        if cell["cell_type"] != "code":
            continue
        assert not cell["outputs"]
        assert cell["execution_count"] is None
        for node in ast.walk(ast.parse("".join(cell["source"]))):
            assert isinstance(node, allowed), ast.dump(node)


def test_every_page_has_its_notebook_and_its_place_on_the_start_page():
    """The list of pages is that of the notebooks; the start page has them all."""
    held = {path.stem: json.loads(path.read_text(encoding="utf-8"))
            for path in NOTEBOOKS.glob("*.ipynb")}
    start = "".join(held.pop("start")["cells"][0]["source"])
    assert {name: notebook["metadata"]["title"] for name, notebook in held.items()} \
        == opening.PAGES
    for name, title in opening.PAGES.items():
        assert f"[{title}]({name}.ipynb)" in start
        assert f"{name}.ipynb" in opening.link(name)


@pytest.mark.parametrize("page", opening.PAGES)
def test_every_page_leads_to_all_others(page):
    """The head of a page has a link to each other page and none to itself."""
    links = opening.head(page, widgets.HTML()).children[-1].value
    assert {other for other in opening.PAGES if opening.link(other) in links} \
        == set(opening.PAGES) - {page}
