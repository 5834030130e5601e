"""Are the spacings in another unit than they are said to be?"""

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
from wimprog.lib.units import M_PER_FT

USUAL_TANDEM_M = 4.35 * M_PER_FT
"""Drive tandem of a class 9: mean 4.2–4.6 ft, mostly 4.3–4.4 (from memory)."""
LEAST_AXLES = 5


def spacing_unit(records: Records, limit: float) -> RecordResult:
    """How far the closest axles of a large truck are from usual, in feet a metre.

    Vehicles of five axles or more: log of their least spacing over that of a drive
    tandem, divided by the log of 3.2808. Near 1 the feet were taken as metres, near −1
    the reverse; the absolute value is held against the limit, 0.5 being half way.
    """
    value = np.full(records.n, np.nan, dtype=np.float32)
    rows = np.flatnonzero(records.n_axles >= LEAST_AXLES)
    least = np.full(len(rows), np.nan, dtype=np.float32)
    for spacing in records.spacings_m:
        np.fmin(least, spacing[rows], out=least)
    with np.errstate(invalid="ignore", divide="ignore"):
        steps = np.abs(np.log(least / np.float32(USUAL_TANDEM_M)))
        value[rows] = steps / np.float32(np.log(1 / M_PER_FT))
    value[~np.isfinite(value)] = np.nan
    return RecordResult.above(value, limit)


CHECK = RecordCheck(
    key="spacing-unit",
    title="Unit of the spacings",
    unit="steps of feet to metres",
    default_limit=0.5,
    source="drive tandem 4.2–4.6 ft, common practice",
    standing=FROM_MEMORY,
    sentence="with five axles or more have their closest axles as far apart as if feet "
    "and metres had been taken for each other",
    run=spacing_unit,
    day_share=DayShare(0.5, Weight.SET_ASIDE, COMMON_PRACTICE, COMMON_PRACTICE),
)
