"""What a quote is made of."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

import numpy as np

from estimator import buying
from estimator.catalogue import Caution, Level, LevelRow
from estimator.estimate import Estimate
from estimator.shop import Settings
from estimator.simulate import Driver, Odds, Sight, drivers, sights, simulate
from estimator.survey import Survey

FIXED, TIME = "fixed price", "time and materials"


@dataclass(frozen=True)
class Choices:
    """What is asked for.

    Parameters
    ----------
    level
        Service level.
    pricing
        "fixed price", or "time and materials" with a cap.
    confidence
        Share of jobs that must stay within the cost that the price is built on; None takes the
        shop's. 0.05 to 0.99. [–]
    margin
        Share of the price that is left over cost at that confidence; None takes the shop's. [–]
    dropped
        Indexes of survey lines that the customer leaves out.
    added
        Extras taken: (assembly, count).
    trials, seed, sampler
        Of the simulation; the sampler is "random" or "sobol".
    on
        Date of the quote; None is today.

    Examples
    --------
    Without the 16th line of the survey, with one extra, and with the shop's own margin:

    >>> wanted = Choices(Level.SHOP_JOB, TIME, dropped=frozenset({15}),
    ...                  added=(("extra-led-set", 1),), on=date(2026, 11, 26))
    >>> wanted.pricing, wanted.margin
    ('time and materials', None)
    """

    level: Level
    pricing: Literal["fixed price", "time and materials"] = FIXED
    confidence: float | None = None
    margin: float | None = None
    dropped: frozenset[int] = frozenset()
    added: tuple[tuple[str, int], ...] = ()
    trials: int = 10_000
    seed: int = 1
    sampler: str = "random"
    on: date | None = None


@dataclass(frozen=True)
class QuoteLine:
    """One line that a customer reads.

    `price` is before tax [money]; `kinds` splits it into labour, parts, materials and outwork, to
    the cent. `hours` [h] and `cost` [money] are expected values for the shop alone. `line` is the
    index of the survey line.
    """

    key: str
    kind: Literal["work", "extra", "finds", "cover"]
    heading: str
    title: str
    detail: str
    price: Decimal
    kinds: Mapping[str, Decimal]
    droppable: bool = False
    hours: float = 0.0
    cost: float = 0.0
    line: int | None = None
    places: tuple[str, ...] = ()


@dataclass(frozen=True)
class Offered:
    """A line that is not in the price: left out by the customer, or an extra not taken.

    `price` is what it would add, before tax, as far as one line can be taken by itself. [money]
    """

    key: str
    kind: Literal["left out", "extra"]
    title: str
    detail: str
    price: Decimal
    line: int | None = None
    assembly: str = ""


@dataclass(frozen=True)
class Tax:
    """Tax on the lines of one kind: the rate [–], what it is on and what it comes to. [money]"""

    kind: str
    rate: float
    on: Decimal
    amount: Decimal


@dataclass(frozen=True)
class Stage:
    """A payment: what for, when, how much. [money, tax included]"""

    name: str
    due: str
    amount: Decimal


@dataclass(frozen=True)
class LevelPrice:
    """One service level beside the others, on the same random numbers.

    `price` is before tax [money]; hours [h] and days until it is ready [d] are enough in half, and
    in eight of ten, trials.
    """

    level: Level
    name: str
    promise: str
    price: Decimal
    hours_p50: float
    hours_p80: float
    days_p80: float
    chosen: bool


@dataclass(frozen=True)
class Quote:
    """A quote and all it rests on.

    `price` is before tax, `total` with it. For time and materials `price` is the expected bill
    and `cap` the sum that is not passed without asking; for a fixed price `cap` is None.
    `titles` name the lines of the scope, priced or not; `supplier_names` the suppliers.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> made = small_quote()
    >>> made.price == sum(line.price for line in made.lines), made.cover > 0
    (True, True)
    >>> made.divisor == 1 - made.margin - made.settings.warranty_share, made.margins().shape
    (True, (100,))
    >>> made.price_for_loss(0.1) < made.price_for_loss(0.05), made.drivers[0].name, made.sights
    (True, 'Flipper (2)', ())
    """

    number: str
    on: date
    valid_until: date
    finish_p80: date
    survey: Survey
    titles: tuple[str, ...]
    supplier_names: Mapping[str, str]
    choices: Choices
    settings: Settings
    level: LevelRow
    confidence: float
    margin: float
    lines: tuple[QuoteLine, ...]
    offered: tuple[Offered, ...]
    price: Decimal
    cap: Decimal | None
    taxes: tuple[Tax, ...]
    total: Decimal
    stages: tuple[Stage, ...]
    included: tuple[str, ...]
    excluded: tuple[str, ...]
    assumed: tuple[str, ...]
    terms: tuple[str, ...]
    cautions: tuple[Caution, ...]
    levels: tuple[LevelPrice, ...]
    job: Estimate
    odds: Odds
    budget: buying.Budget
    estimate_class: int
    seen_share: float
    chance_of_loss: float
    loss_range: tuple[float, float]
    rate: float

    @property
    def find_allowance(self) -> Decimal:
        """The allowance for finds, before tax."""
        return sum((line.price for line in self.lines if line.kind == "finds"), Decimal(0))

    @property
    def cover(self) -> Decimal:
        """What the price holds above expected cost and margin, for the risk of a fixed price."""
        return sum((line.price for line in self.lines if line.kind == "cover"), Decimal(0))

    @property
    def divisor(self) -> float:
        """What a cost is divided by to leave margin and warranty reserve in a price. [–]"""
        return 1 - self.margin - self.settings.warranty_share

    @functools.cached_property
    def kept_odds(self) -> Odds:
        """Odds that know what each line drew; of the first trials, where there were too many."""
        if self.odds.lines or not self.job.lines:
            return self.odds
        return simulate(self.job, self.settings, trials=10_000, seed=self.odds.seed,
                        sampler=self.odds.sampler)

    @functools.cached_property
    def drivers(self) -> tuple[Driver, ...]:
        """What drives the cost, the widest bar first."""
        if not self.kept_odds.lines:
            return ()
        return drivers(self.job, self.settings, self.kept_odds, self.titles,
                       confidence=self.confidence)

    @functools.cached_property
    def sights(self) -> tuple[Sight, ...]:
        """Lines worth looking at before quoting, the most valuable first."""
        return sights(self.job, self.kept_odds, self.confidence)

    def price_for_loss(self, loss: float) -> float:
        """The fixed price at which just this share of jobs loses money, before rounding. [money]"""
        return self.odds.income_for(loss) / (1 - self.settings.warranty_share)

    def margins(self):
        """Share of the price left over in each trial, after the warranty reserve; (trials,).

        Where nothing comes in there is nothing to share: 0.
        """
        income = income_of(self.odds, self.price, self.cap)
        left = income - self.odds.cost - self.settings.warranty_share * income
        return np.divide(left, income, out=np.zeros(len(income)), where=income > 0)


def income_of(odds: Odds, price: Decimal, cap: Decimal | None) -> np.ndarray:
    """What the job brings in before tax, in each trial; a bill stops at its cap. (trials,)"""
    return np.full(odds.trials, float(price)) if cap is None else np.minimum(odds.bill, float(cap))
