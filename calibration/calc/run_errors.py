"""Errors of truck runs against a static weighing, run by run.

The error of a weight is d = 100 (C − R)/R per cent, C the lane's value and R the static
reference (ASTM E1318-09, section 7; from memory). Errors of speed and spacing are C − R
in their own unit. Runs that were set aside are listed, never computed with; a run that
cannot be compared (axles missing, no reference) stops the computation with a message,
so that nothing is dropped in silence.

The axles of a group are those of the reference vehicle, not those that the lane saw.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.calc.axle_groups import GROUP_LIMIT_M, group_axles
from calibration.calc.run_checks import (
    reference_for,
    run_complaints,
    vehicle_complaints,
)
from calibration.calc.types import (
    FloatArray,
    MeasuredRun,
    Quantity,
    QuantityErrors,
    ReferenceVehicle,
    RunErrors,
)
from calibration.calc.wheel_loads import (
    SIDES,
    run_wheel_complaints,
    vehicle_wheel_complaints,
)
from wimprog.lib.errors import Complaint, UnreadableInput

METHOD_VERSION = "run-errors 2"
"""Goes beside every stored result; raised when a number could come out otherwise."""

_NO_REFERENCE_SPEED = "No reference speed was recorded."
_NO_SPEED = "The lane recorded no speed for the runs that have a reference speed."
_NO_SPACING = "The lane recorded no axle spacings."
_NO_WHEELS = "The lane recorded no wheel loads."
_NO_STATIC_WHEELS = "No static wheel loads were taken of the vehicles."
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
    complaints += [c for one in vehicles for c in vehicle_wheel_complaints(one)]
    complaints += [c for run in runs for c in run_complaints(run, vehicles)]
    complaints += [c for run in runs for c in run_wheel_complaints(run)]
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
        _gather_wheels(gathered, vehicles[place], own)
        _gather_lengths(gathered, vehicles[place], own)
        _gather_speeds(gathered, vehicles[place], own)

    order = {run.run: place for place, run in enumerate(used)}
    has_reference = any(run.reference_speed_kmh is not None for run in used)
    reasons = dict(_WHY_NONE)
    reasons[Quantity.SPEED] = _NO_SPEED if has_reference else _NO_REFERENCE_SPEED
    has_wheels = any(run.wheel_weights_kg is not None for run in used)
    reasons[Quantity.WHEEL] = _NO_STATIC_WHEELS if has_wheels else _NO_WHEELS
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
        runs=tuple(used),
        references=tuple(vehicles[place] for place in by_reference),
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


def _gather_wheels(
    gathered: dict[Quantity, _Items],
    vehicle: ReferenceVehicle,
    runs: Sequence[MeasuredRun],
) -> None:
    """Wheels of the runs that have them, where the vehicle's were weighed too."""
    seen = [(run.run, run.wheel_weights_kg) for run in runs if run.wheel_weights_kg]
    if not seen or not vehicle.wheel_weights_kg:
        return
    gathered[Quantity.WHEEL].add(
        np.array([pairs for _, pairs in seen], dtype=float).reshape(len(seen), -1),
        np.array(vehicle.wheel_weights_kg, dtype=float).ravel(),
        runs=[label for label, _ in seen],
        parts=[
            f"axle {axle + 1}, {side}"
            for axle in range(vehicle.n_axles)
            for side in SIDES
        ],
        vehicle=vehicle,
    )


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
    places = np.array([order[run] for run in items.runs], dtype=np.int64)
    sort = np.argsort(places, kind="stable").tolist()

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
