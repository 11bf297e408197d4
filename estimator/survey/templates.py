"""A survey to start from: what a machine of an era usually has."""

from __future__ import annotations

from estimator.catalogue import Catalogue, Certainty, Era
from estimator.errors import BadInput, Fault
from estimator.survey.cells import Wrong
from estimator.survey.names import Names
from estimator.survey.records import Line, Machine, Survey


def template(era: Era | str, catalogue: Catalogue) -> Survey:
    """Typical counts and starting conditions for an era, all of them assumed.

    What the median machine lacks stands there with count 0, to be looked for. Additions that a
    customer may order are left out.

    Raises
    ------
    BadInput
        If there is no such era; the nearest names are offered.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> survey = template("dot matrix", load())
    >>> [line.count for line in survey.lines if line.assembly == "flipper"]
    [2]
    """
    try:
        era = Names(catalogue).era(era)
    except Wrong as wrong:
        raise BadInput(Fault(wrong.what, wrong.fix)) from None
    lines = [
        Line(row.assembly, row.typical, row.condition, Certainty.ASSUMED)
        for row in catalogue.counts.values()
        if row.era == era and not catalogue.assemblies[row.assembly].extra
    ]
    return Survey(Machine(era=era), tuple(lines))
