"""What each line of a quote is expected to cost the shop, opened, and all of them together."""

from __future__ import annotations

from estimator.estimate import KINDS, Estimate
from estimator.quote import QuoteLine
from estimator.trace.finds import Finds
from estimator.trace.ground import kept
from estimator.trace.steps import Step, cost_name, step


def line_kinds(line: QuoteLine, job: Estimate) -> tuple[str, ...]:
    """The kinds of cost that a line of a quote has; its cover has none."""
    if line.kind == "finds":
        return ("labour", "parts")
    (entry,) = (entry for entry in job.lines if entry.line == line.line)
    return tuple(kind for kind in KINDS if entry.kinds[kind] or line.kinds[kind])


class Costs:
    """Trees of expected cost and hours, by line."""

    def __init__(self, finds: Finds):
        self.finds, self.supplies = finds, finds.supplies
        self.bench, self.ground = finds.bench, finds.ground
        self.lines = {line.key: line for line in self.ground.offer.lines}

    def of(self, line: QuoteLine, kind: str) -> Step:
        """Expected cost of one kind on a line of the quote; not of its cover."""
        if line.kind == "finds":
            return {"labour": self.finds.labour, "parts": self.finds.other}.get(
                kind, lambda: step("sum", f"finds.{kind}.cost", "Expected cost", 0.0))()
        if kind == "labour":
            return self._labour(line.line)
        if kind == "outwork":
            return self.supplies.sent_of_line(line.line)
        return self.supplies.of_line(line.line, "part" if kind == "parts" else "material")

    @kept
    def _labour(self, index: int) -> Step:
        hours, hour = self.bench.line_hours(index), self.bench.hour_cost()
        return step("product", f"line-{index + 1}.labour.cost",
                    cost_name(self.ground.offer.titles[index], "labour"),
                    hours.value * hour.value, self.ground.currency, [hours, hour], figure=True)

    @kept
    def of_line(self, key: str) -> Step:
        """Expected cost of a line."""
        line = self.lines[key]
        if key == "finds":
            return self.finds.cost()
        kinds = [self.of(line, kind) for kind in line_kinds(line, self.ground.job)]
        return step("sum", f"{key}.cost_mean", f"{line.title}: expected cost", line.cost,
                    self.ground.currency, kinds, figure=True)

    @kept
    def known(self) -> Step:
        """Expected cost of the job, finds included."""
        job = self.ground.job
        return step("sum", "expected_cost", "Expected cost of all lines",
                    job.cost + job.find_cost, self.ground.currency,
                    [self.of_line(key) for key in self.lines if key != "cover"],
                    figure=True)

    def hours_of(self, key: str) -> Step:
        """Expected hours of a line, or of the finds."""
        line = self.lines[key]
        return self.finds.hours() if line.line is None else self.bench.line_hours(line.line)

    @kept
    def known_hours(self) -> Step:
        """Expected hours of the job, finds included."""
        job = self.ground.job
        return step("sum", "expected_hours", "Expected hours of all lines",
                    job.hours + job.find_hours, "h",
                    [self.hours_of(key) for key in self.lines if key != "cover"], figure=True)
