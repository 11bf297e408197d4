"""The tables of the bench: the order of work, room for it, ways of working, labels, lamps, time."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from estimator.catalogue.rows import NotNegative, Positive, Row, Slug, Title

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
    name: Title
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
    name: Title
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
    name: Title
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
    name: Title
    lamp: str = Field(min_length=3, description="Which lamp goes behind it.")


class Unbilled(Row):
    """A kind of time that no line of a quote pays for, and that is booked all the same."""

    table = "unbilled"
    key = ("unbilled",)
    unbilled: Slug = Field(description="Name of the kind.")
    name: Title
    meaning: str = Field(min_length=10, description="What is booked to it.")
