"""Workbooks: sheets, styles, and how a value is written so that it stays what it is.

Text is always written as text, whatever it begins with.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from estimator.documents.wording import plain
from estimator.money import minor_digits
from estimator.shop import Settings

MOST_LETTERS = 32_767
"""Letters that one cell of a workbook can hold."""


@dataclass(frozen=True)
class Formula:
    """A formula without its equals sign, and the value it has."""

    text: str
    value: float

    def __post_init__(self):
        object.__setattr__(self, "value", float(self.value))


def _money_format(settings: Settings) -> str:
    """A spreadsheet's number format for the shop's currency, placed as the locale writes it.

    Nothing at all shows as a dash, so that what costs something stands out.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> _money_format(open_shop().settings)
    '"$"#,##0.00;-"$"#,##0.00;–'
    """
    from babel import Locale
    from babel.numbers import get_currency_symbol, parse_pattern

    pattern = parse_pattern(Locale.parse(settings.locale).currency_formats["standard"].pattern)
    digits = minor_digits(settings.currency)
    figure = "#,##0" + ("." + "0" * digits if digits else "")
    symbol = get_currency_symbol(settings.currency, settings.locale).replace('"', "")

    def around(said: str) -> str:
        said = said.replace("¤", symbol).replace("'", "")
        return f'"{said}"' if said else ""

    shown = f"{around(pattern.prefix[0])}{figure}{around(pattern.suffix[0])}"
    return f"{shown};-{shown};–"


class Book:
    """A workbook in the making: its sheets, its styles and how cells are written.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> book = Book(open_shop().settings, date(2026, 3, 2), "Harbour Lights")
    >>> sheet = book.sheet("Hours", "What it takes.")
    >>> book.put(sheet, 3, 0, 2.5, "hours"), book.put(sheet, 3, 1, "Flipper", "text")
    (2.5, 0.0)
    >>> book.done()[:2]
    b'PK'
    """

    def __init__(self, settings: Settings, on: date, title: str):
        import io
        from datetime import datetime

        from xlsxwriter import Workbook

        self.out = io.BytesIO()
        self.book = Workbook(
            self.out,
            {
                "in_memory": True,
                "strings_to_formulas": False,
                "strings_to_urls": False,
                "strings_to_numbers": False,
                "default_date_format": "yyyy-mm-dd",
            },
        )
        # The day of the quote and no clock: the same quote gives the same bytes.
        self.book.set_properties(
            {
                "title": plain(title),
                "author": plain(settings.name),
                "created": datetime(on.year, on.month, on.day),
            }
        )
        self.title = title
        self.settings = settings
        self.money = _money_format(settings)
        looks = {
            "text": {"text_wrap": True, "align": "left", "indent": 1},
            "name": {},
            # Words that are written from the right run over the cells beside them all the same.
            "said": {"align": "left"},
            "remark": {"font_color": "#565D66", "align": "left", "indent": 1},
            "note": {"text_wrap": True, "font_color": "#565D66", "align": "left", "indent": 1},
            "prose": {"text_wrap": True},
            "count": {"num_format": "#,##0"},
            "quantity": {"num_format": "#,##0.###"},
            "hours": {"num_format": "#,##0.00"},
            "days": {"num_format": "#,##0.0"},
            "share": {"num_format": "0.0%"},
            "money": {"num_format": self.money},
            "date": {"num_format": "yyyy-mm-dd", "align": "left"},
        }
        self.styles = {}
        for name, look in looks.items():
            look = {"valign": "top", **look}
            self.styles[name] = self.book.add_format(look)
            self.styles[f"{name} total"] = self.book.add_format({**look, "bold": True, "top": 1})
        plain_head = {"bold": True, "valign": "bottom", "bottom": 1, "text_wrap": True}
        self.styles["head"] = self.book.add_format(plain_head)
        self.styles["head text"] = self.book.add_format(
            {**plain_head, "align": "left", "indent": 1}
        )
        self.styles["head right"] = self.book.add_format({**plain_head, "align": "right"})
        self.styles["title"] = self.book.add_format({"bold": True, "font_size": 14})
        self.styles["section"] = self.book.add_format(
            {"bold": True, "font_size": 11, "font_color": "#7D3220"}
        )

    def sheet(self, name: str, about: str, *, upright: bool = False):
        """A new sheet with its title in the first row and what it says in the second."""
        sheet = self.book.add_worksheet(name)
        sheet.hide_gridlines(2)
        if not upright:
            sheet.set_landscape()
        sheet.set_paper(1 if self.settings.paper == "us-letter" else 9)
        sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{self.title.replace('&', '&&')}&C&A&RPage &P of &N")
        sheet.write_string(0, 0, name, self.styles["title"])
        sheet.write_string(1, 0, about, self.styles["name"])
        return sheet

    def put(self, sheet, row: int, column: int, value, style: str) -> float:
        """Write one value; returns it as a number, 0 where it is none."""
        look = self.styles[style]
        if value is None:
            sheet.write_blank(row, column, None, look)
        elif isinstance(value, Formula):
            sheet.write_formula(row, column, f"={value.text}", look, value.value)
            return value.value
        elif isinstance(value, str):
            sheet.write_string(row, column, plain(value)[:MOST_LETTERS], look)
        elif isinstance(value, date):
            sheet.write_datetime(row, column, value, look)
        else:
            sheet.write_number(row, column, float(value), look)
            return float(value)
        return 0.0

    def money_width(self, amount: float) -> int:
        """Width in letters of a column that holds amounts up to this one, in bold."""
        digits = minor_digits(self.settings.currency)
        return len(f"{amount:,.{digits}f}") + len(self.money.split(";")[0].split("#")[0]) + 2

    def name(self, name: str, place: str) -> None:
        """Give a cell a name that formulas can use."""
        self.book.define_name(name, f"={place}")

    def done(self) -> bytes:
        """The bytes of the workbook."""
        self.book.close()
        return self.out.getvalue()


__all__ = ["Book"]
