"""A million trials from the page: figures beside each other, progress, a stop at any time."""

import asyncio
import time
from datetime import date

import pytest

from estimator import survey
from estimator.catalogue import Level
from estimator.documents.wording import money, whole
from estimator.pages.long_run import LongRun
from estimator.quote import Choices, quote
from estimator.shop import open_shop


@pytest.fixture(scope="module")
def shop():
    """The trade's own shop."""
    return open_shop()


@pytest.fixture(scope="module")
def job(shop, demo_survey_path):
    """The demo's quote."""
    found = survey.read(demo_survey_path, shop.catalogue)
    return quote(found, Choices(Level.SHOP_JOB, on=date(2026, 1, 5)), shop, compare=False)


def until(happened, seconds=60):
    """Wait, letting the event loop run, until something has happened."""
    async def wait():
        end = time.monotonic() + seconds
        while not happened():
            assert time.monotonic() < end
            await asyncio.sleep(0.01)
    return wait()


def test_more_trials_stand_beside_the_few(shop, job):
    """The table holds both runs' figures, those of the long one from the same seed."""
    offer = job
    run = LongRun(shop, lambda: offer, trials=30_000)
    run.start()
    many = quote(offer.survey, Choices(Level.SHOP_JOB, on=date(2026, 1, 5), trials=30_000), shop,
                 compare=False)
    said = run.said.value
    for one in (offer, many):
        assert money(one.price, shop.settings) in said
        assert whole(one.odds.at("cost", 0.8)[0], shop.settings) in said
    assert "10,000 trials" in said
    assert "30,000 trials" in said
    assert not run.running
    assert run.button.description == "Play it 30,000 times"


def test_the_bar_moves_and_the_end_comes_by_itself(shop, job):
    """With an event loop the work goes on beside it; the bar only grows and then goes."""
    seen = []

    async def play():
        run = LongRun(shop, lambda: job, trials=250_000)
        run.bar.observe(lambda change: seen.append(change["new"]), "value")
        run.start()
        assert run.running
        assert run.button.description == "Stop"
        await until(lambda: not run.running)
        return run

    run = asyncio.run(play())
    assert "250,000 trials" in run.said.value
    assert run.bar.layout.display == "none"
    assert len(seen) > 5
    assert seen == sorted(seen)


@pytest.mark.parametrize("how", ["stop", "changed"])
def test_a_run_stops_when_it_is_told_to_or_the_job_changes(shop, job, how):
    """Nothing comes of a run that was stopped, not even late; another can start at once."""
    async def play():
        run = LongRun(shop, lambda: job, trials=1_000_000)
        run.start()
        await until(lambda: run.bar.value > 0)
        getattr(run, how)()
        assert not run.running
        await asyncio.sleep(0.3)
        return run

    run = asyncio.run(play())
    assert "Stopped" in run.said.value
    assert "<table" not in run.said.value
    run.trials = 1_000
    run.start()
    assert "<table" in run.said.value


def test_an_edit_takes_old_figures_away(shop, job):
    """Figures of a job that has changed since are not left standing."""
    run = LongRun(shop, lambda: job, trials=1_000)
    run.start()
    run.changed()
    assert run.said.value == ""


def test_without_a_price_it_says_so(shop):
    """A survey with gaps has nothing to play."""
    run = LongRun(shop, lambda: None)
    run.start()
    assert "no price yet" in run.said.value
    assert not run.running


def test_a_fault_is_said_and_the_button_is_back(shop, job, monkeypatch):
    """What goes wrong in the background is not lost there."""
    from estimator.pages import long_run

    def fails(*_given, **_named):
        raise RuntimeError("no memory")

    monkeypatch.setattr(long_run, "quote", fails)
    run = LongRun(shop, lambda: job, trials=1_000)
    run.start()
    assert "no memory" in run.said.value
    assert run.button.description.startswith("Play")
