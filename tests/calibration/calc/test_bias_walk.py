"""The wander of bias: recovered, covered, and honest about how little it rests on."""

import datetime as dt
import math

import numpy as np
import pytest
from scipy.stats import binom

from calibration.calc.bias_forecast import forecast_bias
from calibration.calc.bias_types import (
    BiasSession,
    LaneSessions,
    SteeringDrift,
    WalkPrior,
)
from calibration.calc.bias_walk import fit_bias_walk
from tests.calibration.calc.bias_population import START, Population, simulate
from wimprog.lib.errors import DomainError


def on(days):
    return START + dt.timedelta(days=days)


def one_lane(left=0.0, key="A", **kwargs):
    session = BiasSession(START, 3.0, 0.5, left, 0.5)
    return LaneSessions(key, (session,), **kwargs)


def fit(lanes, **kwargs):
    return fit_bias_walk(lanes, technology="quartz piezo", **kwargs)


def test_many_sessions_give_back_what_made_them():
    """60 lanes × 8 sessions; each estimate within 3.5 of its own standard deviations.

    They are also small: the wander is known to a tenth of itself.
    """
    truth = Population(wander_pct=2.5, drift_pct_per_year=0.8)
    lanes, _, _ = simulate(np.random.default_rng(5), truth, 60, 8)
    walk = fit(lanes, reference_temp_c=15.0)
    assert walk.n_intervals == 60 * 7
    assert walk.n_sessions == 480
    assert walk.prior_share < 0.01
    for found, true in [
        (walk.wander, 2.5),
        (walk.drift, 0.8),
        (walk.temperature, truth.temperature_pct_per_c),
    ]:
        assert abs(found.value - true) < 3.5 * found.sd
        assert found.interval.low < found.value < found.interval.high
    assert walk.wander.sd < 0.25


def test_without_an_interval_the_prior_speaks_and_says_so():
    walk = fit([one_lane()])
    prior = WalkPrior()
    assert walk.n_intervals == 0
    assert walk.prior_share == 1.0
    assert walk.wander.value == pytest.approx(prior.wander_pct, rel=1e-4)
    z = 1.6448536  # 90 %
    assert walk.wander.interval.low == pytest.approx(
        prior.wander_pct * math.exp(-z * prior.log_wander_sd), rel=2e-3
    )
    assert walk.drift.sd == pytest.approx(prior.drift_sd, rel=1e-6)
    assert "expectation alone" in walk.sentence
    assert "common practice, no source" in walk.sentence
    nothing = fit([])
    assert nothing.n_lanes == 0
    assert forecast_bias(nothing, START, tolerance_pct=5.0) == ()


@pytest.mark.slow
def test_chances_and_intervals_hold_when_the_truth_is_as_expected():
    """100 fleets of 3 lanes × 3 sessions, truth drawn from the prior, one lane each.

    Then the 90 % interval covers with chance 0.90 exactly, and the number of lanes out
    has the mean and variance that the chances give it.
    """
    rng, prior = np.random.default_rng(11), WalkPrior()
    inside, chances, outs = 0, [], []
    n = 100
    for _ in range(n):
        truth = Population(
            wander_pct=prior.wander_pct * math.exp(prior.log_wander_sd * rng.normal()),
            drift_pct_per_year=prior.drift_sd * rng.normal(),
            temperature_pct_per_c=prior.temperature_sd * rng.normal(),
        )
        lanes, today, bias = simulate(rng, truth, 3, 3)
        walk = fit(lanes, reference_temp_c=15.0)
        found = forecast_bias(walk, today, tolerance_pct=3.0)[0].today
        inside += found.interval.low <= bias[0] <= found.interval.high
        chances.append(found.chance_out)
        outs.append(abs(bias[0]) > 3.0)
    low, high = binom.ppf([0.0005, 0.9995], n, 0.90)
    assert low <= inside <= high
    p, o = np.array(chances), np.array(outs, dtype=float)
    spread = math.sqrt(float(np.sum(p * (1.0 - p))))
    assert abs(o.sum() - p.sum()) < 3.5 * spread
    # the Brier score of chances that hold has mean Σ p(1−p), and beats one same chance
    assert np.mean((p - o) ** 2) == pytest.approx(np.mean(p * (1.0 - p)), abs=0.06)
    assert np.mean((p - o) ** 2) < o.mean() * (1.0 - o.mean())


def test_the_day_of_passing_is_the_first_such_day():
    walk = fit([one_lane()])
    (found,) = forecast_bias(walk, START, tolerance_pct=4.0, level=0.10)
    day = (found.passes_on - START).days
    assert 0 < day < 365
    around = forecast_bias(
        walk, START, tolerance_pct=4.0, level=0.10, later_days=(day - 1, day)
    )[0].later
    assert around[0].chance_out < 0.10 <= around[1].chance_out
    assert f"reaches 10 % on {found.passes_on.day} " in found.sentence
    (past,) = forecast_bias(walk, on(day + 30), tolerance_pct=4.0, level=0.10)
    assert past.passes_on == found.passes_on
    assert "reached 10 %" in past.sentence
    assert found.worst.day == found.interval_ends_on == on(365)


def test_a_wide_tolerance_is_not_passed_within_the_longest_interval():
    walk = fit([one_lane()])
    (found,) = forecast_bias(walk, on(10), tolerance_pct=20.0, longest_days=200)
    assert found.passes_on is None
    assert found.interval_ends_on == on(200)
    assert "does not reach 20 % within the longest interval" in found.sentence


def test_drift_back_through_nought_makes_the_bias_shrink_before_it_grows():
    """Left at −3 % and drifting up by 3 % a year: the worst is the day of the session
    or late, not in between, and the first passing is what is told."""
    prior = WalkPrior(
        wander_pct=0.3,
        log_wander_sd=0.01,
        drift_pct_per_year=3.0,
        drift_sd=0.01,
        session_sd_pct=0.01,
    )
    walk = fit([one_lane(left=-3.0)], prior=prior)
    (found,) = forecast_bias(
        walk, START, tolerance_pct=3.0, level=0.4, longest_days=900, later_days=(365,)
    )
    assert found.passes_on == START
    assert found.later[0].chance_out < 1e-6
    assert found.worst.day == on(900)
    assert found.today.expected_size_pct == pytest.approx(3.0, abs=0.05)


def test_a_steering_reading_narrows_and_moves_the_forecast():
    walk = fit([one_lane()])
    reading = SteeringDrift(on(200), 4.0, 0.8)
    (without,) = forecast_bias(walk, on(200), tolerance_pct=5.0)
    (with_it,) = forecast_bias(
        walk, on(200), tolerance_pct=5.0, steering={"A": reading}
    )
    assert without.today.mean_pct < 1.0 < 2.0 < with_it.today.mean_pct < 4.0
    assert with_it.today.sd_pct < without.today.sd_pct
    vague = SteeringDrift(on(200), 4.0, 1e6)
    (same,) = forecast_bias(walk, on(200), tolerance_pct=5.0, steering={"A": vague})
    assert same.today.mean_pct == pytest.approx(without.today.mean_pct, abs=1e-6)
    assert same.today.sd_pct == pytest.approx(without.today.sd_pct, abs=1e-6)
    for day in (START, on(300)):
        with pytest.raises(DomainError, match="steering-axle drift"):
            forecast_bias(
                walk,
                on(200),
                tolerance_pct=5.0,
                steering={"A": SteeringDrift(day, 1.0, 1.0)},
            )


def test_works_end_what_was_known():
    walk = fit([one_lane(broken_on=(on(100),)), LaneSessions("B", ())])
    broken, empty = forecast_bias(walk, on(200), tolerance_pct=5.0)
    for found in (broken, empty):
        assert found.today is found.passes_on is found.worst is None
        assert "Calibrate it" in found.sentence
    assert "since the works of" in broken.sentence
    assert "has no session" in empty.sentence


def test_works_between_sessions_tell_nothing_of_wander():
    sessions = (
        BiasSession(START, 3.0, 0.5, 0.0, 0.5),
        BiasSession(on(365), 9.0, 0.5, 0.0, 0.5),
    )
    wild = fit([LaneSessions("A", sessions)])
    assert wild.n_intervals == 1
    assert wild.wander.value > 2.5
    excused = fit([LaneSessions("A", sessions, broken_on=(on(30),))])
    assert excused.n_intervals == 0
    assert excused.wander.value == pytest.approx(2.0, rel=1e-4)


def test_a_lane_unlike_its_kind_is_named():
    truth = Population(wander_pct=1.0, drift_pct_per_year=0.0)
    lanes, today, _ = simulate(np.random.default_rng(2), truth, 30, 5)
    wild = Population(wander_pct=9.0, drift_pct_per_year=0.0)
    odd, _, _ = simulate(np.random.default_rng(3), wild, 1, 5)
    lanes.append(LaneSessions("odd", odd[0].sessions))
    walk = fit(lanes)
    found = forecast_bias(walk, today, tolerance_pct=5.0)
    assert walk.lanes[-1].misfit_p < 0.001
    assert "more than others of its kind" in found[-1].sentence
    assert np.mean([end.misfit_p < 0.01 for end in walk.lanes[:-1]]) < 0.1


def test_every_number_of_a_forecast_stands_beside_what_it_rests_on():
    lanes, today, _ = simulate(np.random.default_rng(4), Population(), 5, 3)
    walk = fit(lanes)
    assert "10 intervals between sessions of 5 lanes" in walk.sentence
    assert walk.basis.startswith("10 intervals of 5 quartz piezo lanes; prior's share")
    for found in forecast_bias(walk, today, tolerance_pct=5.0):
        assert "this lane's 3 sessions and on 10 intervals of 5" in found.sentence
        assert "90 % interval" in found.sentence


@pytest.mark.parametrize(
    ("session", "message"),
    [
        ({"found_pct": 1.0}, "go together"),
        ({"left_pct": 1.0, "left_se_pct": 0.0}, "greater than zero"),
        ({"found_pct": float("nan"), "found_se_pct": 1.0}, "number in per cent"),
    ],
)
def test_sessions_that_cannot_be(session, message):
    with pytest.raises(DomainError, match=message):
        BiasSession(START, **session)


def test_inputs_that_cannot_be():
    with pytest.raises(DomainError, match="two sessions on 1 Jan 2030"):
        LaneSessions("A", (BiasSession(START), BiasSession(START)))
    with pytest.raises(DomainError, match="one key"):
        fit([one_lane(), one_lane()])
    with pytest.raises(DomainError, match="level"):
        fit([one_lane()], level=1.0)
    with pytest.raises(DomainError, match="wander_pct must be above zero"):
        WalkPrior(wander_pct=0.0)
    walk = fit([one_lane()])
    for kwargs, message in [
        ({"tolerance_pct": 0.0}, "tolerance"),
        ({"tolerance_pct": 5.0, "level": 0.0}, "chance to act at"),
        ({"tolerance_pct": 5.0, "longest_days": 0}, "longest interval"),
        ({"tolerance_pct": 5.0, "later_days": (-1,)}, "counted from today"),
    ]:
        with pytest.raises(DomainError, match=message):
            forecast_bias(walk, START, **kwargs)
    with pytest.raises(DomainError, match="after the day of the forecast"):
        forecast_bias(walk, on(-1), tolerance_pct=5.0)
