"""What is bought and sent out, opened: quantity × price, packs, lots."""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from estimator import durations, materials
from estimator.catalogue import Condition
from estimator.estimate import Lot, Supply, material_need, unit_cost
from estimator.scope import Need, Work
from estimator.trace.bench import Bench, three
from estimator.trace.ground import kept
from estimator.trace.places import of_line
from estimator.trace.steps import Step, cost_name, step


@dataclass(frozen=True)
class _Basket:
    """Supplies together with the need, or the work by the grit ladder, that each comes from.

    `prefix` begins the keys; `alone` is the condition of a line that is looked at by itself.
    """

    prefix: str
    pairs: tuple[tuple[Supply, Need | Work], ...]
    alone: Condition | None = None


def basket(
    prefix: str,
    supplies: Iterable[Supply],
    works: Iterable[Work],
    needs: Sequence[Need],
    bench: Bench,
    alone: Condition | None = None,
) -> _Basket:
    """Pair supplies with what they are for; they come in the order in which they are needed."""
    catalogue, lines = bench.ground.catalogue, bench.ground.scope.lines

    def uses_sheets(work: Work) -> bool:
        if work.operation.method != "ladder":
            return False
        condition = alone or lines[work.line].condition
        return any(grit.life_m2 for grit in bench.ladder_of(condition, work.finish or "brushed")[0])

    sources: list[Need | Work] = [need for need in needs if need.does == "part"]
    sources += [need for need in needs
                if need.does == "material" and material_need(need, catalogue) > 0]
    sources += [work for work in works if uses_sheets(work)]
    return _Basket(prefix, tuple(zip(supplies, sources, strict=True)), alone)


class Supplies:
    """Trees of what parts, materials and outwork cost."""

    def __init__(self, bench: Bench):
        self.bench, self.ground = bench, bench.ground
        self.lots: dict[str, Lot] = {lot.service: lot for lot in self.ground.job.lots}

    @functools.cached_property
    def all(self) -> _Basket:
        """Everything the job takes."""
        job = self.ground.job
        return basket("", job.supplies, job.scope.works, job.scope.needs, self.bench)

    @functools.cached_property
    def by_line(self) -> Mapping[tuple[int, str], list[int]]:
        """Numbers of the supplies of each line, parts and materials apart."""
        found: dict[tuple[int, str], list[int]] = defaultdict(list)
        for number, supply in enumerate(self.ground.job.supplies):
            found[supply.line, supply.does].append(number)
        return found

    @kept
    def of_line(self, index: int, does: str) -> Step:
        """Expected cost of the parts or the materials of a line."""
        numbers = self.by_line[index, does]
        kind = "parts" if does == "part" else "materials"
        steps = [self.of_job(number) for number in numbers]
        return step("sum", f"line-{index + 1}.{kind}.cost",
                    cost_name(self.ground.offer.titles[index], kind),
                    math.fsum(one.value for one in steps), self.ground.currency, steps,
                    figure=bool(steps))

    @kept
    def of_job(self, number: int) -> Step:
        """Expected cost of one part or material on its line, by its place in the estimate."""
        return self.supply(self.all, number, self.key_of(number))

    def supply(self, held: _Basket, number: int, key: str) -> Step:
        """Expected cost of one part or material on one line."""
        supply = held.pairs[number][0]
        build = self._part if supply.does == "part" else self._material
        cost = step("product", f"{key}.cost", "Cost, low, typical and high", three(supply.cost),
                    self.ground.currency, build(held, number, key))
        mean = durations.mean_of(supply.cost)
        name = supply.name if held.prefix else self.name_of(number)
        return step("mean", key, name, mean, self.ground.currency, [cost],
                    figure=not held.prefix)

    def name_of(self, number: int) -> str:
        """What is bought for which line."""
        supply = self.ground.job.supplies[number]
        return f"{self.ground.offer.titles[supply.line]}: {supply.name}"

    # Parts.

    def _part(self, held: _Basket, number: int, key: str) -> list[Step]:
        supply, need = held.pairs[number]
        share = self.ground.settings.parts_freight_share
        steps = [self.bench.units(key, need, need.quantity, supply.unit), self.price(supply.item)]
        if share:
            steps.append(step("plus", "freight_on_parts", "Freight on parts", 1 + share, "",
                              [self.ground.setting("parts_freight_share")]))
        return steps

    @kept
    def price(self, part: str) -> Step:
        """What one unit of a part costs: the trade's range about the best offer for one."""
        ground, row = self.ground, self.ground.catalogue.parts[part]
        usual = ground.cells(f"price.{part}.usual", "Price of one in the trade", row,
                             ground.currency)
        first = [offer for offer in ground.catalogue.offers_of[part]
                 if offer.from_quantity <= offer.pack]
        if not first:
            return usual
        best = min(first, key=lambda offer: offer.price)
        supplier = ground.catalogue.suppliers[best.supplier].name
        offer = ground.cell(f"price.{part}.offer", f"Best offer for one, {supplier}", best,
                            "price", ground.currency)
        return step("offer", f"price.{part}", "Price of one",
                    three(unit_cost(part, ground.catalogue)), ground.currency, [offer, usual])

    # Materials.

    def _material(self, held: _Basket, number: int, key: str) -> list[Step]:
        supply = held.pairs[number][0]
        row = self.ground.catalogue.materials[supply.item]
        price = self.ground.cells(f"price.{supply.item}.pack", "Price of a pack", row,
                                  self.ground.currency)
        own = self._quantity(held, number, key)
        pack = self.ground.cell(f"price.{supply.item}.holds", "A pack holds", row, "pack", row.unit)
        if not row.sold_whole:
            return [price, step("quotient", f"{key}.packs", "Packs used",
                                own.value / row.pack, "", [own, pack])]
        total = self.whole_need(held, supply.item)
        packs = step("quotient", f"{total.key}.packs", "Packs that come to",
                     total.value / row.pack, "", [total, pack])
        whole = step("rounded up", f"{total.key}.whole", "Packs bought, whole",
                     float(materials.packs(total.value, row.pack)), "", [packs])
        share = step("quotient", f"{key}.share", "This line's part of them",
                     own.value / total.value, "", [own, total])
        return [price, whole, share]

    @kept
    def of_whole_job(self, material: str) -> Step:
        """How much of a material the job uses that is bought in whole packs."""
        return self.whole_need(self.all, material)

    def whole_need(self, held: _Basket, material: str) -> Step:
        """How much of a material is used, over all lines that share its packs."""
        steps = [
            self._quantity(held, number, self.key_of(number, held.prefix))
            for number, (supply, _) in enumerate(held.pairs)
            if (supply.does, supply.item) == ("material", material)
        ]
        row = self.ground.catalogue.materials[material]
        key = f"{held.prefix}material.{material}"
        return step("sum", key, f"{row.name}: used on the whole job" if not held.prefix
                    else f"{row.name}: used", math.fsum(one.value for one in steps), row.unit,
                    steps, figure=not held.prefix)

    def key_of(self, number: int, prefix: str = "") -> str:
        """Key of a supply, by its place in the estimate, or in the basket with this prefix."""
        if prefix:
            return f"{prefix}supply-{number + 1}"
        supply = self.ground.job.supplies[number]
        place = self.by_line[supply.line, supply.does].index(number) + 1
        return f"line-{supply.line + 1}.{supply.does}-{place}"

    def _quantity(self, held: _Basket, number: int, key: str) -> Step:
        """How much of a material a line uses, in the unit of the material's row."""
        supply, source = held.pairs[number]
        if isinstance(source, Work):
            return self._sheets(held, source, supply, key)
        row = self.ground.catalogue.materials[supply.item]
        if row.method == "each":
            return self.bench.units(key, source, source.quantity, supply.unit)
        return self._coating(source, supply, key)

    def _coating(self, need: Need, supply: Supply, key: str) -> Step:
        """Paint or powder: coats × area × film, over what is lost on the way."""
        ground, row = self.ground, self.ground.catalogue.materials[supply.item]
        cell = ground.cell
        coats = [cell(f"{key}.coats", "Coats", need.treatment, "quantity")]
        if need.treatment.share != 1:
            coats.append(cell(f"{key}.coated", "Share that needs it", need.treatment, "share"))
        if need.treatment.measure != "line":
            coats.append(self.bench.measure(need.line, need.treatment.measure))
        coats.append(cell(f"{key}.film", "Dry film of a coat", row, "film_um", "µm"))
        if row.method == "powder":
            coats.append(cell(f"{key}.density", "Density", row, "density"))
        film = math.prod(one.value for one in coats)
        laid = step("product", f"{key}.laid", "Film that stays on the work", film, "", coats)
        kept_on = [cell(f"{key}.transfer", "Share that lands on the work", row, "transfer")]
        if row.method == "liquid":
            kept_on.insert(0, cell(f"{key}.solids", "Share of the tin that dries on", row,
                                   "volume_solids"))
        thick = "litre" if row.method == "liquid" else "kilogram at density 1"
        unit = ground.defined(f"µm on a square metre that one {thick} gives", 1000)
        return step("quotient", f"{key}.used", f"{ground.offer.titles[need.line]}: used",
                    supply.quantity, supply.unit, [laid, unit, *kept_on],
                    row=of_line(need.line, ground.offer))

    def _sheets(self, held: _Basket, work: Work, supply: Supply, key: str) -> Step:
        """Abrasive sheets: area × passes over what a sheet lasts, summed over the grits."""
        condition = held.alone or self.ground.scope.lines[work.line].condition
        finish = work.finish or "brushed"
        area = self.bench.units(key, work, work.units, "m²")
        sheets = self._sheets_of(condition, finish)
        return step("product", f"{key}.sheets", f"{self.ground.offer.titles[work.line]}: sheets",
                    supply.quantity, supply.unit, [area, sheets])

    @kept
    def _sheets_of(self, condition: Condition, finish: str) -> Step:
        key = f"sheets.{condition}.{finish}"
        grits, as_marked = self.bench.ladder_of(condition, finish)
        steps = []
        for place, grit in enumerate(grits):
            if not grit.life_m2:
                continue
            life = self.ground.cell(f"grit.{grit.grit}.life", f"{grit.grit}, metal a sheet does",
                                    grit, "life_m2", "m²")
            passes = (self.bench.passes(condition) if place == 0 and as_marked
                      else self.ground.defined("one pass", 1, "passes"))
            steps.append(step("quotient", f"{key}.{grit.grit}", f"{grit.grit}, sheets",
                              passes.value / life.value, "", [passes, life]))
        return step("sum", key, "Sheets for a square metre",
                    math.fsum(one.value for one in steps), "", steps)

    # Outwork.

    @kept
    def sent_of_line(self, index: int) -> Step:
        """Expected cost of a line's part in what is sent out."""
        money = self.ground.currency
        steps = []
        for service, lot in self.lots.items():
            if index not in lot.shares:
                continue
            if len(lot.shares) == 1:
                steps.append(self.lot(service))
                continue
            share = step("quotient", f"line-{index + 1}.{service}.share", "This line's part of it",
                         lot.shares[index], "",
                         [self.pieces(service, index), self._all_pieces(service)])
            steps.append(step("product", f"line-{index + 1}.{service}", lot.name,
                              lot.shares[index] * durations.mean_of(lot.charge), money,
                              [share, self.lot(service)]))
        return step("sum", f"line-{index + 1}.outwork.cost",
                    cost_name(self.ground.offer.titles[index], "outwork"),
                    math.fsum(one.value for one in steps), money, steps, figure=bool(steps))

    @kept
    def pieces(self, service: str, index: int) -> Step:
        """What a line sends to a service."""
        needs = [need for need in self.ground.scope.needs
                 if (need.does, need.item, need.line) == ("service", service, index)]
        unit = self.lots[service].unit
        key = f"line-{index + 1}.{service}"
        steps = [self.bench.units(f"{key}-{place}", need, need.quantity, unit)
                 for place, need in enumerate(needs, 1)]
        if len(steps) == 1:
            return steps[0]
        return step("sum", f"{key}.quantity", f"{self.ground.offer.titles[index]}: sent",
                    math.fsum(one.value for one in steps), unit, steps)

    @kept
    def _all_pieces(self, service: str) -> Step:
        lot = self.lots[service]
        return step("sum", f"outwork.{service}.quantity", "Quantity of the whole lot",
                    lot.quantity, lot.unit, [self.pieces(service, index) for index in lot.shares])

    @kept
    def lot(self, service: str) -> Step:
        """Expected charge of a lot."""
        ground, lot = self.ground, self.lots[service]
        row, money = ground.catalogue.services[service], ground.currency
        key = f"outwork.{service}"
        cell = ground.cell
        rate = ground.cells(f"{key}.rate", "Rate of one", row, money)
        work = _times(f"{key}.pieces", "All pieces", money, [self._all_pieces(service), rate])
        if row.setup:
            work = _together("sum", f"{key}.work", "With the lot's set-up", money,
                             [cell(f"{key}.setup", "Set-up of a lot", row, "setup", money), work])
        if row.lot_minimum:
            least = cell(f"{key}.minimum", "Least charge of a lot", row, "lot_minimum", money)
            work = _together("largest", f"{key}.least", "Not under the least charge", money,
                             [least, work])
        if row.multiplier != 1:
            finish = cell(f"{key}.multiplier", "For the finish or colour", row, "multiplier")
            work = _times(f"{key}.finish", "In the finish asked for", money, [work, finish])
        steps = [work]
        if row.line_fee:
            lines = step("count", f"{key}.lines", "Lines in the lot", float(len(lot.shares)), "",
                         [self.pieces(service, index) for index in lot.shares])
            fee = cell(f"{key}.fee", "Fee for each line", row, "line_fee", money)
            steps.append(_times(f"{key}.fees", "Fees for the lines", money, [fee, lines]))
        if row.freight:
            steps.append(cell(f"{key}.freight", "Freight, both ways", row, "freight", money))
        charge = step("sum", f"{key}.charge", "Charge, low, typical and high", three(lot.charge),
                      money, steps)
        return step("mean", key, f"{lot.name}: charge of the lot", durations.mean_of(lot.charge),
                    money, [charge], figure=True)


def _points(one: Step) -> tuple[float, float, float]:
    return one.value if isinstance(one.value, tuple) else (one.value,) * 3


def _times(key: str, name: str, unit: str, steps: Sequence[Step]) -> Step:
    """A product, a range where one of the steps is one."""
    return _pointwise("product", math.prod, key, name, unit, steps)


def _together(op: str, key: str, name: str, unit: str, steps: Sequence[Step]) -> Step:
    """A sum or the largest, a range where one of the steps is one."""
    return _pointwise(op, max if op == "largest" else math.fsum, key, name, unit, steps)


def _pointwise(op, rule, key: str, name: str, unit: str, steps: Sequence[Step]) -> Step:
    if any(isinstance(one.value, tuple) for one in steps):
        value = tuple(rule(points) for points in zip(*map(_points, steps), strict=True))
    else:
        value = rule([one.value for one in steps])
    return step(op, key, name, value, unit, steps)
