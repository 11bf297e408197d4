"""A survey: the machine, and a line for each assembly as it was found."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from estimator.catalogue import Certainty, Condition, Era


@dataclass(frozen=True)
class Line:
    """One assembly as found.

    Parameters
    ----------
    assembly
        Name in the table of assemblies.
    count
        How many, 0 or more; None in a draft where it was not counted yet.
    condition, certainty
        None in a draft where nobody looked yet.
    length_mm, area_cm2
        Of one, as measured; None takes the assembly's typical figure. [mm], [cm²]
    note
        The surveyor's words.
    row
        Row of the file that it was read from, for messages; not part of what the line says.

    Examples
    --------
    >>> Line("flipper", count=None).gaps
    ('count', 'condition')
    """

    assembly: str
    count: int | None = 1
    condition: Condition | None = None
    certainty: Certainty | None = Certainty.SEEN
    length_mm: float | None = None
    area_cm2: float | None = None
    note: str = ""
    row: int | None = field(default=None, compare=False)

    @property
    def gaps(self) -> tuple[str, ...]:
        """Columns still to be filled before the line can be quoted."""
        wanted = ("count", "condition", "certainty")
        return tuple(name for name in wanted if getattr(self, name) is None)


@dataclass(frozen=True)
class Machine:
    """The piece on the bench, in the customer's and the surveyor's words.

    `customer_kind` is a free word of the shop, such as private owner, operator or dealer; a
    review holds jobs of each kind apart.

    Examples
    --------
    >>> Machine("Comet Harbour", year="1992", era=Era.DOT_MATRIX, customer_kind="dealer").year
    '1992'
    """

    title: str = ""
    maker: str = ""
    year: str = ""
    era: Era | None = None
    serial: str = ""
    customer: str = ""
    # Not in the text of the whole, which makes up the numbers of quotes sent before it was known.
    customer_kind: str = field(default="", repr=False)
    surveyor: str = ""
    surveyed: str = ""
    note: str = ""


@dataclass(frozen=True)
class Survey:
    """A machine and its lines; a draft while any line has a gap or the era is not known.

    Examples
    --------
    >>> survey = Survey(Machine(era=Era.DOT_MATRIX), (Line("flipper", 3),))
    >>> survey.is_draft, survey.gaps
    (True, ((0, 'condition'),))
    """

    machine: Machine
    lines: tuple[Line, ...] = ()
    file: str = ""

    @property
    def gaps(self) -> tuple[tuple[int, str], ...]:
        """(line index, column) of every blank that a quote needs filled."""
        return tuple((i, name) for i, line in enumerate(self.lines) for name in line.gaps)

    @property
    def is_draft(self) -> bool:
        """True while it cannot be quoted."""
        return self.machine.era is None or bool(self.gaps) or not self.lines

    def with_line(self, index: int, **changes) -> Survey:
        """The same survey with one line changed."""
        lines = list(self.lines)
        lines[index] = replace(lines[index], **changes)
        return replace(self, lines=tuple(lines))
