"""Hourly and daily volumes by class; an hour without data is not one without trucks."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from quality.calc.days import as_day
from quality.records.schema import times_ms
from wimprog.lib.errors import DomainError

METHOD_VERSION = "volumes-1"
N_CLASSES = 16
"""Classes 1 to 15 and 0, unclassified."""
_HOUR_MS = 3_600_000


@dataclass(frozen=True)
class HourlyVolumes:
    """Volumes of whole days.

    Attributes
    ----------
    days : datetime64[D], (d,)
        Consecutive days.
    counts : int64, (d, 24, 16)
        Vehicles by day, hour and class (0 unclassified).
    is_seen : bool, (d, 24)
        Whether the hour was recorded. Where it was not, its count of 0 means nothing.
    """

    days: np.ndarray
    counts: np.ndarray
    is_seen: np.ndarray

    @property
    def is_whole_day(self) -> np.ndarray:
        """Days all of whose hours were recorded, bool, (d,)."""
        return np.asarray(self.is_seen.all(axis=1))

    def daily(self) -> np.ndarray:
        """Vehicles by day and class, (d, 16); NaN for a day with an hour missing."""
        total = self.counts.sum(axis=1).astype(np.float64)
        total[~self.is_whole_day] = np.nan
        return total

    def hourly_frame(self) -> pd.DataFrame:
        """One row an hour: ``hour``, ``total``, ``class_00`` to ``class_15``.

        Unrecorded hours are missing values, not zeros.
        """
        hours = np.arange(24).astype("timedelta64[h]")
        flat = self.counts.reshape(-1, N_CLASSES).astype(np.float64)
        flat[~self.is_seen.reshape(-1)] = np.nan
        start = (self.days.astype("datetime64[h]")[:, None] + hours).reshape(-1)
        return _frame("hour", start, flat)

    def daily_frame(self) -> pd.DataFrame:
        """One row a day: ``date``, ``total``, ``class_00`` to ``class_15``."""
        return _frame("date", self.days, self.daily())


def _frame(name: str, times: np.ndarray, counts: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame(
        {
            name: times.astype("datetime64[s]"),
            "total": counts.sum(axis=1),
            **{f"class_{k:02d}": counts[:, k] for k in range(N_CLASSES)},
        }
    )


def hourly_volumes(
    table: pa.Table | pa.RecordBatch,
    vehicle_class: np.ndarray,
    *,
    first_on: np.datetime64 | dt.date,
    last_on: np.datetime64 | dt.date,
    is_seen: np.ndarray | None = None,
) -> HourlyVolumes:
    """Count vehicles by hour and class.

    Parameters
    ----------
    table
        Records of one lane; those of other days are left out.
    vehicle_class : int8, (n,)
        Class of each record, 0 to 15.
    first_on, last_on
        First and last day, both included.
    is_seen : bool, (d, 24), optional
        Hours recorded. By default every hour of a day between its first and its last
        hour with a vehicle, which cannot tell a quiet night from a dead one: give it
        where it is known.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the days are in the wrong order or ``is_seen`` is of other days.
    """
    first, last = (int(as_day(day).astype(np.int64)) for day in (first_on, last_on))
    n_days = last - first + 1
    if n_days < 1:
        raise DomainError(
            f"Volumes: the first day {first_on} is after the last day {last_on}."
        )
    hours = times_ms(table).view(np.int64) // _HOUR_MS - first * 24
    classes = np.asarray(vehicle_class)
    inside = (hours >= 0) & (hours < n_days * 24)
    if not inside.all():
        hours, classes = hours[inside], classes[inside]
    counts = np.bincount(
        hours * N_CLASSES + classes, minlength=n_days * 24 * N_CLASSES
    ).reshape(n_days, 24, N_CLASSES)
    if is_seen is None:
        busy = counts.sum(axis=2) > 0
        after = np.logical_or.accumulate(busy, axis=1)
        before = np.logical_or.accumulate(busy[:, ::-1], axis=1)[:, ::-1]
        is_seen = after & before
    if is_seen.shape != (n_days, 24):
        raise DomainError(
            f"Volumes: hours seen of shape {is_seen.shape} do not belong to {n_days} "
            "days of 24 hours."
        )
    return HourlyVolumes(
        np.arange(first, last + 1).astype("datetime64[D]"), counts, is_seen
    )
