"""What is written of a list: all figures as CSV and workbook, and a sheet for the sale room."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from estimator.auction.cases import cases_of
from estimator.auction.ranking import Ranked, as_dict, as_row, cautions, names, wanted
from estimator.auction.records import Offered
from estimator.catalogue import LEVELS, Level
from estimator.documents.files import put
from estimator.documents.pdf import laid_out
from estimator.documents.sheets import Book
from estimator.documents.wording import day, made_by, plain, whole
from estimator.estimate import estimate
from estimator.outside import csv_file, json_file
from estimator.resale import Deal
from estimator.scope import scope
from estimator.shop import Shop

BIDS = 40
"""Machines on the bid sheet, which is one page."""
_STYLES = {"rank": "count", "hours_mean": "hours", "months_mean": "days"}
_MONEY = ("value", "asking", "bid_limit", "lead_mean", "reckoned_at", "outlay", "profit_mean",
          "profit_p10", "profit_p50", "profit_p90", "npv_mean", "work_cost_mean",
          "per_bench_hour")
_WIDE = {"title": 26, "maker": 16, "era": 17, "found": 13, "taken": 40, "note": 34,
         "known_bad": 26, "best": 16, "bid_limit_for": 16}


def write(rows: Sequence[Ranked], terms: Deal, shop: Shop, folder: Path | str,
          notes: Sequence[str] = ()) -> dict[str, Path]:
    """Write lot.csv, lot.xlsx, bids.pdf and lot.json into a folder, all or none; by name.

    Raises
    ------
    BadInput
        If they cannot be written there.

    Examples
    --------
    >>> import tempfile
    >>> from datetime import date
    >>> from estimator.auction import EXAMPLE, Judge, ranked, read_bytes
    >>> from estimator.shop import open_shop
    >>> shop, terms = open_shop(), Deal(1, trials=100, on=date(2026, 3, 2))
    >>> machines = read_bytes(EXAMPLE.encode(), "sale.csv", shop.catalogue)[0][:1]
    >>> rows = ranked(machines, Judge(terms, shop, terms.on).of(machines))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     sorted(write(rows, terms, shop, folder))
    ['bids.pdf', 'lot.csv', 'lot.json', 'lot.xlsx']
    """
    return put({"lot.csv": csv_bytes(rows), "lot.xlsx": workbook(rows, terms, shop),
                "bids.pdf": laid_out("bids.typ", bid_sheet(rows, terms, shop)),
                "lot.json": json_file(as_dict(rows, terms, shop, notes), indent=1)}, folder)


def csv_bytes(rows: Sequence[Ranked]) -> bytes:
    """All figures, ranked: UTF-8 with its mark, so that spreadsheets know it, and commas."""
    found = [as_row(row) for row in rows]
    if not found:
        return "".encode("utf-8-sig")
    return csv_file(found[0], ([_cell(value) for value in row.values()] for row in found))


def _cell(value) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else value


def workbook(rows: Sequence[Ranked], terms: Deal, shop: Shop) -> bytes:
    """The same as a workbook whose columns can be sorted and filtered."""
    book = Book(shop.settings, _on(terms), "Auction list")
    sheet = book.sheet("Lots", "Ranked by what an hour of the bench brings in; bids on top. "
                       "Premium and tax are inside the bid limit.")
    columns = list(as_row(rows[0])) if rows else []
    for column, name in enumerate(columns):
        book.put(sheet, 3, column, name.replace("_", " "),
                 "head right" if name in _MONEY or name in _STYLES else "head text")
        sheet.set_column(column, column, _WIDE.get(name, 12 if name in _MONEY else 9))
    for place, row in enumerate(rows, 4):
        for column, (name, value) in enumerate(as_row(row).items()):
            style = "money" if name in _MONEY else _STYLES.get(name, "text")
            if isinstance(value, bool):
                value = "yes" if value else "no"
            book.put(sheet, place, column, value, style)
    if columns:
        sheet.autofilter(3, 0, 3 + len(rows), len(columns) - 1)
        sheet.freeze_panes(4, columns.index("title") + 1)
        sheet.repeat_rows(3)
        # On paper what a bidder needs; the rest is for the screen.
        sheet.print_area(0, 0, 4 + len(rows) + 1, columns.index("profit_p10"))
    book.put(sheet, 4 + len(rows) + 1, 0, cautions([row.one for row in rows], shop.catalogue),
             "name")
    return book.done()


def bid_sheet(rows: Sequence[Ranked], terms: Deal, shop: Shop) -> dict:
    """The data that `bids.typ` lays out: words and figures as they are to be read."""
    settings, on = shop.settings, _on(terms)
    chosen = [row for row in rows if row.bid][:BIDS]
    called, looks = names(shop.catalogue), _Looks(terms, shop)
    left = sum(1 for row in rows if row.bid) - len(chosen)
    want = wanted(terms, shop)
    sure = settings.confidence if terms.confidence is None else terms.confidence
    return {
        "title": "Bid sheet", "short": "Bid sheet", "foot": f"Bid sheet, {day(on, settings)}",
        "paper": settings.paper, "date": [on.year, on.month, on.day],
        "shop": {"name": settings.name, "lines": ""}, "number": day(on, settings),
        "by": made_by(settings, on),
        "says": f"{len(chosen) or 'None'} of {len(rows)} lots, in the order of the sale. At the "
                f"limit the wanted return of {100 * want:.0f} % a year is reached in "
                f"{100 * sure:.0f} of 100 such machines; premium and tax are inside it. "
                "Look before bidding: what is named may turn the figure."
                + (f" {left} more are in lot.csv." if left else ""),
        "columns": ["Lot", "Machine", "Bid at most", "Asked", "Then", "Look first at"],
        "rows": [[plain(row.one.lot), plain(_title(row.one)),
                  whole(row.said.limit, settings),
                  "–" if row.one.asking is None else whole(row.one.asking, settings),
                  called.get(row.said.best, row.said.best), looks.said(row.one, row.said.best)]
                 for row in _in_sale_order(chosen)],
        "mind": cautions([row.one for row in chosen], shop.catalogue),
    }


def _in_sale_order(rows: Sequence[Ranked]) -> list[Ranked]:
    """As lots come up: by the rows of the list."""
    return sorted(rows, key=lambda row: row.one.row)


def _title(one: Offered) -> str:
    made = ", ".join(filter(None, (one.title, one.maker, one.year)))
    return _cut(made or str(one.era).replace("-", " "), 40)


def _cut(said: str, most: int) -> str:
    return said if len(said) <= most else said[:most - 1].rstrip() + "…"


class _Looks:
    """What to look at first: what a look would tell most of, by what it costs when it is bad."""

    def __init__(self, terms: Deal, shop: Shop):
        self._terms, self._shop = terms, shop
        self._kept: dict[object, str] = {}

    def said(self, one: Offered, choice: str) -> str:
        """The three assemblies whose condition moves the cost most."""
        key = one.era, one.found, one.bad, one.survey, choice
        if key not in self._kept:
            self._kept[key] = self._of(one, choice)
        return self._kept[key]

    def _of(self, one: Offered, choice: str) -> str:
        tables = self._shop.catalogue
        levels = [row.level for row in tables.sale_ratios.values() if row.choice == choice]
        level = max((level or Level.SHOP_JOB for level in levels), key=LEVELS.index)
        # What is sold as it is or cleaned is bought by those who will do a shop job.
        level = max(level, Level.SHOP_JOB, key=LEVELS.index)
        costs: dict[str, list[tuple[float, float]]] = {}
        spread: dict[str, float] = {}
        for chance, survey in cases_of(one, tables):
            job = estimate(scope(survey, level, tables), self._shop)
            names_of = [line.assembly for line in job.scope.lines]
            sums: dict[str, float] = {}
            for line in job.lines:
                sums[names_of[line.line]] = sums.get(names_of[line.line], 0.0) + line.cost
            for name, cost in sums.items():
                costs.setdefault(name, []).append((chance, cost))
            for event, cost in [
                    *((unseen, unseen.hours * job.hours_factor * job.hour_cost + unseen.cost)
                      for unseen in job.unseen),
                    *((risk, risk.find.typical * job.hours_factor * job.hour_cost
                       + risk.find.cost_typical) for risk in job.risks)]:
                name = names_of[event.line]
                spread[name] = spread.get(name, 0.0) \
                    + chance * event.chance * (1 - event.chance) * cost**2
        for name, cases in costs.items():
            whole_chance = math.fsum(chance for chance, _ in cases)
            mean = math.fsum(chance * cost for chance, cost in cases)
            spread[name] = spread.get(name, 0.0) + math.fsum(
                chance * (cost - mean)**2 for chance, cost in cases) \
                + (1 - whole_chance) * mean**2
        # Only what there is to be seen, and not work on the machine as a whole.
        first = sorted((name for name in spread if name in tables.sale_weights),
                       key=lambda name: (-spread[name], name))[:3]
        return _cut(", ".join(tables.assemblies[name].name.lower() for name in first), 56)


def _on(terms: Deal) -> date:
    return terms.on or date.today()


__all__ = ["write"]
