"""The index by the quarter car: stepping, scaling, edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc.iri import (
    REFERENCE_CAR,
    QuarterCar,
    base_intervals,
    half_car_index,
    iri_m_per_km,
    mean_roughness_index,
    roughness_text,
    smoothed_slope,
    start_slope,
    suspension_motion,
    transition,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem


def rough(n, seed=3, step_mm=0.3):
    return np.cumsum(np.random.default_rng(seed).normal(0.0, step_mm, n))


def step_by_step(elevation_mm, interval_mm, car=REFERENCE_CAR):
    """The recursion as the practice writes it, one sample after another."""
    s, p = transition(interval_mm, car)
    first = start_slope(elevation_mm, interval_mm)
    state = np.array([first, 0.0, first, 0.0])
    motion = []
    for slope in smoothed_slope(elevation_mm, interval_mm):
        state = s @ state + p * slope
        motion.append(state[0] - state[2])
    return np.array(motion)


@pytest.mark.parametrize("interval_mm", [1.0, 10.0, 25.0, 25.4, 100.0, 152.4, 250.0])
def test_filters_equal_the_step_by_step_recursion(interval_mm):
    y = rough(20_000) + 30.0 * np.arange(20_000) * interval_mm / 1000.0
    np.testing.assert_allclose(
        suspension_motion(y, interval_mm), step_by_step(y, interval_mm), atol=1e-9
    )


def test_filters_stay_exact_after_a_million_samples():
    y = rough(1_000_000)
    tail = 400_000  # the car forgets its start within a second; take 10 km
    np.testing.assert_allclose(
        suspension_motion(y, 25.0)[-1000:],
        suspension_motion(y[-tail:], 25.0)[-1000:],
        atol=1e-9,
    )


def test_a_car_with_real_modes_is_stepped_as_exactly():
    stiff = QuarterCar(damping_per_s=60.0)  # over-damped: not all modes are pairs
    rates = np.linalg.eigvals(stiff.equations()[0])
    assert np.count_nonzero(rates.imag == 0.0) in (2, 4)
    y = rough(5000)
    np.testing.assert_allclose(
        suspension_motion(y, 25.0, stiff), step_by_step(y, 25.0, stiff), atol=1e-9
    )


@pytest.mark.parametrize(
    ("interval_mm", "intervals"),
    [
        (25.0, 10),
        (25.4, 10),
        (100.0, 3),
        (152.4, 2),
        (166.0, 2),
        (167.0, 1),
        (250.0, 1),
    ],
)
def test_base_is_the_nearest_whole_number_of_intervals(interval_mm, intervals):
    assert base_intervals(interval_mm) == intervals


@pytest.mark.parametrize("interval_mm", [25.0, 250.0])
def test_smoothing_equals_averaging_and_then_the_slope(interval_mm):
    y = rough(300)
    k = base_intervals(interval_mm)
    averaged = np.convolve(y, np.full(k, 1.0 / k), mode="valid")
    expected = np.diff(averaged) / (interval_mm / 1000.0)
    np.testing.assert_allclose(smoothed_slope(y, interval_mm), expected, atol=1e-9)


@given(factor=st.floats(0.01, 100.0), offset=st.floats(-1e4, 1e4))
@settings(max_examples=25, deadline=None)
def test_the_index_scales_with_elevation_and_forgets_its_datum(factor, offset):
    y = rough(2000)
    once = iri_m_per_km(y, 25.0)
    assert iri_m_per_km(factor * y + offset, 25.0) == pytest.approx(factor * once)


def test_a_grade_adds_nothing():
    y = rough(4000)
    tilted = y + 50.0 * np.arange(4000) * 0.025
    assert iri_m_per_km(tilted, 25.0) == pytest.approx(iri_m_per_km(y, 25.0))


def test_half_the_samples_give_nearly_the_same_index():
    x_m = np.arange(0, 500, 0.0125)
    y = sum(3.0 * np.sin(2 * np.pi * x_m / length + length) for length in (2.5, 7, 16))
    assert iri_m_per_km(y[::2], 25.0) == pytest.approx(iri_m_per_km(y, 12.5), rel=0.005)


def test_mean_of_both_paths_and_of_their_profile():
    left, right = rough(4000, 1), rough(4000, 2)
    mean = mean_roughness_index(left, right, 25.0)
    assert mean == pytest.approx(
        (iri_m_per_km(left, 25.0) + iri_m_per_km(right, 25.0)) / 2
    )
    assert half_car_index(left, right, 25.0) < mean
    assert half_car_index(left, -left, 25.0) == pytest.approx(0.0, abs=1e-12)
    assert half_car_index(left, left, 25.0) == pytest.approx(iri_m_per_km(left, 25.0))


def test_start_is_the_mean_slope_of_eleven_metres():
    y = np.zeros(1000)
    y[440:] = 22.0  # 11 m at 25 mm
    assert start_slope(y, 25.0) == pytest.approx(2.0)
    assert start_slope(np.array([0.0, 1.0]), 250.0) == pytest.approx(4.0)


@pytest.mark.parametrize("interval_mm", [0.0, -25.0, float("nan"), float("inf")])
def test_an_interval_that_is_no_length_is_refused(interval_mm):
    with pytest.raises(DomainError, match="not a length between samples"):
        iri_m_per_km(rough(100), interval_mm)


def test_too_few_elevations_are_refused():
    with pytest.raises(DomainError, match="at least 11 elevations are needed"):
        iri_m_per_km(rough(10), 25.0)
    assert suspension_motion(rough(11), 25.0).shape == (1,)


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_an_elevation_that_is_no_number_is_refused(bad):
    y = rough(100)
    y[50] = bad
    with pytest.raises(DomainError, match="not a number"):
        iri_m_per_km(y, 25.0)


def test_roughness_in_words():
    assert roughness_text(1.5, UnitSystem.US) == "95 in/mi"
    assert roughness_text(1.5, UnitSystem.SI) == "1.50 m/km"
