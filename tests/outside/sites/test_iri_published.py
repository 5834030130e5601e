"""The roughness index against what was printed and against the car's own equations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sites.calc.iri import (
    IN_PER_MI,
    REFERENCE_CAR,
    base_intervals,
    iri_m_per_km,
    slope_gain,
    suspension_motion,
    transition,
)

# World Bank Technical Paper 46 (1986), coefficients of the reference quarter car at
# 80 km/h, as printed there in single precision and reprinted in several public
# programs; the document itself was not at hand. The single precision of 1986 shows in
# the last digits, most in the first element of P.
# fmt: off
PRINTED = {
    250.0: (
        [[0.9966071, 0.01091514, -0.002083274, 0.0003190145],
         [-0.5563044, 0.9438768, -0.8324718, 0.05064701],
         [0.02153176, 0.002126763, 0.7508714, 0.008221888],
         [3.335013, 0.3376467, -39.12762, 0.4347564]],
        [0.005476107, 1.388776, 0.2275968, 35.79262],
    ),
    100.0: (
        [[0.9994014, 0.004442351, 0.0002188854, 5.72179e-05],
         [-0.2570548, 0.975036, 0.007966216, 0.02458427],
         [0.003960378, 0.0003814527, 0.9548048, 0.004055587],
         [1.687312, 0.1638951, -19.34264, 0.7948701]],
        [0.0003793992, 0.2490886, 0.04123478, 17.65532],
    ),
}
# fmt: on


@pytest.mark.parametrize("interval_mm", PRINTED)
def test_the_transition_has_the_printed_coefficients(interval_mm):
    """World Bank Technical Paper 46: all sixteen and the four of P."""
    s, p = transition(interval_mm)
    printed_s, printed_p = PRINTED[interval_mm]
    np.testing.assert_allclose(s, printed_s, rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(p, printed_p, rtol=1e-6, atol=3e-7)


def test_a_metre_per_kilometre_in_inches_per_mile():
    """1 m/km = 63.36 in/mi, from 1 mi = 63,360 in (NIST Special Publication 811)."""
    assert pytest.approx(63.36, abs=1e-12) == IN_PER_MI


def test_where_the_index_listens():
    """Most sensitive near 2.4 m and 15 m, about half at 1.25 m and 30 m.

    Sayers and Karamihas, The Little Book of Profiling (1998), figures of the response
    to a slope sine (from memory); the smoothing is part of that response.
    """
    lengths = np.geomspace(0.6, 100.0, 4001)
    k = np.pi * 0.25 / lengths
    gain = slope_gain(lengths) * np.abs(np.sin(k) / k)
    tops = lengths[1:-1][(gain[1:-1] > gain[:-2]) & (gain[1:-1] > gain[2:])]
    assert tops == pytest.approx([2.4, 15.4], rel=0.05)
    assert np.interp([1.25, 30.0], lengths, gain) == pytest.approx([0.5, 0.5], abs=0.1)


@pytest.mark.parametrize("wavelength_m", [1.0, 2.4, 5.0, 15.4, 40.0])
@pytest.mark.parametrize("interval_mm", [10.0, 25.0, 25.4])
def test_a_sine_gives_the_index_that_its_amplitude_demands(wavelength_m, interval_mm):
    """IRI of a sine = slope amplitude × gain × 2/π, computed without any stepping.

    The gain is the frequency response of the car's equations times that of the moving
    average; 2/π is the mean of a rectified sine. Worked out here, no printed source.
    """
    amplitude_mm = 2.0
    length_m = 400.0 * wavelength_m
    x_m = np.arange(0.0, length_m, interval_mm / 1000.0)
    y = amplitude_mm * np.sin(2 * np.pi * x_m / wavelength_m)
    motion = suspension_motion(y, interval_mm)
    settled = np.abs(motion[motion.size // 2 :])
    base_m = base_intervals(interval_mm) * interval_mm / 1000.0
    smoothing = abs(np.sinc(base_m / wavelength_m))
    slope_amplitude = amplitude_mm * 2 * np.pi / wavelength_m
    demanded = slope_amplitude * slope_gain(wavelength_m)[0] * smoothing * 2 / np.pi
    # the steps hold the slope constant over an interval: sinc(interval / wavelength)
    held = np.sinc(interval_mm / 1000.0 / wavelength_m)
    assert settled.mean() == pytest.approx(demanded * held, rel=2e-3)


def test_a_sine_by_an_independent_integrator():
    """The same differential equations by scipy's Runge–Kutta, on a ramp-like sine."""
    wavelength_m, interval_mm = 4.0, 5.0
    x_m = np.arange(0.0, 80.0, interval_mm / 1000.0)
    y = 3.0 * np.sin(2 * np.pi * x_m / wavelength_m)
    base_m = 0.25
    speed = REFERENCE_CAR.speed_kmh / 3.6
    a, b = REFERENCE_CAR.equations()

    def slope(at_m):
        behind, ahead = at_m - base_m / 2, at_m + base_m / 2
        rise = np.sin(2 * np.pi * ahead / wavelength_m) - np.sin(
            2 * np.pi * behind / wavelength_m
        )
        return 3.0 * rise / base_m

    ends_m = (np.arange(x_m.size - 50) + 25.5) * interval_mm / 1000.0
    solved = solve_ivp(
        lambda t, z: a @ z + b * slope(t * speed),
        (0.0, ends_m[-1] / speed),
        np.zeros(4),
        t_eval=ends_m / speed,
        rtol=1e-8,
        atol=1e-10,
    )
    motion = suspension_motion(y, interval_mm)
    # both are past their different starts after 40 m
    late = ends_m > 40.0
    expected = (solved.y[0] - solved.y[2])[late]
    assert np.abs(expected).max() > 3.0
    np.testing.assert_allclose(motion[late], expected, atol=0.01)


def test_a_plain_grade_has_no_roughness():
    """A constant slope moves the whole car alike (E1926: it starts on that slope)."""
    grade = 40.0 * np.arange(4000) * 0.025  # 4 %: 40 mm in each metre
    assert iri_m_per_km(grade, 25.0) == pytest.approx(0.0, abs=1e-9)
