"""What every table's schema is made of, and the tables of survey, work and business.

One model checks a row, documents its columns and tells a form what to draw. What is bought stands
in `supplies`, the bench in `bench`, buying and selling machines in `sales`.

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

Title = Annotated[str, Field(min_length=3, description="How it is written for people.")]


class Era(StrEnum):
    """When the machine was built, by its technology."""

    ELECTROMECHANICAL = "electromechanical"
    EARLY_SOLID_STATE = "early-solid-state"
    LATE_SOLID_STATE = "late-solid-state"
    DOT_MATRIX = "dot-matrix"
    Y2000S = "2000s"
    MODERN = "modern"


class Level(StrEnum):
    """Service level, from least to most; each is a table of treatments.

    Examples
    --------
    >>> Level("shop-job") is Level.SHOP_JOB, LEVELS.index(Level.SHOP_JOB)
    (True, 2)
    """

    AS_FOUND = "as-found"
    CLEAN = "clean"
    SHOP_JOB = "shop-job"
    RECONDITIONED = "reconditioned"
    FULL = "full-restoration"
    SHOW = "show-grade"


class Condition(StrEnum):
    """State of an assembly by countable signs, from best to worst.

    Examples
    --------
    >>> [str(word) for word in CONDITIONS]
    ['fresh', 'light', 'worn', 'heavy', 'failed', 'missing']
    """

    FRESH = "fresh"
    LIGHT = "light"
    WORN = "worn"
    HEAVY = "heavy"
    FAILED = "failed"
    MISSING = "missing"


class Certainty(StrEnum):
    """How far a line was inspected.

    Examples
    --------
    >>> [str(word) for word in Certainty]
    ['seen', 'assumed', 'hidden']
    """

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


def in_order(row: Row, of: str = "") -> Row:
    """The row itself, if low, typical and high of a range are in order.

    Parameters
    ----------
    of
        What the names of the range's columns begin with, such as "days_".

    Raises
    ------
    ValueError
        If low exceeds typical, or typical high.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> in_order(load().parts["bulb"]).part
    'bulb'
    """
    names = [f"{of}{end}" for end in ("low", "typical", "high")]
    low, typical, high = (getattr(row, name) for name in names)
    if not low <= typical <= high:
        said = ", ".join(f"{name} {getattr(row, name):g}" for name in names)
        raise ValueError(
            f"{said} are out of order; low must not exceed typical, nor typical high")
    return row


class ThreePoint(Row):
    """A row whose figure is a range: low, typical, high."""

    low: NotNegative = Field(description="Low value: one in a hundred turns out lower.")
    typical: NotNegative = Field(description="The most likely value.")
    high: NotNegative = Field(description="High value: one in a hundred turns out higher.")

    @model_validator(mode="after")
    def _ordered(self):
        return in_order(self)


class EraRow(Row):
    """An era of building, as people write it, and how to tell a machine of it."""

    table = "eras"
    key = ("era",)
    era: Era = Field(description="Name of the era.")
    name: Title
    years: str = Field(description="Years of manufacture; eras overlap.")
    marks: str = Field(description="What one recognises it by.")


class LevelRow(Row):
    """A service level, as people write it, and what it promises."""

    table = "levels"
    key = ("level",)
    level: Level = Field(description="Name of the service level.")
    name: Title
    promise: str = Field(min_length=10, description="What the customer gets, in a sentence or two.")


class Assembly(Row):
    """A countable part of a machine that is worked on as one: a line of a survey."""

    table = "assemblies"
    key = ("assembly",)
    assembly: Slug = Field(description="Name of the assembly, as written in a survey.")
    name: Title
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
        return in_order(self)


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
    name: Title
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
    in_one_go: bool = Field(
        False, description="Is it not broken off in the evening, such as spraying a coat? What is "
        "longer than a day is."
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
        if self.probability * max(self.assumed, self.hidden) > 1:
            raise ValueError("probability times its multiplier exceeds 1")
        return in_order(self, "cost_")


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
    """What can hurt at some work, and what to heed."""

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
