"""NIST Handbook 44, section 2.25: weigh-in-motion systems for vehicle screening.

Accuracy class A: of every item, 95 % of the results lie within its tolerance (table
T.2.2). All figures are from memory and were not checked against the document; they can
be set by the agency. The section is for screening: it does not make a system fit for
enforcement or trade. The left and right imbalance of wheels is shown for information
(:func:`calibration.calc.wheel_loads.side_balances`) and judges nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from calibration.calc.many_rules import ManyVerdicts, all_together, many_by_share
from calibration.calc.many_sessions import ManySessions
from calibration.calc.standards.base import (
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
    runs_of_each_notes,
    vehicle_notes,
)
from calibration.calc.standards.shares import ShareRule, judge_share
from calibration.calc.types import Quantity, RunErrors
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import M_PER_FT, UnitSystem

TOLERANCE_PCT: dict[Quantity, float] = {
    Quantity.GROSS_WEIGHT: 10.0,
    Quantity.AXLE_GROUP: 15.0,
    Quantity.AXLE: 20.0,
}
"""Tolerances of weights [±%] (table T.2.2; from memory)."""

SHARE_WITHIN_PCT = 95.0
"""Share of results that lies within [%] (from memory)."""

RUNS_OF_EACH = 20
N_VEHICLES = 2
"""Test: this many runs of each of this many vehicles (from memory)."""

CLASS_A = "Class A"
_SOURCE = "NIST Handbook 44, section 2.25, table T.2.2"
_ITEMS = (*TOLERANCE_PCT, Quantity.AXLE_SPACING)
_RULE = "95 % of the results within the tolerance (NIST Handbook 44, section 2.25)"

VALUES = (
    *(
        EditableValue(
            quantity.value.replace(" ", "_"),
            f"{quantity}, tolerance",
            tolerance,
            "%",
            _SOURCE,
            at_most=100.0,
        )
        for quantity, tolerance in TOLERANCE_PCT.items()
    ),
    EditableValue("spacing_ft", "axle spacing, tolerance", 0.5, "ft", _SOURCE),
    EditableValue("spacing_m", "axle spacing, tolerance", 0.15, "m", _SOURCE),
    EditableValue(
        "share_within",
        "share of results within the tolerance",
        SHARE_WITHIN_PCT,
        "%",
        _SOURCE,
        at_most=100.0,
    ),
    EditableValue(
        "runs_of_each",
        "runs of each test vehicle",
        RUNS_OF_EACH,
        "",
        "NIST Handbook 44, section 2.25, notes on tests",
        is_whole=True,
    ),
    EditableValue(
        "vehicles",
        "test vehicles",
        N_VEHICLES,
        "",
        "NIST Handbook 44, section 2.25, notes on tests",
        is_whole=True,
    ),
)
"""Tolerances and counts that an agency may set."""


@dataclass(frozen=True)
class NistHandbook44:
    """Accuracy class A of Handbook 44, section 2.25."""

    key: str = "nist-hb44"
    title: str = "NIST Handbook 44"
    edition: str = "section 2.25"
    standing: str = f"Tolerances and rule {FROM_MEMORY}."
    classes: tuple[str, ...] = (CLASS_A,)
    default_class: str = CLASS_A
    does_not_cover: str = (
        "Speed, wheel loads, marking, sealing, recorded elements and the spread of "
        "speeds are not judged here; left and right imbalance is for information. The "
        "section is for screening, not for enforcement or trade. The interval speaks "
        "for these trucks only."
    )
    values: tuple[EditableValue, ...] = VALUES

    def judge(
        self,
        errors: RunErrors,
        *,
        wanted_class: str | None = None,
        conditions: Conditions = DEFAULT_CONDITIONS,
    ) -> StandardVerdict:
        """Judge runs against accuracy class A.

        Parameters
        ----------
        errors
            Errors of the runs.
        wanted_class
            "Class A", the only one, or None.
        conditions
            The unit system picks the limit of spacing; the agency's own values stand in
            place of those from memory.

        Returns
        -------
        StandardVerdict

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such class, or an agency's value cannot be used.
        """
        wanted = check_class(self, wanted_class)
        values = values_in_use(self, conditions)
        judgements = tuple(
            judge_share(errors[item], rule_of(item, conditions.unit_system, values))
            for item in _ITEMS
        )
        with_data = [one for one in judgements if one.value is not None]
        overall = overall_judgement(
            judgements=judgements,
            n_runs=len(errors.runs_used),
            class_name=CLASS_A,
            rule=f"{_RULE}; every item",
            standing=values.standing_with_own(self.standing),
            deciding=min(with_data, key=lambda one: one.value or 0.0, default=None),
        )
        covers, not_covered = coverage(judgements)
        n_each, n_vehicles = int(values["runs_of_each"]), int(values["vehicles"])
        is_own = values.is_own("runs_of_each", "vehicles")
        return StandardVerdict(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            judged_class=CLASS_A,
            wanted_class=wanted,
            attained_class=CLASS_A if overall.verdict is Verdict.MEETS else None,
            judgements=judgements,
            overall=overall,
            covers=covers,
            not_covered=not_covered,
            does_not_cover=self.does_not_cover,
            notes=(
                *run_count_notes(
                    errors,
                    n_runs=n_each * n_vehicles,
                    n_vehicles=n_vehicles,
                    test="the test",
                    is_own=is_own,
                ),
                *runs_of_each_notes(errors, n_each=n_each),
                *vehicle_notes(errors),
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
            "Class A".
        conditions
            As for :meth:`judge`.
        """
        values = values_in_use(self, conditions)
        rules = {item: rule_of(item, conditions.unit_system, values) for item in _ITEMS}
        criteria = [
            many_by_share(
                sessions[item],
                sessions.n_sessions,
                tolerance=rule.tolerance,
                max_outside_pct=rule.max_outside_pct,
                min_runs=MIN_RUNS,
            )
            for item, rule in rules.items()
        ]
        return all_together(self.key, class_name, criteria)


def rule_of(
    quantity: Quantity, unit_system: UnitSystem, values: ValuesInUse
) -> ShareRule:
    """The tolerance of one item and the share within.

    Parameters
    ----------
    quantity
        Gross weight, axle group, axle or axle spacing.
    unit_system
        Which of the two limits holds for spacing.
    values
        Editable values in use.

    Raises
    ------
    KeyError
        When the section has no tolerance for the quantity.
    """
    key, size, unit = quantity.value.replace(" ", "_"), 1.0, quantity.unit
    if quantity is Quantity.AXLE_SPACING:
        is_us = unit_system is UnitSystem.US
        key, size = ("spacing_ft", M_PER_FT) if is_us else ("spacing_m", 1.0)
    return ShareRule(
        tolerance=values[key] * size,
        text=f"±{values.shown(key)}",
        unit=unit,
        rule=_RULE,
        standing=values.standing(key, "share_within"),
        max_outside_pct=100.0 - values["share_within"],
    )


STANDARD = NistHandbook44()
