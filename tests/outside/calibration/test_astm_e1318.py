"""ASTM E1318-09, table 1, as printed in FHWA, Traffic Monitoring Guide (2022), D-1.

Types III and IV, the speeds of use and the pass rule (no more than 5 % outside) are
from memory.
"""

import pytest

from calibration.calc.run_errors import run_errors
from calibration.calc.standards.astm_e1318 import (
    STANDARD,
    n_allowed_outside,
    tolerance_of,
)
from calibration.calc.standards.astm_e1318_table import (
    items_of,
    low_speed_limits,
    speeds_of_use_kmh,
)
from calibration.calc.standards.base import Conditions
from calibration.calc.types import Quantity
from tests.calibration.calc.build import errors_of, run_of, set_of, truck
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

PRINTED_PCT = {
    "Type I": {"axle": 20, "axle group": 15, "gross weight": 10, "wheel load": 25},
    "Type II": {"axle": 30, "axle group": 20, "gross weight": 15},
    "Type III": {  # from memory
        "axle": 15,
        "axle group": 10,
        "gross weight": 6,
        "wheel load": 20,
    },
}


@pytest.mark.parametrize("class_name", PRINTED_PCT)
def test_tolerances_of_weights(class_name):
    got = {
        item: tolerance_of(Quantity(item), class_name)[0]
        for item in PRINTED_PCT[class_name]
    }
    assert got == PRINTED_PCT[class_name]


def test_type_ii_has_no_tolerance_for_wheels():
    assert Quantity.WHEEL not in items_of("Type II")
    with pytest.raises(KeyError):
        tolerance_of(Quantity.WHEEL, "Type II")


@pytest.mark.parametrize("class_name", [*PRINTED_PCT, "Type IV"])
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


TYPE_IV = {  # item: from lb, ± lb; from kg, ± kg (from memory)
    "wheel load": (5_000, 300, 2_300, 100),
    "axle": (12_000, 500, 5_400, 200),
    "axle group": (25_000, 1_200, 11_300, 500),
    "gross weight": (60_000, 2_500, 27_200, 1_100),
}
LB_KG = 0.45359237


@pytest.mark.parametrize("item", TYPE_IV)
def test_type_iv_limits_pounds_and_kilograms_of_their_own(item):
    from_lb, within_lb, from_kg, within_kg = TYPE_IV[item]
    us = low_speed_limits(Quantity(item), UnitSystem.US)
    assert us[:2] == pytest.approx((from_lb * LB_KG, within_lb * LB_KG))
    assert us[2] == f"±{within_lb:g} lb from {from_lb:g} lb"
    si = low_speed_limits(Quantity(item), UnitSystem.SI)
    assert si[:2] == (from_kg, within_kg)


def test_type_iv_limits_no_speed_in_pounds():
    with pytest.raises(KeyError):
        low_speed_limits(Quantity.SPEED)


def test_speeds_of_use():
    """10 to 80 mph (16 to 130 km/h); Type IV 2 to 10 (3 to 16); from memory."""
    assert speeds_of_use_kmh("Type I")[:2] == pytest.approx((16.09344, 128.74752))
    assert speeds_of_use_kmh("Type II", UnitSystem.SI)[:2] == (16, 130)
    assert speeds_of_use_kmh("Type IV")[:2] == pytest.approx((3.218688, 16.09344))
    assert speeds_of_use_kmh("Type IV", UnitSystem.SI)[:2] == (3, 16)


def slow_runs(off_kg, *, n=20, speed_kmh=8.0, axles=(9000.0, 9000.0, 9500.0)):
    """Runs of a three-axle truck whose first axle is ``off_kg`` heavy."""
    vehicle = truck(axle_weights_kg=axles, axle_spacings_m=(4.0, 4.0))
    first, *rest = vehicle.axle_weights_kg
    return run_errors(
        [vehicle],
        [
            run_of(
                vehicle,
                str(place),
                axle_weights_kg=(first + off_kg, *rest),
                speed_kmh=speed_kmh,
            )
            for place in range(1, n + 1)
        ],
    )


@pytest.mark.parametrize(
    ("off_kg", "system", "expected"),
    [
        (226.0, UnitSystem.US, Verdict.MEETS),  # 500 lb are 226.8 kg
        (227.5, UnitSystem.US, Verdict.MISSES),
        (200.0, UnitSystem.SI, Verdict.MEETS),  # the limit itself is within
        (201.0, UnitSystem.SI, Verdict.MISSES),
    ],
)
def test_type_iv_judges_differences_in_pounds_or_kilograms(off_kg, system, expected):
    verdict = STANDARD.judge(
        slow_runs(off_kg),
        wanted_class="Type IV",
        conditions=Conditions(unit_system=system),
    )
    axle = verdict.judgement_of("axle")
    assert axle.verdict is expected
    assert axle.n == 60
    assert "not checked against the document" in axle.standing
    assert "tolerance" not in dict(axle.details)  # charts draw it among per cent


def test_type_iv_passes_over_loads_below_its_thresholds():
    """Axles of 5,300 kg are under 5,400: only the third, of 9,500 kg, is judged."""
    errors = slow_runs(900.0, axles=(5300.0, 5300.0, 9500.0))
    metric = Conditions(unit_system=UnitSystem.SI)
    verdict = STANDARD.judge(errors, wanted_class="Type IV", conditions=metric)
    axle = verdict.judgement_of("axle")
    assert (axle.n, axle.verdict) == (20, Verdict.MEETS)
    gross = verdict.judgement_of("gross weight")
    assert gross.verdict is Verdict.CANNOT_SAY
    assert "27200 kg or more" in gross.sentence
    assert verdict.verdict is Verdict.CANNOT_SAY


def test_type_iv_is_not_shown_at_other_speeds():
    good = slow_runs(10.0)
    assert STANDARD.judge(good).attained_class == "Type IV"
    fast = slow_runs(10.0, speed_kmh=60.0)
    assert STANDARD.judge(fast).attained_class == "Type III"
    wanted = STANDARD.judge(fast, wanted_class="Type IV")
    assert wanted.verdict is Verdict.CANNOT_SAY
    assert "20 of 20 runs were not driven at its speeds" in wanted.overall.sentence
    assert any("2 to 10 mph" in note for note in wanted.notes)
    unknown = STANDARD.judge(errors_of([0.1] * 20), wanted_class="Type IV")
    assert any("20 of 20 runs have no speed" in note for note in unknown.notes)
    assert STANDARD.judge(errors_of([0.1] * 20)).attained_class == "Type III"


def test_wheels_are_judged_where_they_are_recorded():
    vehicle = truck(
        wheel_weights_kg=tuple((kg / 2, kg / 2) for kg in truck().axle_weights_kg)
    )
    runs = [
        run_of(
            vehicle,
            str(place),
            wheel_weights_kg=tuple(
                (kg * 0.63, kg * 0.37) for kg in vehicle.axle_weights_kg
            ),
        )
        for place in range(1, 21)
    ]
    verdict = STANDARD.judge(run_errors([vehicle], runs), wanted_class="Type I")
    wheel = verdict.judgement_of("wheel load")
    assert (wheel.n, wheel.verdict) == (200, Verdict.MISSES)  # 26 % off, ±25 % allowed
    assert verdict.verdict is Verdict.MISSES
