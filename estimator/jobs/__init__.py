"""Jobs: from a quote as it was sent to a machine on the bench, and the hours booked to it.

`freezing` keeps all that a quote was computed from and opens it again.
"""

from estimator.jobs.freezing import frozen, keep, reopen

__all__ = ["frozen", "keep", "reopen"]
