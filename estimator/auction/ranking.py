"""The list in order: what is worth bidding on first, the best hour of the bench on top."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from estimator.auction.records import Judged, Offered
from estimator.catalogue import Catalogue, Era
from estimator.resale import Deal
from estimator.shop import Shop

_DIGITS = re.compile(r"([0-9]+)")


@dataclass(frozen=True)
class Ranked:
    """A machine with what is said of it and its rank, from 1.

    `bid` is True where the limit is at least what is asked, or over nothing where none is said.
    """

    rank: int
    one: Offered
    said: Judged
    bid: bool


def ranked(machines: Sequence[Offered], judged: Sequence[Judged]) -> tuple[Ranked, ...]:
    """Machines to bid on first; among them by what an hour of the bench brings in.

    Those without bench hours stand on top of those that earn; lot numbers part what is alike.

    Examples
    --------
    >>> from dataclasses import replace
    >>> said = Judged(limit=800, limit_for="clean", best="clean", lead=90, price=700, outlay=800,
    ...               profit=400, profit_p10=120, profit_p50=380, profit_p90=700, worth=350,
    ...               hours=8, cost=500, months=3, per_hour=50.0, played=False)
    >>> machines = [Offered("10", Era.MODERN, "working", 2000, asking=900),
    ...             Offered("9", Era.MODERN, "working", 2100, asking=700)]
    >>> found = ranked(machines, [replace(said, limit=0), said])
    >>> [(row.rank, row.one.lot, row.bid) for row in found]
    [(1, '9', True), (2, '10', False)]
    """
    rows = [(one, said, worth_bidding(one, said))
            for one, said in zip(machines, judged, strict=True)]

    def order(row: tuple[Offered, Judged, bool]):
        one, said, bid = row
        hourly = said.per_hour
        if hourly is None:
            hourly = float("inf") if said.profit > 0 else float("-inf")
        return not bid, -hourly, _natural(one.lot), one.row

    return tuple(Ranked(rank, *row) for rank, row in enumerate(sorted(rows, key=order), 1))


def worth_bidding(one: Offered, said: Judged) -> bool:
    """May the limit win it?"""
    return said.limit > 0 and (one.asking is None or said.limit >= one.asking)


def _natural(word: str) -> list[tuple[int, int, str]]:
    """Lot 9 before lot 10 and 10a.

    Examples
    --------
    >>> sorted(["10a", "9", "10"], key=_natural)
    ['9', '10', '10a']
    """
    return [(0, int(part), "") if part.isdigit() and part.isascii() else (1, 0, part)
            for part in _DIGITS.split(word.casefold()) if part]


def names(catalogue: Catalogue) -> Mapping[str, str]:
    """How choices are written for people.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> names(load())["full-restoration"]
    'Restore fully'
    """
    return {row.choice: row.name for row in catalogue.sale_ratios.values()}


def cautions(machines: Sequence[Offered], catalogue: Catalogue) -> str:
    """One plain line on what such machines can do to someone who opens them.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> said = cautions([Offered("9", Era.ELECTROMECHANICAL, "working", 900)], load())
    >>> "Unplug before opening" in said, "paint of 1 machine from before 1978" in said
    (True, True)
    """
    with_cells = sum(
        1 for one in machines if (one.era, "batteries") in catalogue.counts
        and catalogue.counts[one.era, "batteries"].typical)
    old = sum(1 for one in machines if one.era == Era.ELECTROMECHANICAL)
    said = ["Unplug before opening, the switch does not make it safe: mains wiring may be old, "
            "bare or without ground."]
    if with_cells:
        said.append(f"{_machines(with_cells)} may hold leaking batteries.")
    said.append("Solder holds lead" + (f"; so may the paint of {_machines(old)} from before 1978."
                                       if old else "."))
    said.append("Gloves, no dry dust; local codes and licensed practice decide.")
    return " ".join(said)


def _machines(count: int) -> str:
    return f"{count:,} machine{'' if count == 1 else 's'}"


def as_dict(rows: Sequence[Ranked], terms: Deal, shop: Shop, notes: Sequence[str] = ()) -> dict:
    """The answer as plain numbers: units end the keys, money is in `currency`.

    Keys are added over time, never changed.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.auction.judging import Judge
    >>> from estimator.shop import open_shop
    >>> shop, terms = open_shop(), Deal(1, trials=100, on=date(2026, 3, 2))
    >>> machines = [Offered("9", Era.MODERN, "working", 4000, asking=900)]
    >>> found = as_dict(ranked(machines, Judge(terms, shop, terms.on).of(machines)), terms, shop)
    >>> found["machines"], found["to_bid_on"], found["lots"][0]["lot"], found["currency"]
    (1, 1, '9', 'USD')
    """
    settings = shop.settings
    return {
        "schema": 1,
        "date": None if terms.on is None else terms.on.isoformat(),
        "currency": settings.currency,
        "machines": len(rows),
        "to_bid_on": sum(1 for row in rows if row.bid),
        "played_in_full": sum(1 for row in rows if row.said.played),
        "trials": terms.trials,
        "seed": terms.seed,
        "way": terms.way,
        "buying": terms.buying,
        "confidence": settings.confidence if terms.confidence is None else terms.confidence,
        "want_per_year": wanted(terms, shop),
        "lots": [as_row(row) for row in rows],
        "cautions": cautions([row.one for row in rows], shop.catalogue),
        "notes": list(notes),
    }


def wanted(terms: Deal, shop: Shop) -> float:
    """Return a year that is wanted: as said, else what capital costs. [–]"""
    said = (terms.want, terms.capital_rate, shop.settings.capital_rate_per_year)
    return next(rate for rate in said if rate is not None)


def as_row(row: Ranked) -> dict:
    """One machine as plain values, in the order of the columns of `lot.csv`."""
    one, said = row.one, row.said
    return {
        "rank": row.rank, "lot": one.lot, "title": one.title, "maker": one.maker,
        "year": one.year, "era": str(one.era), "found": one.found,
        "value": _money(one.value), "asking": _money(one.asking),
        "bid_limit": _money(said.limit), "bid": row.bid, "bid_limit_for": said.limit_for,
        "best": said.best, "lead_mean": _money(said.lead), "reckoned_at": _money(said.price),
        "outlay": _money(said.outlay), "profit_mean": _money(said.profit),
        "profit_p10": _money(said.profit_p10), "profit_p50": _money(said.profit_p50),
        "profit_p90": _money(said.profit_p90), "npv_mean": _money(said.worth),
        "hours_mean": round(said.hours, 2), "work_cost_mean": _money(said.cost),
        "months_mean": round(said.months, 2), "per_bench_hour": _money(said.per_hour),
        "judged": "played" if said.played else "screened", "known_bad": _bad_said(one),
        "own_survey": one.survey is not None, "taken": "; ".join(one.taken), "note": one.note,
    }


def _bad_said(one: Offered) -> str:
    """Known bad pieces, as the list has them."""
    return "; ".join(f"{bad.assembly} {bad.count} {bad.condition}" for bad in one.bad)


def _money(amount: float | None) -> float | None:
    return None if amount is None else round(amount, 2) + 0.0


__all__ = ["Ranked", "as_dict", "cautions", "names", "ranked"]
