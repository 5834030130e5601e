"""A changed gain told from a changed offset by the two gross weight peaks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from quality.calc.mixture_fit import PeakFit, normal_interval
from wimprog.lib.judgement import Interval

METHOD_VERSION = "gain-offset-1"


@dataclass(frozen=True)
class GainOffset:
    """What both peaks say of a scale's gain and offset since the reference.

    weight now = gain × weight in the reference + offset.

    Attributes
    ----------
    gain, gain_interval
        1 where nothing changed.
    offset_kg, offset_interval
        0 where nothing changed [kg].
    """

    gain: float
    gain_interval: Interval
    offset_kg: float
    offset_interval: Interval

    @property
    def moved(self) -> str:
        """Which of them, by the intervals: gain, offset, both or neither."""
        gain = not self.gain_interval.low <= 1.0 <= self.gain_interval.high
        offset = not self.offset_interval.low <= 0.0 <= self.offset_interval.high
        names = {(1, 0): "gain", (0, 1): "offset", (1, 1): "both"}
        return names.get((int(gain), int(offset)), "neither")


def gain_and_offset(
    week: PeakFit, reference: PeakFit, level: float = 0.95
) -> GainOffset:
    """Tell a changed gain from a changed offset by both peaks.

    A gain moves both peaks by one percentage, an offset by one weight. The line through
    (reference peak, week's peak) gives both; intervals by propagation from the standard
    errors of both fits, for chance only: a week's mix of trucks adds to them.
    """
    u0, l0 = reference.unloaded_kg, reference.loaded_kg
    u1, l1 = week.unloaded_kg, week.loaded_kg
    gap = l0 - u0
    gain = (l1 - u1) / gap
    offset = u1 - gain * u0
    # by unloaded now, loaded now, unloaded then, loaded then
    of_gain = np.array([-1.0, 1.0, gain, -gain]) / gap
    of_offset = np.array([1.0, 0.0, -gain, 0.0]) - u0 * of_gain
    covariance = np.zeros((4, 4))
    for at, fit in ((0, week), (2, reference)):
        covariance[at : at + 2, at : at + 2] = [
            [fit.unloaded_se_kg**2, fit.covariance_kg2],
            [fit.covariance_kg2, fit.loaded_se_kg**2],
        ]
    gain_se = math.sqrt(max(float(of_gain @ covariance @ of_gain), 0.0))
    offset_se = math.sqrt(max(float(of_offset @ covariance @ of_offset), 0.0))
    return GainOffset(
        gain,
        normal_interval(gain, gain_se, level),
        offset,
        normal_interval(offset, offset_se, level),
    )
