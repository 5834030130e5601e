"""COST 323, European WIM Specification, version 3.0 (1999).

The required confidence table and the tolerance table are those of the specification,
from memory; both follow from its formulas, which public texts confirm. The worked
results are computed by hand from those formulas with invented means and spreads.
"""

import pytest
from scipy import stats

from calibration.calc.standards.base import Conditions
from calibration.calc.standards.cost_323 import MOTION_TOLERANCE_PCT, STANDARD
from calibration.calc.standards.cost_323_formulas import (
    CLASS_NUMBERS,
    class_number_for,
    delta_pct,
    estimated_confidence,
    required_confidence,
    smallest_delta_pct,
)
from calibration.calc.types import EnvironmentPlan, Quantity, TestPlan
from tests.calibration.calc.build import set_of, with_moments
from wimprog.lib.judgement import Verdict

SIZES = (10, 20, 30, 60, 120, None)
# fmt: off
REQUIRED_PCT = {
    ("I", "r1"): (95.0, 97.3, 97.9, 98.4, 98.7, 99.3),
    ("I", "r2"): (90.0, 94.2, 95.3, 96.4, 97.1, 98.2),
    ("I", "R1"): (85.0, 90.8, 92.5, 94.2, 95.2, 96.9),
    ("I", "R2"): (80.1, 87.4, 89.6, 91.8, 93.1, 95.4),
    ("II", "r1"): (93.3, 96.2, 97.0, 97.8, 98.2, 98.9),
    ("II", "r2"): (87.5, 92.5, 93.9, 95.3, 96.1, 97.5),
    ("II", "R1"): (81.9, 88.7, 90.7, 92.7, 93.9, 96.0),
    ("II", "R2"): (76.6, 84.9, 87.4, 90.0, 91.5, 94.3),
    ("III", "r1"): (91.4, 95.0, 96.0, 97.0, 97.6, 98.5),
    ("III", "r2"): (84.7, 90.7, 92.4, 94.1, 95.1, 96.8),
    ("III", "R1"): (78.6, 86.4, 88.7, 91.1, 92.5, 95.0),
    ("III", "R2"): (73.0, 82.3, 85.1, 88.1, 89.8, 93.1),
}
# Cells in which the printed table and its own formula part by a tenth (from memory).
PRINTED_OTHERWISE_PCT = {
    ("I", "r1", 20): 97.2,
    ("I", "r1", None): 99.2,
    ("I", "r2", 20): 94.1,
    ("I", "R2", 10): 80.0,
    ("I", "R1", None): 97.0,
}
TOLERANCES_PCT = {  # class: gross weight, group, single axle, axle of a group
    "A(5)": (5, 7, 8, 10),
    "B+(7)": (7, 10, 11, 14),
    "B(10)": (10, 13, 15, 20),
    "C(15)": (15, 18, 20, 25),
    "D+(20)": (20, 23, 25, 30),
    "D(25)": (25, 28, 30, 35),
    "E(30)": (30, 33, 36, 41),
}
WORKED = [
    # criterion, n, mean %, sd %, initial?, pi0 %, class, delta %, pi %, delta_min %
    (Quantity.GROSS_WEIGHT, 40, 1.2, 3.5, False, 93.35, "B(10)", 10, 97.97, 8.078),
    (Quantity.GROSS_WEIGHT, 40, 1.2, 3.5, True, 93.35, "C(15)", 12, 99.50, 8.078),
    (Quantity.AXLE_GROUP, 80, 0.8, 4.6, False, 94.67, "B(10)", 13, 98.79, 10.178),
    (Quantity.SINGLE_AXLE, 40, -2.1, 5.2, False, 93.35, "B(10)", 15, 97.90, 12.192),
    (Quantity.AXLE_OF_GROUP, 160, 0.3, 6.9, False, 95.44, "B(10)", 20, 99.32, 14.992),
]
OTHER_PLANS = [
    # n, mean %, sd %, plan, environment, initial?, pi0 %, class, delta %, pi %, min %
    (20, 0.5, 2.0, "r2", "I", True, 94.15, "B+(7)", 5.6, 96.53, 5.069),
    (110, -3.49, 3.63, "R2", "I", False, 92.99, "B(10)", 10, 94.39, 9.581),
    (60, 0, 5.0, "r1", "II", False, 97.79, "C(15)", 15, 99.19, 13.049),
    (30, -4, 6, "R2", "III", False, 85.15, "C(15)", 15, 91.79, 12.900),
]
# fmt: on
CELLS = [
    (environment, plan, n, value)
    for (environment, plan), values in REQUIRED_PCT.items()
    for n, value in zip(SIZES, values, strict=True)
]


@pytest.mark.parametrize(("environment", "plan", "n", "expected_pct"), CELLS)
def test_required_confidence_is_the_tables(environment, plan, n, expected_pct):
    got_pct = 100 * required_confidence(n, TestPlan(plan), EnvironmentPlan(environment))
    assert got_pct == pytest.approx(expected_pct, abs=0.0501)
    printed_pct = PRINTED_OTHERWISE_PCT.get((environment, plan, n), expected_pct)
    assert round(got_pct, 1) == pytest.approx(printed_pct, abs=0.1001)


@pytest.mark.parametrize("class_name", TOLERANCES_PCT)
def test_tolerances_are_the_tables_before_it_rounds_them(class_name):
    criteria = (
        Quantity.GROSS_WEIGHT,
        Quantity.AXLE_GROUP,
        Quantity.SINGLE_AXLE,
        Quantity.AXLE_OF_GROUP,
    )
    got = [delta_pct(one, CLASS_NUMBERS[class_name]) for one in criteria]
    assert [round(value) for value in got] == list(TOLERANCES_PCT[class_name])


def test_the_two_cells_that_the_printed_table_rounds_are_kept_unrounded():
    assert delta_pct(Quantity.AXLE_GROUP, 5) == pytest.approx(7.142857, abs=1e-6)
    assert delta_pct(Quantity.SINGLE_AXLE, 7) == pytest.approx(10.92)


@pytest.mark.parametrize("case", WORKED, ids=lambda case: f"{case[0]}-{case[6]}")
def test_worked_results(case):
    quantity, n, mean, sd, initial, pi0, class_name, delta, pi, delta_min = case
    required = required_confidence(n)
    assert 100 * required == pytest.approx(pi0, abs=0.005)
    k = 0.8 if initial else 1.0
    used = k * delta_pct(quantity, CLASS_NUMBERS[class_name])
    assert used == pytest.approx(delta)
    assert 100 * estimated_confidence(used, mean, sd, n) == pytest.approx(pi, abs=0.005)
    assert smallest_delta_pct(mean, sd, n, required) == pytest.approx(
        delta_min, abs=5e-4
    )


@pytest.mark.parametrize("case", WORKED, ids=lambda case: f"{case[0]}-{case[6]}")
def test_the_standard_finds_the_worked_class(case):
    quantity, n, mean, sd, initial, *_, delta_min = case
    errors = {Quantity.GROSS_WEIGHT: [0.01, -0.01] * 20}
    errors[quantity] = with_moments(n, mean, sd)
    verdict = STANDARD.judge(set_of(errors), conditions=Conditions(is_initial=initial))
    assert verdict.attained_class == case[6]
    assert verdict.verdict is Verdict.MEETS
    judged = verdict.judgement_of(quantity)
    assert judged.value == pytest.approx(delta_min, abs=5e-4)
    assert dict(judged.details)["own class"] == case[6]


def test_outer_function_is_students_not_the_normal():
    """n 30, mean 2 %, sd 4 %, δ 10 %: Student 93.59, normal 94.38 (computed)."""
    assert 100 * estimated_confidence(10, 2, 4, 30) == pytest.approx(93.59, abs=0.005)
    a = stats.t.ppf(0.975, 29) / 30**0.5
    normal = stats.norm.cdf((10 - 2) / 4 - a) - stats.norm.cdf((-10 - 2) / 4 + a)
    assert 100 * normal == pytest.approx(94.38, abs=0.005)


@pytest.mark.parametrize("case", OTHER_PLANS, ids=lambda case: f"{case[3]}-{case[4]}")
def test_worked_results_of_other_plans(case):
    n, mean, sd, plan, environment, initial, *expected = case
    pi0, class_name, delta, pi, delta_min = expected
    conditions = Conditions(
        plan=TestPlan(plan),
        environment=EnvironmentPlan(environment),
        is_initial=initial,
    )
    verdict = STANDARD.judge(
        set_of({Quantity.GROSS_WEIGHT: with_moments(n, mean, sd)}),
        conditions=conditions,
    )
    assert verdict.attained_class == class_name
    details = dict(verdict.judgement_of("gross weight").details)
    assert details["pi0_pct"] == pytest.approx(pi0, abs=0.005)
    assert details["delta"] == pytest.approx(delta)
    assert details["pi_pct"] == pytest.approx(pi, abs=0.005)
    assert details["delta_min"] == pytest.approx(delta_min, abs=5e-4)
    assert details["margin"] == pytest.approx(delta - delta_min, abs=5e-4)


def test_runs_of_the_calibration_itself_are_held_to_eight_tenths():
    """From memory: their bias is gone by construction, so k is 0.8 as at the first."""
    runs = set_of({Quantity.GROSS_WEIGHT: with_moments(40, 1.2, 3.5)})
    same = STANDARD.judge(runs, conditions=Conditions(is_calibration_sample=True))
    first = STANDARD.judge(runs, conditions=Conditions(is_initial=True))
    assert same.attained_class == first.attained_class == "C(15)"
    assert any("calibration itself" in note for note in same.notes)
    standing = same.judgement_of("gross weight").standing
    assert "not checked against the document" in standing
    assert first.judgement_of("gross weight").standing == "confirmed"


@pytest.mark.parametrize(
    "number", [1.0, 5.0, 6.99, 7.0, 9.99, 10, 12.3, 24.99, 25, 29, 60]
)
@pytest.mark.parametrize(
    "criterion",
    [
        Quantity.GROSS_WEIGHT,
        Quantity.AXLE_GROUP,
        Quantity.SINGLE_AXLE,
        Quantity.AXLE_OF_GROUP,
    ],
)
def test_class_number_is_the_inverse_of_the_tolerance(criterion, number):
    delta = delta_pct(criterion, number)
    assert class_number_for(criterion, delta) == pytest.approx(number)


def test_the_specifications_own_inverses():
    """δ_min to K: gross δ; group 0.7 δ, δ − 3; axle of group δ/2, δ − 10; single axle
    δ(δ + 97)/168 below 15, which is approximate, else δ − 5 (public texts)."""
    published = {
        Quantity.GROSS_WEIGHT: {8.0: 8.0, 22.0: 22.0},
        Quantity.AXLE_GROUP: {9.0: 6.3, 13.0: 10.0},
        Quantity.AXLE_OF_GROUP: {15.0: 7.5, 25.0: 15.0},
        Quantity.SINGLE_AXLE: {20.0: 15.0},
    }
    for criterion, pairs in published.items():
        for delta, number in pairs.items():
            assert class_number_for(criterion, delta) == pytest.approx(number)
    for delta in (4.0, 8.0, 11.0, 14.9):
        exact = class_number_for(Quantity.SINGLE_AXLE, delta)
        assert delta * (delta + 97) / 168 == pytest.approx(exact, rel=0.04)
    with pytest.raises(ValueError, match="no weight criterion for speed"):
        class_number_for(Quantity.SPEED, 5.0)


def test_the_smallest_class_the_data_support_is_told():
    """GVW needs 8.078 %, the single axles 12.192 %: K(85 − K)/50 = 12.192 at 7.92."""
    verdict = STANDARD.judge(
        set_of(
            {
                Quantity.GROSS_WEIGHT: with_moments(40, 1.2, 3.5),
                Quantity.SINGLE_AXLE: with_moments(40, -2.1, 5.2),
            }
        )
    )
    gross, axle = (
        dict(verdict.judgement_of(one).details)["class number"]
        for one in ("gross weight", "single axle")
    )
    assert gross == pytest.approx(8.078, abs=5e-4)
    assert axle * (85 - axle) / 50 == pytest.approx(12.192, abs=5e-4)
    smallest = dict(verdict.overall.details)["smallest class number"]
    assert smallest == max(gross, axle)
    assert verdict.attained_class == "B(10)"


def test_tolerances_of_speed_and_spacing_stand_beside_the_weights():
    """2, 3, 4, 6, 8 and 10 % for A(5) to D(25), none for E (from memory)."""
    assert list(MOTION_TOLERANCE_PCT.values()) == [2, 3, 4, 6, 8, 10]
    assert not any(name.startswith("E") for name in MOTION_TOLERANCE_PCT)
    runs = {
        Quantity.GROSS_WEIGHT: with_moments(40, 0, 1),
        Quantity.SPEED: with_moments(40, 0, 1),
    }
    errors = set_of(runs)
    speed = errors[Quantity.SPEED]
    speed.reference[:] = 50.0  # km/h, and the runs 20 % fast
    speed.measured[:] = 60.0
    verdict = STANDARD.judge(errors, wanted_class="B(10)")
    assert verdict.judgement_of("speed").verdict is Verdict.MISSES
    assert "does not decide the class" in verdict.judgement_of("speed").sentence
    assert verdict.verdict is Verdict.MEETS
    last = STANDARD.judge(errors, wanted_class="E(30)")
    assert "no tolerance" in last.judgement_of("speed").sentence
