"""Competing ends: shares that add up, hand examples, refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from installs.calc.competing import (
    cause_specific_lives,
    cumulative_incidence,
    end_causes,
    incidence_from_curves,
)
from installs.calc.survival import kaplan_meier
from installs.calc.types import EndReason, FitMethod, Life, WeibullFit
from wimprog.lib.errors import DomainError


def curve(shape, scale):
    return WeibullFit(
        shape,
        scale,
        ((0.0, 0.0), (0.0, 0.0)),
        0,
        0,
        FitMethod.MAXIMUM_LIKELIHOOD,
        0.0,
    )


def ended(*ages_and_causes):
    return (
        [Life(age, cause == "failed") for age, cause in ages_and_causes],
        [cause for _, cause in ages_and_causes],
    )


def test_by_hand():
    """5 at risk: failed at 1 (1/5); works at 2 (4/5 · 1/4 = 1/5); one leaves at 3;
    failed at 4 (3/5 · 1/2 = .3)."""
    lives, causes = ended(
        (1, "failed"), (2, "works"), (3, ""), (4, "failed"), (6, "works")
    )
    failed, works = cumulative_incidence(lives, causes)
    assert (failed.cause, works.cause) == ("failed", "works")
    assert failed.age_years == (1, 4)
    assert failed.at_risk == (5, 2)
    assert failed.share == pytest.approx((0.2, 0.5))
    assert works.share == pytest.approx((0.2, 0.5))
    assert (failed.at(0.5), failed.at(3.9)) == (0.0, pytest.approx(0.2))
    assert (works.n_ended, works.n_units) == (2, 5)


def test_without_censoring_the_shares_are_counts_with_binomial_error():
    """All 10 ended: shares are counts over 10 and SE² = p (1 - p) / 10."""
    lives, causes = ended(*((i + 1, "failed" if i % 2 else "works") for i in range(10)))
    for one in cumulative_incidence(lives, causes):
        share = np.array(one.share)
        assert share == pytest.approx(np.arange(1, 6) / 10)
        assert np.array(one.standard_error) ** 2 == pytest.approx(
            share * (1 - share) / 10
        )


def test_one_cause_alone_is_one_minus_kaplan_meier():
    lives, causes = ended((1, "failed"), (2, ""), (3, "failed"), (4, ""), (5, "failed"))
    (only,) = cumulative_incidence(lives, causes)
    km = kaplan_meier(lives)
    assert only.share == pytest.approx(1 - np.array(km.survival))
    assert only.standard_error[:2] == pytest.approx(km.standard_error[:2])


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 5.0),
            st.floats(0.1, 10.0),
            st.sampled_from(["", "failed", "pavement works", "site retired"]),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_shares_and_survival_add_up(drawn):
    lives = [Life(e + t, c == "failed", e) for e, t, c in drawn]
    causes = [c for _, _, c in drawn]
    curves = cumulative_incidence(lives, causes)
    left = kaplan_meier([Life(x.age_years, bool(c), x.entry_age_years)
                         for x, c in zip(lives, causes, strict=True)])  # fmt: skip
    total = sum(one.at(20.0) for one in curves)
    assert total + (left.survival[-1] if left.survival else 1.0) == pytest.approx(1.0)
    for one in curves:
        assert all(
            0 <= lo <= share + 1e-9 and share <= hi + 1e-9
            for lo, share, hi in zip(one.low, one.share, one.high, strict=True)
            if 1e-9 < share < 1 - 1e-9
        )


def test_ends_are_told_failure_first():
    assert end_causes(["site retired", "", "failed", "stolen"]) == (
        EndReason.FAILED,
        EndReason.SITE_RETIRED,
        "stolen",
    )


def test_lives_and_ends_must_pair():
    with pytest.raises(DomainError, match="its own"):
        cumulative_incidence([Life(1.0, True)], [])
    with pytest.raises(DomainError, match="no lives"):
        cumulative_incidence([], [])
    assert cumulative_incidence([Life(1.0, False)], [""]) == ()


def test_a_cause_of_its_own_keeps_brackets_only_of_that_cause():
    lives = [
        Life(3.0, True, low_years=2.0, high_years=3.0),
        Life(5.0, True, low_years=4.0, high_years=5.0),
        Life(6.0, False),
    ]
    own = cause_specific_lives(lives, ["lead", "splice", ""], "lead")
    assert [x.failed for x in own] == [True, False, False]
    assert own[0].is_bracketed
    assert own[1].age_years == 4.5


def test_two_constant_rates_share_by_their_rates():
    """Exponential causes at rates 1/4 and 1/12: three quarters of the ends are of the
    first, at any age."""
    found = incidence_from_curves({"a": curve(1.0, 4.0), "b": curve(1.0, 12.0)}, 5.0)
    gone = 1 - np.exp(-5.0 * (1 / 4 + 1 / 12))
    assert found == pytest.approx({"a": 0.75 * gone, "b": 0.25 * gone})
    assert incidence_from_curves({"a": curve(2.0, 4.0)}, 0.0) == {"a": 0.0}
    with pytest.raises(DomainError, match="cannot be"):
        incidence_from_curves({}, -1.0)
