"""Work grouped into trips by place.

The most urgent work opens a trip at its site; the nearest sites with work join it as
long as they lie near that site and the hours last.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from installs.calc.upkeep.types import Urgency
from installs.calc.upkeep.work_list import RankedWork
from wimprog.lib.errors import DomainError
from wimprog.lib.units import format_number

EARTH_RADIUS_KM = 6371.0088
"""Mean radius of the Earth, (2 a + b) / 3 of the ellipsoid (IUGG, from memory)."""


@dataclass(frozen=True)
class Place:
    """Where a site is; degrees of WGS 84, north and east positive."""

    site: str
    latitude_deg: float
    longitude_deg: float

    def __post_init__(self) -> None:
        """Refuse a place that is not on Earth."""
        if not (abs(self.latitude_deg) <= 90 and abs(self.longitude_deg) <= 180):
            raise DomainError(
                f"Site {self.site}: {self.latitude_deg}, {self.longitude_deg} is no "
                "latitude and longitude in degrees."
            )


@dataclass(frozen=True)
class Trip:
    """Sites to visit together, and the work at them.

    Attributes
    ----------
    sites
        In the order of the visit: the first gave the trip its cause, each next one is
        the nearest to the one before.
    items
        Work at them, most urgent first.
    urgency
        Of the most urgent item.
    distance_km
        From site to site in a straight line, without the way there and back.
    hours
        On site and between sites, without the way there and back.
    sentence
        Why these belong together.
    """

    sites: tuple[str, ...]
    items: tuple[RankedWork, ...]
    urgency: Urgency
    distance_km: float
    hours: float
    sentence: str


def distance_km(one: Place, other: Place) -> float:
    """Great-circle distance by the haversine formula (Sinnott 1984, from memory)."""
    first, second = math.radians(one.latitude_deg), math.radians(other.latitude_deg)
    turn = math.radians(other.longitude_deg - one.longitude_deg)
    half = (
        math.sin((second - first) / 2.0) ** 2
        + math.cos(first) * math.cos(second) * math.sin(turn / 2.0) ** 2
    )
    return 2.0 * EARTH_RADIUS_KM * math.asin(min(1.0, math.sqrt(half)))


def trips(
    items: Sequence[RankedWork],
    places: Mapping[str, Place],
    *,
    within_km: float = 40.0,
    hours_per_trip: float = 8.0,
    speed_kmh: float = 60.0,
) -> tuple[Trip, ...]:
    """Work grouped into trips, most urgent first; each item is on one of them.

    Parameters
    ----------
    items
        From :func:`installs.calc.upkeep.work_list.ranked`.
    places
        By site; a site without one goes alone.
    within_km
        How far from the trip's first site another may lie to join, in a straight line.
    hours_per_trip
        Hours on site and between sites that a trip may take; a site whose own work
        takes longer is a trip of its own.
    speed_kmh
        Between sites, on the straight line.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When reach, hours or speed cannot be.
    """
    if not (within_km >= 0 and hours_per_trip > 0 and speed_kmh > 0):
        raise DomainError("A trip needs a reach, hours and a speed above zero.")
    work: dict[str, list[RankedWork]] = {}
    for item in sorted(items, key=lambda one: one.order):
        work.setdefault(item.facts.site, []).append(item)
    made = []
    while work:
        route = [next(iter(work))]
        gone_km, hours = 0.0, _hours(work[route[0]])
        near = {
            site
            for site in set(work) & set(places)
            if route[0] in places
            and distance_km(places[route[0]], places[site]) <= within_km
        } - set(route)
        while near:
            km, site = min((distance_km(places[route[-1]], places[s]), s) for s in near)
            near.remove(site)
            more = km / speed_kmh + _hours(work[site])
            if hours + more <= hours_per_trip:
                route.append(site)
                gone_km, hours = gone_km + km, hours + more
        made.append(_trip(route, work, gone_km, hours, within_km))
        for site in route:
            del work[site]
    return tuple(made)


def _hours(items: Sequence[RankedWork]) -> float:
    return sum(one.hours for one in items)


def _trip(
    route: list[str],
    work: Mapping[str, list[RankedWork]],
    gone_km: float,
    hours: float,
    within_km: float,
) -> Trip:
    items = sorted((one for site in route for one in work[site]), key=lambda w: w.order)
    worst, n = items[0], len(work[route[0]])
    text = (
        f"{route[0]} sets the trip ({worst.urgency}: {worst.why}), with {n} "
        f"item{'' if n == 1 else 's'} of work there."
    )
    if len(route) > 1:
        text += (
            f" {', '.join(route[1:])} join{'s' if len(route) == 2 else ''}: within "
            f"{format_number(within_km, 0)} km in a straight line and inside the hours "
            "of the trip."
        )
    return Trip(tuple(route), tuple(items), worst.urgency, gone_km, hours, text)
