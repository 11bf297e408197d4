"""The page "Review hours": jobs from quote to close, hours and amounts booked, and what they teach.

Each part is built when it is first opened, and drawn anew when it is looked at after something
was booked: a page over many jobs opens as quickly as one over none.
"""

from __future__ import annotations

import html
from datetime import datetime
from pathlib import Path

import ipywidgets as widgets

from estimator.pages import opening
from estimator.pages.boxes import box
from estimator.pages.devices import Pulse
from estimator.pages.entering import Field, Form, Parts
from estimator.pages.guard import Alert, guarded, keep_log
from estimator.pages.workshop import Workshop
from estimator.shop import Shop

PARTS = {"jobs": "Jobs", "time": "Book time", "amounts": "Book amounts", "job": "Review of the job",
         "shop": "Review of the shop", "proposals": "Proposals"}
_LONG = ("job", "shop", "proposals")
_PAGE = "review-hours"


def opened() -> widgets.Widget:
    """The page as a widget, or what keeps it from opening, in plain words."""
    return opening.opened(
        _PAGE, lambda folder, shop: ReviewPage(folder, shop, opening.asked_draft()),
        needs="Jobs and hours are kept")


class ReviewPage:
    """The page: its head, the job that is chosen, and its parts.

    Parameters
    ----------
    folder
        Shop folder with the ledger.
    window
        Key of the window whose forms are opened again; None for a new one.
    """

    def __init__(self, folder: Path, shop: Shop, window: str | None = None):
        self.log_path = keep_log(folder)
        self.workshop = Workshop(folder, shop, self.log_path, self._changed, self._kept,
                                 window)
        self.alerts = {"page": Alert()}
        self.parts: dict[str, object] = {}
        self._drawn: dict[str, tuple] = {}
        self.there = False
        self.pulse = Pulse(self._there)
        self.running = widgets.HTML()
        self.picker = Form("pick", "The job", (), (), lambda *_: None, self._picked,
                           log_path=self.log_path)
        self.bar = Parts("Parts of the page", tuple(PARTS.items()), self._go, main=True)
        self.body = box("est-block")
        self.widget = box(
            "est-page", self.pulse,
            opening.head(_PAGE, self.running),
            self.alerts["page"].widget, self.picker, self.bar, self.body)
        self._open_first()

    def failed(self, _area: str) -> None:
        """What could not be opened is said; what stands there is of before."""

    @guarded("page")
    def _open_first(self) -> None:
        held = self.workshop.typed("page")
        numbers = [job.number for job in self.workshop.jobs]
        still_open = [job.number for job in self.workshop.jobs if job.state != "closed"]
        number = held.get("job")
        self.workshop.number = number if number in numbers else next(iter(still_open), None)
        part = held.get("part")
        self._show(part if part in PARTS else "jobs" if not still_open else "time")

    def _there(self) -> None:
        """The page is in the browser: what takes long may begin."""
        self.there = True
        self.pulse.address(self.workshop.unbooked.key)
        self._changed()

    @guarded("page")
    def _go(self, part: str) -> None:
        self.workshop.look()
        self._show(part)

    def _show(self, name: str) -> None:
        """Open a part; built if it is the first time, drawn if it is old."""
        if name not in self.parts:
            self.parts[name] = _PART[name](self.workshop)
        self.bar.current = name
        part = self.parts[name]
        self._head()
        state = (self.workshop.revision, self.workshop.number)
        # What is drawn between the end of the cell and the coming of the browser is lost.
        if self._drawn.get(name) != state and (self.there or name not in _LONG):
            self._drawn[name] = state
            part.show()
        if self.body.children != (part.widget,):
            self.body.children = (part.widget,)
        self.workshop.keep_typed("page", {"job": self.workshop.number or "", "part": name})

    @guarded("page")
    def _changed(self) -> None:
        self._show(self.bar.current)

    def _head(self) -> None:
        shop = self.workshop
        options = [["", "No job"], *shop.job_options()]
        field = Field("job", "Job", "choice", shop.number or "", tuple(options))
        if self.picker.values != {"job": field.value} or \
                self.picker.fields[0]["options"] != options:
            self.picker.offer([field])
        running = [f"{clock.person} since {clock.started.astimezone():%H:%M} on "
                   f"{shop.place(clock)}" for clock in shop.ledger.clocks()]
        said = f"Clock running: {'; '.join(running)}" if running else "No clock is running"
        self.running.value = f'<p data-testid="running">{html.escape(said)}</p>'

    def _kept(self) -> None:
        """What the page says of what is safe, should the connection go."""
        self.pulse.saved = f"{datetime.now():%H:%M:%S}"

    @guarded("page")
    def _picked(self, values) -> None:
        self.workshop.choose(values["job"])


def _jobs(workshop: Workshop):
    from estimator.pages.job_list import JobList
    return JobList(workshop)


def _time(workshop: Workshop):
    from estimator.pages.booking import BookTime
    return BookTime(workshop)


def _amounts(workshop: Workshop):
    from estimator.pages.spending import BookAmounts
    return BookAmounts(workshop)


def _job(workshop: Workshop):
    from estimator.pages.reviewing import OneJob
    return OneJob(workshop)


def _shop(workshop: Workshop):
    from estimator.pages.looking_over import WholeShop
    return WholeShop(workshop)


def _proposals(workshop: Workshop):
    from estimator.pages.proposing import Proposing
    return Proposing(workshop)


# Imported as they are opened: charts and reviews are not needed to book an hour.
_PART = {"jobs": _jobs, "time": _time, "amounts": _amounts, "job": _job, "shop": _shop,
         "proposals": _proposals}
