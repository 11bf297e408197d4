"""Where to buy the parts of a job, with price breaks, packs, freight and minimum orders."""

from estimator.buying.budget import Budget, Order, Purchase, cheapest, choose, unit_price

__all__ = ["Budget", "Order", "Purchase", "cheapest", "choose", "unit_price"]
