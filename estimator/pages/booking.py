"""Booking time on the page: running clocks, hours typed, a time sheet, entries put right."""

from __future__ import annotations

import html
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime

import ipywidgets as widgets

from estimator import jobs
from estimator.errors import BadInput, Fault
from estimator.jobs import hours_of, time_of
from estimator.ledger import Clock, TimeEntry
from estimator.pages import typed
from estimator.pages.boxes import box, heading
from estimator.pages.devices import FileButton, too_big
from estimator.pages.entering import Button, Field, Form, Listing, Parts, PlainAlert, Row
from estimator.pages.guard import guarded
from estimator.pages.workshop import Workshop
from estimator.survey.cells import Reading
from estimator.units import counted

LATEST = 30
_HOURS = "1.5 or 1:30; blank where from and to say it"
_STAYS = ("person", "work", "whose")
"""What stands in a form after it was booked: the next hours are often of the same work."""
_SHEET = ("Columns: person, day, hours or start and stop, job, item or unbilled, note. All rows "
          "are booked, or none.")


class BookTime:
    """The part of the page where hours are booked; `widget` is all of it."""

    def __init__(self, workshop: Workshop):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"time": PlainAlert()}
        self._sheet: tuple[str, bytes] | None = None
        self._correcting: TimeEntry | None = None
        self._clock_forms: dict[tuple, list[widgets.Widget]] = {}
        self._numbers = itertools.count(1)
        self.start = self._form("start", "Start a clock", (), [Button("start", "Start the clock")],
                                self._started)
        self.hours = self._form("hours", "Hours worked", (), [Button("book", "Book the hours")],
                                self._booked)
        self.upload = FileButton("Upload a time sheet (CSV)", takes=".csv,.txt,.tsv",
                                 on_file=self._uploaded)
        self.sheet = Form("sheet", "Time sheet", (), (), self._sheet_booked, yes="Yes, book them",
                          log_path=self.log_path)
        self.correct = Form("correct", "Correct an entry", (), (), self._corrected,
                            self._correction_typed, yes="Yes, correct it", log_path=self.log_path)
        self.correct_head = widgets.HTML()
        self.correct_box = box("est-block", self.correct_head, self.correct)
        self.correct_box.layout.display = "none"
        self.entries = Listing(
            "entries", "Latest bookings",
            ("Day", "Person", ">Hours", "From – to", "Job", "On", "Remark"),
            "No hours are booked so far.", self._asked)
        self.scope = Parts("Which bookings", (("all", "All jobs"), ("job", "This job only"),
                                              ("history", "With what was taken back")),
                           self._scoped)
        self.total = widgets.HTML()
        self.clocks = box("est-clocks")
        self.hint = widgets.HTML()
        self.widget = box(
            "est-block", self.alerts["time"].widget, self.hint,
            heading("Clock"), self.clocks, self.start,
            heading("Hours worked"), self.hours,
            heading("Time sheet"), widgets.HTML(f"<p>{_SHEET}</p>"),
            box("est-buttons", self.upload), self.sheet,
            heading("Latest bookings"), self.scope, self.correct_box, self.entries, self.total)
        self.sheet.layout.display = "none"

    def failed(self, _area: str) -> None:
        """What could not be read is said; what stands there is of before."""

    def _form(self, name: str, title: str, fields, buttons, on_act) -> Form:
        return Form(name, title, fields, buttons, on_act,
                    lambda values: self.workshop.keep_typed(name, values), log_path=self.log_path)

    # What is shown --------------------------------------------------------------------------

    @guarded("time")
    def show(self) -> None:
        """Show what the ledger holds, and the forms with what was typed last."""
        job = self.workshop.job
        self.hint.value = "" if job else (
            "<p>Choose a job above to book on its work items. Time that no quote pays for can be "
            "booked without one.</p>")
        self._lay_out()
        self._show_clocks()
        self._list()

    def _lay_out(self) -> None:
        shop, number = self.workshop, self.workshop.number
        for form, fields in ((self.start, self._start_fields()),
                             (self.hours, self._hours_fields())):
            held = form.values or shop.typed(form.name)
            if not any(held.get(name) for name in ("hours", "start", "stop", "note", "since")):
                held = {name: held[name] for name in _STAYS if name in held}
            known = {option[0] for option in _flat(shop.work(number))}
            if held.get("work") not in known:
                held.pop("work", None)
            if held.get("whose") not in {option[0] for option in shop.whose(number)}:
                held.pop("whose", None)
            form.offer([replace(field, value=held.get(field.name, field.value))
                        for field in fields])

    def _who(self) -> Field:
        people = self.workshop.people
        return Field("person", "Person", value=people[0] if len(people) == 1 else "",
                     options=people)

    def _where(self, number: str | None) -> tuple[Field, Field]:
        whose = self.workshop.whose(number)
        return (Field("work", "Work", "choice", options=self.workshop.work(number)),
                Field("whose", "Time without a work item is of", "choice", whose[0][0], whose))

    def _start_fields(self) -> list[Field]:
        return [self._who(), *self._where(self.workshop.number),
                Field("since", "Since", "time", help="Blank is now."),
                Field("note", "Remark", "long")]

    def _hours_fields(self) -> list[Field]:
        return [self._who(), Field("day", "Day", "date", date.today().isoformat()),
                Field("hours", "Hours", "number", help=_HOURS),
                Field("start", "From", "time"), Field("stop", "To", "time"),
                *self._where(self.workshop.number), Field("note", "Remark", "long")]

    def _show_clocks(self) -> None:
        # A clock that runs on keeps its form, and what is typed there.
        shop, held, self._clock_forms = self.workshop, self._clock_forms, {}
        for clock in shop.ledger.clocks():
            key = clock.person, clock.started
            if key in held:
                self._clock_forms[key] = held[key]
                continue
            of = f", {shop.job_named(clock.job)}" if clock.job else ""
            title = (f"{clock.person}: since {_moment(clock.started)} on "
                     f"{shop.place(clock)}{of}")
            form = Form(
                f"clock-{next(self._numbers)}", title,
                [Field("stop", "Ended at", "time", help="Blank is now."),
                 Field("hours", "Hours of it", "number", help="Blank is all of it."),
                 Field("note", "Remark")],
                [Button("stop", "Stop and book"), Button("drop", "Let it go, book nothing", False)],
                lambda act, values, sure, clock=clock: self._stopped(clock, act, values, sure),
                log_path=self.log_path)
            self._clock_forms[key] = [_line("h3", f"Running: {title}", "clock"), form]
        self.clocks.children = [one for pair in self._clock_forms.values() for one in pair]

    def _list(self) -> None:
        shop, scope = self.workshop, self.scope.current
        history, job = scope == "history", shop.number if scope == "job" else None
        none = scope == "job" and job is None
        latest = () if none else shop.ledger.last_booked(TimeEntry, LATEST, job=job,
                                                         history=history)
        count, hours = (0, 0.0) if none else shop.ledger.counted(job=job, history=history)
        # What takes an entry back was booked after it, and so stands among the latest with it.
        gone = {one.reverses for one in latest if one.reverses}
        shop.read_items(one.job for one in latest)
        self.entries.show([self._row(one, gone) for one in latest])
        more = f" The latest {LATEST} of {count}." if count > LATEST else ""
        self.total.value = (f'<p data-testid="booked-hours">{hours:.2f} '
                            f"hours in {counted(count, 'entry', 'entries')}.{more}</p>")

    def _row(self, one: TimeEntry, gone: set[int]) -> Row:
        shop = self.workshop
        when = "" if one.started is None or one.stopped is None else (
            f"{_clock(one.started)} – {_clock(one.stopped)}")
        note = one.note
        if one.reverses:
            note = f"takes back entry {one.reverses}: {one.why}"
        elif one.replaces:
            note = f"in place of entry {one.replaces}: {one.why}. {note}".strip()
        elif one.id in gone:
            note = f"taken back. {note}".strip()
        fixed = one.reverses or one.id in gone
        name = f"entry {one.id}, {one.person}, {one.day}"
        return Row(str(one.id), (one.day.isoformat(), one.person, f"{one.hours:.2f}", when,
                                 shop.job_named(one.job) or "the shop", shop.place(one), note),
                   () if fixed else (("correct", "Correct", f"Correct {name}"),
                                     ("take-back", "Take back", f"Take back {name}")))

    @guarded("time")
    def _scoped(self, scope: str) -> None:
        self.scope.current = scope
        self._list()

    # What is done ---------------------------------------------------------------------------

    def _started(self, _act: str, values: Mapping[str, str], sure: Sequence[str]) -> str:
        shop, now = self.workshop, datetime.now(UTC)
        clock = shop.ledger.start(typed.clock(values, shop.number, now), unbilled=shop.unbilled,
                                  sure=sure, now=now)
        self._settle(self.start)
        return f"The clock of {clock.person} runs since {_moment(clock.started)}."

    def _stopped(self, clock: Clock, act: str, values: Mapping[str, str], sure: Sequence[str]
                 ) -> str:
        shop, now = self.workshop, datetime.now(UTC)
        if act == "drop":
            shop.ledger.drop(clock.person)
            said = f"The clock of {clock.person} is gone; nothing was booked."
        else:
            read = Reading(values)
            hours, stop = read.take("hours", hours_of), read.take("stop", time_of)
            note = read.take("note")
            read.done()
            entry = shop.ledger.stop(
                clock.person, unbilled=shop.unbilled, hours=hours, note=note, sure=sure, now=now,
                at=None if stop is None else jobs.next_after(stop, clock.started))
            said = f"{entry.hours:.2f} hours of {entry.person} are booked."
        shop.changed()
        self.start.status = said
        return ""

    def _booked(self, _act: str, values: Mapping[str, str], sure: Sequence[str]) -> str:
        shop = self.workshop
        (entry,) = shop.ledger.book([typed.time_entry(values, shop.number)],
                                    unbilled=shop.unbilled, sure=sure)
        self._settle(self.hours)
        return f"{entry.hours:.2f} hours of {entry.person} on {entry.day} are booked."

    def _settle(self, form: Form) -> None:
        """What was booked leaves the form; who and what on stays."""
        kept = {name: value for name, value in form.values.items() if name in _STAYS}
        blank = {name: "" for name in form.values if name not in _STAYS}
        form.fill(blank | {"day": date.today().isoformat()})
        self.workshop.keep_typed(form.name, kept)
        self.workshop.changed()

    # A time sheet ---------------------------------------------------------------------------

    def _uploaded(self, name: str, size: int, data: bytes | None) -> None:
        self.sheet.layout.display = ""
        self._sheet = None if data is None else (name, data)
        if data is None:
            self.sheet.show_faults([too_big(name, size, "a time sheet")])
            return
        self.sheet.act("sheet", {})

    def _sheet_booked(self, _act: str, _values: Mapping[str, str], sure: Sequence[str]) -> str:
        shop = self.workshop
        if self._sheet is None:
            raise BadInput(Fault("The time sheet is not here any more.", "Upload it again."))
        name, data = self._sheet
        rows, found = jobs.read_sheet(data, name, shop.jobs, shop.items, shop.unbilled)
        kept = shop.ledger.book(found, unbilled=shop.unbilled, sure=sure, rows=rows, file=name)
        self._sheet = None
        shop.changed()
        hours = math.fsum(one.hours for one in kept)
        return f"{name}: {hours:.2f} hours in {counted(len(kept), 'row')} are booked."

    # Putting right --------------------------------------------------------------------------

    @guarded("time")
    def _asked(self, act: str, key: str) -> None:
        one = self.workshop.ledger.entry(TimeEntry, int(key))
        if one is None:
            self.workshop.changed()
            raise BadInput(Fault(f"Entry {key} is not in force any more.",
                                 "Look at the one in its place."))
        self._correcting, back = one, act == "take-back"
        self.correct.clear()
        what = "Take back" if back else "Correct"
        self.correct_head.value = _said(
            "h3", f"{what} entry {one.id}: {one.hours:.2f} hours of {one.person} on {one.day}, "
                  f"{self.workshop.place(one)}")
        why = Field("why", "Why", help="In a few words; both entries stay in the books.")
        self.correct.buttons = [
            {"act": act, "label": "Take it back" if back else "Book it so instead", "first": True},
            {"act": "leave", "label": "Leave it as it is", "first": False}]
        self.correct.offer([why] if back else [*self._entry_fields(one), why])
        self.correct_box.layout.display = ""
        self.correct.focus()

    def _entry_fields(self, one: TimeEntry, values: Mapping[str, str] | None = None) -> list[Field]:
        jobs_listed = [["", "No job"], *self.workshop.job_options(one.job)]
        number = (values or {}).get("job", one.job or "") or None
        work = f"item:{one.item}" if one.item is not None else f"unbilled:{one.unbilled}"
        span = None if one.started is None or one.stopped is None else (
            (one.stopped - one.started).total_seconds() / 3600)
        # Hours that from and to say already would stand against a new end.
        said = "" if span is not None and abs(span - one.hours) < 1 / 120 else f"{one.hours:g}"
        return [Field("person", "Person", value=one.person, options=self.workshop.people),
                Field("day", "Day", "date", one.day.isoformat()),
                Field("hours", "Hours", "number", said, help=_HOURS),
                Field("start", "From", "time", _clock(one.started)),
                Field("stop", "To", "time", _clock(one.stopped)),
                Field("job", "Job", "choice", one.job or "", tuple(jobs_listed)),
                Field("work", "Work", "choice", work, self.workshop.work(number)),
                Field("note", "Remark", "long", one.note)]

    @guarded("time")
    def _correction_typed(self, values: Mapping[str, str]) -> None:
        """Another job has other work items."""
        if self._correcting is None or "job" not in values:
            return
        options = self.workshop.work(values["job"] or None)
        there = next(field for field in self.correct.fields if field["name"] == "work")
        if list(options) != there["options"]:
            known = {option[0] for option in _flat(options)}
            fields = [*self._entry_fields(self._correcting, values), Field("why", "Why")]
            self.correct.offer([
                replace(field, value=values.get(field.name, "")
                        if field.name != "work" or values.get("work") in known else "")
                for field in fields])

    def _corrected(self, act: str, values: Mapping[str, str], sure: Sequence[str]) -> str:
        shop, one = self.workshop, self._correcting
        if act == "leave" or one is None:
            self._let_go()
            return ""
        read = Reading(values)
        why = read.take("why", needed="Say why in a few words.")
        instead = None
        if act == "correct":
            try:
                instead = typed.time_entry(values, values.get("job") or None)
            except BadInput as error:
                read.faults += error.faults
        read.done()
        kept = shop.ledger.correct(TimeEntry, one.id, why, instead, unbilled=shop.unbilled,
                                   sure=sure)
        self._let_go()
        shop.changed()
        self.hours.status = (
            f"Entry {one.id} is taken back." if instead is None else
            f"Entry {one.id} is taken back; entry {kept[-1].id} stands in its place.")
        return ""

    def _let_go(self) -> None:
        self._correcting = None
        self.correct_box.layout.display = "none"


def _flat(options: Sequence) -> list:
    """Options of a choice without their headings."""
    return [one for option in options
            for one in (option[1] if isinstance(option[1], list) else [option])]


def _said(tag: str, words: str, test: str = "") -> str:
    mark = f' data-testid="{test}"' if test else ""
    return f"<{tag}{mark}>{html.escape(words)}</{tag}>"


def _line(tag: str, words: str, test: str) -> widgets.HTML:
    return widgets.HTML(_said(tag, words, test))


def _moment(moment: datetime) -> str:
    here = moment.astimezone()
    today = here.date() == datetime.now().astimezone().date()
    return f"{here:%H:%M}" if today else f"{here:%Y-%m-%d %H:%M}"


def _clock(moment: datetime | None) -> str:
    return "" if moment is None else f"{moment.astimezone():%H:%M}"
