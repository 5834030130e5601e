"""Are the weights in another unit than they are said to be?"""

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
from wimprog.lib.units import KG_PER_LB

USUAL_STEERING_KG = 9_300 * KG_PER_LB
"""Steering axle of a class 9 between 32,000 and 70,000 lb (Dahlin, TRR 1364; from
memory)."""
LEAST_AXLES = 5


def weight_unit(records: Records, limit: float) -> RecordResult:
    """How far the steering axle of a large truck is from usual, in pounds a kilogram.

    Vehicles of five axles or more: log of steering over usual, divided by that of
    2.2046. Near 1 the pounds were taken as kilograms, near −1 the reverse; the
    absolute value is held against the limit, 0.5 being half way.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        steps = np.log(records.column("w1_kg") / np.float32(USUAL_STEERING_KG))
        steps = np.abs(steps) / np.float32(np.log(1 / KG_PER_LB))
    large = (records.n_axles >= LEAST_AXLES) & np.isfinite(steps)
    value = np.where(large, steps, np.float32(np.nan))
    return RecordResult.above(value.astype(np.float32), limit)


CHECK = RecordCheck(
    key="weight-unit",
    title="Unit of the weights",
    unit="steps of pounds to kilograms",
    default_limit=0.5,
    source="steering axle 9,300 lb: Dahlin, TRR 1364, 1992",
    standing=FROM_MEMORY,
    sentence="with five axles or more have a steering axle as if pounds and kilograms "
    "had been taken for each other",
    run=weight_unit,
    day_share=DayShare(0.5, Weight.SET_ASIDE, COMMON_PRACTICE, COMMON_PRACTICE),
)
