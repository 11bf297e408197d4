"""The review of one job on the page: hours, costs and why, where it stands, its margin."""

from __future__ import annotations

import math

import ipywidgets as widgets

from estimator import plots, review
from estimator.documents.wording import money
from estimator.errors import BadInput, Fault
from estimator.ledger import Damaged
from estimator.pages import showing
from estimator.pages.boxes import box, heading
from estimator.pages.entering import PlainAlert
from estimator.pages.figures import day as day_said
from estimator.pages.grouped import GroupedHours
from estimator.pages.guard import guarded
from estimator.pages.later import Later
from estimator.pages.workshop import Workshop
from estimator.review import JobReview
from estimator.review.course import course_of

ASPECTS = {"operation": "Operation", "assembly": "Assembly", "line": "Line", "person": "Person",
           "kind": "Kind of work"}
_SUPPOSED = {"at_budget": "if the rest goes as quoted", "at_cpi": "if the rest goes as so far",
             "at_cpi_and_spi": "if late days cost too"}


class OneJob:
    """The part of the page that holds a job against its estimate."""

    def __init__(self, workshop: Workshop):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"review": PlainAlert()}
        self.found: JobReview | None = None
        self.head = widgets.HTML()
        self.costs, self.costs_chart, self.stands = (widgets.HTML() for _ in range(3))
        self.course, self.left, self.notes = (widgets.HTML() for _ in range(3))
        self.hours = GroupedHours(workshop, ASPECTS)
        self.costs_box = box("est-block", heading("Costs"),
                             box("est-beside", self.costs_chart, self.costs))
        self.stands_box = box("est-block", heading("Where it stands"), self.stands,
                              box("est-pictures", self.course))
        self.blocks = box("est-block", self.head, self.stands_box, heading("Hours"),
                          self.hours.widget, self.costs_box,
                          heading("What is left over"), self.left, self.notes)
        self.widget = box("est-block", self.alerts["review"].widget, self.blocks)
        self.steps = Later(0, [self._stands, self._hours, self._costs, self._left])

    def failed(self, _area: str) -> None:
        """No figures of another job below what is said."""
        self.blocks.layout.display = "none"

    def show(self) -> None:
        """Show the chosen job: first its figures, then the charts one by one."""
        self.steps.stop()
        # Steps say for themselves what goes wrong in them.
        if self._looked():
            self.steps.start()

    @guarded("review")
    def _looked(self) -> bool:
        shop = self.workshop
        if shop.job is None:
            self.blocks.layout.display = "none"
            raise BadInput(Fault("No job is chosen.", "Choose one above."))
        self.found = review.of_job(shop.ledger, shop.number, shop.shop)
        self.blocks.layout.display = ""
        self.hours.clear()
        for part in (self.stands, self.course, self.costs, self.costs_chart, self.left):
            part.value = ""
        self.head.value = self._headline()
        self.notes.value = showing.notes(self.found.notes)
        return True

    def _headline(self) -> str:
        found, settings = self.found, self.workshop.shop.settings
        worked = math.fsum(one.expected_worked for one in found.groups.get("operation", ()))
        share = found.booked / worked if worked else None
        rows = [("review-booked", "Hours booked on work items", f"{found.booked:.1f} h",
                 f"of {found.expected:.1f} h expected"),
                ("review-ratio", "Booked / expected",
                 "–" if share is None else f"{share:.2f}", "of the items worked on"),
                ("review-found", "Found and done again", f"{found.found + found.again:.1f} h",
                 f"{found.found:.1f} h found, {found.again:.1f} h again")]
        if found.came_back:
            rows.append(("review-warranty", "Warranty", f"{found.came_back:.1f} h", "came back"))
        rows.append(("review-cost", "Cost so far" if found.progress else "Cost",
                     money(found.margin.cost, settings), f"an hour at "
                     f"{money(found.hour_cost, settings)}"))
        try:
            use = self.workshop.ledger.cap_use(self.workshop.number)
        except Damaged:
            use = None
            rows.append(("review-cap", "Cap", "–", "damaged in the ledger, see the notes"))
        if use is not None:
            word = "passed" if use.passed else "will be passed" if use.ahead else "holds"
            rows.append(("review-cap", "Cap", money(use.cap.amount, settings),
                         f"{money(use.used, settings)} used, comes to "
                         f"{money(use.comes_to, settings)}: {word}"))
        return showing.figures(rows)

    # Steps, each drawn when those before it are on the page -----------------------------------

    @guarded("review")
    def _stands(self) -> None:
        found = self.found
        self.stands_box.layout.display = "" if found.progress else "none"
        if found.progress is None:
            return
        status, best = found.progress, found.forecast
        rows = [("pv", "Planned by now (PV)", f"{status.planned:.1f} h", ""),
                ("ev", "Earned (EV)", f"{status.earned:.1f} h",
                 f"{showing.percent(status.earned / status.budget)} of the work"),
                ("ac", "Spent (AC)", f"{status.spent:.1f} h", ""),
                ("cpi", "CPI, earned / spent", showing.index(status.cpi),
                 _word(status.cpi, "dearer than quoted", "cheaper than quoted")),
                ("spi", "SPI, earned / planned", showing.index(status.spi),
                 _word(status.spi, "behind the plan", "ahead of the plan"))]
        if best is not None:
            rows.append(("forecast", "It will come to", f"{best.mean:.1f} h",
                         f"{best.low:.0f} to {best.high:.0f} h in 8 of 10 such jobs; "
                         f"{best.rest:.1f} h to come"))
        eac = [[f"EAC {_SUPPOSED[name]}", f"{total:.1f}", f"{status.etc(total):.1f}",
                f"{status.vac(total):+.1f}", showing.index(status.tcpi(total))]
               for name, total in review.forecasts_of(status).items() if total is not None]
        self.stands.value = showing.figures(rows) + showing.table(
            "completion", "Estimates at completion",
            ("Estimate at completion", ">In all, h", ">To come, h", ">Under budget, h",
             ">Index the rest needs"), eac) + showing.notes(status.notes)
        course = course_of(self.workshop.ledger, found.job.number)
        if course is None:
            return
        settings = self.workshop.shop.settings
        range_ = None if best is None else (best.low, best.mean, best.high)
        comes = "" if best is None else (f" It will come to {best.mean:.1f} h, {best.low:.1f} to "
                                         f"{best.high:.1f} h in 8 of 10 such jobs.")
        self.course.value = showing.chart(
            "course", "Planned, earned and spent",
            plots.earned_value(course.days, course.planned, course.earned, course.spent,
                               budget=status.budget, forecast=range_,
                               day=lambda one: day_said(one, settings)),
            f"By {course.days[-1]}: planned {status.planned:.1f} h, earned {status.earned:.1f} h, "
            f"spent {status.spent:.1f} h of {status.budget:.1f} h quoted.{comes}",
            "Work counts as earned once it is marked as done; what is not marked is told from "
            "the bookings.")

    @guarded("review")
    def _hours(self) -> None:
        self.hours.show(self.found.groups)

    @guarded("review")
    def _costs(self) -> None:
        found, settings = self.found, self.workshop.shop.settings
        self.costs_box.layout.display = "" if found.variances else "none"
        if found.variances is None:
            return
        self.costs.value = showing.costs_table(found.costs, found.variances, settings)
        self.costs_chart.value = showing.reasons(
            found.variances, settings, "" if found.job.state == "closed" else
            "The job is not closed: what is still to come counts as not spent.")

    @guarded("review")
    def _left(self) -> None:
        found, settings = self.found, self.workshop.shop.settings
        ledger = self.workshop.ledger
        holds = ledger.holds(found.job.number)
        sent = ledger.sent_of([holds])[holds]
        price = float(sent.price)
        quoted = 1 - sent.cost_mean / price
        made = found.margin.share
        came = "came in" if found.margin.sold else "is the price quoted; nothing came in yet"
        closed = found.job.state == "closed"
        to_come = "" if closed else "; work still to come is not in it"
        rows = [("margin-quoted", "Margin quoted", showing.percent(quoted),
                 f"{money(price - sent.cost_mean, settings)} of {money(price, settings)}"),
                ("margin-made", "Margin made" if closed else "Not spent so far",
                 showing.percent(made),
                 f"{money(found.margin.left, settings)} of "
                 f"{money(float(found.margin.income), settings)}, which {came}{to_come}")]
        self.left.value = showing.figures(rows)


def _word(value: float | None, under: str, over: str) -> str:
    if value is None:
        return "cannot be said yet"
    return under if value < 0.995 else over if value > 1.005 else "as planned"
