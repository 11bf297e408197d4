"""A machine taken to pieces for sale: an inventory with prices, hours and months.

What all parts bring together is a share of the machine's price (`sale_ratios.csv`, part-out). The
weights in `part_out.csv` share it out over the assemblies that the era has, and the usual counts
over their pieces; wear changes the price of a piece (`wear_worth.csv`). So a machine of usual
counts whose assemblies are all worn brings just what the trade says of the whole.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

from estimator.catalogue import Catalogue, Era
from estimator.durations import Range
from estimator.scope import names_of
from estimator.survey import Line, Survey


@dataclass(frozen=True)
class Listing:
    """What is offered of one survey line.

    Parameters
    ----------
    line
        Index of the survey line.
    name
        Name of the line that other lines do not change.
    title
        How it is written for people.
    count
        Pieces that are there.
    listings
        Into how many offers they are parted.
    share
        What all its pieces bring, over what all parts of a worn machine bring. [–]
    sold
        Chance that an offer finds a buyer. [–]
    hours
        Of all its offers: taking off, testing, showing, packing. [h]
    take_off
        The part of the typical hours that is taking off. [h]
    months
        Until it is sold.
    """

    line: int
    name: str
    title: str
    count: int
    listings: int
    share: float
    sold: float
    hours: Range
    take_off: float
    months: Range

    def price(self, value: float, ratio: float) -> float:
        """What one piece is offered at, for a machine of this value nice and working. [money]"""
        return value * ratio * self.share / self.sold / self.count

    def expected(self, value: float, ratio: float) -> float:
        """What its pieces bring on average, those that find no buyer counted in. [money]"""
        return value * ratio * self.share


# What can be sold does not change with the price of the machine, of which many are tried.
@functools.lru_cache(maxsize=256)
def inventory(lines: tuple[Line, ...], era: Era, catalogue: Catalogue) -> tuple[Listing, ...]:
    """The parts that can be sold, in the order of a survey's lines.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> from estimator.survey import template
    >>> tables = load()
    >>> lines = template(Era.DOT_MATRIX, tables).lines
    >>> any(one.title == "Flipper" for one in inventory(lines, Era.DOT_MATRIX, tables))
    True
    """
    names = names_of(lines)
    usual = usual_counts(era, catalogue)
    together = math.fsum(catalogue.part_out[name].weight for name in usual)
    found = []
    for index, line in enumerate(lines):
        row = catalogue.part_out.get(line.assembly)
        if row is None or not line.count:
            continue
        wear = catalogue.wear_worth[line.condition].used_price
        if not wear:
            continue
        pieces = usual.get(line.assembly, 1)
        each = row.pieces or line.count
        offers = math.ceil(line.count / each)
        # One offer that holds few of the pieces takes its part of the time, but half at least.
        size = 1.0 if row.pieces else max(0.5, min(1.0, line.count / pieces))
        found.append(Listing(
            index, names[index], catalogue.assemblies[line.assembly].name, line.count, offers,
            row.weight / together * line.count / pieces * wear, row.sold,
            Range.of(row) * (offers * size),
            offers * size * row.take_off,
            Range.of(row, "months_")))
    return tuple(found)


def usual_counts(era: Era, catalogue: Catalogue) -> dict[str, float]:
    """Usual pieces of each assembly that can be sold as parts in an era, those it has.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> found = usual_counts(Era.DOT_MATRIX, load())
    >>> found["leg"], "backglass" in found
    (4, True)
    """
    return {name: catalogue.counts[era, name].typical for name in catalogue.part_out
            if (era, name) in catalogue.counts and catalogue.counts[era, name].typical > 0}


def missing_share(survey: Survey, era: Era, catalogue: Catalogue) -> float:
    """Share of the machine that is missing, by the weights of its parts. [–]"""
    usual = usual_counts(era, catalogue)
    together = math.fsum(catalogue.part_out[name].weight for name in usual)
    gone = math.fsum(
        catalogue.part_out[line.assembly].weight * min(1.0, line.count / usual[line.assembly])
        for line in survey.lines
        if line.condition == "missing" and line.count and line.assembly in usual)
    return gone / together if together else 0.0


__all__ = ["usual_counts"]
