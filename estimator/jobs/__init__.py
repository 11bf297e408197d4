"""Jobs: from a quote as it was sent to a machine on the bench, and the hours booked to it.

`freezing` keeps all that a quote was computed from and opens it again; `work` makes a job of a
quote that was accepted; `change` revises it while the job is under way; `sheet` reads time sheets.
"""

from estimator.jobs.change import Wish, agree, items_changed, offer, revise, survey_of
from estimator.jobs.freezing import frozen, keep, opened, reopen
from estimator.jobs.sheet import book_sheet, day_of, hours_of, read_sheet, time_of
from estimator.jobs.work import accept, items_of

__all__ = ["Wish", "accept", "agree", "book_sheet", "day_of", "frozen", "hours_of",
           "items_changed", "items_of", "keep", "offer", "opened", "read_sheet", "reopen",
           "revise", "survey_of", "time_of"]
