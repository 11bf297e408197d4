"""Conversions against their definitions, range checks, rounding up."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator import units


def test_us_gallon_is_231_cubic_inches():
    """Litres in a US gallon agree with its definition in inches."""
    # NIST Handbook 44, Appendix C: 1 gallon = 231 cubic inches, 1 inch = 2.54 cm exactly.
    litres = 231 * (units.MM_PER_INCH / 100) ** 3
    assert pytest.approx(litres, rel=1e-12) == units.LITRES_PER_US_GALLON


def test_square_foot_is_144_square_inches():
    """Square metres in a square foot agree with the inch."""
    # NIST Handbook 44, Appendix C: 1 foot = 12 inches.
    inch_m = units.MM_PER_INCH / 1000
    assert pytest.approx(144 * inch_m**2, rel=1e-12) == units.M2_PER_SQFT


def test_mil_is_a_thousandth_of_an_inch():
    """Micrometres in a mil agree with the inch."""
    # NIST Handbook 44, Appendix C.
    assert units.UM_PER_MIL == units.MM_PER_INCH


def test_cubic_foot_of_water_weighs_62_4_pounds():
    """Pound, foot and litre together give the density of water that US formulas print."""
    # The 62.4 lb/ft³ behind the powder constant 192.3 = 12,000/62.4: coatechpaints.com.
    litres = units.M2_PER_SQFT * 1000 * 0.3048
    assert litres / units.KG_PER_POUND == pytest.approx(62.4, abs=0.05)


def test_value_inside_the_range_comes_back():
    """Both ends that are allowed pass, and the value is returned."""
    assert units.within("share", 1.0, above=0, up_to=1) == 1.0
    assert units.within("hours", 0, at_least=0) == 0


@pytest.mark.parametrize(
    ("value", "limits", "said"),
    [
        (0, {"above": 0}, "share is 0; it must be over 0."),
        (45, {"above": 0, "up_to": 1, "fix": "Write 0.45 for 45 %."},
         "share is 45; it must be over 0 and at most 1. Write 0.45 for 45 %."),
        (-1, {"at_least": 0}, "share is -1; it must be at least 0."),
        (math.nan, {}, "share is nan; it must be a finite number."),
        (math.inf, {"at_least": 0}, "share is inf; it must be at least 0."),
    ],
)
def test_value_outside_the_range_is_refused_in_words(value, limits, said):
    """The message names the value, what is allowed and how to put it right."""
    with pytest.raises(ValueError, match="share is") as error:
        units.within("share", value, **limits)
    assert str(error.value) == said


@given(st.integers(0, 10**6), st.floats(0, 1, exclude_min=True, exclude_max=True))
def test_a_part_of_a_whole_is_rounded_up(whole, part):
    """Anything worth measuring over a whole number takes the next one."""
    assert units.round_up(whole + part) in (whole, whole + 1)
    if part > 1.001e-6:
        assert units.round_up(whole + part) == whole + 1
    # Dust is less than a millionth.
    assert units.round_up(whole + 1.1e-6) == whole + 1
    assert units.round_up(whole + 0.9e-6) == whole


@pytest.mark.parametrize("count", [-1, -1e-9, math.nan, math.inf])
def test_less_than_nothing_is_not_rounded_up(count):
    """A count is 0 or more."""
    with pytest.raises(ValueError, match=r"count is .*; it must be at least 0"):
        units.round_up(count)


@given(st.integers(0, 10_000), st.sampled_from([0.1, 0.25, 0.3, 0.7, 1 / 3]))
def test_dust_of_floats_is_not_rounded_up(count, step):
    """A whole number of steps stays that number, however it was computed."""
    assert units.round_up(count * step / step) == count
    assert units.round_up(sum([step] * min(count, 200)) / step) == min(count, 200)
