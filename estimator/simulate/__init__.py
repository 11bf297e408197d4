"""Odds by Monte Carlo: hours, cost and days of a job over many trials.

Random numbers go by name (`streams`), become hours, money and counts by look-up in quantile
tables (`shapes`), as a plan made from the estimate says (`plan`); each survey line is drawn by
itself and kept (`play`, `kept`), so that an edit draws one line anew. The totals are the odds
(`run`, `odds`).
"""

from estimator.simulate.odds import Odds, share_range
from estimator.simulate.play import Stopped
from estimator.simulate.run import simulate
from estimator.simulate.streams import SAMPLERS

__all__ = ["SAMPLERS", "Odds", "Stopped", "share_range", "simulate"]
