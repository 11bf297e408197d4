"""Machines that nobody built, surveyed as an era's machines usually are."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace

import numpy as np

from estimator.catalogue import CONDITIONS, Catalogue, Certainty, Era, Level, data_folder
from estimator.survey import Survey, template

LEVELS = {Level.CLEAN: 0.08, Level.SHOP_JOB: 0.46, Level.RECONDITIONED: 0.36,
          Level.FULL: 0.1}
"""How often each service level is asked for. [–]"""
_MARK = "invented for the demo"
_YEARS = {Era.ELECTROMECHANICAL: (1964, 1977), Era.EARLY_SOLID_STATE: (1978, 1984),
          Era.LATE_SOLID_STATE: (1985, 1990), Era.DOT_MATRIX: (1991, 1999),
          Era.Y2000S: (2000, 2012), Era.MODERN: (2013, 2024)}
_WORSE, _BETTER, _SEEN, _HIDDEN = 0.12, 0.25, 0.7, 0.08


@dataclass(frozen=True)
class Enquiry:
    """A machine that somebody asks about: its survey, and the service level wanted."""

    survey: Survey
    level: Level


def figures(name: str) -> list[dict[str, str]]:
    """The rows of a table of the demo."""
    path = data_folder() / "demo" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def enquiries(count: int, small: int, catalogue: Catalogue, rng: np.random.Generator
              ) -> list[Enquiry]:
    """So many enquiries, no two for a machine of the same name while names last.

    The last `small` ones are neither for a clean nor for a full restoration: they are for jobs
    under way, or to be through with soon.
    """
    titles = figures("titles")
    names = [f"{one['first']} {other['second']}" for one in titles for other in titles]
    order = rng.permutation(len(names))
    customers = figures("customers")
    weights = _shares([float(one["weight"]) for one in customers])
    levels = list(LEVELS)
    found = []
    for n in range(count):
        customer = customers[rng.choice(len(customers), p=weights)]
        survey = _survey(names[order[n % len(names)]], n + 1, customer, catalogue, rng)
        level = levels[rng.choice(len(levels), p=_shares(list(LEVELS.values())))]
        if n >= count - small and level not in (Level.SHOP_JOB, Level.RECONDITIONED):
            level = Level.RECONDITIONED
        found.append(Enquiry(survey, level))
    return found


def _survey(title: str, serial: int, customer: dict[str, str], catalogue: Catalogue,
            rng: np.random.Generator) -> Survey:
    era = list(Era)[rng.integers(len(Era))]
    usual = template(era, catalogue)
    first, last = _YEARS[era]
    machine = replace(
        usual.machine, title=title, maker=f"Example Amusements ({_MARK})",
        year=str(rng.integers(first, last + 1)), serial=f"DEMO-{serial:04}",
        customer=customer["customer"], customer_kind=customer["kind"], surveyor="Mara",
        note=f"The whole shop is {_MARK}.")
    worn = rng.normal(0, 0.5)  # some machines are the better or the worse throughout
    lines = [_line(line, worn, rng) for line in usual.lines if line.count]
    return Survey(machine, tuple(lines))


def _line(line, worn: float, rng: np.random.Generator):
    count = line.count if line.count == 1 else max(1, round(line.count * rng.uniform(0.85, 1.2)))
    grade = CONDITIONS.index(line.condition)
    drawn = rng.random() + 0.1 * worn
    grade += (drawn > 1 - _WORSE) - (drawn < _BETTER)
    grade = min(max(grade, 0), len(CONDITIONS) - 2)  # nothing is missing
    seen = rng.random()
    certainty = (Certainty.SEEN if seen < _SEEN else
                 Certainty.HIDDEN if seen > 1 - _HIDDEN else Certainty.ASSUMED)
    return replace(line, count=count, condition=CONDITIONS[grade], certainty=certainty)


def _shares(weights: list[float]) -> np.ndarray:
    found = np.array(weights)
    return found / found.sum()
