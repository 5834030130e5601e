"""The drift line of a history band: steering axle against its own calibration.

For each stretch between two calibrations, the reference is the vehicle-weighted mean of
the class 9 steering axle over the first ``REFERENCE_WEEKS`` weeks after calibration;
the line is the vehicle-weighted mean of each block of ``BLOCK_WEEKS`` weeks, as a
percentage of change from it. It is a picture of the history; the drift that is judged,
with its interval, is computed in :mod:`quality.calc.drift`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

REFERENCE_WEEKS = 8
BLOCK_WEEKS = 4
LEAST_VEHICLES = 30


def drift_line(
    week_on: Sequence[dt.date],
    steering_mean_kg: Sequence[float],
    n_vehicles: Sequence[int],
    calibrated_on: Sequence[dt.date],
) -> list[tuple[dt.date, float | None]]:
    """Points of the drift line, oldest first.

    Parameters
    ----------
    week_on
        Mondays of the weeks, ascending.
    steering_mean_kg, n_vehicles
        Weekly mean of the class 9 steering axle [kg] and its vehicles; same length.
    calibrated_on
        Days of calibration, in any order. Weeks before the first have no reference
        and give no points.

    Returns
    -------
    list of (day, change_pct)
        One point a block; ``None`` where the block or its reference has fewer than
        ``LEAST_VEHICLES`` vehicles.

    Raises
    ------
    ValueError
        When the three sequences differ in length.
    """
    if not len(week_on) == len(steering_mean_kg) == len(n_vehicles):
        raise ValueError(
            "week_on, steering_mean_kg and n_vehicles must have the same length; got "
            f"{len(week_on)}, {len(steering_mean_kg)} and {len(n_vehicles)}"
        )
    days = np.array(week_on, dtype="datetime64[D]")
    mean = np.asarray(steering_mean_kg, dtype=float)
    count = np.asarray(n_vehicles, dtype=float)
    starts = np.array(sorted(set(calibrated_on)), dtype="datetime64[D]")
    period = np.searchsorted(starts, days, side="right")
    points: list[tuple[dt.date, float | None]] = []
    for number in range(1, len(starts) + 1):
        rows = np.flatnonzero(period == number)
        if rows.size == 0:
            continue
        reference = _weighted(mean, count, rows[:REFERENCE_WEEKS])
        for first in range(0, rows.size, BLOCK_WEEKS):
            block = rows[first : first + BLOCK_WEEKS]
            value = _weighted(mean, count, block)
            change = (
                None
                if reference is None or value is None
                else 100.0 * (value / reference - 1.0)
            )
            points.append((days[block[-1]].astype(dt.date), change))
    return points


def _weighted(mean: np.ndarray, count: np.ndarray, rows: np.ndarray) -> float | None:
    total = count[rows].sum()
    if total < LEAST_VEHICLES:
        return None
    return float((mean[rows] * count[rows]).sum() / total)
