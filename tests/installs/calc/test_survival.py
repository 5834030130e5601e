"""Survival by age and the chances of one sensor."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from installs.calc.survival import (
    failure_chances,
    failure_probability,
    kaplan_meier,
    mean_remaining_life,
    median_remaining_life,
    parameter_draws,
    weibull_survival,
)
from installs.calc.types import FitMethod, Life, WeibullFit
from wimprog.lib.errors import DomainError

FIT = WeibullFit(
    shape=2.0,
    scale_years=8.0,
    log_covariance=((0.04, -0.005), (-0.005, 0.01)),
    n_units=40,
    n_failures=20,
    method=FitMethod.MAXIMUM_LIKELIHOOD,
    log_likelihood=0.0,
)


def rng():
    return np.random.default_rng(11)


def test_no_lives_have_no_curve():
    with pytest.raises(DomainError, match="no lives"):
        kaplan_meier([])


def test_no_failures_give_an_empty_curve():
    curve = kaplan_meier([Life(3.0, False), Life(5.0, False)])
    assert (curve.age_years, curve.n_units, curve.n_failures) == ((), 2, 0)
    assert curve.median_years is None
    assert curve.last_age_years == 5.0


def test_delayed_entry_by_hand():
    """At 2: units A and C are at risk (B enters at 3); at 4: B and C; at 6: C alone."""
    curve = kaplan_meier([Life(2.0, True), Life(4.0, True, 3.0), Life(6.0, True)])
    assert curve.at_risk == (2, 2, 1)
    assert curve.survival == pytest.approx((0.5, 0.25, 0.0))
    assert curve.median_years == 2.0


def test_one_who_enters_at_a_failure_age_is_not_at_risk_then():
    curve = kaplan_meier([Life(2.0, True), Life(5.0, False), Life(5.0, False, 2.0)])
    assert curve.at_risk == (2,)


def test_a_life_leaving_at_a_failure_age_is_still_at_risk_then():
    curve = kaplan_meier([Life(2.0, True), Life(2.0, False)])
    assert curve.at_risk == (2,)
    assert curve.median_years == 2.0


def test_a_curve_emptied_too_early_says_so():
    curve = kaplan_meier([Life(1.0, True), Life(9.0, True, 5.0), Life(9.0, False, 5.0)])
    assert curve.survival == (0.0, 0.0)
    assert math.isnan(curve.low[0])
    assert math.isnan(curve.standard_error[0])
    assert "At 1.00 years" in curve.notes[0]


def test_brackets_are_placed_midway_and_said():
    curve = kaplan_meier([Life(3.0, True, low_years=2.0, high_years=3.0)])
    assert curve.age_years == (2.5,)
    assert "1 of the failures" in curve.notes[0]


def test_all_failed_in_the_end_needs_no_note():
    assert kaplan_meier([Life(1.0, True), Life(2.0, True)]).notes == ()


@st.composite
def some_lives(draw):
    entries = st.floats(0.0, 10.0)
    lengths = st.floats(0.01, 20.0)
    drawn = draw(
        st.lists(st.tuples(entries, lengths, st.booleans()), min_size=1, max_size=40)
    )
    return [Life(entry + length, failed, entry) for entry, length, failed in drawn]


@settings(max_examples=80, deadline=None)
@given(some_lives(), st.randoms(use_true_random=False))
def test_survival_falls_within_its_interval_whatever_the_order(lives, random):
    curve = kaplan_meier(lives)
    steps = (1.0, *curve.survival)
    assert all(a > b or a == b == 0 for a, b in itertools.pairwise(steps))
    for survival, low, high in zip(curve.survival, curve.low, curve.high, strict=True):
        assert survival == 0 or 0 <= low <= survival <= high <= 1
    shuffled = list(lives)
    random.shuffle(shuffled)
    other = kaplan_meier(shuffled)
    assert other.survival == curve.survival
    assert other.at_risk == curve.at_risk


@settings(max_examples=80, deadline=None)
@given(
    st.floats(0.0, 30.0),
    st.lists(st.floats(0.01, 20.0), min_size=2, max_size=6, unique=True),
    st.floats(0.4, 6.0),
    st.floats(0.5, 30.0),
)
def test_chance_grows_with_the_horizon(age, horizons, shape, scale):
    fit = WeibullFit(shape, scale, FIT.log_covariance, 9, 9, FIT.method, 0.0)
    chances = failure_probability(fit, age, sorted(horizons))
    assert np.all(np.diff(chances) >= 0)
    assert np.all((chances >= 0) & (chances <= 1))
    (own,) = failure_chances(fit, [age], sorted(horizons), rng=rng(), n_draws=200)
    for less, more in itertools.pairwise(own):
        assert less.low <= more.low
        assert less.high <= more.high


def test_older_is_likelier_only_when_sensors_wear_out():
    young, old = failure_probability(FIT, [1.0, 6.0], 1.0)
    assert young < old
    infant = WeibullFit(0.6, 8.0, FIT.log_covariance, 9, 9, FIT.method, 0.0)
    young, old = failure_probability(infant, [1.0, 6.0], 1.0)
    assert young > old


def test_chances_repeat_with_the_seed_and_keep_their_order():
    ages = [6.0, 1.0, 6.0, 0.0]
    first = failure_chances(FIT, ages, [1.0, 5.0], rng=rng())
    assert failure_chances(FIT, ages, [1.0, 5.0], rng=rng()) == first
    assert first[0] == first[2]
    assert first[0][0].probability > first[1][0].probability > first[3][0].probability
    for own in first:
        for chance in own:
            assert chance.low < chance.probability < chance.high
            assert chance.level == 0.90


def test_interval_closes_when_the_curve_is_known():
    known = WeibullFit(2.0, 8.0, ((0.0, 0.0), (0.0, 0.0)), 9, 9, FIT.method, 0.0)
    ((chance,),) = failure_chances(known, [3.0], [2.0], rng=rng())
    assert chance.low == pytest.approx(chance.probability)
    assert chance.high == pytest.approx(chance.probability)


def test_draws_have_the_covariance_of_the_fit():
    """Within four standard errors of a variance from 20,000 draws (4 %)."""
    shapes, scales = parameter_draws(FIT, 20_000, rng())
    got = np.cov(np.log(shapes), np.log(scales))
    assert got == pytest.approx(np.array(FIT.log_covariance), rel=0.04, abs=6e-4)


@pytest.mark.parametrize("horizon", [0.0, -1.0, float("nan"), float("inf")])
def test_horizons_lie_ahead(horizon):
    with pytest.raises(DomainError, match="above zero"):
        failure_chances(FIT, [1.0], [horizon], rng=rng())


@pytest.mark.parametrize("age", [-0.5, float("nan"), float("inf")])
def test_ages_must_be_possible(age):
    for method in (median_remaining_life, mean_remaining_life):
        with pytest.raises(DomainError, match="negative or not a number"):
            method(FIT, age)
    with pytest.raises(DomainError, match="negative or not a number"):
        failure_probability(FIT, 1.0, age)


def test_level_must_be_possible():
    with pytest.raises(DomainError, match="between 0 and 1"):
        failure_chances(FIT, [1.0], [1.0], rng=rng(), level=1.0)
    with pytest.raises(DomainError, match="between 0 and 1"):
        kaplan_meier([Life(1.0, True)], level=0.0)


def test_mean_remaining_life_goes_on_smoothly_where_it_would_overflow():
    """H = (age / 8)² passes 500 at 178.9 years; both formulas meet there."""
    near, far = mean_remaining_life(FIT, [178.8, 178.9])
    assert far == pytest.approx(near, rel=2e-3)
    assert np.all(mean_remaining_life(FIT, [1e5]) > 0)
    assert np.shape(mean_remaining_life(FIT, 3.0)) == ()


def test_survival_of_the_curve():
    assert weibull_survival(FIT, [0.0, 8.0]) == pytest.approx([1.0, math.exp(-1)])
