"""The quote: money that adds up, prices that mean what they say, choices that are heeded."""

import math
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_shop import line, operation, part, row, shop, survey, thing, treatment

from estimator.catalogue import LEVELS, Era, Find, Level
from estimator.errors import BadInput
from estimator.quote import FIXED, TIME, Choices, as_dict, level_named, quote
from estimator.shop import open_shop
from estimator.survey import template

DEFAULTS = open_shop()
ON = date(2026, 1, 5)


def repair_shop(**settings):
    """The textbook's television repair: 3 h at 25 with as much overhead, a part of 42."""
    return shop(
        thing(),
        operation(low=3, typical=3, high=3),
        treatment(),
        part(low=42, typical=42, high=42),
        treatment("part", "piece"),
        **({"overhead_per_year": 25_000} | settings),
    )


def test_the_textbook_repair_is_billed_as_printed():
    """Time and materials at 80 an hour and 70 for the part come to 310, a gain of 118."""
    # Franklin, Graybeal, Cooper, Managerial Accounting, OpenStax 2019, 4.8: bill 310, profit 118.
    house = repair_shop(margin=1 - 50 / 80, parts_markup=70 / 42 - 1)
    offer = quote(survey(line()), Choices(Level.FULL, pricing=TIME, on=ON), house)
    assert offer.rate == pytest.approx(80)
    assert offer.price == Decimal("310.00")
    assert float(offer.price) - offer.odds.cost.mean() == pytest.approx(118)
    assert offer.margins().mean() == pytest.approx(0.3806, abs=1e-4)


def test_a_fixed_price_leaves_the_margin_asked_for():
    """A cost of 192 at the textbook's margin of 38.06 % is offered at 310."""
    house = repair_shop(margin=118 / 310)
    offer = quote(survey(line()), Choices(Level.FULL, on=ON), house)
    assert offer.price == Decimal("310.00")


def test_margin_is_of_the_price_and_not_of_the_cost():
    """80.00 an hour becomes 100.00 at a margin of 20 %; a mark-up of 20 % would be 96.00."""
    # Margin against markup: https://calculator.academy/charge-out-rate-calculator/
    house = shop(
        thing(),
        operation(),
        treatment(),
        pay_per_hour=25,
        on_cost_share=0.2,
        paid_hours_per_year=2080,
        overhead_per_year=62_400,
        productive_share=0.75,
    )
    offer = quote(survey(line()), Choices(Level.FULL, margin=0.2, on=ON), house)
    assert offer.price == Decimal("100.00")


def test_tax_is_rounded_once_on_the_sum():
    """Three lines of 10.10 at 7.25 % carry 2.20 of tax, not three times 0.73."""
    # Streamlined Sales and Use Tax Agreement, section 324: half up at the cent, per invoice.
    rows = [operation()]
    names = ("one", "two", "three")
    for name in names:
        rows += [thing(name), treatment(assembly=name)]
    house = shop(*rows, pay_per_hour=10.10, tax_labour=0.0725)
    offer = quote(survey(*(line(name) for name in names)), Choices(Level.FULL, on=ON), house)
    assert offer.price == Decimal("30.30")
    assert [entry.amount for entry in offer.taxes] == [Decimal("2.20")]
    assert offer.total == Decimal("32.50")


def test_a_find_has_a_line_of_its_own_at_its_expected_cost():
    """A chance of 20 % of ten hours at 25 is an allowance of 50."""
    find = row(
        Find,
        find="rot",
        assembly="thing",
        name="Rot under the film",
        level_from="clean",
        probability=0.2,
        low=10,
        typical=10,
        high=10,
    )
    offer = quote(
        survey(line()), Choices(Level.FULL, on=ON), shop(thing(), operation(), treatment(), find)
    )
    # At 80 % confidence the find just stays out of the price, so its line is scaled with the rest.
    (finds,) = [entry for entry in offer.lines if entry.kind == "finds"]
    assert finds.hours == pytest.approx(2)
    assert finds.cost == pytest.approx(50)
    assert finds.price == offer.find_allowance > 0


def test_the_price_at_a_confidence_loses_money_as_seldom_as_it_says():
    """At 90 % and no margin, one job in ten costs more than the price."""
    house = shop(thing(), operation(low=1, typical=2, high=8), treatment())
    offer = quote(survey(line()), Choices(Level.FULL, confidence=0.9, on=ON), house)
    assert offer.chance_of_loss == pytest.approx(0.1, abs=0.002)


def test_a_cap_is_what_the_customer_pays_at_most():
    """With time and materials the income of no trial is above the cap."""
    house = shop(thing(), operation(low=1, typical=2, high=8), treatment(), margin=0.2)
    offer = quote(survey(line()), Choices(Level.FULL, pricing=TIME, on=ON), house)
    assert offer.cap > offer.price
    assert offer.chance_of_loss < 0.1
    assert float(offer.margins().min()) < 0 < float(offer.margins().mean())


@pytest.fixture(scope="module")
def machine():
    """A dot-matrix machine of typical counts."""
    return template(Era.DOT_MATRIX, DEFAULTS.catalogue)


def _adds_up(offer):
    assert sum((entry.price for entry in offer.lines), Decimal(0)) == offer.price
    for entry in offer.lines:
        assert sum(entry.kinds.values(), Decimal(0)) == entry.price
    assert sum((stage.amount for stage in offer.stages), Decimal(0)) == offer.total
    assert offer.price + sum((entry.amount for entry in offer.taxes), Decimal(0)) == offer.total


@settings(max_examples=25)
@given(
    st.sampled_from(LEVELS),
    st.sampled_from([FIXED, TIME]),
    st.floats(0.1, 0.95),
    st.floats(0, 0.6),
    st.sampled_from(list(Era)),
    st.sampled_from(["USD", "JPY", "KWD"]),
    st.sampled_from([0, 0.05, 1, 10]),
)
def test_every_way_of_adding_up_gives_the_same_cents(
    level, pricing, confidence, margin, era, currency, step
):
    """Lines, kinds, taxes and stages agree to the smallest coin in any currency."""
    house = replace(
        DEFAULTS,
        settings=DEFAULTS.settings.model_copy(
            update={"currency": currency, "round_price_to": step}
        ),
    )
    offer = quote(
        template(era, house.catalogue),
        Choices(level, pricing, confidence, margin, trials=400, on=ON),
        house,
        compare=False,
    )
    _adds_up(offer)
    assert all(entry.price >= 0 for entry in offer.lines)


def test_the_same_survey_and_seed_give_the_same_quote(machine):
    """Run twice, every figure is the same, down to the number of the quote."""
    first, again = (
        as_dict(quote(machine, Choices(Level.SHOP_JOB, on=ON), DEFAULTS)) for _ in range(2)
    )
    assert first == again


def test_leaving_a_line_out_lowers_the_price_and_says_by_how_much(machine):
    """The price falls by about what the quote says the line would add."""
    index = next(i for i, found in enumerate(machine.lines) if found.assembly == "cabinet-art")
    with_it = quote(machine, Choices(Level.FULL, on=ON), DEFAULTS, compare=False)
    without = quote(
        machine, Choices(Level.FULL, dropped=frozenset({index}), on=ON), DEFAULTS, compare=False
    )
    (left_out,) = [entry for entry in without.offered if entry.kind == "left out"]
    assert without.price < with_it.price
    assert float(left_out.price) == pytest.approx(float(with_it.price - without.price), rel=0.2)
    assert all(entry.line != index for entry in without.lines)


def test_an_extra_taken_raises_the_price_and_is_offered_no_more(machine):
    """An extra moves from the offered lines to the price."""
    plain = quote(machine, Choices(Level.SHOP_JOB, on=ON), DEFAULTS, compare=False)
    extra = next(entry for entry in plain.offered if entry.kind == "extra")
    taken = quote(
        machine,
        Choices(Level.SHOP_JOB, added=((extra.assembly, 1),), on=ON),
        DEFAULTS,
        compare=False,
    )
    assert taken.price > plain.price
    assert extra.key not in {entry.key for entry in taken.offered}
    assert float(taken.price - plain.price) == pytest.approx(float(extra.price), rel=0.25)
    assert [entry.kind for entry in taken.lines].count("extra") == 1


def test_levels_side_by_side_rise_and_hold_the_chosen_price(machine):
    """The comparison climbs from level to level, and the chosen one shows the very price."""
    offer = quote(machine, Choices(Level.RECONDITIONED, on=ON), DEFAULTS)
    prices = [entry.price for entry in offer.levels]
    assert prices == sorted(prices)
    assert [entry.price for entry in offer.levels if entry.chosen] == [offer.price]


def test_the_json_carries_the_contract(machine):
    """Names, units in the names, and plain numbers."""
    said = as_dict(quote(machine, Choices(Level.SHOP_JOB, on=ON), DEFAULTS))
    assert said["schema"] == 1
    for name in (
        "price",
        "total",
        "hours_p50",
        "hours_p80",
        "hours_p90",
        "cost_p50",
        "cost_p80",
        "cost_p90",
        "chance_of_loss",
        "find_allowance",
        "finish_p80",
        "valid_until",
    ):
        assert name in said
    assert said["hours_p50"] < said["hours_p80"] < said["hours_p90"]
    assert math.isclose(sum(entry["price"] for entry in said["lines"]), said["price"], abs_tol=1e-6)


def test_choices_out_of_range_are_refused_together(machine):
    """A confidence in per cent, a margin over the top and too few trials come in one report."""
    with pytest.raises(BadInput) as caught:
        quote(
            machine,
            Choices(Level.SHOP_JOB, pricing="barter", confidence=80, margin=1.5, trials=3),
            DEFAULTS,
        )
    assert len(caught.value.faults) == 4
    assert "Write 0.8 for 80 %" in str(caught.value)


@pytest.mark.parametrize(
    ("word", "level"),
    [
        ("shop job", Level.SHOP_JOB),
        ("FULL", Level.FULL),
        ("show_grade", Level.SHOW),
        ("as found", Level.AS_FOUND),
        ("clean", Level.CLEAN),
    ],
)
def test_a_level_is_known_by_the_words_people_write(word, level):
    """Case, blanks and underscores do not matter, nor does the end of the name."""
    assert level_named(word) == level


@pytest.mark.parametrize("word", ["", "s", "restored", "sho"])
def test_a_level_that_is_not_one_is_refused(word):
    """An unknown or ambiguous word names the levels there are."""
    with pytest.raises(BadInput, match="service level"):
        level_named(word)


def test_payments_are_equal_stages_after_the_deposit_and_every_stage_has_its_own_number():
    """Without a deposit four payments of 100.00 are three numbered stages and a balance."""
    house = shop(thing(), operation(), treatment(), pay_per_hour=100)
    due = {
        (share, count): [
            (stage.name, stage.due, stage.amount)
            for stage in quote(
                survey(line()), Choices(Level.FULL, on=ON),
                replace(house, settings=house.settings.model_copy(
                    update={"deposit_share": share, "stage_count": count})),
                compare=False,
            ).stages
        ]
        for share in (0, 0.4)
        for count in (1, 2, 4)
    }
    leaves, torn = "before the machine leaves", "after teardown and inspection"
    part = [Decimal(25)] * 4
    assert due[0, 1] == due[0.4, 1] == [("Payment", leaves, Decimal(100))]
    assert due[0, 2] == [("Stage 1", torn, Decimal(50)), ("Balance", leaves, Decimal(50))]
    assert due[0, 4] == [
        ("Stage 1", torn, part[0]), ("Stage 2", "during reassembly", part[1]),
        ("Stage 3", "during reassembly", part[2]), ("Balance", leaves, part[3]),
    ]
    assert due[0.4, 2] == [
        ("Deposit", "on acceptance", Decimal(40)), ("Balance", leaves, Decimal(60))
    ]
    assert due[0.4, 4] == [
        ("Deposit", "on acceptance", Decimal(40)), ("Stage 1", torn, Decimal(20)),
        ("Stage 2", "during reassembly", Decimal(20)), ("Balance", leaves, Decimal(20)),
    ]
