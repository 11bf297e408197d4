"""The warranty reserve of prices against what came back, over jobs closed long enough."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date, timedelta

from estimator.review.records import Came, JobReview, Reserve
from estimator.scoring import wilson_range

DAYS = 90
"""Jobs closed so long ago are held against their reserve: the longest warranty of the terms."""


def reserve_of(jobs: Iterable[JobReview], on: date) -> Reserve | None:
    """What prices held back, and what was spent on what came back; None without such a job.

    Jobs count whose quote is known, in the shop's currency, and that were closed `DAYS` before
    `on`. What came back costs its hours, at what an hour costs now, and what was bought and sent
    out after the job was closed.
    """
    old = [job for job in jobs
           if job.reserve is not None and job.job.closed <= on - timedelta(DAYS)]
    if not old:
        return None
    came = tuple(Came(job.job.number, job.reserve, job.came_back,
                      job.margin.warranty + job.bought_after) for job in old)
    back = sum(one.hours > 0 or one.cost > 0 for one in came)
    prices = math.fsum(job.price for job in old)
    return Reserve(DAYS, came, prices, back, *wilson_range(back, len(came)))
