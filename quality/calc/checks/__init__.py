"""The checks of records, of a lane's days and of pairs of lanes.

A check is a file in the folder of its level (``record``, ``lane_day``, ``lane_pair``)
with one function and, beside it, what it looks at, its unit, default limit, source,
standing and sentence. To add one, add its file: what proposes, reports and sets limits
reads the lists that are made of the folders. A check proposes; a person decides.
"""

from quality.calc.checks.kinds import (
    Check,
    CheckFunction,
    DayShare,
    Finding,
    Level,
    PairCheck,
    RecordCheck,
    RecordResult,
    Weight,
)
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.proposing import (
    CHECKS,
    PAIR_CHECKS,
    RECORD_CHECKS,
    DayProposal,
    Proposal,
    propose,
)
from quality.calc.checks.records import Records
from quality.calc.checks.shares import wilson_lower
from quality.calc.checks.usual import (
    LEAST_RATIOS,
    LEAST_SAME_WEEKDAYS,
    REACH_WEEKS,
    SD_PER_MAD,
    SPREAD_WEEKS,
    VOLUME_WEEKS,
)

METHOD_VERSION = "checks-2"

__all__ = [
    "CHECKS", "LEAST_RATIOS", "LEAST_SAME_WEEKDAYS", "METHOD_VERSION", "PAIR_CHECKS",
    "REACH_WEEKS",
    "RECORD_CHECKS", "SD_PER_MAD", "SPREAD_WEEKS", "VOLUME_WEEKS", "Check",
    "CheckFunction", "DayProposal", "DayShare", "Finding", "LaneDays", "Level",
    "PairCheck", "Proposal", "RecordCheck", "RecordResult", "Records", "Weight",
    "propose", "wilson_lower",
]  # fmt: skip
