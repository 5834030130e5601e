"""Limits of the site in ASTM E1318-09, section 6: data of ``astm_e1318``.

All are from memory; see that module for what else is known of them.
"""

from __future__ import annotations

from sites.calc.suitability.base import E1318_TYPES, FROM_MEMORY
from sites.calc.suitability.lines import Bound, Limits, Requirement
from sites.calc.suitability.values import LimitValue, limit_values
from sites.calc.suitability.words import LENGTH, PERCENT, SPEED, listed
from sites.calc.survey_bounds import BOUNDS
from wimprog.lib.units import KMH_PER_MPH, M_PER_FT

STRAIGHTEDGE_M = (16.0 * M_PER_FT, 5.0)
"""The straightedge: 16 ft or 5 m, one instrument in two unit systems [m]."""

RULE = "ASTM E1318-09, section 6"
_SPEED_RULE = "ASTM E1318-09, speeds for which the type is meant"
_ALSO_PUBLIC = (
    f"{FROM_MEMORY}; the same metric figure stands in public Australian road-agency "
    "guidance"
)


def _ft(key: str, feet: float, metres: float) -> Bound:
    return Bound(metres, feet * M_PER_FT, key=key)


def _mph(key: str, mph: float, kmh: float) -> Bound:
    return Bound(kmh, mph * KMH_PER_MPH, key=key)


def _pct(key: str, percent: float) -> Bound:
    return Bound(percent, key=key)


def _limits(one_to_three: Limits, four: Limits) -> dict[str, Limits]:
    return {**dict.fromkeys(E1318_TYPES[:3], one_to_three), "Type IV": four}


_RADIUS = Limits(low=_ft("curve_radius", 5_700, 1_700))

REQUIREMENTS = (
    Requirement(
        "curve_radius",
        "curve radius",
        "curve_radius_m",
        LENGTH,
        _limits(_RADIUS, _RADIUS),
        RULE,
        too_low="No mending short of a new alignment: choose a place whose radius is "
        "{gap} longer, or a straight.",
        standing=_ALSO_PUBLIC,
    ),
    Requirement(
        "grade",
        "grade",
        "grade_pct",
        PERCENT,
        _limits(
            Limits(high=_pct("grade_i_iii", 2.0)), Limits(high=_pct("grade_iv", 1.0))
        ),
        RULE,
        too_high="No mending short of regrading: choose a place {gap} flatter.",
        standing=_ALSO_PUBLIC,
    ),
    Requirement(
        "cross_slope",
        "cross slope",
        "cross_slope_pct",
        PERCENT,
        _limits(
            Limits(high=_pct("cross_slope_i_iii", 3.0)),
            Limits(high=_pct("cross_slope_iv", 1.0)),
        ),
        RULE,
        too_high="Reshape the surface by an overlay until it is {gap} flatter, with "
        "drainage kept, or choose another place.",
    ),
    Requirement(
        "lane_width",
        "lane width",
        "lane_width_m",
        LENGTH,
        _limits(
            Limits(
                low=_ft("lane_width_least_i_iii", 12, 3.6),
                high=_ft("lane_width_most_i_iii", 14, 4.3),
            ),
            Limits(low=_ft("lane_width_least_iv", 12, 3.6)),
        ),
        RULE,
        too_low="Widen the lane by {gap}, by new markings where the pavement allows.",
        too_high="Mark the lane {gap} narrower, so that trucks keep to the sensors.",
    ),
    Requirement(
        "geometry_before",
        "even geometry before the sensors",
        "geometry_before_m",
        LENGTH,
        _limits(
            Limits(low=_ft("geometry_before_i_iii", 200, 60)),
            Limits(low=_ft("geometry_before_iv", 150, 46)),
        ),
        RULE,
        too_low="Move the array {gap} downstream, if what follows allows it.",
    ),
    Requirement(
        "geometry_after",
        "even geometry after the sensors",
        "geometry_after_m",
        LENGTH,
        _limits(
            Limits(low=_ft("geometry_after_i_iii", 100, 30)),
            Limits(low=_ft("geometry_after_iv", 150, 46)),
        ),
        RULE,
        too_low="Move the array {gap} upstream, if what comes before allows it.",
    ),
    Requirement(
        "smooth_before",
        "smooth pavement before the sensors",
        "smooth_before_m",
        LENGTH,
        _limits(
            Limits(low=_ft("smooth_before_i_iii", 200, 60)),
            Limits(low=_ft("smooth_before_iv", 150, 46)),
        ),
        RULE,
        too_low="Grind or resurface {gap} more before the sensors.",
    ),
    Requirement(
        "smooth_after",
        "smooth pavement after the sensors",
        "smooth_after_m",
        LENGTH,
        _limits(
            Limits(low=_ft("smooth_after_i_iii", 100, 30)),
            Limits(low=_ft("smooth_after_iv", 150, 46)),
        ),
        RULE,
        too_low="Grind or resurface {gap} more after the sensors.",
    ),
    Requirement(
        "speed_p15",
        "15th percentile of speed",
        "speed_p15_kmh",
        SPEED,
        _limits(
            Limits(low=_mph("speed_least_i_iii", 10, 16)),
            Limits(low=_mph("speed_least_iv", 2, 3)),
        ),
        _SPEED_RULE,
        too_low="Choose a place where slow traffic is {gap} faster.",
    ),
    Requirement(
        "speed_p85",
        "85th percentile of speed",
        "speed_p85_kmh",
        SPEED,
        _limits(
            Limits(high=_mph("speed_most_i_iii", 80, 130)),
            Limits(high=_mph("speed_most_iv", 10, 16)),
        ),
        _SPEED_RULE,
        too_high="Traffic has to pass {gap} slower, or another type is needed.",
    ),
)


def types_words(names: list[str]) -> str:
    """Types as a sentence lists them: "Types I, II and III"."""
    if not names:
        return "no type"
    bare = [name.removeprefix("Type ") for name in names]
    return f"Type{'s' * (len(bare) > 1)} {listed(bare)}"


EDGE_KEY = "straightedge_length"
EDITABLE_VALUES = (
    *limit_values(
        REQUIREMENTS,
        types_words,
        {
            "lane_width_least_i_iii": "lane_width_most_i_iii",
            "speed_least_i_iii": "speed_most_i_iii",
            "speed_least_iv": "speed_most_iv",
        },
    ),
    LimitValue(
        key=EDGE_KEY,
        name="length of the straightedge",
        value=STRAIGHTEDGE_M[1],
        unit=LENGTH.si,
        source=f"{RULE} (the 1994 text asks 20 ft)",
        at_most=BOUNDS["straightedge_length_m"].most,
        us=STRAIGHTEDGE_M[0],
        scale=LENGTH,
    ),
)
"""The plate is not among them: that it passes or not was seen with the plate that there
was, and no other limit makes another fact of it."""
