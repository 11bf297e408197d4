"""Standard-cost variances, against textbook cases and their own sums."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.variances import (
    CAUSES,
    Split,
    fixed_overhead,
    labour,
    material_at_purchase,
    material_at_use,
    outwork,
    review,
    side,
    variable_overhead,
)

# All printed figures: Franklin, Graybeal, Cooper, Managerial Accounting, OpenStax 2019; the
# section stands beside each.


def test_shampoo_maker():
    """Materials 890 F and 850 U, 40 F together; labour 5,600 U and 17,500 F, 11,900 F together."""
    # 8.2 and 8.3. A diagram there prints the labour total as unfavourable, and a line the rate
    # variance as 5,650; 565,600 − 577,500 = −11,900 and 565,600 − 560,000 = 5,600.
    bottles = 11_000
    soap = material_at_use(89_000, Decimal(74_760), 8 * bottles, Decimal("0.85"))
    assert (soap.price, soap.quantity, soap.total) == (-890, 850, -40)
    hands = labour(16_000, 565_600, 1.5 * bottles, 35)
    assert (hands.price, hands.quantity, hands.total) == (5600, -17_500, -11_900)
    assert [side(hands.price), side(hands.total)] == ["unfavourable", "favourable"]


def test_whole_shop_report_leaves_the_budgeted_units_out():
    """10,000 units made of 12,000 budgeted: 50,000 U, 150,000 U, 50,000 F and 100,000 U."""
    # 8.5. The 12,000 are there to mislead: they show only as work that was dropped, at standard.
    made, budgeted, each = 10_000, 12_000, 4 * 15 + 2 * 20
    splits = [material_at_use(50_000, 800_000, 4 * made, 15), labour(25_000, 450_000, 2 * made, 20)]
    assert splits[0].causes == {"price": 50_000, "quantity": 150_000}
    assert splits[1].causes == {"rate": -50_000, "efficiency": 100_000}
    assert [split.total for split in splits] == [200_000, 50_000]
    job = review(splits, dropped=(budgeted - made) * each)
    assert job.quoted == budgeted * each
    assert [part.amount for part in job.parts] == [
        -50_000, 100_000, 50_000, 150_000, 0, -200_000, 0]
    assert job.total == 1_250_000 - 1_200_000 == sum(part.amount for part in job.parts)


def test_one_box_of_sweets():
    """Materials 1.00 U and 1.75 U, labour 0.30 U and 0.80 U of a single box."""
    # 8.2 and 8.3.
    d = Decimal
    sugar = material_at_use(d("0.50"), d("0.50") * 9, d("0.25"), d(7))
    assert (sugar.price, sugar.quantity, sugar.total) == (d("1.00"), d("1.75"), d("2.75"))
    hands = labour(d("0.20"), d("0.20") * d("9.50"), d("0.10"), d(8))
    assert (hands.price, hands.quantity, hands.total) == (d("0.30"), d("0.80"), d("1.10"))


@pytest.mark.parametrize(
    ("hours", "cost", "spending", "efficiency"),
    # The last is printed with the rate rounded to 1.94, as 108 F and 508 F in all.
    [(2500, 7000, 2000, 1000), (2000, 3500, -500, 0), (1800, 3500, -100, -400),
     (1800, 1800 * Decimal("1.94"), -108, -400)],
)
def test_variable_overhead_of_the_sweet_maker(hours, cost, spending, efficiency):
    """At 2.00 an hour and 2,000 standard hours."""
    # 8.4.
    split = variable_overhead(hours, cost, standard_hours=2000, standard_rate=2)
    assert split.causes == {"spending": spending, "efficiency": efficiency}
    assert split.total == spending + efficiency


def test_overhead_that_the_jobs_of_a_year_did_not_carry():
    """6,500 too much was spent by the sign maker, and 210 in the other shop."""
    # 4.6.
    signs = fixed_overhead(actual=256_500, budget=250_000, applied=250_000)
    assert signs.causes == {"spending": 6500, "volume": 0}
    bills = 25_000 + 31_750 + 50_000 + 17_500 + 85_000
    assert variable_overhead(6240, bills, 6240, 33.50).total == 210


def test_price_at_purchase_counts_the_shelf_too():
    """The price variance falls on all that was bought; the rest waits at the standard price."""
    # Derived from the definitions; 8.2 names both times at which the price may be taken.
    split = material_at_purchase(100, 900, used=60, standard_quantity=50, standard_price=8)
    at_use = material_at_use(60, 540, standard_quantity=50, standard_price=8)
    assert (split.price, split.quantity) == (100, 80)
    assert (at_use.price, at_use.quantity) == (60, 80)
    assert split.actual + 40 * 8 == 900
    all_used = material_at_purchase(60, 540, used=60, standard_quantity=50, standard_price=8)
    assert all_used == at_use


def test_a_lot_minimum_is_nobodys_variance():
    """Fewer pieces below the minimum cost the same: no quantity variance."""
    charge = [max(120, 40 + 10 * pieces) for pieces in (5, 7)]
    assert outwork(120, listed=charge[0], standard=charge[1]).causes == {"price": 0, "quantity": 0}


cents = st.decimals(0, 1_000_000, places=2)
quantities = st.decimals(0, 10_000, places=3)
splits = st.one_of(
    st.builds(labour, quantities, cents, quantities, cents),
    st.builds(material_at_use, quantities, cents, quantities, cents),
    st.builds(material_at_purchase, quantities, cents, quantities, quantities, cents),
    st.builds(outwork, cents, cents, cents),
    st.builds(variable_overhead, quantities, cents, quantities, cents),
    st.builds(fixed_overhead, cents, cents, cents),
)


@given(st.lists(splits, max_size=8), cents, cents, cents, cents)
def test_parts_add_up_exactly(kinds, added, dropped, finds, allowance):
    """Whatever happened, the parts are the whole difference between actual and quoted."""
    job = review(kinds, added=added, dropped=dropped, finds=finds, find_allowance=allowance)
    assert sum(part.amount for part in job.parts) == job.total == job.actual - job.quoted
    names = [(part.kind, part.cause) for part in job.parts]
    assert len(names) == len(set(names))
    assert all(split.price + split.quantity == split.total for split in kinds)


@given(st.lists(splits, max_size=8))
def test_floats_add_up_to_their_last_digits(kinds):
    """The same in floats, but for dust."""
    kinds = [Split(one.kind, *map(float, (one.actual, one.between, one.standard)))
             for one in kinds]
    job = review(kinds)
    scale = 1 + sum(abs(one.actual) + abs(one.between) + abs(one.standard) for one in kinds)
    assert sum(part.amount for part in job.parts) == pytest.approx(job.total, abs=1e-12 * scale)


@given(quantities, cents, quantities, cents)
def test_a_job_at_its_standard_has_no_variance(quantity, price, added, finds):
    """Standard hours at the standard rate: nothing, whatever was added or found on the way."""
    job = review([labour(quantity, quantity * price, quantity, price)], added=added, finds=finds,
                 find_allowance=finds)
    assert [part.amount for part in job.parts] == [0, 0, added, 0, 0]


def test_what_cannot_be_is_refused():
    """Hours under 0, a figure that is none, a kind that is not known."""
    with pytest.raises(ValueError, match="quantity is -1; it must be at least 0"):
        labour(-1, 10, 1, 10)
    with pytest.raises(ValueError, match="nan"):
        outwork(float("nan"), 1, 1)
    with pytest.raises(ValueError, match="finds"):
        review([], finds=-1)
    with pytest.raises(ValueError, match=", ".join(CAUSES)):
        Split("hours", 1, 1, 1)


@pytest.mark.parametrize(("function", "names"), [
    (labour, ("quantity", "cost", "standard_quantity", "standard_price")),
    (material_at_purchase, ("bought", "bill", "used", "standard_quantity", "standard_price")),
    (outwork, ("billed", "listed", "standard")),
    (fixed_overhead, ("actual", "budget", "applied")),
])
def test_every_figure_is_nothing_or_more(function, names):
    """Each by itself just under 0 is refused by its name; all at 0 is a job of nothing."""
    assert function(*[0] * len(names)).total == 0
    for place, name in enumerate(names):
        with pytest.raises(ValueError, match=f"^{name} is -0.01; it must be at least 0"):
            function(*[-0.01 if at == place else 0 for at in range(len(names))])


def test_a_cent_has_a_side():
    """The least that is dearer or cheaper is already so."""
    assert [side(Decimal("0.01")), side(Decimal("-0.01")), side(0)] == [
        "unfavourable", "favourable", ""]
