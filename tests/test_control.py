"""Control charts, as printed and as simulated."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from estimator.control import Signal, chart, ratio_chart, signals


def test_flow_rate_of_ten_batches():
    """Centre 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041; nothing is out."""
    # NIST/SEMATECH, e-Handbook of Statistical Methods, 6.3.2.2.
    flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    found = chart(flow)
    assert found.centre == pytest.approx(50.81)
    assert found.ranges.mean() == pytest.approx(1.8778, abs=1e-4)
    assert found.limits == pytest.approx((45.8159, 55.8041), abs=1e-4)
    assert found.range_limit == pytest.approx(3.267 * 1.8778, abs=1e-3)
    assert found.signals == ()
    assert "10 points" in found.caution
    later = chart([*flow, 56, 45, 50], base=10)
    assert later.limits == found.limits
    assert [(s.at, s.side) for s in later.signals if s.rule == 1] == [(10, 1), (11, -1)]


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        ([0, 3.1, 0, -3.1], [(1, 1), (3, 1)]),
        ([0, 2.1, 0, 2.1], [(3, 2)]),
        ([0, 2.1, 0, 0, 2.1, -2.1], []),
        ([0, -1.1, -1.1, 0, -1.1, -1.1], [(5, 3)]),
        ([1.1, 1.1, 0, 1.1, -1.1, 1.1], []),
        ([0.1] * 7 + [-0.1] * 8, [(14, 4)]),
        ([0.1] * 7 + [0] + [0.1] * 7, []),
        ([0.1] * 9, [(7, 4), (8, 4)]),
        ([3, 2, 1, 0], []),
    ],
)
def test_each_rule(points, expected):
    """One beyond 3, two of three beyond 2, four of five beyond 1, eight on a side."""
    # Western Electric, Statistical Quality Control Handbook, 1956.
    assert [(signal.at, signal.rule) for signal in signals(points, 0, 1)] == expected
    mirrored = signals([-point for point in points], 0, 1)
    assert [(signal.at, signal.rule) for signal in mirrored] == expected


def test_false_alarms_are_as_rare_as_published():
    """On average 91.75 points of a steady process to the first signal; 370.4 by the first rule."""
    # C. Champ & W. Woodall, Technometrics 29, 1987, table 1 (from memory).
    rng = np.random.default_rng(11)
    points = rng.standard_normal(1_200_000)
    beyond = [signal.at for signal in signals(points, 0, 1) if signal.rule == 1]
    assert len(points) / len(beyond) == pytest.approx(370.4, rel=0.06)
    first = []
    for run in rng.standard_normal((3000, 1000)):
        found = signals(run, 0, 1)
        first.append(found[0].at + 1 if found else 1000)
    assert np.mean(first) == pytest.approx(91.75, rel=0.06)


def test_ratios_are_charted_in_logs():
    """Twice as long and half as long are as far off; the chart of ratios and of their inverse."""
    actual, estimate = [2, 3, 1.5, 8, 1], [2, 2, 2, 4, 2]
    found, turned = ratio_chart(actual, estimate), ratio_chart(estimate, actual)
    assert found.centre == pytest.approx(-turned.centre)
    assert found.limits == pytest.approx([-limit for limit in reversed(turned.limits)])
    assert found.points[3] == pytest.approx(-found.points[4]) == pytest.approx(math.log(2))


@given(st.lists(st.floats(-5, 5), min_size=2, max_size=40), st.floats(0.1, 10), st.floats(-9, 9))
def test_signals_do_not_hang_on_the_unit(points, scale, shift):
    """The same points in another unit, from another zero, give the same signals."""
    found = chart(points)
    assume(found.sd > 1e-3)
    off = np.abs(np.array(points) - found.centre) / found.sd
    assume(min(abs(off - sds).min() for sds in (0, 1, 2, 3)) > 1e-6)
    assert chart([scale * point + shift for point in points]).signals == found.signals


def test_points_that_do_not_differ():
    """Tasks all booked at their estimate: no limits, no signal, and it says so."""
    found = ratio_chart([0.1, 0.7, 2.3], [0.1, 0.7, 2.3])
    assert (found.limits, found.signals) == ((0, 0), ())
    assert "do not differ" in found.caution
    assert chart([1 / 3] * 9).signals == ()
    assert chart(np.linspace(0, 1, 20)).caution == ""


def test_charts_refuse_what_they_cannot_draw():
    """One point, a gap, no hours, a base beyond the points."""
    with pytest.raises(ValueError, match="2 or more"):
        chart([1])
    with pytest.raises(ValueError, match="2 or more"):
        chart([1, 2, 3], base=4)
    with pytest.raises(ValueError, match="missing"):
        chart([1, math.nan])
    with pytest.raises(ValueError, match="sd is -1; it must be at least 0"):
        signals([1, 2], 0, -1)
    with pytest.raises(ValueError, match="over 0"):
        ratio_chart([1, 0], [1, 1])
    with pytest.raises(ValueError, match="same length"):
        ratio_chart([1, 2, 3], [1, 1])


def test_a_signal_says_its_rule():
    """In words."""
    assert Signal(7, 4, 1).words == "eight in a row on one side of the centre"
