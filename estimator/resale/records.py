"""What is asked and what is answered."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from estimator.catalogue import Level
from estimator.investing import Earned
from estimator.resale.parting import Listing
from estimator.resale.paying import Chosen
from estimator.resale.stopping import Inspection, Rule
from estimator.shop import Settings
from estimator.survey import Survey

LEAVE = "leave-it"
"""The choice of not buying."""


@dataclass(frozen=True)
class Deal:
    """A machine that the shop owns or may buy, and on what terms.

    Parameters
    ----------
    value
        What the same machine brings in a private sale, nice and working. [money]
    value_low, value_high
        One in a hundred brings less, or more; None takes the shop's spread. [money]
    asking
        What it may be bought for: the hammer price or the seller's; None for one that is owned.
    paid
        What was paid for one that is owned. It is spent whatever is done, so it is shown and has
        no part in the choice. [money]
    way, buying, parts_way
        How it is sold, where it is bought (whose premium is paid), how parts are sold: names in
        `ways.csv`.
    fee, premium
        Share that the seller gives up, and the buyer's premium, where they are known; None takes
        the table's. [–]
    purchase_tax, fetching
        Tax on price and premium [–]; what it costs to fetch the machine. [money]
    found
        State it is in: incomplete, not-working, working, nice, collector; None reads it off the
        survey.
    want, want_profit
        Return a year that is wanted [–], None for the cost of capital; a profit wanted on top.
        [money]
    confidence
        How sure that is to be; None takes the shop's. [–]
    hours_per_week, wait_weeks
        Bench hours a week for this machine, None for the shop's; weeks until the bench is free.
    storage_per_month, capital_rate, bench_hour_earns
        Cost of keeping it [money], of capital a year [–], what a bench hour brings in otherwise
        [money]; None takes the shop's.
    budget, hours, ready_by
        Limits for the lines that pay: cost [money], bench hours [h], day.
    trials, seed
        Of the simulation.
    on
        Today; None for the day it is.

    Examples
    --------
    A machine at an auction, to be resold for a fifth more a year; and one that was bought already:

    >>> Deal(5000, asking=2800, buying="auction", want=0.2).way
    'private'
    >>> Deal(4500, paid=1900, way="auction").asking is None
    True
    """

    value: float
    value_low: float | None = None
    value_high: float | None = None
    asking: float | None = None
    paid: float | None = None
    way: str = "private"
    buying: str = "private"
    parts_way: str = "online"
    fee: float | None = None
    premium: float | None = None
    purchase_tax: float = 0.0
    fetching: float = 0.0
    found: str | None = None
    want: float | None = None
    want_profit: float = 0.0
    confidence: float | None = None
    hours_per_week: float | None = None
    wait_weeks: float = 0.0
    storage_per_month: float | None = None
    capital_rate: float | None = None
    bench_hour_earns: float | None = None
    budget: float | None = None
    hours: float | None = None
    ready_by: date | None = None
    trials: int = 10_000
    seed: int = 1
    on: date | None = None


@dataclass(frozen=True)
class Choice:
    """One way with the machine, and what comes of it.

    All of it is from now on: what was paid for a machine that is owned is not in it, what one is
    bought for is. Own hours are at what they cost, without a margin.

    Parameters
    ----------
    key, name
        In `sale_ratios.csv`; how it is written for people.
    level
        Service level that the work follows; None for a part-out, and for not buying.
    ratio
        Low, typical and high sale price over that of the machine nice and working. [–]
    hours, hours_p80
        Of the bench: mean, and what four in five stay within. [h]
    cost, cost_p80
        Of the work, hours at cost. [money]
    sale, sale_p10, sale_p90
        What is left of the price after fees. [money]
    months, months_p80
        Until the last of the money is there.
    profit, profit_p10, profit_p50, profit_p90
        Everything that comes in less everything that goes out, not discounted. [money]
    chance_of_loss
        Share of the trials with a profit under nothing. [–]
    worst_tenth
        Mean profit of the worst tenth of the trials. [money]
    worth, worth_p10, worth_p50, worth_p90
        Net present value at the cost of capital. [money]
    earned
        Internal rate of return a year: of the money put in, or for a machine that is owned of
        what is gained by waiting over selling as found.
    earned_modified
        The modified one, a year; None where nothing is put in. [–]
    payback, payback_discounted
        Months until the expected money is back; None where it does not come back.
    index
        Profitability index; None where nothing is paid now. [–]
    break_even_price
        The sale price at which the expected profit is nothing. [money]
    per_hour
        What an hour of the bench brings in: income less everything but own hours; None without
        hours. [money/h]
    more_per_hour
        The same for the hours over those of selling as found. [money/h]
    profit_bench_full
        Mean profit with hours at what the bench earns otherwise. [money]
    best_in
        Share of the trials in which no other choice is worth more. [–]
    worse_than_found
        Share of the trials in which it is worth less than selling as found. [–]
    highest_price, highest_price_bench_full
        The most to bid, so that the wanted return is reached at the wanted confidence; 0 for
        none. The second with hours at what the bench earns otherwise. [money]
    flows
        Expected payment at the end of each month; the first is now. [money]
    """

    key: str
    name: str
    level: Level | None
    ratio: tuple[float, float, float] | None
    hours: float
    hours_p80: float
    cost: float
    cost_p80: float
    sale: float
    sale_p10: float
    sale_p90: float
    months: float
    months_p80: float
    profit: float
    profit_p10: float
    profit_p50: float
    profit_p90: float
    chance_of_loss: float
    worst_tenth: float
    worth: float
    worth_p10: float
    worth_p50: float
    worth_p90: float
    earned: Earned
    earned_modified: float | None
    payback: float | None
    payback_discounted: float | None
    index: float | None
    break_even_price: float | None
    per_hour: float | None
    more_per_hour: float | None
    profit_bench_full: float
    best_in: float
    worse_than_found: float
    highest_price: float
    highest_price_bench_full: float
    flows: tuple[float, ...]


@dataclass(frozen=True)
class Teardown:
    """Pay for a look and the teardown, see the finds, then choose.

    Parameters
    ----------
    key
        The choice whose teardown it is.
    cost, hours
        Of getting that far: mean. [money], [h]
    rule
        Which way to go by what the finds are expected to cost; ways go by the key of a choice,
        "sell-in-pieces", "part-out" or "put-back".
    finds_p50, finds_p90, finds_most
        What the finds seen are expected to cost, over the trials. [money]

    Examples
    --------
    >>> rule = Rule(("full-restoration", "part-out"), limits=(900.0,), shares=(0.9, 0.1),
    ...             worth=1200.0, single="full-restoration", single_worth=1100.0, gain=100.0,
    ...             gain_error=8.0)
    >>> Teardown("full-restoration", 300.0, 5.0, rule, 200.0, 700.0, 1500.0).stop_over
    900.0
    """

    key: str
    cost: float
    hours: float
    rule: Rule
    finds_p50: float
    finds_p90: float
    finds_most: float

    @property
    def stop_over(self) -> float | None:
        """Finds that cost more than this end the work; None where no finds would. [money]"""
        for way, limit in zip(self.rule.ways[1:], self.rule.limits, strict=True):
            if way in STOPS:
                return limit
        return 0.0 if self.rule.ways[0] in STOPS else None


STOPS: Mapping[str, str] = {
    "sell-in-pieces": "stop and sell it in pieces as a project",
    "part-out": "stop and part it out",
    "put-back": "stop, put it back together and sell it without the job",
}
"""Ways to stop after teardown, and how they are said."""


@dataclass(frozen=True)
class PayingLine:
    """A survey line: what work on it adds to the sale and what it costs. [money]

    `hours` are those of its work. [h] `optional` says whether it may be left out.

    Examples
    --------
    >>> PayingLine(0, "Flipper (2)", gain=220.0, cost=150.0, hours=2.2, optional=True).pays
    True
    """

    line: int
    title: str
    gain: float
    cost: float
    hours: float
    optional: bool

    @property
    def pays(self) -> bool:
        """Does it raise the price by more than it costs, taken by itself?"""
        return self.gain > self.cost


@dataclass(frozen=True)
class Paying:
    """Which lines of a level pay.

    Parameters
    ----------
    key
        The choice whose lines they are.
    step
        What the level adds to the sale over selling as found, fees off, worth now. [money]
    lines
        Those with work, the best gain over cost first.
    chosen
        The best set within the limits; its lines are indexes of survey lines.
    whole
        The whole level.
    by_hours
        Works the best sets by bench hours out.

    Examples
    --------
    >>> from estimator.demo import small_survey
    >>> from estimator.resale import resale
    >>> from estimator.shop import open_shop
    >>> deal = Deal(5000, asking=1800, trials=100, on=date(2026, 3, 2))
    >>> found = resale(small_survey(), deal, open_shop()).paying
    >>> found.key, [line.title for line in found.lines if line.pays], len(found.frontier)
    ('show-grade', ['Flipper', 'Leg'], 1)
    """

    key: str
    step: float
    lines: tuple[PayingLine, ...]
    chosen: Chosen
    whole: Chosen
    by_hours: Callable[[], tuple[Chosen, ...]] = field(repr=False, compare=False)

    @property
    def known(self) -> bool:
        """Do the tables say of any line what it adds to the sale?"""
        return any(row.gain for row in self.lines)

    @functools.cached_property
    def frontier(self) -> tuple[Chosen, ...]:
        """Best sets by bench hours; worked out when they are asked for."""
        return self.by_hours()


@dataclass(frozen=True)
class Parted:
    """An offer of the part-out with its price, and whether it pays its own hours.

    `price` is asked for it, `income` is left on average after fees and the chance that it does not
    sell, `cost` that of its hours. [money]

    Examples
    --------
    >>> from estimator.demo import small_survey
    >>> from estimator.resale import resale
    >>> from estimator.shop import open_shop
    >>> deal = Deal(5000, asking=1800, trials=100, on=date(2026, 3, 2))
    >>> found = resale(small_survey(), deal, open_shop()).parts
    >>> [(one.listing.name, one.pays) for one in found]
    [('flipper 1', True), ('leg 1', True)]
    """

    listing: Listing
    price: float
    income: float
    cost: float

    @property
    def pays(self) -> bool:
        """Does it bring more than its hours cost?"""
        return self.income > self.cost


@dataclass(frozen=True)
class Turn:
    """One thing that, changed so far and nothing else with it, would change the choice.

    Parameters
    ----------
    what
        "value", "work" (cost of all work) or "asking".
    factor
        Times what is reckoned with. [–]
    figure
        The value or the price there; None for work. [money]
    to
        Key of the choice that is best beyond it.
    """

    what: str
    factor: float
    figure: float | None
    to: str


@dataclass(frozen=True)
class Swing:
    """One thing that is not sure, and the mean of a figure where it is low and where it is high.

    Low and high are the fifths of the trials in which it is least and most. [money]
    """

    what: str
    low: float
    high: float


@dataclass(frozen=True)
class Swings:
    """What moves a profit, the widest first.

    Parameters
    ----------
    key
        The choice whose profit it is.
    other
        The choice over which the lead in profit is meant; blank for the profit itself.
    middle
        The mean over all trials. [money]
    rows
        Only what can be told from luck of the draw.
    """

    key: str
    other: str
    middle: float
    rows: tuple[Swing, ...]


@dataclass(frozen=True)
class Resale:
    """What to do with a machine, and how sure that is.

    `choices` come in the order of the table, not buying first. `best` and `best_bench_full` are
    their keys by mean worth, with hours at cost and at what the bench earns otherwise. `lead` is
    by how much the best is worth more than the next on average, `lead_error` its standard error;
    `outlay` is paid on the first day, `hour_cost` and `hour_earns` are per hour. [money]
    `swings` say what moves the profit of the best choice, and then its lead over the next best; not
    buying moves with nothing and stands in neither.

    Examples
    --------
    >>> from estimator.demo import small_survey
    >>> from estimator.resale import resale
    >>> from estimator.shop import open_shop
    >>> deal = Deal(5000, asking=1800, trials=100, on=date(2026, 3, 2))
    >>> found = resale(small_survey(), deal, open_shop())
    >>> found.choice(found.best).worth >= found.choice(LEAVE).worth, found.bid.highest_price > 1800
    (True, True)
    """

    survey: Survey
    deal: Deal
    settings: Settings
    on: date
    found: str
    found_why: str
    confidence: float
    want: float
    capital_rate: float
    hour_cost: float
    hour_earns: float
    outlay: float
    choices: tuple[Choice, ...]
    best: str
    next_best: str
    best_bench_full: str
    lead: float
    lead_error: float
    teardown: Teardown | None
    inspection: Inspection
    paying: Paying | None
    parts: tuple[Parted, ...]
    turns: tuple[Turn, ...] = ()
    notes: tuple[str, ...] = ()
    swings: tuple[Swings, ...] = ()
    worths: Mapping[str, np.ndarray] = field(default_factory=dict, repr=False, compare=False)

    def choice(self, key: str) -> Choice:
        """A choice by its key."""
        return next(one for one in self.choices if one.key == key)

    @property
    def bid(self) -> Choice:
        """The choice that allows the highest bid."""
        return max((one for one in self.choices if one.key != LEAVE),
                   key=lambda one: one.highest_price)


__all__ = ["LEAVE", "STOPS", "Choice", "Deal", "Parted", "Paying", "PayingLine", "Resale",
           "Swing", "Swings", "Teardown", "Turn"]
