"""The first and the last sheet of the workbook: the price built up, and what it rests on."""

from __future__ import annotations

import math
from collections.abc import Mapping

from estimator.catalogue import load
from estimator.documents.sheets import Book, Formula
from estimator.documents.tables import Column, Table
from estimator.estimate import KINDS
from estimator.money import minor_digits
from estimator.quote import TIME, Quote

_SHARES = (0.1, 0.5, 0.8, 0.9, 0.95)
_ODDS = (("hours", "hours"), ("cost", "money"), ("days", "days"))


class _Block:
    """Rows of name, value and remark, one below the other."""

    def __init__(self, book: Book, sheet, row: int = 3):
        self.book, self.sheet, self.row = book, sheet, row

    def head(self, said: str) -> None:
        self.row += 1
        self.book.put(self.sheet, self.row, 0, said, "section")
        self.row += 1

    def line(
        self,
        name: str,
        value,
        style: str = "said",
        note: str = "",
        *,
        total: bool = False,
        called: str = "",
    ) -> str:
        """Write one row; returns where its value stands."""
        end = " total" if total else ""
        self.book.put(self.sheet, self.row, 0, name, f"name{end}")
        self.book.put(self.sheet, self.row, 1, value, f"{style}{end}")
        if note:
            self.book.put(self.sheet, self.row, 2, note, "remark")
        self.row += 1
        place = f"B{self.row}"
        if called:
            self.book.name(called, f"{self.sheet.name}!$B${self.row}")
        return place


def summary(book: Book, sheet, offer: Quote, lines: Table, finds: Table, buying: Formula) -> None:
    """Choices, the price from cost to total, the odds, the levels side by side."""
    sheet.set_column(0, 0, 36)
    sheet.set_column(1, 7, max(13, book.money_width(float(offer.total))))
    sheet.fit_to_pages(1, 1)
    block = _Block(book, sheet, 2)
    _choices(block, offer)
    _price(block, offer, lines, finds)
    _payments(block, offer)
    _odds(block, offer, buying)
    _levels(block, offer)


def _choices(block: _Block, offer: Quote) -> None:
    machine, choices = offer.survey.machine, offer.choices
    block.head("Quote")
    for name, said in (
        ("Number", offer.number),
        ("Customer", machine.customer),
        ("Machine", machine.title),
        ("Made", ", ".join(filter(None, (machine.maker, machine.year)))),
        ("Serial number", machine.serial),
        ("Era", str(machine.era)),
        ("Service level", offer.level.name),
        ("Pricing", choices.pricing),
    ):
        if said:
            block.line(name, said)
    block.line("Date", offer.on, "date")
    block.line("Valid until", offer.valid_until, "date")
    block.line(
        "Left out", ", ".join(str(index + 1) for index in sorted(choices.dropped)) or "nothing"
    )
    block.line("Extras", ", ".join(f"{name} ({count})" for name, count in choices.added) or "none")


def _price(block: _Block, offer: Quote, lines: Table, finds: Table) -> None:
    block.head("From cost to price, as expected")
    timed = offer.choices.pricing == TIME
    cost, cost_at = _cost(block, offer, lines, finds)
    # Below the reserve and what is left stands the price they are shares of.
    price_at = f"B{block.row + 3}"
    reserve = offer.settings.warranty_share * float(offer.price)
    left = float(offer.price) - cost - reserve
    reserve_at = block.line("Warranty reserve", Formula(f"{price_at}*warranty_share", reserve),
                            "money", "Share of the price")
    left_over = f"{price_at}-{cost_at}-{reserve_at}"
    block.line("Left over, expected", Formula(left_over, left), "money")
    block.line("Expected bill before tax" if timed else "Price before tax", lines.total("price"),
               "money", total=True, called="price")
    share = left / float(offer.price) if offer.price else 0
    block.line("Left over as a share of the price",
               Formula(f"IF({price_at}=0,0,({left_over})/{price_at})", share), "share",
               f"Asked for: {offer.margin:.1%} at the cost below" if not timed else "")
    if not timed:
        (at,) = offer.odds.at("cost", offer.confidence)
        block.line(f"Cost in {offer.confidence:.0%} of trials at most", at, "money",
                   "What the fixed price is built on")
    kinds, prices = lines.range("kind"), lines.range("price")
    for kind, name in (("finds", "Allowance for finds, in the price"),
                       ("cover", "Fixed-price cover, in the price")):
        amount = sum(line.price for line in offer.lines if line.kind == kind)
        block.line(name, Formula(f'SUMIF({kinds},"{kind}",{prices})', amount), "money")
    _taxes(block, offer, lines, price_at)
    if offer.cap is not None:
        block.line("Cap before tax", offer.cap, "money", "Not passed without asking", called="cap")
    block.line("Rate for an hour", offer.rate, "money", "What an hour costs, with the margin")


def _cost(block: _Block, offer: Quote, lines: Table, finds: Table) -> tuple[float, str]:
    """The expected cost by kind; returns it, and the cell of its sum."""
    job = offer.job
    places = []
    for kind in KINDS:
        known = math.fsum(entry.kinds[kind] for entry in job.lines)
        total = lines.total(f"cost_{kind}")
        less = {"labour": "labour", "parts": "other"}.get(kind)
        text = f"{total.text}-{finds.total(less).text}" if less else total.text
        places.append(block.line(kind.capitalize(), Formula(text, known), "money",
                                 "Known work, without finds"))
    places.append(block.line("Finds", finds.total("cost"), "money",
                             "Expected; with lines that turn out worse"))
    cost = job.cost + job.find_cost
    return cost, block.line("Expected cost", Formula(f"SUM({places[0]}:{places[-1]})", cost),
                            "money", total=True, called="cost")


def _taxes(block: _Block, offer: Quote, lines: Table, price_at: str) -> None:
    """Each tax, and the price with all of them."""
    digits = minor_digits(offer.settings.currency)
    places = []
    for tax in offer.taxes:
        on = lines.total(f"price_{tax.kind}").text
        places.append(block.line(
            f"Tax on {tax.kind}", Formula(f"ROUND({on}*tax_{tax.kind},{digits})", tax.amount),
            "money", f"{tax.rate * 100:g} %"))
    added = "".join(f"+{place}" for place in places)
    block.line("Expected bill with tax" if offer.choices.pricing == TIME else "Total with tax",
               Formula(f"{price_at}{added}", offer.total), "money", total=True, called="total")


def _payments(block: _Block, offer: Quote) -> None:
    block.head("Payments")
    places = [block.line(stage.name, stage.amount, "money", stage.due) for stage in offer.stages]
    block.line(
        "Together", Formula(f"SUM({places[0]}:{places[-1]})", offer.total), "money", total=True
    )


def _odds(block: _Block, offer: Quote, buying: Formula) -> None:
    odds = offer.odds
    block.head(f"Odds over {odds.trials:,} trials, finds included (seed {odds.seed})")
    book, sheet = block.book, block.sheet
    book.put(sheet, block.row, 0, "This share of jobs stays below", "head")
    for place, said in enumerate(("Mean", *(f"P{100 * q:.0f}" for q in _SHARES)), 1):
        book.put(sheet, block.row, place, said, "head right")
    for what, style in _ODDS:
        block.row += 1
        book.put(sheet, block.row, 0, what.capitalize(), "name")
        values = (float(getattr(odds, what).mean()), *odds.at(what, *_SHARES))
        for place, value in enumerate(values, 1):
            book.put(sheet, block.row, place, value, style)
        for place, q in enumerate(_SHARES, 2):
            book.name(f"{what}_p{100 * q:.0f}", f"{sheet.name}!${'ABCDEFG'[place]}${block.row + 1}")
    block.row += 1
    low, high = offer.loss_range
    block.line(
        "Chance of a loss at this price",
        offer.chance_of_loss,
        "share",
        f"{low:.2%} to {high:.2%}, as far as this many trials can tell",
        called="chance_of_loss",
    )
    block.line(
        "Ready by, in four jobs of five",
        offer.finish_p80,
        "date",
        "If work starts on the date of the quote",
    )
    block.line("Estimate class", offer.estimate_class, "count", "1 is the firmest, 5 the loosest")
    block.line("Share of the cost that was inspected", offer.seen_share, "share")
    block.line(
        "Parts budget",
        buying,
        "money",
        "Prices and freight as they would be ordered",
        called="parts_budget",
    )


def _levels(block: _Block, offer: Quote) -> None:
    if not offer.levels:
        return
    block.head("Service levels side by side")
    Table(
        block.book,
        block.sheet,
        [
            Column("name", "Level", "name"),
            Column("price", "Price before tax", "money"),
            Column("p50", "Hours P50", "hours"),
            Column("p80", "Hours P80", "hours"),
            Column("days", "Days P80", "days"),
            Column("mark", "", "name"),
        ],
        (
            {
                "name": row.name,
                "price": row.price,
                "p50": row.hours_p50,
                "p80": row.hours_p80,
                "days": row.days_p80,
                "mark": "this quote" if row.chosen else "",
            }
            for row in offer.levels
        ),
        top=block.row,
        main=False,
    )


def assumptions(book: Book, sheet, offer: Quote) -> None:
    """Settings, what follows from them, and the words of the quote; names cells for formulas."""
    sheet.set_column(0, 0, 28)
    sheet.set_column(1, 1, 14)
    sheet.set_column(2, 2, 66)
    settings, job, units = offer.settings, offer.job, load().rates
    block = _Block(book, sheet, 2)
    block.head("Settings of the shop")
    for name, value in settings.model_dump().items():
        if isinstance(value, tuple) or name == "ledger":
            # Who is at the bench, and when: no figure of the quote depends on it. The address of
            # a database holds the word that opens it.
            continue
        if isinstance(value, str):
            block.line(name, ", ".join(value.splitlines()))
        else:
            unit = units[name].unit
            block.line(name, value, "share" if unit.startswith(_AS_SHARE) else "quantity",
                       unit.removeprefix("share ").replace("USD", settings.currency), called=name)
    block.head("What follows from them")
    block.line(
        "hours_factor",
        Formula("1+setup_cleanup_share+rework_share", job.hours_factor),
        "quantity",
        "Hands-on hours to hours with allowances",
        called="hours_factor",
    )
    block.line(
        "hour_cost",
        Formula(
            "(pay_per_hour*(1+on_cost_share)*paid_hours_per_year+overhead_per_year)"
            "/(paid_hours_per_year*productive_share)",
            job.hour_cost,
        ),
        "money",
        "What an hour on a customer's machine costs",
        called="hour_cost",
    )
    words: Mapping[str, tuple[str, ...]] = {
        "Included": offer.included,
        "Not included": offer.excluded,
        "Assumed": offer.assumed,
        "Terms": offer.terms,
        "Cautions": tuple(row.text for row in offer.cautions),
        "Note on the machine": (offer.survey.machine.note,) if offer.survey.machine.note else (),
    }
    for head, said in words.items():
        if said:
            block.head(head)
        for text in said:
            sheet.merge_range(block.row, 0, block.row, 2, "", book.styles["prose"])
            book.put(sheet, block.row, 0, text, "prose")
            # Merged cells do not grow by themselves.
            rows = sum(len(part) // 110 + 1 for part in text.split("\n"))
            sheet.set_row(block.row, 15 * min(rows, 27))
            block.row += 1


_AS_SHARE = ("share", "probability", "correlation")
"""Units that are written as per cent begin with one of these."""
