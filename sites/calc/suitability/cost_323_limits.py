"""Limits of the site classes of COST 323: data of ``cost_323``.

Slopes and radius are confirmed and have no keys; the pavement's are from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

from sites.calc.suitability.base import CONFIRMED, FROM_MEMORY
from sites.calc.suitability.lines import Bound, Limits, Requirement
from sites.calc.suitability.values import LimitValue, limit_values
from sites.calc.suitability.words import (
    DEFLECTION,
    LENGTH,
    PERCENT,
    ROUGHNESS,
    SHORT_LENGTH,
    listed,
)
from sites.calc.types import PavementKind, SiteClass

GEOMETRY_BEFORE_M = 50.0
GEOMETRY_AFTER_M = 25.0
"""Stretch over which the longitudinal slope has to hold [m]."""

RULE = "COST 323 (1999), classes of sites"
_MEMORY_RULE = f"{RULE}, pavement"


def name_of(site_class: SiteClass) -> str:
    """The class as sentences call it: "site class II"."""
    return f"site class {site_class}"


CLASS_NAMES = tuple(name_of(one) for one in SiteClass)


def _by_class(*limits: Limits) -> dict[str, Limits]:
    return dict(zip(CLASS_NAMES, limits, strict=True))


def _all(limits: Limits) -> dict[str, Limits]:
    return dict.fromkeys(CLASS_NAMES, limits)


def _at_most(key: str, *values: float) -> dict[str, Limits]:
    pairs = zip(_class_keys(key), values, strict=True)
    return _by_class(*(Limits(high=Bound(value, key=one)) for one, value in pairs))


def _class_keys(key: str) -> tuple[str, ...]:
    return tuple(f"{key}_{one.lower()}" for one in SiteClass)


def _below(value: float) -> Limits:
    return Limits(high=Bound(value, is_inclusive=False))


GEOMETRY = (
    Requirement(
        "grade",
        "longitudinal slope",
        "grade_pct",
        PERCENT,
        _by_class(_below(1.0), _below(2.0), _below(2.0)),
        RULE,
        too_high="No mending short of regrading: choose a place {gap} flatter.",
        standing=CONFIRMED,
    ),
    Requirement(
        "cross_slope",
        "transverse slope",
        "cross_slope_pct",
        PERCENT,
        _all(_below(3.0)),
        RULE,
        too_high="Reshape the surface by an overlay until it is {gap} flatter, with "
        "drainage kept, or choose another place.",
        standing=CONFIRMED,
    ),
    Requirement(
        "curve_radius",
        "curve radius",
        "curve_radius_m",
        LENGTH,
        _all(Limits(low=Bound(1_000.0, is_inclusive=False))),
        RULE,
        too_low="No mending short of a new alignment: choose a place whose radius is "
        "{gap} longer, or a straight.",
        standing=CONFIRMED,
    ),
    Requirement(
        "geometry_before",
        "even geometry before the sensors",
        "geometry_before_m",
        LENGTH,
        _all(Limits(low=Bound(GEOMETRY_BEFORE_M))),
        RULE,
        too_low="Move the array {gap} downstream, if what follows allows it.",
        standing=CONFIRMED,
    ),
    Requirement(
        "geometry_after",
        "even geometry after the sensors",
        "geometry_after_m",
        LENGTH,
        _all(Limits(low=Bound(GEOMETRY_AFTER_M))),
        RULE,
        too_low="Move the array {gap} upstream, if what comes before allows it.",
        standing=CONFIRMED,
    ),
)

SURFACE = (
    Requirement(
        "rutting",
        "rutting",
        "rutting_mm",
        SHORT_LENGTH,
        _at_most("rutting", 4.0, 7.0, 10.0),
        f"{_MEMORY_RULE}: deepest rut under a 3 m beam",
        too_high="Mill and resurface: the rut is {gap} too deep.",
    ),
    Requirement(
        "iri",
        "roughness index (IRI)",
        "iri_m_per_km",
        ROUGHNESS,
        _at_most("iri", 1.3, 2.6, 4.0),
        _MEMORY_RULE,
        too_high="Grind or resurface the approach until its index is {gap} lower.",
    ),
)

DEFLECTION_ALONE = Requirement(
    "deflection",
    "deflection",
    "deflection_hundredths_mm",
    DEFLECTION,
    {},
    f"{_MEMORY_RULE}: under a 13 t axle",
    too_high="Strengthen the pavement until it deflects {gap} less, or choose another "
    "place.",
)
DIFFERENCE = Requirement(
    "deflection_difference",
    "left-right difference of deflection",
    "deflection_difference_hundredths_mm",
    DEFLECTION,
    {},
    f"{_MEMORY_RULE}: under a 13 t axle",
    too_high="Find out why one side is weaker and strengthen it until the difference "
    "is {gap} less.",
)

DEFLECTION_LIMITS: Mapping[PavementKind, tuple[tuple[float, float], ...]] = {
    PavementKind.SEMI_RIGID: ((15, 3), (20, 5), (30, 10)),
    PavementKind.ALL_BITUMEN: ((20, 4), (35, 8), (50, 12)),
    PavementKind.FLEXIBLE: ((30, 7), (50, 10), (75, 15)),
}
"""Deflection and left-right difference by site class [0.01 mm]."""

_KIND_KEY = {
    PavementKind.SEMI_RIGID: "semi_rigid",
    PavementKind.ALL_BITUMEN: "all_bitumen",
    PavementKind.FLEXIBLE: "flexible",
}
LEAST_CERTAIN = f"{FROM_MEMORY}, and the least certain"
"""Standing of the limits of deflection of flexible pavement."""


def deflection_requirements(kind: PavementKind) -> tuple[Requirement, ...]:
    """The conditions on deflection for one kind of pavement; none where it has none."""
    if kind not in DEFLECTION_LIMITS:
        return ()
    pairs = DEFLECTION_LIMITS[kind]
    standing = LEAST_CERTAIN if kind is PavementKind.FLEXIBLE else FROM_MEMORY
    return tuple(
        replace(
            one,
            limits=_at_most(f"{one.key}_{_KIND_KEY[kind]}", *limits),
            standing=standing,
        )
        for one, limits in zip(
            (DEFLECTION_ALONE, DIFFERENCE), zip(*pairs, strict=True), strict=True
        )
    )


def _limit_values(
    requirements: tuple[Requirement, ...], where: str = ""
) -> tuple[LimitValue, ...]:
    not_above: dict[str, str] = {}
    for one in requirements:
        keys = [one.limits[name].high.key for name in CLASS_NAMES]  # type: ignore[union-attr]
        not_above |= dict(pairwise(keys))
    return limit_values(requirements, lambda names: listed(names) + where, not_above)


def _editable_values() -> tuple[LimitValue, ...]:
    """Every limit but those of slope and radius; a better class never allows more."""
    found = _limit_values(SURFACE)
    for kind in DEFLECTION_LIMITS:
        found += _limit_values(deflection_requirements(kind), f" on {kind} pavement")
    return found


EDITABLE_VALUES = _editable_values()
