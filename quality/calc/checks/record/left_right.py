"""Do the left and the right wheels carry about the same?"""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import (
    COMMON_PRACTICE,
    FROM_MEMORY,
    DayShare,
    RecordCheck,
    RecordResult,
    Weight,
)
from quality.calc.checks.records import LEFT_RIGHT_COLUMN, Records


def left_right(records: Records, limit: float) -> RecordResult:
    """Imbalance of left and right wheels [%]; no data where wheels are not kept."""
    return RecordResult.above(np.abs(records.column(LEFT_RIGHT_COLUMN)), limit)


CHECK = RecordCheck(
    key="left-right",
    title="Left and right wheels",
    unit="%",
    default_limit=40.0,
    source="single vehicles beyond about 40 %",
    standing=FROM_MEMORY,
    sentence="carry far more on the wheels of one side",
    run=left_right,
    day_share=DayShare(0.1, Weight.LOOK, COMMON_PRACTICE, COMMON_PRACTICE),
)
