"""Where to buy the parts of a job, with price breaks, packs, freight and minimum orders.

`choose` is the quick search that a quote's parts budget is made by; `buy` proves its answer, knows
kits, substitutes, the shelf and days, and answers other wishes than the least money.
"""

from estimator.buying.budget import Budget, Order, Purchase, cheapest, choose, unit_price
from estimator.buying.faults import price_spread
from estimator.buying.purchase import buy, compare
from estimator.buying.records import (
    CHEAPEST,
    FASTEST,
    FEWEST,
    Basket,
    Line,
    PartsOrder,
    Unmet,
    Wish,
    trade_off,
)
from estimator.buying.tables import Content, Market, Stock, Substitute, market

__all__ = [
    "CHEAPEST",
    "FASTEST",
    "FEWEST",
    "Basket",
    "Budget",
    "Content",
    "Line",
    "Market",
    "Order",
    "PartsOrder",
    "Purchase",
    "Stock",
    "Substitute",
    "Unmet",
    "Wish",
    "buy",
    "cheapest",
    "choose",
    "compare",
    "market",
    "price_spread",
    "trade_off",
    "unit_price",
]
