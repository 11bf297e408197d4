"""How far hours of one job, one pair of hands and one kind of work go together, by closed jobs.

Of every work item ln(booked / expected) is taken, less the level of its operation (which its book
hours have to learn), and split into job, hands in it, kinds of work in it and the item's own
(`learning.components`), where kinds are alike as the table of correlations says. These are the
factors as a quote draws them, anew for each job: so a total is spread as jobs' totals were. A pace
that somebody has in every job counts as hands' where others do the same operations, too.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from estimator import correlation
from estimator.catalogue import WORK_KINDS, Basis, Rate, data_folder, read_table
from estimator.learning import pool
from estimator.learning.components import Shares, shares_of
from estimator.review.evidence import Column, Evidence, Worked
from estimator.shop import LEARNT, Shop

FEWEST_SHARED = 5
"""Jobs that two people worked on before their hands are told from the job."""
_FAR = 3.0  # robust standard deviations beyond which an item pulls no harder: slips of the pen


def _starts_of(shop: Shop) -> tuple[float, float, float]:
    """What the shares start from: the tables, without what closed jobs have said before."""
    trade, *_ = read_table(data_folder() / f"{Rate.table}.csv", Rate)
    rows = (shop.catalogue.rates.get(name, trade[name]) for name in LEARNT)
    return tuple((trade[row.rate] if row.basis == Basis.RECORDS else row).value for row in rows)


def learnt(items: Worked, shop: Shop) -> dict[str, tuple[float, float]]:
    """Each share that closed jobs say something of, by its setting, with its standard deviation.

    Empty where there are fewer jobs than the starting shares count for, or all items came alike.
    """
    jobs, people = items.job, items.person
    if len(jobs.names) < shop.settings.share_start_jobs:
        return {}
    pairs = np.unique(jobs.places * len(people.names) + people.places)
    several = int((np.bincount(pairs // len(people.names)) > 1).sum())
    # Where quotes are drawn with one pair of hands, all that people add to a job is the job's; the
    # same where one person does all of it.
    by_hand = several >= FEWEST_SHARED and len(_hands_of(shop)) > 1
    start = _starts_of(shop)
    if not by_hand:
        start = (start[0], shop.settings.person_factor_share, start[2])
    alike = {key: row.correlation for key, row in shop.catalogue.correlations.items()}
    try:
        found: Shares = shares_of(
            _pulled_in(_without_levels(items)), jobs.places,
            _numbered(people, sorted(people.names)) * by_hand, _numbered(items.kind, WORK_KINDS),
            start=start, start_jobs=shop.settings.share_start_jobs, free=(True, by_hand, True),
            alike=correlation.matrix(WORK_KINDS, alike))
    except ValueError:
        return {}
    return {name: (share, sd)
            for name, share, sd in zip(LEARNT, found.found, found.sds, strict=True)
            if by_hand or name != "person_factor_share"}


def _numbered(said: Column, names: Sequence[str]) -> np.ndarray:
    """The column by the places of its names among these."""
    return np.array([names.index(name) for name in said.names])[said.places]


def whole_jobs(items: Worked) -> tuple[Evidence, ...]:
    """Hours of each job as a whole, of the items that hours are booked to."""
    return tuple(map(Evidence, items.job.names, *(
        np.bincount(items.job.places, hours).tolist()
        for hours in (items.expected, items.booked))))


def _hands_of(shop: Shop) -> set[str]:
    """Everybody in whose hands the settings put a kind of work."""
    return {getattr(shop.settings, name) for name in type(shop.settings).model_fields
            if name.startswith("hand_")}


def _without_levels(items: Worked) -> np.ndarray:
    """ln(booked / expected) of each item, less what its operation's book hours are off by."""
    y = _pulled_in(np.log(items.booked / items.expected))
    code = items.key.places
    try:
        levels = pool(*(np.bincount(code, weight) for weight in (None, y, y * y))).means
    except ValueError:
        return y  # one operation, or items that are all alike
    return y - levels[code]


def _pulled_in(y: np.ndarray) -> np.ndarray:
    low, middle, high = np.quantile(y, (0.25, 0.5, 0.75))
    far = _FAR * (high - low) / 1.349  # quartiles of a normal lie 1.349 sd apart
    return np.clip(y, middle - far, middle + far) if far > 0 else y
