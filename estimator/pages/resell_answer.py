"""The answer of the page "Restore or resell": what to do, why, and what it looks like.

The words and figures stand at once, charts a little later; more trials than an edit can wait for
are played beside the page.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import ipywidgets as widgets

from estimator.documents.files import file_stem
from estimator.outside import json_file
from estimator.pages import deciding
from estimator.pages.beside import Beside, Progress, Work
from estimator.pages.boxes import box, heading
from estimator.pages.devices import FileButton
from estimator.pages.entering import Parts
from estimator.pages.guard import Alert, guarded
from estimator.pages.later import Later
from estimator.pages.ranked import Ranked
from estimator.resale import LEAVE, Resale, as_dict, resale
from estimator.shop import Shop

LIVE, MANY = 10_000, 100_000
"""Trials that an edit is answered with at most, and those that are played beside the page."""
_COSTLY_S = 0.15
_MOVES = (("0", "Profit of the best choice"), ("1", "Its lead over the next best"))


class Answer:
    """The answer of a deal: `strip` stands beside the form, `body` below it.

    Parameters
    ----------
    wanted
        Asked for the trials that are typed, as far as they can be read; 0 where they cannot.
    on_ticked
        Called when somebody chose whose cash is drawn; `drawn` are their keys.
    """

    def __init__(self, shop: Shop, log_path: Path | None, wanted: Callable[[], int],
                 on_ticked: Callable[[], None]):
        self.shop, self.log_path = shop, log_path
        self._wanted, self._on_ticked = wanted, on_ticked
        self.found: Resale | None = None
        self.drawn: tuple[str, ...] = ()
        self._quiet = False
        self.alerts = {"answer": Alert(), "papers": Alert("The paper was not made:")}
        self.strip, self.words, self.under, self.pays = (widgets.HTML() for _ in range(4))
        self.ranked = Ranked("choices", "Choices side by side", deciding.HEADS)
        self.charts = {name: widgets.HTML() for name in
                       ("profits", "losses", "stop", "effort", "cash", "swings")}
        self.ticks: dict[str, widgets.Checkbox] = {}
        self.tick_box = box("est-ticks")
        self.moves = Parts("What is moved", _MOVES, self.moved)
        self.many = Beside(f"Play it {MANY:,} times", self._many_of, self._many_done)
        self.papers = {
            "pdf": FileButton("Decision on one page (PDF)", on_want=lambda: self.hand_out("pdf")),
            "json": FileButton("All figures (JSON)", on_want=lambda: self.hand_out("json"))}
        self.body = self._laid_out()
        # Held until the browser is there: what is drawn before is lost on the way.
        self.costly = Later(_COSTLY_S, [
            *((lambda name=name, draw=draw: self._draw(name, draw))
              for name, draw in deciding.STEPS),
            self._cash, self._swings, self._pays, self._more], held=True)

    def _laid_out(self) -> widgets.Box:
        charts = self.charts
        return box(
            "est-block", heading("The decision"), self.words,
            heading("Choices side by side"), self.ranked, self.under, self.many.widget,
            heading("Profit and loss"), box("est-pictures", charts["profits"], charts["losses"]),
            heading("Cash over the months"), self.tick_box,
            box("est-wide-picture", charts["cash"]),
            heading("What moves it"), self.moves, box("est-wide-picture", charts["swings"]),
            heading("Stop after teardown"), box("est-wide-picture", charts["stop"]),
            heading("What pays"), box("est-wide-picture", charts["effort"]), self.pays,
            heading("Papers"), self.alerts["papers"].widget,
            box("est-buttons", *self.papers.values()))

    def failed(self, area: str) -> None:
        """Mark the answer as old where something went wrong on the way to a new one."""
        if area == "answer":
            self.costly.stop()
            self.many.stop("Stopped, for the deal was changed.")
            self.old(True)

    def old(self, old: bool) -> None:
        """Whether what is shown is of another deal than the one that is typed."""
        for shown in (self.strip, self.body):
            (shown.add_class if old else shown.remove_class)("est-old")
        # Without an answer there is nothing to see, nor the one of another decision.
        self.body.layout.display = "none" if self.found is None else ""
        if self.found is None:
            self.strip.value = ""
        for paper in self.papers.values():
            paper.disabled = old or self.found is None
        self.many.button.disabled = old or self.found is None

    def deal_changed(self) -> None:
        """What is drawn or played for another deal stops."""
        self.costly.stop()
        if self.many.running:
            self.many.stop("Stopped, for the deal was changed.")
        elif self.many.said.value:
            self.many.say("")

    def take(self, found: Resale) -> None:
        """An answer: in words and figures at once, in charts a little later."""
        self.found = found
        self.strip.value = deciding.strip(found)
        self.words.value = deciding.answer(found)
        deciding.rank(self.ranked, found)
        self.under.value = deciding.under_table(found)
        self._tick()
        self.old(False)
        self.costly.start()

    def there(self) -> None:
        """The page is in the browser: now draw what takes time."""
        if self.found is not None:
            self.costly.release()
        else:
            self.costly.held = False

    # What is drawn later ----------------------------------------------------------------

    @guarded("answer")
    def _draw(self, name: str, draw) -> None:
        self.charts[name].value = draw(self.found)

    @guarded("answer")
    def _cash(self) -> None:
        self.charts["cash"].value = deciding.cash(self.found, self._ticked())

    @guarded("answer")
    def _swings(self) -> None:
        self.charts["swings"].value = deciding.swings(self.found, int(self.moves.current))

    @guarded("answer")
    def _pays(self) -> None:
        self.pays.value = deciding.pays(self.found)

    @guarded("answer")
    def _more(self) -> None:
        """Where more trials are wanted than an edit waits for, they are played now."""
        if self._wanted() > self.found.deal.trials:
            self.many.start()

    def moved(self, which: str) -> None:
        """Show what moves the profit of the best choice, or its lead."""
        self.moves.current = which
        if self.found is not None:
            self._swings()

    def _tick(self) -> None:
        """A box to tick for each choice whose cash could be drawn."""
        names = {one.key: one.name for one in self.found.choices if one.key != LEAVE}
        if list(self.ticks) != list(names):
            self.ticks = {key: widgets.Checkbox(description=name, indent=False)
                          for key, name in names.items()}
            for one in self.ticks.values():
                one.observe(self._ticked_by_hand, "value")
            self.tick_box.children = list(self.ticks.values())
        wanted = self._ticked()
        self._quiet = True
        for key, one in self.ticks.items():
            one.value = key in wanted
        self._quiet = False

    def _ticked(self) -> list[str]:
        kept = [key for key in self.drawn if key in self.ticks]
        return kept or deciding.usual_lines(self.found)

    @guarded("answer")
    def _ticked_by_hand(self, _change) -> None:
        if self._quiet or self.found is None:
            return
        wanted = [key for key, one in self.ticks.items() if one.value]
        if len(wanted) > deciding.MOST_LINES:
            # The last one ticked takes the place of the first that was there.
            wanted = [key for key in wanted if key not in self.drawn[:1]][-deciding.MOST_LINES:]
        self.drawn = tuple(wanted)
        self._on_ticked()
        self._tick()
        self._cash()

    # More trials, papers ----------------------------------------------------------------

    def _many_of(self) -> Work | str:
        if self.found is None:
            return "There is no answer yet to look at more closely."
        own = self._wanted()
        deal = replace(self.found.deal, trials=own if own > LIVE else MANY)
        machine, shop = self.found.survey, self.shop

        def work(progress: Progress) -> Resale:
            return resale(machine, deal, shop, progress=progress)
        return work

    @guarded("answer")
    def _many_done(self, found: Resale) -> None:
        self.take(found)
        self.many.say(f"Played {found.deal.trials:,} times; all figures are of these trials.")

    @guarded("papers")
    def hand_out(self, kind: str) -> None:
        """The page for a partner, or all figures."""
        from estimator.documents import decision
        name = f"{file_stem(self.found.survey.machine.title)}-decision.{kind}"
        if kind == "pdf":
            self.papers[kind].hand_out(name, "application/pdf", decision.render(self.found))
        else:
            self.papers[kind].hand_out(name, "application/json", json_file(as_dict(self.found)))
