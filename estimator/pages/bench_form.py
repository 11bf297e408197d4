"""The form of the page "Bench plan": which machines and people there are, and what is asked for.

What is typed is kept as it was typed and read anew at every change. A fault names its place as
"table:row:column", or a field of the form.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from pydantic import ValidationError

from estimator import schedule
from estimator.buying import CHEAPEST, FASTEST, FEWEST, Wish, trade_off
from estimator.errors import Fault, one_of, quoted
from estimator.jobs import benching, day_of
from estimator.ledger import Draft, Ledger, has_words
from estimator.shop import Person, Shop
from estimator.survey import cells
from estimator.survey.cells import Reading, Wrong

KIND = "bench-plan"
"""Kind of the drafts of this page."""
DRAFTS = 20
"""So many drafts of quotes are offered, the last saved ones; all others are found."""
SCHEMA = 1
FORM = {"start": "", "promise": "80", "in_time": "90", "buy": CHEAPEST.name, "day_worth": "",
        "parcel_worth": "", "seconds": "20"}
"""What stands in the form at first; a blank start is today, a blank worth what the shop says."""
WISHES = {wish.name: wish for wish in (CHEAPEST, FASTEST, FEWEST)}
"""What parts can be bought for, beside a trade-off."""
TRADE_OFF = trade_off(0.0).name
MOST_JOBS = 12


@dataclass(frozen=True)
class Candidate:
    """A job of the ledger or a draft that can be planned.

    Parameters
    ----------
    key
        "job:" or "draft:" and its number or key.
    title, note
        What it is called, and what it is.
    due
        The day it is promised for; None for none.
    first
        Whether it is planned unless something else is said.
    version
        Changes when its work does.
    """

    key: str
    title: str
    note: str
    due: date | None = None
    first: bool = False
    version: str = ""

    @property
    def number(self) -> str:
        """Number of the job; blank for a draft."""
        kind, _, number = self.key.partition(":")
        return number if kind == "job" else ""


@dataclass(frozen=True)
class _Wanted:
    """A candidate that is to be planned: when it is due, and its weight against others."""

    candidate: Candidate
    due: date | None = None
    weight: int = 1


@dataclass(frozen=True)
class Ask:
    """What is asked for: machines, the shop with the people who are there, days, and how sure.

    `promise` and `in_time` are shares; `seconds` those of the search; ages of prices are told as
    of `today`, whenever the plan begins. [–], [s]
    """

    jobs: tuple[_Wanted, ...]
    shop: Shop
    today: date
    start: date
    promise: float
    in_time: float
    seconds: float
    wish: Wish = CHEAPEST


def candidates(ledger: Ledger, drafts: Sequence[Draft] = ()) -> tuple[Candidate, ...]:
    """Jobs that are not finished, then drafts of quotes.

    Planned at first are the open jobs, of more than can be planned together those that are
    promised soonest; without open jobs the draft that was saved last.
    """
    jobs, standing = [job for job in ledger.jobs() if job.state != "closed"], ledger.standing()
    soonest = sorted((job for job in jobs if job.state in benching.OPEN),
                     key=lambda job: job.promised or date.max)[:MOST_JOBS]
    first = {job.number for job in soonest} or {draft.key for draft in ledger.drafts(most=1)}
    found = [Candidate(f"job:{job.number}", job.name, f"{job.number}, {job.state}", job.promised,
                       job.number in first, standing.get(job.number, job.number))
             for job in jobs]
    for draft in drafts:
        when = f", {draft.saved.astimezone():%d %b %Y}" if draft.saved else ""
        found.append(Candidate(f"draft:{draft.key}", draft.title or "Untitled machine",
                               f"draft of a quote{when}", None, draft.key in first,
                               str(draft.revision)))
    return tuple(found)


def kept_drafts(ledger: Ledger, said: Collection[str]) -> list[str]:
    """Keys of drafts that are there whatever is looked for: the last one, and those among the
    keys of candidates of which something was `said`."""
    return [*(one.key for one in ledger.drafts(most=1)),
            *(key.removeprefix("draft:") for key in said if key.startswith("draft:"))]


def ticked(known: Sequence[Candidate], said: Mapping[str, Mapping[str, str]]) -> set[str]:
    """Keys of the candidates that are to be planned."""
    return {one.key for one in known if job_cells(one, said.get(one.key, {}))["in"]}


def jobs_with(known: Sequence[Candidate], words: str) -> set[str]:
    """Keys of the jobs that hold words."""
    return {one.key for one in known if one.number and has_words(f"{one.title} {one.note}", words)}


def job_cells(one: Candidate, said: Mapping[str, str]) -> dict[str, str]:
    """What stands in the row of a candidate: as it was typed, else as the ledger has it."""
    return {"in": "yes" if one.first else "", "due": str(one.due or ""), "weight": "1"} | dict(said)


def person_cells(said: Mapping[str, str], person: Person) -> dict[str, str]:
    """What stands in the row of a person."""
    return {"in": "yes", "hours": person.hours} | dict(said)


def asked(content: Mapping, known: Sequence[Candidate], shop: Shop, today: date) -> Ask:
    """What the page asks for, as it was typed.

    Raises
    ------
    BadInput
        With everything that cannot be read, each fault with its place.
    """
    read = Reading(_typed(content, known, shop))
    start = read.take("start", day_of) or today
    promise, in_time = (read.take(name, lambda said: _share(said, 5, 99), "Write per cent.")
                        for name in ("promise", "in_time"))
    wish = _wish(read, shop)
    seconds = read.take("seconds", lambda said: _between(said, 0, 600, "seconds"),
                        "Write seconds; 0 keeps the plan that is drawn at once.")
    jobs, people = _jobs(read, known, start), _people(read, shop)
    if not jobs and not read.faults:
        read.faults.append(Fault(
            "No machine is chosen.", "Tick the machines that are to be planned." if known else
            "Make a draft on the page Quote a machine, or accept a quote on the page Review "
            "hours."))
    if len(jobs) > MOST_JOBS:
        read.faults.append(Fault(f"{len(jobs)} machines are chosen.",
                                 f"Plan at most {MOST_JOBS} together."))
    if not people:
        read.faults.append(Fault("Nobody is at the bench.", "Tick who is there."))
    read.done()
    return Ask(jobs, _manned(shop, people), today, start, promise, in_time, seconds, wish)


def _typed(content: Mapping, known: Sequence[Candidate], shop: Shop) -> dict[str, str]:
    """All that stands on the page, by its place: a field of the form, or "table:row:column"."""
    found = FORM | dict(content.get("form", {}))
    jobs, people = content.get("jobs", {}), content.get("people", {})
    for one in known:
        found |= {f"jobs:{one.key}:{column}": said
                  for column, said in job_cells(one, jobs.get(one.key, {})).items()}
    for person in schedule.people_of(shop.settings):
        found |= {f"people:{person.name}:{column}": said for column, said
                  in person_cells(people.get(person.name, {}), person).items()}
    return found


def _jobs(read: Reading, known: Sequence[Candidate], start: date) -> tuple[_Wanted, ...]:
    """The machines that are ticked."""
    found = []
    for one in known:
        row = f"jobs:{one.key}"
        if not read.values[f"{row}:in"]:
            continue
        due, weight = read.take(f"{row}:due", day_of), read.take(f"{row}:weight", _weight)
        if due is not None and due < start and "start" not in read.wrong:
            # What is overdue is late whatever is done; it is planned as due on the first day.
            due = start
        found.append(_Wanted(one, due, weight or 1))
    return tuple(found)


def _people(read: Reading, shop: Shop) -> list[Person]:
    """Who is ticked, with the hours that are typed."""
    return [read.take(f"people:{person.name}:hours",
                      lambda words, person=person: _with_hours(person, words))
            for person in schedule.people_of(shop.settings)
            if read.values[f"people:{person.name}:in"]]


def _manned(shop: Shop, people: Sequence[Person]) -> Shop:
    """The shop with these people alone at its bench."""
    names = {person.name for person in people}
    settings = shop.settings.model_copy(update={
        "people": tuple(people),
        "closed": tuple(one for one in shop.settings.closed
                        if not one.person or one.person in names)})
    return replace(shop, settings=settings)


def _wish(read: Reading, shop: Shop) -> Wish | None:
    """What parts are bought for; a day sooner is worth what a day late costs, unless it is said."""
    name = read.take("buy", _wish_named)
    if name != TRADE_OFF:
        return WISHES.get(name)
    day, parcel = (read.take(field, _worth) for field in ("day_worth", "parcel_worth"))
    return trade_off(shop.settings.late_per_day if day is None else day, parcel or 0.0)


def _wish_named(said: str) -> str:
    names = (*WISHES, TRADE_OFF)
    if said not in names:
        raise Wrong(f"{quoted(said)} is nothing that parts are bought for.", one_of(said, names))
    return said


def _worth(said: str) -> float | None:
    found = cells.number(said)
    if found is not None and not 0 <= found < 1e9:
        raise Wrong(f"{found:g} is no worth of a day or a parcel.", "Write money, 0 or more.")
    return found


def _share(said: str, low: float, high: float) -> float | None:
    found = _between(said.replace("%", ""), low, high, "per cent")
    return None if found is None else found / 100


def _between(said: str, low: float, high: float, unit: str) -> float | None:
    found = cells.number(said)
    if found is not None and not low <= found <= high:
        raise Wrong(f"{found:g} {unit} cannot be.", f"Write {low:g} to {high:g}.")
    return found


def _weight(said: str) -> int:
    found = cells.number(said)
    if found is None:
        return 1
    if not (1 <= found <= 99 and found == int(found)):
        raise Wrong(f"The priority is {found:g}.", "Write a whole number from 1 to 99; the most "
                    "pressing has the greatest.")
    return int(found)


def _with_hours(person: Person, said: str) -> Person:
    try:
        return Person(**person.model_dump() | {"hours": " ".join(said.split())})
    except ValidationError:
        raise Wrong(f"{quoted(said)} are no hours of a week.",
                    "Write seven of them from Monday on, such as: 9-17 9-17 9-17 9-17 9-12:30 "
                    "closed closed.") from None
