"""Reference weights: closing, uncertainty, fuel, and readings that do not fit."""

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.calc.fuel import after_burn, burn_between
from calibration.calc.reference import RepeatSpread, reference_weights
from calibration.calc.reference_bias import (
    ReferencePart,
    bias_over_vehicles,
    bias_with_reference,
    error_sd_with_reference,
    judge_reference,
    reference_part,
    reference_part_of_mean,
)
from calibration.calc.reference_runs import references_at_runs
from calibration.calc.reference_types import FuelBurn, Scale, ScaleReading
from calibration.calc.run_errors import run_errors
from calibration.calc.statistics import summarise
from calibration.calc.types import MeasuredRun, Quantity
from tests.calibration.calc.build import plain_errors, with_moments
from wimprog.lib.errors import UnreadableInput
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

SPACINGS_M = (5.0, 1.3, 9.8, 1.25)
WHOLE = (0, 1, 2, 3, 4)
EXACT = Scale("SC-1", resolution_kg=0.0)
START = dt.datetime(2031, 5, 14, 6, 0)  # noqa: DTZ001 - sheets hold clock time


def readings(loads: dict, minutes: float | None = None) -> list[ScaleReading]:
    """One reading for each number, ``minutes`` apart where given."""
    found = []
    for axles, values in loads.items():
        for value in values:
            time = (
                None
                if minutes is None
                else START + dt.timedelta(minutes=minutes * len(found))
            )
            found.append(ScaleReading(axles, value, time))
    return found


AXLES = {
    (0,): [5010.0, 4990.0],
    (1,): [7500.0, 7520.0],
    (2,): [7480.0, 7480.0],
    (3,): [8000.0, 8040.0],
    (4,): [7960.0, 7980.0],
}


def weigh(loads, scale=EXACT, **more):
    return reference_weights(
        "T1", readings(loads), scale, axle_spacings_m=SPACINGS_M, **more
    )


def test_axle_means_close_on_the_gross_weight_by_one_ratio():
    """By hand: sum of means 35,980; gross 36,160 → every axle × 36160/35980."""
    found = weigh({**AXLES, WHOLE: [36180.0, 36140.0]})
    ratio = 36160 / 35980
    assert found.closing_ratio == pytest.approx(ratio)
    assert [a.load_kg for a in found.axles] == pytest.approx(
        [m * ratio for m in (5000, 7510, 7480, 8020, 7970)]
    )
    assert sum(a.load_kg for a in found.axles) == pytest.approx(36160)
    assert found.part("axles 2–3").load_kg == pytest.approx(14990 * ratio)
    assert found.part("axles 2–3").as_weighed_kg == pytest.approx(14990)
    assert found.gross.n == 2
    assert found.gross.sd_kg == pytest.approx(math.sqrt(800))


def test_a_group_weighed_at_once_goes_before_the_sum_of_its_axles():
    found = weigh({**AXLES, (1, 2): [15100.0], (3, 4): [16100.0], WHOLE: [36300.0]})
    base = 5000 + 15100 + 16100
    assert found.part("axles 2–3").load_kg == pytest.approx(15100 * 36300 / base)
    assert found.part("axle 2").load_kg == pytest.approx(
        15100 * 7510 / 14990 * 36300 / base
    )
    assert sum(a.load_kg for a in found.axles) == pytest.approx(36300)


def test_gross_is_the_sum_where_it_was_not_weighed_at_once():
    found = weigh(AXLES)
    assert found.closing_ratio is None
    assert found.gross.load_kg == pytest.approx(35980)
    assert found.gross.axles == WHOLE
    only = weigh({WHOLE: [36160.0]})
    assert only.axles == only.groups == ()
    assert only.gross.load_kg == 36160.0
    with pytest.raises(ValueError, match="weighed alone"):
        only.as_vehicle(SPACINGS_M)


def test_scale_error_adds_up_in_a_sum_of_axles_and_counts_once_for_the_whole():
    """Certificate ±20 kg at k 2: five axles hold 5 · 10 kg, the whole 10 kg."""
    scale = Scale("SC-1", resolution_kg=0.0, expanded_kg=20.0)
    one = {part: [kg[0]] for part, kg in AXLES.items()}
    summed = weigh(one, scale).gross
    assert summed.u_kg == pytest.approx(50.0)
    apart = Scale("SC-1", resolution_kg=0.0, expanded_kg=20.0, correlation=0.0)
    assert weigh(one, apart).gross.u_kg == pytest.approx(10 * math.sqrt(5))
    assert weigh({**one, WHOLE: [36000.0]}, scale).gross.u_kg == pytest.approx(10.0)
    # A part in proportion is the same share of everything, however it is added.
    share = Scale("SC-1", resolution_kg=0.0, expanded_pct=0.2)
    assert weigh(one, share).gross.u_pct == pytest.approx(0.1)
    closed = weigh({**one, WHOLE: [36000.0]}, share)
    assert [p.u_pct for p in closed.parts] == pytest.approx([0.1] * 8)


def test_sources_and_degrees_of_freedom_of_one_axle():
    """Two readings 20 kg apart: s = 14.14, s/√2 = 10 with 1 df; step 20/√12."""
    scale = Scale("SC-1", resolution_kg=20.0, expanded_kg=12.0, coverage_k=2.0)
    steer = weigh(AXLES, scale, repositioning_kg=5.0).part("axle 1")
    by_source = {one.source: one.u for one in steer.components}
    assert by_source == pytest.approx(
        {
            "repeated weighings": 10.0,
            "display's step": 20 / math.sqrt(12),
            "placing the vehicle": 5.0,
            "scale": 6.0,
        }
    )
    u = math.sqrt(100 + 400 / 12 + 25 + 36)
    assert steer.u_kg == pytest.approx(u)
    assert steer.df == pytest.approx(u**4 / (10**4 / 1))
    assert steer.expanded_kg() > 2 * u


def test_propagation_agrees_with_simulation():
    """Monte Carlo (GUM supplement 1) of the closing as an independent route."""
    scale = Scale("SC-1", resolution_kg=0.0, expanded_kg=30.0, expanded_pct=0.1)
    loads = {**AXLES, WHOLE: [36180.0, 36140.0]}
    found = weigh(loads, scale)
    means = np.array([np.mean(v) for v in loads.values()])
    u_own = np.array([np.std(v, ddof=1) / math.sqrt(2) for v in loads.values()])
    generator = np.random.default_rng(11)
    x = (
        means
        + generator.normal(size=(60_000, 6)) * u_own
        + generator.normal(size=(60_000, 1)) * (15 + 0.0005 * means)
    )
    axles = x[:, :5] * (x[:, 5:] / x[:, :5].sum(axis=1, keepdims=True))
    assert [a.u_kg for a in found.axles] == pytest.approx(axles.std(axis=0), rel=0.02)
    tandem = axles[:, 1:3].sum(axis=1)
    assert found.part("axles 2–3").u_kg == pytest.approx(tandem.std(), rel=0.02)


def test_a_vehicle_from_traffic_weighed_once_says_what_is_missing():
    once = {part: [kg[0]] for part, kg in AXLES.items()}
    scale = Scale("SC-1", resolution_kg=10.0)
    found = weigh(once, scale)
    assert any("too small" in note for note in found.notes)
    known = weigh(once, scale, spread=RepeatSpread(30.0, df=19))
    assert known.notes == ()
    assert known.part("axle 1").u_kg == pytest.approx(math.hypot(30, 10 / 12**0.5))


def test_parts_that_do_not_close_are_told():
    scale = Scale("SC-1", resolution_kg=20.0, expanded_kg=20.0)
    good = weigh({**AXLES, WHOLE: [36000.0, 35980.0]}, scale)
    assert good.notes == ()
    bad = weigh({**AXLES, WHOLE: [36600.0, 36620.0]}, scale)
    assert "630 kg apart" in bad.notes[0]
    us = weigh({**AXLES, WHOLE: [36600.0, 36620.0]}, scale, unit_system=UnitSystem.US)
    assert "1,389 lb apart" in us.notes[0]


def test_fuel_lightens_the_reference_in_time_and_adds_its_uncertainty():
    fuel = FuelBurn(kg_per_h=30.0, axle_shares=(0.3, 0.35, 0.35, 0.0, 0.0))
    weighed = reference_weights(
        "T1", readings(AXLES, 1.0), EXACT, axle_spacings_m=SPACINGS_M
    )
    assert weighed.at == START + dt.timedelta(minutes=4.5)
    later = after_burn(weighed, fuel, at=weighed.at + dt.timedelta(hours=2))
    assert later.gross.load_kg == pytest.approx(35980 - 60)
    assert later.part("axle 1").load_kg == pytest.approx(5000 - 18)
    assert later.part("axle 5").load_kg == weighed.part("axle 5").load_kg
    assert later.gross.u_kg == pytest.approx(math.hypot(weighed.gross.u_kg, 12))
    even = after_burn(weighed, FuelBurn(kg_per_km=0.3), hours=0, km=100)
    assert even.part("axle 1").load_kg == pytest.approx(5000 - 30 * 5000 / 35980)
    with pytest.raises(ValueError, match="not known"):
        after_burn(weigh(AXLES), fuel)


def test_readings_are_brought_to_one_time():
    """30 kg/h and readings an hour apart: 36,030 then 36,000 is one weight, 36,015."""
    fuel = FuelBurn(kg_per_h=30.0)
    pair = readings({WHOLE: [36030.0, 36000.0]}, 60.0)
    found = reference_weights("T1", pair, EXACT, axle_spacings_m=SPACINGS_M, fuel=fuel)
    assert found.gross.load_kg == pytest.approx(36015)
    assert found.gross.sd_kg == pytest.approx(0.0, abs=1e-9)


def test_rate_of_burn_from_before_and_after():
    scale = Scale("SC-1", resolution_kg=0.0, expanded_kg=40.0)

    def at(hours, values):
        moment = START + dt.timedelta(hours=hours)
        found = [ScaleReading(WHOLE, kg, moment) for kg in values]
        return reference_weights("T1", found, scale, axle_spacings_m=SPACINGS_M)

    fuel = burn_between(at(0, [36020.0, 35980.0]), at(4, [35900.0, 35860.0]))
    assert fuel.kg_per_h == pytest.approx(30.0)
    # The scale's 20 kg falls out; ±20 of either mean stays.
    assert fuel.u_relative == pytest.approx(20 * math.sqrt(2) / 120)
    with pytest.raises(ValueError, match="not lighter"):
        burn_between(at(0, [35800.0]), at(4, [35900.0]))
    with pytest.raises(ValueError, match="later"):
        burn_between(at(4, [35800.0]), at(0, [35900.0]))


@pytest.mark.parametrize(
    ("loads", "words"),
    [
        ({}, "no scale readings"),
        ({(0,): [5000.0], (1,): [-3.0], (2, 3, 4): [1.0]}, "is not a weight"),
        ({(0,): [float("nan")]}, "is not a weight"),
        ({(0, 2): [9000.0]}, "cannot have stood"),
        ({(4, 5): [9000.0]}, "cannot have stood"),
        ({(0,): [5000.0], (1,): [7000.0], (2,): [7000.0]}, "axle 4, 5 missing"),
    ],
)
def test_readings_that_are_no_vehicle_are_refused(loads, words):
    with pytest.raises(UnreadableInput) as caught:
        weigh(loads)
    assert words in " ".join(str(one) for one in caught.value.complaints)


def test_reference_that_eats_the_tolerance_is_told():
    scale = Scale("SC-1", resolution_kg=0.0, expanded_pct=2.0)
    gross = weigh({WHOLE: [36000.0, 36000.0]}, scale).gross
    assert judge_reference(gross, 10.0).verdict is Verdict.MEETS
    missed = judge_reference(gross, 5.0)
    assert missed.verdict is Verdict.MISSES
    assert missed.value == pytest.approx(2.0)
    assert "40 % of the tolerance of ±5 %" in missed.sentence
    assert judge_reference(gross, 5.0, largest_part=0.5).verdict is Verdict.MEETS
    assert judge_reference(gross, 5.0, largest_part=0.5).standing == "agency's own"
    nothing = weigh({WHOLE: [36000.0]}).gross
    assert judge_reference(nothing, 5.0).verdict is Verdict.CANNOT_SAY


def test_reference_part_does_not_average_out_with_runs():
    few = bias_with_reference(1.0, 3 / math.sqrt(10), 0.5, df_runs=9)
    many = bias_with_reference(1.0, 3 / math.sqrt(1e6), 0.5, df_runs=1e6)
    assert few.high - few.low > many.high - many.low
    assert many.high - 1.0 == pytest.approx(1.96 * 0.5, rel=1e-3)
    assert error_sd_with_reference(3.0, 0.5) == pytest.approx(math.sqrt(9.25))


def test_over_many_vehicles_only_the_scale_stays():
    one = ReferencePart(shared_pct=0.2, own_pct=1.0)
    hundred = reference_part_of_mean([one] * 100, [0.01] * 100)
    assert hundred.shared_pct == pytest.approx(0.2)
    assert hundred.own_pct == pytest.approx(0.1)
    assert hundred.u_pct == pytest.approx(math.hypot(0.2, 0.1))
    with pytest.raises(ValueError, match="sum to 1"):
        reference_part_of_mean([one], [0.5])
    scale = Scale("SC-1", resolution_kg=0.0, expanded_pct=0.4)
    part = reference_part(weigh(AXLES, scale).gross)
    assert part.shared_pct == pytest.approx(0.2)
    assert part.own_pct > 0


def test_bias_over_vehicles_adds_what_their_weighings_share():
    values = with_moments(10, 1.0, 2.0) + with_moments(10, 3.0, 2.0)
    errors = plain_errors(values, vehicles=["T1"] * 10 + ["T2"] * 10)
    bare = bias_over_vehicles(errors, {})
    by_t = summarise(errors).mean_interval
    assert (bare.low, bare.high) == pytest.approx((by_t.low, by_t.high))
    parts = {name: ReferencePart(1.0, 0.0) for name in ("T1", "T2")}
    wide = bias_over_vehicles(errors, parts)
    assert wide.high - wide.low > 2 * 1.96
    assert bias_over_vehicles(plain_errors([1.0]), {}) is None


def test_every_run_is_held_against_its_own_weight():
    """36,000 kg less 30 kg/h: after two hours 35,940; the lane shows 35,940."""
    weighed = reference_weights(
        "T1", readings(AXLES, 0.0), EXACT, axle_spacings_m=SPACINGS_M
    )
    axles = [axle.load_kg for axle in weighed.axles]
    light = (weighed.gross.load_kg - 60) / weighed.gross.load_kg
    runs = [
        MeasuredRun(
            "1",
            "T1",
            START + dt.timedelta(hours=2),
            tuple(light * kg for kg in axles),
        ),
        MeasuredRun("2", "T1", None, tuple(axles)),
        MeasuredRun("3", "T9", START, (1.0,)),
    ]
    held = references_at_runs(
        runs,
        {"T1": weighed},
        {"T1": FuelBurn(kg_per_h=30.0)},
        {"T1": SPACINGS_M},
    )
    assert held.not_moved == ("2",)
    errors = run_errors(held.vehicles, held.runs)
    assert errors[Quantity.GROSS_WEIGHT].errors == pytest.approx([0.0, 0.0])
    assert errors[Quantity.AXLE].errors == pytest.approx([0.0] * 10)
    early = [replace(runs[0], time=START - dt.timedelta(hours=1))]
    before = references_at_runs(early, {"T1": weighed}, {}, {"T1": SPACINGS_M})
    with pytest.raises(UnreadableInput):
        run_errors(before.vehicles, before.runs)


@pytest.mark.parametrize("df_runs", [9, 39])
def test_interval_with_reference_covers_the_true_bias(df_runs):
    """3,000 sessions, runs 3 %, reference 1 %: 95 % within binomial bounds."""
    generator = np.random.default_rng(5)
    n, rounds = df_runs + 1, 3000
    runs = generator.normal(2.0, 3.0, size=(rounds, n))
    means = runs.mean(axis=1) + generator.normal(0.0, 1.0, size=rounds)
    ses = runs.std(axis=1, ddof=1) / math.sqrt(n)
    hits = 0
    for mean, se in zip(means, ses, strict=True):
        found = bias_with_reference(mean, se, 1.0, df_runs=df_runs)
        hits += found.low <= 2.0 <= found.high
    assert hits / rounds == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / rounds))
