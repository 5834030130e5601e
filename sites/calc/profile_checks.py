"""What a profile must keep to before an index may be computed from it.

The limits here are our own, chosen so that a mistake in the file is told and a rough
road is not, unless a source stands beside them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sites.calc.iri import iri_m_per_km
from sites.calc.profile_words import ElevationUnit, WheelPath
from wimprog.lib.units import format_number

Floats = NDArray[np.float64]

#: Largest interval, mm: the base of the moving average (ASTM E1926 allows up to 300 mm,
#: from memory; from 250 mm on no average is left and short bumps fall between samples).
LARGEST_INTERVAL_MM = 250.0
#: Interval that AASHTO M 331 asks of a profiler at a weighing site, mm.
M331_INTERVAL_MM = 25.4
#: One step may be this share of the usual interval longer or shorter: distances are
#: often written to the centimetre, and a lost or doubled sample is a whole interval.
STEP_TOLERANCE = 0.5
#: Steps over which the interval must hold on average, and how well.
STRETCH_STEPS = 40
STRETCH_TOLERANCE = 0.02
#: A smoother or rougher road than this is more likely a mistaken unit, m/km: the
#: smoothest paved roads are near 0.5, and only unpaved roads are beyond 15.
LEAST_IRI = 0.2
LARGEST_IRI = 15.0
#: Road that is looked at for a mistaken unit, m.
QUESTIONED_LENGTH_M = 2000.0
#: Shortest profile that is of use, m: 11 m to start the car and a window of 3.2 m.
LEAST_LENGTH_M = 14.2
#: Largest step between neighbouring samples: this, and this share of the interval.
LARGEST_JUMP_MM = 30.0
LARGEST_JUMP_SLOPE = 0.2


@dataclass(frozen=True)
class Spacing:
    """How a profile's samples are spaced.

    Attributes
    ----------
    direction
        1 when distances rise in the direction of travel, −1 when they fall.
    interval_mm
        The usual interval, mm.
    turned
        Samples whose distance goes back, or stands still, counted from 0.
    uneven
        Samples that are not one interval from the sample before, counted from 0.
    drifts
        Whether ``uneven`` tells ends of stretches whose mean interval is not the usual.
    """

    direction: int
    interval_mm: float
    turned: NDArray[np.intp]
    uneven: NDArray[np.intp]
    drifts: bool = False


def spacing_of(distance_m: Floats) -> Spacing:
    """Judge the spacing of distances in the order of the file.

    Parameters
    ----------
    distance_m
        Distances, m, shape (n,), n ≥ 2, finite.
    """
    steps = np.diff(distance_m)
    direction = 1 if np.count_nonzero(steps > 0) >= np.count_nonzero(steps < 0) else -1
    steps *= direction
    stretch = min(STRETCH_STEPS, steps.size)
    spans = direction * (distance_m[stretch:] - distance_m[:-stretch])
    usual = float(np.median(spans)) / stretch
    turned = np.flatnonzero(steps < 0) + 1
    uneven = np.flatnonzero(np.abs(steps - usual) > STEP_TOLERANCE * abs(usual)) + 1
    if not turned.size and not uneven.size:
        drift = np.abs(spans - stretch * usual)
        drifting = np.flatnonzero(drift > STRETCH_TOLERANCE * stretch * usual) + stretch
        return Spacing(direction, usual * 1000.0, turned, drifting, drifting.size > 0)
    return Spacing(direction, usual * 1000.0, turned, uneven)


def length_text(length_mm: float) -> str:
    """A short length for people: "25.4 mm", "12.5 m"."""
    unit, value = (
        ("m", length_mm / 1000.0) if length_mm >= 1000.0 else ("mm", length_mm)
    )
    whole = len(str(int(value)))
    text = format_number(value, max(0, 4 - whole))
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}"


def mean_interval_mm(distance_m: Floats) -> float:
    """Length over number of steps, mm, to the nanometre."""
    length_mm = abs(distance_m[-1] - distance_m[0]) * 1000.0
    return float(round(length_mm / (distance_m.size - 1), 6))


@dataclass(frozen=True)
class UnitQuestion:
    """Elevations that no road has in the unit they were read in."""

    path: WheelPath
    iri_m_per_km: float
    instead: tuple[ElevationUnit, ...]

    @property
    def message(self) -> str:
        """The question in words."""
        if self.iri_m_per_km == 0:
            return "the elevations never change, or change as a straight line does."
        size = format_number(self.iri_m_per_km, 3 if self.iri_m_per_km < 1 else 0)
        kind = "smoother" if self.iri_m_per_km < LEAST_IRI else "rougher"
        return (
            f"read like this the roughness is {size} m/km, {kind} than any paved road."
        )

    @property
    def expected(self) -> str:
        """The roughness that is not questioned."""
        return f"a roughness of {LEAST_IRI:g} to {LARGEST_IRI:g} m/km"

    @property
    def remedy(self) -> str:
        """What to do."""
        if self.instead:
            units = " or ".join(self.instead)
            return f"They would be those of a road in {units}: check the unit."
        return "Check the unit and the column, or take the elevations as measured."


def question_unit(
    path: WheelPath, elevation_mm: Floats, interval_mm: float, unit: ElevationUnit
) -> UnitQuestion | None:
    """Whether the elevations look as if their unit was mistaken.

    Parameters
    ----------
    path
        The wheel path.
    elevation_mm
        Elevations as read, mm, shape (n,).
    interval_mm
        Distance between samples, mm.
    unit
        The unit that they were read in.
    """
    part = elevation_mm[: int(QUESTIONED_LENGTH_M * 1000.0 / interval_mm) + 1]
    index = iri_m_per_km(part, interval_mm)
    if LEAST_IRI <= index <= LARGEST_IRI:
        return None
    if index < 1e-6:
        return UnitQuestion(path, 0.0, ())
    instead = tuple(
        other
        for other in ElevationUnit
        if LEAST_IRI <= index * other.millimetres / unit.millimetres <= LARGEST_IRI
    )
    return UnitQuestion(path, index, instead)


def jumps(elevation_mm: Floats, steps_mm: Floats) -> NDArray[np.intp]:
    """Samples that are an implausible jump away from the sample before, from 0.

    Parameters
    ----------
    elevation_mm
        Elevations, mm, shape (n,).
    steps_mm
        Distances between neighbouring samples, mm, shape (n − 1,).
    """
    allowed = LARGEST_JUMP_MM + LARGEST_JUMP_SLOPE * steps_mm
    return np.flatnonzero(np.abs(np.diff(elevation_mm)) > allowed) + 1


def resampled(
    distance_m: Floats, elevation_mm: Mapping[WheelPath, Floats], interval_mm: float
) -> dict[WheelPath, Floats]:
    """The profile at an even interval, by straight lines between its samples.

    Parameters
    ----------
    distance_m
        Distances along the direction of travel, m, strictly rising, shape (n,).
    elevation_mm
        Elevations of each path, mm, shape (n,).
    interval_mm
        The wanted interval, mm.

    Returns
    -------
    dict
        Elevations of each path at the new interval, from the first sample on, mm.
    """
    steps = int((distance_m[-1] - distance_m[0]) * 1000.0 / interval_mm + 1e-9)
    even = distance_m[0] + np.arange(steps + 1) * interval_mm / 1000.0
    return {
        path: np.interp(even, distance_m, heights)
        for path, heights in elevation_mm.items()
    }
