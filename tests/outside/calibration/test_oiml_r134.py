"""OIML R 134-1:2006: maximum permissible errors, from memory.

Class names are confirmed by published certificates; the limits and the rule of an
initial verification were not held against the document.
"""

import numpy as np
import pytest

from calibration.calc.run_errors import run_errors
from calibration.calc.standards.base import Conditions
from calibration.calc.standards.oiml_r134 import (
    GROUP,
    MASS_MPE_PCT,
    OTHER_MPE_PCT,
    RIGID,
    RIGID_MPE_PCT,
    SINGLE,
    STANDARD,
    corrected_mean_kg,
)
from calibration.calc.types import Quantity
from tests.calibration.calc.build import run_of, set_of, truck
from wimprog.lib.judgement import Verdict

INITIAL = Conditions(is_initial=True)
# fmt: off
MASS = {
    "initial": {"0.2": 0.10, "0.5": 0.25, "1": 0.50, "2": 1.00, "5": 2.50, "10": 5.00},
    "service": {"0.2": 0.20, "0.5": 0.50, "1": 1.00, "2": 2.00, "5": 5.00, "10": 10.0},
}
RIGID_AXLE = {
    "initial": {"A": 0.25, "B": 0.50, "C": 0.75, "D": 1.00, "E": 2.00, "F": 4.00},
    "service": {"A": 0.50, "B": 1.00, "C": 1.50, "D": 2.00, "E": 4.00, "F": 8.00},
}
OTHER_AXLE = {
    "initial": {"A": 0.50, "B": 1.00, "C": 1.50, "D": 2.00, "E": 4.00, "F": 8.00},
    "service": {"A": 1.00, "B": 2.00, "C": 3.00, "D": 4.00, "E": 8.00, "F": 16.0},
}
# fmt: on


@pytest.mark.parametrize(("place", "stage"), enumerate(("initial", "service")))
def test_tables_of_maximum_permissible_errors(place, stage):
    for printed, ours in (
        (MASS, MASS_MPE_PCT),
        (RIGID_AXLE, RIGID_MPE_PCT),
        (OTHER_AXLE, OTHER_MPE_PCT),
    ):
        assert {name: limits[place] for name, limits in ours.items()} == printed[stage]


def gross(values, **options):
    return STANDARD.judge(set_of({Quantity.GROSS_WEIGHT: values}), **options)


@pytest.mark.parametrize(
    ("large", "expected"),
    [
        ([2.5, 2.5, 2.5], "meets"),  # the limit itself is within
        ([4.9, 4.9], "meets"),  # 2 of 20 is 10 %
        ([2.6, 2.6, 2.6], "misses"),  # 3 of 20 is more
        ([5.0], "meets"),  # just twice
        ([5.1], "misses"),  # more than twice
    ],
)
def test_initial_verification_lets_a_tenth_exceed_up_to_twice(large, expected):
    """Class 5 at initial verification: 2.5 %; 20 results."""
    values = [*large, *([0.5, -0.5] * 10)][:20]
    verdict = gross(values, wanted_class="5", conditions=INITIAL)
    assert verdict.verdict.value == expected
    assert dict(verdict.overall.details)["margin unit"] == "%"


def test_in_service_none_may_exceed_the_doubled_limit():
    values = [0.5, -0.5] * 10
    assert gross([5.0, *values], wanted_class="5").verdict is Verdict.MEETS
    assert gross([5.1, *values], wanted_class="5").verdict is Verdict.MISSES


def test_margin_is_the_distance_of_the_error_that_decides():
    """Limit 2.5 %, the third of 20 counts: 2.5 − 2.0 = 0.5; twice: 5 − 3 = 2."""
    values = [3.0, 2.9, 2.0, *([0.5, -0.5] * 10)][:20]
    judged = gross(values, wanted_class="5", conditions=INITIAL).judgements[0]
    assert dict(judged.details)["margin"] == pytest.approx(0.5)
    values[0] = 4.8
    judged = gross(values, wanted_class="5", conditions=INITIAL).judgements[0]
    assert dict(judged.details)["margin"] == pytest.approx(0.2)


def test_corrected_mean_axle_load():
    """5,100 kg mean, 20,000 kg mean sum, 20,400 kg static: 5,100 × 1.02 = 5,202 kg."""
    got = corrected_mean_kg(
        np.array([5000.0, 5200.0]), np.array([19800.0, 20200.0]), 20400.0
    )
    assert got == pytest.approx(5202.0)


def runs_of_truck(vehicle, factors):
    """Runs whose axle k reads factor × (1 ± 1 % in turn) of the static load."""
    return [
        run_of(
            vehicle,
            f"{vehicle.name}{place}",
            axle_weights_kg=tuple(
                kg * factor * (1.01 if place % 2 else 0.99)
                for kg, factor in zip(vehicle.axle_weights_kg, factors, strict=True)
            ),
        )
        for place in range(10)
    ]


def test_other_vehicles_are_held_against_their_own_mean():
    """Axles that read 10 % apart from static, always alike, deviate by the scatter.

    The front axle reads 0.9 of static and the rest so that the sum is right: against
    static it would be 10 % off; against its corrected mean only the ±1 % is left.
    """
    vehicle = truck("T1", axle_weights_kg=(5000.0, 7500.0, 7500.0, 8000.0, 8000.0))
    rest = (36000.0 - 4500.0) / 31000.0
    found = STANDARD.judge(
        run_errors([vehicle], runs_of_truck(vehicle, (0.9, *(rest,) * 4)))
    )
    assert found.attained_class == "1-A"
    assert dict(found.judgement_of(SINGLE).details)["largest error"] == pytest.approx(1)
    assert found.judgement_of(GROUP).n == 20
    assert found.judgement_of(RIGID).verdict is Verdict.CANNOT_SAY


def test_two_axle_vehicles_are_held_against_static_loads():
    """±1 % on 0.98 of static is −2.98 to −1.02 %: class E (4 %) in service."""
    vehicle = truck(
        "T2", axle_weights_kg=(5000.0, 9000.0), axle_spacings_m=(6.0,), vehicle_class=5
    )
    found = STANDARD.judge(
        run_errors([vehicle], runs_of_truck(vehicle, (0.98, 0.98))), wanted_class="5-E"
    )
    judged = found.judgement_of(RIGID)
    assert judged.verdict is Verdict.MEETS
    assert dict(judged.details)["largest error"] == pytest.approx(2.98)
    assert found.attained_class == "5-E"
    assert found.judgement_of(SINGLE).n == 0


def test_a_class_of_mass_alone_asks_nothing_of_axles():
    found = gross([0.05, -0.05] * 10)
    assert found.attained_class == "0.2"
    silent = found.judgement_of(GROUP)
    assert silent.verdict is Verdict.CANNOT_SAY
    assert "asks nothing of axle loads" in silent.sentence
    wanted = gross([0.05, -0.05] * 10, wanted_class="0.2-c")
    assert wanted.judged_class == "0.2-C"
    assert "Not judged: " in wanted.overall.sentence
