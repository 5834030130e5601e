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
meaning and the limits of 3.5 t and 1 t are from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from calibration.calc.standards.base import (
    CONFIRMED,
    DEFAULT_CONDITIONS,
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
from calibration.calc.statistics import summarise, t_quantile
from calibration.calc.types import (
    EnvironmentPlan,
    Quantity,
    QuantityErrors,
    RunErrors,
    TestPlan,
)
from wimprog.lib.judgement import Interval, Judgement, Verdict

CLASS_NUMBERS: dict[str, float] = {
    "A(5)": 5.0,
    "B+(7)": 7.0,
    "B(10)": 10.0,
    "C(15)": 15.0,
    "D+(20)": 20.0,
    "D(25)": 25.0,
    **{f"E({k})": float(k) for k in range(30, 105, 5)},
}
"""Class number K by class, strictest first; E goes on in steps of 5."""

U: dict[TestPlan, float] = {
    TestPlan.FULL_REPEATABILITY: 2.675,
    TestPlan.EXTENDED_REPEATABILITY: 2.36,
    TestPlan.LIMITED_REPRODUCIBILITY: 2.155,
    TestPlan.FULL_REPRODUCIBILITY: 2.0,
}
F: dict[EnvironmentPlan, float] = {
    EnvironmentPlan.REPEATABILITY: 1.0,
    EnvironmentPlan.LIMITED_REPRODUCIBILITY: 1.05,
    EnvironmentPlan.FULL_REPRODUCIBILITY: 1.1,
}
INITIAL_K = 0.8
"""Share of δ that is used at an initial verification."""

MIN_VEHICLE_KG = 3500.0
MIN_AXLE_KG = 1000.0
"""Lighter vehicles and axle loads are not judged (from memory)."""

CRITERIA = (
    Quantity.GROSS_WEIGHT,
    Quantity.AXLE_GROUP,
    Quantity.SINGLE_AXLE,
    Quantity.AXLE_OF_GROUP,
)
_RULE = "Estimated confidence π at least the required π0 (COST 323, version 3.0)"


def delta_pct(quantity: Quantity, class_number: float) -> float:
    """Tolerance δ(K) in service [%], by the specification's closed forms.

    Parameters
    ----------
    quantity
        Gross weight, axle group, single axle or axle of a group.
    class_number
        K, the number in the class's name, greater than zero.

    Raises
    ------
    ValueError
        When the specification has no criterion for the quantity.

    References
    ----------
    COST 323, European WIM Specification, version 3.0 (1999).

    Examples
    --------
    >>> delta_pct(Quantity.AXLE_GROUP, 10)
    13.0
    """
    k = float(class_number)
    if quantity is Quantity.GROSS_WEIGHT:
        return k
    if quantity is Quantity.AXLE_GROUP:
        if k < 7:
            return k / 0.7
        return k + 3 if k < 30 else 1.1 * k
    if quantity is Quantity.SINGLE_AXLE:
        if k < 10:
            return k * (85 - k) / 50
        return k + 5 if k < 25 else 1.2 * k
    if quantity is Quantity.AXLE_OF_GROUP:
        if k < 10:
            return 2 * k
        return k + 10 if k < 25 else 1.2 * k + 5
    raise ValueError(f"COST 323 has no weight criterion for {quantity}")


def required_confidence(
    n: int | None,
    plan: TestPlan = TestPlan.LIMITED_REPRODUCIBILITY,
    environment: EnvironmentPlan = EnvironmentPlan.REPEATABILITY,
) -> float:
    """Required confidence π0 as a fraction.

    Parameters
    ----------
    n
        Number of errors, at least 2; None for infinitely many.
    plan, environment
        Test plan and environmental plan.

    Raises
    ------
    ValueError
        When ``n`` is less than 2.

    References
    ----------
    COST 323, European WIM Specification, version 3.0 (1999).
    """
    a = 0.0 if n is None else t_quantile(n) / math.sqrt(n)
    return float(2.0 * stats.norm.cdf(U[plan] / F[environment] - a) - 1.0)


def estimated_confidence(delta: float, mean: float, sd: float, n: int) -> float:
    """Lower bound π of the confidence that an error lies within ±δ, as a fraction.

    Parameters
    ----------
    delta
        Tolerance δ [%].
    mean, sd
        Mean and standard deviation of the errors [%]; a ``sd`` of 0 gives 0 or 1.
    n
        Number of errors, at least 2.

    References
    ----------
    COST 323, European WIM Specification, version 3.0 (1999).
    """
    if sd == 0.0:
        return 1.0 if abs(mean) <= delta else 0.0
    a = t_quantile(n) / math.sqrt(n)
    upper = stats.t.cdf((delta - mean) / sd - a, n - 1)
    lower = stats.t.cdf((-delta - mean) / sd + a, n - 1)
    return float(upper - lower)


def smallest_delta_pct(mean: float, sd: float, n: int, required: float) -> float:
    """The tolerance δ_min [%] at which π equals π0.

    Parameters
    ----------
    mean, sd, n
        Mean and standard deviation of the errors [%] and their number.
    required
        π0 as a fraction, between 0 and 1.

    Returns
    -------
    float
        δ_min [%].
    """
    if sd == 0.0:
        return abs(mean)

    def lacking(delta: float) -> float:
        return estimated_confidence(delta, mean, sd, n) - required

    high = abs(mean) + sd
    while lacking(high) < 0.0:
        high *= 2.0
    return float(optimize.brentq(lacking, 0.0, high, xtol=1e-12))


@dataclass(frozen=True)
class Cost323:
    """Accuracy classes A(5) to E(100) of the European specification."""

    key: str = "cost-323"
    title: str = "COST 323"
    edition: str = "version 3.0 (1999)"
    standing: str = (
        "Formulas checked against public texts. Meaning of the test codes and the "
        "limits of 3.5 t and 1 t from memory: not checked against the document."
    )
    classes: tuple[str, ...] = tuple(CLASS_NUMBERS)
    default_class: str = "B(10)"
    does_not_cover: str = (
        "Speed, axle spacing, site class and the make-up of the test sample are not "
        "judged here; vehicles up to 3.5 t and axle loads up to 1 t are left out. The "
        "result speaks for these trucks only."
    )

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
            Test plan, environmental plan, and whether it is an initial verification.

        Returns
        -------
        StandardVerdict

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such class.
        """
        wanted = check_class(self, wanted_class)
        criteria = [_Criterion.of(errors[one], conditions) for one in CRITERIA]
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
        covers, not_covered = coverage(judgements)
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
            standing=self.standing,
            deciding=worst,
        )
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
            notes=_notes(errors, conditions),
        )


def _notes(errors: RunErrors, conditions: Conditions) -> tuple[str, ...]:
    plan, environment = conditions.plan, conditions.environment
    stage = "initial verification (0.8 δ)" if conditions.is_initial else "in service"
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


@dataclass(frozen=True)
class _Criterion:
    """One criterion's errors with all that does not depend on the class."""

    errors: QuantityErrors
    conditions: Conditions
    mean: float | None
    sd: float | None
    pi0: float | None
    delta_min: float | None

    @classmethod
    def of(cls, errors: QuantityErrors, conditions: Conditions) -> _Criterion:
        heavy = errors.reference_gvw_kg > MIN_VEHICLE_KG
        if errors.quantity is not Quantity.GROSS_WEIGHT:
            heavy = heavy & (errors.reference > MIN_AXLE_KG)
        kept = errors.where(
            np.asarray(heavy, dtype=bool),
            "All vehicles are up to 3.5 t or all axle loads up to 1 t.",
        )
        found = summarise(kept)
        pi0 = delta_min = None
        if kept.n_runs >= MIN_RUNS and found.mean is not None and found.sd is not None:
            pi0 = required_confidence(found.n, conditions.plan, conditions.environment)
            delta_min = smallest_delta_pct(found.mean, found.sd, found.n, pi0)
        return cls(kept, conditions, found.mean, found.sd, pi0, delta_min)

    @property
    def is_judged(self) -> bool:
        return self.delta_min is not None

    @property
    def k(self) -> float:
        return INITIAL_K if self.conditions.is_initial else 1.0

    @property
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
            standing=CONFIRMED,
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
            ),
        )


STANDARD = Cost323()
