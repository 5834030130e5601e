"""Reads of the records' side, each in a bounded number of queries."""

from quality.selectors.days import (
    lane_days,
    lane_weeks,
    months_accepted,
    steering_weeks,
)
from quality.selectors.drift import lane_drifts
from quality.selectors.files import (
    is_interrupted,
    lanes_taken_in,
    last_data_on,
    open_imports,
    parts_of,
    record_file_list,
)
from quality.selectors.review import RUN_GAP_DAYS, ReviewRun, review_runs

__all__ = [
    "RUN_GAP_DAYS",
    "ReviewRun",
    "is_interrupted",
    "lane_days",
    "lane_drifts",
    "lane_weeks",
    "lanes_taken_in",
    "last_data_on",
    "months_accepted",
    "open_imports",
    "parts_of",
    "record_file_list",
    "review_runs",
    "steering_weeks",
]
