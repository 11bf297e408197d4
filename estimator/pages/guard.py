"""One way for everything that answers a click: faults in plain words, nothing lost, nothing hidden.

An exception in a widget's callback shows nowhere, in Voila as in JupyterLab. So every callback
of a page goes through `guarded`.
"""

from __future__ import annotations

import functools
import html
import logging
from collections.abc import Callable, Iterable
from pathlib import Path

from estimator.errors import BadInput, Fault

log = logging.getLogger("estimator.pages")


def guarded(area: str) -> Callable:
    """Decorate a method of a page: what it raises is shown in the page's alert for `area`.

    The page offers `alerts[area]`, a `Alert`, and `failed(area)`, called after something went
    wrong so that figures can be marked as old. A call that goes well clears the alert.
    """
    def decorate(method: Callable) -> Callable:
        @functools.wraps(method)
        def run(page, *arguments, **named):
            try:
                result = method(page, *arguments, **named)
            except BadInput as error:
                page.alerts[area].show(error.faults)
            except Exception:
                log.exception("%s", method.__name__)
                page.alerts[area].show([unexpected(page.log_path)])
            else:
                page.alerts[area].clear()
                return result
            page.failed(area)
            return None
        return run
    return decorate


def unexpected(log_path: Path | None) -> Fault:
    """What to say when the program itself is at fault."""
    where = f" What happened stands in {log_path}." if log_path else ""
    return Fault("Something went wrong in the program; what you entered is still here.",
                 f"Try once more, or undo the last step.{where}")


def keep_log(folder: Path | None) -> Path | None:
    """Log to a file in the shop folder from now on; returns its path, None where there is none."""
    for handler in list(log.handlers):
        log.removeHandler(handler)
        handler.close()
    if folder is None:
        return None
    path = folder / "faults.log"
    handler = logging.FileHandler(path, encoding="utf-8", delay=True)
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    # A log that cannot be written must not become a fault of its own.
    handler.handleError = lambda record: None
    log.addHandler(handler)
    log.propagate = False
    return path


def fault_list(faults: Iterable[Fault], title: str = "", most: int = 20) -> str:
    """Faults as HTML that a person reads top down: where, what, and how to put it right."""
    faults = list(faults)
    rows = []
    for fault in faults[:most]:
        # A column alone is the name of a field; on a page fields are called by their labels.
        placed = fault.file or fault.row is not None
        place = f"<b>{html.escape(fault.place)}</b> " if placed else ""
        fix = f" <i>{html.escape(fault.fix)}</i>" if fault.fix else ""
        rows.append(f"<li>{place}{html.escape(fault.what)}{fix}</li>")
    if len(faults) > most:
        rows.append(f"<li>… and {len(faults) - most} more.</li>")
    head = f"<p>{html.escape(title)}</p>" if title else ""
    return (f'<div class="est-fault" role="alert" data-testid="fault">{head}'
            f"<ul>{''.join(rows)}</ul></div>")


class Alert:
    """Where the faults of one area of a page show; empty while there are none."""

    def __init__(self, title: str = ""):
        import ipywidgets as widgets
        self.title = title
        self.widget = widgets.HTML(layout=widgets.Layout(display="none", margin="0"))

    def show(self, faults: Iterable[Fault], title: str | None = None) -> None:
        """Show faults instead of what was there."""
        self.widget.value = fault_list(faults, self.title if title is None else title)
        self.widget.layout.display = ""

    def clear(self) -> None:
        """Show nothing."""
        if self.widget.value:
            self.widget.value = ""
            self.widget.layout.display = "none"
