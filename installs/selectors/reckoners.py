"""What the reckoners begin with, and their answers from the pure calculations.

The calculations are imported where they are asked for: scipy stays out of the pages
that do not reckon.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from installs.calc.layout.types import (
    BetweenRows,
    CatalystChoice,
    CatalystStep,
    CureTime,
    GoesBy,
    MeasuredTriangle,
    SpacingCheck,
    SquareMeasure,
    Squareness,
    SquareTolerance,
    TemperatureWindow,
    TriangleMark,
)
from installs.models import ArrayPlan, CuringTable, WorkSettings
from installs.selectors.plans import layout_of, plan_rows, work_settings_get
from sites.models import Lane
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import M_PER_FT, Typed, UnitSystem

#: Widths and speeds that a reckoner begins with when no lane is named.
#: Common practice, no source.
USUAL_WIDTH_M = 12.0 * M_PER_FT
TRACK_WIDTH_M = 1.9
SETTING_STEP_M = {UnitSystem.US: 0.01 * M_PER_FT, UnitSystem.SI: 0.01}

First = tuple[float | None, Typed | None]


@dataclass(frozen=True)
class Basis:
    """The plan or lane that a reckoner is used for, and what the agency works by."""

    work: WorkSettings
    plan: ArrayPlan | None
    lane: Lane | None

    @property
    def width_m(self) -> float:
        """The lane's width by the plan, else by the lane, else the usual one."""
        if self.plan is not None:
            return self.plan.lane_width_m
        return (self.lane.width_m if self.lane else None) or USUAL_WIDTH_M

    def first_for_square(self) -> dict[str, First]:
        """First values of the reference line's boxes."""
        typed = self.plan.typed("lane_width_m") if self.plan else None
        if self.plan is None and self.lane is not None and self.lane.width_m:
            typed = self.lane.typed("width_m")
        return {
            "width": (self.width_m, typed),
            "speed": self._of_plan("speed_kmh"),
            "tape": self._of_work("tape_sd_mm"),
            "tolerance": self._of_work("square_tolerance_mm"),
            "track": (TRACK_WIDTH_M, None),
        }

    def first_for_spacing(self, system: UnitSystem) -> dict[str, First]:
        """First values of the spacing's boxes; what the plan draws is planned."""
        planned = None
        setting: First = (None, None)
        if self.plan is not None:
            from installs.calc.layout.array import controller_spacing_m

            planned = controller_spacing_m(layout_of(self.plan, plan_rows(self.plan)))
            setting = self._of_plan("controller_spacing_m")
        return {
            "setting": setting,
            "planned": (planned, None),
            "speed": self._of_plan("speed_kmh"),
            "tape": self._of_work("tape_sd_mm"),
            "tolerance": self._of_work("spacing_tolerance_mm"),
            "step": (SETTING_STEP_M[system], None),
        }

    def _of_plan(self, name: str) -> First:
        fact = self.plan or ArrayPlan()
        return getattr(fact, name), fact.typed(name)

    def _of_work(self, name: str) -> First:
        return getattr(self.work, name), self.work.typed(name)


def basis(*, plan: str, lane: str) -> Basis:
    """What a reckoner is used for, from its address; an unknown one is none."""
    found = (
        ArrayPlan.objects.select_related("lane__wim_site").filter(pk=int(plan)).first()
        if plan.isdecimal() and len(plan) < 10
        else None
    )
    where = found.lane if found else None
    if where is None and lane.isdecimal() and len(lane) < 10:
        where = Lane.objects.select_related("wim_site").filter(pk=int(lane)).first()
    return Basis(work_settings_get(), found, where)


def marks_for(width_m: float, system: UnitSystem) -> tuple[TriangleMark, ...]:
    """The marks of the right-triangle method up to a lane's width; none may fit."""
    from installs.calc.layout.square import triangle_marks

    try:
        return triangle_marks(width_m, system=system)
    except DomainError:
        return ()


def square_answer(
    triangles: Sequence[MeasuredTriangle],
    *,
    width_m: float,
    speed_kmh: float,
    tape_sd_mm: float,
    tolerance_mm: float,
    track_m: float,
    against_traffic: bool,
    unit: str,
) -> Squareness:
    """How square a line is, against so many millimetres at the far edge."""
    from installs.calc.layout.square import combined_squareness

    return combined_squareness(
        triangles,
        tape_sd_m=tape_sd_mm / 1000.0,
        lane_width_m=width_m,
        track_width_m=track_m,
        speed_kmh=speed_kmh,
        tolerance=SquareTolerance(SquareMeasure.FAR_EDGE, tolerance_mm),
        leg_points_downstream=not against_traffic,
        unit=unit,
    )


def spacing_answer(
    readings_m: Sequence[float],
    *,
    setting_m: float,
    planned_m: float | None,
    speed_kmh: float,
    tape_sd_mm: float,
    tolerance_mm: float,
    step_m: float,
    system: UnitSystem,
) -> SpacingCheck:
    """What a difference between setting and spacing does, from the mean reading."""
    from installs.calc.layout.spacing import check_spacing

    return check_spacing(
        sum(readings_m) / len(readings_m),
        setting_m,
        speed_kmh=speed_kmh,
        tape_sd_m=tape_sd_mm / 1000.0,
        n_readings=len(readings_m),
        planned_m=planned_m,
        tolerance_mm=tolerance_mm,
        setting_step_m=step_m,
        system=system,
    )


@dataclass(frozen=True)
class WeatherAnswer:
    """The day's temperatures judged, and what the maker's table says of them.

    ``silent`` tells why the table says nothing, where it does not reach.
    """

    table: CuringTable
    windows: tuple[Judgement, ...]
    choice: CatalystChoice | None
    cure: CureTime | None
    silent: tuple[str, ...]
    goes_by: GoesBy

    @property
    def is_outside(self) -> bool:
        """Whether a temperature is outside its window: nothing may be poured."""
        return any(one.verdict is Verdict.MISSES for one in self.windows)


def weather_answer(
    table: CuringTable,
    *,
    air_c: float,
    pavement_c: float,
    resin_c: float,
    goes_by: GoesBy,
    between: BetweenRows,
    system: UnitSystem,
) -> WeatherAnswer:
    """May it be poured today, with how much hardener, and how long must it cure?

    Parameters
    ----------
    goes_by
        Which temperature the maker's table is for. The cure is taken at the colder of
        pavement and air.
    """
    from installs.calc.layout.catalyst import catalyst_at
    from installs.calc.layout.cure import required_cure
    from installs.calc.layout.temperatures import ABOVE_FREEZING, judge_temperature

    source = str(table)
    windows = (
        ("air temperature", air_c, ABOVE_FREEZING),
        (
            "pavement temperature",
            pavement_c,
            TemperatureWindow(
                table.pavement_low_c, table.pavement_high_c, source, "maker's table"
            ),
        ),
        (
            "resin temperature",
            resin_c,
            TemperatureWindow(
                table.resin_low_c, table.resin_high_c, source, "maker's table"
            ),
        ),
    )
    judged = tuple(
        judge_temperature(what, value, window, system=system)
        for what, value, window in windows
    )
    steps = curing_steps(table)
    temps = {GoesBy.PAVEMENT: pavement_c, GoesBy.AIR: air_c, GoesBy.RESIN: resin_c}
    silent, choice, cure = [], None, None
    try:
        choice = catalyst_at(
            steps,
            temps[goes_by],
            amount_unit=table.hardener_unit,
            between=between,
            system=system,
        )
    except DomainError as error:
        silent.append(error.message)
    try:
        cure = required_cure(
            min(pavement_c, air_c), steps, between=between, system=system
        )
    except DomainError as error:
        if error.message not in silent:
            silent.append(error.message)
    return WeatherAnswer(table, judged, choice, cure, tuple(silent), goes_by)


def curing_steps(table: CuringTable) -> tuple[CatalystStep, ...]:
    """A kept table as the rows that the calculations take."""
    return tuple(
        CatalystStep(row.temp_c, row.hardener_amount, row.pot_life_min, row.cure_min)
        for row in table.rows.all()
    )
