"""The charts of a quote: each takes plain data and Axes, and returns the Axes.

========== ==================================================================================
module     charts
========== ==================================================================================
spread     `margin`: how the margin spreads
makeup     `cost_breakdown`, `waterfall`: what a price is made of
curves     `hours_curve`, `cost_curve`: share of jobs that stay within so much
ranking    `tornado`, `variance_shares`, `inspect_next`: what matters most
chances    `winning`: the chance of winning by price
========== ==================================================================================

`svg` makes a page's element of the figure that the Axes stand in.
"""

from estimator.plots._looks import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    PURPLE,
    SIZE,
    VERMILION,
    in_a_hundred,
    svg,
)
from estimator.plots.chances import winning
from estimator.plots.curves import HOURS_WORDS, cost_curve, hours_curve
from estimator.plots.makeup import cost_breakdown, waterfall
from estimator.plots.ranking import inspect_next, tornado, variance_shares
from estimator.plots.spread import margin

__all__ = [
    "BLUE",
    "FAINT",
    "GREEN",
    "HOURS_WORDS",
    "INK",
    "PURPLE",
    "SIZE",
    "VERMILION",
    "cost_breakdown",
    "cost_curve",
    "hours_curve",
    "in_a_hundred",
    "inspect_next",
    "margin",
    "svg",
    "tornado",
    "variance_shares",
    "waterfall",
    "winning",
]
