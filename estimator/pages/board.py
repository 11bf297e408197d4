"""What the page shows below the survey: charts, levels side by side, parts, terms.

It takes longer than the figures, so it is drawn in steps, a little after an edit; no step may take
so long that the next edit has to wait for it.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace

import ipywidgets as widgets

from estimator import plots
from estimator.catalogue import LEVELS, Level
from estimator.documents.wording import whole
from estimator.pages import answers, figures
from estimator.pages.boxes import box, heading
from estimator.pages.desk import Desk
from estimator.quote import LevelPrice, Quote, quote
from estimator.shop import Shop

_KEPT_QUOTES = 24
_BESIDE = (3.25, 2.8)
"""Size of the chart in the panel beside the table, so that its words are no smaller. [in]"""


class Board:
    """The lower part of the page, and the quotes it is drawn from; `more` stands with the odds.

    `steps` draw it, each called with the desk and its quote.
    """

    def __init__(self, shop: Shop, *more: widgets.Widget):
        self.shop = shop
        self._quotes: OrderedDict[Desk, Quote] = OrderedDict()
        self.charts = {name: widgets.HTML() for name in
                       ("cost", "margin", "price", "hours", "drivers", "sights")}
        self.odds, self.drivers, self.sights = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.levels, self.parts, self.terms = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.firmness = widgets.HTML()
        self.widget = box(
            "est-block", heading("Odds and costs"),
            box("est-charts", *(self.charts[name] for name in ("margin", "price", "hours"))),
            self.odds, self.firmness, *more,
            heading("What drives the price, and what to look at first"),
            box("est-drivers", self.charts["drivers"],
                box("est-block", self.drivers, self.sights, self.charts["sights"])),
            heading("Service levels side by side"), self.levels,
            heading("Parts to buy"), self.parts,
            heading("What is in and what is not"), self.terms)
        # One level a step, so that none holds up an edit for long.
        self._costed: Quote | None = None
        self.steps: tuple[Callable[[Desk, Quote], None], ...] = (
            lambda _desk, offer: self.cost(offer),
            *((lambda desk, _offer, level=level: self._at(desk, level)) for level in LEVELS[1:]),
            self._tables, self._margin, self._price, self._hours, self._drivers, self._sights)

    def quoted(self, desk: Desk) -> Quote:
        """The quote of a desk without its other levels; words make no difference to it."""
        key = desk.priced()
        if key in self._quotes:
            self._quotes.move_to_end(key)
        else:
            self._quotes[key] = quote(key.survey(), key.choices(), self.shop, compare=False)
            while len(self._quotes) > _KEPT_QUOTES:
                self._quotes.popitem(last=False)
        return self._quotes[key]

    def _at(self, desk: Desk, level: Level) -> Quote:
        return self.quoted(replace(desk, level=level))

    def _tables(self, desk: Desk, offer: Quote) -> None:
        found = []
        for level in LEVELS[1:]:
            other = self._at(desk, level)
            p50, p80 = other.odds.at("hours", 0.5, 0.8)
            found.append(LevelPrice(level, other.level.name, other.level.promise, other.price, p50,
                                    p80, other.odds.at("days", 0.8)[0], level == desk.level))
        self.levels.value = figures.levels(found, offer)
        self.parts.value = figures.parts(offer, self.shop.catalogue)
        self.terms.value = figures.terms(offer)
        self.firmness.value = f'<p data-testid="class">{figures.firmness(offer)}</p>'

    def _margin(self, _desk: Desk, offer: Quote) -> None:
        if offer.price:
            self._chart("margin", "What is left over", plots.margin(offer.margins()),
                        figures.margin_words(offer))
        else:
            self.charts["margin"].value = ""

    def cost(self, offer: Quote) -> None:
        """The curve of cost with the price on it: it follows every edit and every slider."""
        if offer is self._costed:
            return
        self._costed = offer
        if offer.price:
            self._chart("cost", "Cost, and what the price covers",
                        plots.cost_curve(offer.odds.cost, answers.covered(offer),
                                         money=self._whole, size=_BESIDE),
                        answers.chart_words(offer))
            self.odds.value = answers.losses(offer)
        else:
            self.charts["cost"].value = self.odds.value = ""

    def _whole(self, amount: float) -> str:
        return whole(amount, self.shop.settings)

    def _price(self, _desk: Desk, offer: Quote) -> None:
        amounts = figures.breakdown(offer)
        # Whatever is left out lacks in the last bar, which is to say the price.
        steps = [(name, amount) for name, amount in amounts.items()
                 if abs(amount) >= 0.005 or name == "Margin"]
        self._chart("price", "From cost to price",
                    plots.waterfall(steps, math.fsum(amount for _, amount in steps),
                                    money=self._whole, earned=["Margin"], name="Price"),
                    figures.breakdown_words(amounts, offer))

    def _drivers(self, _desk: Desk, offer: Quote) -> None:
        self.drivers.value = f'<div data-testid="what-drives">{answers.drivers(offer)}</div>'
        rows = [(d.name, answers.price_of(offer, d.low), answers.price_of(offer, d.high))
                for d in offer.drivers]
        if rows:
            (middle,) = offer.odds.at("cost", offer.confidence)
            self._chart("drivers", "What each driver alone makes of the price",
                        plots.tornado(rows, answers.price_of(offer, middle), money=self._whole,
                                      of="Price"),
                        answers.tornado_words(offer))
        else:
            self.charts["drivers"].value = ""

    def _sights(self, _desk: Desk, offer: Quote) -> None:
        self.sights.value = answers.sights(offer)
        rows = [(offer.titles[s.line], s.value) for s in answers.worth_a_look(offer)]
        # One line alone is said in words; bars are for comparing.
        if len(rows) > 1:
            self._chart("sights", "What a look before quoting saves, on average",
                        plots.inspect_next(rows, money=self._whole),
                        answers.sight_words(offer))
        else:
            self.charts["sights"].value = ""

    def _hours(self, _desk: Desk, offer: Quote) -> None:
        self._chart("hours", "Hours it takes", plots.hours_curve(offer.odds.hours),
                    figures.hours_words(offer))

    def _chart(self, name: str, title: str, ax, words: str) -> None:
        self.charts[name].value = (f'<figure data-testid="chart-{name}"><h3>{title}</h3>'
                                   f"{plots.svg(ax, words)}</figure>")
