"""Legal limit of tandem axles, of all groups of consecutive axles."""

from __future__ import annotations

from quality.calc.checks.kinds import CONFIRMED, RecordCheck, RecordResult
from quality.calc.checks.records import Records
from quality.calc.legal_limits import HALF_A_POUND_KG
from wimprog.lib.units import KG_PER_LB


def legal_tandem(records: Records, limit: float) -> RecordResult:
    """Heaviest tandem axle [kg]; no data where there is none."""
    return RecordResult.above(records.groups.tandem_kg, limit + HALF_A_POUND_KG)


CHECK = RecordCheck(
    key="legal-tandem",
    title="Legal limit of tandem axles",
    unit="kg",
    default_limit=34_000 * KG_PER_LB,
    source="23 U.S.C. 127: 34,000 lb",
    standing=CONFIRMED,
    sentence="have a tandem axle above the legal limit",
    run=legal_tandem,
)
