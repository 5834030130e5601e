"""Renewal counts and counts of first failures against their theory."""

import numpy as np
import pytest
from scipy.stats import binom, gamma, poisson

from installs.calc.forecast import failure_count_distribution
from installs.calc.renewals import (
    expected_replacements,
    renewal_function,
    simulated_replacements,
)
from installs.calc.types import FitMethod, WeibullFit

KNOWN = WeibullFit(
    shape=2.0,
    scale_years=8.0,
    log_covariance=((0.0, 0.0), (0.0, 0.0)),
    n_units=0,
    n_failures=0,
    method=FitMethod.MAXIMUM_LIKELIHOOD,
    log_likelihood=0.0,
)


def test_exponential_lives_renew_at_a_constant_rate():
    """Cox 1962: for exponential lives M(t) = t / mean, exactly."""
    times = [0.0, 0.5, 1.0, 2.0, 7.0]
    assert renewal_function(1.0, 1.0, times) == pytest.approx(times, abs=2e-5)
    assert renewal_function(1.0, 4.0, times) == pytest.approx(
        np.array(times) / 4.0, abs=2e-5
    )


@pytest.mark.parametrize(
    ("time", "renewals"), [(0.5, 0.2308), (1.0, 0.7537), (2.0, 1.8940), (3.0, 3.0218)]
)
def test_weibull_renewal_function(time, renewals):
    """Shape 2, scale 1: independent grid solution (step .005), four digits."""
    assert renewal_function(2.0, 1.0, [time]) == pytest.approx([renewals], abs=5.1e-5)


def test_weibull_renewal_function_as_a_sum_of_convolutions():
    """Cox 1962: M(t) = sum of the k-fold convolutions of F, built here by histogram."""
    step, n = 0.002, 1000
    edges = np.arange(n + 1) * step
    mass = np.diff(-np.expm1(-(edges**2)))
    many = mass.copy()
    # Each k-fold sum of mid-points lies (k - 1) half steps to the right: at most 2 %.
    total = np.cumsum(many)
    for _ in range(12):
        many = np.convolve(many, mass)[:n]
        total += np.cumsum(many)
    assert renewal_function(2.0, 1.0, [1.0, 2.0]) == pytest.approx(
        [total[499], total[999]], rel=0.01
    )


def test_long_run_rate():
    """Elementary renewal theorem and its constant (Cox 1962, section 4.2): for large t
    M(t) = t / mean + (variance - mean²) / (2 mean²)."""
    mean, second = np.sqrt(np.pi) / 2, 1.0
    constant = (second - mean**2 - mean**2) / (2 * mean**2)
    got = renewal_function(2.0, 1.0, [6.0, 9.0])
    assert got == pytest.approx(np.array([6.0, 9.0]) / mean + constant, abs=2e-4)


@pytest.mark.parametrize("horizon", [3.0, 5.0, 10.0])
def test_simulated_counts_agree_with_the_renewal_equation(horizon):
    """Two independent routes, 40 sensors aged 0 to 10 years; four standard errors."""
    ages = np.linspace(0.0, 10.0, 40)
    counts = simulated_replacements(
        KNOWN, ages, [horizon], n_draws=4000, rng=np.random.default_rng(20)
    )[:, 0]
    expected = expected_replacements(KNOWN, ages, [horizon])[0]
    assert abs(counts.mean() - expected) < 4 * counts.std() / np.sqrt(4000)


def test_first_failures_by_hand():
    """Poisson-binomial of .1 .2 .3 .4 by hand: .3024 .4404 .2144 .0404 .0024."""
    assert failure_count_distribution([0.1, 0.2, 0.3, 0.4]) == pytest.approx(
        [0.3024, 0.4404, 0.2144, 0.0404, 0.0024]
    )


def test_equal_chances_are_binomial():
    """scipy.stats.binom."""
    assert failure_count_distribution([0.3] * 25) == pytest.approx(
        binom.pmf(np.arange(26), 25, 0.3)
    )


def test_exponential_fleet_is_poisson():
    """Cox 1962: renewals of exponential lives are a Poisson process, at any age."""
    fit = WeibullFit(1.0, 5.0, KNOWN.log_covariance, 0, 0, KNOWN.method, 0.0)
    ages = np.linspace(0.0, 30.0, 10)
    assert expected_replacements(fit, ages, [1.0, 4.0]) == pytest.approx(
        [2.0, 8.0], abs=2e-4
    )
    counts = simulated_replacements(
        fit, ages, [1.0, 4.0], n_draws=4000, rng=np.random.default_rng(3)
    )
    shares = np.bincount(counts.sum(axis=1), minlength=30)[:30] / 4000
    assert shares == pytest.approx(poisson.pmf(np.arange(30), 8.0), abs=0.03)
    assert counts.sum(axis=1).var() == pytest.approx(8.0, rel=0.1)


def test_sum_of_new_lives_is_gamma():
    """Two exponential lives end by t with the gamma(2) distribution: M - F at t."""
    first_two = gamma.cdf(1.0, 1) + gamma.cdf(1.0, 2)
    rest = sum(gamma.cdf(1.0, k) for k in range(3, 30))
    assert renewal_function(1.0, 1.0, [1.0])[0] == pytest.approx(
        first_two + rest, abs=1e-5
    )
