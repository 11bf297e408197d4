"""Papers of buying and outwork: an order to each supplier, a sheet with each lot sent out.

Only what a supplier or a plater needs to know stands on them: no customer, no price of the shop's.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from estimator.buying import DatedOrder, Ordering
from estimator.catalogue import Caution
from estimator.documents.pdf import laid_out
from estimator.documents.wording import counted, day, money, paper
from estimator.money import format_money, to_money
from estimator.outside import csv_file
from estimator.outwork import SentLot
from estimator.shop import Settings
from estimator.units import day_at

ORDER_COLUMNS = (
    "part", "name", "packs", "pack", "units", "unit_price", "cost", "for", "price_of", "note")
"""Headers of an order's CSV. Prices are in the shop's currency, with a decimal point."""
WAITING_COLUMNS = ("part", "name", "units", "supplier", "needed", "expected", "days_late")
"""Headers of the waiting list's CSV; days are dates."""


def order_csv(dated: DatedOrder, settings: Settings, today: date) -> bytes:
    """An order as CSV in UTF-8: a row a line, then what is added, freight, the total and the days.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.buying import buy, market, order_dates
    >>> from estimator.shop import open_shop
    >>> shop = open_shop()
    >>> found = order_dates(buy({"bulb": 30}, market(shop.catalogue)), {"bulb": 20}, chance=0.9)
    >>> text = order_csv(found.orders[0], shop.settings, date(2026, 1, 5)).decode("utf-8-sig")
    >>> text.splitlines()[1].startswith("bulb,")
    True
    """
    order, currency = dated.order, settings.currency
    rows = [
        (line.part, line.name, line.packs, line.pack, line.units,
         f"{line.unit_price:g}", f"{to_money(line.cost, currency):f}",
         " ".join(f"{part}:{units}" for part, units in line.covers),
         line.dated.isoformat(), line.note)
        for line in order.lines
    ]

    def sum_row(name: str, amount: float) -> tuple:
        return ("", name, "", "", "", "", f"{to_money(amount, currency):f}", "", "", "")

    if order.top_up:
        rows.append(sum_row("To be spent on stock", order.top_up))
    rows.append(sum_row("Freight", order.freight))
    rows.append(sum_row("Total", order.total))
    for name, when in (("Order on", dated.place_on), ("Expected", dated.expected)):
        rows.append(("", name, "", "", "", "", "", "", day_at(today, when).isoformat(), ""))
    return csv_file(ORDER_COLUMNS, rows)


def waiting_csv(ordering: Ordering, names: Mapping[str, str], suppliers: Mapping[str, str],
                today: date) -> bytes:
    """The waiting list as CSV in UTF-8; `names` of parts and of suppliers, by their slugs."""
    def when(days: float | None) -> str:
        return "" if days is None else day_at(today, days).isoformat()

    return csv_file(WAITING_COLUMNS, (
        (row.part, names.get(row.part, row.part), row.units,
         suppliers.get(row.supplier, "nobody offers it"), when(row.needed),
         when(row.expected), f"{row.late:g}" if row.late else "")
        for row in ordering.waiting))


def order_pdf(
    dated: DatedOrder, settings: Settings, *, number: str, today: date, note: str = ""
) -> bytes:
    """An order to a supplier: a tagged PDF, the same bytes for the same order.

    Parameters
    ----------
    number
        Of the order.
    today
        Day 0 of the days in `dated`, and the date of the paper.
    note
        What the supplier should know; may be blank.
    """
    order = dated.order

    def amount(value: float) -> str:
        return money(value, settings)

    wanted = "as soon as it can be sent"
    if dated.needed is not None:
        wanted = f"by {day(day_at(today, dated.needed), settings)}"
    sums = [("Goods", order.goods), ("To be spent on stock", order.top_up),
            ("Freight", order.freight)]
    return laid_out("order.typ", {
        **paper(f"Parts order {number}", number, settings, today),
        "to": [["To", order.name]],
        "dates": [["Date", day(day_at(today, dated.place_on), settings)],
                  ["Needed", wanted]],
        "rows": [
            {"no": str(at), "title": line.name, "part": line.part,
             "packs": "" if line.pack == 1 else f"{line.packs} × {line.pack}",
             "units": f"{line.units:,}", "price": _unit(line.unit_price, settings),
             "cost": amount(line.cost)}
            for at, line in enumerate(order.lines, 1)],
        "sums": [[name, amount(value)] for name, value in sums if value or name == "Freight"],
        "total": amount(order.total),
        "note": note,
        "asks": [
            f"Prices are those of your list as we know it, the oldest of "
            f"{day(min(line.dated for line in order.lines), settings)}. Please confirm them, and "
            "the day of sending, before you send.",
            "Tell us of a part that you do not have, or that has been replaced by another, before "
            "you send the rest.",
        ],
    })


def lot_pdf(
    lot: SentLot, settings: Settings, *, number: str, today: date, unit: str,
    cautions: Iterable[Caution] = (),
) -> bytes:
    """The sheet that goes with a lot: pieces to count out and count in, and what to mask.

    Parameters
    ----------
    number
        Of the sheet.
    today
        Day 0 of the days in `lot`, and the date of the paper.
    unit
        What quantities are counted in, from the row of the service.
    cautions
        Rows of the service's cautions.
    """
    return laid_out("lot.typ", {
        **paper(f"Send-out sheet {number}", number, settings, today),
        "to": [["Work", lot.name], ["Jobs", ", ".join(lot.jobs)]],
        "dates": [["Leaves", day(day_at(today, lot.leaves), settings)],
                  ["Back", f"about {day(day_at(today, lot.expected), settings)}"],
                  ["At the latest", day(day_at(today, lot.latest), settings)]],
        "rows": [
            {"no": str(at), "title": piece.name, "job": piece.job, "count": f"{piece.count:,}",
             "quantity": f"{piece.quantity:g} {unit}", "note": piece.note}
            for at, piece in enumerate(lot.pieces, 1)],
        "count": counted(lot.count, "piece"),
        "charge": money(lot.charge, settings),
        "cautions": [{"hazard": row.hazard.rstrip("."), "text": row.text} for row in cautions],
    })


def _unit(price: float, settings: Settings) -> str:
    """A unit price, to the fraction of a cent where small things are sold by the hundred."""
    cents = to_money(price, settings.currency)
    exact = abs(float(cents) - price) < 1e-9
    return money(price, settings) if exact else format_money(
        price, settings.currency, settings.locale, digits=3).replace("\uffe5", "¥")
