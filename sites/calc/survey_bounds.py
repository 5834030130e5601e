"""What a survey's numbers can be, and what they usually are.

A number that cannot be is refused, an unusual one is questioned; both say so when the
number would be usual in another unit of its kind (lane width "12" in metres was likely
paced in feet). All bounds are common practice without a source: they keep slips of the
pen out and judge nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from wimprog.lib.units import (
    UNITS,
    Kind,
    UnitSystem,
    format_number,
    kind_of_field,
    shown_unit,
)

_MOST_DIGITS = 4


@dataclass(frozen=True)
class Bounds:
    """Bounds of one measured number [SI].

    Attributes
    ----------
    least, most
        Outside of these it cannot be.
    low, high
        Outside of these it is unusual.
    """

    least: float
    low: float
    high: float
    most: float


@dataclass(frozen=True)
class Doubt:
    """What is doubtful about one number.

    Attributes
    ----------
    field
        Name of the survey's fact.
    is_impossible
        True where it has to be refused, False where a person may confirm it.
    message
        What is wrong and how to mend it, in sentences.
    """

    field: str
    is_impossible: bool
    message: str


BOUNDS: dict[str, Bounds] = {
    "curve_radius_m": Bounds(10, 50, 20_000, 100_000),
    "grade_pct": Bounds(-25, -8, 8, 25),
    "cross_slope_pct": Bounds(-20, -8, 8, 20),
    "lane_width_m": Bounds(2.0, 2.6, 5.0, 8.0),
    "geometry_before_m": Bounds(0, 0, 1_000, 5_000),
    "geometry_after_m": Bounds(0, 0, 1_000, 5_000),
    "straightedge_length_m": Bounds(0.5, 1.5, 8.0, 12.0),
    "smooth_before_m": Bounds(0, 0, 500, 5_000),
    "smooth_after_m": Bounds(0, 0, 500, 5_000),
    "rutting_mm": Bounds(0, 0, 40, 120),
    "iri_m_per_km": Bounds(0, 0.3, 8, 25),
    "deflection_hundredths_mm": Bounds(0, 0, 250, 1_000),
    "deflection_difference_hundredths_mm": Bounds(-500, -100, 100, 500),
    "pavement_thickness_mm": Bounds(20, 50, 500, 1_500),
    "pavement_age_years": Bounds(0, 0, 60, 150),
    "lri_m_per_km": Bounds(0, 0.1, 8, 30),
    "peak_lri_m_per_km": Bounds(0, 0.1, 8, 30),
    "sri_m_per_km": Bounds(0, 0.1, 8, 30),
    "peak_sri_m_per_km": Bounds(0, 0.1, 10, 30),
    "speed_p15_kmh": Bounds(1, 3, 125, 200),
    "speed_p85_kmh": Bounds(1, 5, 140, 250),
    "speed_mean_kmh": Bounds(1, 3, 130, 200),
    "speed_sd_kmh": Bounds(0, 0.5, 30, 80),
    "trucks_per_day": Bounds(0, 0, 12_000, 40_000),
    "sight_distance_m": Bounds(0, 20, 1_500, 5_000),
    "power_distance_m": Bounds(0, 0, 5_000, 100_000),
}


def doubt_of(
    field: str, value_si: float, *, label: str, system: UnitSystem
) -> Doubt | None:
    """What is doubtful about a number, if anything is.

    Parameters
    ----------
    field
        Name of the survey's fact.
    value_si
        The number [SI of the fact].
    label
        What the fact is called on the screen.
    system
        Unit system in which it was typed.

    Returns
    -------
    Doubt or None

    Raises
    ------
    KeyError
        When the fact has no bounds.
    """
    bounds = BOUNDS[field]
    if bounds.low <= value_si <= bounds.high:
        return None
    shown = _shown(field, value_si, system)
    is_impossible = not bounds.least <= value_si <= bounds.most
    if is_impossible:
        low, high = bounds.least, bounds.most
        text = f"{shown} cannot be: {label} lies between"
    else:
        low, high = bounds.low, bounds.high
        text = f"{shown} is unusual: {label} mostly lies between"
    text += f" {_shown(field, low, system)} and {_shown(field, high, system)}."
    other = _other_unit(field, value_si, bounds, system)
    if other:
        text += f" {other}"
    elif not is_impossible:
        text += " Look again; if it is so, say below that it is right."
    else:
        text += " Write what was measured, in the unit beside the box, or leave it out."
    return Doubt(field, is_impossible, text)


def _other_unit(field: str, value_si: float, bounds: Bounds, system: UnitSystem) -> str:
    """The question whether the number was meant in another unit; "" when none fits."""
    kind = kind_of_field(field)
    if kind is None:
        return ""
    typed_in = shown_unit(kind, system)
    number = typed_in.from_si(value_si)
    for unit in UNITS.values():
        if unit.kind is not kind or unit is typed_in:
            continue
        meant = unit.to_si(number)
        if bounds.low <= meant <= bounds.high:
            was = f"{_trimmed(number)} {unit.symbol}"
            return (
                f"Was it measured in {unit.symbol}? {was} is "
                f"{_shown(field, meant, system)}: write that."
            )
    return ""


def _shown(field: str, value_si: float, system: UnitSystem) -> str:
    kind: Kind | None = kind_of_field(field)
    if kind is None:
        suffix = " %" if field.endswith("_pct") else ""
        return f"{_trimmed(value_si)}{suffix}"
    unit = shown_unit(kind, system)
    return f"{_trimmed(unit.from_si(value_si))} {unit.symbol}"


def _trimmed(value: float) -> str:
    """Three significant digits, more for what is large; no trailing zeros."""
    if value == 0:
        return "0"
    digits = max(0, min(_MOST_DIGITS, 2 - math.floor(math.log10(abs(value)))))
    text = format_number(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text
