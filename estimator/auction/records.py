"""A machine as an auction list has it, and what is said of it."""

from __future__ import annotations

from dataclasses import dataclass

from estimator.catalogue import Condition, Era
from estimator.survey import Survey


@dataclass(frozen=True)
class Bad:
    """Pieces that are known to be worse than the state says: so many of an assembly."""

    assembly: str
    count: int
    condition: Condition


@dataclass(frozen=True)
class Offered:
    """One machine of the list.

    Parameters
    ----------
    lot
        Its number in the sale.
    era, found
        What it is and in which state; `found` is None where its own survey says it.
    value, value_low, value_high
        What the same machine brings nice and working; one in a hundred brings less than the low
        one, or more than the high one, None for the shop's spread. [money]
    asking
        Reserve, start or asking price, before premium and tax; None where none is said. [money]
    bad
        What is known of it beyond its state.
    survey
        Its own survey; takes the place of the state's usual cases.
    taken
        What the list does not say and was taken from the tables, in words.
    row
        Of the file.
    """

    lot: str
    era: Era
    found: str | None
    value: float
    value_low: float | None = None
    value_high: float | None = None
    asking: float | None = None
    bad: tuple[Bad, ...] = ()
    survey: Survey | None = None
    title: str = ""
    maker: str = ""
    year: str = ""
    note: str = ""
    taken: tuple[str, ...] = ()
    row: int = 0


@dataclass(frozen=True)
class Judged:
    """What is said of a machine.

    Parameters
    ----------
    limit, limit_for
        The most to bid, premium and tax inside: the wanted return is then reached at the wanted
        confidence by the choice named. 0 for no bid. [money]
    best
        The choice worth most on average, now. Its figures follow.
    lead
        By how much it is worth more than the next, on average. [money]
    price
        At which it is reckoned as bought: the asking price, else the limit. [money]
    outlay
        The same with premium, tax and fetching. [money]
    profit, profit_p10, profit_p50, profit_p90
        Everything that comes in less everything that goes out, not discounted. [money]
    worth
        Mean net present value. [money]
    hours, cost, months
        Means: of the bench [h], of the work [money], until the last of the money is there.
    per_hour
        What an hour of the bench brings in: income less everything but own hours; None without
        hours. [money/h]
    played
        True where the trials were played in full, False where it was screened.
    """

    limit: float
    limit_for: str
    best: str
    lead: float
    price: float
    outlay: float
    profit: float
    profit_p10: float
    profit_p50: float
    profit_p90: float
    worth: float
    hours: float
    cost: float
    months: float
    per_hour: float | None
    played: bool


__all__ = ["Bad", "Judged", "Offered"]
