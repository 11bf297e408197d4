"""The documents of a quote: what the customer signs, and what the shop works from.

============== =============================================================================
file           what it is
============== =============================================================================
quote.pdf      for the customer: what is done, what it costs, on what terms, where to sign
estimate.xlsx  for the shop: every hour and cost under the price, totals as live formulas
parts-budget.csv  for the shop: what to buy, where, with freight
quote.json     for programs: `estimator.quote.as_dict`
============== =============================================================================

Only the PDF is meant to leave the shop; it names no hours, costs or margin of the shop's. The same
quote gives the same bytes. A revision of a job has papers of its own: `addendum.pdf`, which the
customer signs, and `change.json`.
"""

from estimator.documents.addendum import addendum
from estimator.documents.files import MEDIA, NAMES, put, render, write

__all__ = ["MEDIA", "NAMES", "addendum", "put", "render", "write"]
