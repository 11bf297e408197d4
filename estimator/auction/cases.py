"""What a machine may turn out to be: a survey for each case of the state it is said to be in."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import replace

from estimator.auction.records import Bad, Offered
from estimator.catalogue import Catalogue, Certainty, Condition, Era
from estimator.errors import BadInput, Fault
from estimator.resale.parting import usual_counts
from estimator.survey import Line, Survey, template

_GRADES = (Condition.FRESH, Condition.LIGHT, Condition.WORN, Condition.HEAVY)


def cases_of(one: Offered, catalogue: Catalogue) -> tuple[tuple[float, Survey], ...]:
    """Cases of a machine with their chances, which add up to 1: its own survey, or its state's.

    Raises
    ------
    BadInput
        If the tables say nothing of such a state.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> found = cases_of(Offered("1", Era.DOT_MATRIX, "working", 4000), load())
    >>> [round(chance, 2) for chance, _ in found]
    [0.25, 0.5, 0.25]
    """
    if one.survey is not None:
        return ((1.0, with_bad(one.survey, one.bad)),)
    rows = [row for row in catalogue.found_cases.values() if row.found == one.found]
    if not rows:
        raise BadInput(Fault(f'found_cases.csv has no case for a machine found "{one.found}".',
                             "Add one."))
    whole = math.fsum(row.weight for row in rows)
    return tuple(
        (row.weight / whole,
         with_bad(_survey(one.era, row.worse, row.failed, row.gone, catalogue), one.bad))
        for row in rows)


@functools.lru_cache(maxsize=256)
def _survey(era: Era, worse: int, failed: tuple[str, ...], gone: float,
            catalogue: Catalogue) -> Survey:
    """The era's usual machine, shifted by grades of wear, with what is failed and what is gone."""
    found = template(era, catalogue)
    lines = []
    missing = _gone(era, gone, catalogue)
    for line in found.lines:
        condition = line.condition
        if condition in _GRADES:
            place = min(max(_GRADES.index(condition) + worse, 0), len(_GRADES) - 1)
            condition = _GRADES[place]
        if line.assembly in failed:
            condition = Condition.FAILED
        if line.assembly in missing:
            condition = Condition.MISSING
        lines.append(replace(line, condition=condition))
    return replace(found, lines=tuple(lines))


def _gone(era: Era, share: float, catalogue: Catalogue) -> set[str]:
    """Assemblies that are gone: those that sell best for their hours, until it is the share."""
    usual = usual_counts(era, catalogue)
    rows = [catalogue.part_out[name] for name in usual]
    together = math.fsum(row.weight for row in rows)
    found: set[str] = set()
    left = share * together
    for row in sorted(rows, key=lambda row: (-row.weight * row.sold / max(row.typical, 0.05),
                                             row.assembly)):
        if left <= 1e-9:
            break
        found.add(row.assembly)
        left -= row.weight
    return found


def with_bad(survey: Survey, bad: Sequence[Bad]) -> Survey:
    """The survey with pieces that are known to be bad; their lines are seen, not assumed.

    Examples
    --------
    >>> from estimator.survey import Machine
    >>> plain = Survey(Machine(era=Era.DOT_MATRIX), (Line("flipper", 3, Condition.WORN),))
    >>> [(line.count, str(line.condition))
    ...  for line in with_bad(plain, [Bad("flipper", 1, Condition.FAILED)]).lines]
    [(2, 'worn'), (1, 'failed')]
    """
    lines, known = list(survey.lines), []
    for one in bad:
        left, rest = one.count, []
        # Those that the survey has as bad already are the ones that are meant.
        for line in sorted(lines, key=lambda line: line.condition != one.condition):
            taken = min(left, line.count or 0) if line.assembly == one.assembly else 0
            left -= taken
            if taken:
                known.append(replace(line, count=taken, condition=one.condition,
                                     certainty=Certainty.SEEN))
            if not taken or taken < line.count:
                rest.append(replace(line, count=(line.count or 0) - taken))
        if left:
            # More than such a machine usually has: they are there all the same.
            known.append(Line(one.assembly, left, one.condition, Certainty.SEEN))
        lines = rest
    order = {line.assembly: place for place, line in reversed(list(enumerate(survey.lines)))}
    found = _together([*lines, *known])
    found.sort(key=lambda line: order.get(line.assembly, len(order)))
    return replace(survey, lines=tuple(found))


def _together(lines: Sequence[Line]) -> list[Line]:
    """Lines that differ in nothing but the count as one."""
    found: dict[tuple, Line] = {}
    for line in lines:
        key = (line.assembly, line.condition, line.certainty, line.length_mm, line.area_cm2,
               line.note)
        held = found.get(key)
        found[key] = line if held is None else replace(held, count=held.count + line.count)
    return list(found.values())
