"""COST 323 European specification of weigh-in-motion (version 3.0, August 1999).

A class K is met when the estimated confidence π that a single error lies within ±δ(K)
is at least the required confidence π0. π0 depends on the number of errors and on how
repeatable the test conditions were; π is a lower bound from mean and standard deviation
by Student's t. At an initial verification the class is held against 0.8 δ.

    π0 = 2 Φ(u/f − t(0.975, n−1)/√n) − 1
    π  = T((δ − m)/s − a) − T((−δ − m)/s + a),   a = t(0.975, n−1)/√n

Φ is the standard normal and T the Student distribution function with n − 1 degrees of
freedom. Older papers use Φ in the second line too; the difference is about a point at
n = 30. δ is the unrounded closed form, so 7.14 % and 10.92 % where the printed table
says 7 and 11. Formulas, u, f and the k of 0.8 are confirmed by public texts; the codes'
meaning, the limits of 3.5 t and 1 t, the same k where a system was calibrated with the
very runs that judge it, and the tolerances of speed and axle spacing are from memory.
Speed and spacing are shown beside the weights and do not decide the class.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from calibration.calc.many_rules import ManyVerdicts, all_together, many_by_confidence
from calibration.calc.many_sessions import ManySessions
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
    margin_details,
    no_data,
    overall_judgement,
    percent,
    too_few,
    values_in_use,
)
from calibration.calc.standards.cost_323_formulas import (
    CLASS_NUMBERS,
    INITIAL_K,
    F,
    U,
    class_number_for,
    delta_pct,
    estimated_confidence,
    required_confidence,
    smallest_delta_pct,
)
from calibration.calc.statistics import summarise
from calibration.calc.types import (
    Quantity,
    QuantityErrors,
    RunErrors,
    TestPlan,
)
from wimprog.lib.judgement import Interval, Judgement, Verdict

MIN_VEHICLE_KG = 3500.0
MIN_AXLE_KG = 1000.0
"""Lighter vehicles and axle loads are not judged (from memory)."""

CRITERIA = (
    Quantity.GROSS_WEIGHT,
    Quantity.AXLE_GROUP,
    Quantity.SINGLE_AXLE,
    Quantity.AXLE_OF_GROUP,
)

MOTION_TOLERANCE_PCT: dict[str, float] = {
    "A(5)": 2.0,
    "B+(7)": 3.0,
    "B(10)": 4.0,
    "C(15)": 6.0,
    "D+(20)": 8.0,
    "D(25)": 10.0,
}
"""Tolerance of speed, and of axle spacing [% of the reference], by class; classes E
have none (from memory)."""

_MOTION = (Quantity.SPEED, Quantity.AXLE_SPACING)
_SOURCE = "COST 323, European WIM Specification, version 3.0"


def _motion_key(quantity: Quantity, class_name: str) -> str:
    return f"{quantity.value.replace(' ', '_')}_{CLASS_NUMBERS[class_name]:g}"


VALUES = (
    EditableValue(
        "min_vehicle_kg",
        "lightest vehicle judged, above",
        MIN_VEHICLE_KG,
        "kg",
        _SOURCE,
    ),
    EditableValue(
        "min_axle_kg", "lightest axle load judged, above", MIN_AXLE_KG, "kg", _SOURCE
    ),
    *(
        EditableValue(
            _motion_key(quantity, name),
            f"{quantity}, class {name}, tolerance",
            tolerance,
            "%",
            _SOURCE,
            at_most=100.0,
        )
        for quantity in _MOTION
        for name, tolerance in MOTION_TOLERANCE_PCT.items()
    ),
)
"""Values that an agency may set."""

_RULE = "Estimated confidence π at least the required π0 (COST 323, version 3.0)"


@dataclass(frozen=True)
class Cost323:
    """Accuracy classes A(5) to E(100) of the European specification."""

    key: str = "cost-323"
    title: str = "COST 323"
    edition: str = "version 3.0 (1999)"
    standing: str = (
        "Formulas checked against public texts. Meaning of the test codes, the limits "
        "of 3.5 t and 1 t and the tolerances of speed and spacing "
        f"{FROM_MEMORY}."
    )
    classes: tuple[str, ...] = tuple(CLASS_NUMBERS)
    default_class: str = "B(10)"
    does_not_cover: str = (
        "Site class and the make-up of the test sample are not judged here; speed and "
        "axle spacing are shown and do not decide; light vehicles and axles (up to 3.5 "
        "t and 1 t unless the agency says otherwise) are left out. The result speaks "
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
        """Judge runs against a class, or find the strictest class they meet.

        Parameters
        ----------
        errors
            Errors of the runs.
        wanted_class
            For instance "B(10)"; None for the strictest that is met.
        conditions
            Test plan, environmental plan, whether it is an initial verification or
            the runs are those of the calibration itself, and the agency's own values.

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
        criteria = [_Criterion.of(errors[one], conditions, values) for one in CRITERIA]
        gross, *_ = criteria
        attained = None
        if gross.is_judged:
            # The system's class is the worst of its criteria: stepping finds it.
            attained = next(
                (
                    name
                    for name in self.classes
                    if all(one.meets(name) for one in criteria if one.is_judged)
                ),
                None,
            )
        fallback = self.classes[-1] if gross.is_judged else self.default_class
        judged = wanted or attained or fallback
        judgements = tuple(one.judgement(judged) for one in criteria)
        beside = tuple(
            _judge_motion(errors[one], judged, conditions, values) for one in _MOTION
        )
        covers, not_covered = coverage((*judgements, *beside))
        worst = max(
            (
                pair
                for pair in zip(criteria, judgements, strict=True)
                if pair[0].is_judged
            ),
            key=lambda pair: pair[0].needed_number,
            default=(gross, judgements[0]),
        )[1]
        overall = overall_judgement(
            judgements=judgements,
            n_runs=len(errors.runs_used),
            class_name=judged,
            rule=f"{_RULE}; the system's class is that of its worst criterion",
            standing=values.standing_with_own(self.standing),
            deciding=worst,
        )
        overall = replace(
            overall,
            details=(*overall.details, ("smallest class number", _needed(criteria))),
        )
        return StandardVerdict(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            judged_class=judged,
            wanted_class=wanted,
            attained_class=attained,
            judgements=(*judgements, *beside),
            overall=overall,
            covers=covers,
            not_covered=not_covered,
            does_not_cover=self.does_not_cover,
            notes=(*_notes(errors, conditions), *values.notes()),
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
            For instance "B(10)".
        conditions
            As for :meth:`judge`.
        """
        values = values_in_use(self, conditions)
        number, criteria = CLASS_NUMBERS[class_name], []
        for item in CRITERIA:
            flat = sessions[item]
            kept = flat.reference_gvw_kg > values["min_vehicle_kg"]
            if item is not Quantity.GROSS_WEIGHT:
                kept = kept & (flat.reference > values["min_axle_kg"])
            criteria.append(
                many_by_confidence(
                    flat.where(np.asarray(kept, dtype=bool)),
                    sessions.n_sessions,
                    delta=delta_share(conditions) * delta_pct(item, number),
                    margin=U[conditions.plan] / F[conditions.environment],
                    min_runs=MIN_RUNS,
                )
            )
        return all_together(self.key, class_name, criteria)


def _needed(criteria: list[_Criterion]) -> float | None:
    """Smallest class number K that the data support, not rounded to a class."""
    known = [one.class_number for one in criteria if one.class_number is not None]
    return max(known, default=None)


def delta_share(conditions: Conditions) -> float:
    """Share k of δ that is used: 0.8 at an initial verification, else 1.

    Parameters
    ----------
    conditions
        Where the runs that judge are those of the calibration itself, their bias is
        gone by construction, and 0.8 is used as well (from memory).
    """
    is_narrowed = conditions.is_initial or conditions.is_calibration_sample
    return INITIAL_K if is_narrowed else 1.0


def _standing_of_k(conditions: Conditions) -> str:
    is_recalled = conditions.is_calibration_sample and not conditions.is_initial
    return FROM_MEMORY if is_recalled else CONFIRMED


def _notes(errors: RunErrors, conditions: Conditions) -> tuple[str, ...]:
    plan, environment = conditions.plan, conditions.environment
    stage = "in service"
    if conditions.is_initial:
        stage = "initial verification (0.8 δ)"
    elif conditions.is_calibration_sample:
        stage = "the runs of the calibration itself (0.8 δ; from memory)"
    notes = [
        f"Test plan {plan} ({plan.meaning}), environment {environment} "
        f"({environment.meaning}), {stage}."
    ]
    n_vehicles = len(errors.vehicles)
    several = (TestPlan.LIMITED_REPRODUCIBILITY, TestPlan.FULL_REPRODUCIBILITY)
    if plan in several and n_vehicles == 1:
        notes.append(
            f"Plan {plan} asks for several vehicles and these runs are of one; r1 or "
            "r2 would ask for a higher confidence (from memory)."
        )
    return tuple(notes)


@dataclass(frozen=True, eq=False)
class _Criterion:
    """One criterion's errors with all that does not depend on the class."""

    errors: QuantityErrors
    conditions: Conditions
    values: ValuesInUse
    mean: float | None
    sd: float | None
    pi0: float | None
    delta_min: float | None

    @classmethod
    def of(
        cls, errors: QuantityErrors, conditions: Conditions, values: ValuesInUse
    ) -> _Criterion:
        vehicle_kg, axle_kg = values["min_vehicle_kg"], values["min_axle_kg"]
        heavy = errors.reference_gvw_kg > vehicle_kg
        if errors.quantity is not Quantity.GROSS_WEIGHT:
            heavy = heavy & (errors.reference > axle_kg)
        kept = errors.where(
            np.asarray(heavy, dtype=bool),
            f"All vehicles are up to {vehicle_kg / 1000:g} t or all axle loads up to "
            f"{axle_kg / 1000:g} t.",
        )
        found = summarise(kept)
        pi0 = delta_min = None
        if kept.n_runs >= MIN_RUNS and found.mean is not None and found.sd is not None:
            pi0 = required_confidence(found.n, conditions.plan, conditions.environment)
            delta_min = smallest_delta_pct(found.mean, found.sd, found.n, pi0)
        return cls(kept, conditions, values, found.mean, found.sd, pi0, delta_min)

    @property
    def is_judged(self) -> bool:
        return self.delta_min is not None

    @property
    def k(self) -> float:
        return delta_share(self.conditions)

    @property
    def class_number(self) -> float | None:
        """Fractional K of the tolerance that these errors need."""
        if self.delta_min is None:
            return None
        return class_number_for(self.errors.quantity, self.delta_min / self.k)

    @cached_property
    def own_class(self) -> str | None:
        """The strictest class that this criterion alone meets."""
        if not self.is_judged:
            return None
        return next((name for name in CLASS_NUMBERS if self.meets(name)), None)

    @property
    def needed_number(self) -> float:
        """K of its own class; infinity beyond the last one."""
        own = self.own_class
        return math.inf if own is None else CLASS_NUMBERS[own]

    def delta_used(self, class_name: str) -> float:
        return self.k * delta_pct(self.errors.quantity, CLASS_NUMBERS[class_name])

    def confidence(self, class_name: str) -> float | None:
        if self.delta_min is None or self.mean is None or self.sd is None:
            return None
        return estimated_confidence(
            self.delta_used(class_name), self.mean, self.sd, self.errors.n
        )

    def meets(self, class_name: str) -> bool:
        pi = self.confidence(class_name)
        return pi is not None and self.pi0 is not None and pi >= self.pi0

    def judgement(self, class_name: str) -> Judgement:
        delta = self.delta_used(class_name)
        pi = self.confidence(class_name)
        if self.errors.n == 0:
            verdict, sentence = Verdict.CANNOT_SAY, no_data(self.errors.why_none)
        elif pi is None or self.pi0 is None or self.delta_min is None:
            verdict, sentence = Verdict.CANNOT_SAY, too_few(self.errors.n_runs)
        else:
            is_met = self.meets(class_name)
            verdict = Verdict.MEETS if is_met else Verdict.MISSES
            sentence = (
                f"{'Meets' if is_met else 'Misses'} {class_name}: confidence "
                f"{percent(100 * pi, 2)} within ±{percent(delta, 2)}, "
                f"{percent(100 * self.pi0, 2)} required (n {self.errors.n}); these "
                f"errors need ±{percent(self.delta_min, 2)}, which is class "
                f"{self.own_class or 'none'}."
            )
        margin = None if self.delta_min is None else delta - self.delta_min
        interval = None
        if self.delta_min is not None and self.pi0 is not None:
            interval = Interval(-self.delta_min, self.delta_min, self.pi0)
        return Judgement(
            quantity=self.errors.quantity,
            value=self.delta_min,
            unit="%",
            n=self.errors.n,
            interval=interval,
            rule=_RULE,
            limit=f"±{percent(delta, 2)} with the required confidence",
            verdict=verdict,
            sentence=sentence,
            standing=self.standing,
            details=(
                ("statistic", "smallest tolerance"),
                ("mean", self.mean),
                ("sd", self.sd),
                ("delta", delta),
                ("k", self.k),
                ("pi0_pct", None if self.pi0 is None else 100 * self.pi0),
                ("pi_pct", None if pi is None else 100 * pi),
                ("delta_min", self.delta_min),
                ("own class", self.own_class),
                ("class number", self.class_number),
                *margin_details(margin, "%"),
            ),
        )

    @property
    def standing(self) -> str:
        """Confirmed, but for the agency's own bounds and the k of a calibration."""
        keys = [k for k in ("min_vehicle_kg", "min_axle_kg") if self.values.is_own(k)]
        return self.values.standing(*keys, otherwise=_standing_of_k(self.conditions))


def _judge_motion(
    errors: QuantityErrors, class_name: str, conditions: Conditions, values: ValuesInUse
) -> Judgement:
    """Speed or axle spacing by the same rule, in per cent; beside the weights."""
    relative = replace(
        errors,
        errors=100.0 * (errors.measured - errors.reference) / errors.reference,
    )
    found = summarise(relative)
    has_limit = class_name in MOTION_TOLERANCE_PCT
    key = _motion_key(errors.quantity, class_name)
    delta = delta_share(conditions) * values[key] if has_limit else math.inf
    interval = margin = pi0 = pi = delta_min = None
    verdict = Verdict.CANNOT_SAY
    if found.n == 0:
        sentence = no_data(errors.why_none)
    elif found.mean is None or found.sd is None or errors.n_runs < MIN_RUNS:
        sentence = too_few(errors.n_runs)
    elif not has_limit:
        sentence = f"Cannot say: class {class_name} has no tolerance for it."
    else:
        pi0 = required_confidence(found.n, conditions.plan, conditions.environment)
        pi = estimated_confidence(delta, found.mean, found.sd, found.n)
        delta_min = smallest_delta_pct(found.mean, found.sd, found.n, pi0)
        interval, margin = Interval(-delta_min, delta_min, pi0), delta - delta_min
        verdict = Verdict.MEETS if pi >= pi0 else Verdict.MISSES
        sentence = (
            f"{'Meets' if pi >= pi0 else 'Misses'} the tolerance beside {class_name}: "
            f"confidence {percent(100 * pi, 2)} within ±{percent(delta, 2)}, "
            f"{percent(100 * pi0, 2)} required (n {found.n}). It does not decide the "
            "class."
        )
    limit = f"±{percent(delta, 2)} with the required confidence"
    return Judgement(
        quantity=errors.quantity,
        value=delta_min,
        unit="%",
        n=found.n,
        interval=interval,
        rule=f"{_RULE}; beside the weights",
        limit=limit if has_limit else "none for this class",
        verdict=verdict,
        sentence=sentence,
        standing=values.standing(key) if has_limit else FROM_MEMORY,
        details=(
            ("statistic", "smallest tolerance"),
            ("mean", found.mean),
            ("sd", found.sd),
            ("error unit", "%"),
            ("tolerance of the reference", delta if has_limit else None),
            ("pi0_pct", None if pi0 is None else 100 * pi0),
            ("pi_pct", None if pi is None else 100 * pi),
            ("delta_min", delta_min),
            *margin_details(margin, "%"),
        ),
    )


STANDARD = Cost323()
