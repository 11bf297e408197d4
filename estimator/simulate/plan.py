"""What is to be drawn for a job: each survey line's random amounts, and those of the whole job.

A plan is plain records: two lines with the same plan draw the same, and what they drew can be kept
for the next time. They are tuples, for they are compared at every edit.
"""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from dataclasses import dataclass
from typing import NamedTuple

from estimator import correlation
from estimator.catalogue import WORK_KINDS
from estimator.durations import Range
from estimator.estimate import Estimate, Supply
from estimator.scope import Work
from estimator.shop import Settings


class Amount(NamedTuple):
    """A random amount: of hours, money or days.

    Parameters
    ----------
    stream
        Name of the quantity it is drawn by.
    shape, low, typical, high
        Its distribution.
    evened
        Its spread is multiplied by this: alike units even out. [–]
    factors
        Which shared factors move it: (hand, kind of work), ("", "") for the job's alone, None for
        none.
    pieces, share
        With a count: it falls on so many pieces, each with this chance, under 1. The amount is the
        one expected, and is multiplied by how many it is over how many are expected.
    piece_stream
        Name of that count.
    """

    stream: str
    shape: str
    low: float
    typical: float
    high: float
    evened: float = 1.0
    factors: tuple[str, str] | None = None
    pieces: int | None = None
    share: float = 1.0
    piece_stream: str = ""


class Event(NamedTuple):
    """Something that happens or not, and what it then adds: hours, other cost, days."""

    stream: str
    chance: float
    cause: str
    hours: Amount
    other: Amount
    days: float = 0.0


class LinePlan(NamedTuple):
    """The random amounts of one survey line, by what they add to."""

    hours: tuple[Amount, ...] = ()
    parts: tuple[Amount, ...] = ()
    materials: tuple[Amount, ...] = ()
    events: tuple[Event, ...] = ()


@dataclass(frozen=True)
class Factors:
    """How the shared factors load: shares of variance, and how kinds of work go together.

    The score of an amount of work is √job·J + √hand·H + √kind·K + √rest·own, all standard
    normal; K differs by kind of work and J, H and own do as their names say.
    """

    job: float
    hand: float
    kind: float
    cause: float
    kinds: tuple[str, ...] = ()
    root: tuple[tuple[float, ...], ...] = ()

    def own(self, factors: tuple[str, str] | None) -> float:
        """Loading of an amount's own score."""
        if factors is None:
            return 1.0
        hand, kind = factors
        return math.sqrt(1 - self.job - (self.hand if hand else 0) - (self.kind if kind else 0))


@dataclass(frozen=True)
class Plan:
    """All that is drawn for a job; `lines` by index of the survey line, without those left out.

    `setup` are the fixed hours, before allowances; `charges` and `waits` belong to the lots,
    `wholes` to materials bought in whole packs; both are drawn for the job as a whole.
    """

    lines: dict[int, LinePlan]
    setup: float
    charges: tuple[Amount, ...]
    waits: tuple[Amount, ...]
    wholes: tuple[Amount, ...]
    factors: Factors


def plan_of(job: Estimate, settings: Settings) -> Plan:
    """The plan of a job.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> plan = plan_of(small_quote().job, small_quote().settings)
    >>> sorted(plan.lines), [amount.stream for amount in plan.waits]
    ([0, 1], ['days of powder-coat-set', 'days of blasting'])
    """
    parts: dict[int, dict[str, list]] = defaultdict(lambda: defaultdict(list))
    for item in job.items:
        parts[item.line]["hours"].append(_hours(item, job, settings))
    for supply in job.supplies:
        if not supply.whole:
            where = "parts" if supply.does == "part" else "materials"
            parts[supply.line][where].append(_price(supply, job))
    for risk in job.risks:
        stream = f"{job.scope.names[risk.line]}: {risk.find.find}"
        find = risk.find
        parts[risk.line]["events"].append(Event(
            f"{stream} happens", risk.chance, find.cause or "",
            _amount(f"{stream} hours", Range.of(find),
                    factors=("", "")),
            _amount(f"{stream} cost", Range.of(find, "cost_")),
            find.days,
        ))
    for unseen in job.unseen:
        stream = f"{job.scope.names[unseen.line]}: worse"
        parts[unseen.line]["events"].append(Event(
            stream, unseen.chance, "",
            _amount(f"{stream} hours", Range(unseen.hours, unseen.hours, unseen.hours)),
            _amount(f"{stream} cost", Range(unseen.cost, unseen.cost, unseen.cost)),
        ))
    return Plan(
        lines={line: LinePlan(**{name: tuple(rows) for name, rows in found.items()})
               for line, found in sorted(parts.items())},
        setup=math.fsum(item.setup for item in job.items),
        charges=tuple(_amount(f"charge of {lot.service}", lot.charge) for lot in job.lots),
        waits=tuple(_amount(f"days of {lot.service}", lot.days) for lot in job.lots),
        wholes=wholes_of(job.supplies),
        factors=_factors(job, settings),
    )


def wholes_of(supplies: tuple[Supply, ...]) -> tuple[Amount, ...]:
    """Materials bought in whole packs: one price a material, for all lines that use it.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> supplies = small_quote().job.supplies
    >>> wholes_of(supplies), any(one.whole for one in supplies)  # it needs no whole can of paint
    ((), False)
    """
    sums: dict[str, list[float]] = {}
    for supply in supplies:
        if supply.whole:
            total = sums.setdefault(supply.item, [0.0, 0.0, 0.0])
            for k, value in enumerate((supply.cost.low, supply.cost.typical, supply.cost.high)):
                total[k] += value
    return tuple(_amount(f"price of {item}", Range(*total)) for item, total in sums.items())


def _amount(stream: str, found: Range, **more) -> Amount:
    return Amount(stream, "pert", found.low, found.typical, found.high, **more)


def _hours(item, job: Estimate, settings: Settings) -> Amount:
    work = item.work
    hand = getattr(settings, f"hand_{work.operation.skill}")
    return Amount(
        item.name, item.shape, item.hours.low, item.hours.typical, item.hours.high,
        _evened(work, settings.repeat_correlation), (hand, work.operation.kind),
        work.pieces, work.treatment.share if work.pieces else 1.0,
        _piece_stream(job, item.line, work.treatment.share) if work.pieces else "",
    )


def _price(supply: Supply, job: Estimate) -> Amount:
    """What a part or material costs on one line: its price is one for all lines that need it."""
    return _amount(
        f"price of {supply.item}", supply.cost, pieces=supply.pieces, share=supply.share,
        piece_stream=_piece_stream(job, supply.line, supply.share) if supply.pieces else "",
    )


def _piece_stream(job: Estimate, line: int, share: float) -> str:
    # The pieces that need work are the pieces that need the part: the same count of the same
    # line where the same share of them is concerned.
    return f"{job.scope.names[line]}: pieces {share:g}"


def _evened(work: Work, correlation: float) -> float:
    """Spread of the sum of alike, equally correlated units, against that of one times n.

    sqrt((1 + (n − 1)ρ) / n), from Var ΣX = nσ²(1 + (n − 1)ρ).
    """
    n = max(1.0, work.units)
    return math.sqrt((1 + (n - 1) * correlation) / n)


def _factors(job: Estimate, settings: Settings) -> Factors:
    tied = {kind for pair in job.correlations for kind in pair}
    kinds = tuple(kind for kind in WORK_KINDS if kind in tied)
    return Factors(
        settings.job_factor_share, settings.person_factor_share, settings.kind_factor_share,
        settings.cause_share, kinds, _root(kinds, tuple(job.correlations.items())),
    )


# They change with the shop's table, not from job to job.
@functools.lru_cache(maxsize=8)
def _root(kinds: tuple[str, ...], correlations: tuple[tuple[tuple[str, str], float], ...]
          ) -> tuple[tuple[float, ...], ...]:
    if not kinds:
        return ()
    root = correlation.root(correlation.matrix(kinds, dict(correlations)))
    return tuple(tuple(row) for row in root.tolist())


__all__ = ["Amount", "plan_of", "wholes_of"]
