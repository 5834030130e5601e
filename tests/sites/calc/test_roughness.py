"""Moving windows along the road and the place for the array, against plain sums."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc.array_location import IriLimits, best_location
from sites.calc.iri import half_car_index, iri_m_per_km, suspension_motion
from sites.calc.profile import Profile
from sites.calc.profile_words import WheelPath
from sites.calc.roughness import (
    RoughnessWindow,
    kept_extremes,
    location_roughness,
    needed_length_m,
    profile_roughness,
    road_response,
    window_series,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

LEFT, RIGHT = WheelPath.LEFT, WheelPath.RIGHT


def road(length_m=200.0, interval_mm=25.0, seed=5, size_mm=0.2):
    n = round(length_m * 1000 / interval_mm) + 1
    draws = np.random.default_rng(seed).normal(0.0, size_mm, n)
    return np.cumsum(draws)


def profile(start_m=1000.0, direction=1, interval_mm=25.0, **kwargs):
    heights = {
        LEFT: road(interval_mm=interval_mm, seed=5, **kwargs),
        RIGHT: road(interval_mm=interval_mm, seed=6, **kwargs),
    }
    return Profile(start_m, interval_mm, heights, direction)


def with_bump(heights, at_m, interval_mm=25.0, height_mm=20.0, length_m=1.0):
    """A half sine on the profile, its middle ``at_m`` from the first sample."""
    x = np.arange(heights.size) * interval_mm / 1000.0 - (at_m - length_m / 2)
    inside = (x > 0) & (x < length_m)
    return heights + np.where(inside, height_mm * np.sin(np.pi * x / length_m), 0.0)


def plain_motion(heights, interval_mm):
    """Size of the motion, and how many samples the smoothing took."""
    motion = np.abs(suspension_motion(heights, interval_mm))
    return motion, heights.size - motion.size


def plain_mean(moved, interval_mm, travelled_m, before_m, after_m):
    """Mean motion over a window, interval by interval, straight from its places."""
    motion, k = moved
    step = interval_mm / 1000.0
    middles = (np.arange(motion.size) + (k + 1) / 2.0 - 0.5) * step
    # the windows are whole numbers of intervals: nearest to their lengths
    low = travelled_m - round(before_m / step) * step
    high = travelled_m + round(after_m / step) * step
    return motion[(middles > low) & (middles < high)].mean()


# --- the whole profile ---------------------------------------------------------------


def test_the_whole_profile_has_the_index_of_each_path():
    one = profile()
    rough = profile_roughness(one)
    assert rough.iri_m_per_km[LEFT] == pytest.approx(
        iri_m_per_km(one.elevation_mm[LEFT], 25.0)
    )
    assert rough.mean_m_per_km == pytest.approx(np.mean([*rough.iri_m_per_km.values()]))
    assert rough.half_car_m_per_km == pytest.approx(
        half_car_index(one.elevation_mm[LEFT], one.elevation_mm[RIGHT], 25.0)
    )
    assert (rough.n, rough.length_m) == (8001, pytest.approx(200.0))


def test_one_path_has_no_mean():
    rough = profile_roughness(Profile(0.0, 25.0, {WheelPath.SINGLE: road()}))
    assert rough.mean_m_per_km is None
    assert rough.half_car_m_per_km is None


# --- moving windows ------------------------------------------------------------------


@pytest.mark.parametrize("interval_mm", [10.0, 25.0, 100.0, 250.0])
def test_each_window_is_the_plain_mean_over_it(interval_mm):
    one = profile(interval_mm=interval_mm)
    series = window_series(one, 20.0, 5.0, most_points=10_000)
    for path, line in series.lines.items():
        assert line.distance_m.size == series.n_windows
        moved = plain_motion(one.elevation_mm[path], interval_mm)
        for distance, value in list(
            zip(line.distance_m, line.iri_m_per_km, strict=True)
        )[::7]:
            expected = plain_mean(moved, interval_mm, distance - 1000.0, 10.0, 10.0)
            assert value == pytest.approx(expected, rel=1e-9)


def test_windows_begin_when_the_car_has_settled():
    series = window_series(profile(), 20.0)
    assert series.lines[LEFT].distance_m[0] == pytest.approx(1000 + 11 + 10, abs=0.025)
    assert series.lines[LEFT].distance_m[-1] <= 1200 - 10
    assert series.step_m == pytest.approx(0.025)


def test_adjoining_windows_average_to_the_whole():
    response = road_response(profile())
    series = window_series(response, 18.75, 18.75)
    settled = response.sums[LEFT][response.settled_node]
    n_used = series.n_windows * round(18.75 / 0.025)
    used = response.sums[LEFT][response.settled_node + n_used] - settled
    assert series.lines[LEFT].iri_m_per_km.mean() == pytest.approx(used / n_used)


def test_a_long_line_keeps_its_extremes():
    one = profile()
    every = window_series(one, 3.2, most_points=100_000).lines[LEFT]
    few = window_series(one, 3.2, most_points=100).lines[LEFT]
    assert few.distance_m.size <= 100
    assert few.iri_m_per_km.max() == every.iri_m_per_km.max()
    assert few.iri_m_per_km.min() == every.iri_m_per_km.min()
    top = few.iri_m_per_km.argmax()
    assert few.distance_m[top] == every.distance_m[every.iri_m_per_km.argmax()]
    assert (np.diff(few.distance_m) > 0).all()


@given(
    values=st.lists(st.floats(-100, 100), min_size=1, max_size=500),
    most=st.integers(4, 60),
)
@settings(max_examples=80, deadline=None)
def test_kept_places_are_few_ordered_and_keep_the_ends_and_extremes(values, most):
    array = np.array(values)
    kept = kept_extremes(array, most)
    assert kept.size <= max(most, 4)
    assert (np.diff(kept) > 0).all()
    assert kept[0] == 0
    assert kept[-1] == array.size - 1
    assert array[kept].max() == array.max()
    assert array[kept].min() == array.min()


@pytest.mark.parametrize(
    ("window_m", "step_m", "most", "words"),
    [
        (0.0, None, 2000, "lengths above 0 m"),
        (float("nan"), None, 2000, "lengths above 0 m"),
        (10.0, -1.0, 2000, "lengths above 0 m"),
        (10.0, 1.0, 3, "at least 4 points"),
        (189.5, 1.0, 2000, "needs 11 m more before it"),
    ],
)
def test_windows_that_cannot_be(window_m, step_m, most, words):
    with pytest.raises(DomainError, match=words):
        window_series(profile(), window_m, step_m, most_points=most)


# --- the values of a place -----------------------------------------------------------


@pytest.mark.parametrize("interval_mm", [25.0, 25.4, 250.0])
def test_a_place_has_the_plain_means_of_its_windows_and_their_peaks(interval_mm):
    """25.8 m before to 3.2 m after, 2.74 m before to 0.46 m after; peaks over 30 m
    before, and over 2.45 m before to 1.5 m after (AASHTO M 331, from memory)."""
    one = profile(interval_mm=interval_mm)
    response = road_response(one)
    places = location_roughness(response)
    step = interval_mm / 1000.0
    size = places.worst.size
    for at in (0, size // 3, size - 1):
        here = response.node_m(places.first_node + at) - 1000.0
        for path in (LEFT, RIGHT):
            moved = plain_motion(one.elevation_mm[path], interval_mm)

            def long(x, moved=moved):
                return plain_mean(moved, interval_mm, x, 25.8, 3.2)

            def short(x, moved=moved):
                return plain_mean(moved, interval_mm, x, 2.74, 0.46)

            behind = here - np.arange(round(30.0 / step) + 1) * step
            near = (
                here + np.arange(-round(2.45 / step), int(1.5 / step + 0.5) + 1) * step
            )
            four = {window: line[at] for window, line in places.values[path].items()}
            assert four[RoughnessWindow.LONG] == pytest.approx(long(here))
            assert four[RoughnessWindow.SHORT] == pytest.approx(short(here))
            assert four[RoughnessWindow.PEAK_LONG] == pytest.approx(
                max(long(x) for x in behind)
            )
            assert four[RoughnessWindow.PEAK_SHORT] == pytest.approx(
                max(short(x) for x in near)
            )


def test_the_shortest_profile_that_has_a_place():
    short = Profile(0.0, 25.0, {LEFT: road(200.0)})
    needed = needed_length_m(road_response(short))
    assert needed == pytest.approx(70.25)  # 11 + 25.8 + 30 + 3.2, and the smoothing
    enough = Profile(0.0, 25.0, {LEFT: road(needed + 0.05)})
    assert location_roughness(enough).worst.size >= 1
    lacking = Profile(0.0, 25.0, {LEFT: road(needed - 0.5)})
    with pytest.raises(DomainError, match="about 70 m are needed"):
        location_roughness(lacking)
    with pytest.raises(DomainError, match="are needed to judge one place"):
        location_roughness(Profile(0.0, 25.0, {LEFT: road(15.0)}))


# --- the best place ------------------------------------------------------------------


def test_the_best_place_is_where_the_worst_value_is_least():
    one = profile()
    places = location_roughness(one)
    best = best_location(one)[0]
    lines = [line for four in places.values.values() for line in four.values()]
    worst = np.max(lines, axis=0)
    assert best.worst_m_per_km == worst.min()
    flat = [v for four in best.values_m_per_km.values() for v in four.values()]
    assert max(flat) == best.worst_m_per_km
    assert (
        best.values_m_per_km[best.worst_path][best.worst_window] == best.worst_m_per_km
    )


def test_a_bump_in_one_path_drives_the_array_away_from_it():
    heights = road(300.0, size_mm=0.05)
    one = Profile(0.0, 25.0, {LEFT: heights, RIGHT: with_bump(heights, 150.0)})
    places = location_roughness(one)
    response = road_response(one)
    at = response.node_at(165.0) - places.first_node
    assert places.worst[at] == places.values[RIGHT][RoughnessWindow.PEAK_LONG][at]
    for candidate in best_location(one, most=3):
        # not while a window or its peak's range reaches back over the bump
        assert not 145.0 < candidate.distance_m < 206.0
    nearby = best_location(one, between_m=(150.0, 190.0), most=1)[0]
    assert nearby.worst_path is RIGHT


def test_candidates_are_ranked_and_do_not_overlap():
    found = best_location(profile(length_m=1000.0), most=6)
    assert [c.rank for c in found] == [1, 2, 3, 4, 5, 6]
    worst = [c.worst_m_per_km for c in found]
    assert worst == sorted(worst)
    places = sorted(c.distance_m for c in found)
    assert min(np.diff(places)) >= 29.0 - 1e-9


def test_no_more_candidates_than_the_road_has_room_for():
    assert len(best_location(profile(length_m=80.0), most=5)) == 1
    two = best_location(profile(length_m=80.0), most=2, apart_m=0.0)
    assert two[0].distance_m != two[1].distance_m


def test_the_search_keeps_to_the_part_and_off_the_ends():
    one = profile(length_m=400.0)
    for candidate in best_location(one, between_m=(1250.0, 1200.0), most=9):
        assert 1200.0 <= candidate.distance_m <= 1250.0
    for candidate in best_location(one, exclude_ends_m=120.0, most=9):
        assert 1120.0 <= candidate.distance_m <= 1280.0
    single = best_location(one, between_m=(1200.0125, 1200.0125))
    assert [c.distance_m for c in single] == [pytest.approx(1200.0125)]


def test_a_run_against_the_count_has_the_same_places():
    along = best_location(profile(start_m=1000.0, length_m=400.0))
    against = best_location(profile(start_m=1400.0, direction=-1, length_m=400.0))
    for one, other in zip(along, against, strict=True):
        assert one.distance_m - 1000.0 == pytest.approx(1400.0 - other.distance_m)
        assert one.values_m_per_km == other.values_m_per_km
    series = window_series(profile(start_m=1400.0, direction=-1), 20.0)
    assert (np.diff(series.lines[LEFT].distance_m) < 0).all()


def test_a_part_without_places_is_refused_with_the_places_there_are():
    one = profile()
    with pytest.raises(DomainError, match=r"places from 1,066\.8 m to 1,196\.\d m"):
        best_location(one, between_m=(1000.0, 1030.0))
    with pytest.raises(DomainError, match="No place is left to search"):
        best_location(one, exclude_ends_m=100.1)


@pytest.mark.parametrize(
    "options", [{"most": 0}, {"apart_m": -1.0}, {"exclude_ends_m": -0.1}]
)
def test_questions_without_sense(options):
    with pytest.raises(DomainError, match="distances are not negative"):
        best_location(profile(), **options)


# --- limits --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (0.4999, Verdict.MEETS),
        (0.5, Verdict.MEETS),
        (0.5001, Verdict.CANNOT_SAY),
        (2.1, Verdict.CANNOT_SAY),
        (2.1001, Verdict.MISSES),
    ],
)
def test_limits_are_inclusive(value, verdict):
    assert IriLimits(2.1, 0.5).verdict(value) is verdict


def test_one_limit_parts_meeting_from_missing():
    limit = IriLimits(1.0)
    assert limit.verdict(1.0) is Verdict.MEETS
    assert limit.verdict(1.0001) is Verdict.MISSES
    assert limit.words(UnitSystem.SI) == "at most 1.00 m/km"
    both = IriLimits(2.1, 0.5)
    assert (
        both.words(UnitSystem.US) == "at most 32 in/mi to meet, above 133 in/mi to miss"
    )


@pytest.mark.parametrize("limits", [(1.0, 2.0), (0.0, None), (float("nan"), None)])
def test_limits_that_contradict(limits):
    with pytest.raises(DomainError, match="limit of roughness"):
        IriLimits(*limits)


def test_a_place_is_judged_with_n_rule_limit_and_standing():
    best = best_location(
        profile(), limits=IriLimits(50.0, 0.001), system=UnitSystem.SI, most=1
    )[0]
    judged = best.judgement
    assert judged.verdict is Verdict.CANNOT_SAY
    assert judged.value == best.worst_m_per_km
    assert judged.n == 1160  # 29 m at 25 mm
    assert "not the indices of M 331" in judged.rule
    assert judged.standing == "agency's own"
    assert len(judged.details) == 8
    assert "between the limits" in best.sentence
    assert f"{best.distance_m:,.2f} m" in best.sentence


def test_without_limits_nothing_is_said_of_the_place():
    best = best_location(profile(), most=1)[0]
    assert best.judgement.verdict is Verdict.CANNOT_SAY
    assert best.judgement.limit == "no limit entered"
    assert best.judgement.standing == "not checked against the document"
    assert "in/mi" in best.sentence
    assert "not its indices" in best.sentence


def test_a_smooth_and_a_rough_road_are_told_apart():
    smooth = best_location(profile(size_mm=0.05), limits=IriLimits(1.0), most=1)[0]
    rough = best_location(profile(size_mm=0.5), limits=IriLimits(1.0), most=1)[0]
    assert smooth.judgement.verdict is Verdict.MEETS
    assert rough.judgement.verdict is Verdict.MISSES
