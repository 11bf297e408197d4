"""Money over months: as printed, as numpy-financial has it, and plain about what has no answer."""

import numpy as np
import numpy_financial
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.investing import (
    annuity,
    internal_rate,
    modified_rate,
    monthly_rate,
    payback,
    present_value,
    profitability,
    rates_of_return,
    sign_changes,
    yearly_rate,
)

# One machine bought for 16,000 that brings 2,000, 4,000 and four times 5,000: J. Dahlquist &
# R. Knight, Principles of Finance 2e, OpenStax, 16.1 to 16.4, at 9 %.
MACHINE = [-16_000, 2_000, 4_000, 5_000, 5_000, 5_000, 5_000]


def test_every_measure_of_one_machine_is_as_printed():
    """Net present value, rate of return, index, payback plain and discounted, modified rate."""
    # Principles of Finance 2e, 16.1 to 16.4; the book's 2,835.63 adds rounded terms.
    assert present_value(0.09, MACHINE) == pytest.approx(2835.62, abs=0.02)
    assert internal_rate(MACHINE).rate == pytest.approx(0.1409, abs=0.00005)
    assert profitability(0.09, MACHINE) == pytest.approx(1.18, abs=0.005)
    assert payback(MACHINE) == 4
    assert payback(MACHINE, 0.09) == pytest.approx(5.05, abs=0.005)
    assert modified_rate(MACHINE, 0.09, 0.09) == pytest.approx(0.12, abs=0.00005)


@pytest.mark.parametrize(("percent", "worth"), [
    (0, 10_000), (3, 7_231), (9, 2_836), (12, 1_081), (14, 42), (15, -442), (18, -1_773),
    (21, -2_939)])
def test_the_worth_by_rate_is_as_printed(percent, worth):
    """The profile of the same machine falls from 10,000 through nothing between 14 and 15 %."""
    # Principles of Finance 2e, 16.3, to the unit.
    assert present_value(percent / 100, MACHINE) == pytest.approx(worth, abs=0.6)


def test_growing_payments_are_worth_what_is_printed():
    """30,000 out, then 6,000 to 18,000 in by steps of 2,000, at 9 %."""
    # Principles of Finance 2e, 16.2.
    assert present_value(0.09, [-30_000, *range(6_000, 18_001, 2_000)]) == pytest.approx(
        26_946.90, abs=0.01)


def test_two_rates_of_return_are_both_found_and_none_is_told():
    """-350, 950, -620 is worth nothing at 9.180 % and at 62.249 %."""
    # Payments: Principles of Finance 2e, 16.3; the roots by the quadratic formula.
    low, high = rates_of_return([-350, 950, -620])
    assert (low, high) == (pytest.approx(0.09180, abs=1e-5), pytest.approx(0.62249, abs=1e-5))
    told = internal_rate([-350, 950, -620])
    assert told.rate is None
    assert told.roots == (low, high)
    assert "9.2 % and 62.2 %" in told.why
    assert sign_changes([-350, 950, -620]) == 2


def test_many_payments_have_their_rate_too():
    """A loan paid back over forty years of months at half a per cent, and one that is a bargain."""
    payment = -numpy_financial.pmt(0.005, 480, 100_000)
    assert internal_rate([-100_000, *[payment] * 480]).rate == pytest.approx(0.005, rel=1e-9)
    assert internal_rate([-1, *[0.0] * 99, 1e6]).rate == pytest.approx(1e6 ** 0.01 - 1)
    assert internal_rate([-1e6, *[0.0] * 99, 1]).rate == pytest.approx(1e-6 ** 0.01 - 1)


def test_payments_without_a_rate_of_return_say_so():
    """Only in, only out, nothing at all, and out and in again without a root."""
    assert internal_rate([100, 20]).rate is None
    assert "paid out" in internal_rate([100, 20]).why
    assert "comes back" in internal_rate([-100, -20]).why
    assert internal_rate([0, 0]).rate is None
    # 100 v² − 100 v + 100 has no real root.
    never = internal_rate([100, -100, 100])
    assert never.rate is None
    assert never.roots == ()
    assert "no rate" in never.why


def test_a_double_root_stands_once():
    """-1 + 2.2 v − 1.21 v² touches nothing at 10 % and never crosses it."""
    assert rates_of_return([-1, 2.2, -1.21]) == (pytest.approx(0.1, abs=1e-4),)
    # 3 (1 − v)² has no slope at all at its root; (1.1 v − 1)² (3 + 0.9 v + 0.6 v²) next to none.
    assert rates_of_return([3, -6, 3]) == (0.0,)
    assert rates_of_return([3, -5.7, 2.25, -0.231, 0.726]) == (pytest.approx(0.1, abs=1e-6),)


@pytest.mark.parametrize("rate", [0.01, 0.1, 0.9, -0.05])
@pytest.mark.parametrize("periods", [1, 12, 60])
def test_a_loan_that_bears_interest_and_is_paid_back_has_its_rate(rate, periods):
    """1,000 lent for a rate of itself each period and the whole at the end: that rate, exactly."""
    # Present value of a level perpetuity cut off at par, any text on interest.
    flows = [-1000, *[1000 * rate] * (periods - 1), 1000 * (1 + rate)]
    assert rates_of_return([0, *flows]) == (pytest.approx(rate, abs=1e-12),)
    assert internal_rate(flows).rate == pytest.approx(rate, abs=1e-12)


def test_small_payments_are_payments():
    """Less than one unit of money that comes back, or goes out, counts like more."""
    assert modified_rate([0.5, 0.7], 0.1, 0.1) is None
    assert modified_rate([-0.5, -0.7], 0.1, 0.1) is None
    assert modified_rate([-0.5, 0.6], 0.1, 0.1) == pytest.approx(0.2)
    assert internal_rate([0.5, 0.7]).why == internal_rate([5, 7]).why
    assert payback([-0.5, 0.25, 0.5]) == 1.5


def test_money_that_is_back_to_the_cent_is_back():
    """What was paid out comes back exactly at the end of a period, the last one or before."""
    assert payback([-100, 100]) == 1
    assert payback([-100, 50, 50, 20]) == 2
    assert payback([-100, 110], rate=0.1) == pytest.approx(1)
    assert payback([0, 5]) == 0


@pytest.mark.parametrize("flows", [[0], [0, 0, 0], [5, 6], [0, -3, 0, -1]])
def test_payments_that_never_turn_have_no_rate(flows):
    """Nothing, income alone and cost alone are worth nothing at no rate."""
    assert rates_of_return(flows) == ()


def test_figures_of_the_library():
    """Values printed in numpy-financial's documentation and tests."""
    # numpy-financial, docstrings of irr, npv, mirr.
    assert internal_rate([-100, 39, 59, 55, 20]).rate == pytest.approx(0.28095, abs=5e-6)
    assert present_value(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000]) == pytest.approx(
        3_065.22267, abs=5e-6)
    assert modified_rate([-120_000, 39_000, 30_000, 21_000, 37_000, 46_000], 0.10, 0.12) \
        == pytest.approx(0.126094, abs=5e-7)
    assert modified_rate([-100, 50, -60, 70], 0.10, 0.12) == pytest.approx(-0.0390937, abs=5e-8)
    # irr([-5, 10.5, 1, -8, 1]) is printed as 0.0886; the payments turn three times and
    # two other rates do as well, so none is told, but it is among them.
    assert 0.0886 in [round(rate, 4) for rate in rates_of_return([-5, 10.5, 1, -8, 1])]


@given(st.lists(st.floats(0.5, 5_000), min_size=1, max_size=12), st.floats(1, 20_000))
def test_one_turn_has_the_one_rate_that_the_library_finds(back, out):
    """Money out once and back after: the root makes the payments worth nothing."""
    flows = [-out, *back]
    told = internal_rate(flows)
    assert told.why == ""
    scale = sum(back) + out
    if told.rate > -0.9:
        assert abs(present_value(told.rate, flows)) < 1e-6 * scale
    found = numpy_financial.irr(flows)
    if np.isfinite(found) and abs(numpy_financial.npv(found, flows)) < 1e-9 * scale:
        assert told.rate == pytest.approx(found, rel=1e-5, abs=1e-7)


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=8), st.floats(-0.5, 2))
def test_worth_is_the_sum_of_discounted_payments(flows, rate):
    """Net present value by hand."""
    assert present_value(rate, flows) == pytest.approx(
        sum(flow / (1 + rate) ** k for k, flow in enumerate(flows)), abs=1e-6)


@pytest.mark.parametrize(("out", "back", "years"), [
    (150, [20] * 10, 7.5),
    (150, [10, 20, 20, 15, 15, 20, 20, 20, 20], 8.5),
    (40, [10, 10, 5, 5, 7.5, 7.5], 5 + 1 / 3),
    (50, [10, 5, 7, 3, 10, 10, 10], 6.5),
])
def test_payback_is_as_printed(out, back, years):
    """Even payments and uneven ones, in thousands."""
    # M. Franklin, P. Graybeal & D. Cooper, Principles of Accounting 2: Managerial Accounting,
    # OpenStax, 11.2. The flows after the sixth of the second are not printed; 20 continues them.
    assert payback([-out, *back]) == pytest.approx(years, abs=0.005)


def test_money_paid_out_again_is_not_back():
    """Payback counts to the last time that the sum turns; none where it stays under nothing."""
    assert payback([-100, 150, -100, 100]) == 2.5
    assert payback([-100, 50, 40]) is None
    assert payback([0, 5]) == 0
    assert payback([-100, 60, 60], 0.5) is None


def test_annuities_are_as_printed():
    """At the end of each year and at its start."""
    # Principles of Finance 2e, 8.2; the book rounds its factor, hence a tenth.
    for amount, years, rate, end, start in ((25_000, 5, 0.08, 99_817.81, 107_803.24),
                                            (120_000, 10, 0.09, 770_118.92, 839_429.63)):
        assert amount * annuity(rate, years) == pytest.approx(end, abs=0.1)
        assert amount * annuity(rate, years, due=True) == pytest.approx(start, abs=0.1)
    assert 45_000 * annuity(0.06, 10) == pytest.approx(331_203.92, abs=0.1)
    assert annuity(0.0, np.array([0, 3])).tolist() == [0, 3]


@given(st.floats(-0.9, -1e-6) | st.floats(1e-6, 3))
def test_twelve_months_make_the_year(yearly):
    """A month's rate, compounded, is the year's."""
    assert yearly_rate(monthly_rate(yearly)) == pytest.approx(yearly, abs=1e-9)
    # The same from the library: what 1 grows to in a year at the monthly rate.
    assert numpy_financial.fv(monthly_rate(yearly), 12, 0, -1) == pytest.approx(1 + yearly)


@pytest.mark.parametrize("call", [
    lambda: present_value(-1, [1, 2]),
    lambda: present_value(float("nan"), [1]),
    lambda: present_value(0.1, []),
    lambda: present_value(0.1, [1, float("inf")]),
    lambda: present_value(0.1, [[1, 2]]),
    lambda: internal_rate(["much"]),
    lambda: monthly_rate(-2),
    lambda: annuity(0.1, -1),
    lambda: annuity(0.1, np.array([3, -1])),
    lambda: present_value(0.1, [[]]),
])
def test_bad_input_is_named(call):
    """Rates of a whole loss or worse, payments that are none."""
    with pytest.raises(ValueError, match=r"must be|finite|could not convert|under 0"):
        call()


def test_nothing_at_stake_has_no_modified_rate_and_no_index():
    """Where nothing goes out, or nothing at the start, there is nothing to divide by."""
    assert modified_rate([10, 10], 0.1, 0.1) is None
    assert profitability(0.1, [0, -10, 20]) is None
