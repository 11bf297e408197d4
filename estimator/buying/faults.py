"""What is wrong or should be seen to before parts are ordered, all of it at once."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import date

from estimator.buying.tables import Market, on_shelf
from estimator.catalogue import Offer, Row
from estimator.catalogue.load import file_and_row
from estimator.errors import Fault, one_of


def broken(
    needs: Mapping[str, float], market: Market, days: Mapping[str, float] | None = None,
    currency: str = "",
) -> list[Fault]:
    """What stops an order: quantities and days that are none, strangers, mixed units and money.

    Parameters
    ----------
    needs
        Units by part.
    days
        The day each part is needed on, counted from today. [d]
    currency
        Three letters of the shop's; blank where it is not said.
    """
    faults = []
    for part, quantity in needs.items():
        if part not in market.parts:
            faults.append(Fault(f'"{part}" is not in parts.csv.', one_of(part, market.parts)))
        if not (isinstance(quantity, int | float) and math.isfinite(quantity) and quantity >= 0):
            faults.append(Fault(f"{part}: {quantity} is no quantity.",
                                "Write how many are needed, 0 or more."))
    for part, day in (days or {}).items():
        if part not in needs:
            faults.append(Fault(f'There is a day for "{part}", which is not needed.',
                                one_of(part, needs)))
        if not (isinstance(day, int | float) and math.isfinite(day)):
            faults.append(Fault(f"{part}: {day} is no day.",
                                "Write the days from today as a number."))
    for offer in market.offers:
        if offer.supplier not in market.suppliers:
            faults.append(_at(market, offer, f'"{offer.supplier}" is not in suppliers.csv.',
                              one_of(offer.supplier, market.suppliers), "supplier"))
        row = market.parts.get(offer.part)
        if row is not None and offer.unit != row.unit:
            faults.append(_at(market, offer, f'The price is for a "{offer.unit}", but '
                              f'{offer.part} is counted by "{row.unit}" in parts.csv.',
                              "Write the price of one such unit.", "unit"))
    named = {house.currency for house in market.suppliers.values() if house.currency}
    ours = currency or (min(named) if len(named) == 1 else "")
    for house in market.suppliers.values():
        if house.currency and house.currency != ours:
            other = f"the shop's {currency}" if currency else " and ".join(
                sorted(named - {house.currency}))
            faults.append(_at(market, house, f"Prices in {house.currency} and in {other} cannot "
                              "be added up.", "Convert this supplier's offers and freight to the "
                              "shop's currency, date them, and clear the cell.", "currency"))
    return faults


def notices(
    needs: Mapping[str, int], market: Market, days: Mapping[str, float],
    unmet: Iterable[str] = (), on: date | None = None, stale_days: float | None = None,
    spread_per_year: float = 0.0, used: Iterable[Offer] | None = None,
) -> list[Fault]:
    """What an order can live with but a person should know.

    Needs that nobody sells, days that no supplier keeps, and prices that are older than
    `stale_days` on the day `on`, each with how far it may be off by now (`price_spread`).
    """
    faults = []
    for part in sorted(unmet):
        row = market.parts[part]
        faults.append(_at(market, row, f"Nobody offers {row.name}.",
                          "Add an offer, a substitute or a kit that holds it, or find one used; "
                          f"it is counted at {row.typical:g}.", "part"))
    quickest: dict[str, float] = {}
    for offer in market.offers:
        soon = market.suppliers[offer.supplier].days_typical
        quickest[offer.part] = min(soon, quickest.get(offer.part, math.inf))
    for part in sorted(days):
        soon = quickest.get(part)
        if part in unmet or soon is None or on_shelf(market, part) >= needs.get(part, 0):
            continue
        if days[part] < soon:
            when = "in the past" if days[part] < 0 else f"in {days[part]:g} days"
            faults.append(_at(market, market.parts[part], f"{market.parts[part].name} is needed "
                              f"{when}; the quickest supplier takes {soon:g}.",
                              f"Plan the work that needs it for day {soon:g} or later, or lend "
                              "one from another machine.", "part"))
    if on is not None and stale_days is not None:
        lists: dict[tuple[str, date], list[Offer]] = {}
        for offer in used if used is not None else market.offers:
            lists.setdefault((offer.supplier, offer.dated), []).append(offer)
        for (supplier, dated), offers in sorted(lists.items()):
            age = (on - dated).days
            several = len(offers) > 1
            prices = f"The price{'s' if several else ''} of {_listed(offers)} at {supplier} "
            prices += "are" if several else "is"
            if age > stale_days:
                off = price_spread(age, spread_per_year)
                faults.append(_at(market, offers[0], f"{prices} {age} days old; by now "
                                  f"{'each' if several else 'it'} may be {off:.0%} off, up or "
                                  "down.", "Ask again, and write the new price and its day.",
                                  "dated"))
            elif age < 0:
                faults.append(_at(market, offers[0], f"{prices} dated {dated}, which is still "
                                  "to come.", "Write the day of the price list.", "dated"))
    return faults


def _listed(offers: list[Offer]) -> str:
    """The first few parts of a price list, and how many more."""
    names = [offer.part for offer in offers]
    if len(names) <= 3:
        return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
    return f"{', '.join(names[:3])} and {len(names) - 3} more"


def price_spread(age_days: float, spread_per_year: float) -> float:
    """How far a price may have wandered: one in ten lies further off, up or down. [–]

    Steps of a random walk add up by their squares, so the spread grows with the root of time.

    Examples
    --------
    >>> round(price_spread(365.25, 0.08), 3), round(price_spread(4 * 365.25, 0.08), 3)
    (0.132, 0.263)
    """
    # 1.6449: the standard normal's quantile at 95 %, for one in ten over both sides.
    return 1.6449 * spread_per_year * math.sqrt(max(0.0, age_days) / 365.25)


def _at(market: Market, row: Row, what: str, fix: str, column: str) -> Fault:
    place = market.place(row)
    file, number = file_and_row(place) if place else (f"{row.table}.csv", None)
    return Fault(what, fix, file, number, column)


__all__ = ["price_spread"]
