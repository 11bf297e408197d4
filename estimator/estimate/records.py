"""What an estimate is made of: work items, supplies, lots, risks, and what each line comes to."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from estimator import durations
from estimator.catalogue import Condition
from estimator.durations import Range
from estimator.scope import Risk, Scope, Work

KINDS = ("labour", "parts", "materials", "outwork")
"""Kinds of cost, in the order they are listed everywhere."""


@dataclass(frozen=True)
class Item:
    """A work item: one operation on one survey line, timed.

    `hours` is the range for the whole item, hands-on and before allowances; `setup` is its part
    of the operation's set-up, which is done once a job. [h]

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> item = small_quote().job.items[1]
    >>> item.hours.typical, item.setup, round(item.mean_hours, 3)
    (1.5, 0.1, 1.71)
    """

    line: int
    name: str
    work: Work
    hours: Range
    setup: float
    shape: str = "pert"

    @property
    def mean_hours(self) -> float:
        """Expected hands-on hours with set-up, before allowances. [h]"""
        return durations.mean_of(self.hours, self.shape) + self.setup


@dataclass(frozen=True)
class Supply:
    """Parts or materials of one item on one line, with the range of what they cost. [money]

    `whole` where it is bought in whole packs that several lines share, so that what a line costs
    depends on the others; `pieces` and `share` where each of so many pieces needs one with that
    chance, such as sockets that break; else they are None and 1.
    """

    line: int
    does: str
    item: str
    name: str
    quantity: float
    unit: str
    cost: Range
    whole: bool = False
    pieces: int | None = None
    share: float = 1.0


@dataclass(frozen=True)
class Lot:
    """What is sent out together to one service, with the range of its charge.

    `shares` says how much of the charge each line carries, by quantity. [–]
    """

    service: str
    name: str
    unit: str
    quantity: float
    charge: Range
    days: Range
    shares: Mapping[int, float]


@dataclass(frozen=True)
class Unseen:
    """A line nobody looked at closely: the chance that it is one condition worse, and what then.

    `hours` are expected hands-on hours more [h], `cost` parts, materials and outwork more [money].
    """

    line: int
    chance: float
    condition: Condition
    hours: float
    cost: float


@dataclass(frozen=True)
class Estimate:
    """The job timed and priced.

    `hours_factor` turns hands-on hours into hours with allowances; `hour_cost` is what one of
    those costs the shop. `correlations` say how far kinds of work run over together.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> job = small_quote().job
    >>> round(job.hours, 2), round(job.items[1].mean_hours * job.hours_factor, 2)
    (3.53, 2.1)
    >>> round(job.cost) == round(sum(line.cost for line in job.lines)), job.find_hours > 0
    (True, True)
    """

    scope: Scope
    items: tuple[Item, ...]
    supplies: tuple[Supply, ...]
    lots: tuple[Lot, ...]
    risks: tuple[Risk, ...]
    unseen: tuple[Unseen, ...]
    hours_factor: float
    hour_cost: float
    correlations: Mapping[tuple[str, str], float]
    lines: tuple[LineCost, ...] = ()

    @property
    def hours(self) -> float:
        """Expected hours of the known work, with allowances and without finds. [h]"""
        return math.fsum(line.hours for line in self.lines)

    @property
    def cost(self) -> float:
        """Expected cost of the known work, without finds. [money]"""
        return math.fsum(line.cost for line in self.lines)

    @property
    def find_hours(self) -> float:
        """Expected hours of finds and of lines worse than assumed, with allowances. [h]"""
        return self.hours_factor * math.fsum(
            [risk.chance * durations.mean_of(risk.find) for risk in self.risks]
            + [u.chance * u.hours for u in self.unseen]
        )

    @property
    def find_cost(self) -> float:
        """Expected cost of finds and of lines worse than assumed. [money]"""
        other = math.fsum(
            [
                risk.chance
                * durations.pert_mean(
                    risk.find.cost_low, risk.find.cost_typical, risk.find.cost_high
                )
                for risk in self.risks
            ]
            + [u.chance * u.cost for u in self.unseen]
        )
        return self.find_hours * self.hour_cost + other


@dataclass(frozen=True)
class LineCost:
    """Expected hours [h] and cost [money] of one survey line, by kind of cost; finds left out.

    Examples
    --------
    >>> LineCost(0, 2.0, {"labour": 128.0, "parts": 30.5}).cost
    158.5
    """

    line: int
    hours: float
    kinds: Mapping[str, float]

    @property
    def cost(self) -> float:
        """Sum over the kinds. [money]"""
        return math.fsum(self.kinds.values())
