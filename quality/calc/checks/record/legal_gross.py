"""Legal limit of gross weight, of all groups of consecutive axles."""

from __future__ import annotations

from quality.calc.checks.kinds import CONFIRMED, RecordCheck, RecordResult
from quality.calc.checks.records import Records
from quality.calc.legal_limits import HALF_A_POUND_KG
from wimprog.lib.units import KG_PER_LB


def legal_gross(records: Records, limit: float) -> RecordResult:
    """Gross weight [kg]; no data where there is none."""
    return RecordResult.above(records.column("gvw_kg"), limit + HALF_A_POUND_KG)


CHECK = RecordCheck(
    key="legal-gross",
    title="Legal limit of gross weight",
    unit="kg",
    default_limit=80_000 * KG_PER_LB,
    source="23 U.S.C. 127: 80,000 lb",
    standing=CONFIRMED,
    sentence="weigh more than the legal gross limit",
    run=legal_gross,
)
