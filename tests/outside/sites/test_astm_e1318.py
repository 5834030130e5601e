"""ASTM E1318-09, section 6: conditions of the site.

From memory: all limits, in both unit systems. Confirmed second-hand: the radius of
1,700 m and the grade of ±2 % also stand in public Australian road-agency guidance on
weigh-in-motion sites.
"""

import pytest

from sites.calc.suitability.astm_e1318 import STANDARD
from sites.calc.suitability.base import SuitabilitySettings
from tests.sites.calc.build import curve, survey
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

FT = 0.3048
MPH = 1.609344
US = SuitabilitySettings(unit_system=UnitSystem.US)
SI = SuitabilitySettings(unit_system=UnitSystem.SI)
ONE_TO_THREE = ("Type I", "Type II", "Type III")

# condition, types, (limit in the SI unit: US, SI), inside is above?  -- from memory
LIMITS = [
    ("grade_pct", "grade", ONE_TO_THREE, (2.0, 2.0), False),
    ("grade_pct", "grade", ("Type IV",), (1.0, 1.0), False),
    ("cross_slope_pct", "cross_slope", ONE_TO_THREE, (3.0, 3.0), False),
    ("cross_slope_pct", "cross_slope", ("Type IV",), (1.0, 1.0), False),
    ("lane_width_m", "lane_width", ONE_TO_THREE, (12 * FT, 3.6), True),
    ("lane_width_m", "lane_width", ONE_TO_THREE, (14 * FT, 4.3), False),
    ("lane_width_m", "lane_width", ("Type IV",), (12 * FT, 3.6), True),
    ("geometry_before_m", "geometry_before", ONE_TO_THREE, (200 * FT, 60.0), True),
    ("geometry_before_m", "geometry_before", ("Type IV",), (150 * FT, 46.0), True),
    ("geometry_after_m", "geometry_after", ONE_TO_THREE, (100 * FT, 30.0), True),
    ("geometry_after_m", "geometry_after", ("Type IV",), (150 * FT, 46.0), True),
    ("smooth_before_m", "smooth_before", ONE_TO_THREE, (200 * FT, 60.0), True),
    ("smooth_after_m", "smooth_after", ONE_TO_THREE, (100 * FT, 30.0), True),
    ("smooth_after_m", "smooth_after", ("Type IV",), (150 * FT, 46.0), True),
    ("speed_p15_kmh", "speed_p15", ONE_TO_THREE, (10 * MPH, 16.0), True),
    ("speed_p15_kmh", "speed_p15", ("Type IV",), (2 * MPH, 3.0), True),
    ("speed_p85_kmh", "speed_p85", ONE_TO_THREE, (80 * MPH, 130.0), False),
]


def verdict(facts, key, wanted, settings):
    return STANDARD.judge(facts, wanted=wanted, settings=settings).line_of(key).verdict


@pytest.mark.parametrize(("field", "key", "types", "limits", "is_low"), LIMITS)
def test_a_value_at_the_limit_meets_and_one_beyond_it_misses(
    field, key, types, limits, is_low
):
    for wanted in types:
        for settings, limit in zip((US, SI), limits, strict=True):
            beyond = limit * (0.999 if is_low else 1.001)
            inside = limit * (1.001 if is_low else 0.999)
            loose = {"speed_p15_kmh": None} if field == "speed_p85_kmh" else {}
            for value, expected in (
                (limit, Verdict.MEETS),
                (inside, Verdict.MEETS),
                (beyond, Verdict.MISSES),
            ):
                facts = survey(**{field: value}, **loose)
                assert verdict(facts, key, wanted, settings) is expected, value


@pytest.mark.parametrize("wanted", [*ONE_TO_THREE, "Type IV"])
def test_the_radius_is_5700_ft_or_1700_m_by_the_unit_system(wanted):
    # 5,700 ft is 1,737.36 m: the pair is rounded, and each holds in its own system
    assert verdict(curve(5_700 * FT), "curve_radius", wanted, US) is Verdict.MEETS
    assert verdict(curve(5_699 * FT), "curve_radius", wanted, US) is Verdict.MISSES
    assert verdict(curve(1_700.0), "curve_radius", wanted, US) is Verdict.MISSES
    assert verdict(curve(1_700.0), "curve_radius", wanted, SI) is Verdict.MEETS
    assert verdict(curve(1_699.0), "curve_radius", wanted, SI) is Verdict.MISSES


def test_the_plate_must_not_pass_under_16_ft_or_5_m():
    for length in (16 * FT, 5.0):
        for passes, expected in ((False, Verdict.MEETS), (True, Verdict.MISSES)):
            facts = survey(plate_passes=passes, straightedge_length_m=length)
            assert verdict(facts, "plate", "Type I", US) is expected


def test_type_iv_asks_no_greatest_lane_width():
    facts = survey(lane_width_m=5.0)
    assert verdict(facts, "lane_width", "Type IV", US) is Verdict.MEETS
    assert verdict(facts, "lane_width", "Type I", US) is Verdict.MISSES


def test_nothing_of_it_claims_to_be_checked_against_the_document():
    for wanted in (*ONE_TO_THREE, "Type IV"):
        found = STANDARD.judge(survey(), wanted=wanted)
        for line in found.lines:
            assert "not checked against the document" in line.judgement.standing
