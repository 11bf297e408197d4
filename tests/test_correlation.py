"""Correlation matrices: which can be, which rows contradict, roots; faults named in the table."""

import csv
import itertools
import shutil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg

from estimator import catalogue
from estimator.correlation import contradiction, matrix, root
from estimator.errors import BadInput


def equal(size, value):
    """The matrix in which any two go together alike."""
    return np.full((size, size), value) + np.eye(size) * (1 - value)


def three(a, b, c):
    """The matrix of three things: a between 1 and 2, b between 1 and 3, c between 2 and 3."""
    return np.array([[1, a, b], [a, 1, c], [b, c, 1]], float)


@pytest.mark.parametrize("size", range(2, 9))
def test_equal_correlations_can_go_down_to_a_bound(size):
    """n things can be equally correlated down to −1/(n − 1) and no further."""
    # Eigenvalues 1 − ρ and 1 + (n − 1)ρ: any text on matrices of compound symmetry.
    bound = -1 / (size - 1)
    assert contradiction(equal(size, bound)) == ()
    assert contradiction(equal(size, bound * 0.9)) == ()
    if size > 2:
        assert contradiction(equal(size, bound - 0.001)) == tuple(range(size))
        found = root(equal(size, bound))
        assert found @ found.T == pytest.approx(equal(size, bound), abs=1e-9)


def test_a_published_matrix_that_cannot_be():
    """1 with 2 and 2 with 3 wholly, but 1 with 3 not at all: no such thing."""
    # N. Higham, "Computing the nearest correlation matrix", IMA J. Num. Anal. 22 (2002), from
    # memory: this matrix has the eigenvalue 1 − √2.
    found = three(1, 0, 1)
    assert np.linalg.eigvalsh(found).min() == pytest.approx(1 - np.sqrt(2))
    assert contradiction(found) == (0, 1, 2)


@given(*[st.floats(-1, 1)] * 3)
def test_three_can_be_where_their_determinant_is_not_negative(a, b, c):
    """For three things the known condition is 1 + 2abc − a² − b² − c² ≥ 0."""
    # P. Rousseeuw & G. Molenberghs, "The shape of correlation matrices", The American
    # Statistician 48 (1994), from memory.
    determinant = 1 + 2 * a * b * c - a * a - b * b - c * c
    if abs(determinant) > 1e-7:
        assert contradiction(three(a, b, c)) == ((0, 1, 2) if determinant < 0 else ())


@st.composite
def symmetric(draw):
    """A matrix with ones on its diagonal, mostly none that can be."""
    size = draw(st.integers(3, 6))
    found = np.eye(size)
    for row, column in itertools.combinations(range(size), 2):
        found[row, column] = found[column, row] = draw(
            st.sampled_from([-0.9, -0.6, -0.3, 0, 0, 0.3, 0.6, 0.9]))
    return found


@given(symmetric())
def test_those_named_contradict_each_other_and_any_fewer_do_not(found):
    """Nobody is named who has no part in it: without any one of them the others can be."""
    named = contradiction(found)
    can_be = np.linalg.eigvalsh(found).min() >= -1e-9
    assert (named == ()) == can_be
    if named:
        assert np.linalg.eigvalsh(found[np.ix_(named, named)]).min() < -1e-9
    for left in named:
        others = [place for place in named if place != left]
        assert np.linalg.eigvalsh(found[np.ix_(others, others)]).min() >= -1e-9


@pytest.mark.parametrize(("size", "rank"), [(1, 1), (4, 4), (9, 9), (6, 3), (5, 1)])
def test_roots_are_those_of_the_reference_library(size, rank):
    """Random matrices, also on the edge: R Rᵀ is the matrix, and R is scipy's square root."""
    rows = np.random.default_rng(size).standard_normal((size, rank))
    rows /= np.linalg.norm(rows, axis=1, keepdims=True)
    found = rows @ rows.T
    np.fill_diagonal(found, 1)
    found = (found + found.T) / 2
    got = root(found.clip(-1, 1))
    assert got @ got.T == pytest.approx(found, abs=1e-8)
    if rank == size:
        assert got == pytest.approx(linalg.sqrtm(found).real, abs=1e-8)


def test_a_matrix_is_filled_from_pairs_either_way_round():
    """Pairs count both ways, those of strangers not at all, and what is not said is 0."""
    found = matrix("abc", {("c", "a"): 0.5, ("b", "x"): 0.9})
    assert found.tolist() == [[1, 0, 0.5], [0, 1, 0], [0.5, 0, 1]]
    assert matrix([], {}).shape == (0, 0)
    assert contradiction(matrix([], {})) == ()


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (np.ones((2, 3)), r"shape is \(2, 3\); a correlation matrix is square"),
        (np.ones(4), "a correlation matrix is square"),
        ([[1, 0.5], [0.4, 1]], "row 2, column 1: 0.4 one way and 0.5 the other"),
        ([[1, 0], [0, 0.9]], "row 2: 0.9 with itself"),
        ([[1, 1.2], [1.2, 1]], "row 2, column 1: 1.2; a correlation is -1 to 1"),
        ([[1, float("nan")], [float("nan"), 1]], "nan"),
        ([[float("nan")]], "nan with itself"),
        (three(0.9, -0.9, 0.9), "rows 1, 2, 3 contradict each other"),
    ],
)
def test_what_is_no_correlation_matrix_is_refused_by_place(found, said):
    """The message says which row and what is wrong with it."""
    with pytest.raises(ValueError, match=said):
        root(np.array(found, float))


# --- the table -----------------------------------------------------------------------------------


def faults_of(tmp_path, *rows, table="correlations", keep=True):
    """Faults of the shipped tables with these rows written under one of them."""
    folder = tmp_path / "tables"
    shutil.copytree(catalogue.data_folder(), folder, ignore=shutil.ignore_patterns("demo"))
    path = folder / f"{table}.csv"
    with open(path, encoding="utf-8", newline="") as file:
        there = list(csv.DictReader(file))
    standing = {name: there[0][name] for name in ("unit", "basis", "source", "dated")}
    written = (there if keep else []) + [standing | row for row in rows]
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, there[0])
        writer.writeheader()
        writer.writerows(written)
    with pytest.raises(BadInput) as caught:
        catalogue.load(folder)
    return caught.value.faults, len(there) + 2 if keep else 2


def pair(kind, other, value):
    """A row of the table."""
    return {"kind": kind, "other": other, "correlation": str(value)}


def test_the_shipped_correlations_can_be():
    """The trade's own table has a root, and it correlates what its rows say."""
    rows = catalogue.load().correlations
    pairs = {key: row.correlation for key, row in rows.items()}
    names = sorted({name for key in rows for name in key})
    found = root(matrix(names, pairs))
    together = found @ found.T
    for (one, other), value in pairs.items():
        assert together[names.index(one), names.index(other)] == pytest.approx(value)


def test_rows_that_contradict_are_named_by_number(tmp_path):
    """Three rows that cannot hold together are named with their rows, and others are not."""
    faults, _ = faults_of(
        tmp_path, pair("clean", "polish", 0.9), pair("strip", "finish", 0.5),
        pair("polish", "derust", 0.9), pair("clean", "derust", -0.9), keep=False)
    (fault,) = faults
    assert (fault.file, fault.row, fault.column) == ("correlations.csv", 2, "correlation")
    assert "Rows 2, 4, 5 contradict each other: clean, derust, polish" in fault.what
    assert "nearer" in fault.fix


def test_a_row_that_contradicts_the_shipped_ones_is_found(tmp_path):
    """One row too many among the trade's own: it is among those named."""
    # remove goes with assemble (0.4) and with replace (0.3).
    faults, number = faults_of(tmp_path, pair("assemble", "replace", -0.95))
    (fault,) = faults
    assert "assemble, remove, replace" in fault.what
    assert str(number) in fault.what.partition("contradict")[0]


def test_a_pair_said_twice_is_refused(tmp_path):
    """The other way round is the same pair; which of the figures held would be left to chance."""
    faults, number = faults_of(tmp_path, pair("assemble", "remove", 0.4))
    (fault,) = faults
    assert fault.file == "correlations.csv"
    assert fault.row == number, "the later of the two is the one too many"
    assert "correlations.csv, row 2 already, the other way round" in fault.what
    again, number = faults_of(tmp_path / "again", pair("remove", "assemble", 0.1))
    assert again[0].row == number
    assert "stands in correlations.csv, row 2 already" in again[0].what


@pytest.mark.parametrize(
    ("written", "column", "said"),
    [
        (pair("clean", "test", 1.2), "correlation", "-1 or more and at most 1"),
        (pair("clean", "test", -1.01), "correlation", "-1 or more and at most 1"),
        (pair("clean", "test", "nan"), "correlation", "is not a number"),
        (pair("clean", "test", "much"), "correlation", "number"),
        (pair("clean", "test", ""), "correlation", "blank"),
        (pair("clean", "clean", 0.5), None, "the same"),
        (pair("clean", "juggle", 0.5), "other", "remove"),
    ],
)
def test_a_wrong_correlation_is_named_by_row_and_column(tmp_path, written, column, said):
    """Over 1, not a number, a kind with itself or one that is none: file, row and column."""
    faults, number = faults_of(tmp_path, written)
    assert [(f.file, f.row, f.column) for f in faults] == [("correlations.csv", number, column)]
    assert said in str(faults[0])


@pytest.mark.parametrize(
    ("table", "written", "column", "said"),
    [
        ("operations", {"operation": "mend-a", "name": "Mend it", "kind": "repair", "low": "3",
                        "typical": "2", "high": "5"}, None, "out of order"),
        ("operations", {"operation": "mend-a", "name": "Mend it", "kind": "repair", "low": "1",
                        "typical": "2", "high": "1.5"}, None, "out of order"),
        ("finds", {"find": "rot-a", "assembly": "post", "name": "Rot inside", "level_from": "clean",
                   "probability": "1.2", "low": "1", "typical": "2", "high": "3"},
         "probability", "0 or more and at most 1"),
        ("finds", {"find": "rot-a", "assembly": "post", "name": "Rot inside", "level_from": "clean",
                   "probability": "0.6", "low": "1", "typical": "2", "high": "3"},
         None, "exceeds 1"),
    ],
)
def test_wrong_odds_in_other_tables_are_named_by_row(tmp_path, table, written, column, said):
    """Three points out of order, a chance over 1, or one that its multiplier takes over 1."""
    faults, number = faults_of(tmp_path, written, table=table)
    assert [(f.file, f.row, f.column) for f in faults] == [(f"{table}.csv", number, column)]
    assert said in str(faults[0])
