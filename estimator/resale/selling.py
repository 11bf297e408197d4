"""Fees and premiums of a sale, and the same turned round; numbers or arrays of trials."""

from __future__ import annotations

import math

import numpy as np

from estimator.units import within

# Each takes and gives a number or an array.
Amount = float | np.ndarray


def premium_of(hammer: Amount, share: float, minimum: float = 0.0, cap: float | None = None
               ) -> Amount:
    """Buyer's premium on a hammer price: min(max(share × hammer, minimum), cap). [money]

    Raises
    ------
    ValueError
        If the share is not from 0 to 1, or the least premium is over the greatest.

    Examples
    --------
    >>> [float(premium_of(hammer, 0.05, 10, 50)) for hammer in (100, 600, 4_000)]
    [10.0, 30.0, 50.0]
    """
    return np.clip(share * np.asarray(hammer, float), *_limits("premium", share, minimum, cap))


def all_in(hammer: Amount, share: float = 0.0, minimum: float = 0.0, cap: float | None = None, *,
           tax: float = 0.0) -> Amount:
    """What a buyer pays for a hammer price, with premium and the tax on both. [money]

    Nothing where the hammer price is nothing.

    Parameters
    ----------
    hammer
        Numbers or an array, 0 or more. [money]
    share, minimum, cap
        Buyer's premium: its share of the hammer price [–], the least and the most [money]; None for
        no cap.
    tax
        On both, as a share. [–]

    Examples
    --------
    >>> float(all_in(500, 0.15, tax=0.08))
    621.0
    """
    within("tax", tax, at_least=0, up_to=1, fix="Write 0.07 for 7 %.")
    hammer = np.asarray(hammer, float)
    return np.where(hammer > 0, (hammer + premium_of(hammer, share, minimum, cap)) * (1 + tax), 0.0)


def hammer_for(total: Amount, share: float = 0.0, minimum: float = 0.0, cap: float | None = None,
               *, tax: float = 0.0) -> Amount:
    """The highest bid whose price with premium and tax does not pass `total`; 0 for none. [money]

    The exact inverse of `all_in`: of a total T before tax the premium is
    min(max(T · share / (1 + share), minimum), cap).

    Parameters
    ----------
    total
        What may be paid in all; numbers or an array. [money]
    share, minimum, cap, tax
        As for `all_in`. [–], [money], [money], [–]

    Examples
    --------
    >>> float(hammer_for(621, 0.15, tax=0.08)), float(hammer_for(4_050, 0.05, 10, 50))
    (500.0, 4000.0)
    """
    within("tax", tax, at_least=0, up_to=1, fix="Write 0.07 for 7 %.")
    before = np.asarray(total, float) / (1 + tax)
    part = np.clip(before * share / (1 + share), *_limits("premium", share, minimum, cap))
    return np.maximum(before - part, 0.0)


def kept(hammer: Amount, fee: Amount, minimum: float = 0.0, cap: float | None = None,
         fixed: float = 0.0) -> Amount:
    """What a seller keeps of a hammer price. [money]

    hammer − min(max(fee × hammer, minimum), cap) − fixed

    Parameters
    ----------
    hammer
        Numbers or an array, 0 or more. [money]
    fee, minimum, cap
        The seller's fee: its share of the hammer price [–], the least and the most [money]; None
        for no cap.
    fixed
        Charged whatever it brings. [money]

    Examples
    --------
    >>> float(kept(1_000, 0.1, fixed=15))
    885.0
    """
    low, high = _limits("fee", fee, minimum, cap)
    return hammer - np.clip(fee * np.asarray(hammer, float), low, high) - fixed


def price_for(income: Amount, fee: float, minimum: float = 0.0, cap: float | None = None,
              fixed: float = 0.0) -> Amount:
    """The hammer price that leaves a seller `income`: the exact inverse of `kept`. [money]

    Examples
    --------
    >>> float(price_for(885, 0.1, fixed=15))
    1000.0
    """
    within("fee", fee, at_least=0, up_to=0.95, fix="Write 0.1 for 10 %.")
    before = np.asarray(income, float) + fixed
    return before + np.clip(before * fee / (1 - fee), *_limits("fee", fee, minimum, cap))


def _limits(what: str, share: Amount, minimum: float, cap: float | None) -> tuple[float, float]:
    for value in (np.min(share), np.max(share)):
        within(what, float(value), at_least=0, up_to=1, fix="Write 0.1 for 10 %.")
    within(f"least {what}", minimum, at_least=0)
    high = math.inf if cap is None else cap
    if high < minimum:
        raise ValueError(f"the least {what} is {minimum:g} and the greatest {cap:g}; "
                         "bring them into order")
    return minimum, high


__all__ = ["all_in", "hammer_for", "kept"]
