"""Refits to redrawn lives: right where they can be checked, and fast in one go."""

import math

import numpy as np
import pytest
from scipy.stats import binom

from installs.calc.bootstrap import _centres, _maxima, _Plan, refits, with_refits
from installs.calc.likelihood import LifeData, log_likelihood
from installs.calc.survival import fit_weibull, parameter_draws
from installs.calc.types import FitMethod, Life, LifePrior, WeibullFit
from installs.calc.weibull import weibull_maximum_likelihood, weibull_with_prior
from wimprog.lib.errors import DomainError

PRIOR = LifePrior(4.0, "own records")


def rng(seed=5):
    return np.random.default_rng(seed)


def watched(n, seed=1, years=12.0):
    """Weibull lives (shape 2, scale 8) put in over the years before the forecast."""
    generator = rng(seed)
    age = 8.0 * generator.weibull(2.0, n)
    until = generator.uniform(0.0, years, n)
    return [
        Life(float(min(a, c)), bool(a <= c), until_years=float(c))
        for a, c in zip(age, until, strict=True)
    ]


def one_by_one(sets, i):
    """Set i as the module of single fits takes it, ages in units of the scale."""
    empty = np.zeros(0)
    row = sets.bracketed[i] if sets.bracketed.size else np.zeros(0, dtype=bool)
    return LifeData(
        sets.log_exit[i][sets.failed[i] > 0],
        sets.log_exit[i][np.isfinite(sets.log_exit[i])],
        sets.log_entry,
        sets.log_low[i][row] if row.size else empty,
        sets.log_high[i][row] if row.size else empty,
    )


@pytest.mark.parametrize("kind", ["plain", "late", "inspected"])
def test_each_refit_is_at_the_maximum_of_its_own_likelihood(kind):
    """Gradient of the single-fit likelihood, written apart from this one, is zero."""
    lives = watched(40)
    if kind == "late":
        lives = [
            Life(x.age_years + 1.0, x.failed, 1.0, until_years=x.until_years + 1.0)
            for x in lives
        ]
    if kind == "inspected":
        lives = [
            Life(
                math.ceil(x.age_years),
                True,
                low_years=math.floor(x.age_years),
                high_years=math.ceil(x.age_years),
            )
            if x.failed
            else x
            for x in lives
        ]
    fit = weibull_maximum_likelihood(lives)
    sets = _Plan.of(lives).redrawn(fit, 30, rng())
    found, settled = _maxima(sets, _centres(None, 0.0, 30, rng()), 0.5)
    assert settled.all()
    for i, (u, v) in enumerate(found):
        gradient = log_likelihood(one_by_one(sets, i), u, v).gradient
        assert gradient == pytest.approx(np.zeros(2), abs=1e-4)


def test_many_failures_spread_as_the_information_says():
    """Efron & Tibshirani: with 500 lives the refits' covariance is the inverse
    information; four standard errors of a variance from 400 refits are 28 %."""
    lives = watched(500)
    fit = weibull_maximum_likelihood(lives)
    got = np.cov(refits(fit, lives, n_refits=400, rng=rng()).T)
    assert np.diag(got) == pytest.approx(np.diag(fit.log_covariance), rel=0.28)


def test_without_lives_the_refits_spread_as_the_prior():
    fit = weibull_with_prior([], PRIOR)
    logs = refits(fit, [], n_refits=2000, rng=rng())
    log_median = logs[:, 1] + np.log(np.log(2.0)) * np.exp(-logs[:, 0])
    assert logs[:, 0].std() == pytest.approx(PRIOR.log_shape_sd, rel=0.07)
    assert log_median.std() == pytest.approx(PRIOR.log_median_sd, rel=0.07)
    assert log_median.mean() == pytest.approx(math.log(4.0), abs=0.05)


def test_without_a_failure_the_refits_hold_the_prior():
    lives = [Life(3.0, False)] * 6
    fit = fit_weibull(lives, prior=PRIOR)
    assert fit.method is FitMethod.WITH_PRIOR
    assert len(fit.refits) == 200
    assert np.all(np.isfinite(fit.refits))


def test_same_lives_same_refits():
    lives = watched(30)
    assert fit_weibull(lives, prior=PRIOR) == fit_weibull(lives, prior=PRIOR)


def test_draws_take_each_refit_in_turn():
    fit = with_refits(weibull_with_prior([], PRIOR), [], n_refits=7)
    shapes, scales = parameter_draws(fit, 14, rng())
    assert shapes[:7].tolist() == shapes[7:].tolist()
    assert np.log(scales[0]) == pytest.approx(fit.refits[0][1])


def test_an_unknown_watch_is_taken_from_those_watched_longer():
    """A failure at 4 among watches of 2, 5 and 6 years was watched for 5 or 6."""
    lives = [Life(4.0, True), *(Life(c, False) for c in (2.0, 5.0, 6.0))]
    until = _Plan.of(lives)._until(400, rng())
    assert set(until[:, 0]) == {5.0, 6.0}
    assert set(until[:, 2]) == {5.0}
    beyond = _Plan.of([Life(9.0, True), Life(2.0, False)])._until(5, rng())
    assert set(beyond[:, 0]) == {9.0}


def test_inspected_failures_are_redrawn_between_inspections():
    lives = [
        Life(x, True, low_years=x - 1.0, high_years=x, until_years=12.0)
        for x in (3.0, 4.0, 6.0, 8.0, 9.0)
    ]
    fit = weibull_maximum_likelihood(lives)
    sets = _Plan.of(lives).redrawn(fit, 20, rng())
    width = np.exp(sets.log_high) - np.exp(sets.log_low)
    assert width[sets.bracketed] * fit.scale_years == pytest.approx(1.0)
    assert sets.failed.sum() == 0


def test_watching_cannot_stop_before_the_failure():
    with pytest.raises(DomainError, match="stop watching"):
        Life(5.0, True, until_years=4.0)


def test_refits_cover_the_true_median_as_often_as_they_claim():
    """30 sensors, 120 fleets: the middle 90 % of the refits' medians holds the truth;
    the binomial bounds are those of .86 ± four standard errors and of certainty."""
    held = 0
    truth = 8.0 * math.log(2.0) ** 0.5
    for seed in range(120):
        fit = fit_weibull(watched(30, seed), prior=LifePrior(6.0, "about right"))
        u, v = np.array(fit.refits).T
        medians = np.exp(v) * np.log(2.0) ** np.exp(-u)
        low, high = np.quantile(medians, [0.05, 0.95])
        held += low <= truth <= high
    assert binom.ppf(0.001, 120, 0.86) <= held <= binom.ppf(0.9999, 120, 0.96)


def test_a_curve_without_refits_is_drawn_from_its_covariance():
    fit = WeibullFit(
        2.0, 8.0, ((0.04, 0.0), (0.0, 0.01)), 9, 9, FitMethod.MAXIMUM_LIKELIHOOD, 0.0
    )
    shapes, _ = parameter_draws(fit, 4000, rng())
    assert np.log(shapes).std() == pytest.approx(0.2, rel=0.05)
