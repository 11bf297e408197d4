"""The charts of quotes and reviews: each takes plain data and Axes, and returns the Axes.

========== ==================================================================================
module     charts
========== ==================================================================================
spread     `margin`: how the margin spreads
makeup     `cost_breakdown`, `waterfall`: what a price is made of; `bridge`: why a cost differs
curves     `hours_curve`, `cost_curve`: share of jobs that stay within so much
ranking    `tornado`, `variance_shares`, `inspect_next`: what matters most
chances    `winning`: the chance of winning by price
against    `hours_against`, `hours_by`, `margins`: what was expected and what came
control    `control`, `calibration`: whether estimates hold
course     `earned_value`: a job day by day
planning   `bench_days`, `loads`, `finish_curve`, `holds_up`: a bench plan and its dates
evidence   `evidence`: what single jobs say of the book
deciding   `profit_ranges`, `loss_chances`, `cash_flow`, `effort`, `stop_rule`: ways with a machine
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
    svg,
)
from estimator.plots.against import hours_against, hours_by, margins
from estimator.plots.chances import winning
from estimator.plots.control import calibration, control
from estimator.plots.course import earned_value
from estimator.plots.curves import HOURS_WORDS, cost_curve, hours_curve
from estimator.plots.deciding import (
    cash_flow,
    effort,
    loss_chances,
    near,
    profit_ranges,
    stop_rule,
)
from estimator.plots.evidence import evidence
from estimator.plots.makeup import bridge, cost_breakdown, waterfall
from estimator.plots.planning import bench_days, finish_curve, holds_up, loads
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
    "bench_days",
    "bridge",
    "calibration",
    "cash_flow",
    "control",
    "cost_breakdown",
    "cost_curve",
    "earned_value",
    "effort",
    "evidence",
    "finish_curve",
    "holds_up",
    "hours_against",
    "hours_by",
    "hours_curve",
    "inspect_next",
    "loads",
    "loss_chances",
    "margin",
    "margins",
    "near",
    "profit_ranges",
    "stop_rule",
    "svg",
    "tornado",
    "variance_shares",
    "waterfall",
    "winning",
]
