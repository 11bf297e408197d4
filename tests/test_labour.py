"""What an hour and a job cost, against textbook cases."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.labour import (
    bill_hours,
    break_even,
    charge_out,
    hourly_cost,
    job_cost,
    margin_from_markup,
    margin_of,
    markup_from_margin,
    overhead_rate,
    safety,
    under_applied,
)


def test_charge_out_rate_with_unproductive_hours():
    """25 an hour with 20 % on-costs and 75 % productive hours: 80 costs, 100 or 96 is charged."""
    # Markup and margin forms: calculator.academy/charge-out-rate-calculator; figures derived.
    cost = hourly_cost(25, 0.20, 2080, 62_400, 0.75)
    assert cost == pytest.approx(80)
    assert charge_out(cost, 0.20) == pytest.approx(100)
    assert charge_out(cost, margin_from_markup(0.20)) == pytest.approx(96)


def test_a_year_of_billed_hours_pays_for_the_year():
    """All productive hours at cost bring in exactly pay, on-costs and overhead."""
    cost = hourly_cost(31, 0.27, 1800, 21_500, 0.62)
    assert cost * 1800 * 0.62 == pytest.approx(31 * 1.27 * 1800 + 21_500)


def test_cost_sheet_of_the_sign_maker():
    """Overhead of 2.50 per labour dollar makes job MAC001 cost 931 and leave 53.45 %."""
    # Franklin, Graybeal, Cooper, Managerial Accounting, OpenStax 2019, 4.4 to 4.6 (the picture of
    # the cost sheet prints a rate of 1.50; 66 at 2.50 is the 165 it carries).
    rate = overhead_rate(250_000, 100_000)
    assert rate == 2.5
    materials = 300 + 100 + 60 + 60 + 120 + 60
    labour = 15 + 15 + 36
    cost = job_cost(materials, labour, rate=rate, base=labour)
    assert cost == 931
    assert 2000 - cost == 1069
    assert 100 * margin_of(2000, cost) == pytest.approx(53.45)
    assert under_applied([256_500], rate, 100_000) == 6500


def test_overhead_left_over_at_the_end_of_the_year():
    """6,240 hours at 33.50 carry all but 210 of the year's overhead."""
    # Franklin, Graybeal, Cooper, Managerial Accounting, OpenStax 2019, 4.6.
    bills = [25_000, 31_750, 50_000, 17_500, 85_000]
    assert under_applied(bills, 33.50, 6240) == pytest.approx(210)


def test_television_repair():
    """A part of 42 and three hours: cost 192, bill 310, and what margin and markup that is."""
    # Franklin, Graybeal, Cooper, Managerial Accounting, OpenStax 2019, 4.8; ratios derived.
    labour = 3 * 25
    cost = job_cost(42, labour, rate=overhead_rate(75, 75), base=labour)
    bill = 70 + 3 * 80
    assert (cost, bill, bill - cost) == (192, 310, 118)
    assert 100 * margin_of(bill, cost) == pytest.approx(38.06, abs=0.01)
    assert 100 * markup_from_margin(margin_of(bill, cost)) == pytest.approx(61.46, abs=0.01)
    with_fee = bill + 50
    assert with_fee - cost == 168
    assert 100 * margin_of(with_fee, cost) == pytest.approx(46.67, abs=0.01)
    assert margin_of(70, 42) == pytest.approx(0.40)
    assert 100 * markup_from_margin(0.40) == pytest.approx(66.67, abs=0.01)
    assert margin_from_markup(0.60) == pytest.approx(margin_of(80, 50)) == pytest.approx(0.375)


def test_overhead_by_hours_of_three_instruments():
    """Two dollars an hour spread over the units of each product."""
    # Franklin, Graybeal, Cooper, Managerial Accounting, OpenStax 2019, 6.1.
    rate = overhead_rate(2_500_000, 1_250_000)
    assert rate == 2
    products = [  # hours, units, materials, labour, price; printed cost and gross profit
        (350_000, 140_000, 3.50, 10.00, 20, 18.50, 1.50),
        (400_000, 100_000, 6.00, 2.75, 25, 16.75, 8.25),
        (500_000, 250_000, 11.70, 4.30, 30, 20.00, 10.00),
    ]
    for hours, units, materials, labour, price, cost, profit in products:
        found = job_cost(materials, labour, rate=rate, base=hours / units)
        assert found == pytest.approx(cost)
        assert price - found == pytest.approx(profit)


@given(st.floats(0.01, 10_000), st.floats(0, 0.95))
def test_margin_and_markup_say_the_same(cost, margin):
    """A price made with a margin has that margin, and its markup leads back to it."""
    price = charge_out(cost, margin)
    assert margin_of(price, cost) == pytest.approx(margin, abs=1e-9)
    assert cost * (1 + markup_from_margin(margin)) == pytest.approx(price)
    assert margin_from_markup(markup_from_margin(margin)) == pytest.approx(margin)


@pytest.mark.parametrize(
    ("hours", "increment", "billed"),
    [(0, 0.25, 0), (0.01, 0.25, 0.25), (2.25, 0.25, 2.25), (2.26, 0.25, 2.5), (3.2, 0.5, 3.5),
     (3.2, 1, 4), (0.1 + 0.2, 0.1, 0.3), (1.1, 0.1, 1.1)],
)
def test_hours_are_billed_in_whole_increments(hours, increment, billed):
    """Every increment begun is billed, and no further one for the dust of floats."""
    assert bill_hours(hours, increment) == billed


@given(st.floats(0, 500), st.sampled_from([0.1, 0.25, 0.5, 1.0]))
def test_billed_hours_cover_those_worked(hours, increment):
    """The bill is at least what was worked and less than an increment over."""
    billed = bill_hours(hours, increment)
    assert hours - 1e-6 <= billed < hours + increment + 1e-9
    assert bill_hours(billed, increment) == billed


def test_break_even_and_profit_wanted_of_two_firms():
    """Units until fixed cost is paid, with a profit wanted before and after tax, as printed."""
    # OpenStax, Principles of Managerial Accounting, 3.2 (Hicks; Marshall).
    assert break_even(18_000, 100, 20) == 225
    assert break_even(18_000, 100, 20, target=16_000) == 425
    assert break_even(18_000, 100, 20, target=24_000, tax=0.4) == 725
    assert break_even(14_000, 400, 150) == 56
    assert break_even(14_000, 400, 150, target=10_000) == 96


def test_margin_of_safety():
    """How much of its sales a firm could lose, as printed."""
    # OpenStax, Principles of Managerial Accounting, 3.5 (Manteo).
    needed = break_even(85_000, 90, 40)
    assert needed * 90 == 153_000
    assert safety(2_500, needed) == pytest.approx(0.32)
    assert (2_500 - needed) * 90 == 72_000
    assert break_even(85_000, 90, 40, target=10_000) * 90 == 171_000


def test_an_hour_at_its_cost_breaks_even_at_the_hours_it_was_costed_for():
    """Charged at what it costs, all hours booked in a year just pay for the year."""
    cost = hourly_cost(25, 0.20, 2080, 62_400, 0.75)
    assert break_even(25 * 1.2 * 2080 + 62_400, cost) == pytest.approx(2080 * 0.75)


def test_nothing_of_a_kind_is_a_figure_too():
    """No pay, no overhead, no materials, nothing sold yet: the ends of the ranges are allowed."""
    assert hourly_cost(0, 0, 1, 0, 1) == charge_out(0, 0) == overhead_rate(0, 2) == 0
    assert job_cost(0, 0, rate=0, base=0) == bill_hours(0, 0.25) == break_even(0, 5, 0) == 0
    assert job_cost(0.5, 0.25, rate=0.5, base=0.5) == 1
    assert overhead_rate(0.5, 1) == 0.5
    assert (margin_of(10, 0), safety(1, 0)) == (1, 1)


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: hourly_cost(25, 20, 2080, 0, 75), r"productive_share is 75.*Write 0\.75 for 75 %"),
     (lambda: hourly_cost(25, 0.2, 0, 0, 0.75), "paid_hours_per_year is 0"),
     (lambda: charge_out(80, 1), "margin is 1; it must be under 1"),
     (lambda: hourly_cost(25, 0.2, 2080, 0, 0), "productive_share is 0; it must be over 0 and"),
     (lambda: hourly_cost(25, 0.2, 2080, 0, 1.01), "productive_share is 1.01; .* and at most 1"),
     (lambda: charge_out(80, -0.1), r"margin is -0.1.*Write 0\.2 for 20 %"),
     (lambda: margin_from_markup(-1), r"markup is -1.*Write 0\.6 for 60 %"),
     (lambda: margin_of(0, 10), "price is 0"),
     (lambda: overhead_rate(100, 0), "base is 0"),
     (lambda: job_cost(1, -2, rate=1, base=1), "labour is -2"),
     (lambda: bill_hours(1, 0), "increment is 0"),
     (lambda: break_even(100, 20, 20), "nothing is left.*Raise the price"),
     (lambda: break_even(-1, 20), "fixed is -1"),
     (lambda: safety(0, 1), "sold is 0"),
     (lambda: hourly_cost(-1, 0, 1, 0, 1), "pay_per_hour is -1; it must be at least 0"),
     (lambda: hourly_cost(1, -0.1, 1, 0, 1), r"on_cost_share is -0.1.*Write 0\.2 for 20 %"),
     (lambda: hourly_cost(1, 0, 1, -1, 1), "overhead_per_year is -1"),
     (lambda: charge_out(-1, 0.1), "cost is -1"),
     (lambda: margin_of(10, -1), "cost is -1"),
     (lambda: overhead_rate(-1, 10), "overhead is -1"),
     (lambda: job_cost(-1, 2, rate=1, base=1), "materials is -1"),
     (lambda: job_cost(1, 2, rate=-1, base=1), "rate is -1"),
     (lambda: job_cost(1, 2, rate=1, base=-1), "base is -1"),
     (lambda: break_even(1, 20, -1), "variable is -1"),
     (lambda: break_even(1, 20, target=-1), "target is -1"),
     (lambda: break_even(1, 5, 1, tax=40), r"tax is 40.*Write 0\.4 for 40 %"),
     (lambda: break_even(1, 5, 1, tax=-0.1), r"tax is -0\.1"),
     (lambda: break_even(1, 5, 1, tax=1), "tax is 1; .* at most 0.99"),
     (lambda: safety(1, -1), "needed is -1"),
     (lambda: bill_hours(-1, 1), "hours is -1")],
)
def test_figures_out_of_range_are_refused(call, said):
    """Percents for shares, nothing to divide by, and negative amounts."""
    with pytest.raises(ValueError, match=said):
        call()
