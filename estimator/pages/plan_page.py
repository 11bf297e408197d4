"""The page "Bench plan": which machines, in which order, ready when, and what that waits for.

A plan is drawn at every edit, within the blink of an eye; a search for a better one runs beside
the page, and takes its place when it ends or is stopped.
"""

from __future__ import annotations

import html
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path

import ipywidgets as widgets

from estimator import schedule
from estimator.errors import BadInput, Fault
from estimator.ledger import Ledger
from estimator.pages import bench_desk as desks
from estimator.pages import bench_form as forms
from estimator.pages import bench_shown as shown
from estimator.pages import opening
from estimator.pages.bench_papers import Papers
from estimator.pages.beside import Beside, Work
from estimator.pages.boxes import box, heading
from estimator.pages.devices import ChoiceTable, Pulse
from estimator.pages.entering import Field, Form, Parts, plain_words
from estimator.pages.finding import Finder
from estimator.pages.guard import Alert, guarded, keep_log
from estimator.pages.keeping import Keeping
from estimator.pages.later import Later
from estimator.shop import Shop

PARTS = {"plan": "The plan", "dates": "Dates to promise", "buying": "Waiting and orders",
         "papers": "Papers"}
ROWS = {"machine": "Machine", "group": "Group of assemblies", "assembly": "Assembly",
        "person": "Person"}
_PAGE = "bench-plan"
_ABOUT = ("Of machines that cannot all be in time, the one with the greater priority is late by "
          "less. A blank day promises none; blank hours are those of the shop.")
_SAVE_S, _DRAW_S = 0.4, 0.3
_JOBS = ({"key": "in", "label": "Plan it", "kind": "check"},
         {"key": "due", "label": "Due", "kind": "date"},
         {"key": "weight", "label": "Priority", "kind": "number"})
_PEOPLE = ({"key": "in", "label": "At the bench", "kind": "check"},
           {"key": "hours", "label": "Hours, Monday to Sunday", "kind": "text"})


def opened() -> widgets.Widget:
    """The page as a widget, or what keeps it from opening, in plain words."""
    return opening.opened(
        _PAGE, lambda folder, shop: PlanPage(folder, shop, draft=opening.asked_draft()),
        needs="Machines are planned from drafts and jobs")


class _Search(Beside):
    """The search for a better plan: stopped by its button, the best so far stands."""

    def __init__(self, prepare: Callable[[], Work | str], done: Callable[[object], None]):
        super().__init__("Search for a better plan", prepare, done)
        self.enough = False

    def start(self) -> None:
        """Begin anew."""
        self.enough = False
        super().start()

    def stop(self, why: str | None = None) -> None:
        """With a reason nothing comes of it; by the button the best so far does."""
        if why is not None:
            super().stop(why)
        elif self.running:
            self.enough = True
            self.say("Stopping; the best plan so far stands.")


class PlanPage:
    """The page.

    Parameters
    ----------
    folder
        Shop folder with the ledger.
    draft
        Key of the plan to open; None takes the one saved last.
    """

    def __init__(self, folder: Path, shop: Shop, today: Callable[[], date] = date.today,
                 draft: str | None = None):
        self.shop, self._today = shop, today
        self.log_path = keep_log(folder)
        self.ledger = Ledger(folder)
        self.bench = desks.Bench(self.ledger, shop)
        self.alerts = {"page": Alert(), "ask": Alert(), "ledger": Alert()}
        self.content: dict = {"schema": forms.SCHEMA}
        self.found: desks.Drawn | None = None
        self._former: schedule.BenchPlan | None = None
        self._wrong: dict[str, dict[str, dict[str, str]]] = {}
        self._ways: Mapping | None = None
        self._stopped = False
        self.saving = Later(_SAVE_S, [self.save])
        self.drawing = Later(_DRAW_S, [self._draw], held=True)
        self.paint = Later(0, [self._show_part])
        self._build()
        self._open(draft)

    # What a person sees -----------------------------------------------------------------

    def _build(self) -> None:
        self.pulse = Pulse(self._there)
        self.keeping = Keeping(self.ledger, self.pulse, forms.KIND, "plan")
        self.find = Finder("job or draft", self._find, forms.DRAFTS)
        self.jobs = ChoiceTable(
            "jobs", "Machines that can be planned", "Machine", _JOBS,
            "There is no job under way and no draft. Make one on the page Quote a machine.",
            lambda *edit: self._edited("jobs", *edit))
        self.people = ChoiceTable("people", "People at the bench", "Person", _PEOPLE, "",
                                   lambda *edit: self._edited("people", *edit))
        self.form = Form("plan", "When, and how sure", (), (), lambda *_: None, self._typed,
                         log_path=self.log_path)
        self.again = widgets.Button(description="Plan again from today, with what is booked")
        self.again.on_click(lambda _button: self._again())
        self.search = _Search(self._work, self._came)
        self.many, self.strip, self.proof = (widgets.HTML() for _ in range(3))
        self.bar = Parts("Parts of the plan", tuple(PARTS.items()), self._go, main=True)
        self.by = Parts("Rows of the chart", tuple(ROWS.items()), self._by)
        (self.days, self.load, self.by_day, self.critical, self.dates, self.late, self.ways,
         self.waiting, self.orders, self.lots) = (widgets.HTML() for _ in range(10))
        self.papers = Papers(self.shop, self.log_path, lambda: self.found,
                             lambda: self.content.get("sheet"), self._sheeted)
        self.blocks = self._blocks()
        self.body = box("est-block")
        self.answer = box("est-block", box("est-promises", self.strip), self.proof, self.bar,
                          self.body)
        self.widget = box(
            "est-page", self.pulse,
            opening.head(_PAGE, self.keeping.widget),
            self.alerts["page"].widget, self.alerts["ledger"].widget,
            heading("What is planned"), self.many, self.find.widget,
            box("est-asked-for", self.jobs, self.people),
            widgets.HTML(f"<p>{_ABOUT}</p>"), self.form,
            self.alerts["ask"].widget,
            box("est-doing", self.search.widget, self.again), self.answer)
        self.answer.layout.display = "none"

    def _blocks(self) -> dict[str, widgets.Box]:
        """The parts of the plan, of which one is shown."""
        return {
            "plan": box("est-block", heading("Day by day"), self.by, self.days,
                        heading("Hours of each person, week by week"), self.load,
                        heading("What holds up the end"), self.critical,
                        heading("Work in order"), self.by_day),
            "dates": box("est-block", heading("When machines are ready"), self.dates,
                         heading("What delays it"), self.late,
                         heading("Two ways of working"), self.ways),
            "buying": box("est-block", heading("Waiting list"), self.waiting,
                          heading("Orders by day and supplier"), self.orders,
                          heading("Lots that go out"), self.lots),
            "papers": self.papers.widget,
        }

    def failed(self, area: str) -> None:
        """What stands below is of before."""
        if area == "ask":
            self.search.stop("")
            self._old(True)

    def _old(self, old: bool) -> None:
        (self.answer.add_class if old else self.answer.remove_class)("est-old")
        self.papers.old(old or self.found is None)
        self.search.button.disabled = old or self.found is None

    # What is typed ----------------------------------------------------------------------

    @guarded("page")
    def _open(self, key: str | None) -> None:
        held = self.keeping.first(key)
        if held is not None:
            self.keeping.lay(held)
            self.content = dict(held.content or {})
        self._read()
        self._lay_out()
        self.papers.show()
        part = self.content.get("part")
        self.bar.current = part if part in PARTS else "plan"
        rows = self.content.get("rows")
        self.by.current = rows if rows in ROWS else self._usual_rows()
        self.keeping.say()
        self.drawing.start()

    def _there(self) -> None:
        """The page is in the browser: what takes long may begin."""
        if self.keeping.draft.revision:
            self.keeping.address()
        self.drawing.release()

    def _read(self) -> None:
        said = self.content.get("jobs", {})
        drafts = self.find.drafts(self.ledger, also=forms.kept_drafts(self.ledger, said))
        self.known = forms.candidates(self.ledger, drafts)
        found = {f"draft:{one.key}" for one in drafts[:self.find.count]}
        self._alike = forms.jobs_with(self.known, self.find.words) | found
        self.find.told(len(self._alike), cut=len(found) >= forms.DRAFTS,
                       offered=len(self.known) > forms.DRAFTS)
        jobs = sum(bool(one.number) for one in self.known)
        self.many.value = "" if jobs <= forms.MOST_JOBS else (
            f"<p>A plan holds at most {forms.MOST_JOBS} machines: of {jobs} jobs those that are "
            "promised soonest are ticked, unless you choose others.</p>")

    @guarded("page")
    def _find(self) -> None:
        self._read()
        self._rows()

    def _usual_rows(self) -> str:
        return "machine" if len(forms.ticked(self.known, self.content.get("jobs", {}))) > 1 \
            else "group"

    def _lay_out(self) -> None:
        """Fill tables and form from what was typed."""
        said = forms.FORM | dict(self.content.get("form", {}))
        self.form.offer([
            Field("start", "First day", "date", said["start"], help="Blank is today."),
            Field("promise", "A date is to hold in, per cent", "number", said["promise"],
                  help="80: four in five."),
            Field("in_time", "Parts are to be there in time in, per cent", "number",
                  said["in_time"]),
            Field("buy", "Parts are bought to be", "choice", said["buy"],
                  (("cheapest", "cheapest"), ("fastest", "there first"),
                   ("fewest parcels", "in fewest parcels"),
                   (forms.TRADE_OFF, "the best trade-off"))),
            *(self._worths(said) if said["buy"] == forms.TRADE_OFF else ()),
            Field("seconds", "Search for a better plan for, seconds", "number", said["seconds"],
                  help="0 keeps the plan that is drawn at once."),
        ])
        self._rows()

    def _worths(self, said: Mapping[str, str]) -> tuple[Field, Field]:
        """What days and parcels are weighed with against money."""
        settings = self.shop.settings
        return (Field("day_worth", f"The last part a day sooner is worth, {settings.currency}",
                      "number", said["day_worth"],
                      help=f"Blank is what a day late costs, {settings.late_per_day:g}."),
                Field("parcel_worth", f"A parcel less to open is worth, {settings.currency}",
                      "number", said["parcel_worth"], help="Blank is nothing."))

    def _rows(self) -> None:
        jobs, people = self.content.get("jobs", {}), self.content.get("people", {})
        wrong = self._wrong
        # What is planned is seen, whatever is looked for, below what was found.
        shown = self._alike | forms.ticked(self.known, jobs)
        known = sorted(self.known, key=lambda one: one.key not in self._alike) \
            if self.find.words.split() else self.known
        self.jobs.rows = [{
            "id": one.key, "title": one.title, "note": one.note,
            "cells": forms.job_cells(one, jobs.get(one.key, {})),
            "wrong": wrong.get("jobs", {}).get(one.key, {})} for one in known
            if one.key in shown or not one.number]
        usual = self.shop.settings.open_hours
        self.people.rows = [{
            "id": person.name, "title": person.name, "note": person.skills.replace(" ", ", "),
            "cells": forms.person_cells(people.get(person.name, {}), person),
            "hints": {"hours": usual},
            "wrong": wrong.get("people", {}).get(person.name, {})}
            for person in schedule.people_of(self.shop.settings)]

    def _edited(self, table: str, row: str, column: str, value: str) -> None:
        rows = dict(self.content.get(table, {}))
        rows[row] = {**rows.get(row, {}), column: value}
        self.content[table] = rows
        self._later()

    def _typed(self, values: Mapping[str, str]) -> None:
        before = forms.FORM | dict(self.content.get("form", {}))
        self.content["form"] = {**self.content.get("form", {}), **values}
        if forms.TRADE_OFF in (before["buy"], values["buy"]) and before["buy"] != values["buy"]:
            self._lay_out()
        self._later()

    def _later(self) -> None:
        self.search.stop("")
        self.saving.start()
        self.drawing.start()

    @guarded("page")
    def _again(self) -> None:
        """Take in what was booked since, and go on from today as near to the plan as can be."""
        self._former = self.found.plan if self.found else None
        self.content["form"] = {**self.content.get("form", {}), **self.form.values, "start": ""}
        self._read()
        self._lay_out()
        self._later()

    @guarded("ledger")
    def save(self) -> None:
        """Keep what is typed, as a draft of the ledger."""
        if self.keeping.save("Bench plan", self.content):
            self.keeping.address()
        self.keeping.say()

    # The plan ---------------------------------------------------------------------------

    def _draw(self) -> None:
        self._wrong = {}
        self.form.clear()
        self._drawn()
        self._rows()

    @guarded("ask")
    def _drawn(self) -> None:
        try:
            ask = forms.asked(self.content, self.known, self.shop, self._today())
            found = self.bench.draw(ask, self._former)
        except BadInput as error:
            self._place(error.faults)
            rest = [fault for fault in error.faults if not self._placed(fault)]
            if rest:
                raise BadInput(Fault(plain_words(fault.what), plain_words(fault.fix or ""))
                               for fault in rest) from None
            self.failed("ask")
            return
        self._take(found)
        self._stopped = False
        if ask.seconds > 0:
            self.search.start()

    def _placed(self, fault: Fault) -> bool:
        return bool(fault.column) and (":" in fault.column or fault.column in forms.FORM)

    def _place(self, faults: Sequence[Fault]) -> None:
        """Say what is wrong at the field that it stands in."""
        own = []
        for fault in faults:
            table, _, rest = (fault.column or "").partition(":")
            row, _, column = rest.rpartition(":")
            if row:
                said = self._wrong.setdefault(table, {}).setdefault(row, {})
                said[column] = f"{said.get(column, '')} {fault.what} {fault.fix}".strip()
            elif fault.column in forms.FORM:
                own.append(fault)
        if own:
            self.form.show_faults(own)

    def _take(self, found: desks.Drawn) -> None:
        """A plan takes the place of the one before."""
        self.found, self._ways = found, None
        self._old(False)
        self.answer.layout.display = ""
        self.strip.value = shown.strip(found)
        self.proof.value = (f'<p class="est-said" data-say data-testid="proof">'
                            f"{html.escape(schedule.proof_words(found.plan, self._stopped))}</p>")
        self.paint.start()

    def _work(self) -> Work | str:
        found, former = self.found, self._former
        if found is None:
            return "There is no plan yet to better."
        if found.ask.seconds <= 0:
            return "Say above for how many seconds to search."
        began = time.monotonic()

        def work(progress) -> desks.Drawn:
            def told(_end: float, _least: float) -> bool:
                gone = (time.monotonic() - began) / (1.5 * found.ask.seconds)
                return progress(min(gone, 0.99)) and not self.search.enough
            return desks.bettered(found, told, former)
        return work

    @guarded("ask")
    def _came(self, found: desks.Drawn) -> None:
        self._stopped = self.search.enough
        self._take(found)

    # What is shown ----------------------------------------------------------------------

    @guarded("page")
    def _go(self, part: str) -> None:
        self.bar.current = part
        self.content["part"] = part
        self.saving.start()
        self._show_part()

    @guarded("page")
    def _by(self, rows: str) -> None:
        self.by.current = rows
        self.content["rows"] = rows
        self.saving.start()
        self._show_part()

    @guarded("page")
    def _show_part(self) -> None:
        part = self.bar.current
        if self.found is not None:
            {"plan": self._plan, "dates": self._dates, "buying": self._buying,
             "papers": lambda: None}[part]()
        if self.body.children != (self.blocks[part],):
            self.body.children = (self.blocks[part],)

    def _plan(self) -> None:
        found = self.found
        today = (self._today() - found.plan.start).days
        self.days.value = shown.days(found, self.by.current, max(0.0, float(today)))
        self.load.value = shown.load(found)
        self.critical.value = shown.critical(found)
        self.by_day.value = shown.by_day(found)

    def _dates(self) -> None:
        found = self.found
        self.dates.value = shown.dates(found)
        self.late.value = shown.delays(found)
        if self._ways is None:
            self._ways = desks.ways_of(found)
        self.ways.value = shown.ways(found, self._ways)

    def _buying(self) -> None:
        found = self.found
        self.waiting.value = shown.waiting(found)
        self.orders.value = shown.orders(found)
        self.lots.value = shown.lots(found)

    def _sheeted(self, sheet: str) -> None:
        self.content["sheet"] = sheet
        self.saving.start()
