"""Table 1 of ASTM E1318-09, the speeds of use, and which of them an agency may set.

Types I and II: as printed in FHWA, Traffic Monitoring Guide (2022), table D-1. Types
III and IV and everything else here is from memory.
"""

from __future__ import annotations

from calibration.calc.standards.values import EditableValue, ValuesInUse
from calibration.calc.types import Quantity
from wimprog.lib.units import KG_PER_LB, KMH_PER_MPH, M_PER_FT, UnitSystem

MAX_SHARE_OUTSIDE_PCT = 5.0
"""Greatest share of differences outside the tolerance [%] (95 % compliance)."""

ADVISED_RUNS = 20
"""Two vehicles with ten runs each: the acceptance test's runs (from memory)."""

TOLERANCE_PCT: dict[str, dict[Quantity, float]] = {
    "Type III": {
        Quantity.GROSS_WEIGHT: 6.0,
        Quantity.AXLE_GROUP: 10.0,
        Quantity.AXLE: 15.0,
        Quantity.WHEEL: 20.0,
    },
    "Type I": {
        Quantity.GROSS_WEIGHT: 10.0,
        Quantity.AXLE_GROUP: 15.0,
        Quantity.AXLE: 20.0,
        Quantity.WHEEL: 25.0,
    },
    "Type II": {
        Quantity.GROSS_WEIGHT: 15.0,
        Quantity.AXLE_GROUP: 20.0,
        Quantity.AXLE: 30.0,
    },
}
"""Tolerances of weights [±%] by type; an axle is any axle, alone or in a group. Type II
has none for wheels."""

LOW_SPEED = "Type IV"

LOW_SPEED_LIMITS: dict[Quantity, tuple[float, float, float, float]] = {
    Quantity.GROSS_WEIGHT: (60_000.0, 2_500.0, 27_200.0, 1_100.0),
    Quantity.AXLE_GROUP: (25_000.0, 1_200.0, 11_300.0, 500.0),
    Quantity.AXLE: (12_000.0, 500.0, 5_400.0, 200.0),
    Quantity.WHEEL: (5_000.0, 300.0, 2_300.0, 100.0),
}
"""Type IV: loads from [lb], ± [lb], and the pair of their own loads from [kg], ± [kg]
(from memory)."""

# The two unit systems are limits of their own, not conversions of each other.
_IS_US = {UnitSystem.US: True, UnitSystem.SI: False}
_ITEMS = (
    Quantity.GROSS_WEIGHT,
    Quantity.AXLE_GROUP,
    Quantity.AXLE,
    Quantity.WHEEL,
    Quantity.SPEED,
    Quantity.AXLE_SPACING,
    Quantity.WHEELBASE,
)
_LENGTHS = (Quantity.AXLE_SPACING, Quantity.WHEELBASE)
_PUBLIC_TYPES = ("Type I", "Type II")
_TABLE = "ASTM E1318-09, table 1"


def _slug(quantity: Quantity) -> str:
    return quantity.value.replace(" ", "_")


def _editable_values() -> tuple[EditableValue, ...]:
    found = [
        EditableValue(
            f"type_iii_{_slug(item)}",
            f"Type III, {item}, tolerance",
            tolerance,
            "%",
            _TABLE,
            at_most=100.0,
        )
        for item, tolerance in TOLERANCE_PCT["Type III"].items()
    ]
    for item, limits in LOW_SPEED_LIMITS.items():
        for number, (what, unit) in zip(
            limits,
            (("from", "lb"), ("within", "lb"), ("from", "kg"), ("within", "kg")),
            strict=True,
        ):
            words = "loads judged from" if what == "from" else "tolerance"
            found.append(
                EditableValue(
                    f"type_iv_{_slug(item)}_{what}_{unit}",
                    f"Type IV, {item}, {words}",
                    number,
                    unit,
                    _TABLE,
                )
            )
    for key, name, value, unit in (
        ("speed_mph", "speed, tolerance", 1.0, "mph"),
        ("speed_kmh", "speed, tolerance", 2.0, "km/h"),
        ("spacing_ft", "axle spacing and wheelbase, tolerance", 0.5, "ft"),
        ("spacing_m", "axle spacing and wheelbase, tolerance", 0.15, "m"),
    ):
        name = f"Types III and IV, {name}"
        found.append(EditableValue(f"type_iii_iv_{key}", name, value, unit, _TABLE))
    for low, high, unit, slug in ((10, 80, "mph", "mph"), (16, 130, "km/h", "kmh")):
        found += _range("speed", "Types I to III", low, high, unit, slug)
    for low, high, unit, slug in ((2, 10, "mph", "mph"), (3, 16, "km/h", "kmh")):
        found += _range("type_iv_speed", "Type IV", low, high, unit, slug)
    section = "ASTM E1318-09, section 7"
    found += [
        EditableValue(
            "advised_runs",
            "runs of an acceptance test",
            ADVISED_RUNS,
            "",
            section,
            is_whole=True,
        ),
        EditableValue(
            "advised_vehicles",
            "vehicles of an acceptance test",
            2,
            "",
            section,
            is_whole=True,
        ),
    ]
    return tuple(found)


def _range(
    key: str, types: str, low: float, high: float, unit: str, slug: str
) -> list[EditableValue]:
    where = "ASTM E1318-09, classification"
    return [
        EditableValue(
            f"{key}_low_{slug}", f"{types}, lowest speed of use", low, unit, where
        ),
        EditableValue(
            f"{key}_high_{slug}", f"{types}, highest speed of use", high, unit, where
        ),
    ]


VALUES = _editable_values()
PRINTED = ValuesInUse("ASTM E1318", VALUES, {})


def tolerance_of(
    quantity: Quantity,
    class_name: str,
    unit_system: UnitSystem = UnitSystem.US,
    values: ValuesInUse = PRINTED,
) -> tuple[float, str]:
    """The tolerance of one item, in the unit of its errors, and in words.

    Parameters
    ----------
    quantity
        An item of table 1.
    class_name
        "Type I", "Type II" or "Type III"; of "Type IV", speed and spacing only.
    unit_system
        Which of the two limits holds for speed and spacing.
    values
        Editable values in use.

    Returns
    -------
    tuple of float and str
        Half-width in %, km/h or m; and "±10 %", "±1 mph".

    Raises
    ------
    KeyError
        For a weight of Type IV, see :func:`low_speed_limits`, and for wheels of Type
        II, which have no tolerance.
    """
    key = tolerance_key(quantity, class_name, unit_system)
    if quantity is Quantity.SPEED:
        text, si = ("1 mph", KMH_PER_MPH) if _IS_US[unit_system] else ("2 km/h", 2.0)
        unit_si = KMH_PER_MPH if _IS_US[unit_system] else 1.0
    elif quantity in _LENGTHS:
        text, si = (
            ("0.5 ft", 0.5 * M_PER_FT) if _IS_US[unit_system] else ("0.15 m", 0.15)
        )
        unit_si = M_PER_FT if _IS_US[unit_system] else 1.0
    else:
        si, unit_si = TOLERANCE_PCT[class_name][quantity], 1.0
        text = f"{si:g} %"
    if key is None:
        return si, f"±{text}"
    return values[key] * unit_si, f"±{values.shown(key)}"


def tolerance_key(
    quantity: Quantity, class_name: str, unit_system: UnitSystem
) -> str | None:
    """The editable value that the tolerance is; None where a public text gives it."""
    if class_name in _PUBLIC_TYPES:
        return None
    is_us = _IS_US[unit_system]
    if quantity is Quantity.SPEED:
        return f"type_iii_iv_speed_{'mph' if is_us else 'kmh'}"
    if quantity in _LENGTHS:
        return f"type_iii_iv_spacing_{'ft' if is_us else 'm'}"
    return f"type_iii_{_slug(quantity)}"


def low_speed_limits(
    quantity: Quantity,
    unit_system: UnitSystem = UnitSystem.US,
    values: ValuesInUse = PRINTED,
) -> tuple[float, float, str]:
    """Threshold and tolerance of a weight under Type IV.

    Parameters
    ----------
    quantity
        Gross weight, axle group, axle or wheel.
    unit_system
        Which pair holds: pounds, or kilograms of their own.
    values
        Editable values in use.

    Returns
    -------
    tuple of float, float and str
        Loads are judged from [kg], tolerance [kg], and both in words.

    Raises
    ------
    KeyError
        When Type IV has no such item.
    """
    if quantity not in LOW_SPEED_LIMITS:
        raise KeyError(quantity)
    from_key, within_key = low_speed_keys(quantity, unit_system)
    unit_kg = KG_PER_LB if _IS_US[unit_system] else 1.0
    text = f"±{values.shown(within_key)} from {values.shown(from_key)}"
    return values[from_key] * unit_kg, values[within_key] * unit_kg, text


def low_speed_keys(quantity: Quantity, unit_system: UnitSystem) -> tuple[str, str]:
    unit = "lb" if _IS_US[unit_system] else "kg"
    stem = f"type_iv_{_slug(quantity)}"
    return f"{stem}_from_{unit}", f"{stem}_within_{unit}"


def speeds_of_use_kmh(
    class_name: str,
    unit_system: UnitSystem = UnitSystem.US,
    values: ValuesInUse = PRINTED,
) -> tuple[float, float, str]:
    """Lowest and highest speed of use of a type [km/h], and both in words.

    Parameters
    ----------
    class_name
        Name of the type.
    unit_system
        Which of the two pairs holds.
    values
        Editable values in use.
    """
    stem = "type_iv_speed" if class_name == LOW_SPEED else "speed"
    slug, unit, kmh = (
        ("mph", "mph", KMH_PER_MPH) if _IS_US[unit_system] else ("kmh", "km/h", 1.0)
    )
    low, high = (values[f"{stem}_{end}_{slug}"] for end in ("low", "high"))
    return low * kmh, high * kmh, f"{low:g} to {high:g} {unit}"


def n_allowed_outside(n: int) -> int:
    """How many of ``n`` differences may lie outside: the whole part of n/20.

    Parameters
    ----------
    n
        Number of differences.
    """
    return n // 20


def items_of(class_name: str) -> tuple[Quantity, ...]:
    """The items of table 1 for which a type has a tolerance.

    Parameters
    ----------
    class_name
        Name of the type; Type II has no tolerance for wheels.
    """
    if class_name == "Type II":
        return tuple(item for item in _ITEMS if item is not Quantity.WHEEL)
    return _ITEMS
