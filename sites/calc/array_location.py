"""The places along a measured road where an array of sensors would lie best.

A place is as good as its worst value: the greatest of the long and the short window
IRI and their peaks (:mod:`sites.calc.roughness`), over every wheel path. No score is
made up of them. The candidates are the least of these along the road, each far enough
from the better ones that their long windows do not overlap.

Roughness is one of many conditions of a site; curve, grade, cross slope, traffic and
safety are judged elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sites.calc.iri import roughness_text
from sites.calc.profile import Profile
from sites.calc.profile_words import WheelPath
from sites.calc.roughness import (
    LONG_WINDOW,
    STANDING,
    LocationRoughness,
    RoadResponse,
    RoughnessWindow,
    location_roughness,
    road_response,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import Kind, UnitSystem, format_si

RULE = (
    "greatest IRI of any wheel path over the windows of AASHTO M 331 (from memory): "
    "25.8 m before to 3.2 m after and 2.74 m before to 0.46 m after the place, and the "
    "peaks of both near it; quarter car of ASTM E1926, not the indices of M 331"
)


@dataclass(frozen=True)
class IriLimits:
    """Limits of the greatest IRI about an array, m/km, each inclusive.

    Up to ``lower`` a place meets them, beyond ``upper`` it misses them; between them
    nothing can be said. Without ``lower`` a place meets them up to ``upper``.
    """

    upper_m_per_km: float
    lower_m_per_km: float | None = None
    source: str = "agency's own"
    standing: str = "agency's own"

    def __post_init__(self) -> None:
        """Refuse limits that contradict each other."""
        low, high = self.lower_m_per_km, self.upper_m_per_km
        given = [high] if low is None else [low, high]
        if not all(math.isfinite(limit) and limit > 0 for limit in given):
            raise DomainError("A limit of roughness is a number above 0.")
        if low is not None and low > high:
            raise DomainError(
                f"The lower limit of roughness, {low:g} m/km, is above the upper, "
                f"{high:g} m/km."
            )

    def verdict(self, value_m_per_km: float) -> Verdict:
        """Whether a value meets the limits."""
        if value_m_per_km > self.upper_m_per_km:
            return Verdict.MISSES
        if self.lower_m_per_km is None or value_m_per_km <= self.lower_m_per_km:
            return Verdict.MEETS
        return Verdict.CANNOT_SAY

    def words(self, system: UnitSystem) -> str:
        """The limits in words."""
        high = roughness_text(self.upper_m_per_km, system)
        if self.lower_m_per_km is None:
            return f"at most {high}"
        low = roughness_text(self.lower_m_per_km, system)
        return f"at most {low} to meet, above {high} to miss"


@dataclass(frozen=True)
class LocationCandidate:
    """One place for the array.

    Attributes
    ----------
    rank
        1 for the best.
    distance_m
        The place, as the file counts distance, m.
    values_m_per_km
        The four values of each path, m/km.
    worst_path, worst_window, worst_m_per_km
        Which of them is the greatest.
    judgement
        The greatest value against the limits.
    """

    rank: int
    distance_m: float
    values_m_per_km: Mapping[WheelPath, Mapping[RoughnessWindow, float]]
    worst_path: WheelPath
    worst_window: RoughnessWindow
    worst_m_per_km: float
    judgement: Judgement

    @property
    def sentence(self) -> str:
        """The place and its verdict in a sentence."""
        return self.judgement.sentence


def best_location(
    road: Profile | RoadResponse,
    *,
    limits: IriLimits | None = None,
    between_m: tuple[float, float] | None = None,
    exclude_ends_m: float = 0.0,
    most: int = 5,
    apart_m: float = LONG_WINDOW.length_m,
    system: UnitSystem = UnitSystem.US,
) -> tuple[LocationCandidate, ...]:
    """The smoothest places for an array, best first.

    Parameters
    ----------
    road
        The profile, or its response if that is at hand.
    limits
        Limits to judge by; without them every verdict is "cannot say".
    between_m
        The part of the road to search, two distances as the file counts them, m; by
        default all of it. The windows may reach beyond it.
    exclude_ends_m
        Road at each end of the profile in which no array is wanted, m.
    most
        How many candidates at most.
    apart_m
        Least distance between candidates, m.
    system
        Units of the sentences.

    Returns
    -------
    tuple of LocationCandidate
        At least one.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the profile, or the part to search, is too short for one place.
    """
    response = road if isinstance(road, RoadResponse) else road_response(road)
    if most < 1 or apart_m < 0 or exclude_ends_m < 0:
        raise DomainError(
            "At least one candidate is asked for, and distances are not negative."
        )
    places = location_roughness(response)
    low, high = _searched(response, places, between_m, exclude_ends_m)
    worst = places.worst[low:high].copy()
    apart = max(1, response.steps(apart_m))
    candidates: list[LocationCandidate] = []
    while len(candidates) < most:
        best = int(np.argmin(worst))
        if not math.isfinite(worst[best]):
            break
        candidates.append(
            _candidate(
                response, places, low + best, len(candidates) + 1, limits, system
            )
        )
        worst[max(0, best - apart + 1) : best + apart] = math.inf
    return tuple(candidates)


def _searched(
    response: RoadResponse,
    places: LocationRoughness,
    between_m: tuple[float, float] | None,
    exclude_ends_m: float,
) -> tuple[int, int]:
    """The part of ``places`` to search, as a slice."""
    profile = response.profile
    ends = (
        exclude_ends_m - response.first_m,
        profile.length_m - exclude_ends_m - response.first_m,
    )
    first = math.ceil(ends[0] / response.step_m - 1e-9)
    last = math.floor(ends[1] / response.step_m + 1e-9)
    if between_m is not None:
        asked = sorted(profile.travelled_m(distance) for distance in between_m)
        nodes = [(place - response.first_m) / response.step_m for place in asked]
        first = max(first, math.ceil(nodes[0] - 1e-6))
        last = min(last, math.floor(nodes[1] + 1e-6))
    low = max(first - places.first_node, 0)
    high = min(last - places.first_node + 1, places.worst.size)
    if low >= high:
        begin = response.node_m(places.first_node)
        end = response.node_m(places.first_node + places.worst.size - 1)
        raise DomainError(
            "No place is left to search: this profile can judge places from "
            f"{begin:,.1f} m to {end:,.1f} m, and the part asked for has none of them. "
            "Widen the part to search, or measure a longer profile."
        )
    return low, high


def _candidate(
    response: RoadResponse,
    places: LocationRoughness,
    at: int,
    rank: int,
    limits: IriLimits | None,
    system: UnitSystem,
) -> LocationCandidate:
    values = {
        path: {window: float(line[at]) for window, line in four.items()}
        for path, four in places.values.items()
    }
    value, path, window = _greatest(values)
    distance_m = response.node_m(places.first_node + at)
    return LocationCandidate(
        rank=rank,
        distance_m=distance_m,
        values_m_per_km=values,
        worst_path=path,
        worst_window=window,
        worst_m_per_km=value,
        judgement=_judgement(
            response, distance_m, (value, path, window), values, limits, system
        ),
    )


def _greatest(
    values: Mapping[WheelPath, Mapping[RoughnessWindow, float]],
) -> tuple[float, WheelPath, RoughnessWindow]:
    """The greatest value, where it is; of equals the plain window before its peak."""
    flat = [(v, path, w) for path, four in values.items() for w, v in four.items()]
    return max(flat, key=lambda one: one[0])


def _judgement(
    response: RoadResponse,
    distance_m: float,
    greatest: tuple[float, WheelPath, RoughnessWindow],
    values: Mapping[WheelPath, Mapping[RoughnessWindow, float]],
    limits: IriLimits | None,
    system: UnitSystem,
) -> Judgement:
    value, path, window = greatest
    limit = limits.words(system) if limits else "no limit entered"
    verdict = limits.verdict(value) if limits else Verdict.CANNOT_SAY
    reason = ""
    if limits is None:
        reason = ", no limit has been entered"
    elif verdict is Verdict.CANNOT_SAY:
        reason = ", between the limits"
    place = format_si(distance_m, Kind.LENGTH, system)
    return Judgement(
        quantity="roughness about the array",
        value=value,
        unit="m/km",
        n=response.steps(LONG_WINDOW.length_m),
        interval=None,
        rule=f"{RULE} ({limits.source})" if limits else RULE,
        limit=limit,
        verdict=verdict,
        sentence=(
            f"Array at {place}: the greatest value is the {window} of the {path}, "
            f"{roughness_text(value, system)}. Limit: {limit}; {verdict}{reason}. "
            "These are IRI over the windows of AASHTO M 331, not its indices."
        ),
        standing=limits.standing if limits else STANDING,
        details=tuple(
            (f"{line} of the {one}, m/km", number)
            for one, four in values.items()
            for line, number in four.items()
        ),
    )
