"""The allowance for finds opened: chance × what it would add, for every find and unseen line."""

from __future__ import annotations

import math

from estimator import durations
from estimator.catalogue import Certainty
from estimator.estimate.supplies import supplies_of
from estimator.scope import line_scope, worse
from estimator.survey import Line
from estimator.trace.ground import kept
from estimator.trace.places import of_line
from estimator.trace.steps import Step, step
from estimator.trace.supplies import Supplies, basket

LABOUR = "Allowance for finds: expected cost of labour"
OTHER = "Allowance for finds: expected parts, materials and outwork"
WORSE = {"hours": "hours", "cost": "parts, materials, outwork"}
"""What a line takes more that is worse than written, in words."""


class Finds:
    """Trees of what may come to light."""

    def __init__(self, supplies: Supplies):
        self.supplies, self.bench, self.ground = supplies, supplies.bench, supplies.ground
        self.unseen = {unseen.line: unseen for unseen in self.ground.job.unseen}

    @kept
    def hours(self) -> Step:
        """Expected hours of all finds, with allowances."""
        job = self.ground.job
        steps = [self.find_hours(number) for number in range(len(job.risks))]
        steps += [self.worse(line, "hours") for line in self.unseen]
        steps = [one for one in steps if one.value]
        hands_on = step("sum", "finds.hands_on", "Hands-on hours",
                        math.fsum(one.value for one in steps), "h", steps)
        return step("product", "finds.hours_mean", "Allowance for finds: expected hours",
                    job.find_hours, "h", [hands_on, self.bench.hours_factor()], figure=True)

    @kept
    def labour(self) -> Step:
        """Expected labour cost of all finds."""
        return step("product", "finds.labour.cost", LABOUR,
                    self.ground.job.find_hours * self.ground.job.hour_cost, self.ground.currency,
                    [self.hours(), self.bench.hour_cost()], figure=True)

    @kept
    def other(self) -> Step:
        """Expected parts, materials and outwork of all finds."""
        job = self.ground.job
        steps = [self.find_cost(number) for number in range(len(job.risks))]
        steps += [self.worse(line, "cost") for line in self.unseen]
        steps = [one for one in steps if one.value]
        return step("sum", "finds.parts.cost", OTHER,
                    math.fsum(one.value for one in steps), self.ground.currency, steps,
                    figure=True)

    @kept
    def cost(self) -> Step:
        """Expected cost of all finds."""
        return step("sum", "finds.cost_mean", "Allowance for finds: expected cost",
                    self.ground.job.find_cost, self.ground.currency,
                    [self.labour(), self.other()], figure=True)

    def title(self, number: int) -> str:
        """A find and the line that it may come to light on."""
        risk = self.ground.job.risks[number]
        return f"{risk.find.name} ({self.ground.offer.titles[risk.line]})"

    @kept
    def chance(self, number: int) -> Step:
        """Chance of a find on its line, by how far that was inspected."""
        risk, cell = self.ground.job.risks[number], self.ground.cell
        certainty = self.ground.scope.lines[risk.line].certainty
        key = f"find-{number + 1}.chance"
        steps = [cell(f"{key}.seen", "Chance on a line that was seen", risk.find, "probability")]
        if certainty != Certainty.SEEN:
            steps.append(cell(f"{key}.{certainty}", f"Multiplier, as it was {certainty}", risk.find,
                              str(certainty)))
        return step("product", key, "Chance", risk.chance, "", steps,
                    row=of_line(risk.line, self.ground.offer))

    @kept
    def find_hours(self, number: int) -> Step:
        """Expected hands-on hours of one find."""
        row = self.ground.job.risks[number].find
        return self._expected(number, "hours", "hours it adds", ("low", "typical", "high"), "h",
                              durations.mean_of(row))

    @kept
    def find_cost(self, number: int) -> Step:
        """Expected parts, materials and outwork of one find."""
        row = self.ground.job.risks[number].find
        columns = ("cost_low", "cost_typical", "cost_high")
        return self._expected(
            number, "cost", "what it costs", columns, self.ground.currency,
            durations.mean_of(durations.Range.of(row, "cost_")),
        )

    @kept
    def find_days(self, number: int) -> Step:
        """Expected days that one find holds up the job."""
        risk = self.ground.job.risks[number]
        key = f"find-{number + 1}.days_mean"
        days = self.ground.cell(f"{key}.if", "Days it holds up the job", risk.find, "days", "d")
        return step("product", key, self.title(number), risk.chance * days.value, "d",
                    [self.chance(number), days], figure=True)

    def _expected(self, number, what: str, said: str, columns, unit: str, mean: float) -> Step:
        risk = self.ground.job.risks[number]
        key = f"find-{number + 1}.{what}_mean"
        range_ = self.ground.cells(f"{key}.range", said.capitalize(), risk.find, unit, columns)
        adds = step("mean", f"{key}.if", f"If it comes, {said}", mean, unit, [range_])
        return step("product", key, self.title(number), risk.chance * mean, unit,
                    [self.chance(number), adds], figure=True)

    # Lines that may be one condition worse than written.

    def worse_title(self, line: int) -> str:
        """A line that was not seen, and what it may turn out to be."""
        return f"{self.ground.offer.titles[line]}, {self.unseen[line].condition} after all"

    @kept
    def worse(self, line: int, what: str) -> Step:
        """Chance that a line is one condition worse × what it then takes more."""
        unseen = self.unseen[line]
        adds, unit = getattr(unseen, what), "h" if what == "hours" else self.ground.currency
        certainty = self.ground.scope.lines[line].certainty
        chance = self.ground.setting(f"{certainty}_worse_chance")
        return step("product", f"line-{line + 1}.worse_{what}", self.worse_title(line),
                    unseen.chance * adds, unit, [chance, self._if_worse(line, what)],
                    row=of_line(line, self.ground.offer), figure=True)

    def _if_worse(self, line: int, what: str) -> Step:
        """Hands-on hours, or other cost, that a line takes more if it is one condition worse."""
        unseen, now = self.unseen[line], self.ground.scope.lines[line]
        build = self._hours_alone if what == "hours" else self._cost_alone
        unit = "h" if what == "hours" else self.ground.currency
        steps = [build(line, worse(now), f"if {unseen.condition}"),
                 build(line, now, f"as {now.condition}")]
        return step("excess", f"line-{line + 1}.worse_{what}.if",
                    f"If it is, {WORSE[what]} more", getattr(unseen, what), unit, steps)

    def _hours_alone(self, index: int, line: Line, said: str) -> Step:
        scope, key = self.ground.scope, f"line-{index + 1}.{line.condition}"
        works, _ = line_scope(index, line, scope.era, scope.level, self.ground.catalogue)
        steps = [
            self.bench.expected(f"{key}.work-{place}", work, line.condition, work.operation.name)
            for place, work in enumerate(works, 1)
        ]
        return step("sum", f"{key}.hours", f"Hands-on hours {said}",
                    math.fsum(one.value for one in steps), "h", steps)

    def _cost_alone(self, index: int, line: Line, said: str) -> Step:
        """Parts, materials and outwork of one line by itself, without set-up and minimums."""
        ground, scope = self.ground, self.ground.scope
        key, money = f"line-{index + 1}.{line.condition}", ground.currency
        works, needs = line_scope(index, line, scope.era, scope.level, ground.catalogue)
        lines = list(scope.lines)
        lines[index] = line
        supplies = supplies_of(works, needs, lines, ground.catalogue, ground.settings)
        held = basket(f"{key}.", supplies, works, needs, self.bench, line.condition)
        steps = [self.supplies.supply(held, number, self.supplies.key_of(number, held.prefix))
                 for number in range(len(held.pairs))]
        for place, need in enumerate((need for need in needs if need.does == "service"), 1):
            row = ground.catalogue.services[need.item]
            pieces = self.bench.units(f"{key}.service-{place}", need, need.quantity, row.unit)
            rate = ground.cell(f"{key}.service-{place}.rate", "Rate of one", row, "typical", money)
            steps.append(step("product", f"{key}.service-{place}", row.name,
                              pieces.value * rate.value, money, [pieces, rate]))
        return step("sum", f"{key}.cost", f"Parts, materials, outwork {said}",
                    math.fsum(one.value for one in steps), money, steps)
