"""Lines left out and taken: every set priced from the same trials, as a new quote would be."""

import itertools
import random
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from small_shop import line, operation, row, thing, treatment
from small_shop import shop as shop_of
from small_shop import survey as survey_of

from estimator import catalogue, survey
from estimator.catalogue import Level
from estimator.errors import BadInput
from estimator.options import Menu, fitted
from estimator.quote import FIXED, TIME, Choices, quote
from estimator.shop import open_shop
from estimator.simulate import play

ON = date(2026, 1, 5)


@pytest.fixture(scope="module")
def shop():
    """The trade's own shop."""
    return open_shop()


@pytest.fixture(scope="module")
def demo(shop, demo_survey_path):
    """The demo survey."""
    return survey.read(demo_survey_path, shop.catalogue)


@pytest.mark.parametrize("level", [Level.SHOP_JOB, Level.FULL, Level.SHOW])
@pytest.mark.parametrize("pricing", [FIXED, TIME])
@pytest.mark.parametrize("sampler", ["random", "sobol"])
def test_a_set_of_lines_costs_what_a_quote_without_the_others_does(shop, demo, level, pricing,
                                                                   sampler):
    """Six sets at random: price and days are those of a quote with the other lines left out."""
    choices = Choices(level, pricing=pricing, on=ON, trials=1024, sampler=sampler)
    menu = Menu(quote(demo, choices, shop, compare=False), shop)
    draw = random.Random(3)
    for share in (0, 0.2, 0.5, 0.5, 0.8, 1):
        kept = frozenset(index for index in menu.lines if draw.random() < share)
        alone = quote(demo, replace(choices, dropped=frozenset(menu.lines) - kept), shop,
                      compare=False)
        if sampler == "random":
            assert menu.price(kept) == float(alone.cap or alone.price)
            assert menu.days(kept) == pytest.approx(alone.odds.at("days", 0.8)[0], abs=1e-4)
        else:  # A quote of its own has Sobol points of its own; the trials are not the same.
            assert menu.price(kept) == pytest.approx(float(alone.cap or alone.price), rel=0.02)


def test_no_line_is_drawn_again_for_another_set(shop, demo, monkeypatch):
    """Re-pricing adds up what was drawn; only what lines share is looked up anew."""
    menu = Menu(quote(demo, Choices(Level.FULL, on=ON), shop, compare=False), shop)
    monkeypatch.setattr(play.Player, "_line", lambda *_: pytest.fail("a line was drawn again"))
    assert menu.price(frozenset(menu.lines[:3])) < menu.price(frozenset(menu.lines))


@pytest.mark.parametrize("pricing", [FIXED, TIME])
def test_the_search_is_told_what_a_set_really_costs(shop, demo, pricing):
    """In every trial: its quantile is the price, a larger set costs no less in any of them."""
    menu = Menu(quote(demo, Choices(Level.FULL, pricing=pricing, on=ON), shop, compare=False), shop)
    limits = menu.price_limit(1000), menu.days_limit(30)
    few, more = frozenset([0, 3, 5]), frozenset([0, 2, 3, 5, 9])
    for limit, share in zip(limits, (menu._share, 0.8), strict=True):
        small, large = limit.trials.costs_of(few), limit.trials.costs_of(more)
        assert (large >= small - 1e-3).all()
        assert limit.price_of(few) == pytest.approx(np.quantile(small, share), rel=1e-9)
        counted = limit.trials.base + limit.trials.lines[list(few)].sum(axis=0)
        assert (small >= counted - 1e-3).all()


@pytest.mark.parametrize("pricing", [FIXED, TIME])
def test_the_best_set_of_a_full_restoration_is_proven(shop, demo, pricing):
    """Lots and packs lift its price over what adds up; the search still proves its answer."""
    choices = Choices(Level.FULL, pricing=pricing, on=ON)
    menu = Menu(quote(demo, choices, shop, compare=False), shop)
    bare, whole = menu.price(frozenset()), menu.price(frozenset(menu.lines))
    # Some 2 s; without the costs of sets it is still unproven after 60.
    fit = fitted(demo, choices, shop, budget=bare + 0.3 * (whole - bare), most_seconds=60)
    assert fit.proven
    assert fit.bound == pytest.approx(fit.worth)


def test_a_larger_set_never_costs_less(shop, demo):
    """Taking lines in one by one, in any order, the price only rises."""
    menu = Menu(quote(demo, Choices(Level.SHOW, on=ON, trials=1000), shop, compare=False), shop)
    order = list(menu.lines)
    random.Random(5).shuffle(order)
    prices = [menu.price(frozenset(order[:count])) for count in range(len(order) + 1)]
    days = [menu.days(frozenset(order[:count])) for count in range(len(order) + 1)]
    assert prices == sorted(prices)
    assert days == sorted(days)


@pytest.mark.parametrize("level", [Level.FULL, Level.SHOW])
@pytest.mark.parametrize("pricing", [FIXED, TIME])
def test_what_the_search_counts_on_is_never_over_the_price(shop, demo, level, pricing):
    """For any set the sum that bounds the search stays at or under its mean, and close to it."""
    choices = Choices(level, pricing=pricing, on=ON, trials=4000)
    offer = quote(demo, choices, shop, compare=False)
    menu = Menu(offer, shop)
    limit = menu.price_limit(20_000.0)
    draw = random.Random(7)
    for _ in range(4):
        places = [place for place in range(len(menu.lines)) if draw.random() < 0.5]
        kept = frozenset(menu.lines[place] for place in places)
        alone = quote(demo, replace(choices, dropped=frozenset(menu.lines) - kept), shop,
                      compare=False)
        mean = (float(alone.odds.bill.mean()) if pricing == TIME
                else float(alone.odds.cost.mean()) / offer.divisor)
        assert limit.mean_of(places) <= mean + 0.01
        assert limit.mean_of(places) > 0.9 * mean
        assert limit.price_of(frozenset(places)) == pytest.approx(
            float(alone.cap or alone.price), abs=0.5)


def small_house():
    """Six kinds of work that can be left out and one that cannot, with a shared set-up, a lot
    with a minimum, and paint bought in whole tins."""
    rows = [thing("base", droppable=False), operation("found", 2, 3, 5),
            treatment(item="found", assembly="base")]
    for k, name in enumerate("abcdef"):
        rows += [thing(f"part-{name}"), treatment(item="fix", assembly=f"part-{name}",
                                                  quantity=1 + k / 2)]
    rows += [
        operation("fix", 1, 2, 5, setup=1.5),
        row(catalogue.Service, service="plating", name="Plating", low=8, typical=10, high=15,
            lot_minimum=60, days_low=3, days_typical=5, days_high=9),
        treatment("service", "plating", "part-a"), treatment("service", "plating", "part-b"),
        row(catalogue.Material, material="tin", name="A tin", pack=2, sold_whole=True, low=20,
            typical=25, high=30),
        *(treatment("material", "tin", f"part-{name}", quantity=0.7) for name in "bcd"),
    ]
    return shop_of(*rows, job_factor_share=0.2, margin=0.2)


@pytest.mark.parametrize("seed", range(6))
def test_the_best_set_is_that_of_trying_them_all(seed):
    """With six lines every set is tried: none that fits is worth more, and no cheaper one as
    much."""
    house = small_house()
    lines = survey_of(line("base"), *(line(f"part-{name}") for name in "abcdef"))
    choices = Choices(Level.FULL, on=ON, trials=1000)
    draw = random.Random(seed)
    worth = {index: float(draw.randint(0, 20)) for index in range(1, 7)}
    menu = Menu(quote(lines, choices, house, compare=False), house)
    bare, full = menu.price(frozenset()), menu.price(frozenset(menu.lines))
    budget = bare + draw.uniform(0.2, 0.9) * (full - bare)
    day = ON + timedelta(days=round(menu.days(frozenset(menu.lines)) - draw.choice((0, 1))))
    best = max(
        (sum(worth[index] for index in kept), -menu.price(frozenset(kept)))
        for count in range(7) for kept in itertools.combinations(range(1, 7), count)
        if menu.price(frozenset(kept)) <= budget
        and menu.days(frozenset(kept)) <= (day - ON).days)
    fit = fitted(lines, choices, house, budget=budget, ready_by=day, worth=worth)
    assert fit.proven
    assert fit.worth == pytest.approx(best[0])
    assert fit.price <= budget
    taken = quote(lines, fit.taken(choices), house, compare=False)
    assert float(taken.price) == fit.price


def test_a_roomy_budget_leaves_nothing_out(shop, demo):
    """Where everything fits, everything is kept."""
    fit = fitted(demo, Choices(Level.SHOP_JOB, on=ON), shop, budget=1e6, ready_by=date(2030, 1, 1))
    assert fit.left_out == frozenset()
    assert fit.worth == fit.worth_of_all
    assert fit.proven


def test_lines_left_out_before_stay_out(shop, demo):
    """What the customer does without already is no candidate."""
    choices = Choices(Level.SHOP_JOB, on=ON, dropped=frozenset({15}))
    fit = fitted(demo, choices, shop, budget=1e6)
    assert 15 not in fit.left_out
    assert fit.taken(choices).dropped == {15}


def test_every_wrong_wish_is_named_at_once(shop, demo):
    """Budget, day and worth out of range, and worth of lines that are always done."""
    with pytest.raises(BadInput) as error:
        fitted(demo, Choices(Level.SHOP_JOB, on=ON), shop, budget=-1, ready_by=ON,
               worth={0: 5, 15: -1, 900: 3})
    said = str(error.value)
    for words in ("budget is -1", "not after the date", "Line 16 is worth -1", "no line 901",
                  "is always done"):
        assert words in said
    with pytest.raises(BadInput, match="nothing to fit to"):
        fitted(demo, Choices(Level.SHOP_JOB, on=ON), shop)


def test_a_wish_that_nothing_meets_is_refused_with_what_there_is(shop, demo):
    """The price and the days of the barest job are named."""
    with pytest.raises(BadInput) as error:
        fitted(demo, Choices(Level.FULL, on=ON), shop, budget=100, ready_by=date(2026, 1, 7))
    assert "Even with all left out that can be, the price is" in str(error.value)
    assert "it takes" in str(error.value)


def test_a_search_that_is_stopped_gives_what_it_has(shop, demo):
    """Told to stop at once it still answers with a set that fits, and says it is not proven."""
    fit = fitted(demo, Choices(Level.FULL, on=ON), shop, budget=20_000,
                 progress=lambda *_: False)
    assert fit.price <= 20_000
    assert fit.bound >= fit.worth
