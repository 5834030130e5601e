"""Formulas and tables of COST 323 (version 3.0, August 1999), apart from its judging.

    π0 = 2 Φ(u/f − t(0.975, n−1)/√n) − 1
    π  = T((δ − m)/s − a) − T((−δ − m)/s + a),   a = t(0.975, n−1)/√n

Φ is the standard normal and T the Student distribution function with n − 1 degrees of
freedom. Confirmed by public texts; the meaning of the codes behind u and f is from
memory.
"""

from __future__ import annotations

import math

from scipy import optimize, special

from calibration.calc.statistics import t_quantile
from calibration.calc.types import EnvironmentPlan, Quantity, TestPlan

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


def class_number_for(quantity: Quantity, delta: float) -> float:
    """Fractional class number K whose tolerance δ(K) is ``delta``: the exact inverse.

    Parameters
    ----------
    quantity
        Gross weight, axle group, single axle or axle of a group.
    delta
        Tolerance δ [%], at least 0; at an initial verification δ/0.8.

    Returns
    -------
    float
        K, not rounded up to a class that has a name.

    Raises
    ------
    ValueError
        When the specification has no criterion for the quantity.

    Notes
    -----
    The specification's own inverse for a single axle, δ(δ + 97)/168 below 15 %, is an
    approximation; this one is not.

    References
    ----------
    COST 323, European WIM Specification, version 3.0 (1999).

    Examples
    --------
    >>> class_number_for(Quantity.AXLE_GROUP, 13.0)
    10.0
    """
    if quantity is Quantity.GROSS_WEIGHT:
        return delta
    if quantity is Quantity.AXLE_GROUP:
        if delta < 10:
            return 0.7 * delta
        return delta - 3 if delta < 33 else delta / 1.1
    if quantity is Quantity.SINGLE_AXLE:
        if delta < 15:  # the smaller root of K(85 − K)/50 = δ
            return (85 - math.sqrt(85**2 - 200 * delta)) / 2
        return delta - 5 if delta < 30 else delta / 1.2
    if quantity is Quantity.AXLE_OF_GROUP:
        if delta < 20:
            return delta / 2
        return delta - 10 if delta < 35 else (delta - 5) / 1.2
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
    return float(2.0 * special.ndtr(U[plan] / F[environment] - a) - 1.0)


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
    upper = special.stdtr(n - 1, (delta - mean) / sd - a)
    lower = special.stdtr(n - 1, (-delta - mean) / sd + a)
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
