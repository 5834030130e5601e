"""A session's record as plain values: for machines, and for what a signature seals."""

from __future__ import annotations

import datetime as dt
from typing import Any

from calibration.calc.sealing import plain
from calibration.calc.types import Quantity
from calibration.models import StaticWeighing, TruckRun
from calibration.selectors.judging import reference_of_run
from calibration.selectors.record import RecordStage, SessionRecord
from wimprog.lib.version import version

FORMAT = "calibration session record 1"
UNITS = (
    "kg, m, km/h and degrees Celsius; errors of weights in per cent of the static "
    "weight, errors of speed and lengths in the unit itself; instants in UTC"
)


def record_data(record: SessionRecord) -> dict[str, Any]:
    """The record for machines: facts, what was computed from them, and signatures."""
    told: dict[str, Any] = plain(
        {
            "format": FORMAT,
            "units": UNITS,
            "software": version(),
            **facts_of(record),
            "agency_values": values_of(record),
            "computed": computed_of(record),
            "signatures": [
                {
                    "role": one.role,
                    "name_signed": one.name_signed,
                    "account": one.signed_by.get_username(),
                    "signed_at": utc(one.signed_at),
                    "fingerprint": one.fingerprint,
                }
                for one in record.signatures
            ],
        }
    )
    return told


def utc(at: dt.datetime) -> str:
    """An instant as text, always alike."""
    return at.astimezone(dt.UTC).isoformat(timespec="microseconds")


def _day(day: dt.date | None) -> str | None:
    return day.isoformat() if day else None


def facts_of(record: SessionRecord) -> dict[str, Any]:
    """What people entered and decided."""
    session = record.session
    wim_site = session.lane.wim_site
    return {
        "session": {
            "number": session.pk,
            "site": wim_site.code,
            "lane": session.lane.label,
            "held_on": session.held_on.isoformat(),
            "purpose": session.purpose,
            "test_plan": session.plan,
            "environment": session.environment,
            "conditions": session.conditions,
            "standard": session.standard,
            "wanted_class": session.wanted_class,
            "people": session.people,
            "traffic_control_plan": session.traffic_control_plan,
            "note": session.note,
            "state": session.state,
            "factor_before": session.factor_before,
            "factor_after": session.factor_after,
            "unit_system": record.system.value,
        },
        "weighings": [_weighing_facts(one.weighing) for one in record.weighings],
        "runs": [_run_facts(run) for run in record.runs],
        "factors": [
            {
                "name": f"factors {one.stage}",
                "stage": one.stage,
                "overall": one.overall,
                "by_speed_kmh": one.by_speed,
                "by_sensor": one.by_sensor,
                "method": one.method,
                "predicted": one.predicted,
                "note": one.note,
            }
            for one in record.factor_sets
        ],
    }


def values_of(record: SessionRecord) -> dict[str, Any]:
    """The agency's own values in place of the standards', with where they are from."""
    return {
        standard: {key: list(value) for key, value in own.items()}
        for standard, own in record.agency_values.items()
    }


def _weighing_facts(one: StaticWeighing) -> dict[str, Any]:
    return {
        "name": f"weighing {one.pk}",
        "number": one.pk,
        "vehicle": one.vehicle.name,
        "vehicle_class": one.vehicle.vehicle_class,
        "origin": one.vehicle.origin,
        "axle_spacings_m": one.vehicle.axle_spacings_m,
        "weighed_at": utc(one.weighed_at),
        "axle_weights_kg": one.axle_weights_kg,
        "readings": one.readings,
        "fuel_kg_per_hour": one.fuel_kg_per_hour,
        "scale": one.scale,
        "certificate": one.certificate,
        "certified_on": _day(one.certified_on),
        "certificate_until": _day(one.certificate_until),
        "scale_step_kg": one.scale_step_kg,
        "scale_expanded_kg": one.scale_expanded_kg,
        "scale_expanded_pct": one.scale_expanded_pct,
        "scale_coverage_k": one.scale_coverage_k,
        "typed": one.as_typed,
    }


def _run_facts(run: TruckRun) -> dict[str, Any]:
    return {
        "name": f"run {run.number}",
        "number": run.number,
        "stage": run.stage,
        "weighing": f"weighing {run.weighing_id}",
        "vehicle": run.weighing.vehicle.name,
        "run_at": utc(run.run_at),
        "speed_kmh": run.speed_kmh,
        "reference_speed_kmh": run.reference_speed_kmh,
        "pavement_temp_c": run.pavement_temp_c,
        "lane_position": run.lane_position,
        "axle_weights_kg": run.axle_weights_kg,
        "static_axle_weights_kg": list(reference_of_run(run).axle_weights_kg),
        "axle_spacings_m": run.axle_spacings_m,
        "left_wheel_weights_kg": run.left_wheel_weights_kg,
        "right_wheel_weights_kg": run.right_wheel_weights_kg,
        "controller_record": run.controller_record,
        "excluded": run.excluded,
        "exclusion_reason": run.exclusion_reason,
        "typed": run.as_typed,
    }


def computed_of(record: SessionRecord) -> dict[str, Any]:
    """What the runs came to, each verdict with its limits and their standing."""
    from calibration.calc.run_errors import METHOD_VERSION

    return {
        "method": METHOD_VERSION,
        "stages": [_stage_computed(one) for one in record.stages],
        "before_after": record.before_after and record.before_after.sentence,
    }


def _stage_computed(stage: RecordStage) -> dict[str, Any]:
    judged = stage.judged.judged
    errors = judged.errors[Quantity.GROSS_WEIGHT]
    reference = stage.reference
    interval = reference.interval if reference else None
    return {
        "name": stage.name,
        **judged.as_dict(),
        "gross_weight_errors_pct": {
            run: float(error)
            for run, error in zip(errors.runs, errors.errors, strict=True)
        },
        "reference_u_pct": reference.u_pct if reference else None,
        "bias_interval_with_reference": [interval.low, interval.high]
        if interval
        else None,
        "outliers": stage.outliers.sentence,
        "effects": [one.sentence for one in stage.effects.effects],
        "adjustment": [str(stage.advice.adjustment), *stage.advice.reasons]
        if stage.advice
        else None,
    }


def facts_now(record: SessionRecord) -> dict[str, Any]:
    """What a signature seals: facts, the agency's values, and what came of them."""
    return {
        "facts": facts_of(record),
        "results": {
            "agency's own values": values_of(record),
            **computed_of(record),
        },
    }
