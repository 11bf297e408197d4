"""The estimate: the scope of works timed and priced, each figure with its range.

Costs are what the job costs the shop, before margin and tax. Everything here is expected values
and three-point ranges; how they combine into odds is for `estimator.simulate`.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from estimator import durations, finishing, labour, materials, outwork
from estimator.catalogue import Catalogue, Certainty, Condition
from estimator.durations import Range
from estimator.scope import Need, Risk, Scope, Work, line_scope, worse
from estimator.shop import Settings, Shop

KINDS = ("labour", "parts", "materials", "outwork")
"""Kinds of cost, in the order they are listed everywhere."""

SHEET = "abrasive-sheet"
NOTHING = Range(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Item:
    """A work item: one operation on one survey line, timed.

    `hours` is the range for the whole item, hands-on and before allowances; `setup` is its part
    of the operation's set-up, which is done once a job. [h]
    """

    line: int
    name: str
    work: Work
    hours: Range
    setup: float

    @property
    def mean_hours(self) -> float:
        """Expected hands-on hours with set-up, before allowances. [h]"""
        return durations.pert_mean(self.hours.low, self.hours.typical, self.hours.high) + self.setup


@dataclass(frozen=True)
class Supply:
    """Parts or materials of one item on one line, with the range of what they cost."""

    line: int
    does: str
    item: str
    name: str
    quantity: float
    unit: str
    cost: Range


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

    `hours` are expected hands-on hours more, `cost` parts, materials and outwork more.
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
    those costs the shop.
    """

    scope: Scope
    items: tuple[Item, ...]
    supplies: tuple[Supply, ...]
    lots: tuple[Lot, ...]
    risks: tuple[Risk, ...]
    unseen: tuple[Unseen, ...]
    hours_factor: float
    hour_cost: float
    lines: tuple[LineCost, ...] = field(default=(), compare=False)

    @property
    def hours(self) -> float:
        """Expected hours of the known work, with allowances and without finds. [h]"""
        return math.fsum(line.hours for line in self.lines)

    @property
    def cost(self) -> float:
        """Expected cost of the known work, without finds."""
        return math.fsum(line.cost for line in self.lines)

    @property
    def find_hours(self) -> float:
        """Expected hours of finds and of lines worse than assumed, with allowances. [h]"""
        return self.hours_factor * math.fsum(
            [
                risk.chance * durations.pert_mean(risk.find.low, risk.find.typical, risk.find.high)
                for risk in self.risks
            ]
            + [u.chance * u.hours for u in self.unseen]
        )

    @property
    def find_cost(self) -> float:
        """Expected cost of finds and of lines worse than assumed."""
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
    """Expected hours and cost of one survey line, by kind of cost."""

    line: int
    hours: float
    kinds: Mapping[str, float]

    @property
    def cost(self) -> float:
        """Sum over the kinds."""
        return math.fsum(self.kinds.values())


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
    supplies = _supplies(scope.works, scope.needs, scope, catalogue, settings)
    lots = _lots(scope.needs, scope, catalogue)
    result = Estimate(
        scope=scope,
        items=items,
        supplies=supplies,
        lots=lots,
        risks=scope.risks,
        unseen=tuple(_unseen(scope, catalogue, settings)),
        hours_factor=1 + settings.setup_cleanup_share + settings.rework_share,
        hour_cost=labour.hourly_cost(
            settings.pay_per_hour,
            settings.on_cost_share,
            settings.paid_hours_per_year,
            settings.overhead_per_year,
            settings.productive_share,
        ),
    )
    return replace(result, lines=_line_costs(result))


def work_hours(work: Work, condition: Condition, catalogue: Catalogue, settings: Settings) -> Range:
    """Hands-on hours of one work item: from the book, or from the grit ladder. [h]"""
    row = work.operation
    if row.method == "ladder":
        finish = catalogue.finishes[work.finish or "brushed"]
        low, typical, high = finishing.hours(
            work.units, catalogue.grits.values(), catalogue.marks[condition], finish
        )
        found = Range(low * row.low, typical * row.typical, high * row.high)
    else:
        found = durations.repeated(Range(row.low, row.typical, row.high), work.units, row.learning)
    factor = settings.learner_multiplier
    return Range(found.low * factor, found.typical * factor, found.high * factor)


def _items(scope: Scope, catalogue: Catalogue, settings: Settings) -> tuple[Item, ...]:
    works = scope.works
    units: dict[str, float] = defaultdict(float)
    for work in works:
        units[work.operation.operation] += work.units
    items = []
    seen: dict[tuple[str, int], str] = {}
    ordinals: dict[str, int] = defaultdict(int)
    for work in works:
        line = scope.lines[work.line]
        if (line.assembly, work.line) not in seen:
            ordinals[line.assembly] += 1
            seen[line.assembly, work.line] = f"{line.assembly} {ordinals[line.assembly]}"
        share = work.units / units[work.operation.operation]
        items.append(
            Item(
                line=work.line,
                name=f"{seen[line.assembly, work.line]}: {work.operation.operation}",
                work=work,
                hours=work_hours(work, line.condition, catalogue, settings),
                setup=work.operation.setup * share * settings.learner_multiplier,
            )
        )
    return tuple(items)


def unit_price(part: str, catalogue: Catalogue) -> Range:
    """Range of what one unit of a part costs: the trade's range about the best offer for one."""
    row = catalogue.parts[part]
    offers = catalogue.offers_of[part]
    first = [offer.price for offer in offers if offer.from_quantity <= offer.pack]
    best = min(first) if first else row.typical
    return Range(min(row.low, best), best, max(row.high, best))


def _scaled(price: Range, factor: float) -> Range:
    return Range(price.low * factor, price.typical * factor, price.high * factor)


def material_need(need: Need, catalogue: Catalogue) -> float:
    """How much of a material a need comes to, in the unit of the material's row."""
    row = catalogue.materials[need.item]
    if row.method == "liquid":
        return need.quantity * materials.coating_litres(
            need.measure, row.film_um, volume_solids=row.volume_solids, transfer=row.transfer
        )
    if row.method == "powder":
        return need.quantity * materials.powder_kg(
            need.measure, row.film_um, density=row.density, transfer=row.transfer
        )
    return need.quantity


def _material_needs(
    works: Iterable[Work], needs: Iterable[Need], scope: Scope, catalogue: Catalogue
) -> Iterable[tuple[int, str, float]]:
    """(line, material, quantity), abrasive sheets for the grit ladder included."""
    for need in needs:
        if need.does == "material":
            yield need.line, need.item, material_need(need, catalogue)
    for work in works:
        if work.operation.method == "ladder":
            mark = catalogue.marks[scope.lines[work.line].condition]
            finish = catalogue.finishes[work.finish or "brushed"]
            steps = finishing.ladder(catalogue.grits.values(), mark.first_grit, finish.last_grit)
            passes = finishing.runs(steps, mark)[0]
            yield work.line, SHEET, finishing.sheets(work.units, steps, passes)


def _supplies(
    works: Iterable[Work],
    needs: Iterable[Need],
    scope: Scope,
    catalogue: Catalogue,
    settings: Settings,
) -> tuple[Supply, ...]:
    supplies = []
    needs = tuple(needs)
    for need in needs:
        if need.does == "part":
            row = catalogue.parts[need.item]
            cost = _scaled(
                unit_price(need.item, catalogue), need.quantity * (1 + settings.parts_freight_share)
            )
            supplies.append(
                Supply(need.line, "part", need.item, row.name, need.quantity, row.unit, cost)
            )
    found = [entry for entry in _material_needs(works, needs, scope, catalogue) if entry[2] > 0]
    totals: dict[str, float] = defaultdict(float)
    for _, item, quantity in found:
        totals[item] += quantity
    for line, item, quantity in found:
        row = catalogue.materials[item]
        used = totals[item] / row.pack
        packs = materials.packs(totals[item], row.pack) if row.sold_whole else used
        cost = _scaled(Range(row.low, row.typical, row.high), packs * quantity / totals[item])
        supplies.append(Supply(line, "material", item, row.name, quantity, row.unit, cost))
    return tuple(supplies)


def _lots(needs: Iterable[Need], scope: Scope, catalogue: Catalogue) -> tuple[Lot, ...]:
    pieces: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for need in needs:
        if need.does == "service":
            pieces[need.item][need.line] += need.quantity
    lots = []
    for service, by_line in pieces.items():
        row = catalogue.services[service]
        total = math.fsum(by_line.values())
        charges = [
            outwork.charge(
                [(total, rate)],
                setup=row.setup,
                lot_minimum=row.lot_minimum,
                multiplier=row.multiplier,
                line_fee=row.line_fee,
                lines=len(by_line),
                freight=row.freight,
            )
            for rate in (row.low, row.typical, row.high)
        ]
        lots.append(
            Lot(
                service,
                row.name,
                row.unit,
                total,
                Range(*charges),
                Range(row.days_low, row.days_typical, row.days_high),
                {line: quantity / total for line, quantity in by_line.items()},
            )
        )
    return tuple(lots)


def _unseen(scope: Scope, catalogue: Catalogue, settings: Settings) -> Iterable[Unseen]:
    """What it would add if a line that was not seen is one condition worse than written."""
    chances = {
        Certainty.SEEN: 0.0,
        Certainty.ASSUMED: settings.assumed_worse_chance,
        Certainty.HIDDEN: settings.hidden_worse_chance,
    }
    for index, line in enumerate(scope.lines):
        if index in scope.dropped or not line.count or not chances[line.certainty]:
            continue
        next_line = worse(line)
        if next_line.condition == line.condition:
            continue
        hours_now, cost_now = _alone(index, line, scope, catalogue, settings)
        hours_then, cost_then = _alone(index, next_line, scope, catalogue, settings)
        hours, cost = max(hours_then - hours_now, 0.0), max(cost_then - cost_now, 0.0)
        if hours or cost:
            yield Unseen(index, chances[line.certainty], next_line.condition, hours, cost)


def _alone(
    index: int, line, scope: Scope, catalogue: Catalogue, settings: Settings
) -> tuple[float, float]:
    """Expected hands-on hours and other cost of one line by itself, without set-up and minimums."""
    works, needs = line_scope(index, line, scope.era, scope.level, catalogue)
    lines = list(scope.lines)
    lines[index] = line
    here = replace(scope, lines=tuple(lines))
    hours = math.fsum(
        _mean(work_hours(work, line.condition, catalogue, settings)) for work in works
    )
    cost = math.fsum(
        _mean(supply.cost) for supply in _supplies(works, needs, here, catalogue, settings)
    )
    cost += math.fsum(
        need.quantity * catalogue.services[need.item].typical
        for need in needs
        if need.does == "service"
    )
    return hours, cost


def _mean(found: Range) -> float:
    return durations.pert_mean(found.low, found.typical, found.high)


def _line_costs(job: Estimate) -> tuple[LineCost, ...]:
    hours: dict[int, float] = defaultdict(float)
    kinds: dict[int, dict[str, float]] = defaultdict(lambda: dict.fromkeys(KINDS, 0.0))
    for item in job.items:
        hours[item.line] += item.mean_hours * job.hours_factor
    for supply in job.supplies:
        kind = "parts" if supply.does == "part" else "materials"
        kinds[supply.line][kind] += _mean(supply.cost)
    for lot in job.lots:
        for line, share in lot.shares.items():
            kinds[line]["outwork"] += share * _mean(lot.charge)
    for line, found in hours.items():
        kinds[line]["labour"] += found * job.hour_cost
    return tuple(LineCost(line, hours[line], dict(kinds[line])) for line in sorted(kinds))


def estimate_class(job: Estimate) -> tuple[int, float]:
    """Class 5 (loosest) to 1 (firmest) and the share of the cost that was really seen.

    After the five-class practice for cost estimates, AACE 18R-97, whose classes go by how much
    of the work is defined; the limits used are the middles of its overlapping bands.
    """
    total = seen = 0.0
    for line in job.lines:
        total += line.cost
        if job.scope.lines[line.line].certainty == Certainty.SEEN:
            seen += line.cost
    share = seen / total if total else 0.0
    limits = ((0.70, 1), (0.35, 2), (0.125, 3), (0.02, 4))
    return next((grade for limit, grade in limits if share >= limit), 5), share


__all__ = [
    "KINDS",
    "Estimate",
    "Item",
    "LineCost",
    "Lot",
    "Supply",
    "Unseen",
    "estimate",
    "estimate_class",
    "unit_price",
    "work_hours",
]
