"""Jobs on the page: accept a quote, choose a job, say where it stands, close and reopen it."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from datetime import date

import ipywidgets as widgets

from estimator import jobs
from estimator.documents.wording import money
from estimator.ledger import STATES
from estimator.pages import typed
from estimator.pages.boxes import box, heading
from estimator.pages.changing import Changing
from estimator.pages.entering import Button, Field, Form, Listing, PlainAlert, Row
from estimator.pages.finding import Finder
from estimator.pages.guard import guarded
from estimator.pages.work_items import WorkItems
from estimator.pages.workshop import Workshop
from estimator.review import proposals
from estimator.survey.cells import Reading
from estimator.units import counted

LATEST = 20
MOST_WITHOUT_FIND = 15
"""With no more jobs than that there is nothing to look for."""


class JobList:
    """The part of the page that leads a job from a quote to its close."""

    def __init__(self, workshop: Workshop):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"jobs": PlainAlert()}
        self._accepting = ""
        self.jobs = Listing("jobs", "Jobs", ("Number", "Job", "State", "Accepted", "Promised",
                                             ">Expected h", ">Booked h"),
                            "No job so far: accept a quote below.", self._chosen)
        self.find = Finder("job", self._find)
        self.count = widgets.HTML()
        self.sent = Listing("quotes", "Quotes sent", ("Number", "Sent", "Machine", "Level",
                                                      ">Price before tax", "Outcome"),
                            "No quote waits for an answer. A quote counts as sent when its "
                            "documents are written.", self._asked)
        self.accept_head = widgets.HTML()
        self.accept = Form("accept", "Accept a quote", (), [
            Button("accept", "Make it a job"), Button("leave", "Not now", False)], self._accepted,
            log_path=self.log_path)
        self.accept_box = box("est-block", self.accept_head, self.accept)
        self.accept_box.layout.display = "none"
        self.state_head = widgets.HTML()
        self.state = Form("state", "Where the job stands", (), (), self._stated,
                          log_path=self.log_path)
        self.items, self.changing = WorkItems(workshop), Changing(workshop)
        self.state_box = box("est-block", self.state_head, self.state, self.items.widget,
                             self.changing.widget)
        self.widget = box("est-block", self.alerts["jobs"].widget, heading("Jobs"),
                          self.find.widget, self.count, self.jobs, self.state_box,
                          heading("Quotes that can become a job"), self.accept_box, self.sent)

    def failed(self, _area: str) -> None:
        """What could not be read is said; what stands there is of before."""

    @guarded("jobs")
    def show(self) -> None:
        """Show what the ledger holds."""
        shop = self.workshop
        self._list()
        names = {str(level): row.name for level, row in shop.shop.catalogue.levels.items()}
        waiting = shop.ledger.can_become_jobs(LATEST)
        self.sent.show([
            Row(one.number, (one.number, str(one.sent), one.title or "Untitled machine",
                             names.get(one.level, one.level), money(one.price, shop.shop.settings)
                             if one.currency == shop.shop.settings.currency
                             else f"{one.price} {one.currency}", one.outcome),
                (("accept", "Accept", f"Accept quote {one.number}"),))
            for one in waiting])
        self._show_state()
        self.items.show()
        self.changing.show()

    def _list(self) -> None:
        """The jobs that are looked for, or the latest."""
        shop = self.workshop
        listed, among = shop.found(self.find.words)
        numbers = [job.number for job in listed]
        expected = shop.ledger.hours_expected(numbers)
        booked = shop.ledger.hours_of_jobs(numbers)
        self.find.told(among, offered=len(shop.jobs) > MOST_WITHOUT_FIND, cut=False)
        self.count.value = "" if len(listed) >= among else (
            f'<p data-testid="jobs-count">{len(listed)} of {among} jobs: those that are open, and '
            "the last accepted of those that are closed.</p>")
        self.jobs.show([
            Row(job.number, (job.number, job.name, job.state, str(job.accepted),
                             str(job.promised or ""), f"{expected.get(job.number, 0.0):.1f}",
                             f"{booked.get(job.number, 0.0):.1f}"),
                (("choose", "Choose", f"Choose {job.name}"),), job.number == shop.number)
            for job in listed])

    @guarded("jobs")
    def _find(self) -> None:
        self._list()

    def _show_state(self) -> None:
        job = self.workshop.job
        self.state_box.layout.display = "" if job else "none"
        if job is None:
            return
        closed = job.state == "closed"
        ended = f"; closed on {job.closed}" if job.closed else ""
        self.state_head.value = f"<h2>{html.escape(job.name)}: {job.state}{ended}</h2>"
        self.state.buttons = [{"act": "reopen", "label": "Open it again", "first": True}] \
            if closed else [{"act": "keep", "label": "Keep", "first": True},
                            {"act": "close", "label": "Close the job", "first": False}]
        today = date.today().isoformat()
        self.state.offer([] if closed else [
            Field("state", "Where it stands", "choice", job.state,
                  tuple([state, state] for state in STATES if state != "closed")),
            Field("promised", "Promised for", "date", str(job.promised or ""),
                  help="Blank promises no day."),
            Field("closed", "Closed on", "date", today, help="For when it is closed.")])

    # What is done ---------------------------------------------------------------------------

    @guarded("jobs")
    def _chosen(self, _act: str, number: str) -> None:
        self.state.clear()
        self.workshop.choose(number)

    @guarded("jobs")
    def _asked(self, _act: str, number: str) -> None:
        self._accepting = number
        self.accept.clear()
        self.accept_head.value = f"<h3>Accept quote {html.escape(number)}</h3>"
        self.accept.offer([
            Field("name", "Name of the job", help="Blank takes the machine and its customer."),
            Field("date", "Accepted on", "date", date.today().isoformat()),
            Field("promised", "Promised for", "date", help="Blank promises no day.")])
        self.accept_box.layout.display = ""
        self.accept.focus()

    def _accepted(self, act: str, values: Mapping[str, str], _sure: Sequence[str]) -> str:
        if act == "accept":
            read = Reading(values)
            name = read.take("name")
            on = read.take("date", jobs.day_of, "Say when it was accepted.")
            promised = read.take("promised", jobs.day_of)
            read.done()
            job = jobs.accept(self.workshop.ledger, self._accepting, name=name, on=on,
                              promised=promised)
            self.workshop.number = job.number
            self.workshop.changed()
            self.workshop.choose(job.number)
            self.state.status = (f"{job.name} is a job now, with "
                                 f"{counted(len(self.workshop.items(job.number)), 'work item')}.")
        self.accept_box.layout.display = "none"
        return ""

    def _stated(self, act: str, values: Mapping[str, str], _sure: Sequence[str]) -> str:
        shop, number, more = self.workshop, self.workshop.number, ()
        if act == "reopen":
            job = shop.ledger.set_state(number, "on the bench")
        elif act == "close":
            read = Reading(values)
            on = read.take("closed", jobs.day_of, "Say when it was closed.")
            read.done()
            job = shop.ledger.set_state(number, "closed", on)
        else:
            job = shop.ledger.set_state_and_promise(number, values["state"],
                                         typed.day_or_none(values, "promised"))
        if job.state == "closed":
            more = proposals.closed(shop.ledger, shop.shop, number)
        # What closed jobs say of the shares stands in the shop's tables now.
        (shop.reopen if more else shop.changed)()
        return " ".join([f"{job.name}: {job.state}.", *more])
