"""What to do with a machine: by hand in a small shop, and whole with the trade's tables."""

import json
import re
import subprocess
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
import small_shop
from conftest import needed
from small_shop import line, operation, row, survey, thing, treatment

from estimator import catalogue, cli, investing, simulate
from estimator.catalogue import Condition, Era, Level
from estimator.errors import BadInput
from estimator.estimate import estimate
from estimator.resale import LEAVE, Deal, Words, as_dict, resale, screening, selling
from estimator.resale.after import finds_seen
from estimator.scope import scope
from estimator.shop import open_shop
from estimator.survey import read

ON = date(2026, 11, 25)
SHOP = open_shop()


@pytest.fixture(scope="module")
def demo():
    return read(catalogue.data_folder() / "demo" / "survey.csv", SHOP.catalogue, final=True)


def _ratio(choice, ratio, level=None, **cells):
    low, typical, high = ratio if isinstance(ratio, tuple) else (ratio,) * 3
    return row(catalogue.SaleRatio, choice=choice, name=choice.title(), level=level or choice,
               low=low, typical=typical, high=high, **cells)


def _shop(hours, *rows, days=30, **settings):
    """One assembly that a shop job takes so many hours over, at 1 an hour; sold privately."""
    return small_shop.shop(
        thing(), operation(low=hours, typical=hours, high=hours),
        treatment(level_from=Level.SHOP_JOB),
        row(catalogue.Way, way="private", name="Private sale", low=0, typical=0, high=0),
        row(catalogue.Way, way="online", name="Online", low=0, typical=0, high=0),
        row(catalogue.Way, way="hall", name="Sale hall", low=0, typical=0, high=0,
            premium=0.1, premium_minimum=10, premium_cap=50),
        row(catalogue.DaysToSell, way="private", low=days, typical=days, high=days),
        row(catalogue.DaysToSell, way="online", low=days, typical=days, high=days),
        *(row(catalogue.WearWorth, condition=one, used_price=1, gain=1) for one in Condition),
        *rows, **({"pay_per_hour": 1, "bench_hours_per_week": 168} | settings))


def _deal(value, **said):
    return Deal(value, trials=100, on=ON, **said)


# --- by hand, and as printed ------------------------------------------------------------------


@pytest.mark.parametrize(("now", "then", "work", "best", "by"), [
    # Franklin, Graybeal & Cooper, Principles of Accounting 2, OpenStax, 10.5: scrap as it is for
    # 900,000 or made into bands for 1,130,000; apples for 160,000 or juice for 90,000; in
    # thousands.
    (900, 1_500, 370, "shop-job", 230),
    (160, 350, 260, "as-found", 70),
    # The same, an exercise with its answer: sold now 22, or 38 after 11 of rework; 30 is spent.
    (22, 38, 11, "shop-job", 5),
])
def test_sell_as_it_is_or_work_on_it_first_is_as_printed(now, then, work, best, by):
    """The better way and by how much; what was paid before has no part in it."""
    shop = _shop(work, _ratio("as-found", now / then), _ratio("shop-job", 1.0))
    answers = [resale(survey(line()), _deal(then, paid=paid, hours_per_week=168), shop)
               for paid in (None, 0, 30, 10_000_000)]
    assert {answer.best for answer in answers} == {best}
    for answer in answers:
        assert answer.lead == pytest.approx(by, rel=1e-6)
        assert [one.profit for one in answer.choices] == [
            pytest.approx(now), pytest.approx(then - work)]
    assert Words(answers[0]).sunk() == ""
    # A chance that is none is said so, as the charts say it.
    assert "; none lose money" in " ".join(Words(answers[0]).why())
    assert "no part in the choice" in Words(answers[2]).sunk()


def test_a_deal_by_hand():
    """Bought for 1,000 at a premium of 50, 84 hours in half a week, sold after a month."""
    shop = _shop(84, _ratio("as-found", 0.5), _ratio("shop-job", 1.0), days=40,
                 storage_cost_per_month=20, capital_rate_per_year=investing.yearly_rate(0.01))
    answer = resale(survey(line()), _deal(2_000, asking=1_000, buying="hall"), shop)
    assert answer.outlay == 1_050
    job = answer.choice("shop-job")
    # 84 h at 168 a week are 3.5 days; 43.5 days are two months begun.
    assert job.hours == pytest.approx(84)
    assert job.flows == pytest.approx((-1_050, -84 - 20, 2_000 - 20))
    assert job.profit == pytest.approx(2_000 - 1_050 - 84 - 40)
    assert job.worth == pytest.approx(-1_050 - 104 / 1.01 + 1_980 / 1.01**2)
    assert job.index == pytest.approx(1 + job.worth / 1_050)
    assert job.earned.rate == pytest.approx(
        investing.yearly_rate(investing.internal_rate([-1_050, -104, 1_980]).rate))
    assert job.per_hour == pytest.approx((2_000 - 1_050 - 40) / 84)
    assert job.more_per_hour == pytest.approx(1_000 / 84)
    assert job.break_even_price == pytest.approx(1_050 + 84 + 40)
    assert job.payback == pytest.approx(1 + 1_154 / 1_980)
    assert answer.choice("as-found").profit == pytest.approx(1_000 - 1_050 - 40)
    # Everything is sure, so the highest bid leaves just the cost of capital.
    bid = job.highest_price
    assert selling.all_in(bid, 0.1, 10, 50) == pytest.approx(-104 / 1.01 + 1_980 / 1.01**2)


def test_not_buying_is_a_choice_of_its_own():
    """At a price that no way earns back, the answer is to leave it, with no rate of return."""
    shop = _shop(10, _ratio("as-found", 0.5), _ratio("shop-job", 1.0))
    answer = resale(survey(line()), _deal(1_000, asking=1_500), shop)
    assert answer.best == LEAVE
    assert answer.choice(LEAVE).worth == 0
    assert answer.choice(LEAVE).earned.rate is None
    assert Words(answer).head() == "Do not buy it at $1,500."
    owned = resale(survey(line()), _deal(1_000), shop)
    assert LEAVE not in [one.key for one in owned.choices]


def test_a_full_bench_changes_the_choice():
    """A job that pays its hours at cost, but less than customers' work would bring in."""
    shop = _shop(40, _ratio("as-found", 0.9), _ratio("shop-job", 1.0), bench_hour_earns=5)
    answer = resale(survey(line()), _deal(1_000), shop)
    assert answer.best == "shop-job"
    assert answer.best_bench_full == "as-found"
    assert answer.choice("shop-job").profit_bench_full == pytest.approx(1_000 - 40 * 5)
    assert answer.choice("shop-job").more_per_hour == pytest.approx(100 / 40)
    said = " ".join(Words(answer).bench())
    assert "shop-Job $2." in said
    assert "Customers' work brings in $5" in said
    assert "full of it, the choice is to as-Found" in said


def test_a_shop_that_only_sells_as_found_has_nothing_to_take_apart_or_to_pay_for():
    """One choice: no lead, no teardown, no lines, and words that say so."""
    answer = resale(survey(line()), _deal(1_000), _shop(10, _ratio("as-found", 0.5)))
    assert (answer.best, answer.next_best, answer.lead) == ("as-found", "as-found", 0)
    assert (answer.teardown, answer.paying, answer.turns) == (None, None, ())
    told = as_dict(answer)
    assert told["teardown"] is told["pays"] is None
    words = Words(answer)
    assert words.stop() == ["No choice takes the machine apart."]
    assert words.pays() == ["No work, so no line that could pay."]
    assert (words.bench(), words.by_hours()) == ([], [])
    assert "more than the next best" not in words.why()[0]


def test_work_that_costs_nothing_has_no_line_that_could_pay():
    """The shop job of a machine on which nothing is to be done is no work at all."""
    answer = resale(survey(line()), _deal(1_000), _shop(
        10, _ratio("as-found", 0.5), _ratio("clean", 0.6)))
    assert answer.choice("clean").hours == 0
    assert (answer.paying, answer.teardown) == (None, None)


def test_lines_share_the_step_by_weight_and_what_they_pay_together_by_hand():
    """Of a step of 500, a thing of weight 3 has 375 and half the pair of weight 2 has 125."""
    extra = [
        thing("pair", droppable=True),
        operation("fit", 10, 10, 10, setup=2),
        treatment(item="fit", level_from=Level.SHOP_JOB),
        treatment(item="fit", assembly="pair", level_from=Level.SHOP_JOB),
        row(catalogue.SaleWeight, assembly="thing", weight=3),
        row(catalogue.SaleWeight, assembly="pair", weight=2),
        row(catalogue.Count, era=Era.DOT_MATRIX, assembly="pair", low=2, typical=2, high=2,
            condition="worn"),
        row(catalogue.Service, service="coat", name="Coat", low=5, typical=5, high=5, setup=1,
            line_fee=3, freight=4, days_low=1, days_typical=1, days_high=1),
        treatment("service", "coat", level_from=Level.SHOP_JOB),
        treatment("service", "coat", assembly="pair", level_from=Level.SHOP_JOB),
        row(catalogue.Material, material="kit", name="Kit", low=7, typical=7, high=7, pack=10,
            sold_whole=True),
        treatment("material", "kit", level_from=Level.SHOP_JOB),
        treatment("material", "kit", assembly="pair", level_from=Level.SHOP_JOB),
    ]
    shop = _shop(6, *extra, _ratio("as-found", 0.5), _ratio("shop-job", 1.0))
    found = resale(survey(line(), line("pair")), _deal(1_000), shop).paying
    assert found.step == pytest.approx(500)
    rows = {one.line: one for one in found.lines}
    assert (rows[0].gain, rows[1].gain) == pytest.approx((375, 125))
    assert (rows[0].hours, rows[1].hours) == pytest.approx((16, 10))
    assert (rows[0].cost, rows[1].cost) == pytest.approx((16, 10))
    # 16 + 10 h and 2 of set-up at 1; a lot of 1 + 2 × 5 + 2 × 3 + 4; a kit of 7.
    assert (found.whole.gain, found.whole.cost, found.whole.hours) == pytest.approx(
        (500, 28 + 21 + 7, 28))
    assert found.chosen.lines == (0, 1)
    assert found.chosen.proven


def test_the_seller_s_own_fee_comes_before_the_table_s():
    """A tenth of 1,000 stays with the way, and 15; the table would take a fifth, and 15."""
    shop = _shop(10, row(catalogue.Way, way="stand", name="A stand", low=0.2, typical=0.2,
                         high=0.2, fixed=15),
                 row(catalogue.DaysToSell, way="stand", low=30, typical=30, high=30),
                 _ratio("as-found", 1.0))
    deal = _deal(1_000, way="stand", asking=500)
    own = resale(survey(line()), replace(deal, fee=0.1), shop).choice("as-found")
    assert own.profit == pytest.approx(1_000 - 100 - 15 - 500)
    assert own.break_even_price == pytest.approx((500 + 15) / 0.9)
    table = resale(survey(line()), deal, shop).choice("as-found")
    assert table.profit == pytest.approx(1_000 - 200 - 15 - 500)
    assert table.break_even_price == pytest.approx((500 + 15) / 0.8)


def test_a_choice_without_a_row_for_the_machine_is_noted():
    """A choice that stands for another state or era is left out, and said to be."""
    answer = resale(survey(line()), _deal(1_000, found="working"), _shop(
        10, _ratio("as-found", 0.5), _ratio("shop-job", 1.0, found="collector")))
    assert [one.key for one in answer.choices] == ["as-found"]
    assert answer.notes == ('"shop-job" has no row for a machine found working of this era.',)


def test_a_decision_tells_how_far_it_is_and_can_be_stopped():
    """Told before each choice; an answer of False ends it."""
    shop = _shop(10, _ratio("as-found", 0.5), _ratio("shop-job", 1.0))
    told = []
    resale(survey(line()), _deal(1_000), shop, progress=told.append)
    assert told == [0, 0.5]
    with pytest.raises(simulate.Stopped):
        resale(survey(line()), _deal(1_000), shop, progress=lambda share: share < 0.5)


def test_words_of_deals_by_hand():
    """What is said where all is certain: 10 h at 1 make 500 into 1,000, or 600 h do."""
    two = (_ratio("as-found", 0.5), _ratio("shop-job", 1.0))

    def said(hours, rows=two, value=1_000, storage=0, **deal):
        shop = _shop(hours, *rows, storage_cost_per_month=storage)
        return Words(resale(survey(line()), _deal(value, **deal), shop))

    pays, not_ = said(10), said(600)
    assert pays.stop()[1] == "Whatever shows, go on (shop-Job)."
    assert not_.stop()[1] == ("Whatever shows, it is better then to stop, put it back together and "
                              "sell it without the job. So do not take it apart.")
    assert pays.turns() == ["Nothing near: market value, cost of work and price may each move far."]
    # 600 h pay from 1,200 on, half of which is 600; at 500 h they would.
    assert not_.turns() == ["Market value over $1,200: shop-Job.",
                            "All work 17 % cheaper than reckoned: shop-Job."]
    assert said(10, want_profit=100, asking=400).bid() == [
        "Bid up to $890, then shop-Job: that earns 0 % a year and $100 on top in 80 in 100."]
    dear = said(10, asking=1_200)
    assert dear.bid()[1] == "The asking price is $1,200."
    assert dear.turns() == ["Market value over $1,210: shop-Job.",
                            "Price under $990: buy it, on average, and shop-Job."]
    assert len(dear.why()) == 1
    assert said(10, value=10, storage=20).bid() == ["At no price does it earn 0 % a year in 80 in "
                                                    "100."]
    assert "$490 more than the next best (as-Found)" in pays.why()[0]
    luck = said(20, (_ratio("as-found", (0.4, 0.5, 0.6)), _ratio("shop-job", (0.4, 0.5, 0.6))))
    assert luck.why()[1] == ("That lead is within what 100 trials can tell: take the two as alike, "
                             "or play more trials.")
    lead = luck.found.worths[luck.found.best] - luck.found.worths[luck.found.next_best]
    assert luck.found.lead == pytest.approx(lead.mean())
    assert luck.found.lead_error == pytest.approx(lead.std() / 10)


@pytest.mark.parametrize(("said", "what"), [
    ({"value_high": 900}, "The high market value 900 is under the market value 1000."),
    ({"way": "hall"}, 'How long a sale takes by "hall" is not said.'),
    ({"wait_weeks": 521}, "A wait of 521 weeks is over ten years."),
    ({"parts_way": "zoo"}, '"zoo" is not a way of selling.'),
])
def test_one_fault_of_a_deal_is_said_by_itself(said, what):
    """Each with the field it is in, and nothing else is at fault."""
    shop = _shop(10, _ratio("as-found", 0.5))
    with pytest.raises(BadInput) as caught:
        resale(survey(line()), _deal(1_000, **({"parts_way": "online"} | said)), shop)
    (fault,) = caught.value.faults
    assert (fault.what, fault.column) == (what, *said)


def test_a_choice_of_the_shop_s_own():
    """A row of the shop's table with a level, without an assembly: one more choice."""
    shop = _shop(
        10, _ratio("as-found", 0.5), _ratio("shop-job", 1.0),
        _ratio("rough", 0.8, "shop-job", without="other"), thing("other"),
        operation("scrape", 5, 5, 5),
        treatment(item="scrape", assembly="other", level_from=Level.SHOP_JOB))
    answer = resale(survey(line(), line("other")), _deal(1_000), shop)
    assert [one.key for one in answer.choices] == ["as-found", "shop-job", "rough"]
    assert [round(one.hours) for one in answer.choices] == [0, 15, 10]
    assert answer.choice("rough").profit == pytest.approx(790)


def test_work_never_makes_a_machine_worth_less():
    """A ratio under that of the machine as found is lifted to it."""
    shop = _shop(10, _ratio("as-found", 1.2), _ratio("shop-job", 1.0))
    answer = resale(survey(line()), _deal(1_000), shop)
    assert answer.choice("shop-job").sale == pytest.approx(1_200)


def test_waiting_for_the_bench_moves_the_work_and_the_sale():
    """Nine weeks' wait: nothing is paid for work in the first two months."""
    shop = _shop(84, _ratio("as-found", 0.5), _ratio("shop-job", 1.0), days=10)
    answer = resale(survey(line()), _deal(2_000, wait_weeks=9), shop)
    assert answer.choice("shop-job").flows == pytest.approx((0, 0, 0, 2_000 - 84))
    assert answer.choice("as-found").flows == pytest.approx((0, 1_000))


# --- the same trials --------------------------------------------------------------------------


def test_one_market_value_serves_all_choices():
    """Where only the value varies, the sales of any two choices are in step, trial by trial."""
    shop = _shop(10, _ratio("as-found", 0.5), _ratio("shop-job", 1.0), value_spread=0.3)
    answer = resale(survey(line()), Deal(1_000, trials=2_000, on=ON), shop)
    found, done = answer.worths["as-found"], answer.worths["shop-job"]
    assert found.std() > 30
    assert done == pytest.approx(2 * found - 10)


def test_other_lines_do_not_move_the_market(demo):
    """A line in another condition leaves what the machine brings as it was, to the digit."""
    deal = Deal(5_000, trials=1_000, on=ON)
    before = resale(demo, deal, SHOP)
    index = next(k for k, one in enumerate(demo.lines) if one.assembly == "eject")
    after = resale(demo.with_line(index, condition=Condition.FAILED), deal, SHOP)
    for key in ("as-found", "shop-job", "full-restoration"):
        one, other = before.choice(key), after.choice(key)
        assert (one.sale, one.sale_p10, one.sale_p90) == (other.sale, other.sale_p10,
                                                          other.sale_p90)
    assert before.choice("shop-job").cost != after.choice("shop-job").cost


def test_the_same_seed_gives_the_same_answer_and_another_one_another(demo):
    """Figures are reproducible, and not hard-coded."""
    deal = Deal(5_000, asking=2_500, trials=500, on=ON)
    first = as_dict(resale(demo, deal, SHOP))
    assert as_dict(resale(demo, deal, SHOP)) == first
    other = as_dict(resale(demo, replace(deal, seed=2), SHOP))
    assert other["choices"] != first["choices"]


def test_the_cost_is_that_of_the_quote_s_odds(demo):
    """Same seed, same trials: hours and cost of a choice are those of its level's odds."""
    job = estimate(scope(demo, Level.RECONDITIONED, SHOP.catalogue), SHOP)
    odds = simulate.simulate(job, SHOP.settings, trials=1_000, seed=5)
    one = resale(demo, Deal(5_000, trials=1_000, seed=5, on=ON), SHOP).choice("reconditioned")
    assert one.cost == pytest.approx(odds.cost.mean())
    assert one.hours_p80 == pytest.approx(odds.at("hours", 0.8)[0])


# --- odds and bids ----------------------------------------------------------------------------


@pytest.mark.parametrize("buying", ["private", "auction", "club-auction"])
def test_the_highest_price_is_exact(demo, buying):
    """At that bid the wanted return is reached at the confidence, and at a cent more it is not."""
    deal = Deal(5_000, asking=100, buying=buying, fetching=80, want=0.25, want_profit=200,
                confidence=0.9, capital_rate=0.25, trials=2_000, on=ON)
    answer = resale(demo, deal, SHOP)
    for one in answer.choices:
        if one.highest_price <= 0:
            continue
        shares = []
        for bid in (one.highest_price, one.highest_price + 0.05):
            again = resale(demo, replace(deal, asking=bid), SHOP)
            shares.append(float(np.mean(again.worths[one.key] >= 200 - 1e-6)))
        assert shares[0] >= 0.9 > shares[1]
        break
    else:
        pytest.fail("no choice has a bid")


def test_the_odds_of_a_choice_fit_each_other(demo):
    """Quantiles in order, the worst tenth under the tenth, loss where the profit is negative."""
    answer = resale(demo, Deal(5_000, asking=2_800, trials=2_000, on=ON), SHOP)
    for one in answer.choices:
        assert one.profit_p10 <= one.profit_p50 <= one.profit_p90
        assert one.worst_tenth <= one.profit_p10
        assert one.worth_p10 <= one.worth_p50 <= one.worth_p90
        if one.key != LEAVE:
            # What the payments are worth is what the trials are worth on average.
            rate = investing.monthly_rate(answer.capital_rate)
            assert investing.present_value(rate, one.flows) == pytest.approx(one.worth, abs=0.01)
            assert sum(one.flows) == pytest.approx(one.profit, abs=0.01)
    assert sum(one.best_in for one in answer.choices) == pytest.approx(1)
    best = answer.choice(answer.best)
    assert best.worth == max(one.worth for one in answer.choices)
    assert answer.lead == pytest.approx(best.worth - answer.choice(answer.next_best).worth)


def test_a_dearer_restoration_rarely_pays(demo):
    """At a true shop rate, full restoration of an ordinary machine loses money."""
    # Common practice, no source: full restoration rarely pays at market labour rates; the steps
    # that do are making it work and shopping it.
    answer = resale(demo, Deal(5_000, trials=1_000, on=ON), SHOP)
    assert answer.choice("full-restoration").worse_than_found > 0.99
    assert answer.best in ("as-found", "clean", "shop-job")
    dead = demo.with_line(next(k for k, one in enumerate(demo.lines)
                               if one.assembly == "cpu-board"), condition=Condition.FAILED)
    other = resale(dead, Deal(9_000, trials=1_000, on=ON), SHOP)
    assert other.found == "not-working"
    assert other.best == "shop-job"


def test_owned_machines_earn_on_what_waiting_costs(demo):
    """Selling as found is what the others are held against, and has no rate of its own."""
    answer = resale(demo, Deal(20_000, paid=900, trials=1_000, on=ON), SHOP)
    assert answer.choice("as-found").earned.rate is None
    assert "held against" in answer.choice("as-found").earned.why
    assert answer.choice("shop-job").earned.rate > 0


def test_what_would_change_the_answer_does(demo):
    """With the value, or the price, just beyond the point that is said, another choice is best."""
    deal = Deal(5_000, asking=2_800, trials=1_000, on=ON)
    answer = resale(demo, deal, SHOP)
    tried = set()
    for turn in answer.turns:
        if turn.what == "work":
            continue
        side = 1.01 if turn.factor > 1 else 0.99
        for part, best in ((side, turn.to), (1 / side, answer.best)):
            figure = turn.figure * part
            changed = replace(deal, value=figure) if turn.what == "value" \
                else replace(deal, asking=figure)
            assert resale(demo, changed, SHOP).best == best, (turn, part)
        tried.add(turn.what)
    assert tried == {"value", "asking"}


def test_turns_by_hand():
    """300 hours that bring 500 more: worth it up to 5/3 of the cost, and from a value of 600."""
    shop = _shop(300, _ratio("as-found", 0.5), _ratio("shop-job", 1.0))
    answer = resale(survey(line()), _deal(1_000, asking=400), shop)
    turns = {(turn.what, turn.factor > 1): turn for turn in answer.turns}
    assert turns["work", True].factor == pytest.approx(5 / 3)
    assert turns["work", True].to == "as-found"
    # Under 700 the job earns less than the 400 that the machine costs; at 600 it would sell as
    # well as found.
    assert turns["value", False].factor == pytest.approx(0.7)
    assert turns["value", False].figure == pytest.approx(700)
    assert turns["value", False].to == LEAVE
    assert turns["asking", True].figure == pytest.approx(700)
    assert turns["asking", True].factor == pytest.approx(1.75)


# --- after teardown, and lines ----------------------------------------------------------------


def test_finds_seen_are_expected_to_cost_what_the_estimate_says(demo):
    """Over the trials, what shows after teardown comes to the estimate's cost of finds."""
    job = estimate(scope(demo, Level.FULL, SHOP.catalogue), SHOP)
    odds = simulate.simulate(job, SHOP.settings, trials=20_000, seed=3)
    seen = finds_seen(job, odds, SHOP.settings)
    assert seen.min() >= 0
    assert seen.mean() == pytest.approx(job.find_cost, abs=4 * seen.std() / 20_000**0.5)
    # And trial by trial it goes with what they really came to.
    assert np.corrcoef(seen, odds.find_cost)[0, 1] > 0.8


def test_the_freedom_to_stop_is_worth_something_near_the_line(demo):
    """Where the job hardly pays, finds decide; where it pays by far, they do not."""
    near = resale(demo, Deal(7_200, trials=4_000, on=ON), SHOP).teardown
    assert near.stop_over is not None
    assert near.rule.gain > 3 * near.rule.gain_error > 0
    assert 0 < near.stop_over < near.finds_most
    far = resale(demo, Deal(30_000, found="not-working", trials=1_000, on=ON), SHOP)
    assert far.teardown.stop_over is None or far.teardown.stop_over > far.teardown.finds_most


def test_gains_of_lines_add_up_to_the_step(demo):
    """What a level adds to the sale is shared out, neither more nor less."""
    for survey_, deal in (
            (demo, Deal(8_000, trials=500, on=ON)),
            (demo.with_line(next(k for k, one in enumerate(demo.lines)
                                 if one.assembly == "cpu-board"), condition=Condition.FAILED),
             Deal(8_000, trials=500, on=ON))):
        answer = resale(survey_, deal, SHOP)
        paying = answer.paying
        assert sum(one.gain for one in paying.lines) == pytest.approx(paying.step)
        assert paying.whole.cost == pytest.approx(answer.choice(paying.key).cost, rel=0.003)
        assert paying.whole.hours == pytest.approx(answer.choice(paying.key).hours, rel=1e-4)
        assert paying.chosen.profit >= paying.whole.profit - 1e-6


def test_lots_and_whole_packs_are_counted_once(demo):
    """With work sent out as well, all lines together cost what the level costs."""
    answer = resale(demo, Deal(300_000, trials=2_000, on=ON), SHOP)
    assert answer.paying.key in ("full-restoration", "show-grade")
    assert answer.paying.whole.cost == pytest.approx(
        answer.choice(answer.paying.key).cost, rel=0.005)


def test_lines_keep_to_hours_money_and_the_day(demo):
    """The best set stays within each limit; what cannot be left out and does not fit is said."""
    free = resale(demo, Deal(8_000, trials=300, on=ON), SHOP).paying
    hours = free.chosen.hours - 0.5
    short = resale(demo, Deal(8_000, trials=300, hours=hours, on=ON), SHOP).paying
    assert short.chosen.hours <= hours + 1e-6
    assert short.chosen.profit <= free.chosen.profit
    cost = free.chosen.cost - 40
    cheap = resale(demo, Deal(8_000, trials=300, budget=cost, on=ON), SHOP).paying
    assert cheap.chosen.cost <= cost + 1e-6
    with pytest.raises(BadInput, match=r"left out takes \d+\.\d h, over the limit of 4\.0 h\."):
        resale(demo, Deal(8_000, trials=300, ready_by=date(2026, 11, 26), on=ON), SHOP)
    with pytest.raises(BadInput, match=r"left out costs \$\d,\d{3}, over the limit of \$10, and "
                       r"takes \d+\.\d h, over the limit of 1\.0 h\."):
        resale(demo, Deal(8_000, trials=300, budget=10, hours=1, on=ON), SHOP)


def test_parts_that_do_not_pay_their_hours_stay_on(demo):
    """Only offers that bring more than their hours cost are taken off and sold."""
    answer = resale(demo, Deal(5_000, trials=500, on=ON), SHOP)
    kept = [part for part in answer.parts if part.pays]
    assert 0 < len(kept) < len(answer.parts)
    part_out = answer.choice("part-out")
    assert part_out.sale == pytest.approx(
        sum(part.income for part in kept) - SHOP.settings.disposal_cost, rel=0.05)
    dear = resale(demo, Deal(50_000, trials=500, on=ON), SHOP)
    assert sum(part.pays for part in dear.parts) > len(kept)


def test_screening_agrees_with_the_trials(demo):
    """From mean and spread of cost and the same tables: quantiles of profit as the trials have."""
    answer = resale(demo, Deal(5_000, trials=20_000, on=ON), SHOP)
    days = SHOP.catalogue.days_to_sell["private", None]
    for one in answer.choices:
        if one.level is None:
            continue
        job = estimate(scope(demo, one.level, SHOP.catalogue), SHOP)
        odds = simulate.simulate(job, SHOP.settings, trials=20_000, seed=9)
        worked = 0.0 if one.level == Level.AS_FOUND else odds.days.mean()
        # A month begun counts whole: half a month more on average.
        found = screening.profits(
            value=screening.Moments.pert(4_000, 5_000, 6_000),
            ratio=screening.Moments.pert(*one.ratio),
            cost=screening.Moments.of(odds.cost.mean(), odds.cost.std()),
            days=screening.Moments.pert(days.low, days.typical, days.high).plus(worked + 15),
            storage_per_month=30)
        sd = float(np.sqrt(found.variance))
        for share, played in ((0.1, one.profit_p10), (0.5, one.profit_p50), (0.9, one.profit_p90)):
            assert found.at(share) == pytest.approx(played, abs=0.05 * sd), one.key


# --- the state it is found in -----------------------------------------------------------------


def test_the_state_is_read_off_the_survey(demo):
    """A dead board stops play, much missing makes it incomplete; what is said goes first."""
    def found(survey_, **said):
        return resale(survey_, Deal(5_000, trials=100, on=ON, **said), SHOP)

    assert found(demo).found == "working"
    assert found(demo, found="nice").found == "nice"
    gone = demo
    for k, one in enumerate(demo.lines):
        if one.assembly in ("cpu-board", "driver-board", "backglass"):
            gone = gone.with_line(k, condition=Condition.MISSING)
    answer = found(gone)
    assert answer.found == "incomplete"
    assert "% of it is missing" in answer.found_why


# --- wrong input ------------------------------------------------------------------------------


def test_every_fault_of_a_deal_is_said_at_once(demo):
    """No value, fees over 100 %, months that run back, a way nobody knows."""
    deal = Deal(0, value_low=10, paid=-1, asking=5, way="zoo", fee=1.2, premium=-0.1,
                purchase_tax=7, found="dead", want=30, confidence=2, hours_per_week=0,
                wait_weeks=-2, storage_per_month=-1, capital_rate=-0.1, trials=3,
                ready_by=date(2020, 1, 1), on=ON)
    with pytest.raises(BadInput) as caught:
        resale(demo, deal, SHOP)
    columns = {fault.column for fault in caught.value.faults}
    assert columns == {"value", "value_low", "paid", "asking", "way", "fee", "premium",
                       "purchase_tax", "found", "want", "confidence", "hours_per_week",
                       "wait_weeks", "storage_per_month", "capital_rate", "trials", "ready_by"}


@pytest.mark.parametrize("name", ["value", "value_high", "paid", "asking", "fetching",
                                  "want_profit", "storage_per_month", "bench_hour_earns"])
def test_a_sum_that_no_machine_costs_is_refused(demo, name):
    """1e308 would overflow on the way to an answer; the digits are to be counted."""
    with pytest.raises(BadInput, match=r"at most 1,000,000,000,000\. Count its") as caught:
        resale(demo, replace(Deal(5_000, on=ON), **{name: 1e308}), SHOP)
    assert [fault.column for fault in caught.value.faults] == [name]


def test_a_draft_is_refused(demo):
    """A survey with a gap has no cost that could be told."""
    with pytest.raises(BadInput, match="gaps"):
        resale(demo.with_line(0, condition=None), Deal(5_000, on=ON), SHOP)


def test_a_shop_without_the_row_for_as_found_is_told_so():
    """All choices are held against selling as found."""
    with pytest.raises(BadInput, match="no row \"as-found\""):
        resale(survey(line()), _deal(1_000), _shop(5, _ratio("shop-job", 1.0)))


def test_where_no_line_has_a_sale_weight_nothing_is_said_of_what_pays(demo):
    """Tables without weights of its assemblies: that, and neither losses nor lines to leave out."""
    bare = replace(SHOP, catalogue=replace(SHOP.catalogue, tables={
        **SHOP.catalogue.tables, "sale_weights": {}}))
    answer = resale(demo, Deal(5_000, asking=2_800, trials=300, on=ON), bare)
    words = Words(answer)
    (said,) = words.pays()
    assert "cannot be said" in said
    assert "none pays" not in said
    assert words.money(answer.paying.step) in said
    assert words.by_hours() == []


# --- the command ------------------------------------------------------------------------------


def test_the_command_prints_the_choices_and_the_decision(demo_survey_path, capsys):
    """A table, the decision in words, the bid, the stop rule, what pays."""
    assert cli.main(["resell", str(demo_survey_path), "--value", "5000", "--asking", "2800",
                     "--buying", "auction", "--trials", "500", "--date", "2026-11-25"]) == 0
    out = capsys.readouterr().out
    for said in ("Buy it, then", "* Clean and sell", "Do not buy", "Highest bid", "Stop rule",
                 "What pays", "Turns", "Part out"):
        assert said in out
    assert max(map(len, out.splitlines())) <= 150


def test_the_command_s_json_keeps_its_keys(demo_survey_path, capsys):
    """The contract: schema 1, units in the names, additions only."""
    assert cli.main(["resell", str(demo_survey_path), "--value", "5000", "--paid", "900",
                     "--trials", "300", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["schema"] == 1
    assert {"currency", "value", "paid", "best", "highest_price", "choices", "teardown",
            "inspection", "pays", "parts", "changes", "want_per_year", "hour_cost",
            "best_bench_full"} <= set(said)
    assert {"choice", "hours_mean", "cost_mean", "profit_p10", "profit_p50", "profit_p90",
            "profit_mean", "chance_of_loss", "worst_tenth_mean", "npv_mean", "npv_p50",
            "irr_per_year", "irr_why_none", "mirr_per_year", "payback_months",
            "break_even_sale_price", "income_per_bench_hour", "best_in_share", "highest_price",
            "cash_by_month"} <= set(said["choices"][0])
    assert said["paid_is_sunk"] is True


def test_the_command_says_all_that_is_wrong_and_writes_nothing(tmp_path, capsys):
    """Survey, words for numbers, unknown way: one list, exit code 2."""
    out = tmp_path / "out"
    assert cli.main(["resell", str(tmp_path / "none.csv"), "--value", "much", "--way", "zoo",
                     "--fee", "1.2", "--storage", "-3", "--trials", "few", "--ready-by", "soon",
                     "--out", str(out)]) == 2
    said = capsys.readouterr().err
    for word in ("none.csv", "--value", "--way", "--fee", "100 %", "--storage", "--trials",
                 "--ready-by", "7 faults"):
        assert word in said
    assert not out.exists()
    assert cli.main(["resell", str(tmp_path / "none.csv")]) == 2
    assert "No market value is said" in capsys.readouterr().err


def test_a_decision_fits_on_one_page(demo_survey_path, tmp_path, capsys):
    """Two files, the same bytes again, one page even with everything on it."""
    arguments = ["resell", str(demo_survey_path), "--value", "5000", "--paid", "2800",
                 "--way", "auction", "--found", "not-working", "--trials", "500",
                 "--date", "2026-11-25", "--out"]
    for name in ("a", "b"):
        assert cli.main([*arguments, str(tmp_path / name)]) == 0
    capsys.readouterr()
    pdf = (tmp_path / "a" / "decision.pdf").read_bytes()
    assert pdf == (tmp_path / "b" / "decision.pdf").read_bytes()
    told = subprocess.run([needed("pdftotext", "poppler-utils"), "-layout",
                           str(tmp_path / "a" / "decision.pdf"), "-"],
                          capture_output=True, text=True, check=True).stdout
    assert "Page 1 of 1" in told
    for heading in ("Stop after teardown", "What pays", "A look first", "Spent already",
                    "What would change the answer", "What this does not know"):
        assert heading in told
    assert json.loads((tmp_path / "a" / "decision.json").read_text(encoding="utf-8"))["best"]
    assert sorted(path.name for path in (tmp_path / "a").iterdir()) == [
        "decision.json", "decision.pdf"]


def test_amounts_of_many_figures_stand_in_thousands_on_one_page(demo, tmp_path):
    """Columns hold what they say: long amounts are written short, and the note says so."""
    from estimator.documents.decision import page, write

    settings = SHOP.settings.model_copy(update={"currency": "IDR", "locale": "id_ID"})
    house = replace(SHOP, settings=settings)
    answer = resale(demo, Deal(80_000_000, asking=45_000_000, trials=300, on=ON), house)
    said = page(answer)
    assert "Amounts in the table are in thousands of IDR. " in said["note"]
    best = next(one for one in answer.choices if one.key == answer.best)
    row_ = next(row_ for row_ in said["rows"] if row_["best"])
    assert int(row_["cells"][0].replace(".", "")) == round(best.cost / 1000)
    assert max(len(cell) for row_ in said["rows"] for cell in row_["cells"] if "%" not in cell) <= 9
    data = write(answer, tmp_path)["decision.pdf"].read_bytes()
    assert len(re.findall(rb"/Type ?/Page[^s]", data)) == 1


def test_the_page_says_what_the_command_says(demo):
    """One set of words for both; every choice has its row; the chart's points lie within it."""
    from estimator.documents.decision import page

    answer = resale(demo, Deal(5_000, asking=2_800, trials=300, on=ON), SHOP)
    said, words = page(answer), Words(answer)
    assert said["head"] == words.head()
    assert [row_["name"] for row_ in said["rows"]] == [one.name for one in answer.choices]
    assert all(len(row_["cells"]) == len(said["columns"]) - 1 for row_ in said["rows"])
    for drawn in said["chart"]["lines"]:
        assert all(0 <= x <= 1 and 0 <= y <= 1 for x, y in drawn["points"])
    assert words.bid()[0] in " ".join(part["says"] for part in said["parts"])
