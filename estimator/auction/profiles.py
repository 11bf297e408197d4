"""What every machine of one era and state has in common, drawn once: the trials of each choice.

In a trial a machine of value V brings V × A − B: A is what a unit of value leaves, fees off and
worth now, B is what goes out, worth now. A and B depend on era, state and choice alone, so that
thousands of machines share them, and so do their moments. What the cases of a state cost is drawn
for each case, and a trial is of one of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from estimator import investing
from estimator.auction.cases import cases_of
from estimator.auction.records import Offered
from estimator.catalogue import SaleRatio, Way
from estimator.durations import Range
from estimator.estimate import Estimate, estimate
from estimator.resale import Deal, selling
from estimator.resale.playing import AS_FOUND, Played, Setting, parted, premium_terms, worked
from estimator.resale.screening import Moments
from estimator.scope import scope
from estimator.shop import Shop
from estimator.simulate import shapes
from estimator.simulate.streams import RANKS, Streams
from estimator.survey import Survey

STEP = 1.5
"""Where what is left of a price is no plain share of it, it is reckoned anew for each such step of
value."""
_WORKS = 120
"""So many works of surveys are kept: more than the kinds of one era have."""
_POWERS = tuple((k, j) for k in range(5) for j in range(5 - k))


@dataclass(frozen=True)
class Table:
    """Moments of A and B of a choice, B about its mean; one rate.

    `powers` are the means of A^k (B − b)^j for k + j up to 4, in the order of `_POWERS`.
    """

    b: float
    powers: tuple[float, ...]


@dataclass(frozen=True)
class Trials:
    """A choice in every trial, the cases mixed; A and B by the rate of a month.

    `hours`, `cost` and `months` are means: of the bench, of the work, until the money is there.
    """

    a: Mapping[float, np.ndarray]
    b: Mapping[float, np.ndarray]
    hours: float
    cost: float
    months: float

    def table(self, rate: float) -> Table:
        """Moments at a rate."""
        a, b = self.a[rate], self.b[rate]
        middle = float(b.mean())
        return Table(middle, joint(a, b - middle))


def joint(a: np.ndarray, b: np.ndarray) -> tuple[float, ...]:
    """Means of a^k b^j for k + j up to 4.

    Examples
    --------
    >>> joint(np.array([1.0, 3.0]), np.array([0.0, 0.0]))[5]
    2.0
    """
    rows = [np.ones_like(a), a, a * a]
    rows += [rows[2] * a, rows[2] * rows[2]]
    others = [np.ones_like(b), b, b * b]
    others += [others[2] * b, others[2] * others[2]]
    return tuple(float((rows[k] * others[j]).mean()) for k, j in _POWERS)


def worth(value: Moments, b: np.ndarray, powers: np.ndarray) -> Moments:
    """Moments of V × A − B for a value V that does not depend on A and B.

    Parameters
    ----------
    b, powers
        Of `Table`s, one a machine: shapes (machines,) and (machines, 15).
    """
    of = {place: powers[:, number] for number, place in enumerate(_POWERS)}
    m, v, k = value.mean, value.variance, value.third
    raws = (1.0, m, v + m**2, k + 3 * m * v + m**3,
            value.fourth + 3 * v**2 + 4 * m * k + 6 * m**2 * v + m**4)
    one, two, three, four = (
        sum(math.comb(n, k) * (-1)**(n - k) * raws[k] * of[k, n - k] for k in range(n + 1))
        for n in range(1, 5))
    variance = two - one**2
    return Moments(one - b, variance, three - 3 * one * two + 2 * one**3,
                   four - 4 * one * three + 6 * one**2 * two - 3 * one**4 - 3 * variance**2)


class Work:
    """Work of a survey at the level of a choice: the same for every price and state."""

    def __init__(self, shop: Shop, terms: Deal, on: date):
        self._shop, self._terms, self._on = shop, terms, on
        self._kept: dict[object, Played] = {}

    def of(self, here: Setting, row: SaleRatio) -> Played:
        """What the work takes in every trial; what the sale brings is not in it."""
        key = (here.survey.lines, here.survey.machine.era, row.level, row.adds, row.without)
        found = self._kept.get(key)
        if found is None:
            if len(self._kept) >= _WORKS:
                self._kept.clear()
            # The draws of the lines are of no more use here, and large.
            found = replace(worked(here, row, None), job=None, odds=None)
            self._kept[key] = found
        return found


class Profile:
    """Machines of one kind: an era in a state, with what else is known of its condition.

    Parameters
    ----------
    one
        A machine of the kind; its prices do not count.
    terms
        How it is bought and sold; its value does not count.
    """

    def __init__(self, one: Offered, terms: Deal, shop: Shop, on: date, work: Work | None = None):
        self.terms, self.shop, self.on = terms, shop, on
        self._work = work or Work(shop, terms, on)
        cases = cases_of(one, shop.catalogue)
        self.surveys = [survey for _, survey in cases]
        self.here = here = self._setting(self.surveys[0], one.found)
        self.found = here.found
        self._heres = [here, *(self._setting(survey, here.found) for survey in self.surveys[1:])]
        self.rates = tuple(dict.fromkeys(
            (0.0, investing.monthly_rate(here.want), here.rate)))
        self.want, self.capital = self.rates[1 if here.want else 0], here.rate
        ends = np.cumsum([chance for chance, _ in cases]) * RANKS
        ranks = Streams(terms.seed, terms.trials).ranks("lot: case")
        self.case = np.searchsorted(ends[:-1], ranks, side="right")
        market = here.market
        self._cells = shapes.cells(
            Streams(terms.seed, terms.trials).ranks("sale: value"), 1.0, None,
            shapes.Buffers(terms.trials)).copy()
        way = here.tables.ways[terms.way]
        self._way, self._fee = way, here.fee(way, terms.fee)
        self._price = market.amount(
            f"price by {way.way}", Range.of(way, "price_"))
        self.plain = _is_plain(way)
        self.rows: dict[str, SaleRatio] = {}
        for choice in dict.fromkeys(row.choice for row in here.tables.sale_ratios.values()):
            row = here.row(choice)
            if row is not None:
                self.rows[choice] = row
        floor = self.rows.get(AS_FOUND)
        self._least = None if floor is None else here.ratio(floor)
        self._gross, self._sold, self._out = {}, {}, {}
        self.hours, self.cost = {}, {}
        for choice, row in self.rows.items():
            if row.method == "sell":
                self._play(choice, row)
        self._fixed: dict[object, Trials] = {}
        self._tables: dict[object, Table] = {}
        self._limits: dict[str, np.ndarray] = {}
        self._bends: dict[object, tuple[float, ...]] = {}

    def _setting(self, survey: Survey, found: str | None, value: float = 1.0) -> Setting:
        deal = replace(self.terms, value=value, value_low=value, value_high=value, asking=None,
                       paid=None, found=found)
        return Setting(survey, deal, self.shop, self.on)

    def _mixed(self, rows: list[np.ndarray]) -> np.ndarray:
        """Of each trial the row of its case."""
        if len(rows) == 1:
            return rows[0]
        return np.choose(self.case, rows)

    def _play(self, choice: str, row: SaleRatio) -> None:
        played = [self._work.of(here, row) for here in self._heres]
        ratio = self.here.ratio(row)
        if self._least is not None:
            # Work never makes a machine worth less than it was.
            ratio = np.maximum(ratio, self._least)
        self._gross[choice] = ratio * self._price
        spent, works, sold = (self._mixed([getattr(one.cash, what) for one in played])
                              for what in ("spent", "works", "kept"))
        paid = replace(played[0].cash, spent=spent, works=works, kept=sold,
                       sales=((np.zeros(self.terms.trials), sold),))
        self._sold[choice] = sold
        self._out[choice] = {rate: -paid.worth(rate) for rate in self.rates}
        self.hours[choice] = float(self._mixed([one.hours for one in played]).mean())
        self.cost[choice] = float(spent.mean())

    @property
    def choices(self) -> tuple[str, ...]:
        """Keys of all choices, in the order of the table."""
        return tuple(self.rows)

    # --- the value, drawn -----------------------------------------------------------------

    def value(self, low: float, typical: float, high: float) -> np.ndarray:
        """The value of a machine in every trial, as all its choices have it. [money]"""
        if low >= high:
            return np.full(self.terms.trials, float(typical))
        return shapes.table("pert", low, typical, high).take(self._cells).astype(float)

    def income(self, choice: str, value: np.ndarray | float) -> np.ndarray:
        """What the sale of the whole machine leaves, in every trial. [money]"""
        way = self._way
        hammer = selling.hammer_for(value * self._gross[choice], *premium_terms(way))
        return selling.kept(hammer, self._fee, way.fee_minimum, way.fee_cap, way.fixed)

    # --- A and B --------------------------------------------------------------------------

    def node(self, choice: str, value: float) -> int | None:
        """Which trials serve a machine of this value; None where one set serves all."""
        if self.rows[choice].method == "sell" and self.plain:
            return None
        # Which offers of a part-out pay changes little from one to the next.
        wide = 3 if self.rows[choice].method == "part-out" else 1
        return wide * round(math.log(value) / (wide * math.log(STEP)))

    def worth(self, choice: str, node: int | None, value: np.ndarray, rate: float) -> np.ndarray:
        """What a choice is worth in every trial, by the trials of a node. [money]"""
        if self.rows[choice].method == "sell" and not self.plain:
            return self.income(choice, value) * _powers(rate, self._sold[choice]) \
                - self._out[choice][rate]
        trials = self.trials(choice, node)
        return value * trials.a[rate] - trials.b[rate]

    def bends(self, choice: str, step: int, rate: float, shares: tuple[float, ...]
              ) -> tuple[float, ...]:
        """How far quantiles lie from those that follow from the moments, at a step of value.

        A state's cases may part the outcomes into heaps, which four moments do not tell. [sd]
        """
        key = choice, "bends", step, rate, shares
        found = self._bends.get(key)
        if found is None:
            value = STEP**step
            spread = self.here.settings.value_spread
            low, high = value * (1 - spread), value * (1 + spread)
            node = self.node(choice, value)
            table = self.table(choice, node, rate)
            moments = worth(Moments.pert(low, value, high), np.array([table.b]),
                            np.array([table.powers]))
            sd = math.sqrt(max(float(moments.variance[0]), 0.0))
            exact = np.quantile(self.worth(choice, node, self.value(low, value, high), rate),
                                shares)
            found = self._bends[key] = tuple(
                (float(true) - float(moments.at(share)[0])) / sd if sd > 1e-9 else 0.0
                for share, true in zip(shares, exact, strict=True))
        return found

    def trials(self, choice: str, node: int | None) -> Trials:
        """The trials of a choice as A and B."""
        found = self._fixed.get((choice, node))
        if found is None:
            if self.rows[choice].method == "part-out":
                found = self._parted(choice, STEP**node)
            else:
                found = self._sold_trials(choice, node)
            self._fixed[choice, node] = found
        return found

    def _sold_trials(self, choice: str, node: int | None) -> Trials:
        if node is None:
            slope = self.income(choice, 1.0) + self._way.fixed
            rest = np.full(self.terms.trials, -self._way.fixed)
        else:
            # The line that what is left follows near this value, trial by trial.
            low, high = STEP**(node - 0.5), STEP**(node + 0.5)
            below, above = self.income(choice, low), self.income(choice, high)
            slope = (above - below) / (high - low)
            rest = below - slope * low
        months, a, b = self._sold[choice], {}, {}
        for rate in self.rates:
            now = _powers(rate, months)
            a[rate] = slope * now
            b[rate] = self._out[choice][rate] - rest * now
        return Trials(a, b, self.hours[choice], self.cost[choice], float(months.mean()))

    def _parted(self, choice: str, value: float) -> Trials:
        """A part-out whose offers are those that pay their hours at this value."""
        row = self.rows[choice]
        played = [parted(self._setting(here.survey, self.found, value), row)[0]
                  for here in self._heres]
        found = []
        for one in played:
            # The last of the sales is what the rest costs to get rid of.
            offers, rest = one.cash.sales[:-1], one.cash.sales[-1:]
            empty = replace(one.cash, sales=rest)
            each = {}
            for rate in self.rates:
                net = np.zeros(self.terms.trials)
                for income, month in offers:
                    net += income * _powers(rate, month)
                each[rate] = net / value, -empty.worth(rate)
            found.append(each)
        return Trials(
            *({rate: self._mixed([each[rate][k] for each in found]) for rate in self.rates}
              for k in (0, 1)),
            *(float(self._mixed(rows).mean()) for rows in (
                [one.hours for one in played], [one.cost for one in played],
                [one.cash.kept for one in played])))

    def parted_at(self, choice: str, value: float) -> Trials:
        """The part-out of a machine whose value is so much on average: just the offers that pay.

        The same for all values at which the same offers pay.
        """
        if choice not in self._limits:
            row, limits = self.rows[choice], []
            for here in self._heres:
                parts = parted(self._setting(here.survey, self.found, 1.0), row)[1]
                limits += [one.cost / one.income for one in parts if one.income > 0]
            self._limits[choice] = np.unique(limits)
        limits = self._limits[choice]
        place = int(np.searchsorted(limits, value))
        found = self._fixed.get((choice, "just", place))
        if found is None:
            low = limits[place - 1] if place else 0.0
            high = limits[place] if place < len(limits) else 2 * low + 2.0
            found = self._fixed[choice, "just", place] = self._parted(choice, (low + high) / 2)
        return found

    def table(self, choice: str, node: int | None, rate: float) -> Table:
        """Moments of a choice."""
        key = choice, node, rate
        found = self._tables.get(key)
        if found is None:
            found = self._tables[key] = self.trials(choice, node).table(rate)
        return found


def _is_plain(way: Way) -> bool:
    """Is what is left of a price a plain share of it, but for a fixed charge?"""
    return (not way.fee_minimum and way.fee_cap is None and way.premium_cap is None
            and not (way.premium and way.premium_minimum))


def _powers(rate: float, months: np.ndarray) -> np.ndarray:
    """What 1 at the end of so many months is worth now."""
    if not rate:
        return np.ones(len(months))
    return ((1 + rate) ** -np.arange(int(months.max()) + 1.0))[months]


def known(one: Offered, shop: Shop, terms: Deal, on: date) -> dict[str, tuple[float, float]]:
    """What a machine's known facts add to each choice: expected hours and cost."""
    deal = replace(terms, value=1.0, value_low=1.0, value_high=1.0, found=one.found, asking=None,
                   trials=100)
    pairs = [(chance, without, with_it) for (chance, with_it), (_, without) in zip(
        cases_of(one, shop.catalogue), cases_of(replace(one, bad=()), shop.catalogue),
        strict=True)]
    here = Setting(pairs[0][1], deal, shop, on)
    kept: dict[object, tuple[float, float]] = {}
    found = {}
    for choice in dict.fromkeys(row.choice for row in shop.catalogue.sale_ratios.values()):
        row = here.row(choice)
        if row is None or row.method != "sell":
            continue
        key = row.level, row.adds, row.without
        if key not in kept:
            hours = cost = 0.0
            for chance, *both in pairs:
                for sign, survey in zip((-1, 1), both, strict=True):
                    job = _estimated(survey, row, here)
                    hours += sign * chance * (job.hours + job.find_hours)
                    cost += sign * chance * (job.cost + job.find_cost)
            kept[key] = hours, cost
        found[choice] = kept[key]
    return found


def _estimated(survey: Survey, row: SaleRatio, here: Setting) -> Estimate:
    dropped = frozenset(k for k, line in enumerate(survey.lines) if line.assembly in row.without)
    return estimate(scope(survey, row.level, here.tables, dropped=dropped,
                          added=tuple((name, 1) for name in row.adds)), here.shop)
