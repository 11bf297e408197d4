"""Correlation matrices: whether one can be, and its square root.

Where many things are correlated two by two, not every table of figures can hold at once: if a
goes with b and b with c, then a and c cannot go against each other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

_TINY = 1e-9


def matrix(names: Sequence[str], pairs: Mapping[tuple[str, str], float]) -> np.ndarray:
    """The correlation matrix of `names`, shape (n, n); pairs that are not given are 0.

    Examples
    --------
    >>> matrix(["a", "b"], {("b", "a"): 0.5}).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    at = {name: place for place, name in enumerate(names)}
    found = np.eye(len(names))
    for (one, other), value in pairs.items():
        if one in at and other in at:
            found[at[one], at[other]] = found[at[other], at[one]] = value
    return found


def contradiction(found: np.ndarray) -> tuple[int, ...]:
    """Places that cannot hold together in a symmetric matrix with ones on its diagonal.

    Empty if it is a correlation matrix, that is, if no eigenvalue is negative (beyond 1e-9).
    Else the members of a smallest set found whose own matrix has one, by leaving out one after
    another what is not needed for it.

    Examples
    --------
    >>> contradiction(np.array([[1, 0.9, -0.9, 0], [0.9, 1, 0.9, 0], [-0.9, 0.9, 1, 0],
    ...                         [0, 0, 0, 1.0]]))
    (0, 1, 2)
    """
    def fails(places: list[int]) -> bool:
        return np.linalg.eigvalsh(found[np.ix_(places, places)]).min() < -_TINY

    left = list(range(len(found)))
    if not left or not fails(left):
        return ()
    for place in range(len(found)):
        without = [other for other in left if other != place]
        if without and fails(without):
            left = without
    return tuple(left)


def root(found: np.ndarray) -> np.ndarray:
    """A square root R of a correlation matrix, R Rᵀ = the matrix; shape (n, n).

    Rows of R times independent standard normals are standard normals so correlated. Matrices
    on the edge, where some things are one and the same, have a root too.

    Raises
    ------
    ValueError
        If it is not a correlation matrix, naming the places that contradict each other.

    Examples
    --------
    >>> R = root(np.array([[1, 0.6], [0.6, 1]]))
    >>> np.round(R @ R.T, 9).tolist()
    [[1.0, 0.6], [0.6, 1.0]]
    """
    found = np.asarray(found, float)
    if found.ndim != 2 or found.shape[0] != found.shape[1]:
        raise ValueError(f"the shape is {found.shape}; a correlation matrix is square")
    for row in range(len(found)):
        for column in range(row + 1):
            value = found[row, column]
            if row == column and value != 1:
                raise ValueError(f"row {row + 1}: {value:g} with itself; it must be 1")
            if not -1 <= value <= 1:
                raise ValueError(f"row {row + 1}, column {column + 1}: {value:g}; "
                                 "a correlation is -1 to 1")
            if value != found[column, row]:
                raise ValueError(f"row {row + 1}, column {column + 1}: {value:g} one way and "
                                 f"{found[column, row]:g} the other; they must be the same")
    against = contradiction(found)
    if against:
        rows = ", ".join(str(place + 1) for place in against)
        raise ValueError(f"rows {rows} contradict each other: no quantities can be correlated so")
    values, vectors = np.linalg.eigh(found)
    # The same root whatever the signs that the eigenvectors come with.
    return (vectors * np.sqrt(np.clip(values, 0, None))) @ vectors.T
