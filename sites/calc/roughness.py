"""Roughness along a measured road, and where in it an array of sensors would lie best.

AASHTO M 331 judges a weighing site by indices over two windows about the scale: a long
one, 25.8 m before to 3.2 m after, and a short one, 2.74 m before to 0.46 m after, and
by the highest values of both near it. (From memory; the 25.8 m are also told in a
published field study of the limits.) Its indices come from two band-pass filters whose
coefficients could not be checked against the document. **They are not computed here.**
What is computed over these windows is the IRI: the mean motion of the reference quarter
car's suspension (ASTM E1926). The names say so, the standing says so, and the limits of
M 331 do not apply to them.

Moving windows are differences of running sums, so the work grows with the length of the
road alone, whatever the windows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np
from scipy.ndimage import maximum_filter1d

from sites.calc.iri import (
    START_LENGTH_M,
    base_intervals,
    half_car_index,
    suspension_motion,
)
from sites.calc.profile import Floats, Profile
from sites.calc.profile_words import WheelPath
from wimprog.lib.errors import DomainError

STANDING = "not checked against the document"


class RoughnessWindow(StrEnum):
    """The four values that a location has; none of them is an index of M 331."""

    LONG = "long window IRI"
    PEAK_LONG = "peak long window IRI"
    SHORT = "short window IRI"
    PEAK_SHORT = "peak short window IRI"


@dataclass(frozen=True)
class Reach:
    """A stretch about a place, in the direction of travel, m."""

    before_m: float
    after_m: float

    @property
    def length_m(self) -> float:
        """From end to end, m."""
        return self.before_m + self.after_m


#: AASHTO M 331, from memory.
LONG_WINDOW = Reach(25.8, 3.2)
SHORT_WINDOW = Reach(2.74, 0.46)
#: Where the window's place is moved for the peak (AASHTO M 331, from memory).
PEAK_LONG_RANGE = Reach(30.0, 0.0)
PEAK_SHORT_RANGE = Reach(2.45, 1.5)
#: Road before the first window, over which the car forgets how it was started, m.
SETTLING_M = START_LENGTH_M


@dataclass(frozen=True, eq=False)
class RoadResponse:
    """What the quarter car did along a profile, ready for windows of any length.

    Attributes
    ----------
    profile
        The profile.
    sums
        For each path the running sum of the motion's size, m/km, shape (m + 1,):
        ``sums[b] - sums[a]`` is the sum over the intervals between nodes a and b.
    """

    profile: Profile
    sums: Mapping[WheelPath, Floats]

    @property
    def step_m(self) -> float:
        """Distance between nodes, m."""
        return self.profile.interval_mm / 1000.0

    @property
    def last_node(self) -> int:
        """The last node; the first is 0."""
        return int(next(iter(self.sums.values())).size) - 1

    @cached_property
    def first_m(self) -> float:
        """Place of node 0, m from the first sample: half the smoothing behind."""
        return (base_intervals(self.profile.interval_mm) - 1) / 2.0 * self.step_m

    @property
    def settled_node(self) -> int:
        """First node at which the car has run :data:`SETTLING_M`."""
        return max(0, math.ceil((SETTLING_M - self.first_m) / self.step_m - 1e-9))

    def steps(self, length_m: float) -> int:
        """Whole steps nearest to a length."""
        return math.floor(length_m / self.step_m + 0.5)

    def node_m(self, node: int) -> float:
        """Distance of a node as the file counts it, m."""
        return self.profile.distance_m(self.first_m + node * self.step_m)

    def node_at(self, distance_m: float) -> int:
        """Nearest node to a place, as the file counts distance; may lie outside."""
        return self.steps(self.profile.travelled_m(distance_m) - self.first_m)

    def means(self, path: WheelPath, before: int, after: int) -> Floats:
        """Mean over ``before`` steps to ``after`` steps about each node, m/km.

        Shape (m + 1 − before − after,); element 0 is for node ``before``.
        """
        sums = self.sums[path]
        width = before + after
        means: Floats = (sums[width:] - sums[:-width]) / width
        return means


def road_response(profile: Profile) -> RoadResponse:
    """Drive the quarter car over every path of a profile.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the profile is shorter than the moving average.
    """
    sums = {}
    for path, heights in profile.elevation_mm.items():
        motion = suspension_motion(heights, profile.interval_mm)
        running = np.empty(motion.size + 1)
        running[0] = 0.0
        np.cumsum(np.abs(motion), out=running[1:])
        sums[path] = running
    return RoadResponse(profile, sums)


@dataclass(frozen=True)
class ProfileRoughness:
    """Roughness of a whole profile, m/km.

    Attributes
    ----------
    iri_m_per_km
        International Roughness Index of each path (ASTM E1926).
    mean_m_per_km
        Mean of both wheel paths' indices; None with one path.
    half_car_m_per_km
        Index of the two paths' mean profile; None with one path.
    length_m
        Length of the profile, m.
    n
        Samples of each path.
    """

    iri_m_per_km: Mapping[WheelPath, float]
    mean_m_per_km: float | None
    half_car_m_per_km: float | None
    length_m: float
    n: int


def profile_roughness(road: Profile | RoadResponse) -> ProfileRoughness:
    """Index of each path, their mean and the half-car index over the whole profile."""
    response = _response_of(road)
    profile = response.profile
    iri = {
        path: float(sums[-1]) / response.last_node
        for path, sums in response.sums.items()
    }
    both = {WheelPath.LEFT, WheelPath.RIGHT} <= set(iri)
    heights = profile.elevation_mm
    return ProfileRoughness(
        iri_m_per_km=iri,
        mean_m_per_km=(iri[WheelPath.LEFT] + iri[WheelPath.RIGHT]) / 2.0
        if both
        else None,
        half_car_m_per_km=half_car_index(
            heights[WheelPath.LEFT], heights[WheelPath.RIGHT], profile.interval_mm
        )
        if both
        else None,
        length_m=profile.length_m,
        n=profile.n,
    )


@dataclass(frozen=True, eq=False)
class SeriesLine:
    """One path's line: distances as the file counts them, m, and IRI, m/km."""

    distance_m: Floats
    iri_m_per_km: Floats


@dataclass(frozen=True, eq=False)
class WindowSeries:
    """IRI over a moving window along the road, for drawing.

    Attributes
    ----------
    window_m, step_m
        The window and its step as used: whole numbers of samples, m.
    n_windows
        Windows that were computed; the lines keep the least and the greatest of each
        part of the road.
    lines
        A line for each path, at the windows' middles.
    """

    window_m: float
    step_m: float
    n_windows: int
    lines: Mapping[WheelPath, SeriesLine]


def window_series(
    road: Profile | RoadResponse,
    window_m: float,
    step_m: float | None = None,
    *,
    most_points: int = 2000,
) -> WindowSeries:
    """IRI of each path over a window moved along the road.

    Parameters
    ----------
    road
        The profile, or its response if that is at hand.
    window_m
        Length of the window, m.
    step_m
        How far the window is moved each time, m; by default one sample.
    most_points
        Points of each line at most, at least 4.

    Returns
    -------
    WindowSeries
        From 11 m after the first sample on, when the car has settled.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the profile is shorter than 11 m and the window, or a length is not
        positive.
    """
    response = _response_of(road)
    if not (window_m > 0 and (step_m is None or step_m > 0)):
        raise DomainError("A window and its step are lengths above 0 m.")
    if most_points < 4:
        raise DomainError("A line needs at least 4 points.")
    width = max(1, response.steps(window_m))
    stride = 1 if step_m is None else max(1, response.steps(step_m))
    first = response.settled_node
    starts = np.arange(first, response.last_node - width + 1, stride)
    if not starts.size:
        raise DomainError(
            f"The profile is {response.profile.length_m:.1f} m long; a window of "
            f"{window_m:g} m needs {SETTLING_M:g} m more before it."
        )
    lines = {}
    for path in response.sums:
        values = response.means(path, 0, width)[first::stride]
        kept = kept_extremes(values, most_points)
        middles_m = response.first_m + (starts[kept] + width / 2.0) * response.step_m
        profile = response.profile
        lines[path] = SeriesLine(
            profile.start_m + profile.direction * middles_m, values[kept]
        )
    return WindowSeries(
        window_m=width * response.step_m,
        step_m=stride * response.step_m,
        n_windows=int(starts.size),
        lines=lines,
    )


def kept_extremes(values: Floats, most_points: int) -> np.ndarray:
    """Places of at most so many values that keep each part's least and greatest.

    The first and the last value are kept as well.
    """
    n = values.size
    if n <= most_points:
        return np.arange(n)
    size = -(-n // (most_points // 2 - 1))
    parts = -(-n // size)
    padded = np.full(parts * size, values[-1])
    padded[:n] = values
    rows = padded.reshape(parts, size)
    begin = np.arange(parts) * size
    places = np.concatenate(
        [[0, n - 1], begin + rows.argmin(axis=1), begin + rows.argmax(axis=1)]
    )
    return np.unique(np.minimum(places, n - 1))


@dataclass(frozen=True, eq=False)
class LocationRoughness:
    """The four values of every path at every node where all of them exist.

    ``values[path][window][i]`` is for node ``first_node + i``, m/km.
    """

    first_node: int
    values: Mapping[WheelPath, Mapping[RoughnessWindow, Floats]]

    @cached_property
    def worst(self) -> Floats:
        """The greatest of all values at each node, m/km."""
        arrays = [line for four in self.values.values() for line in four.values()]
        greatest = arrays[0].copy()
        for line in arrays[1:]:
            np.maximum(greatest, line, out=greatest)
        return greatest


def needed_length_m(response: RoadResponse) -> float:
    """Shortest profile that has one place with all four values, m."""
    lead = SETTLING_M + LONG_WINDOW.before_m + PEAK_LONG_RANGE.before_m
    tail = max(LONG_WINDOW.after_m, SHORT_WINDOW.after_m + PEAK_SHORT_RANGE.after_m)
    return lead + tail + base_intervals(response.profile.interval_mm) * response.step_m


def location_roughness(road: Profile | RoadResponse) -> LocationRoughness:
    """Long and short window IRI and their peaks at every place along the road.

    Parameters
    ----------
    road
        The profile, or its response if that is at hand.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the profile is too short for a place with all four.
    """
    response = _response_of(road)

    def nodes(reach: Reach) -> tuple[int, int]:
        return response.steps(reach.before_m), response.steps(reach.after_m)

    long, short = nodes(LONG_WINDOW), nodes(SHORT_WINDOW)
    far, near = nodes(PEAK_LONG_RANGE), nodes(PEAK_SHORT_RANGE)
    first = response.settled_node + max(long[0] + far[0], short[0] + near[0])
    last = response.last_node - max(long[1] + far[1], short[1] + near[1])
    if first > last:
        raise DomainError(
            f"The profile is {response.profile.length_m:.1f} m long; about "
            f"{needed_length_m(response):.0f} m are needed to judge one place: 11 m to "
            "start the car, the windows before the place, and 3.2 m after it."
        )
    values = {}
    for path in response.sums:
        plain_long = response.means(path, *long)
        plain_short = response.means(path, *short)
        lines = {
            RoughnessWindow.LONG: (plain_long, long[0]),
            RoughnessWindow.PEAK_LONG: (_highest(plain_long, *far), long[0] + far[0]),
            RoughnessWindow.SHORT: (plain_short, short[0]),
            RoughnessWindow.PEAK_SHORT: (
                _highest(plain_short, *near),
                short[0] + near[0],
            ),
        }
        values[path] = {
            window: line[first - begin : last - begin + 1]
            for window, (line, begin) in lines.items()
        }
    return LocationRoughness(first, values)


def _highest(values: Floats, before: int, after: int) -> Floats:
    """Greatest of ``before`` values behind to ``after`` ahead; first for ``before``."""
    size = before + after + 1
    middle = size // 2
    filtered: Floats = maximum_filter1d(values, size)
    return filtered[middle : middle + values.size - size + 1]


def _response_of(road: Profile | RoadResponse) -> RoadResponse:
    return road if isinstance(road, RoadResponse) else road_response(road)
