"""What is kept of a road profile beside its samples: derived, small, versioned.

Everything here is IRI by the quarter car of ASTM E1926 (:mod:`sites.calc.iri`); what
the windows are, and what they are not, is said in :mod:`sites.calc.roughness`.
"""

from __future__ import annotations

from typing import Any

from sites.calc.array_location import LocationCandidate, best_location
from sites.calc.profile import Profile
from sites.calc.profile_words import WheelPath
from sites.calc.roughness import (
    LONG_WINDOW,
    Reach,
    RoadResponse,
    WindowSeries,
    profile_roughness,
    road_response,
    window_series,
)
from wimprog.lib.errors import DomainError

METHOD_VERSION = "1"
#: Points of each line that are kept for drawing.
MOST_POINTS = 600
#: Places that are kept.
MOST_PLACES = 8

APPROACH = Reach(60.0, 30.0)
"""Road about the sensors whose IRI stands for the approach, m: the stretch that ASTM
E1318 wants smooth (200 ft before, 100 ft after; from memory)."""


def approach_iri(road: RoadResponse, distance_m: float) -> dict[WheelPath, float]:
    """IRI of each path over :data:`APPROACH` about a place.

    Parameters
    ----------
    road
        The profile's response.
    distance_m
        The place, as the file counts distance, m.

    Returns
    -------
    dict
        m/km by wheel path; empty where the profile does not reach over the stretch,
        with 11 m before it for the car to settle.
    """
    node = road.node_at(distance_m)
    before, after = road.steps(APPROACH.before_m), road.steps(APPROACH.after_m)
    if node - before < road.settled_node or node + after > road.last_node:
        return {}
    return {
        path: float(sums[node + after] - sums[node - before]) / (before + after)
        for path, sums in road.sums.items()
    }


def profile_summary(profile: Profile) -> dict[str, Any]:
    """Whole-length indices, a line for drawing, and the best places, JSON-ready.

    Parameters
    ----------
    profile
        The profile.

    Returns
    -------
    dict
        ``iri_m_per_km`` by path, ``mean_m_per_km`` and ``half_car_m_per_km`` (None with
        one path), ``series`` (None where the profile is too short for the window),
        ``places`` best first (empty where it is too short for one), ``refusals`` in
        words, and the reader's ``notes``.
    """
    road = road_response(profile)
    whole = profile_roughness(road)
    refusals: list[str] = []
    series: dict[str, Any] | None = None
    places: list[dict[str, Any]] = []
    try:
        series = series_dict(
            window_series(road, LONG_WINDOW.length_m, 1.0, most_points=MOST_POINTS)
        )
    except DomainError as error:
        refusals.append(error.message)
    try:
        found = best_location(road, most=MOST_PLACES)
        places = [_place(road, one) for one in found]
    except DomainError as error:
        refusals.append(error.message)
    return {
        "iri_m_per_km": {path.value: v for path, v in whole.iri_m_per_km.items()},
        "mean_m_per_km": whole.mean_m_per_km,
        "half_car_m_per_km": whole.half_car_m_per_km,
        "series": series,
        "places": places,
        "refusals": refusals,
        "notes": list(profile.notes),
    }


def series_dict(series: WindowSeries) -> dict[str, Any]:
    """A window series as JSON-ready values, rounded for drawing."""
    return {
        "window_m": series.window_m,
        "step_m": series.step_m,
        "n_windows": series.n_windows,
        "lines": {
            path.value: [
                [round(x, 2) for x in line.distance_m.tolist()],
                [round(y, 4) for y in line.iri_m_per_km.tolist()],
            ]
            for path, line in series.lines.items()
        },
    }


def _place(road: RoadResponse, one: LocationCandidate) -> dict[str, Any]:
    return {
        "rank": one.rank,
        "distance_m": one.distance_m,
        "worst_path": one.worst_path.value,
        "worst_window": one.worst_window.value,
        "worst_m_per_km": one.worst_m_per_km,
        "n": one.judgement.n,
        "values_m_per_km": {
            path.value: {window.value: value for window, value in four.items()}
            for path, four in one.values_m_per_km.items()
        },
        "approach_iri_m_per_km": {
            path.value: value
            for path, value in approach_iri(road, one.distance_m).items()
        },
    }
