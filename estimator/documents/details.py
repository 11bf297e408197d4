"""The sheets under the lines: work, parts and materials, outwork, finds, buying."""

from __future__ import annotations

import math

from estimator.catalogue import Find
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
            "unit": "m²" if item.work.operation.method == "ladder" else item.work.operation.unit,
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
    lots = _lots(book, sheet, offer)
    top = lots.end + 2
    book.put(sheet, top - 1, 0, "How the charges fall on the lines", "section")
    columns = [
        Column("service", "Row of services.csv"),
        Column("title", "Assembly"),
        Column("line", "Line", "count"),
        Column("share", "Share of the lot", "share"),
        Column("cost", "Expected cost", "money", total=True),
    ]
    rows = (
        {
            "service": lot.service,
            "title": offer.titles[line],
            "line": line + 1,
            "share": share,
            "cost": Formula(f"{{share}}*{lots.cell('mean', place)}", share * mean_of(lot.charge)),
        }
        for place, lot in enumerate(offer.job.lots)
        for line, share in lot.shares.items()
    )
    return Table(book, sheet, columns, rows, top=top, above=lots)


def _lots(book: Book, sheet, offer: Quote) -> Table:
    columns = [
        Column("service", "Row of services.csv", width=26),
        Column("name", "Lot", width=38),
        Column("quantity", "Quantity", "quantity", 10),
        Column("unit", "Unit", width=10),
        *_range_columns("money", 10),
        Column("mean", "Expected charge", "money", 13, total=True),
        Column("days_low", "Days away, low", "days", 9),
        Column("days", "Typical", "days", 9),
        Column("days_high", "High", "days", 9),
    ]
    rows = (
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
    )
    return Table(book, sheet, columns, rows)


def finds(book: Book, sheet, offer: Quote) -> Table:
    """Finds, and lines that may turn out worse, at their chance."""
    job = offer.job
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
    rows = [
        _find_row(offer, risk.line, risk.find.name, risk.chance, **_find_ranges(risk.find))
        for risk in job.risks
    ] + [
        _find_row(offer, unseen.line, f"Worse than written: {unseen.condition}", unseen.chance,
                  mean=unseen.hours, cost_mean=unseen.cost)
        for unseen in job.unseen
    ]
    return Table(book, sheet, columns, rows)


def _find_ranges(find: Find) -> dict:
    costs = _range(Range.of(find, "cost_"))
    return {
        **_range(find),
        **{f"cost_{name}": costs[name] for name in ("low", "typical", "high")},
        "cost_mean": Formula("({cost_low}+4*{cost_typical}+{cost_high})/6", costs["mean"].value),
        "days": find.days,
    }


def _find_row(offer: Quote, line: int, find: str, chance: float, **cells) -> dict:
    """`cells` hold `mean` hours and `cost_mean` without labour, and what they come from."""
    job = offer.job
    hours, other = (getattr(cells[name], "value", cells[name]) for name in ("mean", "cost_mean"))
    expected = chance * hours * job.hours_factor
    labour = expected * job.hour_cost
    return {
        "line": line + 1,
        "title": offer.titles[line],
        "find": find,
        "chance": chance,
        **cells,
        "hours": Formula("{chance}*{mean}*hours_factor", expected),
        "labour": Formula("{hours}*hour_cost", labour),
        "other": Formula("{chance}*{cost_mean}", chance * other),
        "cost": Formula("{labour}+{other}", labour + chance * other),
    }


def buying(book: Book, sheet, offer: Quote) -> Formula:
    """The parts to buy and the orders; returns the total of the budget."""
    parts = _bought(book, sheet, offer)
    top = parts.end + 2
    book.put(sheet, top - 1, 0, "Orders", "section")
    suppliers, costs = parts.range("supplier"), parts.range("cost")

    def order(supplier: str, goods: float, top_up: float, freight: float, total: float,
              **cells) -> dict:
        return {
            "supplier": supplier,
            "goods": Formula(f"SUMIF({suppliers},{{supplier}},{costs})", goods),
            "top_up": top_up,
            "freight": freight,
            "total": Formula("{goods}+{top_up}+{freight}", total),
            **cells,
        }

    budget = offer.budget
    rows = [order(offer.supplier_names[one.supplier], one.goods, one.top_up, one.freight,
                  one.total, days=one.days) for one in budget.orders]
    unmet = math.fsum(row.cost for row in budget.rows if row.unmet)
    if unmet:
        rows.append(order(_NO_OFFER, unmet, 0, 0, unmet))
    columns = [
        Column("supplier", "Supplier"),
        Column("goods", "Goods", "money", total=True),
        Column("top_up", "To the least order", "money", total=True),
        Column("freight", "Freight", "money", total=True),
        Column("total", "Total", "money", total=True),
        Column("days", "Days", "days"),
    ]
    return Table(book, sheet, columns, rows, top=top, above=parts).total("total")


def _bought(book: Book, sheet, offer: Quote) -> Table:
    digits = minor_digits(offer.settings.currency)
    columns = [
        Column("part", "Row of parts.csv", width=26),
        Column("name", "Name", width=36),
        Column("needed", "Needed", "count", 9),
        Column("bought", "To buy", "count", 9),
        Column("pack", "Pack", "count", 8),
        Column("price", "Unit price", "money", 12),
        Column("supplier", "Supplier", width=22),
        Column("cost", "Cost", "money", 12, total=True),
        Column("days", "Days to the door", "days", 10),
    ]
    rows = (
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
        for name, row in zip(part_names(offer), offer.budget.rows, strict=True)
    )
    return Table(book, sheet, columns, rows)
