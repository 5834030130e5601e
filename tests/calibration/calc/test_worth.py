"""Calibrate or leave: the costs weighed, and every input named."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from calibration.calc.bias_types import BiasSession, LaneSessions, WalkPrior
from calibration.calc.bias_walk import fit_bias_walk
from calibration.calc.pavement_design import (
    FlexibleDesign,
    required_structural_number,
    thickness_error_mm,
)
from calibration.calc.worth import calibrate_or_leave
from calibration.calc.worth_types import Advice, CostInputs
from wimprog.lib.errors import DomainError

TODAY = dt.date(2032, 6, 1)
DESIGN = FlexibleDesign(design_esals=5e6, resilient_modulus_mpa=50.0)
INPUTS = CostInputs(
    session_cost=8_000.0,
    price_per_lane_km_cm=12_000.0,
    designed_lane_km_per_year=10.0,
    design=DESIGN,
)


def fitted(left_pct=0.0, days_ago=100, **prior):
    session = BiasSession(TODAY - dt.timedelta(days=days_ago), 3.0, 0.4, left_pct, 0.4)
    lanes = [LaneSessions("A", (session,)), LaneSessions("B", ())]
    return fit_bias_walk(
        lanes, technology="quartz piezo", prior=WalkPrior(**prior) if prior else None
    )


def test_a_known_bias_costs_what_the_hand_reckons():
    """Bias 5 % for certain, no wander, a perfect session: thickness × price × km.

    Loads are counted 1.05⁴ times; the thickness follows from two inversions.
    """
    still = {
        "wander_pct": 1e-4,
        "log_wander_sd": 0.01,
        "drift_sd": 1e-4,
        "session_sd_pct": 0.0,
    }
    session = BiasSession(TODAY, None, None, 5.0, 1e-3)
    walk = fit_bias_walk(
        [LaneSessions("A", (session,))],
        technology="load cell",
        prior=WalkPrior(**still),
    )
    found = calibrate_or_leave(
        walk, "A", TODAY, replace(INPUTS, left_sd_pct=1e-3), longest_days=365
    )
    need = required_structural_number([5e6, 5e6 * 1.05**4], DESIGN)
    cm = (need[1] - need[0]) / 0.44 * 2.54
    by_hand = 12_000.0 * 10.0 * cm * 365 / 365.25
    assert found.saving == pytest.approx(by_hand, rel=2e-3)
    assert found.saving_interval.low == pytest.approx(by_hand, rel=2e-3)
    assert found.load_error_pct == pytest.approx(100 * (1.05**4 - 1), rel=1e-3)
    assert found.cost_rate == pytest.approx(by_hand * 365.25 / 365, rel=2e-3)
    assert found.advice is Advice.CALIBRATE_NOW
    assert found.on == TODAY
    assert found.chance_pays == 1.0


def test_mean_saving_and_drawn_paths_agree():
    """Two routes to the mean: quadrature over the mixture, and drawn paths.

    The mean of the drawn savings is that of their quantiles, which the intervals at 20
    levels give two by two.
    """
    walk = fitted(left_pct=3.0)
    spans = [
        calibrate_or_leave(
            walk,
            "A",
            TODAY,
            INPUTS,
            level=(k + 0.5) / 20,
            n_draws=10_000,
            rng=np.random.default_rng(3),
        )
        for k in range(20)
    ]
    drawn = np.mean([(s.saving_interval.low + s.saving_interval.high) for s in spans])
    assert drawn / 2 == pytest.approx(spans[0].saving, rel=0.03)


def test_the_chance_that_it_pays_falls_with_the_cost():
    walk = fitted(left_pct=3.0)
    pays = [
        calibrate_or_leave(
            walk, "A", TODAY, replace(INPUTS, session_cost=cost), n_draws=500
        ).chance_pays
        for cost in (0.0, 10_000.0, 1e6)
    ]
    assert pays[0] > pays[1] > pays[2] == 0.0


def test_cheap_sessions_pay_now_dear_ones_wait():
    walk = fitted()
    answers = {
        cost: calibrate_or_leave(
            walk, "A", TODAY, replace(INPUTS, session_cost=cost), n_draws=200
        )
        for cost in (10.0, 1e6)
    }
    assert answers[10.0].advice is Advice.CALIBRATE_NOW
    assert answers[10.0].sentence.startswith("Worth it now")
    assert answers[1e6].advice is Advice.LONGEST_INTERVAL
    assert answers[1e6].on == TODAY + dt.timedelta(days=265)
    assert answers[10.0].saving == answers[1e6].saving
    between = replace(INPUTS, session_cost=answers[10.0].saving * 1.2)
    waits = calibrate_or_leave(walk, "A", TODAY, between, n_draws=200)
    assert waits.advice is Advice.LEAVE
    assert TODAY < waits.on < TODAY + dt.timedelta(days=265)
    then = calibrate_or_leave(walk, "A", waits.on, between, n_draws=200)
    assert then.saving == pytest.approx(between.session_cost, rel=0.01)


def test_past_the_longest_interval_it_is_calibrated_whatever_it_costs():
    walk = fitted(days_ago=400)
    dear = replace(INPUTS, session_cost=1e7)
    found = calibrate_or_leave(walk, "A", TODAY, dear, n_draws=200)
    assert found.advice is Advice.OVERDUE
    assert found.on == TODAY
    assert "longest interval is over" in found.sentence


def test_a_lane_never_calibrated_gains_most():
    walk = fitted()
    known, unknown = (
        calibrate_or_leave(walk, key, TODAY, INPUTS, n_draws=200) for key in "AB"
    )
    assert unknown.saving > 3 * known.saving
    assert unknown.on == TODAY


def test_too_thin_can_cost_more_than_too_thick():
    light = fitted(left_pct=-4.0)
    plain, dear = (
        calibrate_or_leave(
            light, "A", TODAY, replace(INPUTS, too_thin_factor=factor), n_draws=200
        )
        for factor in (1.0, 3.0)
    )
    assert dear.cost_rate > 2 * plain.cost_rate


def test_the_answer_names_what_it_rests_on():
    found = calibrate_or_leave(fitted(), "A", TODAY, INPUTS, n_draws=200)
    for part in [
        "$8,000",
        "$12,000 per centimetre and lane-km",
        "10.0 lane-km a year",
        "5,000,000 design ESALs",
        "Agency's own inputs",
        "90 % interval",
        "0 intervals of 1 quartz piezo lane;",
        "Only pavement design is priced",
    ]:
        assert part in found.sentence
    again = calibrate_or_leave(fitted(), "A", TODAY, INPUTS, n_draws=200)
    assert again == found


def test_thickness_follows_the_sign_of_the_bias():
    off = thickness_error_mm([-10.0, 0.0, 10.0], DESIGN)
    assert off[0] < off[1] == 0.0 < off[2]


def test_inputs_that_cannot_be():
    with pytest.raises(DomainError, match="session_cost"):
        replace(INPUTS, session_cost=-1.0)
    with pytest.raises(DomainError, match="too_thin_factor"):
        replace(INPUTS, too_thin_factor=0.0)
    with pytest.raises(DomainError, match="reliability"):
        replace(DESIGN, reliability=0.4)
    with pytest.raises(DomainError, match="serviceability"):
        replace(DESIGN, serviceability_loss=0.0)
    with pytest.raises(DomainError, match="design_esals"):
        replace(DESIGN, design_esals=0.0)
    walk = fitted()
    with pytest.raises(DomainError, match="no lane C"):
        calibrate_or_leave(walk, "C", TODAY, INPUTS)
    with pytest.raises(DomainError, match="after the day of the decision"):
        calibrate_or_leave(walk, "A", TODAY - dt.timedelta(days=200), INPUTS)
    with pytest.raises(DomainError, match="at least one day"):
        calibrate_or_leave(walk, "A", TODAY, INPUTS, longest_days=0)
