"""Futures, their costs, and policies compared in them."""

import datetime as dt
import math

import numpy as np
import pytest

from installs.calc.forecast import budget_years
from installs.calc.types import Technology
from installs.calc.upkeep import futures as futures_module
from installs.calc.upkeep.costs import (
    SensorPrice,
    SharedCosts,
    price_events,
    programme_cost,
)
from installs.calc.upkeep.fleet import Policy, Position, Times
from installs.calc.upkeep.futures import (
    Events,
    Futures,
    Replaced,
    age_of_chance,
    works_in_years,
)
from installs.calc.upkeep.policies import (
    compare_policies,
    lane_downtime_years,
    lanes_of,
)
from installs.calc.upkeep.types import PolicyKind
from wimprog.lib.errors import DomainError

PIEZO = Technology.POLYMER_PIEZO
ON_FAILURE = Policy(PolicyKind.ON_FAILURE)
PRICES = {PIEZO: SensorPrice(parts=3_000.0, work=1_000.0)}
SHARED = SharedCosts(
    mobilisation=2_000.0,
    closure_rate_per_hour=100.0,
    closure_setup_hours=2.0,
    closure_hours_each=3.0,
)


def fleet(n=6, **more):
    return [
        Position(
            f"s{i}", f"OV-{i // 4}", f"OV-{i // 4}/{i // 2 % 2}", PIEZO, 0.5 * i, **more
        )
        for i in range(n)
    ]


def play_with(positions=None, *, shape=3.0, scale=5.0, n_draws=40, seed=3, **more):
    return Futures(
        positions or fleet(),
        {str(PIEZO): (np.full(n_draws, shape), np.full(n_draws, scale))},
        horizon_years=more.pop("horizon_years", 12.0),
        rng=np.random.default_rng(seed),
        **more,
    )


def shares(futures, share=0.8):
    return dict.fromkeys(lanes_of(futures), share)


def test_the_same_seed_plays_the_same_futures():
    first, again = (play_with().play(ON_FAILURE) for _ in range(2))
    assert np.array_equal(first.end_years, again.end_years)
    other = play_with(seed=4).play(ON_FAILURE)
    assert not np.array_equal(first.end_years[:5], other.end_years[:5])


def test_policies_share_their_luck():
    """A sensor that fails before the age comes up fails at the same moment."""
    futures = play_with()
    plain = futures.play(ON_FAILURE)
    aged = futures.play(Policy(PolicyKind.AT_AGE, age_years=4.0))

    def first_ends(events):
        return {
            (d, p): (e, f)
            for d, p, e, f in reversed(
                list(
                    zip(
                        events.draw,
                        events.position,
                        events.end_years,
                        events.failed,
                        strict=True,
                    )
                )
            )
        }

    planned_first = first_ends(aged)
    seen = 0
    for key, (end, _) in first_ends(plain).items():
        other, failed = planned_first[key]
        if failed:
            assert other == end
            seen += 1
        else:
            assert other <= end
    assert 0 < seen < len(planned_first)


def test_an_age_beyond_any_life_is_replacing_on_failure():
    futures = play_with()
    plain = futures.play(ON_FAILURE)
    late = futures.play(Policy(PolicyKind.AT_AGE, age_years=1e6))
    assert np.array_equal(plain.end_years, late.end_years)


def test_no_planned_sensor_outlives_its_age():
    futures = play_with(times=Times(repair_years=0.1))
    events = futures.play(Policy(PolicyKind.AT_AGE, age_years=2.0))
    planned = events.why == Replaced.PLANNED
    assert planned.any()
    old_today = events.end_years[planned] == 0.0
    assert old_today.any()  # sensors beyond the age are replaced at once
    gaps = np.diff(events.end_years)[
        (np.diff(events.draw) == 0) & (np.diff(events.position) == 0)
    ]
    assert gaps.max() <= 2.0 + 0.1 + 1e-9


def test_a_wet_sensor_fails_sooner_and_reaches_the_condition_first():
    dry = Position("dry", "OV-1", "OV-1/1", PIEZO, 2.0)
    wet = Position("wet", "OV-1", "OV-1/2", PIEZO, 2.0, hazard_multiplier=4.0)
    futures = play_with([dry, wet], n_draws=400, horizon_years=1.0)
    events = futures.play(ON_FAILURE)
    counts = np.bincount(events.position, minlength=2)
    assert counts[1] > 2 * counts[0]
    # H(3) - H(2) for shape 3, scale 5 is 19 / 125: 14 % dry, 46 % wet.
    replaced = futures.play(Policy(PolicyKind.AT_CONDITION, chance_within_year=0.4))
    at_once = (replaced.why == Replaced.PLANNED) & (replaced.end_years == 0.0)
    assert at_once.sum() == 400
    assert set(replaced.position[at_once]) == {1}


def test_age_of_chance_gives_the_chance_back():
    shape = np.array([1.3, 2.0, 3.5, 3.5, 0.9])
    age = age_of_chance(0.3, np.array([1, 1, 1, 3.0, 1]), shape, np.full(5, 8.0))
    chance = -np.expm1(
        np.array([1, 1, 1, 3.0])
        * (age[:4] ** shape[:4] - (age[:4] + 1) ** shape[:4])
        / 8.0 ** shape[:4]
    )
    assert chance == pytest.approx([0.3] * 4)
    assert age[3] < age[2]
    assert age[4] == math.inf
    assert age_of_chance(
        0.01, np.array([50.0]), np.array([2.0]), np.array([3.0])
    ) == pytest.approx([0.0])


def test_works_end_every_sensor_and_failures_may_wait():
    works = {"OV-0": (3.0,), "OV-1": (3.0,)}
    futures = play_with(works_years=works, times=Times(repair_years=0.1))
    plain = futures.play(ON_FAILURE)
    at_works = plain.end_years == 3.0
    assert at_works.sum() > 0
    waiting = futures.play(Policy(PolicyKind.WITH_PAVEMENT, wait_for_works_years=1.0))
    held = (
        (waiting.failed == 1)
        & (waiting.why == Replaced.WITH_WORKS)
        & (waiting.end_years >= 2.0)
    )
    assert held.sum() > 0
    assert np.allclose(
        waiting.renewed_years[held], 3.0 + futures.times.works_down_years
    )
    # Nobody buys a sensor in the year before the works.
    bought = waiting.renewed_years[waiting.why != Replaced.WITH_WORKS]
    assert not np.any((bought > 2.1 + 1e-9) & (bought < 3.0))
    # Each position is renewed at the works in every future.
    renewed = np.isclose(waiting.renewed_years, 3.0 + futures.times.works_down_years)
    assert renewed.sum() == futures.n_draws * len(futures.positions)


def test_replacing_at_age_waits_for_works_too():
    futures = play_with(
        [Position("s", "OV-1", "OV-1/1", PIEZO, 0.0)],
        scale=500.0,
        works_years={"OV-1": (4.5,)},
        horizon_years=6.0,
    )
    waits = Policy(PolicyKind.AT_AGE, age_years=4.0, wait_for_works_years=1.0)
    assert set(futures.play(waits).end_years) == {4.5}
    hurries = Policy(PolicyKind.AT_AGE, age_years=4.0)
    assert set(futures.play(hurries).end_years) == {4.0, 4.5}


def test_works_in_years_leaves_out_days_gone_by():
    today = dt.date(2031, 1, 1)
    found = works_in_years({"OV-1": [dt.date(2032, 1, 1), dt.date(2030, 1, 1)]}, today)
    assert found == {"OV-1": (pytest.approx(365 / 365.25),)}


def test_blocks_do_not_change_the_law(monkeypatch):
    whole = play_with(n_draws=300).play(ON_FAILURE)
    monkeypatch.setattr(futures_module, "_CHUNK", 50)
    blocks = play_with(n_draws=300).play(ON_FAILURE)
    assert len(blocks.draw) == pytest.approx(len(whole.draw), rel=0.05)
    assert set(blocks.draw) <= set(range(300))


def test_downtime_of_a_lane_counts_overlaps_once():
    futures = play_with(
        [
            Position("a", "OV-1", "OV-1/1", PIEZO, 0.0),
            Position("b", "OV-1", "OV-1/1", PIEZO, 0.0),
            Position("c", "OV-1", "OV-1/2", PIEZO, 0.0),
            Position("t", "OV-1", "OV-1/2", PIEZO, 0.0, carries_data=False),
        ],
        n_draws=2,
        horizon_years=10.0,
    )
    events = Events(
        draw=np.array([0, 0, 0, 0, 1]),
        position=np.array([0, 0, 1, 3, 2]),
        failed=np.ones(5, dtype=bool),
        why=np.zeros(5, dtype=int),
        end_years=np.array([1.0, 5.0, 1.5, 2.0, 9.5]),
        renewed_years=np.array([2.0, 6.0, 2.5, 8.0, 11.0]),
    )
    assert lane_downtime_years(events, futures) == pytest.approx(
        np.array([[2.5, 0.0], [0.0, 0.5]])
    )


def events_of(rows):
    """Draw, position, why, renewed."""
    draw, position, why, renewed = (np.array(c) for c in zip(*rows, strict=True))
    return Events(draw, position, why == 0, why, renewed - 0.1, renewed)


def test_trips_and_closures_are_shared():
    """By hand: three sensors of one site in one quarter, two of them in one lane."""
    positions = fleet(4)  # lanes OV-0/0, OV-0/0, OV-0/1, OV-0/1
    priced = price_events(
        events_of([(0, 0, 1, 1.01), (0, 1, 1, 1.02), (0, 2, 1, 1.20), (0, 3, 1, 1.30)]),
        positions,
        PRICES,
        SHARED,
        horizon_years=10.0,
    )
    # Three in the first quarter, the fourth (1.30) in the next.
    assert priced.mobilisation.tolist() == [2000.0, 0.0, 0.0, 2000.0]
    assert priced.closure.tolist() == [500.0, 300.0, 500.0, 500.0]
    assert priced.cost.sum() == 4 * 4000 + 2 * 2000 + 1800


def test_failures_make_a_trip_urgent_and_works_pay_neither_trip_nor_closure():
    shared = SharedCosts(mobilisation=2_000.0, urgent_extra=700.0)
    priced = price_events(
        events_of([(0, 0, 1, 1.0), (0, 2, 0, 1.1), (1, 0, 2, 1.0), (1, 1, 0, 10.1)]),
        fleet(4),
        PRICES,
        shared,
        horizon_years=10.0,
    )
    assert priced.mobilisation.tolist() == [2700.0, 0.0, 0.0]
    assert priced.cost.tolist() == [6700.0, 4000.0, 4000.0]


def test_prices_grow_to_the_day_they_are_paid():
    shared = SharedCosts(mobilisation=1_000.0, price_growth_per_year=0.05)
    priced = price_events(
        events_of([(0, 0, 1, 2.0)]), fleet(1), PRICES, shared, horizon_years=5.0
    )
    assert priced.cost == pytest.approx([5_000.0 * 1.05**2])


def test_programme_adds_up():
    futures = play_with(n_draws=200)
    priced = price_events(
        futures.play(ON_FAILURE), futures.positions, PRICES, SHARED, horizon_years=12.0
    )
    periods = budget_years(dt.date(2031, 1, 1), 5)
    found = programme_cost(priced, periods, n_draws=200)
    assert [y.period for y in found.years] == list(periods)
    assert found.total.expected == pytest.approx(
        sum(y.cost.expected for y in found.years)
    )
    for year in found.years:
        assert year.cost.expected == pytest.approx(
            year.parts_and_work + year.mobilisation + year.closure
        )
        assert year.cost.p10 <= year.cost.p50 <= year.cost.p90
        assert year.trips.expected <= year.replacements.expected
    inside = priced.when_years < periods[-1].to_years
    assert found.total.expected == pytest.approx(priced.cost[inside].sum() / 200)
    assert "200 simulated futures" in found.method


def test_a_year_without_replacements_costs_nothing():
    futures = play_with(scale=1e6, n_draws=20)
    priced = price_events(
        futures.play(ON_FAILURE), futures.positions, PRICES, SHARED, horizon_years=12.0
    )
    found = programme_cost(priced, budget_years(dt.date(2031, 1, 1), 1), n_draws=20)
    assert found.total.p90 == 0.0


def test_policies_trade_failures_for_replacements():
    futures = play_with(n_draws=150, horizon_years=20.0, times=Times(repair_years=0.5))
    dear = SharedCosts(mobilisation=1_000.0, urgent_extra=20_000.0)
    first, aged = compare_policies(
        futures,
        [ON_FAILURE, Policy(PolicyKind.AT_AGE, age_years=3.0)],
        PRICES,
        dear,
        shares(futures),
    )
    assert first.difference is None
    assert aged.failures_per_year.mean < first.failures_per_year.mean
    assert aged.replacements_per_year.mean > first.replacements_per_year.mean
    assert aged.lane_months_lost_per_year.mean < first.lane_months_lost_per_year.mean
    assert aged.mean_age_at_end_years < first.mean_age_at_end_years
    gap = aged.difference.cost_per_lane_month
    assert gap.mean == pytest.approx(
        aged.cost_per_lane_month.mean - first.cost_per_lane_month.mean
    )
    assert gap.mean < 0
    assert "less on average" in aged.difference.sentence
    assert aged.difference.cheaper_share > 0.9


def test_pairing_sharpens_the_difference():
    """Common random numbers: a slight change of policy is told from far fewer futures
    than with other luck for each."""
    policies = [
        Policy(PolicyKind.AT_AGE, age_years=4.0),
        Policy(PolicyKind.AT_AGE, age_years=4.4),
    ]
    futures = play_with(n_draws=200)
    _, paired = compare_policies(futures, policies, PRICES, SHARED, shares(futures))
    other = play_with(n_draws=200, seed=99)
    (alone,) = compare_policies(other, policies[1:], PRICES, SHARED, shares(other))
    apart = math.hypot(
        spread(paired.cost_per_lane_month), spread(alone.cost_per_lane_month)
    )
    assert spread(paired.difference.cost_per_lane_month) < apart


def spread(estimate):
    return estimate.interval.high - estimate.interval.low


def test_a_policy_against_itself_makes_no_difference():
    futures = play_with()
    _, same = compare_policies(
        futures, [ON_FAILURE, ON_FAILURE], PRICES, SHARED, shares(futures)
    )
    assert same.difference.cost_per_lane_month.mean == 0.0
    assert "no difference" in same.difference.sentence


@pytest.mark.parametrize(
    ("kind", "more", "said"),
    [
        (PolicyKind.AT_AGE, {"age_years": 0.0}, "above zero"),
        (PolicyKind.AT_CONDITION, {}, "between 0 and 1"),
        (PolicyKind.WITH_PAVEMENT, {}, "may wait"),
        (PolicyKind.ON_FAILURE, {"wait_for_works_years": -1.0}, "no time"),
    ],
)
def test_policies_without_what_they_need_are_refused(kind, more, said):
    with pytest.raises(DomainError, match=said):
        Policy(kind, **more)


def test_what_cannot_be_played_is_refused():
    draws = {str(PIEZO): (np.ones(3), np.ones(3))}
    rng = np.random.default_rng(1)
    with pytest.raises(DomainError, match="no sensors"):
        Futures([], draws, horizon_years=5.0, rng=rng)
    with pytest.raises(DomainError, match="horizon"):
        Futures(fleet(), draws, horizon_years=0.0, rng=rng)
    with pytest.raises(DomainError, match="polymer piezo"):
        Futures(fleet(), {}, horizon_years=5.0, rng=rng)
    with pytest.raises(DomainError, match="same number"):
        Futures(
            fleet(), {str(PIEZO): (np.ones(3), np.ones(2))}, horizon_years=5.0, rng=rng
        )
    with pytest.raises(DomainError, match="multiplier"):
        fleet(1, hazard_multiplier=0.0)
    with pytest.raises(DomainError, match="age"):
        Position("s", "a", "b", PIEZO, -1.0)
    with pytest.raises(DomainError, match="inspection"):
        Times(inspection_years=0.0)
    with pytest.raises(DomainError, match="repair_years"):
        Times(repair_years=-1.0)


def test_costs_that_cannot_be_are_refused():
    with pytest.raises(DomainError, match="mobilisation"):
        SharedCosts(mobilisation=-1.0)
    with pytest.raises(DomainError, match="trip_window_years"):
        SharedCosts(mobilisation=1.0, trip_window_years=0.0)
    with pytest.raises(DomainError, match="polymer piezo"):
        price_events(
            events_of([(0, 0, 1, 1.0)]), fleet(1), {}, SHARED, horizon_years=1.0
        )
    with pytest.raises(DomainError, match="cannot be -1"):
        price_events(
            events_of([(0, 0, 1, 1.0)]),
            fleet(1),
            {PIEZO: SensorPrice(-1.0)},
            SHARED,
            horizon_years=1.0,
        )


@pytest.mark.parametrize("share", [None, 0.0, 1.2])
def test_lanes_without_a_share_are_named(share):
    futures = play_with()
    given = shares(futures)
    given["OV-0/1"] = share
    with pytest.raises(DomainError, match="OV-0/1"):
        compare_policies(futures, [ON_FAILURE], PRICES, SHARED, given)
    with pytest.raises(DomainError, match="one policy"):
        compare_policies(futures, [], PRICES, SHARED, shares(futures))


def test_age_of_chance_with_shapes_just_above_one():
    """The age is beyond all reach there, and no step of the search divides by zero."""
    shape = 1.0 + np.geomspace(1e-9, 1e-2, 400)
    age = age_of_chance(0.5, np.ones(400), shape, np.full(400, 6.0))
    # At shape 1.00002 the chance within a year of a new sensor is about 1/6 for ever.
    assert np.all(np.isinf(age[shape < 1.0001]))
