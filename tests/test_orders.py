"""Papers of buying and outwork: what they say, that they add up, that text survives."""

import csv
import io
import subprocess
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from conftest import needed
from small_shop import row
from test_buying import offer, parts, supplier
from test_purchasing import instead, market

from estimator import buying
from estimator.catalogue import Caution, Service
from estimator.documents import orders
from estimator.outwork import Piece, plan_lots
from estimator.shop import open_shop

TODAY = date(2026, 1, 5)
HOSTILE = '=cmd|"x"!A0 #let y = 1; $5 *b* <t> \\u{41}'


@pytest.fixture(scope="module")
def settings():
    """The trade's defaults under a shop's name."""
    return open_shop().settings.model_copy(update={"name": "Lantern Hill Workshop"})


@pytest.fixture(scope="module")
def ordering():
    """An order below the minimum, with a substitute, a pack, and a part that nobody sells."""
    rows = parts("lamp", "natural", "synthetic", "toy")
    rows["lamp"] = rows["lamp"].model_copy(update={"name": HOSTILE})
    swap = instead("natural", "synthetic").model_copy(update={"note": "Livelier; say so."})
    shop = market(rows, [offer("lamp", "a", 0.385, pack=10), offer("synthetic", "a", 3)],
                  [supplier("a", 6, minimum_order=20, days_low=2, days_typical=4, days_high=8)],
                  substitutes=(swap,))
    basket = buying.buy({"lamp": 31, "natural": 1, "toy": 2}, shop)
    return buying.order_dates(basket, {"lamp": 20.5, "toy": 9}, chance=1, margin=1)


def text_of(pdf: bytes) -> str:
    """The text of a PDF, in the order of its lines."""
    done = subprocess.run([needed("pdftotext", "poppler-utils"), "-layout", "-", "-"], input=pdf,
                          capture_output=True, check=True)
    return done.stdout.decode()


def rows_of(data: bytes) -> list[dict]:
    """Rows of a CSV by header."""
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))


def test_an_orders_csv_adds_up(ordering, settings):
    """Lines, what is added to the least order and freight make the total; days are dates."""
    (dated,) = ordering.orders
    rows = rows_of(orders.order_csv(dated, settings, TODAY))
    lamp, ring = rows[:2]
    assert lamp["name"] == "'" + HOSTILE
    assert (lamp["packs"], lamp["pack"], lamp["units"], lamp["unit_price"], lamp["cost"]) == (
        "4", "10", "40", "0.385", "15.40")
    assert (ring["part"], ring["for"], ring["note"]) == (
        "synthetic", "natural:1", "Livelier; say so.")
    by_name = {line["name"]: line for line in rows[2:]}
    assert by_name["To be spent on stock"]["cost"] == "1.60"
    assert by_name["Freight"]["cost"] == "6.00"
    total = Decimal(by_name.pop("Total")["cost"])
    assert total == sum(Decimal(line["cost"]) for line in rows if line["cost"]) - total
    # Needed on day 20.5, a day to spare, at worst eight days on the way: day 11, for sure.
    assert by_name["Order on"]["price_of"] == "2026-01-16"
    assert by_name["Expected"]["price_of"] == "2026-01-20"


def test_the_waiting_list_names_what_nobody_offers(ordering):
    """Each need with its supplier and days; a part without an offer says so."""
    rows = rows_of(orders.waiting_csv(ordering, {"toy": "Toy"}, {"a": "House of a"}, TODAY))
    assert [(line["part"], line["units"], line["supplier"], line["expected"]) for line in rows] == [
        ("lamp", "31", "House of a", "2026-01-20"),
        ("natural", "1", "House of a", "2026-01-20"),
        ("toy", "2", "nobody offers it", "")]
    assert rows[2]["needed"] == "2026-01-14"


def test_an_order_as_a_paper(ordering, settings):
    """Supplier, lines, packs, sums and days stand on it, typed text as typed; always the same."""
    (dated,) = ordering.orders
    paper = orders.order_pdf(dated, settings, number="P-12", today=TODAY, note="Ring first.")
    assert paper == orders.order_pdf(dated, settings, number="P-12", today=TODAY,
                                     note="Ring first.")
    said = " ".join(text_of(paper).split())
    for words in ("Lantern Hill Workshop", "Parts order", "P-12", "House of a", "January 16, 2026",
                  "by January 25, 2026", HOSTILE, "4 × 10", "$0.385", "$15.40", "$1.60", "$6.00",
                  "$26.00", "Ring first.", "the oldest of January 1, 2026"):
        assert words in said, words
    soon = orders.order_pdf(replace(dated, needed=None), settings, number="P-12", today=TODAY)
    assert "as soon as it can be sent" in " ".join(text_of(soon).split())


def test_a_send_out_sheet_counts_its_pieces(settings):
    """Pieces, jobs, what to mask, days, counts in all and the service's cautions stand on it."""
    service = row(Service, service="zinc", name="Zinc to try", unit="kg", low=8, typical=10,
                  high=12, lot_minimum=125, line_fee=10, freight=15, days_low=7, days_typical=14,
                  days_high=30)
    waste = row(Caution, caution="waste", hazard="Waste", text="Ask where spent baths go to.")
    pieces = [Piece("J-1", "zinc", "Brackets", 1.25, 2, count=48, note="Mask\nthreads"),
              Piece("J-2", "zinc", HOSTILE, 0.5, 2, count=1_000)]
    (lot,) = plan_lots(pieces, {"zinc": service}, {}).best.lots
    paper = orders.lot_pdf(lot, settings, number="S-3", today=TODAY, unit=service.unit,
                           cautions=[waste])
    said = " ".join(text_of(paper).split())
    # 125 at least, two lines at 10, freight of 15; back after two weeks, at worst thirty days.
    for words in ("Send-out sheet", "S-3", "Zinc to try", "J-1, J-2", "1.25 kg", "48", "1,000",
                  "1,048 pieces in all", "Mask threads", HOSTILE, "January 7, 2026",
                  "about January 21, 2026", "February 6, 2026", "$160.00", "Counted out",
                  "Ask where spent baths go to."):
        assert words in said, words
