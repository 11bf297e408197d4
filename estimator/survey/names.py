"""Names in a survey, however they are spelled: case, blanks, hyphens and plurals do not count."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from estimator.catalogue import Catalogue, Certainty, Condition, Era
from estimator.errors import one_of
from estimator.survey.cells import Wrong, shown

_WORD = re.compile(r"[^\W_]+")


def tight(name: str) -> str:
    """Letters and digits alone, in lower case.

    Examples
    --------
    >>> tight("Length (mm)") == tight("length_mm")
    True
    """
    return "".join(_WORD.findall(name.casefold()))


def _bare(name: str) -> str:
    """As `tight`, with every word in the singular.

    Examples
    --------
    >>> _bare("Pop bumpers") == _bare("pop-bumper"), _bare("Glasses") == _bare("glass")
    (True, True)
    """
    return "".join(_singular(word) for word in _WORD.findall(name.casefold()))


def _singular(word: str) -> str:
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if word.endswith(("sses", "shes", "ches", "xes")):
        return word[:-2]
    if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        return word[:-1]
    return word


class Names:
    """What the names in a survey stand for: assemblies and eras of a catalogue, and the grades.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> names = Names(load())
    >>> names.assembly("Flippers"), str(names.condition("worn")), str(names.era("Dot matrix"))
    ('flipper', 'worn', 'dot-matrix')
    """

    def __init__(self, catalogue: Catalogue):
        self._assemblies = _spellings(
            (row.assembly, (row.assembly, row.name)) for row in catalogue.assemblies.values()
        )
        self._slugs = list(catalogue.assemblies)
        eras = catalogue.eras
        self._eras = _spellings(
            (era, (era.value, eras[era].name) if era in eras else (era.value,)) for era in Era
        )
        self._conditions = _spellings((grade, (grade.value,)) for grade in Condition)
        self._certainties = _spellings((grade, (grade.value,)) for grade in Certainty)

    def assembly(self, read: str) -> str:
        """The assembly's name in the table.

        Raises
        ------
        Wrong
            With the nearest names, if it is none.
        """
        found = self._assemblies.get(_bare(read))
        if found is None:
            near = one_of("-".join(_WORD.findall(read.casefold())), self._slugs)
            raise Wrong(f"{shown(read)} is not an assembly in the table.", near)
        return found

    def era(self, read: str) -> Era:
        """The era, or `Wrong` with the nearest ones."""
        return _of(self._eras, read, "an era", Era)

    def condition(self, read: str) -> Condition:
        """The condition, or `Wrong` with the nearest ones."""
        return _of(self._conditions, read, "a condition", Condition)

    def certainty(self, read: str) -> Certainty:
        """The certainty, or `Wrong` with the nearest ones."""
        return _of(self._certainties, read, "a certainty", Certainty)


def _of(known: Mapping, read: str, what: str, members):
    found = known.get(_bare(read))
    if found is None:
        raise Wrong(f"{shown(read)} is not {what}.", one_of(read, [m.value for m in members]))
    return found


def _spellings(named: Iterable[tuple[object, tuple[str, ...]]]) -> dict[str, object]:
    known: dict[str, object] = {}
    clashing = set()
    for meant, spellings in named:
        for spelling in map(_bare, spellings):
            if known.setdefault(spelling, meant) != meant:
                clashing.add(spelling)
    # What could mean two things means neither; its exact name still does.
    return {spelling: meant for spelling, meant in known.items()
            if spelling not in clashing or _bare(str(meant)) == spelling}
