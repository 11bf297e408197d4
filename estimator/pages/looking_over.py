"""The review of the shop on the page: do estimates hold, what was earned, where the hours went."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping

import ipywidgets as widgets

from estimator import plots, review
from estimator.documents.wording import counted, money
from estimator.errors import BadInput, Fault
from estimator.ledger import Ledger, Sent
from estimator.pages import showing
from estimator.pages.beside import Beside, Progress, Work
from estimator.pages.boxes import box, heading
from estimator.pages.entering import Parts, PlainAlert, plain_words
from estimator.pages.grouped import GroupedHours
from estimator.pages.guard import guarded
from estimator.pages.later import Later
from estimator.pages.workshop import Workshop
from estimator.review import JobReview, ShopReview
from estimator.shop import Shop

_HOURS_BY = {"operation": "Operation", "assembly": "Assembly", "person": "Person",
             "level": "Service level", "job": "Job", "kind": "Kind of work",
             "quarter": "Quarter", "customer kind": "Kind of customer"}
_MARGIN_BY = {"level": "Service level", "quarter": "Quarter", "customer": "Kind of customer",
              "job": "Job"}


class WholeShop:
    """The part of the page that holds all closed jobs against their estimates."""

    def __init__(self, workshop: Workshop):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"review": PlainAlert()}
        self.found: ShopReview | None = None
        self._sent: Mapping[str, Sent] = {}
        (self.head, self.control, self.signals, self.held, self.held_words, self.costs,
         self.costs_chart, self.left, self.left_chart, self.unbilled, self.hour,
         self.notes) = (widgets.HTML() for _ in range(12))
        self.hours = GroupedHours(workshop, _HOURS_BY)
        self.left_by = Parts("Margin by", tuple(_MARGIN_BY.items()), self._left_by)
        self.look = Beside("Look again", self._work, self._came)
        self.look.widget.add_class("est-long")
        self.records = widgets.HTML()
        self.walk = Beside("Try forecasts by records on these jobs", self._walk, self._walked)
        self.costs_box = box("est-block", heading("Costs of all jobs"),
                             box("est-beside", self.costs_chart, self.costs))
        self.jobs_box = box(
            "est-block", self.head,
            heading("Do the estimates hold?"),
            box("est-pictures", self.control, self.held), self.signals, self.held_words,
            self.walk.widget, self.records,
            heading("Hours"), self.hours.widget,
            heading("What is left over"), self.left_by,
            box("est-beside", self.left_chart, self.left), self.costs_box)
        self.blocks = box("est-block", self.jobs_box,
                          heading("Where the hours went"),
                          box("est-beside", self.unbilled, self.hour), self.notes)
        self.blocks.layout.display = "none"
        self.widget = box("est-block", self.alerts["review"].widget,
                          self.look.widget, self.blocks)
        self.steps = Later(0, [self._control, self._held, self._hours, self._left, self._costs,
                               self._time])

    def failed(self, _area: str) -> None:
        """No old figures below what is said."""
        self.blocks.layout.display = "none"

    def show(self) -> None:
        """Look through the closed jobs beside the page, then draw."""
        self.steps.stop()
        self.records.value = ""
        self.walk.stop("")
        self.look.stop("")
        self.look.start()

    def _work(self) -> Work:
        def ask(ledger: Ledger, shop: Shop, progress: Progress) -> object:
            try:
                return review.of_shop(ledger, shop, progress=progress), _holding(ledger)
            except BadInput as error:
                return error
        return self.workshop.aside(ask)

    def _came(self, found) -> None:
        # Steps say for themselves what goes wrong in them.
        if self._took(found):
            self.steps.start()

    def _walk(self) -> Work:
        return self.workshop.aside(lambda ledger, shop, _progress: review.walk(ledger, shop))

    @guarded("review")
    def _walked(self, found) -> None:
        """How the shop's own records would have forecast each job on the day it was accepted."""
        said = [_enough(one.what, one.share, one.held) for one in found.enough]
        self.records.value = showing.said(
            *(said or ["No job had enough closed ones before it."]), test="records")

    @guarded("review")
    def _took(self, found) -> bool:
        if isinstance(found, BadInput):
            raise BadInput(Fault(plain_words(fault.what), "Book some under Book time.")
                           for fault in found.faults)
        self.found, self._sent = found
        self.blocks.layout.display = ""
        self.jobs_box.layout.display = "" if self.found.jobs else "none"
        self.head.value = self._headline()
        self.notes.value = showing.notes(self.found.notes)
        return True

    def _headline(self) -> str:
        found, settings = self.found, self.workshop.shop.settings
        expected = math.fsum(job.expected for job in found.jobs)
        booked = math.fsum(job.booked for job in found.jobs)
        income = math.fsum(float(job.margin.income) for job in found.jobs)
        left = math.fsum(job.margin.left for job in found.jobs)
        return showing.figures([
            ("shop-jobs", "Closed jobs with hours", f"{len(found.jobs)}", ""),
            ("shop-ratio", "Booked / expected",
             f"{booked / expected:.2f}" if expected else "–",
             f"{booked:.0f} h booked on work items, {expected:.0f} h expected"),
            ("shop-margin", "Margin made", showing.percent(left / income if income else None),
             f"{showing.whole(left, settings)} of {showing.whole(income, settings)}"),
            ("shop-share", "Hours that quotes pay for", showing.percent(found.hour.share),
             f"the settings say {showing.percent(found.hour.settings_share)}"),
            ("shop-hour", "An hour costs", "–" if found.hour.cost is None
             else money(found.hour.cost, settings),
             f"by the settings {money(found.hour.settings_cost, settings)}"),
            *self._reserve()])

    def _reserve(self) -> list[tuple[str, str, str, str]]:
        reserve = self.found.reserve
        if reserve is None:
            return []
        held, needed = (f"{100 * share:.1f}\u00a0%"
                        for share in (reserve.held_share, reserve.needed_share))
        return [("shop-reserve", "Warranty reserve held", held,
                 f"{needed} would have been enough; {reserve.back} of {len(reserve.jobs)} jobs "
                 "came back")]

    # Steps ----------------------------------------------------------------------------------

    @guarded("review")
    def _control(self) -> None:
        drawn = self.found.chart
        if drawn is None:
            self.control.value = ""
            self.signals.value = showing.said(
                "A control chart takes two closed jobs with hours.", test="signals")
            return
        names = {job.job.number: job.job.name for job in self.found.jobs}
        called = [names[number] for number in self.found.charted]
        out: dict[int, str] = {}
        for signal in drawn.signals:
            out[signal.at] = f"{out[signal.at]}; {signal.words}" if signal.at in out \
                else signal.words
        low, high = (math.exp(limit) for limit in drawn.limits)
        ratios, centre = [math.exp(point) for point in drawn.points], math.exp(drawn.centre)
        first = max(0, len(ratios) - showing.LATEST)
        listed = [f"{called[place]} at {ratios[place]:.2f}: {words}."
                  for place, words in out.items() if place >= first]
        words = (f"Booked over expected hours of {counted(len(ratios), 'closed job')}: centre "
                 f"{centre:.2f}, limits {low:.2f} to {high:.2f}. "
                 + (" ".join(listed) or "None is out of control."))
        self.control.value = showing.chart(
            "control", "Booked over expected, job by job",
            plots.control(ratios[first:], centre, (low, high), names=called[first:],
                          out={at - first: words for at, words in out.items() if at >= first}),
            words, f"The last {showing.LATEST} of {len(ratios)} closed jobs." if first else "")
        self.signals.value = showing.said(*listed, drawn.caution, test="signals")

    @guarded("review")
    def _held(self) -> None:
        rows: dict[str, list] = defaultdict(list)
        for one in self.found.enough:
            rows[one.what].append((one.share, one.held.hits, one.held.cases, one.held.low,
                                   one.held.high))
        if not rows:
            self.held.value = ""
            self.held_words.value = showing.said(
                "What quotes promised is not known for the closed jobs.", test="held")
            return
        sentences = [_enough(one.what, one.share, one.held) for one in self.found.enough]
        self.held.value = showing.chart(
            "held", "Was it enough as often as promised?", plots.calibration(rows),
            " ".join(sentences),
            "Bars: where the share may lie in the long run, with 95 % confidence. Marks below the "
            "line: promised too much.")
        off = [one for one in sentences if "too" in one]
        self.held_words.value = showing.said(
            *(off or ["No promise is contradicted by the closed jobs."]), test="held")

    @guarded("review")
    def _hours(self) -> None:
        self.hours.show(self.found.groups)

    @guarded("review")
    def _left(self) -> None:
        by, settings = self.left_by.current, self.workshop.shop.settings
        rows = margins_by(self.found.jobs, self._sent, _WHICH[by])
        named = [(showing.named(by, name, self.workshop.shop.catalogue), *rest)
                 for name, *rest in rows]
        if not named:
            self.left.value = self.left_chart.value = ""
            return
        self.left.value = showing.table(
            "margins", f"Margin by {by}",
            (_MARGIN_BY[by], ">Jobs", ">Income", ">Cost", ">Left over", ">Quoted", ">Made"),
            [[name, str(count), money(income, settings), money(cost, settings),
              money(income - cost, settings), showing.percent(quoted), showing.percent(made)]
             for name, count, income, cost, quoted, made in named])
        drawn = [(f"{name}, {counted(count, 'job')}" if by != "job" else name, quoted, made)
                 for name, count, _, _, quoted, made in named
                 if made is not None and quoted is not None]
        if by == "job":
            drawn = sorted(drawn, key=lambda row: row[2] - row[1])
        words = "; ".join(f"{name}: quoted {showing.percent(quoted)}, made {showing.percent(made)}"
                          for name, quoted, made in drawn[:12])
        self.left_chart.value = showing.chart(
            "margins", "Margin quoted and made" + (", the worst first" if by == "job" else ""),
            plots.margins(drawn), f"{words}.") if drawn else ""

    @guarded("review")
    def _left_by(self, by: str) -> None:
        self.left_by.current = by
        if self.found is not None:
            self._left()

    @guarded("review")
    def _costs(self) -> None:
        found, settings = self.found, self.workshop.shop.settings
        self.costs_box.layout.display = "" if found.variances else "none"
        if found.variances is not None:
            self.costs.value = showing.costs_table(found.costs, found.variances, settings)
            self.costs_chart.value = showing.reasons(found.variances, settings)

    @guarded("review")
    def _time(self) -> None:
        found, settings = self.found, self.workshop.shop.settings
        hour = found.hour
        self.unbilled.value = showing.bars(found.unbilled, self.workshop.shop.catalogue) \
            if found.unbilled else ""
        share = "" if hour.share is None else (
            f"Of {hour.billed + hour.unbilled:.0f} hours booked, "
            f"{showing.percent(hour.share)} are work that quotes pay for; the settings say "
            f"{showing.percent(hour.settings_share)}.")
        cost = "" if hour.cost is None else (
            f"By what was booked an hour costs {money(hour.cost, settings)}; the settings say "
            f"{money(hour.settings_cost, settings)}, which is "
            + (f"{money(hour.cost - hour.settings_cost, settings)} too little."
               if hour.cost > hour.settings_cost + 0.005 else
               f"{money(hour.settings_cost - hour.cost, settings)} too much."
               if hour.cost < hour.settings_cost - 0.005 else "the same."))
        advice = ("The share that quotes pay for is set as productive_share in shop.toml."
                  if hour.share is not None else "")
        self.hour.value = showing.said(share, cost, advice, test="hour")


def _enough(what: str, share: float, held) -> str:
    """Whether a promise held, as a sentence."""
    were = "was" if what == "cost" else "were"
    return (f"{what.capitalize()} that {were} to be enough in {showing.percent(share)} of jobs "
            f"{were} enough in {held.hits} of {held.cases}, {showing.percent(held.share)}; in the "
            f"long run that is {showing.percent(held.low)} to {showing.percent(held.high)}"
            + (", so it is promised too much." if held.high < share else
               ", so it is promised too little." if held.low > share else "."))


def margins_by(jobs: Iterable[JobReview], sent: Mapping[str, Sent],
               which: Callable[[JobReview], str]) -> list[tuple]:
    """Name, jobs, income, cost, margin quoted and margin made of jobs that go together.

    Margins are shares, None without income; cost holds warranty. [money], [–]
    """
    alike: dict[str, list[JobReview]] = defaultdict(list)
    for job in jobs:
        alike[which(job)].append(job)
    found = []
    for name, group in sorted(alike.items()):
        income = math.fsum(float(job.margin.income) for job in group)
        cost = math.fsum(job.margin.cost + job.margin.warranty for job in group)
        quotes = [sent[job.job.number] for job in group if job.job.number in sent]
        price = math.fsum(float(one.price) for one in quotes)
        expected = math.fsum(one.cost_mean for one in quotes)
        found.append((name, len(group), income, cost, 1 - expected / price if price else None,
                      (income - cost) / income if income else None))
    return found


def _holding(ledger: Ledger) -> dict[str, Sent]:
    """Quotes by number; that of a revised job is the revision agreed to last."""
    sent = {one.number: one for one in ledger.sent()}
    return sent | {job: sent[number] for job, number in ledger.standing().items()}


def _quarter(job: JobReview) -> str:
    day = job.job.closed
    return "" if day is None else f"{day.year}, quarter {(day.month - 1) // 3 + 1}"


_WHICH = {"level": lambda job: job.level, "quarter": _quarter,
          "customer": lambda job: job.customer_kind, "job": lambda job: job.job.name}
