"""ASTM E1318-09, table 1, as printed in FHWA, Traffic Monitoring Guide (2022), D-1.

Type III and the pass rule (no more than 5 % outside) are from memory.
"""

import pytest

from calibration.calc.standards.astm_e1318 import (
    STANDARD,
    n_allowed_outside,
    tolerance_of,
)
from calibration.calc.types import Quantity
from tests.calibration.calc.build import set_of
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

PRINTED_PCT = {
    "Type I": {"axle": 20, "axle group": 15, "gross weight": 10},
    "Type II": {"axle": 30, "axle group": 20, "gross weight": 15},
    "Type III": {"axle": 15, "axle group": 10, "gross weight": 6},  # from memory
}


@pytest.mark.parametrize("class_name", PRINTED_PCT)
def test_tolerances_of_weights(class_name):
    got = {
        item: tolerance_of(Quantity(item), class_name)[0]
        for item in PRINTED_PCT[class_name]
    }
    assert got == PRINTED_PCT[class_name]


@pytest.mark.parametrize("class_name", PRINTED_PCT)
def test_speed_and_spacing_are_one_mph_and_half_a_foot_for_every_type(class_name):
    speed_kmh, _ = tolerance_of(Quantity.SPEED, class_name)
    spacing_m, _ = tolerance_of(Quantity.AXLE_SPACING, class_name)
    assert (speed_kmh, spacing_m) == (1.609344, 0.1524)
    metric = UnitSystem.SI
    assert tolerance_of(Quantity.SPEED, class_name, metric)[0] == 2.0
    assert tolerance_of(Quantity.WHEELBASE, class_name, metric)[0] == 0.15


@pytest.mark.parametrize(
    ("n", "allowed"), [(10, 0), (19, 0), (20, 1), (30, 1), (40, 2), (60, 3)]
)
def test_whole_runs_make_the_five_per_cent_rule_step(n, allowed):
    """10 allow none outside, 20 and 30 one, 40 two, 60 three (computed)."""
    assert n_allowed_outside(n) == allowed
    for n_outside, expected in (
        (allowed, Verdict.MEETS),
        (allowed + 1, Verdict.MISSES),
    ):
        values = [10.5] * n_outside + [1.0] * (n - n_outside)
        verdict = STANDARD.judge(
            set_of({Quantity.GROSS_WEIGHT: values}), wanted_class="Type I"
        )
        assert verdict.judgement_of("gross weight").verdict is expected
        assert verdict.verdict is expected


def test_one_failed_item_fails_the_system():
    verdict = STANDARD.judge(
        set_of(
            {
                Quantity.GROSS_WEIGHT: [1.0] * 40,
                Quantity.AXLE_GROUP: [1.0] * 40,
                Quantity.SPEED: [0.5] * 37 + [1.7] * 3,
            }
        ),
        wanted_class="Type I",
    )
    assert verdict.judgement_of("gross weight").verdict is Verdict.MEETS
    assert verdict.verdict is Verdict.MISSES
    assert "speed" in verdict.overall.sentence
