"""Speeds of a day from its figures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from quality.calc.day_counts import N_SPEED_STEPS, SPEED_STEP_KMH


def speed_counts(figures: Mapping[str, Any]) -> np.ndarray:
    """Vehicles of each step of 2 km/h, (100,); all zero where speeds are unknown."""
    out = np.zeros(N_SPEED_STEPS, dtype=np.int64)
    speed = figures.get("speed")
    if speed:
        out[speed["from"] : speed["from"] + len(speed["n"])] = speed["n"]
    return out


def median_speed_kmh(figures: Mapping[str, Any]) -> float:
    """Median speed [km/h], straight within its step of 2 km/h; NaN without speeds."""
    below = np.cumsum(speed_counts(figures))
    if below[-1] == 0:
        return float("nan")
    half = below[-1] / 2
    step = int(np.searchsorted(below, half))
    before = below[step - 1] if step else 0
    return SPEED_STEP_KMH * (step + float(half - before) / float(below[step] - before))
