"""Each run held against what its vehicle weighed at the time of the run.

Fuel burnt between the weighing and a run lightens the reference; a tank of 400 kg on a
truck of 36 t is over one per cent of it. Every run gets a reference of its own, named
after the run, so that the errors are computed as always and an auditor sees the weight
that each run was held against.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from calibration.calc.fuel import after_burn
from calibration.calc.reference_types import FuelBurn, VehicleReference
from calibration.calc.types import MeasuredRun, ReferenceVehicle


@dataclass(frozen=True)
class RunReferences:
    """Runs with the weighings that they are held against.

    Attributes
    ----------
    vehicles
        One reference for each run, at the run's time.
    runs
        The runs, each naming its reference.
    not_moved
        Labels of the runs without a time: held against the weighing as it was.
    """

    vehicles: tuple[ReferenceVehicle, ...]
    runs: tuple[MeasuredRun, ...]
    not_moved: tuple[str, ...]


def references_at_runs(
    runs: Sequence[MeasuredRun],
    references: Mapping[str, VehicleReference],
    fuel: Mapping[str, FuelBurn],
    axle_spacings_m: Mapping[str, Sequence[float]],
    *,
    km_driven: Mapping[str, float] | None = None,
) -> RunReferences:
    """Give every run its vehicle's weight at its time.

    Parameters
    ----------
    runs
        The runs; those of vehicles without a reference here are passed over.
    references
        Weighing of each vehicle by name.
    fuel
        Its burn; a vehicle left out burns nothing.
    axle_spacings_m
        Its axle spacings [m].
    km_driven
        Distance driven from the weighing to each run [km], by run label.

    Returns
    -------
    RunReferences
        To be given to ``run_errors``. The references keep the weighing's own time, so
        that a run before it is still complained of.
    """
    found: list[ReferenceVehicle] = []
    held: list[MeasuredRun] = []
    not_moved: list[str] = []
    for run in runs:
        weighed = references.get(run.vehicle)
        if weighed is None:
            continue
        moved = weighed
        burn = fuel.get(run.vehicle)
        if burn is not None:
            if run.time is None or weighed.at is None:
                not_moved.append(run.run)
            else:
                km = (km_driven or {}).get(run.run, 0.0)
                moved = after_burn(weighed, burn, at=run.time, km=km)
        vehicle = moved.as_vehicle(axle_spacings_m[run.vehicle], weighing=run.run)
        found.append(replace(vehicle, weighed_at=weighed.at))
        held.append(replace(run, weighing=run.run))
    return RunReferences(tuple(found), tuple(held), tuple(not_moved))
