"""Wheel loads: errors, believable pairs, and left against right."""

import math

import pytest

from calibration.calc.run_errors import run_errors
from calibration.calc.types import Quantity
from calibration.calc.wheel_loads import errors_by_side, side_balances
from tests.calibration.calc.build import run_of, truck
from wimprog.lib.errors import UnreadableInput


def halves(weights_kg, left_share=0.5):
    return tuple((kg * left_share, kg * (1 - left_share)) for kg in weights_kg)


def wheeled_truck():
    return truck(wheel_weights_kg=halves(truck().axle_weights_kg))


def wheeled_run(vehicle, label, left_pct=0.0, right_pct=0.0):
    pairs = tuple(
        (left * (1 + left_pct / 100), right * (1 + right_pct / 100))
        for left, right in vehicle.wheel_weights_kg
    )
    axles = tuple(sum(pair) for pair in pairs)
    return run_of(vehicle, label, axle_weights_kg=axles, wheel_weights_kg=pairs)


def test_each_wheel_is_held_against_its_own_static_load():
    vehicle = wheeled_truck()
    runs = [wheeled_run(vehicle, "1", 4.0, -2.0), wheeled_run(vehicle, "2", 6.0, 0.0)]
    wheels = run_errors([vehicle], runs)[Quantity.WHEEL]
    assert wheels.n == 2 * 5 * 2
    assert wheels.parts[:3] == ("axle 1, left", "axle 1, right", "axle 2, left")
    assert wheels.errors[:2] == pytest.approx([4.0, -2.0])
    sides = dict(errors_by_side(run_errors([vehicle], runs)))
    assert sides["left"].mean == pytest.approx(5.0)
    assert sides["right"].mean == pytest.approx(-1.0)
    assert sides["left"].n == sides["right"].n == 10


def test_no_wheels_are_no_data_with_the_reason():
    plain, wheeled = truck(), wheeled_truck()
    none = run_errors([plain], [run_of(plain, "1")])
    assert none[Quantity.WHEEL].why_none == "The lane recorded no wheel loads."
    assert side_balances(none) == ()
    assert dict(errors_by_side(none))["left"].mean is None
    without = run_errors([plain], [wheeled_run(wheeled, "1")])
    assert without[Quantity.WHEEL].why_none.startswith("No static wheel loads")
    assert side_balances(without)[0].static_pct is None
    assert side_balances(without)[0].departure_pct is None


def test_a_run_without_wheels_leaves_the_others_theirs():
    vehicle = wheeled_truck()
    runs = [wheeled_run(vehicle, "1", 1.0, 1.0), run_of(vehicle, "2")]
    wheels = run_errors([vehicle], runs)[Quantity.WHEEL]
    assert set(wheels.runs) == {"1"}


def test_imbalance_is_left_less_right_of_both():
    """(1.1 − 0.9)/(1.1 + 0.9) is 10 %; the static weighing is 52 to 48, so 4 %."""
    vehicle = truck(wheel_weights_kg=halves(truck().axle_weights_kg, 0.52))
    even = truck(wheel_weights_kg=halves(truck().axle_weights_kg))
    runs = [wheeled_run(even, "1", 10.0, -10.0), wheeled_run(even, "2")]
    found = side_balances(run_errors([vehicle], runs))
    assert [one.part for one in found] == [
        *(f"axle {axle}" for axle in range(1, 6)),
        "whole vehicle",
    ]
    for one in found:
        assert one.n == 2
        assert one.mean_pct == pytest.approx(5.0)
        assert one.sd_pct == pytest.approx(math.sqrt(50.0))
        assert one.static_pct == pytest.approx(4.0)
        assert one.departure_pct == pytest.approx(1.0)
    (first, *_) = side_balances(run_errors([vehicle], runs[:1]))
    assert first.sd_pct is None


@pytest.mark.parametrize(
    ("pairs", "part"),
    [
        (((2500.0, 2500.0),), "do not fit its 5 axles"),
        (halves((5000, 7500, 7500, 8000, 0.0)), "is not a weight"),
        (halves((5000, 7500, 7500, 8000, math.nan)), "is not a weight"),
        (halves((5000, 7500, 7500, 8000, 17600.0)), "do not make up its axle weight"),
    ],
)
def test_wheels_that_cannot_be_are_refused_in_words(pairs, part):
    good = wheeled_truck()
    with pytest.raises(UnreadableInput) as told:
        run_errors([good], [run_of(good, "1", wheel_weights_kg=pairs)])
    complaint = told.value.complaints[0]
    assert part in complaint.message
    assert complaint.remedy
    with pytest.raises(UnreadableInput):
        run_errors([truck(wheel_weights_kg=pairs)], [])


def test_a_run_set_aside_may_have_any_wheels():
    vehicle = wheeled_truck()
    aside = run_of(
        vehicle, "1", wheel_weights_kg=(), excluded=True, exclusion_reason="rain"
    )
    assert run_errors([vehicle], [aside])[Quantity.WHEEL].n == 0
