"""Restore, resell, part out, or stop after teardown: what to do with a machine.

`resale(survey, deal, shop)` plays every choice of `sale_ratios.csv` through on the same trials as
a quote's odds, with one market value, and answers what each is worth, how sure that is, what to
bid at most, when to stop after teardown, and which lines pay.

`selling` turns prices into what is kept and back, `cash` lays money out over months, `parting`
makes an inventory of parts, `stopping` finds the rule after teardown, `paying` the lines that pay.
`screening` reckons thousands of machines at once from a few facts each.
"""

from estimator.resale.contract import as_dict
from estimator.resale.deciding import resale
from estimator.resale.playing import Jobs
from estimator.resale.records import (
    LEAVE,
    STOPS,
    Choice,
    Deal,
    Parted,
    Paying,
    PayingLine,
    Resale,
    Swing,
    Swings,
    Teardown,
    Turn,
)
from estimator.resale.wording import Words

__all__ = [
    "LEAVE",
    "STOPS",
    "Choice",
    "Deal",
    "Jobs",
    "Parted",
    "Paying",
    "PayingLine",
    "Resale",
    "Swing",
    "Swings",
    "Teardown",
    "Turn",
    "Words",
    "as_dict",
    "resale",
]
