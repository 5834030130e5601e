"""Counts of replacements when a failed sensor is replaced at once by a new one.

The new one is of the same kind and can fail again. Expected counts solve the renewal
equation (:func:`expected_replacements`); :func:`simulated_replacements` plays fleets
through, each with life parameters of its own, so that the spread of its counts holds
both what the data leave open and chance.

References
----------
Cox, Renewal Theory, Methuen 1962, chapter 4 (from memory); Xie, "On the solution of
renewal-type integral equations", Communications in Statistics B 18 (1989) 281-293
(from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from installs.calc.likelihood import Array
from installs.calc.survival import parameter_draws
from installs.calc.types import WeibullFit

#: Simulated sensors held in memory at one time.
_CHUNK = 500_000


def renewal_function(
    shape: float, scale_years: float, times_years: ArrayLike, *, step_years: float = 0.0
) -> Array:
    """Expected number of replacements by each time, in a position that starts new.

    Solves M(t) = F(t) + integral of M(t - u) dF(u) on a grid, M taken at the middle of
    each step (trapezoid rule in the Riemann–Stieltjes sense).

    Parameters
    ----------
    shape, scale_years
        Weibull parameters.
    times_years
        Times, zero or more.
    step_years
        Step of the grid; by default 1/200 of the scale, kept between 200 and 4,000
        steps in all.

    Returns
    -------
    numpy.ndarray
        M at the times, interpolated linearly in the grid.
    """
    times = np.asarray(times_years, dtype=float)
    grid = _grid(float(times.max()), scale_years, step_years)
    return np.interp(times, grid, _renewal_on(grid, shape, scale_years))


def expected_replacements(
    fit: WeibullFit,
    age_years: ArrayLike,
    times_years: ArrayLike,
    *,
    hazard_ratios: ArrayLike = 1.0,
) -> Array:
    """Expected replacements by each time, summed over positions with sensors of an age.

    With F_a(t) the chance that a sensor of age a fails within t, the sum over sensors
    of F_a(t) + integral of M(t - u) dF_a(u).

    Parameters
    ----------
    fit
        The technology's curve.
    age_years
        Ages of the sensors working at time 0, shape (n,).
    times_years
        Times from now, zero or more, shape (m,).
    hazard_ratios
        Condition of the sensors working now, shape (n,) or one for all; their
        successors are typical.

    Returns
    -------
    numpy.ndarray
        Expected counts, shape (m,).
    """
    ages = np.asarray(age_years, dtype=float)
    times = np.asarray(times_years, dtype=float)
    if not ages.size or times.max() <= 0:
        return np.zeros(times.shape)
    grid = _grid(float(times.max()), fit.scale_years, 0.0)
    renewals = _renewal_on(grid, fit.shape, fit.scale_years)
    ratios = np.broadcast_to(np.asarray(hazard_ratios, dtype=float), ages.shape)
    unique, counts = np.unique(
        np.column_stack([ages, ratios]), axis=0, return_counts=True
    )
    first = np.zeros(grid.size)
    for block in range(0, counts.size, 500):
        aged, worse = unique[block : block + 500, :, None].transpose(1, 0, 2)
        now = (aged / fit.scale_years) ** fit.shape
        then = ((aged + grid) / fit.scale_years) ** fit.shape
        first += counts[block : block + 500] @ -np.expm1(worse * (now - then))
    middle = (renewals[1:] + renewals[:-1]) / 2.0
    again = np.convolve(np.diff(first), middle)[: grid.size - 1]
    return np.interp(times, grid, first + np.concatenate([[0.0], again]))


def _grid(end: float, scale_years: float, step_years: float) -> Array:
    step = step_years or scale_years / 200.0
    steps = math.ceil(end / step)
    if not step_years:
        steps = min(max(steps, 200), 4000)
    return np.linspace(0.0, end, max(steps, 1) + 1)


def _renewal_on(grid: Array, shape: float, scale_years: float) -> Array:
    failed = -np.expm1(-((grid / scale_years) ** shape))
    density = np.diff(failed)
    renewals = np.zeros(grid.size)
    middle = np.zeros(grid.size)  # middle[j] = (M[j] + M[j + 1]) / 2
    for i in range(1, grid.size):
        # The step dF over (0, step] meets M between t[i - 1] and t[i]; M[i] is unknown.
        known = failed[i] + density[1:i] @ middle[: i - 1][::-1]
        known += density[0] * renewals[i - 1] / 2.0
        renewals[i] = known / (1.0 - density[0] / 2.0)
        middle[i - 1] = (renewals[i - 1] + renewals[i]) / 2.0
    return renewals


def simulated_replacements(
    fit: WeibullFit,
    age_years: ArrayLike,
    edges_years: ArrayLike,
    *,
    n_draws: int,
    rng: np.random.Generator,
    hazard_ratios: ArrayLike = 1.0,
    log_ratio_sd: ArrayLike = 0.0,
) -> np.ndarray:
    """Replacements by period in simulated fleets, with renewals.

    Each simulated fleet has life parameters of its own (:func:`parameter_draws`); each
    of its positions fails and is renewed until the last edge.

    Parameters
    ----------
    fit
        The technology's curve.
    age_years
        Ages of sensors working now, shape (n,).
    edges_years
        Ends of the periods in years from now, ascending, shape (m,); the first period
        begins now.
    n_draws
        Number of simulated fleets.
    rng
        Seeded generator.
    hazard_ratios, log_ratio_sd
        Condition of the sensors working now and what it leaves open on the log scale,
        shape (n,) or one for all. A fleet's effects are off by one common amount: that
        is what makes the count of a fleet unsure. Successors are typical.

    Returns
    -------
    numpy.ndarray
        Counts, integer, shape (n_draws, m).
    """
    ages = np.asarray(age_years, dtype=float)
    edges = np.asarray(edges_years, dtype=float)
    shapes, scales = parameter_draws(fit, n_draws, rng)
    counts = np.zeros((n_draws, edges.size), dtype=int)
    ratios = np.broadcast_to(np.asarray(hazard_ratios, dtype=float), ages.shape)
    spread = np.broadcast_to(np.asarray(log_ratio_sd, dtype=float), ages.shape)
    unsure = rng.standard_normal(n_draws) if np.any(spread > 0) else np.zeros(n_draws)
    at_once = max(1, _CHUNK // max(ages.size, 1))
    for begin in range(0, n_draws, at_once):
        draws = np.arange(begin, min(begin + at_once, n_draws))
        fleet = np.repeat(draws, ages.size)
        started = -np.tile(ages, draws.size)  # when the working sensor was new
        hazard = (-started / scales[fleet]) ** shapes[fleet]
        worse = (ratios * np.exp(unsure[draws, None] * spread)).ravel()
        while fleet.size:
            hazard += rng.standard_exponential(fleet.size) / worse
            ends = started + scales[fleet] * hazard ** (1.0 / shapes[fleet])
            inside = ends < edges[-1]
            fleet, started = fleet[inside], ends[inside]
            period = np.searchsorted(edges, started, side="right")
            flat = np.bincount(fleet * edges.size + period, minlength=counts.size)
            counts += flat.reshape(counts.shape)
            hazard, worse = np.zeros(fleet.size), np.ones(fleet.size)
    return counts
