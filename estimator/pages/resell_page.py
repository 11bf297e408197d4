"""The page "Restore or resell": what to do with a machine, said so that a partner can follow it.

What is typed is read at every change; the jobs behind the choices are played once for a survey and
kept, so that a price, a fee or a rate is answered at once. What takes longer is drawn a little
later; more trials than an edit can wait for are played beside the page.
"""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import ipywidgets as widgets

from estimator import catalogue as tables
from estimator import ledger, survey
from estimator.catalogue import Era
from estimator.errors import BadInput, Fault
from estimator.pages import deal as deals
from estimator.pages import desk as desks
from estimator.pages import opening, resell_answer
from estimator.pages.boxes import box, heading
from estimator.pages.devices import FileButton, Pulse, too_big
from estimator.pages.entering import Form
from estimator.pages.figures import gaps
from estimator.pages.finding import Finder
from estimator.pages.guard import Alert, guarded, keep_log
from estimator.pages.keeping import Keeping, dated
from estimator.pages.later import Later
from estimator.resale import Deal, Jobs, Resale, resale
from estimator.shop import Shop
from estimator.survey import Survey
from estimator.survey.cells import BLANK

_SAVE_S = 0.4
_PAGE = "restore-or-resell"


def opened() -> widgets.Widget:
    """The page as a widget, or what keeps it from opening, in plain words."""
    return opening.opened(
        _PAGE, lambda folder, shop: ResellPage(folder, shop, opening.asked_draft()))


class ResellPage:
    """The page, what is typed into it, and the answer that stands on it.

    Parameters
    ----------
    folder
        Shop folder with the drafts; None keeps nothing.
    draft
        Key of the draft to open; None takes the one saved last, else an example.
    """

    def __init__(self, folder: Path | None, shop: Shop, draft: str | None = None):
        self.folder, self.shop = folder, shop
        self.log_path = keep_log(folder)
        self.ledger = ledger.Ledger(folder) if folder else None
        self.values: dict[str, str] = {}
        self.file: Mapping | None = None
        self.file_name = ""
        self.survey: Survey | None = None
        self._jobs = Jobs()
        self._quiet = self._delete_asked = False
        self._build()
        self.saving = Later(_SAVE_S, [self.save])
        self._open_first(draft)

    # What a person sees -----------------------------------------------------------------

    def _build(self) -> None:
        self.answer = resell_answer.Answer(self.shop, self.log_path, self._wanted,
                                           lambda: self.saving.start())
        self.alerts = {"source": Alert("This could not be opened:"), "survey": Alert(),
                       "ledger": Alert(), **self.answer.alerts}
        self.pulse = Pulse(self._there)
        self.keeping = Keeping(self.ledger, self.pulse, deals.KIND, "decision")
        self.picker = widgets.Dropdown(description="Decision", style={
            "description_width": "initial"}, layout={"width": "auto"})
        self.picker.observe(self._picked, "value")
        self.buttons = {name: widgets.Button(description=label) for name, label in
                        (("new", "New decision"), ("delete", "Delete"))}
        for name, button in self.buttons.items():
            button.on_click(lambda _button, name=name: self._asked(name))
        upload = FileButton("Survey from a file", takes=".csv,.xlsx,.txt,.tsv",
                            on_file=self._uploaded)
        self.find = {"decision": Finder("decision", self._find_decision),
                     "draft": Finder("draft", self._find_draft)}
        source = box("est-source", self.picker, self.buttons["delete"],
                     self.find["decision"].widget, self.buttons["new"], upload)
        self.forms = {
            name: Form(name, title, (), (), lambda *_: None,
                       lambda values: self._typed(values), enter=False, log_path=self.log_path)
            for name, title in deals.GROUPS.items()}
        self.gaps = widgets.HTML()
        glance = widgets.VBox([self.alerts["answer"].widget, self.gaps, self.answer.strip])
        lines = {name: [widgets.HTML(f"<h3>{title}</h3>"), self.forms[name]]
                 for name, title in deals.GROUPS.items()}
        lines["machine"].insert(1, self.find["draft"].widget)
        small = [box("est-block", *lines.pop(name)) for name in ("limits", "trials")]
        self.widget = box(
            "est-page", self.pulse,
            opening.head(_PAGE, self.keeping.widget),
            self.alerts["ledger"].widget, self.alerts["source"].widget, source,
            self.alerts["survey"].widget,
            box("est-desk", box("est-lines", heading("The deal"),
                                box("est-terms-forms",
                                    *(part for pair in lines.values() for part in pair),
                                    box("est-two-forms", *small))),
                box("est-offer", glance)),
            self.answer.body)

    def failed(self, area: str) -> None:
        """Mark the answer as old where something went wrong on the way to a new one."""
        self.answer.failed(area)

    @property
    def found(self) -> Resale | None:
        """The answer that stands on the page."""
        return self.answer.found

    # Drafts -----------------------------------------------------------------------------

    @guarded("source")
    def _open_first(self, key: str | None) -> None:
        try:
            draft = self.keeping.first(key)
        except BadInput:
            self._lay_out(dict(deals.EXAMPLE))
            raise
        if draft:
            self._open(draft)
        else:
            self._lay_out(self._first_values())

    def _first_values(self) -> dict[str, str]:
        """The machine that is being quoted, without a value; an example where there is none."""
        latest = self.ledger.latest() if self.ledger else None
        return {"survey": f"draft:{latest.key}"} if latest else dict(deals.EXAMPLE)

    def _open(self, draft: ledger.Draft) -> None:
        values, file, name, drawn = deals.from_json(draft.content or {})
        self.keeping.lay(draft)
        self._lay_out(values, file, name, drawn)

    def _begin(self, values: dict[str, str], file: Mapping | None = None, name: str = "") -> None:
        """A new draft, kept at once so that it is listed."""
        self.saving.finish()
        self.keeping.begin()
        self._lay_out(values, file, name)
        self.save()

    def _lay_out(self, values: dict[str, str], file: Mapping | None = None, name: str = "",
                 drawn: tuple[str, ...] = ()) -> None:
        """Put into the forms what was typed, and show what follows from it."""
        self.values, self.file, self.file_name = values, file, name
        self.answer.found, self.answer.drawn = None, drawn
        self._take_survey()
        self._offer()
        self._list()
        self._answered()
        self._say_saved()

    def _offer(self) -> None:
        """Fill the forms."""
        offered = deals.fields(self.values, self.shop, self._surveys())
        for name, form in self.forms.items():
            form.offer(offered[name])
        # A choice shows its first option where nothing was chosen.
        for form in self.forms.values():
            self.values = {**form.values, **{name: value for name, value in self.values.items()
                                             if value or name not in form.values}}

    def _surveys(self) -> list:
        """What the choice of a survey offers."""
        finder, chosen = self.find["draft"], self.values.get("survey", "").removeprefix("draft:")
        try:
            drafts = finder.drafts(self.ledger, also=[chosen])
        except BadInput:
            drafts = ()
        options: list = []
        if self.file is not None:
            options.append(["From a file", [["file", self.file_name or "a file"]]])
        if drafts:
            options.append(["Drafts of Quote a machine", [
                [f"draft:{one.key}", dated(one)] for one in drafts]])
        options.append(["A usual machine of its era", [
            [f"era:{era}", self.shop.catalogue.eras[era].name] for era in Era]])
        options.append(["Demo", [["demo", "Demo survey"]]])
        return options

    def _list(self) -> None:
        """List the drafts of this page; the current one is chosen."""
        options = self.keeping.options(self._title(), self.find["decision"])
        self._quiet = True
        try:
            if list(self.picker.options) != options:
                self.picker.options = options
            self.picker.value = self.keeping.draft.key
        finally:
            self._quiet = False
        self._ask_delete(False)

    @guarded("source")
    def _find_decision(self) -> None:
        self._list()

    @guarded("source")
    def _find_draft(self) -> None:
        self._offer()

    def _ask_delete(self, asked: bool) -> None:
        self._delete_asked = asked
        self.buttons["delete"].description = "Really delete it?" if asked else "Delete"

    def _title(self) -> str:
        if self.survey is None:
            return "No survey"
        machine = self.survey.machine
        era = self.shop.catalogue.eras[machine.era].name if machine.era else "machine"
        return ", ".join(filter(None, (machine.title or f"Untitled, {era.lower()}", machine.maker,
                                       machine.year)))

    @guarded("source")
    def _picked(self, change) -> None:
        if self._quiet or change["new"] is None:
            return
        self.saving.finish()
        try:
            draft = self.keeping.chosen(change["new"])
        except BadInput:
            self._list()
            raise
        self._open(draft)
        self.keeping.address()

    @guarded("source")
    def _asked(self, what: str) -> None:
        if what == "new":
            self._begin({"survey": self.values.get("survey", "demo")}, self.file, self.file_name)
        elif not self._delete_asked:
            self._ask_delete(True)
        else:
            self.saving.stop()
            latest = self.keeping.delete()
            if latest:
                self._open(latest)
            else:
                self._lay_out(self._first_values())

    @guarded("source")
    def _uploaded(self, name: str, size: int, data: bytes | None) -> None:
        if data is None:
            raise BadInput(too_big(name, size, "a survey"))
        desk = desks.of_survey(survey.read_bytes(data, name, self.shop.catalogue))
        self.file, self.file_name = desks.as_json(desk), name
        self.values = {**self.values, "survey": "file"}
        self._take_survey()
        self._offer()
        self.saving.start()
        self._answered()

    @guarded("ledger")
    def save(self) -> None:
        """Keep what was typed, if it changed since it was kept."""
        content = deals.as_json(self.values, self.file, self.file_name, self.answer.drawn)
        if self.keeping.save(self._title(), content):
            self._list()
            self.keeping.address()
        self._say_saved()

    def _say_saved(self) -> None:
        example = self.values == {**self.values, **deals.EXAMPLE}
        self.keeping.say("An example: put your own machine and figures in its place" if example
                         else "Nothing changed yet")

    # The survey -------------------------------------------------------------------------

    def _take_survey(self) -> None:
        """Read the survey that was chosen; what is wrong with it is said in its place."""
        self.survey = None
        self.alerts["survey"].clear()
        try:
            self.survey = self._survey_of(self.values.get("survey", ""))
        except BadInput as error:
            self.alerts["survey"].show(error.faults)

    def _survey_of(self, source: str) -> Survey:
        kind, _, which = source.partition(":")
        catalogue = self.shop.catalogue
        if kind == "era" and which in set(Era):
            return survey.template(Era(which), catalogue)
        if kind == "demo":
            return survey.read(tables.data_folder() / "demo" / "survey.csv", catalogue)
        content = self.file if kind == "file" else None
        if kind == "draft" and self.ledger:
            draft = self.ledger.draft(which)
            content = draft.content if draft else None
        if content is None:
            raise BadInput(Fault("The survey of this decision is not there any more.",
                                 "Choose another one in the list of surveys."))
        desk, lost = desks.from_json(content, catalogue)
        if lost:
            self.alerts["survey"].show(lost)
        return desk.survey()

    # What a person does -----------------------------------------------------------------

    @guarded("answer")
    def _typed(self, values: Mapping[str, str]) -> None:
        before, self.values = self.values, {**self.values, **values}
        if before.get("survey") != self.values.get("survey"):
            self._take_survey()
        self.saving.start()
        if before.get("standing") != self.values.get("standing"):
            self._offer()
        self._work_out()

    @guarded("answer")
    def _answered(self) -> None:
        self._work_out()

    def _work_out(self) -> None:
        """The answer at once; what takes longer a little later."""
        self.answer.deal_changed()
        self._mark([])
        self.gaps.value = self._lacking()
        try:
            deal = deals.read(self.values, self.shop, date.today())
        except BadInput as error:
            # A form that was never filled in has nothing wrong with it; it only waits.
            self._mark([fault for fault in error.faults if self.found or not _blank(fault)])
            self.gaps.value = self.gaps.value or _waiting(error.faults, self.found is not None)
            self.answer.old(True)
            return
        if self.gaps.value:
            self.answer.old(True)
            return
        self.answer.take(self._reckoned(replace(deal, trials=min(deal.trials, resell_answer.LIVE))))

    def _reckoned(self, deal: Deal) -> Resale:
        """The answer; where nothing fits the limits, that is said at them and they are left out."""
        try:
            return resale(self.survey, deal, self.shop, jobs=self._jobs)
        except BadInput as error:
            free = deals.without_limits(deal)
            if free == deal:
                raise
            found = resale(self.survey, free, self.shop, jobs=self._jobs)
            self._mark([replace(fault, column=deals.limit_field(deal),
                                fix=f"{fault.fix} The answer is without limits.")
                        for fault in error.faults])
            return found

    def _lacking(self) -> str:
        """What the survey lacks; blank where it is complete."""
        if self.survey is None:
            return ('<div class="est-gaps" data-say data-testid="gaps"><p>There is no survey '
                    "yet: choose one.</p></div>")
        told = gaps(desks.of_survey(self.survey), self.shop.catalogue)
        if told:
            told = told.replace("Still to fill in before there is a price:",
                                "Still to fill in before there is an answer, on the page "
                                f"{opening.link('quote')}:")
        return told

    def _mark(self, faults: list[Fault]) -> None:
        """Faults at their fields; the person stays where they are."""
        placed, rest = deals.by_field(faults, {name: list(form.values)
                                               for name, form in self.forms.items()})
        for name, form in self.forms.items():
            if form.faults != placed[name]:
                form.faults = placed[name]
        self.alerts["answer"].show(rest) if rest else self.alerts["answer"].clear()

    def _there(self) -> None:
        """The page is in the browser: now draw what takes time."""
        if self.keeping.draft.revision:
            self.keeping.address()
        self.answer.there()

    def _wanted(self) -> int:
        """Trials that are typed, as far as they can be read."""
        try:
            return deals.read(self.values, self.shop, date.today()).trials
        except BadInput:
            return 0


def _blank(fault: Fault) -> bool:
    return fault.what == BLANK


def _waiting(faults: list[Fault], answered: bool) -> str:
    """Why there is no new answer; `answered`: an older one is shown."""
    wanted = [deals.WANTED[fault.column] for fault in faults if _blank(fault)]
    if len(wanted) == len(faults):
        told = f"Say the {' and the '.join(wanted)}, and the answer comes."
    else:
        told = "Something in the form cannot be read; it is marked there."
    if answered:
        told += " The figures are the last good ones."
    return (f'<div class="est-gaps" data-say data-testid="gaps"><p>{html.escape(told)}</p>'
            "</div>")
