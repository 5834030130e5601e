"""Share of vehicles without a class."""

from __future__ import annotations

from quality.calc.checks.kinds import FROM_MEMORY, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.shares import share_findings


def unclassified_share(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Days whose share is above ``limit`` with 95 % confidence."""
    return share_findings(
        days.n_unclassified, days.n_vehicles, days, check, limit, Weight.LOOK
    )


CHECK = Check(
    key="unclassified",
    title="Unclassified share",
    unit="share",
    default_limit=0.05,
    source="5 % common alarm; 2 % for research-quality data (LTPP)",
    standing=FROM_MEMORY,
    sentence="{share} % of {n} vehicles have no class (at least {low} % with 95 % "
    "confidence), limit {limit} %.",
    run=unclassified_share,
)
