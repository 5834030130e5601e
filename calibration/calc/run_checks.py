"""Whether runs and static weighings can be compared, told in words for their sender.

Also which of a vehicle's static weighings a run is held against.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence

from calibration.calc.types import MeasuredRun, ReferenceVehicle
from wimprog.lib.errors import Complaint
from wimprog.lib.units import KG_PER_LB

UNIT_SLIP_BAND = 0.12
"""How near to 2.2046 or its inverse a ratio of weights counts as a slip of units;
common practice, no source: beyond any bias of a working lane."""


def is_unit_slip(ratio: float) -> bool:
    """Whether measured over static weight looks like pounds taken for kilograms.

    >>> is_unit_slip(2.2), is_unit_slip(1.05)
    (True, False)
    """
    return any(
        abs(ratio / slip - 1.0) <= UNIT_SLIP_BAND
        for slip in (KG_PER_LB, 1.0 / KG_PER_LB)
    )


def reference_for(
    run: MeasuredRun, vehicles: Iterable[ReferenceVehicle]
) -> ReferenceVehicle | None:
    """The static weighing that a run is held against, or None.

    The weighing that the run names; or else the vehicle's latest weighing that is not
    later than the run. Where all weighings are later, the earliest of them, so that the
    mistake can be shown.

    Parameters
    ----------
    run
        The run.
    vehicles
        All weighings known, in any order.

    Returns
    -------
    ReferenceVehicle or None
        None when the vehicle, or the weighing named, is not among them.
    """
    own = [vehicle for vehicle in vehicles if vehicle.name == run.vehicle]
    if run.weighing:
        own = [vehicle for vehicle in own if vehicle.weighing == run.weighing]
    if len(own) < 2:
        return own[0] if own else None
    dated = [
        (_clock(vehicle.weighed_at), vehicle)
        for vehicle in own
        if vehicle.weighed_at is not None
    ]
    if not dated:
        return own[-1]
    dated.sort(key=lambda pair: pair[0])
    before = [vehicle for _, vehicle in dated if not is_before_weighing(run, vehicle)]
    return before[-1] if before else dated[0][1]


def _clock(moment: dt.datetime) -> dt.datetime:
    """A moment that sorts: UTC where the zone is known, else as it stands."""
    if moment.tzinfo is None:
        return moment
    return moment.astimezone(dt.UTC).replace(tzinfo=None)


def is_before_weighing(run: MeasuredRun, vehicle: ReferenceVehicle) -> bool:
    """Is the run earlier than the static weighing? False where a time is missing.

    Parameters
    ----------
    run
        The run.
    vehicle
        The weighing. Where only one of the two times has a time zone, the clock times
        are compared.
    """
    if run.time is None or vehicle.weighed_at is None:
        return False
    ran, weighed = run.time, vehicle.weighed_at
    if (ran.tzinfo is None) != (weighed.tzinfo is None):
        ran, weighed = ran.replace(tzinfo=None), weighed.replace(tzinfo=None)
    return ran < weighed


def vehicle_complaints(vehicle: ReferenceVehicle) -> list[Complaint]:
    """What is wrong with a static weighing, in words for its sender.

    Parameters
    ----------
    vehicle
        The vehicle and its static weighing, in kg and m.
    """
    complaints = []
    where = f"vehicle {vehicle.name}"
    if not vehicle.axle_weights_kg:
        complaints.append(
            Complaint(
                f"The static weighing of {where} has no axle weights.",
                field="axle weights",
                remedy="Give the static weight of each axle.",
            )
        )
    if len(vehicle.axle_spacings_m) != max(vehicle.n_axles - 1, 0):
        complaints.append(
            Complaint(
                f"The number of axle spacings of {where} does not fit its "
                f"{vehicle.n_axles} axles.",
                field="axle spacings",
                value=str(len(vehicle.axle_spacings_m)),
                expected=f"{max(vehicle.n_axles - 1, 0)} spacings",
                remedy="Give the distance between each two neighbouring axles.",
            )
        )
    complaints += _not_positive(vehicle.axle_weights_kg, "static axle weight", where)
    complaints += _not_positive(vehicle.axle_spacings_m, "axle spacing", where)
    return complaints


def run_complaints(
    run: MeasuredRun, vehicles: Sequence[ReferenceVehicle]
) -> list[Complaint]:
    """What keeps a run from being compared, in words for its sender.

    Parameters
    ----------
    run
        The run. One that was set aside is not complained of, except for a missing
        reason.
    vehicles
        All weighings known.
    """
    where = f"run {run.run}"
    if run.excluded:
        if run.exclusion_reason.strip():
            return []
        return [
            Complaint(
                f"{where.capitalize()} is set aside without a reason.",
                field="exclusion reason",
                expected="a few words",
                remedy="Say why the run is set aside, or take it back in.",
            )
        ]
    vehicle = reference_for(run, vehicles)
    if vehicle is None:
        return [_unknown_vehicle(run, vehicles)]
    complaints = []
    n_axles = len(run.axle_weights_kg)
    if n_axles != vehicle.n_axles:
        complaints.append(
            Complaint(
                f"{where.capitalize()} has {n_axles} axle weights; {vehicle.name} has "
                f"{vehicle.n_axles} axles.",
                field="axle weights",
                value=str(n_axles),
                expected=f"{vehicle.n_axles} axle weights",
                remedy="Give one weight for each axle, or set the run aside with the "
                "reason.",
            )
        )
    spacings_m = run.axle_spacings_m
    if spacings_m is not None and len(spacings_m) != vehicle.n_axles - 1:
        complaints.append(
            Complaint(
                f"{where.capitalize()} has {len(spacings_m)} axle spacings; "
                f"{vehicle.name} has {vehicle.n_axles - 1}.",
                field="axle spacings",
                value=str(len(spacings_m)),
                expected=f"{vehicle.n_axles - 1} spacings, or none at all",
                remedy="Give all spacings, or leave them all out.",
            )
        )
    complaints += _not_positive(run.axle_weights_kg, "axle weight", where)
    complaints += _not_positive(spacings_m or (), "axle spacing", where)
    speeds = [s for s in (run.speed_kmh, run.reference_speed_kmh) if s is not None]
    complaints += _not_positive(speeds, "speed", where)
    if is_before_weighing(run, vehicle):
        complaints.append(
            Complaint(
                f"{where.capitalize()} is earlier than the static weighing of "
                f"{vehicle.name}.",
                field="time",
                value=f"{run.time:%Y-%m-%d %H:%M}",
                expected=f"a time after {vehicle.weighed_at:%Y-%m-%d %H:%M}",
                remedy="Correct the time, or give the weighing that came before.",
            )
        )
    return complaints


def _unknown_vehicle(
    run: MeasuredRun, vehicles: Sequence[ReferenceVehicle]
) -> Complaint:
    known = sorted({vehicle.name for vehicle in vehicles})
    named = run.vehicle + (f", weighing {run.weighing}" if run.weighing else "")
    return Complaint(
        f"Run {run.run} names a vehicle that has no static weighing.",
        field="vehicle",
        value=named,
        expected="one of " + ", ".join(known) if known else "",
        remedy="Correct the name, or give the vehicle's static weighing.",
    )


def _not_positive(values: Sequence[float], what: str, where: str) -> list[Complaint]:
    return [
        Complaint(
            f"The {what} no. {place} of {where} is not a weight, length or speed.",
            field=f"{what} {place}",
            value=f"{value:g}",
            expected="a number greater than zero",
            remedy="Correct it, or set the run aside with the reason.",
        )
        for place, value in enumerate(values, start=1)
        if not (math.isfinite(value) and value > 0)
    ]
