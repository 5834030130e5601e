"""Weibull plots: the band's factor as printed, curves that fit and that do not."""

import numpy as np
import pytest

from installs.calc.goodness import goodness_of_fit, simultaneous_factor
from installs.calc.types import Life
from installs.calc.weibull import weibull_maximum_likelihood
from tests.outside.installs.published_lives import SIX_MP
from wimprog.lib.errors import DomainError


@pytest.mark.parametrize(
    ("low", "high", "level", "factor"),
    [
        (0.005, 0.995, 0.95, 3.36),
        (0.005, 0.995, 0.90, 3.12),
        (0.01, 0.99, 0.95, 3.31),
        (0.01, 0.99, 0.90, 3.07),
    ],
)
def test_factor_as_printed(low, high, level, factor):
    """Nair 1984, as tabulated by Meeker & Escobar 1998, table 3.5 (from memory).

    The formula is the large-deviation approximation; it lies within .025 of the table.
    """
    assert simultaneous_factor(low, high, level=level) == pytest.approx(
        factor, abs=0.025
    )


def drawn(rng, n=80):
    age, until = 8 * rng.weibull(2, n), rng.uniform(2, 12, n)
    return [
        Life(float(min(t, c)), bool(t <= c)) for t, c in zip(age, until, strict=True)
    ]


def test_weibull_lives_seldom_leave_the_band():
    """100 sets, their own fit: far fewer than 5 % may leave it (the fit follows)."""
    rng = np.random.default_rng(1)
    left = 0
    for _ in range(100):
        lives = drawn(rng)
        left += goodness_of_fit(lives, weibull_maximum_likelihood(lives)).outside > 0
    assert left <= 8


def test_two_lots_in_one_curve_are_found_out():
    """Half die within a year, half live ten."""
    rng = np.random.default_rng(2)
    lives = [
        *(Life(float(x), True) for x in 0.8 + 0.2 * rng.random(60)),
        *(Life(float(x), True) for x in 10.0 + 0.5 * rng.random(60)),
    ]
    found = goodness_of_fit(lives, weibull_maximum_likelihood(lives))
    assert found.outside > 0
    assert "in doubt" in found.sentence


def test_plot_points_lie_half_way_down_the_steps():
    fit = weibull_maximum_likelihood(SIX_MP)
    found = goodness_of_fit(SIX_MP, fit)
    assert found.points[0].age_years == 6
    assert found.points[0].failed_frac == pytest.approx((1 - 0.8571) / 2, abs=5e-5)
    assert all(p.low < p.high for p in found.points)
    assert "nothing speaks against" in found.sentence


def test_residuals_add_up_to_the_failures():
    """At the maximum the residuals' sum is the number of failures (score equation), and
    they follow the diagonal for lives from the curve."""
    lives = [
        Life(x.age_years + 1, x.failed, 1.0) for x in drawn(np.random.default_rng(3))
    ]
    fit = weibull_maximum_likelihood(lives)
    whole = sum(
        ((x.point_age_years / fit.scale_years) ** fit.shape)
        - (x.entry_age_years / fit.scale_years) ** fit.shape
        for x in lives
    )
    assert whole == pytest.approx(fit.n_failures, rel=1e-5)
    middle = [r for r in goodness_of_fit(lives, fit).residuals if r.residual < 1]
    assert middle
    for one in middle:
        assert one.cumulative_hazard == pytest.approx(one.residual, abs=0.25)


def test_few_failures_show_nothing_and_say_so():
    fit = weibull_maximum_likelihood(SIX_MP)
    found = goodness_of_fit([Life(1.0, True), Life(2.0, False)], fit)
    assert "at least 5" in found.sentence
    assert goodness_of_fit([Life(2.0, False)], fit).points == ()
    with pytest.raises(DomainError, match="stretch"):
        simultaneous_factor(0.5, 0.5)
