"""The change-point chart: has the level moved, anywhere since the calibration?

Each week, the weeks so far are cut in two at every place that leaves enough on either
side, and the two means are compared. The chart signals when the greatest of these
contrasts passes its limit. A CUSUM holds every week against a baseline of the first
weeks and carries that baseline's error on for ever; here the whole quiet stretch
before the cut is the baseline, so it grows more certain as weeks come in, and the cut
that wins is also the estimate of the date.

The variance of a contrast allows for autocorrelated weeks, exactly for a first-order
autoregressive series, and spread and correlation are those known at that week without
the last four, so that a fresh shift is not taken for scatter.

References
----------
Hawkins, Qiu and Kang, The changepoint model for statistical process control, Journal of
Quality Technology 35, 2003 (from memory). The limit and its rate of false alarms are
our own, measured: :mod:`quality.calc.false_alarms`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr, stdtrit

from quality.calc.week_spread import LARGEST_PHI, SpreadPrior, Spreads, spreads_so_far

LEAST_BEFORE = 8
LEAST_AFTER = 2
SPREAD_LAG_WEEKS = 6
LIMIT = 3.85
"""Limit of the greatest contrast, as a standard normal score: at most 5 % of lanes
signal falsely in a year at a correlation of 0.4 (measured)."""


@dataclass(frozen=True)
class DriftChart:
    """The chart of one stretch of weeks.

    Attributes
    ----------
    score : (n,)
        Greatest contrast of each week, signed, in its own standard errors; NaN before
        there are enough weeks.
    limit : (n,)
        What it is held against: the t value of the same tail as the normal limit, for
        the degrees of freedom of that week.
    cut : (n,)
        Place of the first week after the winning cut; −1 where there is none.
    signal
        Place of the first week beyond the limit, or None.
    spreads
        Spread as known at each week.
    """

    score: np.ndarray
    limit: np.ndarray
    cut: np.ndarray
    signal: int | None
    spreads: Spreads


def drift_chart(
    values: np.ndarray,
    *,
    prior: SpreadPrior | None = None,
    limit: float = LIMIT,
    spreads: Spreads | None = None,
) -> DriftChart:
    """Chart one stretch of weekly values since a calibration or an earlier shift.

    Parameters
    ----------
    values : (n,)
        Weekly values in time order, finite, any unit.
    prior
        What other lanes show of spread and correlation.
    limit
        Limit as a standard normal score.
    spreads
        Spread as known at each week, where it was computed on a longer series.

    Raises
    ------
    ValueError
        When a value is not finite.
    """
    values = np.asarray(values, dtype=np.float64)
    if not np.isfinite(values).all():
        raise ValueError("values must be finite; leave out weeks without data")
    if spreads is None:
        spreads = spreads_so_far(values, prior)
    score, cut = contrasts(values, spreads)
    used = known_before(len(values))
    df = spreads.df[used] if len(values) else spreads.df
    edge = np.full(len(values), np.nan)
    ready = np.isfinite(df)
    edge[ready] = stdtrit(df[ready], float(ndtr(limit)))
    with np.errstate(invalid="ignore"):
        over = np.flatnonzero(np.abs(score) > edge)
    signal = int(over[0]) if len(over) else None
    return DriftChart(score, edge, cut, signal, spreads)


def known_before(n: int) -> np.ndarray:
    """Place of the week whose spread is used at each of ``n`` weeks."""
    places = np.maximum(np.arange(n) - SPREAD_LAG_WEEKS, LEAST_BEFORE - 1)
    return np.minimum(places, max(n - 1, 0))


def contrasts(values: np.ndarray, spreads: Spreads) -> tuple[np.ndarray, np.ndarray]:
    """Greatest contrast and its cut at each week.

    Parameters
    ----------
    values : (n,)
        Weekly values.
    spreads
        Spread as known at each week.

    Returns
    -------
    score : (n,)
        Signed contrast in standard errors; NaN before there are enough weeks.
    cut : (n,)
        First week after the cut; −1 before there are enough weeks.
    """
    n = len(values)
    score, cut = np.full(n, np.nan), np.full(n, -1)
    first = LEAST_BEFORE + LEAST_AFTER - 1
    if n <= first:
        return score, cut
    sums = np.cumsum(values - values[0])
    used = known_before(n)[first:]
    sd = spreads.sd[used]
    row = np.rint(100 * spreads.phi[used]).astype(np.int64)
    alone, shared = (table[row] for table in _mean_variances(-(-n // 64) * 64))
    looks = np.arange(first, n)
    before = np.arange(LEAST_BEFORE, n - LEAST_AFTER + 1)
    after = looks[:, None] + 1 - before
    possible = after >= LEAST_AFTER
    after = np.maximum(after, 1)
    line = np.arange(len(looks))[:, None]
    left = sums[before - 1]
    variance = alone[:, before] + alone[line, after]
    variance -= (0.02 * row)[:, None] * shared[:, before] * shared[line, after]
    gap = (sums[looks, None] - left) / after - left / before
    size = np.where(possible, gap * gap / variance, -1.0)
    best = np.argmax(size, axis=1)
    top = np.sqrt(np.maximum(size[line[:, 0], best], 0.0))
    way = np.sign(gap[line[:, 0], best])
    with np.errstate(invalid="ignore", divide="ignore"):
        score[looks] = np.where(top > 0, way * top / sd, 0.0)
    cut[looks] = best + LEAST_BEFORE
    return score, cut


_GRID = round(100 * LARGEST_PHI) + 1


@lru_cache(maxsize=4)
def _mean_variances(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Variance of a mean of m weeks, and what neighbouring means share, by φ and m.

    Rows are φ in steps of 0.01, columns m from 0 to n, for a spread of 1. The
    covariance of the means of a and b weeks side by side is φ·g(a)·g(b), with g the
    second array.
    """
    phi = np.arange(_GRID)[:, None] / 100.0
    m = np.maximum(np.arange(n + 1), 1)[None, :]
    reach = (1.0 - phi**m) / (1.0 - phi)
    alone = ((1 + phi) / (1 - phi) - 2 * phi * reach / (m * (1 - phi))) / m
    shared = reach / m
    alone.flags.writeable = shared.flags.writeable = False
    return alone, shared
