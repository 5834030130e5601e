"""Errors of truck runs against a static weighing, run by run.

The error of a weight is d = 100 (C − R)/R per cent, C the lane's value and R the static
reference (ASTM E1318-09, section 7; from memory). Errors of speed and spacing are C − R
in their own unit. Runs that were set aside are listed, never computed with; a run that
cannot be compared (axles missing, no reference) stops the computation with a message,
so that nothing is dropped in silence.

The axles of a group are those of the reference vehicle, not those that the lane saw.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.calc.axle_groups import GROUP_LIMIT_M, group_axles
from calibration.calc.types import (
    FloatArray,
    MeasuredRun,
    Quantity,
    QuantityErrors,
    ReferenceVehicle,
    RunErrors,
)
from wimprog.lib.errors import Complaint, UnreadableInput

METHOD_VERSION = "run-errors 1"
"""Goes beside every stored result; raised when a number could come out otherwise."""

_NO_REFERENCE_SPEED = "No reference speed was recorded."
_NO_SPEED = "The lane recorded no speed for the runs that have a reference speed."
_NO_SPACING = "The lane recorded no axle spacings."
_WHY_NONE = {
    Quantity.AXLE_GROUP: "The vehicles have no axle groups.",
    Quantity.AXLE_OF_GROUP: "The vehicles have no axle groups.",
    Quantity.SINGLE_AXLE: "The vehicles have no single axles.",
    Quantity.AXLE_SPACING: _NO_SPACING,
    Quantity.WHEELBASE: _NO_SPACING,
}


@dataclass
class _Items:
    """Errors of one quantity while they are gathered, vehicle by vehicle."""

    measured: list[FloatArray] = field(default_factory=list)
    reference: list[FloatArray] = field(default_factory=list)
    gvw: list[FloatArray] = field(default_factory=list)
    runs: list[str] = field(default_factory=list)
    vehicles: list[str] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)

    def add(
        self,
        measured: FloatArray,
        reference: FloatArray,
        *,
        runs: Sequence[str],
        parts: Sequence[str],
        vehicle: ReferenceVehicle,
    ) -> None:
        """Take arrays of shape (runs, parts); the reference may be one row."""
        n_items = measured.size
        self.measured.append(measured.ravel())
        self.reference.append(np.broadcast_to(reference, measured.shape).ravel())
        self.gvw.append(np.full(n_items, vehicle.gvw_kg))
        self.runs += [run for run in runs for _ in parts]
        self.parts += list(parts) * len(runs)
        self.vehicles += [vehicle.name] * n_items


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


def run_errors(
    vehicles: Sequence[ReferenceVehicle],
    runs: Sequence[MeasuredRun],
    *,
    group_limit_m: float = GROUP_LIMIT_M,
) -> RunErrors:
    """Compute the errors of all quantities, each traced to its run.

    Parameters
    ----------
    vehicles
        Static weighings, in kg and m.
    runs
        Runs, in kg, m and km/h, in any order.
    group_limit_m
        Widest distance [m] between neighbouring axles of one group.

    Returns
    -------
    RunErrors
        An entry for every quantity; those without errors say why.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With every complaint at once, when a run or a weighing cannot be used.

    References
    ----------
    ASTM E1318-09, section 7 (definition of the difference; from memory).
    """
    complaints = [c for vehicle in vehicles for c in vehicle_complaints(vehicle)]
    complaints += [c for run in runs for c in run_complaints(run, vehicles)]
    complaints += [
        Complaint(
            f"The label of run {label} is used {count} times.",
            field="run",
            value=label,
            expected="a label of its own for every run",
            remedy="Remove the copy, or give it another label.",
        )
        for label, count in Counter(run.run for run in runs).items()
        if count > 1
    ]
    if complaints:
        raise UnreadableInput("The runs cannot be compared.", tuple(complaints))

    used = [run for run in runs if not run.excluded]
    gathered: dict[Quantity, _Items] = {quantity: _Items() for quantity in Quantity}
    by_reference: dict[int, list[MeasuredRun]] = defaultdict(list)
    places = {id(vehicle): place for place, vehicle in enumerate(vehicles)}
    for run in used:
        by_reference[places[id(reference_for(run, vehicles))]].append(run)
    for place, own in by_reference.items():
        _gather_weights(gathered, vehicles[place], own, group_limit_m)
        _gather_lengths(gathered, vehicles[place], own)
        _gather_speeds(gathered, vehicles[place], own)

    order = {run.run: place for place, run in enumerate(used)}
    has_reference = any(run.reference_speed_kmh is not None for run in used)
    reasons = dict(_WHY_NONE)
    reasons[Quantity.SPEED] = _NO_SPEED if has_reference else _NO_REFERENCE_SPEED
    return RunErrors(
        by_quantity={
            quantity: _finish(
                quantity,
                items,
                order,
                reasons.get(quantity, "") if used else "There are no runs.",
            )
            for quantity, items in gathered.items()
        },
        runs_used=tuple(order),
        runs_excluded=tuple(
            (run.run, run.exclusion_reason) for run in runs if run.excluded
        ),
        vehicles=tuple(dict.fromkeys(run.vehicle for run in used)),
    )


def _gather_weights(
    gathered: dict[Quantity, _Items],
    vehicle: ReferenceVehicle,
    runs: Sequence[MeasuredRun],
    group_limit_m: float,
) -> None:
    labels = [run.run for run in runs]
    measured = np.array([run.axle_weights_kg for run in runs], dtype=float)
    reference = np.array(vehicle.axle_weights_kg, dtype=float)
    groups = group_axles(vehicle.axle_spacings_m, group_limit_m=group_limit_m)
    everything = tuple(range(vehicle.n_axles))

    def add(quantity: Quantity, parts: Sequence[tuple[int, ...]]) -> None:
        if not parts:
            return
        gathered[quantity].add(
            np.column_stack([measured[:, list(p)].sum(axis=1) for p in parts]),
            np.array([reference[list(part)].sum() for part in parts]),
            runs=labels,
            parts=[_part_name(part, vehicle.n_axles) for part in parts],
            vehicle=vehicle,
        )

    add(Quantity.GROSS_WEIGHT, [everything])
    add(Quantity.AXLE_GROUP, groups.groups)
    add(Quantity.SINGLE_AXLE, [(axle,) for axle in groups.singles])
    add(Quantity.STEERING_AXLE, [(0,)])
    add(Quantity.AXLE_OF_GROUP, [(axle,) for axle in groups.of_groups])
    add(Quantity.AXLE, [(axle,) for axle in everything])


def _part_name(part: tuple[int, ...], n_axles: int) -> str:
    if len(part) == 1:
        return f"axle {part[0] + 1}"
    if len(part) == n_axles:
        return "whole vehicle"
    return f"axles {part[0] + 1}–{part[-1] + 1}"


def _gather_lengths(
    gathered: dict[Quantity, _Items],
    vehicle: ReferenceVehicle,
    runs: Sequence[MeasuredRun],
) -> None:
    seen = [(run.run, run.axle_spacings_m) for run in runs if run.axle_spacings_m]
    if not seen:
        return
    labels = [run for run, _ in seen]
    measured = np.array([spacings for _, spacings in seen], dtype=float)
    reference = np.array(vehicle.axle_spacings_m, dtype=float)
    gathered[Quantity.AXLE_SPACING].add(
        measured,
        reference,
        runs=labels,
        parts=[f"axles {i + 1}–{i + 2}" for i in range(reference.size)],
        vehicle=vehicle,
    )
    gathered[Quantity.WHEELBASE].add(
        measured.sum(axis=1, keepdims=True),
        np.array([reference.sum()]),
        runs=labels,
        parts=["first to last axle"],
        vehicle=vehicle,
    )


def _gather_speeds(
    gathered: dict[Quantity, _Items],
    vehicle: ReferenceVehicle,
    runs: Sequence[MeasuredRun],
) -> None:
    pairs = [
        (run.run, run.speed_kmh, run.reference_speed_kmh)
        for run in runs
        if run.speed_kmh is not None and run.reference_speed_kmh is not None
    ]
    if pairs:
        gathered[Quantity.SPEED].add(
            np.array([[speed] for _, speed, _ in pairs], dtype=float),
            np.array([[speed] for _, _, speed in pairs], dtype=float),
            runs=[run for run, _, _ in pairs],
            parts=["speed"],
            vehicle=vehicle,
        )


def _finish(
    quantity: Quantity, items: _Items, order: dict[str, int], why_none: str
) -> QuantityErrors:
    """Put the items in the order of the runs and compute their errors."""
    sort = sorted(range(len(items.runs)), key=lambda i: order[items.runs[i]])

    def ordered(pieces: list[FloatArray]) -> FloatArray:
        whole = np.concatenate(pieces) if pieces else np.empty(0)
        return whole[sort]

    measured, reference = ordered(items.measured), ordered(items.reference)
    error_of: Callable[[FloatArray, FloatArray], FloatArray] = (
        (lambda c, r: 100.0 * (c - r) / r)
        if quantity.unit == "%"
        else (lambda c, r: c - r)
    )
    return QuantityErrors(
        quantity=quantity,
        errors=error_of(measured, reference),
        measured=measured,
        reference=reference,
        reference_gvw_kg=ordered(items.gvw),
        runs=tuple(items.runs[i] for i in sort),
        vehicles=tuple(items.vehicles[i] for i in sort),
        parts=tuple(items.parts[i] for i in sort),
        why_none="" if sort else why_none,
    )
