"""The search for the cheapest basket: which supplier each part is bought from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from estimator.catalogue import Supplier

NO_OFFER = 1e15
"""Stands for the cost of a part where a supplier does not sell it."""
DUST = 1e-7
"""Money below this is left over from adding floats."""

# Up to here every set of suppliers is looked at; with more, they are dropped one by one.
_ALL_SETS_UP_TO = 8
_STARTS = 4
_SHAKEN_UP_TO = 200  # parts × suppliers; beyond, it would be felt on the page


@dataclass(frozen=True)
class _Market:
    """Cost of each part at each supplier, and the suppliers' terms, as arrays."""

    cost: np.ndarray  # parts × suppliers
    shipping: np.ndarray
    free_over: np.ndarray
    minimum: np.ndarray
    parcel: float = 0.0
    fill: bool = False

    def fees(self, goods: np.ndarray) -> np.ndarray:
        """What comes on top of goods of this value at each supplier (last axis: suppliers)."""
        paid = np.maximum(goods, self.minimum)
        freight = np.where(paid >= self.free_over - DUST, 0.0, self.shipping)
        if self.fill:
            freight = np.minimum(freight, np.maximum(0.0, self.free_over - paid))
        return np.where(goods > DUST, paid - goods + freight + self.parcel, 0.0)

    def goods(self, places: np.ndarray) -> np.ndarray:
        """Value ordered from each supplier."""
        spent = self.cost[np.arange(len(places)), places]
        return np.bincount(places, spent, minlength=self.cost.shape[1])

    def total(self, places: np.ndarray) -> float:
        """Goods and fees over all suppliers."""
        goods = self.goods(places)
        return float(goods.sum() + self.fees(goods).sum())


def assign(
    cost: np.ndarray, suppliers: Sequence[Supplier], parcel: float = 0.0, fill: bool = False
) -> tuple[int, ...]:
    """The supplier that each part is bought from, as an index into `suppliers`.

    Parameters
    ----------
    cost
        What each part costs at each supplier, `NO_OFFER` where it is not sold;
        parts × suppliers. [money]
    suppliers
        Rows of the table of suppliers; every part is sold by at least one.
    parcel
        What it is worth to have a parcel less. [money]
    fill
        May an order be filled up to free freight, where that costs less than the freight?
    """
    market = _Market(
        cost,
        np.array([row.shipping for row in suppliers]),
        np.array([np.inf if row.free_over is None else row.free_over for row in suppliers]),
        np.array([row.minimum_order for row in suppliers]),
        parcel,
        fill,
    )

    def rank(places: np.ndarray) -> tuple:
        return round(market.total(places), 6), len(set(places)), tuple(places)

    starts = sorted(_distinct(_plans(market)), key=rank)[:_STARTS]
    starts += [raised for places in starts for raised in _raised(market, places)]
    best = min((_mended(market, places) for places in _distinct(starts)), key=rank)
    if cost.size <= _SHAKEN_UP_TO:
        best = _shaken(market, best)
    return tuple(int(place) for place in best)


def _distinct(plans: Iterable[np.ndarray]) -> Iterable[np.ndarray]:
    return {places.tobytes(): places for places in plans}.values()


def _plans(market: _Market) -> Iterator[np.ndarray]:
    """For each set of suppliers that has every part: each part at the cheapest of the set."""
    count = market.cost.shape[1]

    def plan(members: list[int]) -> np.ndarray | None:
        within = market.cost[:, members]
        at = within.argmin(axis=1)
        if within[np.arange(len(at)), at].max() >= NO_OFFER:
            return None
        return np.array(members)[at]

    if count <= _ALL_SETS_UP_TO:
        sets = ([i for i in range(count) if bits >> i & 1] for bits in range(1, 2**count))
        yield from (found for found in map(plan, sets) if found is not None)
        return
    members = list(range(count))
    found = plan(members)
    while found is not None:
        yield found
        fewer = [[i for i in members if i != gone] for gone in members] if len(members) > 1 else []
        plans = [(market.total(p), kept, p) for kept in fewer if (p := plan(kept)) is not None]
        _, members, found = min(plans, key=lambda entry: entry[0]) if plans else (0, [], None)


def _raised(market: _Market, places: np.ndarray) -> Iterator[np.ndarray]:
    """The same plan with an order raised to free freight or to its minimum.

    The parts that are moved are those that lose least by it.
    """
    spent = market.cost[np.arange(len(places)), places]
    for supplier, column in enumerate(market.cost.T):
        for target in {market.free_over[supplier], market.minimum[supplier]}:
            goods = market.goods(places)[supplier]
            moved = places.copy()
            for part in np.argsort(column - spent, kind="stable"):
                if goods >= target or column[part] >= NO_OFFER or not np.isfinite(target):
                    break
                if places[part] != supplier:
                    moved[part] = supplier
                    goods += column[part]
            if goods >= target and not np.array_equal(moved, places):
                yield moved


def _mended(market: _Market, places: np.ndarray, held: int | None = None) -> np.ndarray:
    """Move the one part that saves most, as long as any saves; the part `held` stays."""
    places = places.copy()
    parts = np.arange(len(places))
    while True:
        goods = market.goods(places)
        fees = market.fees(goods)
        spent = market.cost[parts, places]
        without = np.tile(goods, (len(places), 1))
        without[parts, places] -= spent
        leave = (market.fees(without) - fees)[parts, places]
        join = market.fees(goods + market.cost) - fees
        change = market.cost - spent[:, None] + leave[:, None] + join
        change[parts, places] = 0.0
        if held is not None:
            change[held] = 0.0
        part, supplier = np.unravel_index(change.argmin(), change.shape)
        if change[part, supplier] > -1e-6:
            return places
        places[part] = supplier


def _shaken(market: _Market, places: np.ndarray) -> np.ndarray:
    """Force each single move in turn, mend what follows from it, keep what saves."""
    parts, suppliers = market.cost.shape
    least = market.total(places)
    better = True
    while better:
        better = False
        for part, supplier in np.ndindex(parts, suppliers):
            if places[part] == supplier or market.cost[part, supplier] >= NO_OFFER:
                continue
            tried = places.copy()
            tried[part] = supplier
            tried = _mended(market, _mended(market, tried, held=part))
            if market.total(tried) < least - 1e-6:
                places, least, better = tried, market.total(tried), True
    return places
