"""The sheets under the lines: work, parts and materials, outwork, finds, buying."""

from __future__ import annotations

import math

from estimator.documents.budget import part_names
from estimator.documents.sheets import Book, Formula
from estimator.documents.tables import Column, Table
from estimator.durations import Range, mean_of
from estimator.money import minor_digits
from estimator.quote import Quote

_MEAN = "({low}+4*{typical}+{high})/6"
_MEANS = {"pert": _MEAN, "lognormal": _MEAN, "triangular": "({low}+{typical}+{high})/3"}
_NO_OFFER = "no offer"  # the blank keeps it apart from every supplier's name


def _range(found, shape: str = "pert") -> dict:
    return {
        "low": found.low,
        "typical": found.typical,
        "high": found.high,
        "mean": Formula(_MEANS[shape], mean_of(found, shape)),
    }


def _range_columns(style: str, width: float) -> list[Column]:
    return [
        Column("low", "Low", style, width),
        Column("typical", "Typical", style, width),
        Column("high", "High", style, width),
    ]


def work(book: Book, sheet, offer: Quote) -> Table:
    """Work items with their ranges, allowances and labour cost."""
    job, names = offer.job, offer.titles
    columns = [
        Column("line", "Line", "count", 6),
        Column("title", "Assembly", width=24),
        Column("operation", "Operation", width=32),
        Column("units", "Units", "quantity", 8),
        Column("unit", "Unit", width=15),
        *_range_columns("hours", 8),
        Column("mean", "Mean", "hours", 9, total=True),
        Column("setup", "Set-up", "hours", 9, total=True),
        Column("hours", "Hours with allowances", "hours", 12, total=True),
        Column("cost", "Labour cost", "money", 13, total=True),
        Column("row", "Row of operations.csv", "remark", 28),
        Column("basis", "Basis", "remark", 24),
        Column("source", "Source", "remark", 60),
    ]
    rows = (
        {
            "line": item.line + 1,
            "title": names[item.line],
            "operation": item.work.operation.name,
            "units": item.work.units,
            "unit": item.work.operation.unit,
            **_range(item.hours, item.shape),
            "setup": item.setup,
            "hours": Formula("({mean}+{setup})*hours_factor", item.mean_hours * job.hours_factor),
            "cost": Formula(
                "{hours}*hour_cost", item.mean_hours * job.hours_factor * job.hour_cost
            ),
            "row": item.work.operation.operation
            + (f", {item.work.operation.era}" if item.work.operation.era else ""),
            "basis": str(item.work.operation.basis),
            "source": item.work.operation.source,
        }
        for item in job.items
    )
    return Table(book, sheet, columns, rows)


def supplies(book: Book, sheet, offer: Quote) -> Table:
    """Parts and materials of each line."""
    names = offer.titles
    columns = [
        Column("line", "Line", "count", 6),
        Column("title", "Assembly", width=28),
        Column("does", "Kind", width=10),
        Column("item", "Row", width=26),
        Column("name", "Name", width=34),
        Column("quantity", "Quantity", "quantity", 10),
        Column("unit", "Unit", width=9),
        *_range_columns("money", 10),
        Column("mean", "Expected cost", "money", 13, total=True),
    ]
    rows = (
        {
            "line": supply.line + 1,
            "title": names[supply.line],
            "does": supply.does,
            "item": supply.item,
            "name": supply.name,
            "quantity": supply.quantity,
            "unit": supply.unit,
            **_range(supply.cost),
        }
        for supply in offer.job.supplies
    )
    return Table(book, sheet, columns, rows)


def outwork(book: Book, sheet, offer: Quote) -> Table:
    """Lots sent out; returns the table of how their charges fall on the lines."""
    names = offer.titles
    lots = Table(
        book,
        sheet,
        [
            Column("service", "Row of services.csv", width=26),
            Column("name", "Lot", width=38),
            Column("quantity", "Quantity", "quantity", 10),
            Column("unit", "Unit", width=10),
            *_range_columns("money", 10),
            Column("mean", "Expected charge", "money", 13, total=True),
            Column("days_low", "Days away, low", "days", 9),
            Column("days", "Typical", "days", 9),
            Column("days_high", "High", "days", 9),
        ],
        (
            {
                "service": lot.service,
                "name": lot.name,
                "quantity": lot.quantity,
                "unit": lot.unit,
                **_range(lot.charge),
                "days_low": lot.days.low,
                "days": lot.days.typical,
                "days_high": lot.days.high,
            }
            for lot in offer.job.lots
        ),
    )
    top = lots.end + 2
    book.put(sheet, top - 1, 0, "How the charges fall on the lines", "section")
    return Table(
        book,
        sheet,
        [
            Column("service", "Row of services.csv"),
            Column("title", "Assembly"),
            Column("line", "Line", "count"),
            Column("share", "Share of the lot", "share"),
            Column("cost", "Expected cost", "money", total=True),
        ],
        (
            {
                "service": lot.service,
                "title": names[line],
                "line": line + 1,
                "share": share,
                "cost": Formula(f"{{share}}*{lots.cell('mean', place)}",
                                share * mean_of(lot.charge)),
            }
            for place, lot in enumerate(offer.job.lots)
            for line, share in lot.shares.items()
        ),
        top=top,
        main=False,
    )


def finds(book: Book, sheet, offer: Quote) -> Table:
    """Finds, and lines that may turn out worse, at their chance."""
    job, names = offer.job, offer.titles
    columns = [
        Column("line", "Line", "count", 6),
        Column("title", "Assembly", width=24),
        Column("find", "What may be found", width=36),
        Column("chance", "Chance", "share", 9),
        Column("low", "Hours, low", "hours", 9),
        Column("typical", "Typical", "hours", 9),
        Column("high", "High", "hours", 9),
        Column("mean", "Mean", "hours", 9),
        Column("cost_low", "Cost, low", "money", 11),
        Column("cost_typical", "Typical", "money", 11),
        Column("cost_high", "High", "money", 11),
        Column("cost_mean", "Mean", "money", 11),
        Column("days", "Days it holds up", "days", 9),
        Column("hours", "Expected hours with allowances", "hours", 12, total=True),
        Column("labour", "Expected labour", "money", 12, total=True),
        Column("other", "Expected parts, materials, outwork", "money", 14, total=True),
        Column("cost", "Expected cost", "money", 13, total=True),
    ]

    def row(line: int, find: str, chance: float, hours: float, other: float, **cells) -> dict:
        expected = chance * hours * job.hours_factor
        labour = expected * job.hour_cost
        return {
            "line": line + 1,
            "title": names[line],
            "find": find,
            "chance": chance,
            "mean": hours,
            "cost_mean": other,
            **cells,
            "hours": Formula("{chance}*{mean}*hours_factor", expected),
            "labour": Formula("{hours}*hour_cost", labour),
            "other": Formula("{chance}*{cost_mean}", chance * other),
            "cost": Formula("{labour}+{other}", labour + chance * other),
        }

    rows = []
    for risk in job.risks:
        find = risk.find
        hours = mean_of(find)
        other = mean_of(Range.of(find, "cost_"))
        rows.append(
            row(
                risk.line,
                find.name,
                risk.chance,
                hours,
                other,
                low=find.low,
                typical=find.typical,
                high=find.high,
                cost_low=find.cost_low,
                cost_typical=find.cost_typical,
                cost_high=find.cost_high,
                days=find.days,
                mean=Formula(_MEAN, hours),
                cost_mean=Formula("({cost_low}+4*{cost_typical}+{cost_high})/6", other),
            )
        )
    rows += [
        row(
            unseen.line,
            f"Worse than written: {unseen.condition}",
            unseen.chance,
            unseen.hours,
            unseen.cost,
        )
        for unseen in job.unseen
    ]
    return Table(book, sheet, columns, rows)


def buying(book: Book, sheet, offer: Quote) -> Formula:
    """The parts to buy and the orders; returns the total of the budget."""
    budget, digits = offer.budget, minor_digits(offer.settings.currency)
    parts = Table(
        book,
        sheet,
        [
            Column("part", "Row of parts.csv", width=26),
            Column("name", "Name", width=36),
            Column("needed", "Needed", "count", 9),
            Column("bought", "To buy", "count", 9),
            Column("pack", "Pack", "count", 8),
            Column("price", "Unit price", "money", 12),
            Column("supplier", "Supplier", width=22),
            Column("cost", "Cost", "money", 12, total=True),
            Column("days", "Days to the door", "days", 10),
        ],
        (
            {
                "part": row.part,
                "name": name,
                "needed": row.needed,
                "bought": row.bought,
                "pack": row.bought // row.packs,
                "price": row.unit_price,
                "supplier": offer.supplier_names.get(row.supplier, _NO_OFFER),
                "cost": Formula(f"ROUND({{bought}}*{{price}},{digits})", row.cost),
                "days": row.days,
            }
            for name, row in zip(part_names(offer), budget.rows, strict=True)
        ),
    )
    top = parts.end + 2
    book.put(sheet, top - 1, 0, "Orders", "section")
    suppliers, costs = parts.range("supplier"), parts.range("cost")
    unmet = math.fsum(row.cost for row in budget.rows if row.unmet)
    rows = [
        {
            "supplier": offer.supplier_names[order.supplier],
            "goods": Formula(f"SUMIF({suppliers},{{supplier}},{costs})", order.goods),
            "top_up": order.top_up,
            "freight": order.freight,
            "total": Formula("{goods}+{top_up}+{freight}", order.total),
            "days": order.days,
        }
        for order in budget.orders
    ]
    if unmet:
        rows.append(
            {
                "supplier": _NO_OFFER,
                "goods": Formula(f"SUMIF({suppliers},{{supplier}},{costs})", unmet),
                "top_up": 0,
                "freight": 0,
                "total": Formula("{goods}+{top_up}+{freight}", unmet),
            }
        )
    orders = Table(
        book,
        sheet,
        [
            Column("supplier", "Supplier"),
            Column("goods", "Goods", "money", total=True),
            Column("top_up", "To the least order", "money", total=True),
            Column("freight", "Freight", "money", total=True),
            Column("total", "Total", "money", total=True),
            Column("days", "Days", "days"),
        ],
        rows,
        top=top,
        main=False,
    )
    return orders.total("total")
