"""Past quotes on the page: what was sent, what came of it, and what that says about a price."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from pathlib import Path

import anywidget
import ipywidgets as widgets
import traitlets

from estimator import jobs, plots, review, winning
from estimator.catalogue import Catalogue
from estimator.documents.wording import whole
from estimator.ledger import OUTCOMES, Job, Ledger, Sent
from estimator.money import format_money
from estimator.pages import answers
from estimator.pages.boxes import asset, box, heading
from estimator.pages.guard import Alert, guarded
from estimator.quote import Quote
from estimator.shop import Shop

LATEST = 25
_ABOUT = ("A quote counts as sent when its documents are written. Say here what came of it: what "
          "customers answered shows what a price does to the chance of a job. No price is changed "
          "by it.")
_NO_FOLDER = "Without a shop folder that can be written no quotes are kept."


class _SentTable(anywidget.AnyWidget):
    """Quotes sent as a table, each with a list to choose what came of it.

    `on_decide` gets the number of a quote and the outcome that a person chose.
    """

    _esm = asset("past.js")
    heads = traitlets.List().tag(sync=True)
    rows = traitlets.List().tag(sync=True)
    outcomes = traitlets.List().tag(sync=True)

    def __init__(self, on_decide: Callable[[str, str], None]):
        super().__init__(outcomes=list(OUTCOMES), heads=[
            "Number", "Sent", "Machine", "Level", "Price before tax", "Over cost", "Outcome"])
        self._on_decide = on_decide
        self.on_msg(self._heard)

    def show(self, sent: Sequence[Sent], catalogue: Catalogue, locale: str) -> None:
        """Draw these quotes."""
        from babel.dates import format_date

        names = {str(level): row.name for level, row in catalogue.levels.items()}
        self.rows = [
            {"number": one.number, "outcome": one.outcome,
             "words": [format_date(one.sent, "medium", locale=locale),
                       one.title or "Untitled machine", names.get(one.level, one.level)],
             "figures": [format_money(one.price, one.currency, locale),
                         f"{winning.ratio_of(one):.2f} ×"]}
            for one in sent]

    def back(self) -> None:
        """Show the outcomes that are kept, whatever was chosen since."""
        self.send({"back": 1})

    def _heard(self, _widget, message, _buffers) -> None:
        if isinstance(message, dict) and "decide" in message:
            self._on_decide(*map(str, message["decide"]))


class PastQuotes:
    """The block at the end of the page.

    `widget` is all of it; `advice` the part that follows the quote on the desk; `hours` stands with
    the odds.

    Parameters
    ----------
    ledger
        Of the shop; None where nothing is kept.
    """

    def __init__(self, ledger: Ledger | None, shop: Shop, log_path: Path | None):
        self.ledger, self.shop, self.log_path = ledger, shop, log_path
        self.alerts = {"past": Alert("The quotes sent could not be read or kept:")}
        self.sent: tuple[Sent, ...] = ()
        self._drawn = ""
        self.table = _SentTable(self._decided)
        self.table_box = box("est-block", self.table)
        self.table_box.layout.display = "none"
        self.hours = widgets.HTML()
        self._known: tuple[tuple[Job, ...], review.Experience | None] = ((), None)
        self.count, self.status = widgets.HTML(), widgets.HTML()
        self.chart, self.words = widgets.HTML(), widgets.HTML()
        self.advice = box("est-block", self.chart, box("est-block", self.words))
        self.widget = box(
            "est-block", heading("Past quotes"), self.alerts["past"].widget,
            widgets.HTML(f"<p>{_ABOUT if ledger else _NO_FOLDER}</p>"), self.table_box,
            self.count, self.status, self.advice)
        self.show()

    def failed(self, _area: str) -> None:
        """What was chosen and could not be kept is not shown as if it were."""
        self.status.value = ""
        self.table.back()

    @guarded("past")
    def show(self) -> None:
        """Show the quotes that the ledger holds, and in words what they teach."""
        self._read()
        self._said(None)

    @guarded("past")
    def keep(self, offer: Quote) -> None:
        """Keep a quote that was written as sent."""
        if self.ledger is None:
            return
        kept = jobs.keep(self.ledger, offer, self.shop)
        self._read()
        self._say(kept)
        self._advise(offer)

    @guarded("past")
    def step(self, _desk, offer: Quote) -> None:
        """Show what follows for an offer's price and hours: costly, so a little after an edit."""
        self._advise(offer)
        self.hours.value = answers.own_hours(
            review.by_records(offer.job, self.shop.settings, self._experience()))

    @guarded("past")
    def _decided(self, number: str, outcome: str) -> None:
        kept = self.ledger.decide(number, outcome)
        self._read()
        self._say(kept)
        self._advise(self._offer)

    def _experience(self) -> review.Experience | None:
        """What closed jobs teach, read again once another one is closed."""
        if self.ledger is None:
            return None
        closed = tuple(job for job in self.ledger.jobs() if job.state == "closed")
        if closed != self._known[0]:
            self._known = closed, review.experience_of(self.ledger, self.shop.catalogue)
        return self._known[1]

    def _read(self) -> None:
        self.sent = self.ledger.sent(revisions=False) if self.ledger else ()
        latest = self.sent[:LATEST]
        self.table.show(latest, self.shop.catalogue, self.shop.settings.locale)
        self.table_box.layout.display = "" if latest else "none"
        more = (f"The latest {LATEST} of {len(self.sent)} quotes sent; the command "
                "<code>estimator quotes</code> lists them all." if len(self.sent) > LATEST else "")
        self.count.value = f'<p data-testid="sent-count">{more}</p>' if more else ""

    def _say(self, kept: Sent | None) -> None:
        self.status.value = "" if kept is None else (
            f'<p data-say data-testid="sent-kept">Quote {html.escape(kept.number)} is kept as '
            f"{kept.outcome}.</p>")

    def _advise(self, offer: Quote | None) -> None:
        said = self._said(offer)
        # The words hold every figure of the chart, so the same words need no other chart.
        if self.words.value == self._drawn:
            return
        self.chart.value = self._charted(said) if said.points else ""
        self._drawn = self.words.value

    def _said(self, offer: Quote | None) -> winning.Advice:
        """The advice, its words shown."""
        self._offer = offer
        said = winning.advice(self.sent, offer, reserve=self.shop.settings.warranty_share)
        words = said.words(self.shop.settings) if self.ledger else ()
        listed = "".join(f"<p>{html.escape(sentence)}</p>" for sentence in words)
        self.words.value = f'<div data-testid="winning">{listed}</div>'
        # Beside a chart there is half the width, without one the whole.
        (self.advice.add_class if said.points else self.advice.remove_class)("est-drivers")
        return said

    def _charted(self, said: winning.Advice) -> str:
        best, here = said.best, said.offered
        mark = f"{best.ratio:.2f} × cost"
        if said.cost is not None:
            mark = whole(best.ratio * said.cost, self.shop.settings)
        answered = [(one.ratio, one.won) for one in reversed(winning.history(self.sent))]
        ax = plots.winning(said.points, history=answered, said=f"Earns most: {mark}",
                           best=best.ratio if best.earns > 0 else None)
        caption = ""
        if here and here.win is not None:
            ax.plot([here.ratio], [100 * here.win], marker="s", markersize=8,
                    color=plots.INK, markerfacecolor="white", markeredgewidth=2, clip_on=False)
            caption = "<figcaption>The square is the price of this quote.</figcaption>"
        drawn = plots.svg(ax, " ".join(said.words(self.shop.settings)))
        return (f'<figure data-testid="chart-winning"><h3>Chance of winning by price</h3>{drawn}'
                f"{caption}</figure>")
