"""What the checks propose for a lane's days; a person decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from quality.calc.checks.discovery import (
    lane_day_checks,
    pair_checks,
    record_checks,
)
from quality.calc.checks.kinds import Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays

RECORD_CHECKS = record_checks()
PAIR_CHECKS = pair_checks()
CHECKS = lane_day_checks(RECORD_CHECKS)


class Proposal(StrEnum):
    """What is proposed for a day."""

    ACCEPT = "accept"
    LOOK = "look at"
    SET_ASIDE = "set aside"
    NO_DATA = "no data"


@dataclass(frozen=True)
class DayProposal:
    """What is proposed for one day, with the findings behind it."""

    date: np.datetime64
    proposal: Proposal
    findings: tuple[Finding, ...]

    @property
    def reason(self) -> str:
        """The findings' sentences, the weightiest first; "" when there are none."""
        ordered = sorted(self.findings, key=lambda f: f.weight is Weight.LOOK)
        return " ".join(finding.sentence for finding in ordered)


def propose(
    days: LaneDays,
    *,
    limits: Mapping[str, float] | None = None,
    checks: Sequence[Check] | None = None,
) -> list[DayProposal]:
    """Run the checks and propose, day by day, to accept, look at or set aside.

    Parameters
    ----------
    days
        One lane's consecutive days.
    limits
        The agency's own limits by check key, in place of the defaults. Those of
        other checks, of records and of pairs of lanes too, may be among them.
    checks
        The checks to run; by default all of :func:`lane_day_checks`.

    Raises
    ------
    ValueError
        When a limit names no check.
    """
    limits = limits or {}
    checks = CHECKS if checks is None else checks
    known = {check.key for check in (*checks, *CHECKS, *RECORD_CHECKS, *PAIR_CHECKS)}
    unknown = sorted(set(limits) - known)
    if unknown:
        raise ValueError(f"there is no check “{unknown[0]}”")
    found: dict[np.datetime64, list[Finding]] = {}
    for check in checks:
        for finding in check.run(
            days, check, limits.get(check.key, check.default_limit)
        ):
            found.setdefault(finding.date, []).append(finding)
    proposals = []
    for date, recorded in zip(days.date, days.is_recorded, strict=True):
        findings = tuple(found.get(date, ()))
        weights = {finding.weight for finding in findings}
        if not recorded:
            proposal = Proposal.NO_DATA
        elif Weight.SET_ASIDE in weights:
            proposal = Proposal.SET_ASIDE
        elif findings:
            proposal = Proposal.LOOK
        else:
            proposal = Proposal.ACCEPT
        proposals.append(DayProposal(date, proposal, findings))
    return proposals
