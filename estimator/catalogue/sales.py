"""The tables of buying and selling machines: ratios of price, ways of selling, parting out."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator

from estimator.catalogue.rows import (
    Condition,
    Era,
    Level,
    NotNegative,
    Positive,
    Row,
    Share,
    Slug,
    Slugs,
    ThreePoint,
    Title,
    in_order,
)

Found = Literal["incomplete", "not-working", "working", "nice", "collector"]
"""States a machine may be found in, from least worth to most."""
FOUND: tuple[str, ...] = get_args(Found)


class SaleRatio(ThreePoint):
    """What a machine sells for after a choice: low, typical and high share of the price of the
    same machine nice and working.

    A shop adds its own choices here: a row of its own with a service level, extras that are put
    in and assemblies that are left alone.
    """

    table = "sale_ratios"
    key = ("choice", "found", "era")
    choice: Slug = Field(description="Name of what is done with the machine.")
    name: Title
    method: Literal["sell", "part-out"] = Field(
        "sell", description="Sold as one machine, or its parts one by one (then the ratio is what "
        "all of them bring together where each is worn)."
    )
    level: Level | None = Field(None, description="Service level that the work follows.")
    found: Found | None = Field(
        None, description="Only for machines found in this state; blank for all others."
    )
    era: Era | None = Field(None, description="Only for machines of this era; blank for others.")
    adds: Slugs = Field((), description="Extras that are put in as well.")
    without: Slugs = Field((), description="Assemblies that are left alone.")

    @model_validator(mode="after")
    def _sold_how(self):
        if (self.method == "sell") != (self.level is not None):
            raise ValueError("a choice that is sold as one machine needs a level, and a part-out "
                             "has none")
        return self


class Way(ThreePoint):
    """A way of selling: low, typical and high share of the price that the seller gives up.

    The buyer parts with the price, premium included; the hammer price is what is left of it, and
    the seller's fee is taken from that:
    fee = min(max(share × hammer, fee_minimum), fee_cap) + fixed.
    """

    table = "ways"
    key = ("way",)
    way: Slug = Field(description="Name of the way.")
    name: Title
    fee_minimum: NotNegative = Field(0, description="Least fee.")
    fee_cap: Positive | None = Field(None, description="Greatest fee; blank for none.")
    fixed: NotNegative = Field(0, description="Fixed charge, beside the share.")
    price_low: Positive = Field(1, description="Price in this way over a private sale's, low.")
    price_typical: Positive = Field(1, description="The same, typical.")
    price_high: Positive = Field(1, description="The same, high.")
    premium: Share = Field(0, description="Buyer's premium, as a share of the hammer price.")
    premium_minimum: NotNegative = Field(0, description="Least premium.")
    premium_cap: Positive | None = Field(None, description="Greatest premium; blank for none.")

    @model_validator(mode="after")
    def _fits(self):
        if self.high > 0.9:
            raise ValueError(f"a fee of {self.high:g} leaves next to nothing; write 0.1 for 10 %")
        if not self.price_low <= self.price_typical <= self.price_high:
            raise ValueError("price_low, price_typical, price_high are out of order")
        for what in ("fee", "premium"):
            cap = getattr(self, f"{what}_cap")
            if cap is not None and cap < getattr(self, f"{what}_minimum"):
                raise ValueError(f"{what}_cap is under {what}_minimum")
        return self


class DaysToSell(ThreePoint):
    """Days from offering a machine to its money: low, typical, high."""

    table = "days_to_sell"
    key = ("way", "era")
    way: Slug = Field(description="Which way of selling.")
    era: Era | None = Field(None, description="Only for machines of this era; blank for others.")


class PartOut(ThreePoint):
    """An assembly sold as used parts: low, typical and high hours of one listing.

    Weights share out what all parts of a machine of usual counts bring together, over the
    assemblies that its era has; so a piece's price follows from the machine's.
    """

    table = "part_out"
    key = ("assembly",)
    assembly: Slug = Field(description="Which assembly.")
    weight: Positive = Field(description="Its share of what all parts bring, before scaling.")
    sold: Annotated[float, Field(gt=0, le=1)] = Field(
        description="Share of the pieces that find a buyer."
    )
    pieces: Annotated[int, Field(ge=0)] = Field(
        1, description="Pieces in one listing; 0 for all of them."
    )
    take_off: NotNegative = Field(description="Of the typical hours: taking off and cleaning.")
    test: NotNegative = Field(0, description="Of the typical hours: testing.")
    show: NotNegative = Field(description="Of the typical hours: pictures, listing, answering.")
    pack: NotNegative = Field(description="Of the typical hours: packing and handing over.")
    months_low: NotNegative = Field(description="Months until it is sold, at best.")
    months_typical: NotNegative = Field(description="Months until it is sold, usually.")
    months_high: NotNegative = Field(description="Months until it is sold, at worst.")

    @model_validator(mode="after")
    def _adds_up(self):
        together = self.take_off + self.test + self.show + self.pack
        if abs(together - self.typical) > 0.005:
            raise ValueError(f"take_off, test, show and pack add up to {together:g} h, typical is "
                             f"{self.typical:g} h")
        return in_order(self, "months_")


class WearWorth(Row):
    """What wear does to the worth of a part, and what mending it does to that of a machine."""

    table = "wear_worth"
    key = ("condition",)
    condition: Condition = Field(description="Condition of the assembly.")
    used_price: NotNegative = Field(description="Price as a used part, worn = 1.")
    gain: NotNegative = Field(description="What work on it adds to a sale, worn = 1.")


class SaleWeight(Row):
    """How much of a step up in price a buyer pays for work on an assembly."""

    table = "sale_weights"
    key = ("assembly",)
    assembly: Slug = Field(description="Which assembly.")
    weight: Positive = Field(description="Its share of the step, before scaling to the lines.")
    stops_play: bool = Field(
        False, description="Does the machine not play while one of them is failed or missing?"
    )


class FoundCase(Row):
    """What a machine of which only its state is known may turn out to be.

    A state has several cases; what a machine of the era usually has is shifted by so many grades,
    some of it failed, some gone.
    """

    table = "found_cases"
    key = ("found", "case")
    found: Found = Field(description="State that is said of it.")
    case: Slug = Field(description="Name of the case.")
    weight: Positive = Field(description="How often, against the other cases of the state.")
    worse: Annotated[int, Field(ge=-3, le=3)] = Field(
        0, description="Grades of wear over the era's usual ones; under 0 is better."
    )
    failed: Slugs = Field((), description="Assemblies that are failed, where the era has them.")
    gone: Annotated[float, Field(ge=0, lt=1)] = Field(
        0, description="Share that is missing, by the weights in part_out.csv; what sells best "
        "for its hours goes first."
    )
