"""The cautions: every hazard of the trade is there, its figures are the published ones."""

import math
import re

import pytest

from estimator.catalogue import load

CAUTIONS = load().cautions


def figures(name):
    """Every number in a caution, as floats; fractions as written."""
    return [
        float(a) / float(b or 1)
        for a, b in re.findall(r"(\d+(?:\.\d+)?)(?:/(\d+))?", CAUTIONS[name].text)
    ]


def test_every_hazard_of_the_work_has_a_caution():
    """From mains to batteries, nothing that can hurt goes unsaid."""
    # Hazards of the trade: common practice, no source.
    assert {
        "mains",
        "stored-charge",
        "coil-power",
        "fire",
        "lifting",
        "glass",
        "springs",
        "wire-wheel",
        "tumbling-dust",
        "isocyanate",
        "solvents",
        "lead",
        "batteries",
        "hot-work",
    } <= set(CAUTIONS)


@pytest.mark.parametrize("name", ["mains", "stored-charge", "isocyanate", "lead", "batteries"])
def test_a_caution_defers_to_rules_and_licences(name):
    """Where others decide, the caution says so."""
    assert re.search(r"rule|code|licen|law|regulation|data sheet", CAUTIONS[name].text)


def test_the_lifting_limit_is_the_constant_of_the_lifting_equation():
    """With the caution's 51 lb the published worked piece comes out at 18.47 lb."""
    # NIOSH 94-110, RWL = LC·HM·VM·DM·AM·FM·CM: H 20, V 6, D 16 in, straight, fair grip:
    # .50 × .82 × .93 × .95 gives 18.4 lb, wizedu.com questions 203981 (equation: what-when-how.com,
    # fundamentals of occupational ergonomics).
    assert 51 in figures("lifting")
    distance = round(0.82 + 1.8 / 16, 2)
    reach, height = 10 / 20, round(1 - 0.0075 * abs(6 - 30), 2)
    assert reach * height * distance * 0.95 * 51 == pytest.approx(18.47, abs=0.01)
    weights = [figure for figure in figures("lifting") if figure in (50, 75)]
    assert min(weights) > 18.47  # a populated playfield is no work for one at arm's length


def test_the_discharge_time_follows_from_the_law_of_discharge():
    """100 µF through 100 kΩ from 170 V to 50 V takes 12.24 s, and the code gives a minute."""
    # t = RC ln(V0/V): Urone & Hinrichs, College Physics 2e, OpenStax, 21.6. 50 V within a minute:
    # NEC 460.6, ecmweb.com, capacitor discharge time requirements.
    found = figures("stored-charge")
    assert {100, 170, 50, 12, 1} <= set(found)
    assert 100e3 * 100e-6 * math.log(170 / 50) == pytest.approx(12.24, abs=0.01)


def test_the_limits_for_isocyanate_and_lead_are_the_published_ones():
    """HDI 0.005 and 0.020 ppm; lead 50 with action from 30 µg/m³."""
    # NIOSH for HDI: osha.gov/dts/chemicalsampling/data/CH_245198.html; lead: NIOSH docket 315.
    assert {0.005, 0.020} <= set(figures("isocyanate"))
    assert {50, 30, 8} <= set(figures("lead"))


def test_rest_and_guard_of_a_grinder_stand_as_close_as_the_rule_says():
    """Work rest within an eighth of an inch, tongue guard within a quarter."""
    # 29 CFR 1910.215(a)(4) and guard: osha.gov/enforcement/directives/std-01-12-008.
    assert {1 / 8, 1 / 4} <= set(figures("wire-wheel"))
