"""Charts of a review show the data they are given, in words and marks."""

from datetime import date

import numpy as np
import pytest
from matplotlib.colors import to_hex
from test_plots import bars, words

from estimator import plots
from estimator.plots import _looks as looks


def marks(ax, marker):
    """Where the marks of a kind stand in the data."""
    found = [line.get_xydata() for line in ax.lines if line.get_marker() == marker
             and line.get_transform().contains_branch(ax.transData)
             and np.isfinite(line.get_xydata()).all()]
    return np.concatenate(found) if found else np.empty((0, 2))


def test_the_bridge_leads_from_quoted_to_actual():
    """Each reason starts where the one before ended; more is hatched, less is not."""
    ax = plots.bridge(2000, [("Labour", 120), ("Material", -40), ("Finds", -180)], 1900)
    assert [box[:2] for box in bars(ax, plots.VERMILION)] == [(0, 120)]
    assert [box[:2] for box in bars(ax, plots.GREEN)] == [(80, 120), (-100, 80)]
    assert {"+120", "−40", "−180", "Quoted 2,000", "Actual 1,900"} <= {*words(ax)}
    assert [bool(patch.get_hatch()) for patch in ax.patches] == [True, False]


def test_a_bridge_that_does_not_reach_is_refused():
    """Reasons that do not lead to the actual cost would explain something else."""
    with pytest.raises(ValueError, match=r"lead to 2,120\.00, not to 2,100\.00"):
        plots.bridge(2000, [("Labour", 120)], 2100)


def test_hours_stand_beside_what_was_expected_of_them():
    """Expected pale, booked plain up to it and hatched over it, with hours and their ratio."""
    ax = plots.hours_against([("Flipper", 4.0, 6.0), ("Polish", 3.0, 2.0)])
    assert [box[:2] for box in bars(ax, looks.PALE_BLUE)] == [(0, 4), (0, 3)]
    assert [box[:2] for box in bars(ax, plots.VERMILION)] == [(0, 6)]
    assert [box[:2] for box in bars(ax, plots.BLUE)] == [(0, 2)]
    assert {"4.0 h", "6.0 h, 1.50 ×", "3.0 h", "2.0 h, 0.67 ×"} <= {*words(ax)}
    assert {to_hex(patch.get_facecolor()) for patch in ax.patches if patch.get_hatch()} == {
        plots.VERMILION.lower()}


def test_hours_by_kind_are_shares_of_all():
    """Three quarters are said as such, also where only the largest are drawn."""
    ax = plots.hours_by([("Ordering", 30), ("Messages", 10)], most=1)
    assert words(ax) == ["Ordering", "30.0 h, 75 %"]
    with pytest.raises(ValueError, match="0 or more"):
        plots.hours_by([("Ordering", -1)])


def test_margins_show_both_ends():
    """Quoted is an open circle, made a diamond, each where it belongs and written beside it."""
    ax = plots.margins([("Clean", 0.25, 0.10), ("Full", 0.20, 0.30)])
    assert {0.25, 0.20} <= {*marks(ax, "o")[:, 0]}
    assert {0.10, 0.30} <= {*marks(ax, "D")[:, 0]}
    assert {"25 %", "10 %", "20 %", "30 %"} <= {*words(ax)}


def test_the_control_chart_marks_what_is_out():
    """Limits and centre at their logs; the job that is out has another shape and its name."""
    ax = plots.control([1.0, 1.1, 1.9], 1.05, (0.8, 1.4), out={2: "beyond a limit"},
                       names=["Comet", "Heron", "Tern"])
    level = {float(np.exp(line.get_ydata()[0]).round(6)) for line in ax.lines
             if len(line.get_ydata()) == 2 and len({*line.get_ydata()}) == 1
             and to_hex(line.get_color()) == plots.INK}
    assert {1.05, 0.8, 1.4} <= level
    assert marks(ax, "D")[0] == pytest.approx([3, np.log(1.9)])
    assert np.exp(marks(ax, "o")[:, 1]).tolist() == pytest.approx([1.0, 1.1])
    assert {"Tern", "Upper 1.40", "Centre 1.05", "Lower 0.80", "out of control"} <= {*words(ax)}
    with pytest.raises(ValueError, match="over 0"):
        plots.control([1.0, 0.0], 1.0, (0.9, 1.1))


def test_calibration_stands_against_the_diagonal():
    """Seen share at its height, between the ends of its range; the line of promises is straight."""
    ax = plots.calibration({"hours": [(0.8, 19, 30, 0.46, 0.78)]})
    (at,) = marks(ax, "o")[:, 1]
    assert at == pytest.approx(100 * 19 / 30)
    spans = [line.get_ydata() for line in ax.lines if line.get_linewidth() == 2
             and len(line.get_ydata()) == 2]
    assert any(np.allclose(span, [46, 78]) for span in spans)
    (promise,) = [line for line in ax.lines if line.get_linestyle() == "--"
                  and line.get_transform() == ax.transData]
    assert np.allclose(promise.get_ydata(), 100 * np.asarray(promise.get_xdata()))
    assert "19 of 30" in words(ax)
    with pytest.raises(ValueError, match="between 0 and 1"):
        plots.calibration({"hours": [(0.8, 1, 2, -0.1, 1)]})


def test_earned_value_follows_the_days():
    """Lines end at what is planned, earned and spent; the forecast spans its range."""
    days = [date(2026, 3, 2), date(2026, 3, 9), date(2026, 3, 16)]
    ax = plots.earned_value(days, [0, 5, 10], [0, 4, 8], [0, 4.5, 9.5], budget=20,
                            forecast=(18, 24, 31))
    lines = [line.get_xydata()[-1].tolist() for line in ax.lines if len(line.get_xdata()) == 3]
    assert lines == [[14, 10], [14, 8], [14, 9.5]]
    assert {"Planned 10.0 h", "Earned 8.0 h", "Spent 9.5 h", "Comes to 24.0 h"} <= {*words(ax)}
    assert [18, 31] in [list(line.get_ydata()) for line in ax.lines]


def test_evidence_has_a_dot_for_each_job():
    """Every job but those far off, which are counted; book and proposal at their figures."""
    ax = plots.evidence([0.9, 1.0, 1.3, 90.0], 0.75, says=(1.0, 0.9, 1.1))
    assert sorted(marks(ax, "o")[:, 0]) == [0.9, 1.0, 1.3]
    assert marks(ax, "D")[:, 0].tolist() == [1.0]
    assert {"1 beyond →", "Book 0.75 h", "Proposed 1 h (0.9 h to 1.1 h)"} <= {*words(ax)}
    with pytest.raises(ValueError, match="0 or more"):
        plots.evidence([-1.0], 1.0)
