"""From what stands in the fields of a form to a record of the ledger; no widgets in here.

Every function takes the values as they were typed and tells all that is wrong at once, each fault
with the field it stands in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal

from estimator.catalogue import Catalogue
from estimator.errors import BadInput, Fault, one_of
from estimator.jobs import day_of, hours_between, hours_of, last_before, moments, time_of
from estimator.ledger import Clock, Outwork, Purchase, Sale, TimeEntry
from estimator.survey import cells
from estimator.survey.cells import Reading

Values = Mapping[str, str]


def _place_of(values: Values, job: str | None) -> tuple[str | None, int | None, str | None]:
    """Job, work item and kind of unbilled time that the fields "work" and "whose" say.

    Examples
    --------
    >>> _place_of({"work": "item:3"}, "260302-A1")
    ('260302-A1', 3, None)
    >>> _place_of({"work": "unbilled:ordering", "whose": "shop"}, "260302-A1")
    (None, None, 'ordering')
    """
    kind, _, which = values.get("work", "").partition(":")
    if kind == "item" and which.isdecimal():
        return job, int(which), None
    if kind == "unbilled":
        return (None if values.get("whose") == "shop" else job), None, which
    raise BadInput(Fault("It does not say what was worked on.", "Choose from the list.",
                         column="work"))


def time_entry(values: Values, job: str | None) -> TimeEntry:
    """Hours as they were typed: hours, or from when to when, or both where there was a break.

    Examples
    --------
    >>> entry = time_entry({"person": "Anna", "day": "2026-03-02", "start": "9:15",
    ...                     "stop": "11:00", "work": "unbilled:ordering"}, None)
    >>> entry.hours, entry.unbilled
    (1.75, 'ordering')
    """
    read = Reading(values)
    person = read.take("person", needed="Say whose hours they are.")
    day = read.take("day", day_of, "Say when it was worked.")
    hours, start, stop = (read.take("hours", hours_of), read.take("start", time_of),
                          read.take("stop", time_of))
    note = read.take("note")
    place = read.take("work", lambda _: _place_of(values, job)) or (None, None, None)
    if hours is None and None in (start, stop) and not read.wrong & {"hours", "start", "stop"}:
        read.faults.append(Fault("It says neither how many hours, nor from when to when.",
                                 "Write hours such as 1.5 or 1:30.", column="hours"))
    if read.faults and hours is not None and not hours > 0:
        # Told by the ledger too, but only of an entry that can be read.
        read.faults.append(Fault(f"The hours are {hours:g}; they must be over 0.",
                                 "To take hours back, correct their entry.", column="hours"))
    read.done()
    started, stopped = moments(day, start, stop)
    if hours is None:
        hours = hours_between(started, stopped)
    return TimeEntry(person=person, day=day, hours=hours, job=place[0], item=place[1],
                     unbilled=place[2], started=started, stopped=stopped, note=note)


def clock(values: Values, job: str | None, now: datetime) -> Clock:
    """A clock to be started now, or at the time of day that was typed."""
    read = Reading(values)
    person = read.take("person", needed="Say whose clock it is.")
    note, since = read.take("note"), read.take("since", time_of)
    place = read.take("work", lambda _: _place_of(values, job)) or (None, None, None)
    read.done()
    return Clock(person, now if since is None else last_before(since, now), *place, note)


def _amount(cell: str) -> Decimal | None:
    """A sum of money to the digit that was written; None where it is blank."""
    found = cells.number(cell, "49.90")
    return None if found is None else Decimal(str(found))


def _part_of(cell: str, catalogue: Catalogue) -> str | None:
    """The part of the table that a name or the words for it mean; None where it is blank."""
    said = cells.text(cell)
    if not said:
        return None
    for name, row in catalogue.parts.items():
        if said.casefold() in (name.casefold(), row.name.casefold()):
            return name
    names = [row.name for row in catalogue.parts.values()]
    raise BadInput(Fault(f"{cells.shown(said)} is not in the table of parts.",
                         one_of(said, names) + " Or leave it blank."))


def purchase(values: Values, job: str | None, catalogue: Catalogue, currency: str) -> Purchase:
    """What was bought."""
    read = Reading(values)
    common = _common(read, values, job, currency)
    part = read.take("part", lambda cell: _part_of(cell, catalogue))
    what = read.take("what") or (catalogue.parts[part].name if part else "")
    supplier, unit = read.take("supplier"), read.take("unit") or "piece"
    quantity = read.take("quantity", cells.number, "Say how many.")
    paid = read.take("amount", _amount, "Say what was paid for all of it, before tax.")
    if not what and not any(fault.column in ("what", "part") for fault in read.faults):
        read.faults.append(Fault("It does not say what was bought.", "Name it.", column="what"))
    read.done()
    return Purchase(**common, supplier=supplier, what=what, part=part, quantity=quantity, unit=unit,
                    amount=paid)


def sent_out(values: Values, job: str | None, catalogue: Catalogue, currency: str) -> Outwork:
    """Pieces that went to a service."""
    read = Reading(values)
    common = _common(read, values, job, currency)
    service = read.take("service", needed="Choose from the list.")
    if service and service not in catalogue.services:
        read.faults.append(Fault(f"{cells.shown(service)} is not in the table of services.",
                                 one_of(service, catalogue.services), column="service"))
    what = read.take("what", needed="Name the pieces.")
    quantity = read.take("quantity", cells.number, "Say how many.")
    unit = read.take("unit") or "piece"
    read.done()
    return Outwork(**common, service=service, what=what, event="sent", quantity=quantity, unit=unit)


def came_back(values: Values, lots: Sequence[Outwork], currency: str) -> Outwork:
    """Pieces that came back, and what was charged for them."""
    read = Reading(values)
    lot = {str(one.id): one for one in lots}.get(values.get("lot", ""))
    if lot is None:
        read.faults.append(Fault("It does not say what came back.",
                                 "Choose from what is still out.", column="lot"))
    common = _common(read, values, lot.job if lot else None, currency)
    quantity = read.take("quantity", cells.number, "Say how many.")
    charged = read.take("amount", _amount, "Say what was charged, before tax; 0 if nothing was.")
    read.done()
    return Outwork(**{**common, "job": lot.job}, service=lot.service, what=lot.what, event="back",
                   of=lot.id, quantity=quantity, unit=lot.unit, amount=charged)


def sale(values: Values, job: str | None, currency: str) -> Sale:
    """What came in."""
    read = Reading(values)
    common = _common(read, values, job, currency)
    what = read.take("what", needed="Name it: a job paid for, a machine sold.")
    came = read.take("amount", _amount, "Say what came in, before tax.")
    fees = read.take("fees", _amount) or Decimal(0)
    read.done()
    return Sale(**common, what=what, amount=came, fees=fees)


def why_of(values: Values) -> str:
    """The reason that a counter-entry needs."""
    read = Reading(values)
    found = read.take("why", needed="Say why in a few words.")
    read.done()
    return found


def day_or_none(values: Values, field: str) -> date | None:
    """The day in a field; None where it is blank.

    Raises
    ------
    BadInput
        If it is none.
    """
    read = Reading(values)
    found = read.take(field, day_of)
    read.done()
    return found


def _common(read: Reading, values: Values, job: str | None, currency: str) -> dict:
    return {"day": read.take("day", day_of, "Say on which day."), "note": read.take("note"),
            "job": None if values.get("whose") == "shop" else job, "currency": currency}
