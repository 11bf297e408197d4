"""What the quotes sent teach: the curve off until it is known, the price that earns most."""

import json
import math
import re
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
import small_shop as small
from scipy import optimize

from estimator import cli, jobs, winning
from estimator.bidding import winning_curve
from estimator.catalogue import Level
from estimator.documents import wording
from estimator.errors import BadInput
from estimator.ledger import FILE, Ledger, Sent
from estimator.quote import FIXED, TIME, Choices, quote
from estimator.shop import new_shop, open_shop
from estimator.survey import read

DAY = date(2026, 1, 5)


def past_quotes(number=60, seed=4, low=1.1, high=1.9, still_open=5):
    """Invented quotes, the newest first, that customers accept less often the dearer they are."""
    rng = np.random.default_rng(seed)
    found = []
    for at in range(number):
        cost = float(rng.lognormal(7.5, 0.4))
        ratio = float(rng.uniform(low, high))
        won = rng.random() < 1 / (1 + math.exp(-(4.0 - 11 * math.log(ratio))))
        outcome = "open" if at >= number - still_open else "won" if won else "lost"
        found.append(Sent(f"25{at:04d}-{rng.integers(16**6):06X}", f"Invented machine {at + 1}",
                          str(Level.SHOP_JOB), date(2025, 1, 6) + timedelta(days=5 * at),
                          Decimal(f"{ratio * cost:.2f}"), cost, "USD", outcome))
    return found[::-1]


def offer_of(pricing=FIXED, hours=(1, 1, 1), **settings):
    """A quote of a job that costs 140: four hours at 25, if that is sure, and four pieces at 10."""
    rows = [small.thing(), small.operation("mend", *hours), small.part(), small.treatment(),
            small.treatment("part", "piece")]
    return quote(small.survey(small.line(count=4)), Choices(Level.CLEAN, pricing, on=DAY),
                 small.shop(*rows, **settings), compare=False)


@pytest.fixture(scope="module")
def demo_offer(demo_survey_path):
    """The demo machine, with finds, hidden lines and a warranty reserve."""
    shop = open_shop()
    return quote(read(demo_survey_path, shop.catalogue), Choices(Level.SHOP_JOB, on=DAY), shop,
                 compare=False)


@pytest.fixture
def ledger(tmp_path):
    """A ledger in a folder of its own, closed at the end."""
    found = Ledger(tmp_path)
    yield found
    found.close()


# What is kept ------------------------------------------------------------------------------------


def test_a_quote_is_kept_with_its_price_and_what_the_job_costs_on_average(demo_offer):
    """Reckoned by hand: 4 h at 25 and 4 pieces at 10; the demo's finds are in its cost."""
    offer = offer_of(margin=0.3)
    sent = winning.sent_of(offer)
    assert sent.cost_mean == pytest.approx(140)
    assert sent == Sent(offer.number, "Test piece", "clean", DAY, Decimal("200.00"),
                        sent.cost_mean, "USD")
    assert demo_offer.job.find_cost > 0
    assert winning.sent_of(demo_offer).cost_mean == pytest.approx(
        demo_offer.odds.cost.mean(), rel=0.02)


def test_time_and_materials_is_kept_at_the_expected_bill():
    """The bill that is expected, not the cap that is not passed without asking."""
    offer = offer_of(TIME, (1, 2, 6), margin=0.3)
    assert winning.sent_of(offer).price == offer.price < offer.cap


def test_the_same_number_again_takes_its_place_until_it_is_decided(ledger):
    """Through a real file: kept, kept again at another price, won, and then it stays."""
    first = offer_of(margin=0.3)
    house = replace(open_shop(), settings=first.settings)
    jobs.keep(ledger, first, house)
    again = replace(first, price=Decimal("210.00"))
    assert [one.price for one in ledger.sent()] == [Decimal("200.00")]
    jobs.keep(ledger, again, house)
    assert [one.price for one in ledger.sent()] == [Decimal("210.00")]
    ledger.decide(first.number, "won")
    assert jobs.keep(ledger, first, house).price == Decimal("210.00")
    (answered,) = winning.history(ledger.sent())
    assert (answered.price, answered.won) == (210.0, True)


def test_a_quote_for_nothing_is_not_kept(ledger):
    """No work, no price: there is nothing to win, and no file is made."""
    rows = [small.thing(), small.operation(), small.treatment()]
    nothing = quote(small.survey(small.line(count=0)), Choices(Level.CLEAN, on=DAY),
                    small.shop(*rows), compare=False)
    assert jobs.keep(ledger, nothing, open_shop()) is None
    assert not ledger.path.exists()
    assert winning.advice(past_quotes(), nothing).offered is None


# The advice --------------------------------------------------------------------------------------


def test_too_little_history_gives_no_advice_and_says_what_is_missing():
    """Twelve answers of twenty: one sentence, no figure, nothing for a chart."""
    said = winning.advice(past_quotes(15, still_open=3), offer_of(margin=0.3))
    assert said.answered == 12
    assert said.open == 3
    (sentence,) = said.words(open_shop().settings)
    assert "20 answered quotes (12 so far)" in sentence
    assert (said.offered, said.best, said.points) == (None, None, ())


def test_open_quotes_teach_nothing():
    """With or without them the advice is the same; they are only counted."""
    sent = past_quotes()
    decided = [one for one in sent if one.outcome != "open"]
    with_open, without = (winning.advice(some) for some in (sent, decided))
    assert (with_open.points, with_open.best) == (without.points, without.best)
    assert (with_open.open, without.open) == (5, 0)


@pytest.mark.parametrize("reserve", [0.0, 0.05])
def test_the_price_that_earns_most_counts_the_warranty_reserve_as_spent(reserve):
    """A bounded search by another library finds the same price and the same earnings."""
    sent = past_quotes(200)
    said = winning.advice(sent, reserve=reserve)
    curve = winning_curve(winning.history(sent))

    def earns(ratio):
        return float(curve.win(ratio)) * (ratio * (1 - reserve) - 1)

    other = optimize.minimize_scalar(lambda ratio: -earns(ratio), method="bounded",
                                     bounds=(curve.lowest, curve.highest),
                                     options={"xatol": 1e-7})
    assert said.best.ratio == pytest.approx(other.x, rel=1e-4)
    assert said.best.earns == pytest.approx(-other.fun, rel=1e-8)
    for end in said.near:
        step = (curve.highest - curve.lowest) / 60
        assert winning.NEAR - 0.05 < earns(end) / said.best.earns <= 1
        outside = end + math.copysign(1.01 * step, end - said.best.ratio)
        assert earns(outside) / said.best.earns < winning.NEAR


def test_an_offer_is_told_its_chance_and_what_it_earns():
    """At 200 for a job of 140: the curve's chance there, and chance × (200 less 5 % less 140)."""
    offer = offer_of(margin=0.25, warranty_share=0.05)
    assert float(offer.price) == 200
    sent = past_quotes()
    said = winning.advice(sent, offer)
    curve = winning_curve(winning.history(sent))
    win = float(curve.win(200 / 140))
    assert said.offered.ratio == pytest.approx(200 / 140)
    assert said.offered.win == pytest.approx(win)
    assert (said.offered.low, said.offered.high) == tuple(map(pytest.approx,
                                                              curve.band(200 / 140)))
    assert said.offered.earns * said.cost == pytest.approx(win * (190 - 140))
    assert said.best.earns >= said.offered.earns
    words = " ".join(said.words(open_shop().settings))
    for figure in ("$200 (1.43 × cost)", f"winning is {100 * win:.0f} in 100",
                   f"${said.offered.earns * said.cost:.0f} at $200", "55 quotes answered"):
        assert figure in words


def test_no_price_is_changed_by_advice():
    """The offer is the same object with the same figures afterwards."""
    offer = offer_of(margin=0.3)
    before = (offer.price, offer.total, offer.lines)
    winning.advice(past_quotes(), offer)
    assert (offer.price, offer.total, offer.lines) == before


def test_of_prices_never_tried_nothing_is_said():
    """Five times the cost: no chance, no earnings, a sentence that says so, null in JSON."""
    offer = offer_of(margin=0.8)
    said = winning.advice(past_quotes(), offer)
    assert said.offered == winning.Chance(pytest.approx(5.0))
    words = " ".join(said.words(open_shop().settings))
    assert "at a price like $700 (5.00 × cost): its chance is not known" in words
    assert "against" not in words
    assert "nan" not in words


def test_the_edge_of_what_was_tried_is_a_caution():
    """Where every dear quote was won too, the dearest price is best and more is not known."""
    sent = [replace(one, outcome="won" if at % 10 else "lost")
            for at, one in enumerate(past_quotes(60, high=1.4))]
    said = winning.advice(sent, offer_of(margin=0.2))
    assert "No quote asked more than this" in said.caution
    assert said.caution in said.words(open_shop().settings)


def test_prices_under_cost_earn_nothing_and_that_is_said():
    """A shop that always asked less than the jobs cost is not told to go on."""
    sent = past_quotes(60, low=0.6, high=0.9)
    sent = [replace(one, outcome="lost" if at % 3 else "won") for at, one in enumerate(sent)]
    said = winning.advice(sent, offer_of(margin=0.2))
    assert "leaves anything over" in " ".join(said.words(open_shop().settings))
    assert said.caution == ""


def test_a_curve_is_fitted_once_while_nothing_is_decided(monkeypatch):
    """Asked again with the same answers, open ones more or less, it is not fitted again."""
    fitted = []
    monkeypatch.setattr(winning, "winning_curve",
                        lambda answered: fitted.append(1) or winning_curve(answered))
    winning._learned.cache_clear()
    sent = past_quotes(seed=9)
    for some in (sent, list(sent), [one for one in sent if one.outcome != "open"]):
        winning.advice(some, offer_of(margin=0.3))
    assert len(fitted) == 1
    winning.advice([replace(sent[0], outcome="won"), *sent[1:]])
    assert len(fitted) == 2


def test_money_is_written_as_the_shop_writes_it():
    """Pounds, in whole ones."""
    words = " ".join(winning.advice(past_quotes(), offer_of(margin=0.3, currency="GBP",
                                                            locale="en_GB")).words(
        open_shop().settings.model_copy(update={"currency": "GBP", "locale": "en_GB"})))
    assert "£200 (1.43 × cost)" in words
    assert wording.whole(200, offer_of(currency="GBP", locale="en_GB").settings) in words


# The command -------------------------------------------------------------------------------------


@pytest.fixture
def shop_dir(tmp_path):
    """A shop folder."""
    return new_shop(tmp_path / "shop")


def filled(shop_dir, sent):
    """Put quotes into the shop's ledger."""
    ledger = Ledger(shop_dir)
    for one in sent:
        ledger.record(replace(one, outcome="open"))
        if one.outcome != "open":
            ledger.decide(one.number, one.outcome)
    ledger.close()
    return sent


def run(capsys, *arguments):
    """Exit code, output, errors of one command."""
    code = cli.main([str(word) for word in arguments])
    out, err = capsys.readouterr()
    return code, out, err


def quoted(shop_dir, demo_survey_path, *more):
    """The command that writes the demo's documents in this shop."""
    return ["quote", demo_survey_path, "--level", "shop-job", "--date", "2026-01-05", "--shop",
            shop_dir, *more]


def test_a_quote_written_with_a_shop_is_listed_and_booked(capsys, shop_dir, tmp_path,
                                                          demo_survey_path):
    """Written, listed as open, won, and listed as won; the figures are those of quote.json."""
    out_dir = tmp_path / "out"
    assert run(capsys, *quoted(shop_dir, demo_survey_path, "--out", out_dir))[0] == 0
    kept = json.loads((out_dir / "quote.json").read_text(encoding="utf-8"))
    code, out, err = run(capsys, "quotes", "--shop", shop_dir)
    assert (code, err) == (0, "")
    (row,) = [line for line in out.splitlines() if kept["number"] in line]
    for word in ("2026-01-05", "Marmalade Observatory", "shop-job", f"${kept['price']:,.2f}",
                 "open"):
        assert word in row
    assert "20 answered quotes (0 so far)" in " ".join(out.split())

    code, out, err = run(capsys, "quotes", kept["number"], "won", "--shop", shop_dir)
    assert (code, err) == (0, "")
    assert "won" in out
    said = json.loads(run(capsys, "quotes", "--json", "--shop", shop_dir)[1])
    assert said["schema"] == 1
    (one,) = said["quotes"]
    assert (one["number"], one["outcome"], one["price"], one["currency"]) == (
        kept["number"], "won", kept["price"], "USD")
    assert one["price_over_cost"] == pytest.approx(one["price"] / one["cost_mean"], abs=1e-3)
    # Written once more, it stays won.
    assert run(capsys, *quoted(shop_dir, demo_survey_path, "--out", out_dir))[0] == 0
    assert json.loads(run(capsys, "quotes", "--json", "--shop", shop_dir)[1]) == said


def test_only_what_is_written_with_a_shop_is_sent(capsys, monkeypatch, shop_dir, tmp_path,
                                                  demo_survey_path):
    """Looking at a price keeps nothing, nor does a quote of no shop; ESTIMATOR_SHOP names one."""
    run(capsys, *quoted(shop_dir, demo_survey_path))
    run(capsys, *quoted(shop_dir, demo_survey_path)[:6], "--out", tmp_path / "out")
    assert not (shop_dir / FILE).exists()
    monkeypatch.setenv("ESTIMATOR_SHOP", str(shop_dir))
    run(capsys, *quoted(shop_dir, demo_survey_path)[:6], "--out", tmp_path / "out")
    assert len(json.loads(run(capsys, "quotes", "--json")[1])["quotes"]) == 1


def test_quotes_gives_the_advice_of_enough_history(capsys, shop_dir):
    """All quotes, the newest first, then the sentences; in JSON the curve as plain numbers."""
    sent = filled(shop_dir, past_quotes())
    code, out, _ = run(capsys, "quotes", "--shop", shop_dir)
    assert code == 0
    assert re.findall(r"^25\S+", out, re.M) == [one.number for one in sent]
    assert "Of 55 quotes answered so far" in out
    assert "× expected cost" in out
    text = run(capsys, "quotes", "--json", "--shop", shop_dir)[1]
    assert "NaN" not in text
    said = json.loads(text)["advice"]
    assert (said["reason"], said["open"], said["won"] + said["lost"]) == (None, 5, 55)
    wins = [point["chance"] for point in said["curve"]]
    assert wins == sorted(wins, reverse=True)
    assert all(point["chance_low"] <= point["chance"] <= point["chance_high"]
               for point in said["curve"])
    ratio = said["best"]["price_over_cost"]
    assert said["near_low"] <= ratio <= said["near_high"]
    reserve = open_shop(shop_dir).settings.warranty_share
    assert said["best"]["earns_over_cost"] == pytest.approx(
        said["best"]["chance"] * (ratio * (1 - reserve) - 1), abs=1e-3)


@pytest.mark.parametrize(("words", "wanted"), [
    (["250003-FFFFFF", "won"], "Did you mean"), (["250003", "lost"], "No quote with the number"),
    (["NUMBER", "wonn"], 'Did you mean "won"'), (["NUMBER"], "won, lost or open")])
def test_a_wrong_number_or_outcome_is_refused(capsys, shop_dir, words, wanted):
    """Exit code 2, what is near, and nothing is changed."""
    sent = filled(shop_dir, past_quotes())
    words = [sent[0].number if word == "NUMBER" else word for word in words]
    code, out, err = run(capsys, "quotes", *words, "--shop", shop_dir)
    assert (code, out) == (2, "")
    assert wanted in err
    ledger = Ledger(shop_dir)
    assert list(ledger.sent()) == sent
    ledger.close()


def test_without_a_shop_folder_it_says_how_to_make_one(capsys):
    """Exit code 2 and the command; with --json the same as data."""
    code, out, err = run(capsys, "quotes")
    assert (code, out) == (2, "")
    assert "estimator new-shop" in err
    said = json.loads(run(capsys, "quotes", "--json")[1])
    assert "new-shop" in said["faults"][0]["fix"]


def test_an_empty_shop_lists_nothing_and_makes_no_file(capsys, shop_dir):
    """No quotes yet: said, exit code 0, no ledger made by looking."""
    code, out, err = run(capsys, "quotes", "--shop", shop_dir)
    assert (code, err) == (0, "")
    assert "No quotes sent so far" in out
    assert not (shop_dir / FILE).exists()


def test_documents_stand_even_where_the_ledger_cannot_be_written(capsys, shop_dir, tmp_path,
                                                                 demo_survey_path):
    """They are listed as ever; that the quote is not kept is said, and the exit code is 2."""
    (shop_dir / FILE).write_bytes(b"not a database" * 100)
    code, out, err = run(capsys, *quoted(shop_dir, demo_survey_path, "--out", tmp_path / "out"))
    assert code == 2
    assert str(tmp_path / "out" / "quote.pdf") in out
    assert (tmp_path / "out" / "quote.pdf").is_file()
    assert "not among the quotes sent" in err
    assert "is damaged" in err
    with pytest.raises(BadInput):
        Ledger(shop_dir).sent()
