"""What a survey of a location records, and the choices that it is recorded in.

The models take their choices from here. Values are SI with the unit in the name; None
is always "not measured", never zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from enum import StrEnum

from wimprog.lib.errors import DomainError


class SurveyKind(StrEnum):
    """What was surveyed."""

    CANDIDATE = "candidate"
    EXISTING = "existing site"


class FlowKind(StrEnum):
    """How traffic moves over the location."""

    FREE = "free flow"
    SLOWING = "sometimes slowing"
    STOP_AND_GO = "stop-and-go"


class Drainage(StrEnum):
    """What rain does at the location."""

    GOOD = "drains well"
    SLOW = "drains slowly"
    STANDS = "water stands"


class PullOff(StrEnum):
    """Where a crew's vehicle can stand clear of traffic."""

    PAVED = "paved, clear of traffic"
    FIRM = "firm ground, clear of traffic"
    NARROW = "soft or narrow"
    NONE = "none"


class Communications(StrEnum):
    """How records can leave the location."""

    WIRED = "wired"
    MOBILE = "mobile, strong signal"
    WEAK = "mobile, weak signal"
    NONE = "none"


class LineNearby(StrEnum):
    """A power, pipe or cable line near the work, overhead or underground."""

    NONE = "none"
    NEARBY = "nearby"
    IN_THE_WAY = "in the way of the work"


class Distress(StrEnum):
    """How the pavement looks where the sensors would lie."""

    NONE = "none seen"
    SLIGHT = "slight"
    SEVERE = "severe"


class PavementKind(StrEnum):
    """Structure of the pavement, as limits of deflection tell them apart."""

    SEMI_RIGID = "semi-rigid"
    ALL_BITUMEN = "all-bitumen"
    FLEXIBLE = "flexible"
    CONCRETE = "concrete"
    COMPOSITE = "asphalt over concrete"


class SiteClass(StrEnum):
    """Site classes of COST 323, best first."""

    EXCELLENT = "I"
    GOOD = "II"
    ACCEPTABLE = "III"


class RankReason(StrEnum):
    """What sets a candidate behind the one ranked before it."""

    FIRST = "first"
    MORE_MISSES = "more conditions missed"
    DEEPER_MISS = "a deeper miss"
    MORE_UNKNOWN = "more not known yet"
    SMALLER_MARGIN = "a smaller margin"
    TIED = "tied"
    NOTHING_MEASURED = "nothing measured"


_MAY_BE_NEGATIVE = {
    "grade_pct",
    "cross_slope_pct",
    "deflection_difference_hundredths_mm",
}
_MUST_BE_ABOVE_ZERO = {"curve_radius_m", "lane_width_m", "straightedge_length_m"}


@dataclass(frozen=True)
class SurveyFacts:
    """Everything a survey measured at one lane of one location.

    Attributes
    ----------
    curve_radius_m
        Radius of the horizontal curve along the lane's centre line [m].
    curve_is_straight
        True where the lane is straight, so that there is no radius to measure.
    grade_pct, cross_slope_pct
        Longitudinal grade and cross slope [%]; the sign is the direction and is not
        judged.
    lane_width_m
        Width between the lane's edges [m].
    geometry_before_m, geometry_after_m
        Distance before and after the sensors over which curve, grade, cross slope and
        width hold [m].
    plate_passes
        True where the plate (6 in across, 1/8 in thick) passes under the straightedge
        anywhere at the sensors or near them.
    straightedge_length_m
        Length of the straightedge used with the plate [m].
    smooth_before_m, smooth_after_m
        Distance before and after the sensors over which the plate was tried and did
        not pass [m].
    rutting_mm
        Greatest rut depth under a 3 m beam [mm].
    iri_m_per_km
        International roughness index over the approach [m/km].
    deflection_hundredths_mm, deflection_difference_hundredths_mm
        Deflection under a 13 t axle and its difference left to right [0.01 mm].
    pavement_kind, pavement_thickness_mm, pavement_age_years
        Structure, thickness of the bound layers [mm] and age [years].
    distress_level, distress
        How the pavement looks, and in words what was seen.
    lri_m_per_km, peak_lri_m_per_km, sri_m_per_km, peak_sri_m_per_km
        Long-range and short-range index of roughness at the sensors, and their peaks
        [m/km], by AASHTO M 331.
    speed_p15_kmh, speed_p85_kmh, speed_mean_kmh, speed_sd_kmh
        15th and 85th percentile, mean and standard deviation of speed [km/h].
    flow
        How traffic moves.
    trucks_per_day
        Trucks a day in the lane.
    drainage
        What rain does.
    sight_distance_m
        Distance at which an approaching driver sees the place of work [m].
    pull_off
        Where the crew's vehicle can stand.
    power_distance_m
        Distance to a supply of power [m].
    communications
        How records can leave.
    lines_overhead, lines_underground
        Lines near the work.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a number is not finite or is below zero where it cannot be, when a radius
        is given for a straight, or when the 15th percentile of speed is above the 85th.
    """

    curve_radius_m: float | None = None
    curve_is_straight: bool | None = None
    grade_pct: float | None = None
    cross_slope_pct: float | None = None
    lane_width_m: float | None = None
    geometry_before_m: float | None = None
    geometry_after_m: float | None = None
    plate_passes: bool | None = None
    straightedge_length_m: float | None = None
    smooth_before_m: float | None = None
    smooth_after_m: float | None = None
    rutting_mm: float | None = None
    iri_m_per_km: float | None = None
    deflection_hundredths_mm: float | None = None
    deflection_difference_hundredths_mm: float | None = None
    pavement_kind: PavementKind | None = None
    pavement_thickness_mm: float | None = None
    pavement_age_years: float | None = None
    distress_level: Distress | None = None
    distress: str = ""
    lri_m_per_km: float | None = None
    peak_lri_m_per_km: float | None = None
    sri_m_per_km: float | None = None
    peak_sri_m_per_km: float | None = None
    speed_p15_kmh: float | None = None
    speed_p85_kmh: float | None = None
    speed_mean_kmh: float | None = None
    speed_sd_kmh: float | None = None
    flow: FlowKind | None = None
    trucks_per_day: float | None = None
    drainage: Drainage | None = None
    sight_distance_m: float | None = None
    pull_off: PullOff | None = None
    power_distance_m: float | None = None
    communications: Communications | None = None
    lines_overhead: LineNearby | None = None
    lines_underground: LineNearby | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, float | int) and not isinstance(value, bool):
                _check_number(field.name, value)
        if self.curve_is_straight and self.curve_radius_m is not None:
            raise DomainError(
                f"The lane is said to be straight, yet its curve radius is "
                f"{self.curve_radius_m:g} m. Leave out one of the two."
            )
        low, high = self.speed_p15_kmh, self.speed_p85_kmh
        if low is not None and high is not None and low > high:
            raise DomainError(
                f"The 15th percentile of speed ({low:g} km/h) is above the 85th "
                f"({high:g} km/h). Were they exchanged?"
            )


def _check_number(name: str, value: float) -> None:
    words = name.replace("_", " ")
    if not math.isfinite(value):
        raise DomainError(
            f"“{words}” is {value}; give a finite number, or nothing where it was not "
            "measured."
        )
    if value < 0 and name not in _MAY_BE_NEGATIVE:
        raise DomainError(f"“{words}” is {value:g}; it cannot be below zero.")
    if value == 0 and name in _MUST_BE_ABOVE_ZERO:
        raise DomainError(
            f"“{words}” is 0; give what was measured, or nothing where it was not."
        )
