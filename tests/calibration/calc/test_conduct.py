"""Remarks on how a test was held: only on what was recorded."""

import dataclasses

import pytest

from calibration.calc.run_errors import run_errors
from calibration.calc.standards.conduct import (
    lane_position_notes,
    run_count_notes,
    runs_of_each_notes,
    speed_spread_notes,
    speeds_of,
    temperature_notes,
    vehicle_notes,
)
from calibration.calc.types import LanePosition
from tests.calibration.calc.build import errors_of, run_of, set_of, truck
from wimprog.lib.units import UnitSystem


def with_speeds(*speeds_kmh):
    vehicle = truck()
    return run_errors(
        [vehicle],
        [
            run_of(vehicle, str(place), speed_kmh=speed)
            for place, speed in enumerate(speeds_kmh, start=1)
        ],
    )


def test_nothing_is_said_of_what_is_not_known():
    for errors in (errors_of([1.0] * 3), set_of({}), errors_of([])):
        assert speeds_of(errors) == ()
        assert lane_position_notes(errors) == ()
        assert speed_spread_notes(errors, n_speeds=3) == ()
        assert temperature_notes(errors, span_c=17, unit_system=UnitSystem.SI) == ()
    assert vehicle_notes(set_of({})) == ()
    assert runs_of_each_notes(set_of({}), n_each=20) == ()


def test_the_other_instruments_speed_comes_first():
    vehicle = truck()
    run = run_of(vehicle, "1", speed_kmh=80.0, reference_speed_kmh=82.0)
    assert speeds_of(run_errors([vehicle], [run])) == (82.0,)


def test_run_and_vehicle_counts():
    errors = errors_of([1.0])
    (note,) = run_count_notes(
        errors, n_runs=20, n_vehicles=2, test="the test", is_own=True
    )
    assert note == (
        "1 run of 1 vehicle; the test asks for 2 vehicles and at least 20 runs "
        "(agency's own)."
    )
    kept = {"n_vehicles": 1, "test": "the test", "is_own": False}
    assert run_count_notes(errors, n_runs=1, **kept) == ()
    assert "from memory" in run_count_notes(errors, n_runs=2, **kept)[0]
    (each,) = runs_of_each_notes(errors, n_each=20)
    assert "20 runs of each vehicle are asked for; T1 1." in each
    assert runs_of_each_notes(errors, n_each=1) == ()


@pytest.mark.parametrize(
    ("places", "part"),
    [
        (["left", "centre"], "near the right edge"),
        (["centre"], "near the left or the right edge"),
        (["left", "right"], None),
    ],
)
def test_edges_of_the_lane(places, part):
    vehicle = truck()
    runs = [
        run_of(vehicle, str(number), lane_position=LanePosition(place))
        for number, place in enumerate(places, start=1)
    ]
    notes = lane_position_notes(run_errors([vehicle], runs))
    assert (part is None and notes == ()) or part in notes[0]


@pytest.mark.parametrize(
    ("speeds", "found"),
    [((80, 81, 82), "1 speed"), ((80, 88), "2 speeds"), ((64, 80, 96), None)],
)
def test_speeds_differ_when_they_are_eight_apart(speeds, found):
    notes = speed_spread_notes(with_speeds(*speeds), n_speeds=3)
    assert (found is None and notes == ()) or f"at {found};" in notes[0]


def test_temperatures_in_the_units_of_the_reader():
    vehicle = truck()
    runs = [
        run_of(vehicle, str(place), pavement_temp_c=temp)
        for place, temp in enumerate((10.0, 20.0), start=1)
    ]
    errors = run_errors([vehicle], runs)
    (us,) = temperature_notes(errors, span_c=20.0, unit_system=UnitSystem.US)
    assert "span 18 °F; 36 °F or more" in us
    (si,) = temperature_notes(errors, span_c=20.0, unit_system=UnitSystem.SI)
    assert "span 10 °C; 20 °C or more" in si
    assert temperature_notes(errors, span_c=10.0, unit_system=UnitSystem.SI) == ()


@pytest.mark.parametrize(
    ("classes", "part"),
    [
        ((9, 6), None),
        ((9, 9), "a single-unit truck"),
        ((5, 6), "a five-axle tractor and semitrailer"),
        ((8,), "single-unit truck and a five-axle"),
        ((9, None), None),
    ],
)
def test_kinds_of_vehicles(classes, part):
    errors = dataclasses.replace(
        errors_of([1.0]), references=tuple(truck(vehicle_class=one) for one in classes)
    )
    notes = vehicle_notes(errors)
    assert (part is None and notes == ()) or part in notes[0]
