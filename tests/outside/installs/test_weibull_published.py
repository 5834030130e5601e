"""Weibull fits, fixed-shape fits and conditional lives that were printed elsewhere."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import CensoredData, weibull_min

from installs.calc.condition import weibull_hazards
from installs.calc.survival import (
    failure_probability,
    mean_remaining_life,
    median_remaining_life,
    weibull_survival,
)
from installs.calc.types import Life
from installs.calc.weibull import (
    shape_profile_interval,
    weibull_fixed_shape_lower_scale,
    weibull_fixed_shape_scale,
    weibull_maximum_likelihood,
)
from tests.outside.installs.published_lives import (
    FAN_FAILED_HOURS,
    FAN_RUNNING_HOURS,
    NIST_HOURS,
    SHOCK_MODE_1_KM,
    SHOCK_MODE_2_KM,
    SHOCK_WORKING_KM,
    SIX_MP,
    SIX_MP_CONTROL,
    SUNY_FAILED,
    SUNY_WORKING,
    lives,
)

SHOCK = lives(SHOCK_MODE_1_KM + SHOCK_MODE_2_KM, SHOCK_WORKING_KM)
FANS = lives(
    [hours / 1000 for hours in FAN_FAILED_HOURS],
    [hours / 1000 for hours, n in FAN_RUNNING_HOURS.items() for _ in range(n)],
)


def test_nist_example():
    """E-Handbook 8.4.1.3: shape 1.7208, scale 606.5280, log-likelihood -75.135.

    Its scale was printed by an optimiser that stopped 1e-6 short.
    """
    fit = weibull_maximum_likelihood(NIST_HOURS)
    assert fit.shape == pytest.approx(1.7208, abs=5e-5)
    assert fit.scale_years == pytest.approx(606.5280, rel=2e-6)
    assert fit.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert 2 * 2 - 2 * fit.log_likelihood == pytest.approx(154.27, abs=5e-3)
    assert fit.mean_years == pytest.approx(540.737, abs=1e-3)


def test_shock_absorber():
    """Meeker & Escobar 1998, chapter 8: estimates, standard errors, 95 % limits.

    Scale 27718.72 (SE 3046.02; 22347.77 to 34380.49), shape 3.16 (SE .73; 2.01 to
    4.97); location 10.23 (SE .11) and 1/shape .32 (SE .07) of the log lives.
    """
    fit = weibull_maximum_likelihood(SHOCK)
    error_log_shape, error_log_scale = fit.standard_error_log()
    assert (fit.n_units, fit.n_failures) == (38, 11)
    assert fit.scale_years == pytest.approx(27718.72, abs=0.006)
    assert fit.scale_years * error_log_scale == pytest.approx(3046.02, abs=0.006)
    assert fit.scale_interval().low == pytest.approx(22347.77, abs=0.006)
    assert fit.scale_interval().high == pytest.approx(34380.49, abs=0.006)
    assert fit.shape == pytest.approx(3.16, abs=0.005)
    assert fit.shape * error_log_shape == pytest.approx(0.73, abs=0.005)
    assert fit.shape_interval().low == pytest.approx(2.01, abs=0.005)
    assert fit.shape_interval().high == pytest.approx(4.97, abs=0.005)
    assert math.log(fit.scale_years) == pytest.approx(10.23, abs=0.005)
    assert error_log_scale == pytest.approx(0.11, abs=0.005)
    assert 1 / fit.shape == pytest.approx(0.32, abs=0.005)
    assert error_log_shape / fit.shape == pytest.approx(0.07, abs=0.005)


def test_diesel_fan():
    """Nelson 1982, as fitted in the SAS/QC manual: shape 1.0584, scale 26.2968."""
    fit = weibull_maximum_likelihood(FANS)
    assert (fit.n_units, fit.n_failures) == (70, 12)
    assert fit.shape == pytest.approx(1.0584, abs=5e-5)
    assert fit.scale_years == pytest.approx(26.2968, abs=5.1e-5)


def test_suny_teaching_set():
    """State University of New York teaching set: shape 2.149, scale 28.99."""
    fit = weibull_maximum_likelihood(lives(SUNY_FAILED, SUNY_WORKING))
    assert fit.shape == pytest.approx(2.149, abs=5e-4)
    assert fit.scale_years == pytest.approx(28.99, abs=0.0065)


@pytest.mark.parametrize(
    "data", [NIST_HOURS, SHOCK, FANS, SIX_MP], ids=["nist", "shock", "fans", "6-mp"]
)
def test_equals_the_library_fit(data: list[Life]):
    """scipy.stats.weibull_min.fit, location held at zero (its default tolerance)."""
    shape, _, scale = weibull_min.fit(
        CensoredData(
            uncensored=[x.age_years for x in data if x.failed],
            right=[x.age_years for x in data if not x.failed],
        ),
        floc=0,
    )
    fit = weibull_maximum_likelihood(data)
    assert fit.shape == pytest.approx(shape, rel=1e-4)
    assert fit.scale_years == pytest.approx(scale, rel=1e-4)


def test_bracketed_equal_the_library_fit():
    """scipy.stats.weibull_min.fit with interval-censored and censored lives."""
    brackets = [(0, 1), (2, 3), (3, 4), (3, 4), (5, 6), (6, 7), (6, 7), (8, 9)]
    working = [4.5, 7.5, 9.0, 9.0]
    fit = weibull_maximum_likelihood(
        [
            *(Life(hi, True, low_years=lo, high_years=hi) for lo, hi in brackets),
            *(Life(age, False) for age in working),
        ]
    )
    shape, _, scale = weibull_min.fit(
        CensoredData(interval=brackets, right=working), floc=0
    )
    assert fit.n_failures == 8
    assert fit.shape == pytest.approx(shape, rel=1e-4)
    assert fit.scale_years == pytest.approx(scale, rel=1e-4)


@pytest.mark.parametrize(
    ("mode", "other", "shape", "scale"),
    [
        (SHOCK_MODE_1_KM, SHOCK_MODE_2_KM, 3.3839, 31205.8),
        (SHOCK_MODE_2_KM, SHOCK_MODE_1_KM, 2.8222, 40865.9),
    ],
)
def test_one_mode_with_the_other_censored(mode, other, shape, scale):
    """Shock absorber by mode; values by an independent fit (scipy, tight optimiser)."""
    fit = weibull_maximum_likelihood(lives(mode, other + SHOCK_WORKING_KM))
    assert fit.shape == pytest.approx(shape, abs=5.1e-5)
    assert fit.scale_years == pytest.approx(scale, abs=0.06)


def test_profile_interval_of_the_nist_shape():
    """The defining equation: at each end the best log-likelihood has dropped by
    chi2(.95, 1) / 2 = 1.9207; the profile is computed here by the closed form for
    right-censored lives, apart from our search."""
    fit = weibull_maximum_likelihood(NIST_HOURS)
    interval = shape_profile_interval(NIST_HOURS, fit)

    def profile(shape: float) -> float:
        total = sum(x.age_years**shape for x in NIST_HOURS)
        logs = sum(math.log(x.age_years) for x in NIST_HOURS if x.failed)
        return 10 * math.log(shape * 10 / total) + (shape - 1) * logs - 10

    for end in (interval.low, interval.high):
        assert profile(fit.shape) - profile(end) == pytest.approx(1.920729, abs=1e-5)
    assert interval.low < fit.shape < interval.high


def test_six_mp_regression():
    """R survreg on Freireich's two arms (from memory): intercept 3.516, control
    -1.267, scale .732. With location = log scale, hazard ratio = exp(1.267 / .732)."""
    both = SIX_MP + SIX_MP_CONTROL
    arm = [[0.0]] * len(SIX_MP) + [[1.0]] * len(SIX_MP_CONTROL)
    found = weibull_hazards(both, np.array(arm), start=(0.0, 3.0))
    u, v, log_ratio = found[0]
    assert v == pytest.approx(3.516, abs=5.1e-4)
    assert math.exp(-u) == pytest.approx(0.732, abs=5.1e-4)
    assert -log_ratio * math.exp(-u) == pytest.approx(-1.267, abs=5.1e-4)


@pytest.mark.parametrize(
    ("shape", "scale"), [(1.0, 777.1), (1.5, 636.286), (2.0, 580.773), (3.0, 536.232)]
)
def test_fixed_shape(shape, scale):
    """NIST lives with the shape as known; at shape 1 exactly total time / failures.

    Others: scipy.stats.weibull_min.fit with its shape held.
    """
    assert weibull_fixed_shape_scale(NIST_HOURS, shape) == pytest.approx(
        scale, abs=5.1e-4
    )


def test_exponential_six_mp():
    """6-MP arm: 359 weeks in all, 9 relapses, mean 39.889."""
    assert weibull_fixed_shape_scale(SIX_MP, 1.0) == pytest.approx(359 / 9)


def test_lower_bound_without_failures():
    """Nelson 1985 (from memory): (2 sum t² / 5.9915)^(1/2) for 5, 6, 7, 8: 7.6212."""
    bound = weibull_fixed_shape_lower_scale(lives([], [5, 6, 7, 8]), 2.0)
    assert bound == pytest.approx(math.sqrt(2 * (25 + 36 + 49 + 64) / 5.99146))
    assert bound == pytest.approx(7.6212, abs=5e-5)


@pytest.mark.parametrize("age", [0.0, 200.0, 500.0])
def test_conditional_life_by_quadrature(age):
    """Textbook definitions (Meeker & Escobar, ch. 2, from memory), integrated here."""
    fit = weibull_maximum_likelihood(NIST_HOURS)

    def survival(t: float) -> float:
        return float(weibull_min.sf(t, fit.shape, scale=fit.scale_years))

    whole = quad(survival, age, 6000.0, epsabs=1e-12, limit=200)[0]
    assert float(mean_remaining_life(fit, age)) == pytest.approx(whole / survival(age))
    half = float(median_remaining_life(fit, age))
    assert survival(age + half) == pytest.approx(survival(age) / 2)
    assert float(failure_probability(fit, age, 250.0)) == pytest.approx(
        1 - survival(age + 250) / survival(age)
    )
    assert float(weibull_survival(fit, age)) == pytest.approx(survival(age))


@pytest.mark.parametrize(
    ("age", "chance", "median", "mean"),
    [
        (0.0, 0.195548, 490.174, 540.7370),
        (200.0, 0.362428, 348.600, 407.2545),
        (500.0, 0.515098, 240.684, 303.1173),
    ],
)
def test_conditional_life_numbers(age, chance, median, mean):
    """NIST fit, within 250 hours; recorded values of an independent computation."""
    fit = weibull_maximum_likelihood(NIST_HOURS)
    assert float(failure_probability(fit, age, 250.0)) == pytest.approx(
        chance, abs=1e-6
    )
    assert float(median_remaining_life(fit, age)) == pytest.approx(median, abs=1e-3)
    assert float(mean_remaining_life(fit, age)) == pytest.approx(mean, abs=2e-4)
