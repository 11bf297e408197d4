"""The estimate: hours and costs reckoned by hand, and published cases carried through it."""

import pytest
from small_shop import line, operation, part, row, shop, survey, thing, treatment

from estimator.catalogue import (
    Certainty,
    Condition,
    Finish,
    Grit,
    Level,
    Mark,
    Material,
    Offer,
    Service,
)
from estimator.estimate import estimate, estimate_class
from estimator.scope import scope


def job_of(house, *lines, level=Level.FULL):
    """Estimate a survey of a small shop."""
    return estimate(scope(survey(*lines), level, house.catalogue), house)


def test_the_repair_job_of_the_textbook_costs_what_it_says():
    """Three hours at 25 with as much overhead again and a part of 42 cost 192."""
    # Franklin, Graybeal, Cooper, Managerial Accounting, OpenStax 2019, 4.8 (television repair).
    house = shop(
        thing(),
        operation(low=3, typical=3, high=3),
        treatment(),
        part(low=42, typical=42, high=42),
        treatment("part", "piece"),
        overhead_per_year=25_000,
    )
    job = job_of(house, line())
    assert job.hour_cost == pytest.approx(50)
    assert job.lines[0].kinds["labour"] == pytest.approx(150)
    assert job.cost == pytest.approx(192)


def test_allowances_stand_on_normal_time():
    """A normal time of 37.5 with an allowance of 20 % is 45."""
    # Time-study convention ST = NT(1 + A): https://studyx.ai/homework/100510392 (30 s at 125 %).
    house = shop(
        thing(),
        operation(low=37.5, typical=37.5, high=37.5),
        treatment(),
        setup_cleanup_share=0.15,
        rework_share=0.05,
    )
    assert job_of(house, line()).hours == pytest.approx(45)


def test_repeated_units_follow_the_unit_learning_curve():
    """At 85 % the fourth unit takes 72.25 % of the first."""
    # Unit model, Heizer & Render, shipyard problem: 125,000 h and 85 % give 90,312.5 h for unit 4.
    house = shop(
        thing(), operation(low=125_000, typical=125_000, high=125_000, learning=0.85), treatment()
    )
    three, four = (job_of(house, line(count=n)).hours for n in (3, 4))
    assert four - three == pytest.approx(90_312.5, rel=1e-6)


def test_set_up_is_counted_once_a_job_and_shared_by_units():
    """Two lines of one operation carry one set-up between them, by their units."""
    house = shop(
        thing("one"),
        thing("two"),
        operation(setup=1.0),
        treatment(assembly="one"),
        treatment(assembly="two"),
    )
    job = job_of(house, line("one", 1), line("two", 3))
    assert [item.setup for item in job.items] == pytest.approx([0.25, 0.75])
    assert job.hours == pytest.approx(4 + 1)


def test_a_learner_takes_longer_in_proportion():
    """The multiplier works on hours and set-up alike."""
    house = shop(thing(), operation(setup=1.0), treatment(), learner_multiplier=2)
    assert job_of(house, line(count=3)).hours == pytest.approx(8)


def test_a_gallon_at_half_a_film_covers_what_the_trade_prints():
    """194.62 square feet at 1.5 mil dry, 52 % solids and 35 % transfer take one US gallon."""
    # R. Joseph, http://www.paintcenter.org/rj/may04jj.php: 194.5 ft²/gal; 3.785411784 L per gallon
    # by NIST Handbook 44, App. C.
    paint = row(
        Material,
        material="paint",
        name="Paint",
        low=1,
        typical=1,
        high=1,
        pack=1,
        method="liquid",
        film_um=38.1,
        volume_solids=0.52,
        transfer=0.35,
    )
    house = shop(
        thing(),
        operation(),
        treatment(),
        paint,
        treatment("material", "paint", measure="area", quantity=1),
    )
    job = job_of(house, line(area_cm2=194.62 * 929.0304))
    (supply,) = job.supplies
    assert supply.quantity == pytest.approx(3.785411784, rel=1e-3)


@pytest.mark.parametrize("transfer", [1.0, 0.6])
def test_a_pound_of_powder_covers_what_the_trade_prints(transfer):
    """60.09 square feet at 2 mil of a powder of gravity 1.6 take a pound of what ends on them."""
    # https://www.powdercoatingonline.com/powder-coating-coverage-chart/: 60.1 ft²/lb.
    powder = row(
        Material,
        material="powder",
        name="Powder",
        low=1,
        typical=1,
        high=1,
        pack=1,
        method="powder",
        film_um=50.8,
        density=1.6,
        transfer=transfer,
    )
    house = shop(
        thing(),
        operation(),
        treatment(),
        powder,
        treatment("material", "powder", measure="area", quantity=1),
    )
    (supply,) = job_of(house, line(area_cm2=60.094 * 929.0304)).supplies
    assert supply.quantity * transfer == pytest.approx(0.45359237, rel=1e-3)


def test_a_tin_that_cannot_be_kept_is_charged_whole():
    """A kit sold whole costs its price even where a tenth is used; a kept tin costs the tenth."""

    def cost(whole):
        tin = row(
            Material,
            material="kit",
            name="Kit",
            low=90,
            typical=90,
            high=90,
            pack=10,
            sold_whole=whole,
        )
        house = shop(thing(), operation(), treatment(), tin, treatment("material", "kit"))
        return job_of(house, line()).lines[0].kinds["materials"]

    assert (cost(True), cost(False)) == pytest.approx((90, 9))


def test_a_lot_of_outwork_is_charged_once_and_shared_by_pieces():
    """Eight pieces at 30 on two lines, minimum 100, two line fees and freight: 285 in all."""
    # Structure of the charge: common practice, no source.
    coat = row(
        Service,
        service="coat",
        name="Coat",
        low=30,
        typical=30,
        high=30,
        lot_minimum=100,
        line_fee=10,
        freight=25,
        days_low=3,
        days_typical=10,
        days_high=21,
    )
    house = shop(
        thing("one"),
        thing("two"),
        operation(),
        coat,
        treatment(assembly="one"),
        treatment(assembly="two"),
        treatment("service", "coat", assembly="one"),
        treatment("service", "coat", assembly="two"),
    )
    job = job_of(house, line("one", 2), line("two", 6))
    (lot,) = job.lots
    assert lot.charge.typical == pytest.approx(8 * 30 + 2 * 10 + 25)
    assert [entry.kinds["outwork"] for entry in job.lines] == pytest.approx([285 / 4, 285 * 3 / 4])
    (small,) = job_of(house, line("one", 2)).lots
    assert small.charge.typical == pytest.approx(100 + 10 + 25)


def test_metal_goes_by_the_grit_ladder():
    """P320 twice and P600 once over 0.1 m² at 10 minutes a square metre and grit: 3 minutes."""
    grits = [
        row(Grit, grit=name, grain_um=size, ladder=True, life_m2=0.05, low=10, typical=10, high=10)
        for name, size in (("P320", 46.2), ("P600", 25.8), ("P800", 21.8))
    ]
    sheet = row(
        Material, material="abrasive-sheet", name="Abrasive sheet", low=1, typical=1, high=1, pack=1
    )
    house = shop(
        thing(),
        operation("polish", method="ladder"),
        sheet,
        *grits,
        row(Mark, condition=Condition.HEAVY, depth_um=30, first_grit="P320", passes=2),
        row(Finish, finish="satin", last_grit="P600"),
        treatment(item="polish", measure="area", finish="satin"),
    )
    job = job_of(house, line(area_cm2=1000, condition=Condition.HEAVY))
    assert job.hours == pytest.approx(3 / 60)
    (supply,) = job.supplies
    assert supply.quantity == pytest.approx(3 * 0.1 / 0.05)


@pytest.mark.parametrize("times", [(0.5, 1, 1), (1, 2, 2), (1, 1, 4), (0.5, 2, 4)])
def test_a_ladder_s_hours_are_multiplied_by_its_operation(times):
    """0.3 m² at one grit of 10, 20 and 40 minutes a square metre, each end by its own factor."""
    house = shop(
        thing(), operation("polish", *times, method="ladder"),
        row(Grit, grit="P320", grain_um=46.2, ladder=True, life_m2=1, low=10, typical=20, high=40),
        row(Material, material="abrasive-sheet", name="Sheet", low=1, typical=1, high=1, pack=1),
        row(Mark, condition=Condition.HEAVY, depth_um=30, first_grit="P320", passes=1),
        row(Finish, finish="satin", last_grit="P320"),
        treatment(item="polish", measure="area", finish="satin"))
    (item,) = job_of(house, line(area_cm2=3000, condition=Condition.HEAVY)).items
    hours = item.hours.low, item.hours.typical, item.hours.high
    assert hours == pytest.approx([0.05 * times[0], 0.1 * times[1], 0.2 * times[2]])


@pytest.mark.parametrize(("shape", "hours"), [("pert", 3), ("triangular", 4)])
def test_hours_are_expected_in_the_shape_that_the_shop_reads_them_in(shape, hours):
    """1, 2 and 9 h: (low + 4 typical + high) / 6 as a PERT, a third of their sum as a triangle."""
    house = shop(thing(), operation(low=1, typical=2, high=9), treatment(), hours_shape=shape)
    assert job_of(house, line()).hours == pytest.approx(hours)


def test_a_line_that_was_only_assumed_may_be_a_condition_worse():
    """A chance of 20 % that worn is heavy adds a fifth of what heavy costs more."""
    house = shop(
        thing(),
        operation("light", 1, 1, 1),
        operation("hard", 6, 6, 6),
        treatment(item="light", condition_to=Condition.WORN),
        treatment(item="hard", condition_from=Condition.HEAVY),
        assumed_worse_chance=0.2,
    )
    job = job_of(house, line(certainty=Certainty.ASSUMED))
    assert job.hours == pytest.approx(1)
    assert job.find_hours == pytest.approx(0.2 * 5)
    assert job_of(house, line(certainty=Certainty.SEEN)).find_hours == 0


@pytest.mark.parametrize(("seen", "grade"), [
    (0, 5), (1, 5), (2, 4), (5, 4), (12, 4), (13, 3), (34, 3), (35, 2), (69, 2), (70, 1), (90, 1)])
def test_the_class_goes_by_how_much_was_seen(seen, grade):
    """Shares inside the published definition bands get their class."""
    # AACE 18R-97: definition 0–2, 1–15, 10–40, 30–75, 50–100 % for classes 5 to 1, as summarised
    # at https://soma-website.pages.dev/resources/glossary/aace-18r-97/
    house = shop(
        thing("one"),
        thing("two"),
        operation(),
        treatment(assembly="one"),
        treatment(assembly="two"),
    )
    lines = [line("one", seen)] if seen else []
    lines.append(line("two", 100 - seen, certainty=Certainty.HIDDEN))
    assert estimate_class(job_of(house, *lines)) == (grade, pytest.approx(seen / 100))


def test_a_condition_worse_that_saves_hours_takes_nothing_off_the_allowance():
    """Six hours of mending become an hour and a part of 100: the part counts, the hours do not."""
    house = shop(
        thing(), operation("mend", 6, 6, 6), operation("swap", 1, 1, 1),
        part(low=100, typical=100, high=100),
        treatment(item="mend", condition_to=Condition.WORN),
        treatment(item="swap", condition_from=Condition.HEAVY),
        treatment("part", "piece", condition_from=Condition.HEAVY),
        hidden_worse_chance=0.25,
    )
    job = job_of(house, line(certainty=Certainty.HIDDEN))
    (unseen,) = job.unseen
    assert (unseen.chance, unseen.condition) == (0.25, Condition.HEAVY)
    assert (unseen.hours, unseen.cost) == (0, 100)
    assert (job.find_hours, job.find_cost) == (0, 25)
    # The other way round: from a part to mending.
    house = shop(
        thing(), operation("mend", 6, 6, 6), part(low=100, typical=100, high=100),
        treatment("part", "piece", condition_to=Condition.WORN),
        treatment(item="mend", condition_from=Condition.HEAVY), hidden_worse_chance=0.25,
    )
    (unseen,) = job_of(house, line(certainty=Certainty.HIDDEN)).unseen
    assert (unseen.hours, unseen.cost) == (6, 0)


def test_what_a_worse_condition_sends_out_is_counted_by_the_piece():
    """Three pieces plated at 50 in place of cleaned at 20 are 90 more, whatever lots cost."""
    def service(name, price):
        return row(Service, service=name, name=name, low=1, typical=price, high=500,
                   lot_minimum=900, days_low=1, days_typical=1, days_high=1)

    house = shop(
        thing(), operation(), treatment(), service("clean", 20), service("plate", 50),
        treatment("service", "clean", condition_to=Condition.WORN),
        treatment("service", "plate", condition_from=Condition.HEAVY), hidden_worse_chance=0.25)
    (unseen,) = job_of(house, line(count=3, certainty=Certainty.HIDDEN)).unseen
    assert (unseen.hours, unseen.cost) == (0, pytest.approx(90))


def test_a_line_that_can_get_no_worse_or_costs_no_more_then_is_no_risk():
    """Failed stays failed; and where heavy takes what worn takes, nothing is to be feared."""
    house = shop(thing(), operation(), treatment(), hidden_worse_chance=0.25)
    for condition in (Condition.WORN, Condition.FAILED, Condition.MISSING):
        assert job_of(house, line(condition=condition, certainty=Certainty.HIDDEN)).unseen == ()


def offered(price, supplier="corner", **cells):
    """An offer for the piece."""
    return row(Offer, part="piece", supplier=supplier, price=price, **cells)


@pytest.mark.parametrize(("offers", "wanted"), [
    ([], (5, 10, 15)),
    ([offered(12)], (5, 12, 15)),
    # A pack of ten is the least that one buys there; a price from ten up is not one for one.
    ([offered(12), offered(8, "pack", pack=10), offered(6, "bulk", from_quantity=10, pack=5)],
     (5, 8, 15)),
    ([offered(6, "bulk", from_quantity=10, pack=10)], (5, 6, 15)),
    ([offered(3)], (3, 3, 15)),
    ([offered(20), offered(30, "dear")], (5, 20, 20)),
])
def test_a_part_costs_the_best_offer_for_one_within_the_trade_s_range(offers, wanted):
    """Three of them with a tenth of freight; the range is widened where the offer lies outside."""
    house = shop(thing(), part(low=5, typical=10, high=15), *offers,
                 treatment("part", "piece", quantity=3), parts_freight_share=0.1)
    (supply,) = job_of(house, line()).supplies
    assert (supply.cost.low, supply.cost.typical, supply.cost.high) == pytest.approx(
        tuple(3.3 * price for price in wanted))
    assert (supply.quantity, supply.pieces, supply.share) == (3, None, 1)


def test_a_part_that_some_pieces_need_says_how_many_and_how_likely():
    """A quarter of eight: two are reckoned with, and each of eight may be one."""
    house = shop(thing(), part(), treatment("part", "piece", share=0.25))
    (supply,) = job_of(house, line(count=8)).supplies
    assert (supply.quantity, supply.pieces, supply.share) == (2, 8, 0.25)
    assert supply.cost.typical == pytest.approx(20)


def test_a_kit_sold_whole_is_shared_by_what_each_line_uses():
    """Four tenths of a kit of 90, one on one line and three on another: 22.50 and 67.50."""
    kit = row(Material, material="kit", name="Kit", low=80, typical=90, high=100, pack=10,
              sold_whole=True)
    house = shop(thing("one"), thing("two"), kit,
                 *(treatment("material", "kit", assembly=name) for name in ("one", "two")))
    one, two = job_of(house, line("one"), line("two", 3)).supplies
    assert (one.cost.low, one.cost.typical, one.cost.high) == pytest.approx((20, 22.5, 25))
    assert (two.cost.low, two.cost.typical, two.cost.high) == pytest.approx((60, 67.5, 75))
    assert one.whole


def test_a_service_s_multiplier_raises_work_and_minimum_and_not_freight():
    """Rush at half as much again: (5 set-up + 2 pieces of 30) × 1.5 and 25 of freight."""
    # Structure of the charge: common practice, no source.
    coat = row(Service, service="coat", name="Coat", low=20, typical=30, high=60, setup=5,
               multiplier=1.5, freight=25, days_low=1, days_typical=2, days_high=3)
    (lot,) = job_of(shop(thing(), coat, treatment("service", "coat")), line(count=2)).lots
    assert (lot.charge.low, lot.charge.typical, lot.charge.high) == pytest.approx(
        (45 * 1.5 + 25, 65 * 1.5 + 25, 125 * 1.5 + 25))
    assert (lot.days.low, lot.days.typical, lot.days.high) == (1, 2, 3)
    assert lot.quantity == 2


def test_a_share_of_coats_is_a_share_of_the_paint():
    """Two coats on half of the pieces are one coat's worth, over the whole area."""
    paint = row(Material, material="paint", name="Paint", low=1, typical=1, high=1, pack=1,
                method="liquid", film_um=50, volume_solids=0.5, transfer=0.5)
    house = shop(thing(), paint,
                 treatment("material", "paint", measure="area", quantity=2, share=0.5))
    (supply,) = job_of(house, line(count=4, area_cm2=2500)).supplies
    # 1 m² at 50 µm is 0.05 L of dry film, of which a quarter of what leaves the tin stays.
    assert supply.quantity == pytest.approx(0.2)


def test_metal_that_is_only_run_on_wheels_takes_no_sheets():
    """A grit without a life, a wheel, takes time and no abrasive sheet, and is no fault."""
    house = shop(
        thing(), operation("polish", method="ladder"),
        row(Material, material="abrasive-sheet", name="Abrasive sheet", low=1, typical=1, high=1,
            pack=1),
        row(Grit, grit="P9000", grain_um=3, ladder=True, low=60, typical=60, high=60),
        row(Mark, condition=Condition.WORN, depth_um=1, first_grit="P9000", passes=1),
        row(Finish, finish="mirror", last_grit="P9000"),
        treatment(item="polish", measure="area", finish="mirror"),
    )
    job = job_of(house, line(area_cm2=5000))
    assert job.hours == pytest.approx(0.5)
    assert job.supplies == ()
