"""Failures of lanes, repair times, availability, groups: by hand and by simulation."""

import numpy as np
import pytest
from scipy.stats import binom

from installs.calc.groups import compare_lives
from installs.calc.reliability import (
    availability,
    mean_cumulative,
    mean_cumulative_difference,
    mean_time_between_failures,
    mean_time_to_repair,
)
from installs.calc.types import LaneHistory, Life
from wimprog.lib.errors import DomainError


def test_mean_cumulative_by_hand():
    """Two lanes to 4 years, one from 2: at 1 one of 2 (.5), at 3 two of 3."""
    lanes = [
        LaneHistory("a", (1.0, 3.0), 4.0),
        LaneHistory("b", (), 4.0),
        LaneHistory("c", (3.0,), 4.0, from_years=2.0),
    ]
    found = mean_cumulative(lanes)
    assert found.at_risk == (2, 3)
    assert found.mean == pytest.approx((0.5, 0.5 + 2 / 3))
    assert found.standard_error[0] == pytest.approx((2 * 0.25**2) ** 0.5)
    assert found.low[0] < 0.5 < found.high[0]
    assert found.low[0] > 0


def test_no_failures_are_no_curve_and_no_lanes_no_data():
    assert mean_cumulative([LaneHistory("a", (), 4.0)]).mean == ()
    with pytest.raises(DomainError, match="nothing to count"):
        mean_cumulative([])


def test_unlike_lanes_need_the_robust_error():
    """Lanes with rates of their own (gamma, mean 1, variance 1): the 95 % interval
    holds the truth about as often as it says, the random-failure one much less."""
    rng = np.random.default_rng(3)
    robust = poisson = 0
    for _ in range(200):
        rates = rng.gamma(1.0, 1.0, 40)
        lanes = [
            LaneHistory(
                str(i), tuple(np.sort(rng.uniform(0, 3, rng.poisson(3 * r)))), 3.0
            )
            for i, r in enumerate(rates)
        ]
        found = mean_cumulative(lanes)
        robust += found.low[-1] <= 3.0 <= found.high[-1]
        reach = 1.96 * found.poisson_error[-1]
        poisson += abs(found.mean[-1] - 3.0) <= reach
    assert robust >= binom.ppf(0.001, 200, 0.93)
    assert poisson < robust


def test_difference_of_two_groups():
    often = [LaneHistory(str(i), (1.0, 2.0, 2.5), 3.0) for i in range(6)]
    seldom = [LaneHistory(str(i), (2.0,) if i else (), 3.0) for i in range(6)]
    found = mean_cumulative_difference(often, seldom, 3.0)
    assert found.value == pytest.approx(3 - 5 / 6)
    assert found.low > 0
    assert found.note == ""
    weak = mean_cumulative_difference(often, seldom[:2], 3.0)
    assert "Only 1 failure in the other" in weak.note
    assert mean_cumulative_difference(often, seldom, 0.5).value == 0.0


@pytest.mark.parametrize(
    ("failures", "begin", "end", "said"),
    [
        ((5.0,), 0.0, 4.0, "outside"),
        ((), 3.0, 2.0, "before"),
        ((float("nan"),), 0.0, 4.0, "not a number"),
    ],
)
def test_impossible_histories_name_the_lane(failures, begin, end, said):
    with pytest.raises(DomainError, match=f"Lane OV-7: .*{said}"):
        LaneHistory("OV-7", failures, end, begin)


def test_time_between_failures():
    found = mean_time_between_failures(40.0, 4)
    assert (found.value, found.n) == (10.0, 4)
    assert found.low < 10.0 < found.high
    assert "4 failures" in found.note
    for years, n in ((0.0, 1), (float("nan"), 1), (1.0, -1)):
        with pytest.raises(DomainError):
            mean_time_between_failures(years, n)


def test_time_to_repair():
    found = mean_time_to_repair([3.0, 10.0, 40.0, 8.0, 0.0], n_open=2)
    assert found.value == pytest.approx(12.2)
    assert found.low < 12.2 < found.high
    assert "2 still down" in found.note
    assert mean_time_to_repair([5.0]).low is None
    with pytest.raises(DomainError, match="no data"):
        mean_time_to_repair([])
    with pytest.raises(DomainError, match="before its failure"):
        mean_time_to_repair([-1.0])


def test_repair_interval_holds_the_mean():
    """Log-normal times, 200 samples of 20: Cox's 90 % interval."""
    rng = np.random.default_rng(4)
    truth = np.exp(2.0 + 0.8**2 / 2)
    held = 0
    for _ in range(200):
        found = mean_time_to_repair(np.exp(rng.normal(2.0, 0.8, 20)).tolist())
        held += found.low <= truth <= found.high
    assert binom.ppf(0.001, 200, 0.9) <= held <= binom.ppf(0.9999, 200, 0.94)


def test_availability_is_a_ratio_of_sums():
    found = availability([1.0, 8.0, 4.0], [1.0, 10.0, 5.0])
    assert found.value == pytest.approx(13 / 16)
    assert 0 < found.low < 13 / 16 < found.high < 1
    assert "3 lanes" in found.note
    assert availability([1.0, 1.0], [1.0, 1.0]).low is None
    assert availability([1.0], [2.0]).note == "A single lane: no interval."
    with pytest.raises(DomainError, match="no data"):
        availability([], [])
    with pytest.raises(DomainError, match="longer than"):
        availability([2.0], [1.0])


def test_availability_interval_holds_the_truth():
    """Lanes with beta shares (mean 0.9): the 90 % interval, 300 programs of 15."""
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(300):
        whole = rng.uniform(2, 8, 15)
        found = availability(whole * rng.beta(9, 1, 15), whole)
        held += found.low <= 0.9 <= found.high
    assert binom.ppf(0.001, 300, 0.86) <= held <= binom.ppf(0.9999, 300, 0.93)


def test_alike_groups_are_seldom_called_unlike():
    """300 pairs of the same law, one entering late: about 5 % below p = .05."""
    rng = np.random.default_rng(6)
    called = 0
    for _ in range(300):
        groups = {}
        for name, late in (("a", 0.0), ("b", 3.0)):
            entry = rng.uniform(0, late, 30) if late else np.zeros(30)
            ends = 8 * ((entry / 8) ** 2 + rng.standard_exponential(30)) ** 0.5
            groups[name] = [
                Life(float(min(t, e + 7)), bool(t < e + 7), float(e))
                for t, e in zip(ends, entry, strict=True)
            ]
        called += compare_lives(groups).p_value < 0.05
    assert binom.ppf(0.001, 300, 0.04) <= called <= binom.ppf(0.999, 300, 0.065)


def test_comparison_tells_and_warns():
    short = [Life(1.0 + i / 50, True) for i in range(12)]
    long = [Life(9.0 + i / 50, i == 0) for i in range(12)]
    found = compare_lives({"glue A": short, "glue B": long, "glue C": []})
    assert "do not live alike" in found.sentence
    assert "glue A 12 failed" in found.sentence
    assert "Only 1 failure in glue B" in found.warning
    same = compare_lives({"a": short, "b": short})
    assert "No difference is shown" in same.sentence
    assert same.warning == ""
    nothing = compare_lives({"a": [Life(1.0, False)], "b": [Life(2.0, False)]})
    assert nothing.p_value is None
    assert "nothing to compare" in nothing.sentence
    with pytest.raises(DomainError, match="two groups"):
        compare_lives({"a": short})
