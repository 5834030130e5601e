"""The least world for a calc test: trucks and runs with errors that are known."""

import datetime as dt
from collections.abc import Sequence

import numpy as np

from calibration.calc.run_errors import run_errors
from calibration.calc.types import (
    MeasuredRun,
    Quantity,
    QuantityErrors,
    ReferenceVehicle,
    RunErrors,
)

WEIGHED = dt.datetime(2031, 5, 14, 6, 40)  # noqa: DTZ001 - sheets hold clock time
SPACINGS_M = (5.0, 1.3, 9.8, 1.25)


def truck(name: str = "T1", **changes: object) -> ReferenceVehicle:
    """A five-axle tractor and semitrailer of 36 t."""
    facts: dict = {
        "name": name,
        "vehicle_class": 9,
        "axle_weights_kg": (5000.0, 7500.0, 7500.0, 8000.0, 8000.0),
        "axle_spacings_m": SPACINGS_M,
        "weighed_at": WEIGHED,
    }
    return ReferenceVehicle(**facts | changes)


def run_of(
    vehicle: ReferenceVehicle,
    label: str,
    error_pct: float = 0.0,
    /,
    **changes: object,
) -> MeasuredRun:
    """A run whose axles are all ``error_pct`` off."""
    minutes = int(label) if label.isdecimal() else 1
    facts: dict = {
        "run": label,
        "vehicle": vehicle.name,
        "time": WEIGHED + dt.timedelta(minutes=minutes),
        "axle_weights_kg": tuple(
            kg * (1 + error_pct / 100) for kg in vehicle.axle_weights_kg
        ),
        "axle_spacings_m": vehicle.axle_spacings_m,
    }
    return MeasuredRun(**facts | changes)


def errors_of(errors_pct: Sequence[float], **changes: object) -> RunErrors:
    """Runs of one truck with the given gross weight errors."""
    vehicle = truck()
    return run_errors(
        [vehicle],
        [
            run_of(vehicle, str(place), error, **changes)
            for place, error in enumerate(errors_pct, start=1)
        ],
    )


def with_moments(n: int, mean: float, sd: float) -> list[float]:
    """``n`` numbers of exactly that mean and standard deviation (divisor n − 1)."""
    shape = np.linspace(-1.0, 1.0, n)
    shape = (shape - shape.mean()) / shape.std(ddof=1)
    return [float(x) for x in mean + sd * shape]


def plain_errors(
    values: Sequence[float],
    quantity: Quantity = Quantity.GROSS_WEIGHT,
    vehicles: Sequence[str] | None = None,
) -> QuantityErrors:
    """Errors as they are, each from a run of its own."""
    n = len(values)
    array = np.array(values, dtype=float)
    reference = np.full(n, 30000.0)
    return QuantityErrors(
        quantity=quantity,
        errors=array,
        measured=reference * (1 + array / 100),
        reference=reference,
        reference_gvw_kg=reference,
        runs=tuple(str(i) for i in range(1, n + 1)),
        vehicles=tuple(vehicles or ["T1"] * n),
        parts=("whole vehicle",) * n,
        why_none="" if n else "There are no runs.",
    )


def set_of(by_quantity: dict[Quantity, Sequence[float]]) -> RunErrors:
    """A set in which each quantity has the errors given, and the rest have none."""
    longest = max((len(values) for values in by_quantity.values()), default=0)
    return RunErrors(
        by_quantity={
            quantity: plain_errors(by_quantity.get(quantity, ()), quantity)
            for quantity in Quantity
        },
        runs_used=tuple(str(i) for i in range(1, longest + 1)),
        runs_excluded=(),
        vehicles=("T1", "T2"),
    )
