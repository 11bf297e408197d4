"""A budget or a date turned round: which lines to leave out so that the rest is worth most."""

from __future__ import annotations

import html
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import anywidget
import ipywidgets as widgets
import traitlets

from estimator.catalogue import Catalogue
from estimator.documents.wording import money, whole
from estimator.pages import figures
from estimator.pages.beside import Beside, Progress, Work
from estimator.pages.boxes import asset, box, heading
from estimator.pages.desk import Desk, with_wishes, with_worth
from estimator.pages.guard import Alert, guarded
from estimator.quote import TIME, Quote
from estimator.shop import Shop
from estimator.survey.cells import Wrong
from estimator.units import round_up

_ABOUT = ("A customer with a fixed sum or a day in mind: say either or both, and what lines are "
          "worth to them if that is more or less than their price. What is worth most together "
          "and fits is found; nothing is left out until you say so.")


class _WorthTable(anywidget.AnyWidget):
    """Lines that can be left out, with a field each for what they are worth.

    `on_worth` gets a line's id and what was typed.
    """

    _esm = asset("worth_table.js")
    rows = traitlets.List().tag(sync=True)

    def __init__(self, on_worth: Callable[[int, str], None]):
        super().__init__()
        self._on_worth = on_worth
        self.on_msg(self._heard)

    def _heard(self, _widget, message, _buffers) -> None:
        if isinstance(message, dict) and "worth" in message:
            key, said = message["worth"]
            self._on_worth(int(key), str(said))


class FitBlock:
    """The block on the page.

    Parameters
    ----------
    changed
        Gets the desk with the wishes as they stand.
    take
        Gets the ids of the lines to leave out.
    """

    def __init__(self, shop: Shop, current: Callable[[], tuple[Desk, Quote | None]],
                 changed: Callable[[Desk], None], take: Callable[[Iterable[int]], None],
                 log_path: Path | None = None):
        self.log_path = log_path
        self.alerts = {"fit": Alert()}
        self.shop, self._current, self._changed, self._take = shop, current, changed, take
        self._wrong: dict[int, str] = {}
        self._found: tuple[int, ...] = ()
        self._quiet = False
        self.budget = widgets.Text(description="Budget before tax",
                                   style={"description_width": "initial"})
        self.ready = widgets.DatePicker(description="Ready by",
                                        style={"description_width": "initial"})
        self.table = _WorthTable(self._worth)
        for field in (self.budget, self.ready):
            field.observe(lambda _change: self._wished(), "value")
        self.worths = widgets.ToggleButton(description="Say what lines are worth")
        self.worths.observe(lambda change: self._unfold(change["new"]), "value")
        self._unfold(False)
        self.search = Beside("Find the best set", self._work, self._shown)
        self.result = widgets.HTML()
        self.button = widgets.Button(description="Leave these out", button_style="primary")
        self.button.on_click(lambda _button: self._taken())
        self.button.layout.display = "none"
        fields = box("est-machine", self.budget, self.ready)
        self.widget = box(
            "est-block", heading("Fit to a budget or a day"), widgets.HTML(f"<p>{_ABOUT}</p>"),
            self.alerts["fit"].widget, fields, box("est-buttons", self.worths), self.table,
            self.search.widget, self.result, self.button)

    def show(self, desk: Desk, offer: Quote | None) -> None:
        """Show the wishes on a desk and what each line costs."""
        self._quiet = True
        try:
            said = "" if desk.budget is None else f"{desk.budget:g}"
            if self.budget.value != said and not self._wrong.get(0):
                self.budget.value = said
            self.ready.value = desk.ready_by
        finally:
            self._quiet = False
        self._draw(desk, offer)

    def changed(self, desk: Desk, offer: Quote | None) -> None:
        """The desk was edited: a set that was found is of another job."""
        self.search.stop("Stopped, for the job was changed.")
        self._found = ()
        self.result.value = ""
        self.button.layout.display = "none"
        self._draw(desk, offer)

    def _draw(self, desk: Desk, offer: Quote | None) -> None:
        if not self.worths.value:
            return
        catalogue = self.shop.catalogue
        prices = figures.line_prices(offer, desk) if offer else {}
        rows = [{
            "id": entry.id, "no": number, "title": _title(entry, catalogue),
            "price": prices.get(entry.id, "–"),
            "worth": "" if entry.worth is None else f"{entry.worth:g}",
            "wrong": self._wrong.get(entry.id, ""),
        } for number, entry in enumerate(desk.entries, 1)
            if entry.keep and entry.line.count and prices.get(entry.id, "–") != "–"
            and catalogue.assemblies[entry.line.assembly].droppable]
        if self.table.rows != rows:
            self.table.rows = rows

    def _unfold(self, open_: bool) -> None:
        self.table.layout.display = "" if open_ else "none"
        if open_:
            self._draw(*self._current())

    def failed(self, _area: str) -> None:
        """A wish that could not be taken changes nothing."""

    @guarded("fit")
    def _wished(self) -> None:
        if self._quiet:
            return
        desk, offer = self._current()
        self._wrong.pop(0, None)
        try:
            desk = with_wishes(desk, self.budget.value, self.ready.value)
        except Wrong as fault:
            self._wrong[0] = str(fault)
            self.search.say(str(fault))
            return
        self.search.say("")
        self._changed(desk)
        self.changed(desk, offer)

    @guarded("fit")
    def _worth(self, key: int, said: str) -> None:
        desk, offer = self._current()
        self._wrong.pop(key, None)
        try:
            desk = with_worth(desk, key, said)
            self._changed(desk)
        except Wrong as fault:
            self._wrong[key] = str(fault)
            self.search.say(str(fault))
        else:
            self.search.say("")
        self.changed(desk, offer)

    def _work(self) -> Work | str:
        if self._wrong:
            return next(iter(self._wrong.values()))
        desk, offer = self._current()
        if offer is None:
            return "There is no price yet to fit."
        if desk.budget is None and desk.ready_by is None:
            return "Write a budget, a day, or both first."
        worth = {index: entry.worth for index, entry in enumerate(desk.entries)
                 if entry.worth is not None and entry.keep}
        choices = replace(offer.choices, on=offer.on)

        def work(progress: Progress):
            from estimator.options import fitted

            fit = fitted(offer.survey, choices, self.shop, budget=desk.budget,
                         ready_by=desk.ready_by, worth=worth,
                         progress=lambda _bound, _best, share: progress(share))
            return desk, offer, fit
        return work

    def _shown(self, found) -> None:
        desk, offer, fit = found
        said = self.shop.settings
        self._found = tuple(desk.entries[index].id for index in sorted(fit.left_out))
        price = "The cap" if offer.choices.pricing == TIME else "The price before tax"
        ready = offer.on + timedelta(round_up(fit.days))
        listed = "".join(f"<li>{index + 1} {html.escape(offer.titles[index])}</li>"
                         for index in sorted(fit.left_out))
        sure = ("No other choice that fits is worth more." if fit.proven else
                f"No choice that fits is worth more than {whole(fit.bound, said)}.")
        self.result.value = (
            f'<div data-say data-testid="fit"><p>{price} would be '
            f"<b>{money(fit.price, said)}</b>, ready by {figures.day(ready, said)} in 4 jobs of 5. "
            f"What is kept is worth {whole(fit.worth, said)} of {whole(fit.worth_of_all, said)}. "
            f"{sure}</p>"
            + (f"<p>Left out:</p><ul>{listed}</ul></div>" if listed else
               "<p>All of it fits; nothing has to be left out.</p></div>"))
        self.button.layout.display = "" if listed else "none"

    @guarded("fit")
    def _taken(self) -> None:
        found, self._found = self._found, ()
        if found:
            self._take(found)


def _title(entry, catalogue: Catalogue) -> str:
    name, count = catalogue.assemblies[entry.line.assembly].name, entry.line.count
    return name if count == 1 else f"{name} ({count})"
