"""Standard-cost variances: why a job cost other than its standard.

The standard is what the work that was really done should have cost: standard hours at the standard
rate, standard quantities at standard prices. What was budgeted for some other amount of work never
enters; work that was added or dropped is a variance of its own, at standard.

Sign, everywhere in this room: actual less standard. Over 0 is unfavourable, it cost more; under 0
is favourable. Figures may be int, float or Decimal, one sort within a call; with Decimal every sum
is exact to the cent, with float to the last digit of a float.

Source: M. Franklin, P. Graybeal & D. Cooper, "Principles of Accounting 2: Managerial Accounting",
OpenStax 2019, chapter 8.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from estimator.units import within

Number = float | Decimal

# What the two parts of each kind are called: dearer or cheaper, then more or less of it.
CAUSES = {
    "labour": ("rate", "efficiency"),
    "material": ("price", "quantity"),
    "outwork": ("price", "quantity"),
    "variable overhead": ("spending", "efficiency"),
    "fixed overhead": ("spending", "volume"),
}


def side(variance: Number) -> str:
    """"unfavourable" over 0, "favourable" under 0, and nothing at 0; round before you ask.

    Examples
    --------
    >>> side(5600), side(-890), side(0)
    ('unfavourable', 'favourable', '')
    """
    return "unfavourable" if variance > 0 else "favourable" if variance < 0 else ""


@dataclass(frozen=True)
class Split:
    """What one kind of cost came to, in two steps away from its standard.

    Parameters
    ----------
    kind
        A key of `CAUSES`.
    actual
        What it cost. [money]
    between
        What the actual quantity would have cost at the standard price. [money]
    standard
        What the work that was done should have cost. [money]

    Raises
    ------
    ValueError
        If `kind` is another one, or an amount is not finite.

    Examples
    --------
    >>> Split("material", 74_760, 75_650, 74_800).causes
    {'price': -890, 'quantity': 850}
    """

    kind: str
    actual: Number
    between: Number
    standard: Number

    def __post_init__(self) -> None:
        if self.kind not in CAUSES:
            raise ValueError(f"kind is {self.kind!r}; it must be one of: {', '.join(CAUSES)}.")
        for name in ("actual", "between", "standard"):
            within(f"{self.kind}, {name}", getattr(self, name))

    @property
    def price(self) -> Number:
        """Because it was dearer or cheaper: actual − between; of labour, the rate. [money]"""
        return self.actual - self.between

    @property
    def quantity(self) -> Number:
        """Because more or less was used: between − standard; of labour, efficiency. [money]"""
        return self.between - self.standard

    @property
    def total(self) -> Number:
        """Price and quantity together: actual − standard. [money]"""
        return self.actual - self.standard

    @property
    def causes(self) -> dict[str, Number]:
        """Both parts under the names that are usual for this kind. [money]"""
        return dict(zip(CAUSES[self.kind], (self.price, self.quantity), strict=True))


def labour(
    hours: Number, cost: Number, standard_hours: Number, standard_rate: Number
) -> Split:
    """Rate and efficiency of bench hours.

    rate = cost − hours × standard rate; efficiency = (hours − standard hours) × standard rate

    Parameters
    ----------
    hours
        Worked, 0 or more. [h]
    cost
        Of those hours, at each person's own rate; 0 or more. [money]
    standard_hours
        Of the work that was done, 0 or more. [h]
    standard_rate
        What an hour was quoted to cost, 0 or more. [money/h]

    Examples
    --------
    >>> labour(16_000, 565_600, standard_hours=16_500, standard_rate=35).causes
    {'rate': 5600, 'efficiency': -17500}
    """
    return _by_quantity("labour", hours, cost, standard_hours, standard_rate)


def material_at_use(
    used: Number, cost: Number, standard_quantity: Number, standard_price: Number
) -> Split:
    """Price and quantity of a material, both on what was used.

    price = cost − used × standard price; quantity = (used − standard quantity) × standard price

    Parameters
    ----------
    used
        0 or more, in the material's own unit.
    cost
        What the used quantity was bought for, 0 or more. [money]
    standard_quantity, standard_price
        Of the work that was done, and of one unit; 0 or more.

    Examples
    --------
    >>> material_at_use(89_000, 74_760, standard_quantity=88_000, standard_price=0.85).causes
    {'price': -890.0, 'quantity': 850.0}
    """
    return _by_quantity("material", used, cost, standard_quantity, standard_price)


def material_at_purchase(
    bought: Number, bill: Number, used: Number, standard_quantity: Number, standard_price: Number
) -> Split:
    """Price on all that was bought, quantity on what was used.

    The price is known, and charged to the job, on the day of the bill; what is left goes on the
    shelf at the standard price, (bought − used) × standard price, and is not part of `actual`.

    Parameters
    ----------
    bought, bill
        Quantity and what it cost, 0 or more; 0 and 0 if all came from the shelf.
    used, standard_quantity, standard_price
        As for `material_at_use`.

    Examples
    --------
    >>> split = material_at_purchase(100, 900, used=60, standard_quantity=50, standard_price=8)
    >>> split.causes, split.actual  # 40 at 8 stay on the shelf
    ({'price': 100, 'quantity': 80}, 580)
    """
    _not_under_0(bought=bought, bill=bill, used=used, standard_quantity=standard_quantity,
                 standard_price=standard_price)
    shelf = (bought - used) * standard_price
    return Split("material", bill - shelf, used * standard_price,
                 standard_quantity * standard_price)


def outwork(billed: Number, listed: Number, standard: Number) -> Split:
    """Price and quantity of work sent out.

    With set-up, lot minimum and freight a charge is no plain quantity × price; so the two steps
    are charges, each worked out by the same price list.

    Parameters
    ----------
    billed
        What was paid, 0 or more. [money]
    listed
        Charge by the price list of the quote for what was really sent, 0 or more. [money]
    standard
        Charge by that list for what the work should have sent, 0 or more. [money]

    Examples
    --------
    >>> outwork(billed=310, listed=280, standard=240).causes  # dearer, and more pieces
    {'price': 30, 'quantity': 40}
    """
    _not_under_0(billed=billed, listed=listed, standard=standard)
    return Split("outwork", billed, listed, standard)


def variable_overhead(
    hours: Number, cost: Number, standard_hours: Number, standard_rate: Number
) -> Split:
    """Spending and efficiency of overhead that rises with bench hours.

    Parameters
    ----------
    hours, cost, standard_hours, standard_rate
        As for `labour`; cost and rate of the overhead alone.

    Examples
    --------
    >>> variable_overhead(2500, 7000, standard_hours=2000, standard_rate=2).causes
    {'spending': 2000, 'efficiency': 1000}
    """
    return _by_quantity("variable overhead", hours, cost, standard_hours, standard_rate)


def fixed_overhead(actual: Number, budget: Number, applied: Number) -> Split:
    """Spending and volume of overhead that a period costs, however much is done in it.

    Parameters
    ----------
    actual
        Of the period, 0 or more. [money]
    budget
        For the period, 0 or more. [money]
    applied
        What the jobs of the period carried: standard hours × overhead rate. [money]

    Examples
    --------
    >>> fixed_overhead(actual=6200, budget=6000, applied=5400).causes
    {'spending': 200, 'volume': 600}
    """
    _not_under_0(actual=actual, budget=budget, applied=applied)
    return Split("fixed overhead", actual, budget, applied)


@dataclass(frozen=True)
class Part:
    """One reason why a job cost other than quoted.

    Parameters
    ----------
    kind, cause
        Such as "labour" and "rate".
    amount
        Over 0 is unfavourable. [money]
    """

    kind: str
    cause: str
    amount: Number


@dataclass(frozen=True)
class Review:
    """A job against its standard; the parts add up to the difference, with nothing left over.

    Parameters
    ----------
    actual
        What the job cost. [money]
    quoted
        Its standard cost as it was quoted, find allowance included. [money]
    parts
        Each cause of each kind, then work added, work dropped, and finds.

    Examples
    --------
    >>> Review(1450, 1300, (Part("labour", "rate", 150),)).total
    150
    """

    actual: Number
    quoted: Number
    parts: tuple[Part, ...]

    @property
    def total(self) -> Number:
        """Actual less quoted; over 0 is unfavourable. [money]"""
        return self.actual - self.quoted


def review(
    splits: Iterable[Split],
    *,
    added: Number = 0,
    dropped: Number = 0,
    finds: Number = 0,
    find_allowance: Number = 0,
) -> Review:
    """All variances of a job, from what was quoted to what it cost.

    quoted = Σ standards − added + dropped − finds + find allowance

    Parameters
    ----------
    splits
        As many of a kind as there are people, parts or lots. Their standards are of the work that
        was done: with what was added and found, without what was dropped.
    added, dropped
        Standard cost of work that the customer added, or left out, after the quote; 0 or more.
        [money]
    finds
        Standard cost of putting right what came to light, 0 or more. [money]
    find_allowance
        What the quote held for it, 0 or more. [money]

    Examples
    --------
    >>> job = review([labour(11, 440, standard_hours=10, standard_rate=38),
    ...               outwork(310, 280, 240)], added=76, finds=50, find_allowance=80)
    >>> job.quoted, job.actual, job.total
    (574, 750, 176)
    >>> for part in job.parts:
    ...     print(part.kind, part.cause, part.amount, side(part.amount) or "nothing")
    labour rate 22 unfavourable
    labour efficiency 38 unfavourable
    outwork price 30 unfavourable
    outwork quantity 40 unfavourable
    work added 76 unfavourable
    work dropped 0 nothing
    finds beyond the allowance -30 favourable
    """
    _not_under_0(added=added, dropped=dropped, finds=finds, find_allowance=find_allowance)
    splits = tuple(splits)
    parts = [
        Part(kind, cause, _sum(split.causes[cause] for split in alike))
        for kind, causes in CAUSES.items()
        if (alike := [split for split in splits if split.kind == kind])
        for cause in causes
    ]
    # 0 − 0 and not −0, which a float would print as "-0.0".
    parts += [Part("work", "added", added), Part("work", "dropped", 0 - dropped),
              Part("finds", "beyond the allowance", finds - find_allowance)]
    standard = _sum(split.standard for split in splits)
    return Review(
        actual=_sum(split.actual for split in splits),
        quoted=standard - added + dropped - finds + find_allowance,
        parts=tuple(parts),
    )


def _sum(figures: Iterable[Number]) -> Number:
    """Exact with Decimal; of floats the nearest, in any order and version of Python."""
    figures = tuple(figures)
    return math.fsum(figures) if any(isinstance(one, float) for one in figures) else sum(figures)


def _by_quantity(kind, quantity, cost, standard_quantity, standard_price) -> Split:
    _not_under_0(quantity=quantity, cost=cost, standard_quantity=standard_quantity,
                 standard_price=standard_price)
    return Split(kind, cost, quantity * standard_price, standard_quantity * standard_price)


def _not_under_0(**figures: Number) -> None:
    for name, figure in figures.items():
        within(name, figure, at_least=0)


__all__ = ["CAUSES", "Part", "Review", "Split", "fixed_overhead", "labour", "material_at_purchase",
           "material_at_use", "outwork", "review", "side", "variable_overhead"]
