"""Integer programmes: the least by trying all, limits, a stop, and silence on the output."""

import itertools
import os
import subprocess
import sys
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.programme import Programme

SMALL = st.integers(-5, 9)


@st.composite
def programmes(draw):
    """Up to four columns of whole numbers to three, under up to three rows."""
    columns = [(draw(SMALL), draw(st.integers(0, 3))) for _ in range(draw(st.integers(1, 4)))]
    rows = [([draw(SMALL) for _ in columns], draw(st.integers(-6, 4)), draw(st.integers(4, 14)))
            for _ in range(draw(st.integers(1, 3)))]
    return columns, rows


def made(columns, rows) -> Programme:
    """A programme of these columns and rows."""
    programme = Programme()
    for cost, most in columns:
        programme.column(cost, most=most)
    for factors, least, most in rows:
        programme.row(list(enumerate(factors)), least=least, most=most)
    return programme


@settings(max_examples=80, deadline=None)
@given(programmes(), st.sampled_from([None, 0.4, 50.4]))
def test_no_whole_numbers_cost_less(given_, beyond):
    """The least over all whole numbers comes out, whatever is known; none where nothing holds."""
    columns, rows = given_
    programme = made(columns, rows)
    costs = np.array([cost for cost, _ in columns])
    fits = [np.array(values) for values in itertools.product(*(range(m + 1) for _, m in columns))
            if all(low <= np.dot(factors, values) <= high for factors, low, high in rows)]
    least = min((float(costs @ values) for values in fits), default=None)
    known = None if beyond is None or least is None else least + beyond
    found = programme.solve(known=known)
    assert found.proven
    if least is None:
        assert found.values is None
        return
    assert found.bound == pytest.approx(least)
    assert costs @ np.rint(found.values) == pytest.approx(least)
    assert programme.holds(found.values)
    # What is known to be the least is proven so, and nothing better is said to be there.
    again = programme.solve(known=least)
    assert (again.values, again.proven) == (None, True)
    assert again.bound == pytest.approx(least)


def test_values_that_break_a_limit_do_not_hold():
    """Beyond a column's most, below nought, over a row."""
    programme = made([(1, 2), (1, 3)], [([1, 1], 1, 4)])
    assert programme.holds(np.array([2, 2]))
    for values in ([3, 0], [-1, 3], [2, 3], [0, 0]):
        assert not programme.holds(np.array(values))


def test_costs_may_be_raised_and_replaced():
    """Of three things that weigh 3, 2 and 2 in a bag for 4, the dearest pair, or what is asked."""
    bag = Programme()
    items = [bag.column(-worth, most=1) for worth in (6, 5, 4)]
    bag.row(list(zip(items, (3, 2, 2), strict=True)), most=4)
    assert len(bag) == 3
    assert bag.solve().values.round().tolist() == [0, 1, 1]
    bag.add(items[0], -4)
    assert bag.solve().values.round().tolist() == [1, 0, 0]
    # Only the last is worth anything; the others are free, and there is room for one.
    asked = bag.solve(cost={items[2]: -1.0})
    assert (asked.bound, asked.values.round()[2]) == (-1.0, 1)


def test_a_program_without_an_output_solves_too(monkeypatch):
    """Where standard output was closed there is nothing to put aside; the answer is the same."""
    def closed(_):
        raise OSError("bad file descriptor")

    monkeypatch.setattr(os, "dup", closed)
    assert made([(-6, 1), (-5, 1)], [([3, 2], 0, 4)]).solve().bound == -6


@pytest.mark.skipif(not os.path.isdir("/proc/self/fd"), reason="no list of open files")
def test_no_file_is_left_open():
    """Putting the output aside, time after time, leaves as many files open as there were."""
    bag = made([(-6, 1), (-5, 1)], [([3, 2], 0, 4)])
    bag.solve()
    before = sorted(os.listdir("/proc/self/fd"))
    for _ in range(3):
        bag.solve()
    assert sorted(os.listdir("/proc/self/fd")) == before


def hard(rng) -> Programme:
    """A market split, which takes a solver long: G. Cornuejols, M. Dawande, 1998."""
    programme = Programme()
    rows = rng.integers(0, 100, (4, 30))
    columns = [programme.column(0, most=1) for _ in range(30)]
    for factors in rows:
        over, under = programme.column(1, whole=False), programme.column(1, whole=False)
        half = int(factors.sum() // 2)
        programme.row([*zip(columns, map(int, factors), strict=True), (over, -1), (under, 1)],
                      least=half, most=half)
    return programme


def test_a_search_tells_how_it_goes_and_can_be_stopped():
    """It is told bound, best and seconds, and stops where the answer is no, unproven."""
    told = []

    def progress(*said):
        told.append(said)
        return len(told) < 2

    before = time.perf_counter()
    found = hard(np.random.default_rng(1)).solve(progress=progress, most_seconds=60)
    assert len(told) == 2
    assert not found.proven
    (bound, best, gone), (later_bound, later_best, later) = told
    # Where parts of a whole are allowed, a market splits evenly: nothing is left over.
    assert bound == pytest.approx(0, abs=1e-9)
    assert bound <= later_bound <= later_best <= best
    assert 0 <= gone < later <= time.perf_counter() - before
    assert found.values is not None


def test_time_that_is_up_stops_the_search():
    """With next to no time there is a bound, no proof, and no error."""
    found = hard(np.random.default_rng(2)).solve(most_seconds=0.05)
    assert not found.proven
    assert found.bound >= 0


@pytest.mark.skipif(sys.platform == "win32", reason="its C library has a buffer of its own")
def test_nothing_is_printed_where_a_program_may_read():
    """A line that the solver's library prints by itself does not come between JSON."""
    code = ("import ctypes, estimator.programme as p\n"
            "print('{', end='')\n"
            "with p._aside(): ctypes.CDLL(None).printf(b'stray\\n')\n"
            "print('}')")
    # Buffers as they are for a user's pipe.
    buffered = {name: said for name, said in os.environ.items() if name != "PYTHONUNBUFFERED"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                          env=buffered)
    assert (done.stdout, done.stderr) == ("{}\n", "stray\n")
