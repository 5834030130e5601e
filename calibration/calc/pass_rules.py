"""When a standard says "meets", in a form that takes thousands of sessions at once.

Three families hold all standards that judge a spread of errors: a share within a
tolerance (ASTM E1318, NIST Handbook 44), an estimated confidence (COST 323) and an
interval inside limits (LTPP). Each rule takes mean, standard deviation, number and
misses of many sessions and answers for each. The figures come from the standards
themselves; a standard of another family has no rule here and says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from calibration.calc.standards import find_standard
from calibration.calc.standards.astm_e1318_table import (
    MAX_SHARE_OUTSIDE_PCT,
    tolerance_of,
)
from calibration.calc.standards.base import (
    DEFAULT_CONDITIONS,
    MIN_RUNS,
    Conditions,
    check_class,
    values_in_use,
)
from calibration.calc.standards.cost_323 import delta_share
from calibration.calc.standards.cost_323_formulas import (
    CLASS_NUMBERS,
    delta_pct,
    required_confidence,
)
from calibration.calc.standards.ltpp import limit_of
from calibration.calc.standards.nist_hb44 import rule_of
from calibration.calc.standards.shares import n_allowed
from calibration.calc.statistics import TOLERANCE_SLACK, t_quantile
from calibration.calc.types import (
    EnvironmentPlan,
    FloatArray,
    Quantity,
    TestPlan,
)
from wimprog.lib.errors import DomainError

Answers = NDArray[np.bool_]


class PassRule(Protocol):
    """A rule that many sessions can be held against at once."""

    @property
    def tolerance(self) -> float:
        """Half-width that single errors are counted against, in their unit."""
        ...

    @property
    def text(self) -> str:
        """The rule in words."""
        ...

    @property
    def required_share(self) -> float:
        """Share of single errors within the tolerance of a system at the limit."""
        ...

    def passes(
        self, mean: FloatArray, sd: FloatArray, n: int, n_outside: FloatArray
    ) -> Answers:
        """Which sessions meet the rule, shape of ``mean``."""
        ...


@dataclass(frozen=True)
class ShareWithinRule:
    """No more than a share of the errors outside the tolerance.

    Attributes
    ----------
    tolerance
        Half-width, in the errors' unit.
    max_outside_pct
        Greatest share outside [%].
    text
        The rule in words.
    """

    tolerance: float
    max_outside_pct: float
    text: str

    @property
    def required_share(self) -> float:
        """The share that must be within."""
        return 1.0 - self.max_outside_pct / 100.0

    def passes(
        self, mean: FloatArray, sd: FloatArray, n: int, n_outside: FloatArray
    ) -> Answers:
        """Few enough outside; never below the fewest runs that can meet."""
        found: Answers = np.asarray(n_outside <= n_allowed(n, self.max_outside_pct))
        return found & (n >= MIN_RUNS)

    def exact_chance(self, share_within: float, n: int) -> float:
        """Chance that ``n`` independent errors pass, by the binomial distribution.

        Parameters
        ----------
        share_within
            True share within the tolerance, as a fraction.
        n
            Number of errors, one a run.
        """
        if n < MIN_RUNS:
            return 0.0
        allowed = n_allowed(n, self.max_outside_pct)
        return float(stats.binom.cdf(allowed, n, 1.0 - share_within))


@dataclass(frozen=True)
class ConfidenceRule:
    """Estimated confidence of ±δ at least the required one (COST 323).

    Attributes
    ----------
    tolerance
        δ used [%].
    plan, environment
        Test plan and environmental plan.
    text
        The rule in words.
    """

    tolerance: float
    plan: TestPlan
    environment: EnvironmentPlan
    text: str

    @property
    def required_share(self) -> float:
        """The required confidence with infinitely many runs."""
        return required_confidence(None, self.plan, self.environment)

    def passes(
        self, mean: FloatArray, sd: FloatArray, n: int, n_outside: FloatArray
    ) -> Answers:
        """π at least π0 (formulas of the specification)."""
        if n < MIN_RUNS:
            return np.zeros(mean.shape, dtype=bool)
        a = t_quantile(n) / math.sqrt(n)
        spread = np.maximum(sd, 1e-12)
        pi = stats.t.cdf((self.tolerance - mean) / spread - a, n - 1) - stats.t.cdf(
            (-self.tolerance - mean) / spread + a, n - 1
        )
        required = required_confidence(n, self.plan, self.environment)
        return np.asarray(pi >= required)


@dataclass(frozen=True)
class IntervalRule:
    """Mean ± t·sd wholly inside the limits (LTPP field validation).

    Attributes
    ----------
    tolerance
        The limit, in the errors' unit.
    text
        The rule in words.
    required_share
        Share of single passes that the interval stands for.
    """

    tolerance: float
    text: str
    required_share: float = 0.95

    def passes(
        self, mean: FloatArray, sd: FloatArray, n: int, n_outside: FloatArray
    ) -> Answers:
        """The whole interval inside."""
        if n < MIN_RUNS:
            return np.zeros(mean.shape, dtype=bool)
        reach = np.abs(mean) + t_quantile(n) * sd
        return np.asarray(reach <= self.tolerance + TOLERANCE_SLACK)


def pass_rule(
    standard: str,
    class_name: str,
    quantity: Quantity = Quantity.GROSS_WEIGHT,
    *,
    conditions: Conditions = DEFAULT_CONDITIONS,
) -> PassRule:
    """The rule of one standard for one quantity.

    Parameters
    ----------
    standard
        Key of the standard.
    class_name
        Its class.
    quantity
        What is judged.
    conditions
        Test conditions, unit system and the agency's own values.

    Returns
    -------
    PassRule

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there is no such standard or class, or its rule is of no family that can
        be planned for.
    """
    known = find_standard(standard)
    name = check_class(known, class_name) or class_name
    values = values_in_use(known, conditions)
    system = conditions.unit_system
    try:
        if standard == "astm-e1318":
            tolerance, told = tolerance_of(quantity, name, system, values)
            return ShareWithinRule(
                tolerance,
                MAX_SHARE_OUTSIDE_PCT,
                f"{name}: {told} for {100 - MAX_SHARE_OUTSIDE_PCT:g} % of values",
            )
        if standard == "nist-hb44":
            rule = rule_of(quantity, system, values)
            within = 100.0 - rule.max_outside_pct
            return ShareWithinRule(
                rule.tolerance,
                rule.max_outside_pct,
                f"{name}: {rule.text} for {within:g} % of values",
            )
        if standard == "cost-323":
            delta = delta_share(conditions) * delta_pct(quantity, CLASS_NUMBERS[name])
            told = f"{name}: ±{delta:g} % with the required confidence"
            return ConfidenceRule(delta, conditions.plan, conditions.environment, told)
        if standard == "ltpp":
            tolerance, told = limit_of(quantity, system, values)
            return IntervalRule(tolerance, f"{name}: {told} for the whole interval")
    except (KeyError, ValueError):
        pass
    raise DomainError(
        f"{known.title}, {name}, has no rule for {quantity} that a plan can be drawn "
        "up for."
    )


def share_truly_within(tolerance: float, bias: float, sd: float) -> float:
    """Share of normal errors within ± ``tolerance``.

    Parameters
    ----------
    tolerance
        Half-width, in the errors' unit.
    bias, sd
        True mean and standard deviation of single errors.
    """
    if sd == 0.0:
        return 1.0 if abs(bias) <= tolerance else 0.0
    upper = stats.norm.cdf((tolerance - bias) / sd)
    lower = stats.norm.cdf((-tolerance - bias) / sd)
    return float(upper - lower)


def sd_at_limit(rule: PassRule, *, bias: float = 0.0) -> float:
    """Standard deviation of a system that is truly at the rule's limit.

    Parameters
    ----------
    rule
        The rule.
    bias
        Its true mean error, inside the tolerance.

    Returns
    -------
    float
        The spread at which exactly the required share of its errors is within.

    Raises
    ------
    ValueError
        When the bias alone is at the tolerance or beyond.
    """
    if not abs(bias) < rule.tolerance:
        raise ValueError("the bias alone takes up the tolerance")

    def lacking(sd: float) -> float:
        return share_truly_within(rule.tolerance, bias, sd) - rule.required_share

    low = 1e-9 * rule.tolerance
    return float(optimize.brentq(lacking, low, 100.0 * rule.tolerance, xtol=1e-12))
