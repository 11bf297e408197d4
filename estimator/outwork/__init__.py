"""What work sent out is charged at, and which pieces go together, and when."""

from estimator.outwork.charges import Pieces, charge, saving_by_batching

__all__ = ["Pieces", "charge", "saving_by_batching"]
