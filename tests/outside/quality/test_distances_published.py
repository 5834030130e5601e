"""Distances between distributions against scipy and worked values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import wasserstein_distance

from quality.calc.distribution_distance import (
    distance,
    stability_index,
    wasserstein_of_counts,
)


def test_scipy_worked_values_of_the_wasserstein_distance() -> None:
    """From scipy's documentation: [0,1,3] to [5,6,8] is 5; the weighted pair 0.25."""
    first = np.bincount([0, 1, 3], minlength=9)
    second = np.bincount([5, 6, 8], minlength=9)
    assert wasserstein_of_counts(first, second, 1.0) == pytest.approx(5.0)
    weighted = wasserstein_of_counts(np.array([3, 1]), np.array([2, 2]), 1.0)
    assert weighted == pytest.approx(0.25)


def test_same_as_scipy_on_random_histograms() -> None:
    rng = np.random.default_rng(3)
    middles = np.arange(80) + 0.5
    for _ in range(20):
        a, b = rng.poisson(4.0, 80), rng.poisson(3.0, 80)
        ours = wasserstein_of_counts(a, b, 1.0)
        theirs = wasserstein_distance(middles, middles, a, b)
        assert ours == pytest.approx(theirs, rel=1e-12)


def test_scaled_weights_are_apart_by_their_mean_change() -> None:
    """W1(x, 1.02 x) = 0.02 E|x| for positive x (mathematics)."""
    x = np.random.default_rng(4).normal(60_000, 4_000, 20_000)
    edges = np.arange(0, 120_000, 10.0)
    found = wasserstein_of_counts(
        np.histogram(x, edges)[0], np.histogram(1.02 * x, edges)[0], 10.0
    )
    assert found == pytest.approx(0.02 * x.mean(), rel=1e-3)


def test_stability_index_worked_value() -> None:
    """Shares .2 .3 .5 that became .25 .25 .5: 0.0202733, by hand from its formula."""
    found = stability_index(np.array([0.2, 0.3, 0.5]), np.array([0.25, 0.25, 0.5]))
    by_hand = 0.05 * np.log(1.25) - 0.05 * np.log(25 / 30)
    assert found == pytest.approx(by_hand)
    assert found == pytest.approx(0.0202733, abs=5e-8)


def test_no_data_is_no_distance() -> None:
    nothing, some = np.zeros(5, dtype=int), np.arange(5)
    assert distance(nothing, some, 1.0) is None
    assert np.isnan(wasserstein_of_counts(some, nothing, 1.0))
    same = distance(some, 3 * some, 1.0)
    assert same is not None
    assert (same.wasserstein_kg, same.stability_index) == (0.0, 0.0)
    assert (same.n, same.n_reference) == (30, 10)


def test_an_empty_part_counts_as_half_an_item() -> None:
    """0 of 10 became 5 of 10: shares 0.5/10.5 and 10/10.5 against a half each."""
    found = stability_index(np.array([0, 10]), np.array([5, 5]))
    e = np.array([0.5, 10.0]) / 10.5
    assert found == pytest.approx(((0.5 - e) * np.log(0.5 / e)).sum())
