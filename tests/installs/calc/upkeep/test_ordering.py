"""The order of replacements: bundles, the line, what misses it, the exact check."""

import itertools
import math

import numpy as np
import pytest

from installs.calc.upkeep.ordering import (
    Candidate,
    best_possible,
    budget_curve,
    replacement_order,
)
from wimprog.lib.errors import DomainError


def candidate(key, lane="a/1", chance=0.5, *, left=None, new=0.02, cost=4000.0, why=""):
    return Candidate(
        key,
        lane.split("/")[0],
        lane,
        chance,
        chance * 0.5 if left is None else left,
        new,
        cost,
        why,
    )


def order(candidates, budget, share=1.0, trip=1000.0):
    return replacement_order(
        candidates,
        {one.lane: share for one in candidates},
        {one.site: trip for one in candidates},
        budget,
    )


def test_one_sensor_by_hand():
    """12 × 0.8 × (0.25 − 0.02) lane-months for 5,000."""
    found = order([candidate("s1", why="insulation 0.4 MΩ")], 6000.0, share=0.8)
    (line,) = found.funded
    assert line.lane_months_saved == pytest.approx(12 * 0.8 * 0.23)
    assert (line.cost, line.mobilisation) == (5000.0, 1000.0)
    assert line.saved_per_1000 == pytest.approx(12 * 0.8 * 0.23 / 5)
    assert found.lane_months_lost_if_nothing == pytest.approx(12 * 0.8 * 0.25)
    assert "insulation 0.4 MΩ" in line.sentence
    assert "50 % likely" in line.sentence
    assert found.near_misses == ()


def test_one_of_two_failed_sensors_saves_nothing_alone():
    pair = [candidate("s1", chance=1.0, left=1.0), candidate("s2", chance=1.0, left=1)]
    found = order(pair, 9000.0)
    assert [line.keys for line in found.funded] == [("s1", "s2")]
    assert found.lane_months_saved == pytest.approx(12 * 0.98**2)
    assert "down already: s1, s2" in found.funded[0].sentence
    short = order(pair, 8999.0)
    assert short.funded == ()
    assert short.spent == 0.0
    assert short.near_misses[0].keys == ("s1", "s2")
    assert "$1 more would save another 11.5" in short.sentence


def test_the_second_sensor_of_a_site_shares_the_trip():
    some = [candidate("s1"), candidate("s2", lane="a/2", chance=0.45)]
    found = order(some, 9000.0)
    assert found.spent == 9000.0
    assert sum(line.mobilisation for line in found.funded) == 1000.0


def test_a_dear_trip_is_worth_it_for_several_lanes_at_once():
    """Alone, each lane of site a is worth less than b; together they are worth more."""
    some = [
        candidate("a1", lane="a/1", chance=0.5),
        candidate("a2", lane="a/2", chance=0.5),
        candidate("a3", lane="a/3", chance=0.5),
        candidate("b1", lane="b/1", chance=0.35),
    ]
    found = replacement_order(
        some,
        {one.lane: 1.0 for one in some},
        {"a": 6000.0, "b": 500.0},
        18_000.0,
    )
    assert found.funded[0].keys == ("a1", "a2", "a3")
    assert found.near_misses[0].keys == ("b1",)


def test_what_does_not_fit_is_passed_over_for_what_does():
    some = [
        candidate("big", lane="a/1", chance=0.9, cost=8000.0),
        candidate("small", lane="b/1", chance=0.2, cost=2000.0),
    ]
    found = order(some, 3500.0)
    assert [line.keys for line in found.funded] == [("small",)]
    assert found.near_misses[0].keys == ("big",)


def test_greedy_that_falls_short_says_so():
    """The knapsack trap: a small step of high worth shuts out the large one."""
    some = [
        candidate("small", lane="a/1", chance=0.2, cost=1000.0),
        candidate("large", lane="b/1", chance=0.9, cost=8000.0),
    ]
    found = order(some, 8000.0, trip=0.0)
    assert [line.keys for line in found.funded] == [("small",)]
    assert found.best_possible == pytest.approx(12 * (0.45 - 0.02))
    assert "Another choice" in found.sentence


def test_sensors_that_save_nothing_are_never_bought():
    found = order([candidate("new", chance=0.01)], 1e6)
    assert found.funded == found.near_misses == ()
    assert found.spent == 0.0


def test_curve_is_the_order_without_a_budget():
    rng = np.random.default_rng(3)
    some = random_case(rng, 12)
    share, trips = dict.fromkeys({c.lane for c in some}, 0.9), {"a": 900.0, "b": 2500.0}
    curve = budget_curve(some, share, trips)
    costs = [line.cumulative_cost for line in curve]
    saved = [line.cumulative_saved for line in curve]
    assert costs == sorted(costs)
    assert saved == sorted(saved)
    for line in curve:
        found = replacement_order(some, share, trips, line.cumulative_cost)
        assert found.lane_months_saved >= line.cumulative_saved - 1e-6
        assert found.spent <= line.cumulative_cost + 1e-6


def random_case(rng, n):
    return [
        candidate(
            f"s{i}",
            lane=f"{'ab'[i % 2]}/{i % 4}",
            chance=float(rng.uniform(0.05, 0.9)),
            cost=float(rng.integers(2, 9) * 1000),
        )
        for i in range(n)
    ]


@pytest.mark.parametrize("seed", range(6))
def test_exact_search_is_that_of_every_subset(seed):
    """All 2⁹ subsets, counted out; greedy within ten per cent of it."""
    rng = np.random.default_rng(seed)
    some = random_case(rng, 9)
    share = dict.fromkeys({c.lane for c in some}, 0.7)
    trips = {"a": 1000.0, "b": 3000.0}
    budget = 20_000.0
    most = 0.0
    for size in range(10):
        for chosen in itertools.combinations(some, size):
            cost = sum(c.cost for c in chosen) + sum(
                trips[site] for site in {c.site for c in chosen}
            )
            if cost <= budget:
                most = max(most, lost(some, (), 0.7) - lost(some, chosen, 0.7))
    assert best_possible(some, share, trips, budget) == pytest.approx(most)
    found = replacement_order(some, share, trips, budget)
    assert found.spent <= budget
    assert 0.9 * most <= found.lane_months_saved <= most + 1e-9


def lost(some, chosen, share):
    total = 0.0
    for lane in {c.lane for c in some}:
        works = math.prod(
            1 - (c.down_share_new if c in chosen else c.down_share_left)
            for c in some
            if c.lane == lane
        )
        total += 12 * share * (1 - works)
    return total


def test_wide_lanes_are_taken_worst_first_and_not_searched():
    some = [candidate(f"s{i}", chance=0.05 * (i + 1)) for i in range(10)]
    found = order(some, 13_500.0)
    assert found.best_possible is None
    assert set(found.funded[0].keys) <= {f"s{i}" for i in range(5, 10)}


def test_no_candidates_no_order():
    found = replacement_order([], {}, {}, 1000.0)
    assert found.funded == ()
    assert found.lane_months_lost_if_nothing == 0.0


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"chance": 1.2}, "chance_within_year"),
        ({"left": -0.1}, "down_share_left"),
        ({"new": math.nan}, "down_share_new"),
        ({"cost": 0.0}, "more than nothing"),
    ],
)
def test_candidates_that_cannot_be_are_refused(more, said):
    with pytest.raises(DomainError, match=said):
        candidate("s1", **more)


def test_incomplete_cases_are_refused():
    one = candidate("s1")
    with pytest.raises(DomainError, match="budget"):
        order([one], -1.0)
    with pytest.raises(DomainError, match="twice"):
        order([one, one], 1.0)
    with pytest.raises(DomainError, match="accepted share"):
        order([one], 1.0, share=0.0)
    with pytest.raises(DomainError, match="cost of a trip"):
        order([one], 1.0, trip=-1.0)
    other = Candidate("s2", "b", "a/1", 0.5, 0.2, 0.1, 1.0)
    with pytest.raises(DomainError, match="two sites"):
        order([one, other], 1.0)


def test_a_lane_pays_for_its_closure_once():
    """Two sensors of one lane: 2 × 4,000, one trip of 1,000, one setup of 675."""
    pair = [candidate("s1", chance=1.0, left=1.0), candidate("s2", chance=1.0, left=1)]
    setup = {"a/1": 675.0}
    (line,) = replacement_order(
        pair, {"a/1": 1.0}, {"a": 1000.0}, 9675.0, lane_setup=setup
    ).funded
    assert line.cost == 8000.0 + 1000.0 + 675.0
    assert (
        best_possible(pair, {"a/1": 1.0}, {"a": 1000.0}, 9674.0, lane_setup=setup) == 0
    )
    other = [candidate("s1", lane="a/1"), candidate("s2", lane="a/2")]
    steps = budget_curve(
        other,
        {"a/1": 1.0, "a/2": 1.0},
        {"a": 1000.0},
        lane_setup={"a/1": 675.0, "a/2": 675.0},
    )
    assert steps[-1].cumulative_cost == 2 * (4000.0 + 675.0) + 1000.0
