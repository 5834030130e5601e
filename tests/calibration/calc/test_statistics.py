"""Statistics of errors at their edges and as properties."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calibration.calc.statistics import (
    binomial_interval,
    share_within,
    summarise,
    summarise_by_vehicle,
    t_quantile,
    vehicle_difference,
)
from tests.calibration.calc.build import plain_errors

errors_pct = st.lists(st.floats(-40, 40), min_size=2, max_size=30)


def test_no_error_gives_no_numbers():
    found = summarise(plain_errors([]))
    assert (found.n, found.mean, found.sd) == (0, None, None)
    assert found.mean_interval is found.single_pass_interval is None
    assert found.scope == "no data"
    assert share_within(plain_errors([]), 10.0).share is None
    assert share_within(plain_errors([]), 10.0).interval is None


def test_one_error_gives_a_mean_and_no_spread():
    found = summarise(plain_errors([2.5]))
    assert (found.n, found.mean, found.sd) == (1, 2.5, None)
    assert found.mean_interval is None
    assert found.scope == "for this truck"


def test_pooled_interval_says_that_it_speaks_for_these_trucks():
    errors = plain_errors([1.0, 2.0, 3.0, 4.0], vehicles=["T2", "T1", "T2", "T1"])
    assert summarise(errors).scope == "for these 2 trucks"
    own = dict(summarise_by_vehicle(errors))
    assert list(own) == ["T1", "T2"]
    assert (own["T1"].mean, own["T2"].mean) == (3.0, 2.0)
    assert own["T1"].scope == "for this truck"
    assert (own["T1"].unit, own["T1"].quantity.value) == ("%", "gross weight")


@pytest.mark.parametrize(
    ("value", "within"),
    [(9.99, 1), (10.0, 1), (-10.0, 1), (10.0 + 1e-12, 1), (10.001, 0), (-10.1, 0)],
)
def test_the_limit_itself_is_within(value, within):
    found = share_within(plain_errors([value]), 10.0)
    assert (found.n_within, found.n_outside) == (within, 1 - within)


def test_too_few_or_impossible_counts_are_refused():
    with pytest.raises(ValueError, match="at least 2"):
        t_quantile(1)
    for n_within, n in ((3, 2), (-1, 2), (0, 0)):
        with pytest.raises(ValueError, match="not a share"):
            binomial_interval(n_within, n)


def test_welch_by_hand():
    """Welch's formula written out: t = Δ/√(s1²/n1 + s2²/n2)."""
    one, two = [1.0, 2.0, 3.0, 6.0], [0.0, 0.5, 1.5]
    found = vehicle_difference(plain_errors(one + two, vehicles=["A"] * 4 + ["B"] * 3))
    v1, v2 = np.var(one, ddof=1) / 4, np.var(two, ddof=1) / 3
    df = (v1 + v2) ** 2 / (v1**2 / 3 + v2**2 / 2)
    half = stats.t.ppf(0.975, df) * (v1 + v2) ** 0.5
    assert (found.first, found.second) == ("A", "B")
    assert found.difference == pytest.approx(3.0 - 2.0 / 3)
    assert found.df == pytest.approx(df)
    assert found.t == pytest.approx(found.difference / (v1 + v2) ** 0.5)
    assert found.interval.low == pytest.approx(found.difference - half)
    assert found.interval.high == pytest.approx(found.difference + half)
    assert found.p == pytest.approx(2 * stats.t.sf(abs(found.t), df))


@pytest.mark.parametrize(
    ("values", "vehicles"),
    [
        ([1.0, 2.0], ["A", "A"]),
        ([1.0, 2.0, 3.0], ["A", "A", "B"]),
        ([1.0, 1.0, 2.0, 2.0], ["A", "A", "B", "B"]),
        ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], ["A", "A", "B", "B", "C", "C"]),
    ],
)
def test_no_difference_without_two_vehicles_that_scatter(values, vehicles):
    assert vehicle_difference(plain_errors(values, vehicles=vehicles)) is None


@settings(max_examples=50, deadline=None)
@given(errors_pct, st.floats(-20, 20))
def test_a_bias_shifts_the_mean_and_leaves_the_spread(values, bias):
    before = summarise(plain_errors(values))
    after = summarise(plain_errors([value + bias for value in values]))
    assert after.mean == pytest.approx(before.mean + bias, abs=1e-9)
    assert after.sd == pytest.approx(before.sd, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(errors_pct)
def test_single_passes_spread_wider_than_the_mean(values):
    found = summarise(plain_errors(values))
    assert found.single_pass_interval.low <= found.mean_interval.low <= found.mean
    assert found.mean <= found.mean_interval.high <= found.single_pass_interval.high


@settings(max_examples=50, deadline=None)
@given(errors_pct, st.floats(0, 30), st.floats(0, 30))
def test_a_wider_tolerance_never_holds_less(values, one, other):
    narrow, wide = sorted((one, other))
    errors = plain_errors(values)
    assert share_within(errors, narrow).n_within <= share_within(errors, wide).n_within
    found = share_within(errors, wide)
    assert found.interval.low <= found.share <= found.interval.high
