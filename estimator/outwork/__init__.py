"""What work sent out is charged at, and which pieces go together, and when."""

from estimator.outwork.charges import Pieces, charge, charge_by, saving_by_batching
from estimator.outwork.lots import LotPlan, Piece, Sending, SentLot, plan_lots, sending

__all__ = [
    "LotPlan",
    "Piece",
    "Pieces",
    "Sending",
    "SentLot",
    "charge",
    "charge_by",
    "plan_lots",
    "saving_by_batching",
    "sending",
]
