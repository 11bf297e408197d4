"""A fixed sum turned round: which lines are worth most, so that their price still fits.

The price of a set of lines is no sum: it is a quantile of what the set may cost, with minimums and
set-ups that lines share. Only one thing is asked of it: a larger set never costs less. The search
is exact: it ends with the best set and the proof, or, if it is stopped, with the best set found
and the most that any other could be worth.
"""

from estimator.picking.limits import Limit, NothingFits, Picked, Shared, Trials
from estimator.picking.search import pick

__all__ = ["Limit", "NothingFits", "Picked", "Shared", "Trials", "pick"]
