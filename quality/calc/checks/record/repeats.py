"""Is the record the one before it over again?"""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import (
    FROM_MEMORY,
    OWN_SIMULATION,
    DayShare,
    RecordCheck,
    RecordResult,
    Weight,
)
from quality.calc.checks.records import Records
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS


def repeats(records: Records, limit: float) -> RecordResult:
    """Axles of a record that repeats the one before it exactly, 0 of any other.

    Every weight, spacing and the speed must be the same. Cars repeat by chance where
    weights are kept to 100 lb: hence the limit in axles. The first record of a batch
    is not tested.
    """
    n = records.n
    tested = np.ones(n, dtype=bool)
    tested[:1] = False
    value = np.where(tested, np.float32(0), np.float32(np.nan))
    gross, axles = records.column("gvw_kg"), records.n_axles
    rows = 1 + np.flatnonzero((gross[1:] == gross[:-1]) & (axles[1:] == axles[:-1]))
    most = records.most_axles
    names = ("speed_kmh", *WEIGHT_COLUMNS[:most], *SPACING_COLUMNS[: max(most - 1, 0)])
    for name in names:
        now, before = records.column(name)[rows], records.column(name)[rows - 1]
        rows = rows[(now == before) | (np.isnan(now) & np.isnan(before))]
    value[rows] = axles[rows]
    return RecordResult.above(value, limit)


CHECK = RecordCheck(
    key="repeats",
    title="Exact repeats",
    unit="axles of the repeated record",
    default_limit=2.0,
    source="identical consecutive records are a sign of a fault",
    standing=FROM_MEMORY,
    sentence="repeat the record before them exactly",
    run=repeats,
    day_share=DayShare(
        0.02, Weight.SET_ASIDE, "measured, see MEASURED_CHECKS.md", OWN_SIMULATION
    ),
)
