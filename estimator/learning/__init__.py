"""Hours that learn: estimates into the spread of actual hours, better with every finished task."""

from estimator.learning.model import HoursModel
from estimator.learning.pooling import Pooled, pool

__all__ = ["HoursModel", "Pooled", "pool"]
