"""Papers for those who hear them: every PDF says its title and language and is tagged in order.

After PDF/UA-1 (ISO 14289-1): 7.1 title, 7.2 language, 7.3 alternatives of pictures, 7.4 headings,
7.5 headers of tables; the structure is read by poppler, which is not what writes it.
"""

import itertools
import re
import subprocess
from datetime import date
from pathlib import Path

import pytest
from conftest import needed
from test_documents_change import _revised

import estimator
from estimator import documents, schedule
from estimator.auction import EXAMPLE, Judge, ranked, read_bytes
from estimator.auction.papers import bid_sheet
from estimator.demo import small_quote, small_survey
from estimator.documents import bench, decision
from estimator.documents.pdf import laid_out
from estimator.resale import Deal, resale
from estimator.shop import open_shop

ON = date(2026, 3, 2)
FOLDER = Path(estimator.__file__).parent / "documents"


@pytest.fixture(scope="module")
def papers(tmp_path_factory):
    """One of each kind of paper, by name."""
    shop, terms = open_shop(), Deal(1, trials=100, on=ON)
    jobs = [schedule.OnBench("Harbour Lights", small_quote().job)]
    basket = schedule.basket_of(jobs, shop)
    jobs = schedule.ordered(jobs, basket)
    plan = schedule.plan(jobs, shop, start=ON, seconds=0)
    machines = read_bytes(EXAMPLE.encode(), "sale.csv", shop.catalogue)[0][:1]
    rows = ranked(machines, Judge(terms, shop, ON).of(machines))
    made = bench.papers(plan, jobs, shop, ordering=schedule.ordering_of(plan, jobs, basket),
                        lots=schedule.lots_of(plan, jobs, shop).best.lots)
    made |= documents.addendum(_revised(tmp_path_factory.mktemp("tagged") / "shop"))
    made |= {"quote.pdf": documents.render(small_quote(), "quote.pdf"),
             "decision.pdf": decision.render(resale(small_survey(), Deal(5000, trials=100, on=ON),
                                                    shop)),
             "bids.pdf": laid_out("bids.typ", bid_sheet(rows, terms, shop))}
    return {name: data for name, data in made.items() if name.endswith(".pdf")}


def told(data, *options):
    """What poppler says of a PDF."""
    return subprocess.run([needed("pdfinfo", "poppler-utils"), *options, "-"], input=data,
                          capture_output=True, check=True).stdout.decode()


def test_every_kind_of_paper_is_looked_at(papers):
    """Each template makes one of them, and all are laid out in one place."""
    kinds = {re.sub(r"-.*", "", name.removesuffix(".pdf")) for name in papers}
    assert kinds == {"addendum", "bids", "coil", "decision", "job", "labels", "lamps", "lot",
                     "order", "quote", "waiting"}
    assert {path.stem for path in FOLDER.glob("*.typ")} == {
        "addendum", "bids", "decision", "job-card", "labels", "list", "look", "lot", "order",
        "quote"}


def test_every_paper_says_its_title_its_language_and_that_it_is_tagged(papers):
    """And asks a reader to show the title instead of the name of the file."""
    for name, data in papers.items():
        said = told(data)
        assert re.search(r"^Title: +\S", said, re.MULTILINE), name
        assert re.search(r"^Tagged: +yes", said, re.MULTILINE), name
        assert re.search(rb"/Lang ?\(en", data), name
        assert re.search(rb"/DisplayDocTitle true", data), name
        assert b"<pdfuaid:part>1</pdfuaid:part>" in data, name


def test_tables_have_headers_pictures_words_and_headings_no_gaps(papers):
    """Every table begins with a row of headers; every picture has an alternative that says more
    than its kind; no level of headings is left out."""
    pictures = 0
    for name, data in papers.items():
        tree = told(data, "-struct")
        kinds = re.findall(r"^ *(Table|TH|TD|Figure|H[1-6])\b", tree, re.MULTILINE)
        cells = [kind for kind in kinds if kind in ("Table", "TH", "TD")]
        assert [after for at, after in itertools.pairwise(cells) if at == "Table"] \
            == ["TH"] * kinds.count("Table"), name
        levels = [0, *(int(kind[1]) for kind in kinds if kind[0] == "H")]
        assert all(after - at <= 1 for at, after in itertools.pairwise(levels)), name
        words = re.findall(rb"/Alt ?\(((?:[^()\\]|\\.)*)\)", data)
        assert len(words) == kinds.count("Figure"), name
        assert all(len(said) > 12 for said in words), name
        pictures += len(words)
    assert pictures > 2
    (curve,) = re.findall(rb"/Alt ?\(((?:[^()\\]|\\.)*)\)", papers["decision.pdf"])
    assert re.search(rb"ends at \$[\d,]+", curve)


def test_the_quote_is_heard_in_the_order_in_which_it_is_signed(papers):
    """From what it is to the signature, as it stands on the pages."""
    heard = " ".join(re.findall(r'^ *"(.*)"$', told(papers["quote.pdf"], "-struct-text"),
                                re.MULTILINE))
    places = [heard.index(said) for said in (
        "Quotation", "What we found", "The work and its price", "Scope and terms", "Payment",
        "Acceptance", "Signature")]
    assert places == sorted(places)
