"""Is the class the one that spacings and weights give?"""

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
from quality.calc.classify import UNCLASSIFIED

HIGHEST_CLASS = 13


def vehicle_class(records: Records, limit: float) -> RecordResult:
    """Whether the recorded class, 1 to 13, differs from the one by the rules (1, 0).

    Nothing is known where the record has no class of 1 to 13, or where no rule fits.
    """
    recorded, ours = records.recorded_class, records.class_by_rules
    tested = (recorded >= 1) & (recorded <= HIGHEST_CLASS) & (ours != UNCLASSIFIED)
    value = np.where(tested, recorded != ours, np.nan).astype(np.float32)
    return RecordResult.above(value, limit)


CHECK = RecordCheck(
    key="vehicle-class",
    title="Class against spacings and weights",
    unit="1 where they differ",
    default_limit=0.0,
    source="13-category scheme by axle spacings and weights, FHWA-HRT-13-091 table 2",
    standing=FROM_MEMORY,
    sentence="have a class that their spacings and weights do not give",
    run=vehicle_class,
    day_share=DayShare(0.2, Weight.LOOK, COMMON_PRACTICE, COMMON_PRACTICE),
)
