"""What a bench plan is made of: activities, people and spaces, and the plan itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from estimator.schedule.hours import DAY, Hours


@dataclass(frozen=True)
class Activity:
    """Work of one person, or a wait that nobody stands by. Times in minutes.

    Parameters
    ----------
    name
        For people; unique within its job.
    what
        "work", "wait" (cure, tumbler), "order" (parts on their way) or "outwork" (a lot away).
    job
        Place of its job.
    able
        Who can do it, with how many minutes of their time it takes: (person's place, minutes).
        Nobody for a wait.
    exact
        The same as hours, before they were rounded to minutes. [h]
    minutes
        How long a wait takes by the clock.
    spaces
        What it holds: (space's place, how many).
    after
        Places of the activities that it waits for.
    in_one_go
        Work that the end of a day does not part, where it fits into one.
    at_once
        Begins at the very moment that the one before it ends, as a coat does that dries.
    release
        Not before this moment.
    lines, item, part
        Survey lines it serves, by index; the work item's place in the estimate, from 0; which
        part of how many it is, where sessions of two operations take turns.
    share
        Of the item's hours that this activity is. [–]
    skill, operation
        Of the work; for a lot its service, for an order its name.
    gone
        Minutes of a wait that are over already.
    counts
        Whether its job is unfinished while it lasts; a delivery afterwards does not count.
    """

    name: str
    what: str = "work"
    job: int = 0
    able: tuple[tuple[int, int], ...] = ()
    exact: tuple[float, ...] = ()
    minutes: int = 0
    spaces: tuple[tuple[int, int], ...] = ()
    after: tuple[int, ...] = ()
    in_one_go: bool = False
    at_once: bool = False
    release: int = 0
    lines: frozenset[int] = frozenset()
    item: int | None = None
    part: tuple[int, int] = (1, 1)
    share: float = 1.0
    skill: str = ""
    operation: str = ""
    gone: int = 0
    counts: bool = True


@dataclass(frozen=True)
class Due:
    """A job on the bench: its name, its weight against other jobs, and when it is due.

    `due` in minutes of the clock; None where no day was promised.
    """

    name: str
    weight: int = 1
    due: int | None = None


@dataclass(frozen=True)
class Bench:
    """All that is to be planned: what there is to do, who and what there is to do it with.

    `people` are names with their hours, `spaces` names with how many there are.
    """

    activities: tuple[Activity, ...]
    people: tuple[tuple[str, Hours], ...] = ()
    spaces: tuple[tuple[str, int], ...] = ()
    jobs: tuple[Due, ...] = (Due("job"),)


@dataclass(frozen=True)
class Draft:
    """When each activity begins and ends by the clock, and who does it; None for nobody.

    `late` is the weighted sum of minutes that jobs are late, `end` when the last is finished,
    `finishes` when each is.
    """

    starts: tuple[float, ...]
    ends: tuple[float, ...]
    who: tuple[int | None, ...]
    late: float
    end: float
    finishes: tuple[float, ...]
    rule: str = ""

    @property
    def worth(self) -> tuple[float, float, float]:
        """What is compared, smaller is better: lateness, then the end, then all finishes."""
        return self.late, self.end, sum(self.finishes)


@dataclass(frozen=True)
class Proof:
    """How good a plan is known to be.

    Parameters
    ----------
    proven
        No plan is better: less late, or as late and sooner at its end.
    gap, of
        At most this share of the lateness, or of the time to the end, could be saved. [–]
    seconds
        What the search took.
    moved
        Of a plan that follows an earlier one: how many activities begin on another day.
    """

    proven: bool
    gap: float
    seconds: float
    of: str = "end"
    moved: int = 0


@dataclass(frozen=True)
class Step:
    """An activity in a plan.

    Parameters
    ----------
    number
        Its place among the activities.
    name, what, lines, item, skill, operation
        As its `Activity` says them; `job` by its name.
    start, end
        Moments by the shop's clock.
    person
        Who does it; blank for a wait.
    hours
        Open hours of the person that it takes up, of which `productive_share` is work; by the clock
        for a wait. [h]
    slack_hours
        How far its end can slip, by the clock, before the end of its job does. [h]
    critical
        Whether there is no such slack.
    waits_for
        Names of what holds it up last.

    Examples
    --------
    >>> nine = datetime(2026, 11, 26, 9)
    >>> step = Step(0, "Intake and survey", "work", "Harbour Lights", nine, nine.replace(hour=10),
    ...             "Ada", hours=1.0, slack_hours=0.0, critical=True, waits_for=(), lines=(0,),
    ...             item=0)
    >>> step.end - step.start
    datetime.timedelta(seconds=3600)
    """

    number: int
    name: str
    what: str
    job: str
    start: datetime
    end: datetime
    person: str
    hours: float
    slack_hours: float
    critical: bool
    waits_for: tuple[str, ...]
    lines: tuple[int, ...]
    item: int | None
    skill: str = ""
    operation: str = ""


@dataclass(frozen=True)
class BenchPlan:
    """A plan of the bench, from `start` on.

    `finishes` by name of the job; `bench`, `draft` are what it was made of, for what is asked of
    it afterwards.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import OnBench, plan
    >>> from estimator.shop import open_shop
    >>> jobs = [OnBench("Harbour Lights", small_quote().job)]
    >>> made = plan(jobs, open_shop(), start=date(2026, 11, 26), seconds=0)
    >>> len(made.of_job("Harbour Lights")) == len(made.steps), list(made.days) == list(made.at_work)
    (True, True)
    >>> [step.operation for step in made.waits if step.what == "outwork"]
    ['powder-coat-set', 'blasting']
    """

    start: date
    steps: tuple[Step, ...]
    finishes: dict[str, datetime]
    due: dict[str, date | None]
    proof: Proof
    rule: str
    bench: Bench = field(repr=False)
    draft: Draft = field(repr=False)

    def of_job(self, name: str) -> tuple[Step, ...]:
        """The steps of one job."""
        return tuple(step for step in self.steps if step.job == name)

    @property
    def days(self) -> dict[date, tuple[Step, ...]]:
        """Work by the day on which it begins."""
        found: dict[date, list[Step]] = {}
        for step in sorted(self.steps, key=lambda one: (one.start, one.number)):
            if step.what == "work":
                found.setdefault(step.start.date(), []).append(step)
        return {day: tuple(steps) for day, steps in found.items()}

    @property
    def at_work(self) -> dict[date, tuple[Step, ...]]:
        """Work by every day on which somebody is at it, in the order it begins."""
        hours = dict(self.bench.people)
        found: dict[date, list[Step]] = {}
        for step in sorted(self.steps, key=lambda one: (one.start, one.number)):
            if step.what != "work":
                continue
            begin, end = ((when - datetime.combine(self.start, time())).total_seconds() / 60
                          for when in (step.start, step.end))
            days = {int(max(start, begin) // DAY) for start, stop in hours[step.person].spans
                    if start < end and stop > begin} | {int(begin // DAY)}
            for day in sorted(days):
                found.setdefault(self.start + timedelta(day), []).append(step)
        return {day: tuple(steps) for day, steps in sorted(found.items())}

    @property
    def waits(self) -> tuple[Step, ...]:
        """What is waited for, by when it begins: cures, tumbler, parts, lots."""
        return tuple(sorted((step for step in self.steps if step.what != "work"),
                            key=lambda one: (one.start, one.number)))


__all__ = ["BenchPlan", "Proof", "Step"]
