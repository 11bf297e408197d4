"""What all choices share, and each of them played through on the same trials."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from estimator import durations, investing, labour
from estimator.catalogue import LEVELS, Era, Level, SaleRatio, Way
from estimator.durations import Range
from estimator.estimate import Estimate, estimate
from estimator.resale import parting, selling
from estimator.resale.cash import DAYS, Cash, months
from estimator.resale.drawing import Market
from estimator.resale.records import Deal, Parted
from estimator.scope import scope
from estimator.shop import Shop
from estimator.simulate import Odds, Stopped, simulate
from estimator.survey import Survey

AS_FOUND = "as-found"


@dataclass(frozen=True)
class Played:
    """A choice in every trial: its cash with hours at cost, and with what they earn otherwise.

    `hours` of the bench [h] and `cost` of the work [money] have shape (trials,).
    """

    key: str
    row: SaleRatio | None
    cash: Cash
    full: Cash
    hours: np.ndarray
    cost: np.ndarray
    job: Estimate | None = None
    odds: Odds | None = None
    draws: Mapping[str, np.ndarray] = field(default_factory=dict)
    """What was drawn for it alone, by what it is called."""


class Jobs:
    """Jobs and their odds, kept as long as only the deal changes.

    They depend on the survey, the shop, trials, seed and bench hours a week; prices, fees and
    rates of a deal leave them as they are. What is kept is let go when one of those changes.

    Examples
    --------
    >>> from estimator.demo import small_survey
    >>> from estimator.shop import open_shop
    >>> kept, shop, on = Jobs(), open_shop(), date(2026, 3, 2)
    >>> first = Setting(small_survey(), Deal(5000, trials=100), shop, on, kept).job(Level.CLEAN)
    >>> dearer = Setting(small_survey(), Deal(6000, trials=100), shop, on, kept)
    >>> dearer.job(Level.CLEAN) is first
    True
    """

    def __init__(self):
        self._of: tuple | None = None
        self._found: dict[tuple, object] = {}

    def of(self, here: Setting) -> dict[tuple, object]:
        """What is kept for a setting."""
        # An object stands in it as itself: tables are read once and then not changed.
        now = (here.survey.lines, here.era, here.given.settings, id(here.tables),
               here.settings.bench_hours_per_week, here.deal.trials, here.deal.seed)
        if now != self._of:
            self._of, self._found = now, {}
        return self._found


class Setting:
    """All that the choices share: the market, fees, rates, the machine's state.

    Examples
    --------
    >>> from estimator.demo import small_survey
    >>> from estimator.shop import open_shop
    >>> here = Setting(small_survey(), Deal(5000, trials=100), open_shop(), date(2026, 3, 2))
    >>> here.found, here.value.shape, here.odds(Level.SHOP_JOB).hours.shape
    ('working', (100,), (100,))
    """

    def __init__(self, survey: Survey, deal: Deal, shop: Shop, on: date, jobs: Jobs | None = None):
        self.survey, self.deal, self.on, self.given = survey, deal, on, shop
        said = {"storage_cost_per_month": deal.storage_per_month,
                "capital_rate_per_year": deal.capital_rate,
                "bench_hours_per_week": deal.hours_per_week}
        self.settings = settings = shop.settings.model_copy(
            update={key: value for key, value in said.items() if value is not None})
        self.shop = replace(shop, settings=settings)
        self.tables = shop.catalogue
        self.era: Era = survey.machine.era
        self.rate = investing.monthly_rate(settings.capital_rate_per_year)
        self.want = settings.capital_rate_per_year if deal.want is None else deal.want
        self.confidence = settings.confidence if deal.confidence is None else deal.confidence
        self.hour_cost = labour.hour_cost(settings)
        earns = settings.bench_hour_earns if deal.bench_hour_earns is None \
            else deal.bench_hour_earns
        self.hour_earns = earns or labour.charge_out(self.hour_cost, settings.margin)
        self._jobs = (jobs or Jobs()).of(self)
        self.market = Market(deal.seed, deal.trials, settings.ratio_share)
        low = deal.value * (1 - settings.value_spread) if deal.value_low is None \
            else deal.value_low
        high = deal.value * (1 + settings.value_spread) if deal.value_high is None \
            else deal.value_high
        self.value = self.market.amount("value", Range(low, deal.value, high))
        self.found, self.found_why = _state(survey, deal, self.era, self.tables, settings)
        self.outlay = 0.0
        if deal.asking is not None:
            self.outlay = float(selling.all_in(deal.asking, *self.premium,
                                               tax=deal.purchase_tax)) + deal.fetching

    def job(self, level: Level, dropped: frozenset[int] = frozenset(),
            adds: tuple[str, ...] = ()) -> Estimate:
        """The work of a level on this survey.

        Parameters
        ----------
        dropped
            Indexes of survey lines that are left out.
        adds
            Names of extras that are taken.
        """
        name = (level, dropped, adds)
        if name not in self._jobs:
            works = scope(self.survey, level, self.tables, dropped=dropped,
                          added=tuple((one, 1) for one in adds))
            self._jobs[name] = estimate(works, self.shop)
        return self._jobs[name]

    def odds(self, *name) -> Odds:
        """Odds of a job, named as for `job`."""
        held = ("odds", *name)
        if held not in self._jobs:
            self._jobs[held] = simulate(self.job(*name), self.settings, trials=self.deal.trials,
                                        seed=self.deal.seed)
        return self._jobs[held]

    @property
    def premium(self) -> tuple[float, float, float | None]:
        """Buyer's premium of where it is bought: share, least, greatest."""
        return premium_terms(self.tables.ways[self.deal.buying], self.deal.premium)

    def row(self, choice: str) -> SaleRatio | None:
        """The row of a choice that holds for this machine, the nearest first."""
        for found, era in ((self.found, self.era), (self.found, None), (None, self.era),
                           (None, None)):
            row = self.tables.sale_ratios.get((choice, found, era))
            if row is not None:
                return row
        return None

    def ratio(self, row: SaleRatio, state: str = "") -> np.ndarray:
        """Sale ratios of a row in each trial; `state` names another stream than the choice's."""
        return self.market.ratio(state or row.choice, Range.of(row))

    def fee(self, way: Way, own: float | None) -> np.ndarray:
        """Share that the seller gives up in each trial: what is known, or the table's. [–]"""
        if own is not None:
            return np.full(self.deal.trials, own)
        return self.market.amount(f"fee of {way.way}", Range(way.low, way.typical, way.high))

    def income(self, ratio: np.ndarray) -> np.ndarray:
        """What the sale of the whole machine leaves in each trial. [money]"""
        way = self.tables.ways[self.deal.way]
        price = self.value * ratio * self.market.amount(
            f"price by {way.way}", Range.of(way, "price_"))
        hammer = selling.hammer_for(price, *premium_terms(way))
        return selling.kept(hammer, self.fee(way, self.deal.fee), way.fee_minimum, way.fee_cap,
                            way.fixed)

    def days(self) -> np.ndarray:
        """Days to sell the whole machine. [d]"""
        table = self.tables.days_to_sell
        row = table.get((self.deal.way, self.era)) or table[self.deal.way, None]
        return self.market.amount(f"days by {row.way}", Range.of(row))


def play(here: Setting, progress: Callable[[float], bool | None] | None = None
         ) -> tuple[dict[str, Played], tuple[Parted, ...], tuple[str, ...]]:
    """Every choice in the order of the table, the parts that could be sold, and what to note.

    `progress` is told the share that is done; if it answers False, `Stopped` is raised.
    """
    found: dict[str, Played] = {}
    parts: tuple[Parted, ...] = ()
    notes = []
    floor = here.row(AS_FOUND)
    least = None if floor is None else here.ratio(floor)
    choices = dict.fromkeys(row.choice for row in here.tables.sale_ratios.values())
    for done, choice in enumerate(choices):
        if progress is not None and progress(done / len(choices)) is False:
            raise Stopped
        row = here.row(choice)
        if row is None:
            notes.append(f'"{choice}" has no row for a machine found {here.found} of this era.')
        elif row.method == "part-out":
            found[choice], parts = parted(here, row)
        else:
            found[choice] = worked(here, row, least)
    return found, parts, tuple(notes)


def worked(here: Setting, row: SaleRatio, least: np.ndarray | None) -> Played:
    """A choice that ends in the sale of the whole machine.

    Parameters
    ----------
    least
        Sale ratio as found, in each trial: work makes no machine worth less. None for no such
        floor. [–]

    Examples
    --------
    >>> from estimator.demo import small_survey
    >>> from estimator.shop import open_shop
    >>> here = Setting(small_survey(), Deal(5000, trials=100), open_shop(), date(2026, 3, 2))
    >>> found = worked(here, here.row("shop-job"), None)
    >>> found.key, found.hours.shape, float(found.cost.min()) > 0
    ('shop-job', (100,), True)
    """
    deal, settings = here.deal, here.settings
    dropped = frozenset(k for k, line in enumerate(here.survey.lines)
                        if line.assembly in row.without)
    name = (row.level, dropped, tuple(row.adds))
    job, odds = here.job(*name), here.odds(*name)
    ratio = here.ratio(row)
    if least is not None:
        # Work never makes a machine worth less than it was.
        ratio = np.maximum(ratio, least)
    # The look on arrival is done before the machine is offered; it does not hold up its sale.
    days = np.zeros(deal.trials) if row.level == Level.AS_FOUND else odds.days
    wait = 0 if row.level == Level.AS_FOUND else deal.wait_weeks * 7
    selling_days = here.days()
    sold = months(wait + days + selling_days)
    income = here.income(ratio)
    other = odds.cost - odds.hours * odds.hour_cost
    after = int(wait // DAYS)
    now = here.outlay

    def cash(spent: np.ndarray) -> Cash:
        works = months(wait + days) - after
        return Cash(spent, np.maximum(works, 1), sold, settings.storage_cost_per_month,
                    ((income, sold),), after, now)

    return Played(row.choice, row, cash(odds.cost), cash(other + odds.hours * here.hour_earns),
                   odds.hours, odds.cost, job, odds,
                   {"Sale price over market value": ratio, "Days to sell": selling_days,
                    "Bench hours": odds.hours, "Parts, materials and outwork": other})


def parted(here: Setting, row: SaleRatio) -> tuple[Played, tuple[Parted, ...]]:
    """The machine taken to pieces and sold offer by offer.

    Examples
    --------
    >>> from estimator.demo import small_survey
    >>> from estimator.shop import open_shop
    >>> here = Setting(small_survey(), Deal(5000, trials=100), open_shop(), date(2026, 3, 2))
    >>> found, parts = parted(here, here.row("part-out"))
    >>> found.key, sorted(part.listing.name for part in parts)
    ('part-out', ['flipper 1', 'leg 1'])
    """
    deal, settings, way = here.deal, here.settings, here.tables.ways[here.deal.parts_way]
    listings = parting.inventory(here.survey.lines, here.era, here.tables)
    ratio = durations.mean_of(row)
    fee = here.fee(way, None)
    price = durations.mean_of(Range.of(way, "price_"))
    value, kept_share = float(here.value.mean()), 1 - float(fee.mean())
    parts = tuple(
        Parted(one, one.price(deal.value, row.typical),
               one.expected(value, ratio) * price * kept_share,
               durations.mean_of(one.hours) * here.hour_cost)
        for one in listings)
    ratios = here.ratio(row)
    left = here.value * ratios * here.market.amount(
        f"price by {way.way}", Range.of(way, "price_")) * (1 - fee)
    hours = np.zeros(deal.trials)
    sales, kept = [], np.ones(deal.trials, int)
    taken = [part.listing for part in parts if part.pays]
    for one in taken:
        hours += here.market.amount(f"hours of parting {one.name}", one.hours)
    wait = deal.wait_weeks * 7
    works = months(wait + hours * 7 / settings.bench_hours_per_week)
    for one in taken:
        sold = here.market.sold(one.name, one.listings, one.sold)
        income = left * (one.share / (one.sold * one.listings)) * sold
        month = works + here.market.months(f"months of {one.name}", one.months)
        sales.append((income, month))
        kept = np.maximum(kept, month)
    # What is left goes when the last part does.
    sales.append((np.full(deal.trials, -settings.disposal_cost), kept))
    after = int(wait // DAYS)

    def cash(hour: float) -> Cash:
        return Cash(hours * hour, np.maximum(works - after, 1), kept,
                    settings.storage_cost_per_month, tuple(sales), after, here.outlay)

    return (Played(row.choice, row, cash(here.hour_cost), cash(here.hour_earns), hours,
                   hours * here.hour_cost,
                   draws={"Sale price over market value": ratios,
                          "Months until the last part is sold": kept,
                          "Bench hours": hours}), parts)


def work_choices(played: Mapping[str, Played]) -> list[Played]:
    """Choices that take the machine apart and sell it whole."""
    least = LEVELS.index(Level.SHOP_JOB)
    return [one for one in played.values()
            if one.job is not None and LEVELS.index(one.row.level) >= least]


def _state(survey: Survey, deal: Deal, era: Era, tables, settings) -> tuple[str, str]:
    """The state a machine is found in, and why."""
    if deal.found is not None:
        return deal.found, "as said"
    gone = parting.missing_share(survey, era, tables)
    if gone >= settings.incomplete_share:
        return "incomplete", f"{100 * gone:.0f} % of it is missing, by the worth of its parts"
    for line in survey.lines:
        row = tables.sale_weights.get(line.assembly)
        if row is not None and row.stops_play and line.count \
                and line.condition in ("failed", "missing"):
            name = tables.assemblies[line.assembly].name.lower()
            return "not-working", f"it cannot be played: {name} {line.condition}"
    return "working", "nothing that stops play is failed or missing"


def premium_terms(way: Way, own: float | None = None) -> tuple[float, float, float | None]:
    """Buyer's premium of a way: its share of the hammer price [–], the least and the most [money].

    `own` is the share where it is known; None takes the table's.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> ways = load().ways
    >>> premium_terms(ways["private"]), premium_terms(ways["auction"], 0.2)[0]
    ((0, 0.0, None), 0.2)
    """
    share = way.premium if own is None else own
    return share, way.premium_minimum if share else 0.0, way.premium_cap


__all__ = ["AS_FOUND", "Jobs", "Played", "Setting", "parted", "premium_terms", "worked"]
