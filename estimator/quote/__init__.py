"""The quote: a price with its odds, what is in it and what is not, on what terms.

Money is `Decimal` here, rounded once, and every list of amounts adds up to its total to the
cent. What an hour or a part costs stays a float until it becomes a price.
"""

from estimator.quote.contract import as_dict
from estimator.quote.price import aims_of, level_named, quote
from estimator.quote.records import (
    FIXED,
    TIME,
    Choices,
    LevelPrice,
    Offered,
    Quote,
    QuoteLine,
    Stage,
    Tax,
)
from estimator.quote.revision import (
    PRICES,
    REASONS,
    Change,
    Rest,
    Revised,
    Side,
    Supply,
    revised_dict,
)

__all__ = [
    "FIXED",
    "PRICES",
    "REASONS",
    "TIME",
    "Change",
    "Choices",
    "LevelPrice",
    "Offered",
    "Quote",
    "QuoteLine",
    "Rest",
    "Revised",
    "Side",
    "Stage",
    "Supply",
    "Tax",
    "aims_of",
    "as_dict",
    "level_named",
    "quote",
    "revised_dict",
]
