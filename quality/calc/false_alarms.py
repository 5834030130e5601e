"""How often each drift chart signals although nothing moved, measured by simulation.

The published run lengths (:mod:`quality.calc.arl`) hold for a known mean, a known
spread and independent weeks. Ours has none of these: the level is learnt from the weeks
before, spread and correlation are estimated from the same series, weeks are
autocorrelated, and the chart is looked at again every week. So the limits come from
simulating just that, and so does the rate stated beside a signal: the chance that a
lane on which nothing moved signals within 52 weekly looks.

The tables are written by ``tests/bench/measure_drift.py`` and printed with their
meaning in MEASURED_DRIFT.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import ndtri
from scipy.stats import t as student_t

from quality.calc.drift_chart import LIMIT as CHANGE_LIMIT
from quality.calc.drift_chart import contrasts, known_before
from quality.calc.false_alarm_tables import (
    CHANGE_RATES,
    CHANGE_WEEKS,
    CUSUM_LIMITS,
    CUSUM_RATES,
    EWMA_LIMITS,
    EWMA_RATES,
    FIXED_BASELINES,
    PHIS,
)
from quality.calc.week_spread import SpreadPrior, Spreads, spreads_so_far

WEEKS_IN_YEAR = 52
TARGET_RATE = 0.05
"""Limits of the CUSUM and the EWMA are set to this many false alarms a lane-year at a
correlation of neighbouring weeks of 0.4."""
DESIGN_PHI = 0.4
DRIFT_K = 1.0
"""Reference value of the drift CUSUM in long-run standard deviations. With a baseline
of 10 weeks it finds 2 and 3 % weeks earlier than 0.5 at the same rate of false alarms
(MEASURED_DRIFT.md)."""
DRIFT_WEIGHT = 0.1


class Chart(StrEnum):
    """The charts."""

    CUSUM = "cusum"
    EWMA = "ewma"
    CHANGE_POINT = "change point"


@dataclass(frozen=True)
class StatedRate:
    """False alarms a lane-year as measured; ``rate`` is None where they were not."""

    rate: float | None
    sentence: str


def chart_limit(chart: Chart, n_baseline_weeks: int) -> float:
    """Limit of a chart: long-run standard deviations, or a standard normal score.

    Parameters
    ----------
    chart
        Which chart; that of the change point has one limit for every length.
    n_baseline_weeks
        Weeks of the fixed baseline; 0 for a reference that is known.

    Raises
    ------
    ValueError
        When there is no measured limit for that many weeks.
    """
    if chart is Chart.CHANGE_POINT:
        return CHANGE_LIMIT
    weeks, limits = _fixed(CUSUM_LIMITS if chart is Chart.CUSUM else EWMA_LIMITS)
    if n_baseline_weeks == 0:
        return float(limits[0])
    if not weeks[1] <= n_baseline_weeks <= weeks[-1]:
        raise ValueError(
            f"limits were measured for baselines of {weeks[1]} to {weeks[-1]} weeks, "
            f"got {n_baseline_weeks}"
        )
    return float(np.interp(n_baseline_weeks, weeks[1:], limits[1:]))


def stated_rate(chart: Chart, n_weeks: int, phi: float) -> StatedRate:
    """False alarms a lane-year of a chart with its own limits.

    Parameters
    ----------
    chart
        Which chart.
    n_weeks
        Weeks of the baseline (0: known reference), or for the change-point chart weeks
        on record when the year of looks begins.
    phi
        Correlation of neighbouring weeks.

    Returns
    -------
    StatedRate
        Linear between measured entries; nothing outside them, and the sentence says so.
    """
    rows: tuple[int, ...] = FIXED_BASELINES
    table: tuple[tuple[float, ...], ...] = CUSUM_RATES
    if chart is Chart.EWMA:
        table = EWMA_RATES
    elif chart is Chart.CHANGE_POINT:
        rows, table = CHANGE_WEEKS, CHANGE_RATES
    known = n_weeks == 0 and rows[0] == 0
    first = rows[1] if rows[0] == 0 else rows[0]
    outside = not known and not first <= n_weeks <= rows[-1]
    if outside or not PHIS[0] <= phi <= PHIS[-1]:
        return StatedRate(
            None,
            f"false alarms not measured for {n_weeks} weeks and a correlation of "
            f"{phi:.2f} (measured: {first} to {rows[-1]} weeks, {PHIS[0]:g} to "
            f"{PHIS[-1]:g})",
        )
    by_row = [float(np.interp(phi, PHIS, row)) for row in table]
    rate = by_row[0] if known else float(np.interp(n_weeks, rows, by_row))
    return StatedRate(
        rate, f"{rate:.3f} false alarms a lane-year (measured by simulation)"
    )


def false_alarm_chance(n_baseline_weeks: int, phi: float) -> float | None:
    """Chance of a false signal of the drift CUSUM within 52 weeks; None: not measured.

    Parameters
    ----------
    n_baseline_weeks
        Weeks of the baseline; 0 for a reference weight that is known.
    phi
        Correlation of neighbouring weeks.
    """
    return stated_rate(Chart.CUSUM, n_baseline_weeks, phi).rate


def simulate_weeks(
    *, phi: float, n_weeks: int, n_runs: int, rng: np.random.Generator, sd: float = 0.8
) -> np.ndarray:
    """Stationary first-order autoregressive weeks of one spread [%], no shift."""
    fresh = rng.standard_normal((n_runs, n_weeks))
    fresh[:, 1:] *= np.sqrt(1.0 - phi * phi)
    for week in range(1, n_weeks):
        fresh[:, week] += phi * fresh[:, week - 1]
    return sd * fresh


def yearly_maxima(
    chart: Chart,
    values: np.ndarray,
    *,
    n_baseline_weeks: int,
    k: float = DRIFT_K,
    weight: float = DRIFT_WEIGHT,
    prior: SpreadPrior | None = None,
) -> np.ndarray:
    """What a limit would have to exceed for no signal at any weekly look.

    Parameters
    ----------
    chart
        Which chart.
    values : (n_runs, n)
        Weeks of simulated lanes. Looks begin after ``n_baseline_weeks`` (0: after 8,
        with the reference known to be 0).
    k, weight
        Constants of the CUSUM and the EWMA.
    prior
        What the spread is drawn towards; our own choice when None.

    Returns
    -------
    (n_runs,)
        Greatest statistic: long-run standard deviations as known at each look, or a
        standard normal score.
    """
    spreads = spreads_so_far(values, prior)
    first = n_baseline_weeks or 8
    if chart is Chart.CHANGE_POINT:
        return np.array(
            [
                np.nanmax(_change_scores(row, _row(spreads, place))[first:])
                for place, row in enumerate(values)
            ]
        )
    base = values[:, :n_baseline_weeks].mean(axis=1) if n_baseline_weeks else 0.0
    away = (values.T - base).T if n_baseline_weeks else values
    scale = spreads.long_run_sd
    greatest = np.zeros(len(values))
    if chart is Chart.EWMA:
        level = np.zeros(len(values))
        for week in range(n_baseline_weeks, values.shape[1]):
            level += weight * (away[:, week] - level)
            if week >= first:
                greatest = np.maximum(greatest, np.abs(level) / scale[:, week])
        return greatest / np.sqrt(weight / (2.0 - weight))
    for look in range(first, values.shape[1]):
        up, down = np.zeros(len(values)), np.zeros(len(values))
        for week in range(n_baseline_weeks, look + 1):
            step = away[:, week] / scale[:, look]
            up = np.maximum(0.0, up + step - k)
            down = np.maximum(0.0, down - step - k)
        greatest = np.maximum(greatest, np.maximum(up, down))
    return greatest


def simulate_false_alarms(
    *,
    n_baseline_weeks: int,
    phi: float,
    n_runs: int,
    seed: int,
    chart: Chart = Chart.CUSUM,
    weeks: int = WEEKS_IN_YEAR,
    limit: float | None = None,
) -> float:
    """Share of simulated lanes whose chart signals at one of its weekly looks.

    Parameters
    ----------
    n_baseline_weeks, phi, chart
        As in :func:`stated_rate`.
    n_runs, seed
        Lanes, and the seed of their weeks.
    weeks
        Weekly looks.
    limit
        The chart's own limit when None.
    """
    rng = np.random.default_rng(seed)
    n = (n_baseline_weeks or 8) + weeks
    values = simulate_weeks(phi=phi, n_weeks=n, n_runs=n_runs, rng=rng)
    maxima = yearly_maxima(chart, values, n_baseline_weeks=n_baseline_weeks)
    edge = chart_limit(chart, n_baseline_weeks) if limit is None else limit
    return float(np.mean(maxima > edge))


def _change_scores(values: np.ndarray, spreads: Spreads) -> np.ndarray:
    """Greatest contrast of each week as a standard normal score."""
    score, _ = contrasts(values, spreads)
    tail = student_t.sf(np.abs(score), spreads.df[known_before(len(values))])
    return -np.asarray(ndtri(np.maximum(tail, 1e-300)))


def _row(spreads: Spreads, place: int) -> Spreads:
    return Spreads(spreads.sd[place], spreads.phi[place], spreads.df[place])


def _fixed(limits: tuple[float, ...]) -> tuple[tuple[int, ...], np.ndarray]:
    return FIXED_BASELINES, np.asarray(limits)
