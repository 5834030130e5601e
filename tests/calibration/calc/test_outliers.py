"""Outliers as advice: flagged, named, never removed."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.calc.outliers import (
    advise_on_outliers,
    chance_of_deviate,
    critical_deviate,
    generalised_esd,
    grubbs,
)
from tests.calibration.calc.build import plain_errors, with_moments


def test_a_run_that_stands_out_is_named_with_both_statistics():
    values = [*with_moments(19, 1.0, 1.0), 12.0]
    found = advise_on_outliers(plain_errors(values))
    assert [flag.run for flag in found.flags] == ["20"]
    assert found.flags[0].p < 0.001
    assert found.with_all.n == 20
    assert found.without_flagged.n == 19
    assert found.without_flagged.mean == pytest.approx(1.0)
    assert "set aside only with a reason" in found.sentence
    assert "run 20 (12.00 %)" in found.sentence


def test_two_outliers_on_one_side_do_not_hide_each_other():
    values = [*with_moments(18, 0.0, 1.0), 9.0, 9.3]
    found = advise_on_outliers(plain_errors(values))
    assert {flag.run for flag in found.flags} == {"19", "20"}


def test_one_truck_among_others_is_no_outlier():
    values = with_moments(15, 0.0, 0.5) + with_moments(5, 6.0, 0.5)
    vehicles = ["T1"] * 15 + ["T2"] * 5
    assert advise_on_outliers(plain_errors(values, vehicles=vehicles)).flags == ()


def test_an_axle_that_weighs_differently_is_no_outlier():
    errors = plain_errors(with_moments(10, 0.0, 0.5) * 2)
    parts = ("axle 1",) * 10 + ("axle 2",) * 10
    shifted = np.concatenate([errors.errors[:10], errors.errors[10:] + 8.0])
    split = replace(errors, errors=shifted, parts=parts)
    assert advise_on_outliers(split).flags == ()


def test_vehicles_from_traffic_seen_once_are_looked_at_together():
    values = [*with_moments(19, 0.0, 1.0), 15.0]
    vehicles = [f"V{i}" for i in range(20)]
    found = advise_on_outliers(plain_errors(values, vehicles=vehicles))
    assert [flag.vehicle for flag in found.flags] == ["V19"]


def test_few_or_equal_errors_flag_nothing():
    assert "too few" in advise_on_outliers(plain_errors([0, 0, 0, 0, 50.0])).sentence
    equal = advise_on_outliers(plain_errors([2.0] * 10))
    assert equal.flags == ()
    assert "No error stands out" in equal.sentence
    assert "rough" in equal.sentence
    assert advise_on_outliers(plain_errors([])).with_all.mean is None


def test_all_but_one_equal_is_the_farthest_a_value_can_lie():
    """(n − 1)/√n is the bound of the statistic."""
    values = np.array([1.0] * 9 + [3.0])
    found = grubbs(values)
    assert found.g == pytest.approx(9 / np.sqrt(10))
    assert found.p == pytest.approx(0.0, abs=1e-6)


def test_p_at_the_critical_value_is_alpha():
    for n in (8, 20, 54):
        assert chance_of_deviate(critical_deviate(n), n) == pytest.approx(0.05)
        one = critical_deviate(n, alpha=0.01, is_two_sided=False)
        assert chance_of_deviate(one, n, is_two_sided=False) == pytest.approx(0.01)


def test_impossible_counts_are_refused():
    with pytest.raises(ValueError, match="at least 3"):
        critical_deviate(2)
    with pytest.raises(ValueError, match="cannot hold"):
        generalised_esd(np.arange(4.0), 3)


def test_false_flags_come_at_the_stated_rate():
    """1,500 clean sessions of 20 errors: some flag in 5 %, within binomial bounds.

    Rosner's values are accurate to about a point at n = 20.
    """
    generator = np.random.default_rng(12)
    rounds = 1500
    flagged = sum(
        generalised_esd(generator.normal(size=20), 4)[1] > 0 for _ in range(rounds)
    )
    bound = 4 * (0.05 * 0.95 / rounds) ** 0.5
    assert flagged / rounds == pytest.approx(0.05, abs=bound + 0.01)
