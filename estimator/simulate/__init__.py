"""Odds by Monte Carlo: hours, cost and days of a job over many trials.

Random numbers go by name (`streams`), become hours, money and counts by look-up in quantile
tables (`shapes`), as a plan made from the estimate says (`plan`); each survey line is drawn by
itself and kept (`play`, `kept`), so that an edit draws one line anew. The totals are the odds
(`run`, `odds`); from what the lines drew follow what drives the cost (`drivers`) and which line to
look at first (`sights`).
"""

from estimator.simulate.drivers import Driver, drivers
from estimator.simulate.odds import Odds
from estimator.simulate.play import Stopped
from estimator.simulate.run import KEEP_MOST, simulate
from estimator.simulate.sights import Sight, sights
from estimator.simulate.streams import SAMPLERS

__all__ = ["KEEP_MOST", "SAMPLERS", "Driver", "Odds", "Sight", "Stopped", "drivers",
           "sights", "simulate"]
