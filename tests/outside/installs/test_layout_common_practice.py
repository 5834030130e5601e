"""Layout against what stands outside the project: practice, closed forms, standards."""

import math

import pytest

from installs.calc.layout.cure import required_cure
from installs.calc.layout.dew_point import dew_point_c
from installs.calc.layout.quantities import takeoff
from installs.calc.layout.slots import overcut_m, tail_area_m2
from installs.calc.layout.spacing import check_spacing
from installs.calc.layout.square import squareness, triangle_marks
from installs.calc.layout.types import (
    ArrayElement,
    ArrayLayout,
    AxleSpacings,
    ElementKind,
    WorkFigures,
)
from installs.calc.layout.usual_arrays import usual_array
from installs.calc.types import Technology
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import KMH_PER_MPH, UnitSystem
from wimprog.lib.units import M_PER_FT as FT

# Common practice, no source: legs of 3, 6, 9 ft into the lane and 4, 8, 12 ft along the
# edge have diagonals of 5, 10, 15 ft.
MARKS_FT = [(3, 4, 5), (6, 8, 10), (9, 12, 15)]


def test_marks_of_the_right_triangle_method_in_whole_feet():
    marks = triangle_marks(11 * FT, system=UnitSystem.US)
    found = [
        tuple(
            round(x / FT, 9)
            for x in (m.leg_into_lane_m, m.leg_along_edge_m, m.diagonal_m)
        )
        for m in marks
    ]
    assert found == MARKS_FT


@pytest.mark.parametrize("sides_ft", MARKS_FT)
def test_the_marks_are_square(sides_ft):
    found = squareness(*(x * FT for x in sides_ft), lane_width_m=3.66, speed_kmh=100.0)
    assert found.angle_deg == pytest.approx(90.0, abs=1e-9)
    assert found.far_edge_mm == pytest.approx(0.0, abs=1e-6)
    assert found.judgement.verdict is Verdict.MEETS


@pytest.mark.parametrize(
    ("sides", "angle_deg"),
    [
        ((1, 1, 1), 60.0),  # Euclid I.1, equilateral
        ((1, 1, math.sqrt(3)), 120.0),  # two equilateral halves
        ((1, 1, math.sqrt(2)), 90.0),  # Pythagoras, half a square
        ((5, 12, 13), 90.0),  # Pythagorean triples
        ((8, 15, 17), 90.0),
    ],
)
def test_angles_of_triangles_known_since_euclid(sides, angle_deg):
    found = squareness(*sides, lane_width_m=3.66, speed_kmh=100.0)
    assert found.angle_deg == pytest.approx(angle_deg, abs=1e-9)


def test_uncertainty_of_the_3_4_5_triangle_in_closed_form():
    # At a right angle with sides 3, 4, 5 the derivatives are 5/12, −3/12 and −4/12, so
    # u = s √50 / 12 per unit of length (JCGM 100:2008, 5.1.2, worked by hand).
    found = squareness(
        3 * FT, 4 * FT, 5 * FT, tape_sd_m=0.002, lane_width_m=3.66, speed_kmh=100.0
    )
    by_hand = math.degrees(0.002 / FT * math.sqrt(50.0) / 12.0)
    assert found.u_deg == pytest.approx(by_hand, rel=1e-9)


# --- ASTM E1318-09, table 1, as printed in FHWA Traffic Monitoring Guide 2022, D-1 ---


@pytest.mark.parametrize(
    ("system", "speed", "spacing"),
    [
        (UnitSystem.US, "within ±1 mph", "within ±0.5 ft"),
        (UnitSystem.SI, "within ±2 km/h", "within ±0.15 m"),
    ],
)
def test_tolerances_of_speed_and_spacing(system, speed, spacing):
    found = check_spacing(3.0, 3.0, speed_kmh=100.0, system=system)
    assert (found.speed.limit, found.spacing.limit) == (speed, spacing)


def test_the_tolerances_bite_where_they_should():
    # 1 mph in 60 mph is one part in sixty: 12 ft set as 12.2 ft is just at the limit,
    # 0.5 ft in a wheelbase of 50 ft is one part in a hundred: 12.12 ft.
    truck = AxleSpacings("truck of 50 ft", (50.0 * FT,), "worked by hand")
    found = check_spacing(
        12 * FT, 12.2 * FT, speed_kmh=60 * KMH_PER_MPH, system=UnitSystem.US
    )
    assert found.speed.value == pytest.approx(1.0)
    found = check_spacing(
        12 * FT, 12.12 * FT, speed_kmh=100.0, vehicle=truck, system=UnitSystem.US
    )
    assert found.spacing.value == pytest.approx(0.5)


# --- dew point: psychrometric tables ------------------------------------------------


@pytest.mark.parametrize(
    ("air_c", "humidity_pct", "dew_c"),
    [
        # Table of dew points as printed in coating inspection handbooks and ISO 8502-4,
        # annex (from memory), to ±0.1 °C.
        (20.0, 50.0, 9.3),
        (20.0, 80.0, 16.4),
        (30.0, 60.0, 21.4),
        (10.0, 70.0, 4.8),
    ],
)
def test_dew_points_of_the_tables(air_c, humidity_pct, dew_c):
    assert dew_point_c(air_c, humidity_pct) == pytest.approx(dew_c, abs=0.11)


def test_vapour_pressure_behind_the_dew_point():
    # Saturation vapour pressure over water, steam tables: 23.39 hPa at 20 °C, 12.28 hPa
    # at 10 °C. A dew point of 10 °C at 20 °C is therefore 52.5 % relative humidity.
    assert dew_point_c(20.0, 100.0 * 12.28 / 23.39) == pytest.approx(10.0, abs=0.03)


def test_cure_of_common_practice():
    # Common practice, no source: at least 30 minutes.
    assert required_cure(25.0).minutes == 30.0


# --- saw cuts: the circle's own arithmetic ------------------------------------------


def test_overcut_of_a_blade_by_the_5_12_13_triangle():
    # A blade of radius 13 that cuts 8 deep stands 5 above the surface, so it is in the
    # cut for 12 either side of its axle (Pythagoras); the segment above the chord is
    # R² arccos(5/13) − 5 × 12 (any table of plane figures).
    assert overcut_m(26.0, 8.0) == pytest.approx(0.012)
    segment_mm2 = 169.0 * math.acos(5.0 / 13.0) - 60.0
    assert tail_area_m2(26.0, 8.0) == pytest.approx(segment_mm2 / 2.0 / 1e6)


def test_supports_every_six_inches():
    # Common practice, no source: a support every 6 in. Ten feet have 20 spaces of 6 in
    # and so 21 supports.
    sensor = ArrayElement(
        ElementKind.AXLE_SENSOR, "sensor", 0.0, 0.02, 0.0, 10 * FT, 19.0, 50.8, 12.0
    )
    array = ArrayLayout(Technology.POLYMER_PIEZO, 12 * FT, 2.4, (sensor,))
    found = takeoff(array, WorkFigures(small_parts_waste_share=0.0))
    assert found.amount("supports") == 21


def test_exit_hole_of_common_practice():
    # Common practice, no source: about 18 in from the pavement edge, 1.5 in across.
    array = usual_array(
        Technology.POLYMER_PIEZO, lane_width_m=12 * FT, shoulder_width_m=8 * FT
    )
    for hole in array.of_kind(ElementKind.EXIT_HOLE):
        assert hole.across_centre_m + 8 * FT == pytest.approx(0.4572)
        assert hole.length_m == pytest.approx(0.0381)
