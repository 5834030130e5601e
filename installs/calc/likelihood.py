"""Log-likelihood of the two-parameter Weibull life, with its first two derivatives.

Parameters are u = log(shape) and v = log(scale), so that neither can turn negative and
intervals come out positive. With H(x) = (x / scale) ** shape, a life contributes

==================  ===========================================
failed at t         log h(t) - H(t) + H(entry)
working at t        - H(t) + H(entry)
failed in (lo, hi]  log(S(lo) - S(hi)) + H(entry)
==================  ===========================================

H(entry) is there because a life that ended before watching began could not have been
seen (delayed entry). Reference: Meeker & Escobar, Statistical Methods for Reliability
Data, Wiley 1998, chapters 7, 8 and 11 (from memory); Lawless, Statistical Models and
Methods for Lifetime Data, 2nd ed., 2003, section 2.4 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from installs.calc.types import Life, LifePrior

Array = NDArray[np.float64]

_LOG_LOG_2 = math.log(math.log(2.0))


@dataclass(frozen=True)
class Terms:
    """A value with its gradient (2,) and Hessian (2, 2) in (u, v)."""

    value: float
    gradient: Array
    hessian: Array

    def __add__(self, other: Terms) -> Terms:
        """The sum, part by part."""
        return Terms(
            self.value + other.value,
            self.gradient + other.gradient,
            self.hessian + other.hessian,
        )


@dataclass(frozen=True)
class LifeData:
    """Lives as arrays of log ages, sorted by what is known of them.

    ``log_failed`` exact failures, ``log_exit`` exits of exact and censored lives,
    ``log_entry`` entries above zero, ``log_low`` and ``log_high`` brackets.
    """

    log_failed: Array
    log_exit: Array
    log_entry: Array
    log_low: Array
    log_high: Array

    @classmethod
    def of(cls, lives: Sequence[Life]) -> LifeData:
        """Sort the lives; a censored life that was never watched adds nothing."""
        exact = [life.point_age_years for life in lives if _is_exact(life)]
        working = [life.age_years for life in lives if not life.failed]
        bracketed = [life for life in lives if life.is_bracketed]
        return cls(
            log_failed=_log(exact),
            log_exit=_log([*exact, *(age for age in working if age > 0)]),
            log_entry=_log(
                [life.entry_age_years for life in lives if life.entry_age_years > 0]
            ),
            log_low=_log([life.low_years or 0.0 for life in bracketed]),
            log_high=_log([life.high_years or 0.0 for life in bracketed]),
        )

    @property
    def n_failures(self) -> int:
        """Failures, exact and bracketed."""
        return self.log_failed.size + self.log_high.size

    def scaled(self, log_factor: float) -> LifeData:
        """The same lives with every age divided by exp(log_factor)."""
        return LifeData(
            self.log_failed - log_factor,
            self.log_exit - log_factor,
            self.log_entry - log_factor,
            self.log_low - log_factor,
            self.log_high - log_factor,
        )


def _is_exact(life: Life) -> bool:
    return life.failed and not life.is_bracketed


def _log(ages: Sequence[float]) -> Array:
    with np.errstate(divide="ignore"):
        return np.log(np.asarray(ages, dtype=float))


def log_likelihood(data: LifeData, u: float, v: float) -> Terms:
    """Log-likelihood of the lives at u = log shape, v = log scale.

    Parameters
    ----------
    data
        The lives; the value contains the -log t terms of the density, so it is the
        log-likelihood of ages in the unit that ``data`` is in.
    u, v
        Parameters.

    Returns
    -------
    Terms
        Value, gradient and Hessian.
    """
    shape = math.exp(u)
    z = shape * (data.log_failed - v)
    n = z.size
    value = n * u + float(np.sum(z - data.log_failed))
    gradient = np.array([n + float(np.sum(z)), -n * shape])
    hessian = np.array([[float(np.sum(z)), -n * shape], [-n * shape, 0.0]])
    exact = Terms(value, gradient, hessian)
    whole = exact + _summed(data.log_exit, shape, v, -1.0)
    whole = whole + _summed(data.log_entry, shape, v, 1.0)
    return whole + _bracketed(data, shape, v) if data.log_high.size else whole


def _hazard_parts(log_age: Array, shape: float, v: float) -> tuple[Array, Array, Array]:
    """H, its gradient (2, n) and its Hessian entries uu, uv, vv (3, n)."""
    with np.errstate(invalid="ignore"):
        # H beyond exp(200) is as impossible as H there, and its squares stay finite.
        z = np.minimum(shape * (log_age - v), 200.0)
        hazard = np.exp(z)
        h_z = np.where(np.isneginf(z), 0.0, hazard * z)
        h_zz = np.where(np.isneginf(z), 0.0, hazard * z * z)
    first = np.array([h_z, -shape * hazard])
    second = np.array([h_zz + h_z, -shape * (hazard + h_z), shape * shape * hazard])
    return hazard, first, second


def _square(entries: Array) -> Array:
    uu, uv, vv = entries
    return np.array([[uu, uv], [uv, vv]])


def _summed(log_age: Array, shape: float, v: float, sign: float) -> Terms:
    hazard, first, second = _hazard_parts(log_age, shape, v)
    return Terms(
        sign * float(np.sum(hazard)),
        sign * np.sum(first, axis=1),
        sign * _square(np.sum(second, axis=1)),
    )


def _bracketed(data: LifeData, shape: float, v: float) -> Terms:
    """log(S(lo) - S(hi)) = -H(lo) + log(1 - exp(-(H(hi) - H(lo))))."""
    low, low_1, low_2 = _hazard_parts(data.log_low, shape, v)
    high, high_1, high_2 = _hazard_parts(data.log_high, shape, v)
    gap, gap_1, gap_2 = high - low, high_1 - low_1, high_2 - low_2
    # A bracket without probability gives -inf, which a search steps back from.
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        rate = 1.0 / np.expm1(gap)
        log_share = np.log(-np.expm1(-gap))
        curve = -rate * (1.0 + rate)
        outer = np.array([gap_1[0] ** 2, gap_1[0] * gap_1[1], gap_1[1] ** 2])
        return Terms(
            float(np.sum(-low + log_share)),
            np.sum(-low_1 + rate * gap_1, axis=1),
            _square(np.sum(-low_2 + rate * gap_2 + curve * outer, axis=1)),
        )


def log_prior(prior: LifePrior, u: float, v: float) -> Terms:
    """Log density (without its constant) of the prior on shape and median life.

    The median is scale * log(2) ** (1 / shape), so log median = v + exp(-u) log log 2.
    """
    shape_off = (u - math.log(prior.shape)) / prior.log_shape_sd
    bend = _LOG_LOG_2 * math.exp(-u)
    off = v + bend - math.log(prior.median_years)
    weight = prior.log_median_sd**-2
    slope = np.array([-bend, 1.0])
    hessian = -weight * (np.outer(slope, slope) + off * np.diag([bend, 0.0]))
    hessian[0, 0] -= prior.log_shape_sd**-2
    return Terms(
        -0.5 * shape_off**2 - 0.5 * weight * off**2,
        -weight * off * slope - np.array([shape_off / prior.log_shape_sd, 0.0]),
        hessian,
    )
