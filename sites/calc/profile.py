"""A longitudinal profile: elevations of the wheel paths at one interval."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sites.calc.profile_words import WheelPath

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Profile:
    """A measured profile at one interval, in the direction of travel.

    Attributes
    ----------
    start_m
        Distance of the first sample as the file counts it, m.
    interval_mm
        Distance between samples, mm.
    elevation_mm
        Elevations of each measured path, mm, each of shape (n,), not writeable.
    direction
        1 when distances rise in the direction of travel, −1 when they fall.
    notes
        What was done to the file or should be known of it, in sentences.
    """

    start_m: float
    interval_mm: float
    elevation_mm: Mapping[WheelPath, Floats]
    direction: int = 1
    notes: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        """Number of samples of each path."""
        return int(next(iter(self.elevation_mm.values())).size)

    @property
    def paths(self) -> tuple[WheelPath, ...]:
        """The measured paths."""
        return tuple(self.elevation_mm)

    @property
    def length_m(self) -> float:
        """From the first sample to the last, m."""
        return (self.n - 1) * self.interval_mm / 1000.0

    @property
    def end_m(self) -> float:
        """Distance of the last sample as the file counts it, m."""
        return self.distance_m(self.length_m)

    def distance_m(self, travelled_m: float) -> float:
        """Distance as the file counts it, of a place so far from the first sample."""
        return self.start_m + self.direction * travelled_m

    def travelled_m(self, distance_m: float) -> float:
        """How far a place, as the file counts distance, is from the first sample."""
        return (distance_m - self.start_m) * self.direction
