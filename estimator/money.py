"""Money: exact decimals, rounded half up once, and shared out so that the parts add up.

Nothing here knows what is bought or sold. A float is taken by the digits it is written with,
so that 2.675 means 2.675 and not the binary fraction just below it.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Context, Decimal, InvalidOperation

from estimator.units import within

Amount = Decimal | float | int | str

# Wide enough that no sum of a workshop is rounded on the way, whatever the caller's context.
_CONTEXT = Context(prec=60, rounding=ROUND_HALF_UP)

# ISO 4217, list one: currencies whose minor unit is not two digits. Locale libraries carry the
# digits in daily use instead, which differ for some, so the standard's own figures stand here.
_MINOR_DIGITS = {
    code: digits
    for digits, codes in {
        0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
        3: "BHD IQD JOD KWD LYD OMR TND",
        4: "CLF UYW",
    }.items()
    for code in codes.split()
}


def minor_digits(currency: str) -> int:
    """Digits after the decimal point of a currency's smallest unit, after ISO 4217.

    Raises
    ------
    ValueError
        If `currency` is not three capital letters. Whether such a currency exists is not asked.

    Examples
    --------
    >>> minor_digits("USD"), minor_digits("JPY"), minor_digits("KWD")
    (2, 0, 3)
    """
    if not re.fullmatch("[A-Z]{3}", currency):
        raise ValueError(f'"{currency}" is not a currency code. Write three capitals, as in USD.')
    return _MINOR_DIGITS.get(currency, 2)


def to_money(amount: Amount, currency: str = "USD") -> Decimal:
    """An amount rounded half up, away from zero on a tie, to the currency's minor unit.

    Raises
    ------
    ValueError
        If `amount` is not a finite number.

    Examples
    --------
    >>> to_money(2.675), to_money("-0.125"), to_money(1234.5, "JPY")
    (Decimal('2.68'), Decimal('-0.13'), Decimal('1235'))
    """
    return _quantized(_exact(amount), Decimal(1).scaleb(-minor_digits(currency)))


def line_amount(units: Amount, price: Amount, currency: str = "USD") -> Decimal:
    """What one line of an order or a bill comes to: units × price, rounded half up.

    Rounded line by line, lines add up to the cent to what is asked for them all.

    Raises
    ------
    ValueError
        If one of them is not a finite number.

    Notes
    -----
    EN 16931-1, BT-131 (from memory): the net amount of an invoice line is rounded to the
    currency's minor unit, though the price of one (BT-146) may have more digits.

    Examples
    --------
    >>> line_amount(15, 0.457), line_amount(3, 0.335, "JPY")
    (Decimal('6.86'), Decimal('1'))
    """
    return to_money(_CONTEXT.multiply(_exact(units), _exact(price)), currency)


def round_half_up(amount: Decimal, step: Decimal) -> Decimal:
    """`amount` rounded to the nearest multiple of `step`, a tie away from zero.

    Parameters
    ----------
    step
        Such as 5 for prices that end in 0 or 5; over 0. [money]

    Raises
    ------
    ValueError
        If `step` is not over 0.

    Examples
    --------
    >>> round_half_up(Decimal("1232.50"), Decimal(5))
    Decimal('1235')
    """
    step = within("step", _exact(step), above=0)
    steps = _quantized(_CONTEXT.divide(_exact(amount), step), Decimal(1))
    return _CONTEXT.multiply(steps, step)


def allocate(
    total: Decimal, weights: Sequence[Amount], currency: str = "USD"
) -> tuple[Decimal, ...]:
    """Share `total` out by `weights` so that the parts add up to it exactly.

    Largest remainder: every part gets the whole minor units of its quota, and the units left over
    go one each to the largest remainders, the earlier part first where two are alike. A part
    is thus less than one minor unit from its quota. A negative total is shared like a positive.

    Parameters
    ----------
    total
        Whole minor units of the currency. [money]
    weights
        0 or more each; where all are 0 the parts are equal. [–]

    Raises
    ------
    ValueError
        If `total` is finer than the minor unit, there is no weight, or one is negative.

    Notes
    -----
    Proportions are computed in whole numbers, so no rounding can favour a part.

    Examples
    --------
    >>> allocate(Decimal("100.00"), [1, 1, 1])
    (Decimal('33.34'), Decimal('33.33'), Decimal('33.33'))
    """
    digits = minor_digits(currency)
    units = _exact(total).scaleb(digits, _CONTEXT)
    if units != units.to_integral_value():
        raise ValueError(f"{total} is finer than the minor unit of {currency}. Round it first.")
    if not weights:
        raise ValueError("there is nobody to share with; give at least one weight")
    ratios = [_exact(weight).as_integer_ratio() for weight in weights]
    common = math.lcm(*(below for _, below in ratios))
    shares = [above * (common // below) for above, below in ratios]
    if min(shares) < 0:
        place = next(i for i, share in enumerate(shares) if share < 0)
        raise ValueError(f"weight {place + 1} is {weights[place]}; it must be at least 0")
    if not any(shares):
        shares = [1] * len(shares)
    whole, sign = abs(int(units)), -1 if units < 0 else 1
    quotas = [divmod(whole * share, sum(shares)) for share in shares]
    parts = [quota for quota, _ in quotas]
    by_remainder = sorted(range(len(parts)), key=lambda i: -quotas[i][1])  # stable: earlier first
    for place in by_remainder[: whole - sum(parts)]:
        parts[place] += 1
    return tuple(Decimal(sign * part).scaleb(-digits, _CONTEXT) for part in parts)


def as_number(amount: Decimal) -> float | int:
    """An amount as JSON holds it: a whole number where it is one. [money]

    Examples
    --------
    >>> as_number(Decimal("12.00")), as_number(Decimal("12.50"))
    (12, 12.5)
    """
    return int(amount) if amount == amount.to_integral_value() else float(amount)


def tax(lines: Iterable[tuple[Amount, Amount]], currency: str = "USD") -> Decimal:
    """Tax on an invoice: computed line by line without rounding, rounded once on the sum.

    Parameters
    ----------
    lines
        (amount, rate) of each line; a rate is a share from 0 up to 1, 0.0725 for 7.25 %.
        [money], [–]

    Raises
    ------
    ValueError
        If a rate is out of range.

    Notes
    -----
    Streamlined Sales and Use Tax Agreement, section 324, lets a seller round per line or per
    invoice; the two may differ by a few cents. `tax_by_line` gives the other.

    Examples
    --------
    >>> lines = [("10.10", 0.0725)] * 3
    >>> tax(lines), sum(tax_by_line(lines))
    (Decimal('2.20'), Decimal('2.19'))
    """
    found = Decimal(0)
    for line in _taxed(lines):
        found = _CONTEXT.add(found, line)
    return to_money(found, currency)


def tax_by_line(
    lines: Iterable[tuple[Amount, Amount]], currency: str = "USD"
) -> tuple[Decimal, ...]:
    """Tax of each line, rounded there; their sum may differ from `tax` on the same lines.

    Examples
    --------
    >>> tax_by_line([("10.10", 0.0725), ("200.00", 0)])
    (Decimal('0.73'), Decimal('0.00'))
    """
    return tuple(to_money(line, currency) for line in _taxed(lines))


def format_money(amount: Amount, currency: str = "USD", locale: str = "en_US",
                 digits: int | None = None) -> str:
    """An amount as people of a locale write it, with the minor digits of ISO 4217.

    Parameters
    ----------
    digits
        How many minor digits to write; None takes the currency's.

    Raises
    ------
    ValueError
        If the amount is not a finite number or the locale's name is malformed.

    Examples
    --------
    >>> format_money("1234.5"), format_money(-12, "JPY", "en_US"), format_money("1234.5", digits=0)
    ('$1,234.50', '-¥12', '$1,235')
    """
    if digits is None:
        digits = minor_digits(currency)
        amount = to_money(amount, currency)
    else:
        amount = round_half_up(amount, Decimal(1).scaleb(-digits))
    place, pattern = _pattern(locale, digits)
    written = pattern.apply(amount, place, currency=currency, currency_digits=False)
    # A code of letters is kept off the digits, as CLDR's rule for currency spacing asks.
    return re.sub(r"(?<=[^\W\d_])(?=\d)|(?<=\d)(?=[^\W\d_])", "\xa0", written)


@functools.lru_cache(maxsize=64)
def _pattern(locale: str, digits: int):
    """A locale, and its pattern for money with so many minor digits."""
    from babel import Locale
    from babel.numbers import parse_pattern

    place = Locale.parse(locale)
    pattern = parse_pattern(place.currency_formats["standard"].pattern)
    pattern.frac_prec = (digits, digits)
    return place, pattern


def _exact(amount: Amount) -> Decimal:
    """The amount as it is written; floats by their shortest digits."""
    try:
        found = Decimal(amount if isinstance(amount, Decimal | int | str) else repr(float(amount)))
    except InvalidOperation:
        raise ValueError(f'"{amount}" is not an amount of money. Write it like 12.50.') from None
    if not found.is_finite():
        raise ValueError(f"{amount} is not an amount of money; it must be a finite number")
    return found


def _quantized(amount: Decimal, unit: Decimal) -> Decimal:
    try:
        # Adding zero turns -0.00 into 0.00.
        return _CONTEXT.add(amount.quantize(unit, context=_CONTEXT), 0)
    except InvalidOperation:
        raise ValueError(f"{amount:.3e} is too large for an amount of money") from None


def _taxed(lines: Iterable[tuple[Amount, Amount]]) -> Iterable[Decimal]:
    for amount, rate in lines:
        share = within("rate", _exact(rate), at_least=0, up_to=1, fix="Write 0.0725 for 7.25 %.")
        yield _CONTEXT.multiply(_exact(amount), share)
