"""Hours at the bench opened: work items, their units and ranges, set-up, allowances, the hour."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

from estimator import durations, finishing
from estimator.catalogue import Condition, Grit
from estimator.estimate import work_hours
from estimator.scope import Need, Work
from estimator.trace.ground import Ground, kept
from estimator.trace.places import of_line
from estimator.trace.steps import Step, step


def three(found) -> tuple[float, float, float]:
    """A range as a value."""
    return float(found.low), float(found.typical), float(found.high)


class Bench:
    """Trees of hours."""

    def __init__(self, ground: Ground):
        self.ground = ground
        self.items: dict[int, list[int]] = defaultdict(list)
        self.alike: dict[str, list[int]] = defaultdict(list)
        for number, item in enumerate(ground.job.items):
            self.items[item.line].append(number)
            self.alike[item.work.operation.operation].append(number)
        self.keys = {
            number: f"line-{line + 1}.work-{place}"
            for line, numbers in self.items.items()
            for place, number in enumerate(numbers, 1)
        }
        self.names = [
            f"{ground.offer.titles[item.line]}: {item.work.operation.name}"
            for item in ground.job.items
        ]

    # What an hour costs, and what is added to hands-on hours.

    @kept
    def hour_cost(self) -> Step:
        """What one hour on the job costs the shop."""
        set_ = self.ground.setting
        money = self.ground.currency
        s = self.ground.settings
        loaded = step("plus", "hour_cost.loaded", "On-costs on top", 1 + s.on_cost_share, "",
                      [set_("on_cost_share")])
        pay = step("product", "hour_cost.pay", "Pay of a year",
                   s.pay_per_hour * (1 + s.on_cost_share) * s.paid_hours_per_year, money,
                   [set_("pay_per_hour"), loaded, set_("paid_hours_per_year")])
        year = step("sum", "hour_cost.year", "Cost of a year", pay.value + s.overhead_per_year,
                    money, [pay, set_("overhead_per_year")])
        hours = step("product", "hour_cost.hours", "Hours that jobs carry",
                     s.paid_hours_per_year * s.productive_share, "h",
                     [set_("paid_hours_per_year"), set_("productive_share")])
        return step("quotient", "hour_cost", "What an hour costs", self.ground.job.hour_cost,
                    f"{money}/h", [year, hours], figure=True)

    @kept
    def hours_factor(self) -> Step:
        """What hands-on hours are multiplied by for set-up, clean-up and rework."""
        parts = [self.ground.setting(name) for name in ("setup_cleanup_share", "rework_share")]
        return step("plus", "hours_factor", "Allowances on hands-on hours",
                    self.ground.job.hours_factor, "", parts, figure=True)

    # Work items.

    @kept
    def line_hours(self, index: int) -> Step:
        """Expected hours of a survey line, with allowances."""
        numbers = self.items[index]
        hands_on = step(
            "sum", f"line-{index + 1}.hands_on", "Hands-on hours",
            math.fsum(self.ground.job.items[number].mean_hours for number in numbers), "h",
            [self.item(number) for number in numbers],
        )
        return step("product", f"line-{index + 1}.hours_mean",
                    f"{self.ground.offer.titles[index]}: expected hours",
                    hands_on.value * self.ground.job.hours_factor, "h",
                    [hands_on, self.hours_factor()], figure=True)

    @kept
    def item(self, number: int) -> Step:
        """Expected hands-on hours of a work item, with its part of the set-up."""
        item, key = self.ground.job.items[number], self.keys[number]
        condition = self.ground.scope.lines[item.line].condition
        if not item.setup:
            return self.expected(key, item.work, condition, self.names[number], figure=True)
        work = self.expected(f"{key}.work", item.work, condition, "At the work")
        return step("sum", key, self.names[number], item.mean_hours, "h",
                    [work, self._setup(number)], figure=True)

    def expected(
        self, key: str, work: Work, condition: Condition, name: str, figure: bool = False
    ) -> Step:
        """Expected hands-on hours of work on a line in some condition, without set-up."""
        hours = self._hours(key, work, condition)
        shape = self.ground.settings.hours_shape
        mean = durations.mean_of(durations.Range(*hours.value), shape)
        return step("middle" if shape == "triangular" else "mean", key,
                    name, mean, "h", [hours], figure=figure)

    def _hours(self, key: str, work: Work, condition: Condition) -> Step:
        row, ground = work.operation, self.ground
        if row.method == "ladder":
            steps = [self._ladder(key, work, condition),
                     ground.cells(f"{key}.spread", "Spread of the ladder's hours", row)]
        else:
            book = ground.cells(f"{key}.book", "Book hours of one", row, "h")
            steps = [book, self._learned(key, work)]
        if ground.settings.learner_multiplier != 1:
            steps.append(ground.setting("learner_multiplier"))
        found = work_hours(work, condition, ground.catalogue, ground.settings)
        return step("product", f"{key}.hours", "Hours, low, typical and high", three(found), "h",
                    steps)

    def _learned(self, key: str, work: Work) -> Step:
        """Units of work, in times of the first one where each goes faster than the one before."""
        units, rate = self.units(key, work, work.units), work.operation.learning
        if rate == 1:
            return units
        curve = self.ground.cell(f"{key}.rate", "Learning rate", work.operation, "learning")
        return step("learning", f"{key}.learned", "Units, in times of the first",
                    durations.unit_total(1.0, work.units, rate), "", [units, curve])

    def units(self, key: str, of: Work | Need, value: float, unit: str = "") -> Step:
        """How much of it the line needs: quantity × share × what the treatment goes by."""
        row, ground = of.treatment, self.ground
        key = f"{key}.units"
        steps = [ground.cell(f"{key}.quantity", f"Quantity {row.unit}", row, "quantity")]
        if row.share != 1:
            steps.append(ground.cell(f"{key}.share", "Share that needs it", row, "share"))
        if row.measure != "line":
            steps.append(self.measure(of.line, row.measure))
        return step("product", key, f"{ground.offer.titles[of.line]}: units", value, unit, steps,
                    row=of_line(of.line, ground.offer))

    @kept
    def measure(self, index: int, per: str) -> Step:
        """Count, area or length of a survey line; a size that was not measured is the usual one."""
        ground, line = self.ground, self.ground.scope.lines[index]
        count = ground.noted(index, "count", "Count")
        if per == "count":
            return count
        column, unit, small, per_unit, said = {
            "area": ("area_cm2", "m²", "cm²", 10_000, "Area"),
            "length": ("length_mm", "m", "mm", 1000, "Length"),
        }[per]
        if getattr(line, column) is None:
            row = ground.catalogue.assemblies[line.assembly]
            one = ground.cell(f"survey-{index + 1}.{column}", f"{said} of one, usual", row, column,
                              small)
        else:
            one = ground.noted(index, column, f"{said} of one, measured", small)
        all_of = step("product", f"survey-{index + 1}.{per}.small", f"{said} of all",
                      count.value * one.value, small, [count, one])
        unit_of = ground.defined(f"{small} in one {unit}", per_unit)
        return step("quotient", f"survey-{index + 1}.{per}", f"{said} in {unit}",
                    all_of.value / per_unit, unit, [all_of, unit_of])

    # Set-up.

    def _setup(self, number: int) -> Step:
        item, key = self.ground.job.items[number], f"{self.keys[number]}.setup"
        row = item.work.operation
        steps = [self.ground.cell(f"{key}.once", "Set-up, once a job", row, "setup", "h")]
        if len(self.alike[row.operation]) > 1:
            total = self.all_units(row.operation)
            own = self.units(self.keys[number] + ".work", item.work, item.work.units)
            steps.append(step("quotient", f"{key}.share", "This line's part of it",
                              own.value / total.value, "", [own, total]))
        if self.ground.settings.learner_multiplier != 1:
            steps.append(self.ground.setting("learner_multiplier"))
        return step("product", key, "Set-up", item.setup, "h", steps)

    @kept
    def all_units(self, operation: str) -> Step:
        """Units of an operation over all lines, which share its set-up."""
        items = [(number, self.ground.job.items[number]) for number in self.alike[operation]]
        units = [
            self.units(self.keys[number] + (".work" if item.setup else ""), item.work,
                       item.work.units)
            for number, item in items
        ]
        name = items[0][1].work.operation.name
        return step("sum", f"units.{operation}", f"{name}: units of the whole job",
                    math.fsum(one.value for one in units), "", units, figure=True)

    # The grit ladder.

    def ladder_of(self, condition: Condition, finish: str) -> tuple[Sequence[Grit], bool]:
        """Grits to run, and whether the first of them is run as often as the marks ask."""
        tables = self.ground.catalogue
        mark, last = tables.marks[condition], tables.finishes[finish].last_grit
        grits = finishing.ladder(tables.grits.values(), mark.first_grit, last)
        return grits, grits[0].grit == mark.first_grit

    def _ladder(self, key: str, work: Work, condition: Condition) -> Step:
        ground, tables = self.ground, self.ground.catalogue
        finish = work.finish or "brushed"
        hours = finishing.hours(work.units, tables.grits.values(), tables.marks[condition],
                                tables.finishes[finish])
        area = self.units(key, work, work.units, "m²")
        all_minutes = step("product", f"{key}.minutes", "Minutes of the grit ladder",
                           tuple(60 * point for point in hours), "min",
                           [area, self._minutes(condition, finish)])
        return step("quotient", f"{key}.ladder", "Hours of the grit ladder", hours, "h",
                    [all_minutes, ground.defined("minutes in an hour", 60)])

    @kept
    def _minutes(self, condition: Condition, finish: str) -> Step:
        """Minutes for a square metre, over all grits."""
        ground, tables = self.ground, self.ground.catalogue
        key = f"ladder.{condition}.{finish}"
        grits, as_marked = self.ladder_of(condition, finish)
        steps = []
        for place, grit in enumerate(grits):
            run = ground.cells(f"grit.{grit.grit}", f"{grit.grit}, once over a square metre", grit,
                               "min")
            if place == 0 and as_marked:
                passes = self.passes(condition)
                run = step("product", f"{key}.{grit.grit}", f"{grit.grit}, all passes",
                           tuple(passes.value * point for point in run.value), "min",
                           [passes, run])
            steps.append(run)
        row = tables.finishes[finish]
        if row.compound_minutes:
            steps.append(ground.cell(f"{key}.compound", "With compound", row, "compound_minutes",
                                     "min"))
        points = zip(*(run.value if isinstance(run.value, tuple) else (run.value,) * 3
                       for run in steps), strict=True)
        return step("sum", key, f"Minutes for a square metre, from {condition} to {finish}",
                    tuple(math.fsum(point) for point in points), "min", steps)

    @kept
    def passes(self, condition: Condition) -> Step:
        """Passes with the first grit, as the depth of the marks asks."""
        return self.ground.cell(f"marks.{condition}", "Passes with the first grit",
                                self.ground.catalogue.marks[condition], "passes")
