"""The scope: tables decide what a line needs; worse never needs less, nor a higher level."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_shop import line, operation, part, row, shop, survey, thing, treatment

from estimator.catalogue import CONDITIONS, LEVELS, Certainty, Condition, Era, Find, Level
from estimator.errors import BadInput
from estimator.estimate import estimate
from estimator.scope import scope, worse
from estimator.shop import open_shop
from estimator.survey.records import Line, Machine, Survey

DEFAULTS = open_shop()


def rot(**cells):
    """A find on the thing."""
    return row(Find, **({"find": "rot", "assembly": "thing", "name": "Rot under the film",
                         "level_from": "clean", "probability": 0.2, "low": 1, "typical": 1,
                         "high": 1} | cells))


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


@pytest.mark.parametrize("per", ["area", "length"])
def test_a_line_whose_size_nobody_knows_takes_no_work_by_size(per):
    """Neither the survey nor the assembly says how large it is: no work, and no need."""
    house = shop(thing(), operation(), treatment(measure=per), part(),
                 treatment("part", "piece", measure=per))
    found = scope(survey(line(count=2)), Level.FULL, house.catalogue)
    assert (found.works, found.needs) == ((), ())


def test_pieces_are_counted_where_some_may_do_without():
    """Half of 4 × 3 pieces; by the line, one at least; none where all need it, or it is a size."""
    def pieces(**cells):
        house = shop(thing(area_cm2=100, length_mm=100), operation(), treatment(**cells))
        (work,) = scope(survey(line(count=4)), Level.FULL, house.catalogue).works
        return work.pieces

    assert pieces(share=0.5, quantity=3) == 12
    assert pieces(share=0.5, measure="line") == 1
    assert pieces(share=0.5, measure="line", quantity=0.2) == 1
    assert pieces(share=1, quantity=3) is None
    assert pieces(share=0.5, measure="area") is pieces(share=0.5, measure="length") is None


def test_a_line_of_none_takes_nothing():
    """A count of 0 says that the machine has no such thing: no work, no need, no risk."""
    house = shop(thing(), operation(), operation("tidy"), treatment(),
                 treatment(item="tidy", measure="line"), rot())
    found = scope(survey(line(count=0), line()), Level.FULL, house.catalogue)
    assert {entry.line for entry in (*found.works, *found.risks)} == {1}
    assert len(found.works) == 2


def test_a_find_comes_to_light_from_its_era_level_and_condition_on():
    """Below its first level or condition, or in another era, there is no such risk."""
    house = shop(thing(), operation(), rot(
        era=Era.MODERN, level_from=Level.SHOP_JOB, condition_from=Condition.WORN))
    held = {
        (era, level, condition)
        for era in Era for level in LEVELS for condition in CONDITIONS
        if scope(survey(line(condition=condition), era=era), level, house.catalogue).risks
    }
    assert held == {
        (Era.MODERN, level, condition)
        for level in LEVELS[LEVELS.index(Level.SHOP_JOB):]
        for condition in CONDITIONS[CONDITIONS.index(Condition.WORN):]
    }


def test_a_chance_is_multiplied_by_how_little_was_seen():
    """10 % where it was seen, 1.5 times that where assumed, 3 times where hidden."""
    house = shop(thing(), operation(), rot(probability=0.1, assumed=1.5, hidden=3))
    found = scope(survey(*(line(certainty=certainty) for certainty in (
        Certainty.SEEN, Certainty.ASSUMED, Certainty.HIDDEN))), Level.FULL, house.catalogue)
    assert [risk.chance for risk in found.risks] == pytest.approx([0.1, 0.15, 0.3])


def test_lines_alike_are_numbered_apart_and_keep_their_names_when_others_come():
    """The second line of an assembly is its second, whatever stands between."""
    house = shop(thing("one"), thing("two"), thing("lamp", extra=True), operation())
    found = scope(survey(line("one"), line("two"), line("one")), Level.FULL, house.catalogue,
                  added=[("lamp", 2)])
    assert found.names == ("one 1", "two 1", "one 2", "lamp 1")
    assert found.first_extra == 3
    assert found.lines[3] == Line("lamp", 2, Condition.FRESH, Certainty.SEEN)


def test_one_condition_worse_keeps_all_else_and_stops_at_failed():
    """Size, note and row stay; what failed or is missing gets no worse."""
    seen = line(condition=Condition.FRESH, length_mm=3.0, area_cm2=4.0, note="by hand", row=9)
    steps = [seen]
    for _ in CONDITIONS:
        steps.append(worse(steps[-1]))
    assert [step.condition for step in steps[:5]] == list(CONDITIONS[:5])
    assert {step.condition for step in steps[4:]} == {Condition.FAILED}
    assert {replace(step, condition=Condition.FRESH) for step in steps} == {seen}
    missing = line(condition=Condition.MISSING)
    assert worse(missing) == missing


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
    # Only what is an extra is named as one.
    house = shop(thing(), thing("lamp", extra=True), operation(), treatment())
    with pytest.raises(BadInput, match=r"Extras: lamp\."):
        scope(survey(line()), Level.FULL, house.catalogue, added=[("thing", 1)])


def test_an_empty_survey_and_extras_beyond_counting_are_refused():
    """A survey says something, and an extra is counted from 1 to 99, in whole numbers."""
    house = shop(thing("lamp", extra=True), operation())

    def said(*lines, **choices):
        with pytest.raises(BadInput) as caught:
            scope(survey(*lines), Level.FULL, house.catalogue, **choices)
        (fault,) = caught.value.faults
        return fault.what

    assert said() == "The survey has no lines."
    for count in (0, 100, 1.5):
        assert said(line("lamp"), added=[("lamp", count)]) == f"{count} of lamp cannot be added."
    assert "no line 0" in said(line("lamp"), dropped=[-1])
    assert "no line 2" in said(line("lamp"), dropped=[1])
    with pytest.raises(BadInput) as caught:
        scope(survey(line("lamp")), Level.FULL, house.catalogue, dropped=frozenset({8, 1}))
    assert [fault.what for fault in caught.value.faults] == [
        "There is no line 2 to leave out.", "There is no line 9 to leave out."]
    for count in (1, 99):
        found = scope(survey(line("lamp")), Level.FULL, house.catalogue, added=[("lamp", count)])
        assert found.lines[1].count == count


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
