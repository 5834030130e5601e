"""What all standards have in common, and where each of them keeps silent."""

import json
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.calc import standards
from calibration.calc.standards import all_standards, find_standard
from calibration.calc.standards.base import MIN_RUNS, Conditions, StandardVerdict
from calibration.calc.standards.cost_323 import (
    CLASS_NUMBERS,
    delta_pct,
    estimated_confidence,
    required_confidence,
    smallest_delta_pct,
)
from calibration.calc.types import EnvironmentPlan, Quantity, TestPlan
from tests.calibration.calc.build import errors_of, set_of, with_moments
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

KEYS = ("astm-e1318", "cost-323", "ltpp", "nist-hb44", "oiml-r134")
SLOW = {"speed_kmh": 8.0}  # within every range of use, Type IV's too


def test_the_registry_finds_the_modules():
    assert tuple(all_standards()) == KEYS
    assert find_standard(" COST-323 ").title == "COST 323"
    with pytest.raises(DomainError, match="There are astm-e1318, cost-323, ltpp, nist"):
        find_standard("nowhere")


def test_a_new_standard_is_one_new_file(tmp_path, monkeypatch):
    (tmp_path / "agency_rule.py").write_text(
        "from dataclasses import replace\n"
        "from calibration.calc.standards import ltpp\n"
        "STANDARD = replace(ltpp.STANDARD, key='agency-rule')\n"
    )
    monkeypatch.setattr(standards, "__path__", [*standards.__path__, str(tmp_path)])
    name = "calibration.calc.standards.agency_rule"
    monkeypatch.delitem(sys.modules, name, raising=False)
    try:
        assert "agency-rule" in all_standards()
        (tmp_path / "twin.py").write_text(
            "from calibration.calc.standards.agency_rule import STANDARD\n"
        )
        with pytest.raises(ValueError, match="have the key “agency-rule”"):
            all_standards()
    finally:
        for module in (name, "calibration.calc.standards.twin"):
            sys.modules.pop(module, None)
        for attribute in ("agency_rule", "twin"):
            if hasattr(standards, attribute):
                delattr(standards, attribute)


@pytest.mark.parametrize("key", KEYS)
def test_every_standard_states_itself(key):
    standard = find_standard(key)
    assert standard.default_class in standard.classes
    for text in (standard.title, standard.edition, standard.does_not_cover):
        assert text
    assert "from memory" in standard.standing


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("n", [0, 1, 2, MIN_RUNS - 1])
def test_too_few_good_runs_are_never_a_pass(key, n):
    verdict = find_standard(key).judge(errors_of(([0.5, -0.5] * 5)[:n]))
    assert verdict.verdict is Verdict.CANNOT_SAY
    assert verdict.attained_class is None
    sentence = verdict.judgement_of("gross weight").sentence
    expected = "there are no runs" if n == 0 else f"{n} run"
    assert expected in sentence


@pytest.mark.parametrize("key", KEYS)
def test_ten_good_runs_are_enough(key):
    verdict = find_standard(key).judge(errors_of([0.1, -0.1] * 5, **SLOW))
    assert verdict.verdict is Verdict.MEETS
    assert verdict.attained_class == find_standard(key).classes[0]


@pytest.mark.parametrize("key", KEYS)
def test_the_wanted_class_is_judged_and_the_best_named(key):
    standard = find_standard(key)
    lenient = standard.classes[-1]
    runs = errors_of([0.1, -0.1] * 20, **SLOW)
    verdict = standard.judge(runs, wanted_class=lenient.upper())
    assert verdict.judged_class == verdict.wanted_class == lenient
    assert verdict.attained_class == standard.classes[0]
    with pytest.raises(DomainError, match="has no class “Type IX”"):
        standard.judge(errors_of([1.0]), wanted_class="Type IX")


@pytest.mark.parametrize("key", KEYS)
def test_hopeless_runs_attain_nothing_and_miss_the_last_class(key):
    standard = find_standard(key)
    verdict = standard.judge(errors_of([140.0, -95.0] * 20))
    assert verdict.attained_class is None
    assert verdict.judged_class == standard.classes[-1]
    assert verdict.verdict is Verdict.MISSES


@pytest.mark.parametrize("key", KEYS)
def test_no_data_for_an_item_is_told_and_is_not_a_pass(key):
    verdict = find_standard(key).judge(
        set_of({Quantity.GROSS_WEIGHT: [0.5, -0.5] * 20})
    )
    silent = dict(verdict.not_covered)
    if key == "cost-323":  # shown beside the weights, without a say in the class
        assert {silent.pop(name)[:10] for name in ("speed", "axle spacing")}
    assert verdict.covers == ("gross weight",)
    assert verdict.verdict is Verdict.MEETS
    assert "Not judged: " in verdict.overall.sentence
    for name in silent:
        assert verdict.judgement_of(name).verdict is Verdict.CANNOT_SAY
        assert name in verdict.overall.sentence


@pytest.mark.parametrize("key", KEYS)
def test_nothing_is_said_of_the_system_without_gross_weight(key):
    verdict = find_standard(key).judge(set_of({Quantity.SINGLE_AXLE: [0.5, -0.5] * 20}))
    assert verdict.verdict is Verdict.CANNOT_SAY
    assert verdict.attained_class is None


@pytest.mark.parametrize("key", KEYS)
def test_no_verdict_without_n_interval_and_rule(key):
    verdict: StandardVerdict = find_standard(key).judge(errors_of([1.0, -2.0] * 20))
    for one in (*verdict.judgements, verdict.overall):
        assert one.rule
        assert one.limit
        assert one.sentence
        if one.verdict is not Verdict.CANNOT_SAY:
            assert one.n > 0
            assert one.interval is not None
            assert one.value is not None
    assert json.loads(json.dumps(verdict.as_dict()))["standard"] == key


def test_e1318_speed_without_a_reference_cannot_be_said():
    verdict = find_standard("astm-e1318").judge(errors_of([1.0, -1.0] * 20))
    speed = verdict.judgement_of("speed")
    assert speed.sentence == "Cannot say: no reference speed was recorded."
    assert "speed" in verdict.overall.sentence


def test_e1318_sees_a_miss_in_few_runs_but_never_a_pass():
    """Two of five outside is more than 5 % whatever comes after."""
    standard = find_standard("astm-e1318")
    missed = standard.judge(errors_of([1, 1, 12, 12, 1]), wanted_class="Type I")
    assert missed.verdict is Verdict.MISSES
    one = standard.judge(errors_of([50.0]), wanted_class="Type I")
    assert one.verdict is Verdict.CANNOT_SAY


def test_e1318_and_ltpp_note_a_small_test():
    for key, n in (("astm-e1318", 20), ("ltpp", 40)):
        (note,) = find_standard(key).judge(errors_of([1.0, -1.0] * 6)).notes
        assert "12 runs of 1 vehicle; " in note
        assert str(n) in note
        full = set_of({Quantity.GROSS_WEIGHT: [1.0, -1.0] * (n // 2)})
        assert find_standard(key).judge(full).notes == ()


def test_limits_of_speed_follow_the_unit_system():
    """1.8 km/h is over 1 mph (1.609 km/h) and under 2 km/h."""
    errors = set_of(
        {Quantity.GROSS_WEIGHT: [0.5, -0.5] * 20, Quantity.SPEED: [1.8] * 40}
    )
    for key in ("astm-e1318", "ltpp"):
        for system, expected in (
            (UnitSystem.US, Verdict.MISSES),
            (UnitSystem.SI, Verdict.MEETS),
        ):
            verdict = find_standard(key).judge(
                errors, conditions=Conditions(unit_system=system)
            )
            assert verdict.judgement_of("speed").verdict is expected


def test_e1318_type_iii_has_no_public_confirmation():
    verdict = find_standard("astm-e1318").judge(
        errors_of([1.0, -1.0] * 20), wanted_class="Type III"
    )
    weight = verdict.judgement_of("gross weight")
    assert "not checked against the document" in weight.standing
    names = [str(one.quantity) for one in verdict.judgements]
    assert "wheel load" in names
    two = find_standard("astm-e1318").judge(
        errors_of([1.0, -1.0] * 20), wanted_class="Type II"
    )
    assert "wheel load" not in [str(one.quantity) for one in two.judgements]


def test_cost_system_class_is_that_of_the_worst_criterion():
    verdict = find_standard("cost-323").judge(
        set_of(
            {
                Quantity.GROSS_WEIGHT: with_moments(40, 0.2, 1.0),
                Quantity.SINGLE_AXLE: with_moments(40, 1.0, 9.0),
            }
        )
    )
    gross, axle = (verdict.judgement_of(one) for one in ("gross weight", "single axle"))
    assert dict(gross.details)["own class"] == "A(5)"
    assert verdict.attained_class == dict(axle.details)["own class"] != "A(5)"
    assert verdict.overall.value == axle.value


def test_cost_leaves_out_light_vehicles_and_axles():
    errors = set_of({Quantity.GROSS_WEIGHT: [0.5, -0.5] * 20})
    gross = errors[Quantity.GROSS_WEIGHT]
    gross.reference_gvw_kg[:] = 3500.0
    verdict = find_standard("cost-323").judge(errors)
    assert verdict.verdict is Verdict.CANNOT_SAY
    assert "3.5 t" in verdict.judgement_of("gross weight").sentence


def test_cost_notes_one_vehicle_under_a_plan_for_several():
    standard = find_standard("cost-323")
    runs = errors_of([1.0, -1.0] * 10)
    assert any("of one" in note for note in standard.judge(runs).notes)
    repeat = Conditions(
        plan=TestPlan.FULL_REPEATABILITY,
        environment=EnvironmentPlan.FULL_REPRODUCIBILITY,
        is_initial=True,
    )
    (note,) = standard.judge(runs, conditions=repeat).notes
    assert "r1 (one vehicle" in note
    assert "III (a full year" in note
    assert "initial verification" in note


def test_cost_without_scatter_needs_just_the_bias():
    verdict = find_standard("cost-323").judge(
        set_of({Quantity.GROSS_WEIGHT: [5.0] * 12})
    )
    assert verdict.attained_class == "A(5)"
    assert smallest_delta_pct(5.0, 0.0, 12, 0.9) == 5.0
    assert estimated_confidence(4.9, 5.0, 0.0, 12) == 0.0


def test_cost_has_no_criterion_for_speed():
    with pytest.raises(ValueError, match="no weight criterion for speed"):
        delta_pct(Quantity.SPEED, 10)


def test_cost_asks_for_next_to_nothing_of_very_few_runs():
    """Why fewer than ten runs are never judged: π0 at n = 3 is below zero."""
    assert required_confidence(3) < 0 < required_confidence(10)


@settings(max_examples=40, deadline=None)
@given(st.floats(-15, 15), st.floats(0.1, 12), st.integers(10, 200))
def test_cost_smallest_tolerance_is_where_the_confidences_meet(mean, sd, n):
    pi0 = required_confidence(n)
    delta = smallest_delta_pct(mean, sd, n, pi0)
    assert estimated_confidence(delta, mean, sd, n) == pytest.approx(pi0, abs=1e-9)
    assert delta > abs(mean) * 0.5
    assert smallest_delta_pct(-mean, sd, n, pi0) == pytest.approx(delta)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(list(CLASS_NUMBERS.values())))
def test_cost_tolerances_grow_with_the_class_and_from_gross_to_axle(number):
    order = [
        Quantity.GROSS_WEIGHT,
        Quantity.AXLE_GROUP,
        Quantity.SINGLE_AXLE,
        Quantity.AXLE_OF_GROUP,
    ]
    values = [delta_pct(one, number) for one in order]
    assert values == sorted(values)
    assert all(delta_pct(one, number) < delta_pct(one, number + 5) for one in order)
