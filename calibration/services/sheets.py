"""Runs from the two sheets of a calibration: planned first, then kept as a whole."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from calibration.calc.run_checks import reference_for
from calibration.calc.types import LanePosition, MeasuredRun, ReferenceVehicle
from calibration.models import (
    CalibrationSession,
    RunStage,
    StaticWeighing,
    TestVehicle,
    TruckRun,
)
from calibration.selectors import site_zone
from calibration.services.facts import vehicle_save, weighing_save
from calibration.services.runs import refuse_if_closed, runs_add
from wimprog.lib.errors import Complaint, UnreadableInput
from wimprog.lib.units import UNITS

SCALE_NOT_NAMED = "not named in the sheet"
SAME_KG = 0.01
"""Two weights that differ by less are the same weight written in two units."""

_SYMBOLS = {"kmh": "km/h", "f": "°F", "c": "°C"}


@dataclass(frozen=True, eq=False)
class SheetPlan:
    """What keeping two sheets would add, and what of them is already there.

    Attributes
    ----------
    vehicles_new, weighings_new, runs_new
        To be added; none of them is stored yet.
    vehicles_known, weighings_known, runs_known
        Recognised: the same is stored already, and stays as it is.
    """

    stage: str
    vehicles_new: tuple[TestVehicle, ...]
    vehicles_known: tuple[TestVehicle, ...]
    weighings_new: tuple[StaticWeighing, ...]
    weighings_known: tuple[StaticWeighing, ...]
    runs_new: tuple[TruckRun, ...]
    runs_known: tuple[TruckRun, ...]

    @property
    def is_empty(self) -> bool:
        """Is there nothing to add?"""
        return not (self.vehicles_new or self.weighings_new or self.runs_new)

    @property
    def n_set_aside(self) -> int:
        """New runs that the sheet itself sets aside."""
        return sum(run.excluded for run in self.runs_new)


def runs_from_sheets(
    *,
    session: CalibrationSession,
    static_file: bytes,
    runs_file: bytes,
    stage: str = RunStage.AS_FOUND,
    static_name: str = "The static sheet",
    runs_name: str = "The runs sheet",
    units_are_right: bool = False,
) -> SheetPlan:
    """Read two sheets and say what keeping them would add. Writes nothing.

    Times without a zone are the site's. A run of the same vehicle at the same time as
    a stored run of the session is recognised, so a sheet can be given again.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With every complaint.
    wimprog.lib.errors.DomainError
        When the session is closed.
    """
    from calibration.calc.sheets import read_runs_sheet, read_static_sheet

    refuse_if_closed(session)
    zone = site_zone(session)
    references = read_static_sheet(static_file, name=static_name)
    measured = read_runs_sheet(
        runs_file, references, name=runs_name, units_are_right=units_are_right
    )
    complaints: list[Complaint] = []
    vehicles = _vehicles(references, complaints)
    weighings = _weighings(references, vehicles, zone, complaints)
    there = list(session.runs.select_related("weighing__vehicle"))
    new, known = _runs(
        measured, references, weighings, there, zone, RunStage(stage), complaints
    )
    if complaints:
        n = len(complaints)
        raise UnreadableInput(
            f"The sheets do not fit what is stored: {n} "
            f"{'fault' if n == 1 else 'faults'}. Nothing was stored.",
            tuple(complaints),
        )
    one_each = list({id(v): v for v in vehicles.values()}.values())
    return SheetPlan(
        stage=RunStage(stage).value,
        vehicles_new=tuple(v for v in one_each if v.pk is None),
        vehicles_known=tuple(v for v in one_each if v.pk is not None),
        weighings_new=tuple(w for w in weighings if w.pk is None),
        weighings_known=tuple(w for w in weighings if w.pk is not None),
        runs_new=tuple(new),
        runs_known=tuple(known),
    )


@transaction.atomic
def sheets_keep(
    *,
    session: CalibrationSession,
    plan: SheetPlan,
    by: Any,
    why: str,
    units_are_right: bool = False,
) -> list[TruckRun]:
    """Keep what a plan adds: vehicles, weighings and runs, all or nothing."""
    why = why or "imported from sheets"
    for vehicle in plan.vehicles_new:
        vehicle_save(vehicle=vehicle, by=by, why=why)
    for weighing in plan.weighings_new:
        weighing.vehicle = weighing.vehicle  # takes the key it has just been given
        weighing_save(weighing=weighing, by=by, why=why)
    for run in plan.runs_new:
        run.weighing = run.weighing
    if not plan.runs_new:
        return []
    return runs_add(
        session=session,
        runs=plan.runs_new,
        by=by,
        why=why,
        units_are_right=units_are_right,
    )


def _at(moment: dt.datetime | None, zone: ZoneInfo) -> dt.datetime:
    """The moment in its own zone, or the site's; both sheets must give their times."""
    if moment is None:
        raise UnreadableInput("A weighing or a run has no time. Nothing was stored.")
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)


def _as_typed(typed: Any) -> dict[str, list[str]]:
    kept = {}
    for name, (text, unit) in typed.items():
        symbol = _SYMBOLS.get(unit, unit)
        if symbol in UNITS:
            kept[name] = [text, symbol]
    return kept


def _vehicles(
    references: Sequence[ReferenceVehicle], complaints: list[Complaint]
) -> dict[str, TestVehicle]:
    names = {one.name for one in references}
    found = {one.name: one for one in TestVehicle.objects.filter(name__in=names)}
    for one in references:
        known = found.get(one.name)
        if known is None:
            found[one.name] = _new_vehicle(one, complaints)
        elif known.n_axles != one.n_axles:
            complaints.append(
                Complaint(
                    f"Vehicle {one.name} has {one.n_axles} axles in the sheet and "
                    f"{known.n_axles} in what is stored.",
                    field="vehicle",
                    value=one.name,
                    remedy="Correct the sheet, or give the other vehicle its own name.",
                )
            )
    return found


def _new_vehicle(one: ReferenceVehicle, complaints: list[Complaint]) -> TestVehicle:
    if one.vehicle_class is None:
        complaints.append(
            Complaint(
                f"Vehicle {one.name} is not stored yet, and the sheet does not give "
                "its class.",
                field="class",
                expected="an FHWA class, 1 to 13",
                remedy="Fill in the class, or add the vehicle first.",
            )
        )
    typed = _as_typed(one.typed)
    return TestVehicle(
        name=one.name,
        vehicle_class=one.vehicle_class,  # type: ignore[misc]  # complained of above
        axle_spacings_m=list(one.axle_spacings_m),
        as_typed={k: v for k, v in typed.items() if k == "axle_spacings_m"},
    )


def _weighings(
    references: Sequence[ReferenceVehicle],
    vehicles: dict[str, TestVehicle],
    zone: ZoneInfo,
    complaints: list[Complaint],
) -> list[StaticWeighing]:
    """One weighing for each row of the static sheet, stored or new, in its order."""
    there = {
        (one.vehicle_id, one.weighed_at): one
        for one in StaticWeighing.objects.filter(
            vehicle__in=[v for v in vehicles.values() if v.pk]
        ).select_related("vehicle")
    }
    weighings = []
    for one in references:
        vehicle = vehicles[one.name]
        weighed_at = _at(one.weighed_at, zone)
        known = there.get((vehicle.pk, weighed_at))
        if known is None:
            known = _new_weighing(one, vehicle, weighed_at, complaints)
        elif any(
            abs(a - b) > SAME_KG
            for a, b in zip(known.axle_weights_kg, one.axle_weights_kg, strict=False)
        ):
            complaints.append(
                Complaint(
                    f"{one.name} has a weighing at that time with other axle weights.",
                    field="weighed_at",
                    value=f"{one.weighed_at:%Y-%m-%d %H:%M}",
                    expected="the weights that are stored, or another time",
                    remedy="Correct the sheet, or the stored weighing.",
                )
            )
        weighings.append(known)
    return weighings


def _new_weighing(
    one: ReferenceVehicle,
    vehicle: TestVehicle,
    weighed_at: dt.datetime,
    complaints: list[Complaint],
) -> StaticWeighing:
    if not one.scale_certificate:
        complaints.append(
            Complaint(
                f"The weighing of {one.name} names no scale certificate.",
                field="scale_certificate",
                expected="the certificate of the scale",
                remedy="Fill it in; a reference weight rests on a certified scale.",
            )
        )
    typed = _as_typed(one.typed)
    return StaticWeighing(
        vehicle=vehicle,
        weighed_at=weighed_at,
        scale=SCALE_NOT_NAMED,
        certificate=one.scale_certificate,
        axle_weights_kg=list(one.axle_weights_kg),
        as_typed={k: v for k, v in typed.items() if k == "axle_weights_kg"},
    )


def _runs(
    measured: Sequence[MeasuredRun],
    references: Sequence[ReferenceVehicle],
    weighings: Sequence[StaticWeighing],
    there: Sequence[TruckRun],
    zone: ZoneInfo,
    stage: RunStage,
    complaints: list[Complaint],
) -> tuple[list[TruckRun], list[TruckRun]]:
    by_pass = {(run.weighing.vehicle.name, run.run_at): run for run in there}
    by_number = {run.number: run for run in there}
    place = {
        id(one): weighing for one, weighing in zip(references, weighings, strict=True)
    }
    new, known = [], []
    for one in measured:
        run_at = _at(one.time, zone)
        if (one.vehicle, run_at) in by_pass:
            stored = by_pass[(one.vehicle, run_at)]
            complaints += _differs(one, stored)
            known.append(stored)
            continue
        reference = reference_for(one, references)
        if reference is None:  # only a run that the sheet sets aside gets this far
            complaints.append(
                Complaint(
                    f"Run {one.run} names a vehicle that has no static weighing.",
                    field="vehicle",
                    value=one.vehicle,
                    remedy="Correct the name, or give the static weighing.",
                )
            )
            continue
        number = _number_of(one, by_number, complaints)
        new.append(_new_run(one, number, run_at, place[id(reference)], stage))
    return new, known


def _differs(one: MeasuredRun, stored: TruckRun) -> list[Complaint]:
    same = len(one.axle_weights_kg) == len(stored.axle_weights_kg) and all(
        abs(a - b) <= SAME_KG
        for a, b in zip(one.axle_weights_kg, stored.axle_weights_kg, strict=True)
    )
    if same:
        return []
    return [
        Complaint(
            f"Run {one.run} is stored already as run {stored.number}, with other axle "
            "weights.",
            field="run",
            value=one.run,
            expected="the weights that are stored",
            remedy="Correct the sheet; what is stored stays as it is.",
        )
    ]


def _number_of(
    one: MeasuredRun, by_number: dict[int, TruckRun], complaints: list[Complaint]
) -> int:
    number = int(one.run) if one.run.isdecimal() and len(one.run) <= 4 else 0
    if number < 1:
        complaints.append(
            Complaint(
                "A run is numbered with a whole number.",
                field="run",
                value=one.run,
                expected="1 to 9999",
                remedy="Number the runs 1, 2, 3 … in the column “run”.",
            )
        )
    elif number in by_number:
        complaints.append(
            Complaint(
                f"Run number {number} is already taken in this session by another "
                f"pass ({by_number[number].stage}, "
                f"{by_number[number].run_at:%Y-%m-%d %H:%M} UTC).",
                field="run",
                value=one.run,
                expected=f"numbers from {max(by_number) + 1} on",
                remedy="Give the new runs the next free numbers.",
            )
        )
    return number


def _new_run(
    one: MeasuredRun,
    number: int,
    run_at: dt.datetime,
    weighing: StaticWeighing,
    stage: RunStage,
) -> TruckRun:
    return TruckRun(
        weighing=weighing,
        number=number,
        stage=stage.value,
        run_at=run_at,
        speed_kmh=one.speed_kmh,
        reference_speed_kmh=one.reference_speed_kmh,
        pavement_temp_c=one.pavement_temp_c,
        lane_position=(one.lane_position or LanePosition.CENTRE).value,
        axle_weights_kg=list(one.axle_weights_kg),
        axle_spacings_m=list(one.axle_spacings_m) if one.axle_spacings_m else None,
        excluded=one.excluded,
        exclusion_reason=one.exclusion_reason,
        as_typed=_as_typed(one.typed),
    )
