"""A part of the traffic lost for days on end: a CUSUM of the daily log ratio."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import OWN_SIMULATION, Check, Finding, Weight
from quality.calc.checks.lane_day.volume import known_volume
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.usual import log_ratio_to_usual, middle_and_sd
from wimprog.lib.units import format_number

K = 1.0
"""Reference value, in robust standard deviations: the days of a week rise and fall
together, so that 0.5 would sum a slow week up to an alarm (own simulation)."""
MOST_DAYS = 28
"""Days back that a loss is summed. The usual is learnt from the eight weeks before each
day: from longer ago it would find more of a lasting loss, and four times the false
alarms where traffic has a season (own simulation)."""
LEAST_DAYS = 3
LEAST_LOSS = 0.1


def partial_loss(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Days on which the sum of what was lost in the four weeks before is above limit.

    The sum of a day is the largest over all starts in the 28 days up to it of
    Σ (−z − K), z the log ratio to the same weekdays of the 8 weeks before in robust
    standard deviations. Days that are unknown add nothing.
    """
    volume = known_volume(days)
    ratio, _ = log_ratio_to_usual(volume)
    middle, sd = middle_and_sd(ratio)
    sd = np.fmax(sd, 1.0 / np.sqrt(volume))
    lost = middle - ratio
    steps = np.nan_to_num(lost / sd - K)
    padded = np.concatenate([np.zeros(MOST_DAYS - 1), steps])
    windows = np.lib.stride_tricks.sliding_window_view(padded, MOST_DAYS)
    sums = np.cumsum(windows[:, ::-1], axis=1)  # of the day, with the one before, …
    days_back = np.argmax(sums, axis=1)
    score = sums.max(axis=1)
    findings = []
    for day in np.flatnonzero((score > limit) & (steps > 0)).tolist():
        first = max(day - int(days_back[day]), 0)
        episode = lost[first : day + 1]
        episode = episode[np.isfinite(episode)]
        loss = 1 - float(np.exp(-np.median(episode)))
        if len(episode) < LEAST_DAYS or loss < LEAST_LOSS:
            continue
        findings.append(
            Finding(
                key=check.key,
                date=days.date[day],
                value=float(score[day]),
                limit=limit,
                n=len(episode),
                weight=Weight.LOOK,
                sentence=check.sentence.format(
                    loss=format_number(100 * loss, 0),
                    first=days.date[first],
                    n=len(episode),
                    score=format_number(float(score[day]), 1),
                    limit=format_number(limit, 1),
                ),
            )
        )
    return findings


CHECK = Check(
    key="partial-loss",
    title="Part of the traffic lost",
    unit="sum of robust standard deviations",
    default_limit=16.0,
    source="CUSUM of the daily log ratio, K 1, over at most 28 days: "
    "MEASURED_CHECKS.md",
    standing=OWN_SIMULATION,
    sentence="About {loss} % of the vehicles are missing since {first}, over {n} days: "
    "the sum of shortfalls is {score}, limit {limit}. Traffic turned away explains it; "
    "a lane that misses vehicles does too.",
    run=partial_loss,
)
