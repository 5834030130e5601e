"""As-built spacing against the controller's setting."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from installs.calc.layout.spacing import (
    FIVE_AXLE_TRUCK,
    check_length,
    check_spacing,
    setting_bias_pct,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import KMH_PER_MPH, UnitSystem
from wimprog.lib.units import M_PER_FT as FT

US = UnitSystem.US


@settings(max_examples=60, deadline=None)
@given(
    actual=st.floats(1.0, 20.0), share=st.floats(0.9, 1.1), speed=st.floats(10.0, 130.0)
)
def test_bias_is_what_a_controller_would_record(actual, share, speed):
    setting, axle_m = actual * share, 6.0
    dt_s = actual / (speed / 3.6)
    recorded_kmh = setting / dt_s * 3.6
    recorded_axle_m = recorded_kmh / 3.6 * (axle_m / (speed / 3.6))
    found = check_spacing(actual, setting, speed_kmh=speed)
    assert speed + found.speed_error_kmh == pytest.approx(recorded_kmh)
    assert axle_m * (1 + found.bias_pct / 100) == pytest.approx(recorded_axle_m)


@settings(max_examples=40, deadline=None)
@given(
    length=st.floats(3.0, 25.0),
    loop=st.floats(1.0, 4.0),
    loop_setting=st.floats(1.0, 4.0),
    share=st.floats(0.95, 1.05),
)
def test_length_is_what_a_controller_would_record(length, loop, loop_setting, share):
    v, spacing = 25.0, 3.0
    on_s = (length + loop) / v
    recorded = (spacing * share) / (spacing / v) * on_s - loop_setting
    found = check_length(
        length,
        bias_pct=setting_bias_pct(spacing * share, spacing),
        loop_length_m=loop,
        loop_setting_m=loop_setting,
    )
    assert length + found.error_m == pytest.approx(recorded)
    assert found.error_m == pytest.approx(found.from_spacing_m + found.from_loop_m)


def test_interval_covers_the_true_bias_as_stated():
    rng = np.random.default_rng(99)
    actual, setting, sd, n = 3.0, 3.02, 0.004, 3000
    true_pct = 100 * (setting / actual - 1)
    covered = 0
    for measured in actual + rng.normal(0.0, sd / math.sqrt(2), n):
        found = check_spacing(
            measured, setting, speed_kmh=100.0, tape_sd_m=sd, n_readings=2
        ).bias_interval_pct
        covered += found.low <= true_pct <= found.high
    low, high = binom.interval(0.999, n, 0.95)
    assert low <= covered <= high


def test_every_spacing_of_the_truck_carries_the_bias():
    found = check_spacing(3.0, 3.03, speed_kmh=100.0)
    assert [e.what for e in found.effects] == [
        "axles 1–2", "axles 2–3", "axles 3–4", "axles 4–5", "wheelbase",
    ]  # fmt: skip
    for effect in found.effects:
        assert effect.error_m == pytest.approx(0.01 * effect.true_m)
        assert effect.interval_m.low < effect.error_m < effect.interval_m.high
    assert found.effects[-1].true_m == pytest.approx(sum(FIVE_AXLE_TRUCK.spacings_m))


@pytest.mark.parametrize(
    ("setting_ft", "verdict"),
    [
        (12.0, Verdict.MEETS),
        (12.15, Verdict.MEETS),
        # 1 mph of 65 mph is 1.54 %, 12 ft × 1.0154 = 12.185 ft
        (12.185, Verdict.CANNOT_SAY),
        (11.815, Verdict.CANNOT_SAY),
        (12.3, Verdict.MISSES),
        (11.7, Verdict.MISSES),
    ],
)
def test_speed_bias_against_one_mile_an_hour(setting_ft, verdict):
    found = check_spacing(
        12 * FT, setting_ft * FT, speed_kmh=65 * KMH_PER_MPH, system=US
    )
    assert found.speed.verdict == verdict
    assert found.speed.limit == "within ±1 mph"
    assert "at 65 mph" in found.speed.sentence
    assert "E1318" in found.speed.rule


def test_wheelbase_decides_the_axle_spacing():
    # half a foot over 58.4 ft is 0.856 %
    near = check_spacing(12 * FT, 12.08 * FT, speed_kmh=100.0, system=US)
    far = check_spacing(12 * FT, 12.12 * FT, speed_kmh=100.0, system=US)
    assert (near.spacing.verdict, far.spacing.verdict) == (
        Verdict.MEETS,
        Verdict.MISSES,
    )
    assert "wheelbase of 58.4 ft" in near.spacing.sentence


def test_new_setting_cancels_the_bias_to_the_controllers_step():
    found = check_spacing(3.657, 3.60, speed_kmh=100.0, setting_step_m=0.01)
    assert found.new_setting_m == pytest.approx(3.66)
    assert abs(found.left_bias_pct) <= 100 * 0.005 / 3.65
    again = check_spacing(3.657, found.new_setting_m, speed_kmh=100.0)
    assert again.bias_pct == pytest.approx(found.left_bias_pct)


def test_more_readings_narrow_the_interval():
    one = check_spacing(3.0, 3.0, speed_kmh=100.0)
    four = check_spacing(3.0, 3.0, speed_kmh=100.0, n_readings=4)
    assert four.bias_interval_pct.high == pytest.approx(one.bias_interval_pct.high / 2)
    assert (one.speed.n, four.speed.n) == (1, 4)


@pytest.mark.parametrize(
    ("as_built", "verdict"),
    [(3.0, Verdict.MEETS), (3.006, Verdict.CANNOT_SAY), (3.012, Verdict.MISSES)],
)
def test_as_built_against_the_plan(as_built, verdict):
    found = check_spacing(
        as_built, 3.0, speed_kmh=100.0, planned_m=3.0, tolerance_mm=6.0, tape_sd_m=0.002
    )
    assert found.against_plan.verdict == verdict
    assert check_spacing(as_built, 3.0, speed_kmh=100.0).against_plan is None


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        (12.0, "ratio is that of two units"),
        (12 * FT * 2.54, "ratio is that of two units"),
        (4.5, "which two sensors"),
    ],
)
def test_settings_that_cannot_be_meant_are_questioned(setting, words):
    with pytest.raises(DomainError, match=words):
        check_spacing(12 * FT, setting, speed_kmh=100.0, system=US)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_sizes_of_nothing_are_refused(bad):
    with pytest.raises(DomainError, match="above zero"):
        check_spacing(bad, 3.0, speed_kmh=100.0)
    with pytest.raises(DomainError, match="above zero"):
        check_spacing(3.0, bad, speed_kmh=100.0)
    with pytest.raises(DomainError, match="above zero"):
        check_spacing(3.0, 3.0, speed_kmh=bad)
    with pytest.raises(DomainError, match="at least one reading"):
        check_spacing(3.0, 3.0, speed_kmh=100.0, n_readings=0)
