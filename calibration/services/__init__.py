"""Changes of test vehicles, sessions and runs. Each knows who and why."""

from calibration.services.factors import factors_save
from calibration.services.facts import (
    session_close,
    session_save,
    vehicle_save,
    weighing_save,
)
from calibration.services.matching import match_keep, match_plan, match_read
from calibration.services.matching_given import MatchGiven
from calibration.services.matching_plan import MatchPlan
from calibration.services.results import results_refresh
from calibration.services.runs import (
    run_change,
    run_restore,
    run_set_aside,
    runs_add,
)
from calibration.services.sheets import SheetPlan, runs_from_sheets, sheets_keep

__all__ = [
    "MatchGiven",
    "MatchPlan",
    "SheetPlan",
    "factors_save",
    "match_keep",
    "match_plan",
    "match_read",
    "results_refresh",
    "run_change",
    "run_restore",
    "run_set_aside",
    "runs_add",
    "runs_from_sheets",
    "session_close",
    "session_save",
    "sheets_keep",
    "vehicle_save",
    "weighing_save",
]
