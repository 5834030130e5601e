"""Limits that a sound vehicle record keeps; what breaks one is counted, not dropped."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS
from wimprog.lib.units import KG_PER_LB, KMH_PER_MPH, M_PER_FT

KIP = 1000 * KG_PER_LB
SOURCE = "NCHRP report 683, project 12-76 (from memory)"


@dataclass(frozen=True)
class PlausibleLimits:
    """Physical limits [kg, m, km/h]. Defaults from NCHRP report 683, from memory.

    The source drops vehicles under 12 kip because it looks for bridge loads; that is
    no fault of a record, so the least gross weight here is that of two least axles.
    A steering axle has no least weight of its own for the same reason.
    """

    speed_kmh: tuple[float, float] = (10 * KMH_PER_MPH, 100 * KMH_PER_MPH)
    gvw_kg: tuple[float, float] = (1.0 * KIP, 280 * KIP)
    axle_kg: tuple[float, float] = (0.4 * KIP, 70 * KIP)
    steering_most_kg: float = 25 * KIP
    first_spacing_least_m: float = 5.0 * M_PER_FT
    spacing_least_m: float = 2.5 * M_PER_FT
    length_most_m: float = 120 * M_PER_FT


def broken_limits(
    *,
    n: int,
    most_axles: int,
    column: Callable[[str], np.ndarray],
    limits: PlausibleLimits,
) -> np.ndarray:
    """Which of ``n`` records break a physical limit, bool (n,).

    ``column`` gives a column as float32 [kg, m, km/h], NaN where it is null. Limits are
    inclusive: a value at a limit is sound. An unknown speed breaks nothing; an axle of
    zero weight does.
    """

    def outside(values: np.ndarray, low: float, high: float) -> np.ndarray:
        return (values < np.float32(low)) | (values > np.float32(high))

    with np.errstate(invalid="ignore"):
        broken = outside(column("gvw_kg"), *limits.gvw_kg)
        broken |= outside(column("speed_kmh"), *limits.speed_kmh)
        broken |= column("w1_kg") > np.float32(limits.steering_most_kg)
        length = np.zeros(n, dtype=np.float32)
        for k in range(most_axles):
            broken |= outside(column(WEIGHT_COLUMNS[k]), *limits.axle_kg)
            if k + 1 < most_axles:
                gap = column(SPACING_COLUMNS[k])
                least = (
                    limits.first_spacing_least_m if k == 0 else limits.spacing_least_m
                )
                broken |= gap < np.float32(least)
                length += np.nan_to_num(gap)
        broken |= length > np.float32(limits.length_most_m)
    return np.asarray(broken)
