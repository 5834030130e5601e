"""Shares of a day's vehicles, held against a limit with their uncertainty."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from wimprog.lib.units import format_number


def share_findings(
    part: np.ndarray,
    n: np.ndarray,
    days: LaneDays,
    check: Check,
    limit: float,
    weight: Weight,
) -> list[Finding]:
    """Findings where a share is above its limit beyond what chance explains.

    ``part`` of ``n`` (n_days,); NaN where nothing is known, which finds nothing.
    """
    findings = []
    n = np.asarray(n, dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = part / n
        low = wilson_lower(part, n)
        above = (n > 0) & (low > limit)
    for day in np.flatnonzero(above):
        findings.append(
            Finding(
                key=check.key,
                date=days.date[day],
                value=float(share[day]),
                limit=limit,
                n=int(n[day]),
                weight=weight,
                sentence=check.sentence.format(
                    k=format_number(float(part[day]), 0),
                    n=format_number(float(n[day]), 0),
                    share=format_number(100 * float(share[day]), 1),
                    low=format_number(100 * float(low[day]), 1),
                    limit=format_number(100 * limit, 1),
                ),
            )
        )
    return findings


def wilson_lower(
    part: np.ndarray | float, n: np.ndarray | float, z: float = 1.6448536
) -> np.ndarray:
    """One-sided 95 % lower bound of a share (NIST e-Handbook 7.2.4.1; Wilson)."""
    part, n = np.asarray(part, np.float64), np.asarray(n, np.float64)
    share = part / n
    centre = share + z * z / (2 * n)
    half = z * np.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return np.asarray((centre - half) / (1 + z * z / n))
