"""A scope of works timed and priced."""

from __future__ import annotations

import functools
import itertools
import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from estimator import durations, finishing, labour
from estimator.catalogue import Catalogue, Certainty, Condition, Era, Level
from estimator.durations import Range
from estimator.estimate.records import KINDS, Estimate, Item, LineCost, Unseen
from estimator.estimate.supplies import lots_of, supplies_of
from estimator.scope import Scope, Work, line_scope, worse
from estimator.shop import Settings, Shop
from estimator.survey import Line


def estimate(scope: Scope, shop: Shop) -> Estimate:
    """Time and price a scope of works with a shop's tables and settings.

    Examples
    --------
    >>> from estimator.catalogue import Era, Level
    >>> from estimator.scope import scope
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> survey = template(Era.DOT_MATRIX, shop.catalogue)
    >>> job = estimate(scope(survey, Level.SHOP_JOB, shop.catalogue), shop)
    >>> 8 < job.hours < 22
    True
    """
    catalogue, settings = shop.catalogue, shop.settings
    items = _items(scope, catalogue, settings)
    supplies = supplies_of(scope.works, scope.needs, scope.lines, catalogue, settings)
    lots = lots_of(scope.needs, catalogue)
    result = Estimate(
        scope=scope,
        items=items,
        supplies=supplies,
        lots=lots,
        risks=scope.risks,
        unseen=tuple(_unseen(scope, catalogue, settings)),
        hours_factor=1 + settings.setup_cleanup_share + settings.rework_share,
        hour_cost=labour.hour_cost(settings),
        correlations={key: row.correlation for key, row in catalogue.correlations.items()},
    )
    return replace(result, lines=_line_costs(result))


def work_hours(work: Work, condition: Condition, catalogue: Catalogue, settings: Settings) -> Range:
    """Hands-on hours of one work item: from the book, or from the grit ladder. [h]

    Units go along the operation's learning curve; set-up and allowances are not in it.

    Parameters
    ----------
    condition
        Of the survey line: it says with which grit a ladder begins.

    Examples
    --------
    >>> from estimator.catalogue import Certainty, load
    >>> from estimator.shop import open_shop
    >>> flippers = Line("flipper", 2, Condition.WORN, Certainty.SEEN)
    >>> works, _ = line_scope(0, flippers, Era.MODERN, Level.SHOP_JOB, load())
    >>> work_hours(works[0], Condition.WORN, load(), open_shop().settings)
    Range(low=0.06, typical=0.1, high=0.2)
    """
    row = work.operation
    if row.method == "ladder":
        finish = catalogue.finishes[work.finish or "brushed"]
        low, typical, high = finishing.hours(
            work.units, catalogue.grits.values(), catalogue.marks[condition], finish
        )
        found = Range(low * row.low, typical * row.typical, high * row.high)
    else:
        found = durations.repeated(Range.of(row), work.units, row.learning)
    return found * settings.learner_multiplier


def _items(scope: Scope, catalogue: Catalogue, settings: Settings) -> tuple[Item, ...]:
    alone = _alone(catalogue, settings)
    units: dict[str, float] = defaultdict(float)
    for work in scope.works:
        units[work.operation.operation] += work.units
    items = []
    for index, works in itertools.groupby(scope.works, key=lambda work: work.line):
        # A line's works are in the order of the line by itself.
        hours = alone.hours(scope.lines[index], scope.era, scope.level)
        for work, found in zip(works, hours, strict=True):
            share = work.units / units[work.operation.operation]
            items.append(
                Item(
                    line=index,
                    name=f"{scope.names[index]}: {work.operation.operation}",
                    work=work,
                    hours=found,
                    setup=work.operation.setup * share * settings.learner_multiplier,
                    shape=settings.hours_shape,
                )
            )
    return tuple(items)


def _unseen(scope: Scope, catalogue: Catalogue, settings: Settings) -> Iterable[Unseen]:
    """What it would add if a line that was not seen is one condition worse than written."""
    alone = _alone(catalogue, settings)
    chances = {
        Certainty.SEEN: 0.0,
        Certainty.ASSUMED: settings.assumed_worse_chance,
        Certainty.HIDDEN: settings.hidden_worse_chance,
    }
    for index, line in enumerate(scope.lines):
        if index in scope.dropped or not line.count or not chances[line.certainty]:
            continue
        condition, hours, cost = alone.worse(line, scope.era, scope.level)
        if hours or cost:
            yield Unseen(index, chances[line.certainty], condition, hours, cost)


class _Alone:
    """What a line comes to whatever the others are, without set-up and minimums.

    It is kept: lines alike come again at every edit, in every survey of an era, at every level.
    """

    def __init__(self, catalogue: Catalogue, settings: Settings):
        self._catalogue, self._settings = catalogue, settings
        keeping = functools.lru_cache(maxsize=16_384)
        self.hours, self.means = keeping(self._hours), keeping(self._means)
        self.worse = keeping(self._worse)

    def _hours(self, line: Line, era: Era, level: Level) -> tuple[Range, ...]:
        """Hands-on hours of each of its works. [h]"""
        works, _ = line_scope(0, line, era, level, self._catalogue)
        return tuple(work_hours(work, line.condition, self._catalogue, self._settings)
                     for work in works)

    def _means(self, line: Line, era: Era, level: Level) -> tuple[float, float]:
        """Expected hands-on hours and other cost."""
        works, needs = line_scope(0, line, era, level, self._catalogue)
        hours = math.fsum(durations.mean_of(found, self._settings.hours_shape)
                          for found in self.hours(line, era, level))
        cost = math.fsum(
            durations.mean_of(supply.cost)
            for supply in supplies_of(works, needs, (line,), self._catalogue, self._settings)
        )
        cost += math.fsum(
            need.quantity * self._catalogue.services[need.item].typical
            for need in needs
            if need.does == "service"
        )
        return hours, cost

    def _worse(self, line: Line, era: Era, level: Level) -> tuple[Condition, float, float]:
        """One condition worse: which, and the expected hours and other cost that it adds."""
        then = worse(line)
        if then.condition == line.condition:
            return line.condition, 0.0, 0.0
        (hours, cost), (more_hours, more_cost) = (
            self.means(one, era, level) for one in (line, then))
        return then.condition, max(more_hours - hours, 0.0), max(more_cost - cost, 0.0)


_alone = functools.lru_cache(maxsize=8)(_Alone)


def _line_costs(job: Estimate) -> tuple[LineCost, ...]:
    hours: dict[int, float] = defaultdict(float)
    kinds: dict[int, dict[str, float]] = defaultdict(lambda: dict.fromkeys(KINDS, 0.0))
    for item in job.items:
        hours[item.line] += item.mean_hours * job.hours_factor
    for supply in job.supplies:
        kind = "parts" if supply.does == "part" else "materials"
        kinds[supply.line][kind] += durations.mean_of(supply.cost)
    for lot in job.lots:
        for line, share in lot.shares.items():
            kinds[line]["outwork"] += share * durations.mean_of(lot.charge)
    for line, found in hours.items():
        kinds[line]["labour"] += found * job.hour_cost
    return tuple(LineCost(line, hours[line], dict(kinds[line])) for line in sorted(kinds))


def estimate_class(job: Estimate) -> tuple[int, float]:
    """Class 5 (loosest) to 1 (firmest) and the share of the cost that was really seen.

    After the five-class practice for cost estimates, AACE 18R-97, whose classes go by how much
    of the work is defined; the limits used are the middles of its overlapping bands.

    Examples
    --------
    >>> from estimator.scope import scope
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import Machine, Survey
    >>> shop, flippers = open_shop(), Line("flipper", 2, Condition.WORN, Certainty.ASSUMED)
    >>> works = scope(Survey(Machine(era=Era.MODERN), (flippers,)), Level.CLEAN, shop.catalogue)
    >>> estimate_class(estimate(works, shop))  # nobody has looked at it
    (5, 0.0)
    """
    total = seen = 0.0
    for line in job.lines:
        total += line.cost
        if job.scope.lines[line.line].certainty == Certainty.SEEN:
            seen += line.cost
    share = seen / total if total else 0.0
    limits = ((0.70, 1), (0.35, 2), (0.125, 3), (0.02, 4))
    return next((grade for limit, grade in limits if share >= limit), 5), share
