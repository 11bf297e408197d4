"""Prices opened: what is asked for, how it falls on the lines, tax, payments, the parts budget."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from estimator.catalogue import Certainty
from estimator.estimate import KINDS
from estimator.money import minor_digits
from estimator.quote import FIXED, QuoteLine
from estimator.quote.contract import quantile_key
from estimator.trace.costs import Costs, line_kinds
from estimator.trace.ground import kept
from estimator.trace.odds import Odds, percent
from estimator.trace.places import Place
from estimator.trace.steps import Step, step

MARGIN = "Share of the price left over, expected"


def margin_name(share: float) -> str:
    """Name of a quantile of the margin."""
    return f"Share of the price left over that {percent(share)} of jobs stay within"


def loss_name(loss: float) -> str:
    """Name of the price at which so many jobs lose money."""
    return f"Fixed price at which {percent(loss)} of jobs lose money"


class Prices:
    """Trees of money that the customer reads."""

    def __init__(self, costs: Costs, odds: Odds):
        self.costs, self.odds = costs, odds
        self.supplies, self.bench, self.ground = costs.supplies, costs.bench, costs.ground
        self.offer, self.lines = self.ground.offer, costs.lines
        self.fixed = self.offer.choices.pricing == FIXED
        self.part_names = {supply.item: supply.name for supply in self.offer.job.supplies
                           if supply.does == "part"}
        self.coin = 10.0 ** -minor_digits(self.ground.currency)

    # The price as a whole.

    @kept
    def divisor(self) -> Step:
        """What a cost is divided by to become a fixed price."""
        s = self.ground.settings
        return step("rest", "divisor", "Left for cost", 1 - s.margin - s.warranty_share, "",
                    [self.ground.setting("margin"), self.ground.setting("warranty_share")])

    @kept
    def reckoned(self) -> Step:
        """The price as the odds ask for it, before it is handed out over the lines."""
        money = self.ground.currency
        if self.fixed:
            cost = self.odds.quantile("cost", self.offer.confidence)
            exact = step("quotient", "price.exact", "Price before rounding",
                         cost.value / self.divisor().value, money, [cost, self.divisor()])
        else:
            exact = self.odds.bill_mean()
        return self._rounded("price.reckoned", "Price as reckoned", self.offer.price, exact)

    def _rounded(self, key: str, name: str, amount, exact: Step, **rest) -> Step:
        return step("rounded", key, name, float(amount), self.ground.currency,
                    [exact, self.ground.setting("round_price_to")], **rest)

    @kept
    def price(self) -> Step:
        """The price before tax: reckoned, and once more as the sum of its lines."""
        money = self.ground.currency
        lines = [self.line(key) for key in self.lines]
        if not lines:
            reckoned = self.reckoned()
            return step("equal", "price", "Price before tax", reckoned.value, money, [reckoned],
                        "nothing is priced", figure=True)
        handed_out = step("sum", "price.lines", "Handed out over the lines",
                          float(self.offer.price), money, lines)
        return step("equal", "price", "Price before tax", float(self.offer.price), money,
                    [self.reckoned(), handed_out], figure=True)

    @kept
    def cap(self) -> Step:
        """The sum that a bill by time does not pass without asking."""
        exact = self.odds.quantile("bill", self.ground.settings.cap_confidence)
        return self._rounded("cap", "Cap, before tax", self.offer.cap, exact, figure=True)

    @kept
    def tax(self) -> Step:
        """Tax of all kinds."""
        return step("sum", "tax", "Tax", float(self.offer.total - self.offer.price),
                    self.ground.currency, [self.tax_on(tax.kind) for tax in self.offer.taxes],
                    figure=True)

    @kept
    def tax_on(self, kind: str) -> Step:
        """Tax on one kind of line, rounded once on their sum."""
        (tax,) = (tax for tax in self.offer.taxes if tax.kind == kind)
        base = step("sum", f"tax.{kind}.on", f"All {kind}", float(tax.on), self.ground.currency,
                    [self.kind(key, kind) for key, line in self.lines.items() if line.kinds[kind]])
        return step("product", f"tax.{kind}", f"Tax on {kind}", float(tax.amount),
                    self.ground.currency, [base, self.ground.setting(f"tax_{kind}")],
                    within=0.51 * self.coin, figure=True)

    @kept
    def total(self) -> Step:
        """What the customer pays."""
        return step("sum", "total", "Price with tax", float(self.offer.total),
                    self.ground.currency, [self.price(), self.tax()], figure=True)

    # Lines.

    @kept
    def line(self, key: str) -> Step:
        """A line of the quote, split into its kinds."""
        if key == "cover":
            return self.cover()
        line = self.lines[key]
        kinds = [self.kind(key, kind) for kind in line_kinds(line, self.ground.job)]
        return step("sum", key, line.title, float(line.price), self.ground.currency, kinds,
                    figure=True)

    @kept
    def kind(self, key: str, kind: str) -> Step:
        """One kind of cost on one line, as it is charged."""
        if key == "cover":
            return self.cover()
        line, money = self.lines[key], self.ground.currency
        cost, factor, op = self._charged(line, kind)
        value = float(line.kinds[kind])
        within = 2 * self.coin  # Shared out to the cent twice, over lines and over kinds.
        named = {"figure": True, "within": within}
        name = f"{line.title}: {kind}"
        lift = self.lift()
        if lift is None:
            return step(op, f"{key}.{kind}", name, value, money, [cost, factor], **named)
        exact = cost.value / factor.value if op == "quotient" else cost.value * factor.value
        charged = step(op, f"{key}.{kind}.charged", "As charged for alone", exact, money,
                       [cost, factor])
        return step("product", f"{key}.{kind}", name, value, money, [charged, lift], **named)

    def _charged(self, line: QuoteLine, kind: str) -> tuple[Step, Step, str]:
        """Cost of a kind, what turns it into a price, and whether that divides or multiplies."""
        return self.costs.of(line, kind), *self._factor(kind)

    def _factor(self, kind: str) -> tuple[Step, str]:
        if self.fixed:
            return self.divisor(), "quotient"
        if kind == "labour":
            return self.odds.hourly_rate().steps[1], "quotient"
        return self.odds.markup(kind), "product"

    @kept
    def base(self) -> Step:
        """What the lines would cost the customer if all went as expected."""
        money = self.ground.currency
        if self.fixed:
            known = self.costs.known()
            return step("quotient", "base", "Price if all goes as expected",
                        known.value / self.divisor().value, money, [known, self.divisor()])
        steps = [self.odds.billed(kind) for kind in KINDS]
        return step("sum", "base", "Price if all goes as expected",
                    math.fsum(one.value for one in steps), money, steps)

    def lift(self) -> Step | None:
        """What each line is multiplied by so that all add up to the price; None with a cover."""
        if "cover" in self.lines:
            return None
        price, base = self.reckoned(), self.base()
        return step("quotient", "lift", "So that the lines add up to the price",
                    price.value / base.value, "", [price, base])

    @kept
    def cover(self) -> Step:
        """What a fixed price holds above what is expected."""
        money, value = self.ground.currency, float(self.offer.cover)
        name = "Fixed-price cover"
        if value:
            return step("difference", "cover", name, value, money,
                        [self.reckoned(), self.base()], within=2 * self.coin, figure=True)
        said = ("under half a percent of the price: the lines carry it" if self.fixed
                else "none: time is billed as it is spent")
        return step("sum", "cover", name, 0.0, money, said=said, figure=True)

    @kept
    def find_allowance(self) -> Step:
        """The allowance for finds."""
        lines = [self.line(line.key) for line in self.offer.lines if line.kind == "finds"]
        return step("sum", "find_allowance", "Allowance for finds, in the price",
                    float(self.offer.find_allowance), self.ground.currency, lines, figure=True)

    # Payments.

    @kept
    def stages(self) -> Step:
        """All payments; they add up to the total."""
        return step("sum", "stages", "Payments", float(self.offer.total), self.ground.currency,
                    [self.stage(place) for place in range(len(self.offer.stages))], figure=True)

    @kept
    def stage(self, place: int) -> Step:
        """One payment."""
        stage, ground = self.offer.stages[place], self.ground
        share, count = ground.setting("deposit_share"), ground.setting("stage_count")
        steps: list[Step] = [self.total()]
        op = "product"
        if len(self.offer.stages) == 1 or not share.value:
            op, steps = "quotient", [self.total(), count]
        elif place == 0:
            steps.append(share)
        else:
            rest = step("rest", "stages.rest", "Left after the deposit", 1 - share.value, "",
                        [share])
            later = step("difference", "stages.later", "Payments after the deposit",
                         count.value - 1, "", [count, ground.defined("the deposit", 1)])
            steps.append(step("quotient", "stages.share", "Share of each", rest.value / later.value,
                              "", [rest, later]))
        return step(op, f"stage-{place + 1}", f"{stage.name}, {stage.due}", float(stage.amount),
                    ground.currency, steps, within=1.01 * self.coin, figure=True)

    # What the parts cost to buy.

    @kept
    def budget(self) -> Step:
        """The orders that would be placed for the parts."""
        budget, money = self.offer.budget, self.ground.currency
        steps = [self.order(order.supplier) for order in budget.orders]
        steps += [self.bought(row.part) for row in budget.rows if row.unmet]
        return step("sum", "parts_budget", "Parts budget: all orders", float(budget.total), money,
                    steps, figure=True)

    @kept
    def order(self, supplier: str) -> Step:
        """One order: goods, what is missing to the minimum, freight."""
        ground, money = self.ground, self.ground.currency
        (order,) = (o for o in self.offer.budget.orders if o.supplier == supplier)
        row, key = ground.catalogue.suppliers[supplier], f"parts_budget.{supplier}"
        goods = step("sum", f"{key}.goods", "Goods", order.goods, money,
                     [self.bought(row.part) for row in self.offer.budget.rows
                      if row.supplier == supplier])
        steps = [goods]
        if order.top_up:
            least = ground.cell(f"{key}.least", "Smallest order taken", row, "minimum_order", money)
            steps.append(step("excess", f"{key}.top_up", "To the least order",
                              order.top_up, money, [least, goods]))
        freight = [ground.cell(f"{key}.shipping", "Freight of one order", row, "shipping", money)]
        if row.free_over is not None:
            ordered = step("sum", f"{key}.ordered", "Value of the order",
                           order.goods + order.top_up, money, steps)
            freight += [ordered, ground.cell(f"{key}.free", "Free from", row, "free_over", money)]
        steps = [*steps, step("freight", f"{key}.freight", "Freight", order.freight, money,
                              freight)]
        return step("sum", key, f"Order from {row.name}", order.total, money, steps, figure=True)

    def _needed(self, part: str) -> Step:
        """Whole pieces of a part, over all lines."""
        held = self.supplies.all
        steps = [
            self.bench.units(self.supplies.key_of(number), need, need.quantity, supply.unit)
            for number, (supply, need) in enumerate(held.pairs)
            if (supply.does, supply.item) == ("part", part)
        ]
        unit = steps[0].unit
        used = step("sum", f"buy.{part}.used", "Expected use on all lines",
                    math.fsum(one.value for one in steps), unit, steps)
        (row,) = (row for row in self.offer.budget.rows if row.part == part)
        return step("rounded up", f"buy.{part}.needed", "Needed, whole", float(row.needed), unit,
                    [used])

    @kept
    def bought(self, part: str) -> Step:
        """A part as it is ordered."""
        ground, money = self.ground, self.ground.currency
        (row,) = (row for row in self.offer.budget.rows if row.part == part)
        needed, name = self._needed(part), f"{self.part_names[part]}: as ordered"
        if row.unmet:
            usual = ground.cell(f"buy.{part}.price", "Price of one in the trade; nobody offers it",
                                ground.catalogue.parts[part], "typical", money)
            return step("line amount", f"buy.{part}", name, row.cost, money, [needed, usual],
                        figure=True)
        offer = next(
            offer for offer in self._breaks(part, row.supplier) if offer.price == row.unit_price
        )
        price = ground.cell(f"buy.{part}.price", f"Price of one from {offer.from_quantity} up",
                            offer, "price", money)
        pack = ground.cell(f"buy.{part}.pack", "In a pack", offer, "pack")
        bought = step("bought", f"buy.{part}.bought", "Bought", float(row.bought), needed.unit,
                      [needed, pack])
        return step("line amount", f"buy.{part}", name, row.cost, money, [bought, price],
                    figure=True)

    def _breaks(self, part: str, supplier: str) -> Sequence:
        return [offer for offer in self.ground.catalogue.offers_of[part]
                if offer.supplier == supplier]

    # How firm it is.

    @kept
    def seen_share(self) -> Step:
        """Share of the expected cost that stands on lines that were seen."""
        lines, ground = self.ground.scope.lines, self.ground
        work = {line.key: line.line for line in self.offer.lines if line.line is not None}
        costs = {key: self.costs.of_line(key) for key in work}
        name = "Share of the cost that was seen"

        def together(key: str, said: str, found: list[Step]) -> Step:
            return step("sum", f"seen_share.{key}", said, math.fsum(one.value for one in found),
                        ground.currency, found)

        was_seen = {key: lines[line].certainty == Certainty.SEEN for key, line in work.items()}
        seen = together("seen", "Lines that were seen",
                        [cost for key, cost in costs.items() if was_seen[key]])
        rest = together("rest", "Lines that were assumed or hidden",
                        [cost for key, cost in costs.items() if not was_seen[key]])
        whole = together("all", "All lines", [seen, rest])
        if not whole.value:
            return step("sum", "seen_share", name, 0.0, said="nothing is priced", figure=True)
        return step("quotient", "seen_share", name, self.offer.seen_share, "", [seen, whole],
                    figure=True)

    @kept
    def chance_of_loss(self) -> Step:
        """How often the job costs more than it brings in."""
        offer, money = self.offer, self.ground.currency
        low, high = offer.loss_range
        kept_back = step("rest", "chance_of_loss.rest", "Left of the price",
                         1 - self.ground.settings.warranty_share, "",
                         [self.ground.setting("warranty_share")])
        if offer.cap is None:
            income, name = self.price(), "What may be spent"
            said = "more than the price leaves after the warranty reserve"
        else:
            income, name = self.cap(), "What may be spent where the bill reaches the cap"
            said = "more than the bill, or the cap, leaves after the warranty reserve"
        enough = step("product", "chance_of_loss.enough", name, income.value * kept_back.value,
                      money, [income, kept_back])
        hits = round(offer.chance_of_loss * offer.odds.trials)
        return step(
            "simulated", "chance_of_loss", "Chance of a loss", offer.chance_of_loss, "",
            [enough, self.costs.known()],
            f"{hits:,} of {self.odds.trials()} cost {said}; with other seeds it is "
            f"{percent(round(low, 4))} to {percent(round(high, 4))} in 95 cases of 100",
            figure=True,
        )

    @kept
    def margin(self, share: float | None) -> Step:
        """Share of the price left over: what so many trials stay within; None for the average."""
        margins = self.offer.margins()
        reserve = self.ground.setting("warranty_share")
        steps = [self.price(), self.costs.known(), reserve]
        if share is None:
            return step("simulated", "margin_mean", MARGIN, float(margins.mean()), "", steps,
                        f"the average of {self.odds.trials()}", figure=True)
        return step("simulated", quantile_key("margin", share), margin_name(share),
                    float(np.quantile(margins, share)), "", steps,
                    f"in {percent(share)} of {self.odds.trials()} it is this or less", figure=True)

    @kept
    def price_for_loss(self, loss: float) -> Step:
        """The fixed price that loses money in just this share of jobs."""
        cost = self.odds.quantile("cost", 1 - loss)
        left = step("rest", "price_for_loss.rest", "Left of the price",
                    1 - self.ground.settings.warranty_share, "",
                    [self.ground.setting("warranty_share")])
        return step("quotient", f"price_for_loss.{loss:g}", loss_name(loss),
                    self.offer.price_for_loss(loss), self.ground.currency, [cost, left],
                    figure=True)

    @kept
    def estimate_class(self) -> Step:
        """Class of the estimate, 5 loosest to 1 firmest."""
        rule = Place("definition", "", None, basis="published",
                     source="AACE 18R-97: five classes by how much of the work is defined; the "
                     "limits are the middles of its overlapping bands")
        return step("class", "estimate_class", "Estimate class", float(self.offer.estimate_class),
                    "", [self.seen_share()],
                    f"by the share that was seen, {self.offer.seen_share:.3g}; 5 is loosest and "
                    "1 firmest", row=rule, figure=True)
