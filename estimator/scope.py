"""From a survey to the scope of works: what each line needs at a service level.

The rules are the rows of `treatments.csv`; nothing here knows one assembly from another.
"""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

from estimator.catalogue import (
    CONDITIONS,
    LEVELS,
    Assembly,
    Catalogue,
    Certainty,
    Condition,
    Era,
    Find,
    Level,
    Operation,
    Treatment,
)
from estimator.errors import BadInput, Fault
from estimator.survey.records import Line, Survey


@dataclass(frozen=True)
class Work:
    """One operation on one line: how many units of work, and for the ladder how much metal.

    `units` counts in the operation's unit; with the ladder it is the area worked. [m²]
    `pieces` is how many pieces may need it, where each does with a chance (the treatment's share);
    None where the work is certain.
    """

    line: int
    operation: Operation
    units: float
    finish: str
    treatment: Treatment
    pieces: int | None = None


@dataclass(frozen=True)
class Need:
    """A part, material or service that a line needs, in the unit of the item's row.

    For a coating (`materials.csv`, method liquid or powder) `quantity` counts coats and
    `measure` is the area. [m²] `pieces` as for `Work`.
    """

    line: int
    does: str
    item: str
    quantity: float
    measure: float
    treatment: Treatment
    pieces: int | None = None


@dataclass(frozen=True)
class Risk:
    """A find that may come to light on a line, with its chance there. [–]"""

    line: int
    find: Find
    chance: float


@dataclass(frozen=True)
class Scope:
    """What the lines need at a level.

    `lines` are the survey's, then the extras added, from index `first_extra` on.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> found = small_quote().job.scope
    >>> found.names, len(found.works), found.first_extra
    (('flipper 1', 'leg 1'), 5, 2)
    """

    level: Level
    era: Era
    lines: tuple[Line, ...]
    works: tuple[Work, ...]
    needs: tuple[Need, ...]
    risks: tuple[Risk, ...]
    dropped: frozenset[int]
    first_extra: int

    @functools.cached_property
    def names(self) -> tuple[str, ...]:
        """A name for each line that other lines, left out or of other kinds, do not change."""
        return names_of(self.lines)


def names_of(lines: Iterable[Line]) -> tuple[str, ...]:
    """A name for each line: its assembly, and which of that assembly's lines it is.

    Examples
    --------
    >>> names_of([Line("flipper", 2), Line("slingshot", 2), Line("flipper", 1)])
    ('flipper 1', 'slingshot 1', 'flipper 2')
    """
    seen: Counter[str] = Counter()
    names = []
    for line in lines:
        seen[line.assembly] += 1
        names.append(f"{line.assembly} {seen[line.assembly]}")
    return tuple(names)


def _applies(treatment: Treatment, era: Era, level: Level, condition: Condition) -> bool:
    """Does a treatment hold for this era, level and condition?

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> first = load().treatments_of["flipper"][0]
    >>> _applies(first, Era.MODERN, Level.SHOP_JOB, Condition.WORN)
    True
    >>> _applies(first, Era.MODERN, Level.AS_FOUND, Condition.WORN)
    False
    """
    rank, grade = LEVELS.index(level), CONDITIONS.index(condition)
    return (
        treatment.era in (None, era)
        and LEVELS.index(treatment.level_from) <= rank <= LEVELS.index(treatment.level_to)
        and CONDITIONS.index(treatment.condition_from)
        <= grade
        <= CONDITIONS.index(treatment.condition_to)
    )


def _measure(line: Line, assembly: Assembly, per: str) -> float:
    """What a treatment's quantity is multiplied by on this line.

    The count, 1 for the line as a whole, square metres or metres; measured figures before the
    assembly's typical ones.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> guide = load().assemblies["ball-guide"]
    >>> round(_measure(Line("ball-guide", 4, area_cm2=50), guide, "area"), 4)
    0.02
    """
    if per == "count":
        return float(line.count)
    if per == "line":
        return 1.0
    if per == "area":
        area = assembly.area_cm2 if line.area_cm2 is None else line.area_cm2
        return line.count * (area or 0.0) / 1e4
    length = assembly.length_mm if line.length_mm is None else line.length_mm
    return line.count * (length or 0.0) / 1e3


# Most lines of a survey are as they were at the last edit, and as they are in the next choice.
@functools.lru_cache(maxsize=16_384)
def line_scope(
    index: int, line: Line, era: Era, level: Level, catalogue: Catalogue
) -> tuple[tuple[Work, ...], tuple[Need, ...]]:
    """Work and needs of one line, whatever the other lines are.

    Parameters
    ----------
    index
        Of the line among all, which work and needs carry.
    line
        With a count of 1 or more.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> line = Line("flipper", 2, Condition.WORN, Certainty.SEEN)
    >>> works, needs = line_scope(0, line, Era.MODERN, Level.SHOP_JOB, load())
    >>> [(work.operation.operation, work.units) for work in works]
    [('flipper-adjust', 2.0), ('flipper-clean', 2.0)]
    >>> ("flipper-rubber", 2.0) in [(need.item, need.quantity) for need in needs]
    True
    """
    works: list[Work] = []
    needs: list[Need] = []
    assembly = catalogue.assemblies[line.assembly]
    for row in _treatments(line.assembly, era, level, line.condition, catalogue):
        amount = _measure(line, assembly, row.measure)
        if not amount:
            continue
        quantity = row.quantity * row.share * amount
        pieces = _pieces(row, amount)
        if row.does == "operation":
            operation = catalogue.operation(row.item, era)
            works.append(Work(index, operation, quantity, row.finish, row, pieces))
        elif row.does == "material" and catalogue.materials[row.item].method != "each":
            needs.append(Need(index, row.does, row.item, row.quantity * row.share, amount, row))
        else:
            needs.append(Need(index, row.does, row.item, quantity, amount, row, pieces))
    return tuple(works), tuple(needs)


# The same few hundred answers serve every survey and every edit.
@functools.lru_cache(maxsize=16_384)
def _treatments(
    assembly: str, era: Era, level: Level, condition: Condition, catalogue: Catalogue
) -> tuple[Treatment, ...]:
    return tuple(row for row in catalogue.treatments_of[assembly]
                 if _applies(row, era, level, condition))


def _pieces(row: Treatment, amount: float) -> int | None:
    """How many pieces may or may not need it; None for work that is certain or goes by size."""
    if row.share == 1 or row.measure not in ("count", "line"):
        return None
    return max(1, round(row.quantity * amount))


def worse(line: Line) -> Line:
    """The line one condition worse; a failed or missing one stays as it is.

    Examples
    --------
    >>> str(worse(Line("flipper", 2, Condition.WORN)).condition)
    'heavy'
    """
    grade = CONDITIONS.index(line.condition)
    if grade >= CONDITIONS.index(Condition.FAILED):
        return line
    return replace(line, condition=CONDITIONS[grade + 1])


def scope(
    survey: Survey,
    level: Level,
    catalogue: Catalogue,
    *,
    dropped: Iterable[int] = (),
    added: Iterable[tuple[str, int]] = (),
) -> Scope:
    """What a survey needs at a service level.

    Parameters
    ----------
    dropped
        Indexes of survey lines that the customer leaves out; only droppable assemblies.
    added
        Extras the customer takes: (assembly, count).

    Raises
    ------
    BadInput
        If the survey is still a draft, a line may not be dropped, or an extra is unknown;
        every fault at once.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> from estimator.survey import Machine
    >>> flippers = Line("flipper", 2, Condition.WORN, Certainty.SEEN)
    >>> found = scope(Survey(Machine(era=Era.MODERN), (flippers,)), Level.SHOP_JOB, load())
    >>> [work.operation.operation for work in found.works]
    ['flipper-adjust', 'flipper-clean']
    """
    extras = tuple(Line(name, count, Condition.FRESH, Certainty.SEEN) for name, count in added)
    dropped = frozenset(dropped)
    faults = [*_not_ready(survey), *_not_dropped(survey, catalogue, dropped),
              *_not_extra(catalogue, extras)]
    if faults:
        raise BadInput(faults)
    lines = survey.lines + extras
    works: list[Work] = []
    needs: list[Need] = []
    risks: list[Risk] = []
    for index, line in enumerate(lines):
        if index in dropped or not line.count:
            continue
        some_works, some_needs = line_scope(index, line, survey.machine.era, level, catalogue)
        works += some_works
        needs += some_needs
        risks += _risks(index, line, survey.machine.era, level, catalogue)
    return Scope(
        level,
        survey.machine.era,
        lines,
        tuple(works),
        tuple(needs),
        tuple(risks),
        dropped,
        len(survey.lines),
    )


def _risks(index: int, line: Line, era: Era, level: Level, catalogue: Catalogue) -> Iterable[Risk]:
    for find in catalogue.finds_of[line.assembly]:
        if (
            find.era in (None, era)
            and LEVELS.index(level) >= LEVELS.index(find.level_from)
            and CONDITIONS.index(line.condition) >= CONDITIONS.index(find.condition_from)
        ):
            factor = {
                Certainty.SEEN: 1.0,
                Certainty.ASSUMED: find.assumed,
                Certainty.HIDDEN: find.hidden,
            }[line.certainty]
            yield Risk(index, find, find.probability * factor)


def _not_ready(survey: Survey) -> Iterable[Fault]:
    """What a draft leaves open."""
    file = survey.file or None
    if survey.machine.era is None:
        yield Fault("The machine's era is not stated.", f"Write one of: {', '.join(Era)}.",
                    file, None, "era")
    if not survey.lines:
        yield Fault("The survey has no lines.", "Start from an era's template.", file)
    for index, column in survey.gaps:
        line = survey.lines[index]
        yield Fault(f"The {column} of {line.assembly} is blank.",
                    "A quote needs every line filled; a draft may wait.", file, line.row, column)


def _not_dropped(survey: Survey, catalogue: Catalogue, dropped: Iterable[int]
                 ) -> Iterable[Fault]:
    """Lines that cannot be left out."""
    file = survey.file or None
    for index in sorted(dropped):
        if not 0 <= index < len(survey.lines):
            yield Fault(f"There is no line {index + 1} to leave out.",
                        f"The survey has {len(survey.lines)} lines.", column="leave_out")
        elif not catalogue.assemblies[survey.lines[index].assembly].droppable:
            line = survey.lines[index]
            yield Fault(f"{line.assembly} cannot be left out.",
                        "The rest of the work depends on it.", file, line.row)


def _not_extra(catalogue: Catalogue, extras: Iterable[Line]) -> Iterable[Fault]:
    """What cannot be added."""
    for line in extras:
        assembly = catalogue.assemblies.get(line.assembly)
        if assembly is None or not assembly.extra:
            names = [name for name, row in catalogue.assemblies.items() if row.extra]
            yield Fault(f'"{line.assembly}" is not an extra.', f"Extras: {', '.join(names)}.",
                        column="add")
        elif not isinstance(line.count, int) or not 1 <= line.count <= 99:
            yield Fault(f"{line.count} of {line.assembly} cannot be added.",
                        "Write a count from 1 to 99.", column="add")
