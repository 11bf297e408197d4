"""The demo shop: sound, alive in the review, the same for the same seed, marked as invented."""

import json
import os
import signal
import sqlite3
from contextlib import closing
from datetime import date, timedelta

import numpy as np
import pytest

from estimator import cli, disk, jobs, review, winning
from estimator.catalogue import Level, data_folder
from estimator.demo import demo_shop
from estimator.demo.bench import calendar, people, tasks_of
from estimator.errors import BadInput
from estimator.ledger import Done, Item, Ledger, Outwork, Purchase, Sale, TimeEntry
from estimator.pages import answers
from estimator.pages.past import PastQuotes
from estimator.quote import TIME, Choices, quote
from estimator.review import proposals
from estimator.shop import open_shop
from estimator.survey import template

ON = date(2026, 3, 4)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A demo shop with 14 closed jobs."""
    return demo_shop(tmp_path_factory.mktemp("demo") / "shop", jobs=14, seed=3, on=ON).folder


@pytest.fixture
def ledger(folder):
    """Its ledger."""
    found = Ledger(folder)
    yield found
    found.close()


def test_what_is_in_it(ledger):
    """So many closed jobs, three open ones, quotes of every outcome, enough for the curve."""
    states = [job.state for job in ledger.jobs()]
    assert (states.count("closed"), len(states)) == (14, 17)
    sent = ledger.sent()
    assert {one.outcome for one in sent} == {"won", "lost", "open"}
    assert winning.advice(sent).reason is None
    assert any(ledger.frozen(job.number).choices["pricing"] == TIME
               for job in ledger.jobs() if job.state != "closed")


def test_it_is_sound(ledger):
    """Nothing after its day, nothing on a job before it was accepted, days that a person has."""
    jobs_by = {job.number: job for job in ledger.jobs()}
    for kind in (TimeEntry, Purchase, Outwork, Sale):
        entries = ledger.entries(kind)
        assert entries or kind is Outwork
        for one in entries:
            assert one.day <= ON
            assert one.job is None or one.day >= jobs_by[one.job].accepted
    days: dict = {}
    for one in ledger.entries(TimeEntry):
        days[one.person, one.day] = days.get((one.person, one.day), 0) + one.hours
    assert len({person for person, _ in days}) == 3
    assert max(days.values()) <= 14
    for job in jobs_by.values():
        if job.state == "closed":
            worked = [one.day for one in ledger.entries(TimeEntry, job=job.number)
                      if one.unbilled != "warranty"]
            assert job.accepted < max(worked) <= job.closed <= ON


def test_a_quote_of_it_opens_again(ledger):
    """To the cent, as one that a shop sent itself."""
    for sent in ledger.sent()[::8]:
        again = quote(*jobs.reopen(ledger, sent.number), compare=False)
        assert (again.number, again.price) == (sent.number, sent.price)


def test_the_review_is_alive(folder, ledger):
    """Proposals for book hours that are off, a chart, margins, finds, rework and warranty."""
    shop = open_shop(folder)
    found = review.of_shop(ledger, shop, on=ON)
    assert len(found.jobs) == 14
    assert found.chart is not None
    assert len(found.levels) >= 2
    assert {"unlisted", "rework", "ordering", "messages"} <= found.unbilled.keys()
    assert found.hour.cost > found.hour.settings_cost * 0.8
    assert {part.cause for part in found.variances.parts} >= {"efficiency", "price", "quantity"}
    proposed = {one.key for one in proposals.proposals(ledger, shop)}
    assert {"ring-replace", "test-play", "playfield-clean-wax"} <= proposed
    assert any(hours == item.expected
               for job in ledger.jobs() for item in ledger.items(job.number)
               for hours in [sum(one.hours for one in ledger.entries(TimeEntry, job=job.number)
                                 if one.item == item.item)])


def test_open_jobs_stand_at_different_places(folder, ledger):
    """One part way, one hardly begun."""
    shop = open_shop(folder)
    done = [status.earned / status.budget for status in (
        review.of_job(ledger, job.number, shop, on=ON).progress
        for job in ledger.jobs() if job.state != "closed")]
    assert min(done) < 0.25 < max(done) < 0.95
    marks = ledger.entries(Done)
    assert {one.job for one in marks} <= {job.number for job in ledger.jobs()
                                          if job.state != "closed"}
    for one in marks:
        days = [entry.day for entry in ledger.entries(TimeEntry, job=one.job)
                if entry.item == one.item]
        assert one.day == max(days)
    assert len(marks) > 20


def _figures(folder) -> list[tuple]:
    """Every figure of a ledger, but for the moments at which it was written."""
    with closing(sqlite3.connect(folder / "ledger.sqlite")) as held:
        return [row for table, columns in (
            ("jobs", "*"), ("items", "*"), ("sent", "*"), ("time_entries", "*"),
            ("purchases", "*"), ("outwork", "*"), ("sales", "*"),
            ("frozen", "number, survey, choices, settings, answer"))
            for row in held.execute(f"SELECT {columns} FROM {table} ORDER BY 1")]


def test_the_same_seed_makes_the_same_shop(tmp_path):
    """Figure by figure; another seed makes another one."""
    made = [demo_shop(tmp_path / name, jobs=3, seed=seed, on=ON)
            for name, seed in (("a", 1), ("b", 1), ("c", 2))]
    one, same, other = (_figures(found.folder) for found in made)
    assert len(one) > 100
    assert one == same
    assert one != other


def test_the_command_says_what_it_made(tmp_path, capsys):
    """In words and in JSON; a folder that holds something, or no such count, is refused."""
    place = tmp_path / "shop"
    assert cli.main(["demo-shop", str(place), "--jobs", "3", "--date", "2026-03-04", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["schema"], said["closed_jobs"], said["open_jobs"]) == (1, 3, 3)
    assert cli.main(["review", "--shop", str(place)]) == 0
    assert "3 closed jobs" in capsys.readouterr().out
    before = sorted(path.name for path in tmp_path.iterdir())
    for words in ([str(place)], [str(tmp_path / "new"), "--jobs", "2"]):
        assert cli.main(["demo-shop", *words]) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    assert "3 to 120" in capsys.readouterr().err


def test_a_demo_that_fails_leaves_nothing(tmp_path):
    """Stopped half way, there is no half shop in the way of the next try."""
    def stop(share):
        if share > 0.5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        demo_shop(tmp_path / "shop", jobs=3, on=ON, progress=stop)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "fork"), reason="killing needs forks and signals")
def test_a_demo_that_is_killed_leaves_no_half_shop(tmp_path):
    """Only what the next writer there takes away once it is old."""
    child = os.fork()
    if not child:
        demo_shop(tmp_path / "shop", jobs=3, on=ON,
                  progress=lambda share: os.kill(os.getpid(), signal.SIGKILL))
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
    (left,) = tmp_path.iterdir()
    assert left.match(".estimator-*.part")
    os.utime(left, (0, 0))
    disk.write(tmp_path / "a", b"")
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


def test_every_figure_of_the_demo_says_that_it_is_invented(folder):
    """Tables of the demo, the shop's name, every survey."""
    for path in (data_folder() / "demo").glob("*.csv"):
        if path.name != "survey.csv":
            head, *rows = path.read_text(encoding="utf-8").splitlines()
            assert head.endswith(",basis")
            assert all(row.endswith(",invented for the demo") for row in rows)
    assert "invented for the demo" in open_shop(folder).settings.name


def test_a_person_works_through_the_jobs_in_turn():
    """Nothing before a job is accepted; all hours are booked, and no day is over nine and some."""
    staff = people()
    items = [Item("J", n, "J", n, "Line", "flipper", "flipper-rebuild", "Rebuild", "rebuild",
                  "bench", 1, 2, 3, 0, 2.0) for n in range(1, 41)]
    rng = np.random.default_rng(5)
    tasks = tasks_of(items, ON, 3.0, staff, rng)
    entries = calendar(tasks, staff, ON - timedelta(9), ON + timedelta(60), rng)
    on_job = [one for one in entries if one.item or one.unbilled in ("unlisted", "rework")]
    assert sum(one.hours for one in on_job) == pytest.approx(sum(one.hours for one in tasks))
    assert min(one.day for one in on_job) >= ON
    with pytest.raises(ValueError, match="more to do"):
        calendar(tasks, staff, ON, ON + timedelta(1), rng)


def test_jobs_out_of_range_are_refused(tmp_path):
    """Too few and too many, with every other fault at once, before anything is made."""
    for jobs_wanted in (2, 121):
        with pytest.raises(BadInput):
            demo_shop(tmp_path / "shop", jobs=jobs_wanted)
    with pytest.raises(BadInput) as told:
        demo_shop(tmp_path / "shop", jobs=0, seed=-1, on=date(1, 1, 1))
    assert [fault.column for fault in told.value.faults] == ["jobs", "seed", "date"]
    assert list(tmp_path.iterdir()) == []


def test_a_quote_says_what_the_finished_jobs_took(folder, capsys, demo_survey_path):
    """In JSON and in words; null in a shop without closed jobs, and none in words."""
    words = ["quote", str(demo_survey_path), "--level", "shop-job", "--shop", str(folder)]
    assert cli.main([*words, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["records_jobs"] == 14
    assert said["records_tasks"] > 500
    assert (0.6 * said["hours_p50"] < said["hours_by_records_p50"] < said["hours_by_records_p80"]
            < said["hours_by_records_p90"] < 2 * said["hours_p90"])
    assert cli.main(words) == 0
    assert "by 14 finished jobs" in capsys.readouterr().out


def test_the_page_says_so_in_one_sentence(folder):
    """By how many jobs, the middle and 8 of 10; nothing where there is no shop."""
    shop = open_shop(folder)
    with closing(Ledger(folder)) as ledger:
        known = review.experience_of(ledger, shop.catalogue)
        survey = template("modern", shop.catalogue)
        offer = quote(survey, Choices(Level.SHOP_JOB, trials=200, on=ON), shop, compare=False)
        past = PastQuotes(ledger, shop, None)
        past.step(None, offer)
    found = review.by_records(offer.job, shop.settings, known)
    assert (f"By the shop's own 14 finished jobs: {found.hours[0.5]:.0f} h in the middle, "
            f"{found.hours[0.8]:.0f} h in 8 of 10.") in past.hours.value
    assert answers.own_hours(None) == ""
