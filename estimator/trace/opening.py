"""Which figures of a quote can be opened, and opening one."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Mapping

from estimator.catalogue import Catalogue
from estimator.errors import BadInput, Fault, one_of, quoted
from estimator.estimate import KINDS
from estimator.quote import FIXED, Quote, QuoteLine
from estimator.quote.contract import (
    DAY_SHARES,
    LOSSES,
    MARGIN_SHARES,
    SHARES,
    quantile_key,
)
from estimator.trace.bench import Bench
from estimator.trace.costs import Costs, line_kinds
from estimator.trace.finds import LABOUR, OTHER, WORSE, Finds
from estimator.trace.ground import Ground
from estimator.trace.odds import Odds, percent
from estimator.trace.prices import MARGIN, Prices, loss_name, margin_name
from estimator.trace.steps import Step, cost_name
from estimator.trace.supplies import Supplies


def figures(offer: Quote) -> Mapping[str, str]:
    """Every figure of a quote that can be opened: its key and what it is.

    Keys are those of the quote's JSON (`quote.as_dict`) where the figure stands there. A line's
    figures begin with the line's own key: "line-12", "line-12.labour", "line-12.hours_mean".
    Prices of other levels and of what was left out are of other quotes; open those there.

    Examples
    --------
    >>> from estimator.catalogue import Era, Level
    >>> from estimator.quote import Choices, quote
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> survey = template(Era.DOT_MATRIX, shop.catalogue)
    >>> offer = quote(survey, Choices(Level.CLEAN), shop, compare=False)
    >>> figures(offer)["price"]
    'Price before tax'
    """
    return {key: name for key, (name, _) in _Openings(offer, None).all.items()}


def trace(offer: Quote, key: str, catalogue: Catalogue) -> Step:
    """Open a figure: the tree of what it is made of, down to rows, survey lines and choices.

    Parameters
    ----------
    key
        One of `figures(offer)`.
    catalogue
        The tables that the quote was computed from.

    Raises
    ------
    BadInput
        If there is no such figure; it says which there are, the nearest names first.

    Examples
    --------
    >>> from estimator.catalogue import Era, Level
    >>> from estimator.quote import Choices, quote
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> survey = template(Era.DOT_MATRIX, shop.catalogue)
    >>> offer = quote(survey, Choices(Level.CLEAN), shop, compare=False)
    >>> rate = trace(offer, "hourly_rate", shop.catalogue)
    >>> rate.how, [one.key for one in rate.steps]
    ('what an hour costs 63.90 / (1 − margin 0.25)', ['hour_cost', 'hourly_rate.rest'])
    >>> print(rate.steps[1].steps[0].row)
    rates.csv, row 7
    """
    return trace_all(offer, [key], catalogue)[0]


def trace_all(offer: Quote, keys: Iterable[str], catalogue: Catalogue) -> tuple[Step, ...]:
    """Open several figures at once; what they share is built once. Raises as `trace` does.

    Parameters
    ----------
    keys
        Such as "price" or "line-12"; `figures` lists them all.
    catalogue
        The tables that the quote was made with, for the rows it stands on.

    Examples
    --------
    >>> from estimator.catalogue import Condition, Era, Level
    >>> from estimator.quote import Choices, quote
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import Line, Machine, Survey
    >>> shop, machine = open_shop(), Survey(Machine(era=Era.DOT_MATRIX), (
    ...     Line("flipper", 2, Condition.WORN),))
    >>> offer = quote(machine, Choices(Level.CLEAN, trials=100), shop, compare=False)
    >>> price, hour = trace_all(offer, ["price", "hour_cost"], shop.catalogue)
    >>> float(price.value) == float(offer.price), hour.key
    (True, 'hour_cost')
    """
    known = _Openings(offer, catalogue).all
    keys = list(keys)
    wrong = [key for key in keys if key not in known]
    if wrong:
        # All there are is long, and said once.
        raise BadInput(
            Fault(f"{quoted(key)} is not a figure of this quote.",
                  f"{_near(key, known)} {_listed(known)}".strip() if place == len(wrong)
                  else _near(key, known) or "All that there are stand below.", column="trace")
            for place, key in enumerate(wrong, 1)
        )
    return tuple(known[key][1]() for key in keys)


def _near(key: str, known: Mapping[str, object]) -> str:
    near = one_of(key, known)
    return near if near.startswith("Did you mean") else ""


def _listed(known: Mapping[str, object]) -> str:
    """All figures; of those that are many, the first and the last."""
    many = ("line-", "find-", "buy.", "units.", "material.", "outwork.")
    said = [name for name in known if not name.startswith(many)]
    for start in many:
        found = list(dict.fromkeys(
            name.partition(".")[0] if start.endswith("-") else name
            for name in known if name.startswith(start)
        ))
        said += [f"{found[0]} … {found[-1]}"] if len(found) > 2 else found
    parts = ", ".join(f".{part}" for part in (*KINDS, "hours_mean", "cost_mean", "work-1",
                                              "part-1", "material-1"))
    return f"Figures: {', '.join(said)}; of a line also {parts}, where it has them."


class _Openings:
    """Name of every figure, and what opens it; without tables only the names are of use."""

    def __init__(self, offer: Quote, catalogue: Catalogue | None):
        self.offer = offer
        self.bench = Bench(Ground(offer, catalogue))
        self.supplies = Supplies(self.bench)
        self.finds = Finds(self.supplies)
        self.costs = Costs(self.finds)
        self.odds = Odds(self.costs)
        self.prices = Prices(self.costs, self.odds)
        self.all: dict[str, tuple[str, Callable[[], Step]]] = {}
        for key, name, build, *arguments in self._figures():
            self.all[key] = name, functools.partial(build, *arguments)

    def _figures(self) -> Iterator[tuple]:
        """(key, name, what builds it, its arguments …), in the order of the quote's JSON."""
        yield from self._of_the_price()
        yield from self._of_the_odds()
        for line in self.offer.lines:
            yield from self._of_line(line)
        yield from self._of_finds()
        yield from self._shared()

    def _of_the_price(self) -> Iterator[tuple]:
        prices, offer = self.prices, self.offer
        yield "price", "Price before tax", prices.price
        if offer.cap is not None:
            yield "cap", "Cap, before tax", prices.cap
        yield "tax", "Tax", prices.tax
        for tax in offer.taxes:
            yield f"tax.{tax.kind}", f"Tax on {tax.kind}", prices.tax_on, tax.kind
        yield "total", "Price with tax", prices.total
        yield "hourly_rate", "What an hour is charged at", self.odds.hourly_rate
        yield "find_allowance", "Allowance for finds, in the price", prices.find_allowance
        yield "cover", "Fixed-price cover", prices.cover
        yield "stages", "Payments", prices.stages
        for place, stage in enumerate(offer.stages):
            yield f"stage-{place + 1}", f"{stage.name}, {stage.due}", prices.stage, place
        yield "valid_until", "Offer holds until", self.odds.valid_until

    def _of_the_odds(self) -> Iterator[tuple]:
        offer, odds, prices = self.offer, self.odds, self.prices
        whats = {"hours": SHARES, "cost": SHARES, "days": DAY_SHARES}
        if offer.choices.pricing == FIXED:
            losses = (1 - loss for loss in LOSSES)
            whats["cost"] = dict.fromkeys((*SHARES, *losses, offer.confidence))
        else:
            whats["bill"] = (offer.settings.cap_confidence,)
        for what, shares in whats.items():
            name = odds.whats[what][0]
            if what != "days":
                yield f"{what}_mean", f"{name}, expected", odds.mean, what
            for share in shares:
                said = f"{name} that {percent(share)} of jobs stay within"
                yield quantile_key(what, share), said, odds.quantile, what, share
        yield "margin_mean", MARGIN, prices.margin, None
        for share in MARGIN_SHARES:
            yield quantile_key("margin", share), margin_name(share), prices.margin, share
        if offer.cap is None:
            for loss in LOSSES:
                yield f"price_for_loss.{loss:g}", loss_name(loss), prices.price_for_loss, loss
        yield "finish_p80", "Ready by, in 80 % of jobs", odds.finish
        yield "chance_of_loss", "Chance of a loss", prices.chance_of_loss
        yield "estimate_class", "Estimate class", prices.estimate_class
        yield "seen_share", "Share of the cost that was seen", prices.seen_share

    def _of_line(self, line: QuoteLine) -> Iterator[tuple]:
        if line.kind == "cover":
            return
        key, prices = line.key, self.prices
        yield key, line.title, prices.line, key
        for kind in line_kinds(line, self.offer.job):
            yield f"{key}.{kind}", f"{line.title}: {kind}", prices.kind, key, kind
            name = cost_name(line.title, kind) if line.kind != "finds" else (
                LABOUR if kind == "labour" else OTHER)
            yield f"{key}.{kind}.cost", name, self.costs.of, line, kind
        for number in self.bench.items.get(line.line, ()):
            yield (self.bench.keys[number], self.bench.names[number], self.bench.item, number)
        for does in ("part", "material"):
            for number in self.supplies.by_line.get((line.line, does), ()):
                supplies = self.supplies
                yield supplies.key_of(number), supplies.name_of(number), supplies.of_job, number
        yield f"{key}.hours_mean", f"{line.title}: expected hours", self.costs.hours_of, key
        yield f"{key}.cost_mean", f"{line.title}: expected cost", self.costs.of_line, key

    def _of_finds(self) -> Iterator[tuple]:
        for number in range(len(self.offer.job.risks)):
            key, name = f"find-{number + 1}", self.finds.title(number)
            yield f"{key}.hours_mean", name, self.finds.find_hours, number
            yield f"{key}.cost_mean", name, self.finds.find_cost, number
            if self.offer.job.risks[number].find.days:
                yield f"{key}.days_mean", name, self.finds.find_days, number
        for line in self.finds.unseen:
            for what in WORSE:
                name = self.finds.worse_title(line)
                yield f"line-{line + 1}.worse_{what}", name, self.finds.worse, line, what

    def _shared(self) -> Iterator[tuple]:
        """Figures that many others stand on."""
        job, budget = self.offer.job, self.offer.budget
        yield "hour_cost", "What an hour costs", self.bench.hour_cost
        yield "hours_factor", "Allowances on hands-on hours", self.bench.hours_factor
        yield "expected_hours", "Expected hours of all lines", self.costs.known_hours
        yield "expected_cost", "Expected cost of all lines", self.costs.known
        for operation, numbers in self.bench.alike.items():
            row = job.items[numbers[0]].work.operation
            if row.setup and len(numbers) > 1:
                said = f"{row.name}: units of the whole job"
                yield f"units.{operation}", said, self.bench.all_units, operation
        wholes = {supply.item: supply.name for supply in job.supplies if supply.whole}
        for item, name in wholes.items():
            said = f"{name}: used on the whole job"
            yield f"material.{item}", said, self.supplies.of_whole_job, item
        for lot in job.lots:
            said = f"{lot.name}: charge of the lot"
            yield f"outwork.{lot.service}", said, self.supplies.lot, lot.service
        yield "parts_budget", "Parts budget: all orders", self.prices.budget
        for row in budget.rows:
            name = f"{self.prices.part_names[row.part]}: as ordered"
            yield f"buy.{row.part}", name, self.prices.bought, row.part
        for order in budget.orders:
            name = self.offer.supplier_names[order.supplier]
            said = f"Order from {name}"
            yield f"parts_budget.{order.supplier}", said, self.prices.order, order.supplier
