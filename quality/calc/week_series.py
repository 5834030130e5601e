"""Weekly figures of a lane as they come, and the weeks that no chart should read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quality.calc.change_point import difference_sd

WILD = 5.0
"""A single week this many spreads off both its neighbours is left out (own choice)."""


@dataclass(frozen=True)
class WeekSeries:
    """Weekly figures of one lane (or sensor), in order.

    Attributes
    ----------
    week_on : (n,)
        Mondays, datetime64[D].
    mean_kg : (n,)
        Weekly mean, above 0; NaN for a week without data.
    n_trucks : (n,)
        Trucks of each week.
    temperature_c : (n,), optional
        Mean temperature of each week [°C]; NaN where not known.

    Raises
    ------
    ValueError
        When lengths differ, weeks are not in order, or a mean is not above 0.
    """

    week_on: np.ndarray
    mean_kg: np.ndarray
    n_trucks: np.ndarray
    temperature_c: np.ndarray | None = None

    def __post_init__(self) -> None:
        week_on = np.asarray(self.week_on).astype("datetime64[D]")
        mean = np.asarray(self.mean_kg, dtype=np.float64)
        trucks = np.asarray(self.n_trucks, dtype=np.int64)
        object.__setattr__(self, "week_on", week_on)
        object.__setattr__(self, "mean_kg", mean)
        object.__setattr__(self, "n_trucks", trucks)
        lengths = {len(week_on), len(mean), len(trucks)}
        if self.temperature_c is not None:
            warm = np.asarray(self.temperature_c, dtype=np.float64)
            object.__setattr__(self, "temperature_c", warm)
            lengths.add(len(warm))
        if len(lengths) != 1:
            raise ValueError(
                "week_on, mean_kg, n_trucks and temperature_c must have the same length"
            )
        if (np.diff(week_on.astype(np.int64)) <= 0).any():
            raise ValueError("weeks must be in order, each once")
        if (mean[np.isfinite(mean)] <= 0.0).any():
            raise ValueError("mean_kg must be above 0; use NaN for a week without data")

    def without(self, drop: np.ndarray) -> WeekSeries:
        """The weeks that are not marked."""
        keep = ~np.asarray(drop, dtype=bool)
        warm = self.temperature_c
        return WeekSeries(
            self.week_on[keep],
            self.mean_kg[keep],
            self.n_trucks[keep],
            None if warm is None else warm[keep],
        )

    def usable(self, least_trucks: int = 0) -> WeekSeries:
        """Only the weeks with data and enough trucks."""
        return self.without(~np.isfinite(self.mean_kg) | (self.n_trucks < least_trucks))


def wild_weeks(values: np.ndarray, period: np.ndarray) -> np.ndarray:
    """Single weeks far off the median of the five around them."""
    n = len(values)
    wild = np.zeros(n, dtype=bool)
    if n < 5:
        return wild
    sd = difference_sd(values)
    around = np.lib.stride_tricks.sliding_window_view(values, 5)
    middle = np.median(around, axis=1)
    alike = period[4:] == period[:-4]
    wild[2:-2] = alike & (np.abs(values[2:-2] - middle) > WILD * sd) & (sd > 0.0)
    return wild


def in_week_of(week_on: np.ndarray, days: np.ndarray) -> np.ndarray:
    """Weeks that a calibration falls into after their first day."""
    if len(days) == 0:
        return np.zeros(len(week_on), dtype=bool)
    before = np.searchsorted(days, week_on, side="right")
    within = np.searchsorted(days, week_on + np.timedelta64(6, "D"), side="right")
    return np.asarray(within > before)
