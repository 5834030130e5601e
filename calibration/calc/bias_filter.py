"""The Kalman filter of :mod:`calibration.calc.bias_walk`, for many lanes at once.

Given the wander, a lane's bias is linear and Gaussian. The filter carries, beside the
mean of the bias, its coefficients of drift and temperature effect, so that one pass
serves every value of these two; and it runs G values of the wander over L lanes
together, reading by reading.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.calc.bias_types import (
    DAYS_PER_YEAR,
    BiasSession,
    FloatArray,
    LaneSessions,
    WalkPrior,
)


@dataclass(frozen=True, eq=False)
class Steps:
    """Readings of all lanes side by side, shape (steps, lanes), empty ones at the end.

    ``years`` since the step before, ``anew`` whether the bias is unknown before this
    reading, ``warmth_c`` above the reference, ``reading_pct`` and ``variance`` with
    ``read`` False where there is none, ``tells`` whether it tells of wander.
    """

    years: FloatArray
    anew: np.ndarray
    warmth_c: FloatArray
    reading_pct: FloatArray
    variance: FloatArray
    read: np.ndarray
    tells: np.ndarray


@dataclass(frozen=True, eq=False)
class Filtered:
    """Sums over readings and end states for G wander values and L lanes.

    ``log_f`` and ``ss`` are sums of log 2πF and v²/F, ``cross`` of V v/F and ``gram``
    of V Vᵀ/F with V the coefficient of (d, g) in a forecast error; the same with
    ``wander_`` over readings that tell of wander only.
    """

    log_f: FloatArray
    ss: FloatArray
    cross: FloatArray
    gram: FloatArray
    wander_ss: FloatArray
    wander_cross: FloatArray
    wander_gram: FloatArray
    mean: FloatArray
    variance: FloatArray
    effect: FloatArray


def log_likelihood(
    lanes: Sequence[LaneSessions],
    *,
    wander_pct: float,
    drift_pct_per_year: float,
    temperature_pct_per_c: float,
    prior: WalkPrior,
    reference_temp_c: float = 0.0,
) -> float:
    """Exact log-likelihood of the sessions when the three parameters are known.

    Parameters
    ----------
    lanes
        The lanes.
    wander_pct, drift_pct_per_year, temperature_pct_per_c
        Standard deviation that a year adds [%], drift [%/year], effect of temperature
        [%/°C].
    prior
        Only ``session_sd_pct`` and ``unknown_sd_pct`` are used.
    reference_temp_c
        Temperature at which biases are given [°C].

    Returns
    -------
    float
        Log of the joint density of all readings.
    """
    steps = steps_of(lanes, prior, reference_temp_c)
    filtered = run_filter(steps, np.array([wander_pct]), prior.unknown_sd_pct)
    effects = np.array([drift_pct_per_year, temperature_pct_per_c])
    ss = (
        filtered.ss
        - 2.0 * filtered.cross @ effects
        + (filtered.gram @ effects) @ effects
    )
    return float(-0.5 * np.sum(filtered.log_f + ss))


def steps_of(
    lanes: Sequence[LaneSessions], prior: WalkPrior, reference_temp_c: float | None
) -> Steps:
    """Lay the readings of all lanes side by side."""
    rows = [_lane_steps(lane, prior, reference_temp_c) for lane in lanes]
    longest = max((len(lane_rows) for lane_rows in rows), default=0)
    table = np.zeros((longest, len(lanes), 7))
    table[:, :, 4] = 1.0
    for i, lane_rows in enumerate(rows):
        if lane_rows:
            table[: len(lane_rows), i] = lane_rows
    years, anew, warmth, reading, variance, read, tells = np.moveaxis(table, 2, 0)
    return Steps(
        years, anew > 0, warmth, reading, variance, read > 0, (tells > 0) & (read > 0)
    )


def _lane_steps(
    lane: LaneSessions, prior: WalkPrior, reference_temp_c: float | None
) -> list[tuple[float, ...]]:
    """The lane's readings, one row each, in the order of the fields of Steps."""
    rows: list[tuple[float, ...]] = []
    before: dt.date | None = None
    known = False  # whether a reading since the last break holds the bias
    for one in lane.sessions:
        broken = before is None or any(
            before < day <= one.held_on for day in lane.broken_on
        )
        years = 0.0 if before is None else (one.held_on - before).days / DAYS_PER_YEAR
        known, gap = known and not broken, years > 0
        for stage, mean, se, temp in _readings(one):
            anew = broken or (stage == "left" and one.adjusted)
            read = mean is not None and se is not None
            rows.append(
                (
                    years,
                    anew,
                    _warmth(temp, reference_temp_c),
                    mean if mean is not None else 0.0,
                    (se**2 if se is not None else 1.0) + prior.session_sd_pct**2,
                    read,
                    known and not anew and gap,
                )
            )
            known = read or (known and not anew)
            gap = gap and not read
            years, broken = 0.0, False
        before = one.held_on
    return rows


def _warmth(temp_c: float | None, reference_temp_c: float | None) -> float:
    if temp_c is None or reference_temp_c is None:
        return 0.0
    return temp_c - reference_temp_c


def _readings(
    one: BiasSession,
) -> list[tuple[str, float | None, float | None, float | None]]:
    """Stage, mean, standard error and temperature of what the session showed."""
    found = ("found", one.found_pct, one.found_se_pct, one.found_temp_c)
    left_temp = one.found_temp_c if one.left_temp_c is None else one.left_temp_c
    left = ("left", one.left_pct, one.left_se_pct, left_temp)
    if one.adjusted and one.left_pct is None and one.found_se_pct is not None:
        left = ("left", 0.0, one.found_se_pct, one.found_temp_c)
    if one.adjusted or one.left_pct is not None:
        return [found, left]
    return [found]


def run_filter(steps: Steps, wander_pct: FloatArray, unknown_sd_pct: float) -> Filtered:
    """Kalman filter for G wander values and L lanes at once."""
    shape = (wander_pct.size, steps.years.shape[1])
    unknown = unknown_sd_pct**2
    walk = wander_pct[:, None] ** 2
    mean, variance = np.zeros(shape), np.full(shape, unknown)
    by_drift, by_temp = np.zeros(shape), np.zeros(shape)
    sums = np.zeros((2, 6, *shape))  # all readings, those that tell of wander
    log_f = np.zeros(shape)
    for k in range(steps.years.shape[0]):
        years, anew, read = steps.years[k], steps.anew[k], steps.read[k]
        mean = np.where(anew, 0.0, mean)
        by_drift = np.where(anew, 0.0, by_drift + years)
        by_temp = np.where(anew, 0.0, by_temp)
        variance = np.where(anew, unknown, variance + walk * years)
        total = variance + steps.variance[k]
        log_f += np.where(read, np.log(2.0 * math.pi * total), 0.0)
        weight = read / total
        error = steps.reading_pct[k] - mean
        v_drift, v_temp = by_drift, by_temp + steps.warmth_c[k]
        terms = weight * np.array(
            [
                error**2,
                error * v_drift,
                error * v_temp,
                v_drift**2,
                v_drift * v_temp,
                v_temp**2,
            ]
        )
        sums[0] += terms
        sums[1] += np.where(steps.tells[k], terms, 0.0)
        gain = variance * weight
        mean = mean + gain * error
        by_drift = by_drift - gain * v_drift
        by_temp = by_temp - gain * v_temp
        variance = variance * (1.0 - gain)
    whole, told = (_packed(one) for one in sums)
    return Filtered(
        log_f, *whole, *told, mean, variance, np.stack([by_drift, by_temp], axis=-1)
    )


def _packed(sums: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sums (6, G, L) as a scalar, a vector (2,) and a matrix (2, 2) for each (G, L)."""
    ss, c_d, c_t, g_dd, g_dt, g_tt = sums
    cross = np.stack([c_d, c_t], axis=-1)
    gram = np.stack(
        [np.stack([g_dd, g_dt], axis=-1), np.stack([g_dt, g_tt], axis=-1)], axis=-2
    )
    return ss, cross, gram
