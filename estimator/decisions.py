"""Decisions under uncertainty: payoff tables, what knowing more is worth, what a cover costs.

A payoff table has a row for each action and a column for each state of the world. Its figures
are gains; write costs as negative gains.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimator.units import within

# --- payoff tables -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Choice:
    """What a rule chooses.

    Parameters
    ----------
    best
        Row of the action chosen, from 0; of several as good, the first.
    figures
        The figure of each action that the rule compares.

    Examples
    --------
    >>> Choice(best=1, figures=(300.0, 450.0)).figure
    450.0
    """

    best: int
    figures: tuple[float, ...]

    @property
    def figure(self) -> float:
        """The figure of the action chosen."""
        return self.figures[self.best]


def by_expected(payoffs: ArrayLike, chances: ArrayLike) -> Choice:
    """The action of the highest expected payoff.

    Parameters
    ----------
    payoffs
        Shape (actions, states). [any one unit]
    chances
        Of each state, 0 or more, together 1; shape (states,). [–]

    Raises
    ------
    ValueError
        If the table is not one, or the chances are none or do not fit it.

    Examples
    --------
    >>> by_expected([[200, -180], [100, -20], [0, 0]], [0.5, 0.5])
    Choice(best=1, figures=(10.0, 40.0, 0.0))
    """
    table = _table(payoffs)
    return _highest(table @ _chances("chances", chances, table.shape[1]))


def expected_knowing(payoffs: ArrayLike, chances: ArrayLike) -> float:
    """Expected payoff of one who learns the state before choosing: E[max over actions].

    Examples
    --------
    >>> expected_knowing([[200, -180], [100, -20], [0, 0]], [0.5, 0.5])
    100.0
    """
    table = _table(payoffs)
    return float(table.max(axis=0) @ _chances("chances", chances, table.shape[1]))


def value_of_knowing(payoffs: ArrayLike, chances: ArrayLike) -> float:
    """Expected value of perfect information: the most that any forecast of the state is worth.

    Never negative, and equal to the least expected regret (H. Raiffa & R. Schlaifer, "Applied
    Statistical Decision Theory", 1961).

    Examples
    --------
    >>> value_of_knowing([[200, -180], [100, -20], [0, 0]], [0.5, 0.5])
    60.0
    """
    return max(0.0, expected_knowing(payoffs, chances) - by_expected(payoffs, chances).figure)


def regret(payoffs: ArrayLike) -> np.ndarray:
    """What each action falls short of the best one, state by state; shape as `payoffs`, 0 or more.

    Examples
    --------
    >>> regret([[200, -180], [100, -20], [0, 0]]).tolist()
    [[0.0, 180.0], [100.0, 20.0], [200.0, 0.0]]
    """
    table = _table(payoffs)
    return table.max(axis=0) - table


def maximax(payoffs: ArrayLike) -> Choice:
    """The action whose best state is best: for one who hopes.

    Examples
    --------
    >>> maximax([[200, -180], [100, -20], [0, 0]])
    Choice(best=0, figures=(200.0, 100.0, 0.0))
    """
    return realism(payoffs, 1.0)


def maximin(payoffs: ArrayLike) -> Choice:
    """The action whose worst state is least bad: for one who fears (A. Wald, 1950).

    Examples
    --------
    >>> maximin([[200, -180], [100, -20], [0, 0]])
    Choice(best=2, figures=(-180.0, -20.0, 0.0))
    """
    return realism(payoffs, 0.0)


def realism(payoffs: ArrayLike, optimism: float) -> Choice:
    """The action of the best mix of its best and its worst state (L. Hurwicz, 1951).

    Parameters
    ----------
    optimism
        Weight of the best state, 0 to 1; the rest goes to the worst. [–]

    Examples
    --------
    >>> realism([[200, -180], [100, -20], [0, 0]], 0.8)
    Choice(best=0, figures=(124.0, 76.0, 0.0))
    """
    within("optimism", optimism, at_least=0, up_to=1, fix="Write 0.8 for 80 %.")
    table = _table(payoffs)
    return _highest(optimism * table.max(axis=1) + (1 - optimism) * table.min(axis=1))


def minimax_regret(payoffs: ArrayLike) -> Choice:
    """The action whose greatest regret is least (L. Savage, 1951).

    Examples
    --------
    >>> minimax_regret([[200, -180], [100, -20], [0, 0]])
    Choice(best=1, figures=(180.0, 100.0, 200.0))
    """
    greatest = regret(payoffs).max(axis=1)
    return Choice(int(greatest.argmin()), tuple(greatest.tolist()))


@dataclass(frozen=True, eq=False)
class Sample:
    """What a test tells that points to the state without proving it.

    Parameters
    ----------
    chances
        Of each signal that the test may give; shape (signals,). [–]
    posterior
        Chance of each state once a signal is seen; shape (signals, states). A signal that
        never comes leaves the chances as they were. [–]
    best
        Row of the action to take on each signal; shape (signals,).
    payoffs
        Expected payoff of that action; shape (signals,).
    expected
        Expected payoff of one who tests, the cost of the test not yet taken off.
    value
        Expected value of sample information: the most to pay for the test; 0 or more.
    efficiency
        That value as a share of what perfect information is worth; 0 where that is nothing. [–]
    """

    chances: np.ndarray
    posterior: np.ndarray
    best: np.ndarray
    payoffs: np.ndarray
    expected: float
    value: float
    efficiency: float


def value_of_test(payoffs: ArrayLike, prior: ArrayLike, likelihood: ArrayLike) -> Sample:
    """What a test is worth that gives one of several signals, by Bayes' rule.

    EVSI = Σ P(signal) · max over actions of E[payoff | signal] − max over actions of E[payoff]

    Parameters
    ----------
    payoffs
        Shape (actions, states).
    prior
        Chance of each state before the test, together 1; shape (states,). [–]
    likelihood
        Chance of each signal where the state is the case: a row for each state, together 1;
        shape (states, signals). [–]

    Raises
    ------
    ValueError
        If `likelihood` lacks the row of a state, or chances do not add up to 1.

    Notes
    -----
    H. Raiffa & R. Schlaifer, "Applied Statistical Decision Theory", 1961.

    Examples
    --------
    >>> found = value_of_test([[700, -100], [90, 90]], [0.25, 0.75], [[0.6, 0.4], [0.2, 0.8]])
    >>> found.best.tolist(), round(found.value, 9), round(found.efficiency, 4)
    ([0, 1], 53.0, 0.3719)
    """
    table = _table(payoffs)
    states = table.shape[1]
    before = _chances("prior", prior, states)
    rows = np.asarray(likelihood, float)
    if rows.ndim != 2 or len(rows) != states:
        raise ValueError(f"likelihood needs a row for each of the {states} states, "
                         "and in it the chance of each signal")
    rows = np.array([_chances(f"likelihood of state {state}", row, rows.shape[1])
                     for state, row in enumerate(rows)])
    joint = before[:, None] * rows
    signals = joint.sum(axis=0)
    posterior = np.where(signals > 0, joint / np.where(signals > 0, signals, 1), before[:, None]).T
    each = posterior @ table.T
    best = each.argmax(axis=1)
    gained = each.max(axis=1)
    expected = float(signals @ gained)
    value = max(0.0, expected - by_expected(table, before).figure)
    perfect = value_of_knowing(table, before)
    share = value / perfect if perfect > 0 else 0.0
    return Sample(signals, posterior, best, gained, expected, value, share)


# --- cover ---------------------------------------------------------------------------------------


def cover_loss(cost: ArrayLike, cover: ArrayLike, confidence: float) -> np.ndarray:
    """What it costs, trial by trial, to have set aside `cover` where a job came to `cost`.

    max(cost − cover, 0) + (1 − confidence) / confidence · max(cover − cost, 0)

    A sum too little is paid by the shop, one for one. A sum too much makes the quote dear and
    is counted at the rate that makes the cost at `confidence` the best cover of all: whoever
    prices at the 80 % cost acts as if a unit too much hurt a quarter as much as one too little.

    Parameters
    ----------
    cost
        Of each trial; shape (trials,). [money]
    cover
        One sum, or one for each trial. [money]
    confidence
        Share of jobs that the cover is to be enough for, over 0 up to 1. [–]

    Returns
    -------
    array of shape (trials,), 0 or more. [money]

    Notes
    -----
    The critical ratio of the newsvendor problem (K. Arrow, T. Harris & J. Marschak,
    "Econometrica" 19, 1951); the loss is the check function of R. Koenker & G. Bassett,
    "Econometrica" 46, 1978, divided by the confidence.

    Examples
    --------
    >>> cover_loss([900, 1000, 1200], 1000, 0.8).round(6).tolist()
    [25.0, 0.0, 200.0]
    """
    _confidence(confidence)
    over = np.asarray(cost, float) - np.asarray(cover, float)
    return np.maximum(over, 0) + (1 - confidence) / confidence * np.maximum(-over, 0)


def mean_loss(cost: ArrayLike, cover: ArrayLike, confidence: float) -> float:
    """Mean of `cover_loss` over the trials. [money]

    Parameters
    ----------
    cost
        Of each trial; shape (trials,). [money]
    cover, confidence
        As in `cover_loss`. [money], [–]

    Examples
    --------
    >>> mean_loss([900, 1000, 1200], 1000, 0.8)
    75.0
    """
    return float(cover_loss(_trials(cost), cover, confidence).mean())


def least_loss(cost: ArrayLike, confidence: float) -> float:
    """Mean loss with the best cover, which is the cost at `confidence`. [money]

    That is the mean cost less the mean of the lowest trials, as many as `confidence` says; a
    trial on the border counts in part.

    Notes
    -----
    R. T. Rockafellar & S. Uryasev, "Journal of Risk" 2, 2000, theorem 1, for the lower tail.

    Examples
    --------
    >>> least_loss([900, 1000, 1100, 1300], 0.75), mean_loss([900, 1000, 1100, 1300], 1100, 0.75)
    (75.0, 75.0)
    """
    _confidence(confidence)
    trials = _trials(cost)
    return max(0.0, float(trials.mean() - _lowest(trials, confidence) / confidence / trials.size))


def value_of_seeing(cost: ArrayLike, groups: ArrayLike, confidence: float) -> float:
    """What it saves on average to know the group of a job before its cover is chosen. [money]

    The expected value of partial perfect information: the least mean loss with one cover for
    all, less that with the best cover for each group. Take the state of a line that was not
    looked at as the group, and it is what looking is worth.

    Parameters
    ----------
    cost
        Of each trial; shape (trials,). [money]
    groups
        Code of the group that the trial fell into, a whole number from 0; shape (trials,).
    confidence
        As in `cover_loss`, over 0 up to 1. [–]

    Returns
    -------
    float, 0 or more: trials can only gain by being told apart. For the same reason it reads
    high where the groups say nothing, by about
    (groups − 1) · (1 − confidence) / (2 · trials · density of the cost at the cover):
    with 10,000 trials, two groups and 80 %, under a twenty-thousandth of the spread.

    Raises
    ------
    ValueError
        If there is not one whole number from 0 for each trial.

    Notes
    -----
    M. Strong & J. Oakley, "Medical Decision Making" 33, 2013, work from the trials at hand as
    well. Seeing moves the mean loss only through the lowest trials (see `least_loss`), and
    these are found without sorting.

    Examples
    --------
    >>> value_of_seeing([900, 1000, 1100, 1900, 2000, 2100], [0, 0, 0, 1, 1, 1], 2 / 3)
    225.0
    >>> value_of_seeing([900, 1000, 1100, 900, 1000, 1100], [0, 0, 0, 1, 1, 1], 2 / 3)
    0.0
    """
    _confidence(confidence)
    trials = _trials(cost)
    codes = np.asarray(groups)
    if codes.shape != trials.shape or codes.dtype.kind not in "iub":
        raise ValueError("groups must hold a whole number, its group, for each trial")
    if codes.min() < 0:
        raise ValueError(f"groups holds {codes.min()}; codes start at 0")
    present = np.flatnonzero(np.bincount(codes))
    told = sum(_lowest(trials[codes == code], confidence) for code in present)
    return max(0.0, float(told - _lowest(trials, confidence)) / confidence / trials.size)


def _lowest(trials: np.ndarray, share: float) -> float:
    """Sum of the lowest `share` of the trials; the one on the border in part."""
    count = share * trials.size
    whole = int(count)
    if whole >= trials.size:
        return float(trials.sum())
    parted = np.partition(trials, whole)
    return float(parted[:whole].sum() + (count - whole) * parted[whole])


# --- checks --------------------------------------------------------------------------------------


def _highest(figures: np.ndarray) -> Choice:
    return Choice(int(figures.argmax()), tuple(figures.tolist()))


def _table(payoffs: ArrayLike) -> np.ndarray:
    table = np.asarray(payoffs, float)
    if table.ndim != 2 or not table.size or not np.isfinite(table).all():
        raise ValueError("payoffs must be a table of finite numbers: "
                         "a row for each action, a column for each state")
    return table


def _chances(name: str, chances: ArrayLike, count: int) -> np.ndarray:
    found = np.asarray(chances, float)
    if found.shape != (count,):
        raise ValueError(f"{name} must hold {count} chances; it has the shape {found.shape}")
    for chance in found:
        within(name, float(chance), at_least=0, up_to=1, fix="Write 0.8 for 80 %.")
    if abs(found.sum() - 1) > 1e-9:
        raise ValueError(f"{name}: the chances add up to {found.sum():g}; they must add up to 1")
    return found


def _confidence(confidence: float) -> None:
    within("confidence", confidence, above=0, up_to=1, fix="Write 0.8 for 80 %.")


def _trials(cost: ArrayLike) -> np.ndarray:
    trials = np.asarray(cost, float)
    if trials.ndim != 1 or not trials.size or not np.isfinite(trials).all():
        raise ValueError("cost must hold a finite number for each trial")
    return trials


__all__ = ["Choice", "Sample", "by_expected", "cover_loss", "expected_knowing", "least_loss",
           "maximax", "maximin", "mean_loss", "minimax_regret", "realism", "regret",
           "value_of_knowing", "value_of_seeing", "value_of_test"]
