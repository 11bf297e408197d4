"""The search for the set that is worth most: bound and best set, closing in on each other."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Collection, Sequence

import numpy as np

from estimator.picking.gauges import DUST, Gauges, sketch
from estimator.picking.limits import Limit, NothingFits, Picked, check
from estimator.units import within

# A goal is put off after so many branches, at first; a sketch is searched for so many.
_FIRST_BRANCHES = 20_000
_SKETCH_BRANCHES = 1_000
# Nearer to the best set than this share of it, bounds are no longer halved but proven at once.
_NEAR = 0.004
# Looking for a cheaper set of the same worth ends after so many branches, or so many prices.
_TIE_BRANCHES = 5_000
_TIE_PRICES = 200
# Prices over the trials by more than this share of the limit are worth asking what sets cost.
_MUCH = 1e-4
_TELL_EVERY = 0.1  # [s]


def pick(
    worth: Sequence[float],
    limits: Sequence[Limit],
    *,
    must: Collection[int] = (),
    gap: float = 0.0,
    most_seconds: float = 10.0,
    progress: Callable[[float, float, float], object] | None = None,
) -> Picked:
    """The set of lines that is worth most and fits every limit.

    Of sets that are worth the same, the one with the lower first price, then the one with the
    lower line numbers; that choice is sought for a while only and is not part of the proof. Lines
    worth nothing are left out.

    Parameters
    ----------
    worth
        What each line is worth, 0 or more, in money or points. Amounts that are no whole
        hundredths are told apart to a billionth of their sum.
    limits
        One or more; all must hold.
    must
        Lines that cannot be left out.
    gap
        Enough is enough: the search ends once nothing can be worth more than this share over the
        best set found, 0 or more.
    most_seconds
        The search stops then, over 0. An answer that comes sooner does not depend on the machine.
    progress
        Told now and then: the bound, the worth of the best set so far, the share of the time
        gone. The search stops where it returns False.

    Raises
    ------
    NothingFits
        If even the lines of `must` alone are too dear.
    ValueError
        If numbers are out of range, or a price lies below what the trials say.

    Examples
    --------
    A budget of 10 holds the second and third line, which share a set-up of 1:

    >>> from estimator.picking import Shared
    >>> cost, setup = [6, 4, 5], Shared(1, [0, 1, 2])
    >>> def price(lines):
    ...     return sum(cost[line] for line in lines) + setup.charge(lines)
    >>> picked = pick([7, 5, 6], [Limit(10, price, cost, shared=[setup])])
    >>> sorted(picked.lines), picked.worth, picked.prices, picked.proven
    ([1, 2], 11.0, (10.0,), True)
    """
    limits = tuple(limits)
    check(worth, limits, must)
    within("gap", gap, at_least=0)
    within("most_seconds", most_seconds, above=0)
    search = _Search(worth, limits, frozenset(must), most_seconds, progress)
    search.begin()
    try:
        search.improve()
        search.close(gap)
        search.settle_ties()
    except _Stopped:
        pass
    return search.answer()


class _Stopped(Exception):
    """Time is up, or the search was called off."""


def _whole(worth: Sequence[float]) -> tuple[list[int], float]:
    """Worths as whole numbers and what one of them stands for: sums are exact, ties are ties."""
    cents = [round(100 * value) for value in worth]
    if all(abs(100 * value - cent) < 1e-6 for value, cent in zip(worth, cents, strict=True)):
        common = math.gcd(*cents) or 1
        return [cent // common for cent in cents], common / 100
    step = math.fsum(worth) * 1e-9
    return [round(value / step) for value in worth], step


class _Search:
    """The best set so far and the bound, in whole steps of worth; sets are bits by line number.

    Both count only lines that can be left out; `always` is what the others are worth.
    """

    def __init__(
        self, worth: Sequence[float], limits: Sequence[Limit], must: frozenset[int],
        most_seconds: float, progress: Callable[[float, float, float], object] | None,
    ):
        self.worth, self.step = _whole(worth)
        self.limits, self.must = limits, must
        self.always = sum(self.worth[line] for line in must)
        free = [line for line, value in enumerate(self.worth) if value and line not in must]
        self.all = sum(self.worth[line] for line in free)
        # Worth most first: a branch soon has little left to bring, and its trials little to choose.
        self.gauges = Gauges(limits, self.worth, must, sorted(
            free, key=lambda line: (-self.worth[line], limits[0].mean[line], line)))
        # Where there are no trials a price says more than the mean: then it is asked early.
        self.blind = [at for at, limit in enumerate(limits) if limit.trials is None]
        self.prices: dict[tuple[int, int], float] = {}
        self.best, self.bound, self.looked = 0, self.all, 0
        self.progress, self.seconds = progress, most_seconds
        self.started = self.told = time.perf_counter()

    def begin(self) -> None:
        """A first set, one line after another by what it brings for its cost; a first bound.

        Raises
        ------
        NothingFits
            If nothing fits.
        ValueError
            If a price lies below what its trials say.
        """
        always = self.lines(0)
        over = [max(0.0, max(self.price(at, 0), limit.mean_of(always)) - limit.most)
                for at, limit in enumerate(self.limits)]
        if any(over):
            raise NothingFits(over)
        for line in self.gauges.by_ratio():
            more = self.best | 1 << line
            if self.gauges.holds(more) and self.fits(more):
                self.best = more
        self._check_prices()
        self.bound = max(self.value(self.best), min(self.all, math.floor(self.gauges.top())))

    def improve(self) -> None:
        """Better sets by sketches: straight lines through the price of the best set so far.

        A sketch is a guess and proves nothing, but it is searched fast, and near the best set it
        is close to the truth. Every set it leads to is priced.
        """
        part = 0.5
        while self.value(self.best) < self.bound and part > 0.01:
            before, gauges = self.best, self._sketches()
            top = min(self.bound, gauges.top())

            def goal(top: float = top, part: float = part) -> int:
                best = self.value(self.best)
                return best + max(1, round(part * (top - best)))

            self.seek(goal, gauges, _SKETCH_BRANCHES)
            part = 0.5 if self.best != before else part / 2

    def _sketches(self) -> Gauges:
        lines = self.lines(self.best)
        sketches = [
            limit if limit.trials is None
            else sketch(limit, gauge.deciding(self.best), lines, self.price(at, self.best))
            for at, (limit, gauge) in enumerate(zip(self.limits, self.gauges.each, strict=True))
        ]
        order = Gauges(sketches, self.worth, self.must, self.gauges.order).by_ratio()
        return Gauges(sketches, self.worth, self.must, order)

    def close(self, gap: float) -> None:
        """Halve what lies between best and bound, from above, until nothing better is left.

        A goal that takes too long is put off for one nearer to the bound.
        """
        branches, part = _FIRST_BRANCHES, 0.5
        while self._better(gap) <= self.bound:
            near = self.bound - self.value(self.best) <= _NEAR * (
                self.value(self.best) + self.always)

            def goal(part: float = 0.0 if near else part) -> int:
                best = self.value(self.best)
                return max(self._better(gap), best + math.ceil(part * (self.bound - best)))

            last, ended = self.seek(goal, self.gauges, math.inf if near else branches)
            if ended:
                self.bound, part = max(self.value(self.best), last - 1), 0.5
            elif part < 0.9:
                part = (1 + part) / 2
            else:
                branches, part = 4 * branches, 0.5

    def _better(self, gap: float) -> int:
        """What a set has to be worth to be better than the best by more than the gap."""
        best = self.value(self.best)
        return max(best, math.floor((best + self.always) * (1 + gap)) - self.always) + 1

    def settle_ties(self) -> None:
        """Look for a set of the same worth that is cheaper, or has lower line numbers."""
        last = self.looked + _TIE_BRANCHES
        prices = len(self.prices) + _TIE_PRICES

        def rank(chosen: int) -> tuple[float, list[int]]:
            return self.price(0, chosen), sorted(self.lines(chosen))

        def accept(chosen: int) -> int | None:
            if len(self.prices) < prices and self.fits(chosen) and rank(chosen) < rank(self.best):
                self.best = chosen
                return self.all + 1  # ends this round: the next one is below the lower price
            return None

        before = None
        while before != self.best and len(self.prices) < prices:
            before = self.best
            self.visit(self.value(before), accept, self.gauges, last - self.looked,
                       most=self.price(0, before))

    def seek(
        self, goal: Callable[[], int], gauges: Gauges, branches: float
    ) -> tuple[int, bool]:
        """Look for sets that fit and are worth the goal, which rises with the best set found."""
        def accept(chosen: int) -> int | None:
            if not self.fits(chosen):
                return None
            self.best = chosen
            self._check_prices()
            return goal()

        return self.visit(goal(), accept, gauges, branches)

    def visit(
        self, goal: int, accept: Callable[[int], int | None], gauges: Gauges, branches: float, *,
        most: float | None = None,
    ) -> tuple[int, bool]:
        """Show `accept` every set that reaches the goal, in so many branches at most.

        `accept` returns the next goal, or None for a set that is not accepted, which ends its
        branch. `most` is a lower limit on the first price. Returned are the last goal, and
        whether every branch was seen: then no set is left that reaches it.
        """
        each, order, dust = gauges.each, gauges.order, DUST * self.all
        starts = [gauge.start for gauge in each]
        if most is not None:
            slack = starts[0].slack.copy()
            slack[1:] -= np.float32(self.limits[0].most - most)  # not the mean
            starts[0] = starts[0]._replace(slack=slack)
        last = self.looked + branches
        stack = [(0, 0, 0, starts, False)]
        while stack:
            place, worth, chosen, states, grown = stack.pop()
            if worth + gauges.later[place] < goal:
                continue
            if self.looked >= last:
                return goal, False
            self._go_on_or_stop()
            self.looked += 1
            wanted = goal - worth - dust
            if not all(gauge.reaches(state, place, wanted)
                       for gauge, state in zip(each, states, strict=True)):
                continue
            if worth >= goal:
                risen = accept(chosen)
                if risen is None:
                    continue
                goal = risen
            if place == len(order) or (grown and self._too_dear(chosen)):
                continue
            if grown:
                states = [gauge.looked_up(state, place, lambda chosen=chosen: self.lines(chosen))
                          for gauge, state in zip(each, states, strict=True)]
            line = order[place]
            both = list(zip(each, states, strict=True))
            left = [gauge.leave(state, place) for gauge, state in both]
            taken = [gauge.take(state, place) for gauge, state in both]
            stack.append((place + 1, worth, chosen, left, False))
            stack.append((place + 1, worth + self.worth[line], chosen | 1 << line, taken, True))
        return goal, True

    def answer(self) -> Picked:
        """What is known by now."""
        return Picked(
            lines=self.lines(self.best),
            worth=self._worth_of(self.value(self.best)),
            prices=tuple(self.price(at, self.best) for at in range(len(self.limits))),
            bound=self._worth_of(self.bound),
            proven=self.value(self.best) >= self.bound,
            priced=len(self.prices) + sum(gauge.asked for gauge in self.gauges.each),
            looked=self.looked,
        )

    def lines(self, chosen: int) -> frozenset[int]:
        """Line numbers of a set, those that cannot be left out among them."""
        return self.must.union(line for line in range(len(self.worth)) if chosen >> line & 1)

    def value(self, chosen: int) -> int:
        """What the lines that can be left out are worth, in steps."""
        return sum(value for line, value in enumerate(self.worth) if chosen >> line & 1)

    def price(self, at: int, chosen: int) -> float:
        """The true price of a set under one limit."""
        if (at, chosen) not in self.prices:
            self.prices[at, chosen] = float(self.limits[at].price_of(self.lines(chosen)))
        return self.prices[at, chosen]

    def fits(self, chosen: int) -> bool:
        """Whether mean and price hold every limit."""
        lines = self.lines(chosen)
        return all(limit.mean_of(lines) <= limit.most and self.price(at, chosen) <= limit.most
                   for at, limit in enumerate(self.limits))

    def _too_dear(self, chosen: int) -> bool:
        """Whether a price, where it is all that is known, is over its limit."""
        return any(self.price(at, chosen) > self.limits[at].most for at in self.blind)

    def _worth_of(self, steps: int) -> float:
        return (steps + self.always) * self.step

    def _check_prices(self) -> None:
        """With prices lower than the trials say, the search would miss sets that fit.

        Where they are much higher, what sets really cost has to be asked for on the way.
        """
        for at, (limit, gauge) in enumerate(zip(self.limits, self.gauges.each, strict=True)):
            if not gauge.trials:
                continue
            price, least = self.price(at, self.best), gauge.least(self.best)
            if price < least - 2 * DUST * abs(limit.most):
                raise ValueError(
                    f"The price of lines {sorted(self.lines(self.best))} is {price:g}, but their "
                    f"trials alone come to {least:g}. Trials may leave costs out, not add them."
                )
            if limit.trials.costs_of is not None and price - least > _MUCH * abs(limit.most):
                gauge.asks = True

    def _go_on_or_stop(self) -> None:
        now = time.perf_counter()
        gone = (now - self.started) / self.seconds
        if gone > 1:
            raise _Stopped
        if self.progress is not None and now - self.told > _TELL_EVERY:
            self.told = now
            bound, best = self._worth_of(self.bound), self._worth_of(self.value(self.best))
            if self.progress(bound, best, gone) is False:
                raise _Stopped
