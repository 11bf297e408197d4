"""Odds by Monte Carlo: hours, cost and days of a job over many trials.

Random numbers go by name (`streams`), become hours, money and counts by look-up in quantile
tables (`shapes`), as a plan made from the estimate says (`plan`); each survey line is drawn by
itself and kept (`play`, `kept`), so that an edit draws one line anew. The totals are the odds
(`run`, `odds`); from what the lines drew follow what drives the cost (`drivers`) and which line to
look at first (`sights`).

Examples
--------
From a machine to its odds, what drives them, and which line to look at first:

>>> from estimator.catalogue import Era, Level
>>> from estimator.estimate import estimate
>>> from estimator.scope import scope
>>> from estimator.shop import open_shop
>>> from estimator.survey import template
>>> shop = open_shop()
>>> works = scope(template(Era.MODERN, shop.catalogue), Level.CLEAN, shop.catalogue)
>>> job = estimate(works, shop)
>>> odds = simulate(job, shop.settings, trials=1000)
>>> half, most = odds.at("hours", 0.5, 0.9)
>>> half < most
True
>>> bars = drivers(job, shop.settings, odds, works.names)
>>> bars[0].high - bars[0].low > bars[1].high - bars[1].low
True
>>> looks = sights(job, odds)
>>> looks[0].value > looks[1].value > 0, looks[0].worse > looks[0].fine
(True, True)
"""

from estimator.simulate.drivers import Driver, drivers
from estimator.simulate.odds import Odds
from estimator.simulate.play import Stopped, processors
from estimator.simulate.run import KEEP_MOST, simulate
from estimator.simulate.sights import Sight, sights
from estimator.simulate.streams import SAMPLERS

__all__ = ["KEEP_MOST", "SAMPLERS", "Driver", "Odds", "Sight", "Stopped", "drivers", "processors",
           "sights", "simulate"]
