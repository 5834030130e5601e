"""Days as numpy holds them."""

from __future__ import annotations

import datetime as dt

import numpy as np

HOUR_COLUMNS = tuple(f"h{hour:02d}" for hour in range(24))
"""Columns of the vehicles of each hour of a day."""


def as_day(day: np.datetime64 | dt.date) -> np.datetime64:
    """A day as ``datetime64[D]``, from a date or a numpy time of any unit."""
    return np.datetime64(str(np.asarray(day, dtype="datetime64[D]")), "D")
