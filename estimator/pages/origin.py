"""Where a figure of the page comes from: a panel that opens it, down to the tables' sources."""

from __future__ import annotations

import functools
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import anywidget
import traitlets

from estimator.catalogue import Catalogue, Level
from estimator.collector import collector_waits
from estimator.documents.wording import money, percent, weeks
from estimator.errors import BadInput, Fault
from estimator.pages.boxes import asset
from estimator.pages.desk import Desk
from estimator.pages.guard import guarded
from estimator.quote import Quote
from estimator.shop import Settings
from estimator.trace import Place, Step, figures, trace
from estimator.trace.steps import written
from estimator.units import in_a_hundred

CHANGED, UNPRICED = "changed", "unpriced"


class Origin(anywidget.AnyWidget):
    """The panel that opens beside a figure and shows how it comes about, level by level.

    Whatever on the page has `data-figure`, one of `estimator.trace.figures`, opens it; with
    `data-of` it is a figure of another service level's quote. Nothing is worked out before
    somebody asks, and then one level of the tree goes to the browser at a time.

    Parameters
    ----------
    quoted
        Gives the quote of a desk.
    current
        Gives the desk, and its quote or the last that there was; None before there is a price.
    log_path
        Where faults of the program are logged.
    """

    _esm = asset("origin.js")
    _css = asset("origin.css")
    state = traitlets.Unicode().tag(sync=True)

    def __init__(self, catalogue: Catalogue, quoted: Callable[[Desk], Quote],
                 current: Callable[[], tuple[Desk, Quote | None]], log_path: Path | None = None):
        super().__init__()
        self.log_path = log_path
        self.alerts = {"origin": _InPanel(self._answer)}
        self._catalogue, self._quoted, self._current = catalogue, quoted, current
        self._asked = 0
        self._root: Step | None = None
        self._now: Quote | None = None
        self._opened_at: Quote | None = None
        self.on_msg(self._heard)

    def follow(self, offer: Quote | None) -> None:
        """The page shows this quote from now on; None while its figures are old."""
        self._now = offer
        self._judge()

    def failed(self, area: str) -> None:
        """Nothing on the page becomes old where a figure could not be opened."""

    def _judge(self) -> None:
        if self._root is None:
            self.state = ""
        elif self._now is None:
            self.state = UNPRICED
        else:
            self.state = "" if self._now is self._opened_at else CHANGED

    def _heard(self, _widget, message, _buffers) -> None:
        if not isinstance(message, dict):
            return
        if "open" in message:
            self._asked = message.get("ask", 0)
            self._open(str(message["open"]), str(message.get("of", "")))
        elif "more" in message and message.get("ask") == self._asked:
            self._more(message["more"])
        elif "close" in message:
            self._forget()

    def _answer(self, content: dict) -> None:
        self.send({"ask": self._asked, **content})

    def _forget(self) -> None:
        self._root = self._opened_at = None
        self._judge()

    @guarded("origin")
    def _open(self, key: str, of: str) -> None:
        self._forget()
        offer = self._quote_of(of)
        if offer is None or key not in figures(offer):
            raise BadInput(Fault("The quote has no such figure any more.",
                                 "Close this, and open what the page shows now."))
        with collector_waits():
            self._root, self._opened_at = trace(offer, key, self._catalogue), self._now
        self._judge()
        name = self._root.name if not of else f"{self._root.name}, {offer.level.name}"
        figure, said = _headline(self._root, offer.settings), shown(self._root)
        if (written(self._root.value, self._root.unit) in figure or key == "chance_of_loss"
                or isinstance(self._root.value, str)):
            said["value"] = ""  # The headline says it, or the words do.
        self._answer({"opened": {**said, "name": name, "figure": figure,
                                 "steps": steps_of([self._root])}})

    def _quote_of(self, level: str) -> Quote | None:
        """The quote on the page, or that of another level, with the words of the survey."""
        desk, offer = self._current()
        if level:
            offer = self._quoted(replace(desk, level=Level(level)))
        if offer is None:
            return None
        # Lines are numbered as the page numbers them, not as the file did that they came from.
        scope = offer.job.scope
        lines = tuple(replace(line, row=None) for line in scope.lines)
        job = replace(offer.job, scope=replace(scope, lines=lines))
        return replace(offer, survey=desk.survey(), job=job)

    @guarded("origin")
    def _more(self, path: Sequence[int]) -> None:
        way = [self._root]
        try:
            for position in path:
                way.append(way[-1].steps[position])
        except (AttributeError, IndexError, TypeError):
            raise BadInput(Fault("This figure is not open any more.",
                                 "Close this, and open it again.")) from None
        self._answer({"at": list(path), "steps": steps_of(way)})


class _InPanel:
    """What was wrong is said in the panel; the next answer takes it away again."""

    def __init__(self, answer: Callable[[dict], None]):
        self._answer = answer

    def show(self, faults: Iterable[Fault]) -> None:
        self._answer({"faults": [[fault.place, fault.what, fault.fix] for fault in faults]})

    def clear(self) -> None:
        """Nothing to do."""


def steps_of(way: Sequence[Step]) -> list[dict]:
    """The steps of the last figure on the way, which began with the one that was opened."""
    heads = {step.name.partition(": ")[0] for step in way}
    return [shown(step, heads) for step in way[-1].steps]


def _without(head: str, said: str) -> str:
    """A formula without a title that stands above it."""
    return said.replace(f"{head[:1].lower()}{head[1:]}: ", "")


def shown(step: Step, heads: Collection[str] = ()) -> dict:
    """A step for the panel, without its own steps; plain words only, nothing is markup.

    `heads` are titles that stand above already and are left out of the name.

    Examples
    --------
    >>> from estimator.trace.steps import step
    >>> one = shown(step("sum", "k", "Post (9): labour", 38.62, "USD"), {"Post (9)"})
    >>> one["value"], one["name"], one["more"]
    ('38.62 USD', 'Labour', False)
    """
    head, _, rest = step.name.partition(": ")
    name = f"{rest[:1].upper()}{rest[1:]}" if rest and head in heads else step.name
    how = functools.reduce(lambda said, title: _without(title, said), {head, *heads}, _how(step))
    return {"value": f"{written(step.value, step.unit)} {step.unit}".strip(), "name": name,
            "how": how, "row": None if step.row is None else _row(step.row),
            "more": bool(step.steps)}


def _headline(step: Step, settings: Settings) -> str:
    """The value of a figure as the page writes it.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> from estimator.trace.steps import step
    >>> _headline(step("sum", "price", "Price", 1234.5, "USD"), open_shop().settings)
    '$1,234.50'
    """
    value, unit = step.value, step.unit
    if isinstance(value, str):
        from babel.dates import format_date
        return format_date(date.fromisoformat(value), "medium", locale=settings.locale)
    if unit in (settings.currency, f"{settings.currency}/h"):
        return money(value, settings)
    if unit == "h":
        return f"{value:.0f} h"
    if unit == "d":
        return weeks(value)
    if step.key == "chance_of_loss":
        return in_a_hundred(value)
    if step.key == "margin_mean":
        return f"{100 * value:.0f} %"
    if step.key == "seen_share":
        return percent(round(value, 2), settings)
    return written(value, unit)


def _how(step: Step) -> str:
    """How it comes about; of a leaf that stands in a row, only what the row does not say."""
    if step.op == "simulated":
        return f"{step.how}. Below stands what goes in, on average; it does not add up to this."
    if step.op == "row":
        return step.said if step.row.kind == "setting" else ""
    return step.how


def _row(place: Place) -> dict:
    """Where it stands and on what it rests: `at`, `columns`, and pairs of name and words."""
    if place.kind == "definition":
        return {"at": "", "columns": "", "rests": []}
    if place.kind == "survey":
        units = {"length_mm": " mm", "area_cm2": " cm²"}
        columns = ", ".join(f"{name.partition('_')[0]} {_cell(value)}{units.get(name, '')}"
                            for name, value in place.cells.items() if name != "assembly")
        return {"at": str(place), "columns": columns,
                "rests": [["Source", place.source], *_dated(place)]}
    rests = [["Basis", place.basis], ["Source", place.source]]
    if place.kind == "choice":
        return {"at": str(place), "columns": "", "rests": []}
    columns = ", ".join(place.cells) if place.kind == "table" else ""
    return {"at": str(place), "columns": columns, "rests": [*rests, *_dated(place)]}


def _cell(value: object) -> str:
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _dated(place: Place) -> list[list[str]]:
    return [["Date", place.dated]] if place.dated else []
