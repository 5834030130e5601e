"""Age replacement against published examples and closed forms."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.stats import weibull_min

from installs.calc.upkeep.replacement_age import (
    ReplacementCosts,
    best_replacement_age,
    cost_rate,
    cost_rate_of_curve,
    discounted_cost_per_year,
    discounted_optimal_age_years,
    optimal_age_years,
)

FIVE_TO_ONE = ReplacementCosts(failure=5.0, planned=1.0)


def test_documented_example_of_a_reliability_library():
    """Documentation of the open-source Python library "reliability", optimal
    replacement time: shape 2.5, scale 1,000, failure 5, planned 1 give 493.19 at 0.0035
    per unit of time; its own test prints 493.185 and 0.00346204. It searches a grid, so
    its age is held to one unit, its cost, flat at the minimum, to all digits."""
    found = best_replacement_age(2.5, 1000.0, FIVE_TO_ONE)
    assert found.age_years == pytest.approx(493.19, abs=1.0)
    assert found.cost_per_year == pytest.approx(0.0034620429, rel=1e-6)


@pytest.mark.parametrize(
    ("age", "printed"),
    [(10_000, 0.0143), (20_000, 0.01), (30_000, 0.0093), (40_000, 0.01)],
)
def test_textbook_problem_with_uniform_lives(age, printed):
    """Jardine and Tsang, Maintenance, Replacement and Reliability, 2nd edition,
    chapter 2, problem 2 (published solution): lives uniform from 0 to 40,000 km,
    planned 100, failure 200; the best of the four ages is 30,000 km."""
    costs = ReplacementCosts(failure=200.0, planned=100.0)
    found = cost_rate_of_curve(lambda t: 1.0 - t / 40_000.0, age, costs)
    assert found == pytest.approx(printed, abs=6e-5)


@pytest.mark.parametrize("shape", [0.6, 1.0])
def test_no_age_pays_unless_the_hazard_rises(shape):
    """Barlow and Hunter 1960 (from memory): for exponential lives the cost falls with
    every later age, to c_f / mean."""
    assert optimal_age_years(shape, 4.0, FIVE_TO_ONE) == math.inf
    ages = np.linspace(0.2, 40.0, 60)
    assert np.all(np.diff(cost_rate(shape, 4.0, ages, FIVE_TO_ONE)) < 1e-12)


def test_exponential_cost_in_closed_form():
    """By hand: c_f / mean + c_p R / (mean F)."""
    survives = math.exp(-0.5)
    assert cost_rate(1.0, 4.0, 2.0, FIVE_TO_ONE) == pytest.approx(
        5.0 / 4.0 + survives / (4.0 * (1.0 - survives))
    )


@pytest.mark.parametrize("shape", [1.05, 1.5, 2.0, 3.7])
@pytest.mark.parametrize("ratio", [1.2, 3.0, 20.0])
def test_optimum_is_that_of_a_general_search(shape, ratio):
    """scipy: quadrature of weibull_min.sf and a bounded scalar search."""
    costs = ReplacementCosts(ratio, 1.0)
    lives = weibull_min(shape, scale=6.0)

    def by_quadrature(log_age):
        age = math.exp(log_age)
        gone = lives.cdf(age)
        return (ratio * gone + 1.0 - gone) / quad(lives.sf, 0.0, age)[0]

    age = float(optimal_age_years(shape, 6.0, costs))
    if math.isinf(age):
        # The saving, if there is one, lies beyond double precision.
        assert by_quadrature(math.log(6.0 * 30 ** (1 / shape))) == pytest.approx(
            ratio / lives.mean(), rel=1e-8
        )
        return
    best = minimize_scalar(
        by_quadrature, bounds=(math.log(0.05), math.log(age * 3)), method="bounded"
    )
    assert cost_rate(shape, 6.0, age, costs) <= best.fun * (1 + 1e-9)
    assert cost_rate(shape, 6.0, age, costs) == pytest.approx(best.fun, rel=1e-6)


def test_long_run_cost_by_simulation():
    """Renewal reward theorem: 40,000 cycles played through, four standard errors."""
    rng = np.random.default_rng(8)
    lives = 5.0 * rng.weibull(2.5, 40_000)
    cost = np.where(lives < 3.0, 5.0, 1.0)
    time = np.minimum(lives, 3.0)
    simulated = cost.sum() / time.sum()
    spread = np.std(cost - simulated * time) / (time.mean() * math.sqrt(40_000))
    expected = cost_rate(2.5, 5.0, 3.0, FIVE_TO_ONE)
    assert abs(simulated - expected) < 4 * spread


def test_discounted_exponential_in_closed_form():
    """Exponential lives replaced on failure are a Poisson process: whatever the
    discount, the cost a year is c_f / mean (Fox 1966, from memory; by hand)."""
    for rate in (0.01, 0.05, 0.2):
        assert discounted_cost_per_year(
            1.0, 4.0, math.inf, FIVE_TO_ONE, rate_per_year=rate
        ) == pytest.approx(5.0 / 4.0, rel=1e-8)


def test_discounting_tends_to_the_plain_rate_and_puts_off():
    """As the rate goes to nought both agree; with it the best age is later."""
    plain = float(optimal_age_years(2.5, 5.0, FIVE_TO_ONE))
    assert discounted_cost_per_year(
        2.5, 5.0, 3.0, FIVE_TO_ONE, rate_per_year=1e-9
    ) == pytest.approx(float(cost_rate(2.5, 5.0, 3.0, FIVE_TO_ONE)), rel=1e-6)
    ages = [
        discounted_optimal_age_years(2.5, 5.0, FIVE_TO_ONE, rate_per_year=rate)
        for rate in (0.0, 0.03, 0.10)
    ]
    assert ages[0] == pytest.approx(plain, rel=1e-6)
    assert ages[0] < ages[1] < ages[2]
    best = minimize_scalar(
        lambda age: discounted_cost_per_year(
            2.5, 5.0, age, FIVE_TO_ONE, rate_per_year=0.10
        ),
        bounds=(0.5, 9.0),
        method="bounded",
        options={"xatol": 1e-7},
    )
    assert ages[2] == pytest.approx(best.x, rel=1e-4)


def test_discounted_cost_by_simulation():
    """Present value of 60 replacements played through 4,000 times, four errors."""
    rng = np.random.default_rng(9)
    lives = 5.0 * rng.weibull(2.5, (4000, 60))
    times = np.cumsum(np.minimum(lives, 3.0), axis=1)
    paid = np.where(lives < 3.0, 5.0, 1.0) * 1.1**-times
    worth = paid.sum(axis=1) * math.log(1.1)
    expected = discounted_cost_per_year(2.5, 5.0, 3.0, FIVE_TO_ONE, rate_per_year=0.10)
    assert abs(worth.mean() - expected) < 4 * worth.std() / math.sqrt(4000)
