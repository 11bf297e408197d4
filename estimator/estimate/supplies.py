"""What is bought and what is sent out: quantities, and the range of what they cost."""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence

from estimator import finishing, materials, outwork
from estimator.catalogue import Catalogue
from estimator.durations import Range
from estimator.estimate.records import Lot, Supply
from estimator.scope import Need, Work
from estimator.shop import Settings
from estimator.survey import Line

SHEET = "abrasive-sheet"
"""Name of the material that the grit ladder uses up."""


# Asked for with every line that needs the part.
@functools.lru_cache(maxsize=4096)
def unit_cost(part: str, catalogue: Catalogue) -> Range:
    """Range of what one unit of a part costs: the trade's range about the best offer for one.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> unit_cost("bulb", load())
    Range(low=0.3, typical=0.424, high=0.9)
    """
    row = catalogue.parts[part]
    offers = catalogue.offers_of[part]
    first = [offer.price for offer in offers if offer.from_quantity <= offer.pack]
    best = min(first) if first else row.typical
    return Range(min(row.low, best), best, max(row.high, best))


def material_need(need: Need, catalogue: Catalogue) -> float:
    """How much of a material a need comes to, in the unit of the material's row.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> coat = load().treatments_of["playfield-surface"]
    >>> row = next(one for one in coat if one.item == "sealer-coat")
    >>> litres = material_need(Need(0, "material", row.item, 1.0, 0.5, row), load())
    >>> 0.02 < litres < 0.2
    True
    """
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
    works: Iterable[Work], needs: Iterable[Need], lines: Sequence[Line], catalogue: Catalogue
) -> Iterable[tuple[int, str, float]]:
    """(line, material, quantity), abrasive sheets for the grit ladder included."""
    for need in needs:
        if need.does == "material":
            yield need.line, need.item, material_need(need, catalogue)
    for work in works:
        if work.operation.method == "ladder":
            mark = catalogue.marks[lines[work.line].condition]
            finish = catalogue.finishes[work.finish or "brushed"]
            steps = finishing.ladder(catalogue.grits.values(), mark.first_grit, finish.last_grit)
            passes = finishing.runs(steps, mark)[0]
            yield work.line, SHEET, finishing.sheets(work.units, steps, passes)


def supplies_of(
    works: Iterable[Work],
    needs: Iterable[Need],
    lines: Sequence[Line],
    catalogue: Catalogue,
    settings: Settings,
) -> tuple[Supply, ...]:
    """Parts and materials of every line, each with the range of what it costs.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> works, shop = small_quote().job.scope, open_shop()
    >>> found = supplies_of(works.works, works.needs, works.lines, shop.catalogue, shop.settings)
    >>> found[0].item, found[0].quantity, found[0].unit, round(found[0].cost.typical, 2)
    ('flipper-kit', 2.0, 'each', 45.1)
    """
    supplies = []
    needs = tuple(needs)
    for need in needs:
        if need.does == "part":
            row = catalogue.parts[need.item]
            cost = unit_cost(need.item, catalogue) * (
                need.quantity * (1 + settings.parts_freight_share))
            supplies.append(
                Supply(need.line, "part", need.item, row.name, need.quantity, row.unit, cost,
                       pieces=need.pieces, share=need.treatment.share if need.pieces else 1.0)
            )
    found = [entry for entry in _material_needs(works, needs, lines, catalogue) if entry[2] > 0]
    totals: dict[str, float] = defaultdict(float)
    for _, item, quantity in found:
        totals[item] += quantity
    for line, item, quantity in found:
        row = catalogue.materials[item]
        used = totals[item] / row.pack
        packs = materials.packs(totals[item], row.pack) if row.sold_whole else used
        cost = Range.of(row) * (packs * quantity / totals[item])
        supplies.append(Supply(line, "material", item, row.name, quantity, row.unit, cost,
                               row.sold_whole))
    return tuple(supplies)


def lots_of(needs: Iterable[Need], catalogue: Catalogue) -> tuple[Lot, ...]:
    """What goes out to each service as one lot, and what each line carries of its charge.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> needs = small_quote().job.scope.needs
    >>> [(lot.service, round(lot.quantity, 2), lot.unit, round(lot.charge.typical))
    ...  for lot in lots_of(needs, open_shop().catalogue)]
    [('powder-coat-set', 0.4, 'set', 110), ('blasting', 0.2, 'lot', 40)]
    """
    pieces: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for need in needs:
        if need.does == "service":
            pieces[need.item][need.line] += need.quantity
    lots = []
    for service, by_line in pieces.items():
        row = catalogue.services[service]
        total = math.fsum(by_line.values())
        charges = [outwork.charge_by(row, [total], rate, lines=len(by_line))
                   for rate in (row.low, row.typical, row.high)]
        lots.append(
            Lot(
                service,
                row.name,
                row.unit,
                total,
                Range(*charges),
                Range.of(row, "days_"),
                {line: quantity / total for line, quantity in by_line.items()},
            )
        )
    return tuple(lots)
