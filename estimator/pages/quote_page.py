"""The page "Quote a machine": from a survey on the desk to a price that follows every edit.

A desk (`estimator.pages.desk`) is the page's whole state. Every callback replaces it, shows what
follows from it and keeps it in the ledger; opening the page again puts it back.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import ipywidgets as widgets

from estimator import catalogue as tables
from estimator import documents, ledger, survey
from estimator.catalogue import LEVELS
from estimator.documents.files import file_stem
from estimator.documents.wording import money
from estimator.errors import BadInput
from estimator.pages import desk as desks
from estimator.pages import figures, opening
from estimator.pages.board import Board
from estimator.pages.boxes import box, heading
from estimator.pages.desk import Desk
from estimator.pages.devices import FileButton, Pulse, SurveyTable, too_big
from estimator.pages.fit import FitBlock
from estimator.pages.forms import ChoicesForm, MachineForm, SourceBar
from estimator.pages.guard import Alert, guarded, keep_log
from estimator.pages.keeping import Keeping
from estimator.pages.later import Later
from estimator.pages.long_run import LongRun
from estimator.pages.origin import Origin
from estimator.pages.past import PastQuotes
from estimator.quote import Quote, quote
from estimator.shop import Shop

COSTLY_S, SAVE_S = 0.3, 0.4
_PAGE = "quote"
_DOWNLOADS = (("quote.pdf", "Quote (PDF)"), ("estimate.xlsx", "Workbook (XLSX)"),
              ("parts-budget.csv", "Parts budget (CSV)"), ("survey.csv", "Survey (CSV)"))


def opened() -> widgets.Widget:
    """The page as a widget, or what keeps it from opening, in plain words."""
    return opening.opened(
        _PAGE, lambda folder, shop: QuotePage(folder, shop, opening.asked_draft()))


class QuotePage:
    """The page, its widgets and what lies on its desk.

    Parameters
    ----------
    folder
        Shop folder for drafts and documents; None keeps nothing.
    draft
        Key of the draft to open; None takes the one saved last, else the demo survey.
    """

    def __init__(self, folder: Path | None, shop: Shop, draft: str | None = None):
        self.folder, self.shop = folder, shop
        self.log_path = keep_log(folder)
        self.ledger = ledger.Ledger(folder) if folder else None
        self.desk = Desk()
        self.offer: Quote | None = None
        self._delete_asked = False
        self.drawn = False
        self._build()
        # Held until the browser is there: what changes between the end of the cell and its coming
        # is lost on the way, and would not be sent again.
        self.costly = Later(COSTLY_S, [lambda step=step: self._step(step)
                                       for step in (*self.board.steps, self.past.step)],
                            held=True)
        self.saving = Later(SAVE_S, [self.save])
        self._open_first(draft)

    # What a person sees -----------------------------------------------------------------

    def _build(self) -> None:
        catalogue, settings = self.shop.catalogue, self.shop.settings
        self.alerts = {"source": Alert("This could not be opened:"), "machine": Alert(),
                       "offer": Alert(), "ledger": Alert(),
                       "documents": Alert("The documents were not written:")}
        self.pulse = Pulse(self._there)
        self.keeping = Keeping(self.ledger, self.pulse)
        self.source = SourceBar(catalogue, self._sourced, self._uploaded)
        self.machine = MachineForm(catalogue, self._machine_changed)
        self.table = SurveyTable(catalogue, self._edited, self._line_added, self._line_removed)
        self.choices = ChoicesForm(catalogue, settings, self._chosen)
        self.gaps, self.strip = widgets.HTML(), widgets.HTML()
        # With the figures in one box, which stays in sight: what is wrong with them is said there.
        figure_box = widgets.VBox([self.alerts["offer"].widget, self.gaps, self.strip])
        self.long_run = LongRun(
            self.shop, lambda: None if self.gaps.value else self.offer)
        self.past = PastQuotes(self.ledger, self.shop, self.log_path)
        self.board = Board(self.shop, self.past.hours, self.long_run.widget)
        self.origin = Origin(catalogue, self.board.quoted, lambda: (self.desk, self.offer),
                             self.log_path)
        self.fit = FitBlock(
            self.shop, lambda: (self.desk, None if self.gaps.value else self.offer),
            self._wished, self._left_out, self.log_path)
        self.written = widgets.HTML()
        self.write = widgets.Button(description="Write the documents", button_style="primary")
        self.write.on_click(lambda _button: self._write())
        downloads = [FileButton(label, on_want=lambda name=name: self._download(name))
                     for name, label in _DOWNLOADS]
        self.downloads = dict(zip([name for name, _ in _DOWNLOADS], downloads, strict=True))
        if self.folder is None:
            self.write.disabled = True

        offer = box("est-offer", figure_box, self.choices.shares, self.board.charts["cost"],
                    heading("Choices"), self.choices.widget)
        lines = box("est-lines", heading("Condition, line by line"), self.table)
        self.widget = box(
            "est-page", self.pulse,
            opening.head(_PAGE, self.keeping.widget),
            self.origin,
            self.alerts["ledger"].widget, self.alerts["source"].widget, self.source.widget,
            box("est-block", heading("The machine"), self.alerts["machine"].widget,
                self.machine.widget),
            box("est-desk", lines, offer),
            self.board.widget, self.fit.widget,
            box("est-block", heading("Documents"), self.alerts["documents"].widget,
                box("est-buttons", self.write, *downloads), self.written),
            self.past.widget)

    def failed(self, area: str) -> None:
        """Mark figures as old where something went wrong on the way to new ones."""
        if area == "offer":
            # Charts of the last good figures would take the fault off the page.
            self.costly.stop()
            self._old(True)

    def _old(self, old: bool) -> None:
        for shown in (self.strip, self.board.widget, self.past.advice):
            (shown.add_class if old else shown.remove_class)("est-old")
        self.origin.follow(None if old else self.offer)

    # Drafts -----------------------------------------------------------------------------

    @guarded("source")
    def _open_first(self, key: str | None) -> None:
        try:
            draft = self.keeping.first(key)
        except BadInput:
            self._put(self._demo())
            raise
        if draft:
            self._open(draft)
        else:
            self._put(self._demo())

    def _demo(self) -> Desk:
        path = tables.data_folder() / "demo" / "survey.csv"
        return desks.of_survey(survey.read(path, self.shop.catalogue))

    def _open(self, draft: ledger.Draft) -> None:
        desk, lost = desks.from_json(draft.content, self.shop.catalogue)
        if desk.level == LEVELS[0]:
            desk = replace(desk, level=LEVELS[1])
        self.keeping.lay(draft)
        self._put(desk)
        if lost:
            raise BadInput(lost)

    def _begin(self, desk: Desk) -> None:
        """A new draft with this desk, kept at once so that it is listed."""
        self.saving.finish()
        self.keeping.begin()
        self._put(desk)
        self.save()

    def _put(self, desk: Desk) -> None:
        """Lay a desk out and show all that follows from it."""
        self.desk = desk
        self.machine.show(desk.machine)
        self.choices.show(desk)
        self.table.show(desk)
        self.written.value = ""
        self._list_drafts()
        self.refresh()
        self.fit.show(self.desk, self.offer)

    def _list_drafts(self) -> None:
        self._delete_asked = False
        self.source.show(self.keeping.options(self.desk.title, self.source.find),
                         self.keeping.draft.key)

    @guarded("source")
    def _sourced(self, what: str) -> None:
        asked, self._delete_asked = self._delete_asked, False
        if what != "delete":
            self.source.ask_delete(False)
        if what == "start":
            self._begin(desks.of_survey(survey.template(self.source.era.value,
                                                        self.shop.catalogue)))
        elif what == "demo":
            self._begin(self._demo())
        elif what == "find":
            self._list_drafts()
        elif what == "draft":
            self.saving.finish()
            try:
                draft = self.keeping.chosen(self.source.draft.value)
            except BadInput:
                self._list_drafts()
                raise
            self._open(draft)
            self.keeping.address()
        elif what == "delete" and not asked:
            self._delete_asked = True
            self.source.ask_delete(True)
        elif what == "delete":
            self.saving.stop()
            latest = self.keeping.delete()
            if latest:
                self._open(latest)
            else:
                self._put(self._demo())
            self.keeping.say()

    @guarded("source")
    def _uploaded(self, name: str, size: int, data: bytes | None) -> None:
        if data is None:
            raise BadInput(too_big(name, size, "a survey"))
        self._begin(desks.of_survey(survey.read_bytes(data, name, self.shop.catalogue)))

    @guarded("ledger")
    def save(self) -> None:
        """Keep the desk in the ledger, if it changed since it was kept."""
        if self.keeping.save(self.desk.title, desks.as_json(self.desk)):
            self._list_drafts()
            self.keeping.address()
        self.keeping.say()

    # What a person does -----------------------------------------------------------------

    @guarded("offer")
    def _edited(self, edits: list) -> None:
        self.desk, wrong = desks.edited(self.desk, edits, self.shop.catalogue)
        self.table.mark(wrong)
        self._changed()

    @guarded("offer")
    def _line_added(self, assembly: str) -> None:
        self.desk, key = desks.with_line(self.desk, assembly, self.shop.catalogue)
        self.table.show(self.desk, focus=key)
        self._changed()

    @guarded("offer")
    def _line_removed(self, key: int) -> None:
        self.desk = desks.without_line(self.desk, key)
        self.table.show(self.desk)
        self._changed()

    @guarded("offer")
    def _wished(self, desk: Desk) -> None:
        """Wishes are kept; they change no figure."""
        self.desk = desk
        self.saving.start()

    @guarded("offer")
    def _left_out(self, keys: Iterable[int]) -> None:
        self.desk, _ = desks.edited(self.desk, [(key, "keep", False) for key in keys],
                                    self.shop.catalogue)
        self.table.show(self.desk)
        self._changed()

    @guarded("machine")
    def _machine_changed(self, fact: str) -> None:
        self.desk = replace(self.desk, machine=self.machine.value())
        self.saving.start()
        if fact == "era":  # Words change no figure.
            self.refresh()

    @guarded("offer")
    def _chosen(self, _name: str) -> None:
        self._changed()

    def _changed(self) -> None:
        try:
            self.desk = self.choices.onto(self.desk)
        finally:
            # What was typed is kept even where it cannot be priced.
            self.saving.start()
        self._price()

    @guarded("offer")
    def refresh(self) -> None:
        """Show the figures that belong to the desk."""
        self._price()
        self.keeping.say()

    def _there(self) -> None:
        """The page is in the browser: now draw what takes time."""
        if self.keeping.draft.revision:
            self.keeping.address()
        self.drawn = True
        self.costly.release()

    # What follows from it ---------------------------------------------------------------

    def _price(self) -> None:
        """The figures at once; what takes longer a little later."""
        self.costly.stop()
        self.long_run.changed()
        self.fit.search.stop("Stopped, for the job was changed.")
        self.gaps.value = figures.gaps(self.desk, self.shop.catalogue)
        if self.gaps.value:
            self._old(True)
            return
        self.offer = self.board.quoted(self.desk)
        self.strip.value = figures.strip(self.offer)
        if self.drawn:
            self.board.cost(self.offer)
        self.table.price(figures.line_prices(self.offer, self.desk),
                         figures.line_keys(self.offer, self.desk))
        self.choices.price(figures.extra_prices(self.offer, self.desk),
                           figures.extra_keys(self.offer, self.desk))
        self.fit.changed(self.desk, self.offer)
        self._old(False)
        self.costly.start()

    @guarded("offer")
    def _step(self, step) -> None:
        step(self.desk, self.offer)

    # Documents --------------------------------------------------------------------------

    def _final(self) -> Quote:
        """The quote with its words and its other levels, as it goes out."""
        return quote(self.desk.survey(), self.desk.choices(), self.shop)

    @guarded("documents")
    def _write(self) -> None:
        self.written.value = '<p data-say>Writing …</p>'
        try:
            offer = self._final()
            stem = file_stem(self.desk.machine.title)
            folder = self.folder / "documents" / f"{stem}-{offer.number}"
            paths = list(documents.write(offer, folder).values())
            survey.write(self.desk.survey(), folder / "survey.csv", self.shop.catalogue)
        except BaseException:
            self.written.value = ""
            raise
        listed = "".join(f"<li>{html.escape(path.name)}</li>"
                         for path in (*paths, folder / "survey.csv"))
        self.written.value = (
            f'<div data-say data-testid="written"><p>Quote {html.escape(offer.number)}, '
            f"{money(offer.price, offer.settings)} before tax, is in "
            f"<code>{html.escape(str(folder))}</code>:</p><ul>{listed}</ul></div>")
        self.past.keep(offer)

    @guarded("documents")
    def _download(self, name: str) -> None:
        if name == "survey.csv":
            data, media = survey.csv_bytes(self.desk.survey(), self.shop.catalogue), "text/csv"
        else:
            data, media = documents.render(self._final(), name), documents.MEDIA[name]
        self.downloads[name].hand_out(f"{file_stem(self.desk.machine.title)}-{name}", media, data)
