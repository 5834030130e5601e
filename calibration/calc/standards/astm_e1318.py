"""ASTM E1318-09 (reapproved 2017): functional performance of WIM systems.

For every item of Table 1 the differences d between the lane's value and the reference
are held against the tolerance of the type. The item fails when the share of differences
outside, Pde = 100 n_out/N, is more than 5 %; one failed item fails the system. Because
runs are whole, 10 differences allow none outside, 20 allow one, 40 two.

Tolerances of Types I and II: as printed in FHWA, Traffic Monitoring Guide (2022),
appendix D, table D-1. Type III, the pass rule and the definition of the difference are
from memory and were not checked against the document. Type IV (low speed, absolute
limits in pounds) and wheel loads are not judged here.
"""

from __future__ import annotations

from dataclasses import dataclass

from calibration.calc.standards.base import (
    CONFIRMED,
    DEFAULT_CONDITIONS,
    FROM_MEMORY,
    MIN_RUNS,
    Conditions,
    StandardVerdict,
    check_class,
    coverage,
    no_data,
    overall_judgement,
    percent,
    too_few,
)
from calibration.calc.statistics import share_within, summarise
from calibration.calc.types import Quantity, QuantityErrors, RunErrors
from wimprog.lib.judgement import Interval, Judgement, Verdict
from wimprog.lib.units import KMH_PER_MPH, M_PER_FT, UnitSystem, format_number

MAX_SHARE_OUTSIDE_PCT = 5.0
"""Greatest share of differences outside the tolerance [%] (95 % compliance)."""

ADVISED_RUNS = 20
"""Two vehicles with ten runs each: the acceptance test's runs (from memory)."""

TOLERANCE_PCT: dict[str, dict[Quantity, float]] = {
    "Type III": {
        Quantity.GROSS_WEIGHT: 6.0,
        Quantity.AXLE_GROUP: 10.0,
        Quantity.AXLE: 15.0,
    },
    "Type I": {
        Quantity.GROSS_WEIGHT: 10.0,
        Quantity.AXLE_GROUP: 15.0,
        Quantity.AXLE: 20.0,
    },
    "Type II": {
        Quantity.GROSS_WEIGHT: 15.0,
        Quantity.AXLE_GROUP: 20.0,
        Quantity.AXLE: 30.0,
    },
}
"""Tolerances of weights [±%] by type; an axle is any axle, alone or in a group."""

# The two unit systems are limits of their own, not conversions of each other.
_SPEED_KMH = {UnitSystem.US: 1.0 * KMH_PER_MPH, UnitSystem.SI: 2.0}
_SPEED_TEXT = {UnitSystem.US: "±1 mph", UnitSystem.SI: "±2 km/h"}
_SPACING_M = {UnitSystem.US: 0.5 * M_PER_FT, UnitSystem.SI: 0.15}
_SPACING_TEXT = {UnitSystem.US: "±0.5 ft", UnitSystem.SI: "±0.15 m"}

_WHEEL = {"Type III": "±20 %", "Type I": "±25 %"}
_ITEMS = (
    Quantity.GROSS_WEIGHT,
    Quantity.AXLE_GROUP,
    Quantity.AXLE,
    Quantity.SPEED,
    Quantity.AXLE_SPACING,
    Quantity.WHEELBASE,
)
_RULE = (
    "No more than 5 % of the differences outside the tolerance "
    "(ASTM E1318-09, section 7 and table 1)"
)


def tolerance_of(
    quantity: Quantity, class_name: str, unit_system: UnitSystem = UnitSystem.US
) -> tuple[float, str]:
    """The tolerance of one item, in the unit of its errors, and in words.

    Parameters
    ----------
    quantity
        An item of table 1.
    class_name
        "Type I", "Type II" or "Type III".
    unit_system
        Which of the two limits holds for speed and spacing.

    Returns
    -------
    tuple of float and str
        Half-width in %, km/h or m; and "±10 %", "±1 mph".
    """
    if quantity is Quantity.SPEED:
        return _SPEED_KMH[unit_system], _SPEED_TEXT[unit_system]
    if quantity in (Quantity.AXLE_SPACING, Quantity.WHEELBASE):
        return _SPACING_M[unit_system], _SPACING_TEXT[unit_system]
    tolerance_pct = TOLERANCE_PCT[class_name][quantity]
    return tolerance_pct, f"±{tolerance_pct:g} %"


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
    """Types I, II and III of ASTM E1318."""

    key: str = "astm-e1318"
    title: str = "ASTM E1318"
    edition: str = "09 (reapproved 2017)"
    standing: str = (
        "Tolerances of Types I and II checked against FHWA, Traffic Monitoring Guide "
        f"(2022), table D-1. Type III and the pass rule {FROM_MEMORY}."
    )
    classes: tuple[str, ...] = ("Type III", "Type I", "Type II")
    default_class: str = "Type I"
    does_not_cover: str = (
        "Wheel loads, Type IV, the range of speeds, the site's geometry and smoothness "
        "and the choice of test vehicles are not judged here. The interval speaks for "
        "these trucks only."
    )

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
            "Type I", "Type II" or "Type III"; None for the strictest that is met.
        conditions
            The unit system picks the limits of speed and spacing.

        Returns
        -------
        StandardVerdict

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such type.
        """
        wanted = check_class(self, wanted_class)
        by_class = {
            name: self._judge_class(errors, name, conditions) for name in self.classes
        }
        attained = next(
            (
                name
                for name, (_, overall) in by_class.items()
                if overall.verdict is Verdict.MEETS
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
            notes=self._notes(errors),
        )

    def _judge_class(
        self, errors: RunErrors, name: str, conditions: Conditions
    ) -> tuple[tuple[Judgement, ...], Judgement]:
        standing = _standing(name)
        judgements = [
            _judge_item(errors[item], name, conditions.unit_system) for item in _ITEMS
        ]
        if name in _WHEEL:
            judgements.append(
                Judgement(
                    quantity="wheel load",
                    value=None,
                    unit="%",
                    n=0,
                    interval=None,
                    rule=_RULE,
                    limit=f"{_WHEEL[name]} for 95 % of values",
                    verdict=Verdict.CANNOT_SAY,
                    sentence=no_data("wheel loads are not recorded here"),
                    standing=standing,
                )
            )
        with_data = [one for one in judgements if one.value is not None]
        overall = overall_judgement(
            judgements=judgements,
            n_runs=len(errors.runs_used),
            class_name=name,
            rule=f"{_RULE}; one failed item fails the system",
            standing=self.standing,
            deciding=min(with_data, key=lambda one: one.value or 0.0, default=None),
        )
        return tuple(judgements), overall

    def _notes(self, errors: RunErrors) -> tuple[str, ...]:
        notes = []
        n_runs, n_vehicles = len(errors.runs_used), len(errors.vehicles)
        if n_runs < ADVISED_RUNS or n_vehicles < 2:
            notes.append(
                f"{n_runs} runs of {n_vehicles} vehicle{'s' * (n_vehicles != 1)}; the "
                f"acceptance test asks for two vehicles and at least {ADVISED_RUNS} "
                "runs (from memory)."
            )
        return tuple(notes)


def _standing(class_name: str) -> str:
    return FROM_MEMORY if class_name == "Type III" else CONFIRMED


def _judge_item(
    errors: QuantityErrors, class_name: str, unit_system: UnitSystem
) -> Judgement:
    tolerance, text = tolerance_of(errors.quantity, class_name, unit_system)
    found = share_within(errors, tolerance)
    statistics = summarise(errors)
    allowed = n_allowed_outside(found.n)
    value = None if found.share is None else 100.0 * found.share
    interval = found.interval and Interval(
        100.0 * found.interval.low, 100.0 * found.interval.high, found.interval.level
    )
    if found.n == 0:
        verdict, sentence = Verdict.CANNOT_SAY, no_data(errors.why_none)
    elif errors.n_runs >= 2 and found.n_outside > allowed:
        verdict, sentence = Verdict.MISSES, "Misses: "
    elif errors.n_runs < MIN_RUNS:
        verdict, sentence = Verdict.CANNOT_SAY, too_few(errors.n_runs)
    else:
        verdict, sentence = Verdict.MEETS, "Meets: "
    if verdict is not Verdict.CANNOT_SAY and value is not None and interval:
        sentence += (
            f"{found.n_outside} of {found.n} outside {text}, {allowed} allowed; "
            f"{percent(value)} within (95 % interval {format_number(interval.low, 1)} "
            f"to {percent(interval.high)})."
        )
    return Judgement(
        quantity=errors.quantity,
        value=value,
        unit="%",
        n=found.n,
        interval=interval,
        rule=_RULE,
        limit=f"{text} for 95 % of values",
        verdict=verdict,
        sentence=sentence,
        standing=_standing(class_name),
        details=(
            ("statistic", "share within"),
            ("mean", statistics.mean),
            ("sd", statistics.sd),
            ("error unit", errors.unit),
            ("tolerance", tolerance),
            ("n outside", found.n_outside),
            ("n allowed outside", allowed),
        ),
    )


STANDARD = AstmE1318()
