"""What to bid and what to do: machines of one kind at once by moments, close ones by trials.

The moments of profit are exact for the trials that the machines share. Quantiles follow from them
by an expansion, set right by quantiles of trials at steps of value. Where what is still off, with
the error of sampling, could turn the answer, the machine's own trials are played in full: those
of `estimator resell`, number by number.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from estimator import durations
from estimator.auction.profiles import STEP, Profile, Table, Trials, Work, known, worth
from estimator.auction.records import Judged, Offered
from estimator.resale import Deal, selling
from estimator.resale.measures import held_by
from estimator.resale.screening import Moments
from estimator.shop import Shop
from estimator.simulate import Stopped

BEND = 0.05
"""How far a quantile of the screening may lie from that of the trials. [standard deviations]"""
_FAR = 1.0
"""How far a quantile of the trials can lie from what their moments say; twice the most that was
seen. [standard deviations]"""
_FACTS = 0.3
"""How far what a known fact adds may be off; share of it."""
_PROFILES = 8
_TENTHS = (0.1, 0.5, 0.9)


class Judge:
    """Judges machines; keeps what machines of one kind share.

    Examples
    --------
    >>> from estimator.catalogue import Era
    >>> from estimator.shop import open_shop
    >>> judge = Judge(Deal(1, trials=200), open_shop(), date(2026, 3, 2))
    >>> one = Offered("7", Era.DOT_MATRIX, "working", 4000, asking=1500)
    >>> said, dearer = judge.of([one, replace(one, value=6000)])
    >>> 0 < said.limit < dearer.limit
    True
    """

    def __init__(self, terms: Deal, shop: Shop, on: date):
        self.terms, self.shop, self.on = terms, shop, on
        self._work = Work(shop, terms, on)
        self._profiles: dict[object, Profile] = {}
        self._known: dict[object, dict[str, tuple[float, float]]] = {}

    def of(self, machines: Sequence[Offered], *, full: bool = False,
           progress: Callable[[int], bool | None] | None = None) -> list[Judged]:
        """What is said of each machine, in their order.

        Parameters
        ----------
        full
            Play the trials of every machine.
        progress
            Told how many are done; if it answers False, `Stopped` is raised.

        Raises
        ------
        Stopped
            If `progress` said so.
        """
        groups: dict[object, list[int]] = {}
        for place, one in enumerate(machines):
            groups.setdefault((one.era, one.found, one.survey), []).append(place)
        found: list[Judged | None] = [None] * len(machines)
        done = 0
        for places in groups.values():
            group = [machines[place] for place in places]
            first = group[0]
            profile = self._profile(replace(first, bad=()))
            for place, said in zip(places, self._group(profile, group, full), strict=True):
                found[place] = said
                done += 1
            if progress is not None and progress(done) is False:
                raise Stopped("The list was stopped.")
        return found

    def _profile(self, one: Offered) -> Profile:
        key = one.era, one.found, one.bad, one.survey
        found = self._profiles.get(key)
        if found is None:
            alone = bool(one.bad) or one.survey is not None
            # What serves one machine alone would only push out what serves many.
            found = Profile(one, self.terms, self.shop, self.on, None if alone else self._work)
            if not alone:
                if len(self._profiles) >= _PROFILES:
                    del self._profiles[next(iter(self._profiles))]
                self._profiles[key] = found
        return found

    def _facts(self, one: Offered, choice: str) -> float:
        """What a machine's known facts add to the cost of a choice, expected. [money]"""
        total = 0.0
        for bad in one.bad:
            key = one.era, one.found, bad
            if key not in self._known:
                self._known[key] = known(replace(one, bad=(bad,), survey=None), self.shop,
                                         self.terms, self.on)
            total += self._known[key].get(choice, (0.0, 0.0))[1]
        return total

    def _extra_hours(self, one: Offered, choice: str) -> float:
        return math.fsum(self._known[one.era, one.found, bad].get(choice, (0.0, 0.0))[0]
                         for bad in one.bad)

    def _group(self, profile: Profile, group: Sequence[Offered], full: bool) -> list[Judged]:
        screened = _screen(self, profile, group)
        found = []
        for place, one in enumerate(group):
            own = one.survey is not None
            if not (full or own or screened.close[place]):
                found.append(screened.said(place))
                continue
            exact = self._profile(one) if one.bad else profile
            # What lies far behind needs no trials, unless its own facts may bring it forward.
            every = full or own or bool(one.bad)
            choices = exact.choices if every else tuple(
                choice for number, choice in enumerate(exact.choices)
                if screened.near[place, number])
            behind = [float(screened.worths[place, number])
                      for number, choice in enumerate(exact.choices) if choice not in choices]
            found.append(_play(exact, one, choices, behind))
        return found


@dataclass(frozen=True)
class _Screened:
    """All machines of a group by their moments; arrays down machines, across choices."""

    profile: Profile
    group: Sequence[Offered]
    limits: np.ndarray
    worths: np.ndarray
    profit: list[Moments]
    hours: np.ndarray
    cost: np.ndarray
    months: np.ndarray
    price: np.ndarray
    outlay: np.ndarray
    close: np.ndarray
    near: np.ndarray
    tenths: np.ndarray

    @functools.cached_property
    def _ranked(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The best choice of each machine, that of its limit, and its worths in order."""
        return self.worths.argmax(axis=1), self.limits.argmax(axis=1), np.sort(self.worths, axis=1)

    def said(self, place: int) -> Judged:
        best, bid, order = (found[place] for found in self._ranked)
        outlay, choices = float(self.outlay[place]), self.profile.choices
        profit = float(self.profit[best].mean[place]) - outlay
        low, middle, high = (float(self.tenths[k, place]) - outlay for k in range(3))
        return _judged(
            self.profile, choices[bid], choices[best],
            limit=float(self.limits[place, bid]),
            lead=float(order[-1] - order[-2]) if len(order) > 1 else 0.0,
            price=float(self.price[place]), outlay=outlay, profit=profit,
            tenths=(low, middle, high), worth=float(self.worths[place, best]) - outlay,
            hours=float(self.hours[place, best]), cost=float(self.cost[place, best]),
            months=float(self.months[place, best]), played=False)


def _screen(judge: Judge, profile: Profile, group: Sequence[Offered]) -> _Screened:
    terms, spread = judge.terms, profile.here.settings.value_spread
    lows, typical, highs = (np.array(row) for row in zip(
        *(_range(one, spread) for one in group), strict=True))
    value = Moments.pert(lows, typical, highs)
    confidence = profile.here.confidence
    z = durations.normal_quantile(confidence)
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    # In standard deviations: the bend of the expansion and three errors of sampling.
    margin = BEND + 3 * math.sqrt(confidence * (1 - confidence) / terms.trials) / density
    shape = len(group), len(profile.choices)
    reached, worths, sds, slack = (np.zeros(shape) for _ in range(4))
    hours, cost, months = (np.zeros(shape) for _ in range(3))
    tenths, profit, returned = np.zeros((3, len(group))), [], []
    steps = np.array([math.log(one.value) / math.log(STEP) for one in group])
    facts = [place for place, one in enumerate(group) if one.bad and one.survey is None]
    for number, choice in enumerate(profile.choices):
        each = [profile.node(choice, one.value) for one in group]
        nodes = list(dict.fromkeys(each))
        which = np.array([nodes.index(node) for node in each])
        trials = [profile.trials(choice, node) for node in nodes]
        hours[:, number] = np.array([one.hours for one in trials])[which]
        cost[:, number] = np.array([one.cost for one in trials])[which]
        months[:, number] = np.array([one.months for one in trials])[which]
        added = np.zeros(len(group))
        for place in facts:
            added[place] = judge._facts(group[place], choice)
            hours[place, number] += judge._extra_hours(group[place], choice)
        plain, wanted, now = (
            _moments(value, [profile.table(choice, node, rate) for node in nodes], which)
            .plus(-added) for rate in (0.0, profile.want, profile.capital))
        cost[:, number] += added
        slack[:, number] = _FACTS * np.abs(added)
        profit.append(plain)
        returned.append(wanted)
        sds[:, number] = np.sqrt(np.maximum(now.variance, 0.0))
        worths[:, number] = now.mean
        reached[:, number] = wanted.at(1 - confidence)
    spare = _FAR * np.stack([np.sqrt(np.maximum(found.variance, 0.0)) for found in returned], 1)
    rivals = reached + spare >= (reached - spare).max(axis=1)[:, None]
    # What lies far behind is not paid the most for, however its trials lie.
    for number, found in enumerate(returned):
        at = np.flatnonzero(rivals[:, number])
        if at.size:
            reached[at, number] = _quantiles(profile, profile.choices[number], found.some(at),
                                             profile.want, steps[at], (1 - confidence,))[0]
    best = worths.argmax(axis=1)
    # Only what is best is shown with its tenths.
    for number in np.unique(best):
        at = np.flatnonzero(best == number)
        tenths[:, at] = _quantiles(profile, profile.choices[number], profit[number].some(at), 0.0,
                                   steps[at], _TENTHS)
    left = reached - terms.want_profit - terms.fetching
    premium = profile.here.premium
    limits = selling.hammer_for(np.maximum(left, 0.0), *premium, tax=terms.purchase_tax)
    top = limits.max(axis=1)
    asking = np.array([math.nan if one.asking is None else one.asking for one in group])
    price = np.where(np.isnan(asking), top, asking)
    outlay = selling.all_in(price, *premium, tax=terms.purchase_tax) + terms.fetching
    unsure = margin * sds + slack
    at_top = unsure[np.arange(len(group)), left.argmax(axis=1)]
    lead_error = 3 * np.sqrt(sds**2 + sds[np.arange(len(group)), best][:, None]**2) \
        / math.sqrt(terms.trials) + slack + slack[np.arange(len(group)), best][:, None]
    rival = worths >= worths.max(axis=1)[:, None] - lead_error
    near = rival | (left >= left.max(axis=1)[:, None] - unsure - at_top[:, None])
    # Money at hand for the asking price, against what may be paid in all.
    all_in = outlay - terms.fetching
    with np.errstate(invalid="ignore"):
        line = ~np.isnan(asking) & (np.abs(left.max(axis=1) - all_in) <= at_top)
    close = line | (rival.sum(axis=1) > 1)
    return _Screened(profile, group, limits, worths, profit, hours, cost, months, price, outlay,
                     close, near, tenths)


def _moments(value: Moments, tables: Sequence[Table], which: np.ndarray) -> Moments:
    return worth(value, np.array([one.b for one in tables])[which],
                 np.array([one.powers for one in tables])[which])


def _quantiles(profile: Profile, choice: str, found: Moments, rate: float, steps: np.ndarray,
               shares: tuple[float, ...]) -> np.ndarray:
    """Quantiles by the moments, set right by those of the trials at the steps around."""
    below = np.floor(steps).astype(int)
    part = steps - below
    first, last = int(below.min()), int(below.max())
    bends = np.array([profile.bends(choice, step, rate, shares)
                      if step in places else (0.0,) * len(shares)
                      for places in [set(below.tolist()) | set((below + 1).tolist())]
                      for step in range(first, last + 2)])
    sd = np.sqrt(np.maximum(found.variance, 0.0))
    at = below - first
    return np.stack([
        found.at(share) + sd * ((1 - part) * bends[at, k] + part * bends[at + 1, k])
        for k, share in enumerate(shares)])


def _range(one: Offered, spread: float) -> tuple[float, float, float]:
    low = one.value * (1 - spread) if one.value_low is None else one.value_low
    high = one.value * (1 + spread) if one.value_high is None else one.value_high
    return low, one.value, high


def _play(profile: Profile, one: Offered, choices: Sequence[str], behind: Sequence[float] = ()
          ) -> Judged:
    """A machine by its own trials, as far as these choices go; `behind` is what others are worth.
    """
    terms, here = profile.terms, profile.here
    value = profile.value(*_range(one, here.settings.value_spread))
    trials, wanted, worths = {}, {}, {}
    mean = float(value.mean())
    for choice in choices:
        # Of a part-out just the offers that pay at this value.
        trials[choice] = profile.parted_at(choice, mean) \
            if profile.rows[choice].method == "part-out" else None
        wanted[choice] = held_by(_worth(profile, choice, value, trials[choice], profile.want),
                                 here.confidence)
        worths[choice] = float(
            _worth(profile, choice, value, trials[choice], profile.capital).mean())
    left = {choice: found - terms.want_profit - terms.fetching
            for choice, found in wanted.items()}
    bid = max(left, key=left.get)
    limit = float(selling.hammer_for(max(left[bid], 0.0), *here.premium, tax=terms.purchase_tax))
    price = limit if one.asking is None else one.asking
    outlay = float(selling.all_in(price, *here.premium, tax=terms.purchase_tax)) + terms.fetching
    best = max(worths, key=worths.get)
    profit = _worth(profile, best, value, trials[best], 0.0) - outlay
    ranked = sorted([*worths.values(), *behind])
    means = trials[best] or profile.trials(best, profile.node(best, mean))
    return _judged(
        profile, bid, best, limit=limit,
        lead=ranked[-1] - ranked[-2] if len(ranked) > 1 else 0.0,
        price=price, outlay=outlay, profit=float(profit.mean()),
        tenths=tuple(np.quantile(profit, _TENTHS).tolist()), worth=worths[best] - outlay,
        hours=means.hours, cost=means.cost, months=means.months, played=True)


def _worth(profile: Profile, choice: str, value: np.ndarray, trials: Trials | None, rate: float
           ) -> np.ndarray:
    if trials is None:
        return profile.worth(choice, None, value, rate)
    return value * trials.a[rate] - trials.b[rate]


def _judged(profile: Profile, bid: str, best: str, *, tenths: tuple[float, ...], hours: float,
            profit: float, **more) -> Judged:
    hour = profile.here.hour_cost
    return Judged(
        limit_for=bid, best=best, profit=profit, profit_p10=tenths[0], profit_p50=tenths[1],
        profit_p90=tenths[2], hours=hours,
        per_hour=(profit + hours * hour) / hours if hours > 0.05 else None, **more)


__all__ = ["Judge"]
