"""Review: what was booked against what was quoted, for a job and for all that are closed.

`hours` sums hours by what work items have in common; `costs` splits what a job cost into reasons
that add up; `progress` says where an open job stands, `course` how it came there; `looking` puts
them together; `experience` says what closed jobs tell of the hours of one to come.
"""

from estimator.review.contract import forecasts_of, job_dict, records_dict, shop_dict
from estimator.review.course import Course, course_of
from estimator.review.experience import Experience, by_records, experience_of, walk
from estimator.review.looking import hour_of, of_job, of_shop
from estimator.review.records import (
    ASPECTS,
    MARGIN_ASPECTS,
    NOT_STATED,
    SHOP_ASPECTS,
    ByRecords,
    CostLine,
    Enough,
    Group,
    GroupMargin,
    HourCost,
    JobReview,
    Margin,
    Reserve,
    ShopReview,
    Walk,
)

__all__ = ["ASPECTS", "MARGIN_ASPECTS", "NOT_STATED", "SHOP_ASPECTS", "ByRecords", "CostLine",
           "Course", "Enough", "Experience", "Group", "GroupMargin", "HourCost", "JobReview",
           "Margin", "Reserve", "ShopReview", "Walk", "by_records", "course_of", "experience_of",
           "forecasts_of", "hour_of", "job_dict", "of_job", "of_shop", "records_dict", "shop_dict",
           "walk"]
