"""The charts show the data they are given, in words and marks, and never by colour alone."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from estimator import plots

SHARES = np.concatenate([np.full(70, -0.05), np.full(930, 0.25)])


def luminance(colour):
    """Relative luminance after WCAG 2.2, "relative luminance"."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


@pytest.mark.parametrize("colour", [plots.BLUE, plots.VERMILION, plots.GREEN, plots.PURPLE])
def test_marks_keep_three_to_one_against_white(colour):
    """Marks that carry meaning contrast 3:1 or more, WCAG 2.2 success criterion 1.4.11."""
    assert 1.05 / (luminance(colour) + 0.05) >= 3.0


def test_the_margin_chart_counts_the_jobs_that_lose():
    """Seven of a hundred lose: said in words, drawn left of nought, hatched, the rest right."""
    ax = plots.margin(SHARES)
    words = [text.get_text() for text in ax.get_legend().get_texts()]
    assert words == ["Loses money: 7 in 100", "Earns: 93 in 100"]
    lost = [bar for bar in ax.patches if bar.get_hatch()]
    earned = [bar for bar in ax.patches if not bar.get_hatch()]
    assert sum(bar.get_height() for bar in lost) == pytest.approx(0.07)
    assert sum(bar.get_height() for bar in earned) == pytest.approx(0.93)
    assert max(bar.get_x() + bar.get_width() for bar in lost) <= 1e-9
    assert min(bar.get_x() for bar in earned) >= -1e-9
    assert "on average 23 %" in [text.get_text() for text in ax.texts]  # .07 × -5 + .93 × 25


def test_a_margin_of_exactly_nought_loses_nothing():
    """A job that comes out even is not a loss."""
    ax = plots.margin([0.0, 0.0, 0.0, 0.0])
    assert ax.get_legend().get_texts()[0].get_text() == "Loses money: none"


def test_the_breakdown_keeps_order_and_writes_each_amount():
    """Bars stand in the order given, each with its amount and its share of the whole."""
    ax = plots.cost_breakdown({"Labour": 60.0, "Parts": 30.0, "Cover": -10.0, "Margin": 20.0},
                              money="${:.0f}".format, earned=["Margin"])
    assert [bar.get_width() for bar in ax.patches] == [60, 30, -10, 20]
    assert [t.get_text() for t in ax.get_yticklabels()] == ["Labour", "Parts", "Cover", "Margin"]
    assert [t.get_text() for t in ax.texts] == ["$60 · 60 %", "$30 · 30 %", "$-10 · -10 %",
                                               "$20 · 20 %"]
    assert ax.get_xlim()[0] <= -10


def test_the_hours_curve_marks_the_shares_that_people_quote():
    """P50, P80 and P90 of 0 to 100 hours stand at 50, 80 and 90, named in words."""
    ax = plots.hours_curve(np.arange(101.0))
    assert [t.get_text() for t in ax.texts] == [
        "as often as not: 50 h", "4 jobs in 5: 80 h", "9 jobs in 10: 90 h"]
    dots = [line.get_xydata()[0] for line in ax.lines if line.get_marker() == "o"]
    assert np.allclose(dots, [[50, 50], [80, 80], [90, 90]])
    along, share = ax.lines[0].get_data()
    assert np.allclose(along, share)


def test_axes_of_ones_own_are_drawn_on():
    """A chart goes where it is told, so that a document can lay several out."""
    for draw in (lambda ax: plots.margin(SHARES, ax),
                 lambda ax: plots.hours_curve([1.0, 2.0], ax),
                 lambda ax: plots.cost_breakdown({"Labour": 1.0}, ax)):
        ax = Figure().add_subplot()
        assert draw(ax) is ax
        assert ax.get_children()


@pytest.mark.parametrize("draw", [lambda: plots.margin([]), lambda: plots.hours_curve([]),
                                  lambda: plots.cost_breakdown({})])
def test_nothing_to_show_is_said(draw):
    """An empty chart would look like an answer."""
    with pytest.raises(ValueError, match="there are no"):
        draw()


def test_the_svg_carries_its_words_and_repeats():
    """The SVG is well formed, says what it shows, keeps text as text, and is the same each time."""
    said = [plots.svg(plots.margin(SHARES), 'loses "7" <in> 100 & more') for _ in range(2)]
    assert said[0] == said[1]
    root = ElementTree.fromstring(said[0])
    assert root.get("aria-label") == 'loses "7" <in> 100 & more'
    assert root.get("role") == "img"
    assert "Loses money: 7 in 100" in "".join(root.itertext())
    assert root.get("viewBox")
    assert root.get("width") is None


def test_charts_on_one_page_share_no_names_but_those_of_alike_things():
    """Where two charts use the same name, it stands for the same shape."""
    charts = [plots.svg(plots.margin(SHARES), "a"), plots.svg(plots.hours_curve([1, 2, 3]), "b")]
    named = [dict(re.findall(r'<(?:clipPath|path|pattern|style)[^>]*? id="([^"]+)"([^>]*)', chart))
             for chart in charts]
    for name in named[0].keys() & named[1].keys():
        assert named[0][name] == named[1][name]
    assert not re.search(r' id="[a-z]+_\d+"', "".join(charts), re.IGNORECASE)


def test_all_trials_alike_is_no_fault():
    """A job without any spread is drawn too."""
    assert plots.margin([0.2] * 100).patches
    assert plots.hours_curve([10.0] * 100).lines
    assert plots.cost_breakdown({"Labour": 0.0}).patches
