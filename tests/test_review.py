"""Review: hours and costs booked against those quoted, earned value, margins, the true hour."""

import json
import math
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from ledgers import DAY, NOW, UNBILLED, with_job, worked

from estimator import cli, jobs, review
from estimator.catalogue import Level, data_folder
from estimator.errors import BadInput
from estimator.ledger import Ledger, Outwork, Purchase, Sale
from estimator.quote import Choices, quote
from estimator.scoring import wilson_range
from estimator.shop import new_shop, open_shop
from estimator.survey import read

KINDS = (*UNBILLED, "rework", "warranty")


@pytest.fixture(scope="module")
def offer():
    """A quote of the demo survey, fully restored: with parts, materials, outwork and finds."""
    shop = open_shop()
    survey = read(data_folder() / "demo" / "survey.csv", shop.catalogue)
    return quote(survey, Choices(Level.FULL, trials=200, on=DAY - timedelta(3)), shop,
                 compare=False)


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


@pytest.fixture
def quoted(ledger, offer, shop):
    """A job of that quote."""
    jobs.keep(ledger, offer, replace(shop, settings=offer.settings))
    return jobs.accept(ledger, offer.number, name="Harbour", on=DAY - timedelta(2),
                       promised=DAY + timedelta(20))


def _book(ledger, *entries):
    return ledger.book(entries, unbilled=KINDS, now=NOW, sure=("long-day", "new-person"))


def _as_quoted(ledger, job, factor=1.0):
    """Book every item of a job at its expected hours times a factor, up to ten hours a day."""
    entries, day, room = [], DAY - timedelta(1), 10.0
    for item in ledger.items(job.number):
        left = item.expected * factor
        while left > 0:
            hours = min(left, room)
            entries.append(worked(hours, item=item.item, job=job.number, day=day))
            left, room = left - hours, room - hours
            if room <= 0:
                day, room = day - timedelta(1), 10.0
    ledger.book(entries, unbilled=KINDS, now=NOW, sure=("before-job", "long-ago"))


def _parts(found):
    return {(part.kind, part.cause): part.amount for part in found.variances.parts}


# --- hours ---------------------------------------------------------------------------------------


def test_hours_are_summed_by_what_items_share(ledger, shop):
    """By operation, line and person; items without hours do not weigh on the ratio."""
    job = with_job(ledger)
    _book(ledger, worked(2.0, item=1, job=job.number), worked(0.5, item=2, job=job.number),
          worked(1.5, item=2, job=job.number, person="Ben"),
          worked(0.75, job=job.number), worked(0.25, job=job.number, unbilled="unlisted"))
    found = review.of_job(ledger, "harbour lights", shop, on=DAY)
    by = {(one.by, one.name): one for groups in found.groups.values() for one in groups}
    flipper = by["operation", "flipper-rebuild"]
    assert (flipper.items, flipper.worked, flipper.booked) == (2, 1, 2.0)
    assert flipper.expected == pytest.approx(2.2)
    assert flipper.ratio == pytest.approx(2 / 1.1)
    assert by["line", "1 Line 1"].ratio == pytest.approx(2 / 1.1)
    # Ben did three quarters of item 2, and so is held to three quarters of its hours.
    assert by["person", "Ben"].expected_worked == pytest.approx(0.75 * 1.1)
    assert by["person", "Anna"].booked == pytest.approx(2.5)
    assert (found.booked, found.found, found.hours) == (4.0, 0.25, 4.25)
    assert found.unbilled == {"ordering": 0.75, "unlisted": 0.25}
    assert found.variances is None
    assert any("computed from" in note for note in found.notes)


def test_sums_of_every_aspect_agree(ledger, quoted, shop):
    """Booked hours by operation, kind, assembly, line and person are the same hours."""
    _as_quoted(ledger, quoted)
    found = review.of_job(ledger, quoted.number, shop, on=DAY)
    for groups in found.groups.values():
        assert math.fsum(one.booked for one in groups) == pytest.approx(found.booked)
        assert math.fsum(one.expected for one in groups) == pytest.approx(found.expected)


# --- costs ---------------------------------------------------------------------------------------


def test_a_job_as_quoted_differs_only_by_what_was_not_bought(ledger, quoted, shop, offer):
    """Hours as expected and everything bought at its standard: only the finds stay unspent."""
    _as_quoted(ledger, quoted)
    for part in {one.item for one in offer.job.supplies}:
        alike = [one for one in offer.job.supplies if one.item == part]
        paid = sum((one.cost.low + 4 * one.cost.typical + one.cost.high) / 6 for one in alike)
        ledger.add(Purchase(day=DAY, job=quoted.number, supplier="Oakbench Parts", what=part,
                            quantity=sum(one.quantity for one in alike), unit=alike[0].unit,
                            amount=Decimal(str(paid)), currency="USD", part=part), now=NOW)
    for lot in offer.job.lots:
        charge = (lot.charge.low + 4 * lot.charge.typical + lot.charge.high) / 6
        sent = ledger.add(Outwork(day=DAY, job=quoted.number, service=lot.service, what="All",
                                  event="sent", quantity=lot.quantity, unit=lot.unit,
                                  currency="USD"), now=NOW)
        ledger.add(Outwork(day=DAY, job=quoted.number, service=lot.service, what="All",
                           event="back", quantity=lot.quantity, unit=lot.unit, currency="USD",
                           amount=Decimal(str(charge)), of=sent.id), now=NOW)
    found = review.of_job(ledger, "harbour", shop, on=DAY)
    assert offer.job.lots
    assert found.variances.quoted == pytest.approx(offer.job.cost + offer.job.find_cost)
    parts = _parts(found)
    assert parts.pop(("finds", "beyond the allowance")) == pytest.approx(-offer.job.find_cost)
    assert list(parts.values()) == pytest.approx([0.0] * len(parts), abs=1e-2)


def test_variances_add_up_and_say_why(ledger, quoted, shop, offer):
    """Dearer, more, not quoted, found: each is a part of its own, and together all there is."""
    _as_quoted(ledger, quoted, 1.2)
    supply = max(offer.job.supplies, key=lambda one: one.cost.typical)
    alike = [one for one in offer.job.supplies if one.item == supply.item]
    quantity = sum(one.quantity for one in alike)
    standard = sum((one.cost.low + 4 * one.cost.typical + one.cost.high) / 6 for one in alike)
    before = _parts(review.of_job(ledger, "harbour", shop, on=DAY))
    ledger.add(Purchase(day=DAY, job=quoted.number, supplier="Oakbench Parts", what="It",
                        quantity=2 * quantity, unit=supply.unit,
                        amount=Decimal(str(3 * standard)), currency="USD", part=supply.item),
               now=NOW)
    ledger.add(Purchase(day=DAY, job=quoted.number, supplier="Oakbench Parts", what="Glass",
                        quantity=1, unit="each", amount=Decimal(40), currency="USD"), now=NOW)
    _book(ledger, worked(2.0, job=quoted.number, unbilled="unlisted"),
          worked(1.0, job=quoted.number, unbilled="rework"),
          worked(1.5, job=quoted.number, unbilled="warranty"))
    found = review.of_job(ledger, "harbour", shop, on=DAY)
    rate, parts = offer.job.hour_cost, _parts(found)
    assert found.hour_cost == pytest.approx(rate)
    assert parts["labour", "rate"] == pytest.approx(0, abs=1e-6)
    assert parts["labour", "efficiency"] == pytest.approx((0.2 * found.expected + 1) * rate)
    assert parts["material", "price"] - before["material", "price"] == pytest.approx(standard)
    assert parts["material", "quantity"] - before["material", "quantity"] == pytest.approx(
        2 * standard + 40)
    assert parts["finds", "beyond the allowance"] == pytest.approx(
        2 * rate - offer.job.find_cost)
    assert math.fsum(parts.values()) == pytest.approx(found.variances.total)
    assert found.variances.actual == pytest.approx(found.margin.cost)
    assert math.fsum(one.actual for one in found.costs) == pytest.approx(found.margin.cost)
    assert math.fsum(one.quoted for one in found.costs) == pytest.approx(found.variances.quoted)
    assert found.margin.warranty == pytest.approx(1.5 * rate)


def test_an_hour_that_became_dearer_is_a_rate_variance(ledger, quoted, shop):
    """Higher pay after the quote: rate, and not efficiency."""
    _as_quoted(ledger, quoted)
    pay = shop.settings.pay_per_hour
    dearer = replace(shop, settings=shop.settings.model_copy(update={"pay_per_hour": 1.1 * pay}))
    found = review.of_job(ledger, "harbour", dearer, on=DAY)
    more = 0.1 * pay * (1 + shop.settings.on_cost_share) / shop.settings.productive_share
    parts = _parts(found)
    assert parts["labour", "rate"] == pytest.approx(found.booked * more)
    assert parts["labour", "efficiency"] == pytest.approx(0, abs=1e-6)


def test_margin_takes_what_came_in(ledger, quoted, shop, offer):
    """The price quoted until something was sold; then what came in less fees."""
    _book(ledger, worked(2.0, item=1, job=quoted.number))
    margin = review.of_job(ledger, "harbour", shop, on=DAY).margin
    assert (margin.income, margin.sold) == (offer.price, False)
    ledger.add(Sale(day=DAY, job=quoted.number, what="Paid", amount=Decimal(500),
                    fees=Decimal(20), currency="USD"), now=NOW)
    margin = review.of_job(ledger, "harbour", shop, on=DAY).margin
    assert (margin.income, margin.sold) == (480, True)
    assert margin.share == pytest.approx((480 - 2 * offer.job.hour_cost) / 480)


def test_another_currency_is_left_out_and_said(ledger, quoted, shop):
    """Amounts are not added across currencies."""
    ledger.add(Purchase(day=DAY, job=quoted.number, supplier="Oakbench Parts", what="Glass",
                        quantity=1, unit="each", amount=Decimal(40), currency="EUR"), now=NOW)
    found = review.of_job(ledger, "harbour", shop, on=DAY)
    assert found.margin.cost == 0
    assert any("another currency" in note for note in found.notes)


# --- a job under way -----------------------------------------------------------------------------


def test_where_an_open_job_stands(ledger, shop):
    """Items of 1.1 h: one done, one half done at 2.2 h spent; formulas of ANSI/EIA-748."""
    job = with_job(ledger)
    _book(ledger, worked(1.0, item=1, job=job.number), worked(1.2, item=2, job=job.number))
    found = review.of_job(ledger, job.number, shop, on=job.accepted + timedelta(11))
    status = found.progress
    assert (status.budget, status.planned, status.earned, status.spent) == pytest.approx(
        (3.3, 1.65, 1.65, 2.2))
    assert (status.cpi, status.spi, status.eac_at_cpi) == pytest.approx((0.75, 1.0, 4.4))
    assert found.forecast is None
    said = review.of_job(ledger, job.number, shop, on=DAY, done={2: 1.0, 3: 0.5}).progress
    assert said.earned == pytest.approx(2.5 * 1.1)
    for wrong in ({9: 0.5}, {2: 1.5}):
        with pytest.raises(BadInput):
            review.of_job(ledger, job.number, shop, on=DAY, done=wrong)


def test_late_finished_and_unpromised_jobs(ledger, shop):
    """After the promise all is planned; a finished job is done; no promise plans nothing."""
    job = with_job(ledger)
    _book(ledger, worked(1.0, item=1, job=job.number))

    def status(on=DAY):
        return review.of_job(ledger, job.number, shop, on=on).progress

    assert status(job.promised + timedelta(1)).planned == pytest.approx(3.3)
    assert status(job.accepted).planned == 0
    ledger.promise(job.number, None)
    assert status().spi is None
    ledger.set_state(job.number, "finished")
    assert status().earned == pytest.approx(3.3)


def _closed(ledger, count, factor=1.25):
    """So many closed jobs of three items, each item worked at a factor of what was expected."""
    found = []
    for n in range(count):
        job = with_job(ledger, f"2602{n:02}-A1", f"Job {n}", accepted=DAY - timedelta(50 - n))
        day = job.accepted
        _book(ledger, *(worked(1.1 * factor * (0.9, 1.0, 1.1)[(n + item) % 3], item=item,
                               job=job.number, day=day) for item in (1, 2, 3)))
        found.append(ledger.set_state(job.number, "closed", day + timedelta(1)))
    return found


def test_the_forecast_leans_on_past_jobs(ledger, shop):
    """Ten jobs that took a quarter more: so will the rest of this one, about."""
    _closed(ledger, 10)
    job = with_job(ledger)
    _book(ledger, worked(1.1, item=1, job=job.number))
    found = review.of_job(ledger, job.number, shop, on=DAY, done={1: 1.0})
    assert found.forecast.ratio == pytest.approx(1.25, abs=0.05)
    assert found.forecast.mean == pytest.approx(1.1 + 2.2 * found.forecast.ratio)
    assert found.forecast.low < found.forecast.mean < found.forecast.high


# --- the shop ------------------------------------------------------------------------------------


def test_all_closed_jobs(ledger, shop):
    """Groups, chart and margins over closed jobs; open ones stay out."""
    closed = _closed(ledger, 6)
    open_job = with_job(ledger)
    _book(ledger, worked(9.0, item=1, job=open_job.number))
    found = review.of_shop(ledger, shop, on=DAY)
    assert [one.job for one in found.jobs] == closed
    (flippers,) = [one for one in found.groups["operation"] if one.name == "flipper-rebuild"]
    assert (flippers.jobs, flippers.items) == (6, 12)
    assert math.fsum(one.booked for one in found.groups["job"]) == pytest.approx(6 * 3.3 * 1.25)
    assert math.exp(found.chart.centre) == pytest.approx(1.25)
    assert found.charted == tuple(job.number for job in closed)
    (level,) = found.levels
    cost = 6 * 3.3 * 1.25 * found.jobs[0].hour_cost
    assert (level.jobs, level.income) == (6, 5400)
    assert level.share == pytest.approx(1 - cost / 5400)
    assert found.variances is None
    assert found.enough == ()


def test_an_hour_costs_more_where_less_is_billed(ledger, shop):
    """6 of 10 hours for jobs: the year's cost is carried by 60 % of the paid hours."""
    job = with_job(ledger)
    _book(ledger, worked(5.0, item=1, job=job.number),
          worked(1.0, job=job.number, unbilled="unlisted"), worked(2.5),
          worked(1.5, job=job.number, unbilled="messages"))
    hour = review.of_shop(ledger, shop, on=DAY).hour
    s = shop.settings
    assert (hour.billed, hour.unbilled, hour.share) == (6.0, 4.0, 0.6)
    year = s.pay_per_hour * (1 + s.on_cost_share) * s.paid_hours_per_year + s.overhead_per_year
    assert hour.cost == pytest.approx(year / (0.6 * s.paid_hours_per_year))
    assert hour.cost / hour.settings_cost == pytest.approx(s.productive_share / 0.6)
    # Charged with a margin, fewer hours than all that can be booked pay for the year.
    assert hour.rate == pytest.approx(hour.settings_cost / (1 - s.margin))
    assert hour.break_even * hour.rate == pytest.approx(year)


def test_how_often_quantiles_were_enough(ledger, quoted, shop, offer):
    """One closed job that took its expected hours and bought nothing, with Wilson's range."""
    _as_quoted(ledger, quoted)
    ledger.set_state(quoted.number, "closed", DAY)
    found = review.of_shop(ledger, shop, on=DAY)
    enough = {(one.what, one.share): one.held for one in found.enough}
    assert list(enough) == [(what, share) for what in ("hours", "cost")
                            for share in (0.5, 0.8, 0.9)]
    p90 = enough["cost", 0.9]
    assert (p90.cases, p90.hits, p90.low, p90.high) == (1, 1, *wilson_range(1, 1))
    assert found.enough[-1].luck == pytest.approx(1.0), "one hit is what a P90 gives mostly"
    assert found.variances.total == pytest.approx(found.jobs[0].variances.total)


# --- the command ---------------------------------------------------------------------------------


@pytest.fixture
def run(shop, capsys):
    """Runs `estimator review`; gives its exit code, and its JSON or what it said."""

    def run(*words, json_out=True):
        code = cli.main(["review", *words, "--shop", str(shop.folder),
                         *(["--json"] if json_out else [])])
        said = capsys.readouterr()
        return code, json.loads(said.out) if json_out else said.out + said.err

    return run


def test_nothing_to_review_is_said(ledger, run):
    """No hours, an unknown job, a job without bookings: plain words and exit code 2."""
    code, said = run(json_out=False)
    assert (code, "No hours are booked so far" in said) == (2, True)
    with_job(ledger)
    code, said = run("Harbor Lights", json_out=False)
    assert (code, 'Did you mean "Harbour Lights"' in said) == (2, True)
    code, said = run("Harbour Lights", json_out=False)
    assert (code, "Nothing is booked to the job Harbour Lights" in said) == (2, True)
    assert run("--done", "1", json_out=False)[0] == 2
    assert run("Harbour Lights", "--done", "one", json_out=False)[0] == 2


def test_a_job_in_the_terminal(ledger, quoted, run):
    """Tables that add up; the same in JSON, finite and with units in its keys."""
    _book(ledger, worked(2.0, item=1, job=quoted.number), worked(0.5, job=quoted.number))
    code, said = run("harbour", "--done", "1", "2=0.5", json_out=False)
    assert code == 0
    for words in ("By operation", "Unbilled", "ordering", "earned (EV)", "EAC h", "margin",
                  "labour efficiency", "together"):
        assert words in said
    assert max(map(len, said.splitlines())) <= 200
    code, said = run("harbour")
    found = said["review"]
    assert (code, said["schema"], found["booked_h"], found["currency"]) == (0, 1, 2.0, "USD")
    parts = found["variances"]["parts"]
    assert sum(part["amount"] for part in parts) == pytest.approx(
        found["variances"]["total"], abs=1e-2)
    assert found["quoted"]["hours_p80_h"] > found["quoted"]["hours_p50_h"]
    assert found["progress"]["at_completion"]["at_cpi"]["total_h"] > 0
    assert any("not closed" in note for note in found["notes"])


def test_the_shop_in_the_terminal(ledger, run):
    """All closed jobs, their chart, margins and the true hour."""
    _closed(ledger, 3)
    _book(ledger, worked(2.0))
    code, said = run(json_out=False)
    assert code == 0
    for words in ("3 closed jobs", "By person", "Margin of level", "Control chart",
                  "An hour costs", "By level"):
        assert words in said
    found = run()[1]["review"]
    assert found["hour"]["unbilled_h"] == 2.0
    assert found["chart"]["centre_ratio"] == pytest.approx(1.25, abs=1e-3)
    assert date.fromisoformat(found["jobs"][0]["closed"])
