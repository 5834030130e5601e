"""Bridge formula, of all groups of consecutive axles."""

from __future__ import annotations

from quality.calc.checks.kinds import CONFIRMED, RecordCheck, RecordResult
from quality.calc.checks.records import Records
from quality.calc.legal_limits import HALF_A_POUND_KG


def bridge_formula(records: Records, limit: float) -> RecordResult:
    """Excess of the worst axle group over the formula [kg]; no data without one."""
    return RecordResult.above(records.groups.over_bridge_kg, limit + HALF_A_POUND_KG)


CHECK = RecordCheck(
    key="bridge-formula",
    title="Bridge formula",
    unit="kg above the formula",
    default_limit=0.0,
    source="23 U.S.C. 127: to the nearest 500 lb, all groups of axles",
    standing=CONFIRMED,
    sentence="have a group of axles above the bridge formula",
    run=bridge_formula,
)
