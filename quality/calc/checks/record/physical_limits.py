"""Is everything in the record possible at all?"""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import (
    FROM_MEMORY,
    RecordCheck,
    RecordResult,
)
from quality.calc.checks.records import Records
from quality.calc.plausible import SOURCE, PlausibleLimits, broken_limits


def physical_limits(records: Records, limit: float) -> RecordResult:
    """Whether the record breaks a limit of speed, weight or length (1, 0)."""
    broken = broken_limits(
        n=records.n,
        most_axles=records.most_axles,
        column=records.column,
        limits=PlausibleLimits(),
    )
    value = broken.astype(np.float32)
    return RecordResult(
        value > np.float32(limit), np.ones(records.n, dtype=bool), value
    )


CHECK = RecordCheck(
    key="physical-limits",
    title="Physical limits of a record",
    unit="1 where one is broken",
    default_limit=0.0,
    source=SOURCE,
    standing=FROM_MEMORY,
    sentence="break a physical limit of speed, weight or spacing",
    run=physical_limits,
)
