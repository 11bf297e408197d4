"""The addendum: what changes, before and after, what holds if not; nothing of the shop's own."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from test_documents import HOSTILE, said, squeezed

from estimator import documents, jobs
from estimator.catalogue import Condition, Level, data_folder
from estimator.documents.addendum import page
from estimator.ledger import Ledger
from estimator.money import format_money
from estimator.quote import FIXED, TIME, Choices, quote, revised_dict
from estimator.shop import new_shop, open_shop
from estimator.survey import Line, read

ON = date(2026, 1, 15)
LATER = ON + timedelta(20)


def _revised(folder, pricing=FIXED, note="base cracked through", words="find", **settings):
    """A revision of the demo machine's job: a worse flipper, drop targets, an extra."""
    shop = open_shop(new_shop(folder))
    shop = replace(shop, settings=shop.settings.model_copy(update={
        "name": "Lantern Hill Workshop", "tax_parts": 0.0725, **settings}))
    survey = read(data_folder() / "demo" / "survey.csv", shop.catalogue, final=True)
    offer = quote(survey, Choices(Level.RECONDITIONED, pricing=pricing, on=ON, trials=300), shop)
    ledger = Ledger(folder)
    jobs.keep(ledger, offer, shop)
    jobs.accept(ledger, offer.number, name="Harbour", on=ON, promised=ON + timedelta(40))
    place = next(i for i, line in enumerate(survey.lines) if line.assembly == "flipper")
    changed = survey.with_line(place, condition=Condition.FAILED, note=note)
    changed = replace(changed, lines=(*changed.lines, Line("drop-target", 3, Condition.HEAVY)))
    found, _ = jobs.revise(ledger, "harbour", changed, on=LATER,
                           reasons=[words, "extra-led-set=wish"],
                           wish=jobs.Wish(extras=(("extra-led-set", 1),)))
    ledger.close()
    return found


@pytest.fixture(scope="module", params=[FIXED, TIME])
def found(request, tmp_path_factory):
    """A revision, at a fixed price and by time and materials."""
    return _revised(tmp_path_factory.mktemp("papers") / "shop", request.param)


def _money(amount, found):
    return format_money(amount, found.settings.currency, found.settings.locale)


def test_the_page_answers_what_how_much_when_and_what_if_not(found, tmp_path):
    """Machine, customer, both numbers, each change with its reason, sums before and after, the
    day, what stays, what holds without a yes, and a place to sign; on two pages at most."""
    told = said(documents.addendum(found)["addendum.pdf"], tmp_path)
    pages = told.rstrip("\f").split("\f")
    assert len(pages) <= 2
    told = squeezed(told)
    machine = found.offer.survey.machine
    words = [
        "Addendum", found.offer.number, found.before.number, machine.title, machine.customer,
        machine.serial, "Lantern Hill Workshop", "revision 1", "base cracked through", "Found",
        "Your wish", "Flipper", "Drop target (3)", "What stays as it is", "If you do not agree",
        "For the customer", "Signature", "as promised",
        *(_money(amount, found) for side in (found.before, found.after)
          for amount in (side.price, side.total)),
        *(_money(abs(one.amount), found) for one in (*found.changes, *found.rest)),
    ]
    for word in words:
        assert squeezed(word) in told, word
    if found.before.cap is not None:
        for cap in (found.before.cap, found.after.cap):
            assert squeezed(_money(cap, found)) in told
    else:
        assert "Cap" not in told


def _amount(text: str) -> Decimal:
    """The sum of money in a cell of the page, with its sign."""
    amount = Decimal(re.sub(r"[^\d.]", "", text))
    return -amount if text.startswith("−") else amount


def test_the_differences_on_the_page_add_up(found):
    """Changes and what follows from them make the difference of the prices, as they are written;
    each row's difference is after less before."""
    data = page(found)
    together = sum(_amount(row["price"]) for row in (*data["rows"], *data["rest"]))
    assert together == _amount(data["together"]) == found.after.price - found.before.price
    for row in data["sides"]:
        if row["was"].startswith("$"):
            assert _amount(row["now"]) - _amount(row["was"]) == _amount(row["more"]), row
        elif row["was"].endswith(" h"):
            was, now, more = (int(re.sub(r"\D", "", row[key])) for key in ("was", "now", "more"))
            assert now - was == (-more if row["more"].startswith("−") else more)


def test_cautions_are_those_of_the_new_work_alone(found):
    """Fewer than the quote's; what belongs to the work that was added is there."""
    hazards = {row["hazard"] for row in page(found)["cautions"]}
    everything = {row.hazard.rstrip(".") for row in found.offer.cautions}
    assert hazards < everything
    lines = {one.line for one in found.changes} | {found.offer.job.scope.first_extra}
    names = {name for item in found.offer.job.items if item.line in lines
             for name in item.work.operation.cautions}
    shop = open_shop()
    assert {shop.catalogue.cautions[name].hazard.rstrip(".") for name in names} <= hazards


def test_nothing_of_the_shops_own_figures_reaches_the_page(found):
    """Neither what an hour costs the shop, nor margin, nor expected cost."""
    told = json.dumps(page(found), ensure_ascii=False)
    job, settings = found.offer.job, found.settings
    for figure in (job.hour_cost, job.cost, settings.pay_per_hour):
        assert f"{figure:,.2f}" not in told
    assert "margin" not in told.casefold()


def test_what_users_typed_is_not_read_as_markup(tmp_path):
    """Notes and reasons come out as typed."""
    found = _revised(tmp_path / "shop", note=HOSTILE[0], words=f"find: {HOSTILE[-1]}")
    told = squeezed(said(documents.addendum(found)["addendum.pdf"], tmp_path))
    for words in (HOSTILE[0], HOSTILE[-1]):
        assert squeezed(words) in told


def test_a_second_revision_takes_the_place_of_an_addendum(tmp_path):
    """And says so; terms and signature still name the quotation."""
    found = _revised(tmp_path / "shop")
    later = replace(found, nth=2, job="260101-FIRST")
    data = page(later)
    assert ["Takes the place of", f"addendum {found.before.number}"] in data["dates"]
    assert "to quotation 260101-FIRST" in data["accept"]


def test_the_same_revision_gives_the_same_bytes(found):
    """Tagged as PDF/UA, and the JSON is that of the command."""
    one, two = documents.addendum(found), documents.addendum(found)
    assert one == two
    assert list(one) == ["addendum.pdf", "change.json"]
    assert b"<pdfuaid:part>1</pdfuaid:part>" in one["addendum.pdf"]
    assert json.loads(one["change.json"]) == {"schema": 1, "revision": json.loads(
        json.dumps(revised_dict(found)))}


def test_money_and_days_are_written_as_the_shops_locale_does(tmp_path):
    """Euros and German days."""
    found = _revised(tmp_path / "shop", currency="EUR", locale="de_DE")
    told = squeezed(said(documents.addendum(found)["addendum.pdf"], tmp_path))
    assert squeezed(format_money(found.after.total, "EUR", "de_DE")) in told
    assert squeezed("4. Februar 2026") in told
