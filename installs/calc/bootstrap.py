"""What the lives leave open about their curve, by parametric bootstrap.

Lives are drawn again from the fitted curve, under the same ages at entry and the same
plan of watching, and the curve is refitted to each redrawn set. All sets are refitted
at once: Newton's method on (log shape, log scale), one row a set.

Where the curve rests on a prior, each refit holds to a prior whose centre is itself
drawn from the prior ("randomise, then optimise"): for a normal likelihood the refits
are then draws from the posterior, and without lives they spread as the prior does. A
prior held still would make every refit agree with it and the bands too narrow.

References
----------
Davison & Hinkley, Bootstrap Methods and their Application, Cambridge 1997, section 3.5
(censored data); Meeker & Escobar, Statistical Methods for Reliability Data, Wiley 1998,
chapter 9 (both from memory); Bardsley, Solonen, Haario & Laine, SIAM J. Sci. Comput. 36
(2014) A1895-A1910 (randomise, then optimise; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from installs.calc.likelihood import Array
from installs.calc.types import Life, LifePrior, WeibullFit

#: Refits behind an interval.
N_REFITS = 200
#: Same lives, same refits.
SEED = 20_111
#: A set with fewer failures than this cannot be refitted without a prior.
_LEAST_FAILURES = 3
_LOG_LOG_2 = math.log(math.log(2.0))
_CHUNK = 2_000_000


def with_refits(
    fit: WeibullFit,
    lives: Sequence[Life],
    *,
    n_refits: int = N_REFITS,
    rng: np.random.Generator | None = None,
) -> WeibullFit:
    """The same curve, carrying the refits that its intervals are taken from.

    Parameters
    ----------
    fit
        Curve fitted to the lives.
    lives
        The lives it was fitted to. ``until_years`` says how long a failed one would
        have been watched; where that is not known it is drawn from how long the others
        were watched.
    n_refits
        Number of redrawn sets.
    rng
        Seeded generator; :data:`SEED` by default.
    """
    rng = rng or np.random.default_rng(SEED)
    logs = refits(fit, lives, n_refits=n_refits, rng=rng)
    return replace(fit, refits=tuple((float(u), float(v)) for u, v in logs))


def refits(
    fit: WeibullFit,
    lives: Sequence[Life],
    *,
    n_refits: int = N_REFITS,
    rng: np.random.Generator,
) -> Array:
    """(log shape, log scale) of each refit, shape (m, 2), m at most ``n_refits``.

    Sets in which fewer than three fail are left out unless there is a prior; so are
    sets whose refit does not settle.
    """
    plan = _Plan.of(lives)
    log_unit = math.log(fit.scale_years)
    at_once = max(1, _CHUNK // max(len(lives), 1))
    found = []
    for begin in range(0, n_refits, at_once):
        size = min(at_once, n_refits - begin)
        sets = plan.redrawn(fit, size, rng)
        centres = _centres(fit.prior, log_unit, size, rng)
        parameters, settled = _maxima(sets, centres, math.log(fit.shape))
        enough = (sets.n_failures >= _LEAST_FAILURES) | (fit.prior is not None)
        found.append(parameters[settled & enough])
    logs = np.concatenate(found)
    logs[:, 1] += log_unit
    return logs


@dataclass(frozen=True)
class _Centres:
    """Centres of the prior by set, in units of the scale, and its spreads."""

    log_shape: Array
    log_median: Array
    log_shape_sd: float
    log_median_sd: float


def _centres(
    prior: LifePrior | None, log_unit: float, size: int, rng: np.random.Generator
) -> _Centres | None:
    if prior is None:
        return None
    off = rng.standard_normal((2, size))
    return _Centres(
        math.log(prior.shape) + prior.log_shape_sd * off[0],
        math.log(prior.median_years) - log_unit + prior.log_median_sd * off[1],
        prior.log_shape_sd,
        prior.log_median_sd,
    )


@dataclass(frozen=True)
class _Sets:
    """Redrawn lives in log ages: one row a set, one column a life.

    ``log_low`` and ``log_high`` are of the lives under inspection; where such a life
    did not fail its row has an empty bracket at its last good age (``bracketed``
    false) and the life counts as working.
    """

    log_exit: Array
    failed: Array
    log_entry: Array
    log_low: Array
    log_high: Array
    bracketed: NDArray[np.bool_]

    @property
    def n_failures(self) -> Array:
        return np.asarray(self.failed.sum(axis=1) + self.bracketed.sum(axis=1))


@dataclass(frozen=True)
class _Plan:
    """How each life was watched; ``until`` is NaN where that is not known."""

    entry: Array
    until: Array
    ended: Array
    every: Array
    watched_for: Array

    @classmethod
    def of(cls, lives: Sequence[Life]) -> _Plan:
        kept = [life for life in lives if life.failed or life.age_years > 0]
        until = [
            life.until_years
            if life.until_years is not None
            else (math.nan if life.failed else life.age_years)
            for life in kept
        ]
        every = [
            (life.high_years or 0.0) - (life.low_years or 0.0)
            if life.is_bracketed
            else 0.0
            for life in kept
        ]
        return cls(
            entry=np.array([life.entry_age_years for life in kept]),
            until=np.array(until, dtype=float),
            ended=np.array([life.point_age_years for life in kept]),
            every=np.array(every),
            watched_for=np.sort(
                [life.age_years for life in kept if not life.failed and life.age_years]
            ),
        )

    def redrawn(self, fit: WeibullFit, size: int, rng: np.random.Generator) -> _Sets:
        """Sets of lives from the curve, ages in units of its scale."""
        shape, scale = fit.shape, fit.scale_years
        at_entry = (self.entry / scale) ** shape
        drawn = rng.standard_exponential((size, self.entry.size))
        age = (at_entry + drawn) ** (1.0 / shape)
        until = self._until(size, rng) / scale
        fails = age <= until
        inspected = self.every > 0
        every = self.every[inspected] / scale
        entry = self.entry / scale
        low = np.maximum(np.floor(age[:, inspected] / every) * every, entry[inspected])
        high = low + every
        exits = np.minimum(age, until)
        bracketed = fails[:, inspected]
        # A bracketed failure says nothing beyond its bracket: no exit of its own.
        exits[:, inspected] = np.where(bracketed, 0.0, exits[:, inspected])
        fails = fails & ~inspected
        with np.errstate(divide="ignore"):
            return _Sets(
                np.log(exits),
                fails.astype(float),
                np.log(entry[entry > 0]),
                np.log(np.where(bracketed, low, 0.5)),
                np.log(np.where(bracketed, high, 1.0)),
                bracketed,
            )

    def _until(self, size: int, rng: np.random.Generator) -> Array:
        """Ages to which the lives are watched, (size, n) or (n,) where all are known.

        Of a failed life it is only known that it was watched beyond its failure: one
        of the longer watches is taken at random, or the longest there was.
        """
        unknown = np.flatnonzero(np.isnan(self.until))
        if not unknown.size:
            return self.until
        longest = float(self.ended.max())
        first = np.searchsorted(self.watched_for, self.ended[unknown])
        longer = self.watched_for.size - first
        pick = first + np.floor(rng.random((size, unknown.size)) * longer).astype(int)
        pool = np.append(self.watched_for, longest)
        until = np.tile(self.until, (size, 1))
        until[:, unknown] = np.where(longer > 0, pool[pick], longest)
        return until


@dataclass(frozen=True)
class _Heights:
    """Log-posterior of each set, its gradient (2, m) and Hessian uu, uv, vv (3, m)."""

    value: Array
    gradient: Array
    hessian: Array


def _maxima(
    sets: _Sets, centres: _Centres | None, start_u: float
) -> tuple[Array, NDArray[np.bool_]]:
    """Newton's method in all sets at once; a step that loses height is halved."""
    size = sets.log_exit.shape[0]
    here = np.tile([[start_u], [0.0]], (1, size))
    best = _heights(sets, centres, here)
    step = _newton_step(best)
    close = 1e-7 * (1.0 + sets.n_failures)
    settled = np.zeros(size, dtype=bool)
    for _ in range(60):
        settled = np.all(np.abs(best.gradient) < close, axis=0)
        if settled.all():
            break
        step[:, settled] = 0.0
        there = _heights(sets, centres, here + step)
        slack = 1e-10 * (1.0 + np.abs(best.value))
        risen = there.value >= best.value - slack
        risen &= np.isfinite(there.hessian).all(axis=0)
        here = np.where(risen, here + step, here)
        best = _Heights(
            np.where(risen, there.value, best.value),
            np.where(risen, there.gradient, best.gradient),
            np.where(risen, there.hessian, best.hessian),
        )
        step = np.where(risen, _newton_step(best), step / 2.0)
    return here.T, settled


def _newton_step(at: _Heights) -> Array:
    """Steps uphill, at most 1 long; where a set is not concave, up its gradient."""
    uu, uv, vv = at.hessian
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        det = uu * vv - uv * uv
        newton = -np.array(
            [
                (vv * at.gradient[0] - uv * at.gradient[1]) / det,
                (uu * at.gradient[1] - uv * at.gradient[0]) / det,
            ]
        )
    concave = (uu < 0) & (det > 0) & np.isfinite(newton).all(axis=0)
    size = np.linalg.norm(at.gradient, axis=0)
    uphill = at.gradient / np.maximum(size, 1e-300)
    step = np.where(concave, newton, 0.3 * uphill)
    return np.asarray(step / np.maximum(1.0, np.linalg.norm(step, axis=0)))


def _heights(sets: _Sets, centres: _Centres | None, at: Array) -> _Heights:
    u, v = at
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        shape = np.exp(u)
        z = shape[:, None] * (sets.log_exit - v[:, None])
        zd = np.sum(np.where(sets.failed > 0, z, 0.0), axis=1)
        n = sets.failed.sum(axis=1)
        logs = np.sum(np.where(sets.failed > 0, sets.log_exit, 0.0), axis=1)
        value = n * u + zd - logs
        gradient = np.array([n + zd, -n * shape])
        hessian = np.array([zd, -n * shape, np.zeros_like(u)])
        for log_age, sign in ((sets.log_exit, -1.0), (sets.log_entry[None, :], 1.0)):
            added = _cumulative_sums(log_age, shape, v)
            value += sign * added[0]
            gradient += sign * added[1:3]
            hessian += sign * added[3:]
        whole = _Heights(value, gradient, hessian)
        if sets.bracketed.size:
            whole = _plus(whole, _brackets(sets, shape, v))
        return whole if centres is None else _plus(whole, _priors(centres, u, v))


def _plus(one: _Heights, other: _Heights) -> _Heights:
    return _Heights(
        one.value + other.value,
        one.gradient + other.gradient,
        one.hessian + other.hessian,
    )


def _cumulative_sums(log_age: Array, shape: Array, v: Array) -> Array:
    """Sums over a set of H and its u, v, uu, uv, vv derivatives, shape (6, m)."""
    z = shape[:, None] * (log_age - v[:, None])
    # An age of zero has no hazard behind it, whatever the parameters.
    np.clip(z, -700.0, 200.0, out=z)
    hazard = np.exp(z)
    hz = hazard * z
    h, h_z = hazard.sum(axis=1), hz.sum(axis=1)
    h_zz = np.einsum("ij,ij->i", hz, z)
    return np.array(
        [h, h_z, -shape * h, h_zz + h_z, -shape * (h + h_z), shape * shape * h]
    )


def _brackets(sets: _Sets, shape: Array, v: Array) -> _Heights:
    """log(S(low) - S(high)) = -H(low) + log(1 - exp(-(H(high) - H(low))))."""
    low, high = (
        _hazard_parts(log_age, shape, v) for log_age in (sets.log_low, sets.log_high)
    )
    gap = high - low
    rate = 1.0 / np.expm1(gap[0])
    curve = -rate * (1.0 + rate)
    outer = np.array([gap[1] ** 2, gap[1] * gap[2], gap[2] ** 2])
    every = np.concatenate(
        [
            (-low[0] + np.log(-np.expm1(-gap[0])))[None],
            -low[1:3] + rate * gap[1:3],
            -low[3:] + rate * gap[3:] + curve * outer,
        ]
    )
    summed = np.where(sets.bracketed, every, 0.0).sum(axis=2)
    return _Heights(summed[0], summed[1:3], summed[3:])


def _hazard_parts(log_age: Array, shape: Array, v: Array) -> Array:
    k = shape[:, None]
    z = np.clip(k * (log_age - v[:, None]), -700.0, 200.0)
    h = np.exp(z)
    hz = h * z
    return np.array([h, hz, -k * h, hz * z + hz, -k * (h + hz), k * k * h])


def _priors(centres: _Centres, u: Array, v: Array) -> _Heights:
    """Log density of the drawn priors, as in ``likelihood.log_prior``."""
    shape_weight, weight = centres.log_shape_sd**-2, centres.log_median_sd**-2
    shape_off = u - centres.log_shape
    bend = _LOG_LOG_2 * np.exp(-u)
    off = v + bend - centres.log_median
    return _Heights(
        -0.5 * shape_weight * shape_off**2 - 0.5 * weight * off**2,
        np.array([weight * off * bend - shape_weight * shape_off, -weight * off]),
        np.array(
            [
                -weight * (bend**2 + off * bend) - shape_weight,
                weight * bend,
                np.full_like(u, -weight),
            ]
        ),
    )
