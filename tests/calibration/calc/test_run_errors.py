"""Errors of runs: by hand, at the edges, refused, and as properties."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.calc.run_checks import reference_for
from calibration.calc.run_errors import run_errors
from calibration.calc.types import LanePosition, Quantity
from tests.calibration.calc.build import WEIGHED, run_of, truck
from wimprog.lib.errors import UnreadableInput
from wimprog.lib.units import KG_PER_LB


def test_errors_by_hand():
    """5000 → 5250 is +5 %; 15000 → 14700 is −2 %; 16000 → 16160 is +1 %."""
    vehicle = truck()
    run = run_of(
        vehicle,
        "1",
        axle_weights_kg=(5250.0, 7200.0, 7500.0, 8160.0, 8000.0),
        axle_spacings_m=(5.1, 1.3, 9.7, 1.25),
        speed_kmh=90.0,
        reference_speed_kmh=88.5,
        lane_position=LanePosition.LEFT,
    )
    errors = run_errors([vehicle], [run])
    expected = {
        Quantity.GROSS_WEIGHT: [100 * 110 / 36000],
        Quantity.AXLE_GROUP: [-2.0, 1.0],
        Quantity.SINGLE_AXLE: [5.0],
        Quantity.STEERING_AXLE: [5.0],
        Quantity.AXLE_OF_GROUP: [-4.0, 0.0, 2.0, 0.0],
        Quantity.AXLE: [5.0, -4.0, 0.0, 2.0, 0.0],
        Quantity.SPEED: [1.5],
        Quantity.AXLE_SPACING: [0.1, 0.0, -0.1, 0.0],
        Quantity.WHEELBASE: [0.0],
    }
    for quantity, values in expected.items():
        assert errors[quantity].errors == pytest.approx(values, abs=1e-9), quantity
    assert errors[Quantity.AXLE_GROUP].parts == ("axles 2–3", "axles 4–5")
    assert errors[Quantity.AXLE_GROUP].runs == ("1", "1")
    assert errors[Quantity.GROSS_WEIGHT].parts == ("whole vehicle",)
    assert [quantity.unit for quantity in (*expected,)][-3:] == ["km/h", "m", "m"]
    assert (vehicle.gvw_kg, run.gvw_kg) == (36000.0, 36110.0)


def test_every_error_keeps_its_run_in_the_order_given():
    one, two = truck("T1"), truck("T2")
    runs = [run_of(two, "1", 2.0), run_of(one, "2", 1.0), run_of(two, "3", 3.0)]
    gross = run_errors([one, two], runs)[Quantity.GROSS_WEIGHT]
    assert gross.runs == ("1", "2", "3")
    assert gross.vehicles == ("T2", "T1", "T2")
    assert gross.errors == pytest.approx([2.0, 1.0, 3.0])
    assert gross.of_vehicle("T2").errors == pytest.approx([2.0, 3.0])
    assert gross.of_vehicle("T9").why_none == "No runs of T9."


def test_a_run_set_aside_is_listed_and_not_computed_with():
    vehicle = truck()
    aside = run_of(
        vehicle,
        "2",
        axle_weights_kg=(1.0,),
        excluded=True,
        exclusion_reason="straddled the lanes",
    )
    errors = run_errors([vehicle], [run_of(vehicle, "1", 1.0), aside])
    assert errors.runs_used == ("1",)
    assert errors.runs_excluded == (("2", "straddled the lanes"),)
    assert errors[Quantity.GROSS_WEIGHT].n == 1


def test_no_runs_are_no_data():
    errors = run_errors([truck()], [])
    assert errors.vehicles == ()
    for quantity in Quantity:
        assert errors[quantity].n == 0
        assert errors[quantity].why_none == "There are no runs."


def test_what_has_no_data_says_why():
    vehicle = truck(axle_weights_kg=(5000.0, 9000.0), axle_spacings_m=(5.0,))
    run = run_of(vehicle, "1", axle_spacings_m=None, reference_speed_kmh=80.0)
    errors = run_errors([vehicle], [run])
    assert errors[Quantity.AXLE_GROUP].why_none == "The vehicles have no axle groups."
    assert "no axle spacings" in errors[Quantity.WHEELBASE].why_none
    assert "recorded no speed" in errors[Quantity.SPEED].why_none
    plain = run_errors([vehicle], [replace(run, reference_speed_kmh=None)])
    assert plain[Quantity.SPEED].why_none == "No reference speed was recorded."


VEHICLE = truck()
REFUSED = [
    (run_of(VEHICLE, "7", axle_weights_kg=(5000.0,) * 4), "has 4 axle weights"),
    (run_of(VEHICLE, "7", axle_weights_kg=(5000.0,) * 6), "has 6 axle weights"),
    (run_of(VEHICLE, "7", axle_spacings_m=(5.0, 1.3)), "has 2 axle spacings"),
    (run_of(VEHICLE, "7", -100.0), "axle weight no. 1"),
    (run_of(VEHICLE, "7", -110.0), "axle weight no. 5"),
    (run_of(VEHICLE, "7", float("nan")), "axle weight no. 1"),
    (run_of(VEHICLE, "7", speed_kmh=0.0), "speed no. 1"),
    (run_of(VEHICLE, "7", axle_spacings_m=(5.0, 0.0, 9.8, 1.25)), "spacing no. 2"),
    (run_of(VEHICLE, "7", time=WEIGHED - dt.timedelta(minutes=1)), "is earlier than"),
    (run_of(VEHICLE, "7", vehicle="T9"), "no static weighing"),
    (run_of(VEHICLE, "7", weighing="second"), "no static weighing"),
    (run_of(VEHICLE, "7", excluded=True), "set aside without a reason"),
    (run_of(VEHICLE, "1"), "is used 2 times"),
]


@pytest.mark.parametrize(("run", "message"), REFUSED)
def test_runs_that_cannot_be_compared_are_refused(run, message):
    with pytest.raises(UnreadableInput) as caught:
        run_errors([VEHICLE], [run_of(VEHICLE, "1"), run])
    told = [str(one) for one in caught.value.complaints]
    assert any(message in one for one in told), told
    assert all(one.remedy for one in caught.value.complaints)


@pytest.mark.parametrize(
    ("vehicle", "message"),
    [
        (truck(axle_weights_kg=(), axle_spacings_m=()), "has no axle weights"),
        (truck(axle_spacings_m=(5.0,)), "does not fit its 5 axles"),
        (truck(axle_weights_kg=(0.0,), axle_spacings_m=()), "static axle weight no. 1"),
        (truck(axle_spacings_m=(5.0, 1.3, -9.8, 1.25)), "axle spacing no. 3"),
    ],
)
def test_static_weighings_that_cannot_be_used_are_refused(vehicle, message):
    with pytest.raises(UnreadableInput) as caught:
        run_errors([vehicle], [])
    assert message in str(caught.value.complaints[0])


def test_all_complaints_come_at_once():
    with pytest.raises(UnreadableInput) as caught:
        run_errors([VEHICLE], [run for run, _ in REFUSED[:4]])
    assert len(caught.value.complaints) >= 4


def test_a_run_is_held_against_the_latest_weighing_before_it():
    late = truck(weighed_at=WEIGHED + dt.timedelta(hours=4), weighing="second")
    early = truck(weighing="first")
    undated = truck(weighed_at=None, weighing="undated")

    def found(hours: float, *weighings, **changes):
        run = run_of(early, "1", time=WEIGHED + dt.timedelta(hours=hours), **changes)
        return reference_for(run, weighings)

    assert found(1, late, early) is early
    assert found(5, late, early) is late
    assert found(5, late, early, undated) is late
    assert found(5, late, early, weighing="first") is early
    assert found(-1, late, early) is early  # shown as the mistake it is
    assert found(1, undated, undated) is undated
    assert found(1) is None


def test_clock_times_are_compared_where_only_one_has_a_zone():
    zone = dt.timezone(dt.timedelta(hours=-6))
    vehicle = truck(weighed_at=WEIGHED.replace(tzinfo=zone))
    assert run_errors([vehicle], [run_of(vehicle, "1")])[Quantity.GROSS_WEIGHT].n == 1
    utc = truck(weighed_at=WEIGHED.replace(tzinfo=dt.UTC), weighing="utc")
    run = run_of(
        vehicle, "1", time=(WEIGHED + dt.timedelta(hours=1)).replace(tzinfo=dt.UTC)
    )
    assert reference_for(run, [vehicle, utc]) is utc
    undated = run_of(vehicle, "1", time=None)
    assert run_errors([vehicle], [undated])[Quantity.GROSS_WEIGHT].n == 1


weights = st.lists(st.floats(1500.0, 15000.0), min_size=5, max_size=5).map(tuple)
several = st.lists(weights, min_size=2, max_size=8)


@settings(max_examples=30, deadline=None)
@given(several, weights)
def test_pounds_and_kilograms_give_the_same_relative_errors(measured, static):
    def gross(factor: float) -> dict:
        vehicle = truck(axle_weights_kg=tuple(x * factor for x in static))
        runs = [
            run_of(vehicle, str(i), axle_weights_kg=tuple(x * factor for x in axles))
            for i, axles in enumerate(measured, start=1)
        ]
        return run_errors([vehicle], runs).by_quantity

    kilograms, pounds = gross(1.0), gross(1.0 / KG_PER_LB)
    for quantity in Quantity:
        np.testing.assert_allclose(
            kilograms[quantity].errors, pounds[quantity].errors, atol=1e-9
        )


@settings(max_examples=30, deadline=None)
@given(several, st.randoms(use_true_random=False))
def test_the_order_of_runs_does_not_matter(measured, random):
    vehicle = truck()
    runs = [
        run_of(vehicle, str(i), axle_weights_kg=axles)
        for i, axles in enumerate(measured, start=1)
    ]
    shuffled = random.sample(runs, len(runs))
    straight = run_errors([vehicle], runs)
    mixed = run_errors([vehicle], shuffled)
    for quantity in Quantity:
        one, other = straight[quantity], mixed[quantity]
        assert sorted(zip(one.runs, one.parts, one.errors, strict=True)) == sorted(
            zip(other.runs, other.parts, other.errors, strict=True)
        )


@settings(max_examples=30, deadline=None)
@given(several)
def test_group_and_axle_errors_weigh_up_to_the_gross_error(measured):
    vehicle = truck()
    runs = [
        run_of(vehicle, str(i), axle_weights_kg=axles)
        for i, axles in enumerate(measured, start=1)
    ]
    errors = run_errors([vehicle], runs)
    axles = errors[Quantity.AXLE]
    per_run = (axles.errors * axles.reference).reshape(len(runs), 5).sum(axis=1)
    np.testing.assert_allclose(
        per_run / vehicle.gvw_kg, errors[Quantity.GROSS_WEIGHT].errors, atol=1e-9
    )
