"""Days as numpy holds them."""

from __future__ import annotations

import datetime as dt

import numpy as np


def as_day(day: np.datetime64 | dt.date) -> np.datetime64:
    """A day as ``datetime64[D]``, from a date or a numpy time of any unit."""
    return np.datetime64(str(np.asarray(day, dtype="datetime64[D]")), "D")
