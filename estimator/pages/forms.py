"""The forms of the page "Quote a machine": where a survey comes from, the machine, the choices.

Each form shows a desk and says what a person changed; it computes nothing and keeps nothing.
"""

from __future__ import annotations

import contextlib
import html
from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal

import ipywidgets as widgets

from estimator.catalogue import LEVELS, Catalogue, Era, Level
from estimator.documents.wording import money
from estimator.errors import BadInput, Fault, printable
from estimator.pages.desk import Desk
from estimator.pages.devices import FileButton, Slider
from estimator.pages.figures import opening
from estimator.pages.finding import Finder
from estimator.quote import FIXED, TIME
from estimator.shop import Settings
from estimator.survey import Machine

_FACTS = {
    "title": "Machine", "maker": "Maker", "year": "Year", "era": "Era", "serial": "Serial number",
    "customer": "Customer", "customer_kind": "Kind of customer", "surveyor": "Surveyed by",
    "surveyed": "Surveyed on", "note": "Remark",
}
_MOST_WORDS = 2_000


def _plain() -> dict:
    return {"style": {"description_width": "initial"}, "layout": {"width": "auto"}}


class _Form:
    """Fields that report changes made by a person, and not those made by `show`."""

    def __init__(self, changed: Callable[[str], None]):
        self._changed = changed
        self._quiet = False

    def _watch(self, name: str, field) -> None:
        def heard(_change):
            if not self._quiet:
                self._changed(name)
        field.observe(heard, "value")

    @contextlib.contextmanager
    def _silence(self):
        self._quiet = True
        try:
            yield
        finally:
            self._quiet = False


class MachineForm(_Form):
    """The facts of the machine; `changed` gets the name of the fact."""

    def __init__(self, catalogue: Catalogue, changed: Callable[[str], None]):
        super().__init__(changed)
        eras = [("not known yet", None)] + [
            (f"{catalogue.eras[era].name} ({catalogue.eras[era].years})", era) for era in Era]
        self.fields = {}
        for fact, name in _FACTS.items():
            field = (widgets.Dropdown(options=eras, value=None, description=name, **_plain())
                     if fact == "era" else widgets.Text(description=name, **_plain()))
            self._watch(fact, field)
            self.fields[fact] = field
        self.widget = widgets.Box(list(self.fields.values()))
        self.widget.add_class("est-machine")

    def show(self, machine: Machine) -> None:
        """Show the facts of a machine."""
        with self._silence():
            for fact, field in self.fields.items():
                value = getattr(machine, fact)
                if field.value != value:
                    field.value = value

    def value(self) -> Machine:
        """The facts as they stand in the form."""
        # What may not stand in a text becomes a mark that can be seen.
        return Machine(**{fact: field.value if fact == "era" else
                          printable(field.value[:_MOST_WORDS])
                          for fact, field in self.fields.items()})


class ChoicesForm(_Form):
    """Service level, pricing, confidence, margin, extras."""

    def __init__(self, catalogue: Catalogue, settings: Settings, changed: Callable[[str], None]):
        super().__init__(changed)
        self._catalogue, self._settings = catalogue, settings
        self.level = widgets.Dropdown(
            options=[(catalogue.levels[level].name, level) for level in LEVELS[1:]],
            description="Service level", **_plain())
        self.promise = widgets.HTML()
        self.promise.add_class("est-promise")
        self.pricing = widgets.Dropdown(
            options=[("fixed price", FIXED), ("time and materials, with a cap", TIME)],
            description="Pricing", **_plain())
        self.confidence = Slider(
            label="Confidence, %", min=50, max=99, value=80,
            help="Share of jobs like this one that stay within the cost the price is built on.")
        self.margin = Slider(label="Margin, %", min=0, max=60, value=25,
                             help="Share of the price that is left over at that cost.")
        self.extras, self.extra_figures = {}, {}
        for name, row in catalogue.assemblies.items():
            if row.extra:
                box = widgets.Checkbox(description=row.name, indent=False, **_plain())
                self.extras[name], self.extra_figures[name] = box, widgets.HTML()
                self._watch("extras", box)
        for name in ("level", "pricing", "confidence", "margin"):
            self._watch(name, getattr(self, name))
        self.shares = widgets.Box([self.confidence, self.margin])
        self.shares.add_class("est-pair")
        more = widgets.VBox([widgets.Box([box, self.extra_figures[name]])
                             for name, box in self.extras.items()])
        more.add_class("est-extras")
        self.widget = widgets.VBox([
            self.level, self.promise, self.pricing,
            widgets.HTML("<h3>Extras</h3>"), more])
        self.widget.add_class("est-choices")

    def show(self, desk: Desk) -> None:
        """Show the choices on a desk."""
        def per_cent(own: float | None, usual: float) -> float:
            return round(100 * (usual if own is None else own), 6)

        with self._silence():
            self.level.value = desk.level if desk.level in LEVELS[1:] else Level.CLEAN
            self.pricing.value = desk.pricing
            self.confidence.value = per_cent(desk.confidence, self._settings.confidence)
            self.margin.value = per_cent(desk.margin, self._settings.margin)
            for name, box in self.extras.items():
                box.value = name in desk.extras
        self._promise()

    def onto(self, desk: Desk) -> Desk:
        """The desk with the choices as they stand in the form.

        Raises
        ------
        BadInput
            With every figure that is out of range, in the words of the form.
        """
        self._promise()
        most = 100 * (0.9 - self._settings.warranty_share)
        faults = []
        for name, value, low, high in (("confidence", self.confidence.value, 5, 99),
                                       ("margin", self.margin.value, 0, most)):
            if not low <= value <= high:
                faults.append(Fault(f"The {name} is {value:g} %; it must be {low:g} to {high:g} %.",
                                    "The figures below are the last good ones."))
        if faults:
            raise BadInput(faults)

        def own(value: float, usual: float) -> float | None:
            share = round(value / 100, 8)
            return None if share == round(usual, 8) else share

        return replace(
            desk, level=self.level.value, pricing=self.pricing.value,
            confidence=own(self.confidence.value, self._settings.confidence),
            margin=own(self.margin.value, self._settings.margin),
            extras=tuple(name for name, box in self.extras.items() if box.value))

    def price(self, prices: Mapping[str, Decimal], opens: Mapping[str, str]) -> None:
        """Write what each extra costs beside its name; `opens` are the figures of those taken."""
        for name, box in self.extras.items():
            said, figure = self._catalogue.assemblies[name].name, ""
            if name in opens:
                figure = opening(opens[name], f"Price of {said}",
                                 f"+{money(prices[name], self._settings)}")
            elif name in prices:
                said += f" (+{money(prices[name], self._settings)})"
            if (box.description, self.extra_figures[name].value) != (said, figure):
                box.description, self.extra_figures[name].value = said, figure

    def _promise(self) -> None:
        said = html.escape(self._catalogue.levels[self.level.value].promise)
        if self.promise.value != said:
            self.promise.value = said


class SourceBar(_Form):
    """Where the survey comes from: a draft, an era's template, a file, the demo."""

    def __init__(self, catalogue: Catalogue, changed: Callable[[str], None],
                 on_file: Callable[[str, int, bytes | None], None]):
        super().__init__(changed)
        self.draft = widgets.Dropdown(description="Draft", **_plain())
        self._watch("draft", self.draft)
        self.find = Finder("draft", lambda: changed("find"))
        self.era = widgets.Dropdown(
            options=[(catalogue.eras[era].name, era) for era in Era], value=Era.DOT_MATRIX,
            description="New machine, era", **_plain())
        self.start = widgets.Button(description="Start from a template")
        self.demo = widgets.Button(description="Demo survey")
        self.delete = widgets.Button(description="Delete")
        for name in ("start", "demo", "delete"):
            getattr(self, name).on_click(lambda _button, name=name: changed(name))
        self.upload = FileButton("Upload a survey", takes=".csv,.xlsx,.txt,.tsv",
                                 on_file=on_file)
        self.widget = widgets.Box(
            [self.draft, self.delete, self.find.widget, self.era, self.start, self.upload,
             self.demo])
        self.widget.add_class("est-source")

    def show(self, options: list[tuple[str, str]], current: str) -> None:
        """List drafts by words and key; the current one is chosen."""
        with self._silence():
            if list(self.draft.options) != options:
                self.draft.options = options
            self.draft.value = current
        self.ask_delete(False)

    def ask_delete(self, asked: bool) -> None:
        """Change the button into the question whether it is meant."""
        self.delete.description = "Really delete it?" if asked else "Delete"
