"""Finding one of many: the field that stands on every page beside a list of the latest."""

from __future__ import annotations

from collections.abc import Callable, Collection

import ipywidgets as widgets

from estimator.ledger import Draft, Ledger
from estimator.pages.boxes import box

MOST = 50
"""So many drafts are listed, the last saved ones; all others are found."""
_MOST_LETTERS = 200


class Finder:
    """A field for words, and how many were found by them; hidden while a list holds everything.

    Parameters
    ----------
    what
        Is looked for, as "draft".
    on_find
        Called when words were typed or taken away: lists what holds them.
    most
        So many drafts are listed; None is `MOST`.
    """

    def __init__(self, what: str, on_find: Callable[[], None], most: int | None = None):
        self.what, self.most = what, most or MOST
        self.count = 0
        self.field = widgets.Text(
            description=f"Find a {what} by machine, customer or number", continuous_update=False,
            style={"description_width": "initial"}, layout={"width": "auto"})
        self.field.observe(lambda _change: on_find(), "value")
        self.said = widgets.HTML()
        self.widget = box("est-find", self.field, self.said)
        self.widget.layout.display = "none"

    @property
    def words(self) -> str:
        """What was typed, as `estimator.ledger.has_words` takes it."""
        return self.field.value[:_MOST_LETTERS]

    def drafts(self, ledger: Ledger | None, kind: str = "", also: Collection[str] = ()
               ) -> tuple[Draft, ...]:
        """The latest drafts that hold the words, which are counted and told; after them those whose
        keys are in `also`, whether they hold them or not."""
        alike = ledger.drafts(kind, most=self.most, words=self.words) if ledger else ()
        self.told(len(alike), offered=len(alike) >= self.most, cut=len(alike) >= self.most)
        missing = set(also) - {one.key for one in alike}
        return (*alike, *(ledger.drafts_of(missing) if ledger else ()))

    def told(self, count: int, *, offered: bool, cut: bool) -> None:
        """Say how many were found.

        Parameters
        ----------
        offered
            Whether there may be more than a list shows: from then on the field is there.
        cut
            Whether there may be more that hold the words.
        """
        self.count = count
        if offered:
            self.widget.layout.display = ""
        said = (f"The first {count} are listed; more words find fewer." if cut
                else f"{count} found." if count else "Nothing holds all these words.")
        self.said.value = f'<p data-say data-testid="found-{self.what.replace(" ", "-")}">' \
                          f"{said}</p>" if self.words.split() else ""
