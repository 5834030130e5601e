"""How weekly means scatter from week to week, and how alike neighbours are.

Sampling error is not the scatter of a lane: at 5,000 trucks it is 0.1 %, while
temperature and truck mix move the mean by several times that. So the spread comes from
the differences of neighbouring weeks, which a slow drift hardly enters and a step
enters once.

Few weeks tell little about the correlation of neighbours, and too small a value makes
every chart signal too often; so the estimate is drawn towards what other lanes show
(:func:`pool_spreads`), or towards a stated value of our own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

LARGEST_PHI = 0.7
MOVING_RANGE_FACTOR = 1.128
"""Mean range of two standard normal values (d2 for n = 2): 2/√π."""
MOVING_RANGE_DF = 0.62
"""Degrees of freedom per difference of an average moving range (from memory; the
coverage of the interval is checked by simulation)."""
PRIOR_PHI = 0.3
PRIOR_PHI_WEEKS = 30.0
"""Correlation of neighbouring weeks expected before any are seen, and the weeks it
counts for (own choice, no source; what it does is measured in MEASURED_DRIFT.md)."""
LONG_LAGS = (2, 3, 4)
LEAST_WEEKS = 4


@dataclass(frozen=True)
class SpreadPrior:
    """What is expected of a lane before its own weeks are seen.

    ``phi`` counts for ``phi_weeks`` weeks. ``sd`` [units of the data] counts for
    ``sd_df`` degrees of freedom; None where lanes are not expected to be alike.
    ``n_lanes`` lanes it was pooled from; 0 for our own choice.
    """

    phi: float = PRIOR_PHI
    phi_weeks: float = PRIOR_PHI_WEEKS
    sd: float | None = None
    sd_df: float = 0.0
    n_lanes: int = 0

    def in_units_of(self, level: float) -> SpreadPrior:
        """For values in the units of ``level``, where ``sd`` is in per cent of it."""
        if self.sd is None:
            return self
        return replace(self, sd=self.sd * level / 100.0)


@dataclass(frozen=True)
class Spread:
    """How weekly means scatter.

    ``sd`` is the standard deviation of one week [units of the data], ``phi`` the
    correlation of neighbouring weeks, ``df`` the degrees of freedom of ``sd``.
    """

    sd: float
    phi: float
    df: float

    @property
    def long_run_sd(self) -> float:
        """The spread that sums of many weeks show."""
        return self.sd * float(np.sqrt((1 + self.phi) / (1 - self.phi)))

    def mean_variance(self, n: int) -> float:
        """Variance of the mean of ``n`` weeks in a row, first-order autoregressive."""
        lags = np.arange(1, n)
        inflation = 1.0 + 2.0 * float(np.sum((1 - lags / n) * self.phi**lags))
        return self.sd**2 * inflation / n


@dataclass(frozen=True)
class Spreads:
    """The spread as it was known at each week: ``sd``, ``phi``, ``df``, each (n,).

    The first ``LEAST_WEEKS`` − 1 entries are NaN.
    """

    sd: np.ndarray
    phi: np.ndarray
    df: np.ndarray

    @property
    def long_run_sd(self) -> np.ndarray:
        """The spread that sums of many weeks show, at each week."""
        return self.sd * np.sqrt((1 + self.phi) / (1 - self.phi))


def week_spread(values: np.ndarray, prior: SpreadPrior | None = None) -> Spread:
    """Week-to-week spread of a series that may also drift.

    Parameters
    ----------
    values : (n,)
        Weekly means in time order, n at least 4.
    prior
        What other lanes show; our own choice when None.

    Raises
    ------
    ValueError
        With fewer than 4 weeks.

    Notes
    -----
    See :func:`spreads_so_far`, of which this is the last entry.
    """
    values = np.asarray(values, dtype=np.float64)
    if len(values) < LEAST_WEEKS:
        raise ValueError(
            f"at least {LEAST_WEEKS} weeks are needed for their spread, "
            f"got {len(values)}"
        )
    all_ = spreads_so_far(values, prior)
    return Spread(float(all_.sd[-1]), float(all_.phi[-1]), float(all_.df[-1]))


def spreads_so_far(values: np.ndarray, prior: SpreadPrior | None = None) -> Spreads:
    """Spread by the weeks up to and with each week.

    Parameters
    ----------
    values : (..., n)
        Weekly means in time order; leading axes are lanes.
    prior
        As in :func:`week_spread`.

    Notes
    -----
    The average moving range divided by 1.128 estimates sd·√(1 − φ). The mean absolute
    differences two, three and four weeks apart are larger by √((1 − φ^L)/(1 − φ)); φ is
    found from their average, drawn towards the prior by weeks, and held between 0 and
    0.7. Being made of differences, both are untouched by the level, hardly by a slow
    drift, and a single step enters one difference in n.
    """
    prior = prior or SpreadPrior()
    values = np.asarray(values, dtype=np.float64)
    n = values.shape[-1]
    weeks = np.arange(1, n + 1, dtype=np.float64)
    near = _mean_difference(values, 1)
    ratios = np.stack([_mean_difference(values, lag) for lag in LONG_LAGS])
    seen = np.isfinite(ratios).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        far = np.where(np.isfinite(ratios), ratios, 0.0).sum(axis=0) / seen
        ratio = np.where(near > 0.0, far / near, 1.0)
    raw = np.interp(ratio, _RATIOS, _PHIS)
    phi = (weeks * raw + prior.phi_weeks * prior.phi) / (weeks + prior.phi_weeks)
    phi = np.clip(phi, 0.0, LARGEST_PHI)
    sd = near / MOVING_RANGE_FACTOR / np.sqrt(1.0 - phi)
    df = np.broadcast_to(np.maximum(MOVING_RANGE_DF * (weeks - 1), 2.0), sd.shape)
    if prior.sd is not None and prior.sd_df > 0.0:
        total = df + prior.sd_df
        sd = np.sqrt((df * sd**2 + prior.sd_df * prior.sd**2) / total)
        df = total
    early = weeks < LEAST_WEEKS
    return Spreads(
        np.where(early, np.nan, sd),
        np.where(early, np.nan, phi),
        np.where(early, np.nan, df),
    )


def pool_spreads(lanes: Sequence[np.ndarray]) -> SpreadPrior:
    """What a program's lanes show together, as the prior of each.

    Parameters
    ----------
    lanes
        Weekly values of each lane, all in the same unit (per cent of its own level);
        lanes of fewer than 26 weeks are left out.

    Returns
    -------
    SpreadPrior
        φ is the lanes' mean by weeks, counting for 30 weeks. The spread is the
        root mean square with degrees of freedom by how far the lanes' log variances
        differ beyond their own sampling (Smyth 2004, equations for d0 and s0²). Our
        own choice when fewer than 5 lanes are left.
    """
    from scipy.special import digamma, polygamma

    own = [np.asarray(lane, dtype=np.float64) for lane in lanes]
    own = [lane for lane in own if len(lane) >= 26]
    if len(own) < 5:
        return SpreadPrior()
    free = SpreadPrior(phi_weeks=0.0)
    found = [week_spread(lane, free) for lane in own]
    weeks = np.array([len(lane) for lane in own], dtype=np.float64)
    phi = float(np.average([one.phi for one in found], weights=weeks))
    df = np.array([one.df for one in found])
    log = np.log(np.maximum([one.sd**2 for one in found], 1e-30))
    centred = log - digamma(df / 2) + np.log(df / 2)
    excess = float(np.var(centred, ddof=1) - np.mean(polygamma(1, df / 2)))
    prior_df = 200.0 if excess <= 0.01 else min(2.0 * _inverse_trigamma(excess), 200.0)
    level = float(np.mean(centred)) + float(digamma(prior_df / 2))
    sd = float(np.exp(0.5 * (level - np.log(prior_df / 2))))
    return SpreadPrior(min(phi, LARGEST_PHI), PRIOR_PHI_WEEKS, sd, prior_df, len(own))


def _inverse_trigamma(value: float) -> float:
    """X with trigamma(x) = value, by Newton's method (Smyth 2004, appendix)."""
    from scipy.special import polygamma

    x = 0.5 + 1.0 / value
    for _ in range(50):
        third = float(polygamma(1, x))
        step = third * (1.0 - third / value) / float(polygamma(2, x))
        x += step
        if abs(step) < 1e-10 * x:
            break
    return x


def _mean_difference(values: np.ndarray, lag: int) -> np.ndarray:
    """Mean absolute difference ``lag`` weeks apart, up to each week."""
    out = np.full(values.shape, np.nan)
    if values.shape[-1] > lag:
        steps = np.abs(values[..., lag:] - values[..., :-lag])
        count = np.arange(1, steps.shape[-1] + 1)
        out[..., lag:] = np.cumsum(steps, axis=-1) / count
    return out


_PHIS = np.linspace(-0.6, 0.9, 301)
_RATIOS = np.mean(
    [np.sqrt((1 - _PHIS**lag) / (1 - _PHIS)) for lag in LONG_LAGS], axis=0
)
