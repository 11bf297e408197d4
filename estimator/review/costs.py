"""What a job cost against its standard, split into reasons that add up.

Labour: hours on items and done again at what an hour costs by the settings of today, against the
hours expected at what an hour cost in the quote. The quote is the one that holds: what a revision
brought is quoted once the customer has agreed. Overhead is in the hour, and so is unbilled time.
Work that the quote does not list is a find, at the standard rate; what was bought and not quoted
is more of a material. Warranty is no part of a job's cost: the price reserves for it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator

from estimator import variances
from estimator.review.books import FOUND, Books, Standard
from estimator.review.records import CostLine


def against_standard(books: Books, standard: Standard, hour_cost: float
                     ) -> tuple[tuple[CostLine, ...], variances.Review]:
    """Costs by kind, and why they differ from the quote.

    Parameters
    ----------
    hour_cost
        What an hour costs now. [money/h]
    """
    rate = standard.hour_cost
    quoted = math.fsum(item.expected for item in books.items)
    found = books.hours(FOUND)
    hours = books.of_its_work
    labour = variances.labour(hours + found, (hours + found) * hour_cost,
                              quoted + found, rate)
    material, outwork = list(_materials(books, standard)), list(_outwork(books, standard))
    review = variances.review([labour, *material, *outwork], finds=found * rate,
                              find_allowance=standard.find_cost)
    lines = (
        CostLine("labour", quoted * rate, hours * hour_cost),
        CostLine("material", *_sums(material)),
        CostLine("outwork", *_sums(outwork)),
        CostLine("finds", standard.find_cost, found * hour_cost),
    )
    return lines, review


def spent(books: Books, hour_cost: float) -> float:
    """What a job cost, without warranty. [money]"""
    hours = books.of_its_work + books.hours(FOUND)
    amounts = sum(one.amount for one in (*books.purchases, *books.outwork))
    return hours * hour_cost + float(amounts)


def _sums(splits) -> tuple[float, float]:
    return (math.fsum(split.standard for split in splits),
            math.fsum(split.actual for split in splits))


def _materials(books: Books, standard: Standard) -> Iterator[variances.Split]:
    quoted = standard.supplies
    bought: dict[str, list] = defaultdict(list)
    for entry in books.purchases:
        if entry.part in quoted:
            bought[entry.part].append(entry)
        else:
            yield variances.Split("material", float(entry.amount), float(entry.amount), 0.0)
    for name, (quantity, unit, cost) in quoted.items():
        entries = bought[name]
        paid = math.fsum(float(entry.amount) for entry in entries)
        if any(_unit(entry.unit) != _unit(unit) for entry in entries) or not quantity:
            # Kits against pieces cannot be counted: all of it stands as price.
            yield variances.Split("material", paid, cost, cost)
        else:
            used = math.fsum(entry.quantity for entry in entries)
            yield variances.material_at_use(used, paid, quantity, cost / quantity)


def _outwork(books: Books, standard: Standard) -> Iterator[variances.Split]:
    billed: dict[str, float] = defaultdict(float)
    pieces: dict[str, float] = defaultdict(float)
    for entry in books.outwork:
        billed[entry.service] += float(entry.amount)
        if entry.event == "sent":
            pieces[entry.service] += entry.quantity
    for service in dict.fromkeys([*standard.lots, *billed]):
        expected, lines = standard.lots.get(service, (0.0, 1))
        listed = standard.charge_of(service, pieces[service], lines)
        yield variances.outwork(billed[service], billed[service] if listed is None else listed,
                                expected)


_EACH = frozenset(("piece", "pieces", "pcs"))


def _unit(word: str) -> str:
    """The unit as it is counted: one piece is one each."""
    word = word.casefold()
    return "each" if word in _EACH else word
