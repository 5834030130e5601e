"""How a lane's gross-weight bias wanders between calibration sessions.

Between sessions the bias is a random walk with drift; a calibration sets it anew; what
a session's trucks show is the bias, the effect of the pavement's temperature that day,
and error:

    b(t + h) = b(t) + d h + N(0, w² h)
    found    = b(t) + g (T − T0) + N(0, se² + s²)
    b(t)     ~ N(0, u²) anew at an adjustment or after works, then
    left     = b(t) + g (T − T0) + N(0, se² + s²)

Wander w, drift d and temperature effect g are shared by all lanes of one technology, on
which a prior is put (few sessions: the prior speaks). Given w everything is linear and
Gaussian, so the Kalman filter gives the likelihood exactly, and carrying the filter for
the coefficients of (d, g) along integrates these two out in closed form; log w is
then integrated on a grid about its most likely value. Forecasts are the mixture over
that grid, so they hold what the sessions leave open about all three parameters, without
random draws.

Left out on purpose: that the trucks of one session share their error between as-found
and as-left; wander and drift of single lanes (a lane unlike its kind is flagged by
``misfit_p``).

References
----------
Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, Cambridge
1989, sections 3.2 to 3.4; de Jong, "The diffuse Kalman filter", Annals of Statistics 19
(1991) 1073-1083, for carrying regression coefficients (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize_scalar
from scipy.special import ndtr
from scipy.stats import chi2

from calibration.calc.bias_filter import Filtered, Steps, run_filter, steps_of
from calibration.calc.bias_types import (
    BiasWalk,
    Estimate,
    FloatArray,
    LaneEnd,
    LaneSessions,
    WalkPrior,
    counted,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

#: Grid of log wander: steps of 0.75 standard deviation, so many below the mode and
#: above it. The density falls more slowly to the left, where wander is next to nothing.
_GRID_STEP = 0.75
_GRID_BELOW, _GRID_ABOVE = 14, 10


def fit_bias_walk(
    lanes: Sequence[LaneSessions],
    *,
    technology: str,
    prior: WalkPrior | None = None,
    reference_temp_c: float | None = None,
    level: float = 0.90,
) -> BiasWalk:
    """Fit wander, drift and temperature effect to the sessions of one technology.

    Parameters
    ----------
    lanes
        The lanes; those without sessions are kept for the forecast.
    technology
        Name of the technology, for the sentences.
    prior
        What is believed beforehand; by default :class:`WalkPrior`.
    reference_temp_c
        Temperature at which biases are given [°C]; by default the mean over sessions.
    level
        Level of the intervals of the parameters.

    Returns
    -------
    BiasWalk
        With no session at all it is the prior.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When two lanes have one key, or the level is none.
    """
    if not 0.0 < level < 1.0:
        raise DomainError(f"A level must lie between 0 and 1, not {level}.")
    keys = [lane.key for lane in lanes]
    if len(set(keys)) < len(keys):
        raise DomainError("Two lanes were given under one key; each has its own.")
    prior = prior or WalkPrior()
    if reference_temp_c is None:
        reference_temp_c = _mean_temp_c(lanes)
    steps = steps_of(lanes, prior, reference_temp_c)

    def negative(log_wander: float) -> float:
        return -float(_log_posterior(steps, prior, np.array([log_wander]))[0][0])

    start = math.log(prior.wander_pct)
    best = minimize_scalar(
        negative, bracket=(start, start - prior.log_wander_sd / 2.0), tol=1e-6
    )
    mode = float(best.x)
    curve = 1e-3
    bend = negative(mode + curve) + negative(mode - curve) - 2.0 * float(best.fun)
    spread = min(1.0 / math.sqrt(max(bend, 1e-12)) * curve, prior.log_wander_sd)
    points = np.arange(-_GRID_BELOW, _GRID_ABOVE + 1, dtype=np.float64)
    grid: FloatArray = mode + _GRID_STEP * spread * points
    log_density, effect_mean, effect_covariance, filtered = _log_posterior(
        steps, prior, grid
    )
    weights = np.exp(log_density - log_density.max())
    weights /= weights.sum()
    ends = _lane_ends(lanes, steps, filtered, effect_mean, prior)
    mean = float(weights @ grid)
    log_sd = math.sqrt(float(weights @ (grid - mean) ** 2))
    with_sessions = [lane for lane in lanes if lane.sessions]
    n_intervals = int(steps.tells.sum())
    walk = BiasWalk(
        technology=technology,
        prior=prior,
        reference_temp_c=reference_temp_c,
        wander=_wander_estimate(mode, grid, log_density, log_sd, level),
        drift=_effect_estimate(weights, effect_mean, effect_covariance, 0, level),
        temperature=_effect_estimate(weights, effect_mean, effect_covariance, 1, level),
        n_lanes=len(with_sessions),
        n_sessions=sum(len(lane.sessions) for lane in with_sessions),
        n_intervals=n_intervals,
        prior_share=min((log_sd / prior.log_wander_sd) ** 2, 1.0)
        if n_intervals
        else 1.0,
        sentence="",
        wander_grid_pct=np.exp(grid),
        weights=weights,
        effect_mean=effect_mean,
        effect_covariance=effect_covariance,
        lanes=ends,
    )
    object.__setattr__(walk, "sentence", _sentence(walk))
    return walk


def _mean_temp_c(lanes: Sequence[LaneSessions]) -> float | None:
    temps = [
        temp
        for lane in lanes
        for one in lane.sessions
        for temp in (one.found_temp_c, one.left_temp_c)
        if temp is not None
    ]
    return float(np.mean(temps)) if temps else None


def _log_posterior(
    steps: Steps, prior: WalkPrior, log_wander: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, Filtered]:
    """Log posterior of log wander, (d, g) integrated out; then (d, g) given wander."""
    filtered = run_filter(steps, np.exp(log_wander), prior.unknown_sd_pct)
    before = np.array([prior.drift_pct_per_year, prior.temperature_pct_per_c])
    precision = np.diag([prior.drift_sd**-2.0, prior.temperature_sd**-2.0])
    after = precision + filtered.gram.sum(axis=1)
    covariance = np.linalg.inv(after)
    pull = precision @ before + filtered.cross.sum(axis=1)
    mean = np.einsum("gij,gj->gi", covariance, pull)
    likelihood = -0.5 * (
        (filtered.log_f + filtered.ss).sum(axis=1)
        + before @ precision @ before
        - np.einsum("gi,gi->g", mean, pull)
        + np.linalg.slogdet(after)[1]
        - np.linalg.slogdet(precision)[1]
    )
    off = (log_wander - math.log(prior.wander_pct)) / prior.log_wander_sd
    return likelihood - 0.5 * off**2, mean, covariance, filtered


def _lane_ends(
    lanes: Sequence[LaneSessions],
    steps: Steps,
    filtered: Filtered,
    effect_mean: FloatArray,
    prior: WalkPrior,
) -> tuple[LaneEnd, ...]:
    middle = _GRID_BELOW
    effects = effect_mean[middle]
    wild = (
        filtered.wander_ss[middle]
        - 2.0 * filtered.wander_cross[middle] @ effects
        + (filtered.wander_gram[middle] @ effects) @ effects
    )
    told = steps.tells.sum(axis=0)
    ends = []
    for i, lane in enumerate(lanes):
        last = lane.sessions[-1].held_on if lane.sessions else None
        broken = [day for day in lane.broken_on if last is None or day > last]
        n = int(told[i]) if told.size else 0
        ends.append(
            LaneEnd(
                key=lane.key,
                last_on=None if broken else last,
                broken_on=max(broken, default=None),
                n_sessions=len(lane.sessions),
                n_intervals=n,
                misfit_p=float(chi2.sf(wild[i], n)) if n else None,
                mean=filtered.mean[:, i],
                variance=filtered.variance[:, i],
                effect=filtered.effect[:, i],
            )
        )
    return tuple(ends)


def _wander_estimate(
    mode: float, grid: FloatArray, log_density: FloatArray, log_sd: float, level: float
) -> Estimate:
    """Mode, spread and equal-tailed interval of the posterior of wander."""
    fine = np.linspace(grid[0], grid[-1], 4001)
    density = np.exp(CubicSpline(grid, log_density - log_density.max())(fine))
    below = np.cumsum(density) / density.sum()
    low, high = np.interp([0.5 - level / 2.0, 0.5 + level / 2.0], below, fine)
    return Estimate(
        value=math.exp(mode),
        sd=math.exp(mode) * log_sd,
        interval=Interval(math.exp(low), math.exp(high), level),
    )


def _effect_estimate(
    weights: FloatArray, mean: FloatArray, covariance: FloatArray, i: int, level: float
) -> Estimate:
    low, high = mixture_interval(
        weights[:, None], mean[:, i, None], np.sqrt(covariance[:, i, i, None]), level
    )
    middle = float(weights @ mean[:, i])
    variance = float(weights @ (covariance[:, i, i] + (mean[:, i] - middle) ** 2))
    return Estimate(
        middle, math.sqrt(variance), Interval(float(low[0]), float(high[0]), level)
    )


def mixture_interval(
    weights: FloatArray, mean: FloatArray, sd: FloatArray, level: float
) -> tuple[FloatArray, FloatArray]:
    """Equal-tailed interval of a mixture of normals, column by column.

    Parameters
    ----------
    weights, mean, sd
        Shape (G, m); weights sum to 1 down each column.
    level
        Level of the interval.

    Returns
    -------
    tuple of numpy.ndarray
        Low and high, shape (m,), by bisection.
    """
    ends = []
    for target in (0.5 - level / 2.0, 0.5 + level / 2.0):
        low = np.min(mean - 9.0 * sd, axis=0)
        high = np.max(mean + 9.0 * sd, axis=0)
        for _ in range(45):
            middle = (low + high) / 2.0
            under = np.sum(weights * ndtr((middle - mean) / sd), axis=0) < target
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        ends.append((low + high) / 2.0)
    return ends[0], ends[1]


def _sentence(walk: BiasWalk) -> str:
    def told(one: Estimate, digits: int) -> str:
        span = one.interval
        return (
            f"{format_number(one.value, digits)} "
            f"({span.level * 100:g} % interval {format_number(span.low, digits)} to "
            f"{format_number(span.high, digits)})"
        )

    if not walk.n_intervals:
        return (
            f"No interval between two sessions of {walk.technology} lanes tells yet "
            f"how their bias wanders; this is the expectation alone: {walk.prior.text}."
        )
    return (
        f"Gross-weight bias of {walk.technology} lanes wanders by "
        f"{told(walk.wander, 1)} % in a year, drifts by {told(walk.drift, 1)} % a year "
        f"and changes by {told(walk.temperature, 2)} % per °C of pavement temperature: "
        f"{counted(walk.n_intervals, 'interval')} between sessions of "
        f"{counted(walk.n_lanes, 'lane')}. Of "
        f"what is known of the wander the expectation brought "
        f"{walk.prior_share * 100:.0f} %: {walk.prior.text}."
    )
