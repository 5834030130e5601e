"""Median speed of a day away from the lane's own past."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import COMMON_PRACTICE, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.usual import middle_and_sd
from quality.calc.day_speeds import median_speed_kmh, speed_counts
from wimprog.lib.units import KMH_PER_MPH, format_number

WEEKS = 8
LEAST_VEHICLES = 50
LEAST_SDS = 4.0
LEAST_SD_KMH = 1.0


def speed_shift(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Days whose median is more than ``limit`` from usual, and 4 robust deviations."""
    n = np.array([speed_counts(of_day).sum() for of_day in days.figures])
    median = np.array([median_speed_kmh(of_day) for of_day in days.figures])
    median[n < LEAST_VEHICLES] = np.nan
    usual, sd = middle_and_sd(median, weeks=WEEKS)
    apart = median - usual
    far = np.abs(apart) > np.fmax(limit, LEAST_SDS * np.fmax(sd, LEAST_SD_KMH))
    return [
        Finding(
            key=check.key,
            date=days.date[day],
            value=float(apart[day]),
            limit=limit,
            n=int(n[day]),
            weight=Weight.LOOK,
            sentence=check.sentence.format(
                n=format_number(float(n[day]), 0),
                median=_both(float(median[day])),
                usual=_both(float(usual[day])),
                limit=_both(limit),
            ),
        )
        for day in np.flatnonzero(far).tolist()
    ]


def _both(speed_kmh: float) -> str:
    """A speed in both units: a finding is kept as it was said."""
    mph = format_number(speed_kmh / KMH_PER_MPH, 0)
    return f"{mph} mph ({format_number(speed_kmh, 0)} km/h)"


CHECK = Check(
    key="speed-shift",
    title="Speed against its own past",
    unit="km/h",
    default_limit=8.0,
    source="median against that of the 8 weeks before; 5 mph",
    standing=COMMON_PRACTICE,
    sentence="The median speed of {n} vehicles is {median} where {usual} is usual, "
    "limit {limit} apart. Work on the road or a jam explains it; a wrong "
    "distance between sensors does too, and then spacings are wrong with it.",
    run=speed_shift,
)
