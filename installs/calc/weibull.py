"""Weibull life curves from failed and censored lives.

By maximum likelihood (:func:`weibull_maximum_likelihood`), with a prior
(:func:`weibull_with_prior`), or with the shape taken as known. Which one a forecast
rests on is chosen by :func:`installs.calc.survival.fit_weibull`.

References
----------
NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3; Meeker & Escobar, Statistical
Methods for Reliability Data, Wiley 1998, chapters 8, 11 and 14 (from memory); fixed
shape: Nelson, "Weibull analysis of reliability data with few or no failures", Journal
of Quality Technology 17 (1985) 140-146 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2

from installs.calc.likelihood import Array, LifeData, Terms, log_likelihood, log_prior
from installs.calc.types import FitMethod, Life, LifePrior, WeibullFit
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval

#: Below this many failures a free shape means nothing, whatever an optimiser returns.
LEAST_FAILURES = 3
#: Failure ages that all lie within this share of their mean are taken as one event.
ONE_EVENT_FRAC = 0.02


def weibull_maximum_likelihood(lives: Sequence[Life]) -> WeibullFit:
    """Weibull curve by maximum likelihood.

    Takes exact, right-censored and bracketed failures and delayed entry. Standard
    errors come from the observed information in (log shape, log scale).

    Raises
    ------
    wimprog.lib.errors.DomainError
        With fewer than three failures, or when all failed at one age: the likelihood
        then has no useful maximum.
    """
    ages = failure_ages(lives)
    if len(ages) < LEAST_FAILURES:
        raise DomainError(
            f"{len(ages)} failures are too few to fit a life curve without a prior; "
            f"at least {LEAST_FAILURES} are needed. Give an expected life."
        )
    if is_one_event(ages):
        raise DomainError(
            f"All {len(ages)} failures happened at nearly one age "
            f"({min(ages):.2f} years); they cannot show how life is spread. Look for a "
            "common cause, and give an expected life."
        )
    return _fit(lives, None)


def weibull_with_prior(lives: Sequence[Life], prior: LifePrior) -> WeibullFit:
    """Weibull curve from the lives and a prior (posterior mode, Laplace covariance).

    Works with few failures, with none, and with no lives at all; the result names the
    prior. The mode is taken in (log shape, log scale).
    """
    fit = _fit(lives, prior)
    ages = failure_ages(lives)
    if len(ages) > 1 and is_one_event(ages):
        return replace(
            fit,
            notes=(
                f"All {len(ages)} failures happened at nearly one age "
                f"({min(ages):.2f} years): look for a common cause before trusting "
                "this curve.",
            ),
        )
    return fit


def shape_profile_interval(
    lives: Sequence[Life], fit: WeibullFit, *, level: float = 0.95
) -> Interval:
    """Profile-likelihood interval of the shape.

    Holds its level better than the standard error with few failures. For a fit with a
    prior, the prior is profiled along with the likelihood.
    """
    check_level(level)
    data, log_unit, prior = _scaled(lives, fit.prior)
    target = -_negative(data, prior, math.log(fit.shape), _v(fit, log_unit)).value
    drop = float(chi2.ppf(level, 1)) / 2.0

    def below(u: float) -> float:
        best = minimize_scalar(
            lambda v: _negative(data, prior, u, v).value,
            bracket=_profile_bracket(data, prior, u),
            tol=1e-10,
        )
        return target - drop + float(best.fun)

    middle = math.log(fit.shape)
    ends = [_crossing(below, middle, step) for step in (-0.25, 0.25)]
    return Interval(math.exp(ends[0]), math.exp(ends[1]), level)


def _crossing(below: Callable[[float], float], start: float, step: float) -> float:
    """Walk away from the maximum until the profile is below, then close in."""
    inner = start
    while below(inner + step) < 0:
        inner += step
        step *= 1.5
    return float(brentq(below, inner, inner + step, xtol=1e-9))


def _profile_bracket(
    data: LifeData, prior: LifePrior | None, u: float
) -> tuple[float, float]:
    """Two starting scales around the fixed-shape estimate."""
    shape = math.exp(u)
    ages = np.concatenate([data.log_exit, data.log_high])
    if data.n_failures:
        top = float(ages.max())
        total = float(np.sum(np.exp(shape * (ages - top))))
        v = top + math.log(total / data.n_failures) / shape
    else:
        v = math.log(prior.median_years) if prior else 0.0
    return v - 0.1, v + 0.1


def weibull_fixed_shape_scale(lives: Sequence[Life], shape: float) -> float:
    """Maximum-likelihood scale [years] when the shape is taken as known.

    (sum(exit ** shape - entry ** shape) / failures) ** (1 / shape). Brackets are taken
    at their middle.

    Raises
    ------
    wimprog.lib.errors.DomainError
        Without a failure: use :func:`weibull_fixed_shape_lower_scale`.
    """
    failures = sum(life.failed for life in lives)
    if not failures:
        raise DomainError("Without a failure only a lower bound of life can be given.")
    return float((_exposure(lives, shape) / failures) ** (1.0 / shape))


def weibull_fixed_shape_lower_scale(
    lives: Sequence[Life], shape: float, *, level: float = 0.95
) -> float:
    """One-sided lower bound of the scale [years] when the shape is taken as known.

    (2 sum(exit ** shape - entry ** shape) / chi2(level; 2 r + 2)) ** (1 / shape).
    """
    check_level(level)
    failures = sum(life.failed for life in lives)
    quantile = float(chi2.ppf(level, 2 * failures + 2))
    return float((2.0 * _exposure(lives, shape) / quantile) ** (1.0 / shape))


def _exposure(lives: Sequence[Life], shape: float) -> float:
    exits = np.array([life.point_age_years for life in lives])
    entries = np.array([life.entry_age_years for life in lives])
    return float(np.sum(exits**shape - entries**shape))


def failure_ages(lives: Sequence[Life]) -> list[float]:
    """Ages at failure [years]; the middle of the bracket where there is one."""
    return [life.point_age_years for life in lives if life.failed]


def is_one_event(ages: Sequence[float]) -> bool:
    """Whether all failures happened at nearly one age, as one cause would have it."""
    return bool(ages) and max(ages) - min(ages) <= ONE_EVENT_FRAC * float(np.mean(ages))


def _scaled(
    lives: Sequence[Life], prior: LifePrior | None
) -> tuple[LifeData, float, LifePrior | None]:
    """Lives and prior in units of a typical age, and the log of that unit."""
    ages = [life.point_age_years for life in lives if life.point_age_years > 0]
    if prior:
        ages.append(prior.median_years)
    log_unit = math.log(float(np.mean(ages)))
    if prior:
        prior = replace(prior, median_years=prior.median_years / math.exp(log_unit))
    return LifeData.of(lives).scaled(log_unit), log_unit, prior


def _v(fit: WeibullFit, log_unit: float) -> float:
    return math.log(fit.scale_years) - log_unit


def _negative(data: LifeData, prior: LifePrior | None, u: float, v: float) -> Terms:
    whole = log_likelihood(data, u, v)
    if prior:
        whole = whole + log_prior(prior, u, v)
    return Terms(-whole.value, -whole.gradient, -whole.hessian)


def _may_step(there: Terms, here: Terms) -> bool:
    """Whether a step may be taken; rounding may raise the value a little."""
    finite = bool(np.all(np.isfinite(there.hessian)))
    return finite and there.value <= here.value + 1e-9 * (1.0 + abs(here.value))


def _lowest(terms: Callable[[Array], Terms], start: Array, *, close: float) -> Array:
    """Newton's method with short steps; there are only two parameters.

    Where the curvature is not that of a minimum its sign is turned, a step is never
    longer than 1 (a factor e in shape or scale), and it is halved until the value is
    finite and does not rise.
    """
    x, here = start, terms(start)
    for _ in range(200):
        if np.all(np.abs(here.gradient) < close):
            return x
        sizes, axes = np.linalg.eigh(here.hessian)
        step = -axes @ ((axes.T @ here.gradient) / np.maximum(np.abs(sizes), 1e-8))
        step /= max(1.0, float(np.linalg.norm(step)))
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            there = terms(x + step)
            while not _may_step(there, here):
                step /= 2.0
                there = terms(x + step)
        x, here = x + step, there
    raise DomainError(
        "No life curve fits these lives: the search for the best one did not end. "
        "Check the dates, or give an expected life."
    )


def _fit(lives: Sequence[Life], prior: LifePrior | None) -> WeibullFit:
    data, log_unit, scaled_prior = _scaled(lives, prior)
    start_shape = prior.shape if prior else 1.5
    start = [
        math.log(start_shape),
        _profile_bracket(data, scaled_prior, math.log(start_shape))[0] + 0.1,
    ]
    near = _lowest(
        lambda x: _negative(data, scaled_prior, x[0], x[1]),
        np.array(start),
        close=1e-7 * (1.0 + data.n_failures),
    )
    best = _negative(data, scaled_prior, near[0], near[1])
    u, v = float(near[0]), float(near[1])
    covariance = np.linalg.inv(best.hessian)
    lives_alone = log_likelihood(data, u, v).value - data.log_failed.size * log_unit
    return WeibullFit(
        shape=math.exp(u),
        scale_years=math.exp(v + log_unit),
        log_covariance=(
            (float(covariance[0, 0]), float(covariance[0, 1])),
            (float(covariance[1, 0]), float(covariance[1, 1])),
        ),
        n_units=len(lives),
        n_failures=data.n_failures,
        method=FitMethod.WITH_PRIOR if prior else FitMethod.MAXIMUM_LIKELIHOOD,
        log_likelihood=lives_alone,
        prior=prior,
    )


def check_level(level: float) -> None:
    """Refuse a level of confidence that is none."""
    if not 0.0 < level < 1.0:
        raise DomainError(f"A level must lie between 0 and 1, not {level}.")
