"""The documents: what they say, that they add up, that text survives, that all stand or none."""

import csv
import errno
import io
import json
import re
import shutil
import subprocess
import zipfile
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from conftest import needed
from sheet_math import recomputed
from small_shop import line, operation, part, row, shop, survey, thing, treatment

from estimator import catalogue, documents
from estimator.catalogue import Certainty, Condition, Era, Level
from estimator.documents.page import page
from estimator.documents.wording import weeks
from estimator.errors import BadInput
from estimator.money import format_money
from estimator.quote import TIME, Choices, as_dict, quote
from estimator.shop import open_shop
from estimator.survey import read, template

ON = date(2026, 1, 15)
HOSTILE = (
    "#let x = 1; $5 *b* _u_ <tag> @who \"q\" 's' `c` [z] {w} // no comment",
    "=1+1",
    "+49 170",
    "-3 mm",
    "@SUM(A1:A9)",
    "=cmd|'/C calc'!A0",
    "'twas rusty",
    "\\u{1F600} \\n &amp; %d {0} {title}",
)


@pytest.fixture(scope="module")
def defaults():
    """The trade's defaults under a shop's name, with tax on every kind but labour."""
    house = open_shop()
    return replace(
        house,
        settings=house.settings.model_copy(
            update={
                "name": "Lantern Hill Workshop",
                "address": "14 Orchard Street\nMillbrook",
                "contact": "hello@lanternhill.example",
                "tax_parts": 0.0725,
                "tax_materials": 0.0725,
                "tax_outwork": 0.05,
            }
        ),
    )


@pytest.fixture(scope="module")
def demo(defaults, demo_survey_path):
    """The demo survey."""
    return read(demo_survey_path, defaults.catalogue, final=True)


@pytest.fixture(scope="module", params=["fixed", "time", "electromechanical"])
def offer(request, defaults, demo):
    """A fixed price with outwork, time and materials with lines left out, an older machine."""
    if request.param == "fixed":
        return quote(demo, Choices(Level.FULL, on=ON, added=(("extra-led-set", 1),)), defaults)
    if request.param == "time":
        dropped = frozenset(
            index
            for index, found in enumerate(demo.lines)
            if defaults.catalogue.assemblies[found.assembly].droppable
        )
        return quote(demo, Choices(Level.SHOP_JOB, pricing=TIME, on=ON, dropped=dropped), defaults)
    return quote(
        template(Era.ELECTROMECHANICAL, defaults.catalogue),
        Choices(Level.RECONDITIONED, on=ON),
        defaults,
    )


def said(pdf: bytes, tmp_path: Path, *options: str) -> str:
    """The text of a PDF."""
    path = tmp_path / "said.pdf"
    path.write_bytes(pdf)
    program = needed("pdftotext", "poppler-utils")
    done = subprocess.run([program, *options, path, "-"], capture_output=True, check=True)
    return done.stdout.decode()


def squeezed(text: str) -> str:
    """A text without blanks and line ends."""
    return re.sub(r"\s", "", text)


def money(amount, offer) -> str:
    return format_money(amount, offer.settings.currency, offer.settings.locale)


# --- the PDF -------------------------------------------------------------------------------------


def test_the_pdf_names_the_price_the_total_and_everything_that_is_agreed(offer, tmp_path):
    """Number, dates, lines, sums, payments and terms of quote.json all stand in the PDF."""
    told = squeezed(said(documents.render(offer, "quote.pdf"), tmp_path))
    found = json.loads(documents.render(offer, "quote.json"))
    figures = [found["price"], found["total"], found["find_allowance"], found["cover"]]
    figures += [entry["price"] for entry in found["lines"] + found["offered"] + found["levels"]]
    figures += [entry["amount"] for entry in found["stages"] + found["taxes"]]
    figures += [] if found["cap"] is None else [found["cap"], found["hourly_rate"]]
    wanted = [money(figure, offer) for figure in figures if figure]
    wanted += [found["number"], "January 15, 2026", "February 14, 2026", offer.level.promise]
    wanted += [entry["title"] for entry in found["lines"] + found["offered"]]
    wanted += found["included"] + found["excluded"] + found["assumed"] + found["cautions"]
    wanted += [*offer.terms, weeks(offer.odds.at("days", 0.8)[0])]
    missing = [words for words in wanted if squeezed(words) not in told]
    assert not missing


def test_the_pdf_ends_with_a_place_to_sign_on_numbered_pages(offer, tmp_path):
    """The last page holds the acceptance; every page says which of how many it is."""
    pages = said(documents.render(offer, "quote.pdf"), tmp_path).rstrip("\f").split("\f")
    for number, told in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in told
        assert offer.number in told
    for words in ("Acceptance", "Payment", "For the customer", "For the shop", "Signature"):
        assert words in pages[-1]


def test_nothing_of_the_shops_own_figures_reaches_the_page(offer):
    """Other hours, costs, margins and odds of a loss leave the customer's page as it was."""
    job = replace(
        offer.job,
        items=(),
        supplies=(),
        lots=(),
        risks=(),
        unseen=(),
        lines=(),
        hours_factor=9.0,
        hour_cost=999.0,
    )
    odds = replace(
        offer.odds,
        hours=offer.odds.hours * 2,
        cost=offer.odds.cost * 2,
        find_hours=offer.odds.find_hours * 2,
        find_cost=offer.odds.find_cost * 2,
    )
    settings = offer.settings.model_copy(
        update={
            "pay_per_hour": 1.0,
            "overhead_per_year": 1.0,
            "margin": 0.01,
            "warranty_share": 0.3,
            "confidence": 0.6,
            "parts_markup": 4.0,
            "productive_share": 0.1,
        }
    )
    other = replace(
        offer,
        job=job,
        odds=odds,
        settings=settings,
        margin=0.01,
        confidence=0.6,
        chance_of_loss=0.99,
        loss_range=(0.9, 1.0),
        budget=replace(offer.budget, rows=(), orders=()),
        lines=tuple(
            replace(entry, hours=777.0, cost=888.0, places=("x",)) for entry in offer.lines
        ),
        levels=tuple(replace(entry, hours_p50=777.0, hours_p80=888.0) for entry in offer.levels),
    )
    assert page(other) == page(offer)
    assert "margin" not in json.dumps(page(offer)).casefold()


def test_groups_sums_and_payments_on_the_page_add_up(offer):
    """Lines add up to subtotals; these, finds, cover and tax to the total, as do the payments."""

    def amount(words: str) -> Decimal:
        return Decimal(words.replace("$", "").replace(",", ""))

    shown = page(offer)
    lines = Decimal(0)
    for group in shown["work"]["groups"]:
        prices = sum(amount(entry["price"]) for entry in group["rows"])
        assert prices == amount(group["subtotal"] or group["rows"][0]["price"])
        lines += prices
    sums = shown["sums"]
    (before,) = (i for i, entry in enumerate(sums) if "before tax" in entry["name"])
    assert amount(sums[0]["amount"]) == lines
    assert amount(sums[before]["amount"]) == sum(amount(e["amount"]) for e in sums[:before])
    assert amount(sums[-1]["amount"]) == sum(amount(e["amount"]) for e in sums[before:-1])
    assert amount(sums[-1]["amount"]) == sum(amount(e["amount"]) for e in shown["stages"])


def test_the_chosen_level_is_marked_by_a_word(offer, tmp_path):
    """A reader without colours sees which level the quotation is for, and only that one."""
    told = said(documents.render(offer, "quote.pdf"), tmp_path, "-layout")
    marked = [line for line in told.splitlines() if "– this quotation" in line]
    assert len(marked) == 1
    assert offer.level.name in marked[0]


def test_notes_and_names_come_out_as_typed(defaults, demo, tmp_path):
    """Marks of a markup, quotes, other scripts and long words stand in the PDF as typed."""
    notes = (
        *HOSTILE,
        "W" * 300,
        "שלום",
        "مرحبا",
        "emoji 😀",
        "日本語",
        "two\nlines",
        "long " * 380,
    )
    lines = (
        tuple(replace(found, note=note) for found, note in zip(demo.lines, notes, strict=False))
        + demo.lines[len(notes) :]
    )
    machine = replace(
        demo.machine,
        title="#1 $ *Harvest* <x>",
        customer='=Sons & "Co" @ #2',
        maker="_M_",
        note="note " + "x" * 400,
    )
    house = replace(
        defaults,
        settings=defaults.settings.model_copy(
            update={"name": "*Shop* #" + "Y" * 80, "address": "$treet <1>\n" + "z" * 120}
        ),
    )
    offer = quote(
        replace(demo, machine=machine, lines=lines),
        Choices(Level.SHOW, on=ON),
        house,
        compare=False,
    )
    pdf = documents.render(offer, "quote.pdf")
    told = squeezed(said(pdf, tmp_path))
    letters = set(told)
    for words in (
        *notes,
        machine.title,
        machine.customer,
        machine.maker,
        machine.note,
        house.settings.name,
        *house.settings.address.split("\n"),
    ):
        if words.isascii():
            assert squeezed(words) in told, words
        else:  # text that runs from right to left is handed out in the order it is drawn
            assert set(squeezed(words)) <= letters, words


def test_no_word_runs_over_the_margin(defaults, demo, tmp_path):
    """However long a word is, it breaks before the right margin of every page."""
    lines = tuple(replace(found, note="W" * 700 + " i" * 80) for found in demo.lines[:9])
    machine = replace(demo.machine, title="M" * 90, customer="W" * 90, note="W" * 200)
    offer = quote(replace(demo, machine=machine, lines=lines), Choices(Level.FULL, on=ON), defaults)
    told = said(documents.render(offer, "quote.pdf"), tmp_path, "-bbox")
    width = float(re.search(r'<page width="([\d.]+)"', told)[1])
    ends = [float(end) for end in re.findall(r'xMax="([\d.]+)"', told)]
    assert len(ends) > 500
    assert max(ends) <= width - 2.1 / 2.54 * 72 + 0.5


def test_words_from_the_right_keep_their_order_however_long(defaults, demo, tmp_path):
    """A long name breaks where it must, and its letters are read in the order they were typed."""
    name = "\u05d0\u05d1\u05d2\u05d3" * 6
    machine = replace(demo.machine, title=name)
    offer = quote(replace(demo, machine=machine), Choices(Level.SHOP_JOB, on=ON), defaults,
                  compare=False)
    told = said(documents.render(offer, "quote.pdf"), tmp_path)
    assert re.fullmatch(f"({name})+", "".join(re.findall("[\u05d0-\u05ea]", told)))


def test_a_text_cannot_turn_the_direction_of_what_follows(defaults, demo, tmp_path):
    """Marks that turn the writing direction and controls are taken out of what users typed."""
    lines = (replace(demo.lines[0], note="a\u202eb\x07c\u2067d"), *demo.lines[1:])
    offer = quote(
        replace(demo, lines=lines), Choices(Level.SHOP_JOB, on=ON), defaults, compare=False
    )
    assert "ab\ufffdcd" in said(documents.render(offer, "quote.pdf"), tmp_path)


def test_the_pdf_is_tagged_and_says_what_it_is(offer):
    """The file declares PDF/UA-1 (ISO 14289-1, clause 5), its language, and its title."""
    pdf = documents.render(offer, "quote.pdf")
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf
    assert b"/Lang" in pdf
    assert b"/StructTreeRoot" in pdf
    assert f"Quotation {offer.number}".encode() in pdf


@pytest.mark.parametrize(("paper", "width", "height"), [("a4", 595, 842), ("us-letter", 612, 792)])
def test_paper_is_the_shops(defaults, demo, paper, width, height):
    """A4 and US Letter in points: ISO 216 (210 × 297 mm) and ANSI/ASME Y14.1 (8.5 × 11 in)."""
    house = replace(defaults, settings=defaults.settings.model_copy(update={"paper": paper}))
    pdf = documents.render(
        quote(demo, Choices(Level.SHOP_JOB, on=ON), house, compare=False), "quote.pdf"
    )
    boxes = re.findall(rb"/MediaBox ?\[ ?0 0 ([\d.]+) ([\d.]+)", pdf)
    assert boxes
    assert {(round(float(x)), round(float(y))) for x, y in boxes} == {(width, height)}


def test_money_and_dates_are_written_as_the_shops_locale_does(defaults, demo, tmp_path):
    """A German shop reads 15. Januar 2026 and euros behind the figure; a Japanese one plain yen."""

    def told(**changes):
        house = replace(defaults, settings=defaults.settings.model_copy(update=changes))
        offer = quote(demo, Choices(Level.SHOP_JOB, on=ON), house, compare=False)
        return squeezed(said(documents.render(offer, "quote.pdf"), tmp_path)), offer

    words, offer = told(currency="EUR", locale="de_DE")
    assert "15.Januar2026" in words
    assert f"{offer.total:,.2f}".translate(str.maketrans(",.", ".,")) + "€" in words
    words, offer = told(currency="JPY", locale="ja_JP")
    assert "2026-01-15" in words  # the typefaces hold no Japanese
    assert f"¥{offer.total:,}" in words


def test_an_empty_shop_job_is_still_a_page(tmp_path):
    """A quote without work, parts, finds or tax makes all documents, and says so."""
    house = shop(thing(), operation(), treatment(level_from=Level.SHOW))
    offer = quote(survey(line()), Choices(Level.CLEAN, on=ON), house)
    made = {name: documents.render(offer, name) for name in documents.NAMES}
    assert "No work is priced at this level." in said(made["quote.pdf"], tmp_path)
    book = openpyxl.load_workbook(io.BytesIO(made["estimate.xlsx"]))
    assert set(recomputed(book).values()) == {
        0,
        1,
        25,
    }  # nothing but the factor and the hour's cost


# --- the workbook --------------------------------------------------------------------------------


def opened(offer, *, values: bool):
    return openpyxl.load_workbook(
        io.BytesIO(documents.render(offer, "estimate.xlsx")), data_only=values
    )


def key_figures(book, of) -> dict[str, float]:
    """Cells of the summary by their defined names."""
    found = {}
    for name, entry in book.defined_names.items():
        ((sheet, place),) = entry.destinations
        if sheet == "Summary":
            found[name] = of(sheet, place.replace("$", ""))
    return found


def test_formulas_carry_the_values_they_work_out_to(offer):
    """Each live formula, worked out from the values alone, equals the value stored with it."""
    worked, stored = recomputed(opened(offer, values=False)), opened(offer, values=True)
    assert len(worked) > 400
    wrong = {
        key: (value, stored[key[0]][key[1]].value)
        for key, value in worked.items()
        if value != pytest.approx(stored[key[0]][key[1]].value, abs=1e-6)
    }
    assert not wrong


def test_the_workbook_ends_in_the_figures_of_the_json(offer):
    """Price, total, tax, cost, hours and parts budget agree to the cent, worked out anew."""
    book = opened(offer, values=False)
    worked = recomputed(book)
    figures = key_figures(
        book, lambda sheet, place: worked.get((sheet, place), book[sheet][place].value)
    )
    found = as_dict(offer)
    for name in (
        "price",
        "total",
        "hours_p50",
        "hours_p80",
        "hours_p90",
        "cost_p80",
        "chance_of_loss",
    ):
        assert figures[name] == pytest.approx(found[name], abs=0.006), name
    assert figures["parts_budget"] == pytest.approx(found["parts_budget"]["total"], abs=0.006)
    assert figures["cost"] == pytest.approx(sum(e["cost_mean"] for e in found["lines"]), abs=0.5)
    lines = book["Lines"]
    at = {cell.value: cell.column_letter for cell in lines[4]}
    for number, entry in enumerate(found["lines"], 5):
        cells = {
            name: worked["Lines", f"{at[name]}{number}"]
            for name in ("Expected cost", "Price before tax")
        }
        assert cells["Price before tax"] == pytest.approx(entry["price"], abs=1e-6)
        assert cells["Expected cost"] == pytest.approx(entry["cost_mean"], abs=0.006)


def test_a_spreadsheet_program_works_out_the_same(offer, tmp_path):
    """LibreOffice, given the formulas without their values, comes to the same figures."""
    program = shutil.which("soffice")
    if not program:
        pytest.skip("LibreOffice is not installed")
    bare = opened(offer, values=False)  # saving it again drops the stored values
    (tmp_path / "out").mkdir()
    bare.save(tmp_path / "bare.xlsx")
    subprocess.run(
        [
            program,
            f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}",
            "--headless",
            "--convert-to",
            "xlsx",
            "--outdir",
            tmp_path / "out",
            tmp_path / "bare.xlsx",
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    worked = openpyxl.load_workbook(tmp_path / "out" / "bare.xlsx", data_only=True)
    stored = opened(offer, values=True)
    compared = 0
    for sheet, place in recomputed(bare):
        value = worked[sheet][place].value
        assert value == pytest.approx(stored[sheet][place].value, abs=1e-6), (sheet, place)
        compared += 1
    assert compared > 400


def test_a_changed_setting_moves_the_costs(defaults, demo):
    """Pay and allowances changed in the workbook give what a new estimate gives."""
    offer = quote(demo, Choices(Level.RECONDITIONED, on=ON), defaults, compare=False)
    book = opened(offer, values=False)
    for name, value in (("pay_per_hour", 40), ("rework_share", 0.2), ("warranty_share", 0.05)):
        ((sheet, place),) = book.defined_names[name].destinations
        book[sheet][place.replace("$", "")].value = value
    worked = recomputed(book)
    settings = defaults.settings.model_copy(
        update={"pay_per_hour": 40, "rework_share": 0.2, "warranty_share": 0.05}
    )
    again = quote(
        demo,
        Choices(Level.RECONDITIONED, on=ON),
        replace(defaults, settings=settings),
        compare=False,
    )
    figures = key_figures(book, lambda sheet, place: worked.get((sheet, place)))
    assert figures["cost"] == pytest.approx(again.job.cost + again.job.find_cost)
    assert figures["cost"] > 1.2 * (offer.job.cost + offer.job.find_cost)


def test_text_in_the_workbook_stays_text(defaults, demo):
    """Notes, titles and customers that begin like a formula or an address are cells of text."""
    lines = tuple(
        replace(found, note=note)
        for found, note in zip(demo.lines, (*HOSTILE, "http://example.org", "00123"), strict=False)
    )
    machine = replace(demo.machine, title="=1+1", customer="@SUM(A1)", serial="=HYPERLINK(1)")
    offer = quote(
        replace(demo, lines=lines, machine=machine),
        Choices(Level.SHOW, on=ON),
        defaults,
        compare=False,
    )
    book = opened(offer, values=False)
    cells = {
        cell.value: cell.data_type
        for sheet in book
        for held in sheet.iter_rows()
        for cell in held
        if isinstance(cell.value, str) and cell.data_type != "f"
    }
    shown = {
        lines[entry.line].note
        for entry in offer.lines
        if entry.line is not None and entry.line < len(lines)
    }
    assert {"=1+1", "@SUM(A1)", "=HYPERLINK(1)"} | shown <= set(cells)
    assert len(shown & set(HOSTILE)) > 5
    assert set(cells.values()) == {"s"}
    formulas = [
        cell.value
        for sheet in book
        for held in sheet.iter_rows()
        for cell in held
        if cell.data_type == "f"
    ]
    assert not any("cmd" in formula or "HYPERLINK" in formula for formula in formulas)
    assert not any(sheet._hyperlinks for sheet in book)


def test_the_workbook_holds_every_sheet_ready_to_read_and_print(offer):
    """Headers stay in sight, pages are as wide as the sheet, and headers repeat on paper."""
    book = opened(offer, values=False)
    assert book.sheetnames == [
        "Summary",
        "Lines",
        "Work",
        "Parts and materials",
        "Outwork",
        "Finds",
        "Buying",
        "Drivers",
        "Assumptions",
    ]
    for sheet in book.worksheets[1:-1]:
        assert sheet.freeze_panes == "A5"
        assert sheet.print_title_rows == "$4:$4"
        assert (sheet.page_setup.orientation, sheet.page_setup.fitToHeight) == ("landscape", 0)
    assert len(list(book["Work"].iter_rows(min_row=5))) == len(offer.job.items) + 1
    for item, cells in zip(offer.job.items, book["Work"].iter_rows(min_row=5), strict=False):
        # What goes by the grit ladder is measured by its area.
        assert (cells[4].value == "m²") == (item.work.operation.method == "ladder")


def test_amounts_fit_their_columns_in_every_table_of_a_sheet(offer):
    """A table that stands below another widens its columns: "###" would be printed else."""
    shown, styled = opened(offer, values=True), opened(offer, values=False)
    found = 0
    for sheet in styled.worksheets[1:-1]:
        for cell in (cell for cells in sheet.iter_rows() for cell in cells):
            value = shown[sheet.title][cell.coordinate].value
            if value is not None and "$" in cell.number_format:
                width = sheet.column_dimensions[cell.column_letter].width
                assert width > len(money(value, offer)) + 1, (sheet.title, cell.coordinate, value)
                found += 1
    assert found > 500


def test_every_setting_in_the_workbook_has_its_unit(offer):
    """Numbers of the shop stand with their unit, shares and chances as per cent."""
    rows = {row[0].value: row for row in opened(offer, values=False)["Assumptions"].iter_rows()}
    for name, unit in catalogue.load().rates.items():
        if isinstance(getattr(offer.settings, name, ""), float):
            _, value, note = rows[name][:3]
            assert note.value or "%" in value.number_format, name
            assert ("%" in value.number_format) == unit.unit.startswith(
                ("share", "probability", "correlation")), name


def test_the_workbook_says_what_drives_the_price_and_what_to_look_at(offer):
    """Drivers stand widest first with the ends of their bars; then the lines worth a look."""
    sheet = opened(offer, values=True)["Drivers"]
    rows = list(sheet.iter_rows(min_row=5, values_only=True))
    first = offer.drivers[0]
    assert rows[0][0] == first.name
    assert rows[0][2:4] == pytest.approx((first.low / offer.divisor, first.high / offer.divisor))
    swings = [row[4] for row in rows[: len(offer.drivers)]]
    assert swings == sorted(swings, reverse=True)
    looks = {row[0]: row for row in rows[len(offer.drivers) + 2:]}
    for sight in offer.sights:
        assert looks[offer.titles[sight.line]][5] == pytest.approx(sight.chance)


def test_a_yen_shop_has_no_decimals_in_its_workbook(defaults, demo):
    """Amounts are shown with the digits that ISO 4217 gives the currency."""
    house = replace(
        defaults,
        settings=defaults.settings.model_copy(update={"currency": "JPY", "locale": "ja_JP"}),
    )
    book = opened(quote(demo, Choices(Level.SHOP_JOB, on=ON), house, compare=False), values=False)
    ((sheet, place),) = book.defined_names["price"].destinations
    assert "#,##0;" in book[sheet][place.replace("$", "")].number_format


# --- the parts budget and the JSON ---------------------------------------------------------------


def budget_rows(offer) -> list[dict[str, str]]:
    data = documents.render(offer, "parts-budget.csv")
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_the_parts_budget_adds_up_to_the_json(offer):
    """Parts and freight add up to the total row, and that is the budget of quote.json."""
    *rows, total = budget_rows(offer)
    assert total["name"] == "Total"
    assert sum(Decimal(entry["cost"]) for entry in rows) == Decimal(total["cost"])
    assert float(total["cost"]) == as_dict(offer)["parts_budget"]["total"]
    parts = [entry for entry in rows if entry["part"]]
    assert len(parts) == len(offer.budget.rows)
    for entry in parts:
        assert int(entry["to_buy"]) >= int(entry["needed"]) >= 1
        assert int(entry["to_buy"]) % int(entry["pack"]) == 0
        cost = int(entry["to_buy"]) * Decimal(entry["unit_price"])
        assert Decimal(entry["cost"]) == pytest.approx(cost, abs=Decimal("0.01"))
    freight = [order.freight for order in offer.budget.orders if order.freight]
    assert [e["name"] for e in rows].count("Freight") == len(freight)


def test_a_part_named_like_a_formula_is_guarded_in_the_budget():
    """A spreadsheet that opens the parts budget takes no name for a formula."""
    house = shop(
        thing(),
        treatment("part", "piece"),
        row(catalogue.Part, part="piece", name="=HYPERLINK(1)", low=9, typical=9, high=9),
    )
    offer = quote(survey(line()), Choices(Level.FULL, on=ON), house, compare=False)
    (entry, total) = budget_rows(offer)
    assert entry["name"] == "'=HYPERLINK(1)"
    assert (entry["supplier"], entry["cost"], total["cost"]) == ("", "9.00", "9.00")


def test_an_order_below_the_least_shows_what_fills_it():
    """Freight and the top-up to a supplier's least order are rows of their own."""
    house = shop(
        thing(),
        treatment("part", "piece"),
        part(),
        row(
            catalogue.Supplier,
            supplier="north",
            name="North",
            shipping=7,
            minimum_order=25,
            days_low=1,
            days_typical=4,
            days_high=9,
        ),
        row(catalogue.Offer, part="piece", supplier="north", price=0.125, pack=20),
    )
    offer = quote(survey(line(count=30)), Choices(Level.FULL, on=ON), house, compare=False)
    rows = budget_rows(offer)
    assert [(e["name"], e["unit_price"], e["to_buy"], e["cost"], e["lead_days"]) for e in rows] == [
        ("Piece", "0.125", "40", "5.00", "4"),
        ("Freight", "", "", "7.00", "4"),
        ("To the least order", "", "", "20.00", "4"),
        ("Total", "", "", "32.00", ""),
    ]


def test_the_json_is_the_contract_and_nothing_else(offer):
    """quote.json is as_dict in its order, readable, in UTF-8."""
    data = documents.render(offer, "quote.json").decode("utf-8")
    assert json.loads(data) == json.loads(json.dumps(as_dict(offer)))
    assert list(json.loads(data)) == list(as_dict(offer))
    assert data == json.dumps(as_dict(offer), indent=2, ensure_ascii=False) + "\n"


# --- writing -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small():
    """A quote of one line, quick to write."""
    house = shop(thing(), operation(), treatment(), treatment("part", "piece"), part())
    return quote(survey(line()), Choices(Level.FULL, on=ON), house, compare=False)


def test_documents_are_written_into_a_folder_that_is_made(small, tmp_path):
    """All four files stand in the new folder, with the bytes that rendering gives."""
    written = documents.write(small, tmp_path / "a" / "b")
    assert list(written) == ["quote.pdf", "estimate.xlsx", "parts-budget.csv", "quote.json"]
    for name, path in written.items():
        assert path == tmp_path / "a" / "b" / name
        assert path.read_bytes() == documents.render(small, name)
    assert len(list((tmp_path / "a" / "b").iterdir())) == 4
    assert set(documents.MEDIA) == set(documents.NAMES)


def test_the_same_quote_gives_the_same_bytes(defaults, demo):
    """Nothing in the files depends on when or how often they are made."""

    def made():
        offer = quote(demo, Choices(Level.RECONDITIONED, on=ON), defaults)
        return {name: documents.render(offer, name) for name in documents.NAMES}

    one, two = made(), made()
    assert one == two
    with zipfile.ZipFile(io.BytesIO(one["estimate.xlsx"])) as book:
        assert {entry.date_time for entry in book.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert openpyxl.load_workbook(io.BytesIO(one["estimate.xlsx"])).properties.created == datetime(
        2026, 1, 15
    )
    days = set(re.findall(rb"\(D:(\d{8})|Date>(\d{4}-\d\d-\d\d)", one["quote.pdf"]))
    assert {day.replace(b"-", b"") for pair in days for day in pair if day} == {b"20260115"}


def test_documents_that_stood_there_are_replaced(small, tmp_path):
    """Writing again into the same folder leaves the new files and nothing else."""
    for name in documents.NAMES:
        (tmp_path / name).write_text("old")
    (tmp_path / "mine.txt").write_text("kept")
    documents.write(small, tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        [*documents.NAMES, "mine.txt"]
    )
    assert (tmp_path / "quote.json").read_bytes() == documents.render(small, "quote.json")


def test_a_file_where_the_folder_should_be_is_said(small, tmp_path):
    """The message names the place; the file stays as it was."""
    (tmp_path / "out").write_text("a file")
    for folder in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(BadInput, match=r"out.*There is a file where the folder should be"):
            documents.write(small, folder)
    assert (tmp_path / "out").read_text() == "a file"


def test_a_folder_named_like_a_document_is_said(small, tmp_path):
    """What stands in such a folder is left alone."""
    (tmp_path / "quote.pdf").mkdir()
    (tmp_path / "quote.pdf" / "mine").write_text("kept")
    with pytest.raises(BadInput, match=r"There is a folder named quote\.pdf in it"):
        documents.write(small, tmp_path)
    assert [path.name for path in tmp_path.rglob("*")] == ["quote.pdf", "mine"]


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "no room left"),
        (errno.EACCES, "may not be written"),
        (errno.EROFS, "may not be written"),
        (errno.EIO, "cannot be written"),
        (errno.ENOTEMPTY, "by another window"),
    ],
)
@pytest.mark.parametrize("step", ["mkdir", "mkdtemp", "write_bytes"])
def test_a_folder_that_cannot_be_written_is_said_and_left_clean(
    small, tmp_path, monkeypatch, code, words, step
):
    """A full disk or a read-only folder: plain words, no new folder, no temporary files."""

    def fail(*given, **named):
        raise OSError(code, "a fault of the test", str(tmp_path))

    if step == "mkdtemp":
        monkeypatch.setattr("tempfile.mkdtemp", fail)
    else:
        monkeypatch.setattr(Path, step, fail)
    with pytest.raises(BadInput, match=words):
        documents.write(small, tmp_path / "new" / "out")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("renaming", range(len(documents.NAMES)))
@pytest.mark.parametrize("fault", [PermissionError(errno.EACCES, "held open"), KeyboardInterrupt()])
def test_an_interrupted_write_leaves_what_was_there(small, tmp_path, monkeypatch, renaming, fault):
    """Whichever renaming fails, the old documents stand whole and nothing new is left behind."""
    for name in documents.NAMES:
        (tmp_path / name).write_text(f"old {name}")
    rename, calls = Path.replace, []

    def sometimes(path, target):
        calls.append(target)
        if len(calls) == renaming + 1:
            raise fault
        return rename(path, target)

    monkeypatch.setattr(Path, "replace", sometimes)
    wanted = KeyboardInterrupt if isinstance(fault, KeyboardInterrupt) else BadInput
    with pytest.raises(wanted):
        documents.write(small, tmp_path)
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {
        name: f"old {name}" for name in documents.NAMES
    }


def test_an_interrupted_first_write_leaves_an_empty_folder(small, tmp_path, monkeypatch):
    """Documents that were renamed before the fault are taken away again."""
    rename, calls = Path.replace, []

    def twice(path, target):
        calls.append(target)
        if len(calls) == 3:
            raise OSError(errno.ENOSPC, "full")
        return rename(path, target)

    monkeypatch.setattr(Path, "replace", twice)
    with pytest.raises(BadInput, match="no room left"):
        documents.write(small, tmp_path)
    assert len(calls) > 3
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_written_over_what_it_was_made_from(tmp_path, monkeypatch):
    """Whatever the file is called and however it is spelled: no document takes its place."""
    survey = tmp_path / "order-oakbench-parts.csv"
    survey.write_text("mine")
    monkeypatch.chdir(tmp_path)
    for source in (survey, Path("order-oakbench-parts.csv"), tmp_path / "." / survey.name):
        with pytest.raises(BadInput, match="written over the survey"):
            documents.put({"a.csv": b"x", survey.name: b"x"}, tmp_path, [source])
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [
        (survey.name, "mine")]
    documents.put({"a.csv": b"x"}, tmp_path, [survey, tmp_path / "gone"])


def test_a_document_held_open_is_named(small, tmp_path, monkeypatch):
    """Where an open file cannot be replaced, the message says which to close."""
    (tmp_path / "estimate.xlsx").write_text("old")
    rename = Path.replace

    def held(path, target):
        if Path(target) == tmp_path / "estimate.xlsx":
            raise PermissionError(errno.EACCES, "held open", str(path))
        return rename(path, target)

    monkeypatch.setattr(Path, "replace", held)
    with pytest.raises(BadInput, match=r"estimate\.xlsx cannot be replaced\. Close it"):
        documents.write(small, tmp_path)


def test_an_unknown_document_is_refused(small):
    """The message lists what there is."""
    with pytest.raises(BadInput, match=r"quote\.pdf"):
        documents.render(small, "invoice.docx")


def test_conditions_and_certainty_are_told_in_plain_words(defaults, demo):
    """The page counts the survey's lines by condition, and says what was not inspected."""
    found = page(quote(demo, Choices(Level.SHOP_JOB, on=ON), defaults, compare=False))["found"]
    counts = dict(found["counts"])
    for condition, words in (
        (Condition.HEAVY, "Heavy wear"),
        (Condition.WORN, "Worn"),
        (Condition.MISSING, "Missing"),
    ):
        assert int(counts[words]) == sum(entry.condition == condition for entry in demo.lines)
    hidden = sum(entry.certainty == Certainty.HIDDEN for entry in demo.lines)
    assert f"{hidden} hidden until teardown" in found["says"]
    shown = {int(entry["no"]) - 1 for entry in found["rows"]}
    assert shown >= {
        index
        for index, entry in enumerate(demo.lines)
        if entry.condition in (Condition.FAILED, Condition.MISSING)
    }
