"""How figures, days and words are written in the documents."""

from __future__ import annotations

import math
import re
from datetime import date
from decimal import Decimal

from estimator.money import format_money
from estimator.quote import Quote, QuoteLine
from estimator.shop import Settings
from estimator.survey import Line

# What has no place on a page: controls other than the line end and the tab, half characters.
_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029]|[\ud800-\udfff]")
# Marks that turn the direction of all that follows; words of any script do without.
_TURNS = re.compile("[\u202a-\u202e\u2066-\u2069]")


def plain(said: str) -> str:
    """A text as a page can hold it: as typed, with plain line ends and no control characters.

    Examples
    --------
    >>> plain("rust\\r\\n\\x07below")
    'rust\\n\\ufffdbelow'
    """
    said = _TURNS.sub("", said.replace("\r\n", "\n").replace("\r", "\n"))
    return _CONTROLS.sub("\ufffd", said)


def cleaned(value):
    """All texts within some data as a page can hold them."""
    if isinstance(value, str):
        return plain(value)
    if isinstance(value, dict):
        return {key: cleaned(held) for key, held in value.items()}
    return [cleaned(held) for held in value] if isinstance(value, list) else value


def paper(name: str, number: str, settings: Settings, on: date, more: str = "") -> dict:
    """What every paper of the shop says of itself; `more` stands after its name in the title."""
    return {
        "title": name + more, "short": name, "foot": f"{name}, {day(on, settings)}",
        "paper": settings.paper, "date": [on.year, on.month, on.day], "number": number,
        "shop": {"name": settings.name,
                 "lines": "\n".join(filter(None, (settings.address, settings.contact)))},
    }


def facts(*rows: tuple[str, str]) -> list[list[str]]:
    """Names with what is said of them, where anything is."""
    return [[name, said] for name, said in rows if said]


def held(said: str) -> bool:
    """Do the typefaces that come with the program hold this script?

    Latin, Greek, Cyrillic, Armenian, Hebrew, Arabic, marks and arrows are held.

    Examples
    --------
    >>> held("Łódź, שלום"), held("日本")
    (True, False)
    """
    return all(
        letter < "\u0700" or "\u1e00" <= letter < "\u2c00" or letter in "\ufb01\ufb02\ufffd"
        for letter in said
    )


def money(amount: Decimal | float, settings: Settings) -> str:
    """An amount as the shop's locale writes it; the wide yen sign as the usual one.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> money(1234.5, open_shop().settings)
    '$1,234.50'
    """
    return format_money(amount, settings.currency, settings.locale).replace("\uffe5", "¥")


def whole(amount: float, settings: Settings) -> str:
    """An amount in whole units of the currency, where cents would only be noise.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> whole(1234.56, open_shop().settings)
    '$1,235'
    """
    return format_money(amount, settings.currency, settings.locale, digits=0).replace("\uffe5", "¥")


def day(when: date, settings: Settings) -> str:
    """A date in full as the shop's locale writes it, or after ISO 8601 where fonts may lack.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> day(date(2026, 3, 2), open_shop().settings)
    'March 2, 2026'
    """
    from babel.dates import format_date

    said = format_date(when, "long", locale=settings.locale)
    return said if held(said) else when.isoformat()


def percent(share: float, settings: Settings) -> str:
    """A share as per cent, with the decimals it needs and no more.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> percent(0.0725, open_shop().settings)
    '7.25%'
    """
    from babel import Locale
    from babel.numbers import format_decimal, parse_pattern

    place = Locale.parse(settings.locale)
    figure = format_decimal(round(share * 100, 4), "#,##0.####", locale=place)
    pattern = parse_pattern(place.percent_formats[None].pattern)
    return f"{pattern.prefix[0].replace('%', '')}{figure}{pattern.suffix[0] or '%'}"


def weeks(days: float) -> str:
    """Days as whole weeks, rounded up.

    Examples
    --------
    >>> weeks(3), weeks(7.5)
    ('about 1 week', 'about 2 weeks')
    """
    count = max(1, math.ceil(days / 7 - 1e-9))
    return f"about {count} week{'s' if count > 1 else ''}"


def counted(count: int, noun: str, plural: str = "") -> str:
    """A count and its noun.

    Examples
    --------
    >>> counted(1, "line"), counted(3, "assembly", "assemblies")
    ('1 line', '3 assemblies')
    """
    return f"{count:,} {noun if count == 1 else plural or noun + 's'}"


def survey_line(row: QuoteLine, offer: Quote) -> Line | None:
    """The survey line, or the extra, that a line of the quote stands for."""
    return None if row.line is None else offer.job.scope.lines[row.line]


__all__ = ["counted", "day", "money", "percent", "plain", "weeks"]
