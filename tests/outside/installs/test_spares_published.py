"""Stock levels against distributions from elsewhere."""

import math

import numpy as np
import pytest
from scipy.stats import poisson

from installs.calc.upkeep.spares import poisson_demand, spread_demand


@pytest.mark.parametrize("mean", [0.3, 1.0, 2.0, 5.0, 12.0])
@pytest.mark.parametrize("level", [0.8, 0.9, 0.95, 0.99])
def test_poisson_levels(mean, level):
    """scipy.stats.poisson.ppf."""
    assert poisson_demand(mean).least_for(level) == poisson.ppf(level, mean)


def test_poisson_by_hand():
    """e⁻² (1 + 2 + 2 + 4/3 + 2/3) = 0.9473: four of mean two are enough at 90 %."""
    demand = poisson_demand(2.0)
    assert demand.enough(4) == pytest.approx(math.exp(-2) * 7.0)
    assert demand.least_for(0.90) == 4
    assert demand.enough(3) == pytest.approx(0.8571, abs=5e-5)  # Poisson tables


def test_negative_binomial_is_a_gamma_mixed_poisson():
    """Greenwood and Yule 1920 (from memory): played through, 400,000 draws."""
    rng = np.random.default_rng(6)
    counts = rng.poisson(rng.gamma(2.0, 1.5, 400_000))
    demand = spread_demand(3.0, 3.0 + 4.5)
    for count in (0, 2, 5, 9):
        assert demand.enough(count) == pytest.approx(
            np.mean(counts <= count), abs=0.004
        )
