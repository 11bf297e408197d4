"""Jobs: from a quote as it was sent to a machine on the bench, and the hours booked to it.

`freezing` keeps all that a quote was computed from and opens it again; `work` makes a job of a
quote that was accepted; `sheet` reads time sheets.
"""

from estimator.jobs.freezing import frozen, keep, opened, reopen
from estimator.jobs.sheet import book_sheet, day_of, hours_of, read_sheet, time_of
from estimator.jobs.work import accept, items_of

__all__ = ["accept", "book_sheet", "day_of", "frozen", "hours_of", "items_of", "keep",
           "opened", "read_sheet", "reopen", "time_of"]
