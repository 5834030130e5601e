"""Do the axle weights add up to the gross weight?"""

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
from quality.calc.checks.records import Records


def sum_of_axles(records: Records, limit: float) -> RecordResult:
    """Difference of the gross weight from the sum of the axles [% of the sum]."""
    total, gross = records.sum_of_axles_kg, records.column("gvw_kg")
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = np.abs(gross - total) / np.where(total > 0, total, np.nan) * 100
    return RecordResult.above(apart.astype(np.float32), limit)


CHECK = RecordCheck(
    key="sum-of-axles",
    title="Sum of axles against gross weight",
    unit="% of the sum",
    default_limit=10.0,
    source="NCHRP report 683, project 12-76",
    standing=FROM_MEMORY,
    sentence="have axle weights that do not add up to the gross weight",
    run=sum_of_axles,
    day_share=DayShare(0.01, Weight.SET_ASIDE, COMMON_PRACTICE, COMMON_PRACTICE),
)
