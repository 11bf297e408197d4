"""A demo shop: a folder with a ledger of jobs, hours and money, all of it invented from a seed.

For trying the review before a shop has closed jobs of its own. Everything goes through the same
functions that the shop itself uses; figures that make it up stand in `data/demo/`. The examples of
the package are run on a machine of two lines and a shop of four jobs (`small`).
"""

from estimator.demo.making import Made, demo_shop
from estimator.demo.small import small_quote, small_shop, small_survey

__all__ = ["Made", "demo_shop", "small_quote", "small_shop", "small_survey"]
