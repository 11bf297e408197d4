"""The work items of the chosen job on the page, and which of them are done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import ipywidgets as widgets

from estimator.ledger import Done
from estimator.pages import typed
from estimator.pages.boxes import box
from estimator.pages.entering import Button, Field, Form, Listing, PlainAlert, Row
from estimator.pages.guard import guarded
from estimator.pages.workshop import Workshop


class WorkItems:
    """A list of work items, each to be marked as done; `widget` is hidden without a job."""

    def __init__(self, workshop: Workshop):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"items": PlainAlert()}
        self._item = 0
        self.list = Listing("items", "Work items", (
            "Item", "Line", "Work", ">Expected h", ">Booked h", "Done"),
            "The job has no work items.", self._asked)
        self.why_head = widgets.HTML()
        self.why = Form("not-done", "Not done after all", [
            Field("why", "Why it is not done after all", "long")],
            [Button("not-done", "Take the mark back"), Button("leave", "Leave it", False)],
            self._taken_back, log_path=self.log_path)
        self.why_box = box("est-block", self.why_head, self.why)
        self.why_box.layout.display = "none"
        self.count = widgets.HTML()
        self.widget = box("est-block", self.alerts["items"].widget, self.count, self.why_box,
                          self.list)

    def failed(self, _area: str) -> None:
        """What could not be read is said; what stands there is of before."""

    @guarded("items")
    def show(self) -> None:
        """Show the items of the chosen job."""
        shop = self.workshop
        if shop.job is None:
            return
        done = {mark.item: mark.day for mark in shop.ledger.entries(Done, job=shop.number)}
        booked = shop.booked(shop.number)
        items = shop.items(shop.number)
        closed = shop.job.state == "closed"
        self.list.show([
            Row(str(one.item), (str(one.item), f"{one.line} {one.title}", one.name,
                                f"{one.expected:.2f}", f"{booked.get(one.item, 0):.2f}",
                                f"done {done[one.item]}" if one.item in done else ""),
                () if closed else
                (("not-done", "Not done", f"Item {one.item}, {one.name}, is not done after all"),)
                if one.item in done else
                (("done", "Done", f"Item {one.item}, {one.name}, is done"),))
            for one in items])
        self.count.value = (f'<h3 data-testid="items-done">Work items: {len(done)} of {len(items)} '
                            "marked as done</h3>")

    @guarded("items")
    def _asked(self, act: str, item: str) -> None:
        shop = self.workshop
        if act == "done":
            shop.ledger.mark_done(shop.number, [int(item)], date.today())
            shop.changed()
            return
        self._item = int(item)
        self.why.clear()
        self.why_head.value = f"<h3>Item {self._item} is not done after all</h3>"
        self.why.fill({"why": ""})
        self.why_box.layout.display = ""
        self.why.focus()

    def _taken_back(self, act: str, values: Mapping[str, str], _sure: Sequence[str]) -> str:
        if act == "not-done":
            self.workshop.ledger.not_done(self.workshop.number, [self._item],
                                          typed.why_of(values))
            self.workshop.changed()
        self.why_box.layout.display = "none"
        return ""
