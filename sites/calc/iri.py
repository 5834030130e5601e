"""International Roughness Index of one measured wheel path.

The practice is ASTM E1926 (the index of World Bank Technical Paper 46, 1986): the
profile is smoothed by a 250 mm moving average, its slope drives the reference quarter
car at 80 km/h, and the index is the mean size of the suspension's motion for each metre
travelled. Constants of the car: as commonly printed (from memory; the transition
matrix they give at 250 mm equals the printed one, tests/outside/sites).

Elevation in millimetres over distance in metres is a slope in m/km, so everything here
is in m/km. Between two samples the smoothed slope is constant, so the car's linear
equations have an exact solution, and the state moves from sample to sample by one
matrix. Its four modes are independent of each other: each is a first-order filter with
one coefficient, which stays exact to rounding at any interval and runs over millions of
samples in a fraction of a second.

Left out on purpose: the choice of filter that a profiler applied before it wrote the
file, and profiles at more than 250 mm (see :mod:`sites.calc.profile_reading`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import expm
from scipy.signal import lfilter

from wimprog.lib.errors import DomainError
from wimprog.lib.units import KM_PER_MILE, MM_PER_IN, UnitSystem, format_number

Floats = NDArray[np.float64]

#: Length of road over which the tyre's footprint averages, mm (E1926).
BASE_LENGTH_MM = 250.0
#: Length whose mean slope starts the car, m (E1926): its first half second at speed.
START_LENGTH_M = 11.0
#: One metre a kilometre in inches a mile: 63.36.
IN_PER_MI = KM_PER_MILE * 1000.0 / MM_PER_IN


@dataclass(frozen=True)
class QuarterCar:
    """A quarter car, by its ratios to the sprung mass.

    Attributes
    ----------
    tyre_rate_per_s2
        Tyre stiffness over sprung mass, 1/s² (k1).
    spring_rate_per_s2
        Suspension stiffness over sprung mass, 1/s² (k2).
    mass_ratio
        Unsprung over sprung mass (μ).
    damping_per_s
        Damping over sprung mass, 1/s (c).
    speed_kmh
        Speed, km/h.
    """

    tyre_rate_per_s2: float = 653.0
    spring_rate_per_s2: float = 63.3
    mass_ratio: float = 0.15
    damping_per_s: float = 6.0
    speed_kmh: float = 80.0

    def equations(self) -> tuple[Floats, Floats]:
        """Matrix A (4×4) and vector B (4) of dz/dt = A z + B u.

        The state is the slope of the body's path, its rate, the slope of the axle's
        path and its rate; ``u`` is the slope of the road.
        """
        k1, k2 = self.tyre_rate_per_s2, self.spring_rate_per_s2
        mu, c = self.mass_ratio, self.damping_per_s
        a = np.array(
            [
                [0.0, 1.0, 0.0, 0.0],
                [-k2, -c, k2, c],
                [0.0, 0.0, 0.0, 1.0],
                [k2 / mu, c / mu, -(k1 + k2) / mu, -c / mu],
            ]
        )
        return a, np.array([0.0, 0.0, 0.0, k1 / mu])

    def seconds(self, distance_m: float) -> float:
        """The time that the car takes for a distance, s."""
        return distance_m * 3.6 / self.speed_kmh


REFERENCE_CAR = QuarterCar()
_MOTION = np.array([1.0, 0.0, -1.0, 0.0])  # body less axle: the suspension's motion


def transition(
    interval_mm: float, car: QuarterCar = REFERENCE_CAR
) -> tuple[Floats, Floats]:
    """The exact step of the car's state over one interval of constant slope.

    Parameters
    ----------
    interval_mm
        Distance between samples, mm.
    car
        The quarter car.

    Returns
    -------
    s : ndarray, shape (4, 4)
        State transition matrix exp(A dt).
    p : ndarray, shape (4,)
        Response to a unit slope, A⁻¹ (S − I) B.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the interval is not a positive number.
    """
    _check_interval(interval_mm)
    a, b = car.equations()
    s = expm(a * car.seconds(interval_mm / 1000.0))
    return s, np.linalg.solve(a, (s - np.eye(4)) @ b)


def base_intervals(interval_mm: float) -> int:
    """Whole intervals nearest to 250 mm, at least one (half rounds up)."""
    _check_interval(interval_mm)
    return max(1, math.floor(BASE_LENGTH_MM / interval_mm + 0.5))


def smoothed_slope(elevation_mm: ArrayLike, interval_mm: float) -> Floats:
    """Slope of the profile after the 250 mm moving average.

    Averaging ``k`` elevations and taking the slope between neighbours is the same as
    the slope between samples ``k`` apart.

    Parameters
    ----------
    elevation_mm
        Elevations at one interval, mm, shape (n,).
    interval_mm
        Distance between samples, mm.

    Returns
    -------
    ndarray, shape (n − k,)
        Slope, m/km, with k = :func:`base_intervals`.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the profile has fewer than k + 1 samples, or one is not a number.
    """
    heights = np.asarray(elevation_mm, dtype=np.float64)
    k = base_intervals(interval_mm)
    if heights.ndim != 1 or heights.size <= k:
        raise DomainError(
            f"A profile with {heights.size} elevations has no slope over "
            f"{k * interval_mm:g} mm; at least {k + 1} elevations are needed."
        )
    slope: Floats = (heights[k:] - heights[:-k]) / (k * interval_mm / 1000.0)
    if not np.isfinite(slope).all():
        raise DomainError("The profile has an elevation that is not a number.")
    return slope


def start_slope(elevation_mm: ArrayLike, interval_mm: float) -> float:
    """Mean slope of the first 11 m (or of all, if shorter), m/km."""
    heights = np.asarray(elevation_mm, dtype=np.float64)
    steps = min(
        math.floor(START_LENGTH_M * 1000.0 / interval_mm + 0.5), heights.size - 1
    )
    return float((heights[steps] - heights[0]) / (steps * interval_mm / 1000.0))


def suspension_motion(
    elevation_mm: ArrayLike, interval_mm: float, car: QuarterCar = REFERENCE_CAR
) -> Floats:
    """Motion of the suspension for each metre travelled, sample by sample.

    Value ``i`` belongs to the interval that ends (i + (k + 1)/2) intervals after the
    first sample: the smoothed slope that moves the car over it is centred on it.

    Parameters
    ----------
    elevation_mm
        Elevations at one interval, mm, shape (n,), in the direction of travel.
    interval_mm
        Distance between samples, mm.
    car
        The quarter car.

    Returns
    -------
    ndarray, shape (n − k,)
        Body less axle, m/km, signed.

    Raises
    ------
    wimprog.lib.errors.DomainError
        As :func:`smoothed_slope`.
    """
    slope = smoothed_slope(elevation_mm, interval_mm)
    first = start_slope(elevation_mm, interval_mm)
    motion = np.zeros_like(slope)
    for mode in _modes(interval_mm, car):
        state = lfilter(
            [mode.gain],
            [1.0, -mode.factor],
            slope,
            zi=[mode.factor * mode.start * first],
        )[0]
        motion += state.real
    return motion


@dataclass(frozen=True)
class _Mode:
    """One mode's part in the motion: y ← factor·y + gain·slope, from start·slope."""

    factor: complex
    gain: complex
    start: complex


@lru_cache(maxsize=64)
def _modes(interval_mm: float, car: QuarterCar) -> tuple[_Mode, ...]:
    """The modes with a share in the motion; of a conjugate pair one, doubled.

    The car starts with body and axle on the mean slope and both at rest to it.
    """
    a, _ = car.equations()
    _, p = transition(interval_mm, car)
    rates, shapes = np.linalg.eig(a)
    weights = _MOTION @ shapes
    inputs = np.linalg.solve(shapes, p.astype(complex))
    starts = np.linalg.solve(shapes, np.array([1.0, 0.0, 1.0, 0.0], dtype=complex))
    factors = np.exp(rates * car.seconds(interval_mm / 1000.0))
    modes = []
    for rate, weight, factor, taken, start in zip(
        rates, weights, factors, inputs, starts, strict=True
    ):
        if rate.imag < 0:
            continue
        share = weight * (2.0 if rate.imag > 0 else 1.0)
        modes.append(_Mode(complex(factor), complex(share * taken), share * start))
    return tuple(modes)


def iri_m_per_km(
    elevation_mm: ArrayLike, interval_mm: float, car: QuarterCar = REFERENCE_CAR
) -> float:
    """International Roughness Index of one wheel path.

    Parameters
    ----------
    elevation_mm
        Elevations at one interval, mm, shape (n,), in the direction of travel.
    interval_mm
        Distance between samples, mm; at most 250 for an index by the practice.
    car
        The quarter car; the index is defined by the reference car alone.

    Returns
    -------
    float
        m/km; times :data:`IN_PER_MI` in/mi.

    Raises
    ------
    wimprog.lib.errors.DomainError
        As :func:`smoothed_slope`.

    References
    ----------
    ASTM E1926, Standard Practice for Computing International Roughness Index of Roads
    from Longitudinal Profile Measurements. M. W. Sayers, On the calculation of
    international roughness index from longitudinal road profile, Transportation
    Research Record 1501 (1995).
    """
    return float(np.abs(suspension_motion(elevation_mm, interval_mm, car)).mean())


def mean_roughness_index(
    left_mm: ArrayLike, right_mm: ArrayLike, step_mm: float
) -> float:
    """Mean of the two wheel paths' indices (MRI), m/km."""
    return (iri_m_per_km(left_mm, step_mm) + iri_m_per_km(right_mm, step_mm)) / 2.0


def half_car_index(left_mm: ArrayLike, right_mm: ArrayLike, step_mm: float) -> float:
    """Index of the two wheel paths' mean profile (half-car index, HRI), m/km.

    Never more than the mean roughness index: what the two sides do against each other
    cancels.
    """
    left = np.asarray(left_mm, dtype=np.float64)
    right = np.asarray(right_mm, dtype=np.float64)
    return iri_m_per_km((left + right) / 2.0, step_mm)


def slope_gain(wavelength_m: ArrayLike, car: QuarterCar = REFERENCE_CAR) -> Floats:
    """Size of the motion for a unit slope in a long sine of the given wavelength.

    From the car's equations alone, without steps or smoothing: C (jω − A)⁻¹ B.

    Parameters
    ----------
    wavelength_m
        Wavelengths, m, shape (n,) or one number.
    car
        The quarter car.

    Returns
    -------
    ndarray, shape (n,)
        Without unit.
    """
    a, b = car.equations()
    lengths = np.atleast_1d(np.asarray(wavelength_m, dtype=np.float64))
    omega = 2.0 * np.pi / (lengths * car.seconds(1.0))
    systems = 1j * omega[:, None, None] * np.eye(4) - a
    drive = np.broadcast_to(b.astype(complex)[:, None], (lengths.size, 4, 1))
    states = np.linalg.solve(systems, drive)[..., 0]
    return np.abs(states @ _MOTION)


def roughness_text(value_m_per_km: float, system: UnitSystem) -> str:
    """A roughness for people: in/mi or m/km."""
    if system is UnitSystem.US:
        return f"{format_number(value_m_per_km * IN_PER_MI, 0)} in/mi"
    return f"{format_number(value_m_per_km, 2)} m/km"


def _check_interval(interval_mm: float) -> None:
    if not (math.isfinite(interval_mm) and interval_mm > 0):
        raise DomainError(
            f"The interval of {interval_mm:g} mm is not a length between samples."
        )
