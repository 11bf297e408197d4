"""Work that takes long is done beside the page: a button starts it, a bar shows how far it is,
the same button stops it."""

from __future__ import annotations

import asyncio
import html
import threading
from collections.abc import Callable

import ipywidgets as widgets

from estimator.errors import BadInput
from estimator.simulate import Stopped

Progress = Callable[[float], bool]
Work = Callable[[Progress], object]


class Beside:
    """A button, a progress bar and a line of words for one kind of long work.

    Parameters
    ----------
    label
        What the button says while nothing is done.
    prepare
        Called as the work starts: gives the work, or a sentence that says why there is none.
        The work is called with a function that it tells how far it is, from 0 to 1, and that
        answers whether to go on.
    done
        Gets what the work gave, unless it was stopped.
    """

    def __init__(self, label: str, prepare: Callable[[], Work | str],
                 done: Callable[[object], None]):
        self.label, self._prepare, self._done = label, prepare, done
        self._run: object | None = None
        self.button = widgets.Button(description=label)
        self.button.on_click(lambda _button: self.stop() if self.running else self.start())
        self.bar = widgets.FloatProgress(min=0, max=1, value=0)
        self.bar.layout.display = "none"
        self.said = widgets.HTML()
        row = widgets.Box([self.button, self.bar])
        row.add_class("est-buttons")
        self.widget = widgets.VBox([row, self.said])

    @property
    def running(self) -> bool:
        """Is work under way?"""
        return self._run is not None

    def start(self) -> None:
        """Begin; without an event loop, as in a script, the work is done at once."""
        work = self._prepare()
        if isinstance(work, str):
            self.say(work)
            return
        run = self._run = object()
        self.button.description = "Stop"
        self.bar.value, self.bar.layout.display = 0, ""
        # The bar is for the eyes; this is heard too.
        self.say("Under way; the button stops it.")
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._work(run, work, lambda step, *given: step(*given))
            return
        threading.Thread(target=self._work, args=(run, work, loop.call_soon_threadsafe),
                         daemon=True).start()

    def stop(self, why: str = "Stopped.") -> None:
        """Stop work that is under way; nothing comes of it."""
        if self.running:
            self._end(self._run, why)

    def say(self, words: str) -> None:
        """Show a sentence below the button; blank for none."""
        self.said.value = f'<p data-say>{html.escape(words)}</p>' if words else ""

    def _work(self, run: object, work: Work, tell: Callable) -> None:
        shown = 0.0

        def progress(share: float) -> bool:
            nonlocal shown
            going = run is self._run
            if going and share - shown >= 0.01:
                shown = share
                tell(self._show, run, share)
            return going

        try:
            found = work(progress)
        except Stopped:
            return
        except BadInput as error:
            tell(self._end, run, " ".join(str(fault) for fault in error.faults))
            return
        except Exception as error:
            from estimator.pages.guard import log
            log.exception("beside the page")
            tell(self._end, run, f"It failed: {type(error).__name__}: {error}")
            return
        tell(self._finish, run, found)

    def _show(self, run: object, share: float) -> None:
        if run is self._run:
            self.bar.value = share

    def _finish(self, run: object, found: object) -> None:
        if run is self._run:
            self._end(run, "")
            self._done(found)

    def _end(self, run: object, words: str) -> None:
        if run is self._run:
            self._run = None
            self.button.description = self.label
            self.bar.layout.display = "none"
            self.say(words)
