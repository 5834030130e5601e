"""What an adjustment is expected to bring, and when to leave the factor alone.

A factor fitted to runs makes those same runs look better than the next ones will. So
each run is judged under the factor of all the others (leave one out); where there are
several vehicles, also each vehicle under the factor of the others.

The stop rule: leave it alone when the interval of the change holds "no change", or when
the left-out runs would not come closer. Factors by speed must beat the one factor on
the left-out runs as well; each of them rests on fewer runs and carries more noise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.calc.factor_speed import factors_by_speed, nearest_point
from calibration.calc.factor_types import (
    Adjustment,
    AdjustmentAdvice,
    FactorEstimate,
    FactorMethod,
    Prediction,
    SpeedFactors,
)
from calibration.calc.factors import (
    References,
    estimate_factor,
    ratios_without_each,
    run_weights,
)
from calibration.calc.types import FloatArray, QuantityErrors, RunErrors
from wimprog.lib.units import UnitSystem, format_number

AS_IT_IS, ONE_FACTOR, BY_SPEED = "as it is", "one factor", "factors by speed"


def predict_as_it_is(gross_weight: QuantityErrors) -> Prediction:
    """The errors without any adjustment, to compare with.

    Parameters
    ----------
    gross_weight
        Errors of gross weight, at least one.
    """
    errors = gross_weight.errors
    rms = _rms(errors)
    several = len(set(gross_weight.vehicles)) > 1
    return _prediction(
        AS_IT_IS, gross_weight, np.ones(errors.size), rms if several else None
    )


def predict_one_factor(
    gross_weight: QuantityErrors,
    *,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    references: References | None = None,
) -> Prediction:
    """Errors of each run under the one factor of all other runs.

    Parameters
    ----------
    gross_weight
        Errors of gross weight, at least two.
    method, references
        As for :func:`calibration.calc.factors.estimate_factor`.
    """
    static, measured = gross_weight.reference, gross_weight.measured
    sd = float(gross_weight.errors.std(ddof=1))
    weights = run_weights(gross_weight.vehicles, sd, references or {})
    ratios = ratios_without_each(static, measured, method=method, weights=weights)
    names = np.array(gross_weight.vehicles)
    other = None
    if len(set(gross_weight.vehicles)) > 1:
        by_others = np.empty(static.size)
        for name in set(gross_weight.vehicles):
            own = names == name
            by_others[own] = estimate_factor(
                gross_weight.where(~own), method=method, references=references
            ).ratio
        other = _rms(100.0 * (by_others * measured / static - 1.0))
    return _prediction(ONE_FACTOR, gross_weight, ratios, other)


def predict_by_speed(
    gross_weight: QuantityErrors,
    speed_kmh: FloatArray,
    points_kmh: Sequence[float],
    *,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
) -> Prediction:
    """Errors of each run under the factors by speed of all other runs.

    Parameters
    ----------
    gross_weight
        Errors of gross weight, shape (n,).
    speed_kmh
        Speed of each [km/h], shape (n,).
    points_kmh
        Speed points in rising order, each with two runs or more.
    method
        How the ratios are taken.

    Returns
    -------
    Prediction
        Each run under the line between the points at its own speed.
    """
    static, measured = gross_weight.reference, gross_weight.measured
    at = nearest_point(speed_kmh, points_kmh)
    ratios = np.empty(len(points_kmh))
    without = np.empty(static.size)
    for place in range(len(points_kmh)):
        own = at == place
        ratios[place] = estimate_factor(gross_weight.where(own), method=method).ratio
        without[own] = ratios_without_each(static[own], measured[own], method=method)
    under = np.empty(static.size)
    for run, (place, speed) in enumerate(zip(at, speed_kmh, strict=True)):
        changed = ratios.copy()
        changed[place] = without[run]
        under[run] = np.interp(speed, points_kmh, changed)
    return _prediction(BY_SPEED, gross_weight, under, None)


def _rms(errors: FloatArray) -> float:
    return math.sqrt(float(np.mean(errors**2)))


def _prediction(
    label: str, gross_weight: QuantityErrors, ratios: FloatArray, other: float | None
) -> Prediction:
    share = gross_weight.measured / gross_weight.reference
    errors = 100.0 * (ratios * share - 1.0)
    return Prediction(
        label=label,
        errors=errors,
        ratios=ratios,
        mean=float(errors.mean()),
        sd=float(errors.std(ddof=1)) if errors.size > 1 else None,
        rms=_rms(errors),
        rms_other_trucks=other,
    )


def errors_after(
    errors: RunErrors, gross_weight: QuantityErrors, prediction: Prediction
) -> RunErrors:
    """Errors of all weights as predicted, for the standards to judge.

    Parameters
    ----------
    errors
        Errors of all quantities.
    gross_weight
        The gross weights that were predicted.
    prediction
        The prediction for them.

    Returns
    -------
    RunErrors
        Every weight of a run multiplied by the run's predicted ratio; speeds and
        lengths as they are; only the runs that were predicted. ``runs`` still hold
        what was recorded.
    """
    ratio_of = dict(zip(gross_weight.runs, prediction.ratios, strict=True))
    used = tuple(run for run in errors.runs_used if run in ratio_of)

    def after(one: QuantityErrors) -> QuantityErrors:
        kept = one.where(np.array([run in ratio_of for run in one.runs], dtype=bool))
        if one.unit != "%" or kept.n == 0:
            return kept
        measured = kept.measured * np.array([ratio_of[run] for run in kept.runs])
        found = 100.0 * (measured - kept.reference) / kept.reference
        return replace(kept, measured=measured, errors=found)

    return replace(
        errors,
        by_quantity={
            quantity: after(one) for quantity, one in errors.by_quantity.items()
        },
        runs_used=used,
        runs=tuple(run for run in errors.runs if run.run in ratio_of),
    )


def advise_adjustment(
    gross_weight: QuantityErrors,
    speed_kmh: FloatArray,
    *,
    points_kmh: Sequence[float] | None = None,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    references: References | None = None,
    level: float = 0.95,
    unit_system: UnitSystem = UnitSystem.SI,
) -> AdjustmentAdvice:
    """Whether to adjust, by which factors, and what to expect.

    Parameters
    ----------
    gross_weight
        Errors of gross weight, shape (n,).
    speed_kmh
        Speed of each [km/h], shape (n,); NaN where not recorded.
    points_kmh
        The controller's speed points [km/h]; None takes those driven.
    method, references, level
        As for :func:`calibration.calc.factors.estimate_factor`.
    unit_system
        Units of the sentences.

    Returns
    -------
    AdjustmentAdvice

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no runs.
    """
    by_speed = factors_by_speed(
        gross_weight,
        speed_kmh,
        points_kmh=points_kmh,
        method=method,
        references=references,
        level=level,
        unit_system=unit_system,
    )
    overall = by_speed.overall
    as_it_is = predict_as_it_is(gross_weight)
    if gross_weight.n < 2:
        reason = "One run shows nothing about scatter; drive more runs."
        return AdjustmentAdvice(
            Adjustment.LEAVE_ALONE, overall, by_speed, (as_it_is,), (reason,)
        )
    one = predict_one_factor(gross_weight, method=method, references=references)
    predictions = [as_it_is, one]
    if by_speed.is_by_speed:
        points = [point.speed_kmh for point in by_speed.points]
        predictions.append(
            predict_by_speed(gross_weight, speed_kmh, points, method=method)
        )
    adjustment, reasons = _choose(overall, by_speed, predictions)
    return AdjustmentAdvice(
        adjustment, overall, by_speed, tuple(predictions), tuple(reasons)
    )


def _choose(
    overall: FactorEstimate, by_speed: SpeedFactors, predictions: Sequence[Prediction]
) -> tuple[Adjustment, list[str]]:
    as_it_is, one, *rest = predictions
    reasons = [_told(overall), by_speed.why]
    if rest:
        best = min(as_it_is.rms, one.rms)
        reasons.append(_compared(rest[0], best))
        if rest[0].rms < best:
            return Adjustment.BY_SPEED, reasons
    reasons.append(_compared(one, as_it_is.rms))
    if overall.is_change_shown and one.rms < as_it_is.rms:
        return Adjustment.ONE_FACTOR, reasons
    reasons.append("The change is within its noise: leave it alone.")
    return Adjustment.LEAVE_ALONE, reasons


def _told(overall: FactorEstimate) -> str:
    if overall.interval is None:
        return f"Change {format_number(overall.change_pct, 2)} % from one run."
    low, high = (
        format_number(100.0 * (x - 1.0), 2)
        for x in (overall.interval.low, overall.interval.high)
    )
    holds = "leaves out" if overall.is_change_shown else "holds"
    return (
        f"Change {format_number(overall.change_pct, 2)} % (n {overall.n}, "
        f"{overall.interval.level * 100:g} % interval {low} to {high} %, which {holds} "
        "“no change”)."
    )


def _compared(prediction: Prediction, before: float) -> str:
    return (
        f"With {prediction.label}, runs left out in turn would be "
        f"{format_number(prediction.rms, 2)} % off (root mean square), instead of "
        f"{format_number(before, 2)} %."
    )
