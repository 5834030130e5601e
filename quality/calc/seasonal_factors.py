"""Monthly and day-of-week factors of a year's daily volumes.

The year's mean daily volume is the AASHTO average of averages: for each day of the week
and month the mean of its days, then the mean over months, then over the seven days of
the week (AASHTO Guidelines for Traffic Data Programs, from memory), so that missing
days do not lean the mean towards the days that were recorded. A factor multiplies the
volume of a short count to the year's mean (Traffic Monitoring Guide's usage, from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wimprog.lib.errors import DomainError

METHOD_VERSION = "seasonal-factors-1"
WEEKDAYS = (
    "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday",
)  # fmt: skip


@dataclass(frozen=True)
class SeasonalFactors:
    """A year's factors.

    Attributes
    ----------
    year_mean
        Mean daily volume of the year; None where no month counts.
    n_months
        Months that count: every day of the week was recorded at least once. With
        fewer than twelve the mean is that of those months, not of the year.
    months : int64, (12,)
        1 to 12.
    month_mean, month_factor : float64, (12,)
        Mean daily volume, and the year's mean over it; NaN is no data.
    n_days : int64, (12,)
        Days recorded in each month.
    weekday_mean, weekday_factor : float64, (7,)
        The same by day of the week, Monday first.
    n_weekdays : int64, (7,)
        Days recorded of each, in the months that count.
    """

    year_mean: float | None
    n_months: int
    months: np.ndarray
    month_mean: np.ndarray
    month_factor: np.ndarray
    n_days: np.ndarray
    weekday_mean: np.ndarray
    weekday_factor: np.ndarray
    n_weekdays: np.ndarray

    @property
    def is_whole_year(self) -> bool:
        """Whether every month counts."""
        return self.n_months == 12

    def month_frame(self) -> pd.DataFrame:
        """One row a month: ``month``, ``n_days``, ``mean``, ``factor``."""
        return pd.DataFrame(
            {
                "month": self.months,
                "n_days": self.n_days,
                "mean": self.month_mean,
                "factor": self.month_factor,
            }
        )

    def weekday_frame(self) -> pd.DataFrame:
        """One row a day of the week: ``weekday``, ``n_days``, ``mean``, ``factor``."""
        return pd.DataFrame(
            {
                "weekday": WEEKDAYS,
                "n_days": self.n_weekdays,
                "mean": self.weekday_mean,
                "factor": self.weekday_factor,
            }
        )


def seasonal_factors(days: np.ndarray, volumes: np.ndarray) -> SeasonalFactors:
    """Factors from the daily volumes of one calendar year.

    Parameters
    ----------
    days : datetime64[D], (d,)
        Days of one year, each at most once; those absent have no data.
    volumes : (d,)
        Vehicles of each day; NaN is no data (never zero).

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the days are of several years or one stands twice.
    """
    days = np.asarray(days, dtype="datetime64[D]")
    volumes = np.asarray(volumes, dtype=np.float64)
    years = np.unique(days.astype("datetime64[Y]"))
    if len(years) > 1:
        raise DomainError(
            f"Seasonal factors are of one calendar year; these days are of {years[0]} "
            f"to {years[-1]}."
        )
    if len(np.unique(days)) != len(days):
        raise DomainError("Seasonal factors: a day stands twice; give each day once.")
    known = ~np.isnan(volumes)
    days, volumes = days[known], volumes[known]
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    weekday = (days.astype(np.int64) + 3) % 7  # 1970-01-01 was a Thursday
    cell = month * 7 + weekday
    n = np.bincount(cell, minlength=84).reshape(12, 7)
    total = np.bincount(cell, volumes, 84).reshape(12, 7)
    mean = np.divide(total, n, out=np.full((12, 7), np.nan), where=n > 0)
    counts = (n > 0).all(axis=1)
    month_mean = np.where(counts, mean.sum(axis=1) / 7, np.nan)
    weekday_mean = mean[counts].mean(axis=0) if counts.any() else np.full(7, np.nan)
    year_mean = float(weekday_mean.mean()) if counts.any() else None

    def factor(of: np.ndarray) -> np.ndarray:
        over = np.nan if year_mean is None else year_mean
        return np.divide(over, of, out=np.full(of.shape, np.nan), where=of > 0)

    return SeasonalFactors(
        year_mean=year_mean,
        n_months=int(counts.sum()),
        months=np.arange(1, 13),
        month_mean=month_mean,
        month_factor=factor(month_mean),
        n_days=n.sum(axis=1),
        weekday_mean=weekday_mean,
        weekday_factor=factor(weekday_mean),
        n_weekdays=n[counts].sum(axis=0),
    )
