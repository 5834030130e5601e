"""As found and as left."""

import math

import numpy as np
import pytest
from scipy import stats

from calibration.calc.before_after import Outcome, compare_before_after
from calibration.calc.types import Quantity
from tests.calibration.calc.build import plain_errors, with_moments
from wimprog.lib.errors import DomainError


def test_change_is_welchs_interval():
    """scipy's Welch interval is the reference."""
    before, after = with_moments(12, 4.0, 2.0), with_moments(8, 0.5, 1.0)
    found = compare_before_after(plain_errors(before), plain_errors(after))
    by_scipy = stats.ttest_ind(after, before, equal_var=False)
    interval = by_scipy.confidence_interval()
    assert found.change.value == pytest.approx(-3.5)
    assert found.change.df == pytest.approx(by_scipy.df)
    assert found.change.interval.low == pytest.approx(interval.low)
    assert found.change.interval.high == pytest.approx(interval.high)


@pytest.mark.parametrize(
    ("before", "after", "outcome"),
    [
        (4.0, 0.2, Outcome.WORKED),
        (-4.0, 0.2, Outcome.WORKED),
        (6.0, 2.0, Outcome.WORKED_IN_PART),
        (3.0, -2.8, Outcome.NOT_SHOWN),  # over the mark by as much
        (0.5, 4.0, Outcome.WORSE),
        (0.2, 0.1, Outcome.NOT_SHOWN),
    ],
)
def test_outcomes(before, after, outcome):
    found = compare_before_after(
        plain_errors(with_moments(12, before, 1.5)),
        plain_errors(with_moments(12, after, 1.5)),
    )
    assert found.outcome is outcome
    assert "n 12" in found.sentence
    if before == 0.2:
        assert "no shown bias to take away" in found.sentence


def test_a_factor_that_was_not_in_use_is_asked_about():
    """As found +4 %, factor × 1/1.04 promises 0; the runs after still show 4 %."""
    before = plain_errors(with_moments(20, 4.0, 1.5))
    still = plain_errors(with_moments(20, 3.9, 1.5))
    found = compare_before_after(before, still, applied_ratio=1 / 1.04)
    assert found.beyond_expected.value == pytest.approx(3.9)
    assert found.beyond_expected.is_shown
    assert "the factor in use during these runs" in found.sentence
    done = plain_errors(with_moments(20, 0.1, 1.5))
    good = compare_before_after(before, done, applied_ratio=1 / 1.04)
    assert not good.beyond_expected.is_shown


def test_within_vehicles_frees_the_change_of_the_trucks():
    """T1 errs by +3, T2 by −3; more runs of T2 after shift the plain means."""
    wave = [0.1, -0.1]
    before = plain_errors(
        [3 + w for w in wave * 4] + [-3 + w for w in wave],
        vehicles=["T1"] * 8 + ["T2"] * 2,
    )
    after = plain_errors(
        [4 + w for w in wave] + [-2 + w for w in wave * 4],
        vehicles=["T1"] * 2 + ["T2"] * 8,
    )
    found = compare_before_after(before, after)
    assert found.change.value == pytest.approx(-0.8 - 1.8)
    assert found.within_vehicles.value == pytest.approx(1.0)
    assert found.within_vehicles.is_shown
    assert found.notes == ()


def test_other_vehicles_and_too_few_runs_are_told():
    one = plain_errors(with_moments(6, 2.0, 1.0), vehicles=["T1"] * 6)
    other = plain_errors(with_moments(6, 0.0, 1.0), vehicles=["T2"] * 6)
    found = compare_before_after(one, other)
    assert found.within_vehicles is None
    assert "Only before: T1" in found.notes[0]
    assert "Only after: T2" in found.notes[1]
    few = compare_before_after(one, plain_errors([1.0]))
    assert few.outcome is Outcome.CANNOT_SAY
    assert few.change is few.nearer is None
    assert "1 after" in few.sentence
    with pytest.raises(DomainError, match="cannot be compared"):
        compare_before_after(one, plain_errors([1.0, 2.0], Quantity.AXLE))


def test_no_scatter_at_all_is_certain():
    found = compare_before_after(plain_errors([3.0] * 3), plain_errors([0.0] * 3))
    assert found.outcome is Outcome.WORKED
    assert math.isinf(found.change.df)


def test_no_change_is_called_an_improvement_at_no_more_than_the_stated_rate():
    """1,500 pairs of sessions, bias 4 % in both: called nearer or worse in 5 %."""
    generator = np.random.default_rng(13)
    rounds = 1500
    called = 0
    for _ in range(rounds):
        before, after = generator.normal(4.0, 2.0, size=(2, 10))
        found = compare_before_after(plain_errors(before), plain_errors(after))
        called += found.outcome is not Outcome.NOT_SHOWN
    assert called / rounds == pytest.approx(0.05, abs=4 * (0.0475 / rounds) ** 0.5)
