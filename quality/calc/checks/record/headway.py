"""Could one vehicle follow the other so closely?"""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import (
    COMMON_PRACTICE,
    DayShare,
    RecordCheck,
    RecordResult,
    Weight,
)
from quality.calc.checks.records import Records

MS_PER_S = 1000
KMH_PER_MS = 3.6


def headway(records: Records, limit: float) -> RecordResult:
    """Seconds by which a vehicle comes before the one ahead of it has passed.

    The vehicle ahead takes the distance of its extreme axles over its speed to pass
    the sensor. Times kept to whole seconds are given a second's grace. Nothing is
    known without instants, speed or spacings, nor of the first record of a batch.
    """
    value = np.full(records.n, np.nan, dtype=np.float32)
    times = records.times_ms
    if times is None or records.n < 2:
        return RecordResult.above(value, limit)
    grace_ms = MS_PER_S if not (times % MS_PER_S).any() else 1
    order = np.argsort(times, kind="stable")
    length = np.zeros(records.n, dtype=np.float32)
    for k, spacing in enumerate(records.spacings_m):
        length += spacing if k == 0 else np.nan_to_num(spacing)
    speed = records.column("speed_kmh") / np.float32(KMH_PER_MS)
    with np.errstate(invalid="ignore", divide="ignore"):
        passing = np.where(speed > 0, length / speed, np.nan)[order[:-1]]
    gap = (np.diff(times[order]) + grace_ms) / MS_PER_S
    value[order[1:]] = passing - gap
    return RecordResult.above(value, limit)


CHECK = RecordCheck(
    key="headway",
    title="Impossible headways",
    unit="s too early",
    default_limit=0.0,
    source="two vehicles cannot be in one place: kinematics",
    standing=COMMON_PRACTICE,
    sentence="came before the vehicle ahead can have passed",
    run=headway,
    day_share=DayShare(0.02, Weight.LOOK, COMMON_PRACTICE, COMMON_PRACTICE),
)
