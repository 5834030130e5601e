"""Vehicles of a day far below the lane's own same weekdays, season taken off."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import OWN_SIMULATION, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.usual import log_ratio_to_usual, middle_and_sd
from wimprog.lib.units import format_number


def known_volume(days: LaneDays) -> np.ndarray:
    """Vehicles of days that were recorded, had some and were no holiday, else NaN."""
    known = days.is_recorded & (days.n_vehicles > 0) & ~days.is_holiday
    return np.where(known, days.n_vehicles, np.nan)


def volume_low(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Days whose log ratio is below ``limit`` robust standard deviations."""
    volume = known_volume(days)
    ratio, usual = log_ratio_to_usual(volume)
    middle, sd = middle_and_sd(ratio)
    # a count cannot scatter less than Poisson: sd of log n is about 1/√n
    sd = np.fmax(sd, 1.0 / np.sqrt(volume))
    score = (ratio - middle) / sd
    low = np.flatnonzero((ratio < 0) & (score < limit))
    return [
        Finding(
            key=check.key,
            date=days.date[day],
            value=float(score[day]),
            limit=limit,
            n=int(days.n_vehicles[day]),
            weight=Weight.SET_ASIDE,
            sentence=check.sentence.format(
                n=format_number(float(volume[day]), 0),
                usual=format_number(float(usual[day]), 0),
                score=format_number(float(score[day]), 1),
                limit=format_number(limit, 1),
            ),
        )
        for day in low.tolist()
    ]


CHECK = Check(
    key="volume",
    title="Volume against its own weekday and season",
    unit="robust standard deviations",
    default_limit=-3.5,
    source="log ratio to the median of the same weekday in the 8 weeks before, less "
    "that of a year before (own simulation)",
    standing=OWN_SIMULATION,
    sentence="{n} vehicles where the same weekday and season usually have {usual}: "
    "{score} robust standard deviations, limit {limit}. A day off that no calendar "
    "holds explains it; half the traffic lost does too.",
    run=volume_low,
)
