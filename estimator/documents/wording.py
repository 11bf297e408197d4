"""How figures, days and words are written in the documents."""

from __future__ import annotations

import math
import re
import unicodedata
from datetime import date
from decimal import Decimal

from estimator.money import format_money
from estimator.quote import Quote, QuoteLine
from estimator.shop import Settings
from estimator.survey import Line
from estimator.units import counted

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
        "title": name + more, "short": name, "foot": f"{closed(name)}, {day(on, settings)}",
        "by": made_by(settings, on),
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


def figure(amount: float, settings: Settings) -> str:
    """A whole number as the shop's locale writes it.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> figure(-1234.0, open_shop().settings)
    '-1,234'
    """
    from babel.numbers import format_decimal

    return format_decimal(amount, "#,##0", locale=settings.locale)


def signed(value):
    """Data of a paper whose negative figures carry a minus, from which no line breaks.

    Examples
    --------
    >>> signed({"says": "part out -$67, 10-12 hours, -3 %"})
    {'says': 'part out −$67, 10-12 hours, −3 %'}
    """
    if isinstance(value, str):
        return re.sub(r"(?<![^\s(])-(?=[^\s\w]?[A-Za-z]{0,3}[^\s\w]?[.  ]?\d)", "−", value)
    if isinstance(value, dict):
        return {key: signed(one) for key, one in value.items()}
    return [signed(one) for one in value] if isinstance(value, list | tuple) else value


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


def weekday(when: date, settings: Settings, *, short: bool = False) -> str:
    """A date with its day of the week, as `day` writes it.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> settings = open_shop().settings
    >>> weekday(date(2026, 3, 2), settings), weekday(date(2026, 3, 2), settings, short=True)
    ('Monday, March 2, 2026', 'Mon, Mar 2, 2026')
    """
    from babel.dates import format_date, format_skeleton

    said = (format_skeleton("yMMMEd", when, locale=settings.locale) if short
            else format_date(when, "full", locale=settings.locale))
    return said if held(said) else f"{when:%a} {when.isoformat()}"


def this_year(when: date, settings: Settings) -> str:
    """A day and its month, where the year goes without saying.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> this_year(date(2026, 3, 2), open_shop().settings)
    'Mar 2'
    """
    from babel.dates import format_skeleton

    said = format_skeleton("MMMd", when, locale=settings.locale)
    return said if held(said) else f"{when:%m-%d}"


def hours(count: float) -> str:
    """Hours to one decimal; what takes less than three minutes takes some time all the same.

    Examples
    --------
    >>> hours(1.25), hours(0.02), hours(0)
    ('1.2', '< 0.1', '0.0')
    """
    return f"{count:.1f}" if count >= 0.05 or not count else "< 0.1"


def closed(said: str) -> str:
    """A text that others follow on its line: written from the right, it must not turn them round.

    Examples
    --------
    >>> closed("Harbour Lights"), closed("שלום") == "שלום\u200e"
    ('Harbour Lights', True)
    """
    turned = any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in said)
    return f"{said}\u200e" if turned else said


def made_by(settings: Settings, on: date) -> str:
    """The shop and the day, whose parts stay on one line.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> made_by(open_shop().settings, date(2026, 3, 2))
    'The workshop, March\\xa02,\\xa02026'
    """
    return f"{closed(settings.name)}, {day(on, settings).replace(' ', chr(0xa0))}"


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


def survey_line(row: QuoteLine, offer: Quote) -> Line | None:
    """The survey line, or the extra, that a line of the quote stands for."""
    return None if row.line is None else offer.job.scope.lines[row.line]


__all__ = ["counted", "day", "money", "percent", "plain", "weeks"]
