"""The parts budget as CSV: what to buy, where, and what each order costs to send."""

from __future__ import annotations

from decimal import Decimal

from estimator.money import to_money
from estimator.outside import csv_file
from estimator.quote import Quote

COLUMNS = (
    "part",
    "name",
    "needed",
    "to_buy",
    "pack",
    "unit_price",
    "supplier",
    "cost",
    "lead_days",
)
"""Headers of `parts-budget.csv`. Prices are in the shop's currency, with a decimal point."""


def render(offer: Quote) -> bytes:
    """`parts-budget.csv`: UTF-8 with its mark, so that spreadsheets take it for what it is.

    One row for each part; then for each supplier the freight and what is missing to the least
    order, where there are any; then the total.
    """
    rows: list[tuple] = []
    total = Decimal(0)

    def row(part: str, name: str, *counts, unit_price="", supplier="", cost=Decimal(0), days=None):
        nonlocal total
        total += cost
        rows.append((part, name, *counts, unit_price, supplier, f"{cost:f}",
                     "" if days is None else f"{days:g}"))

    for name, found in zip(part_names(offer), offer.budget.rows, strict=True):
        row(
            found.part,
            name,
            found.needed,
            found.bought,
            found.bought // found.packs,
            unit_price=_price(found.unit_price, offer),
            supplier=offer.supplier_names.get(found.supplier, ""),
            cost=to_money(found.cost, offer.settings.currency),
            days=found.days,
        )
    for order in offer.budget.orders:
        for name, amount in (("Freight", order.freight), ("To the least order", order.top_up)):
            if amount:
                row(
                    "",
                    name,
                    "",
                    "",
                    "",
                    supplier=offer.supplier_names[order.supplier],
                    cost=to_money(amount, offer.settings.currency),
                    days=order.days,
                )
    rows.append(("", "Total", "", "", "", "", "", f"{total:f}", ""))
    return csv_file(COLUMNS, rows)


def part_names(offer: Quote) -> list[str]:
    """What the parts of the budget are called, in its order."""
    named = {supply.item: supply.name for supply in offer.job.supplies if supply.does == "part"}
    return [named[row.part] for row in offer.budget.rows]


def _price(price: float, offer: Quote) -> str:
    """A unit price, to the fraction of a cent where small things are sold by the hundred."""
    exact = Decimal(repr(price))
    cents = to_money(price, offer.settings.currency)
    return f"{cents if exact == cents else exact.normalize():f}"
