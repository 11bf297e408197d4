"""Hours of a review by what work items have in common, on the page: a table beside a chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import ipywidgets as widgets

from estimator.pages import showing
from estimator.pages.boxes import box
from estimator.pages.entering import Parts, PlainAlert
from estimator.pages.guard import guarded
from estimator.pages.workshop import Workshop
from estimator.review import Group


class GroupedHours:
    """Buttons that say what hours are put together by, and the hours booked over those expected.

    Parameters
    ----------
    aspects
        What hours can be put together by, with the words of its button; the first at the start.
    """

    def __init__(self, workshop: Workshop, aspects: Mapping[str, str]):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"hours": PlainAlert()}
        self.groups: Mapping[str, Sequence[Group]] = {}
        self.table, self.chart = widgets.HTML(), widgets.HTML()
        self.by = Parts("Hours by", tuple(aspects.items()), self.put_together)
        self.widget = box("est-block", self.alerts["hours"].widget, self.by,
                          box("est-beside", self.chart, self.table))

    def failed(self, _area: str) -> None:
        """No old figures below what is said."""
        self.clear()

    def clear(self) -> None:
        """Show nothing."""
        self.groups = {}
        self.table.value = self.chart.value = ""

    @guarded("hours")
    def show(self, groups: Mapping[str, Sequence[Group]]) -> None:
        """Show these groups, by each aspect."""
        self.groups = groups
        self._draw()

    @guarded("hours")
    def put_together(self, by: str) -> None:
        """Put hours together by another aspect."""
        self.by.current = by
        if self.groups:
            self._draw()

    def _draw(self) -> None:
        by, catalogue = self.by.current, self.workshop.shop.catalogue
        groups = showing.differing(self.groups.get(by, ()))
        self.table.value = showing.hours_table(by, groups, catalogue) if groups else \
            showing.said("No hours are booked on work items so far.")
        self.chart.value = showing.hours_chart(by, groups, catalogue)
