"""Lines left out and taken: every set priced from the same trials, as a new quote would be."""

import random
from dataclasses import replace
from datetime import date

import pytest

from estimator import survey
from estimator.catalogue import Level
from estimator.options import Menu
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


def test_a_larger_set_never_costs_less(shop, demo):
    """Taking lines in one by one, in any order, the price only rises."""
    menu = Menu(quote(demo, Choices(Level.SHOW, on=ON, trials=1000), shop, compare=False), shop)
    order = list(menu.lines)
    random.Random(5).shuffle(order)
    prices = [menu.price(frozenset(order[:count])) for count in range(len(order) + 1)]
    days = [menu.days(frozenset(order[:count])) for count in range(len(order) + 1)]
    assert prices == sorted(prices)
    assert days == sorted(days)


def test_the_least_is_never_over_the_mean_price(shop, demo):
    """For any set the linear sum stays at or under the mean price, and close to it."""
    offer = quote(demo, Choices(Level.FULL, on=ON, trials=4000), shop, compare=False)
    menu = Menu(offer, shop)
    each, fixed, shared = menu.least()
    draw = random.Random(7)
    for _ in range(5):
        kept = frozenset(index for index in menu.lines if draw.random() < 0.5)
        least = fixed + sum(each[i] for i in kept) + sum(a for a, of in shared if of & kept)
        alone = quote(demo, Choices(Level.FULL, on=ON, trials=4000,
                                    dropped=frozenset(menu.lines) - kept), shop, compare=False)
        mean = float(alone.odds.cost.mean()) / offer.divisor
        assert least <= mean + 0.01
        assert least > 0.9 * mean
