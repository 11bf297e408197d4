"""How past tasks like this one came out: their ratios, weighted by how alike and how recent.

A memory beside the pooled model: where the model's form is wrong (two humps, a kind with a shape
of its own), past tasks know better, and the average of both beats either.
"""

from __future__ import annotations

import numpy as np

from estimator.learning.priors import SIMILAR_COUNT, SIMILAR_MOST, SIMILAR_WIDTH


class Similar:
    """Past ratios sorted, to be weighted anew for every task.

    Parameters
    ----------
    ratio, x, weight
        ln(actual / estimate), ln(estimate) and recency of past tasks.
    labels
        Numbers of their kinds and persons: arrays as long as `ratio`.
    """

    def __init__(self, ratio: np.ndarray, x: np.ndarray, weight: np.ndarray,
                 labels: list[np.ndarray], sizes: list[int]):
        ratio, x, weight = ratio[-SIMILAR_MOST:], x[-SIMILAR_MOST:], weight[-SIMILAR_MOST:]
        order = ratio.argsort(kind="stable")
        self.ratio, self.x = ratio[order], x[order].astype(np.float32)
        self.weight = weight[order].astype(np.float32)
        self.every = float(self.weight.sum())
        self.labels = [codes[-SIMILAR_MOST:][order].astype(np.int32) for codes in labels]
        self.boosts = [np.maximum((self.every - np.bincount(codes, self.weight, size))
                                  / SIMILAR_COUNT, 1.0).astype(np.float32)
                       for codes, size in zip(self.labels, sizes, strict=True)]

    def below(self, at: np.ndarray, x: np.ndarray, labels: list[np.ndarray]
              ) -> tuple[np.ndarray, np.ndarray]:
        """Share of past tasks with ratios below `at` (n, k), and how many tasks it stands on (n,).

        A label's own tasks are raised to n / (n + `SIMILAR_COUNT`) of all weight, as pooling
        would have it; nearness in size falls off as 1 / (1 + distance²).
        """
        far = (x.astype(np.float32)[:, None] - self.x) * np.float32(1 / SIMILAR_WIDTH)
        weight = self.weight / (1 + far * far)
        for codes, boosts, own in zip(self.labels, self.boosts, labels, strict=True):
            for label in np.unique(own[own >= 0]):
                if boosts[label] > 1:
                    rows, alike = (own == label).nonzero()[0], (codes == label).nonzero()[0]
                    weight[np.ix_(rows, alike)] *= boosts[label]
        added = np.zeros((len(x), len(self.ratio) + 1), np.float32)
        np.cumsum(weight, axis=1, out=added[:, 1:])
        total = added[:, -1]
        stands_on = total.astype(float) ** 2 / np.einsum("ij,ij->i", weight, weight)
        spot = np.searchsorted(self.ratio, at)
        share = np.take_along_axis(added, spot, axis=1) / total[:, None]
        return share.astype(float), stands_on
