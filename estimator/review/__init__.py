"""Review: what was booked against what was quoted, for a job and for all that are closed.

`hours` sums hours by what work items have in common; `costs` splits what a job cost into reasons
that add up; `progress` says where an open job stands; `looking` puts them together.
"""

from estimator.review.contract import forecasts_of, job_dict, shop_dict
from estimator.review.looking import hour_of, of_job, of_shop
from estimator.review.records import (
    ASPECTS,
    MARGIN_ASPECTS,
    NOT_STATED,
    SHOP_ASPECTS,
    CostLine,
    Enough,
    Group,
    GroupMargin,
    HourCost,
    JobReview,
    Margin,
    ShopReview,
)

__all__ = ["ASPECTS", "MARGIN_ASPECTS", "NOT_STATED", "SHOP_ASPECTS", "CostLine",
           "Enough", "Group", "GroupMargin", "HourCost", "JobReview", "Margin", "ShopReview",
           "forecasts_of", "hour_of", "job_dict", "of_job", "of_shop", "shop_dict"]
