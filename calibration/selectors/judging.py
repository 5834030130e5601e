"""A session's runs, and what they come to, computed from the stored facts.

scipy is slow to import; it is imported where something is computed, so that lists and
forms do not wait for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from calibration.calc.types import (
    EnvironmentPlan,
    LanePosition,
    MeasuredRun,
    Quantity,
    ReferenceVehicle,
    RunErrors,
    SessionPurpose,
    TestPlan,
    WheelPairs,
)
from calibration.models import (
    CalibrationSession,
    RunStage,
    StaticWeighing,
    TruckRun,
)
from calibration.selectors.standards import agency_values
from sites.selectors import program_get
from wimprog.lib.units import UnitSystem

if TYPE_CHECKING:
    from calibration.calc.judging import JudgedRuns
    from calibration.calc.standards.base import Conditions, StandardVerdict
    from calibration.calc.standards.values import AgencyValues


def site_zone(session: CalibrationSession) -> ZoneInfo:
    """The time zone in which people at the session's site write the time."""
    return ZoneInfo(session.lane.wim_site.time_zone)


FUEL_REACH_H = 24.0
"""Hours after a weighing for which its rate of burn is believed: a truck that comes
back another day was filled up (common practice, no source)."""


def as_reference_vehicle(weighing: StaticWeighing) -> ReferenceVehicle:
    """A stored weighing as the computation takes it; needs ``vehicle`` loaded."""
    return ReferenceVehicle(
        name=weighing.vehicle.name,
        vehicle_class=weighing.vehicle.vehicle_class,
        axle_weights_kg=tuple(weighing.axle_weights_kg),
        axle_spacings_m=tuple(weighing.vehicle.axle_spacings_m),
        weighed_at=weighing.weighed_at,
        scale_certificate=weighing.certificate,
        weighing=str(weighing.pk),
    )


def reference_of_run(run: TruckRun) -> ReferenceVehicle:
    """What a run is held against: its weighing, less the fuel burnt since.

    Burnt fuel comes off every axle in proportion to its load. Needs
    ``weighing.vehicle`` loaded.
    """
    found = as_reference_vehicle(run.weighing)
    burnt_kg = fuel_burnt_kg(run)
    if not burnt_kg:
        return replace(found, weighing=weighing_key(run))
    left = 1.0 - burnt_kg / run.weighing.gvw_kg
    return replace(
        found,
        weighing=weighing_key(run),
        axle_weights_kg=tuple(left * kg for kg in found.axle_weights_kg),
    )


def fuel_burnt_kg(run: TruckRun) -> float:
    """Fuel burnt [kg] from the weighing to the run; 0 where no rate is known."""
    rate = run.weighing.fuel_kg_per_hour or 0.0
    hours = (run.run_at - run.weighing.weighed_at).total_seconds() / 3600.0
    return rate * hours if 0.0 < hours <= FUEL_REACH_H else 0.0


def weighing_key(run: TruckRun) -> str:
    """Name of what a run is held against; its own where fuel counts."""
    if run.weighing.fuel_kg_per_hour:
        return f"{run.weighing_id}, run {run.number}"
    return str(run.weighing_id)


def references_of_runs(runs: Sequence[TruckRun]) -> list[ReferenceVehicle]:
    """What the runs are held against, each once."""
    return list({weighing_key(run): reference_of_run(run) for run in runs}.values())


def as_measured_run(run: TruckRun) -> MeasuredRun:
    """A run as the computation takes it; needs ``weighing.vehicle`` loaded."""
    spacings_m = run.axle_spacings_m
    return MeasuredRun(
        run=str(run.number),
        vehicle=run.weighing.vehicle.name,
        time=run.run_at,
        axle_weights_kg=tuple(run.axle_weights_kg),
        axle_spacings_m=tuple(spacings_m) if spacings_m else None,
        speed_kmh=run.speed_kmh,
        reference_speed_kmh=run.reference_speed_kmh,
        pavement_temp_c=run.pavement_temp_c,
        lane_position=LanePosition(run.lane_position),
        excluded=run.excluded,
        exclusion_reason=run.exclusion_reason,
        weighing=weighing_key(run),
        wheel_weights_kg=_wheels(run),
    )


def _wheels(run: TruckRun) -> WheelPairs | None:
    """Left and right of each axle; a list that is too short is complained of later."""
    left, right = run.left_wheel_weights_kg, run.right_wheel_weights_kg
    if not left or not right:
        return None
    return tuple(zip(left, right, strict=False))


def conditions_of(
    session: CalibrationSession,
    unit_system: UnitSystem | str,
    *,
    agency: AgencyValues | None = None,
) -> Conditions:
    """The session's test conditions and the agency's own values of the standards.

    ``agency`` are those values where they are already read.
    """
    from calibration.calc.standards.base import Conditions

    return Conditions(
        plan=TestPlan(session.plan),
        environment=EnvironmentPlan(session.environment),
        is_initial=session.purpose == SessionPurpose.INSTALLATION,
        unit_system=UnitSystem(unit_system),
        agency_values=agency_values() if agency is None else agency,
    )


def session_runs(
    session: CalibrationSession, stage: RunStage | str | None = None
) -> list[TruckRun]:
    """The session's runs with their weighings and vehicles, in order of number."""
    runs = session.runs.select_related("weighing__vehicle").order_by("number")
    return list(runs if stage is None else runs.filter(stage=stage))


def stage_errors(runs: Sequence[TruckRun]) -> RunErrors:
    """The single errors of runs that are already read."""
    from calibration.calc.run_errors import run_errors

    return run_errors(references_of_runs(runs), [as_measured_run(run) for run in runs])


def session_errors(session: CalibrationSession, stage: RunStage | str) -> RunErrors:
    """The single errors of a session's runs before or after the factor was changed."""
    return stage_errors(session_runs(session, stage))


def session_judged(
    session: CalibrationSession,
    stage: RunStage | str,
    *,
    standards: Sequence[str] = (),
    runs: Sequence[TruckRun] | None = None,
    unit_system: UnitSystem | str | None = None,
) -> JudgedRuns:
    """What a stage's runs showed, under the session's own standard and others.

    Parameters
    ----------
    standards
        Keys of further standards; each finds the best class attained. The session's
        own comes first and is held against the class that the session asks for.
    runs
        The stage's runs with ``weighing.vehicle`` loaded, where already read.
    unit_system
        Which of a standard's two sets of limits holds; the program's if not given.
    """
    from calibration.calc.factor import propose_factor
    from calibration.calc.judging import judge_runs

    runs = session_runs(session, stage) if runs is None else runs
    system = unit_system or program_get().unit_system
    judged = judge_runs(
        references_of_runs(runs),
        [as_measured_run(run) for run in runs],
        standards=[session.standard, *standards],
        wanted_class=session.wanted_class,
        conditions=conditions_of(session, system),
    )
    gross = judged.errors[Quantity.GROSS_WEIGHT]
    old = session.factor_before
    if stage == RunStage.AS_LEFT:
        old = session.factor_after or session.factor_before
    if not gross.n or old is None:
        return judged
    return replace(judged, factor=propose_factor(gross, old_factor=old))


def session_verdicts(
    session: CalibrationSession, stage: RunStage | str, standards: Sequence[str] = ()
) -> tuple[StandardVerdict, ...]:
    """The same runs under several standards side by side, in the order asked for.

    Empty ``standards`` means every standard there is.
    """
    from calibration.calc.standards import all_standards

    keys = list(standards) or list(all_standards())
    judged = session_judged(session, stage, standards=keys)
    by_key = {one.standard: one for one in judged.verdicts}
    return tuple(by_key[key.strip().casefold()] for key in keys)


@dataclass(frozen=True, eq=False)
class JudgedStage:
    """The runs of one stage and what they showed."""

    stage: str
    runs: tuple[TruckRun, ...]
    judged: JudgedRuns

    @property
    def n_used(self) -> int:
        """Runs computed with."""
        return len(self.judged.errors.runs_used)


def session_stages(
    session: CalibrationSession, *, unit_system: UnitSystem | str
) -> list[JudgedStage]:
    """As found and as left, each judged by every standard; only those with runs."""
    from calibration.calc.standards import all_standards

    runs = session_runs(session)
    stages = []
    for stage in RunStage.values:
        own = [run for run in runs if run.stage == stage]
        if own:
            judged = session_judged(
                session,
                stage,
                standards=list(all_standards()),
                runs=own,
                unit_system=unit_system,
            )
            stages.append(JudgedStage(stage, tuple(own), judged))
    return stages
