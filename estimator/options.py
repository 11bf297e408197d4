"""The customer's choice: any set of lines re-priced from the same trials, and the best that fits.

What each line drew is kept with the odds, so a set of lines is priced by adding up, without a new
simulation; only what lines share (set-up, lots, whole packs) is worked out anew. The price is the
same, to the cent, as that of a quote with the other lines left out.
"""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

# from estimator import picking
from estimator.estimate.supplies import lots_of, supplies_of
from estimator.quote import TIME, Quote
from estimator.quote.lines import rounded
from estimator.shop import Shop
from estimator.simulate.plan import plan_of, wholes_of
from estimator.simulate.run import player_of


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
        return self._figures(frozenset(kept))[0]

    def days(self, kept: frozenset[int]) -> float:
        """Days within which four jobs in five are ready with these lines kept. [d]"""
        return self._figures(frozenset(kept))[1]

    def _figures(self, kept: frozenset[int]) -> tuple[float, float]:
        if kept not in self._known:
            self._known[kept] = self._priced(kept)
        return self._known[kept]

    def _priced(self, kept: frozenset[int]) -> tuple[float, float]:
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
            steps = np.ceil(hours / terms.step_hours - 1e-9) * terms.step_hours
            price = float(np.quantile(steps * terms.rate + bought, settings.cap_confidence))
        else:
            cost = hours * odds.hour_cost + bought
            price = float(np.quantile(cost, offer.confidence)) / offer.divisor
        return float(rounded(price, settings)), float(np.quantile(days, 0.8))

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
        supplies = supplies_of(works, sold_whole, job.scope, catalogue, self.offer.settings)
        wholes = self._player.total(wholes_of(supplies))
        lots = {lot.service: lot for lot in lots_of(needs, job.scope, catalogue)}
        charges = [replace(amount, low=lot.charge.low, typical=lot.charge.typical,
                           high=lot.charge.high)
                   for amount, lot in self._lots(self._plan.charges, lots)]
        waits = [amount for amount, _ in self._lots(self._plan.waits, lots)]
        return wholes, self._player.total(charges), self._player.most(waits)

    def _lots(self, amounts, lots: Mapping):
        for amount, before in zip(amounts, self.offer.job.lots, strict=True):
            if before.service in lots:
                yield amount, lots[before.service]

    # For the integer programme: a sum that the price of a set is never under -----------------

    def least(self) -> tuple[dict[int, float], float, list[tuple[float, frozenset[int]]]]:
        """What each line adds at least to the mean price, the price without any, and shared
        amounts: (money, lines that bring it)."""
        offer, odds = self.offer, self.offer.kept_odds
        rate, divisor = odds.hour_cost, offer.divisor
        if self._marked:
            rate, divisor = odds.billing.rate, 1.0
        each = {index: (float(own[0].mean()) * rate + float(own[1].mean())) / divisor
                for index, own in self._own.items()}
        fixed = (float(self._fixed[0].mean()) * rate + float(self._fixed[1].mean())) / divisor
        needed: dict[str, set[int]] = defaultdict(set)
        for item in offer.job.items:
            needed[item.work.operation.operation].add(item.line)
        setups = self._setups(offer.job.items)
        shared = []
        for name, lines in needed.items():
            amount = setups[name] * odds.hours_factor * rate / divisor
            if lines <= set(self.lines):
                shared.append((amount, frozenset(lines)))
            else:
                fixed += amount
        return each, fixed, [row for row in shared if row[0] > 0]

    def least_days(self) -> tuple[dict[int, float], float, list[tuple[float, frozenset[int]]]]:
        """The same for the days: what each line adds at least to the mean."""
        per_hour = 7 / self.offer.settings.bench_hours_per_week
        each = {index: float(own[0].mean()) * per_hour + float(own[2].mean())
                for index, own in self._own.items()}
        fixed = float(self._fixed[0].mean()) * per_hour + float(self._fixed[2].mean())
        return each, fixed, []
