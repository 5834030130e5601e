"""Mean steering-axle weight of class 9: by the week, and by gross weight band.

The steering axle of a five-axle tractor-semitrailer carries nearly the same weight
from truck to truck and from week to week, so its mean is the site's own reference: the
"steering-axle average" of the Traffic Monitoring Guide's calibration code M.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from quality.calc.sample_mean import LEVEL, SampleMean
from wimprog.lib.units import KG_PER_LB

METHOD_VERSION = "steering-1"
STEERING_CLASS = 9
MIN_TRUCKS = 30
"""Trucks for a week to count. At a truck-to-truck spread of 8 % their mean has a
standard error of 1.5 % (computed). The figure is a trade-off of our own, no source:
more would hide the latest weeks of a quiet lane; the spread of such weeks widens the
interval by itself."""
SLACK_KG = 0.1
"""Less than half a pound; far more than float32 loses."""

WEEK_COLUMNS = (
    "week_on",
    "n_vehicles",
    "n_days",
    "steering_mean_kg",
    "steering_sd_kg",
    "gvw_mean_kg",
    "is_enough",
)


def weekly_steering(
    days: pd.DataFrame,
    *,
    vehicle_class: int = STEERING_CLASS,
    min_trucks: int = MIN_TRUCKS,
) -> pd.DataFrame:
    """Weekly steering-axle statistics from one lane's daily sums.

    Parameters
    ----------
    days
        One row a date (and class): ``date``, ``n_vehicles``, ``gvw_sum_kg``,
        ``steering_sum_kg`` [kg], ``steering_sum_sq_kg2`` [kg²], and ``vehicle_class``
        unless the rows are of one class already. Days set aside are left out by the
        caller.
    vehicle_class
        Class to take.
    min_trucks
        Weeks with fewer are marked, not dropped.

    Returns
    -------
    One row a week (ISO, Monday to Sunday) that has any such truck, in order:
    ``week_on`` (its Monday), ``n_vehicles``, ``n_days``, ``steering_mean_kg``,
    ``steering_sd_kg`` (between trucks; NaN for one truck), ``gvw_mean_kg``,
    ``is_enough``.

    References
    ----------
    FHWA Traffic Monitoring Guide, station record, calibration code M; Dahlin,
    Transportation Research Record 1364, 1992 (method from memory).
    """
    rows = days
    if "vehicle_class" in rows.columns:
        rows = rows[rows["vehicle_class"] == vehicle_class]
    rows = rows[rows["n_vehicles"] > 0]
    dates = pd.to_datetime(rows["date"]).to_numpy().astype("datetime64[D]")
    # 1970-01-05 was a Monday
    weeks = (dates.astype(np.int64) - 4) // 7
    monday = (weeks * 7 + 4).astype("datetime64[D]").astype("datetime64[s]")
    sums = (
        pd.DataFrame(
            {
                "week_on": monday,
                "n_vehicles": rows["n_vehicles"].to_numpy(dtype=np.int64),
                "n_days": 1,
                "gvw": rows["gvw_sum_kg"].to_numpy(dtype=np.float64),
                "steering": rows["steering_sum_kg"].to_numpy(dtype=np.float64),
                "squares": rows["steering_sum_sq_kg2"].to_numpy(dtype=np.float64),
            }
        )
        .groupby("week_on")
        .sum()
        .reset_index()
    )
    n = sums["n_vehicles"].to_numpy(dtype=np.float64)
    mean = sums["steering"].to_numpy() / n
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = np.maximum(sums["squares"].to_numpy() - n * mean * mean, 0.0)
        sd = np.sqrt(spread / (n - 1))
    sd[n < 2] = np.nan
    return pd.DataFrame(
        {
            "week_on": sums["week_on"],
            "n_vehicles": sums["n_vehicles"],
            "n_days": sums["n_days"],
            "steering_mean_kg": mean,
            "steering_sd_kg": sd,
            "gvw_mean_kg": sums["gvw"].to_numpy() / n,
            "is_enough": n >= min_trucks,
        }
    )


@dataclass(frozen=True)
class GrossBand:
    """A band of gross weight, and what a steering axle usually weighs in it.

    Attributes
    ----------
    low_kg, high_kg
        Gross weight from ``low_kg`` to below ``high_kg``.
    usual_kg
        Usual mean of the steering axle; None where the agency has none.
    """

    low_kg: float
    high_kg: float
    usual_kg: float | None = None


USUAL_BANDS = (
    GrossBand(0.0, 32_000 * KG_PER_LB, 8_500 * KG_PER_LB),
    GrossBand(32_000 * KG_PER_LB, 70_000 * KG_PER_LB, 9_300 * KG_PER_LB),
    GrossBand(70_000 * KG_PER_LB, math.inf, 10_400 * KG_PER_LB),
)
"""Dahlin, Transportation Research Record 1364, 1992 (bands and means from memory);
today's fleets are heavier, so a lane's own reference counts, not these."""


@dataclass(frozen=True)
class BandMean:
    """Steering axles of the trucks in one band [kg]."""

    band: GrossBand
    steering_kg: SampleMean


def steering_by_band(
    gvw_kg: np.ndarray,
    steering_kg: np.ndarray,
    bands: Sequence[GrossBand] = USUAL_BANDS,
    *,
    level: float = LEVEL,
) -> tuple[BandMean, ...]:
    """Mean steering axle by gross weight band.

    Parameters
    ----------
    gvw_kg, steering_kg : (n,)
        Gross weight and weight of the first axle of trucks of one kind [kg].
    bands
        Of gross weight.
    level
        Level of the intervals.

    Notes
    -----
    A truck whose weights are all read too high also moves up into heavier bands, so
    band means answer to a changed gain a little less than the trucks do.
    """
    gvw = np.asarray(gvw_kg, dtype=np.float64)
    # a gross weight in whole pounds, kept as float32, stays in the band it opens
    edges = [(band.low_kg - SLACK_KG, band.high_kg - SLACK_KG) for band in bands]
    return tuple(
        BandMean(band, SampleMean.of(steering_kg[(gvw >= low) & (gvw < high)], level))
        for band, (low, high) in zip(bands, edges, strict=True)
    )
