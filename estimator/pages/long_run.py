"""Many more trials than the page plays at every edit: with a progress bar, and stopped at will."""

from __future__ import annotations

import asyncio
import html
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace

import ipywidgets as widgets

from estimator.documents.wording import money, whole
from estimator.pages.desk import Desk
from estimator.quote import TIME, Quote, quote
from estimator.shop import Shop
from estimator.simulate import Stopped

TRIALS = 1_000_000


@dataclass
class _Run:
    """One run: which desk it is for, and whether it is to go on."""

    desk: Desk
    going: bool = True


class LongRun:
    """A button that plays the job a million times, beside what the page's own trials say.

    The work is done beside the page, which stays usable. An edit makes the run worthless and
    stops it; so does the button.
    """

    def __init__(self, shop: Shop, current: Callable[[], tuple[Desk, Quote | None]],
                 trials: int = TRIALS):
        self.shop, self.trials = shop, trials
        self._current = current
        self._run: _Run | None = None
        self.button = widgets.Button(description=f"Play it {trials:,} times")
        self.button.on_click(lambda _button: self.stop() if self._run else self.start())
        self.bar = widgets.FloatProgress(min=0, max=1, value=0)
        self.bar.layout.display = "none"
        self.said = widgets.HTML()
        row = widgets.Box([self.button, self.bar])
        row.add_class("est-buttons")
        self.widget = widgets.VBox([row, self.said])
        self.widget.add_class("est-long")

    @property
    def running(self) -> bool:
        """Is a run under way?"""
        return self._run is not None

    def start(self) -> None:
        """Play the job on the desk; without an event loop, as in a script, at once."""
        desk, offer = self._current()
        if offer is None:
            self._say("There is no price yet to look at more closely.")
            return
        run = self._run = _Run(desk)
        self.button.description = "Stop"
        self.bar.value, self.bar.layout.display = 0, ""
        self._say("")
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._play(run, offer, lambda step, *given: step(*given))
            return
        threading.Thread(target=self._play, args=(run, offer, loop.call_soon_threadsafe),
                         daemon=True).start()

    def stop(self, why: str = "Stopped.") -> None:
        """Stop a run that is under way; the figures on the page are untouched."""
        if self._run is not None:
            self._run.going = False
            self._end(self._run, why)

    def changed(self) -> None:
        """The desk was edited: what was found, or is being found, is of another job."""
        if self._run is not None:
            self.stop("Stopped, for the job was changed.")
        elif self.said.value:
            self._say("")

    def _play(self, run: _Run, offer: Quote, say: Callable) -> None:
        shown = 0.0

        def progress(share: float) -> bool:
            nonlocal shown
            if run.going and share - shown >= 0.01:
                shown = share
                say(self._show, run, share)
            return run.going

        try:
            many = quote(offer.survey, replace(offer.choices, trials=self.trials), self.shop,
                         compare=False, progress=progress)
        except Stopped:
            return
        except Exception as error:
            from estimator.pages.guard import log
            log.exception("long run")
            say(self._end, run, f"It failed: {type(error).__name__}: {error}")
            return
        say(self._done, run, offer, many)

    def _show(self, run: _Run, share: float) -> None:
        if run is self._run:
            self.bar.value = share

    def _done(self, run: _Run, offer: Quote, many: Quote) -> None:
        if run is self._run:
            self._end(run, "")
            self.said.value = _beside(offer, many)

    def _end(self, run: _Run, words: str) -> None:
        if run is self._run:
            self._run = None
            self.button.description = f"Play it {self.trials:,} times"
            self.bar.layout.display = "none"
            self._say(words)

    def _say(self, words: str) -> None:
        self.said.value = f'<p role="status">{html.escape(words)}</p>' if words else ""


def _beside(few: Quote, many: Quote) -> str:
    """The figures of both runs beside each other, as HTML."""
    said = few.settings

    def cost(offer: Quote) -> str:
        low, high = offer.odds.sure_of("cost", offer.confidence)
        (middle,) = offer.odds.at("cost", offer.confidence)
        return f"{whole(middle, said)} ± {whole((high - low) / 2, said)}"

    def loss(offer: Quote) -> str:
        low, high = offer.loss_range
        return (f"{100 * offer.chance_of_loss:.2f} in 100 "
                f"({100 * low:.2f} to {100 * high:.2f})")

    price = "Expected bill before tax" if few.choices.pricing == TIME else "Price before tax"
    rows = [
        (price, *(money(offer.price, said) for offer in (few, many))),
        (f"Cost that {100 * few.confidence:.0f} in 100 jobs keep to", cost(few), cost(many)),
        ("Jobs that lose money", loss(few), loss(many)),
        ("Hours, 4 jobs in 5", *(f"{offer.odds.at('hours', 0.8)[0]:.1f} h"
                                 for offer in (few, many))),
    ]
    body = "".join(f'<tr><th scope="row">{html.escape(name)}</th>'
                   + "".join(f'<td class="n">{html.escape(cell)}</td>' for cell in cells)
                   + "</tr>" for name, *cells in rows)
    return ('<div class="est-scroll" tabindex="0" role="region" aria-label="More trials">'
            '<table class="est-read" data-testid="long-run"><thead><tr><th scope="col">Figure</th>'
            f'<th scope="col" class="n">{few.odds.trials:,} trials</th>'
            f'<th scope="col" class="n">{many.odds.trials:,} trials</th></tr></thead>'
            f"<tbody>{body}</tbody></table></div>")


__all__ = ["TRIALS", "LongRun"]
