"""The customer's choice: any set of lines re-priced from the same trials, and the best that fits.

What each line drew is kept with the odds, so a set of lines is priced by adding up, without a new
simulation; only what lines share (set-up, lots, whole packs) is worked out anew. The price is the
same, to the cent, as that of a quote with the other lines left out.
"""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from estimator import picking
from estimator.errors import BadInput, Fault
from estimator.estimate.supplies import lots_of, supplies_of
from estimator.quote import TIME, Choices, Quote, quote
from estimator.quote.lines import rounded
from estimator.shop import Shop
from estimator.simulate.plan import plan_of, wholes_of
from estimator.simulate.run import player_of
from estimator.survey import Survey

_IN_TIME = 0.8
"""Share of the jobs that are ready within the days that are told."""


class Menu:
    """The lines of a quote that can be left out, and the price of any set of those kept.

    Parameters
    ----------
    offer
        A quote with no line left out; its odds must have been kept by line.

    Examples
    --------
    >>> from estimator.catalogue import Era, Level
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> choices = Choices(Level.SHOP_JOB, on=date(2026, 1, 5))
    >>> offer = quote(template(Era.DOT_MATRIX, shop.catalogue), choices, shop, compare=False)
    >>> menu = Menu(offer, shop)
    >>> menu.price(frozenset(menu.lines)) == float(offer.price)
    True
    """

    def __init__(self, offer: Quote, shop: Shop):
        self.offer, self._shop = offer, shop
        odds, job = offer.kept_odds, offer.job
        catalogue = shop.catalogue
        self.lines = tuple(
            index for index in sorted(odds.lines)
            if index < job.scope.first_extra
            and catalogue.assemblies[job.scope.lines[index].assembly].droppable)
        self._plan = plan_of(job, offer.settings)
        # The same streams as the odds were drawn with, for what the lines share.
        self._player = player_of(self._plan, job, trials=odds.trials, seed=odds.seed,
                                 sampler=odds.sampler)
        self._fixed = self._sum(index for index in odds.lines if index not in set(self.lines))
        self._own = {index: self._sum([index]) for index in self.lines}
        self._known: dict[frozenset[int], tuple[float, float]] = {}

    @functools.cached_property
    def _marked(self) -> bool:
        return self.offer.choices.pricing == TIME

    def _sum(self, indexes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Hours with allowances, what is bought (as billed, if it is), and days of finds."""
        odds, terms = self.offer.kept_odds, self.offer.kept_odds.billing
        parts = 1 + terms.parts if self._marked else 1.0
        materials = 1 + terms.materials if self._marked else 1.0
        hours, bought, days = (np.zeros(odds.trials) for _ in range(3))
        for index in indexes:
            line = odds.lines[index]
            for row, total, factor in (
                (line.hours, hours, odds.hours_factor), (line.find_hours, hours, odds.hours_factor),
                (line.parts, bought, parts), (line.find_other, bought, parts),
                (line.materials, bought, materials), (line.find_days, days, 1.0)):
                if row is not None:
                    total += row * np.float32(factor)
        return hours, bought, days

    def price(self, kept: frozenset[int]) -> float:
        """The price before tax with these lines kept, and the others left out. [money]"""
        return float(rounded(self._figures(frozenset(kept))[0], self.offer.settings))

    def days(self, kept: frozenset[int]) -> float:
        """Days within which four jobs in five are ready with these lines kept. [d]"""
        return self._figures(frozenset(kept))[1]

    def _figures(self, kept: frozenset[int]) -> tuple[float, float]:
        """Price before rounding, and days."""
        if kept not in self._known:
            self._known[kept] = self._priced(kept)
        return self._known[kept]

    def _priced(self, kept: frozenset[int]) -> tuple[float, float]:
        prices, days = self._in_trials(kept)
        return float(np.quantile(prices, self._share)), float(np.quantile(days, _IN_TIME))

    @property
    def _share(self) -> float:
        """Share of the trials that the price, or the cap, is enough for."""
        return self.offer.settings.cap_confidence if self._marked else self.offer.confidence

    def _in_trials(self, kept: frozenset[int]) -> tuple[np.ndarray, np.ndarray]:
        """What a set of lines would have to be priced at in each trial, and its days."""
        offer, odds, settings = self.offer, self.offer.kept_odds, self.offer.settings
        hours, bought, days = (part.copy() for part in self._fixed)
        for index in kept:
            for total, part in zip((hours, bought, days), self._own[index], strict=True):
                total += part
        left = set(self.lines) - kept
        items = [item for item in offer.job.items if item.line not in left]
        hours += math.fsum(self._setups(items).values()) * odds.hours_factor
        wholes, charges, waits = self._shared(frozenset(left))
        terms = odds.billing
        if wholes is not None:
            bought += wholes * (1 + terms.materials if self._marked else 1)
        if charges is not None:
            bought += charges * (1 + terms.outwork if self._marked else 1)
        days += hours * (7 / settings.bench_hours_per_week)
        days += max((item.work.operation.unattended for item in items), default=0.0) / 24
        if waits is not None:
            days += waits
        if self._marked:
            return terms.billed(hours) * terms.rate + bought, days
        return (hours * odds.hour_cost + bought) / offer.divisor, days

    def _setups(self, items) -> dict[str, float]:
        """Set-up hours of the operations that some line needs, each once."""
        multiplier = self.offer.settings.learner_multiplier
        return {item.work.operation.operation: item.work.operation.setup * multiplier
                for item in items}

    def _shared(self, left: frozenset[int]):
        """Whole packs, charges of lots, and the longest wait, without the lines left out."""
        job, catalogue = self.offer.job, self._shop.catalogue
        works = [work for work in job.scope.works if work.line not in left]
        needs = [need for need in job.scope.needs if need.line not in left]
        sold_whole = [need for need in needs
                      if need.does == "material" and catalogue.materials[need.item].sold_whole]
        supplies = supplies_of(works, sold_whole, job.scope.lines, catalogue, self.offer.settings)
        wholes = self._player.total(wholes_of(supplies))
        lots = {lot.service: lot for lot in lots_of(needs, catalogue)}
        charges = [amount._replace(low=lot.charge.low, typical=lot.charge.typical,
                                   high=lot.charge.high)
                   for amount, lot in self._lots(self._plan.charges, lots)]
        waits = [amount for amount, _ in self._lots(self._plan.waits, lots)]
        return wholes, self._player.total(charges), self._player.most(waits)

    def _lots(self, amounts, lots: Mapping):
        for amount, before in zip(amounts, self.offer.job.lots, strict=True):
            if before.service in lots:
                yield amount, lots[before.service]

    # For the search: what the price of a set is never under -------------------------------

    def price_limit(self, most: float) -> picking.Limit:
        """The limit that the price before tax, or the cap, is at most `most`. [money]

        Lines are counted by their place in `lines`.
        """
        offer, odds, settings = self.offer, self.offer.kept_odds, self.offer.settings
        terms = odds.billing
        rate, divisor = (terms.rate, 1.0) if self._marked else (odds.hour_cost, offer.divisor)
        hour = odds.hours_factor * rate / divisor
        base = (self._fixed[0] * rate + self._fixed[1]) / divisor
        lines = np.stack([(own[0] * rate + own[1]) / divisor for own in self._own.values()]) \
            if self.lines else np.zeros((0, odds.trials))
        shared = []
        needed: dict[str, set[int]] = defaultdict(set)
        for item in offer.job.items:
            needed[item.work.operation.operation].add(item.line)
        for name, hours in self._setups(offer.job.items).items():
            places = self._places(needed[name])
            if hours and places is None:
                base = base + hours * hour
            elif hours:
                shared.append(picking.Shared(hours * hour, places))
        for amount, charges in self._lots_at_least(divisor):
            base = base + amount
            shared += charges
        # The price is rounded to the shop's step: what is under the last step fits.
        step = settings.round_price_to
        return picking.Limit(
            math.floor(most / step + 1e-9) * step if step else most,
            lambda places: self._exact(places)[0], lines.mean(axis=1), float(base.mean()), shared,
            picking.Trials(base, lines, self._held(self._share),
                           lambda places: self._in_trials(self._named(places))[0]))

    def days_limit(self, most: float) -> picking.Limit:
        """The limit that the days in four jobs of five are at most `most`. [d]"""
        per_hour = 7 / self.offer.settings.bench_hours_per_week
        base = self._fixed[0] * per_hour + self._fixed[2]
        lines = np.stack([own[0] * per_hour + own[2] for own in self._own.values()]) \
            if self.lines else np.zeros((0, self.offer.kept_odds.trials))
        return picking.Limit(
            most, lambda places: self._exact(places)[1], lines.mean(axis=1), float(base.mean()),
            (), picking.Trials(base, lines, self._held(_IN_TIME),
                               lambda places: self._in_trials(self._named(places))[1]))

    def _exact(self, places: frozenset[int]) -> tuple[float, float]:
        """Price before rounding, and days, of lines by their place."""
        return self._figures(self._named(places))

    def _named(self, places: frozenset[int]) -> frozenset[int]:
        """Lines by their place in `lines`."""
        return frozenset(self.lines[place] for place in places)

    def _held(self, share: float) -> float:
        """The share of trials that surely stay within their quantile at `share`, which lies
        between two trials."""
        trials = self.offer.kept_odds.trials
        return (math.floor(share * (trials - 1)) + 1) / trials

    def _places(self, lines: set[int]) -> list[int] | None:
        """Places of lines that can be left out; None if one of them cannot."""
        place = {index: k for k, index in enumerate(self.lines)}
        return None if lines - set(place) else sorted(place[index] for index in lines)

    def _lots_at_least(self, divisor: float):
        """Least charge of each lot: what is always paid, and what is shared; at the low rate."""
        for lot in self.offer.job.lots:
            row = self._shop.catalogue.services[lot.service]
            factor = (1 + self.offer.kept_odds.billing.outwork if self._marked else 1) / divisor
            parts = {index: share * lot.quantity * row.low for index, share in lot.shares.items()}
            places = self._places(set(parts))
            if places is None:
                always = math.fsum(part for index, part in parts.items()
                                   if index not in self.lines)
                yield (max(row.lot_minimum, row.setup + always) * row.multiplier
                       + row.freight) * factor, []
            else:
                yield 0.0, [
                    picking.Shared(row.setup, places, row.lot_minimum,
                                   [parts[self.lines[place]] for place in places],
                                   row.multiplier * factor),
                    picking.Shared(row.freight * factor, places)]


@dataclass(frozen=True)
class Fit:
    """The best set of lines for a budget or a date.

    Parameters
    ----------
    left_out
        Indexes of the survey lines to leave out, beside those that were left out before.
    worth, worth_of_all
        What the lines kept are worth together, and all that could be had. [money]
    price, days
        Price before tax, and days within which four jobs in five are ready. [money], [d]
    proven
        Is it certain that no other set that fits is worth more? If the search was stopped or
        ran out of time, no set is worth more than `bound`.

    Examples
    --------
    >>> from estimator.catalogue import Level
    >>> found = Fit(frozenset({3}), 800.0, 950.0, 1480.0, 9.5, True, 800.0)
    >>> sorted(found.taken(Choices(Level.CLEAN, dropped=frozenset({1}))).dropped)
    [1, 3]
    """

    left_out: frozenset[int]
    worth: float
    worth_of_all: float
    price: float
    days: float
    proven: bool
    bound: float

    def taken(self, choices: Choices) -> Choices:
        """The choices with these lines left out."""
        return replace(choices, dropped=choices.dropped | self.left_out)


def fitted(survey: Survey, choices: Choices, shop: Shop, *, budget: float | None = None,
           ready_by: date | None = None, worth: Mapping[int, float] | None = None,
           most_seconds: float = 10.0, progress: Callable | None = None) -> Fit:
    """The lines that are worth most together and fit a budget, a date, or both.

    Parameters
    ----------
    budget
        The price before tax is not to pass it; for time and materials the cap is not. [money]
    ready_by
        The day on which the machine is to be ready in four jobs of five.
    worth
        What a line is worth to the customer, by index of the survey line; its price where
        nothing is said, so that as much work as fits is done. 0 or more. [money]
    progress
        As `picking.pick` takes it; if it answers False, the best set found so far is returned.

    Raises
    ------
    BadInput
        If neither budget nor date is given, a figure is out of range, a line of `worth` cannot
        be left out, or not even the work that cannot be left out fits.

    Examples
    --------
    >>> from estimator.catalogue import Condition, Era, Level
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import Line, Machine, Survey
    >>> shop, asked = open_shop(), Choices(Level.RECONDITIONED, trials=200, on=date(2026, 3, 2))
    >>> machine = Survey(Machine(era=Era.DOT_MATRIX), (
    ...     Line("flipper", 2, Condition.WORN), Line("spinner", 2, Condition.HEAVY),
    ...     Line("side-rail", 2, Condition.HEAVY)))
    >>> whole = quote(machine, asked, shop, compare=False)
    >>> fit = fitted(machine, asked, shop, budget=float(whole.price) - 1, worth={1: 10_000.0})
    >>> quote(machine, fit.taken(asked), shop, compare=False).price < whole.price, fit.proven
    (True, True)
    >>> 1 in fit.left_out
    False

    Notes
    -----
    A set must also fit by its mean price (mean days), which only matters where finds are so
    rare and dear that the mean lies over the price at the confidence.
    """
    offer = quote(survey, choices, shop, compare=False)
    menu = Menu(offer, shop)
    today = choices.on or date.today()
    worth = dict(worth or {})
    _check_wishes(menu, offer, budget, ready_by, worth, today)
    prices = {line.line: float(line.price) for line in offer.lines if line.line is not None}
    values = [worth.get(index, prices.get(index, 0.0)) for index in menu.lines]
    limits = []
    if budget is not None:
        limits.append(menu.price_limit(budget))
    if ready_by is not None:
        limits.append(menu.days_limit(float((ready_by - today).days)))
    try:
        picked = picking.pick(values, limits, most_seconds=most_seconds, progress=progress)
    except picking.NothingFits:
        raise BadInput(_too_tight(menu, offer, budget, ready_by, today)) from None
    kept = frozenset(menu.lines[place] for place in picked.lines)
    return Fit(frozenset(menu.lines) - kept, picked.worth, math.fsum(values), menu.price(kept),
               menu.days(kept), picked.proven, picked.bound)


def _check_wishes(menu: Menu, offer: Quote, budget: float | None, ready_by: date | None,
                  worth: Mapping[int, float], today: date) -> None:
    faults = []
    if budget is None and ready_by is None:
        faults.append(Fault("There is nothing to fit to.", "Give a budget, a date, or both."))
    if budget is not None and not 0 < budget < math.inf:
        faults.append(Fault(f"The budget is {budget:g}; it must be over 0.",
                            "Write it before tax, without the currency.", column="budget"))
    if ready_by is not None and ready_by <= today:
        faults.append(Fault(f"{ready_by.isoformat()} is not after the date of the quote, "
                            f"{today.isoformat()}.", "Give a later day.", column="ready_by"))
    lines = offer.survey.lines
    for index, value in worth.items():
        if not 0 <= index < len(lines):
            faults.append(Fault(f"There is no line {index + 1}.",
                                f"The survey has {len(lines)} lines."))
        elif not 0 <= value < math.inf:
            faults.append(Fault(f"Line {index + 1} is worth {value:g}; it must be 0 or more.",
                                "Write what it is worth to the customer, in money."))
        elif index not in menu.lines and index not in offer.choices.dropped:
            faults.append(Fault(f"Line {index + 1}, {offer.titles[index]}, is always done, "
                                "whatever it is worth.", "Leave its worth out."))
    if faults:
        raise BadInput(faults)


def _too_tight(menu: Menu, offer: Quote, budget: float | None, ready_by: date | None,
               today: date) -> list[Fault]:
    """What is too tight even for the work that cannot be left out."""
    bare = frozenset()
    faults = []
    if budget is not None and menu.price(bare) > budget:
        faults.append(Fault(
            f"Even with all left out that can be, the price is {menu.price(bare):,.2f} "
            f"{offer.settings.currency}; the budget is {budget:,.2f}.",
            "Raise the budget, or choose a lower service level."))
    if ready_by is not None and menu.days(bare) > (ready_by - today).days:
        faults.append(Fault(
            f"Even with all left out that can be, it takes {menu.days(bare):.0f} days; "
            f"{ready_by.isoformat()} is {(ready_by - today).days} days away.",
            "Give a later day, or choose a lower service level."))
    return faults or [Fault("No set of lines fits its mean price or mean days.",
                            "Raise the limit a little.")]


__all__ = ["Fit", "Menu", "fitted"]
