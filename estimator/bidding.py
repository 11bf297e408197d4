"""Bidding: the chance of winning a job at a price, and the price that earns most on average.

Two ways to the chance. From rivals whose bids are known: the published formulas of Gates and of
Friedman, and a best rival who bids normally. From the shop's own quotes, won and lost: a curve of
the chance over price against expected cost, with how far it can be trusted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from estimator.units import within

# --- known rivals --------------------------------------------------------------------------------


def gates(chances: ArrayLike) -> np.ndarray:
    """Chance of beating all rivals from the chance of beating each: 1 / (1 + Σ (1 − p)/p).

    Parameters
    ----------
    chances
        Of beating each rival alone, over 0 up to 1; shape (…, rivals). [–]

    Returns
    -------
    array of shape (…). [–]

    Notes
    -----
    M. Gates, "Bidding strategies and probabilities", J. Construction Division ASCE 93, 1967. He
    lets what makes one bid low help against all rivals; `friedman` takes them as independent.

    Examples
    --------
    >>> round(float(gates([0.75, 0.82, 0.67, 0.88])), 4)
    0.4583
    """
    return 1 / (1 + (1 / _chances(chances) - 1).sum(axis=-1))


def friedman(chances: ArrayLike) -> np.ndarray:
    """Chance of beating all rivals if they bid independently: the product of the chances. [–]

    Parameters
    ----------
    chances
        As for `gates`.

    Notes
    -----
    L. Friedman, "A competitive-bidding strategy", Operations Research 4, 1956.

    Examples
    --------
    >>> round(float(friedman([0.75, 0.82, 0.67, 0.88])), 4)
    0.3626
    """
    return _chances(chances).prod(axis=-1)


def win_against_normal(bid: ArrayLike, mean: float, sd: float) -> np.ndarray:
    """Chance of undercutting the best rival bid where that is normal: 1 − Φ((bid − mean)/sd).

    Parameters
    ----------
    bid
        Price or mark-up, any shape, in the unit of `mean` and `sd`.
    sd
        Over 0.

    Examples
    --------
    >>> win_against_normal([20, 60], mean=60, sd=30).round(4).tolist()
    [0.9088, 0.5]
    """
    within("sd", sd, above=0)
    scores = (np.asarray(bid, float) - mean) / (sd * math.sqrt(2))
    return np.vectorize(math.erfc, otypes=[float])(scores) / 2


# --- the best bid --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Best:
    """The bid that earns most on average.

    Parameters
    ----------
    bid
        Price, or mark-up where the cost was 0.
    win
        Chance of winning with it. [–]
    earns
        Chance × (bid − cost): what is earned on average by each quote sent, won or lost.
    edge
        "lowest" or "highest" where the best lies at that end of the bids looked at, so that one
        beyond might earn more; else None.

    Examples
    --------
    >>> Best(1.9, 0.2, 0.18, "highest").caution
    'No quote asked more than this against its cost; whether more would earn more is not known.'
    """

    bid: float
    win: float
    earns: float
    edge: str | None = None

    @property
    def caution(self) -> str:
        """What to know before it is taken; empty if there is nothing."""
        if self.edge is None:
            return ""
        more = "more" if self.edge == "highest" else "less"
        return (f"No quote asked {more} than this against its cost; "
                f"whether {more} would earn more is not known.")


def best_bid(
    win: Callable[[np.ndarray], ArrayLike], low: float, high: float, cost: float = 0.0
) -> Best:
    """The bid between `low` and `high` with the highest chance × (bid − cost).

    Parameters
    ----------
    win
        Chance of winning at each bid of an array, of the same shape.
    low, high
        Where to look; low < high, or equal if there is but one bid.
    cost
        What the job costs on average; 0 where bids are mark-ups.

    Raises
    ------
    ValueError
        If `low` or `high` is not finite, or they are out of order.

    Examples
    --------
    >>> found = best_bid(lambda bid: win_against_normal(bid, 60, 30), 0, 150)
    >>> round(found.bid, 3), round(found.win, 4), round(found.earns, 3)
    (50.049, 0.6299, 31.528)
    """
    if not (math.isfinite(low) and math.isfinite(high) and low <= high):
        raise ValueError(f"low {low:g} and high {high:g} must be finite and in order")
    near = (low, high)
    # A grid first, for several rises are possible; each round looks a hundred times closer.
    for _ in range(4):
        bids = np.linspace(*near, 201)
        chances = np.asarray(win(bids), float)
        earns = chances * (bids - cost)
        at = int(earns.argmax())
        near = (bids[max(at - 1, 0)], bids[min(at + 1, 200)])
    bid = float(bids[at])
    close = 1e-6 * (high - low)
    edge = "highest" if bid >= high - close else "lowest" if bid <= low + close else None
    return Best(bid, float(chances[at]), float(earns[at]), edge)


# --- the shop's own quotes -----------------------------------------------------------------------

# Slope and intercept of a curve are two figures: 5 to 10 cases of the rarer outcome for each
# figure that is looked for are common practice (P. Peduzzi et al., J. Clinical Epidemiology 49,
# 1996, who ask for 10; from memory), and the slope alone is looked for here.
_ANSWERED = 20
_EACH = 5
# Standard deviation of ln(price/cost). With 20 quotes the slope is then known to about
# 2/(0.05 √20) = 9, so that the quotes say about as much as the prior does.
_SPREAD = 0.05


@dataclass(frozen=True)
class Answered:
    """A quote that was answered.

    Parameters
    ----------
    price
        Asked for, before tax; over 0. [money]
    cost
        Expected when it was sent, finds included, in the same money; over 0.
    won
        Whether the customer accepted.

    Examples
    --------
    >>> Answered(price=4200, cost=3000, won=True).ratio
    1.4
    """

    price: float
    cost: float
    won: bool

    def __post_init__(self) -> None:
        within("price", self.price, above=0)
        within("cost", self.cost, above=0)

    @property
    def ratio(self) -> float:
        """Price over expected cost. [–]"""
        return self.price / self.cost


def enough(history: Iterable[Answered]) -> str | None:
    """None if the history can carry a curve; else a sentence that says what is missing.

    20 answered quotes, 5 of them won and 5 lost, and prices that differ against cost: with less
    a curve shows the prior more than the shop.

    Examples
    --------
    >>> enough([Answered(4000, 3000, True)] * 12)  # doctest: +NORMALIZE_WHITESPACE
    'How the price changes the chance of a job shows only with 20 answered quotes (12 so far), 5
    of them lost (0 so far) and prices that differ by 5 % or more against their costs (0 % so
    far).'
    """
    answered = list(history)
    won = sum(one.won for one in answered)
    lost = len(answered) - won
    spread = float(np.std([math.log(one.ratio) for one in answered])) if answered else 0.0
    missing = [
        f"{wanted} {what} ({found} so far)"
        for what, wanted, found in (("answered quotes", _ANSWERED, len(answered)),
                                    ("of them won", _EACH, won), ("of them lost", _EACH, lost))
        if found < wanted
    ]
    if answered and spread < _SPREAD:
        missing.append(f"prices that differ by {100 * _SPREAD:g} % or more against their costs "
                       f"({math.floor(100 * spread)} % so far)")
    if not missing:
        return None
    said = " and ".join(filter(None, (", ".join(missing[:-1]), missing[-1])))
    return f"How the price changes the chance of a job shows only with {said}."


@dataclass(frozen=True, eq=False)
class Curve:
    """Chance of winning over price against expected cost.

    It holds many curves, each as likely as its weight says after the quotes were seen, so that
    what is not known widens the band and tempers the mean.

    Parameters
    ----------
    answered, won
        How many quotes it comes from, and how many of them were won.
    lowest, highest
        Of price over expected cost in those quotes; it says nothing outside. [–]
    centre
        Mean of ln(price/cost) in those quotes. [–]
    intercepts, slopes, weights
        Of the curves, logit(chance) = intercept + slope · (ln(price/cost) − centre); slopes are
        under 0, weights add up to 1. Shape (curves,).

    Examples
    --------
    >>> curve = Curve(40, 18, 1.1, 1.9, 0.4, np.array([0.2]), np.array([-6.0]), np.array([1.0]))
    >>> curve.win([1.2, 1.5, 2.5]).round(2).tolist()
    [0.82, 0.54, nan]
    >>> [end.round(2).item() for end in curve.band(1.5)]
    [0.54, 0.54]
    """

    answered: int
    won: int
    lowest: float
    highest: float
    centre: float
    intercepts: np.ndarray
    slopes: np.ndarray
    weights: np.ndarray

    def win(self, ratio: ArrayLike) -> np.ndarray:
        """Chance of winning at a price over expected cost; any shape. [–]

        Outside the prices that were tried it is not a number, and a chart leaves it out.
        """
        return self._tried(ratio, _logistic(self._logits(ratio)) @ self.weights)

    def band(self, ratio: ArrayLike, share: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
        """Between what the chance lies, with this probability; any shape. [–]

        Good to a percentage point or two; outside the prices that were tried, not numbers.
        """
        within("share", share, at_least=0, up_to=1, fix="Write 0.95 for 95 %.")
        shares = ((1 - share) / 2, (1 + share) / 2)
        logits = self._logits(ratio)
        ends = np.array([_quantiles(row, self.weights, shares)
                         for row in logits.reshape(-1, len(self.weights))])
        ends = _logistic(ends.reshape(*logits.shape[:-1], 2))
        return self._tried(ratio, ends[..., 0]), self._tried(ratio, ends[..., 1])

    def _logits(self, ratio: ArrayLike) -> np.ndarray:
        ratio = np.asarray(ratio, float)
        if not (ratio > 0).all():
            raise ValueError("ratio, price over expected cost, must be over 0")
        return self.intercepts + self.slopes * (np.log(ratio)[..., None] - self.centre)

    def _tried(self, ratio: ArrayLike, chances: np.ndarray) -> np.ndarray:
        ratio = np.asarray(ratio, float)
        # As near as dust counts as tried: a price is made from a ratio and back.
        inside = (ratio >= self.lowest * (1 - 1e-9)) & (ratio <= self.highest * (1 + 1e-9))
        return np.where(inside, chances, np.nan)[()]


def winning_curve(
    history: Iterable[Answered],
    *,
    intercept_sd: float = 2.5,
    slope_median: float = 8.0,
    slope_spread: float = 1.0,
) -> Curve:
    """The chance of winning over price against cost, from quotes that were won and lost.

    Logistic regression of won on ln(price/cost), with a weak prior so that it exists for any
    history, and a slope that is never upward: a dearer quote is not likelier to win. Ask
    `enough` first whether it is worth showing.

    Parameters
    ----------
    history
        One quote or more.
    intercept_sd
        The logit of the chance at the mean price is normal about 0 with this spread: half of all
        shops between 16 and 84 %, one in twenty beyond 1 and 99 %. [–]
    slope_median, slope_spread
        Minus the slope is lognormal: its median, and the spread of its logarithm. A median of 8
        takes an even chance to 32 % where the price rises by a tenth; two spreads either way
        take it to 47 or to under 1 %. Judgement, no source. [–]

    Raises
    ------
    ValueError
        If the history is empty.

    Notes
    -----
    Posterior by quadrature about its mode, over the ellipse that its curvature there gives
    (Laplace's approximation, D. MacKay, "Information Theory, Inference, and Learning
    Algorithms", 2003, ch. 27), with the exact posterior as weights. On why weak priors: A. Gelman
    et al., "Annals of Applied Statistics" 2, 2008. Quotes count alike, however old.

    Examples
    --------
    >>> history = [Answered(1000 * r, 1000, r < 1.5) for r in (1.2, 1.3, 1.4, 1.6, 1.7, 1.8)]
    >>> curve = winning_curve(history)
    >>> curve.win([1.2, 1.5, 1.8, 2.0]).round(2).tolist()
    [0.95, 0.46, 0.06, nan]
    """
    answered = list(history)
    if not answered:
        raise ValueError("history is empty; a curve needs quotes that were answered")
    ratios = [one.ratio for one in answered]
    x = np.log(ratios)
    centre = float(x.mean())
    x -= centre
    won = np.array([one.won for one in answered], float)
    middle = np.array([0.0, math.log(within("slope_median", slope_median, above=0))])
    spread = np.array([within("intercept_sd", intercept_sd, above=0),
                       within("slope_spread", slope_spread, above=0)])

    def height(points: np.ndarray) -> np.ndarray:
        """Log posterior, but for a constant, at (intercept, ln of minus the slope)."""
        logits = points[..., :1] - np.exp(points[..., 1:]) * x
        likely = logits @ won - np.logaddexp(0, logits).sum(axis=-1)
        return likely - (((points - middle) / spread) ** 2).sum(axis=-1) / 2

    mode, curvature = _climb(height, x, won, middle, spread)
    points = mode + _lattice() @ np.linalg.inv(np.linalg.cholesky(curvature))
    heights = height(points)
    weights = np.exp(heights - heights.max())
    kept = weights > 1e-7
    points, weights = points[kept], weights[kept]
    return Curve(len(answered), int(won.sum()), min(ratios), max(ratios), centre,
                 points[:, 0], -np.exp(points[:, 1]), weights / weights.sum())


def best_price(curve: Curve, costs: ArrayLike) -> Best:
    """The price that earns most on average: highest win(price/cost) × (price − mean cost).

    Parameters
    ----------
    curve
        From `winning_curve`.
    costs
        Of the job: one for each trial, or the mean; the mean over 0. [money]

    Returns
    -------
    Best
        Within the prices against cost that the history covers, never beyond; `edge` and
        `caution` say where it ran into their end. [money]

    Notes
    -----
    It takes the costs as right. Where jobs are won above all when they were estimated too low
    (the winner's curse), it earns less.

    Examples
    --------
    >>> history = [Answered(1000 * r, 1000, r < 1.5) for r in (1.2, 1.3, 1.4, 1.6, 1.7, 1.8)]
    >>> found = best_price(winning_curve(history), 2000)
    >>> round(found.bid), round(found.win, 2), round(found.earns), found.caution
    (2790, 0.78, 619, '')
    """
    cost = within("mean of costs", float(np.mean(costs)), above=0)
    found = best_bid(curve.win, curve.lowest, curve.highest, cost=1.0)
    return Best(found.bid * cost, found.win, found.earns * cost, found.edge)


def _climb(height, x, won, middle, spread) -> tuple[np.ndarray, np.ndarray]:
    """Mode of the posterior and its curvature there, by Fisher scoring with halved steps."""
    at = middle.copy()
    for _ in range(100):
        slope = math.exp(at[1])
        chances = _logistic(at[0] - slope * x)
        rows = np.stack([np.ones_like(x), -slope * x])
        pull = rows @ (won - chances) - (at - middle) / spread**2
        curvature = (rows * chances * (1 - chances)) @ rows.T + np.diag(1 / spread**2)
        step = np.linalg.solve(curvature, pull)
        while height(at + step) < height(at) and np.abs(step).max() > 1e-9:
            step /= 2
        at = at + step
        if np.abs(step).max() < 1e-9:
            break
    return at, curvature


def _lattice(reach: float = 6.0, steps: int = 41) -> np.ndarray:
    """A square lattice on the slant of the golden ratio, so that no two points share a line."""
    along, up = np.meshgrid(*[np.linspace(-reach, reach, steps)] * 2)
    slant = (math.sqrt(5) - 1) / 2
    turned = np.stack([along - slant * up, slant * along + up], axis=-1)
    return turned.reshape(-1, 2) / math.hypot(1, slant)


def _quantiles(values: np.ndarray, weights: np.ndarray, shares: tuple) -> np.ndarray:
    """Quantiles of weighted values, each value standing in the middle of its weight."""
    order = values.argsort()
    weights = weights[order]
    return np.interp(shares, weights.cumsum() - weights / 2, values[order])


def _logistic(logits: np.ndarray) -> np.ndarray:
    return 0.5 * (1 + np.tanh(logits / 2))  # never overflows


def _chances(chances: ArrayLike) -> np.ndarray:
    found = np.asarray(chances, float)
    for chance in found.flat:
        within("chances", float(chance), above=0, up_to=1, fix="Write 0.8 for 80 %.")
    return found


__all__ = ["Answered", "Best", "Curve", "best_bid", "best_price", "enough", "friedman", "gates",
           "win_against_normal", "winning_curve"]
