"""Charts of a bench plan show the bars, marks and words that they are given."""

from datetime import date

import numpy as np
import pytest
from matplotlib.colors import to_hex
from test_plots import MARKS, contrast, stands_out, words

from estimator import plots
from estimator.plots import planning

MONDAY = date(2026, 3, 2)


def patches(ax, hatch):
    """Bars in the data with this hatching: left and right of each."""
    found = []
    for patch in ax.patches:
        if (patch.get_hatch() or "") == hatch and \
                patch.get_transform().contains_branch(ax.transData) and patch.get_linewidth():
            corners = patch.get_path().vertices.reshape(-1, 5, 2)
            found += [(round(float(box[:, 0].min()), 3), round(float(box[:, 0].max()), 3))
                      for box in corners]
    return sorted(found)


def test_waits_are_told_apart_by_hatch_and_word():
    """Each kind has a hatching and a colour of its own, and its word stands in the key."""
    kinds = list(planning.KINDS)
    rows = [(kind, [(n, n + 4.0, kind)]) for n, kind in enumerate(kinds)]
    ax = plots.bench_days(rows, MONDAY)
    for n, kind in enumerate(kinds):
        said, _, hatch = planning.KINDS[kind]
        assert patches(ax, hatch) == [(n, n + 4)], kind
        assert said in words(ax)
    assert len({hatch for _, _, hatch in planning.KINDS.values()}) == len(kinds)
    assert {"cure", "tumbler", "parts", "outwork"} <= {*words(ax)}


def test_closed_days_are_shaded_and_today_has_a_line():
    """Saturday and Sunday shaded over all rows; the line stands where it is told."""
    ax = plots.bench_days([("Flipper", [(0.4, 8.0, "work")])], MONDAY, closed=[5, 6, 40],
                          today=2.5)
    shaded = [patch for patch in ax.patches if patch.get_linewidth() == 0]
    corners = np.concatenate([patch.get_path().vertices for patch in shaded])
    assert (corners[:, 0].min(), corners[:, 0].max()) == (5, 7)
    assert any(np.allclose(line.get_xdata(), 2.5) for line in ax.lines)
    assert {"today", "Closed"} <= {*words(ax)}
    assert "today" not in words(plots.bench_days([("A", [(0, 1, "work")])], MONDAY))


def test_days_below_a_plan_are_mondays_where_it_is_long():
    """Ten weeks name Mondays only; a few days are named each."""
    ax = plots.bench_days([("A", [(0, 70.0, "work")])], date(2026, 3, 4), day=date.isoformat)
    named = [date.fromisoformat(said) for said in words(ax) if said.startswith("2026-")]
    assert len(named) > 3
    assert {one.weekday() for one in named} == {0}
    ax = plots.bench_days([("A", [(0, 4.0, "work")])], MONDAY, day=date.isoformat)
    assert {"2026-03-02", "2026-03-03", "2026-03-04"} <= {*words(ax)}


def test_bars_that_cannot_be_are_refused():
    """A kind that is none, an end before its start, and no bars at all."""
    with pytest.raises(ValueError, match="no kind of bar"):
        plots.bench_days([("A", [(0, 1, "lunch")])], MONDAY)
    with pytest.raises(ValueError, match="cannot be"):
        plots.bench_days([("A", [(2, 1, "work")])], MONDAY)
    with pytest.raises(ValueError, match="no bars"):
        plots.bench_days([], MONDAY)


def test_a_load_stands_within_the_hours_open():
    """Planned hours and their share of those open, also where nobody is in."""
    ax = plots.loads([("Mara", 30.0, 40.0), ("Joris", 0.0, 0.0)])
    assert {"30.0 of 40.0 h, 75 %", "0.0 of 0.0 h"} <= {*words(ax)}
    assert (0.0, 30.0) in patches(ax, "")
    assert (0.0, 40.0) in patches(ax, "")


def test_the_finish_curve_marks_the_days_that_people_quote():
    """Of trials spread evenly over ten days, half are over after five: by hand, no source."""
    ax = plots.finish_curve(np.linspace(0.0, 10.0, 1001), MONDAY, planned=1.0,
                            promise=(9.0, "promised"), day=date.isoformat)
    # 5 days from midnight before Monday the 2nd: in the course of Friday the 6th.
    assert {"5 in 10: 2026-03-06", "8 in 10: 2026-03-09", "9 in 10: 2026-03-10",
            "promised", "as planned"} <= {*words(ax)}
    dots = next(line for line in ax.lines if line.get_marker() == "o")
    assert dots.get_xdata() == pytest.approx([5, 8, 9], abs=0.01)
    assert dots.get_ydata() == pytest.approx([50, 80, 90])


def test_what_holds_up_keeps_its_order_and_kind():
    """A bar as long as the share, with the share and the kind in words."""
    ax = plots.holds_up([("Cure", 0.76, "cure"), ("Parts", 0.1, "parts")], most=1)
    assert words(ax) == ["Cure", "76 in 100 (cure)"]
    assert patches(ax, planning.KINDS["cure"][2]) == [(0, 0.76)]
    with pytest.raises(ValueError, match="0 to 1"):
        plots.holds_up([("Cure", 76, "cure")])


CHARTS = [
    lambda: plots.bench_days([("A <b>", [(0, 1, "work"), (1, 5, "cure")]),
                              ("B", [(n, n + 9, kind) for n, kind in enumerate(planning.KINDS)])],
                             MONDAY, today=0.5, closed=[5, 6]),
    lambda: plots.loads([("A <b>", 1, 2)]),
    lambda: plots.finish_curve([1, 2, 3], MONDAY),
    lambda: plots.holds_up([("A <b>", 0.5, "parts")]),
]


@pytest.mark.parametrize("make", CHARTS)
def test_every_eye_can_tell_bars_and_words(make):
    """Words contrast 4.5:1 with their ground; bars have a face or an edge that keeps 3:1."""
    ax = make()
    stands_out(ax)
    for patch in ax.patches:
        face, edge = patch.get_facecolor(), patch.get_edgecolor()
        told = contrast(face, "white") >= 3 or (patch.get_linewidth() and to_hex(edge) in {
            mark.lower() for mark in MARKS})
        # The pale ground of closed days has a foot in a stronger colour.
        assert told or to_hex(face) == planning._CLOSED, to_hex(face)
    if any(to_hex(patch.get_facecolor()) == planning._CLOSED for patch in ax.patches):
        assert contrast(planning._FOOT, "white") >= 3
        assert any(to_hex(patch.get_facecolor()) == planning._FOOT for patch in ax.patches)


@pytest.mark.parametrize("make", CHARTS)
def test_charts_are_the_same_each_time_and_escape_what_was_typed(make):
    """The same data gives the same element; signs of a page's own language stay text."""
    first, again = (plots.svg(make(), 'says "so" <here>') for _ in range(2))
    assert first == again
    assert "<b>" not in first
    assert "<here>" not in first
