"""The quote: money that adds up, prices that mean what they say, choices that are heeded."""

import hashlib
import math
import re
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_shop import line, operation, part, row, shop, survey, thing, treatment

from estimator import simulate
from estimator.catalogue import (
    LEVELS,
    Caution,
    Certainty,
    Condition,
    Era,
    Find,
    Level,
    Material,
    Offer,
    ScopeNote,
    Service,
    Supplier,
)
from estimator.errors import BadInput
from estimator.quote import FIXED, TIME, Choices, aims_of, as_dict, level_named, quote
from estimator.quote.revision import (
    Change,
    Rest,
    Revised,
    Side,
    cautions_for,
    changes_of,
    rest_of,
    revised_dict,
    rows_changed,
    supplies_of,
)
from estimator.shop import open_shop
from estimator.simulate import Stopped
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
    # Nor does it matter how small the price is: of 0.50, 0.40 is left.
    small = shop(thing(), operation(low=1, typical=1, high=1), treatment(), pay_per_hour=0.1)
    offer = quote(survey(line()), Choices(Level.FULL, margin=0.8, on=ON), small, compare=False)
    assert (offer.price, offer.margins().tolist()) == (
        Decimal("0.50"), pytest.approx([0.8] * 10_000))


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


@pytest.mark.parametrize(("hours", "count", "step", "billed"), [
    (0.1, 1, 0.1, "0.1"), (1.1, 3, 0.1, "3.3"), (2.3, 7, 0.1, "16.1"), (0.3, 20, 0.1, "6"),
    (2.2501, 1, 0.25, "2.5"), (2.25, 1, 0.25, "2.25"), (0.7, 3, 1, "3"),
])
def test_time_is_billed_by_the_started_step_and_not_by_the_dust_on_it(hours, count, step, billed):
    """Hours that are certain, at 100: what is whole steps by hand is billed as so many."""
    house = shop(thing(), operation(low=hours, typical=hours, high=hours), treatment(),
                 pay_per_hour=100, billing_increment_hours=step)
    offer = quote(survey(*[line()] * count), Choices(Level.FULL, TIME, trials=100, on=ON), house)
    assert offer.price == offer.cap == 100 * Decimal(billed)


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


# --- a quote reckoned by hand --------------------------------------------------------------------

RATES = {
    "pay_per_hour": 50, "margin": 0.2, "warranty_share": 0.05, "parts_markup": 0.5,
    "materials_markup": 0.2, "outwork_markup": 0.1, "tax_parts": 0.08, "tax_materials": 0.1,
    "tax_outwork": 0.2,
}
KINDS = ("labour", "parts", "materials", "outwork")


def sure_shop(**more):
    """Work, goods, outwork, a find and an extra whose hours and prices are certain."""
    return shop(
        thing("base", droppable=False), thing("thing"), thing("lamp", extra=True, droppable=False),
        operation(), treatment(assembly="base"), treatment(), treatment(assembly="lamp"),
        part(low=42, typical=42, high=42), treatment("part", "piece"),
        row(Material, material="kit", name="Kit", low=10, typical=10, high=10, pack=1),
        treatment("material", "kit"),
        row(Service, service="coat", name="Coat", low=30, typical=30, high=30, days_low=1,
            days_typical=1, days_high=1),
        treatment("service", "coat"),
        row(Find, find="rot", assembly="thing", name="Rot under the film", level_from="clean",
            probability=1, assumed=1, hidden=1, low=4, typical=4, high=4, cost_low=20,
            cost_typical=20, cost_high=20),
        **(RATES | more),
    )


SURE = survey(line("base"), line(count=2))


def sure_quote(pricing, house=None, **choices):
    """A quote of the sure shop with its lamp taken."""
    asked = Choices(Level.FULL, pricing, added=(("lamp", 1),), trials=200, on=ON)
    return quote(SURE, replace(asked, **choices), house or sure_shop(), compare=False)


def by_kind(offer):
    """Prices of each line by kind, as text to the cent."""
    return [[str(entry.kinds[kind]) for kind in KINDS] for entry in offer.lines]


def test_time_and_materials_mark_up_each_kind_by_its_own_share():
    """50 an hour is 62.50 at a margin of 20 %; goods carry their mark-ups, finds those of parts."""
    # Charge-out rate cost / (1 − margin), goods cost × (1 + mark-up): common practice, no source.
    offer = sure_quote(TIME)
    assert by_kind(offer) == [
        ["62.50", "0.00", "0.00", "0.00"],
        ["125.00", "126.00", "24.00", "66.00"],
        ["62.50", "0.00", "0.00", "0.00"],
        ["250.00", "30.00", "0.00", "0.00"],
    ]
    assert (offer.price, offer.cap, offer.rate) == (Decimal("746.00"), Decimal("746.00"), 62.5)
    assert [(entry.kind, entry.rate, entry.on, entry.amount) for entry in offer.taxes] == [
        ("parts", 0.08, Decimal("156.00"), Decimal("12.48")),
        ("materials", 0.1, Decimal("24.00"), Decimal("2.40")),
        ("outwork", 0.2, Decimal("66.00"), Decimal("13.20")),
    ]
    assert offer.total == Decimal("774.08")
    assert [str(stage.amount) for stage in offer.stages] == ["387.04", "193.52", "193.52"]
    assert offer.chance_of_loss == 0
    assert offer.margins() == pytest.approx(1 - 584 / 746 - 0.05)


def test_a_fixed_price_divides_each_kind_by_what_margin_and_reserve_leave():
    """A cost of 584 over 1 − 20 % − 5 % is 778.67; nothing is uncertain, so there is no cover."""
    offer = sure_quote(FIXED)
    assert offer.price == Decimal("778.67")
    assert by_kind(offer) == [
        ["66.67", "0.00", "0.00", "0.00"],
        ["133.33", "112.00", "26.67", "80.00"],
        ["66.67", "0.00", "0.00", "0.00"],
        ["266.66", "26.67", "0.00", "0.00"],
    ]
    assert (offer.cap, offer.cover, offer.find_allowance) == (None, 0, Decimal("293.33"))
    assert offer.divisor == pytest.approx(0.75)
    assert offer.price_for_loss(0.1) == pytest.approx(584 / 0.95)
    assert offer.margins() == pytest.approx(0.2, abs=1e-5)


def test_lines_say_what_they_are_and_which_rows_they_stand_on():
    """Keys, titles with counts, details, hours, costs and places, line by line."""
    house = sure_shop()
    offer = sure_quote(FIXED, house)
    assert [
        (e.key, e.kind, e.heading, e.title, e.detail, e.droppable, e.line) for e in offer.lines[:3]
    ] == [
        ("line-1", "work", "Things", "Base of a test", "Mend it", False, 0),
        ("line-2", "work", "Things", "Thing of a test (2)", "Mend it; Coat", True, 1),
        ("line-3", "extra", "Things", "Lamp of a test", "Mend it", True, 2),
    ]
    finds = offer.lines[3]
    assert (finds.key, finds.kind, finds.droppable, finds.line) == ("finds", "finds", False, None)
    assert [entry.hours for entry in offer.lines] == pytest.approx([1, 2, 1, 4])
    assert [entry.cost for entry in offer.lines] == pytest.approx([50, 264, 50, 220])
    tables = house.catalogue
    assert offer.lines[1].places == tuple(
        tables.place(entry)
        for entry in (tables.treatments_of["thing"][0], tables.operations["mend", None])
    )


def test_what_is_left_out_is_offered_at_what_it_would_add():
    """At the job's own price over its cost, 66.67 / 50: 484 of line and find, 50 of the extra."""
    offer = sure_quote(FIXED, added=(), dropped=frozenset({1}))
    assert offer.price == Decimal("66.67")
    assert [(e.key, e.kind, e.title, e.price, e.line, e.assembly) for e in offer.offered] == [
        ("line-2", "left out", "Thing of a test (2)", Decimal("645.37"), 1, "thing"),
        ("extra-lamp", "extra", "Lamp of a test", Decimal("66.67"), None, "lamp"),
    ]
    assert offer.offered[1].detail == "Mend it"


def test_where_nothing_is_to_be_done_an_extra_is_offered_at_the_shop_s_own_rate():
    """Without a job there is no cover to share; an hour of 50 is offered at 50 / 0.75."""
    house = shop(thing(), thing("lamp", extra=True), operation(),
                 treatment(assembly="lamp", level_from=Level.AS_FOUND), **RATES)
    offer = quote(survey(line()), Choices(Level.AS_FOUND, on=ON), house, compare=False)
    assert (offer.price, offer.lines, offer.drivers) == (0, (), ())
    assert [entry.price for entry in offer.offered] == [Decimal("66.67")]
    assert (offer.margins() == 0).all()


def test_the_cover_is_what_the_price_holds_beyond_expected_cost_and_margin():
    """Lines carry the mean of their hours, 17/6 h at 50 / 0.75; the rest is cover, as labour."""
    # Mean of a PERT of 1, 2, 8: (low + 4 typical + high) / 6.
    house = shop(thing(), operation(low=1, typical=2, high=8), treatment(), **RATES)
    offer = quote(survey(line()), Choices(Level.FULL, on=ON), house, compare=False)
    work, cover = offer.lines
    assert work.price == Decimal("188.89")
    assert (cover.kind, cover.price) == ("cover", offer.price - work.price)
    assert offer.cover == cover.price == cover.kinds["labour"] > 0
    assert (cover.hours, cover.cost) == (0, 0)
    (cost,) = offer.odds.at("cost", 0.8)
    assert float(offer.price) == pytest.approx(cost / 0.75, abs=0.005)
    billed = quote(survey(line()), Choices(Level.FULL, TIME, on=ON), house, compare=False)
    assert [entry.kind for entry in billed.lines] == ["work"]


def test_a_cover_of_half_a_hundredth_is_shown_by_itself_and_a_smaller_one_is_not():
    """From h − d to h + d, one job in five passes the mean by 0.347 d: 0.6 % and 0.4 % of 2 h."""
    # The quantile of a beta of 3 and 3 at 0.8 is 0.6734, from scipy: 2 × 0.1734 d over the mean.
    for width, kinds in ((0.6 / 100 / 0.347, ["work", "cover"]), (0.4 / 100 / 0.347, ["work"])):
        low, high = 2 * (1 - width), 2 * (1 + width)
        house = shop(thing(), operation(low=low, typical=2, high=high), treatment(), **RATES)
        offer = quote(survey(line()), Choices(Level.FULL, on=ON), house, compare=False)
        assert [entry.kind for entry in offer.lines] == kinds
        assert offer.lines[0].price + offer.cover == offer.price


def test_lines_left_out_are_offered_in_the_order_of_the_survey():
    """The ninth and the second of nine are offered as the second and the ninth."""
    house = shop(thing(), operation(), treatment())
    offer = quote(survey(*[line()] * 9), Choices(Level.FULL, dropped=frozenset({8, 1}), trials=100,
                                                 on=ON), house, compare=False)
    assert [entry.key for entry in offer.offered] == ["line-2", "line-9"]


def test_choices_at_the_ends_of_their_ranges_are_taken_and_those_beyond_are_not():
    """Confidence, margin, trials and sampler, each by itself, with the fault that names it."""
    for choices in (
        {"confidence": 0.05}, {"confidence": 0.99}, {"margin": 0.0}, {"margin": 0.9 - 0.05},
        {"trials": 100}, {"sampler": "sobol", "trials": 128},
    ):
        _adds_up(sure_quote(FIXED, **choices))
    many = Choices(Level.FULL, trials=1_000_000)
    assert aims_of(many, sure_shop().settings) == (0.8, 0.2)
    assert sure_quote(FIXED).odds.seed == 1
    for choices, said in (
        ({"confidence": 0.049}, "confidence is 0.049"), ({"confidence": 0.991}, "confidence"),
        ({"margin": -0.001}, "margin is -0.001"), ({"margin": 0.851}, "must be 0 to 0.85"),
        ({"trials": 99}, "99 trials"), ({"trials": 1_000_001}, "1000001 trials"),
        ({"sampler": "dice"}, '"dice" is not a way of drawing numbers'),
        ({"pricing": "barter"}, '"barter" is not a way of pricing'),
    ):
        with pytest.raises(BadInput) as caught:
            sure_quote(**({"pricing": FIXED} | choices))
        (fault,) = caught.value.faults
        assert said in fault.what


def test_a_quote_has_another_number_when_anything_in_it_is_another():
    """Day, machine, lines, level, price, choices and seed all show in the number; trials do not."""
    first = sure_quote(FIXED)
    assert re.fullmatch("260105-[0-9A-F]{6}", first.number)
    others = [
        sure_quote(**({"pricing": FIXED} | choices)) for choices in (
            {"on": date(2026, 1, 6)}, {"level": Level.SHOW}, {"pricing": TIME},
            {"confidence": 0.81}, {"margin": 0.21}, {"dropped": frozenset({1})}, {"added": ()},
            {"seed": 2}, {"sampler": "sobol"},
        )
    ]
    others += [
        quote(found, first.choices, sure_shop(), compare=False) for found in (
            replace(SURE, machine=replace(SURE.machine, title="Another")),
            replace(SURE, machine=replace(SURE.machine, customer_kind="dealer")),
            SURE.with_line(1, count=3),
        )
    ]
    assert len({offer.number for offer in [first, *others]}) == len(others) + 1
    assert sure_quote(FIXED, trials=300).number == first.number
    # What was added to quotes later is not in the numbers of those without it.
    said = repr((SURE.machine, SURE.lines, Level.FULL, FIXED, None, None, [], (("lamp", 1),), 1))
    mark = hashlib.blake2b(said.encode(), digest_size=3).hexdigest()
    assert first.number == f"260105-{mark.upper()}"
    # Nor is the order in which lines were left out.
    nine, house = survey(*[line()] * 9), shop(thing(), operation(), treatment())
    assert len({
        quote(nine, Choices(Level.FULL, dropped=frozenset(order), trials=100, on=ON), house,
              compare=False).number for order in ([0, 8], [8, 0])}) == 1


def test_days_of_a_quote_count_from_its_date():
    """It holds for 30 days; two hours of work and a day out come to a day or two."""
    offer = sure_quote(FIXED)
    assert offer.valid_until == date(2026, 2, 4)
    # 8 h of 40 a week are 1.4 days of work; the lot is away for a day.
    assert offer.odds.at("days", 0.8)[0] == pytest.approx(8 / 40 * 7 + 1)
    assert offer.finish_p80 == date(2026, 1, 8)


def test_parts_for_several_lines_are_bought_together():
    """Half a piece on each of two lines is one piece to buy."""
    house = shop(
        thing("one"), thing("two"), part(),
        row(Offer, part="piece", supplier="corner", price=12),
        row(Supplier, supplier="corner", name="Corner", shipping=0, days_low=1, days_typical=1,
            days_high=1),
        *(treatment("part", "piece", assembly=name, share=0.5) for name in ("one", "two")))
    offer = quote(survey(line("one"), line("two")), Choices(Level.FULL, on=ON), house,
                  compare=False)
    assert [(e.part, e.needed, e.bought) for e in offer.budget.rows] == [("piece", 1, 1)]
    assert offer.budget.total == 12


def test_as_found_stands_beside_the_other_levels_only_where_it_was_asked_for():
    """A level above it is compared with levels that do work."""
    for level in (Level.AS_FOUND, Level.CLEAN):
        offer = quote(SURE, Choices(level, trials=200, on=ON), sure_shop())
        assert [entry.level for entry in offer.levels] == \
            list(LEVELS if level == Level.AS_FOUND else LEVELS[1:])
        assert [entry.level for entry in offer.levels if entry.chosen] == [level]
        works = [entry for entry in offer.levels if entry.level != Level.AS_FOUND]
        # 50 + 264 + 220 over 0.75 at every level that works, by hand as above.
        assert {entry.price for entry in works} == {Decimal("712.00")}
        assert {(e.hours_p50, e.hours_p80) for e in works} == {(7, 7)}
        assert all(e.days_p80 == pytest.approx(7 / 40 * 7 + 1) for e in works)


def test_odds_that_hold_totals_only_are_drawn_again_for_what_drives_them():
    """With too many trials to keep every line, fewer from the same seed show the drivers."""
    offer = quote(survey(line()), Choices(Level.FULL, on=ON), shop(
        thing(), operation(low=1, typical=2, high=8), treatment(), **RATES), compare=False)
    bare = replace(offer, odds=replace(offer.odds, lines={}))
    assert bare.kept_odds is not bare.odds
    assert bare.drivers == offer.drivers
    assert offer.kept_odds is offer.odds
    long = replace(offer, odds=replace(offer.odds, lines={}, seed=7, sampler="sobol"))
    assert (long.kept_odds.trials, long.kept_odds.seed, long.kept_odds.sampler) == (
        10_000, 7, "sobol")


def test_what_drives_the_cost_is_shown_at_the_confidence_of_the_price():
    """A line alone moves the cost about 0 more than it: its bar is that of 95 %, not 80 %."""
    house = shop(thing(), operation(low=1, typical=2, high=8), treatment(), **RATES)
    offers = [quote(survey(line(), line(count=3)), Choices(Level.FULL, confidence=share, on=ON),
                    house, compare=False) for share in (0.8, 0.95)]
    for offer in offers:
        assert offer.drivers == simulate.drivers(
            offer.job, offer.settings, offer.odds, offer.titles, confidence=offer.confidence)
    assert offers[0].drivers[0].high < offers[1].drivers[0].high


def test_the_reserve_for_warranty_is_not_there_to_pay_for_overruns():
    """Without a margin the price holds in as many jobs as it should after the reserve is gone."""
    house = shop(thing(), operation(low=1, typical=2, high=8), treatment(), warranty_share=0.1)
    for confidence in (0.5, 0.8):
        offer = quote(survey(line()), Choices(Level.FULL, confidence=confidence, on=ON), house,
                      compare=False)
        assert offer.chance_of_loss == pytest.approx(1 - confidence, abs=0.001)
        low, high = offer.loss_range
        assert low < offer.chance_of_loss < high
        # From 10,000 trials, 1.96 standard errors of a share to either side.
        half = 1.96 * (confidence * (1 - confidence) / 10_000) ** 0.5
        assert high - low == pytest.approx(2 * half, rel=0.01)


@pytest.mark.parametrize(("pricing", "sampler"), [(FIXED, "random"), (TIME, "sobol")])
def test_each_level_beside_the_chosen_one_shows_what_its_own_quote_would(pricing, sampler):
    """Price, hours and days are those of a quote at that level with the same lines and seed."""
    house = shop(
        thing("one"), thing("two"), thing("lamp", extra=True),
        operation(low=1, typical=2, high=8), operation("shine", low=2, typical=3, high=9),
        treatment(assembly="one"), treatment(assembly="two"), treatment(assembly="lamp"),
        treatment(item="shine", assembly="one", level_from=Level.FULL),
        **RATES)
    found = survey(line("one"), line("two"))
    asked = Choices(Level.CLEAN, pricing, dropped=frozenset({1}), added=(("lamp", 1),),
                    confidence=0.9, margin=0.35, sampler=sampler, seed=5, trials=256, on=ON)
    beside = quote(found, asked, house).levels
    assert [entry.level for entry in beside] == list(LEVELS[1:])
    for entry in beside:
        own = quote(found, replace(asked, level=entry.level), house, compare=False)
        assert entry.price == own.price
        assert (entry.hours_p50, entry.hours_p80) == own.odds.at("hours", 0.5, 0.8)
        assert (entry.days_p80,) == own.odds.at("days", 0.8)
    assert len({entry.price for entry in beside}) == 2


def test_terms_say_what_holds_for_the_way_of_pricing():
    """The cap, the step of billing and storage are named where they count, in the shop's money."""
    fixed = sure_quote(FIXED).terms
    assert [said.split(".")[0] for said in fixed] == [
        "This quotation holds for 30 days from its date",
        "The price is fixed for the work listed",
        "The allowance for finds pays for damage that shows only after teardown",
    ]
    house = sure_shop(storage_per_week=12.5, grace_days=9, billing_increment_hours=0.1)
    _, billed, _, stored = sure_quote(TIME, house).terms
    assert billed.startswith("Time is billed in steps of 6 minutes, ")
    whole = sure_quote(TIME, sure_shop(billing_increment_hours=1)).terms[1]
    assert whole.startswith("Time is billed in steps of 60 minutes, ")
    assert "does not pass $746.00 before tax" in billed
    assert stored == ("A finished machine is stored free for 9 days; after that storage is "
                      "$12.50 a week.")


def test_notes_stand_under_what_they_say_and_only_at_their_levels():
    """From the first to the last level of a note, both counted."""
    house = shop(thing(), operation(), treatment(), *(
        row(ScopeNote, note=f"{says}-{first}", says=says, level_from=first, level_to=last,
            text=f"{says} {first}")
        for says in ("included", "excluded", "assumed")
        for first, last in ((Level.AS_FOUND, Level.CLEAN), (Level.CLEAN, Level.SHOP_JOB),
                            (Level.FULL, Level.SHOW))))

    def notes(level):
        offer = quote(survey(line()), Choices(level, trials=100, on=ON), house, compare=False)
        return offer.included, offer.excluded, offer.assumed

    for level, firsts in ((Level.AS_FOUND, ["as-found"]), (Level.CLEAN, ["as-found", "clean"]),
                          (Level.SHOP_JOB, ["clean"]), (Level.RECONDITIONED, []),
                          (Level.SHOW, ["full-restoration"])):
        assert notes(level) == tuple(
            tuple(f"{says} {first}" for first in firsts)
            for says in ("included", "excluded", "assumed"))


def test_a_quote_tells_how_far_it_is_and_can_be_stopped():
    """Progress comes from the simulation; an answer of False ends it."""
    told = []
    quote(SURE, Choices(Level.FULL, on=ON), sure_shop(), compare=False, progress=told.append)
    assert told == [0.5, 1]
    with pytest.raises(Stopped):
        # Another seed: what was drawn is kept and not drawn again.
        quote(SURE, Choices(Level.FULL, seed=2, on=ON), sure_shop(), compare=False,
              progress=lambda share: False)


def test_cautions_of_work_goods_outwork_and_finds_stand_in_the_order_of_the_table():
    """Each comes from where it is named, once, and those of nothing in the job are left out."""
    names = ("of-find", "of-part-not-used", "of-coat", "of-work", "of-kit")
    house = shop(
        thing(), operation(cautions="of-work"), treatment(),
        row(Material, material="kit", name="Kit", low=1, typical=1, high=1, pack=1,
            cautions="of-kit of-work"),
        treatment("material", "kit"),
        row(Service, service="coat", name="Coat", low=1, typical=1, high=1, days_low=1,
            days_typical=1, days_high=1, cautions="of-coat"),
        treatment("service", "coat"),
        row(Find, find="rot", assembly="thing", name="Rot under the film", level_from="clean",
            probability=0.1, low=1, typical=1, high=1, cautions="of-find"),
        *(row(Caution, caution=name, hazard="Dust", text=f"Heed the caution {name} as the law says")
          for name in names),
    )
    offer = quote(survey(line()), Choices(Level.FULL, trials=100, on=ON), house, compare=False)
    shown = [entry.caution for entry in offer.cautions]
    assert shown == ["of-find", "of-coat", "of-work", "of-kit"]


# --- a quote that takes the place of another, by hand --------------------------------------------


def revised():
    """The sure quote, and one with a piece more, a line more, the base worse, and no lamp."""
    later = survey(line("base", condition=Condition.HEAVY, note="split"), line(count=3), line())
    return sure_quote(FIXED), quote(
        later, Choices(Level.FULL, trials=200, on=ON), sure_shop(), compare=False)


def test_changes_of_a_quote_and_the_rest_make_up_the_difference_by_hand():
    """Each piece is 132 / 0.75, the lamp 50 / 0.75, each line's find 220 / 0.75."""
    before, after = revised()
    changes = changes_of(before, after)
    assert [(c.key, c.kind, c.title, c.amount, c.line) for c in changes] == [
        ("line-1", "worse", "Base of a test", Decimal(0), 0),
        ("line-2", "changed", "Thing of a test (3)", Decimal(176), 1),
        ("line-3", "added", "Thing of a test", Decimal(176), 2),
        ("extra-lamp", "left out", "Lamp of a test", Decimal("-66.67"), None),
    ]
    assert [c.hours for c in changes] == pytest.approx([0, 1, 1, -1])
    assert changes[0].note == "split"
    assert changes[3].said == "not taken"
    rest = rest_of(before, after, changes)
    assert [(r.key, r.amount, round(r.hours, 9)) for r in rest] == [("finds", Decimal("293.33"), 4)]
    assert sum(one.amount for one in (*changes, *rest)) == after.price - before.price
    back = changes_of(after, before)
    assert [(c.key, c.kind, c.said) for c in back if c.line is None] == [
        ("extra-lamp", "added", "taken")]
    assert back[0].kind == "better"
    assert changes_of(before, before) == rest_of(before, before, ()) == ()


def test_a_quote_that_needs_more_says_how_much_of_what_by_hand():
    """Two pieces more of everything that each takes, at 42, 10 and 30."""
    before, after = revised()
    found = supplies_of(before.job, after.job)
    assert [(s.kind, s.item, s.unit, s.before, s.after) for s in found] == [
        ("part", "piece", "each", 2, 4), ("material", "kit", "each", 2, 4),
        ("outwork", "coat", "each", 2, 4)]
    assert [s.cost for s in found] == pytest.approx([84, 20, 60])
    assert supplies_of(before.job, before.job) == ()


def test_rows_and_settings_that_changed_are_said_in_words():
    """What is new, gone, and other than it was; the day of a row and what is alike are not said."""
    old = shop(thing(), operation(), operation("gone"), part(dated=date(2025, 1, 1)), margin=0.2)
    new = shop(thing(), operation(high=2), operation("fresh"), part(), margin=0.25)
    assert rows_changed(old.catalogue, new.catalogue, old.settings, new.settings) == (
        "operations.csv, mend: high 1.0, now 2.0",
        "operations.csv, gone: gone",
        "operations.csv, fresh: new",
        "shop.toml: margin 0.2, now 0.25",
    )
    assert rows_changed(old.catalogue, old.catalogue, old.settings, old.settings) == ()


def test_lines_that_come_and_go_say_how():
    """Left out by wish, gone from the survey, back in the work, new and not seen."""
    lines = line("base"), line(count=2), line()

    def moved(before, after, out=(), out_then=()):
        old, new = (quote(survey(*found), Choices(Level.FULL, dropped=frozenset(left), trials=100,
                                                  on=ON), sure_shop(), compare=False)
                    for found, left in ((before, out), (after, out_then)))
        return [(c.key, c.kind, c.title, c.said) for c in changes_of(old, new)]

    assert moved(lines, lines, out_then=[1]) == [
        ("line-2", "left out", "Thing of a test (2)", "left out")]
    assert moved(lines, lines, out=[1]) == [
        ("line-2", "brought back", "Thing of a test (2)", "back in the work: condition worn")]
    assert moved(lines, lines, out=[1], out_then=[1]) == []
    assert moved(lines, (*lines[:2], line(count=0))) == [
        ("line-3", "left out", "Thing of a test", "no longer in the survey")]
    assert moved(lines[:2], (*lines[:2], line(certainty=Certainty.HIDDEN))) == [
        ("line-3", "added", "Thing of a test", "new: condition worn, hidden")]


def test_extras_that_are_more_or_others_say_so():
    """One lamp of 75 / 0.75 becomes three and a rug is taken; each has its own title."""
    house = shop(thing(), operation(), treatment(), *(
        entry for name in ("lamp", "rug")
        for entry in (thing(name, extra=True), treatment(assembly=name))),
        **(RATES | {"pay_per_hour": 75}))
    before, after = (
        quote(survey(line()), Choices(Level.FULL, added=added, trials=100, on=ON), house,
              compare=False)
        for added in ((("lamp", 1),), (("lamp", 3), ("rug", 1))))
    assert [(c.key, c.kind, c.title, c.said, c.amount) for c in changes_of(before, after)] == [
        ("extra-lamp", "changed", "Lamp of a test (3)", "1, now 3", Decimal(200)),
        ("extra-rug", "added", "Rug of a test", "taken", Decimal(100)),
    ]


def test_what_was_not_needed_before_is_needed_from_nothing():
    """A line more brings a part of 42, a kit of 10 and a coat of 30; the other way they go."""
    house = sure_shop()
    without, with_ = (
        quote(survey(*found), Choices(Level.FULL, trials=100, on=ON), house, compare=False)
        for found in ((line("base"),), (line("base"), line())))
    assert [(s.item, s.name, s.before, s.after, s.cost) for s in
            supplies_of(without.job, with_.job)] == [
        ("piece", "Piece", 0, 1, 42), ("kit", "Kit", 0, 1, 10), ("coat", "Coat", 0, 1, 30)]
    assert [(s.item, s.name, s.before, s.after, s.cost) for s in
            supplies_of(with_.job, without.job)] == [
        ("piece", "Piece", 1, 0, -42), ("kit", "Kit", 1, 0, -10), ("coat", "Coat", 1, 0, -30)]


def test_hours_that_no_change_explains_stand_in_the_rest_and_dust_does_not():
    """Half an hour told too much comes back under what lines share; half a millionth does not."""
    before, _ = revised()
    told = Change("line-1", "changed", "Base", "so", hours=0.5)
    assert [(r.key, r.amount, r.hours) for r in rest_of(before, before, [told])] == [
        ("shared", 0, -0.5)]
    assert rest_of(before, before, [replace(told, hours=5e-7)]) == ()


def test_a_revision_as_plain_numbers_by_hand():
    """Sums before tax, differences with their sign, lines counted from 1, days between."""
    before, after = revised()
    changes = changes_of(before, after)
    one = Side("A", Decimal("100.50"), Decimal("110"), None, 1.25, 2.5, 3.5, date(2026, 1, 5))
    two = Side("B", Decimal("90"), Decimal("99.5"), Decimal("120"), 2.126, 4.126, 5.55,
               date(2026, 1, 8), promised=True)
    said = revised_dict(Revised(
        after, "J-1", "Harbour", 2, one, two, changes, rest_of(before, after, changes), ("a row",),
        supplies_of(before.job, after.job), (), booked=1.23456, notes=("a note",)))
    assert (said["number"], said["revision_of"], said["nth"]) == (after.number, "A", 2)
    assert said["before"] == {
        "number": "A", "price": 100.5, "total": 110, "cap": None, "hours_p50": 1.25,
        "hours_p80": 2.5, "days_p80": 3.5, "ready": "2026-01-05", "promised": False}
    assert said["after"]["cap"] == 120
    assert (said["after"]["hours_p50"], said["after"]["hours_p80"]) == (2.13, 4.13)
    assert said["after"]["days_p80"] == round(5.55, 1)
    assert (said["price_more"], said["total_more"], said["days_more"]) == (-10.5, -10.5, 3)
    assert (said["hours_p50_more"], said["hours_p80_more"]) == (0.88, 1.63)
    assert said["hours_booked"] == 1.2346
    assert [(c["line"], c["price_more"], c["hours_mean_more"]) for c in said["changes"]] == [
        (1, 0, 0), (2, 176, 1), (3, 176, 1), (None, -66.67, -1)]
    assert [(r["key"], r["price_more"], r["hours_mean_more"]) for r in said["rest"]] == [
        ("finds", 293.33, 4)]
    assert [(s["quantity_before"], s["quantity_after"], s["cost_mean_more"])
            for s in said["supplies"]] == [(2, 4, 84), (2, 4, 20), (2, 4, 60)]
    unknown = replace(two, ready=None)
    bare = Change("price", "price", "Price", "agreed"), Rest("recomputed", "Anew", Decimal(5))
    blank = revised_dict(Revised(after, "J", "H", 1, one, unknown, *([one] for one in bare), (),
                                 (), ()))
    assert (blank["days_more"], blank["after"]["ready"]) == (None, None)
    assert (blank["hours_booked"], blank["changes"][0]["hours_mean_more"],
            blank["rest"][0]["hours_mean_more"], blank["rest"][0]["price_more"]) == (0, 0, 0, 5)
    # Hours and quantities to the thousandth, expected costs to the hundredth.
    part_ = replace(supplies_of(before.job, after.job)[0], before=0.00049, after=3.45678,
                    cost=1.23456)
    fine = revised_dict(Revised(after, "J", "H", 1, one, two, [replace(bare[0], hours=1.23456)],
                                [replace(bare[1], hours=2.34567)], (), [part_], ()))
    assert (fine["changes"][0]["hours_mean_more"], fine["rest"][0]["hours_mean_more"]) == (
        1.235, 2.346)
    assert [fine["supplies"][0][key] for key in (
        "quantity_before", "quantity_after", "cost_mean_more")] == [0, 3.457, 1.23]


def test_cautions_of_some_lines_are_those_of_their_own_work():
    """What another line's work, goods, outwork or find calls for is not said again."""
    names = ("work", "kit", "coat", "rot")
    rows = []
    for one in ("one", "two"):
        rows += [
            thing(one), operation(f"do-{one}", cautions=f"work-{one}"),
            treatment(item=f"do-{one}", assembly=one),
            row(Material, material=f"kit-{one}", name="Kit", low=1, typical=1, high=1, pack=1,
                cautions=f"kit-{one}"),
            treatment("material", f"kit-{one}", assembly=one),
            row(Service, service=f"coat-{one}", name="Coat", low=1, typical=1, high=1, days_low=1,
                days_typical=1, days_high=1, cautions=f"coat-{one}"),
            treatment("service", f"coat-{one}", assembly=one),
            row(Find, find=f"rot-{one}", assembly=one, name="Rot under the film",
                level_from="clean", probability=0.1, low=1, typical=1, high=1,
                cautions=f"rot-{one}"),
            *(row(Caution, caution=f"{name}-{one}", hazard="Dust",
                  text=f"Heed the caution {name} of {one} as the law says") for name in names),
        ]
    house = shop(*rows)
    job = quote(survey(line("one"), line("two")), Choices(Level.FULL, trials=100, on=ON), house,
                compare=False).job
    for place, one in enumerate(("one", "two")):
        found = cautions_for(job, [place], house.catalogue)
        assert [entry.caution for entry in found] == [f"{name}-{one}" for name in names]
    assert len(cautions_for(job, [0, 1], house.catalogue)) == 8
    assert cautions_for(job, [], house.catalogue) == ()


def test_work_that_takes_no_time_is_a_line_of_nothing():
    """A look for which nothing is charged stands on the quote with 0 of every kind."""
    house = shop(thing("look"), thing(), operation(), operation("glance", 0, 0, 0), treatment(),
                 treatment(item="glance", assembly="look"))
    offer = quote(survey(line("look"), line()), Choices(Level.FULL, trials=100, on=ON), house,
                  compare=False)
    assert [entry.price for entry in offer.lines] == [0, 25]
    assert offer.lines[0].kinds == dict.fromkeys(KINDS, 0)


def test_an_extra_that_is_offered_says_what_is_sent_out_for_it():
    """Its own lot stands in its detail; the cent of a small find is a line too."""
    house = shop(
        thing(), thing("lamp", extra=True), operation(), treatment(), treatment(assembly="lamp"),
        row(Service, service="coat", name="Coat", low=30, typical=30, high=30, days_low=1,
            days_typical=1, days_high=1), treatment("service", "coat", assembly="lamp"),
        row(Find, find="rot", assembly="thing", name="Rot under the film", level_from="clean",
            probability=1, assumed=1, hidden=1, low=0.02, typical=0.02, high=0.02))
    offer = quote(survey(line()), Choices(Level.FULL, trials=100, on=ON), house, compare=False)
    assert [entry.detail for entry in offer.offered] == ["Mend it; Coat"]
    assert offer.find_allowance == Decimal("0.50")
