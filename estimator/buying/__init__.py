"""Where to buy the parts of a job, with price breaks, packs, freight and minimum orders.

`choose` is the quick search that a quote's parts budget is made by; `buy` proves its answer, knows
kits, substitutes, the shelf and days, and answers other wishes than the least money. `order_dates`
says when to order, `second_round` what to buy ahead.
"""

from estimator.buying.budget import Budget, Order, Purchase, cheapest, choose, unit_price
from estimator.buying.dates import (
    DatedOrder,
    Ordering,
    Waiting,
    chance_within,
    lead_days,
    order_dates,
)
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
from estimator.buying.spares import (
    Doubt,
    SecondRound,
    breakage,
    newsvendor,
    newsvendor_cost,
    second_round,
    second_rounds,
    slowest,
)
from estimator.buying.tables import EXTRA, Content, Market, Stock, Substitute, market

__all__ = [
    "CHEAPEST",
    "EXTRA",
    "FASTEST",
    "FEWEST",
    "Basket",
    "Budget",
    "Content",
    "DatedOrder",
    "Doubt",
    "Line",
    "Market",
    "Order",
    "Ordering",
    "PartsOrder",
    "Purchase",
    "SecondRound",
    "Stock",
    "Substitute",
    "Unmet",
    "Waiting",
    "Wish",
    "breakage",
    "buy",
    "chance_within",
    "cheapest",
    "choose",
    "compare",
    "lead_days",
    "market",
    "newsvendor",
    "newsvendor_cost",
    "order_dates",
    "price_spread",
    "second_round",
    "second_rounds",
    "slowest",
    "trade_off",
    "unit_price",
]
