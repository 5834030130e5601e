"""How often the drift chart signals although nothing moved, measured by simulation.

The published run lengths of a CUSUM hold for a known mean, a known spread and
independent weeks. Ours has none of these: the baseline is a few weeks, the spread is
estimated from the same series, weeks are autocorrelated, and the chart is looked at
again every week. So the chance that is stated beside a signal comes from simulating
just that.
"""

from __future__ import annotations

import numpy as np

from quality.calc.cusum import H, K, cusum
from quality.calc.week_spread import week_spread

WEEKS_IN_YEAR = 52
TABLE_RUNS = 1000
TABLE_SEED = 20261125
BASELINES = (0, 8, 10, 12, 26, 52)
PHIS = (0.0, 0.2, 0.4, 0.6)
TABLE = np.array(
    [
        [0.171, 0.351, 0.560, 0.752],
        [0.395, 0.523, 0.597, 0.706],
        [0.346, 0.471, 0.525, 0.605],
        [0.312, 0.449, 0.510, 0.568],
        [0.172, 0.245, 0.258, 0.262],
        [0.112, 0.159, 0.138, 0.115],
    ]
)
"""Chance of a signal in 52 weeks, by baseline weeks (rows) and φ (columns), for k 0.5
and h 5. From :func:`simulate_false_alarms`, 1,000 runs each, seed 20261125; standard
error at most 0.016. A row 0 is a known reference weight: its spread is still learnt
from the first weeks, which is why it is no safer than a long baseline."""


def false_alarm_chance(n_baseline_weeks: int, phi: float) -> float:
    """Chance of a signal within 52 weeks after the baseline when nothing has moved.

    Parameters
    ----------
    n_baseline_weeks
        Weeks of the baseline; 0 for a reference weight that is known.
    phi
        Correlation of neighbouring weeks, 0 to 0.6; beyond, the nearest entry.

    Notes
    -----
    Linear between the entries of :data:`TABLE`; a baseline of 1 to 7 weeks is not
    judged at all and takes the entry of 8, one above 52 that of 52.
    """
    n = min(max(n_baseline_weeks, 8), 52) if n_baseline_weeks else 0
    rows = np.array([np.interp(phi, PHIS, row) for row in TABLE])
    return float(np.interp(n, BASELINES, rows))


def simulate_false_alarms(
    *,
    n_baseline_weeks: int,
    phi: float,
    n_runs: int,
    seed: int,
    weeks: int = WEEKS_IN_YEAR,
    k: float = K,
    h: float = H,
) -> float:
    """Share of simulated lanes whose chart signals at one of its weekly looks.

    Weekly means are first-order autoregressive normal with a standard deviation of
    0.8 % and no shift; spread, autocorrelation and baseline are estimated anew at
    every look, as :func:`quality.calc.drift.drift_since` does.
    """
    rng = np.random.default_rng(seed)
    alarms = 0
    for _ in range(n_runs):
        n = max(n_baseline_weeks, 4) + weeks
        noise = rng.standard_normal(n)
        series = np.empty(n)
        series[0] = noise[0]
        for week in range(1, n):
            series[week] = phi * series[week - 1] + noise[week] * np.sqrt(1 - phi * phi)
        values = 100.0 + 0.8 * series
        alarms += _signals(values, n_baseline_weeks, n - weeks, k, h)
    return alarms / n_runs


def _signals(values: np.ndarray, n_base: int, first: int, k: float, h: float) -> bool:
    base = float(values[:n_base].mean()) if n_base else 100.0
    for now in range(first + 1, len(values) + 1):
        seen = values[:now]
        scale = week_spread(seen).long_run_sd
        if (
            cusum((seen[n_base:] - base) / scale, target=0.0, k=k, h=h).signal
            is not None
        ):
            return True
    return False
