"""Many more trials than the page plays at every edit: with a progress bar, and stopped at will."""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import replace

from estimator.documents.wording import money, whole
from estimator.pages.beside import Beside, Progress, Work
from estimator.quote import TIME, Quote, quote
from estimator.shop import Shop

TRIALS = 1_000_000


class LongRun(Beside):
    """A button that plays the job a million times, beside what the page's own trials say.

    An edit makes the run worthless and stops it; so does the button.
    """

    def __init__(self, shop: Shop, current: Callable[[], Quote | None], trials: int = TRIALS):
        self.shop, self.trials, self._current = shop, trials, current
        super().__init__(f"Play it {trials:,} times", self._run_of, self._shown)
        self.widget.add_class("est-long")

    def changed(self) -> None:
        """The desk was edited: what was found, or is being found, is of another job."""
        if self.running:
            self.stop("Stopped, for the job was changed.")
        elif self.said.value:
            self.say("")

    def _run_of(self) -> Work | str:
        offer = self._current()
        if offer is None:
            return "There is no price yet to look at more closely."
        choices = replace(offer.choices, trials=self.trials)

        def work(progress: Progress) -> tuple[Quote, Quote]:
            return offer, quote(offer.survey, choices, self.shop, compare=False,
                                progress=progress)
        return work

    def _shown(self, found: tuple[Quote, Quote]) -> None:
        self.said.value = _beside(*found)


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
    aloud = f"Played {many.odds.trials:,} times. {price}: {rows[0][2]}."
    return (f'<div class="est-scroll" tabindex="0" role="region" aria-label="More trials" '
            f'data-say="{html.escape(aloud)}">'
            '<table class="est-read" data-testid="long-run"><thead><tr><th scope="col">Figure</th>'
            f'<th scope="col" class="n">{few.odds.trials:,} trials</th>'
            f'<th scope="col" class="n">{many.odds.trials:,} trials</th></tr></thead>'
            f"<tbody>{body}</tbody></table></div>")
