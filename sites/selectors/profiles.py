"""Reads about road profiles: their roughness along the road, and the best places."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings

from sites.calc.iri import roughness_text
from sites.calc.suitability.cost_323 import STANDARD as COST_323
from sites.calc.suitability.cost_323_limits import SURFACE
from sites.calc.suitability.values import (
    requirements_in_use,
    standing_in_use,
    values_in_use,
)
from sites.models import RoadProfile
from sites.profile_store import profile_read
from sites.selectors.survey_settings import suitability_settings
from wimprog.lib.chart import Chart, Limit, Point, Series
from wimprog.lib.errors import DomainError
from wimprog.lib.units import Kind, UnitSystem, format_si, shown_unit

if TYPE_CHECKING:
    from sites.calc.profile import Profile

WINDOWS_M = (5.0, 10.0, 29.0, 100.0)
"""Windows that the page offers, m; 29 m is the long one about an array."""
_STANDARD_M = 29.0


def profile_samples(profile: RoadProfile) -> Profile:
    """The elevations of a stored profile.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When its file is gone.
    """
    return profile_read(
        Path(settings.UPLOAD_DIR),
        profile.store_key,
        start_m=profile.start_m,
        interval_mm=profile.interval_mm,
        direction=profile.direction,
    )


def window_choices(system: UnitSystem | str) -> list[tuple[str, str]]:
    """The windows that the page offers: value and words."""
    return [
        (f"{one:g}", format_si(one, Kind.LENGTH, UnitSystem(system), digits=0))
        for one in WINDOWS_M
    ]


@dataclass(frozen=True)
class PlaceRow:
    """One of the best places, in the program's units."""

    rank: int
    at_m: float
    at: str
    greatest: str
    where: str
    values: tuple[tuple[str, str], ...]
    approach: str
    can_take: bool


@dataclass(frozen=True)
class ProfileView:
    """Everything on a profile's page."""

    profile: RoadProfile
    chart: Chart | None
    window_m: float
    window: str
    whole: tuple[tuple[str, str], ...]
    places: tuple[PlaceRow, ...]
    refusals: tuple[str, ...]
    notes: tuple[str, ...]


def profile_view(
    profile: RoadProfile, system: UnitSystem | str, window_m: float | None = None
) -> ProfileView:
    """A profile's page: IRI in moving windows, the best places, whole-length indices.

    Only another window than the standard one reads the samples.

    Parameters
    ----------
    window_m
        Length of the moving window; by default the long window about an array.
    """
    system = UnitSystem(system)
    derived = profile.derived
    refusals = list(derived.get("refusals", ()))
    series = derived.get("series")
    if window_m is not None and abs(window_m - _STANDARD_M) > 0.01:
        series, refusal = _series(profile, window_m)
        refusals += refusal
    shown_m = series["window_m"] if series else window_m or _STANDARD_M
    return ProfileView(
        profile=profile,
        chart=_chart(profile, series, system) if series else None,
        window_m=window_m or _STANDARD_M,
        window=format_si(shown_m, Kind.LENGTH, system),
        whole=_whole(derived, system),
        places=tuple(_place(one, system) for one in derived.get("places", ())),
        refusals=tuple(refusals),
        notes=tuple(derived.get("notes", ())),
    )


def _series(
    profile: RoadProfile, window_m: float
) -> tuple[dict[str, Any] | None, list[str]]:
    from sites.calc.profile_summary import MOST_POINTS, series_dict
    from sites.calc.roughness import window_series

    try:
        found = window_series(
            profile_samples(profile), window_m, 1.0, most_points=MOST_POINTS
        )
    except DomainError as error:
        return None, [error.message]
    return series_dict(found), []


def _chart(profile: RoadProfile, series: dict[str, Any], system: UnitSystem) -> Chart:
    along, rough = shown_unit(Kind.LENGTH, system), shown_unit(Kind.ROUGHNESS, system)
    lines = tuple(
        Series(
            label=path.replace(" wheel path", "").replace(" path", ""),
            points=tuple(
                Point(along.from_si(x), rough.from_si(y))
                for x, y in zip(xs, ys, strict=True)
            ),
        )
        for path, (xs, ys) in series["lines"].items()
    )
    places = profile.derived.get("places", ())
    marks = ((along.from_si(places[0]["distance_m"]), "best place"),) if places else ()
    highest = max((y for _, ys in series["lines"].values() for y in ys), default=0.0)
    window = format_si(series["window_m"], Kind.LENGTH, system)
    class_limits, standing = _class_limits(system)
    return Chart(
        title=f"Roughness along the road, {profile.file_name}",
        x_label=f"Distance as the file counts it, {along.symbol}",
        y_label=f"IRI over {window}, {rough.symbol}",
        series=lines,
        caption=(
            f"IRI (quarter car of ASTM E1926) over a window of {window} moved by "
            f"{format_si(series['step_m'], Kind.LENGTH, system)}; n "
            f"{series['n_windows']:,} windows in each path, the least and the greatest "
            "of each part of the road drawn. Lines: the most that each site class of "
            f"COST 323 allows an approach ({standing})."
        ),
        limits=tuple(
            Limit(rough.from_si(limit), f"COST 323 {name}")
            for name, limit in class_limits
            if limit <= 1.5 * highest or name.endswith(" I")
        ),
        marks=marks,
        width=860,
        height=340,
    )


def _class_limits(system: UnitSystem) -> tuple[list[tuple[str, float]], str]:
    """The greatest IRI of each site class of COST 323, m/km, and their standing."""
    values = values_in_use(COST_323, suitability_settings(system))
    in_use = requirements_in_use(SURFACE, values)
    iri = next(one for one in in_use if one.key == "iri")
    limits = [
        (name, limits.high.si)
        for name, limits in iri.limits.items()
        if limits.high is not None
    ]
    keys = [one.high.key for one in iri.limits.values() if one.high is not None]
    return limits, standing_in_use(keys, values, iri.standing)


def _whole(derived: dict[str, Any], system: UnitSystem) -> tuple[tuple[str, str], ...]:
    rows = [
        (f"IRI, {path}", roughness_text(value, system))
        for path, value in derived.get("iri_m_per_km", {}).items()
    ]
    for name, words in (
        ("mean_m_per_km", "mean of both wheel paths"),
        ("half_car_m_per_km", "half-car index (of the paths’ mean profile)"),
    ):
        if derived.get(name) is not None:
            rows.append((words.capitalize(), roughness_text(derived[name], system)))
    return tuple(rows)


def _place(one: dict[str, Any], system: UnitSystem) -> PlaceRow:
    approach = one["approach_iri_m_per_km"]
    worst = max(approach, key=lambda path: approach[path]) if approach else ""
    return PlaceRow(
        rank=one["rank"],
        at_m=one["distance_m"],
        at=format_si(one["distance_m"], Kind.LENGTH, system),
        greatest=roughness_text(one["worst_m_per_km"], system),
        where=f"{one['worst_window']}, {one['worst_path']}",
        values=tuple(
            (f"{window}, {path}", roughness_text(value, system))
            for path, four in one["values_m_per_km"].items()
            for window, value in four.items()
        ),
        approach=f"{roughness_text(approach[worst], system)}, {worst}"
        if worst
        else "not covered by the profile",
        can_take=bool(worst),
    )
