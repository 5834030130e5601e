"""Simulated policies against renewal theory."""

import math

import numpy as np
import pytest

from installs.calc.renewals import expected_replacements
from installs.calc.types import FitMethod, Technology, WeibullFit
from installs.calc.upkeep.costs import SensorPrice, SharedCosts
from installs.calc.upkeep.fleet import Policy, Position, Times
from installs.calc.upkeep.futures import Futures
from installs.calc.upkeep.policies import compare_policies, lane_downtime_years
from installs.calc.upkeep.replacement_age import ReplacementCosts, cost_rate
from installs.calc.upkeep.types import PolicyKind

PIEZO = Technology.POLYMER_PIEZO
AT_ONCE = Times(
    repair_years=0.0,
    planned_down_years=0.0,
    works_down_years=0.0,
    inspection_years=0.001,
)
NOT_SHARED = SharedCosts(mobilisation=0.0, urgent_extra=4.0, trip_window_years=1e-6)


def futures_of(shape, scale, ages, n_draws, horizon):
    return Futures(
        [Position(f"s{i}", f"x{i}", f"x{i}/1", PIEZO, a) for i, a in enumerate(ages)],
        {str(PIEZO): (np.full(n_draws, shape), np.full(n_draws, scale))},
        horizon_years=horizon,
        rng=np.random.default_rng(11),
        times=AT_ONCE,
    )


@pytest.mark.parametrize("horizon", [3.0, 10.0])
def test_replacing_on_failure_agrees_with_the_renewal_equation(horizon):
    """Cox 1962 (from memory), solved on a grid: 20 sensors aged 0 to 10 years, shape
    2, scale 8; four standard errors."""
    ages = np.linspace(0.0, 10.0, 20)
    events = futures_of(2.0, 8.0, ages, 2000, horizon).play(
        Policy(PolicyKind.ON_FAILURE)
    )
    counts = np.bincount(events.draw, minlength=2000)
    fit = WeibullFit(
        2.0, 8.0, ((0.0, 0.0), (0.0, 0.0)), 0, 0, FitMethod.MAXIMUM_LIKELIHOOD, 0.0
    )
    expected = expected_replacements(fit, ages, [horizon])[0]
    assert abs(counts.mean() - expected) < 4 * counts.std() / math.sqrt(2000)


def test_long_run_cost_at_an_age_agrees_with_barlow_and_hunter():
    """Barlow and Hunter 1960 (from memory): planned 1, failure 5, age 3, shape 2.5,
    scale 5. Over 600 years the ends hardly count."""
    futures = futures_of(2.5, 5.0, np.zeros(4), 100, 600.0)
    (found,) = compare_policies(
        futures,
        [Policy(PolicyKind.AT_AGE, age_years=3.0)],
        {PIEZO: SensorPrice(parts=1.0)},
        NOT_SHARED,
        {f"x{i}/1": 1.0 for i in range(4)},
    )
    expected = 4 * float(cost_rate(2.5, 5.0, 3.0, ReplacementCosts(5.0, 1.0)))
    assert found.cost_per_year.mean == pytest.approx(expected, rel=0.01)


def test_condition_of_like_sensors_is_an_age():
    """Without spread between sensors, a chance within a year is reached at one age, so
    the condition costs what that age costs (within the inspection's step)."""
    age = 3.0
    chance = -math.expm1((age / 5.0) ** 2.5 - ((age + 1.0) / 5.0) ** 2.5)
    futures = futures_of(2.5, 5.0, np.zeros(4), 40, 200.0)
    aged, conditioned = compare_policies(
        futures,
        [
            Policy(PolicyKind.AT_AGE, age_years=age),
            Policy(PolicyKind.AT_CONDITION, chance_within_year=chance),
        ],
        {PIEZO: SensorPrice(parts=1.0)},
        NOT_SHARED,
        {f"x{i}/1": 1.0 for i in range(4)},
    )
    assert conditioned.cost_per_year.mean == pytest.approx(
        aged.cost_per_year.mean, rel=0.01
    )


def test_availability_of_an_alternating_process():
    """Alternating renewal process (Cox 1962, from memory): after T years of cycles of
    mean c and variance v, begun with a new sensor, T / c + (v - c²) / (2 c²) repairs
    have been needed, each of half a year; four standard errors."""
    futures = Futures(
        [Position("s", "x", "x/1", PIEZO, 0.0)],
        {str(PIEZO): (np.full(400, 2.0), np.full(400, 5.0))},
        horizon_years=200.0,
        rng=np.random.default_rng(5),
        times=Times(repair_years=0.5),
    )
    down = lane_downtime_years(futures.play(Policy(PolicyKind.ON_FAILURE)), futures)
    cycle = 5.0 * math.gamma(1.5) + 0.5
    variance = 25.0 * (1.0 - math.gamma(1.5) ** 2)
    repairs = 200.0 / cycle + (variance - cycle**2) / (2.0 * cycle**2)
    error = down.std() / math.sqrt(400)
    assert error < 0.01 * down.mean()
    assert abs(down.mean() - 0.5 * repairs) < 4 * error
