"""What closed jobs say together: by period, by kind of customer, what came back, hours to come."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from ledgers import DAY, UNBILLED, worked

from estimator import jobs, review
from estimator.catalogue import Era, Level
from estimator.ledger import Frozen, Item, Job, Ledger, Sent
from estimator.quote import Choices, quote
from estimator.shop import new_shop, open_shop
from estimator.survey import Machine, Survey, csv_bytes, read_bytes, template

KINDS = (*UNBILLED, "rework", "warranty")


@pytest.fixture
def shop(tmp_path):
    """A shop folder of its own."""
    return open_shop(new_shop(tmp_path / "shop"))


@pytest.fixture
def ledger(shop):
    """Its ledger."""
    found = Ledger(shop.folder)
    yield found
    found.close()


def closed_job(ledger, number, closed, kind=None, level="shop-job", hours=(1.0, 2.0), price=900,
               back=0.0, reserve=0.02):
    """A closed job of two items of 1 h and 2 h; its quote kept where the kind of customer is."""
    sent = Sent(number, number, level, closed - timedelta(9), Decimal(price), 100.0, "USD")
    held = None if kind is None else Frozen(
        number, "1", {"machine": {"era": "modern", "customer_kind": kind}},
        {}, {"warranty_share": reserve}, "{}",
        {"currency": "USD", "hour_cost": 50.0, "find_cost_mean": 0.0, "supplies": [],
         "outwork": [], **{f"{what}_p{p}": 4.0 if what == "hours" else 200.0
                           for what in ("hours", "cost") for p in (50, 80, 90)}})
    ledger.record(sent, held)
    ledger.accept(Job(number, f"Job {number}", closed - timedelta(8)), [
        Item(number, at, number, at, "Line", "flipper", "strip", "Strip", "remove", "bench",
             at, at, at, 0, float(at)) for at in (1, 2)])
    entries = [worked(took, item=at, job=number, day=closed - timedelta(2))
               for at, took in enumerate(hours, 1)]
    if back:
        entries.append(worked(back, job=number, unbilled="warranty", day=closed))
    ledger.book(entries, unbilled=KINDS, sure=("new-person", "long-ago", "twice"))
    ledger.set_state(number, "closed", closed)


# --- periods and kinds of customer ---------------------------------------------------------------


def test_hours_and_margins_by_when_and_for_whom(ledger, shop):
    """Months and quarters closed in their order; kinds however they are spelled; none is said."""
    closed_job(ledger, "A", date(2025, 12, 31), "Dealer", hours=(2.0, 2.0))
    closed_job(ledger, "B", date(2026, 1, 1), "dealer ", hours=(1.0, 2.0), price=300)
    closed_job(ledger, "C", date(2026, 3, 31), "operator", level="clean")
    closed_job(ledger, "D", date(2026, 2, 3), back=0.5)
    found = review.of_shop(ledger, shop, on=DAY)
    names = {by: [one.name for one in found.groups[by]] for by in review.SHOP_ASPECTS}
    assert names["month"] == ["2025-12", "2026-01", "2026-02", "2026-03"]
    assert names["quarter"] == ["2025-Q4", "2026-Q1"]
    assert set(names["customer kind"]) == {"Dealer", "operator", "not stated"}
    dealers = {by: next(one for one in groups["customer kind"] if one.name == "Dealer")
               for by, groups in (("hours", found.groups), ("margin", found.margins))}
    assert (dealers["hours"].jobs, dealers["hours"].items, dealers["hours"].booked) == (2, 4, 7.0)
    assert dealers["hours"].ratio == pytest.approx(7 / 6)
    cost = found.jobs[0].hour_cost
    assert dealers["margin"].left == pytest.approx(1200 - 7 * cost)
    for groups in (found.margins[by] for by in review.MARGIN_ASPECTS):
        assert sum(one.jobs for one in groups) == 4
        # What came back is cost as well.
        assert sum(one.cost for one in groups) == pytest.approx((4 + 3 + 3 + 3.5) * cost)
    said = review.shop_dict(found, "USD")
    assert set(said["margins_by"]) == {"level", "month", "quarter", "customer_kind"}
    assert [one["name"] for one in said["hours_by"]["month"]] == names["month"]
    assert said["jobs"][-1]["customer_kind"] == "operator"
    # What there was before is still there, alike.
    assert [one["level"] for one in said["levels"]] == ["clean", "shop-job"]


def test_a_survey_says_what_kind_of_customer_it_is_for(ledger, shop):
    """Written and read, kept with the quote, and of one kind in the review; blank where not."""
    survey = template(Era.MODERN, shop.catalogue)
    survey = replace(survey, machine=replace(survey.machine, customer_kind="private owner"))
    again = read_bytes(csv_bytes(survey, shop.catalogue), "survey.csv", shop.catalogue)
    assert again.machine.customer_kind == "private owner"
    offer = quote(again, Choices(Level.CLEAN, trials=200, on=DAY), shop, compare=False)
    jobs.keep(ledger, offer, shop)
    back = jobs.reopen(ledger, offer.number)[0]
    assert back.machine == again.machine
    held = ledger.frozen(offer.number)
    assert held.answer["machine"]["customer_kind"] == "private owner"


def test_numbers_of_quotes_from_before_stay(shop):
    """A quote without a kind of customer has the number that it had before there was one."""
    offer = quote(Survey(Machine(title="Test piece", era=Era.MODERN),
                         template(Era.MODERN, shop.catalogue).lines[:1]),
                  Choices(Level.CLEAN, trials=100, on=DAY), shop, compare=False)
    assert offer.number == "260304-D68204"
    other = replace(offer.survey, machine=replace(offer.survey.machine, customer_kind="dealer"))
    assert quote(other, offer.choices, shop, compare=False).number != offer.number
