"""ASTM E1318-09 (reapproved 2017): functional performance of WIM systems.

For every item of Table 1 the differences d between the lane's value and the reference
are held against the tolerance of the type. The item fails when the share of differences
outside, Pde = 100 n_out/N, is more than 5 %; one failed item fails the system. Because
runs are whole, 10 differences allow none outside, 20 allow one, 40 two.

Type IV (low speed) limits weights in pounds or kilograms, not in per cent, and only
loads at or above a threshold are judged; it is for runs of 2 to 10 mph, and runs
driven otherwise cannot show that it is met.

Tolerances of Types I and II: as printed in FHWA, Traffic Monitoring Guide (2022),
appendix D, table D-1. Types III and IV, the speeds of use, the number of runs, the pass
rule and the definition of the difference are from memory and were not checked against
the document; what of it is a number can be set by the agency.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.calc.standards.base import (
    CONFIRMED,
    DEFAULT_CONDITIONS,
    FROM_MEMORY,
    Conditions,
    EditableValue,
    StandardVerdict,
    ValuesInUse,
    check_class,
    coverage,
    overall_judgement,
    values_in_use,
)
from calibration.calc.standards.conduct import (
    lane_position_notes,
    run_count_notes,
    speeds_of,
)
from calibration.calc.standards.shares import ShareRule, judge_share
from calibration.calc.types import Quantity, QuantityErrors, RunErrors
from wimprog.lib.judgement import Judgement, Verdict
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
_RULE = (
    "No more than 5 % of the differences outside the tolerance "
    "(ASTM E1318-09, section 7 and table 1)"
)
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
_PRINTED = ValuesInUse("ASTM E1318", VALUES, {})


def tolerance_of(
    quantity: Quantity,
    class_name: str,
    unit_system: UnitSystem = UnitSystem.US,
    values: ValuesInUse = _PRINTED,
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
    key = _tolerance_key(quantity, class_name, unit_system)
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


def _tolerance_key(
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
    values: ValuesInUse = _PRINTED,
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
    from_key, within_key = _low_speed_keys(quantity, unit_system)
    unit_kg = KG_PER_LB if _IS_US[unit_system] else 1.0
    text = f"±{values.shown(within_key)} from {values.shown(from_key)}"
    return values[from_key] * unit_kg, values[within_key] * unit_kg, text


def _low_speed_keys(quantity: Quantity, unit_system: UnitSystem) -> tuple[str, str]:
    unit = "lb" if _IS_US[unit_system] else "kg"
    stem = f"type_iv_{_slug(quantity)}"
    return f"{stem}_from_{unit}", f"{stem}_within_{unit}"


def speeds_of_use_kmh(
    class_name: str,
    unit_system: UnitSystem = UnitSystem.US,
    values: ValuesInUse = _PRINTED,
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


@dataclass(frozen=True)
class AstmE1318:
    """Types I to IV of ASTM E1318."""

    key: str = "astm-e1318"
    title: str = "ASTM E1318"
    edition: str = "09 (reapproved 2017)"
    standing: str = (
        "Tolerances of Types I and II checked against FHWA, Traffic Monitoring Guide "
        "(2022), table D-1. Types III and IV, the speeds of use and the pass rule "
        f"{FROM_MEMORY}."
    )
    classes: tuple[str, ...] = (LOW_SPEED, "Type III", "Type I", "Type II")
    default_class: str = "Type I"
    does_not_cover: str = (
        "The site's geometry and smoothness, the choice of speeds and the make of the "
        "test vehicles are not judged here. The interval speaks for these trucks only."
    )
    values: tuple[EditableValue, ...] = VALUES

    def judge(
        self,
        errors: RunErrors,
        *,
        wanted_class: str | None = None,
        conditions: Conditions = DEFAULT_CONDITIONS,
    ) -> StandardVerdict:
        """Judge runs against a type, or find the strictest type they meet.

        Parameters
        ----------
        errors
            Errors of the runs.
        wanted_class
            "Type I" to "Type IV"; None for the strictest that is met. Type IV is only
            ever found met by runs that were driven at its speeds.
        conditions
            The unit system picks the limits of speed, spacing and Type IV; the
            agency's own values stand in place of those from memory.

        Returns
        -------
        StandardVerdict

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such type, or an agency's value cannot be used.
        """
        wanted = check_class(self, wanted_class)
        values = values_in_use(self, conditions)
        by_class = {
            name: self._judge_class(errors, name, conditions, values)
            for name in self.classes
        }
        attained = next(
            (
                name
                for name, (_, overall) in by_class.items()
                if overall.verdict is Verdict.MEETS
                and (name != LOW_SPEED or _has_all_speeds(errors))
            ),
            None,
        )
        most_lenient = self.classes[-1]
        is_missed = by_class[most_lenient][1].verdict is Verdict.MISSES
        fallback = most_lenient if is_missed else self.default_class
        judged = wanted or attained or fallback
        judgements, overall = by_class[judged]
        covers, not_covered = coverage(judgements)
        return StandardVerdict(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            judged_class=judged,
            wanted_class=wanted,
            attained_class=attained,
            judgements=judgements,
            overall=overall,
            covers=covers,
            not_covered=not_covered,
            does_not_cover=self.does_not_cover,
            notes=(
                *run_count_notes(
                    errors,
                    n_runs=int(values["advised_runs"]),
                    n_vehicles=int(values["advised_vehicles"]),
                    test="the acceptance test",
                    is_own=values.is_own("advised_runs", "advised_vehicles"),
                ),
                *_speed_notes(errors, judged, conditions, values),
                *lane_position_notes(errors),
                *values.notes(),
            ),
        )

    def _judge_class(
        self, errors: RunErrors, name: str, conditions: Conditions, values: ValuesInUse
    ) -> tuple[tuple[Judgement, ...], Judgement]:
        judgements = tuple(
            judge_item(errors[item], name, conditions.unit_system, values)
            for item in items_of(name)
        )
        with_data = [one for one in judgements if one.value is not None]
        overall = overall_judgement(
            judgements=judgements,
            n_runs=len(errors.runs_used),
            class_name=name,
            rule=f"{_RULE}; one failed item fails the system",
            standing=values.standing_with_own(self.standing),
            deciding=min(with_data, key=lambda one: one.value or 0.0, default=None),
        )
        if name == LOW_SPEED and overall.verdict is Verdict.MEETS:
            outside = _n_outside_speeds(errors, name, conditions, values)
            if outside:
                overall = replace(
                    overall,
                    verdict=Verdict.CANNOT_SAY,
                    sentence=f"Cannot say whether {name} is met: {outside} of "
                    f"{len(errors.runs_used)} runs were not driven at its speeds.",
                )
        return judgements, overall


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


def judge_item(
    errors: QuantityErrors,
    class_name: str,
    unit_system: UnitSystem = UnitSystem.US,
    values: ValuesInUse = _PRINTED,
) -> Judgement:
    """Judge one item of table 1.

    Parameters
    ----------
    errors
        Errors of the item.
    class_name
        Name of the type.
    unit_system
        Which of a pair of limits holds.
    values
        Editable values in use.
    """
    quantity = errors.quantity
    if class_name == LOW_SPEED and quantity in LOW_SPEED_LIMITS:
        return _judge_low_speed(errors, unit_system, values)
    tolerance, text = tolerance_of(quantity, class_name, unit_system, values)
    key = _tolerance_key(quantity, class_name, unit_system)
    return judge_share(
        errors,
        ShareRule(
            tolerance=tolerance,
            text=text,
            unit=errors.unit,
            rule=_RULE,
            standing=CONFIRMED if key is None else values.standing(key),
            max_outside_pct=MAX_SHARE_OUTSIDE_PCT,
        ),
    )


def _judge_low_speed(
    errors: QuantityErrors, unit_system: UnitSystem, values: ValuesInUse
) -> Judgement:
    """A weight of Type IV: differences [kg] of the loads from its threshold."""
    from_kg, within_kg, text = low_speed_limits(errors.quantity, unit_system, values)
    keys = _low_speed_keys(errors.quantity, unit_system)
    is_judged = np.asarray(errors.reference >= from_kg - 1e-6, dtype=bool)
    heavy = errors.where(
        is_judged,
        f"No static {errors.quantity} is {values.shown(keys[0])} or more.",
    )
    return judge_share(
        replace(heavy, errors=heavy.measured - heavy.reference),
        ShareRule(
            tolerance=within_kg,
            text=text,
            unit="kg",
            rule=_RULE,
            standing=values.standing(*keys),
            max_outside_pct=MAX_SHARE_OUTSIDE_PCT,
            tolerance_name="tolerance kg",
        ),
    )


def _has_all_speeds(errors: RunErrors) -> bool:
    return 0 < len(errors.runs_used) == len(speeds_of(errors))


def _n_outside_speeds(
    errors: RunErrors, class_name: str, conditions: Conditions, values: ValuesInUse
) -> int:
    low, high, _ = speeds_of_use_kmh(class_name, conditions.unit_system, values)
    return sum(not low <= speed <= high for speed in speeds_of(errors))


def _speed_notes(
    errors: RunErrors, class_name: str, conditions: Conditions, values: ValuesInUse
) -> Sequence[str]:
    *_, text = speeds_of_use_kmh(class_name, conditions.unit_system, values)
    n_outside = _n_outside_speeds(errors, class_name, conditions, values)
    n_runs = len(errors.runs_used)
    if n_outside:
        return (
            f"{n_outside} of {n_runs} runs were driven outside the speeds of use of "
            f"{class_name}, {text} (from memory).",
        )
    n_known = len(speeds_of(errors))
    if class_name == LOW_SPEED and n_runs and n_known < n_runs:
        return (
            f"{class_name} is for {text} (from memory); {n_runs - n_known} of {n_runs} "
            "runs have no speed.",
        )
    return ()


STANDARD = AstmE1318()
