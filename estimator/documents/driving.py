"""The worksheet that says what drives the price, and which line to look at before quoting."""

from __future__ import annotations

from estimator.documents.sheets import Book, Formula
from estimator.documents.tables import Column, Table
from estimator.quote import Quote


def drivers(book: Book, sheet, offer: Quote) -> None:
    """Drivers of the cost, the widest first; below them the lines worth a look."""
    found = Table(
        book,
        sheet,
        [
            Column("name", "Driver", width=40),
            Column("line", "Line", "count", 7),
            Column("low", "Price if it goes well", "money", 14),
            Column("high", "Price if it goes badly", "money", 14),
            Column("swing", "Between them", "money", 14),
            Column("first", "Share of spread, alone", "share", 13),
            Column("total", "Share of spread, with others", "share", 13),
        ],
        (
            {
                "name": driver.name,
                **({} if driver.line is None else {"line": driver.line + 1}),
                "low": driver.low / offer.divisor,
                "high": driver.high / offer.divisor,
                "swing": Formula("{high}-{low}", (driver.high - driver.low) / offer.divisor),
                "first": driver.first,
                "total": driver.total,
            }
            for driver in offer.drivers
        ),
    )
    top = found.end + 2
    book.put(sheet, top - 1, 0, "Lines that were not seen: look at these first", "section")
    Table(
        book,
        sheet,
        [
            Column("name", "Line of the survey"),
            Column("line", "Line", "count"),
            Column("fine", "Price if all is well", "money"),
            Column("worse", "Price if not", "money"),
            Column("value", "A look saves", "money"),
            Column("chance", "Chance that it is not well", "share"),
            Column("minutes", "Minutes a look may take", "count"),
        ],
        (
            {
                "name": offer.titles[sight.line],
                "line": sight.line + 1,
                "fine": sight.fine / offer.divisor,
                "worse": sight.worse / offer.divisor,
                "value": sight.value,
                "chance": sight.chance,
                "minutes": Formula("60*{value}/hour_cost", 60 * sight.value / offer.job.hour_cost),
            }
            for sight in offer.sights
        ),
        top=top,
        above=found,
    )
