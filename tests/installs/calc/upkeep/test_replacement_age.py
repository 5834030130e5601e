"""The best age in words, with its interval, and what is refused."""

import math

import numpy as np
import pytest

from installs.calc.upkeep.replacement_age import (
    ReplacementCosts,
    best_age_of_draws,
    best_replacement_age,
    cost_rate,
    discounted_cost_per_year,
    discounted_optimal_age_years,
    optimal_age_years,
)
from wimprog.lib.errors import DomainError

COSTS = ReplacementCosts(failure=12_000.0, planned=4_000.0)


def test_the_sentence_tells_age_costs_and_saving():
    found = best_replacement_age(3.0, 5.0, COSTS)
    assert not found.never
    assert 0.0 < found.saving_frac < 1.0
    assert f"{found.age_years:.1f} years" in found.sentence
    assert f"${found.on_failure_cost_per_year:,.0f}" in found.sentence


@pytest.mark.parametrize(
    ("shape", "costs", "why"),
    [
        (0.9, COSTS, "hazard does not rise"),
        (3.0, ReplacementCosts(4.0, 4.0), "no less than a failure"),
        (1.02, ReplacementCosts(1.01, 1.0), "hardly any"),
    ],
)
def test_never_says_why(shape, costs, why):
    found = best_replacement_age(shape, 5.0, costs)
    assert found.never
    assert found.saving_frac == pytest.approx(0.0, abs=1e-9)
    assert why in found.sentence
    assert (
        discounted_optimal_age_years(shape, 5.0, costs, rate_per_year=0.03) == math.inf
    )


def test_draws_without_spread_give_the_known_curve():
    known = best_replacement_age(3.0, 5.0, COSTS)
    drawn = best_age_of_draws(np.full(50, 3.0), np.full(50, 5.0), COSTS)
    assert drawn.age_years == pytest.approx(known.age_years)
    assert drawn.cost_per_year == pytest.approx(known.cost_per_year)
    assert drawn.never_share == 0.0


def test_the_age_of_draws_costs_least_on_average():
    rng = np.random.default_rng(2)
    shapes, scales = np.exp(rng.normal([1.0, 1.6], 0.3, size=(400, 2))).T
    found = best_age_of_draws(shapes, scales, COSTS)
    for age in (0.8 * found.age_years, 1.2 * found.age_years):
        assert cost_rate(shapes, scales, age, COSTS).mean() > found.cost_per_year
    assert found.age_interval.low < found.age_years < found.age_interval.high
    assert "90 %" in found.sentence


def test_draws_that_may_say_never_keep_an_open_end():
    shapes = np.concatenate([np.full(80, 3.0), np.full(20, 0.9)])
    found = best_age_of_draws(shapes, 5.0 * np.ones(100), COSTS)
    assert found.never_share == pytest.approx(0.2)
    assert found.age_interval.high == math.inf
    assert "never" in found.sentence


def test_draws_that_all_say_never():
    found = best_age_of_draws([0.8, 0.9], [5.0, 6.0], COSTS)
    assert found.never
    assert found.never_share == 1.0
    assert "100 %" in found.sentence


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_costs_that_cannot_be_are_refused(bad):
    with pytest.raises(DomainError, match="failure replacement"):
        ReplacementCosts(failure=bad, planned=1.0)


@pytest.mark.parametrize(("shape", "scale"), [(0.0, 5.0), (2.0, -1.0), (math.nan, 5.0)])
def test_curves_that_cannot_be_are_refused(shape, scale):
    with pytest.raises(DomainError, match="above zero"):
        optimal_age_years(shape, scale, COSTS)


def test_a_discount_that_cannot_be_is_refused():
    with pytest.raises(DomainError, match="discount rate"):
        discounted_cost_per_year(2.0, 5.0, 3.0, COSTS, rate_per_year=-0.01)
