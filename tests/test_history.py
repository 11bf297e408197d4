"""What closed jobs say together: by period, by kind of customer, what came back, hours to come."""

import json
import math
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from ledgers import DAY, UNBILLED, worked

from estimator import jobs, review
from estimator.catalogue import Era, Level
from estimator.ledger import Frozen, Item, Job, Ledger, Purchase, Sent
from estimator.quote import Choices, quote
from estimator.review import experience
from estimator.scoring import wilson_range
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
        {"currency": "USD", "hour_cost": 50.0, "finds": {"cost_mean": 0.0}, "supplies": [],
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


# --- hours by the shop's own records -------------------------------------------------------------


def finished_job(number, day, ratio, tasks=20, beyond=0.0, accepted=None):
    """A closed job of tasks of 2 h that took a ratio of it, some a little more or less."""
    wobble = (0.9, 1.0, 1.0, 1.1)
    return experience.Finished(
        Job(number, number, accepted or day - timedelta(5), closed=day),
        tuple(experience.Task("strip", "bench", 2.0, 2.0 * ratio * wobble[n % 4], "Anna")
              for n in range(tasks)), beyond)


def settings_of(shop, hand="Anna"):
    """Settings with one person's hands for the bench."""
    return shop.settings.model_copy(update={"hand_bench": hand})


def test_hours_follow_what_closed_jobs_took(shop):
    """Jobs that took half as long again make the middle of a like job about that; finds on top."""
    plain, found = experience.Experience(), experience.Experience()
    jobs_done = [finished_job(f"J{n}", DAY + timedelta(n), 1.5) for n in range(12)]
    plain.learn(jobs_done)
    found.learn([replace(one, beyond=6.0) for one in jobs_done])
    tasks = [experience.Task("strip", "bench", 2.0)] * 10
    middle = np.median(plain.draws(tasks, settings_of(shop)))
    assert 20 * 1.5 * 0.93 < middle < 20 * 1.5 * 1.07
    # 6 h found in jobs of 40 h expected: 3 h in one of 20 h.
    assert np.median(found.draws(tasks, settings_of(shop))) == pytest.approx(middle + 3)


def test_too_few_records_say_nothing(shop):
    """Neither under five jobs nor under a hundred tasks; at both, something."""
    for count, tasks, enough in ((4, 40, False), (5, 19, False), (5, 20, True)):
        known = experience.Experience()
        known.learn([finished_job(f"J{n}", DAY + timedelta(n), 1.0, tasks) for n in range(count)])
        assert known.enough is enough


def test_a_forecast_rises_with_its_level(shop):
    """P50, P80 and P90 of an estimate, in order, with how much stands behind them."""
    known = experience.Experience()
    known.learn([finished_job(f"J{n}", DAY + timedelta(n), 1.2) for n in range(8)])
    survey = template(Era.MODERN, shop.catalogue)
    offer = quote(survey, Choices(Level.SHOP_JOB, trials=200, on=DAY), shop, compare=False)
    found = review.by_records(offer.job, shop.settings, known)
    assert (found.jobs, found.tasks, list(found.hours)) == (8, 160, [0.5, 0.8, 0.9])
    assert 0 < found.hours[0.5] < found.hours[0.8] < found.hours[0.9]
    assert review.by_records(offer.job, shop.settings, None) is None
    assert review.records_dict(None) == {
        "hours_by_records_p50": None, "hours_by_records_p80": None, "hours_by_records_p90": None,
        "records_jobs": None, "records_tasks": None}


def test_records_are_brought_to_the_book_of_today(ledger, shop):
    """Where the book was doubled since, a job quoted before counts with twice the hours expected.

    What was booked to the minute as expected stays exactly that where nothing changed.
    """
    survey = template(Era.MODERN, shop.catalogue)
    offer = quote(survey, Choices(Level.SHOP_JOB, trials=200, on=DAY), shop, compare=False)
    jobs.keep(ledger, offer, shop)
    job = jobs.accept(ledger, offer.number, on=DAY)
    items = ledger.items(job.number)
    at = next(item for item in items if item.operation == "ring-replace")
    ledger.book([worked(at.expected, item=at.item, job=job.number, day=DAY),
                 worked(0.5, job=job.number, unbilled="unlisted", day=DAY)],
                unbilled=KINDS, sure=("new-person", "long-ago"))
    ledger.set_state(job.number, "closed", DAY)
    (found,) = experience.finished(ledger, shop.catalogue)
    (task,) = [one for one in found.tasks if one.booked > 0]
    assert (task.key, task.person, found.beyond) == ("ring-replace", "Anna", 0.5)
    assert task.booked == task.expected == at.expected
    path = shop.folder / "tables" / "operations.csv"
    row = shop.catalogue.operations["ring-replace", None]
    text = path.read_text(encoding="utf-8")
    said = f"bench,book,{row.low:g},{row.typical:g},{row.high:g},"
    line = next(one for one in text.splitlines() if one.startswith("ring-replace,"))
    assert said in line
    path.write_text(text.replace(line, line.replace(
        said, f"bench,book,{row.low:g},{2 * row.typical:g},{3 * row.high:g},")), encoding="utf-8")
    (again,) = experience.finished(ledger, open_shop(shop.folder).catalogue)
    (task,) = [one for one in again.tasks if one.booked > 0]
    assert task.expected == pytest.approx(2 * at.expected)
    assert again.came == found.came


def test_a_walk_knows_only_what_was_closed_before(ledger, shop, monkeypatch):
    """Each job is forecast by those closed before it was accepted, and by no other."""
    slow = [finished_job(f"S{n}", DAY + timedelta(10 * n), 2.0) for n in range(8)]
    # Accepted before the sixth was closed, though it is closed after all of them.
    early = finished_job("E", DAY + timedelta(200), 1.0, accepted=DAY + timedelta(45))
    after = finished_job("A", DAY + timedelta(210), 1.0, accepted=DAY + timedelta(205))
    jobs_done = tuple(sorted([*slow, early, after], key=lambda one: one.job.closed))
    monkeypatch.setattr(experience, "finished", lambda *_, **__: jobs_done)
    found = review.walk(ledger, shop)
    assert found.jobs == ("E", "S5", "S6", "S7", "A")
    known = experience.Experience()
    for one in slow[:5]:
        known.learn([one])
    draws = known.draws(early.tasks, shop.settings)
    assert found.quantiles[0][0.8] == pytest.approx(np.quantile(draws, 0.8))
    assert found.places[0] == pytest.approx((draws < early.came).mean())
    assert found.places[0] < 0.2
    assert sum(found.histogram) == len(found.jobs)
    assert [one.held.cases for one in found.enough] == [len(found.jobs)] * 3


def test_walked_levels_hold_in_many_shops(ledger, shop, monkeypatch):
    """Shops drawn from one truth: P80 is enough in about 8 jobs of 10, places fall evenly.

    A forecast is calibrated if what came falls evenly over its levels (A. P. Dawid, J. Royal
    Statistical Society A 147, 1984).
    """
    places, hits = [], []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        done = []
        for n in range(40):
            pace = math.exp(rng.normal(0.1, 0.15))
            est = rng.choice([0.5, 1.0, 2.0, 4.0], 20)
            came = est * pace * np.exp(rng.normal(0, 0.4, 20))
            done.append(experience.Finished(
                Job(f"{n}", "Job", DAY + timedelta(10 * n), closed=DAY + timedelta(10 * n + 5)),
                tuple(experience.Task("strip", "bench", e, c, "Anna")
                      for e, c in zip(est.tolist(), came.tolist(), strict=True)),
                float(rng.gamma(2, 1))))
        monkeypatch.setattr(experience, "finished", lambda *_, done=tuple(done), **__: done)
        found = review.walk(ledger, replace(shop, settings=settings_of(shop)))
        places += found.places
        hits += [found.enough[1].held.hits]
    assert len(places) == 6 * 35
    assert 0.7 < sum(hits) / len(places) < 0.9
    counts = np.histogram(places, 5, (0, 1))[0] / len(places)
    assert counts.min() > 0.1
    assert counts.max() < 0.32


def test_a_shop_without_a_ledger_costs_a_quote_nothing(shop, demo_survey_path):
    """Its quote says null, and loads neither the database nor what learns."""
    code = ("import sys; from estimator import cli; code = cli.main(sys.argv[1:]); "
            "print(*sys.modules, file=sys.stderr); sys.exit(code)")
    done = subprocess.run(
        [sys.executable, "-c", code, "quote", demo_survey_path, "--level", "clean", "--json",
         "--shop", shop.folder], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout)["hours_by_records_p80"] is None
    loaded = set(done.stderr.split())
    assert "estimator.review.experience" in loaded
    assert not {"sqlalchemy", "scipy", "alembic"} & loaded
    assert not (shop.folder / "ledger.sqlite").exists()


# --- the warranty reserve ------------------------------------------------------------------------


def test_what_came_back_is_held_against_the_reserve(ledger, shop):
    """By hand: two old jobs held 2 % and 4 % of their price; one came back, hours and a part."""
    old = DAY - timedelta(200)
    closed_job(ledger, "A", old, "dealer", price=1000, reserve=0.02)
    closed_job(ledger, "B", old + timedelta(1), "dealer", price=500, reserve=0.04, back=0.5)
    closed_job(ledger, "C", DAY - timedelta(89), "dealer", price=700, back=9.0)
    closed_job(ledger, "D", old, None, price=700, back=9.0)
    for day, amount in ((old - timedelta(1), 30), (old + timedelta(30), 12)):
        ledger.add(Purchase(day=day, job="B", supplier="Oakbench Parts", what="Coil", quantity=1,
                            unit="each", amount=Decimal(amount), currency="USD"))
    found = review.of_shop(ledger, shop, on=DAY).reserve
    assert [one.job for one in found.jobs] == ["A", "B"]
    assert (found.held, found.prices, found.hours) == (pytest.approx(40), 1500, 0.5)
    cost = 0.5 * review.of_shop(ledger, shop, on=DAY).hour.settings_cost + 12
    assert found.cost == pytest.approx(cost)
    assert found.held_share == pytest.approx(40 / 1500)
    assert found.needed_share == pytest.approx(cost / 1500)
    assert (found.back, found.low, found.high) == (1, *wilson_range(1, 2))
    # The third is old enough one day later.
    later = review.of_shop(ledger, shop, on=DAY + timedelta(1))
    assert [one.job for one in later.reserve.jobs] == ["A", "B", "C"]
    said = review.shop_dict(later, "USD")["warranty"]
    assert (said["jobs_came_back"], said["came_back_h"]) == (2, 9.5)


def test_no_job_is_closed_long_enough(ledger, shop):
    """Then nothing is said of the reserve."""
    closed_job(ledger, "C", DAY - timedelta(20), "dealer", back=9.0)
    found = review.of_shop(ledger, shop, on=DAY)
    assert found.reserve is None
    assert review.shop_dict(found, "USD")["warranty"] is None
