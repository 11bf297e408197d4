"""What is proposed: figures of the book that closed jobs contradict, hours and shares."""

from __future__ import annotations

import math
from dataclasses import dataclass

from estimator.review.evidence import (
    FEWEST,
    Z90,
    Evidence,
    Worked,
    pooled,
    records_of,
    row_of,
)
from estimator.review.shares import learnt, whole_jobs
from estimator.shop import Shop

LEAST_SHARE = 0.02
"""Shares off by less, or by less than half a standard deviation, are not worth a word."""
UNIT = "share of variance"
TOGETHER = {
    "job_factor_share": "Hours of one job go together",
    "person_factor_share": "Hours of one pair of hands go together",
    "kind_factor_share": "Hours of one kind of work go together",
}
_NAMED = 20


@dataclass(frozen=True)
class Proposal:
    """A figure of the book that finished jobs contradict.

    Parameters
    ----------
    key
        Name of the operation, and after a slash the era where the row is for one era; or name of
        the setting.
    name, unit
        For people, and what the figure is counted in, from the row.
    book
        Typical hours of the row, or the share that is set, today. [unit]
    says, low, high
        What the jobs say instead, and its 90 % range. [unit]
    ratio
        Of hours: `says` over `book`, by which low, typical, high and set-up of the row are
        multiplied. [–]
    evidence
        Each job's record.
    caveat
        What stands in its way; blank if nothing does.

    Examples
    --------
    >>> Proposal("flipper-rebuild", "Flipper rebuild", "h per each", 0.75, 0.95, 0.85, 1.06, 1.27,
    ...          (Evidence("a", 1, 1.3),) * 14).words
    'Flipper rebuild: book 0.75 h, 14 jobs say 0.95 (0.85–1.06)'
    """

    key: str
    name: str
    unit: str
    book: float
    says: float
    low: float
    high: float
    ratio: float
    evidence: tuple[Evidence, ...]
    caveat: str = ""

    @property
    def is_setting(self) -> bool:
        """Whether it is about a setting, and not about hours."""
        return self.unit == UNIT

    @property
    def words(self) -> str:
        """The proposal as a sentence."""
        book = (f"share set {self.book:g}" if self.is_setting
                else f"book {self.book:g} {self.unit.split(' per ')[0]}")
        return f"{self.name}: {book}, {self._said}" + (f"; {self.caveat}" if self.caveat else "")

    @property
    def source(self) -> str:
        """What an accepted row gives as its source: what was seen, and in which jobs."""
        numbers = [one.job for one in self.evidence]
        more = f" and {len(numbers) - _NAMED} more" if len(numbers) > _NAMED else ""
        was = f"{self.book:g} was set" if self.is_setting else f"the book said {self.book:g}"
        return (f"{self._said} where {was}; jobs "
                f"{', '.join(numbers[:_NAMED])}{more}")

    @property
    def _said(self) -> str:
        return (f"{len(self.evidence)} jobs say {_written(self.says)} "
                f"({_written(self.low)}–{_written(self.high)})")


def hours_proposed(items: Worked, shop: Shop) -> list[Proposal]:
    """Operations whose book hours lie outside of what jobs say, the most wrong first."""
    records = records_of(items)
    found = []
    for key, (middle, low, high) in pooled(records).items():
        row = row_of(shop.catalogue, key)
        if len(records[key]) < FEWEST or low <= 1 <= high or not row.typical:
            continue
        says, least, most = (_round(row.typical * ratio) for ratio in (middle, low, high))
        found.append(Proposal(key, row.name, row.unit, row.typical, says, least, most,
                              says / row.typical, tuple(records[key])))
    return sorted(found, key=lambda one: (-abs(math.log(one.ratio)), one.key))


def shares_proposed(items: Worked, shop: Shop) -> list[Proposal]:
    """Shares of variance that are set otherwise than jobs say."""
    found = []
    for name, (share, sd) in learnt(items, shop).items():
        is_set = getattr(shop.settings, name)
        says, low, high = (round(max(share + z * sd, 0.0), 2) for z in (0.0, -Z90, Z90))
        if abs(says - is_set) < max(LEAST_SHARE, sd / 2) - 1e-9:
            continue
        caveat = (f"shop.toml says {name} = {is_set:g}, which comes first"
                  if name in shop.said else "")
        found.append(Proposal(name, TOGETHER[name], UNIT, is_set, says, low, min(high, 0.99),
                              says / is_set if is_set else math.inf, whole_jobs(items), caveat))
    return found


def _round(figure: float) -> float:
    """To the hundredth, and where that is coarse to two digits."""
    return float(f"{figure:.2g}") if figure < 0.1 else round(figure, 2)


def _written(figure: float) -> str:
    return f"{figure:.2g}" if figure < 0.1 else f"{figure:.2f}"
