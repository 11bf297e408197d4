"""The scope: tables decide what a line needs; worse never needs less, nor a higher level."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_shop import line, operation, shop, survey, thing, treatment

from estimator.catalogue import CONDITIONS, LEVELS, Certainty, Condition, Era, Level
from estimator.errors import BadInput
from estimator.estimate import estimate
from estimator.scope import scope
from estimator.shop import open_shop
from estimator.survey.records import Line, Machine, Survey

DEFAULTS = open_shop()
NAMES = sorted(name for name, row in DEFAULTS.catalogue.assemblies.items() if not row.extra)


def test_a_treatment_holds_from_its_first_to_its_last_level_and_condition():
    """Both ends of the ranges count, and nothing beyond them."""
    house = shop(
        thing(),
        operation(),
        treatment(
            level_from=Level.SHOP_JOB,
            level_to=Level.RECONDITIONED,
            condition_from=Condition.LIGHT,
            condition_to=Condition.HEAVY,
        ),
    )
    held = {
        (level, condition)
        for level in LEVELS
        for condition in CONDITIONS
        if scope(survey(line(condition=condition)), level, house.catalogue).works
    }
    assert held == {
        (level, condition)
        for level in (Level.SHOP_JOB, Level.RECONDITIONED)
        for condition in (Condition.LIGHT, Condition.WORN, Condition.HEAVY)
    }


@pytest.mark.parametrize(
    ("per", "cells", "wanted"),
    [
        ("count", {"count": 4}, 4 * 3 * 0.5),
        ("line", {"count": 4}, 3 * 0.5),
        ("area", {"count": 2, "area_cm2": 500.0}, 0.1 * 3 * 0.5),
        ("length", {"count": 2, "length_mm": 250.0}, 0.5 * 3 * 0.5),
    ],
)
def test_quantity_is_share_times_quantity_times_measure(per, cells, wanted):
    """Every way of measuring comes to the units reckoned by hand."""
    house = shop(thing(), operation(), treatment(measure=per, quantity=3, share=0.5))
    (work,) = scope(survey(line(**cells)), Level.FULL, house.catalogue).works
    assert work.units == pytest.approx(wanted)


def test_a_measured_size_comes_before_the_typical_one():
    """The assembly's typical area serves only where the survey gives none."""
    house = shop(thing(area_cm2=100), operation(), treatment(measure="area"))
    typical, measured = (
        scope(survey(line(area_cm2=area)), Level.FULL, house.catalogue).works[0].units
        for area in (None, 40.0)
    )
    assert (typical, measured) == pytest.approx((0.01, 0.004))


def test_an_operation_of_the_era_comes_before_the_one_for_all():
    """A row for the machine's era wins, and other eras keep the general one."""
    house = shop(
        thing(),
        operation(low=1, typical=1, high=1),
        operation(era=Era.ELECTROMECHANICAL, low=9, typical=9, high=9),
        treatment(),
    )
    hours = {
        era: scope(survey(line(), era=era), Level.FULL, house.catalogue).works[0].operation.typical
        for era in (Era.ELECTROMECHANICAL, Era.MODERN)
    }
    assert hours == {Era.ELECTROMECHANICAL: 9, Era.MODERN: 1}


def test_an_uninspected_line_hides_more():
    """A find is likelier on a line that was assumed, and likelier still on a hidden one."""
    chances = []
    for certainty in Certainty:
        found = scope(
            Survey(
                Machine(era=Era.DOT_MATRIX),
                (Line("playfield-surface", 1, Condition.HEAVY, certainty),),
            ),
            Level.FULL,
            DEFAULTS.catalogue,
        )
        chances.append(sum(risk.chance for risk in found.risks))
    assert 0 < chances[0] < chances[1] < chances[2]


def test_a_line_left_out_takes_its_work_and_its_risks_along():
    """Nothing of a dropped line remains."""
    house = shop(
        thing("one"),
        thing("two"),
        operation(),
        treatment(assembly="one"),
        treatment(assembly="two"),
    )
    found = scope(survey(line("one"), line("two")), Level.FULL, house.catalogue, dropped=[0])
    assert {work.line for work in found.works} == {1}


def test_every_reason_not_to_quote_is_said_at_once():
    """A draft's gaps, a line that must stay and an unknown extra come in one report."""
    house = shop(thing("base", droppable=False), operation(), treatment(assembly="base"))
    draft = Survey(Machine(), (line("base"), Line("base", None, None, row=7)), "s.csv")
    with pytest.raises(BadInput) as caught:
        scope(draft, Level.FULL, house.catalogue, dropped=[0, 9], added=[("base", 1)])
    said = [str(fault) for fault in caught.value.faults]
    for wanted in (
        "era",
        "s.csv, row 7, count",
        "s.csv, row 7, condition",
        "cannot be left out",
        "no line 10",
        "not an extra",
    ):
        assert any(wanted in text for text in said), (wanted, said)


lines = st.builds(
    Line,
    st.sampled_from(NAMES),
    st.integers(1, 60),
    st.sampled_from(CONDITIONS),
    st.sampled_from(list(Certainty)),
)


def _expected(found: Survey, level: Level) -> tuple[float, float]:
    job = estimate(scope(found, level, DEFAULTS.catalogue), DEFAULTS)
    return job.hours + job.find_hours, job.cost + job.find_cost


@given(
    st.lists(lines, min_size=1, max_size=5),
    st.data(),
    st.sampled_from(LEVELS),
    st.sampled_from(list(Era)),
)
def test_a_worse_condition_never_costs_less(found, data, level, era):
    """Whatever else is in the survey, one line one condition worse does not lower the cost."""
    index = data.draw(st.integers(0, len(found) - 1))
    grade = CONDITIONS.index(found[index].condition)
    if grade == len(CONDITIONS) - 1:
        return
    before = Survey(Machine(era=era), tuple(found))
    after = before.with_line(index, condition=CONDITIONS[grade + 1])
    assert _expected(after, level)[1] >= _expected(before, level)[1] - 1e-6


@given(
    st.lists(lines, min_size=1, max_size=5),
    st.sampled_from(range(len(LEVELS) - 1)),
    st.sampled_from(list(Era)),
)
def test_a_higher_level_never_costs_less(found, rank, era):
    """The next service level takes no fewer hours and costs no less."""
    job = Survey(Machine(era=era), tuple(found))
    lower, higher = _expected(job, LEVELS[rank]), _expected(job, LEVELS[rank + 1])
    assert higher[0] >= lower[0] - 1e-9
    assert higher[1] >= lower[1] - 1e-6
