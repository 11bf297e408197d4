"""A shop folder whose every word is an attack: on pages and papers words stay words."""

import csv
import html.parser
import io
import re
from datetime import date, timedelta

import openpyxl
import pytest

from estimator import cli, jobs
from estimator.catalogue import Certainty, Condition, Era, Level
from estimator.ledger import Draft, Ledger, TimeEntry, new_key
from estimator.pages import desk as desks
from estimator.pages import plan_page, review_page
from estimator.pages.plan_page import PlanPage
from estimator.pages.quote_page import QuotePage
from estimator.pages.resell_page import ResellPage
from estimator.pages.review_page import ReviewPage
from estimator.quote import Choices, quote
from estimator.shop import new_shop, open_shop
from estimator.survey import Line, Machine, Survey, csv_bytes, write

# A formula, a picture that runs a script, an entity, mathematics, markup of Typst.
EVIL = "=<img src=x onerror=alert(1)>\"'&amp;$x_{#read(\"/etc/passwd\") "
TODAY = date(2026, 11, 25)
_NUMBER = re.compile(r"-?[0-9.]+(e[+-]?[0-9]+)?")
_WORDS = {"name", "hazard", "text", "promise", "meaning", "why", "lamp", "marks", "years", "source",
          "signs_light", "signs_worn", "signs_heavy", "signs_failed"}


def _spoilt(folder):
    """A new shop with the attack before every word of its tables and settings."""
    new_shop(folder)
    for path in (folder / "tables").glob("*.csv"):
        head, *rows = csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"), newline=""))
        rows = [[EVIL + cell if column in _WORDS and cell else cell
                 for column, cell in zip(head, row, strict=True)] for row in rows]
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([head, *rows])
    said = (folder / "shop.toml").read_text(encoding="utf-8")
    said, count = re.subn('^(name|address|contact|hand_[a-z]+) = ".*"$',
                          lambda line: f"{line[1]} = '''{EVIL.strip()}'''", said, flags=re.M)
    assert count == 7
    (folder / "shop.toml").write_text(said, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """It is opened without complaint: these are words that a person might write."""
    return open_shop(_spoilt(tmp_path_factory.mktemp("hostile") / "shop"))


@pytest.fixture(scope="module")
def survey():
    """A small machine with the attack in every word."""
    return Survey(Machine(title=EVIL, era=Era.DOT_MATRIX, customer=EVIL, maker=EVIL, note=EVIL), (
        Line("topside-strip-and-refit", 1, Condition.WORN, note=EVIL),
        Line("flipper", 2, Condition.HEAVY, note=EVIL),
        Line("post", 12, Condition.HEAVY, note=EVIL),
        Line("lamp", 20, Condition.WORN, note="12 red, 6 amber"),
        Line("leg", 4, Condition.HEAVY, Certainty.SEEN, note=EVIL)))


@pytest.fixture(scope="module")
def offer(shop, survey):
    """Its quote, sent and accepted as a job, with hours booked."""
    made = quote(survey, Choices(Level.FULL, trials=200, on=TODAY - timedelta(9)), shop)
    ledger = Ledger(shop.folder)
    jobs.keep(ledger, made, shop)
    jobs.accept(ledger, made.number, name=EVIL, on=TODAY - timedelta(7))
    ledger.book([TimeEntry(person=EVIL, day=TODAY - timedelta(1), hours=1.0, job=made.number,
                           item=1, note=EVIL)], unbilled=(), sure={"not-on-list", "early"})
    ledger.close()
    return made


@pytest.fixture(scope="module")
def draft(shop, survey):
    """The survey as it lies on a desk."""
    ledger, key = Ledger(shop.folder), new_key()
    ledger.save(Draft(key, EVIL, desks.as_json(desks.of_survey(survey))))
    ledger.close()
    return key


class _Read(html.parser.HTMLParser):
    """What a browser makes of HTML: its elements, attributes and words."""

    def __init__(self, said):
        super().__init__()
        self.tags, self.attributes, self.words = set(), set(), []
        self.feed(said)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data):
        self.words.append(data)


def _shown(widget):
    """The HTML of a widget and of all that is in it."""
    found = [widget.value] if type(widget).__name__ == "HTML" else []
    for child in getattr(widget, "children", ()):
        found += _shown(child)
    return found


def _fine(said):
    """The attack is there to be read, and is nothing but words."""
    read = _Read("".join(said))
    assert not read.tags & {"img", "script", "iframe", "object"}
    assert not [name for name in read.attributes if name.startswith("on")]
    assert "=<img src=x onerror=alert(1)>" in "".join(read.words)


def test_the_page_of_quotes_shows_words(shop, offer, draft):
    """Price, lines, odds, charts, documents, past quotes."""
    page = QuotePage(shop.folder, shop, draft)
    _fine(_shown(page.widget))


def test_the_bench_plan_shows_words(shop, offer):
    """Bars, lists, dates, waits and orders."""
    page = PlanPage(shop.folder, shop, lambda: TODAY)
    for part in plan_page.PARTS:
        page._go(part)
    _fine(_shown(page.widget))
    page.ledger.close()


def test_the_review_shows_words(shop, offer):
    """Jobs, hours, amounts, reasons, proposals."""
    page = ReviewPage(shop.folder, shop)
    page._there()
    for part in review_page.PARTS:
        page._go(part)
        page.workshop.choose(offer.number)
    _fine([text for one in page.parts.values() for text in _shown(one.widget)])
    page.workshop.ledger.close()


def test_restore_or_resell_shows_words(shop, survey):
    """The answer, the choices, the charts, the parts."""
    page = ResellPage(shop.folder, shop, None)
    page._uploaded(f"{EVIL}.csv", 1000, csv_bytes(survey, shop.catalogue))
    page._typed({"trials": "200", "value": "5000", "asking": "2000"})
    assert [alert.widget.value for alert in page.alerts.values() if alert.widget.value] == []
    answer = page.answer
    _fine([one.value for one in (answer.strip, answer.words, answer.under, answer.pays, page.gaps,
                                 page.keeping.widget, *answer.charts.values())])
    page.ledger.close()


def test_papers_and_spreadsheets_hold_words(shop, survey, offer, tmp_path, monkeypatch, capsys):
    """Typst reads no markup in them, a workbook has no formula of theirs, no cell of CSV runs."""
    monkeypatch.chdir(tmp_path)
    write(survey, "a.csv", shop.catalogue)
    (tmp_path / "lot.csv").write_text(
        f'lot,title,era,found,value,note\n1,"{EVIL.replace(chr(34), chr(34) * 2)}",dot-matrix,'
        f'working,4000,"{EVIL.replace(chr(34), chr(34) * 2)}"\n', encoding="utf-8")
    few = ["--trials", "200", "--shop", str(shop.folder)]
    for words in (["quote", "a.csv", "--level", "full-restoration", "--out", "quote", *few],
                  ["plan", "a.csv", "a.csv", "--level", "full-restoration", "--seconds", "0",
                   "--out", "plan", *few],
                  ["resell", "a.csv", "--value", "5000", "--out", "decision", *few],
                  ["lot", "lot.csv", "--out", "sale", "--shop", str(shop.folder)],
                  ["export", "plain", "--shop", str(shop.folder)]):
        assert cli.main(words) == 0, capsys.readouterr().err
    kinds = {}
    for path in [one for one in tmp_path.rglob("*.*") if one.parent != tmp_path]:
        kinds.setdefault(path.suffix, []).append(path)
        data = path.read_bytes()
        if path.suffix == ".pdf":
            assert data.startswith(b"%PDF-")
        elif path.suffix == ".csv":
            _cells_fine(data, path.name)
        elif path.suffix == ".xlsx":
            for sheet in openpyxl.load_workbook(io.BytesIO(data)):
                for row in sheet.iter_rows():
                    assert not [cell.value for cell in row
                                if cell.data_type == "f" and "img" in str(cell.value)]
    assert {kind: len(paths) > 2 for kind, paths in kinds.items() if kind != ".xlsx"} == {
        ".pdf": True, ".csv": True, ".json": True}
    assert len(kinds[".xlsx"]) == 2


def _cells_fine(data, name):
    for row in csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")):
        for cell in row:
            assert cell[:1] not in tuple("=+-@\t\r") or _NUMBER.fullmatch(cell), (name, cell)
