"""How weekly means scatter from week to week, and how alike neighbours are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LARGEST_PHI = 0.7
STEP_BEATS_LINE = 0.6
"""Share of the line's residual sum of squares below which a step is believed."""
MOVING_RANGE_FACTOR = 1.128
"""Mean range of two standard normal values (d2 for n = 2): 2/√π."""
MOVING_RANGE_DF = 0.62
"""Degrees of freedom per difference of an average moving range (from memory; the
coverage of the interval is checked by simulation)."""


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


def week_spread(values: np.ndarray) -> Spread:
    """Week-to-week spread of a series that may also drift.

    Parameters
    ----------
    values : (n,)
        Weekly means in time order, n at least 4.

    Notes
    -----
    The average moving range divided by 1.128 estimates sd·√(1 − φ); it does not see a
    slow drift. φ comes from the residuals about a straight line, or about one step
    where that explains the series far better (so that a shift is not taken for
    autocorrelation), corrected for its small-sample bias by (1 + 4φ)/n, and is held
    between 0 and 0.7.
    """
    values = np.asarray(values, dtype=np.float64)
    n = len(values)
    if n < 4:
        raise ValueError(f"at least 4 weeks are needed for their spread, got {n}")
    weeks = np.arange(n, dtype=np.float64)
    residuals = values - np.polyval(np.polyfit(weeks, values, 1), weeks)
    power = float(residuals @ residuals)
    about_step = _residuals_about_step(values)
    if float(about_step @ about_step) < STEP_BEATS_LINE * power:
        residuals, power = about_step, float(about_step @ about_step)
    raw = float(residuals[1:] @ residuals[:-1]) / power if power > 0 else 0.0
    phi = min(max(raw + (1 + 4 * raw) / n, 0.0), LARGEST_PHI)
    step = float(np.mean(np.abs(np.diff(values)))) / MOVING_RANGE_FACTOR
    df = max(MOVING_RANGE_DF * (n - 1), 2.0)
    return Spread(step / float(np.sqrt(1 - phi)), phi, df)


def _residuals_about_step(values: np.ndarray) -> np.ndarray:
    """Residuals about the two means that leave the least sum of squares."""
    n = len(values)
    left = np.cumsum(values)[:-1]
    count = np.arange(1, n)
    gain = (left - count * values.mean()) ** 2 * n / (count * (n - count))
    cut = int(np.argmax(gain)) + 1
    means = np.where(np.arange(n) < cut, values[:cut].mean(), values[cut:].mean())
    return values - means
