"""Groups that borrow from each other: when, how much, and that it helps."""

import math

import numpy as np
import pytest

from installs.calc.pooling import LOTS, Sharing, borrowing, pooled_priors
from installs.calc.survival import fit_weibull
from installs.calc.types import Life, LifePrior
from wimprog.lib.errors import DomainError

PRIORS = {
    name: LifePrior(median, "published", standing="from memory")
    for name, median in {"a": 4.0, "b": 5.0, "c": 6.0, "d": 12.0}.items()
}


def group(rng, n, median, years=10.0):
    age = median / math.log(2.0) ** 0.5 * rng.weibull(2.0, n)
    until = rng.uniform(0.0, years, n)
    return [
        Life(float(min(t, c)), bool(t <= c), until_years=float(c))
        for t, c in zip(age, until, strict=True)
    ]


def test_a_group_alone_keeps_its_expectation():
    lives = group(np.random.default_rng(1), 30, 4.0)
    assert pooled_priors({"a": lives}, PRIORS)["a"] == PRIORS["a"]
    assert pooled_priors({"a": lives, "b": []}, PRIORS)["a"] == PRIORS["a"]


def test_a_groups_own_lives_never_enter_its_own_expectation():
    rng = np.random.default_rng(2)
    other = group(rng, 40, 10.0)
    one = pooled_priors({"a": group(rng, 30, 4.0), "b": other}, PRIORS)["a"]
    two = pooled_priors({"a": group(rng, 3, 1.0), "b": other}, PRIORS)["a"]
    assert one == two


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_others_move_a_group_without_lives_the_same_way_and_less(factor):
    rng = np.random.default_rng(3)
    groups = {"a": group(rng, 60, 4.0 * factor), "b": group(rng, 60, 5.0 * factor)}
    found = pooled_priors({**groups, "d": []}, PRIORS)["d"]
    moved = math.log(found.median_years / 12.0) / math.log(factor)
    assert 0.3 < moved < 1.0
    assert found.log_median_sd < PRIORS["d"].log_median_sd
    failures = sum(x.failed for lives in groups.values() for x in lives)
    assert found.borrowed_failures == failures
    assert f"{failures} failures of 2 other technologies" in found.text


def test_sharing_nothing_borrows_nothing():
    rng = np.random.default_rng(4)
    groups = {"a": group(rng, 60, 8.0), "d": []}
    apart = pooled_priors(groups, PRIORS, sharing=Sharing(0.0, 0.0))
    assert apart["d"] == PRIORS["d"]


def test_normal_groups_are_pooled_as_the_textbook_has_it():
    """With a large neighbour (median known without error) the common part is known up
    to the neighbour's own part: variance tau² (1 - s) + s tau² (1 - s) / 1 for share s
    of tau² (Gelman et al., chapter 5): at s = 1/2 three quarters of the variance."""
    rng = np.random.default_rng(5)
    found = pooled_priors({"a": group(rng, 20_000, 4.0), "d": []}, PRIORS)["d"]
    prior = PRIORS["d"].log_median_sd
    assert found.log_median_sd**2 == pytest.approx(0.75 * prior**2, rel=0.01)


def test_what_a_curve_rests_on_is_said():
    rng = np.random.default_rng(6)
    few = [Life(3.0, True), Life(4.0, True), *[Life(5.0, False)] * 4]
    groups = {"a": group(rng, 60, 5.0), "c": few}
    priors = pooled_priors(groups, PRIORS)
    many = borrowing(fit_weibull(groups["a"], prior=priors["a"]))
    assert many.sentence.endswith("of its own alone")
    two = borrowing(fit_weibull(few, prior=priors["c"]))
    assert (two.own_failures, 0.1 < two.own_frac < 0.9) == (2, True)
    assert f"2 failures of its own and on {two.borrowed_failures} of" in two.sentence
    none = borrowing(fit_weibull([], prior=PRIORS["c"]))
    assert none.own_frac == pytest.approx(0.0, abs=1e-6)
    assert "0 failures of its own and on the expected life" in none.sentence


def test_borrowing_helps_small_groups_where_an_agency_is_unlike_the_published_lives():
    """60 agencies drawn as the model has it: the error of the small group's log median
    falls against the published expectation alone."""
    rng = np.random.default_rng(7)
    alone, pooled = [], []
    for _ in range(60):
        common = rng.normal(0.0, 0.5 * math.sqrt(0.5))
        truth = {
            k: p.median_years * math.exp(common + rng.normal(0.0, 0.5 * math.sqrt(0.5)))
            for k, p in PRIORS.items()
        }
        groups = {
            k: group(rng, 6 if k == "d" else 40, median) for k, median in truth.items()
        }
        for errors, prior in (
            (alone, PRIORS["d"]),
            (pooled, pooled_priors(groups, PRIORS)["d"]),
        ):
            fit = fit_weibull(groups["d"], prior=prior, n_refits=0)
            errors.append(math.log(fit.median_years / truth["d"]) ** 2)
    assert np.mean(pooled) < np.mean(alone)


def test_lots_of_one_technology_share_most():
    rng = np.random.default_rng(8)
    lots = {"lot 1": group(rng, 50, 9.0), "lot 2": [Life(1.0, False)] * 3}
    same = dict.fromkeys(lots, PRIORS["a"])
    found = pooled_priors(lots, same, sharing=LOTS, of_what="lots")
    assert found["lot 2"].median_years > 6.0
    assert "of 1 other lot" in found["lot 2"].source


def test_impossible_sharing_and_missing_expectation_are_refused():
    with pytest.raises(DomainError, match="of_median"):
        Sharing(of_median=1.0)
    with pytest.raises(DomainError, match="no expected life for z"):
        pooled_priors({"z": []}, PRIORS)
