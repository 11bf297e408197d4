"""What is asked and answered: limits, the charges that lines share, trials, the set picked."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from estimator.units import within


class NothingFits(ValueError):
    """Even the lines that cannot be left out are too dear.

    `over` says by how much, for each limit: in its own unit, 0 where it holds.
    """

    def __init__(self, over: Iterable[float]):
        self.over = tuple(over)
        said = ", ".join(f"{amount:.2f}" for amount in self.over)
        super().__init__(
            f"What cannot be left out is over the limit by {said}. Raise the limit, or let more "
            "lines be left out."
        )


class Shared(NamedTuple):
    """A charge that lines share, paid once any of them is in: a set-up, or a lot sent out.

    times × max(least, amount + Σ parts of the lines that are in)

    Parameters
    ----------
    amount
        Paid once, 0 or more.
    lines
        Numbers of the lines that share it, each once.
    least
        The least the lot is done for, 0 or more.
    parts
        What each of `lines` adds to the lot, 0 or more, in the same order; none of it may be
        counted in the line's own cost too. Empty: nothing.
    times
        A factor over all of it, 0 or more: a number, or one for each trial.

    Examples
    --------
    >>> lot = Shared(20, [3, 5], least=100, parts=[60, 45])
    >>> lot.charge({1}), lot.charge({1, 3}), lot.charge({3, 5})
    (0.0, 100.0, 125.0)
    """

    amount: float
    lines: Sequence[int]
    least: float = 0.0
    parts: Sequence[float] = ()
    times: float | np.ndarray = 1.0

    def charge(self, lines: Collection[int]) -> float:
        """What a set of lines pays, on average over the trials."""
        if not any(line in lines for line in self.lines):
            return 0.0
        parts = math.fsum(part for line, part in self.each() if line in lines)
        return float(np.mean(self.times)) * max(self.least, self.amount + parts)

    def each(self) -> list[tuple[int, float]]:
        """Every line with its part."""
        parts = self.parts if len(self.parts) else [0.0] * len(self.lines)
        return list(zip(self.lines, parts, strict=True))


class Trials(NamedTuple):
    """What the lines cost in each trial, as far as it adds up, in the unit of the limit.

    Parameters
    ----------
    base
        What is always in; shape (trials,), 0 or more.
    lines
        Each line; shape (lines, trials), 0 or more. Together with the shared charges no more than
        the set really costs in that trial: whatever does not add up is left out here.
    share
        Share of the trials that stay within the price, over 0 and at most 1: the confidence. [–]
    costs_of
        What a set of line numbers really costs in each trial, where `lines` and shared charges
        leave much out: shape (trials,). A set that holds another costs no less in any trial, and
        no shared charge is over its part of it. Without it nothing is wrong, but proofs take
        long once the price lies a hundredth over the trials.
    """

    base: np.ndarray
    lines: np.ndarray
    share: float
    costs_of: Callable[[frozenset[int]], np.ndarray] | None = None


@dataclass(frozen=True, eq=False)
class Limit:
    """A sum, or a number of days, that a set of lines has to stay within.

    A set fits where its mean and its price are both at most `most`.

    Parameters
    ----------
    most
        The limit. Everything else here is in its unit.
    price_of
        The price of a set of line numbers. A set that holds another never costs less.
    mean
        Mean cost of each line, 0 or more; zeros where only the price counts.
    fixed
        Mean of what is always in, 0 or more.
    shared
        Charges that lines share.
    trials
        With them the search sees the odds behind the price and proves most answers within
        seconds. Without, it knows only the mean and single prices: enough for some twenty lines.
    """

    most: float
    price_of: Callable[[frozenset[int]], float]
    mean: Sequence[float]
    fixed: float = 0.0
    shared: Sequence[Shared] = ()
    trials: Trials | None = None

    def mean_of(self, lines: Collection[int]) -> float:
        """Mean cost of a set.

        Examples
        --------
        >>> Limit(9, len, [1, 2, 3], fixed=4, shared=[Shared(5, [0, 2])]).mean_of({1, 2})
        14.0
        """
        own = (float(self.mean[line]) for line in lines)
        return math.fsum([self.fixed, *own, *(charge.charge(lines) for charge in self.shared)])


@dataclass(frozen=True)
class Picked:
    """The set of lines that is worth most.

    Parameters
    ----------
    lines
        Numbers of the lines that are in, those that cannot be left out among them.
    worth
        What they are worth together, in the unit of what each is worth.
    prices
        Their price under each limit, in the order of the limits.
    bound
        No set that fits is worth more than this.
    proven
        Whether `bound` is reached: no set that fits is worth more than the one picked.
    priced, looked
        How many prices, and costs by trial, were asked for; how many branches were looked at.
    """

    lines: frozenset[int]
    worth: float
    prices: tuple[float, ...]
    bound: float
    proven: bool
    priced: int
    looked: int


def check(worth: Sequence[float], limits: Sequence[Limit], must: Collection[int]) -> None:
    """Raise ValueError where a number is out of range or two sizes do not agree."""
    count = len(worth)
    if not limits:
        raise ValueError("Give at least one limit.")
    _costs("worth", worth, (count,))
    _known("must", must, count)
    for limit in limits:
        within("most", limit.most)
        within("fixed", limit.fixed, at_least=0)
        _costs("mean", limit.mean, (count,))
        trials = None if limit.trials is None else np.shape(limit.trials.base)
        if trials is not None:
            _costs("base", limit.trials.base, (np.size(limit.trials.base),))
            _costs("lines", limit.trials.lines, (count, *trials))
            within("share", limit.trials.share, above=0, up_to=1)
        for shared in limit.shared:
            _known("shared", shared.lines, count)
            within("amount", shared.amount, at_least=0)
            within("least", shared.least, at_least=0)
            _costs("parts", shared.parts, (len(shared.lines) if len(shared.parts) else 0,))
            one_each = np.ndim(shared.times) and trials is not None
            _costs("times", shared.times, trials if one_each else np.shape(shared.times))


def _known(name: str, lines: Collection[int], count: int) -> None:
    unknown = sorted(line for line in lines if not 0 <= line < count)
    if unknown:
        raise ValueError(f"{name} names lines {unknown}; there are {count}, counted from 0.")
    if len(set(lines)) < len(lines):
        raise ValueError(f"{name} names a line twice.")


def _costs(name: str, values: object, shape: tuple[int, ...]) -> None:
    found = np.asarray(values)
    if found.shape != shape:
        raise ValueError(f"{name} has the shape {found.shape}; it must be {shape}.")
    if found.size and not (found.min() >= 0 and np.isfinite(found.max())):
        raise ValueError(f"{name} must be finite numbers, at least 0.")
