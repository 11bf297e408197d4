"""What stands on the papers for the bench: work items, labels for bags, counts, waits."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from estimator.catalogue import Catalogue
from estimator.schedule import BenchPlan, OnBench, Step
from estimator.schedule.tasks import OVERDUE
from estimator.shop import Shop

_LAMP, _COIL_LABEL = "lamp", "coil-label"
# What is done before a piece lies in a bag, or to nothing that could.
_BEFORE_BAG = {"inspect", "remove", "dismantle", "admin", "test"}
_WHOLE = "machine"
_MOST_AWAITED = 3
_COUNTED = re.compile(r"(\d{1,4})\s*[x×]?\s+([^\d\s].{0,59})")


@dataclass(frozen=True)
class _CardRow:
    """A work item on a job card.

    Parameters
    ----------
    item
        Its number in the job, from 1.
    start, end
        By the plan.
    hours
        Expected of the person who does it. [h]
    waits_for
        What must be over first; the first three, then how many more.
    cautions
        Names of rows of `cautions.csv`.
    """

    item: int
    step: Step
    assembly: str
    work: str
    hours: float
    waits_for: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Label:
    """What stands on the bag of an assembly, with the code that is printed as a QR code."""

    job: str
    item: int
    assembly: str
    step: str
    waits_for: str
    code: str


@dataclass(frozen=True)
class Counted:
    """So many of one kind on a survey line: `kind` is blank where nobody said it."""

    job: str
    line: int
    kind: str
    count: int
    note: str = ""


def card_rows(plan: BenchPlan, one: OnBench, shop: Shop) -> list[_CardRow]:
    """Work items of a job that are still to do, in the plan's order."""
    found = []
    steps = sorted((step for step in plan.of_job(one.name) if step.what == "work"),
                   key=lambda step: (step.start, step.number))
    for step in steps:
        item = one.job.items[step.item]
        assembly = shop.catalogue.assemblies[one.job.scope.lines[item.line].assembly].name
        found.append(_CardRow(
            step.item + 1, step, assembly, step.name.removeprefix(f"{assembly}: "),
            step.hours * shop.settings.productive_share, _awaited(plan, step, assembly),
            item.work.operation.cautions))
    return found


def _awaited(plan: BenchPlan, step: Step, assembly: str, most: int = _MOST_AWAITED) -> str:
    acts = plan.bench.activities
    # What is the piece's own, or a wait that nobody can shorten, says most.
    before = sorted((acts[at] for at in acts[step.number].after),
                    key=lambda act: (act.what == "work", not act.lines & set(step.lines)))
    names = list(dict.fromkeys(act.name.removeprefix(f"{assembly}: ") for act in before))
    more = len(names) - most
    return "; ".join(names[:most]) + (f"; and {more} more" if more > 0 else "")


def labels(plan: BenchPlan, jobs: Sequence[OnBench], shop: Shop,
           numbers: Mapping[str, str] | None = None) -> list[Label]:
    """A label for each assembly that comes off: what is next with it, and what that waits for.

    Parameters
    ----------
    numbers
        Numbers of jobs by name, for the code; without one the name stands in it.
    """
    found = []
    for one in jobs:
        code = (numbers or {}).get(one.name, one.name)
        rows = card_rows(plan, one, shop)
        next_of: dict[int, _CardRow] = {}
        for row in rows:
            item = one.job.items[row.item - 1]
            assembly = shop.catalogue.assemblies[one.job.scope.lines[item.line].assembly]
            if item.work.operation.kind not in _BEFORE_BAG and assembly.unit != _WHOLE:
                next_of.setdefault(item.line, row)
        for line, next_ in sorted(next_of.items()):
            count = one.job.scope.lines[line].count or 1
            found.append(Label(
                one.name, next_.item,
                next_.assembly if count == 1 else f"{next_.assembly} ({count})", next_.work,
                _awaited(plan, next_.step, next_.assembly, 1), f"{code}/{next_.item}"))
    return found


def lamps(jobs: Iterable[OnBench], catalogue: Catalogue) -> list[Counted]:
    """Lamps by the colour of the insert, as far as notes of the survey say it.

    A note such as "12 red, 6 amber" says it; what is left over has no colour yet.

    Examples
    --------
    >>> from estimator.catalogue import Condition, Level, load
    >>> from estimator.estimate import estimate
    >>> from estimator.scope import scope
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import Line, Machine, Survey
    >>> shop = open_shop()
    >>> survey = Survey(Machine(era="modern"), (
    ...     Line("lamp", 20, Condition.WORN, note="12 red, 6 Amber"),))
    >>> job = estimate(scope(survey, Level.CLEAN, shop.catalogue), shop)
    >>> [(row.kind, row.count) for row in lamps([OnBench("A", job)], shop.catalogue)]
    [('red', 12), ('amber', 6), ('', 2)]
    """
    colours = catalogue.insert_colours
    found = []
    for one in jobs:
        for place, line in enumerate(one.job.scope.lines):
            if line.assembly == _LAMP and line.count and place not in one.job.scope.dropped:
                found += _by_kind(one.name, place, line.note, line.count,
                                  lambda said: said.lower() if said.lower() in colours else "")
    return found


def coil_labels(jobs: Iterable[OnBench]) -> list[Counted]:
    """Labels for coils by type, as far as notes of the survey say it: "3 flipper, 4 pop bumper"."""
    found = []
    for one in jobs:
        for place, line in enumerate(one.job.scope.lines):
            count = round(math.fsum(supply.quantity for supply in one.job.supplies
                              if supply.line == place and supply.item == _COIL_LABEL))
            if count:
                found += _by_kind(one.name, place, line.note, count, lambda said: said)
    return found


def _by_kind(job: str, place: int, note: str, count: int, known) -> list[Counted]:
    kinds: Counter[str] = Counter()
    for part in re.split(r"[,;\n]", note):
        match = _COUNTED.fullmatch(part.strip().rstrip("."))
        if match and (kind := known(match[2].strip())):
            kinds[kind] += int(match[1])
    said, line = sum(kinds.values()), place + 1
    found = [Counted(job, line, kind, many) for kind, many in kinds.items()]
    if said < count:
        found.append(Counted(job, line, "", count - said, "" if not said else
                             f"the note says {said} of {count}"))
    if said > count:
        found[-1] = Counted(job, line, found[-1].kind, found[-1].count,
                            f"the note says {said}, the line {count}: count again")
    return found


def waits(plan: BenchPlan) -> list[tuple[Step, tuple[str, ...]]]:
    """What is waited for, by when it is over, each with what it holds up.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import plan
    >>> from estimator.shop import open_shop
    >>> jobs = [OnBench("Harbour Lights", small_quote().job)]
    >>> found = waits(plan(jobs, open_shop(), start=date(2026, 11, 26), seconds=0))
    >>> [(step.what, holds) for step, holds in found][-1]
    ('outwork', ('Leg: Take a leg off and fit it again',))
    """
    after: dict[int, list[str]] = {}
    for act in plan.bench.activities:
        for before in act.after:
            after.setdefault(before, []).append(act.name)
    rows = [(step, tuple(after.get(step.number, ()))) for step in plan.waits
            if step.end > step.start]
    return sorted(rows, key=lambda row: (row[0].end, row[0].number))


def since(plan: BenchPlan, step: Step) -> datetime:
    """When a wait began; before the plan's first day for what is under way.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import plan
    >>> from estimator.shop import open_shop
    >>> one = OnBench("Harbour Lights", small_quote().job, sent={"blasting": date(2026, 11, 23)})
    >>> made = plan([one], open_shop(), start=date(2026, 11, 26), seconds=0)
    >>> (step,) = (step for step in made.waits if step.operation == "blasting")
    >>> step.start.isoformat(), since(made, step).isoformat()
    ('2026-11-26T09:00:00', '2026-11-23T09:00:00')
    """
    return step.start - timedelta(minutes=plan.bench.activities[step.number].gone)


def said_of(plan: BenchPlan, step: Step) -> str:
    """What is waited for; with a word where it should be there already.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import plan
    >>> from estimator.shop import open_shop
    >>> one = OnBench("Harbour Lights", small_quote().job, sent={"blasting": date(2026, 9, 1)})
    >>> made = plan([one], open_shop(), start=date(2026, 11, 26), seconds=0)
    >>> [said_of(made, step) for step in made.waits if step.operation == "blasting"]
    ['Stripping and blasting before a coat (overdue: ask for it)']
    """
    act = plan.bench.activities[step.number]
    return f"{step.name} (overdue: ask for it)" if act.gone and act.minutes == OVERDUE \
        else step.name


__all__ = ["said_of", "since", "waits"]
