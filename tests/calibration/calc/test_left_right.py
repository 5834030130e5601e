"""Left against right, run by run."""

import pytest

from calibration.calc.left_right import imbalance_by_run, side_difference
from calibration.calc.run_errors import run_errors
from tests.calibration.calc.build import run_of, truck

STATIC = (
    (2600.0, 2400.0),
    *[(3750.0, 3750.0)] * 2,
    *[(4000.0, 4000.0)] * 2,
)


def lane(left, right, *, static=STATIC, n=4):
    """Runs whose left wheels are off by ``left`` per cent, right ones by ``right``."""
    vehicle = truck(wheel_weights_kg=static)
    runs = []
    for label in range(1, n + 1):
        wave = 0.2 * (-1) ** label
        wheels = tuple(
            (a * (1 + (left + wave) / 100), b * (1 + right / 100)) for a, b in STATIC
        )
        runs.append(
            run_of(
                vehicle,
                str(label),
                axle_weights_kg=tuple(map(sum, wheels)),
                wheel_weights_kg=wheels,
            )
        )
    return run_errors([vehicle], runs)


def test_imbalance_of_a_run_beside_the_vehicles_own():
    """By hand: static 18,100 left, 17,900 right: 200/36,000 = 0.556 %."""
    runs = imbalance_by_run(lane(0.0, 0.0))
    assert [one.run for one in runs] == ["1", "2", "3", "4"]
    assert runs[0].static_pct == pytest.approx(100 * 200 / 36000)
    assert runs[0].axles_pct[0] == pytest.approx(100 * 200 / 5000, abs=0.2)
    assert runs[0].departure_pct == pytest.approx(-0.1, abs=0.01)
    bare = imbalance_by_run(lane(0.0, 0.0, static=None))
    assert bare[0].static_pct is bare[0].departure_pct is None


def test_a_half_that_weighs_more_is_shown():
    found = side_difference(lane(3.0, -1.0))
    assert found.value == pytest.approx(4.0)
    assert found.n == 4
    assert found.is_shown
    assert "left half weighs 4.00 percentage points higher" in found.sentence
    even = side_difference(lane(0.0, 0.0))
    assert not even.is_shown
    assert "No difference" in even.sentence
    one = side_difference(lane(3.0, -1.0, n=1))
    assert one.interval is None
    assert not one.is_shown


def test_whole_axles_have_no_sides():
    vehicle = truck()
    errors = run_errors([vehicle], [run_of(vehicle, "1")])
    assert imbalance_by_run(errors) == ()
    assert side_difference(errors) is None
