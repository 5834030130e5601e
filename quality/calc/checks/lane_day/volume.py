"""Vehicles of a day far below the lane's own same weekdays."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import OWN_SIMULATION, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from wimprog.lib.units import format_number

VOLUME_WEEKS = 8
SPREAD_WEEKS = 26
"""Weeks from which the spread of the ratio is learnt; eight are too few, because the
days of a week rise and fall together (own simulation)."""
LEAST_SAME_WEEKDAYS = 4
LEAST_RATIOS = 14
SD_PER_MAD = 1.4826


def volume_low(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Vehicles of a day far below the lane's own same weekdays."""
    volume = np.where(days.is_recorded & (days.n_vehicles > 0), days.n_vehicles, np.nan)
    n = len(volume)
    weeks = -(-n // 7)
    padded = np.full(weeks * 7, np.nan)
    padded[:n] = volume
    grid = padded.reshape(weeks, 7)
    earlier = np.full((VOLUME_WEEKS, weeks, 7), np.nan)
    for back in range(1, min(VOLUME_WEEKS, weeks - 1) + 1):
        earlier[back - 1, back:] = grid[:-back]
    enough = np.isfinite(earlier).sum(axis=0) >= LEAST_SAME_WEEKDAYS
    usual = np.full((weeks, 7), np.nan)
    if enough.any():
        usual[enough] = np.nanmedian(earlier[:, enough], axis=0)
    usual = usual.reshape(-1)[:n]
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log(volume / usual)
    findings = []
    for day in np.flatnonzero(np.isfinite(ratio) & (ratio < 0)).tolist():
        before = ratio[max(day - 7 * SPREAD_WEEKS, 0) : day]
        before = before[np.isfinite(before)]
        if len(before) < LEAST_RATIOS:
            continue
        middle = float(np.median(before))
        sd = SD_PER_MAD * float(np.median(np.abs(before - middle)))
        # a count cannot scatter less than Poisson: sd of log n is about 1/√n
        sd = max(sd, 1.0 / float(np.sqrt(volume[day])))
        score = float(ratio[day] - middle) / sd
        if score < limit:
            findings.append(
                Finding(
                    key=check.key,
                    date=days.date[day],
                    value=score,
                    limit=limit,
                    n=int(days.n_vehicles[day]),
                    weight=Weight.SET_ASIDE,
                    sentence=check.sentence.format(
                        n=format_number(float(volume[day]), 0),
                        usual=format_number(float(usual[day]), 0),
                        score=format_number(score, 1),
                        limit=format_number(limit, 1),
                    ),
                )
            )
    return findings


CHECK = Check(
    key="volume",
    title="Volume against its own weekday",
    unit="robust standard deviations",
    default_limit=-3.5,
    source="log ratio to the median of the same weekday in the 8 weeks before "
    "(own simulation)",
    standing=OWN_SIMULATION,
    sentence="{n} vehicles where the same weekday usually has {usual}: {score} "
    "robust standard deviations, limit {limit}. A holiday explains it; half the "
    "traffic lost does too.",
    run=volume_low,
)
