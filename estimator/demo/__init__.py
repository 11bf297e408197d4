"""A demo shop: a folder with a ledger of jobs, hours and money, all of it invented from a seed.

For trying the review before a shop has closed jobs of its own. Everything goes through the same
functions that the shop itself uses; figures that make it up stand in `data/demo/`.
"""

from estimator.demo.making import Made, demo_shop

__all__ = ["Made", "demo_shop"]
