"""A whole session of two trucks for the papers. Every name and weight is invented."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from calibration import services
from calibration.models import CalibrationSession, FactorSet, TruckRun
from tests.calibration.factories import (
    MORNING,
    CalibrationSessionFactory,
    StaticWeighingFactory,
    TestVehicleFactory,
)
from wimprog.lib.units import KG_PER_LB, KMH_PER_MPH, M_PER_FT

TRUCKS = (
    ("Gravel truck", 6, [16.8, 4.4], [14_260.0, 17_180.0, 17_040.0], 1.1),
    (
        "Five-axle tractor-trailer",
        9,
        [17.2, 4.3, 32.1, 4.2],
        [11_480.0, 16_940.0, 16_760.0, 17_240.0, 17_060.0],
        -0.6,
    ),
)
SPEEDS_MPH = (50.0, 58.0, 65.0)
SCALE: dict[str, Any] = {
    "scale_step_kg": 20 * KG_PER_LB,
    "scale_expanded_kg": 12.0,
    "scale_expanded_pct": 0.1,
    "certificate_until": dt.date(2025, 1, 10),
}


def whole_session(by: Any, *, n: int = 11, close: bool = True) -> CalibrationSession:
    """As found and as left, two trucks, typed in pounds, one run set aside."""
    session: Any = CalibrationSessionFactory.create(
        factor_before=1.0,
        people="M. Tarn, J. Oake",
        traffic_control_plan="TCP 14-2",
        conditions="Dry, light wind, 61 to 88 °F",
        note="The tractor’s driver was changed at noon.",
    )
    weighings = [_weighing(truck, place) for place, truck in enumerate(TRUCKS)]
    rng = np.random.default_rng(2031)
    for stage, bias, start in (("as found", 3.0, 1), ("as left", 0.2, 2 * n + 1)):
        runs = [
            _run(rng, weighings[place % 2], TRUCKS[place % 2], start + place, bias)
            for place in range(2 * n)
        ]
        for run in runs:
            run.stage = stage
        services.runs_add(session=session, runs=runs, by=by, why="typed")
    aside = session.runs.get(number=6)
    services.run_set_aside(run=aside, reason="changed lanes over the loop", by=by)
    FactorSet.objects.create(
        session=session,
        stage="as found",
        overall=1.0,
        by_speed=[[80.0, 1.0], [105.0, 1.004]],
    )
    if close:
        services.session_close(
            session=session, factor_after=0.9705, by=by, why="adjusted"
        )
    return CalibrationSession.objects.get(pk=session.pk)


def _weighing(truck: Any, place: int) -> Any:
    name, vehicle_class, spacings_ft, axles_lb, _ = truck
    vehicle = TestVehicleFactory.create(
        name=name,
        vehicle_class=vehicle_class,
        axle_spacings_m=[one * M_PER_FT for one in spacings_ft],
        suspension="air on the drive axles",
        tyres="11R22.5",
    )
    readings = [
        {"axles": [axle], "kg": (load + shift) * KG_PER_LB}
        for axle, load in enumerate(axles_lb)
        for shift in (-20.0, 0.0, 20.0)
    ]
    return StaticWeighingFactory.create(
        vehicle=vehicle,
        weighed_at=MORNING + dt.timedelta(minutes=10 * place),
        axle_weights_kg=[one * KG_PER_LB for one in axles_lb],
        readings=readings,
        fuel_kg_per_hour=14.0,
        **SCALE,
    )


def _run(
    rng: np.random.Generator, weighing: Any, truck: Any, number: int, bias: float
) -> TruckRun:
    _, _, spacings_ft, axles_lb, own = truck
    speed = SPEEDS_MPH[number % 3]
    shared = bias + own + 0.06 * (speed - 58.0) + rng.normal(0.0, 1.6)
    weights_lb = [
        round(load * (1 + (shared + rng.normal(0.0, 1.2)) / 100) / 10) * 10
        for load in axles_lb
    ]
    spacings = [round(one + rng.normal(0.0, 0.08), 1) for one in spacings_ft]
    temp_f = 61 + round(number * 0.6)
    radar = speed + round(rng.normal(0.0, 0.6))
    run = TruckRun(
        weighing=weighing,
        number=number,
        run_at=MORNING + dt.timedelta(minutes=30 + 6 * number),
        axle_weights_kg=[one * KG_PER_LB for one in weights_lb],
        axle_spacings_m=[one * M_PER_FT for one in spacings],
        speed_kmh=speed * KMH_PER_MPH,
        reference_speed_kmh=radar * KMH_PER_MPH,
        pavement_temp_c=(temp_f - 32) / 1.8,
    )
    run.as_typed = {
        "axle_weights_kg": [" ".join(f"{one:,}" for one in weights_lb), "lb"],
        "axle_spacings_m": [" ".join(map(str, spacings)), "ft"],
        "speed_kmh": [f"{speed:g}", "mph"],
        "reference_speed_kmh": [f"{radar:g}", "mph"],
        "pavement_temp_c": [str(temp_f), "°F"],
    }
    return run
