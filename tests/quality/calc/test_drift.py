"""Drift: known shifts are found with their size, and the intervals keep their word."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from quality.calc.cusum import cusum
from quality.calc.drift import drift_since
from quality.calc.false_alarm_tables import CUSUM_RATES, FIXED_BASELINES, PHIS
from quality.calc.false_alarms import (
    Chart,
    chart_limit,
    false_alarm_chance,
    simulate_false_alarms,
    stated_rate,
)
from quality.calc.week_spread import Spread, week_spread
from wimprog.lib.judgement import Condition, Verdict

MONDAY = np.datetime64("2030-01-07")
BASE_KG = 4900.0


def weeks(
    n: int,
    seed: int,
    *,
    phi: float = 0.3,
    sd_pct: float = 0.8,
    step_pct: float = 0.0,
    at: int = 20,
    slope_pct: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Weekly means [kg] and what is true of them [%]."""
    rng = np.random.default_rng(seed)
    noise = np.empty(n)
    noise[0] = rng.standard_normal()
    for week in range(1, n):
        fresh = rng.standard_normal() * np.sqrt(1 - phi**2)
        noise[week] = phi * noise[week - 1] + fresh
    true = np.where(np.arange(n) >= at, step_pct, 0.0) + slope_pct * np.arange(n)
    return BASE_KG * (1 + (true + sd_pct * noise) / 100), true


def judge(means: np.ndarray, **options: object):
    n = len(means)
    arguments: dict[str, object] = {
        "week_on": MONDAY + 7 * np.arange(n),
        "mean_kg": means,
        "n_trucks": np.full(n, 300),
        "calibrated_on": dt.date(2030, 1, 1),
    }
    return drift_since(**{**arguments, **options})  # type: ignore[arg-type]


def test_a_step_is_told_with_size_date_and_direction() -> None:
    means, _ = weeks(52, 7, step_pct=-4.0, at=25)
    result = judge(means)
    assert result.judgement.verdict is Verdict.MISSES
    assert result.condition is Condition.ACT
    assert result.change_pct == pytest.approx(-4.0, abs=1.2)
    assert result.interval is not None
    assert result.interval.low <= -4.0 <= result.interval.high
    # its date is held over many lanes in the next test
    assert result.signal_on >= result.since_on >= MONDAY + 7 * 10
    sentence = result.judgement.sentence
    assert "% light since" in sentence
    assert "52 weeks, 15,600 trucks" in sentence
    assert "±" in sentence
    assert (result.n_weeks, result.n_trucks) == (52, 15_600)
    assert np.isnan(result.low[:10]).all()
    assert result.low[-1] > result.h


def test_the_date_by_the_last_zero_is_right_within_weeks() -> None:
    """A 4 % step in week 25 of 52; a biased baseline dates some lanes too early."""
    off = []
    for seed in range(40):
        result = judge(weeks(52, seed, step_pct=-4.0, at=25)[0])
        off.append(abs(int((result.since_on - (MONDAY + 7 * 25)).astype(int))) / 7)
    assert np.median(off) <= 2
    assert np.quantile(off, 0.8) <= 8


def test_a_signal_that_has_gone_back_is_history() -> None:
    means = np.full(80, BASE_KG) + np.tile([20.0, -20.0], 40)
    means[20:26] += 150
    assert judge(means[:26]).since_on is not None
    assert judge(means).since_on is None


def test_a_steady_lane_meets() -> None:
    means, _ = weeks(52, 1, sd_pct=0.4)
    result = judge(means)
    assert result.judgement.verdict is Verdict.MEETS
    assert result.condition is Condition.SOUND
    assert result.since_on is None
    assert "within the limit" in result.judgement.sentence


def test_only_weeks_since_the_calibration_and_with_enough_trucks_count() -> None:
    means, _ = weeks(60, 2, sd_pct=0.3)
    means[:20] *= 0.9
    enough = np.ones(60, dtype=bool)
    enough[30:34] = False
    means[30:34] *= 2
    result = judge(
        means, calibrated_on=(MONDAY + 7 * 20).astype(object), is_enough=enough
    )
    assert result.n_weeks == 36
    assert abs(result.change_pct) < 1
    assert result.calibrated_on == MONDAY + 7 * 20


@pytest.mark.parametrize("n", [0, 1, 7, 8, 10])
def test_too_few_weeks_say_nothing(n: int) -> None:
    result = judge(weeks(12, 3)[0][:n])
    assert result.judgement.verdict is Verdict.CANNOT_SAY
    assert result.condition is Condition.NO_DATA
    assert result.change_pct is None
    assert result.judgement.value is None
    assert f"{n} weeks with enough trucks" in result.judgement.sentence


def test_a_wide_interval_cannot_say() -> None:
    result = judge(weeks(14, 3, sd_pct=4.0)[0])
    assert result.judgement.verdict is Verdict.CANNOT_SAY
    assert result.condition is Condition.WATCH
    assert "too uncertain" in result.judgement.sentence


def test_an_agencys_reference_replaces_the_baseline() -> None:
    means, _ = weeks(12, 4, sd_pct=0.3)
    result = judge(means, reference_kg=BASE_KG / 1.05)
    assert result.change_pct == pytest.approx(5.0, abs=0.5)
    assert result.n_baseline_weeks == 0
    assert "reference weight" in result.judgement.rule
    assert len(result.high) == 12


def test_changing_the_unit_changes_nothing_relative() -> None:
    means, _ = weeks(40, 6, step_pct=2.0)
    kg, lb = judge(means), judge(means / 0.45359237)
    assert kg.change_pct == pytest.approx(lb.change_pct, rel=1e-12)
    assert kg.interval.high == pytest.approx(lb.interval.high, rel=1e-9)
    assert kg.since_on == lb.since_on


@pytest.mark.slow
@pytest.mark.parametrize(
    ("n", "baseline", "phi", "slope", "step"),
    [
        (26, 10, 0.0, 0.0, 0.0),
        (26, 10, 0.4, 0.0, 0.0),
        (62, 10, 0.2, 0.0, -3.0),
        (62, 10, 0.3, 0.06, 0.0),
        (78, 26, 0.4, 0.0, 0.0),
    ],
)
def test_a_95_percent_interval_holds_the_truth_about_95_times_in_100(
    n: int, baseline: int, phi: float, slope: float, step: float
) -> None:
    """Coverage by simulation, 300 lanes: 0.95 less 4 standard errors is 0.90."""
    held = 0
    for seed in range(300):
        means, true = weeks(n, 1000 + seed, phi=phi, slope_pct=slope, step_pct=step)
        result = judge(means, baseline_weeks=baseline)
        before = 1 + true[:baseline].mean() / 100
        truth = 100 * ((1 + true[-4:].mean() / 100) / before - 1)
        held += result.interval.low <= truth <= result.interval.high
    assert held / 300 >= 0.90


def test_variance_of_a_mean_of_alike_weeks() -> None:
    """n 2: sd²(1 + φ)/2; many weeks: the long-run spread over n."""
    spread = Spread(sd=2.0, phi=0.5, df=10)
    assert spread.mean_variance(1) == pytest.approx(4.0)
    assert spread.mean_variance(2) == pytest.approx(4.0 * 1.5 / 2)
    n = 5000
    assert spread.mean_variance(n) == pytest.approx(spread.long_run_sd**2 / n, rel=1e-3)


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.5])
def test_spread_finds_what_was_put_in_in_spite_of_a_drift(phi: float) -> None:
    means, _ = weeks(4000, 9, phi=phi, sd_pct=1.0, slope_pct=0.0005)
    spread = week_spread(means)
    assert spread.sd == pytest.approx(BASE_KG / 100, rel=0.08)
    assert spread.phi == pytest.approx(phi, abs=0.06)


@pytest.mark.parametrize(
    ("chart", "weeks_before", "phi", "n_runs"),
    [
        (Chart.CUSUM, 10, 0.4, 1500),
        (Chart.CUSUM, 0, 0.2, 1500),
        (Chart.EWMA, 26, 0.4, 1500),
        (Chart.CHANGE_POINT, 10, 0.6, 600),
        (Chart.CHANGE_POINT, 52, 0.4, 600),
    ],
)
def test_stated_false_alarms_are_what_a_simulation_gives(
    chart: Chart, weeks_before: int, phi: float, n_runs: int
) -> None:
    """Same model, other seed: within 4 standard errors of both."""
    stated = stated_rate(chart, weeks_before, phi).rate
    assert stated is not None
    got = simulate_false_alarms(
        chart=chart, n_baseline_weeks=weeks_before, phi=phi, n_runs=n_runs, seed=3
    )
    table_runs = 2000 if chart is Chart.CHANGE_POINT else 4000
    allowed = 4 * np.sqrt(stated * (1 - stated) * (1 / n_runs + 1 / table_runs))
    assert abs(got - stated) <= allowed


def test_the_charts_keep_their_target() -> None:
    """At most 1 lane in 20 a year up to a correlation of 0.4 (± simulation error)."""
    for chart, baselines in (
        (Chart.CUSUM, (0, 8, 10, 26, 104)),
        (Chart.EWMA, (0, 8, 10, 26, 104)),
        (Chart.CHANGE_POINT, (10, 26, 52, 104, 156, 260)),
    ):
        for n in baselines:
            for phi in (0.0, 0.2, 0.4):
                assert stated_rate(chart, n, phi).rate <= 0.052


def test_what_was_not_measured_is_not_stated() -> None:
    assert false_alarm_chance(10, 0.2) == CUSUM_RATES[FIXED_BASELINES.index(10)][1]
    assert PHIS[1] == 0.2
    for n, phi in ((7, 0.2), (105, 0.2), (10, 0.71), (10, -0.1)):
        told = stated_rate(Chart.CUSUM, n, phi)
        assert told.rate is None
        assert "not measured" in told.sentence
    assert stated_rate(Chart.CHANGE_POINT, 261, 0.2).rate is None
    with pytest.raises(ValueError, match="8 to 104 weeks, got 300"):
        chart_limit(Chart.CUSUM, 300)


def test_a_longer_baseline_needs_a_narrower_limit() -> None:
    limits = [chart_limit(Chart.CUSUM, n) for n in (8, 9, 12, 20, 40, 52, 80)]
    assert limits == sorted(limits, reverse=True)


@pytest.mark.parametrize("phi", [0.0, 0.4])
def test_a_chart_read_week_by_week_seldom_signals_when_nothing_moved(
    phi: float,
) -> None:
    """``drift_since`` itself, 52 weekly looks of 60 lanes after 10 baseline weeks.

    The chart before this one signalled in 35 to 53 of 100 such lanes.
    """
    lanes = 60
    alarms = 0
    for seed in range(lanes):
        means, _ = weeks(62, 5000 + seed, phi=phi)
        alarms += any(
            judge(means[:now]).signal_on is not None for now in range(11, 63, 3)
        )
    assert alarms / lanes <= 0.05 + 4 * np.sqrt(0.05 * 0.95 / lanes)


def test_out_of_order_weeks_and_unequal_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="in order"):
        judge(np.ones(3), week_on=np.array([MONDAY, MONDAY, MONDAY + 7]))
    with pytest.raises(ValueError, match="same length"):
        judge(np.ones(3), n_trucks=np.ones(2))
    with pytest.raises(ValueError, match="finite"):
        cusum(np.array([1.0, np.nan]), target=0, k=0.5, h=5)


def test_weeks_without_any_spread_do_not_divide_by_zero() -> None:
    result = judge(np.full(20, BASE_KG))
    assert result.change_pct == 0.0
    assert result.judgement.verdict is Verdict.MEETS
