"""Hours: three-point ranges, what they add up to, learning over repeats, allowances.

Closed forms only; drawing from the ranges is for `estimator.simulate`. A range serves hours, days
and money alike.
"""

from estimator.durations.allowances import learner, standard_time
from estimator.durations.ranges import (
    SHAPES,
    Lognormal,
    Pert,
    Range,
    Triangular,
    classic_sd,
    lognormal_from,
    lognormal_like,
    mean_of,
    normal_quantile,
    pert,
    pert_mean,
    pert_sd,
    triangular,
)
from estimator.durations.repeats import (
    average_total,
    repeated,
    unit_time,
    unit_total,
    units_to_reach,
)
from estimator.durations.sums import chance_by, date_by, spread_of_sum

__all__ = [
    "SHAPES", "Lognormal", "Pert", "Range", "Triangular", "average_total", "chance_by",
    "classic_sd", "date_by", "learner", "lognormal_from", "lognormal_like", "mean_of",
    "normal_quantile", "pert", "pert_mean", "pert_sd", "repeated", "spread_of_sum",
    "standard_time", "triangular", "unit_time", "unit_total", "units_to_reach",
]
