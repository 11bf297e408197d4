"""The tables of what work takes: parts and who sells them, services, materials, the grit ladder."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from estimator.catalogue.rows import (
    Condition,
    NotNegative,
    Positive,
    Row,
    Slug,
    Slugs,
    ThreePoint,
    Title,
    in_order,
)


class Part(ThreePoint):
    """A part and what it costs: low, typical and high price of one unit."""

    table = "parts"
    key = ("part",)
    part: Slug = Field(description="Name of the part.")
    name: Title


class Supplier(Row):
    """Who sells parts: freight, the least order, and days to the door."""

    table = "suppliers"
    key = ("supplier",)
    supplier: Slug = Field(description="Name of the supplier.")
    name: Title
    shipping: NotNegative = Field(description="Freight of one order.")
    free_over: NotNegative | None = Field(
        None, description="Order value from which freight is free."
    )
    minimum_order: NotNegative = Field(0, description="Smallest order taken, in money.")
    days_low: NotNegative = Field(description="Days to the door, at best.")
    days_typical: NotNegative = Field(description="Days to the door, usually.")
    days_high: NotNegative = Field(description="Days to the door, at worst.")
    currency: Annotated[str, Field(pattern=r"^([A-Z]{3})?$")] = Field(
        "", description="Currency of its prices, ISO 4217; blank for the shop's own."
    )

    @model_validator(mode="after")
    def _days_ordered(self):
        return in_order(self, "days_")


class Offer(Row):
    """What a supplier asks for a part, from a break quantity up; one row per break."""

    table = "offers"
    key = ("part", "supplier", "from_quantity")
    part: Slug = Field(description="Which part.")
    supplier: Slug = Field(description="Which supplier.")
    pack: Annotated[int, Field(ge=1)] = Field(1, description="Units in a pack; sold whole.")
    from_quantity: Annotated[int, Field(ge=1)] = Field(
        1, description="Units ordered from which the price holds."
    )
    price: Positive = Field(description="Price of one unit, not of the pack.")


class Service(ThreePoint):
    """Work sent out: low, typical and high rate for one unit.

    charge = max(lot_minimum, setup + Σ quantity × rate) × multiplier + line_fee × lines + freight
    """

    table = "services"
    key = ("service",)
    service: Slug = Field(description="Name of the service.")
    name: Title
    setup: NotNegative = Field(0, description="Charged once a lot.")
    lot_minimum: NotNegative = Field(0, description="Least charge of a lot.")
    multiplier: Positive = Field(1, description="For the finish or colour asked for.")
    line_fee: NotNegative = Field(0, description="For each survey line in the lot.")
    freight: NotNegative = Field(0, description="Both ways, once a lot.")
    days_low: NotNegative = Field(description="Days away, at best.")
    days_typical: NotNegative = Field(description="Days away, usually.")
    days_high: NotNegative = Field(description="Days away, at worst.")
    cautions: Slugs = Field((), description="Cautions to show with the work.")

    @model_validator(mode="after")
    def _days_ordered(self):
        return in_order(self, "days_")


class Material(ThreePoint):
    """A consumable: low, typical and high price of one pack.

    With `method` "liquid" a treatment's quantity counts coats and the litres follow from the
    area; with "powder" likewise the kilograms; with "each" the quantity is the need itself.
    """

    table = "materials"
    key = ("material",)
    material: Slug = Field(description="Name of the material.")
    name: Title
    pack: Positive = Field(description="What a pack holds, in the row's unit.")
    sold_whole: bool = Field(
        False, description="Is the whole pack charged to the job, because the rest cannot be kept?"
    )
    method: Literal["each", "liquid", "powder"] = Field(
        "each", description="How the need is found."
    )
    film_um: Positive | None = Field(None, description="Dry film of one coat. [µm]")
    volume_solids: Annotated[float, Field(gt=0, le=1)] | None = Field(
        None, description="Share of the tin that stays on the work (ISO 3233-1). [–]"
    )
    density: Positive | None = Field(None, description="Of the cured powder, water = 1. [–]")
    transfer: Annotated[float, Field(gt=0, le=1)] | None = Field(
        None, description="Share of what is sprayed that lands on the work. [–]"
    )
    cautions: Slugs = Field((), description="Cautions to show with its use.")

    @model_validator(mode="after")
    def _film(self):
        wanted = {
            "each": (),
            "liquid": ("film_um", "volume_solids", "transfer"),
            "powder": ("film_um", "density", "transfer"),
        }[self.method]
        blank = [name for name in wanted if getattr(self, name) is None]
        if blank:
            raise ValueError(f"method {self.method} needs {', '.join(blank)}")
        return self


class Grit(ThreePoint):
    """A grade of abrasive: low, typical and high minutes to run it over a square metre of metal."""

    table = "grits"
    key = ("grit",)
    grit: Annotated[str, Field(pattern=r"^P\d+$")] = Field(description="Grade, ISO 6344 / FEPA.")
    grain_um: Positive = Field(description="Median grain size. [µm]")
    ladder: bool = Field(description="Is it a step of the shop's ladder, or listed for reference?")
    life_m2: Positive | None = Field(
        None, description="Metal that one sheet does before it is spent. [m²]"
    )


class Mark(Row):
    """How deep the marks go in metal of a condition, and where the ladder starts."""

    table = "marks"
    key = ("condition",)
    condition: Condition = Field(description="Condition of the metal.")
    depth_um: NotNegative = Field(description="Depth of the deepest marks to take out. [µm]")
    first_grit: str = Field(description="Where the ladder starts.")
    passes: Positive = Field(description="Passes with the first grit.")


class Finish(Row):
    """A metal finish and the last grit of its ladder."""

    table = "finishes"
    key = ("finish",)
    finish: Literal["brushed", "satin", "bright", "mirror"] = Field(description="Name.")
    last_grit: str = Field(description="Where the ladder ends.")
    compound_minutes: NotNegative = Field(
        0, description="Minutes with compound on the wheel after the last grit, per square metre."
    )
