"""The schema of every table in `data/`: one model checks a row, documents its columns
and tells a form what to draw.

Every row says its unit, its date, its source and on what basis it stands. Money is in the
shop's currency, hours are hands-on hours of an experienced restorer with the parts in hand.
"""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated, ClassVar, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

Slug = Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]


def _words(cell: object) -> object:
    return tuple(cell.split()) if isinstance(cell, str) else cell


Slugs = Annotated[tuple[Slug, ...], BeforeValidator(_words)]
"""Several slugs in one cell, parted by blanks."""


class Era(StrEnum):
    """When the machine was built, by its technology."""

    ELECTROMECHANICAL = "electromechanical"
    EARLY_SOLID_STATE = "early-solid-state"
    LATE_SOLID_STATE = "late-solid-state"
    DOT_MATRIX = "dot-matrix"
    Y2000S = "2000s"
    MODERN = "modern"


class Level(StrEnum):
    """Service level, from least to most; each is a table of treatments."""

    AS_FOUND = "as-found"
    CLEAN = "clean"
    SHOP_JOB = "shop-job"
    RECONDITIONED = "reconditioned"
    FULL = "full-restoration"
    SHOW = "show-grade"


class Condition(StrEnum):
    """State of an assembly by countable signs, from best to worst."""

    FRESH = "fresh"
    LIGHT = "light"
    WORN = "worn"
    HEAVY = "heavy"
    FAILED = "failed"
    MISSING = "missing"


class Certainty(StrEnum):
    """How far a line was inspected."""

    SEEN = "seen"
    ASSUMED = "assumed"
    HIDDEN = "hidden"


LEVELS: tuple[Level, ...] = tuple(Level)
CONDITIONS: tuple[Condition, ...] = tuple(Condition)


class Basis(StrEnum):
    """On what a figure stands; shop records are hours booked in the shop's own closed jobs."""

    PUBLISHED = "published"
    PRACTICE = "common practice, no source"
    MEMORY = "from memory"
    RECORDS = "shop records"
    INVENTED = "invented for the demo"


class Row(BaseModel):
    """What every row of every table carries; blank cells take the column's default."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    table: ClassVar[str]
    key: ClassVar[tuple[str, ...]]
    row_by_row: ClassVar[bool] = False
    """Whether a shop's own rows stand beside the trade's; else its table takes their place."""

    unit: str = Field(min_length=1, description="Unit that the row's figures are counted in.")
    basis: Basis = Field(description="On what the figures stand.")
    source: str = Field(min_length=3, description="Document and place in it, or whose judgement.")
    dated: date = Field(description="Date of the figures, or the day they were set down.")


class ThreePoint(Row):
    """A row whose figure is a range: low, typical, high."""

    low: NotNegative = Field(description="Low value: one in a hundred turns out lower.")
    typical: NotNegative = Field(description="The most likely value.")
    high: NotNegative = Field(description="High value: one in a hundred turns out higher.")

    @model_validator(mode="after")
    def _ordered(self):
        if not self.low <= self.typical <= self.high:
            raise ValueError(
                f"low {self.low:g}, typical {self.typical:g}, high {self.high:g} are out of "
                "order; low must not exceed typical, nor typical high"
            )
        return self


class EraRow(Row):
    table = "eras"
    key = ("era",)
    era: Era = Field(description="Name of the era.")
    name: str = Field(min_length=3, description="How it is written for people.")
    years: str = Field(description="Years of manufacture; eras overlap.")
    marks: str = Field(description="What one recognises it by.")


class LevelRow(Row):
    table = "levels"
    key = ("level",)
    level: Level = Field(description="Name of the service level.")
    name: str = Field(min_length=3, description="How it is written for people.")
    promise: str = Field(min_length=10, description="What the customer gets, in a sentence or two.")


class Assembly(Row):
    table = "assemblies"
    key = ("assembly",)
    assembly: Slug = Field(description="Name of the assembly, as written in a survey.")
    name: str = Field(min_length=3, description="How it is written for people.")
    group: str = Field(min_length=3, description="Heading it stands under on a quote.")
    droppable: bool = Field(
        False, description="May a customer leave it out without harm to the rest?"
    )
    extra: bool = Field(
        False, description="Offered as an addition; never in a survey template, always droppable."
    )
    length_mm: NotNegative | None = Field(
        None, description="Typical length of one, where work goes by length. [mm]"
    )
    area_cm2: NotNegative | None = Field(
        None, description="Typical surface of one that is worked on, where it goes by area. [cm²]"
    )
    signs_light: str = Field("", description="Countable signs of light wear.")
    signs_worn: str = Field("", description="Countable signs of wear.")
    signs_heavy: str = Field("", description="Countable signs of heavy wear.")
    signs_failed: str = Field("", description="Countable signs of failure.")


class Count(Row):
    """How many of an assembly a machine of an era has: the rows of an era's survey template."""

    table = "counts"
    key = ("era", "assembly")
    era: Era = Field(description="Era of the machine.")
    assembly: Slug = Field(description="Which assembly.")
    low: Annotated[int, Field(ge=0)] = Field(description="One machine in ten has fewer.")
    typical: Annotated[int, Field(ge=0)] = Field(description="The median machine.")
    high: Annotated[int, Field(ge=0)] = Field(description="One machine in ten has more.")
    condition: Condition = Field(description="Condition to start a survey from.")

    @model_validator(mode="after")
    def _ordered(self):
        if not self.low <= self.typical <= self.high:
            raise ValueError(
                f"low {self.low}, typical {self.typical}, high {self.high} are out of order"
            )
        return self


WorkKind = Literal[
    "inspect", "remove", "dismantle", "clean", "derust", "polish", "strip", "repair", "rebuild",
    "replace", "send-out", "label", "assemble", "adjust", "test", "finish", "admin",
]
"""Kinds of work that operations are sorted by."""
WORK_KINDS: tuple[str, ...] = get_args(WorkKind)


Skill = Literal["bench", "electronics", "finishing", "cabinet"]
"""What a person at the bench can do."""
SKILLS: tuple[str, ...] = get_args(Skill)


class Operation(ThreePoint):
    """Book hours of an operation: low, typical and high hands-on hours for one unit of work.

    The same operation may have rows for single eras; a row without an era serves the others.
    With `method` "ladder" the three figures are multipliers on the hours that the grit ladder
    gives (`estimator.finishing`), usually 0.6, 1 and 1.8.
    """

    table = "operations"
    key = ("operation", "era")
    operation: Slug = Field(description="Name of the operation.")
    era: Era | None = Field(
        None, description="Only for machines of this era; blank for all others."
    )
    name: str = Field(min_length=3, description="How it is written for people.")
    kind: WorkKind = Field(description="Kind of work.")
    skill: Skill = Field(
        "bench", description="Who can do it; each skill may have its own pay."
    )
    method: Literal["book", "ladder"] = Field(
        "book", description="Hours from this row, or from the grit ladder."
    )
    setup: NotNegative = Field(0, description="Hours once per job, however many units. [h]")
    learning: Annotated[float, Field(gt=0.5, le=1)] = Field(
        1, description="Unit learning rate over repeated units in one job; 1 is none."
    )
    unattended: NotNegative = Field(
        0, description="Elapsed time nobody stands by, such as cure or tumbling. [h]"
    )
    cautions: Slugs = Field((), description="Cautions to show with the work.")


class Treatment(Row):
    """What a condition leads to at a level: one operation, part, material or service.

    A row holds for every level from `level_from` to `level_to` and every condition from
    `condition_from` to `condition_to`, both ends included. The quantity needed is
    quantity × share × measure, where the measure is what the survey line counts.
    """

    table = "treatments"
    key = (
        "assembly",
        "does",
        "item",
        "era",
        "level_from",
        "level_to",
        "condition_from",
        "condition_to",
    )
    assembly: Slug = Field(description="Which assembly.")
    era: Era | None = Field(None, description="Only for machines of this era; blank for all.")
    level_from: Level = Field(description="From this service level …")
    level_to: Level = Field(Level.SHOW, description="… up to this one.")
    condition_from: Condition = Field(Condition.FRESH, description="From this condition …")
    condition_to: Condition = Field(Condition.MISSING, description="… up to this one.")
    does: Literal["operation", "part", "material", "service"] = Field(
        description="Which table `item` stands in."
    )
    item: Slug = Field(description="Operation, part, material or service.")
    measure: Literal["count", "line", "area", "length"] = Field(
        "count",
        description="What the quantity is per: each one counted, the survey line as a whole, "
        "square metre, or metre.",
    )
    quantity: Positive = Field(1, description="Units of the item per unit of the measure.")
    share: Annotated[float, Field(gt=0, le=1)] = Field(
        1, description="Share of the units that need it: sockets that break, inserts that moved."
    )
    finish: Literal["", "brushed", "satin", "bright", "mirror"] = Field(
        "", description="Metal finish asked for, where the operation goes by the grit ladder."
    )

    @model_validator(mode="after")
    def _ranges(self):
        if LEVELS.index(self.level_from) > LEVELS.index(self.level_to):
            raise ValueError(f"level_from {self.level_from} comes after level_to {self.level_to}")
        if CONDITIONS.index(self.condition_from) > CONDITIONS.index(self.condition_to):
            raise ValueError(
                f"condition_from {self.condition_from} comes after condition_to {self.condition_to}"
            )
        return self


class Part(ThreePoint):
    """A part and what it costs: low, typical and high price of one unit."""

    table = "parts"
    key = ("part",)
    part: Slug = Field(description="Name of the part.")
    name: str = Field(min_length=3, description="How it is written for people.")


class Supplier(Row):
    table = "suppliers"
    key = ("supplier",)
    supplier: Slug = Field(description="Name of the supplier.")
    name: str = Field(min_length=3, description="How it is written for people.")
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
    name: str = Field(min_length=3, description="How it is written for people.")
    setup: NotNegative = Field(0, description="Charged once a lot.")
    lot_minimum: NotNegative = Field(0, description="Least charge of a lot.")
    multiplier: Positive = Field(1, description="For the finish or colour asked for.")
    line_fee: NotNegative = Field(0, description="For each survey line in the lot.")
    freight: NotNegative = Field(0, description="Both ways, once a lot.")
    days_low: NotNegative = Field(description="Days away, at best.")
    days_typical: NotNegative = Field(description="Days away, usually.")
    days_high: NotNegative = Field(description="Days away, at worst.")
    cautions: Slugs = Field((), description="Cautions to show with the work.")


class Material(ThreePoint):
    """A consumable: low, typical and high price of one pack.

    With `method` "liquid" a treatment's quantity counts coats and the litres follow from the
    area; with "powder" likewise the kilograms; with "each" the quantity is the need itself.
    """

    table = "materials"
    key = ("material",)
    material: Slug = Field(description="Name of the material.")
    name: str = Field(min_length=3, description="How it is written for people.")
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


class Find(ThreePoint):
    """Damage that may come to light after teardown: hours it adds (low, typical, high)."""

    table = "finds"
    key = ("find",)
    find: Slug = Field(description="Name of the find.")
    assembly: Slug = Field(description="Where it hides.")
    name: str = Field(min_length=5, description="What is found, for people.")
    era: Era | None = Field(None, description="Only in machines of this era; blank for all.")
    level_from: Level = Field(description="Comes to light from this service level up.")
    condition_from: Condition = Field(Condition.FRESH, description="In this condition or worse.")
    probability: Share = Field(description="Chance on one survey line that was seen. [–]")
    assumed: Annotated[float, Field(ge=1)] = Field(
        1.5, description="Multiplier on the chance where the line was only assumed."
    )
    hidden: Annotated[float, Field(ge=1)] = Field(
        2, description="Multiplier on the chance where the line was hidden."
    )
    cost_low: NotNegative = Field(0, description="Parts, materials and outwork it adds, low.")
    cost_typical: NotNegative = Field(0, description="The same, typical.")
    cost_high: NotNegative = Field(0, description="The same, high.")
    days: NotNegative = Field(0, description="Days it holds up the job.")
    cause: Slug | None = Field(
        None, description="What brings it about, where other finds have the same cause."
    )
    cautions: Slugs = Field((), description="Cautions to show with it.")

    @model_validator(mode="after")
    def _cost_ordered(self):
        if not self.cost_low <= self.cost_typical <= self.cost_high:
            raise ValueError("cost_low, cost_typical, cost_high are out of order")
        if self.probability * max(self.assumed, self.hidden) > 1:
            raise ValueError("probability times its multiplier exceeds 1")
        return self


class Correlation(Row):
    """How far two kinds of work run over together in one job, beyond what the job itself does."""

    table = "correlations"
    key = ("kind", "other")
    kind: WorkKind = Field(description="A kind of work.")
    other: WorkKind = Field(description="Another kind of work.")
    correlation: Annotated[float, Field(ge=-1, le=1, allow_inf_nan=False)] = Field(
        description="From -1 (one over, the other under) to 1 (always together). [–]"
    )

    @model_validator(mode="after")
    def _two_kinds(self):
        if self.kind == self.other:
            raise ValueError("kind and other are the same; a kind goes with itself anyway")
        return self


class Caution(Row):
    table = "cautions"
    key = ("caution",)
    caution: Slug = Field(description="Name of the caution.")
    hazard: str = Field(min_length=3, description="What can hurt.")
    text: str = Field(min_length=20, description="What to heed; defers to local codes and licence.")


class ScopeNote(Row):
    """What is in, what is out and what is assumed at a level: the words on the quote."""

    table = "scope_notes"
    key = ("note",)
    note: Slug = Field(description="Name of the note.")
    says: Literal["included", "excluded", "assumed"] = Field(description="In, out or assumed.")
    level_from: Level = Field(description="From this service level …")
    level_to: Level = Field(Level.SHOW, description="… up to this one.")
    text: str = Field(min_length=10, description="The sentence on the quote.")


PICKS = ("kind", "skill", "group", "assembly", "operation", "service")
"""What work is picked by in `precedence.csv` and `spaces.csv`."""
_PICK = rf"(all|outwork|order|({'|'.join(PICKS)}):[a-z0-9-]+)"
Picked = Annotated[str, Field(pattern=rf"^-?{_PICK}(\+{_PICK})*( -?{_PICK}(\+{_PICK})*)*$")]
"""Which work is meant: words parted by blanks, of which one is enough.

A word is `all`, `outwork` (a lot that is away), `order` (parts on their way) or what the work is
of, such as `kind:clean`, `assembly:flipper`, `group:metal` or `operation:tumble-load`; parts joined
by + must all hold; a word after - takes out again what it says.
"""


class Precedence(Row):
    """Which work waits for which: a rule of the bench."""

    table = "precedence"
    key = ("rule",)
    rule: Slug = Field(description="Name of the rule.")
    does: Literal["before", "turns", "wait-first"] = Field(
        "before", description="before: all of the first is finished when the second begins. "
        "turns: sessions of both take turns, the first begins. wait-first: the unattended time of "
        "the second passes before its hands-on work, not after it."
    )
    before: Picked = Field(description="What comes first.")
    after: Picked = Field(description="What waits for it.")
    where: Literal["line", "machine"] = Field(
        description="Only between work on the same survey line, or within the whole machine."
    )
    why: str = Field(min_length=10, description="The reason, in a sentence.")


class Space(Row):
    """Room for work that only so many pieces can have at once."""

    table = "spaces"
    key = ("space",)
    space: Slug = Field(description="Name of the space.")
    name: str = Field(min_length=3, description="How it is written for people.")
    count: Annotated[int, Field(ge=1, le=99)] = Field(description="How many there are.")
    holds: Picked = Field(description="Work that takes one of them up.")
    until: Literal["work", "wait"] = Field(
        description="Free again when the hands-on work is done, or when the unattended time after "
        "it is over too."
    )


PAPERS = {"us-letter": (215.9, 279.4), "a4": (210.0, 297.0)}
"""Width and height of papers: ANSI/ASME Y14.1 size A and ISO 216 A4. [mm]"""


class BenchWay(Row):
    """A way of working through a machine, and what it does to the hours."""

    table = "bench_ways"
    key = ("bench_way",)
    bench_way: Literal["as-it-comes-off", "strip-first"] = Field(description="Name of the way.")
    name: str = Field(min_length=3, description="How it is written for people.")
    takes_down: Positive = Field(description="Times the book hours of taking things off.")
    puts_together: Positive = Field(description="Times the book hours of putting them together.")
    setup_each: bool = Field(description="Is set-up done for each line, not once a job?")
    opening_share: Annotated[float, Field(gt=0, lt=1)] = Field(
        description="Of the first work on an assembly: the share after which it lies open, so that "
        "its needs are known."
    )
    order_days: Annotated[int, Field(ge=1, le=60)] = Field(
        description="Parts are ordered together once in so many days."
    )


class LabelSheet(Row):
    """A sheet of labels to print on: how many, how large and where on the paper."""

    table = "label_sheets"
    key = ("label_sheet",)
    label_sheet: Slug = Field(description="Name of the sheet.")
    name: str = Field(min_length=3, description="How it is written for people.")
    paper: Literal["us-letter", "a4"] = Field(description="Paper of the sheet.")
    columns: Annotated[int, Field(ge=1, le=10)] = Field(description="Labels side by side.")
    rows: Annotated[int, Field(ge=1, le=30)] = Field(description="Labels below each other.")
    width_mm: Positive = Field(description="Width of a label. [mm]")
    height_mm: Positive = Field(description="Height of a label. [mm]")
    left_mm: NotNegative = Field(description="From the paper's edge to the first label. [mm]")
    top_mm: NotNegative = Field(description="From the paper's top to the first label. [mm]")
    across_mm: Positive = Field(description="From one label to that beside it. [mm]")
    down_mm: Positive = Field(description="From one label to that below it. [mm]")

    @model_validator(mode="after")
    def _fits(self):
        wide, high = PAPERS[self.paper]
        right = self.left_mm + (self.columns - 1) * self.across_mm + self.width_mm
        foot = self.top_mm + (self.rows - 1) * self.down_mm + self.height_mm
        if right > wide + 0.05 or foot > high + 0.05:
            raise ValueError(f"the labels end {right:g} mm across and {foot:g} mm down; the paper "
                             f"is {wide:g} x {high:g} mm")
        if self.across_mm < self.width_mm or self.down_mm < self.height_mm:
            raise ValueError("the labels overlap: across_mm and down_mm must be at least the "
                             "width and the height")
        return self


class InsertColour(Row):
    """A colour of inserts in a playfield, and the lamp that goes behind it."""

    table = "insert_colours"
    key = ("insert_colour",)
    insert_colour: Slug = Field(description="The colour, as it is written in a note.")
    name: str = Field(min_length=3, description="How it is written for people.")
    lamp: str = Field(min_length=3, description="Which lamp goes behind it.")


class Unbilled(Row):
    """A kind of time that no line of a quote pays for, and that is booked all the same."""

    table = "unbilled"
    key = ("unbilled",)
    unbilled: Slug = Field(description="Name of the kind.")
    name: str = Field(min_length=3, description="How it is written for people.")
    meaning: str = Field(min_length=10, description="What is booked to it.")


class Rate(Row):
    """A figure of the business: the default of a key in `shop.toml`.

    A shop's own table holds only the rows that it has of its own.
    """

    table = "rates"
    key = ("rate",)
    row_by_row = True
    rate: Annotated[str, Field(pattern=r"^[a-z_0-9]+$")] = Field(description="Key in shop.toml.")
    value: float = Field(description="The default.")
    low: float | None = Field(None, description="Low end of what is usual.")
    high: float | None = Field(None, description="High end of what is usual.")
    meaning: str = Field(min_length=10, description="What it means, for the one who sets it.")


TABLES: tuple[type[Row], ...] = (
    EraRow,
    LevelRow,
    Assembly,
    Count,
    Operation,
    Treatment,
    Part,
    Supplier,
    Offer,
    Service,
    Material,
    Grit,
    Mark,
    Finish,
    Find,
    Correlation,
    Caution,
    ScopeNote,
    Precedence,
    Space,
    BenchWay,
    LabelSheet,
    InsertColour,
    Unbilled,
    Rate,
)
