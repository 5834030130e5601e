"""One value over and over: a weight, speed or spacing that has frozen."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import OWN_SIMULATION, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.usual import middle_and_sd
from quality.calc.day_counts import SAME_COLUMNS
from wimprog.lib.units import format_number

WEEKS = 8
LEAST_DAYS = 7
LEAST_SHARE = 0.01
MOST_SHARE = 0.9
NAMES = {"w1": "first axle weight", "speed": "speed", "s1": "first spacing"}


def frozen(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Days with a run of one value that is less likely than ``limit``.

    With the share p of neighbours that are equal on the lane's usual days, a run of r
    among n records has a chance of at most n p^((r − 1)/2). The half is slack for days
    and hours on which equal neighbours are commoner than usual (own simulation).
    """
    findings = []
    for name in SAME_COLUMNS:
        equal, n, longest = (days.figure("same", name, place=k) for k in range(3))
        with np.errstate(invalid="ignore", divide="ignore"):
            share = equal / n
        usual, _ = middle_and_sd(share, weeks=WEEKS, least=LEAST_DAYS)
        usual = np.where(usual > MOST_SHARE, np.nan, np.maximum(usual, LEAST_SHARE))
        chance = np.fmin(n * usual ** ((longest - 1) / 2), 1.0)
        chance[~np.isfinite(usual)] = np.nan
        for day in np.flatnonzero(chance < limit).tolist():
            findings.append(
                Finding(
                    key=check.key,
                    date=days.date[day],
                    value=float(chance[day]),
                    limit=limit,
                    n=int(n[day]),
                    weight=Weight.SET_ASIDE,
                    sentence=check.sentence.format(
                        name=NAMES[name],
                        run=format_number(float(longest[day]), 0),
                        n=format_number(float(n[day]), 0),
                        share=format_number(100 * float(share[day]), 0),
                        usual=format_number(100 * float(usual[day]), 0),
                    ),
                )
            )
    return findings


CHECK = Check(
    key="frozen",
    title="Frozen values",
    unit="chance of the longest run",
    default_limit=1e-6,
    source="run of one value against the lane's usual share of equal neighbours: "
    "MEASURED_CHECKS.md",
    standing=OWN_SIMULATION,
    sentence="The same {name} came {run} times in a row among {n} vehicles; {share} % "
    "of neighbours are equal where {usual} % is usual. A value that does not change is "
    "not a measurement.",
    run=frozen,
)
