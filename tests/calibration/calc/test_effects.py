"""Effects of speed, temperature, place and truck: found, refused, told apart."""

import numpy as np
import pytest
from scipy import stats

from calibration.calc.effect_types import run_table
from calibration.calc.effects import (
    PLACE,
    SPEED,
    TEMPERATURE,
    VEHICLE,
    find_effects,
)
from calibration.calc.least_squares import (
    fit,
    indicators,
    is_estimable,
    nested_f,
    variance_inflation,
)
from calibration.calc.run_errors import run_errors
from calibration.calc.types import LanePosition, Quantity
from tests.calibration.calc.build import run_of, truck
from tests.calibration.calc.build_effects import table
from wimprog.lib.units import UnitSystem


def session(seed, n_each=10, *, slope=0.0, truck_effect=0.0, warmth=0.0, sd=1.0):
    """Two trucks, speeds 50 to 95 km/h, temperatures 15 and 35 °C in turn."""
    generator = np.random.default_rng(seed)
    speed = np.tile(np.linspace(50, 95, n_each), 2)
    warm = np.tile([15.0, 35.0], n_each)
    second = np.repeat([0.0, 1.0], n_each)
    errors = (
        1.0
        + slope * speed / 10
        + warmth * warm / 10
        + truck_effect * second
        + sd * generator.normal(size=2 * n_each)
    )
    names = ["T1"] * n_each + ["T2"] * n_each
    return table(errors, vehicles=names, speed=speed, temperature=warm)


def test_slopes_and_vehicles_without_scatter_come_back_exactly():
    found = find_effects(session(1, slope=0.5, warmth=-0.3, truck_effect=2.0, sd=1e-9))
    assert found.of(SPEED).estimates[0].value == pytest.approx(0.5)
    assert found.of(TEMPERATURE).estimates[0].value == pytest.approx(-0.3)
    first, second = found.of(VEHICLE).estimates
    assert second.value - first.value == pytest.approx(2.0)
    assert found.of(SPEED).estimates[0].label == "per 10 km/h"


def test_slopes_and_spans_in_us_units():
    """0.5 % per 10 km/h is 0.80467 % per 10 mph; −0.3 % per 10 °C is −0.1667 per °F."""
    found = find_effects(
        session(1, slope=0.5, warmth=-0.3, sd=1e-9), unit_system=UnitSystem.US
    )
    assert found.of(SPEED).estimates[0].value == pytest.approx(0.5 * 1.609344)
    assert found.of(SPEED).estimates[0].label == "per 10 mph"
    assert found.of(TEMPERATURE).estimates[0].value == pytest.approx(-0.3 * 5 / 9)
    narrow = table(np.arange(10.0), temperature=[20, 23] * 5)
    why = dict(find_effects(narrow, unit_system=UnitSystem.US).refusals)
    assert "more than 5 °F apart; 9 °F are needed" in why[TEMPERATURE]


def test_partial_f_of_a_slope_is_its_t_squared():
    found = find_effects(session(2, slope=0.4))
    effect = found.of(SPEED)
    (estimate,) = effect.estimates
    half = (estimate.interval.high - estimate.interval.low) / 2
    t = estimate.value / (half / stats.t.ppf(0.975, effect.test.df_den))
    assert effect.test.f == pytest.approx(t**2)
    assert effect.is_shown == (not estimate.interval.low <= 0 <= estimate.interval.high)


def test_trucks_at_different_speeds_are_not_taken_for_a_speed_effect():
    """T2 weighs 4 % high and was driven faster; within trucks there is no slope."""
    generator = np.random.default_rng(3)
    speed = np.concatenate([np.linspace(50, 70, 12), np.linspace(75, 95, 12)])
    errors = np.repeat([0.0, 4.0], 12) + 0.5 * generator.normal(size=24)
    naive = stats.linregress(speed, errors)
    assert naive.pvalue < 1e-6
    found = find_effects(table(errors, vehicles=["T1"] * 12 + ["T2"] * 12, speed=speed))
    assert not found.of(SPEED).is_shown
    assert found.of(VEHICLE).is_shown


def test_lane_places_are_steps_against_the_centre():
    places = (
        [LanePosition.CENTRE] * 8 + [LanePosition.LEFT] * 4 + [LanePosition.RIGHT] * 4
    )
    noise = np.tile([0.1, -0.1], 8)
    errors = np.array([1.0] * 8 + [-1.0] * 4 + [1.5] * 4) + noise
    effect = find_effects(table(errors, places=places)).of(PLACE)
    assert [one.label for one in effect.estimates] == [
        "left against centre",
        "right against centre",
    ]
    assert [one.value for one in effect.estimates] == pytest.approx([-2.0, 0.5])
    by_scipy = stats.f_oneway(errors[:8], errors[8:12], errors[12:])
    assert effect.test.f == pytest.approx(by_scipy.statistic)


def test_speed_and_temperature_that_move_together_are_told():
    """Slow in the cold morning, fast in the warm afternoon."""
    generator = np.random.default_rng(4)
    speed = np.linspace(50, 95, 20)
    warm = 10 + 0.5 * (speed - 50) + generator.normal(size=20)
    found = find_effects(
        table(generator.normal(size=20), speed=speed, temperature=warm)
    )
    assert found.of(SPEED).inflation > 5
    assert "moved with" in found.notes[-1]
    assert "may be another's" in found.notes[-1]
    exactly = find_effects(
        table(generator.normal(size=20), speed=speed, temperature=speed / 2)
    )
    assert exactly.of(TEMPERATURE) is None
    assert "moved exactly with speed" in dict(exactly.refusals)[TEMPERATURE]
    apart = find_effects(session(5))
    assert apart.of(SPEED).inflation < 1.2
    assert not apart.notes


def test_what_the_runs_cannot_speak_of_is_refused_in_words():
    few = find_effects(table([1.0] * 5, speed=[50, 60, 70, 80, 90]))
    assert few.effects == ()
    assert "5 runs" in dict(few.refusals)[SPEED]
    narrow = find_effects(table(np.arange(10.0), speed=[80, 84] * 5))
    why = dict(narrow.refusals)
    assert "more than 4 km/h apart" in why[SPEED]
    assert why[TEMPERATURE] == "Recorded for no run."
    assert "nothing to be compared with" in why[VEHICLE]
    assert (
        "need two runs each"
        in dict(
            find_effects(
                table(
                    np.arange(8.0),
                    places=[LanePosition.CENTRE] * 7 + [LanePosition.LEFT],
                )
            ).refusals
        )[PLACE]
    )
    # Each truck at a speed of its own: nothing can tell truck from speed.
    apart = find_effects(
        table(
            np.arange(12.0), vehicles=["A"] * 6 + ["B"] * 6, speed=[50] * 6 + [90] * 6
        )
    )
    assert "more than 0 km/h" in dict(apart.refusals)[SPEED]
    singles = find_effects(table(np.arange(6.0), vehicles=list("ABCDEF")))
    assert "so many vehicles" in dict(singles.refusals)[VEHICLE]


def test_runs_without_a_value_are_left_out_and_named():
    data = session(6, slope=0.5)
    data.speed_kmh[3] = np.nan
    found = find_effects(data)
    assert found.n == 19
    assert "run 4" in found.notes[0]
    data.speed_kmh[:8] = np.nan
    assert "Recorded for 12 of 20" in dict(find_effects(data).refusals)[SPEED]


def test_too_many_terms_give_way_from_the_last():
    errors = np.random.default_rng(8).normal(size=6)
    found = find_effects(
        table(
            errors,
            vehicles=["A", "B"] * 3,
            speed=[50, 50, 70, 72, 90, 93],
            temperature=[10, 30, 31, 12, 14, 11],
        )
    )
    assert found.of(SPEED) is not None
    assert "Too few runs" in dict(found.refusals)[TEMPERATURE]


def test_table_takes_one_error_a_run_and_the_instruments_speed():
    vehicle = truck()
    runs = [
        run_of(vehicle, "1", 2.0, speed_kmh=80.0, reference_speed_kmh=82.0),
        run_of(vehicle, "2", 3.0, speed_kmh=90.0, pavement_temp_c=21.0),
    ]
    found = run_table(run_errors([vehicle], runs), Quantity.AXLE)
    assert found.errors == pytest.approx([2.0, 3.0])
    assert list(found.speed_kmh) == [82.0, 90.0]
    assert np.isnan(found.temperature_c[0])


def test_false_alarms_come_at_the_stated_rate():
    """600 sessions without a speed effect: 5 % shown, within binomial bounds."""
    rounds = 600
    shown = sum(
        find_effects(session(1000 + i, truck_effect=2.0)).of(SPEED).is_shown
        for i in range(rounds)
    )
    assert shown / rounds == pytest.approx(0.05, abs=4 * (0.05 * 0.95 / rounds) ** 0.5)


def test_least_squares_refuses_what_cannot_be_told_apart():
    ones = np.ones((5, 1))
    design = np.column_stack([ones, 2 * ones])
    assert not is_estimable(design)
    with pytest.raises(ValueError, match="independent"):
        fit(design, np.arange(5.0))
    one = fit(ones, np.arange(5.0))
    with pytest.raises(ValueError, match="nothing to test"):
        nested_f(one, one)
    assert np.isnan(fit(np.eye(2), np.array([1.0, 2.0])).sd)


def test_variance_inflation_is_that_of_the_coefficient():
    """Var(b) = s²·VIF/Σ(x − mean)², Draper and Smith (from memory)."""
    generator = np.random.default_rng(9)
    x = generator.normal(size=30)
    z = 0.9 * x + 0.3 * generator.normal(size=30)
    design = np.column_stack([np.ones(30), x, z])
    found = fit(design, generator.normal(size=30))
    expected = found.sd**2 * variance_inflation(design, 1) / np.sum((x - x.mean()) ** 2)
    assert found.covariance[1, 1] == pytest.approx(expected)
    assert variance_inflation(np.column_stack([np.ones(30), x]), 1) == pytest.approx(1)
    assert np.isinf(variance_inflation(np.column_stack([np.ones(30), x, 3 * x]), 1))
    assert indicators(["a", "b", "a"], ["a", "b"]).tolist() == [[1, 0], [0, 1], [1, 0]]
