"""Surveys for the tests: a sound location, and the same with something changed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sites.calc.types import (
    Communications,
    Distress,
    Drainage,
    FlowKind,
    LineNearby,
    PavementKind,
    PullOff,
    SurveyFacts,
)

SOUND = SurveyFacts(
    curve_is_straight=True,
    grade_pct=-0.5,
    cross_slope_pct=0.9,
    lane_width_m=3.9,
    geometry_before_m=90.0,
    geometry_after_m=60.0,
    plate_passes=False,
    straightedge_length_m=4.9,
    smooth_before_m=90.0,
    smooth_after_m=60.0,
    rutting_mm=2.0,
    iri_m_per_km=1.0,
    deflection_hundredths_mm=12.0,
    deflection_difference_hundredths_mm=-2.0,
    pavement_kind=PavementKind.SEMI_RIGID,
    pavement_thickness_mm=220.0,
    pavement_age_years=4.0,
    distress_level=Distress.NONE,
    lri_m_per_km=0.40,
    peak_lri_m_per_km=0.42,
    sri_m_per_km=0.40,
    peak_sri_m_per_km=0.60,
    speed_p15_kmh=85.0,
    speed_p85_kmh=105.0,
    speed_mean_kmh=95.0,
    speed_sd_kmh=8.0,
    flow=FlowKind.FREE,
    trucks_per_day=800.0,
    drainage=Drainage.GOOD,
    sight_distance_m=400.0,
    pull_off=PullOff.PAVED,
    power_distance_m=60.0,
    communications=Communications.MOBILE,
    lines_overhead=LineNearby.NONE,
    lines_underground=LineNearby.NONE,
)


def survey(**changes: Any) -> SurveyFacts:
    """The sound location with these facts changed."""
    return replace(SOUND, **changes)


def curve(radius_m: float, **changes: Any) -> SurveyFacts:
    """The sound location in a curve."""
    return survey(curve_is_straight=False, curve_radius_m=radius_m, **changes)
