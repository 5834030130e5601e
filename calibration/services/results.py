"""A session's results, computed anew from its runs and replaced as a whole."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from calibration.calc.types import Quantity
from calibration.models import (
    CalibrationSession,
    RunStage,
    SessionResult,
    TruckRun,
)
from calibration.selectors import session_judged, session_runs
from calibration.selectors.standards import agency_values


def inputs_of(session: CalibrationSession, runs: Sequence[TruckRun]) -> dict[str, Any]:
    """All that a result rests on, as plain JSON-ready values in a fixed order."""
    weighings = {run.weighing_id: run.weighing for run in runs}
    return {
        "conditions": {
            "standard": session.standard,
            "class": session.wanted_class,
            "plan": session.plan,
            "environment": session.environment,
            "purpose": session.purpose,
            "agency_values": agency_values(session.standard).get(session.standard, {}),
        },
        "weighings": [
            {
                "vehicle": one.vehicle.name,
                "weighed_at": one.weighed_at.isoformat(),
                "axle_weights_kg": one.axle_weights_kg,
                "axle_spacings_m": one.vehicle.axle_spacings_m,
                "fuel_kg_per_hour": one.fuel_kg_per_hour,
            }
            for _, one in sorted(weighings.items())
        ],
        "runs": [
            {
                "number": run.number,
                "vehicle": run.weighing.vehicle.name,
                "weighed_at": run.weighing.weighed_at.isoformat(),
                "run_at": run.run_at.isoformat(),
                "speed_kmh": run.speed_kmh,
                "reference_speed_kmh": run.reference_speed_kmh,
                "axle_weights_kg": run.axle_weights_kg,
                "axle_spacings_m": run.axle_spacings_m,
                "left_wheel_weights_kg": run.left_wheel_weights_kg,
                "right_wheel_weights_kg": run.right_wheel_weights_kg,
                "excluded": run.excluded,
                "exclusion_reason": run.exclusion_reason,
            }
            for run in runs
        ],
    }


def inputs_sha256(session: CalibrationSession, runs: Sequence[TruckRun]) -> str:
    """SHA-256 of :func:`inputs_of` as canonical JSON (sorted keys, no spaces)."""
    text = json.dumps(
        inputs_of(session, runs),
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=True,
        allow_nan=False,
    )
    return hashlib.sha256(text.encode()).hexdigest()


@transaction.atomic
def results_refresh(session: CalibrationSession) -> list[SessionResult]:
    """Compute the session's results anew; one row for each stage that has runs."""
    from calibration.calc.run_errors import METHOD_VERSION

    runs = session_runs(session)
    made = []
    for stage in RunStage.values:
        own = [run for run in runs if run.stage == stage]
        if not own:
            continue
        judged = session_judged(session, stage, runs=own)
        verdict = judged.verdicts[0]
        gross = next(
            one for one in judged.statistics if one.quantity is Quantity.GROSS_WEIGHT
        )
        interval = gross.mean_interval
        made.append(
            SessionResult(
                session=session,
                stage=stage,
                n_runs=len(judged.errors.runs_used),
                gvw_mean_pct=gross.mean,
                gvw_sd_pct=gross.sd,
                gvw_low_pct=interval.low if interval else None,
                gvw_high_pct=interval.high if interval else None,
                verdict_word=verdict.verdict.value,
                verdict=verdict.as_dict(),
                method_version=METHOD_VERSION,
                inputs_sha256=inputs_sha256(session, own),
            )
        )
    SessionResult.objects.filter(session=session).delete()
    return SessionResult.objects.bulk_create(made)
