"""Runs judged as a whole, and their plain text."""

import json
import re
from dataclasses import replace

import pytest

from calibration.calc.judging import judge_runs
from calibration.calc.judging_text import judged_text
from calibration.calc.types import Quantity
from tests.calibration.calc.build import run_of, truck
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem


def two_trucks(n: int = 20, **changes):
    trucks = [truck("T1"), truck("T2")]
    errors = (1.0, -1.0, 2.0, 0.0)
    runs = [
        run_of(trucks[i % 2], str(i + 1), errors[i % 4], **changes) for i in range(n)
    ]
    return trucks, runs


def test_all_standards_judge_unless_some_are_named():
    judged = judge_runs(*two_trucks())
    assert [one.standard for one in judged.verdicts] == [
        "astm-e1318",
        "cost-323",
        "ltpp",
        "nist-hb44",
        "oiml-r134",
    ]
    one = judge_runs(*two_trucks(), standards=["ltpp", "ltpp"])
    assert [verdict.standard for verdict in one.verdicts] == ["ltpp"]
    assert judged.is_wanted_met


def test_a_class_is_asked_of_the_standards_that_have_it():
    judged = judge_runs(*two_trucks(), wanted_class="type ii")
    asked = {one.standard: one.wanted_class for one in judged.verdicts}
    assert asked.pop("astm-e1318") == "Type II"
    assert set(asked.values()) == {None}
    assert judged.is_wanted_met
    few = judge_runs(*two_trucks(4), wanted_class="Type II")
    assert few.verdicts[0].verdict is Verdict.CANNOT_SAY
    assert not few.is_wanted_met
    with pytest.raises(DomainError, match="None of the standards has a class “Z”"):
        judge_runs(*two_trucks(), wanted_class="Z")


def test_vehicles_stand_beside_the_pool():
    """T1 runs are 1 and 2 % heavy in turn, T2 runs −1 and 0 %."""
    judged = judge_runs(*two_trucks())
    means = {name: one.mean for name, one in judged.gross_weight_by_vehicle}
    assert means == {"T1": pytest.approx(1.5), "T2": pytest.approx(-0.5)}
    assert judged.difference.difference == pytest.approx(2.0)
    assert judged.factor.n == 20


def test_json_is_plain_and_has_no_zero_for_no_data():
    answer = json.loads(json.dumps(judge_runs(*two_trucks()).as_dict()))
    speed = next(one for one in answer["statistics"] if one["quantity"] == "speed")
    assert (speed["n"], speed["mean"], speed["mean_interval"]) == (0, None, None)
    assert speed["why_none"] == "No reference speed was recorded."
    assert answer["method"] == "run-errors 2"
    assert len(answer["statistics"]) == len(Quantity)
    assert answer["vehicle_difference"]["first"] == "T1"


def test_text_shows_rule_n_interval_and_limit():
    text = judged_text(judge_runs(*two_trucks()))
    for part in (
        "20 runs of T1, T2; 0 set aside.",
        "single passes",
        "ASTM E1318 09",
        "Rule: No more than 5 % of the differences outside",
        "Does not cover:",
        "Gross weight, T1 less T2: 2.00 %",
        "speed: No reference speed was recorded.",
    ):
        assert part in text


def test_text_of_a_class_that_is_missed_names_the_best():
    trucks, _ = two_trucks()
    heavy = [run_of(trucks[0], str(i), 12.0) for i in range(1, 21)]
    judged = judge_runs(
        trucks[:1], heavy, standards=["astm-e1318"], wanted_class="Type I"
    )
    text = judged_text(judged)
    assert "Type I (asked for)" in text
    assert "MISSES." in text
    assert "Best class attained: Type II." in text
    worse = [run_of(trucks[0], str(i), 60.0) for i in range(1, 21)]
    none = judge_runs(
        trucks[:1], worse, standards=["astm-e1318"], wanted_class="Type I"
    )
    assert "Best class attained: none." in judged_text(none)
    plain = judge_runs(trucks[:1], worse, standards=["astm-e1318"])
    assert "no class attained; shown against this one" in judged_text(plain)


def test_text_in_the_units_of_the_reader():
    """1.609344 km/h fast is 1 mph; a spacing 0.3048 m long is 1 ft."""
    trucks, runs = two_trucks(
        speed_kmh=81.609344,
        reference_speed_kmh=80.0,
        axle_spacings_m=(5.3048, 1.3, 9.8, 1.25),
    )
    judged = judge_runs(trucks, runs)
    us = judged_text(judged, system=UnitSystem.US)
    assert "1.000 mph" in us
    assert re.search(r"wheelbase +20 +1\.000 ft", us)
    si = judged_text(judged, system=UnitSystem.SI)
    assert "1.609 km/h" in si
    assert "0.305 m" in si


def test_text_without_runs_says_no_data():
    vehicle = truck()
    aside = run_of(vehicle, "1", excluded=True, exclusion_reason="rain")
    judged = judge_runs([vehicle], [aside])
    assert judged.factor is None
    text = judged_text(judged)
    assert "0 runs of no vehicle; 1 set aside." in text
    assert "set aside: run 1: rain" in text
    assert "CANNOT SAY." in text
    shown = text.split("ASTM")[0]
    assert shown.count("no data") == 3 * len(Quantity)
    assert "0.00" not in shown


def test_text_shows_the_margin_and_left_against_right():
    """Every axle 52 to 48: left less right is 4 % of the load."""
    trucks, runs = two_trucks()
    wheeled = [
        replace(
            run,
            wheel_weights_kg=tuple(
                (kg * 0.52, kg * 0.48) for kg in run.axle_weights_kg
            ),
        )
        for run in runs
    ]
    judged = judge_runs(trucks, wheeled)
    text = judged_text(judged)
    assert re.search(r"T2 +whole vehicle +10 +4\.0 % +0\.0 % +no data", text)
    assert re.search(r"gross weight +20 .* 5\.00 percentage points +meets", text)
    answer = json.loads(json.dumps(judged.as_dict()))["left_right_imbalance"]
    assert answer[0]["mean_pct"] == pytest.approx(4.0)
    assert "Left less right" not in judged_text(judge_runs(trucks, runs))
