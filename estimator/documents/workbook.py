"""The estimate as a workbook for the shop: every hour and cost that stands under the price.

Quantities, ranges and rounded prices are values; what follows from them is a formula, so that a
figure that is changed on one sheet moves what rests on it. The price itself comes from the odds and
stays as quoted.
"""

from __future__ import annotations

from estimator.documents.details import buying, finds, outwork, supplies, work
from estimator.documents.driving import drivers
from estimator.documents.sheets import Book, Formula
from estimator.documents.summary import assumptions, summary
from estimator.documents.tables import Column, Table
from estimator.documents.wording import survey_line
from estimator.estimate import KINDS
from estimator.quote import Quote

_SHEETS = {
    "Summary": "For the shop alone: what the job is expected to cost, and what it is offered for.",
    "Lines": "Each line of the quote: expected hours and cost, and its price before tax.",
    "Work": "Each work item. Hours are hands-on for the whole item; set-up is done once a job and "
    "shared out; allowances come on top.",
    "Parts and materials": "What each line uses. Costs of parts carry freight; a material sold "
    "whole is charged by the pack.",
    "Outwork": "What is sent out, by lot, and how each lot's charge falls on the lines.",
    "Finds": "What may come to light, and lines that may be one condition worse than written.",
    "Buying": "The parts, the suppliers chosen for all of them together, and their orders.",
    "Drivers": "What moves the price of this job: each driver alone in its best and in its worst "
    "tenth; and which lines to look at before quoting.",
    "Assumptions": "What all sheets rest on. Change a setting, and costs follow.",
}


def render(offer: Quote) -> bytes:
    """`estimate.xlsx`; the same bytes for the same quote."""
    book = Book(offer.settings, offer.on, f"Estimate {offer.number}")
    sheets = {
        name: book.sheet(name, about, upright=name in ("Summary", "Assumptions"))
        for name, about in _SHEETS.items()
    }
    assumptions(book, sheets["Assumptions"], offer)
    tables = {
        "work": work(book, sheets["Work"], offer),
        "supplies": supplies(book, sheets["Parts and materials"], offer),
        "shares": outwork(book, sheets["Outwork"], offer),
        "finds": finds(book, sheets["Finds"], offer),
    }
    budget = buying(book, sheets["Buying"], offer)
    drivers(book, sheets["Drivers"], offer)
    lines = _lines(book, sheets["Lines"], offer, tables)
    summary(book, sheets["Summary"], offer, lines, tables["finds"], budget)
    return book.done()


def _lines(book: Book, sheet, offer: Quote, tables: dict[str, Table]) -> Table:
    columns = [
        Column("line", "Line", "count", 6),
        Column("kind", "Kind", width=8),
        Column("heading", "Heading", width=18),
        Column("title", "Title", width=26),
        Column("found", "As found", width=10),
        Column("sight", "Certainty", width=11),
        Column("note", "Note", width=26),
        Column("hours", "Expected hours", "hours", 10, total=True),
        *(Column(f"cost_{kind}", f"Cost: {kind}", "money", 10, total=True) for kind in KINDS),
        Column("cost", "Expected cost", "money", 11, total=True),
        *(Column(f"price_{kind}", f"Price: {kind}", "money", 10, total=True) for kind in KINDS),
        Column("price", "Price before tax", "money", 11, total=True),
        Column("rows", "Rows it rests on", "remark", 40),
    ]
    costs = {entry.line: entry.kinds for entry in offer.job.lines}
    rows = []
    for row in offer.lines:
        line = survey_line(row, offer)
        cells: dict[str, object] = {
            "kind": row.kind,
            "heading": row.heading,
            "title": row.title,
            "price": Formula("SUM({price_labour}:{price_outwork})", row.price),
            "rows": "; ".join(row.places),
            **{f"price_{kind}": row.kinds[kind] for kind in KINDS},
        }
        if line is not None:
            cells |= {
                "line": row.line + 1,
                "found": str(line.condition),
                "sight": str(line.certainty),
                "note": line.note,
                **_line_costs(row.hours, costs[row.line], tables),
            }
        elif row.kind == "finds":
            finds = tables["finds"]
            cells |= {
                "hours": finds.total("hours"),
                "cost_labour": finds.total("labour"),
                "cost_parts": finds.total("other"),
                "cost_materials": 0,
                "cost_outwork": 0,
            }
        else:
            cells |= {"hours": 0, **{f"cost_{kind}": 0 for kind in KINDS}}
        cells["cost"] = Formula("SUM({cost_labour}:{cost_outwork})", row.cost)
        rows.append(cells)
    return Table(book, sheet, columns, rows)


def _line_costs(hours: float, kinds, tables: dict[str, Table]) -> dict:
    """What a line takes, gathered from the other sheets by its number."""
    work, supplies, shares = tables["work"], tables["supplies"], tables["shares"]

    def gathered(table: Table, key: str, value: float) -> Formula:
        return Formula(f"SUMIF({table.range('line')},{{line}},{table.range(key)})", value)

    def supplied(does: str, value: float) -> Formula:
        return Formula(
            f"SUMIFS({supplies.range('mean')},{supplies.range('line')},{{line}},"
            f'{supplies.range("does")},"{does}")',
            value,
        )

    return {
        "hours": gathered(work, "hours", hours),
        "cost_labour": gathered(work, "cost", kinds["labour"]),
        "cost_parts": supplied("part", kinds["parts"]),
        "cost_materials": supplied("material", kinds["materials"]),
        "cost_outwork": gathered(shares, "cost", kinds["outwork"]),
    }
