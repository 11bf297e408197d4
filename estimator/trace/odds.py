"""What the simulation gave, opened: how often, in how many trials, and what goes into it."""

from __future__ import annotations

import math

from estimator.estimate import KINDS
from estimator.quote import FIXED
from estimator.quote.contract import quantile_key
from estimator.shop import LEARNT
from estimator.trace.costs import Costs
from estimator.trace.ground import kept
from estimator.trace.places import Place, of_setting
from estimator.trace.steps import Step, step, written


def percent(share: float) -> str:
    """A share for people, as short as it can be said.

    Examples
    --------
    >>> percent(0.8), percent(0.975)
    ('80 %', '97.5 %')
    """
    return f"{round(100 * share, 6):g} %"


class Odds:
    """Trees of quantiles and means over the trials."""

    def __init__(self, costs: Costs):
        self.costs, self.ground = costs, costs.ground
        self.finds, self.bench = costs.finds, costs.bench
        self.odds = self.ground.offer.odds
        money = self.ground.currency
        self.whats = {
            "hours": ("Hours", "h", self._hours),
            "cost": ("Cost", money, self._costs),
            "days": ("Days", "d", self._days),
            "bill": ("Bill", money, self._bill),
        }

    @kept
    def quantile(self, what: str, share: float) -> Step:
        """What a share of the trials stays within; `what` is hours, cost, days or bill."""
        name, unit, parts = self.whats[what]
        (value,) = self.odds.at(what, share)
        low, high = self.odds.sure_of(what, share)
        return step(
            "simulated", quantile_key(what, share),
            f"{name} that {percent(share)} of jobs stay within", value, unit,
            [*parts(), *map(self.ground.setting, LEARNT)],
            f"in {percent(share)} of {self.trials()} it is this or less; other seeds give "
            f"{written(low, unit)} to {written(high, unit)} in 95 cases of 100",
            row=self._asked(what, share), figure=True,
        )

    def trials(self) -> str:
        """How many trials, and which."""
        drawn = "" if self.odds.sampler == "random" else f", {self.odds.sampler} points"
        return f"{self.odds.trials:,} trials (seed {self.odds.seed}{drawn})"

    def _asked(self, what: str, share: float) -> Place | None:
        """The setting or choice that a price or a cap is built on, where it is this share."""
        offer = self.ground.offer
        fixed = offer.choices.pricing == FIXED
        if what == "cost" and fixed and share == offer.confidence:
            return of_setting("confidence", offer, self.ground.catalogue)
        if what == "bill" and share == self.ground.settings.cap_confidence:
            return of_setting("cap_confidence", offer, self.ground.catalogue)
        return None

    @kept
    def mean(self, what: str) -> Step:
        """The average over the trials."""
        name, unit, parts = self.whats[what]
        value = float(getattr(self.odds, what).mean())
        return step("simulated", f"{what}_mean", f"{name}, expected", value, unit, parts(),
                    f"the average of {self.trials()}"
                    + (", each in full billing steps" if what == "bill" else ""), figure=True)

    def bill_mean(self) -> Step:
        """The expected bill by time and materials."""
        return self.mean("bill")

    # What goes in.

    def _hours(self) -> list[Step]:
        return [self.costs.hours_of(key) for key in self.costs.lines if key != "cover"]

    def _costs(self) -> list[Step]:
        return [self.costs.of_line(key) for key in self.costs.lines if key != "cover"]

    @kept
    def hourly_rate(self) -> Step:
        """What an hour is charged at."""
        rest = step("rest", "hourly_rate.rest", "Left for cost", 1 - self.ground.settings.margin,
                    "", [self.ground.setting("margin")])
        return step("quotient", "hourly_rate", "What an hour is charged at",
                    self.ground.offer.rate, f"{self.ground.currency}/h",
                    [self.bench.hour_cost(), rest], figure=True)

    def markup(self, kind: str) -> Step:
        """What a cost is multiplied by where it is billed as it comes."""
        setting = self.ground.setting(f"{kind}_markup")
        return step("plus", f"{kind}_markup.factor", f"Mark-up on {kind}", 1 + setting.value, "",
                    [setting])

    @kept
    def billed(self, kind: str) -> Step:
        """What one kind of cost comes to on the bill, if all goes as expected."""
        money, key, name = self.ground.currency, f"bill.{kind}", f"{kind.capitalize()}, as billed"
        if kind == "labour":
            hours, rate = self.costs.known_hours(), self.hourly_rate()
            return step("product", key, name, hours.value * rate.value, money, [hours, rate])
        found = [self.costs.of(line, kind) for line in self.costs.lines.values()]
        found = [one for one in found if one.value]
        cost = step("sum", f"{key}.cost", f"Expected {kind} of all lines",
                    math.fsum(one.value for one in found), money, found)
        markup = self.markup(kind)
        return step("product", key, name, cost.value * markup.value, money, [cost, markup])

    def _bill(self) -> list[Step]:
        return [self.billed(kind) for kind in KINDS]

    def _days(self) -> list[Step]:
        ground, job = self.ground, self.ground.job
        hours = self.costs.known_hours()
        week = ground.setting("bench_hours_per_week")
        seven = ground.defined("days in a week", 7)
        weeks = step("quotient", "days.weeks", "Weeks at the bench", hours.value / week.value, "",
                     [hours, week])
        steps = [step("product", "days.bench", "At the bench", 7 * weeks.value, "d",
                      [weeks, seven])]
        steps += [
            ground.cells(f"days.{lot.service}", f"{lot.name}: away; the longest wait counts",
                         ground.catalogue.services[lot.service], "d",
                         ("days_low", "days_typical", "days_high"))
            for lot in job.lots
        ]
        longest = max(job.items, key=lambda item: item.work.operation.unattended, default=None)
        if longest is not None and longest.work.operation.unattended:
            row = longest.work.operation
            cure = ground.cell("days.unattended.hours", f"{row.name}: longest time unattended", row,
                               "unattended", "h")
            steps.append(step("quotient", "days.unattended", "Longest cure or tumbling",
                              cure.value / 24, "d", [cure, ground.defined("hours in a day", 24)]))
        held_up = [self.finds.find_days(number) for number, risk in enumerate(job.risks)
                   if risk.find.days]
        steps.append(step("sum", "days.finds", "Finds, expected",
                          math.fsum(one.value for one in held_up), "d", held_up))
        return steps

    # Dates.

    @kept
    def finish(self) -> Step:
        """The day by which four jobs of five are ready."""
        offer = self.ground.offer
        return step("date", "finish_p80", "Ready by, in 80 % of jobs",
                    offer.finish_p80.isoformat(), "",
                    [self._quoted(), self.quantile("days", 0.8)], figure=True)

    @kept
    def valid_until(self) -> Step:
        """The last day of the offer."""
        offer = self.ground.offer
        return step("date", "valid_until", "Offer holds until", offer.valid_until.isoformat(), "",
                    [self._quoted(), self.ground.setting("validity_days")], figure=True)

    def _quoted(self) -> Step:
        return self.ground.chosen("date", "Date of the quote", self.ground.offer.on.isoformat())
