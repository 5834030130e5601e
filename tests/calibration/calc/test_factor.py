"""The factor by ratio of sums."""

import numpy as np
import pytest

from calibration.calc.factor import propose_factor
from tests.calibration.calc.build import plain_errors, with_moments
from wimprog.lib.errors import DomainError


def test_two_runs_by_hand():
    """Static 30000 twice; measured 30600 and 31200: 60000/61800 = 0.970874.

    Residuals are ±291.26, so se = √(2/1 · 2 · 291.26²)/61800 = 0.009426.
    """
    found = propose_factor(plain_errors([2.0, 4.0]), old_factor=1.10)
    assert found.ratio == pytest.approx(60000 / 61800)
    assert found.new_factor == pytest.approx(1.10 * 60000 / 61800)
    assert found.ratio_se == pytest.approx(0.009426, abs=1e-6)
    assert found.n == 2
    assert not found.is_change_shown
    assert "leave the factor alone" in found.sentence


def test_se_agrees_with_resampling():
    """Bootstrap of the same ratio: an independent route to its standard error."""
    errors = plain_errors(with_moments(40, 3.0, 4.0))
    found = propose_factor(errors)
    generator = np.random.default_rng(7)
    picks = generator.integers(0, 40, size=(4000, 40))
    ratios = errors.reference[picks].sum(axis=1) / errors.measured[picks].sum(axis=1)
    assert found.ratio_se == pytest.approx(ratios.std(), rel=0.06)


def test_a_shown_change_brings_the_runs_to_the_static_weight():
    errors = plain_errors(with_moments(20, 6.0, 2.0))
    found = propose_factor(errors, old_factor=0.95)
    assert found.is_change_shown
    assert (errors.measured * found.ratio).sum() == pytest.approx(
        errors.reference.sum()
    )
    assert "from 0.95 to" in found.sentence
    assert "n 20" in found.sentence
    assert found.ratio_interval.high < 1.0
    light = propose_factor(plain_errors(with_moments(20, -6.0, 2.0)))
    assert light.sentence.startswith("Multiply the factor by 1.06")


def test_one_run_shows_nothing_about_scatter():
    found = propose_factor(plain_errors([5.0]))
    assert found.ratio_se is found.ratio_interval is None
    assert not found.is_change_shown
    assert "leave the factor alone" in found.sentence


def test_no_runs_and_impossible_factors_are_refused():
    with pytest.raises(DomainError, match="no runs"):
        propose_factor(plain_errors([]))
    for factor in (0.0, -1.0, float("nan")):
        with pytest.raises(DomainError, match="greater than zero"):
            propose_factor(plain_errors([1.0, 2.0]), old_factor=factor)
