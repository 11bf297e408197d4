"""What can be wrong with a deal: every fault at once, before anything is reckoned."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date

from estimator.catalogue import FOUND, Catalogue
from estimator.errors import Fault, one_of, quoted
from estimator.resale.records import Deal

_BLANK = "Leave it out to take the usual figure."
_AMOUNTS = {
    "value": ("market value", "Say what the same machine brings nice and working."),
    "value_low": ("low market value", _BLANK), "value_high": ("high market value", _BLANK),
    "asking": ("asking price", "Say what it can be bought for; 0 if it is given away."),
    "paid": ("price paid", "Say what was paid for it."),
    "fetching": ("cost of fetching", _BLANK), "want_profit": ("profit wanted", _BLANK),
    "storage_per_month": ("storage a month", _BLANK),
    "bench_hour_earns": ("earning of a bench hour", _BLANK),
    "budget": ("budget", "Leave it out for no limit."),
    "hours": ("limit of hours", "Leave it out for no limit."),
    "wait_weeks": ("wait", "Weeks and months run forward only."),
}
# No sum of a workshop in any currency; larger ones only overflow on the way.
_MOST = 1e12
_SHARES = {"fee": "fee", "premium": "premium", "purchase_tax": "tax on the purchase"}


def faults(deal: Deal, catalogue: Catalogue, on: date) -> list[Fault]:
    """Every fault of a deal, in the order of its fields.

    Parameters
    ----------
    on
        Today; a day to be ready by must lie after it.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> [fault.column for fault in faults(Deal(-5, fee=1.2), load(), date(2026, 3, 2))]
    ['value', 'fee']
    """
    return [*_amounts(deal), *_ways(deal, catalogue), *_rates(deal), *_rest(deal, on)]


def _amounts(deal: Deal) -> Iterable[Fault]:
    for name, (said, fix) in _AMOUNTS.items():
        value = getattr(deal, name)
        if value is None:
            continue
        least_open = name in ("value", "value_low", "value_high")
        if not math.isfinite(value) or value < 0 or (least_open and value == 0):
            bound = "over 0" if least_open else "0 or more"
            yield Fault(f"The {said} is {value:g}; it must be {bound}.", fix, column=name)
        elif value > _MOST:
            yield Fault(f"The {said} is {value:g}; it must be at most {_MOST:,.0f}.",
                        "Count its digits.", column=name)
    low, high = deal.value_low, deal.value_high
    if low is not None and low > deal.value:
        yield Fault(f"The low market value {low:g} is over the market value {deal.value:g}.",
                    "Bring them into order.", column="value_low")
    if high is not None and high < deal.value:
        yield Fault(f"The high market value {high:g} is under the market value {deal.value:g}.",
                    "Bring them into order.", column="value_high")
    if deal.paid is not None and deal.asking is not None:
        yield Fault("Both a price paid and an asking price are said.",
                    "A machine is owned or may be bought: keep one of the two.", column="asking")


def _ways(deal: Deal, catalogue: Catalogue) -> Iterable[Fault]:
    for name in ("way", "buying", "parts_way"):
        way = getattr(deal, name)
        if way not in catalogue.ways:
            yield Fault(f"{quoted(way)} is not a way of selling.", one_of(way, catalogue.ways),
                        column=name)
        elif name != "buying" and (way, None) not in catalogue.days_to_sell:
            yield Fault(f'How long a sale takes by "{way}" is not said.',
                        "Add its row to days_to_sell.csv.", column=name)
    for name, said in _SHARES.items():
        share = getattr(deal, name)
        if share is None:
            continue
        if not 0 <= share <= 0.9:
            more = " A fee of 100 % or more leaves nothing." if share >= 1 else ""
            yield Fault(f"The {said} is {share:g}; it must be 0 to 0.9.{more}",
                        "Write 0.1 for 10 %.", column=name)
    if deal.found is not None and deal.found not in FOUND:
        yield Fault(f"{quoted(deal.found)} is not a state a machine is found in.",
                    one_of(deal.found, FOUND), column="found")


def _rates(deal: Deal) -> Iterable[Fault]:
    for name, said in (("want", "return wanted"), ("capital_rate", "cost of capital")):
        rate = getattr(deal, name)
        if rate is not None and not 0 <= rate <= 5:
            yield Fault(f"The {said} is {rate:g} a year; it must be 0 to 5.",
                        "Write 0.15 for 15 % a year.", column=name)
    if deal.confidence is not None and not 0.05 <= deal.confidence <= 0.99:
        yield Fault(f"The confidence is {deal.confidence:g}; it must be 0.05 to 0.99.",
                    "Write 0.8 for 80 %.", column="confidence")


def _rest(deal: Deal, on: date) -> Iterable[Fault]:
    weekly = deal.hours_per_week
    if weekly is not None and not 0.5 <= weekly <= 168:
        yield Fault(f"{weekly:g} bench hours a week; it must be 0.5 to 168.",
                    column="hours_per_week")
    if deal.wait_weeks > 520:
        yield Fault(f"A wait of {deal.wait_weeks:g} weeks is over ten years.",
                    "Write the weeks until the bench is free.", column="wait_weeks")
    if not 100 <= deal.trials <= 100_000:
        yield Fault(f"{deal.trials} trials; it must be 100 to 100,000.",
                    "10,000 is right for a decision.", column="trials")
    if deal.ready_by is not None and deal.ready_by <= on:
        yield Fault(f"{deal.ready_by.isoformat()} is not after {on.isoformat()}.",
                    "Name a day to come.", column="ready_by")


__all__ = ["faults"]
