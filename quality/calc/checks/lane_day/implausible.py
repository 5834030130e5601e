"""Share of vehicles that break a physical limit."""

from __future__ import annotations

from quality.calc.checks.kinds import FROM_MEMORY, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.shares import share_findings


def implausible_share(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Days whose share is above ``limit`` with 95 % confidence."""
    return share_findings(
        days.n_implausible, days.n_vehicles, days, check, limit, Weight.SET_ASIDE
    )


CHECK = Check(
    key="implausible",
    title="Physical limits",
    unit="share",
    default_limit=0.05,
    source="limits of NCHRP report 683; the share is common practice, no source",
    standing=FROM_MEMORY,
    sentence="{k} of {n} vehicles ({share} %, at least {low} % with 95 % "
    "confidence) break a physical limit of speed, weight or spacing, limit "
    "{limit} %.",
    run=implausible_share,
)
