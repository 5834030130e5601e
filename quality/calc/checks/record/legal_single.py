"""Legal limit of single axles, of all groups of consecutive axles."""

from __future__ import annotations

from quality.calc.checks.kinds import CONFIRMED, RecordCheck, RecordResult
from quality.calc.checks.records import Records
from quality.calc.legal_limits import HALF_A_POUND_KG
from wimprog.lib.units import KG_PER_LB


def legal_single(records: Records, limit: float) -> RecordResult:
    """Heaviest single axle [kg]; no data where there is none."""
    return RecordResult.above(records.groups.single_kg, limit + HALF_A_POUND_KG)


CHECK = RecordCheck(
    key="legal-single",
    title="Legal limit of single axles",
    unit="kg",
    default_limit=20_000 * KG_PER_LB,
    source="23 U.S.C. 127: 20,000 lb",
    standing=CONFIRMED,
    sentence="have a single axle above the legal limit",
    run=legal_single,
)
