"""Spread and correlation of weeks: found, pooled, and not moved by a shift."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import polygamma

from quality.calc.drift import drift_since
from quality.calc.false_alarms import simulate_weeks
from quality.calc.week_spread import (
    SpreadPrior,
    _inverse_trigamma,
    pool_spreads,
    spreads_so_far,
    week_spread,
)

NO_PRIOR = SpreadPrior(phi_weeks=0.0)


@pytest.mark.parametrize("phi", [0.0, 0.2, 0.4, 0.6])
def test_correlation_and_spread_are_found(phi: float) -> None:
    """200 lanes of 200 weeks: the averages are near what was put in."""
    rng = np.random.default_rng(1)
    lanes = simulate_weeks(phi=phi, n_weeks=200, n_runs=200, rng=rng)
    spreads = spreads_so_far(lanes, NO_PRIOR)
    assert spreads.phi[:, -1].mean() == pytest.approx(phi, abs=0.05)
    assert spreads.sd[:, -1].mean() == pytest.approx(0.8, rel=0.05)


def test_a_step_hardly_moves_the_spread() -> None:
    rng = np.random.default_rng(2)
    lane = simulate_weeks(phi=0.2, n_weeks=80, n_runs=1, rng=rng)[0]
    moved = lane + np.where(np.arange(80) >= 40, 4.0, 0.0)
    assert week_spread(moved).sd == pytest.approx(week_spread(lane).sd, rel=0.25)
    assert np.std(moved) > 2 * np.std(lane)


def test_the_last_of_the_running_spreads_is_the_spread() -> None:
    lane = np.random.default_rng(3).standard_normal(30)
    running = spreads_so_far(lane)
    assert np.isnan(running.sd[:3]).all()
    for n in (4, 17, 30):
        one = week_spread(lane[:n])
        assert (running.sd[n - 1], running.phi[n - 1]) == (one.sd, one.phi)
    with pytest.raises(ValueError, match="at least 4 weeks"):
        week_spread(lane[:3])


def test_few_weeks_are_drawn_towards_what_is_expected() -> None:
    lane = np.random.default_rng(4).standard_normal(10)
    free, drawn = week_spread(lane, NO_PRIOR), week_spread(lane)
    expected = (10 * free.phi + 30 * 0.3) / 40
    assert free.phi == 0.0 or drawn.phi == pytest.approx(expected)
    assert abs(drawn.phi - 0.3) <= 0.25


@pytest.mark.parametrize("value", [0.05, 0.5, 1.6449340668482264, 20.0])
def test_the_inverse_of_the_trigamma_function(value: float) -> None:
    """trigamma(1) = π²/6 = 1.6449 (Abramowitz and Stegun 6.4.2)."""
    x = _inverse_trigamma(value)
    assert float(polygamma(1, x)) == pytest.approx(value, rel=1e-9)
    if value == 1.6449340668482264:
        assert x == pytest.approx(1.0)


def test_lanes_pooled_tell_the_next_lane_what_to_expect() -> None:
    rng = np.random.default_rng(6)
    lanes = list(simulate_weeks(phi=0.5, n_weeks=104, n_runs=40, rng=rng, sd=1.5))
    prior = pool_spreads(lanes)
    assert prior.n_lanes == 40
    assert prior.phi == pytest.approx(0.5, abs=0.08)
    assert prior.sd == pytest.approx(1.5, rel=0.1)
    short = [lane[:12] for lane in lanes]
    alone = [week_spread(lane).sd for lane in short]
    helped = [week_spread(lane, prior).sd for lane in short]
    assert np.std(helped) < 0.5 * np.std(alone)
    assert pool_spreads(lanes[:4]) == SpreadPrior()
    unlike = pool_spreads([lane * (1 + place % 8) for place, lane in enumerate(lanes)])
    assert unlike.sd_df < 0.2 * prior.sd_df


def test_a_pooled_spread_is_in_per_cent_wherever_it_is_used() -> None:
    """A tiny own spread, and a prior of 2 % that weighs far more."""
    n = 30
    rng = np.random.default_rng(7)
    mean_kg = 4900.0 * (1 + 0.0001 * rng.standard_normal(n))
    result = drift_since(
        week_on=np.datetime64("2030-01-07") + 7 * np.arange(n),
        mean_kg=mean_kg,
        n_trucks=np.full(n, 300),
        calibrated_on=None,
        prior=SpreadPrior(sd=2.0, sd_df=1000.0),
    )
    assert result.week_sd_pct == pytest.approx(2.0, rel=0.05)
