"""What is usual for a lane's day, learnt from its own days before, and nothing else.

All functions look back a stated number of days, so what is found does not depend on how
the days were delivered.
"""

from __future__ import annotations

import numpy as np

VOLUME_WEEKS = 8
SPREAD_WEEKS = 26
"""Weeks from which the spread of the ratio is learnt; eight are too few, because the
days of a week rise and fall together (own simulation)."""
LEAST_SAME_WEEKDAYS = 4
LEAST_RATIOS = 14
SD_PER_MAD = 1.4826
YEAR_DAYS = 364
"""A year of whole weeks: the same weekday a year before."""
SEASON_DAYS = 14
LEAST_SEASON_DAYS = 10
REACH_WEEKS = 90
"""Weeks back that any check of days looks: spread, season, a year and the usual."""


def row_medians(values: np.ndarray, least: int = 1) -> np.ndarray:
    """Median of what is known in each row, (n,); NaN with fewer than ``least``."""
    ordered = np.sort(values, axis=-1)  # NaN last
    known = np.isfinite(ordered).sum(axis=-1)
    rows = np.arange(len(ordered))
    low = ordered[rows, np.maximum(known - 1, 0) // 2]
    high = ordered[rows, np.minimum(known // 2, ordered.shape[1] - 1)]
    return np.where(known >= least, (low + high) / 2, np.nan)


def days_before(values: np.ndarray, n_days: int, lag: int = 0) -> np.ndarray:
    """The ``n_days`` days that end ``lag`` days before each day, (n, n_days)."""
    ahead = np.full(n_days + lag, np.nan)
    padded = np.concatenate([ahead, values])
    windows = np.lib.stride_tricks.sliding_window_view(padded, n_days)
    return windows[: len(values)]


def same_weekdays_before(
    values: np.ndarray, *, weeks: int = VOLUME_WEEKS
) -> np.ndarray:
    """The same weekday in each of the weeks before, (n, weeks); latest last."""
    return days_before(values, 7 * weeks)[:, ::7]


def log_ratio_to_usual(
    values: np.ndarray, *, season: bool = True
) -> tuple[np.ndarray, np.ndarray]:
    """Log of each day's value over the median of its own weekdays before.

    Parameters
    ----------
    values : (n,)
        Positive; NaN where unknown.
    season
        Whether the median of the same ratio in the 29 days around the same weekday a
        year before is taken off, where at least 10 of them are known: a rise or fall
        that comes every year is none of the lane's own.

    Returns
    -------
    ratio, usual : (n,)
        NaN with fewer than 4 of the 8 weekdays known.
    """
    before = same_weekdays_before(values)
    usual = row_medians(before, LEAST_SAME_WEEKDAYS)
    ratio = np.log(values / usual)
    if season and len(values) > YEAR_DAYS:
        around = days_before(ratio, 2 * SEASON_DAYS + 1, YEAR_DAYS - SEASON_DAYS - 1)
        of_season = np.nan_to_num(row_medians(around, LEAST_SEASON_DAYS))
        ratio = ratio - of_season
        usual = usual * np.exp(of_season)
    return ratio, usual


def middle_and_sd(
    values: np.ndarray, *, weeks: int = SPREAD_WEEKS, least: int = LEAST_RATIOS
) -> tuple[np.ndarray, np.ndarray]:
    """Median and robust standard deviation of the days before each day, (n,) each."""
    before = days_before(values, 7 * weeks)
    middle = row_medians(before, least)
    mad = row_medians(np.abs(before - middle[:, None]), least)
    return middle, SD_PER_MAD * mad
