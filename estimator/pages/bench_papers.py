"""Papers for the bench, handed out from the page "Bench plan"."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

import ipywidgets as widgets

from estimator.documents import bench as papers
from estimator.errors import BadInput, Fault
from estimator.pages.bench_desk import Drawn
from estimator.pages.boxes import box, heading
from estimator.pages.devices import FileButton
from estimator.pages.entering import Field, Form
from estimator.pages.guard import Alert, guarded
from estimator.shop import Shop

_FILES: dict[str, tuple[str, Callable[[str], bool]]] = {
    "papers": ("All papers (ZIP)", lambda name: True),
    "job-cards": ("Job cards", lambda name: name.startswith("job-card") and name[-4:] == ".pdf"),
    "labels": ("Labels for bags", lambda name: name == "labels.pdf"),
    "lamps": ("Lamp list", lambda name: name == "lamps.pdf"),
    "coil-labels": ("Coil labels", lambda name: name == "coil-labels.pdf"),
    "waiting": ("Waiting list", lambda name: name == "waiting.pdf"),
    "orders": ("Orders", lambda name: name.startswith("order-") and name[-4:] == ".pdf"),
    "lots": ("Send-out sheets", lambda name: name.startswith("lot-") and name[-4:] == ".pdf"),
}
"""Buttons for papers: words, and which files they hand out."""


class Papers:
    """The part of the page with papers.

    Parameters
    ----------
    found
        Gives the plan that stands on the page.
    sheet
        Gives the sheet of labels that was chosen.
    on_sheet
        Called with the one that is chosen.
    """

    def __init__(self, shop: Shop, log_path: Path | None, found: Callable[[], Drawn | None],
                 sheet: Callable[[], str | None], on_sheet: Callable[[str], None]):
        self.shop, self.log_path = shop, log_path
        self._found, self._chosen = found, sheet
        self.alerts = {"papers": Alert()}
        self._made: tuple[Drawn, str, Mapping[str, bytes]] | None = None
        self.sheet = Form("labels", "Labels for bags", (), (), lambda *_: None,
                          lambda values: on_sheet(values["sheet"]), log_path=log_path)
        self.files = {key: FileButton(said, on_want=lambda key=key: self.hand_out(key))
                      for key, (said, _) in _FILES.items()}
        self.widget = box("est-block", heading("Papers for the bench"),
                          widgets.HTML("<p>Papers are of the plan as it stands on this page.</p>"),
                          self.alerts["papers"].widget, self.sheet,
                          box("est-buttons", *self.files.values()))

    def show(self) -> None:
        """Show the sheet that is chosen."""
        self.sheet.offer([Field(
            "sheet", "Sheet that labels are printed on", "choice", self._sheet(),
            tuple([key, row.name] for key, row in self.shop.catalogue.label_sheets.items()))])

    def failed(self, _area: str) -> None:
        """Nothing was handed out, and that is said."""

    def old(self, old: bool) -> None:
        """Of an old plan no papers are handed out."""
        for button in self.files.values():
            button.disabled = old

    def _sheet(self) -> str:
        own = self._chosen()
        return own if own in self.shop.catalogue.label_sheets else papers.sheet_named(None,
                                                                                      self.shop)

    @guarded("papers")
    def hand_out(self, key: str) -> None:
        """Save a paper on the person's side; several in an archive."""
        found, sheet = self._found(), self._sheet()
        if found is None:
            raise BadInput(Fault("There is no plan yet.", "Choose a machine above."))
        if self._made is None or self._made[0] is not found or self._made[1] != sheet:
            self._made = found, sheet, papers.papers(
                found.plan, found.jobs, found.ask.shop, numbers=found.numbers,
                ordering=found.ordering, lots=found.lots.best.lots, sheet=sheet)
        _, wanted = _FILES[key]
        made = {name: data for name, data in self._made[2].items() if wanted(name)}
        if len(made) == 1:
            ((name, data),) = made.items()
            self.files[key].hand_out(name, "application/pdf", data)
        elif made:
            self.files[key].hand_out(f"{key}.zip", "application/zip", _zipped(made, found))
        else:
            raise BadInput(Fault("There is nothing to print.", "Nothing is ordered or goes out."))


def _zipped(made: Mapping[str, bytes], found: Drawn) -> bytes:
    out, first = io.BytesIO(), found.plan.start
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in made.items():
            file.writestr(zipfile.ZipInfo(name, (first.year, first.month, first.day, 0, 0, 0)),
                          data, zipfile.ZIP_DEFLATED)
    return out.getvalue()
