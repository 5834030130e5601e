"""NIST/SEMATECH e-Handbook of Statistical Methods, and exact binomial table values."""

import pytest

from calibration.calc.statistics import (
    binomial_interval,
    mean_interval,
    single_pass_interval,
    summarise,
)
from tests.calibration.calc.build import plain_errors, with_moments


def test_t_interval_of_the_mean():
    """E-Handbook 1.3.5.2: 195 heat flow values."""
    low, high = mean_interval(9.261460, 0.022789, 195)
    assert low == pytest.approx(9.258242, abs=1e-6)
    assert high == pytest.approx(9.264679, abs=1e-6)


def test_exact_binomial_interval():
    """E-Handbook 7.2.4.1: 4 of 20, 90 %. It prints .401029; exact is .4010281."""
    interval = binomial_interval(4, 20, level=0.90)
    assert interval.low == pytest.approx(0.071354, abs=1e-6)
    assert interval.high == pytest.approx(0.401029, abs=2e-6)
    assert interval.high == pytest.approx(0.4010281, abs=5e-8)


@pytest.mark.parametrize(
    ("n_within", "n", "low", "high"),
    [
        (20, 20, 0.8316, 1.0),
        (19, 20, 0.7513, 0.9987),
        (40, 40, 0.9119, 1.0),
        (38, 40, 0.8308, 0.9939),
        (12, 12, 0.7354, 1.0),
    ],
)
def test_clopper_pearson_of_common_run_counts(n_within, n, low, high):
    """Computed by an independent program; 20/20 is 0.025^(1/20) by hand."""
    interval = binomial_interval(n_within, n)
    assert interval.low == pytest.approx(low, abs=5e-5)
    assert interval.high == pytest.approx(high, abs=5e-5)
    if n_within == n:
        assert interval.low == pytest.approx(0.025 ** (1 / n))


def test_summary_agrees_with_the_worked_figures():
    """n 40, mean 1.2 %, sd 3.5 %: single passes −5.88 to +8.28 % (by hand)."""
    found = summarise(plain_errors(with_moments(40, 1.2, 3.5)))
    assert (found.n, found.mean) == (40, pytest.approx(1.2))
    assert found.sd == pytest.approx(3.5)
    assert found.single_pass_interval.low == pytest.approx(-5.88, abs=0.005)
    assert found.single_pass_interval.high == pytest.approx(8.28, abs=0.005)
    assert single_pass_interval(1.2, 3.5, 40) == pytest.approx((-5.8794, 8.2794), 1e-4)
