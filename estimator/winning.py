"""Winning the job: what came of the quotes sent, the chance at a price, the price that earns most.

Until enough quotes have been answered there is no advice, only what is missing; and advice is all
it is: no price is changed by it.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from estimator.bidding import Answered, Best, Curve, best_bid, enough, winning_curve
from estimator.ledger import Sent
from estimator.money import as_number, format_money
from estimator.quote import Quote
from estimator.shop import Settings

NEAR = 0.95
"""Prices that earn so large a share of the most are as good: no curve is known better."""
_SHORT = f"{100 * (1 - NEAR):.0f} %"
_POINTS = 61


@dataclass(frozen=True)
class Chance:
    """What a price means for winning; all but `ratio` is None where no such price was tried.

    Parameters
    ----------
    ratio
        Price before tax over expected cost. [–]
    win, low, high
        Chance of winning, and between what it lies with 95 % probability. [–]
    earns
        What is left on average of each quote sent, won or lost, after the warranty reserve, over
        expected cost. [–]
    """

    ratio: float
    win: float | None = None
    low: float | None = None
    high: float | None = None
    earns: float | None = None


@dataclass(frozen=True, eq=False)
class Advice:
    """What the quotes sent say about a price.

    Parameters
    ----------
    won, lost, open
        How many quotes came to what.
    reason
        Why there is no advice yet, as a sentence; None if there is. All below is None or empty
        with it.
    cost
        Expected cost of the job asked about, finds included; None if none was. [money]
    offered
        At the price that is offered; None without one.
    best
        At the price that earns most on average, within the prices that were tried.
    near
        Lowest and highest price over cost that earn `NEAR` of the most, or more. [–]
    caution
        What to know before it is taken; may be empty.
    points
        The curve for a chart: price over cost, chance, low, high. [–]

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> found = Advice(won=6, lost=9, open=2, reason="It takes 20 answered quotes.")
    >>> found.answered, found.words(open_shop().settings)
    (15, ('It takes 20 answered quotes.',))
    """

    won: int
    lost: int
    open: int
    reason: str | None
    cost: float | None = None
    offered: Chance | None = None
    best: Chance | None = None
    near: tuple[float, float] | None = None
    caution: str = ""
    points: tuple[tuple[float, float, float, float], ...] = ()

    @property
    def answered(self) -> int:
        """How many quotes were won or lost."""
        return self.won + self.lost

    def words(self, settings: Settings) -> tuple[str, ...]:
        """All of it in sentences, money as the shop writes it."""
        if self.reason:
            return (self.reason,)
        lowest, highest = self.points[0][0], self.points[-1][0]
        said = [f"Of {self.answered} quotes answered so far {self.won} were won, at prices of "
                f"{lowest:.2f} to {highest:.2f} times the expected cost."]
        if self.offered:
            said.append(self._offered_words(settings))
        said += [self._best_words(settings), self.caution,
                 "It supposes customers like those so far, and that the expected cost is right."]
        return tuple(filter(None, said))

    def _offered_words(self, settings: Settings) -> str:
        here = self.offered
        price = f"{self._money(here.ratio, settings)} ({here.ratio:.2f} × cost)"
        if here.win is None:
            return f"No quote was answered at a price like {price}: its chance is not known."
        return (f"At {price} the chance of winning is {_in_100(here.win)} in 100; as far as "
                f"{self.answered} answers tell, between {_in_100(here.low)} and "
                f"{_in_100(here.high)} in 100.")

    def _best_words(self, settings: Settings) -> str:
        best = self.best
        if best.earns <= 0:
            return "No price that was asked so far leaves anything over on average."
        if self.cost is None:
            return (f"Most is earned on average at about {best.ratio:.2f} × expected cost, with a "
                    f"chance of {_in_100(best.win)} in 100; from {self.near[0]:.2f} to "
                    f"{self.near[1]:.2f} × cost it is within {_SHORT} of that.")
        low, high = (self._money(ratio, settings) for ratio in self.near)
        against = ""
        if self.offered and self.offered.earns is not None:
            against = (f", against {self._money(self.offered.earns, settings)} at "
                       f"{self._money(self.offered.ratio, settings)}")
        return (f"Most is earned on average at about {self._money(best.ratio, settings)} "
                f"({best.ratio:.2f} × cost), with a chance of {_in_100(best.win)} in 100: "
                f"{self._money(best.earns, settings)} for each quote sent, won or lost{against}. "
                f"From {low} to {high} it is within {_SHORT} of that.")

    def _money(self, ratio: float, settings: Settings) -> str:
        return format_money(ratio * self.cost, settings.currency, settings.locale, digits=0)


def sent_of(offer: Quote) -> Sent:
    """A quote as the ledger keeps it when it is sent; open.

    Its price is before tax, for time and materials the expected bill. The expected cost is that
    of the known work and of finds.

    Raises
    ------
    BadInput
        If it asks for nothing.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.catalogue import Era, Level
    >>> from estimator.quote import Choices, quote
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> survey = template(Era.DOT_MATRIX, shop.catalogue)
    >>> offer = quote(survey, Choices(Level.CLEAN, on=date(2026, 1, 5)), shop, compare=False)
    >>> sent = sent_of(offer)
    >>> sent.price == offer.price, sent.level, sent.outcome
    (True, 'clean', 'open')
    """
    return Sent(offer.number, offer.survey.machine.title, str(offer.choices.level), offer.on,
                offer.price, offer.job.cost + offer.job.find_cost, offer.settings.currency)


def history(sent: Iterable[Sent]) -> tuple[Answered, ...]:
    """The quotes that were answered, in the same order.

    Examples
    --------
    >>> from datetime import date
    >>> from decimal import Decimal
    >>> sent = Sent("26-1", "Tin Parade", "clean", date(2026, 1, 5), Decimal(900), 600.0, "USD")
    >>> history([sent])
    ()
    >>> from dataclasses import replace
    >>> history([replace(sent, outcome="won")])
    (Answered(price=900.0, cost=600.0, won=True),)
    """
    return tuple(Answered(float(one.price), one.cost_mean, one.outcome == "won")
                 for one in sent if one.outcome != "open")


def advice(sent: Sequence[Sent], offer: Quote | None = None, *, reserve: float = 0.0) -> Advice:
    """What the quotes sent say about the price of an offer, or about prices at large.

    Parameters
    ----------
    sent
        From the ledger.
    offer
        The quote that is asked about; its price may be anything, it is not changed.
    reserve
        Share of a price that is kept for warranty, 0 up to 1, where no offer says it. [–]

    Notes
    -----
    What a price earns on average: chance × (price × (1 − reserve) − expected cost). Prices count
    against their own expected cost, so quotes in another currency, and of other levels, count
    like any.

    Examples
    --------
    >>> advice(()).words(None)  # doctest: +ELLIPSIS
    ('How the price changes the chance of a job shows only with 20 answered quotes (0 so far)...',)
    """
    answered = history(sent)
    won = sum(one.won for one in answered)
    counts = (won, len(answered) - won, len(sent) - len(answered))
    reason = enough(answered)
    if reason:
        return Advice(*counts, reason)
    if offer is not None:
        reserve = offer.settings.warranty_share
    known = _learned(answered, reserve)
    cost = offered = None
    if offer is not None and offer.price > 0:
        cost = sent_of(offer).cost_mean
        offered = _chance(known.curve, float(offer.price) / cost, reserve)
    return Advice(*counts, None, cost, offered, _chance(known.curve, known.best.bid, reserve),
                  known.near, known.best.caution if known.best.earns > 0 else "", known.points)


def as_dict(sent: Iterable[Sent], said: Advice) -> dict:
    """Quotes and advice as plain numbers and words: the contract of `estimator quotes --json`.

    Money is in the quote's currency; chances and shares are 0 to 1, null where not known. Keys
    are added over time, never changed.

    Examples
    --------
    >>> said = as_dict((), advice(()))
    >>> said["schema"], said["quotes"], said["advice"]["best"]
    (1, [], None)
    """
    return {
        "schema": 1,
        "quotes": [
            {
                "number": one.number,
                "date": one.sent.isoformat(),
                "machine": one.title,
                "level": one.level,
                "price": as_number(one.price),
                "currency": one.currency,
                "cost_mean": round(one.cost_mean, 2),
                "price_over_cost": round(ratio_of(one), 4),
                "outcome": one.outcome,
            }
            for one in sent
        ],
        "advice": {
            "reason": said.reason,
            "won": said.won,
            "lost": said.lost,
            "open": said.open,
            "best": None if said.best is None else {
                "price_over_cost": _rounded(said.best.ratio),
                "chance": _rounded(said.best.win),
                "chance_low": _rounded(said.best.low),
                "chance_high": _rounded(said.best.high),
                "earns_over_cost": _rounded(said.best.earns),
            },
            "near_low": None if said.near is None else _rounded(said.near[0]),
            "near_high": None if said.near is None else _rounded(said.near[1]),
            "caution": said.caution,
            "curve": [
                {"price_over_cost": _rounded(ratio), "chance": _rounded(win),
                 "chance_low": _rounded(low), "chance_high": _rounded(high)}
                for ratio, win, low, high in said.points
            ],
        },
    }


def ratio_of(sent: Sent) -> float:
    """Price before tax over expected cost. [–]

    Examples
    --------
    >>> from datetime import date
    >>> from decimal import Decimal
    >>> ratio_of(Sent("26-1", "Tin Parade", "clean", date(2026, 1, 5), Decimal(900), 600.0, "USD"))
    1.5
    """
    return float(sent.price) / sent.cost_mean


@dataclass(frozen=True, eq=False)
class _Learned:
    """What a history says whatever the job: the curve, its best price over cost, its points."""

    curve: Curve
    best: Best
    near: tuple[float, float]
    points: tuple[tuple[float, float, float, float], ...]


@functools.lru_cache(maxsize=4)
def _learned(answered: tuple[Answered, ...], reserve: float) -> _Learned:
    curve = winning_curve(answered)
    # Earning (1 − reserve) × price less cost is most where price less cost / (1 − reserve) is.
    best = best_bid(curve.win, curve.lowest, curve.highest, cost=1 / (1 - reserve))
    ratios = np.linspace(curve.lowest, curve.highest, _POINTS)
    wins = curve.win(ratios)
    good = ratios[_earns(ratios, wins, reserve) >= NEAR * best.earns * (1 - reserve)]
    near = (min([best.bid, *good]), max([best.bid, *good]))
    points = np.stack([ratios, wins, *curve.band(ratios)], axis=1)
    return _Learned(curve, best, (float(near[0]), float(near[1])),
                    tuple(map(tuple, points.tolist())))


def _chance(curve: Curve, ratio: float, reserve: float) -> Chance:
    win = float(curve.win(ratio))
    if np.isnan(win):
        return Chance(ratio)
    low, high = curve.band(ratio)
    return Chance(ratio, win, float(low), float(high), float(_earns(ratio, win, reserve)))


def _earns(ratio, win, reserve: float):
    """Left on average of a quote, over expected cost."""
    return win * (ratio * (1 - reserve) - 1)


def _in_100(chance: float) -> int:
    # Never sure: no history says that nobody, or everybody, accepts.
    return min(max(round(100 * chance), 1), 99)


def _rounded(figure: float | None) -> float | None:
    return None if figure is None else round(figure, 4)


__all__ = ["NEAR", "Advice", "Chance", "advice", "as_dict", "history", "ratio_of",
           "sent_of"]
