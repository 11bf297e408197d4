"""Charges of work sent out, by hand and by a plater's list, and what batching saves."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.outwork import charge, saving_by_batching

# A plater's and a powder coater's price list of 2014, adjacent trade: zinc lots from 95 to 125,
# each further line 10, powder lots 100, blasting lots 40, masking 20 a lot.
ZINC = {"lot_minimum": 95, "line_fee": 10}
POWDER = {"lot_minimum": 100}


def test_a_charge_by_hand():
    """Set-up and pieces over the minimum, times the finish, with line fees and freight."""
    found = charge([(4, 15), (2.5, 12)], setup=20, lot_minimum=60, multiplier=2, line_fee=10,
                   lines=2, freight=35)
    assert found == pytest.approx((20 + 4 * 15 + 2.5 * 12) * 2 + 2 * 10 + 35)


def test_the_minimum_counts_before_the_finish():
    """A small lot in a custom colour costs the minimum times the colour, then fees and freight."""
    found = charge([(1, 15)], setup=20, lot_minimum=100, multiplier=1.3, freight=12)
    assert found == pytest.approx(100 * 1.3 + 12)


def test_a_small_zinc_lot_of_the_price_list():
    """A handful of screws and two further lines cost the minimum of 95 and 20."""
    # Price list of 2014, adjacent trade; rate per pound invented.
    assert charge([(3, 4.0)], lines=2, **ZINC) == 115


def test_a_coated_and_blasted_lot_of_the_price_list():
    """Brackets for powder, blasted and masked: two minimums and the masking."""
    # Price list of 2014, adjacent trade.
    powder = charge([(2, 30)], **POWDER)
    blasting = charge([(0.5, 60)], lot_minimum=40)
    assert powder + blasting + charge([(1, 20)]) == 160


def test_two_jobs_of_brackets_share_one_minimum():
    """Two lots below the minimum cost it once when they go together."""
    # Price list of 2014, adjacent trade.
    lots = [([(2, 25)], 1), ([(1, 40)], 1)]
    assert saving_by_batching(lots, **POWDER) == 100


def test_fees_by_the_line_are_not_saved():
    """Lines are paid for each, together or apart; set-up and freight once."""
    lots = [([(10, 25)], 2), ([(10, 40)], 3)]
    assert saving_by_batching(lots, setup=30, line_fee=10, freight=45, **POWDER) == 30 + 45


def test_where_nothing_is_sent_nothing_is_charged():
    """No pieces, no lot: neither minimum nor freight."""
    terms = {"setup": 20, "lot_minimum": 100, "freight": 45}
    assert charge([], **terms) == charge([(0, 12)], lines=1, line_fee=10, **terms) == 0
    assert saving_by_batching([([(1, 10)], 1), ([], 1)], line_fee=10, **terms) == 0
    assert saving_by_batching([]) == 0


PIECES = st.lists(st.tuples(st.floats(0, 50), st.floats(0, 80)), max_size=5)
TERMS = st.fixed_dictionaries({
    "setup": st.floats(0, 100), "lot_minimum": st.floats(0, 300), "multiplier": st.floats(0.5, 4),
    "line_fee": st.floats(0, 20), "freight": st.floats(0, 100),
})


@given(st.lists(st.tuples(PIECES, st.integers(1, 4)), max_size=4), TERMS)
def test_batching_never_costs_more(lots, terms):
    """One lot is charged at most what its parts are apart."""
    sent = [(pieces, lines) for pieces, lines in lots if any(quantity for quantity, _ in pieces)]
    apart = sum(charge(pieces, lines=lines, **terms) for pieces, lines in sent)
    together = charge([piece for pieces, _ in sent for piece in pieces],
                      lines=sum(lines for _, lines in sent), **terms)
    assert together <= apart + 1e-6
    assert saving_by_batching(lots, **terms) == pytest.approx(apart - together, abs=1e-6)


@given(PIECES, st.tuples(st.floats(0.1, 50), st.floats(0, 80)), TERMS)
def test_one_piece_more_never_costs_less(pieces, piece, terms):
    """The charge does not fall when something is added to the lot."""
    assert charge([*pieces, piece], lines=1, **terms) >= charge(pieces, lines=1, **terms) - 1e-9


@pytest.mark.parametrize(
    ("pieces", "terms", "said"),
    [([(-1, 10)], {}, "quantity is -1"), ([(1, -10)], {}, "rate is -10"),
     ([(1, 10)], {"multiplier": 0}, "multiplier is 0"), ([(1, 10)], {"freight": -5}, "freight is"),
     ([(1, 10)], {"lot_minimum": float("nan")}, "lot_minimum is nan")],
)
def test_terms_out_of_range_are_refused(pieces, terms, said):
    """Negative quantities, rates and fees, and a finish that costs nothing."""
    with pytest.raises(ValueError, match=said):
        charge(pieces, **terms)
