"""The charts show the data they are given, in words and marks, and never by colour alone."""

import itertools
import math
import os
import re
import subprocess
import sys
from datetime import date
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from estimator import plots
from estimator.plots import _looks as looks

SHARES = np.concatenate([np.full(70, -0.05), np.full(930, 0.25)])
STEPS = [("Labour", 1200), ("Parts", 300), ("Outwork", 0), ("Cover", -40), ("Margin", 540)]
DRIVERS = [("Parts", 950, 1100), ("Playfield", 800, 1400), ("Cabinet", 990, 1010)]
CURVE = [(1.0, 0.9, 0.8, 1.0), (1.5, 0.5, 0.3, 0.7), (2.0, 0.1, 0.0, 0.3)]
HISTORY = [(1.1, True), (1.3, True), (1.3, True), (1.7, False), (1.9, False)]
LONG = "A name as long as somebody types who thinks that there is no end to the room for it, {}"
REASONS = [("Labour efficiency", 120), ("Material price", -40), ("Outwork price", 10)]
WORKED = [("Rebuild a flipper", 4.0, 6.0), ("Polish", 3.0, 2.0), ("Test", 1.0, 0.0)]
RATIOS = [1.0, 1.1, 0.9, 1.2, 1.9]
HELD = [(0.5, 9, 30, 0.17, 0.48), (0.8, 22, 30, 0.56, 0.86), (0.9, 29, 30, 0.83, 0.99)]
DAYS = [date(2026, 3, 2), date(2026, 3, 9), date(2026, 3, 30)]
COSTS = np.exp(np.random.default_rng(1).normal(7.9, 0.2, 4000))
EURO = "{:,.2f} €".format
CHOICES = [("Clean and sell", 200, 700, 1200), ("Restore", -800, -100, 900), ("Part out", -900,
                                                                             -500, -100)]
WAYS = [("Go on", 900, -1.0, False), ("Stop", 300, 0.0, True)]

ORDINARY = {
    "margin": lambda ax=None: plots.margin(SHARES, ax),
    "hours": lambda ax=None: plots.hours_curve(COSTS / 50, ax),
    "cost": lambda ax=None: plots.cost_curve(COSTS, 3400, ax, sure=0.95),
    "breakdown": lambda ax=None: plots.cost_breakdown(dict(STEPS), ax, earned=["Margin"]),
    "waterfall": lambda ax=None: plots.waterfall(STEPS, 2000, ax, earned=["Margin"]),
    "tornado": lambda ax=None: plots.tornado(DRIVERS, 1000, ax),
    "variance": lambda ax=None: plots.variance_shares([("Parts", 0.1, 0.2), ("Coils", 0, 0)], ax),
    "inspect": lambda ax=None: plots.inspect_next([("Cabinet", 12), ("Playfield", 85)], ax),
    "winning": lambda ax=None: plots.winning(CURVE, ax, history=HISTORY, best=1.4),
    "bridge": lambda ax=None: plots.bridge(2000, REASONS, 2090, ax),
    "against": lambda ax=None: plots.hours_against(WORKED, ax),
    "hours by": lambda ax=None: plots.hours_by([("Ordering", 30), ("Messages", 10.5)], ax),
    "margins": lambda ax=None: plots.margins([("Clean", 0.25, 0.1), ("Full", 0.2, 0.3)], ax),
    "control": lambda ax=None: plots.control(RATIOS, 1.05, (0.8, 1.4), ax, out={4: "beyond"},
                                             names=["Comet", "Heron", "Tern", "Rook", "Swift"]),
    "calibration": lambda ax=None: plots.calibration({"hours": HELD, "cost": HELD}, ax),
    "earned": lambda ax=None: plots.earned_value(DAYS, [0, 5, 10], [0, 4, 8], [0, 5, 11], ax,
                                                 budget=20, forecast=(18, 24, 31)),
    "evidence": lambda ax=None: plots.evidence([0.9, 1.0, 1.3, 9.0], 0.75, ax,
                                               says=(1.0, 0.9, 1.1)),
    "profits": lambda ax=None: plots.profit_ranges(CHOICES, ax),
    "losses": lambda ax=None: plots.loss_chances([("Sell", 0.0), ("Restore", 0.36)], ax),
    "cash": lambda ax=None: plots.cash_flow([("Sell", [-500, 300]),
                                             ("Restore", [-500, -900, -700, 800])], ax),
    "effort": lambda ax=None: plots.effort(
        [("Sell as found", 0.5, 0), ("Do a shop job", 20, 300)], [(15, 200), (19, 320)], ax,
        elsewhere=12),
    "stop": lambda ax=None: plots.stop_rule(WAYS, 600, (100, 400, 900), ax),
    "tornado of a profit": lambda ax=None: plots.tornado(DRIVERS, 1000, ax, more_is_good=True),
}
HARD = {
    "margin, all alike": lambda: plots.margin([0.2] * 100),
    "margin, all lose": lambda: plots.margin(np.linspace(-0.3, -0.25, 500)),
    "margin, huge": lambda: plots.margin(np.linspace(-900, 90, 500)),
    "hours, all alike": lambda: plots.hours_curve([10.0] * 100),
    "hours, one": lambda: plots.hours_curve([0.0]),
    "hours, skew": lambda: plots.hours_curve((COSTS / 2700) ** 12),
    "cost, all alike": lambda: plots.cost_curve([2000.0] * 9, 2000, sure=0.9),
    "cost, one": lambda: plots.cost_curve([2000.0], 1900),
    "cost, all lose": lambda: plots.cost_curve(COSTS, 0),
    "cost, price far off": lambda: plots.cost_curve(COSTS, 1e6, money=EURO),
    "cost, huge": lambda: plots.cost_curve(5000 * COSTS, 2e7, money=EURO),
    "breakdown, nothing": lambda: plots.cost_breakdown({"Labour": 0.0}),
    "breakdown, huge": lambda: plots.cost_breakdown(
        {LONG.format(1): 9_876_543, "Cover": -5_000_000}, money=EURO),
    "waterfall, below nought": lambda: plots.waterfall(
        [("Labour", 1.2e6), (LONG.format(2), -1.5e6)], -3e5, money=EURO),
    "waterfall, nothing": lambda: plots.waterfall([("Labour", 0)], 0),
    "waterfall, many": lambda: plots.waterfall([(f"Step {n}", 1e5) for n in range(20)], 2e6),
    "tornado, all alike": lambda: plots.tornado([("Parts", 7, 7), ("Coils", 7, 7)], 7),
    "tornado, long": lambda: plots.tornado(
        [(LONG.format(n), 1e6 - n, 2e6 + n) for n in range(30)], 1.2e6, money=EURO),
    "tornado, one-sided": lambda: plots.tornado([("Parts", 1200, 1900)], 1000),
    "variance, long": lambda: plots.variance_shares(
        [(LONG.format(n), 0.001 * n, 0.9) for n in range(30)]),
    "variance, nothing": lambda: plots.variance_shares([("Parts", -0.01, 0.0)]),
    "inspect, long": lambda: plots.inspect_next(
        [(LONG.format(n), 1e6 * n) for n in range(30)], money=EURO),
    "inspect, nothing": lambda: plots.inspect_next([("Parts", 0), ("Coils", -3)]),
    "winning, no history": lambda: plots.winning(CURVE),
    "winning, one point": lambda: plots.winning(CURVE[:1], history=[(9, False)], best=1.0),
    "winning, long": lambda: plots.winning(CURVE, best=2.0, history=HISTORY * 99,
                                           said="Earns most at 123,456,789.00 €"),
    "bridge, nothing": lambda: plots.bridge(2000, [], 2000),
    "bridge, long": lambda: plots.bridge(
        1e6, [(LONG.format(1), -1.2e6), (LONG.format(2), 1e5)], -1e5, money=EURO),
    "bridge, many": lambda: plots.bridge(0, [(f"Reason {n}", 1e4) for n in range(15)], 1.5e5),
    "bridge, small": lambda: plots.bridge(1e6, [("Labour", 0.5)], 1e6 + 0.5, money=EURO),
    "against, long": lambda: plots.hours_against(
        [(LONG.format(n), 1e4 * n, 2e4) for n in range(30)]),
    "against, nothing": lambda: plots.hours_against([("Test", 0.0, 0.0)]),
    "hours by, long": lambda: plots.hours_by([(LONG.format(n), 1e4 * n) for n in range(30)]),
    "hours by, nothing": lambda: plots.hours_by([("Ordering", 0)]),
    "margins, long": lambda: plots.margins([(LONG.format(n), 0.25, -3.0) for n in range(9)]),
    "margins, alike": lambda: plots.margins([("Clean", 0.25, 0.25)]),
    "margins, near": lambda: plots.margins([("Clean", 0.25, 0.26), ("Full", 0.9, -0.9)]),
    "control, two": lambda: plots.control([1.0, 1.1], 1.05, (0.78, 1.4)),
    "control, alike": lambda: plots.control([1.0] * 30, 1.0, (1.0, 1.0)),
    "control, wide": lambda: plots.control([0.1, 9.0, 1.0], 1.0, (0.01, 90.0), out={1: "beyond"},
                                           names=[LONG.format(1)] * 3),
    "control, many": lambda: plots.control([1.0 + n % 7 / 10 for n in range(120)], 1.3,
                                           (0.9, 1.9)),
    "control, last": lambda: plots.control([1.0] * 9 + [2.0], 1.0, (0.9, 1.1), out={9: "beyond"},
                                           names=[LONG.format(n) for n in range(10)]),
    "calibration, one": lambda: plots.calibration({"hours": [(0.8, 0, 1, 0.0, 0.79)]}),
    "calibration, sure": lambda: plots.calibration(
        {what: [(0.5, 900, 900, 0.99, 1.0), (0.8, 900, 900, 0.99, 1.0), (0.9, 0, 900, 0, 0.01)]
         for what in ("hours", "cost")}),
    "earned, a day": lambda: plots.earned_value(DAYS[:1], [0], [0], [0], budget=1),
    "earned, alike": lambda: plots.earned_value(DAYS, [0, 5, 9], [0, 5, 9], [0, 5, 9], budget=9,
                                                forecast=(9, 9, 9)),
    "earned, huge": lambda: plots.earned_value(DAYS, [0, 5e4, 9e4], [0, 5e4, 8e4], [0, 6e4, 2e5],
                                               budget=9e4, forecast=(2e5, 3e5, 4e5)),
    "evidence, one": lambda: plots.evidence([0.0], 1.0),
    "evidence, alike": lambda: plots.evidence([1.0] * 9, 1.0, says=(1.0, 1.0, 1.0)),
    "evidence, far": lambda: plots.evidence([0.02, 0.03, 50.0], 0.02, says=(0.03, 0.028, 0.032),
                                            said="{:.4g} hours".format, of=LONG.format(1)),
    "profits, one": lambda: plots.profit_ranges([(LONG.format(1), 7, 7, 7)], best=-1),
    "profits, all lost": lambda: plots.profit_ranges([("Sell", -9, -5, -1)], money=EURO),
    "profits, far": lambda: plots.profit_ranges(
        [("Sell", 10, 500, 900), (LONG.format(1), -9e6, -8e6, -7e6), ("Clean", -9e4, -50, 300)]),
    "losses, long": lambda: plots.loss_chances([(LONG.format(n), n / 30) for n in range(30)]),
    "cash, nothing": lambda: plots.cash_flow([("Sell", [0.0])]),
    "cash, long": lambda: plots.cash_flow(
        [(LONG.format(n), [-1e6 * n, 5e5, 5e5]) for n in range(5)], money=EURO),
    "cash, years": lambda: plots.cash_flow([("Sell", [float(n) for n in range(120)])]),
    "effort, nothing": lambda: plots.effort([("Sell as found", 0, 0)], []),
    "effort, crowded": lambda: plots.effort(
        [(f"Choice {n}", 10 + n / 10, 100 + n) for n in range(7)], [(10, 100)], elsewhere=-5),
    "stop, no limit": lambda: plots.stop_rule([("Go on", 900, 0.0, False)], None, (0, 0, 0)),
    "stop, far": lambda: plots.stop_rule(
        [(LONG.format(n), 1e6 * n, -n, n > 0) for n in range(5)], 5e6, (1, 2, 3), money=EURO),
}


def words(ax):
    """All words of a chart, in the order in which they were written."""
    return [text.get_text() for text in ax.texts]


def boxes(patch):
    """Left, right, bottom and top of each bar of a shape that stands for several."""
    polygons = patch.get_path().to_polygons()
    return [(*np.sort(p[[0, 1], 0]), *np.sort(p[[0, 2], 1])) for p in polygons]


def bars(ax, color):
    """The bars of a colour, from top to bottom or left to right as they were drawn."""
    return [box for patch in ax.patches if to_hex(patch.get_facecolor()) == color.lower()
            and patch.get_transform().contains_branch(ax.transData) for box in boxes(patch)]


def luminance(colour):
    """Relative luminance after WCAG 2.2, "relative luminance"."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


MARKS = [plots.BLUE, plots.VERMILION, plots.GREEN, plots.PURPLE, plots.INK]


@pytest.mark.parametrize("colour", MARKS)
def test_marks_keep_three_to_one_against_white(colour):
    """Marks that carry meaning contrast 3:1 or more, WCAG 2.2 success criterion 1.4.11."""
    assert 1.05 / (luminance(colour) + 0.05) >= 3.0


def contrast(one, other):
    """Contrast ratio after WCAG 2.1, "contrast ratio"."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def ground(ax, text, at):
    """The colour under a place of some words: of their own box, else of the topmost shape there."""
    own = text.get_bbox_patch()
    if own is not None:
        return own.get_facecolor()
    there = ["white"]
    for patch in ax.patches:
        shapes = patch.get_transform().transform_path(patch.get_path()).to_polygons()
        # A bar has five corners, the first again at its end; of other shapes none is dark.
        if any((shape.min(axis=0) <= at).all() and (at <= shape.max(axis=0)).all()
               for shape in shapes if len(shape) == 5):
            there.append(patch.get_facecolor())
    return there[-1]


def stands_out(ax):
    """Words contrast 4.5:1 with what they stand on; what they stand on may be several shapes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    renderer = FigureCanvasAgg(ax.figure).get_renderer()
    for text in ax.texts:
        box = text.get_window_extent(renderer)
        for place in (0.02, 0.5, 0.98):
            at = (box.x0 + place * box.width, (box.y0 + box.y1) / 2)
            assert contrast(text.get_color(), ground(ax, text, at)) >= 4.5, text.get_text()


@pytest.mark.parametrize("draw", [*ORDINARY.values(), *HARD.values()], ids=[*ORDINARY, *HARD])
def test_words_stand_out_from_what_they_are_written_on(draw):
    """Words contrast 4.5:1 or more with their ground, WCAG 2.1 success criterion 1.4.3."""
    stands_out(draw())


@pytest.mark.parametrize("name", ORDINARY)
def test_charts_use_no_other_colours(name):
    """Bars, dots and lines are of those colours; a pale area has an edge of one of them."""
    meant = {colour.lower() for colour in MARKS}
    ax = ORDINARY[name]()
    assert ax.patches or ax.lines
    for patch in ax.patches:
        found = {to_hex(patch.get_facecolor()), to_hex(patch.get_edgecolor())}
        assert found & meant, found
        assert found - meant <= {"#ffffff", looks.PALE_BLUE}
    for line in ax.lines:
        assert to_hex(line.get_color()) in meant | {plots.FAINT}
    assert {to_hex(text.get_color()) for text in ax.texts} == {plots.INK}


def test_the_margin_chart_counts_the_jobs_that_lose():
    """Seven of a hundred lose: said in words, drawn left of nought, hatched, the rest right."""
    ax = plots.margin(SHARES)
    assert {"Loses money: 7 in 100", "Earns: 93 in 100"} < {*words(ax)}
    lost, earned = bars(ax, plots.VERMILION), bars(ax, plots.BLUE)
    assert sum(top for *_, top in lost) == pytest.approx(0.07)
    assert sum(top for *_, top in earned) == pytest.approx(0.93)
    assert max(right for _, right, *_ in lost) <= 1e-9
    assert min(left for left, *_ in earned) >= -1e-9
    assert all(bool(patch.get_hatch()) == (to_hex(patch.get_facecolor()) == "#d55e00")
               for patch in ax.patches)
    assert "on average 23 %" in words(ax)  # .07 × -5 + .93 × 25


def test_a_margin_of_exactly_nought_loses_nothing():
    """A job that comes out even is not a loss."""
    ax = plots.margin([0.0, 0.0, 0.0, 0.0])
    assert "Loses money: none" in words(ax)
    assert bars(ax, plots.BLUE)
    assert not bars(ax, plots.VERMILION)


def test_the_breakdown_keeps_order_and_writes_each_amount():
    """Bars stand in the order given, each with its amount and its share of the whole."""
    ax = plots.cost_breakdown({"Labour": 60.0, "Parts": 30.0, "Cover": -10.0, "Margin": 20.0},
                              money="${:.0f}".format, earned=["Margin"])
    assert [box[:2] for box in bars(ax, plots.BLUE)] == [(0, 60), (0, 30), (-10, 0)]
    assert [box[:2] for box in bars(ax, plots.GREEN)] == [(0, 20)]
    assert words(ax) == ["$60 · 60 %", "$30 · 30 %", "$-10 · -10 %", "$20 · 20 %",
                         "Labour", "Parts", "Cover", "Margin"]
    places = [text.get_position()[1] for text in ax.texts]
    assert places == [0, 1, 2, 3] * 2
    assert ax.yaxis_inverted()
    assert ax.get_xlim()[0] <= -10


def test_the_hours_curve_marks_the_shares_that_people_quote():
    """P50, P80 and P90 of 0 to 100 hours stand at 50, 80 and 90, named in words."""
    ax = plots.hours_curve(np.arange(101.0))
    assert words(ax)[:3] == ["as often as not: 50 h", "4 jobs in 5: 80 h", "9 jobs in 10: 90 h"]
    (dots,) = [line for line in ax.lines if line.get_marker() == "o"]
    assert np.allclose(dots.get_xydata(), [[50, 50], [80, 80], [90, 90]])
    along, share = ax.lines[0].get_data()
    assert np.allclose(along, share)


def test_the_cost_curve_says_what_the_price_covers():
    """Of costs from 0 to 1000 a price that covers 900 covers nine in ten; the rest is hatched."""
    ax = plots.cost_curve(np.arange(1001.0), 900)
    assert {"The price covers 900", "Jobs that cost less: 90 in 100",
            "Jobs that lose money: 10 in 100", "1 in 10: 100", "5 in 10: 500", "8 in 10: 800",
            "9 in 10: 900"} < {*words(ax)}
    (dots,) = [line for line in ax.lines if line.get_marker() == "o"]
    assert np.allclose(dots.get_xydata(), [[100, 10], [500, 50], [800, 80], [900, 90]])
    (at_price,) = [line for line in ax.lines if line.get_marker() == "D"]
    assert np.allclose(at_price.get_xydata(), [[900, 90]], atol=0.1)
    upright = [line.get_xdata() for line in ax.lines if line.get_linestyle() == "--"]
    assert [list(at) for at in upright] == [[900, 900]]
    (loss,) = [patch for patch in ax.patches
               if patch.get_hatch() and to_hex(patch.get_facecolor()) == "#ffffff"]
    assert loss.get_path().vertices[:, 0].min() == 900
    assert not loss.get_path().contains_point((500, 90))


def test_a_cost_that_the_price_just_covers_is_no_loss():
    """What costs as much as the price covers loses nothing."""
    ax = plots.cost_curve([100.0, 200.0], 200)
    assert {"Jobs that cost less: 100 in 100", "Jobs that lose money: none"} < {*words(ax)}


def test_a_price_far_off_is_said_and_not_drawn():
    """A price many times the cost would leave no room for the curve: words and an arrow do."""
    for covered, said in ((1e6, "The price covers 1,000,000 →"), (-1e6, "← The price covers")):
        ax = plots.cost_curve(COSTS, covered)
        assert any(found.startswith(said) for found in words(ax))
        assert not [line for line in ax.lines if line.get_marker() == "D"]
        assert ax.get_xlim()[1] < 1e4


def test_the_band_is_wilsons():
    """With 10 trials half of which lie below, 95 % of it is 24 to 76 of a hundred.

    Newcombe, "Two-sided confidence intervals for the single proportion" (1998), method 3:
    (2np + z² ± z √(z² + 4npq)) / (2 (n + z²)).
    """
    ax = plots.cost_curve(np.arange(10.0), 5, sure=0.95)
    (band,) = [p for p in ax.patches if to_hex(p.get_facecolor()) == looks.PALE_BLUE]
    at = band.get_path().vertices
    z, n, p = 1.959964, 10, 0.5
    ends = [(2 * n * p + z * z + side * z * math.sqrt(z * z + 4 * n * p * (1 - p)))
            / (2 * (n + z * z)) for side in (-1, 1)]
    assert ends == pytest.approx([0.2366, 0.7634], abs=1e-4)
    middle = at[np.isclose(at[:, 0], 4.5)]  # the median of 0 … 9
    assert sorted({round(y, 6) for y in middle[:, 1]}) == pytest.approx(
        [100 * end for end in ends], abs=1e-3)
    assert not any(to_hex(p.get_facecolor()) == looks.PALE_BLUE
                   for p in plots.cost_curve(np.arange(10.0), 5).patches)


def test_the_waterfall_starts_each_bar_where_the_last_one_ended():
    """Steps float from nought up to the price; one that leads back is hatched."""
    ax = plots.waterfall(STEPS, 2000, earned=["Margin"])
    assert [box[:2] for box in bars(ax, plots.BLUE)] == [(0, 1200), (1200, 1500), (1500, 1500)]
    assert [box[:2] for box in bars(ax, plots.VERMILION)] == [(1460, 1500)]
    assert [box[:2] for box in bars(ax, plots.GREEN)] == [(1460, 2000)]
    assert [box[:2] for box in bars(ax, plots.INK)] == [(0, 2000)]
    assert words(ax) == ["1,200", "300", "0", "-40", "540", "2,000",
                         "Labour", "Parts", "Outwork", "Cover", "Margin", "Price"]
    (back,) = [patch for patch in ax.patches if patch.get_hatch()]
    assert to_hex(back.get_facecolor()) == plots.VERMILION.lower()


def test_a_waterfall_adds_up():
    """A chart whose bars do not end at the price would show an untrue sum."""
    with pytest.raises(ValueError, match=r"add up to 2,000\.00, not to 2,001\.00"):
        plots.waterfall(STEPS, 2001)
    assert plots.waterfall([("Labour", 0.1), ("Parts", 0.2)], 0.3)


def test_the_tornado_is_widest_on_top():
    """Widest first, from low through the middle to high, both ends written, one side hatched."""
    ax = plots.tornado(DRIVERS, 1000, most=2)
    assert [box[:2] for box in bars(ax, plots.BLUE)] == [(800, 1000), (950, 1000)]
    assert [box[:2] for box in bars(ax, plots.VERMILION)] == [(1000, 1400), (1000, 1100)]
    assert words(ax) == ["Playfield", "800", "1,400", "Parts", "950", "1,100", "Cost 1,000",
                         "← goes well", "goes badly →"]
    assert [bool(patch.get_hatch()) for patch in ax.patches] == [False, True]
    assert ax.yaxis_inverted()


def test_a_tornado_of_a_profit_is_good_on_the_right():
    """What lowers a profit is hatched, what raises it is not, and the words change sides."""
    ax = plots.tornado(DRIVERS, 1000, most=2, more_is_good=True, of="Profit")
    assert [box[:2] for box in bars(ax, plots.VERMILION)] == [(800, 1000), (950, 1000)]
    assert [box[:2] for box in bars(ax, plots.BLUE)] == [(1000, 1400), (1000, 1100)]
    assert words(ax)[-3:] == ["Profit 1,000", "← goes badly", "goes well →"]
    assert all(bool(patch.get_hatch()) == (to_hex(patch.get_facecolor()) == "#d55e00")
               for patch in ax.patches)


def marks(ax, marker):
    """Where marks of a kind stand."""
    return [tuple(map(float, point)) for line in ax.lines if line.get_marker() == marker
            for point in line.get_xydata()]


def test_profit_ranges_set_losses_apart():
    """Each row: its three figures, a line in two colours parted at nought, a mark in the middle."""
    ax = plots.profit_ranges(CHOICES)
    assert words(ax)[:8] == ["Clean and sell (advised)", "200", "700", "1,200", "Restore", "-800",
                             "-100", "900"]
    assert words(ax)[-2:] == ["← loss", "profit →"]
    assert [x for x, _ in marks(ax, "D")] == [700]
    assert [x for x, _ in marks(ax, "o")] == [-100, -500]
    spans = {to_hex(line.get_color()): [] for line in ax.lines}
    for line in ax.lines:
        if line.get_linewidth() == 3.2:
            spans[to_hex(line.get_color())].append(tuple(line.get_xdata()))
    assert spans[plots.VERMILION.lower()] == [(-800, 0), (-900, -100)]
    assert spans[plots.BLUE.lower()] == [(200, 1200), (0, 900)]
    (ground,) = ax.patches
    assert ground.get_hatch()
    assert ground.get_path().vertices[:, 0].max() == 0


def test_a_fortune_lost_does_not_press_the_others_together():
    """A row far under nought is written and pointed at; the scale stays with the others."""
    ax = plots.profit_ranges([("Sell", 100, 500, 900), ("Restore", -9e6, -8e6, -7e6)])
    assert ax.get_xlim()[0] > -5000
    assert "further left: -9,000,000 to -7,000,000, half over -8,000,000" in words(ax)
    assert len(marks(ax, "<")) == 1


def test_loss_chances_are_bars_of_their_size():
    """A bar for each chance over nought, hatched, with the chance in words."""
    ax = plots.loss_chances([("Sell", 0.0), ("Clean", 0.25), ("Restore", 1.0)])
    assert [box[:2] for box in bars(ax, plots.VERMILION)] == [(0, 0.25), (0, 1)]
    assert words(ax) == ["Sell", "none", "Clean", "25 in 100", "Restore", "100 in 100"]
    with pytest.raises(ValueError, match="from 0 to 1"):
        plots.loss_chances([("Sell", 1.1)])


def test_cash_flow_stays_where_the_last_payment_left_it():
    """A choice that is over runs on level; each line has a dash and a mark of its own."""
    ax = plots.cash_flow([("Sell", [-500, 300]), ("Restore", [-500, -900, -700, 800])])
    drawn = {line.get_marker(): line for line in ax.lines if line.get_marker() in ("o", "s")}
    assert list(drawn["o"].get_xdata()) == [0, 1, 3]
    assert list(drawn["o"].get_ydata()) == [-500, 300, 300]
    assert list(drawn["s"].get_ydata()) == [-500, -900, -700, 800]
    assert drawn["o"].get_linestyle() != drawn["s"].get_linestyle()
    assert {"Sell 300", "Restore 800", "Months from now"} < {*words(ax)}
    with pytest.raises(ValueError, match="cannot be told apart"):
        plots.cash_flow([("Sell", [0.0])] * 6)


def test_effort_draws_choices_sets_and_other_work():
    """Choices are dots, sets a line of squares, other work a broken line of its own slope."""
    ax = ORDINARY["effort"]()
    assert (0.5, 0) in marks(ax, "o")
    assert (20, 300) in marks(ax, "o")
    assert marks(ax, "s")[:2] == [(15, 200), (19, 320)]
    (other,) = [line for line in ax.lines if line.get_linestyle() == "--"
                and line.get_transform() == ax.transData]
    (x0, y0), (x1, y1) = other.get_xydata()
    assert (y1 - y0) / (x1 - x0) == pytest.approx(12)
    assert "Do a shop job 300" in words(ax)
    assert plots.near([300, -400, -15_000]) == [True, True, False]


def test_the_stop_rule_marks_its_limit():
    """Lines cross at the limit; beyond it the ground is hatched and said to be for stopping."""
    ax = ORDINARY["stop"]()
    drawn = [line.get_xydata() for line in ax.lines if line.get_linewidth() in (1.8, 2.6)
             and line.get_transform() == ax.transData][:2]
    heights = [np.interp(600, line[:, 0], line[:, 1]) for line in drawn]
    assert heights == pytest.approx([300, 300])
    (ground,) = ax.patches
    assert ground.get_hatch()
    assert ground.get_path().vertices[:, 0].min() == 600
    assert "stop over 600" in words(ax)
    assert "stop over" not in " ".join(words(plots.stop_rule(WAYS[:1], None, (1, 2, 3))))


def test_the_tornado_takes_ends_either_way_round():
    """A driver that cuts the cost as it rises spans the same; one beside the middle stays there."""
    ax = plots.tornado([("Rate", 1100, 950), ("Parts", 1200, 1300)], 1000)
    assert [box[:2] for box in bars(ax, plots.BLUE)] == [(950, 1000), (1200, 1200)]
    assert [box[:2] for box in bars(ax, plots.VERMILION)] == [(1000, 1100), (1200, 1300)]


def test_variance_shares_show_both_orders():
    """The bar is the share of first order, the mark the total; noise under nought is nought."""
    ax = plots.variance_shares([("Coils", -0.01, 0.004), ("Parts", 0.05, 0.1),
                                ("Playfield", 0.6, 0.7)])
    assert [box[:2] for box in bars(ax, plots.BLUE)] == [(0, 60), (0, 5), (0, 0)]
    marks = next(line for line in ax.lines if line.get_linewidth() > 2)
    assert np.unique(marks.get_xdata()) == pytest.approx([0.4, 10, 70])
    assert words(ax)[:6] == ["Playfield", "60 to 70 %", "Parts", "5 to 10 %", "Coils", "0 %"]
    assert {"by itself", "together with others"} < {*words(ax)}


def test_what_to_inspect_next_stands_on_top():
    """The line that is worth most to see comes first, and only so many are shown."""
    ax = plots.inspect_next([("Cabinet", 12), ("Playfield", 85), ("Legs", 1)], most=2,
                            money="${:.0f}".format)
    assert [box[:2] for box in bars(ax, plots.BLUE)] == [(0, 85), (0, 12)]
    assert words(ax) == ["Playfield", "$85", "Cabinet", "$12"]


def test_winning_shows_the_curve_its_band_and_every_quote():
    """Won quotes stand over the top, lost ones under the foot, at their price over cost."""
    ax = plots.winning(CURVE, history=HISTORY, best=1.25)
    assert {"Won: 3", "Lost: 2", "Earns most at 1.25 × cost"} < {*words(ax)}
    strewn = {line.get_marker(): line.get_xydata() for line in ax.lines
              if line.get_marker() in ("o", "x") and len(line.get_xdata()) > 1}
    assert strewn["o"][:, 0].tolist() == [1.1, 1.3, 1.3]
    assert strewn["x"][:, 0].tolist() == [1.7, 1.9]
    assert strewn["o"][:, 1].min() > 100
    assert strewn["x"][:, 1].max() < 0
    assert len({tuple(at) for at in strewn["o"]}) == 3  # equal quotes do not hide each other
    (best,) = [line for line in ax.lines if line.get_marker() == "D"]
    assert np.allclose(best.get_xydata(), [[1.25, 70]])  # half way from 90 to 50
    (band,) = [p for p in ax.patches if to_hex(p.get_facecolor()) == looks.PALE_BLUE]
    assert {(1.5, 30.0), (1.5, 70.0)} < {(x, round(y, 6)) for x, y in band.get_path().vertices}


def test_many_quotes_are_counted_and_the_latest_drawn():
    """A long history stays quick to draw; its count is that of all."""
    ax = plots.winning(CURVE, history=[(1.5, number % 2 == 0) for number in range(900)], latest=100)
    assert {"Won: 450", "Lost: 450"} < {*words(ax)}
    assert max(len(line.get_xdata()) for line in ax.lines) == 50


@pytest.mark.parametrize("name", ORDINARY)
def test_axes_of_ones_own_are_drawn_on(name):
    """A chart goes where it is told, so that a document can lay several out."""
    ax = Figure().add_subplot()
    assert ORDINARY[name](ax) is ax
    assert ax.texts


def test_axes_that_are_low_take_fewer_rows():
    """Rows do not run into each other where there is no room for all."""
    rows = [(f"Driver {number}", 900 - number, 1100 + number) for number in range(30)]
    ax = Figure(figsize=(4, 2)).add_axes((0, 0.2, 1, 0.6))
    assert [said for said in words(plots.tornado(rows, 1000, ax)) if "Driver" in said] == [
        "Driver 29", "Driver 28", "Driver 27"]


def test_a_chart_leaves_the_one_before_as_it_is():
    """Charts share nothing that a later one changes."""
    first = plots.hours_curve([10, 20])
    said = plots.svg(first, "first")
    assert plots.hours_curve([1, 2, 3]).figure is not first.figure
    assert plots.svg(first, "first") == said


NOTHING = {
    "margin": lambda: plots.margin([]), "hours": lambda: plots.hours_curve([]),
    "cost": lambda: plots.cost_curve([], 1), "breakdown": lambda: plots.cost_breakdown({}),
    "waterfall": lambda: plots.waterfall([], 0), "tornado": lambda: plots.tornado([], 1),
    "variance": lambda: plots.variance_shares([]), "inspect": lambda: plots.inspect_next([]),
    "winning": lambda: plots.winning([]), "against": lambda: plots.hours_against([]),
    "hours by": lambda: plots.hours_by([]), "margins": lambda: plots.margins([]),
    "control": lambda: plots.control([], 1, (1, 1)), "calibration": lambda: plots.calibration({}),
    "earned": lambda: plots.earned_value([], [], [], [], budget=1),
    "evidence": lambda: plots.evidence([], 1),
}


@pytest.mark.parametrize("name", NOTHING)
def test_nothing_to_show_is_said(name):
    """An empty chart would look like an answer."""
    with pytest.raises(ValueError, match="there are no"):
        NOTHING[name]()


NAN = math.nan
NO_NUMBERS = {
    "margin": lambda: plots.margin([0.1, NAN]), "hours": lambda: plots.hours_curve([1, math.inf]),
    "cost": lambda: plots.cost_curve([1, NAN], 1), "price": lambda: plots.cost_curve([1], NAN),
    "breakdown": lambda: plots.cost_breakdown({"Labour": NAN}),
    "waterfall": lambda: plots.waterfall([("Labour", NAN)], 1),
    "tornado": lambda: plots.tornado([("Parts", 1, NAN)], 1),
    "variance": lambda: plots.variance_shares([("Parts", NAN, 1)]),
    "inspect": lambda: plots.inspect_next([("Parts", NAN)]),
    "winning": lambda: plots.winning([(1, NAN, 0, 1)]),
    "quotes": lambda: plots.winning(CURVE, history=[(NAN, True)]),
    "bridge": lambda: plots.bridge(1, [("Labour", NAN)], 1),
    "against": lambda: plots.hours_against([("Test", 1, NAN)]),
    "hours by": lambda: plots.hours_by([("Ordering", NAN)]),
    "margins": lambda: plots.margins([("Clean", NAN, 1)]),
    "control": lambda: plots.control([1, NAN], 1, (1, 1)),
    "limits": lambda: plots.control([1, 1], 1, (1, NAN)),
    "calibration": lambda: plots.calibration({"hours": [(0.8, 1, 2, NAN, 1)]}),
    "earned": lambda: plots.earned_value(DAYS[:1], [NAN], [0], [0], budget=1),
    "evidence": lambda: plots.evidence([NAN], 1),
}


@pytest.mark.parametrize("name", NO_NUMBERS)
def test_what_is_no_number_is_not_drawn(name):
    """A gap in the data is said, not left out of the picture."""
    with pytest.raises(ValueError, match="no numbers"):
        NO_NUMBERS[name]()


def test_shares_out_of_range_are_refused():
    """Chances and how sure a band is lie between nought and one."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        plots.winning([(1, 1.2, 0, 1)])
    for sure in (0, 1, 95):
        with pytest.raises(ValueError, match="between 0 and 1"):
            plots.cost_curve([1, 2], 1, sure=sure)


def extents(ax):
    """Where the words of a chart stand in its picture. [px]"""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    renderer = FigureCanvasAgg(ax.figure).get_renderer()
    return {text: text.get_window_extent(renderer) for text in ax.texts}


@pytest.mark.parametrize("draw", [*ORDINARY.values(), *HARD.values()], ids=[*ORDINARY, *HARD])
def test_words_are_neither_clipped_nor_on_each_other(draw):
    """At the size of a page's panel all words are in the picture, with long names and sums too."""
    ax = draw()
    found = extents(ax)
    whole = ax.figure.bbox
    for text, box in found.items():
        spare = [box.x0 - whole.x0, whole.x1 - box.x1, box.y0 - whole.y0, whole.y1 - box.y1]
        assert min(spare) > -1, text.get_text()
    for (one, a), (other, b) in itertools.combinations(found.items(), 2):
        # Boxes hold room for accents and tails, that lines may share.
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        along = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across < 1 or along < 0.35 * min(a.height, b.height), (
            f"{one.get_text()!r} on {other.get_text()!r}")


def test_long_names_are_cut_between_words():
    """A name is cut to the room it has, between words where that keeps most of it."""
    room = looks.width("Mechanisms of the pla…")
    assert looks.fit("Mechanisms  of the playfield", room) == "Mechanisms of the…"
    assert looks.fit("Short", room) == "Short"
    for name in ("x" * 200, "Bits " + "x" * 200):
        cut = looks.fit(name, room)
        assert cut.endswith("x…")
        assert looks.width(cut) <= room


def test_scales_have_round_values_with_room_between():
    """Values under a chart are round multiples of one step, and their words stand apart."""
    for cost in (COSTS, 1e-3 * COSTS, 1e4 * COSTS):
        ax = plots.cost_curve(cost, float(np.median(cost)))
        (marked,) = [line for line in ax.lines if line.get_marker() == 3]
        places = marked.get_xdata()[1:-1]
        assert len(places) >= 1
        steps = np.diff(places)
        assert np.allclose(steps, steps[:1])
        if len(steps):
            lead = f"{steps[0]:e}"
            assert lead[0] in "125"


def test_values_of_a_scale_are_written_in_full():
    """Hours stand in whole numbers, whatever the range: never 2 for 2.5."""
    for most in range(1, 30):
        ax = plots.hours_curve(np.linspace(0, most, 50))
        (marked,) = [line for line in ax.lines if line.get_marker() == 3]
        assert not np.any(np.array(marked.get_xdata()[1:-1]) % 1)


def test_a_dollar_sign_starts_no_formula():
    """Two amounts in dollars on one line stay as they are."""
    ax = plots.waterfall([("$5 a piece or $9", 5)], 5, money="${:.0f} or $9".format)
    assert not any(text.get_parse_math() for text in ax.texts)
    assert "$5 or $9" in plots.svg(ax, "x")


@pytest.mark.parametrize("name", ORDINARY)
def test_the_svg_carries_its_words_and_repeats(name):
    """The SVG is well formed, says what it shows, keeps text as text, and is the same each time."""
    ax = ORDINARY[name]()
    said = [plots.svg(drawn, 'loses "7" <in> 100 & more') for drawn in (ax, ORDINARY[name](), ax)]
    assert said[0] == said[1] == said[2]
    root = ElementTree.fromstring(said[0])
    assert root.get("aria-label") == 'loses "7" <in> 100 & more'
    assert root.get("role") == "img"
    held = {text.text for text in root.iter("{http://www.w3.org/2000/svg}text")}
    assert held == {*words(ax)}
    assert root.get("viewBox")
    assert root.get("width") is None


def test_the_svg_is_the_same_in_another_process():
    """What is remembered of words measured before changes no byte."""
    code = ("from estimator import plots; "
            "print(plots.svg(plots.tornado([('Parts', 1, 3), ('Coils', 1, 2)], 2), 'x'))")
    there = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True,
                           env=os.environ | {"PYTHONIOENCODING": "utf-8"}).stdout
    here = plots.svg(plots.tornado([("Parts", 1, 3), ("Coils", 1, 2)], 2), "x")
    assert there.decode().rstrip() == here


def test_the_figure_keeps_its_resolution():
    """Writing SVG leaves the figure as it was, also where drawing fails."""
    ax = Figure(dpi=150).add_subplot()
    plots.svg(ax, "x")
    assert ax.figure.dpi == 150

    class Broken(Line2D):
        def draw(self, renderer):
            raise RuntimeError("broken")

    ax.add_artist(Broken([0], [0]))
    with pytest.raises(RuntimeError, match="broken"):
        plots.svg(ax, "x")
    assert ax.figure.dpi == 150


def test_charts_on_one_page_share_no_names_but_those_of_alike_things():
    """Where two charts use the same name, it stands for the same shape."""
    charts = [plots.svg(draw(), "a") for draw in ORDINARY.values()]
    known = {}
    for chart in charts:
        for name, rest in re.findall(r'<(?:clipPath|path|pattern|style)[^>]*? id="([^"]+)"([^>]*)',
                                     chart):
            assert known.setdefault(name, rest) == rest
    assert not re.search(r' id="[a-z]+_\d+"', "".join(charts), re.IGNORECASE)


@pytest.mark.parametrize("name", ORDINARY)
def test_charts_print(name, tmp_path):
    """Every chart becomes a PDF, in which words are text."""
    ORDINARY[name]().figure.savefig(tmp_path / "chart.pdf")
    held = (tmp_path / "chart.pdf").read_bytes()
    assert held.startswith(b"%PDF")
    assert b"/Font" in held
