"""The demo's calibration habits: scales, costs, a plan, and signatures. Invented."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal
from typing import Any

import numpy as np

from calibration.models import (
    CalibrationSession,
    CalibrationSettings,
    SessionPlan,
    SessionState,
    TestVehicle,
)
from calibration.services.agency import calibration_settings_save
from calibration.services.plans import plan_save
from calibration.services.signing import session_sign
from wimprog.demo.standing import WHY
from wimprog.lib.units import KG_PER_LB

#: The depot's scale shows steps of 20 lb and holds 0.1 % of the load (k = 2).
SCALE = {
    "scale_step_kg": 20.0 * KG_PER_LB,
    "scale_expanded_pct": 0.1,
    "scale_coverage_k": 2.0,
    "fuel_kg_per_hour": 14.0,
}
REPEATS = 3


def scale_readings(axles_kg: list[float], *, seed: int) -> list[dict[str, Any]]:
    """Three weighings axle by axle, and the whole vehicle twice."""
    rng = np.random.default_rng(seed)
    step = float(SCALE["scale_step_kg"])

    def shown(load_kg: float, spread_kg: float) -> float:
        return round(float(load_kg + rng.normal(0.0, spread_kg)) / step) * step

    found = [
        {"axles": [axle], "kg": shown(load, 14.0)}
        for _ in range(REPEATS)
        for axle, load in enumerate(axles_kg)
    ]
    whole = list(range(len(axles_kg)))
    found += [{"axles": whole, "kg": shown(sum(axles_kg), 18.0)} for _ in range(2)]
    return found


def calibrating(*, as_of: dt.date, manager: Any, technician: Any) -> None:
    """The agency's settings, next month's plan, and this year's signatures."""
    calibration_settings_save(
        settings=CalibrationSettings(
            session_cost=Decimal(6200),
            price_per_lane_km_cm=21_000.0,
            designed_per_year_km=9.0,
            design_esals=8_000_000.0,
            resilient_modulus_mpa=55.0,
        ),
        by=manager,
        why=WHY,
    )
    sessions = CalibrationSession.objects.filter(state=SessionState.CLOSED)
    latest = sessions.order_by("-held_on", "pk")[:3]
    for session in latest:
        for role, name, by in (
            ("technician", "R. Halvard", technician),
            ("engineer", "M. Ostrander", manager),
        ):
            session_sign(
                session=session, role=role, name_signed=name,
                client_id=uuid.uuid4(), by=by,
            )  # fmt: skip
    oldest = sessions.order_by("-held_on").last()
    if oldest is None:
        return
    plan_save(
        plan=SessionPlan(
            lane=oldest.lane,
            planned_on=as_of + dt.timedelta(days=24),
            wanted_class=oldest.wanted_class,
            standard=oldest.standard,
            runs_per_vehicle=12,
            speeds_kmh=[72.42048, 88.51392, 104.60736],
            lane_positions=["left", "centre", "right"],
            pavement_temps="cool morning and warm afternoon",
            expected_sd_pct=4.0,
            traffic_control_plan="TCP-11",
            as_typed={"speeds_kmh": ["45 55 65", "mph"]},
        ),
        vehicles=TestVehicle.objects.all(),
        by=technician,
        why=WHY,
    )
