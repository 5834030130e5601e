"""The likelihood's derivatives against differences, its parts against definitions."""

import math

import numpy as np
import pytest
from scipy.stats import norm, weibull_min

from installs.calc.likelihood import LifeData, log_likelihood, log_prior
from installs.calc.types import Life, LifePrior

LIVES = [
    Life(3.0, True),
    Life(5.0, True, entry_age_years=2.0),
    Life(4.0, False),
    Life(7.0, False, entry_age_years=1.0),
    Life(2.0, True, low_years=1.0, high_years=2.0),
    Life(6.0, True, entry_age_years=3.0, low_years=4.0, high_years=6.0),
    Life(1.0, True, low_years=0.0, high_years=1.0),
    Life(0.0, False),
]
PRIOR = LifePrior(4.0, "own records")


def whole(u, v):
    return log_likelihood(LifeData.of(LIVES), u, v) + log_prior(PRIOR, u, v)


@pytest.mark.parametrize(("u", "v"), [(0.0, 1.0), (0.7, 1.5), (-0.4, 2.0), (1.5, 1.2)])
def test_derivatives_equal_central_differences(u, v):
    h = 1e-5
    here = whole(u, v)
    gradient = [
        (whole(u + h, v).value - whole(u - h, v).value) / (2 * h),
        (whole(u, v + h).value - whole(u, v - h).value) / (2 * h),
    ]
    hessian = [
        (whole(u + h, v).gradient - whole(u - h, v).gradient) / (2 * h),
        (whole(u, v + h).gradient - whole(u, v - h).gradient) / (2 * h),
    ]
    assert here.gradient == pytest.approx(np.array(gradient), rel=1e-6, abs=1e-7)
    assert here.hessian == pytest.approx(np.array(hessian), rel=1e-6, abs=1e-7)
    assert np.array_equal(here.hessian, here.hessian.T)


def test_value_is_the_sum_of_log_probabilities():
    """Each life by scipy's Weibull: density, survival, bracket, each over S(entry)."""
    shape, scale = 1.8, 5.0
    lives = weibull_min(shape, scale=scale)
    parts = []
    for life in LIVES:
        if life.is_bracketed:
            parts.append(math.log(lives.sf(life.low_years) - lives.sf(life.high_years)))
        elif life.failed:
            parts.append(lives.logpdf(life.age_years))
        else:
            parts.append(lives.logsf(life.age_years))
        parts.append(-lives.logsf(life.entry_age_years))
    got = log_likelihood(LifeData.of(LIVES), math.log(shape), math.log(scale))
    assert got.value == pytest.approx(sum(parts), rel=1e-12)


def test_prior_is_normal_in_log_shape_and_log_median():
    shape, scale = 1.4, 9.0
    median = weibull_min.median(shape, scale=scale)
    got = log_prior(PRIOR, math.log(shape), math.log(scale)).value
    peak = log_prior(
        PRIOR, math.log(2.0), math.log(4.0) - 0.5 * math.log(math.log(2.0))
    ).value
    wanted = norm.logpdf(math.log(shape), math.log(2.0), 0.4) + norm.logpdf(
        math.log(median), math.log(4.0), 0.5
    )
    wanted -= norm.logpdf(0.0, 0.0, 0.4) + norm.logpdf(0.0, 0.0, 0.5)
    assert peak == pytest.approx(0.0, abs=1e-12)
    assert got == pytest.approx(wanted)


def test_absurd_parameters_stay_finite():
    plain = [life for life in LIVES if not life.is_bracketed]
    got = log_likelihood(LifeData.of(plain), 6.0, -5.0)
    assert math.isfinite(got.value)
    assert np.all(np.isfinite(got.hessian))


def test_a_bracket_without_probability_is_impossible():
    assert log_likelihood(LifeData.of(LIVES), 6.0, -5.0).value == -math.inf


def test_counts_exact_and_bracketed_failures():
    assert LifeData.of(LIVES).n_failures == 5
    assert LifeData.of([]).n_failures == 0
