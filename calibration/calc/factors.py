"""A new calibration factor with its uncertainty; by part and by speed are built on it.

Three ways to take a ratio of static to measured weight from runs; the ratio of sums is
the one to adopt, or 1/mean(measured/static). The mean of static/measured is shown
beside them and is biased upward by the scatter of single passes. Standard errors by the
delta method; :func:`jackknife_se` is the second route. That the lane weighs in
proportion to its factor is supposed throughout.

Runs count by what they are worth: a vehicle whose static weight is uncertain counts
less. The uncertainty of the static weighings is added to that of the runs; it does not
fall with their number. Everything speaks for these trucks only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from calibration.calc.factor_types import FactorEstimate, FactorMethod
from calibration.calc.reference_bias import ReferencePart, reference_part_of_mean
from calibration.calc.types import FloatArray, QuantityErrors
from calibration.calc.uncertainty import Component, effective_df, interval_of
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval

References = Mapping[str, ReferencePart]
"""What each vehicle's static weighing adds, by the vehicle's name."""

ALL_AXLES = "all axles"


def run_weights(
    vehicles: Sequence[str], sd_pct: float, references: References
) -> FloatArray:
    """How much each run counts, by what its vehicle's static weight is worth.

    Parameters
    ----------
    vehicles
        The vehicle of each run, length n.
    sd_pct
        Standard deviation of single runs [%].
    references
        What each vehicle's weighing adds; one left out adds nothing.

    Returns
    -------
    ndarray
        Shape (n,), mean 1. A vehicle of k runs counts 1/(sd²/k + own²) in all, its
        runs alike; the scale's shared part weighs on all vehicles and moves no weight.
    """
    names = np.array(vehicles)
    found = np.ones(names.size)
    for name in dict.fromkeys(vehicles):
        own = names == name
        k = np.count_nonzero(own)
        part = references.get(name)
        spread = sd_pct**2 / k + (part.own_pct**2 if part else 0.0)
        found[own] = 1.0 / (k * spread) if spread > 0.0 else 1.0
    return found * (found.size / found.sum())


def estimate_factor(
    weights_of: QuantityErrors,
    *,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    references: References | None = None,
    label: str = ALL_AXLES,
    level: float = 0.95,
) -> FactorEstimate:
    """One ratio of static to measured weight, with its uncertainty.

    Parameters
    ----------
    weights_of
        Errors of a weight; ``measured`` and ``reference`` [kg] are used.
    method
        How the ratio is taken.
    references
        What the static weighings add; None counts them as exact.
    label
        What the factor is for.
    level
        Level of the interval.

    Returns
    -------
    FactorEstimate

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no runs.

    References
    ----------
    Cochran (1977), Sampling Techniques, 3rd ed., section 6.4 (from memory).
    """
    n = weights_of.n
    if n == 0:
        raise DomainError("There are no runs to compute a factor from.")
    known = references or {}
    sd_pct = float(weights_of.errors.std(ddof=1)) if n > 1 else 0.0
    w = run_weights(weights_of.vehicles, sd_pct, known)
    static, measured = weights_of.reference, weights_of.measured
    ratio = _ratio(static, measured, w, method)
    u_reference, df_reference = _reference_part(weights_of, w, known)
    u_reference *= ratio / 100.0
    se = df = None
    interval: Interval | None = None
    if n > 1:
        se = _standard_error(static, measured, w, ratio, method)
        parts = [
            Component("runs", se, n - 1),
            Component("reference", u_reference, df_reference),
        ]
        df = effective_df(parts)
        interval = interval_of(ratio, parts, level=level)
    return FactorEstimate(
        label=label,
        method=method,
        ratio=ratio,
        se_runs=se,
        u_reference=u_reference,
        df=df,
        interval=interval,
        n=n,
        n_vehicles=len(set(weights_of.vehicles)),
    )


def _ratio(
    static: FloatArray, measured: FloatArray, w: FloatArray, method: FactorMethod
) -> float:
    if method is FactorMethod.RATIO_OF_SUMS:
        return float((w @ static) / (w @ measured))
    if method is FactorMethod.INVERSE_MEAN_RATIO:
        return float(w.sum() / (w @ (measured / static)))
    return float((w @ (static / measured)) / w.sum())


def _standard_error(
    static: FloatArray,
    measured: FloatArray,
    w: FloatArray,
    ratio: float,
    method: FactorMethod,
) -> float:
    """Delta method: the ratio is linear in each run's residual."""
    n = static.size
    if method is FactorMethod.RATIO_OF_SUMS:
        residuals = w * (static - ratio * measured) / (w @ measured)
    elif method is FactorMethod.INVERSE_MEAN_RATIO:
        residuals = w * (measured / static - 1.0 / ratio) / w.sum() * ratio**2
    else:
        residuals = w * (static / measured - ratio) / w.sum()
    return math.sqrt(n / (n - 1) * float(residuals @ residuals))


def _reference_part(
    weights_of: QuantityErrors, w: FloatArray, references: References
) -> tuple[float, float]:
    """Standard uncertainty [%] of the references' mean, and its degrees of freedom."""
    if not references:
        return 0.0, math.inf
    names = np.array(weights_of.vehicles)
    loads = w * weights_of.reference
    total = float(loads.sum())
    used = list(dict.fromkeys(weights_of.vehicles))
    part = reference_part_of_mean(
        [references.get(name, ReferencePart(0.0, 0.0)) for name in used],
        [float(loads[names == name].sum()) / total for name in used],
    )
    return part.u_pct, part.df


def ratios_without_each(
    static: FloatArray,
    measured: FloatArray,
    *,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    weights: FloatArray | None = None,
) -> FloatArray:
    """The ratio of all other runs, for each run.

    Parameters
    ----------
    static, measured
        Weights [kg], shape (n,), n at least 2.
    method
        How the ratio is taken.
    weights
        How much each run counts; None for alike.

    Returns
    -------
    ndarray
        Shape (n,).
    """
    w = np.ones(static.size) if weights is None else weights

    def others(values: FloatArray) -> FloatArray:
        each: FloatArray = w * values
        left: FloatArray = each.sum() - each
        return left

    if method is FactorMethod.RATIO_OF_SUMS:
        return others(static) / others(measured)
    alike = others(np.ones(static.size))
    if method is FactorMethod.INVERSE_MEAN_RATIO:
        return alike / others(measured / static)
    return others(static / measured) / alike


def jackknife_se(
    static: FloatArray,
    measured: FloatArray,
    *,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
) -> float:
    """Standard error of a ratio by the jackknife, as a second route.

    Parameters
    ----------
    static, measured
        Weights [kg], shape (n,), n at least 2.
    method
        How the ratio is taken.

    References
    ----------
    Efron and Tibshirani (1993), An Introduction to the Bootstrap, chapter 11 (from
    memory).
    """
    found = ratios_without_each(static, measured, method=method)
    n = found.size
    return math.sqrt((n - 1) / n * float(np.sum((found - found.mean()) ** 2)))
