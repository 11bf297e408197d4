"""What a review is made of. Hours in h, money in the shop's currency, shares from 0 to 1."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from estimator.control import Chart
from estimator.earned import Forecast, Status
from estimator.ledger import Job
from estimator.scoring import Held, audit
from estimator.variances import Review as Variances

ASPECTS = ("operation", "kind", "assembly", "line", "person", "job", "level")
"""What hours are summed by."""
SHOP_ASPECTS = ("month", "quarter", "customer kind")
"""What hours of closed jobs are summed by as well: when they were closed, and for whom."""
MARGIN_ASPECTS = ("level", *SHOP_ASPECTS)
"""What margins are summed by."""
NOT_STATED = "not stated"
"""Kind of the customer of jobs whose survey says none."""


@dataclass(frozen=True)
class Group:
    """Hours booked against hours expected, of the work items that have something in common.

    Parameters
    ----------
    by, name
        One of `ASPECTS` or `SHOP_ASPECTS`, and which.
    jobs, items, worked
        How many jobs and work items, and how many of these have hours booked.
    expected
        Of all items. [h]
    expected_worked
        Of the items that have hours booked; what `booked` is held against. [h]
    booked
        [h]

    Examples
    --------
    >>> Group("operation", "flipper-rebuild", 2, 3, 2, 3.3, 2.2, 2.75).ratio
    1.25
    """

    by: str
    name: str
    jobs: int
    items: int
    worked: int
    expected: float
    expected_worked: float
    booked: float

    @property
    def ratio(self) -> float | None:
        """Booked over expected, of the items worked on; None if there are none. [–]"""
        return self.booked / self.expected_worked if self.expected_worked else None


@dataclass(frozen=True)
class CostLine:
    """One kind of cost as quoted and as it came: labour, material, outwork or finds. [money]"""

    kind: str
    quoted: float
    actual: float


@dataclass(frozen=True)
class Margin:
    """What a job leaves. [money]

    Parameters
    ----------
    income
        What came in less what selling cost; where nothing came in yet, the price quoted.
    sold
        Whether it came in.
    cost
        Of hours, purchases and outwork, without what came back.
    warranty
        Cost of hours spent on what came back.

    Examples
    --------
    >>> found = Margin(Decimal(1200), True, cost=850.0, warranty=50.0)
    >>> found.left, found.share
    (300.0, 0.25)
    """

    income: Decimal
    sold: bool
    cost: float
    warranty: float = 0.0

    @property
    def left(self) -> float:
        """Income less all cost. [money]"""
        return float(self.income) - self.cost - self.warranty

    @property
    def share(self) -> float | None:
        """`left` as a share of the income; None without income. [–]"""
        return self.left / float(self.income) if self.income else None


@dataclass(frozen=True)
class JobReview:
    """A job against its estimate.

    Parameters
    ----------
    job, level, on
        The job, its service level, and the day that it is looked at.
    customer_kind
        As its survey has it; `NOT_STATED` without.
    groups
        Hours by operation, kind, assembly, line and person.
    expected, booked
        Of all work items. [h]
    found, again, came_back
        Work that the quote does not list, work done again, warranty. [h]
    unbilled
        Hours of every kind of unbilled time that was booked to the job. [h]
    hour_cost
        What an hour costs by the shop's settings of today. [money/h]
    costs, variances
        As quoted and as it came, and why they differ; empty and None where it is not known what
        the quote was computed from.
    progress, forecast
        Where a job stands that is not finished, in hours, and what it will come to; None else.
    outcomes
        What quantiles of hours and cost were quoted: {"hours": {0.8: 12.5}}.
    notes
        What to know before the figures are used.
    price, reserve
        As quoted before tax, and what of it was held back for warranty; None where that is not
        known or in another currency. [money]
    bought_after
        Purchases and outwork dated after the job was closed. [money]
    """

    job: Job
    level: str
    on: date
    groups: Mapping[str, tuple[Group, ...]]
    expected: float
    booked: float
    found: float
    again: float
    came_back: float
    unbilled: Mapping[str, float]
    hour_cost: float
    margin: Margin
    costs: tuple[CostLine, ...] = ()
    variances: Variances | None = None
    progress: Status | None = None
    forecast: Forecast | None = None
    outcomes: Mapping[str, Mapping[float, float]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    customer_kind: str = NOT_STATED
    price: float = 0.0
    reserve: float | None = None
    bought_after: float = 0.0

    @property
    def hours(self) -> float:
        """Hours that the job's quote pays for: on its items, found and done again. [h]

        Examples
        --------
        >>> from datetime import date
        >>> from estimator.demo import small_shop
        >>> from estimator.review import of_job
        >>> with small_shop() as (ledger, shop):
        ...     found = of_job(ledger, "Night Ferry", shop, on=date(2026, 3, 6))
        >>> found.hours == found.booked + found.found + found.again
        True
        """
        return self.booked + self.found + self.again


@dataclass(frozen=True)
class Enough:
    """How often a quantile of what was quoted was enough, over closed jobs.

    `what` is hours or cost, `share` the quantile's: 0.8 should be enough in 8 jobs of 10.

    Examples
    --------
    >>> from estimator.scoring import held
    >>> found = Enough("hours", 0.8, held([11, 8, 14, 9, 10], [12, 12, 11, 8, 13]))
    >>> found.held.share, round(found.luck, 2)
    (0.6, 0.26)
    """

    what: str
    share: float
    held: Held

    @property
    def luck(self) -> float:
        """Chance of so odd a count, or an odder one, if the quantile is right. [–]"""
        return audit(self.held.hits, self.held.cases, self.share).exact


@dataclass(frozen=True)
class Came:
    """What one closed job held back for warranty, and what came back of it. [h], [money]"""

    job: str
    reserve: float
    hours: float
    cost: float


@dataclass(frozen=True)
class Reserve:
    """The warranty reserve against what came back.

    Parameters
    ----------
    days
        Jobs count that were closed so long ago, or longer. [d]
    jobs
        Each of them, in the order they were closed.
    prices
        Of all of them, before tax. [money]
    back, low, high
        In how many something came back; between what that share lies with 95 % probability.

    Examples
    --------
    >>> found = Reserve(90, (Came("A1", 30.0, 1.5, 96.0),), 1000.0, 1, 0.2, 1.0)
    >>> found.held_share, found.needed_share, found.hours
    (0.03, 0.096, 1.5)
    """

    days: int
    jobs: tuple[Came, ...]
    prices: float
    back: int
    low: float
    high: float

    @property
    def held(self) -> float:
        """What the prices held back. [money]"""
        return math.fsum(one.reserve for one in self.jobs)

    @property
    def hours(self) -> float:
        """Spent on what came back. [h]"""
        return math.fsum(one.hours for one in self.jobs)

    @property
    def cost(self) -> float:
        """Of what came back. [money]"""
        return math.fsum(one.cost for one in self.jobs)

    @property
    def held_share(self) -> float:
        """Of the prices, what was held back. [–]"""
        return self.held / self.prices

    @property
    def needed_share(self) -> float:
        """Of the prices, what would just have been enough. [–]"""
        return self.cost / self.prices


@dataclass(frozen=True)
class ByRecords:
    """Hours of a whole job as the shop's own closed jobs tell, finds and work done again with it.

    Parameters
    ----------
    jobs, tasks
        How many closed jobs and work items of theirs stand behind it.
    hours
        Quantiles: {0.8: 47.2} is what is enough in 8 jobs of 10. [h]
    """

    jobs: int
    tasks: int
    hours: Mapping[float, float]


@dataclass(frozen=True)
class Walk:
    """Closed jobs forecast as on the day they were accepted, by jobs that were closed by then.

    Parameters
    ----------
    jobs
        Numbers, in the order in which they were accepted; one entry of each list below.
    quantiles, came
        What was forecast, and all hours that the quote had to pay for. [h]
    places
        Share of the forecast that lies below what came (PIT): evenly from 0 to 1 if it is right.
    enough
        How often each quantile was enough; empty where no job could be forecast.

    Examples
    --------
    >>> Walk(("A1", "B2"), (), (), (0.05, 0.62), ()).histogram
    (1, 0, 0, 0, 0, 0, 1, 0, 0, 0)
    """

    jobs: tuple[str, ...]
    quantiles: tuple[Mapping[float, float], ...]
    came: tuple[float, ...]
    places: tuple[float, ...]
    enough: tuple[Enough, ...]

    @property
    def histogram(self) -> tuple[int, ...]:
        """How many of `places` lie in each tenth from 0 to 1."""
        counts = [0] * 10
        for place in self.places:
            counts[min(int(10 * place), 9)] += 1
        return tuple(counts)


@dataclass(frozen=True)
class GroupMargin:
    """What the closed jobs left that have something in common: `by` one of `MARGIN_ASPECTS`.

    `cost` is of hours, purchases, outwork and what came back. [money]

    Examples
    --------
    >>> found = GroupMargin("level", "shop-job", 3, Decimal(3000), 2400.0)
    >>> found.left, found.share
    (600.0, 0.2)
    """

    by: str
    name: str
    jobs: int
    income: Decimal
    cost: float

    @property
    def left(self) -> float:
        """Income less all cost. [money]"""
        return float(self.income) - self.cost

    @property
    def share(self) -> float | None:
        """`left` as a share of the income; None without income. [–]"""
        return self.left / float(self.income) if self.income else None


@dataclass(frozen=True)
class HourCost:
    """What an hour costs by the shop's settings, and by what it booked.

    Parameters
    ----------
    billed, unbilled
        All hours that were booked on work items, found or done again; and all others. [h]
    settings_share, settings_cost
        Share of paid hours that jobs carry as the shop set it, and what an hour costs with it.
    cost
        What an hour costs with the share that was booked; None if no hour was billed. [money/h]
    rate, break_even
        What an hour is charged at by the settings [money/h], and how many a year must be billed
        at that until pay and overhead are paid. [h]

    Examples
    --------
    >>> HourCost(12.0, 4.0, 0.7, 64.0, 60.0, 85.0, 924.0).share
    0.75
    """

    billed: float
    unbilled: float
    settings_share: float
    settings_cost: float
    cost: float | None
    rate: float
    break_even: float

    @property
    def share(self) -> float | None:
        """Share of all hours booked that jobs carry; None if none were booked. [–]"""
        together = self.billed + self.unbilled
        return self.billed / together if together else None


@dataclass(frozen=True)
class ShopReview:
    """All closed jobs against their estimates, and where the shop's hours went.

    Parameters
    ----------
    jobs
        Of every closed job that hours are booked to, in the order they were closed.
    groups
        Hours by operation, kind, assembly, person, job and level; by month and quarter closed,
        the earliest first; by kind of customer.
    costs, variances
        Sums over the jobs whose costs are known.
    enough
        How often P50, P80 and P90 were enough, of hours and of cost.
    chart, charted
        Control chart of ln(booked / expected), and the numbers of the jobs that are its points;
        None and empty under two jobs.
    margins
        By each of `MARGIN_ASPECTS`: months and quarters the earliest first.
    unbilled
        Hours of each kind of unbilled time, jobs and shop together. [h]
    hour
        What an hour really costs.
    reserve
        What prices held back for warranty against what came back; None while no job is closed
        long enough.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_shop
    >>> from estimator.review import of_shop
    >>> with small_shop() as (ledger, shop):
    ...     found = of_shop(ledger, shop, on=date(2026, 3, 6))
    >>> [(one.name, one.jobs, round(one.share, 2)) for one in found.levels]
    [('full-restoration', 3, 0.34)]
    """

    jobs: tuple[JobReview, ...]
    groups: Mapping[str, tuple[Group, ...]]
    costs: tuple[CostLine, ...]
    variances: Variances | None
    enough: tuple[Enough, ...]
    chart: Chart | None
    charted: tuple[str, ...]
    margins: Mapping[str, tuple[GroupMargin, ...]]
    unbilled: Mapping[str, float]
    hour: HourCost
    notes: tuple[str, ...] = ()
    reserve: Reserve | None = None

    @property
    def levels(self) -> tuple[GroupMargin, ...]:
        """Margin by service level."""
        return self.margins["level"]
