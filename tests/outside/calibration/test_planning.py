"""Plans against exact tables that an independent program computed."""

import math

import pytest

from calibration.calc.pass_chances import Population, chance_of_passing
from calibration.calc.pass_rules import ShareWithinRule, sd_at_limit
from calibration.calc.planning import (
    coverage_of_pooled_interval,
    faultless_runs,
    sd_interval_factors,
)
from calibration.calc.statistics import binomial_interval

NINETEEN_OF_TWENTY = ShareWithinRule(10.0, 5.0, "±10 % for 95 % of values")


@pytest.mark.parametrize(
    ("share", "chance"), [(0.90, 0.392), (0.95, 0.736), (0.975, 0.912), (0.99, 0.983)]
)
def test_chance_of_nineteen_of_twenty(share, chance):
    """A lane with that share truly within shows at least 19 of 20 inside (binomial,
    computed by an independent program)."""
    assert NINETEEN_OF_TWENTY.exact_chance(share, 20) == pytest.approx(chance, abs=5e-4)


def test_a_system_at_the_limit_by_hand():
    """20 runs, one may be outside: 0.95^20 + 20 · 0.05 · 0.95^19 = 0.7358."""
    population = Population(0.0, sd_at_limit(NINETEEN_OF_TWENTY))
    chances, is_exact = chance_of_passing(
        NINETEEN_OF_TWENTY, population, n_vehicles=2, runs_each=[10]
    )
    assert is_exact
    assert chances[0] == pytest.approx(0.95**20 + 20 * 0.05 * 0.95**19)
    # ±10 % at 95 % is 1.96 standard deviations of 5.102 %.
    assert population.run_sd == pytest.approx(10 / 1.959964, rel=1e-6)


@pytest.mark.parametrize(
    ("share", "n"), [(0.80, 14), (0.85, 19), (0.90, 29), (0.95, 59)]
)
def test_runs_without_a_miss(share, n):
    """One-sided 95 % (computed by an independent program); 59 is the 95/95 rule of
    distribution-free tolerance limits (Wilks 1941; from memory)."""
    assert faultless_runs(share) == n
    # Clopper–Pearson of n of n, two-sided 90 %, has that one-sided lower limit.
    assert binomial_interval(n, n, level=0.90).low >= share
    assert binomial_interval(n - 1, n - 1, level=0.90).low < share


@pytest.mark.parametrize(
    ("n", "low", "high"), [(10, 0.688, 1.826), (20, 0.760, 1.461), (40, 0.819, 1.284)]
)
def test_interval_of_the_spread(n, low, high):
    """Chi-square factors, 95 % (computed by an independent program)."""
    found = sd_interval_factors([n])
    assert (found[0][0], found[1][0]) == pytest.approx((low, high), abs=5e-4)


def test_two_trucks_are_two():
    """Truck effect 1.5 %, runs 2 %, 2 × 10 runs: the pooled 95 % interval holds the
    bias over all trucks in 63 % (an independent simulation)."""
    got = coverage_of_pooled_interval(
        Population(0.0, 2.0, truck_sd=1.5), n_vehicles=2, runs_each=10, rounds=6000
    )
    assert got == pytest.approx(0.63, abs=4 * math.sqrt(0.63 * 0.37 / 6000) + 0.01)
