"""COST 323, European WIM Specification, version 3.0 (1999).

The required confidence table and the tolerance table are those of the specification,
from memory; both follow from its formulas, which public texts confirm. The worked
results are computed by hand from those formulas with invented means and spreads.
"""

import pytest
from scipy import stats

from calibration.calc.standards.base import Conditions
from calibration.calc.standards.cost_323 import (
    CLASS_NUMBERS,
    STANDARD,
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
