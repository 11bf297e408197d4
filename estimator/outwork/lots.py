"""Which pieces are sent out together, over all jobs, and when.

A lot pays its minimum, set-up and freight once, however many jobs share it; but it goes when its
last piece is ready, and every job in it waits until then.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from estimator.catalogue import Service
from estimator.errors import BadInput, Fault, one_of
from estimator.outwork.charges import charge_by
from estimator.programme import SAME, Programme, Progress


@dataclass(frozen=True)
class Piece:
    """What one line of a job sends to one service.

    Parameters
    ----------
    job
        Name of the job.
    service
        Name of the service, as in the table; one colour or finish is one service.
    name
        What it is, for the send-out sheet.
    quantity
        In the unit of the service; over 0. [–]
    ready
        The day it can leave, counted from today. [d]
    slack
        Days it may wait then without holding up its job; 0 or more. [d]
    count
        Pieces, for the count when the lot leaves and comes back. [–]
    note
        What to mask, what not to blast, where threads are.

    Examples
    --------
    Legs that are free in three days, and may wait two more for others to go with them:

    >>> Piece("harbour", "blasting", "legs", quantity=0.4, ready=3, slack=2, count=4).note
    ''
    """

    job: str
    service: str
    name: str
    quantity: float
    ready: float
    slack: float = 0.0
    count: int = 1
    note: str = ""


@dataclass(frozen=True)
class SentLot:
    """Pieces that go to one service on one day.

    Parameters
    ----------
    leaves, soonest, expected, latest
        Day it leaves, and days it is back: at best, usually, at worst. [d]
    charge
        With line fees, each piece being a line, and freight. [money]

    Examples
    --------
    >>> pieces = (Piece("A1", "blasting", "Leg", 0.2, 0, count=4),
    ...           Piece("B2", "blasting", "Lockbar", 0.1, 2))
    >>> found = SentLot("blasting", "Blasting", pieces, 2, 4, 7, 16, 60.0)
    >>> found.jobs, found.count
    (('A1', 'B2'), 5)
    """

    service: str
    name: str
    pieces: tuple[Piece, ...]
    leaves: float
    soonest: float
    expected: float
    latest: float
    charge: float

    @property
    def jobs(self) -> tuple[str, ...]:
        """Jobs that share it."""
        return tuple(sorted({piece.job for piece in self.pieces}))

    @property
    def count(self) -> int:
        """Pieces in all, to be counted out and counted in."""
        return sum(piece.count for piece in self.pieces)


@dataclass(frozen=True)
class Sending:
    """Lots by the day they leave, and what waiting for each other costs.

    Parameters
    ----------
    delays
        (job, days that it is held up by waiting for a lot), every job. [d]
    charge, waiting
        All charges, and what the delays are worth. [money]

    Examples
    --------
    >>> Sending((), (("A1", 2.0),), charge=90.0, waiting=30.0).worth
    120.0
    """

    lots: tuple[SentLot, ...]
    delays: tuple[tuple[str, float], ...]
    charge: float
    waiting: float

    @property
    def worth(self) -> float:
        """Charges and what the delays are worth. [money]"""
        return self.charge + self.waiting


@dataclass(frozen=True)
class LotPlan:
    """The best way to send pieces out, with the plain ways to compare.

    Parameters
    ----------
    best
        What is proposed.
    at_once, by_job, together
        Each piece as soon as it can; each job for itself, once its last piece for a service is
        ready; all of a service together, once the very last is.
    bound, proven
        No way costs less than `bound`, days counted at their worth [money]; whether it is certain
        that none is better.

    Examples
    --------
    >>> best = Sending((), (("A1", 2.0),), charge=90.0, waiting=30.0)
    >>> apart = Sending((), (("A1", 0.0),), charge=140.0, waiting=0.0)
    >>> found = LotPlan(best, apart, apart, best, bound=114.0, proven=False)
    >>> best.worth, found.saved, found.lost, round(found.gap, 2)
    (120.0, 50.0, (('A1', 2.0),), 0.05)
    """

    best: Sending
    at_once: Sending
    by_job: Sending
    together: Sending
    bound: float
    proven: bool

    @property
    def saved(self) -> float:
        """Charges saved against each job for itself, before what the days are worth. [money]"""
        return self.by_job.charge - self.best.charge

    @property
    def lost(self) -> tuple[tuple[str, float], ...]:
        """Days each job loses against each job for itself; below 0 where it gains some. [d]"""
        apart = dict(self.by_job.delays)
        return tuple((job, days - apart[job]) for job, days in self.best.delays)

    @property
    def gap(self) -> float:
        """How much less another way could be worth at most, as a share of this one. [–]"""
        return 0.0 if self.proven else max(0.0, 1 - self.bound / max(self.best.worth, 1e-9))


def plan_lots(
    pieces: Iterable[Piece],
    services: Mapping[str, Service],
    worth: Mapping[str, float],
    *,
    collected: Mapping[str, Sequence[float]] | None = None,
    most_seconds: float = 10.0,
    progress: Progress | None = None,
) -> LotPlan:
    """Lots that cost least, charges and waiting together, with the proof.

    Parameters
    ----------
    pieces
        All that is to be sent out, of all jobs.
    services
        Rows of the table, by name; charges are by their typical rate.
    worth
        What a day's delay of each job is worth; 0 or more. [money]
    collected
        Days on which a service's lots can leave, where it is not any day. [d]
    most_seconds, progress
        As for the choice of suppliers: the search stops then, or where `progress` (told bound,
        best, seconds gone) returns False.

    Raises
    ------
    BadInput
        With every piece that cannot be planned.

    Notes
    -----
    A lot leaves on the day that one of its pieces becomes ready, or on a day of collection; two
    lots of one service on one day would be one. A job is held up as long as the piece that holds
    it up most.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> legs = Piece("A", "powder-coat-small", "Brackets", 3, ready=2, slack=4, count=3)
    >>> more = Piece("B", "powder-coat-small", "Hinges", 2, ready=5, count=2)
    >>> plan = plan_lots([legs, more], load().services, {"A": 20, "B": 20})
    >>> [(lot.leaves, lot.jobs) for lot in plan.best.lots], round(plan.saved), plan.best.waiting
    ([(5, ('A', 'B'))], 50, 0.0)
    """
    begun = time.perf_counter()
    pieces = tuple(pieces)
    faults = _faults(pieces, services, worth, collected or {})
    if faults:
        raise BadInput(faults)
    days = {
        name: sorted(set((collected or {}).get(name, []))
                     or {piece.ready for piece in pieces if piece.service == name})
        for name in sorted({piece.service for piece in pieces})
    }

    def first(piece: Piece, ready: float) -> float:
        return next(day for day in days[piece.service] if day >= ready)

    def last(among: Iterable[Piece]) -> dict[tuple, float]:
        found: dict[tuple, float] = {}
        for piece in among:
            for key in ((piece.service,), (piece.service, piece.job)):
                found[key] = max(found.get(key, -math.inf), piece.ready)
        return found

    ends = last(pieces)
    at_once = sending(pieces, [first(piece, piece.ready) for piece in pieces], services, worth)
    alone = [first(piece, ends[piece.service, piece.job]) for piece in pieces]
    by_job = sending(pieces, alone, services, worth, apart=True)
    merged = sending(pieces, alone, services, worth)
    together = sending(
        pieces, [first(piece, ends[piece.service,]) for piece in pieces], services, worth)
    known = min((at_once, merged, together), key=lambda one: one.worth)
    if not pieces:
        return LotPlan(known, at_once, by_job, together, 0.0, True)
    chosen, solved = _solved(pieces, days, services, worth, known.worth,
                             most_seconds, progress, begun)
    best = known if chosen is None else sending(pieces, chosen, services, worth)
    proven = solved.proven and best.worth <= solved.bound + SAME
    bound = best.worth if proven else min(solved.bound, best.worth)
    return LotPlan(best, at_once, by_job, together, bound, proven)


def sending(
    pieces: Sequence[Piece], leaves: Sequence[float], services: Mapping[str, Service],
    worth: Mapping[str, float], *, apart: bool = False,
) -> Sending:
    """What it costs to let each piece leave on its day.

    Parameters
    ----------
    pieces, leaves
        Pieces, and for each the day it leaves, not before it is ready. [d]
    services, worth
        As `plan_lots` takes them.
    apart
        Whether no job shares a lot with another.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> legs = Piece("A", "powder-coat-small", "Brackets", 3, ready=2, slack=1)
    >>> found = sending([legs], [5], load().services, {"A": 20})
    >>> found.delays, found.waiting
    ((('A', 2),), 40.0)
    """
    lots: dict[tuple, list[Piece]] = {}
    delays = dict.fromkeys(sorted({piece.job for piece in pieces}), 0.0)
    for piece, day in zip(pieces, leaves, strict=True):
        lots.setdefault((day, piece.service, piece.job if apart else ""), []).append(piece)
        held = max(0.0, day - piece.ready - piece.slack)
        delays[piece.job] = max(delays[piece.job], held)
    made = []
    for (day, name, _), inside in sorted(lots.items()):
        row = services[name]
        made.append(SentLot(
            name, row.name, tuple(inside), day, day + row.days_low, day + row.days_typical,
            day + row.days_high,
            charge_by(row, [piece.quantity for piece in inside], row.typical,
                      lines=len(inside))))
    return Sending(
        tuple(made), tuple(delays.items()), math.fsum(lot.charge for lot in made),
        math.fsum(worth.get(job, 0.0) * held for job, held in delays.items()))


def _solved(pieces, days, services, worth, known, most_seconds, progress, begun):
    """The day each piece leaves on, if that is better than what is known; and how sure it is."""
    programme = Programme()
    lots: dict[tuple[str, float], tuple[int, int]] = {}
    for name, leaving in days.items():
        row = services[name]
        for day in leaving:
            lots[name, day] = (programme.column(row.freight, most=1),
                               programme.column(row.multiplier, whole=False))
    inside: dict[tuple[str, float], list[tuple[int, float]]] = {key: [] for key in lots}
    held: dict[str, dict[float, list[int]]] = {}
    options = []
    for piece in pieces:
        row, goes = services[piece.service], {}
        for day in days[piece.service]:
            if day >= piece.ready:
                column = goes[day] = programme.column(row.line_fee, most=1)
                inside[piece.service, day].append((column, piece.quantity * row.typical))
                programme.row([(column, 1), (lots[piece.service, day][0], -1)], most=0)
                late = max(0.0, day - piece.ready - piece.slack)
                held.setdefault(piece.job, {}).setdefault(late, []).append(column)
        programme.row([(column, 1) for column in goes.values()], least=1, most=1)
        options.append(goes)
    for (name, day), (used, paid) in lots.items():
        row = services[name]
        programme.row([(paid, 1), (used, -row.lot_minimum)], least=0)
        programme.row([(paid, 1), (used, -row.setup),
                       *((column, -value) for column, value in inside[name, day])], least=0)
    for job, by_delay in held.items():
        delays = sorted({0.0, *by_delay})
        steps = [programme.column(worth.get(job, 0.0) * (later - late), most=1, whole=False)
                 for late, later in itertools.pairwise(delays)]
        for lower, upper in itertools.pairwise(steps):
            programme.row([(upper, 1), (lower, -1)], most=0)
        for late, step in zip(delays[1:], steps, strict=True):
            for column in by_delay[late]:
                programme.row([(column, 1), (step, -1)], most=0)
    found = programme.solve(
        known=known, most_seconds=most_seconds, progress=progress, begun=begun)
    if found.values is None:
        return None, found
    return [max(goes, key=lambda day: found.values[goes[day]]) for goes in options], found


def _faults(pieces, services, worth, collected) -> list[Fault]:
    faults = []
    for piece in pieces:
        of = f"{piece.name} of {piece.job}"
        if piece.service not in services:
            faults.append(Fault(f'{of}: "{piece.service}" is not in services.csv.',
                                one_of(piece.service, services)))
            continue
        if not (math.isfinite(piece.quantity) and piece.quantity > 0):
            faults.append(Fault(f"{of}: {piece.quantity:g} is no quantity.",
                                f"Write how many {services[piece.service].unit}, over 0."))
        if not math.isfinite(piece.ready) or not (0 <= piece.slack < math.inf):
            faults.append(Fault(f"{of}: it is ready on day {piece.ready:g} and may wait "
                                f"{piece.slack:g} days.",
                                "Write a day counted from today, and days of 0 or more."))
        leaving = collected.get(piece.service)
        if leaving is not None and not any(day >= piece.ready for day in leaving):
            faults.append(Fault(f"{of} is ready on day {piece.ready:g}, after the last day on "
                                f"which lots leave for {services[piece.service].name}.",
                                "Add a later day of collection."))
    for job, money in worth.items():
        if not (math.isfinite(money) and money >= 0):
            faults.append(Fault(f"{job}: a day of delay is said to be worth {money:g}.",
                                "Write 0 or more."))
    return faults


__all__ = ["LotPlan", "Piece", "Sending", "SentLot", "plan_lots", "sending"]
