"""The forecast of a task: a chance of the estimate itself, and a distribution of all else."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Spread:
    """Forecasts of r = ln(actual / estimate) of n tasks.

    Parameters
    ----------
    exact
        Chance that actual and estimate are the same, over 0 and under 1; shape (n,).
    ratio, below
        r, rising, and the share of all other tasks below it, from 0 to 1; shape (n, k).
    """

    exact: np.ndarray
    ratio: np.ndarray
    below: np.ndarray

    def levels(self, ratio: np.ndarray, exact: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Levels between which cases came: apart only for those at the estimate; shape (n,)."""
        under = (1 - self.exact) * rows_interp(ratio[:, None], self.ratio, self.below)[:, 0]
        low = np.where(exact | (ratio <= 0), under, under + self.exact)
        return low, np.where(exact, under + self.exact, low)

    def quantiles(self, levels: np.ndarray) -> np.ndarray:
        """r at levels (m,), shape (n, m); 0 where the estimate itself is the answer.

        Examples
        --------
        >>> line = np.linspace(-1.0, 1.0, 5)[None]
        >>> half = Spread(np.array([0.5]), line, (line + 1) / 2)
        >>> half.quantiles(np.array([0.125, 0.3, 0.7, 0.875]))
        array([[-0.5,  0. ,  0. ,  0.5]])
        """
        exact = self.exact[:, None]
        start = (1 - exact) * rows_interp(np.zeros((len(exact), 1)), self.ratio, self.below)
        others = np.where(levels <= start, levels, np.maximum(levels - exact, start))
        found = rows_interp(others / (1 - exact), self.below, self.ratio)
        # The two sides of the estimate meet in it, whatever the rounding.
        found = np.where(levels <= start, np.minimum(found, 0.0), np.maximum(found, 0.0))
        return np.where((levels > start) & (levels <= start + exact), 0.0, found)


def rows_interp(values: np.ndarray, table: np.ndarray, of: np.ndarray) -> np.ndarray:
    """`np.interp` for each row: `of` over rising `table`, both (n, k), at `values` (n, m).

    A value outside gets the nearest end.
    """
    # Rows are brought to 0 … 1 and laid end to end, so that one call serves all of them.
    low, span = table[:, :1], table[:, -1:] - table[:, :1]
    scale, start = 1 / np.where(span > 0, span, 1.0), 2.0 * np.arange(len(table))[:, None]
    at = np.clip((values - low) * scale, 0.0, 1.0) + start
    return np.interp(at.ravel(), ((table - low) * scale + start).ravel(),
                     of.ravel()).reshape(values.shape)
