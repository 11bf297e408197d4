"""Needs turned into what may be decided: who sells what, in which quantity, and what that covers.

A need that only its own part covers is bought from one supplier, at the quantity that is cheapest
there. Needs that share a kit or a substitute hang together: packs of each part in their group are
free to choose, at any supplier.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from estimator.buying.budget import cheapest
from estimator.buying.tables import Market, on_shelf
from estimator.catalogue import Offer, Supplier


@dataclass(frozen=True)
class _Single:
    """A need covered by one supplier, at the quantity that is cheapest there."""

    part: str
    at: int  # which supplier
    late: float
    offer: Offer
    units: int
    cost: float


@dataclass(frozen=True)
class _Band:
    """Packs of one part from one supplier at the price of one break; `least` to `most` packs."""

    part: str
    at: int
    late: float
    offer: Offer
    least: int
    most: int

    @property
    def pack_price(self) -> float:
        """Price of a pack. [money]"""
        return self.offer.price * self.offer.pack


@dataclass(frozen=True)
class Group:
    """Needs that hang together, and every part that may serve them.

    `lacks` is what each part of the group is still needed after the shelf, below 0 where the shelf
    holds more; `swaps` (substitute, part, units of it for one); `contents` of each kit.
    """

    lacks: Mapping[str, int]
    sold: tuple[str, ...]
    swaps: tuple[tuple[str, str, float], ...]
    contents: Mapping[str, Mapping[str, float]]

    def serves(self, part: str) -> set[str]:
        """Parts of the group that one more unit of this one helps."""
        inside = {part, *self.contents.get(part, {})}
        return inside | {other for one, other, _ in self.swaps if one in inside}

    def most(self, part: str) -> int:
        """Units beyond which more of a part are of no use."""
        def wanted(inside: str) -> float:
            return max(0, self.lacks.get(inside, 0)) + sum(
                max(0, self.lacks[other]) * units
                for one, other, units in self.swaps if one == inside)

        opened = max((wanted(inside) / each
                      for inside, each in self.contents.get(part, {}).items()), default=0.0)
        return math.ceil(wanted(part) - 1e-9) + math.ceil(opened - 1e-9)


@dataclass(frozen=True)
class Task:
    """Everything that is decided together; suppliers by place in `houses`."""

    houses: tuple[Supplier, ...]
    needs: Mapping[str, int]
    wanted: Mapping[str, int]  # needs with a column of their own, after the shelf
    singles: tuple[_Single, ...]
    groups: tuple[Group, ...]
    bands: tuple[_Band, ...]
    unmet: tuple[str, ...]

    @cached_property
    def delays(self) -> tuple[float, ...]:
        """Every lateness that a choice may have, from none up. [d]"""
        return tuple(sorted({0.0} | {one.late for one in (*self.singles, *self.bands)}))

    def within(self, late: float) -> Task | None:
        """The same without what comes later than this; None if then not every need is covered."""
        singles = tuple(one for one in self.singles if one.late <= late)
        bands = tuple(one for one in self.bands if one.late <= late)
        if {one.part for one in singles} != set(self.wanted):
            return None
        for group in self.groups:
            if not _covered(group, {band.part for band in bands}):
                return None
        return Task(self.houses, self.needs, self.wanted, singles, self.groups, bands, self.unmet)


def _covered(group: Group, sold: set[str]) -> bool:
    """Can every need of a group be had, where only these parts are sold?"""
    there = sold | {inside for kit in sold for inside in group.contents.get(kit, {})}
    spare = {part: float(-lack) for part, lack in group.lacks.items() if lack < 0}
    for kit, contents in group.contents.items():
        for inside, each in contents.items():
            spare[inside] = spare.get(inside, 0.0) + each * max(0, -group.lacks[kit])
    for part, lack in group.lacks.items():
        if part in there:
            continue
        # Spares of the part itself are in `lack` already; those of kits on the shelf are not.
        if lack > 0:
            lack -= int(spare.get(part, 0.0) + 1e-9)
        if lack <= 0:
            continue
        ways = [(one, units) for one, other, units in group.swaps if other == part]
        if any(one in there for one, _ in ways):
            continue
        for one, units in ways:
            done = min(lack, int(spare.get(one, 0) / units + 1e-9))
            lack -= done
            spare[one] = spare.get(one, 0) - done * units
        if lack > 0:
            return False
    return True


def task(
    needs: Mapping[str, int], market: Market, days: Mapping[str, float], split: bool
) -> Task:
    """What there is to decide for whole needs, each over 0."""
    houses = tuple(market.suppliers[name] for name in sorted(market.suppliers))
    place = {row.supplier: at for at, row in enumerate(houses)}
    sold: dict[str, dict[int, list[Offer]]] = {}
    for offer in market.offers:
        sold.setdefault(offer.part, {}).setdefault(place[offer.supplier], []).append(offer)
    holds: dict[str, dict[str, float]] = {}
    for row in market.contents:
        if row.kit in sold or on_shelf(market, row.kit):
            holds.setdefault(row.kit, {})[row.part] = row.quantity
    inside = {part for contents in holds.values() for part in contents}
    swaps = [(row.instead, row.part, row.quantity) for row in market.substitutes
             if row.part in needs
             and (row.instead in sold or row.instead in inside or on_shelf(market, row.instead))]

    singles: list[_Single] = []
    groups: list[Group] = []
    bands: list[_Band] = []
    wanted: dict[str, int] = {}
    unmet: list[str] = []
    for members in _together(needs, swaps, holds):
        alone = len(members) == 1 and not split
        group = _group(members, needs, market, sold, swaps, holds)
        if alone:
            (part,) = members
            lack = group.lacks[part]
            if lack <= 0:
                continue
            if part not in sold:
                unmet.append(part)
                continue
            wanted[part] = lack
            for at, offers in sorted(sold[part].items()):
                cost, units, offer = cheapest(lack, offers)
                late = max(0.0, houses[at].days_typical - days.get(part, 0.0))
                singles.append(_Single(part, at, late, offer, units, cost))
            continue
        group, lacking = _coverable(group)
        unmet += lacking
        if not any(lack > 0 for lack in group.lacks.values()):
            continue
        groups.append(group)
        bands += _bands(group, sold, houses, days, needs)
    return Task(houses, needs, wanted, tuple(singles), tuple(groups), tuple(bands),
                tuple(sorted(unmet)))


def _coverable(group: Group) -> tuple[Group, list[str]]:
    """The group without the needs that cannot be covered, and those."""
    lacks, lacking = {part: min(0, lack) for part, lack in group.lacks.items()}, []
    for part, lack in group.lacks.items():
        if lack > 0:
            tried = replace(group, lacks={**lacks, part: lack})
            if _covered(tried, set(group.sold)):
                lacks[part] = lack
            else:
                lacking.append(part)
    return replace(group, lacks=lacks), lacking


def _together(needs, swaps, holds) -> list[list[str]]:
    """Parts that hang together by kits and substitutes, those of each need's group."""
    leader = {part: part for part in needs}

    def head(part: str) -> str:
        leader.setdefault(part, part)
        while leader[part] != part:
            part = leader[part]
        return part

    for one, other, _ in swaps:
        leader[head(one)] = head(other)
    useful = set(leader)
    for kit, contents in holds.items():
        linked = [part for part in contents if part in useful]
        for part in linked:
            leader[head(kit)] = head(part)
    groups: dict[str, list[str]] = {}
    for part in sorted(leader):
        groups.setdefault(head(part), []).append(part)
    return [groups[name] for name in sorted(groups)]


def _group(members, needs, market, sold, swaps, holds) -> Group:
    among = set(members)
    return Group(
        {part: needs.get(part, 0) - on_shelf(market, part) for part in members},
        tuple(part for part in members if part in sold),
        tuple(swap for swap in swaps if swap[0] in among and swap[1] in among),
        {kit: {part: each for part, each in holds[kit].items() if part in among}
         for kit in members if kit in holds},
    )


def _bands(group: Group, sold, houses, days, needs) -> list[_Band]:
    found = []
    for part in group.sold:
        most = group.most(part)
        if not most:
            continue
        day = min(days.get(other, 0.0) for other in group.serves(part) if other in needs)
        for at, offers in sorted(sold[part].items()):
            late = max(0.0, houses[at].days_typical - day)
            for offer in sorted(offers, key=lambda row: row.from_quantity):
                least = -(-offer.from_quantity // offer.pack)
                others = [row for row in offers if row.from_quantity < offer.from_quantity]
                if others and cheapest(most, others)[0] <= least * offer.pack * offer.price:
                    continue  # all that is of use costs less before this break
                top = max(least, -(-most // offer.pack))
                found.append(_Band(part, at, late, offer, least, top))
    return found
