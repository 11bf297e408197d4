"""What work sent out is charged at, and what sending pieces together saves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from estimator.catalogue import Service
from estimator.units import within

Pieces = Iterable[tuple[float, float]]
"""(quantity, rate) of each kind of piece in a lot."""


def charge(
    quantities_and_rates: Pieces,
    *,
    setup: float = 0.0,
    lot_minimum: float = 0.0,
    multiplier: float = 1.0,
    line_fee: float = 0.0,
    lines: float = 0,
    freight: float = 0.0,
) -> float:
    """Charge for one lot. [money]

    max(lot minimum, set-up + Σ quantity × rate) × multiplier + line fee × lines + freight

    Parameters
    ----------
    quantities_and_rates
        Pieces, areas or weights, and the rate of one; 0 or more each.
    setup, freight
        Once a lot; freight both ways. 0 or more. [money]
    lot_minimum
        The least the work is done for, before the multiplier; 0 or more. [money]
    multiplier
        For the colour or finish asked for, over 0. [–]
    line_fee, lines
        Fee for each line on the plater's ticket, and how many lines there are. [money], [–]

    Notes
    -----
    Where nothing is sent there is no lot and no charge.

    Examples
    --------
    >>> charge([(4, 15.0), (2, 30.0)], setup=25, lot_minimum=100, multiplier=1.3, freight=40)
    228.5
    >>> charge([(1, 15.0)], setup=25, lot_minimum=100)  # the minimum, though 40 was done
    100.0
    """
    for name, amount in (("setup", setup), ("lot_minimum", lot_minimum), ("line_fee", line_fee),
                         ("lines", lines), ("freight", freight)):
        within(name, amount, at_least=0)
    within("multiplier", multiplier, above=0)
    pieces = [
        (within("quantity", quantity, at_least=0), within("rate", rate, at_least=0))
        for quantity, rate in quantities_and_rates
    ]
    if not any(quantity for quantity, _ in pieces):
        return 0.0
    work = setup + math.fsum(quantity * rate for quantity, rate in pieces)
    return float(max(lot_minimum, work) * multiplier + line_fee * lines + freight)


def charge_by(service: Service, quantities: Iterable[float], rate: float, *, lines: int) -> float:
    """Charge for one lot by the terms of a service's row. [money]

    Parameters
    ----------
    service
        Row of the table; its own rates are not asked.
    quantities
        Of the pieces, in the service's unit; 0 or more each.
    rate
        Of one unit, such as the row's low, typical or high; 0 or more. [money]
    lines
        Survey lines in the lot.

    Examples
    --------
    >>> from estimator.catalogue import load
    >>> row = load().services["powder-coat-small"]
    >>> charge_by(row, [3, 2], row.typical, lines=2) > charge_by(row, [3, 2], row.low, lines=2)
    True
    """
    return charge([(quantity, rate) for quantity in quantities], setup=service.setup,
                  lot_minimum=service.lot_minimum, multiplier=service.multiplier,
                  line_fee=service.line_fee, lines=lines, freight=service.freight)


def saving_by_batching(lots: Sequence[tuple[Pieces, float]], **terms: float) -> float:
    """What is saved when several lots go out as one: charges apart less that together. [money]

    Never negative, for minimum, set-up and freight are paid once instead of once a lot. It says
    nothing of the days that the first lot waits for the last.

    Parameters
    ----------
    lots
        (pieces, lines) of each lot, as `charge` takes them.
    terms
        Every other argument of `charge`, the same for all lots.

    Examples
    --------
    >>> brackets, legs = [(6, 10.0)], [(4, 20.0)]
    >>> saving_by_batching([(brackets, 1), (legs, 1)], lot_minimum=100, line_fee=10, freight=40)
    100.0
    """
    lots = [(list(pieces), lines) for pieces, lines in lots]
    apart = math.fsum(charge(pieces, lines=lines, **terms) for pieces, lines in lots)
    sent = [(pieces, lines) for pieces, lines in lots if any(quantity for quantity, _ in pieces)]
    together = charge(
        [piece for pieces, _ in sent for piece in pieces],
        lines=sum(lines for _, lines in sent),
        **terms,
    )
    return max(0.0, apart - together)
