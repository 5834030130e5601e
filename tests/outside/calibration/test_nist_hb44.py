"""NIST Handbook 44, section 2.25, accuracy class A: table T.2.2, from memory."""

import pytest

from calibration.calc.standards.base import Conditions, values_in_use
from calibration.calc.standards.nist_hb44 import STANDARD, rule_of
from calibration.calc.types import Quantity
from tests.calibration.calc.build import errors_of, set_of
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

TABLE_PCT = {"axle": 20.0, "axle group": 15.0, "gross weight": 10.0}
VALUES = values_in_use(STANDARD, Conditions())


@pytest.mark.parametrize("item", TABLE_PCT)
def test_tolerances(item):
    rule = rule_of(Quantity(item), UnitSystem.US, VALUES)
    assert (rule.tolerance, rule.max_outside_pct) == (TABLE_PCT[item], 5.0)
    assert "not checked against the document" in rule.standing


def test_spacing_is_half_a_foot_or_fifteen_centimetres():
    us, si = (
        rule_of(Quantity.AXLE_SPACING, system, VALUES).tolerance
        for system in (UnitSystem.US, UnitSystem.SI)
    )
    assert (us, si) == (pytest.approx(0.1524), 0.15)


@pytest.mark.parametrize(
    ("n_outside", "expected"), [(2, Verdict.MEETS), (3, Verdict.MISSES)]
)
def test_ninety_five_per_cent_of_forty_results(n_outside, expected):
    values = [10.5] * n_outside + [1.0] * (40 - n_outside)
    verdict = STANDARD.judge(set_of({Quantity.GROSS_WEIGHT: values}))
    assert verdict.verdict is expected
    assert verdict.attained_class == ("Class A" if expected is Verdict.MEETS else None)


def test_the_test_asks_for_two_vehicles_of_two_kinds_and_twenty_runs_of_each():
    notes = STANDARD.judge(errors_of([1.0, -1.0] * 10)).notes
    text = " ".join(notes)
    assert "20 runs of 1 vehicle; the test asks for 2 vehicles and at least 40" in text
    assert "a single-unit truck" in text
    assert "five-axle" not in text
