"""Weibull fits: what they refuse, what they lean on, what must not change them."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from installs.calc import weibull
from installs.calc.likelihood import LifeData, Terms, log_likelihood
from installs.calc.survival import fit_weibull
from installs.calc.types import FitMethod, Life, LifePrior
from installs.calc.weibull import (
    shape_profile_interval,
    weibull_fixed_shape_lower_scale,
    weibull_fixed_shape_scale,
    weibull_maximum_likelihood,
    weibull_with_prior,
)
from wimprog.lib.errors import DomainError

PRIOR = LifePrior(4.0, "published life")


def fleet(rng, n=60, shape=2.0, scale=8.0, until=9.0):
    ages = scale * rng.weibull(shape, n)
    return [Life(float(min(age, until)), failed=bool(age < until)) for age in ages]


@pytest.mark.parametrize("n_failures", [0, 1, 2])
def test_too_few_failures_have_no_free_curve(n_failures):
    lives = [Life(2.0 + i, failed=i < n_failures) for i in range(8)]
    with pytest.raises(DomainError, match=f"{n_failures} failures are too few"):
        weibull_maximum_likelihood(lives)


def test_all_failed_at_one_age_is_refused_and_warned_of():
    lives = [Life(3.0, True)] * 12 + [Life(5.0, False)]
    with pytest.raises(DomainError, match="nearly one age"):
        weibull_maximum_likelihood(lives)
    fit = fit_weibull(lives, prior=PRIOR)
    assert fit.method == FitMethod.WITH_PRIOR
    assert "common cause" in fit.notes[0]


def test_one_failure_is_not_warned_of_as_one_event():
    assert weibull_with_prior([Life(3.0, True), Life(1.0, False)], PRIOR).notes == ()


def test_no_lives_leave_the_prior_as_it_is():
    fit = weibull_with_prior([], PRIOR)
    assert fit.shape == pytest.approx(2.0)
    assert fit.median_years == pytest.approx(4.0)
    assert fit.n_units == fit.n_failures == 0
    assert fit.log_likelihood == 0.0
    assert fit.standard_error_log()[0] == pytest.approx(0.4)


def test_no_failures_lengthen_the_expected_life():
    short = weibull_with_prior([Life(1.0, False)] * 10, PRIOR)
    long = weibull_with_prior([Life(6.0, False)] * 10, PRIOR)
    assert 4.0 < short.median_years < long.median_years
    assert long.n_failures == 0
    assert "0 failures in 10 lives" in long.basis
    assert "published life" in long.basis


@pytest.mark.parametrize(
    ("n_failures", "method"),
    [(9, FitMethod.WITH_PRIOR), (10, FitMethod.MAXIMUM_LIKELIHOOD)],
)
def test_prior_is_left_at_ten_failures(n_failures, method):
    lives = [Life(1.0 + 0.5 * i, failed=i < n_failures) for i in range(14)]
    assert fit_weibull(lives, prior=PRIOR).method == method


def test_prior_stays_where_the_likelihood_has_no_maximum():
    """A lone early failure beside late entries: the longer-lived the few, the better
    the likelihood likes it, without end."""
    lives = 3 * [
        Life(2.0, True, 0.98, low_years=1.0, high_years=2.0),
        Life(1.247, True, 0.911),
        Life(2.0, True, 0.85, low_years=1.0, high_years=2.0),
        Life(2.0, True, 0.86, low_years=1.0, high_years=2.0),
    ]
    with pytest.raises(DomainError, match="did not end"):
        weibull_maximum_likelihood(lives)
    assert fit_weibull(lives, prior=PRIOR).method == FitMethod.WITH_PRIOR


def test_a_weak_prior_gives_the_likelihoods_fit():
    lives = fleet(np.random.default_rng(1))
    weak = LifePrior(4.0, "weak", log_median_sd=1e4, log_shape_sd=1e4)
    free, leaning = weibull_maximum_likelihood(lives), weibull_with_prior(lives, weak)
    assert leaning.shape == pytest.approx(free.shape, rel=1e-6)
    assert leaning.scale_years == pytest.approx(free.scale_years, rel=1e-6)
    assert leaning.log_likelihood == pytest.approx(free.log_likelihood)


def test_ignoring_late_entry_would_flatter_the_sensors():
    """Delayed entry is in the fit: units watched from 5 years show only late failures,
    and pretending to have watched them from new lengthens the life."""
    rng = np.random.default_rng(5)
    late = 8.0 * (25 / 64 + rng.standard_exponential(200)) ** 0.5
    told = [Life(float(t), True, entry_age_years=5.0) for t in late]
    untold = [Life(float(t), True) for t in late]
    fit = weibull_maximum_likelihood(told)
    assert fit.scale_interval(0.999).low < 8.0 < fit.scale_interval(0.999).high
    assert weibull_maximum_likelihood(untold).scale_years > fit.scale_years


ages = st.floats(0.1, 40.0, allow_nan=False)


@st.composite
def lives_with_failures(draw):
    failed = draw(st.lists(ages, min_size=4, max_size=20, unique=True))
    assume(max(failed) > 1.1 * min(failed))
    working = draw(st.lists(ages, max_size=20))
    return [Life(t, True) for t in failed] + [Life(t, False) for t in working]


@settings(max_examples=60, deadline=None)
@given(lives_with_failures(), st.floats(0.05, 50.0))
def test_a_change_of_unit_scales_the_scale_only(lives, factor):
    fit = weibull_maximum_likelihood(lives)
    other = weibull_maximum_likelihood(
        [Life(x.age_years * factor, x.failed) for x in lives]
    )
    assert other.shape == pytest.approx(fit.shape, rel=1e-5)
    assert other.scale_years == pytest.approx(fit.scale_years * factor, rel=1e-5)
    assert other.standard_error_log() == pytest.approx(
        fit.standard_error_log(), rel=1e-4
    )


@settings(max_examples=40, deadline=None)
@given(lives_with_failures(), st.randoms(use_true_random=False))
def test_order_of_lives_does_not_matter(lives, random):
    shuffled = list(lives)
    random.shuffle(shuffled)
    fit, other = weibull_with_prior(lives, PRIOR), weibull_with_prior(shuffled, PRIOR)
    assert other.shape == pytest.approx(fit.shape, rel=1e-6)
    assert other.scale_years == pytest.approx(fit.scale_years, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(lives_with_failures())
def test_nothing_nearby_is_likelier(lives):
    fit = weibull_maximum_likelihood(lives)
    data = LifeData.of(lives)
    u, v = math.log(fit.shape), math.log(fit.scale_years)
    best = log_likelihood(data, u, v).value
    assert best == pytest.approx(fit.log_likelihood)
    for du, dv in [(0.05, 0), (-0.05, 0), (0, 0.05), (0, -0.05), (0.05, -0.02)]:
        assert log_likelihood(data, u + du, v + dv).value <= best + 1e-9


def test_a_search_without_end_says_so():
    def slope(x):
        return Terms(float(-x[0]), np.array([-1.0, 0.0]), np.zeros((2, 2)))

    with pytest.raises(DomainError, match="did not end"):
        weibull._lowest(slope, np.zeros(2), close=1e-9)


@pytest.mark.parametrize("lives", [[], [Life(5.0, False)] * 4, [Life(3.0, True)]])
def test_profile_with_a_prior_holds_the_shape(lives):
    fit = weibull_with_prior(lives, PRIOR)
    interval = shape_profile_interval(lives, fit, level=0.90)
    assert 0 < interval.low < fit.shape < interval.high
    assert interval.level == 0.90


def test_profile_widens_with_its_level():
    lives = fleet(np.random.default_rng(2), n=30)
    fit = weibull_maximum_likelihood(lives)
    narrow = shape_profile_interval(lives, fit, level=0.5)
    wide = shape_profile_interval(lives, fit, level=0.99)
    assert wide.low < narrow.low < fit.shape < narrow.high < wide.high


@pytest.mark.parametrize("level", [0.0, 1.0, -1.0, float("nan")])
def test_levels_lie_between_nought_and_one(level):
    fit = weibull_with_prior([], PRIOR)
    with pytest.raises(DomainError, match="between 0 and 1"):
        shape_profile_interval([], fit, level=level)


def test_fixed_shape_needs_a_failure():
    with pytest.raises(DomainError, match="lower bound"):
        weibull_fixed_shape_scale([Life(3.0, False)], 2.0)
    assert weibull_fixed_shape_lower_scale([Life(3.0, False)], 2.0) < 3.0


def test_fixed_shape_counts_from_entry():
    """One failure at 5 after entry at 3, shape 2: sqrt(25 - 9) = 4."""
    life = Life(5.0, True, entry_age_years=3.0)
    assert weibull_fixed_shape_scale([life], 2.0) == pytest.approx(4.0)


@pytest.mark.slow
def test_simulated_coverage_of_the_shape_interval():
    """200 fleets of 25, about 15 failures: the 90 % profile interval holds the true
    shape in 90 % of them, within four standard errors (8.5 points)."""
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(200):
        lives = fleet(rng, n=25, until=8.0)
        fit = weibull_maximum_likelihood(lives)
        interval = shape_profile_interval(lives, fit, level=0.90)
        held += interval.low <= 2.0 <= interval.high
    assert 0.815 <= held / 200 <= 0.985
