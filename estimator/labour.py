"""What an hour at the bench costs the shop, what it is charged at, and what a job makes.

Money here is floats, for planning; what a customer reads is rounded later.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from estimator.shop import Settings
from estimator.units import round_up, within


def hourly_cost(
    pay_per_hour: float,
    on_cost_share: float,
    paid_hours_per_year: float,
    overhead_per_year: float,
    productive_share: float,
) -> float:
    """What one hour on a customer's machine costs, with everything that only those hours can carry.

    (pay × (1 + on-costs) × paid hours + overhead) / (paid hours × productive share)

    Parameters
    ----------
    pay_per_hour
        Gross pay; an owner's own pay belongs here too. 0 or more. [money/h]
    on_cost_share
        Employer's charges, leave and sick pay, as a share of pay, 0 or more. [–]
    paid_hours_per_year
        Paid hours of everyone at the bench, over 0. [h]
    overhead_per_year
        Rent, power, insurance, tools and office for the same people, 0 or more. [money]
    productive_share
        Share of paid hours that is booked to jobs, over 0 up to 1. [–]

    Examples
    --------
    >>> hourly_cost(25, 0.20, 2080, 62_400, 0.75)
    80.0
    """
    within("pay_per_hour", pay_per_hour, at_least=0)
    within("on_cost_share", on_cost_share, at_least=0, fix="Write 0.2 for 20 %.")
    within("paid_hours_per_year", paid_hours_per_year, above=0)
    within("overhead_per_year", overhead_per_year, at_least=0)
    within("productive_share", productive_share, above=0, up_to=1, fix="Write 0.75 for 75 %.")
    paid = pay_per_hour * (1 + on_cost_share) * paid_hours_per_year
    return (paid + overhead_per_year) / (paid_hours_per_year * productive_share)


def hour_cost(settings: Settings, productive_share: float | None = None) -> float:
    """What a bench hour costs a shop. [money/h]

    Parameters
    ----------
    productive_share
        Share of paid hours that jobs are booked to; None takes the shop's own. Over 0. [–]

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> settings = open_shop().settings
    >>> hour_cost(settings, settings.productive_share / 2) == 2 * hour_cost(settings)
    True
    """
    share = settings.productive_share if productive_share is None else productive_share
    return hourly_cost(settings.pay_per_hour, settings.on_cost_share,
                       settings.paid_hours_per_year, settings.overhead_per_year, share)


def charge_out(cost: float, margin: float) -> float:
    """Price that leaves `margin`, a share of the price itself, over `cost`.

    Parameters
    ----------
    margin
        0 or more and under 1; a mark-up on cost is another thing, see `margin_from_markup`. [–]

    Examples
    --------
    >>> charge_out(80, 0.20), round(charge_out(80, margin_from_markup(0.20)), 2)
    (100.0, 96.0)
    """
    within("cost", cost, at_least=0)
    return cost / (1 - _margin(margin))


def markup_from_margin(margin: float) -> float:
    """Markup on cost that gives a margin of the price. [–]

    Examples
    --------
    >>> round(markup_from_margin(0.40), 4)
    0.6667
    """
    return _margin(margin) / (1 - margin)


def margin_from_markup(markup: float) -> float:
    """Margin of the price that a mark-up on cost gives; `markup` is 0 or more. [–]

    Examples
    --------
    >>> round(margin_from_markup(0.60), 4)
    0.375
    """
    within("markup", markup, at_least=0, fix="Write 0.6 for 60 %.")
    return markup / (1 + markup)


def margin_of(price: float, cost: float) -> float:
    """Share of a price, over 0, that is left over the cost; negative at a loss. [–]

    Examples
    --------
    >>> round(margin_of(310, 192), 4)
    0.3806
    """
    within("price", price, above=0)
    within("cost", cost, at_least=0)
    return (price - cost) / price


def overhead_rate(overhead: float, base: float) -> float:
    """Overhead per unit of what carries it: budget over budgeted base.

    Parameters
    ----------
    overhead
        Of a period, 0 or more. [money]
    base
        Bench hours or labour cost of the same period, over 0. [h] or [money]

    Examples
    --------
    >>> overhead_rate(250_000, 100_000)
    2.5
    """
    within("overhead", overhead, at_least=0)
    within("base", base, above=0)
    return overhead / base


def job_cost(materials: float, labour: float, *, rate: float, base: float) -> float:
    """Cost of a job: materials, labour, and the overhead its base carries.

    Parameters
    ----------
    materials, labour
        0 or more. [money]
    rate
        From `overhead_rate`. [money per unit of base]
    base
        The job's own hours or labour cost, 0 or more. [h] or [money]

    Examples
    --------
    >>> job_cost(700, 66, rate=2.5, base=66)
    931.0
    """
    within("materials", materials, at_least=0)
    within("labour", labour, at_least=0)
    within("rate", rate, at_least=0)
    within("base", base, at_least=0)
    return materials + labour + rate * base


def under_applied(actual: Iterable[float], rate: float, base: float) -> float:
    """Overhead of a period that its jobs did not carry; negative if they carried more.

    Parameters
    ----------
    actual
        What was spent, bill by bill. [money]
    rate, base
        The rate used, and the base all jobs of the period came to.

    Examples
    --------
    >>> under_applied([140_000, 116_500], rate=2.5, base=100_000)
    6500.0
    """
    return math.fsum(actual) - rate * base


def break_even(fixed: float, price: float, variable: float = 0.0, *, target: float = 0.0,
               tax: float = 0.0) -> float:
    """How many hours, or pieces, must be sold until what they leave pays for the fixed cost.

    (fixed + target / (1 − tax)) / (price − variable); a fraction, round it up.

    Parameters
    ----------
    fixed
        What a period costs however much is sold, 0 or more. [money]
    price, variable
        Of one, and what one more costs; the price must be over it. [money]
    target
        Profit wanted, after tax; 0 or more. [money]
    tax
        Share of the profit, 0 to 0.99. [–]

    Raises
    ------
    ValueError
        If the price is not over the variable cost, or a figure is out of range.

    Examples
    --------
    >>> break_even(18_000, 100, 20), break_even(18_000, 100, 20, target=24_000, tax=0.4)
    (225.0, 725.0)
    """
    within("fixed", fixed, at_least=0)
    within("variable", variable, at_least=0)
    within("target", target, at_least=0)
    within("tax", tax, at_least=0, up_to=0.99, fix="Write 0.4 for 40 %.")
    if price <= variable:
        raise ValueError(f"price is {price:g} and each costs {variable:g}; nothing is left to pay "
                         "for what is fixed. Raise the price.")
    return (fixed + target / (1 - tax)) / (price - variable)


def safety(sold: float, needed: float) -> float:
    """Share of what is sold that could be lost before there is a loss; negative at a loss. [–]

    Parameters
    ----------
    sold, needed
        Hours or pieces sold, over 0, and those of `break_even`.

    Examples
    --------
    >>> round(safety(2_500, break_even(85_000, 90, 40)), 2)
    0.32
    """
    within("sold", sold, above=0)
    within("needed", needed, at_least=0)
    return (sold - needed) / sold


def bill_hours(hours: float, increment: float) -> float:
    """Hours as billed: rounded up to whole increments. [h]

    Parameters
    ----------
    hours
        As worked, 0 or more. [h]
    increment
        Such as 0.25 for quarters of an hour, over 0. [h]

    Examples
    --------
    >>> bill_hours(2.1, 0.25), bill_hours(2.25, 0.25)
    (2.25, 2.25)
    """
    within("hours", hours, at_least=0)
    within("increment", increment, above=0)
    return round(round_up(hours / increment) * increment, 9)


def _margin(margin: float) -> float:
    within("margin", margin, at_least=0, fix="Write 0.2 for 20 %.")
    if margin >= 1:
        raise ValueError(f"margin is {margin:g}; it must be under 1. Write 0.2 for 20 %.")
    return margin
