"""The estimate: the scope of works timed and priced, each figure with its range.

Costs are what the job costs the shop, before margin and tax. Everything here is expected values
and three-point ranges; how they combine into odds is for `estimator.simulate`.
"""

from estimator.estimate.job import estimate, estimate_class, work_hours
from estimator.estimate.records import KINDS, Estimate, Item, LineCost, Lot, Supply, Unseen
from estimator.estimate.supplies import material_need, unit_cost

__all__ = [
    "KINDS",
    "Estimate",
    "Item",
    "LineCost",
    "Lot",
    "Supply",
    "Unseen",
    "estimate",
    "estimate_class",
    "material_need",
    "unit_cost",
    "work_hours",
]
