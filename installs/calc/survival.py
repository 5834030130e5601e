"""How long sensors live: survival by age, the life curve, chances of failing.

Answers, from failed and censored lives: what share still works at an age
(:func:`kaplan_meier`), which life curve to forecast from (:func:`fit_weibull`), and how
likely a sensor of a given age is to fail within a horizon (:func:`failure_chances`).
A sensor in better or worse condition than usual has its hazard multiplied
(:mod:`installs.calc.condition`).

References
----------
Kaplan & Meier, JASA 53 (1958) 457-481; log-log interval: Kalbfleisch & Prentice, The
Statistical Analysis of Failure Time Data, 1980, section 1.3 (from memory); conditional
life: Meeker & Escobar, Statistical Methods for Reliability Data, 1998 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincc
from scipy.stats import norm

from installs.calc.bootstrap import N_REFITS, with_refits
from installs.calc.likelihood import Array
from installs.calc.types import (
    Condition,
    FailureChance,
    Life,
    LifePrior,
    SurvivalCurve,
    WeibullFit,
)
from installs.calc.weibull import (
    check_level,
    failure_ages,
    is_one_event,
    weibull_maximum_likelihood,
    weibull_with_prior,
)
from wimprog.lib.errors import DomainError

#: Below this many failures the curve borrows from the prior (simulated: with 4 to 10
#: failures the prior cuts the error of a three-year forecast by 10 to 20 %).
ENOUGH_FAILURES = 10


def kaplan_meier(lives: Sequence[Life], *, level: float = 0.95) -> SurvivalCurve:
    """Share of sensors still working by age, with numbers at risk.

    A life is at risk at age t when entry < t <= exit, so a sensor that was already in
    service when records began counts from its age on that day. Failures bracketed
    between two tests are placed in the middle of their bracket, and the curve says so.

    Parameters
    ----------
    lives
        Failed and censored lives.
    level
        Level of the pointwise log-log interval.

    Returns
    -------
    SurvivalCurve
        One entry for each failure age; empty when nothing failed.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no lives or the level is not between 0 and 1.
    """
    check_level(level)
    if not lives:
        raise DomainError("There are no lives to draw a survival curve from.")
    exits = np.array([life.point_age_years for life in lives])
    entries = np.array([life.entry_age_years for life in lives])
    failed = np.array([life.failed for life in lives])
    ages, deaths = np.unique(exits[failed], return_counts=True)
    at_risk = np.array(
        [int(np.sum((entries < age) & (age <= exits))) for age in ages], dtype=int
    )
    survival = np.cumprod(1.0 - deaths / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(deaths / (at_risk * (at_risk - deaths)))
        spread = norm.ppf((1.0 + level) / 2.0) * np.sqrt(greenwood) / np.log(survival)
        low, high = survival ** np.exp(-spread), survival ** np.exp(spread)
        error = np.where(survival > 0, survival * np.sqrt(greenwood), np.nan)
    dead = survival <= 0
    low[dead] = high[dead] = np.nan
    return SurvivalCurve(
        age_years=tuple(ages.tolist()),
        at_risk=tuple(at_risk.tolist()),
        failures=tuple(deaths.tolist()),
        survival=tuple(survival.tolist()),
        standard_error=tuple(error.tolist()),
        low=tuple(low.tolist()),
        high=tuple(high.tolist()),
        level=level,
        n_units=len(lives),
        n_failures=int(failed.sum()),
        last_age_years=float(exits.max()),
        notes=tuple(_curve_notes(lives, ages, at_risk, deaths)),
    )


def _curve_notes(
    lives: Sequence[Life], ages: Array, at_risk: np.ndarray, deaths: np.ndarray
) -> list[str]:
    notes = []
    bracketed = sum(life.is_bracketed for life in lives)
    if bracketed:
        notes.append(
            f"{bracketed} of the failures are known only to lie between two tests; "
            "the curve places them midway."
        )
    emptied = np.flatnonzero(at_risk == deaths)
    if emptied.size and ages[emptied[0]] < max(life.age_years for life in lives):
        notes.append(
            f"At {ages[emptied[0]]:.2f} years every sensor then watched had failed, so "
            "the curve stays at zero though older sensors are watched; too few were "
            "at risk at young ages for this curve to be trusted."
        )
    return notes


def fit_weibull(
    lives: Sequence[Life], *, prior: LifePrior, n_refits: int = N_REFITS
) -> WeibullFit:
    """Curve to forecast from: with the prior below ten failures, without it from ten.

    The prior is also kept when all failures happened at nearly one age, or when the
    likelihood alone has no maximum. The curve carries refits to redrawn lives, from
    which every interval of a forecast is taken.
    """
    fit = _best_fit(lives, prior)
    return with_refits(fit, lives, n_refits=n_refits) if n_refits else fit


def _best_fit(lives: Sequence[Life], prior: LifePrior) -> WeibullFit:
    ages = failure_ages(lives)
    if len(ages) < ENOUGH_FAILURES or is_one_event(ages):
        return weibull_with_prior(lives, prior)
    try:
        return weibull_maximum_likelihood(lives)
    except DomainError:
        return weibull_with_prior(lives, prior)


# --- chances of one sensor ---------------------------------------------------------


def weibull_survival(fit: WeibullFit, age_years: ArrayLike) -> Array:
    """Share still working at the given ages [years]."""
    ages = np.asarray(age_years, dtype=float)
    return np.asarray(np.exp(-_cumulative(ages, fit.shape, fit.scale_years)))


def failure_probability(
    fit: WeibullFit,
    age_years: ArrayLike,
    horizon_years: ArrayLike,
    *,
    hazard_ratio: ArrayLike = 1.0,
) -> Array:
    """Chance of failing within the horizon, given working at the age, by the curve.

    1 - exp(ratio * (H(age) - H(age + horizon))), H(x) = (x / scale) ** shape.
    """
    ages, horizons = _ages(age_years), _ages(horizon_years)
    ratio = np.asarray(hazard_ratio, dtype=float)
    return _conditional(ages, horizons, fit.shape, fit.scale_years, ratio)


def parameter_draws(
    fit: WeibullFit, n_draws: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Shapes and scales [years] that the data leave possible.

    The curve's refits to redrawn lives, each taken equally often in turn. A curve that
    carries none gives draws from the normal distribution of (log shape, log scale):
    the large-sample distribution for a fit by maximum likelihood, the Laplace
    approximation of the posterior for a fit with a prior.

    Returns
    -------
    shapes, scales
        Arrays of shape (n_draws,).
    """
    if fit.refits:
        taken = np.exp(np.array(fit.refits))[np.arange(n_draws) % len(fit.refits)]
        return taken[:, 0], taken[:, 1]
    middle = [math.log(fit.shape), math.log(fit.scale_years)]
    drawn = rng.multivariate_normal(middle, fit.log_covariance, size=n_draws)
    return np.exp(drawn[:, 0]), np.exp(drawn[:, 1])


def failure_chances(
    fit: WeibullFit,
    age_years: Sequence[float] | Array,
    horizons_years: Sequence[float],
    *,
    rng: np.random.Generator,
    level: float = 0.90,
    n_draws: int = 1000,
    conditions: Sequence[Condition] | None = None,
) -> list[tuple[FailureChance, ...]]:
    """Chances of failing within each horizon, for sensors of one technology.

    The probability is the curve's; its interval holds what the curve's parameters
    leave open (quantiles over :func:`parameter_draws`, the same draws for all). It
    is an interval of the chance, not of what will happen to one sensor.

    Parameters
    ----------
    fit
        The technology's curve.
    age_years
        Ages of working sensors, shape (n,).
    horizons_years
        Horizons, all above zero.
    rng
        Seeded generator; the same seed gives the same intervals.
    level
        Level of the intervals.
    n_draws
        Draws behind the intervals.
    conditions
        Condition of each sensor, in order; what it leaves open widens the interval.
        Without it all are typical of their age.

    Returns
    -------
    list of tuple of FailureChance
        One tuple a sensor, in order, one chance a horizon.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When an age is negative or not a number, or a horizon is not above zero.
    """
    check_level(level)
    ages = _ages(age_years)
    if not all(math.isfinite(h) and h > 0 for h in horizons_years):
        raise DomainError("A horizon must be a number of years above zero.")
    shapes, scales = parameter_draws(fit, n_draws, rng)
    tails = [(1.0 - level) / 2.0, (1.0 + level) / 2.0]
    known = conditions or [Condition()] * ages.size
    each = np.column_stack(
        [
            ages,
            [one.hazard_ratio for one in known],
            [one.log_sd for one in known],
        ]
    ).reshape(-1, 3)
    unique, back = np.unique(each, axis=0, return_inverse=True)
    unsure = rng.standard_normal(n_draws) if np.any(each[:, 2] > 0) else np.zeros(1)
    ratios = unique[:, 1:2] * np.exp(unique[:, 2:] * unsure)
    by_horizon = []
    for horizon in horizons_years:
        drawn = _conditional(
            unique[:, :1],
            np.float64(horizon),
            shapes[None, :],
            scales[None, :],
            ratios,
        )
        low, high = np.quantile(drawn, tails, axis=1)
        middle = failure_probability(
            fit, unique[:, 0], horizon, hazard_ratio=unique[:, 1]
        )
        by_horizon.append(
            [
                FailureChance(horizon, float(p), float(least), float(most), level)
                for p, least, most in zip(middle, low, high, strict=True)
            ]
        )
    return [tuple(chances[i] for chances in by_horizon) for i in back.reshape(-1)]


def median_remaining_life(
    fit: WeibullFit, age_years: ArrayLike, *, hazard_ratio: ArrayLike = 1.0
) -> Array:
    """Years within which half of sensors of this age and condition fail."""
    ages = _ages(age_years)
    hazard = _cumulative(ages, fit.shape, fit.scale_years)
    half = math.log(2.0) / np.asarray(hazard_ratio, dtype=float)
    whole = fit.scale_years * (hazard + half) ** (1.0 / fit.shape)
    return np.asarray(whole - ages)


def mean_remaining_life(fit: WeibullFit, age_years: ArrayLike) -> Array:
    """Mean further life [years] of sensors of this age.

    exp(H) scale Gamma(1 + 1/shape) Q(1/shape, H), Q the regularised upper incomplete
    gamma function. Where H is so large that the product overflows, its first-order
    expansion scale / shape * H ** (1/shape - 1) is used.
    """
    hazard = np.atleast_1d(_cumulative(_ages(age_years), fit.shape, fit.scale_years))
    far = hazard > 500.0
    near = np.where(far, 0.0, hazard)
    mean = np.exp(near) * fit.mean_years * gammaincc(1.0 / fit.shape, near)
    power = 1.0 / fit.shape - 1.0
    beyond = fit.scale_years / fit.shape * np.where(far, hazard, 1.0) ** power
    return np.asarray(np.where(far, beyond, mean).reshape(np.shape(age_years)))


def _cumulative(ages: Array, shape: Any, scale: Any) -> Any:
    return (ages / scale) ** shape


def _conditional(
    ages: Array, horizon: Any, shape: Any, scale: Any, ratio: Any = 1.0
) -> Array:
    gone = _cumulative(ages, shape, scale) - _cumulative(ages + horizon, shape, scale)
    return np.asarray(-np.expm1(ratio * gone))


def _ages(values: ArrayLike) -> Array:
    ages = np.asarray(values, dtype=float)
    if not np.all(np.isfinite(ages)) or np.any(ages < 0):
        raise DomainError(
            "An age or horizon is negative or not a number; give years from the day "
            "of installation."
        )
    return ages
