"""The reference line: marks, angles, their uncertainty, and what cannot be."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from installs.calc.layout.square import (
    combined_squareness,
    squareness,
    triangle_marks,
)
from installs.calc.layout.triangle import triangle_angle
from installs.calc.layout.types import (
    MeasuredTriangle,
    SquareMeasure,
    SquareTolerance,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import M_PER_FT as FT
from wimprog.lib.units import UnitSystem

LANE_M = 3.66
HALF_DEGREE = SquareTolerance(SquareMeasure.ANGLE, 0.5)
AT_THE_ROAD = {"lane_width_m": LANE_M, "speed_kmh": 100.0}


def triangle(a, b, angle_deg, name=""):
    """A triangle with exactly this angle between its legs."""
    t = math.radians(angle_deg)
    return MeasuredTriangle(
        a, b, math.sqrt(a * a + b * b - 2 * a * b * math.cos(t)), name
    )


def judged(one, tolerance=HALF_DEGREE, **more):
    return combined_squareness([one], tolerance=tolerance, **{**AT_THE_ROAD, **more})


# --- marks -------------------------------------------------------------------------


def test_marks_in_metres_are_whole_multiples_of_the_step():
    marks = triangle_marks(3.66)
    legs = [round(m.leg_into_lane_m, 9) for m in marks]
    assert legs == [0.9, 1.8, 2.7, 3.6]
    assert [round(m.diagonal_m, 9) for m in marks] == [1.5, 3.0, 4.5, 6.0]
    (whole,) = triangle_marks(3.66, step_m=1.0)
    assert (whole.leg_into_lane_m, whole.leg_along_edge_m, whole.diagonal_m) == (
        3,
        4,
        5,
    )


def test_a_lane_of_exactly_twelve_feet_takes_the_fourth_mark():
    assert len(triangle_marks(12 * FT, system=UnitSystem.US)) == 4
    assert len(triangle_marks(11.99 * FT, system=UnitSystem.US)) == 3


@pytest.mark.parametrize("width", [0.0, -3.0, math.nan, 2.9])
def test_no_marks_for_a_lane_too_narrow_or_none(width):
    with pytest.raises(DomainError, match="lane"):
        triangle_marks(width, step_m=1.0)


# --- the angle ---------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    a=st.floats(0.5, 5.0),
    b=st.floats(0.5, 5.0),
    angle=st.floats(60.0, 120.0),
    scale=st.floats(0.2, 20.0),
    turn=st.floats(0.0, 2 * math.pi),
    east=st.floats(-100.0, 100.0),
)
def test_rotation_scale_and_place_leave_the_angle_alone(a, b, angle, scale, turn, east):
    corner = complex(east, -east)
    edge = corner + b * scale * complex(math.cos(turn), math.sin(turn))
    other = turn + math.radians(angle)
    lane = corner + a * scale * complex(math.cos(other), math.sin(other))
    measured = MeasuredTriangle(
        abs(lane - corner), abs(edge - corner), abs(lane - edge)
    )
    found = triangle_angle(measured, tape_sd_m=0.002)
    assert found.angle_deg == pytest.approx(angle, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(a=st.floats(0.5, 5.0), b=st.floats(0.5, 5.0), angle=st.floats(70.0, 110.0))
def test_uncertainty_agrees_with_numerical_derivatives(a, b, angle):
    one = triangle(a, b, angle)
    sides = (one.leg_into_lane_m, one.leg_along_edge_m, one.diagonal_m)
    step, total = 1e-6, 0.0
    for index in range(3):
        ends = []
        for sign in (1, -1):
            moved = list(sides)
            moved[index] += sign * step
            ends.append(triangle_angle(MeasuredTriangle(*moved), tape_sd_m=1).angle_deg)
        total += ((ends[0] - ends[1]) / (2 * step)) ** 2
    found = triangle_angle(one, tape_sd_m=0.002).u_deg
    assert found == pytest.approx(0.002 * math.sqrt(total), rel=1e-4)


@pytest.mark.parametrize("angle", [88.0, 90.0, 91.5])
@pytest.mark.parametrize("legs", [(0.9, 1.2), (2.7, 3.6), (3.0, 1.0)])
def test_interval_covers_the_true_angle_as_stated(angle, legs):
    rng = np.random.default_rng(20240601)
    n, sd = 2000, 0.002
    true = triangle(*legs, angle)
    sides = np.array([true.leg_into_lane_m, true.leg_along_edge_m, true.diagonal_m])
    covered = 0
    for row in sides + rng.normal(0.0, sd, size=(n, 3)):
        found = judged(MeasuredTriangle(*row), tape_sd_m=sd).deviation_deg
        covered += found.low <= angle - 90.0 <= found.high
    low, high = binom.interval(0.999, n, 0.95)
    assert low <= covered <= high


def test_interval_of_combined_triangles_covers_as_stated():
    rng = np.random.default_rng(7)
    n, sd, angle = 1500, 0.002, 90.4
    truths = [triangle(0.9 * k, 1.2 * k, angle) for k in (1, 2, 3)]
    sides = np.array(
        [[t.leg_into_lane_m, t.leg_along_edge_m, t.diagonal_m] for t in truths]
    )
    covered = disagreed = 0
    for _ in range(n):
        noisy = sides + rng.normal(0.0, sd, size=sides.shape)
        found = combined_squareness(
            [MeasuredTriangle(*row) for row in noisy], tape_sd_m=sd, **AT_THE_ROAD
        )
        covered += found.deviation_deg.low <= 0.4 <= found.deviation_deg.high
        disagreed += not found.is_consistent
    assert (
        binom.interval(0.999, n, 0.95)[0]
        <= covered
        <= binom.interval(0.999, n, 0.95)[1]
    )
    assert (
        binom.interval(0.999, n, 0.05)[0]
        <= disagreed
        <= binom.interval(0.999, n, 0.05)[1]
    )


# --- what it does to traffic -------------------------------------------------------


def test_far_edge_and_wheels_follow_from_the_angle():
    found = judged(triangle(2.7, 3.6, 89.0), track_width_m=1.8, speed_kmh=90.0)
    slope = math.tan(math.radians(1.0))
    assert found.far_edge_mm == pytest.approx(1000 * LANE_M * slope)
    assert found.wheel_shift_ms == pytest.approx(1000 * 1.8 * slope / 25.0)
    ends = found.far_edge_interval_mm
    assert ends.low < found.far_edge_mm < ends.high


def test_a_leg_laid_against_traffic_turns_the_sign():
    with_it = judged(triangle(2.7, 3.6, 89.0))
    against = judged(triangle(2.7, 3.6, 89.0), leg_points_downstream=False)
    assert against.far_edge_mm == pytest.approx(-with_it.far_edge_mm)
    assert against.wheel_shift_ms == pytest.approx(-with_it.wheel_shift_ms)
    assert against.deviation_deg == with_it.deviation_deg


# --- judgement ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("angle", "verdict"),
    [
        (90.0, Verdict.MEETS),
        (90.3, Verdict.MEETS),
        (90.5, Verdict.CANNOT_SAY),
        (89.5, Verdict.CANNOT_SAY),
        (90.8, Verdict.MISSES),
        (89.2, Verdict.MISSES),
    ],
)
def test_judged_by_the_whole_interval(angle, verdict):
    # 2.7, 3.6, 4.5 m at 1.6 mm: u is 0.066°, half the interval 0.13°
    found = judged(triangle(2.7, 3.6, angle), tape_sd_m=0.0016)
    assert found.judgement.verdict == verdict
    assert found.judgement.n == 1
    assert "95 % interval" in found.judgement.sentence
    by_offset = SquareTolerance(
        SquareMeasure.FAR_EDGE, 1000 * LANE_M * math.tan(math.radians(0.5))
    )
    other = judged(triangle(2.7, 3.6, angle), by_offset, tape_sd_m=0.0016).judgement
    assert (other.verdict, other.unit) == (verdict, "mm")


def test_readings_too_rough_for_the_tolerance_say_so():
    # by hand: 1.96 × 2 mm × √50 / (12 × 0.9 m) × 3.66 m, either way
    rough = SquareTolerance(SquareMeasure.FAR_EDGE, 6.0)
    found = judged(triangle(2.7, 3.6, 90.0), rough, tape_sd_m=0.002)
    assert found.far_edge_interval_mm.high == pytest.approx(9.39, abs=0.01)
    assert found.judgement.verdict is Verdict.CANNOT_SAY
    assert "cannot tell it that closely" in found.judgement.sentence


def test_without_a_tolerance_nothing_is_said():
    found = judged(triangle(2.7, 3.6, 90.0), None).judgement
    assert found.verdict is Verdict.CANNOT_SAY
    assert "no tolerance" in found.sentence


def test_tolerance_of_nothing_is_refused():
    with pytest.raises(DomainError, match="above zero"):
        SquareTolerance(SquareMeasure.FAR_EDGE, 0.0)


def test_the_triangle_that_disagrees_is_named():
    good = [triangle(0.9 * k, 1.2 * k, 90.1, f"no. {k}") for k in (1, 3)]
    bad = triangle(1.8, 2.4, 91.0, "the middle one")
    found = combined_squareness([good[0], bad, good[1]], **AT_THE_ROAD)
    assert not found.is_consistent
    assert found.disagreeing == 1
    assert found.judgement.verdict is Verdict.CANNOT_SAY
    assert "the middle one" in found.judgement.sentence


def test_two_triangles_that_disagree_do_not_say_which():
    pair = [triangle(2.7, 3.6, 90.0), triangle(2.7, 3.6, 91.0)]
    found = combined_squareness(pair, **AT_THE_ROAD)
    assert not found.is_consistent
    assert found.disagreeing is None
    assert "measure them again" in found.judgement.sentence


def test_triangles_that_disagree_but_all_miss_do_miss():
    both = [triangle(2.7, 3.6, 92.0), triangle(2.7, 3.6, 94.0)]
    found = combined_squareness(both, **AT_THE_ROAD)
    assert not found.is_consistent
    assert found.judgement.verdict is Verdict.MISSES


def test_mean_leans_to_the_larger_triangle():
    small, large = triangle(0.9, 1.2, 90.3), triangle(2.7, 3.6, 90.0)
    found = combined_squareness([small, large], **AT_THE_ROAD)
    alone = [triangle_angle(t, tape_sd_m=0.002).u_deg for t in (small, large)]
    # weights go as 1/u²: the small one is nine times as uncertain squared
    weight = alone[0] ** -2 / (alone[0] ** -2 + alone[1] ** -2)
    assert found.angle_deg == pytest.approx(90.0 + 0.3 * weight, abs=1e-6)
    assert found.u_deg < min(alone)


# --- what cannot be ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("sides_ft", "words"),
    [
        ((3, 4, 9.5), "9.5 ft cannot close on legs of 3 ft and 4 ft: at most 7 ft"),
        ((3, 4, 0.5), "0.5 ft cannot close on legs of 3 ft and 4 ft: at least 1 ft"),
        ((3, 4, 7), "lie flat"),
        ((3, 4, 1), "lie flat"),
        ((3, 4, 60), "diagonal of 60 ft given in another unit .inches among feet"),
        ((36, 4, 5), "leg into the lane of 36 ft given in another unit"),
    ],
)
def test_impossible_triangles_say_why(sides_ft, words):
    sides = [x * FT for x in sides_ft]
    with pytest.raises(DomainError, match=words) as refused:
        squareness(*sides, unit="ft", **AT_THE_ROAD)
    assert refused.value.complaints[0].remedy


@pytest.mark.parametrize("value", [0.0, -4.0, math.nan, math.inf])
@pytest.mark.parametrize("index", [0, 1, 2])
def test_sides_must_be_above_zero(value, index):
    sides = [3.0, 4.0, 5.0]
    sides[index] = value
    with pytest.raises(DomainError, match="above zero"):
        squareness(*sides, **AT_THE_ROAD)


def test_a_possible_but_odd_triangle_is_questioned():
    found = squareness(3 * FT, 4 * FT, 1.524 * FT, unit="ft", **AT_THE_ROAD)
    (question,) = found.questions
    assert "metres among feet" in question.message
    assert question.field == "diagonal"
    assert not judged(triangle(2.7, 3.6, 93.0)).questions


def test_a_leg_longer_than_the_lane_is_wide_is_questioned():
    # 9, 12, 15 typed as metres where feet were meant: square all the same
    found = squareness(9.0, 12.0, 15.0, **AT_THE_ROAD)
    (question,) = found.questions
    assert "reach 9 m in a lane of 3.66 m" in question.message
    assert not squareness(3.66, 4.88, 6.1, **AT_THE_ROAD).questions


@pytest.mark.parametrize("name", ["lane_width_m", "speed_kmh", "track_width_m"])
def test_sizes_of_nothing_are_refused(name):
    with pytest.raises(DomainError, match=name.split("_")[0]):
        squareness(3.0, 4.0, 5.0, **{**AT_THE_ROAD, name: 0.0})


def test_a_tape_without_error_and_no_triangle_are_refused():
    with pytest.raises(DomainError, match="tape"):
        squareness(3.0, 4.0, 5.0, tape_sd_m=0.0, **AT_THE_ROAD)
    with pytest.raises(DomainError, match="at least one"):
        combined_squareness([], **AT_THE_ROAD)
