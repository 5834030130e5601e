"""Hours without a vehicle that are too unlikely to be quiet ones."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import OWN_SIMULATION, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.gaps import GAP_PROBABILITY, WATCH_PROBABILITY, empty_runs
from wimprog.lib.units import format_number


def hours_missing(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Empty hours that are too unlikely to be quiet ones."""
    seen = (days.hours_seen[:, None] >> np.arange(24)) & 1 == 1
    missing = ~(seen | (days.hourly > 0))
    known = np.repeat(days.is_recorded[:, None], 24, axis=1)
    watch = max(limit, WATCH_PROBABILITY)
    findings = []
    for run in empty_runs(
        days.hourly, is_empty=missing, is_known=known, watch=watch, gap=limit
    ):
        for day in range(run.start // 24, -(-run.stop // 24)):
            if not days.is_recorded[day]:
                continue
            start = max(run.start - day * 24, 0)
            stop = min(run.stop - day * 24, 24)
            findings.append(
                Finding(
                    key=check.key,
                    date=days.date[day],
                    value=run.probability,
                    limit=limit,
                    n=stop - start,
                    weight=(
                        Weight.SET_ASIDE if run.probability <= limit else Weight.LOOK
                    ),
                    sentence=check.sentence.format(
                        start=start,
                        stop=stop,
                        hours=run.stop - run.start,
                        expected=format_number(run.expected, 0),
                        chance=_chance(run.probability),
                    ),
                )
            )
    return findings


def _chance(probability: float) -> str:
    if probability < 1e-9:
        return "less than one in a billion"
    return f"about one in {format_number(float(f'{1 / probability:.1g}'), 0)}"


CHECK = Check(
    key="hours-missing",
    title="Hours missing",
    unit="chance of the empty run",
    default_limit=GAP_PROBABILITY,
    source="run of empty hours against the same hours of the 8 weeks before, "
    "negative binomial (own simulation)",
    standing=OWN_SIMULATION,
    sentence="No vehicle from {start:02d}:00 to {stop:02d}:00, in {hours} empty "
    "hours in a row where about {expected} vehicles were to be expected; the "
    "chance of that with the lane working is {chance}.",
    run=hours_missing,
)
