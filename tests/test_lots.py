"""Lots of work sent out, over all jobs: by every way to send them, and as published."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_shop import row

from estimator import outwork
from estimator.catalogue import Service, load
from estimator.errors import BadInput
from estimator.outwork import Piece, charge, plan_lots


def service(name="coat", typical=10.0, **terms):
    """A service that takes five to nine days."""
    return row(Service, **({"service": name, "name": f"To {name}", "low": typical,
                            "typical": typical, "high": typical, "days_low": 5,
                            "days_typical": 7, "days_high": 9} | terms))


def rows(*services):
    """Services by name."""
    return {one.service: one for one in services}


def least(pieces, services, worth):
    """The least worth over every day that every piece can leave on, told from the charge alone."""
    days = [sorted({other.ready for other in pieces
                    if other.service == piece.service and other.ready >= piece.ready})
            for piece in pieces]
    best = float("inf")
    for leaves in itertools.product(*days):
        held, lots = {}, {}
        for piece, day in zip(pieces, leaves, strict=True):
            late = max(0, day - piece.ready - piece.slack)
            held[piece.job] = max(held.get(piece.job, 0), late)
            lots.setdefault((piece.service, day), []).append(piece)
        total = sum(worth.get(job, 0) * late for job, late in held.items())
        for (name, _), inside in lots.items():
            terms = services[name]
            work = terms.setup + sum(one.quantity * terms.typical for one in inside)
            total += max(terms.lot_minimum, work) * terms.multiplier
            total += terms.line_fee * len(inside) + terms.freight
        best = min(best, total)
    return best


@st.composite
def sendings(draw):
    """Up to six pieces of three jobs to two services, and what their days are worth."""
    services = rows(
        service("coat", 10, lot_minimum=draw(st.sampled_from([0, 40, 90])),
                line_fee=draw(st.sampled_from([0, 6])), freight=draw(st.sampled_from([0, 15]))),
        service("plate", 7, setup=draw(st.sampled_from([0, 30])),
                multiplier=draw(st.sampled_from([1, 1.5])), freight=draw(st.sampled_from([0, 25]))))
    pieces = [
        Piece(draw(st.sampled_from("ABC")), draw(st.sampled_from(["coat", "plate"])), f"piece {at}",
              draw(st.integers(1, 6)), draw(st.integers(0, 12)), draw(st.sampled_from([0, 0, 3])))
        for at in range(draw(st.integers(1, 6)))
    ]
    return pieces, services, {job: draw(st.sampled_from([0, 2, 5, 20])) for job in "ABC"}


@settings(max_examples=60, deadline=None)
@given(sendings())
def test_no_way_to_send_them_is_better(sending):
    """The plan is worth what the best of all ways is, and says that it is proven."""
    pieces, services, worth = sending
    plan = plan_lots(pieces, services, worth)
    assert plan.proven
    assert plan.best.worth == pytest.approx(least(pieces, services, worth))
    assert plan.bound == pytest.approx(plan.best.worth)
    assert plan.best.worth <= min(plan.at_once.worth, plan.together.worth, plan.by_job.worth) + 1e-6
    sent = sorted((piece.job, piece.name) for lot in plan.best.lots for piece in lot.pieces)
    assert sent == sorted((piece.job, piece.name) for piece in pieces)
    assert all(lot.leaves >= piece.ready for lot in plan.best.lots for piece in lot.pieces)


def test_lots_of_a_year_as_published():
    """A year of lot sizes, turned round in time, costs the 501.20 of the textbook."""
    # E. A. Silver, D. F. Pyke, R. Peterson, Inventory Management and Production Planning and
    # Scheduling, 3rd ed., 1998, section 6.2: twelve months of demand, 54 a set-up, 0.40 a unit and
    # month; the least by Wagner and Whitin is 501.20 (figures from memory; the least recomputed).
    demand = [10, 62, 12, 130, 154, 129, 88, 52, 124, 160, 238, 41]
    # There, what is made in one month waits for later ones; here, what is ready waits for a later
    # lot. A month's demand is a job whose days are worth 0.40 for each unit.
    pieces = [Piece(f"month {month}", "coat", "pieces", 1, ready=12 - month)
              for month in range(12)]
    worth = {f"month {month}": 0.4 * units for month, units in enumerate(demand)}
    plan = plan_lots(pieces, rows(service(typical=0.0, freight=54)), worth)
    assert plan.best.worth == pytest.approx(501.20, abs=0.005)
    assert plan.proven


def test_a_job_waits_once_for_the_piece_that_waits_longest():
    """Two pieces of a job that wait three and five days hold it up for five."""
    pieces = [Piece("A", "coat", "legs", 1, 2), Piece("A", "plate", "screws", 1, 4),
              Piece("B", "coat", "rails", 1, 5), Piece("B", "plate", "bolts", 1, 9)]
    services = rows(service("coat", lot_minimum=500), service("plate", lot_minimum=500))
    plan = plan_lots(pieces, services, {"A": 10, "B": 10})
    assert plan.best.delays == (("A", 5.0), ("B", 0.0))
    assert (plan.best.charge, plan.best.waiting) == (1000, 50)
    assert (plan.saved, plan.lost) == (1000, (("A", 5.0), ("B", 0.0)))


def test_it_does_not_pay_to_wait_where_days_are_dear():
    """The same pieces go apart where a day is worth more than the minimum saved."""
    pieces = [Piece("A", "coat", "legs", 1, 2), Piece("B", "coat", "rails", 1, 5)]
    services = rows(service("coat", lot_minimum=100))
    cheap = plan_lots(pieces, services, {"A": 33, "B": 1})
    dear = plan_lots(pieces, services, {"A": 34, "B": 1})
    assert [lot.leaves for lot in cheap.best.lots] == [5]
    assert [lot.leaves for lot in dear.best.lots] == [2, 5]
    # With three days to spare the dear one can wait.
    spare = [Piece("A", "coat", "legs", 1, 2, slack=3), pieces[1]]
    assert [lot.jobs for lot in plan_lots(spare, services, {"A": 34}).best.lots] == [("A", "B")]


def test_lots_leave_on_days_of_collection():
    """Where a carrier comes on days of its own, lots leave on those alone."""
    pieces = [Piece("A", "coat", "legs", 1, 1), Piece("B", "coat", "rails", 1, 6)]
    plan = plan_lots(pieces, rows(service("coat", lot_minimum=30)), {"A": 50, "B": 50},
                     collected={"coat": [3, 7, 14]})
    assert [lot.leaves for lot in plan.best.lots] == [3, 7]
    assert plan.best.delays == (("A", 2.0), ("B", 1.0))
    lot = plan.best.lots[0]
    assert (lot.soonest, lot.expected, lot.latest) == (8, 10, 12)


def test_a_lot_says_its_pieces():
    """Counts, notes and jobs of a lot are there for the sheet that goes with it."""
    pieces = [Piece("A", "coat", "legs", 4, 0, count=4, note="mask threads"),
              Piece("B", "coat", "rails", 2, 0, count=2)]
    (lot,) = plan_lots(pieces, rows(service()), {}).best.lots
    assert (lot.count, lot.jobs, lot.pieces[0].note) == (6, ("A", "B"), "mask threads")
    assert lot.charge == charge([(4, 10), (2, 10)])


def test_every_piece_that_cannot_be_planned_is_named():
    """A service nobody has, no quantity, a day that is none, a carrier that never comes again."""
    pieces = [Piece("A", "coad", "legs", 1, 0), Piece("A", "coat", "rails", 0, 0),
              Piece("B", "coat", "bar", 1, float("nan")), Piece("B", "coat", "door", 1, 9)]
    with pytest.raises(BadInput) as caught:
        plan_lots(pieces, rows(service()), {"A": -1}, collected={"coat": [3]})
    said = str(caught.value)
    assert len(caught.value.faults) == 6  # the day that is none also has no collection after it
    for words in ('legs of A: "coad"', 'Did you mean "coat"?', "rails of A: 0 is no quantity",
                  "bar of B: it is ready on day nan", "door of B is ready on day 9",
                  "A: a day of delay is said to be worth -1"):
        assert words in said


def test_a_search_that_is_stopped_says_so():
    """Stopped at once, the best of the plain ways stands, with a bound below it."""
    pieces = [Piece(job, "coat", "legs", 2, ready, slack=ready % 3)
              for job, ready in zip("ABCDEFGH", (0, 2, 3, 5, 6, 8, 9, 11), strict=True)]
    worth = {job: 3 + 2 * at for at, job in enumerate("ABCDEFGH")}
    services = rows(service(lot_minimum=65, freight=12))
    told = []
    stopped = plan_lots(pieces, services, worth, progress=lambda *said: told.append(said) or False)
    full = plan_lots(pieces, services, worth)
    assert len(told) == 1
    assert not stopped.proven
    assert stopped.bound <= full.best.worth < stopped.best.worth
    assert 0 < stopped.gap == pytest.approx(1 - stopped.bound / stopped.best.worth)


def test_nothing_to_send_costs_nothing():
    """Without pieces there are no lots."""
    plan = plan_lots([], load().services, {})
    assert (plan.best.lots, plan.best.worth, plan.proven) == ((), 0, True)
    assert outwork.sending([], [], {}, {}).delays == ()
