"""Money against the standards it follows, and parts that add up whatever they are."""

from decimal import Context, Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.money import (
    allocate,
    format_money,
    line_amount,
    minor_digits,
    round_half_up,
    tax,
    tax_by_line,
    to_money,
)

D = Decimal


@pytest.mark.parametrize(
    ("digits", "codes"),
    [
        (0, "JPY KRW ISK CLP PYG VND UGX RWF XAF"),
        (2, "USD EUR GBP CAD AUD INR"),
        (3, "KWD BHD JOD OMR TND IQD LYD"),
        (4, "CLF UYW"),
    ],
)
def test_minor_units_are_those_of_the_standard(digits, codes):
    """Currencies with no, two, three and four digits after the point."""
    # ISO 4217, as in searchfox.org, js/src/builtin/intl/CurrencyDataGenerated.js.
    assert {minor_digits(code) for code in codes.split()} == {digits}


@pytest.mark.parametrize("code", ["usd", "US", "USDX", "$", ""])
def test_what_is_not_a_currency_code_is_refused(code):
    """Anything but three capitals is refused with what to write."""
    with pytest.raises(ValueError, match="Write three capitals"):
        minor_digits(code)


@pytest.mark.parametrize(
    ("amount", "cents"),
    [("7.325", "7.33"), ("2.675", "2.68"), ("0.125", "0.13"), ("0.135", "0.14"), ("0.175", "0.18")],
)
def test_half_a_cent_goes_up_for_text_and_floats_alike(amount, cents):
    """A tie is rounded up although the binary float lies just below it."""
    # Python documentation of decimal, ROUND_HALF_UP; gist.github.com/sailfish009.
    assert to_money(amount) == to_money(float(amount)) == to_money(D(amount)) == D(cents)


def test_more_digits_than_a_decimal_has_by_itself_keep_their_cents():
    """Sums of over 28 digits, where the decimals of Python begin to round, stay exact."""
    # Python documentation of decimal: the default context has a precision of 28 places.
    assert to_money("123456789012345678901234567890.125") == D("123456789012345678901234567890.13")
    half = D("50000000000000000000000000000.01")
    assert allocate(Context(prec=40).multiply(half, 2), [1, 1]) == (half, half)


def test_whole_units_are_rounded_half_up():
    """2.5 and 3.5 of a currency without a minor unit are 3 and 4."""
    # Python documentation of decimal, ROUND_HALF_UP.
    assert (to_money(2.5, "JPY"), to_money(3.5, "JPY")) == (D(3), D(4))


def test_a_loss_is_rounded_like_a_gain():
    """Ties go away from zero on both sides, and nothing is left as minus zero."""
    assert to_money("-2.675") == D("-2.68")
    assert str(to_money("-0.001")) == "0.00"


def test_money_does_not_depend_on_the_callers_context():
    """A coarse decimal context elsewhere in the program changes no price."""
    with localcontext(prec=3):
        assert to_money("123456.785") == D("123456.79")
        assert tax([("123456.78", "0.1")]) == D("12345.68")
        assert allocate(D("123456.78"), [1]) == (D("123456.78"),)
        assert round_half_up(D("123456.78"), D("0.05")) == D("123456.80")


@pytest.mark.parametrize("amount", ["twelve", "", "nan", float("inf"), "1e99"])
def test_what_is_not_an_amount_is_refused(amount):
    """Words, nothing, no number and no end are refused as no amount of money."""
    with pytest.raises(ValueError, match="amount of money"):
        to_money(amount)


@pytest.mark.parametrize(
    ("amount", "step", "rounded"),
    [("1232.49", "5", "1230"), ("1232.50", "5", "1235"), ("-1232.50", "5", "-1235"),
     ("7.12", "0.05", "7.10"), ("7.125", "0.05", "7.15"), ("149.99", "100", "100")],
)
def test_prices_are_rounded_to_the_step(amount, step, rounded):
    """The nearest multiple, a tie away from zero."""
    assert round_half_up(D(amount), D(step)) == D(rounded)


@pytest.mark.parametrize(("units", "price", "currency", "amount"), [
    (15, 0.457, "USD", "6.86"), (3, 0.145, "USD", "0.44"), (7, "0.095", "EUR", "0.67"),
    (10_000, 1.23456, "USD", "12345.60"), (3, 0.5, "JPY", "2"), (1, 0.0005, "KWD", "0.001")])
def test_a_line_is_units_times_price_in_whole_coins(units, price, currency, amount):
    """Multiplied in decimals and rounded half up once; as floats 3 × 0.145 is less than 0.435."""
    # The first three after EN 16931-1, BT-131 with BT-146 (from memory), reckoned by hand.
    assert line_amount(units, price, currency) == D(amount)


def test_a_step_of_nothing_is_refused():
    """Rounding to multiples of zero has no meaning."""
    with pytest.raises(ValueError, match="step is 0; it must be over 0"):
        round_half_up(D(1), D(0))


POPULATIONS = [630560, 475327, 432879, 353523, 331589, 278514, 236841, 206236, 179570, 141822,
               85533, 70835, 68705, 68446, 55540]


def test_largest_remainders_share_out_as_published():
    """The seats of fifteen states by their populations."""
    # Hamilton's method: electowiki.org/wiki/Hamilton_method, oldid 9372.
    seats = allocate(D(60), POPULATIONS, "JPY")
    assert seats == tuple(map(D, [11, 8, 7, 6, 6, 5, 4, 3, 3, 2, 1, 1, 1, 1, 1]))


def test_largest_remainders_share_out_the_six_party_example():
    """The usual six-party example comes out in the order of the parties."""
    # Largest-remainder method, six parties and ten seats; from memory.
    votes = [47_000, 16_000, 15_800, 12_000, 6_100, 3_100]
    assert allocate(D(10), votes, "JPY") == tuple(map(D, [5, 2, 1, 1, 1, 0]))


WEIGHTS = st.lists(st.floats(0, 1e6) | st.integers(0, 10**6), min_size=1, max_size=12)


@given(st.integers(-10**9, 10**9), WEIGHTS, st.sampled_from(["USD", "JPY", "KWD"]))
def test_parts_make_up_the_whole_and_stay_by_their_quota(units, weights, currency):
    """Parts sum to the total exactly, each less than a minor unit from its exact share."""
    unit = D(1).scaleb(-minor_digits(currency))
    total = units * unit
    parts = allocate(total, weights, currency)
    assert sum(parts) == total
    exact = [D(repr(weight)) for weight in weights]
    if not any(exact):
        exact = [D(1)] * len(exact)
    with localcontext(prec=80):
        for part, weight in zip(parts, exact, strict=True):
            assert abs(part - total * weight / sum(exact)) < unit
    assert allocate(-total, weights, currency) == tuple(-part for part in parts)


def test_alike_parts_get_the_odd_cents_from_the_front():
    """Ties in the remainder go to the earlier part; weights of nothing share equally."""
    thirds = (D("33.34"), D("33.33"), D("33.33"))
    assert allocate(D("100.00"), [0.1, 0.1, 0.1]) == thirds
    assert allocate(D("100.00"), [0, 0, 0]) == thirds
    assert allocate(D("0.02"), [0.1, 0.2, 0.1]) == (D("0.01"), D("0.01"), D("0.00"))


@pytest.mark.parametrize(
    ("total", "weights", "said"),
    [(D("1.00"), [1, -2], "weight 2 is -2"), (D("1.00"), [0, 0.5, -2], "weight 3 is -2"),
     (D("1.001"), [1], "finer than the minor unit"), (D("1.00"), [], "at least one weight")],
)
def test_what_cannot_be_shared_is_refused(total, weights, said):
    """A negative weight, half a cent, and nobody to share with."""
    with pytest.raises(ValueError, match=said):
        allocate(total, weights)


def test_tax_per_invoice_and_per_line_differ_by_a_cent():
    """Three lines of 10.10 at 7.25 %: 2.20 on the invoice, 2.19 line by line."""
    # Streamlined Sales and Use Tax Agreement, section 324 (rule); figures computed from it.
    lines = [("10.10", 0.0725)] * 3
    assert tax(lines) == D("2.20")
    assert tax_by_line(lines) == (D("0.73"),) * 3


def test_tax_takes_each_line_at_its_own_rate():
    """Untaxed labour beside taxed parts adds nothing."""
    assert tax([(D("640.00"), 0), (D("118.35"), "0.0825"), (D("-18.35"), 0.0825)]) == D("8.25")


@pytest.mark.parametrize("rate", [7.25, 1.01, -0.01])
def test_a_tax_rate_that_is_no_share_is_refused(rate):
    """Per cent, more than all, and less than nothing are refused with how to write a rate."""
    with pytest.raises(ValueError, match=r"Write 0\.0725 for 7\.25 %"):
        tax([(100, rate)])
    with pytest.raises(ValueError, match="rate is"):
        tax_by_line([(100, rate)])


def test_a_tax_may_be_all_of_the_amount():
    """A rate of 1 is the last that is taken."""
    assert tax([("12.34", 1)]) == D("12.34")


@given(st.lists(st.tuples(st.decimals(0, 10_000, places=2), st.decimals(0, "0.3", places=4)),
                max_size=20))
def test_tax_by_line_is_within_half_a_cent_a_line(lines):
    """Rounding per line moves the tax by at most half a cent for each line and the invoice."""
    difference = abs(tax(lines) - sum(tax_by_line(lines), D(0)))
    assert difference <= D("0.005") * (len(lines) + 1)


@pytest.mark.parametrize(
    ("amount", "currency", "locale", "written"),
    [("1234.5", "USD", "en_US", "$1,234.50"), ("-1234.5", "EUR", "de_DE", "-1.234,50\xa0€"),
     (1234.5, "JPY", "en_US", "¥1,235"), ("12.3456", "KWD", "en_US", "KWD\xa012.346"),
     ("5", "IQD", "en_US", "IQD\xa05.000"), ("1234567.5", "INR", "en_IN", "₹12,34,567.50")],
)
def test_money_is_written_as_the_locale_writes_it(amount, currency, locale, written):
    """Signs, groups and the point by locale; digits by the currency."""
    assert format_money(amount, currency, locale) == written


@pytest.mark.parametrize(
    ("digits", "written"), [(0, "$1,235"), (1, "$1,234.6"), (3, "$1,234.555")])
def test_money_is_rounded_half_up_to_the_digits_asked_for(digits, written):
    """Fewer or more digits than the currency has; the tie at one of them goes up."""
    assert format_money("1234.5550" if digits != 1 else "1234.55", digits=digits) == written
