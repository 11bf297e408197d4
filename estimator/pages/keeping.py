"""The draft that a page keeps in the ledger: opened, saved as it changes, listed, deleted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime

import ipywidgets as widgets

from estimator.errors import BadInput, Fault
from estimator.ledger import Draft, Ledger, Stale, new_key
from estimator.pages.devices import Pulse
from estimator.pages.finding import Finder

_NOT_KEPT = ("There is no shop folder that can be written: nothing on this page is kept. Download "
             "what you need.")


class Keeping:
    """The draft that lies on a page; `widget` says when it was saved.

    Parameters
    ----------
    ledger
        Of the shop; None where nothing can be kept.
    pulse
        Tells the browser which draft a reload is to open, and when it was saved.
    kind
        Of the page's drafts, as `estimator.ledger.new_key` is told it.
    called
        What a person calls such a draft.
    """

    def __init__(self, ledger: Ledger | None, pulse: Pulse, kind: str = "",
                 called: str = "draft"):
        self.ledger, self.kind, self.called, self._pulse = ledger, kind, called, pulse
        self.widget = widgets.HTML()
        self.begin()

    def begin(self) -> None:
        """Lay a new draft on the page; it is in the ledger once it is saved."""
        self.lay(Draft(new_key(self.kind)))

    def lay(self, draft: Draft) -> None:
        """Lay a draft on the page."""
        self.draft = draft
        self._kept = None if draft.content is None else dict(draft.content)
        self._stale: BadInput | None = None

    def first(self, key: str | None) -> Draft | None:
        """The draft of that key, else the one saved last; None where there is none.

        Raises
        ------
        BadInput
            If the ledger cannot be read.
        """
        if self.ledger is None:
            return None
        own = key is not None and key.rpartition("-")[0] == self.kind
        return (self.ledger.draft(key) if own else None) or self.ledger.latest(self.kind)

    def chosen(self, key: str) -> Draft:
        """The draft that a person chose.

        Raises
        ------
        BadInput
            If somebody deleted it meanwhile.
        """
        found = self.ledger.draft(key) if self.ledger else None
        if found is None:
            raise BadInput(Fault(f"This {self.called} is not in the ledger any more.",
                                 "Somebody deleted it; choose another."))
        return found

    def save(self, title: str, content: Mapping) -> bool:
        """Keep what lies on the page, if it changed since it was kept; whether it was.

        Raises
        ------
        BadInput
            If it was changed in another window, at every call until another draft is laid.
        """
        if self.ledger is None or content == self._kept:
            return False
        if self._stale is not None:
            # Nothing has changed about it.
            raise self._stale
        try:
            self.draft = self.ledger.save(replace(self.draft, title=title, content=content))
        except Stale as error:
            self._stale = BadInput(
                replace(fault, what=fault.what.replace("This draft", f"This {self.called}"))
                for fault in error.faults)
            raise self._stale from None
        self._kept = dict(content)
        return True

    def delete(self) -> Draft | None:
        """Delete the draft and lay a new one; the one that was saved last, to go on with."""
        if self.ledger:
            self.ledger.forget(self.draft.key)
        self.begin()
        self._pulse.address("")
        return self.ledger.latest(self.kind) if self.ledger else None

    def address(self) -> None:
        """Let a reload of the page open this draft again."""
        self._pulse.address(self.draft.key)

    def options(self, title: str, finder: Finder) -> list[tuple[str, str]]:
        """Words and key of the latest drafts, for a list; the one on the page is always there, and
        first if it is not saved.

        Parameters
        ----------
        title
            Of what lies on the page.
        finder
            Its words narrow the list.
        """
        try:
            drafts = finder.drafts(self.ledger, self.kind, [self.draft.key])
        except BadInput:
            drafts = ()
        options = [(dated(one), one.key) for one in drafts]
        if self.draft.key not in {key for _, key in options}:
            options.insert(0, (f"{title} (not saved yet)", self.draft.key))
        return _told_apart(options)

    def say(self, unsaved: str = "Nothing changed yet") -> None:
        """Say when the draft was saved; `unsaved` where it was not."""
        if self.ledger is None:
            self.widget.value = f'<p class="est-warn" data-testid="saved">{_NOT_KEPT}</p>'
            return
        if self.draft.saved is None:
            self.widget.value = f'<p data-testid="saved">{unsaved}</p>'
            return
        when = self.draft.saved.astimezone()
        today = when.date() == datetime.now().astimezone().date()
        clock = f"{when:%H:%M:%S}" if today else f"{when:%d %b %Y, %H:%M}"
        self.widget.value = f'<p data-testid="saved">Saved at {clock}</p>'
        self._pulse.saved = clock


def dated(draft: Draft) -> str:
    """The title of a draft with the time when it was saved."""
    when = f"{draft.saved.astimezone():%d %b %Y, %H:%M}" if draft.saved else ""
    return f"{draft.title} ({when})"


def _told_apart(options: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Two drafts may be listed alike to the minute; a list needs different words."""
    seen: dict[str, int] = {}
    found = []
    for said, key in options:
        seen[said] = seen.get(said, 0) + 1
        found.append((said if seen[said] == 1 else f"{said} #{seen[said]}", key))
    return found
