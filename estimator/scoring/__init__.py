"""How good forecasts were: proper scores, and how often what was promised held.

A score is proper where no forecast scores better on average than what one truly expects (T.
Gneiting & A. Raftery, J. American Statistical Association 102, 2007). Scores here are penalties:
0 is best, and less is better. Figures may be arrays that fit one another, and so are the scores.
"""

from estimator.scoring.forecasts import (
    crps_ensemble,
    crps_exponential,
    crps_gamma,
    crps_lognormal,
    crps_normal,
    crps_t,
    crps_uniform,
    mean_relative_error,
    pinball,
    pit_ensemble,
    pit_normal,
    relative_error,
    share_near,
)
from estimator.scoring.holding import Audit, Held, audit, cases_for, exact_range, held, wilson_range

__all__ = ["Audit", "Held", "audit", "cases_for", "crps_ensemble", "crps_exponential",
           "crps_gamma", "crps_lognormal", "crps_normal", "crps_t", "crps_uniform", "exact_range",
           "held", "mean_relative_error", "pinball", "pit_ensemble", "pit_normal",
           "relative_error", "share_near", "wilson_range"]
