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

from calibration.calc.many_rules import ManyVerdicts, all_together, many_by_share
from calibration.calc.many_sessions import ManySessions
from calibration.calc.standards.astm_e1318_table import (
    LOW_SPEED,
    LOW_SPEED_LIMITS,
    MAX_SHARE_OUTSIDE_PCT,
    PRINTED,
    VALUES,
    items_of,
    low_speed_keys,
    low_speed_limits,
    n_allowed_outside,
    speeds_of_use_kmh,
    tolerance_key,
    tolerance_of,
)
from calibration.calc.standards.base import (
    CONFIRMED,
    DEFAULT_CONDITIONS,
    FROM_MEMORY,
    MIN_RUNS,
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
from calibration.calc.types import QuantityErrors, RunErrors
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import UnitSystem

__all__ = ["STANDARD", "AstmE1318", "judge_item", "n_allowed_outside", "tolerance_of"]


WEIGHT_SLACK_KG = 1e-6
"""So that 60,000 lb in kilograms is still 60,000 lb."""

_RULE = (
    "No more than 5 % of the differences outside the tolerance "
    "(ASTM E1318-09, section 7 and table 1)"
)


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

    def judge_many(
        self,
        sessions: ManySessions,
        *,
        class_name: str,
        conditions: Conditions = DEFAULT_CONDITIONS,
    ) -> ManyVerdicts:
        """Judge many sessions in one pass; the same verdicts as :meth:`judge`.

        Parameters
        ----------
        sessions
            Flat errors.
        class_name
            "Type I" to "Type IV".
        conditions
            As for :meth:`judge`.
        """
        values = values_in_use(self, conditions)
        system, criteria = conditions.unit_system, []
        for item in items_of(class_name):
            flat = sessions[item]
            if class_name == LOW_SPEED and item in LOW_SPEED_LIMITS:
                from_kg, tolerance, _ = low_speed_limits(item, system, values)
                flat = flat.where(
                    np.asarray(flat.reference >= from_kg - WEIGHT_SLACK_KG, dtype=bool)
                )
                flat = flat.with_errors(flat.measured - flat.reference)
            else:
                tolerance, _ = tolerance_of(item, class_name, system, values)
            criteria.append(
                many_by_share(
                    flat,
                    sessions.n_sessions,
                    tolerance=tolerance,
                    max_outside_pct=MAX_SHARE_OUTSIDE_PCT,
                    min_runs=MIN_RUNS,
                )
            )
        found = all_together(self.key, class_name, criteria)
        if class_name != LOW_SPEED:
            return found
        low, high, _ = speeds_of_use_kmh(class_name, system, values)
        is_outside = (sessions.speeds_kmh < low) | (sessions.speeds_kmh > high)
        n_outside = np.bincount(
            sessions.speeds_known[is_outside], minlength=sessions.n_sessions
        )
        return replace(found, is_met=found.is_met & (n_outside == 0))

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


def judge_item(
    errors: QuantityErrors,
    class_name: str,
    unit_system: UnitSystem = UnitSystem.US,
    values: ValuesInUse = PRINTED,
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
    key = tolerance_key(quantity, class_name, unit_system)
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
    keys = low_speed_keys(errors.quantity, unit_system)
    is_judged = np.asarray(errors.reference >= from_kg - WEIGHT_SLACK_KG, dtype=bool)
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
