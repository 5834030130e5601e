"""Are there as many weights as axles, and one spacing fewer?"""

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
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS


def axle_count(records: Records, limit: float) -> RecordResult:
    """Weights and spacings that are missing or too many, added up."""
    n_axles = records.n_axles
    weights = _known(records, WEIGHT_COLUMNS)
    spacings = _known(records, SPACING_COLUMNS)
    apart = np.abs(weights - n_axles) + np.abs(spacings - np.maximum(n_axles - 1, 0))
    return RecordResult.above(apart.astype(np.float32), limit)


def _known(records: Records, names: tuple[str, ...]) -> np.ndarray:
    """How many of the columns hold a value in each record."""
    known = np.zeros(records.n, dtype=np.int8)
    for name in names:
        column = records.table.column(name)
        if column.null_count == records.n:
            continue
        known += ~np.isnan(records.column(name))
    return known


CHECK = RecordCheck(
    key="axle-count",
    title="Axle and spacing counts",
    unit="values missing or too many",
    default_limit=0.0,
    source=COMMON_PRACTICE,
    standing=COMMON_PRACTICE,
    sentence="have more or fewer axle weights or spacings than axles call for",
    run=axle_count,
    day_share=DayShare(0.01, Weight.SET_ASIDE, COMMON_PRACTICE, COMMON_PRACTICE),
)
