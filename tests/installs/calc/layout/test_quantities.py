"""Cuts, volumes, small parts and leads of an array."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from installs.calc.layout.quantities import takeoff
from installs.calc.layout.slots import overcut_m, slot_of, tail_area_m2
from installs.calc.layout.types import (
    ArrayElement,
    ArrayLayout,
    ElementKind,
    Filling,
    WorkFigures,
    WorkStep,
)
from installs.calc.layout.usual_arrays import usual_array
from installs.calc.types import Technology
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import M_PER_FT as FT
from wimprog.lib.units import UnitSystem

LOOP, SENSOR = ElementKind.LOOP, ElementKind.AXLE_SENSOR
NO_WASTE = WorkFigures(
    saw_waste_share=0.0, resin_waste_share=0.0, small_parts_waste_share=0.0
)


def sensor(**changes):
    one = ArrayElement(SENSOR, "sensor 1", 3.0, 0.02, 0.2, 3.2, 20.0, 50.0, 100.0)
    return replace(one, **changes)


def loop(**changes):
    one = ArrayElement(LOOP, "loop 1", 0.0, 2.0, 0.8, 2.8, 10.0, 50.0, turns=4)
    return replace(one, **changes)


def layout(*elements, **changes):
    return ArrayLayout(Technology.POLYMER_PIEZO, 3.6, 2.4, elements, **changes)


def polymer(**changes):
    usual = usual_array(
        Technology.POLYMER_PIEZO, lane_width_m=12 * FT, system=UnitSystem.US
    )
    return replace(usual, **changes)


# --- slots -------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(diameter=st.floats(200.0, 600.0), share=st.floats(0.01, 0.4))
def test_tail_is_the_area_under_the_blade(diameter, share):
    depth = share * diameter
    r, d = diameter / 2000.0, depth / 1000.0
    past = overcut_m(diameter, depth)
    x = np.linspace(0.0, past, 20_001)
    below = np.sqrt(r * r - x * x) - (r - d)  # depth of the cut, from full to nothing
    assert below[0] == pytest.approx(d)
    assert below[-1] == pytest.approx(0.0, abs=1e-6)
    assert tail_area_m2(diameter, depth) == pytest.approx(
        np.trapezoid(below, x), rel=1e-4
    )


def test_sensor_slot_is_cut_along_both_edges_past_both_ends():
    found = slot_of(sensor(), NO_WASTE)
    past = overcut_m(NO_WASTE.blade_diameter_mm, 50.0)
    assert found.cut_m == pytest.approx(2 * (3.0 + 2 * past))
    assert found.edge_m == pytest.approx(2 * (3.0 + 2 * past))
    assert (found.filling, found.cut_depth_mm, found.rod_m) == (Filling.GROUT, 50.0, 0)
    # 3 m × (20 × 50 − 100) mm² is 2.7 L, and the tails as wide as the slot
    tails = 2 * tail_area_m2(NO_WASTE.blade_diameter_mm, 50.0) * 0.020 * 1000
    assert found.volume_l == pytest.approx(2.7 + tails)


def test_a_slot_as_wide_as_the_blade_takes_one_pass():
    past = overcut_m(NO_WASTE.blade_diameter_mm, 50.0)
    found = slot_of(sensor(slot_width_mm=10.0), NO_WASTE)
    assert found.cut_m == pytest.approx(3.0 + 2 * past)


def test_loop_slot_is_its_outline_with_every_corner_cut_past():
    found = slot_of(loop(), NO_WASTE)
    past = overcut_m(NO_WASTE.blade_diameter_mm, 50.0)
    assert found.cut_m == pytest.approx(8.0 + 8 * past)
    assert found.rod_m == pytest.approx(8.0)
    wires = 4 * math.pi * 0.004**2 / 4
    tails = 8 * tail_area_m2(NO_WASTE.blade_diameter_mm, 50.0) * 0.010
    assert found.volume_l == pytest.approx(
        1000 * (8.0 * (0.010 * 0.050 - wires) + tails)
    )


def test_a_pit_deeper_than_the_blade_is_cut_as_deep_as_it_goes():
    plate = ArrayElement(
        ElementKind.PLATE, "scale", 3.0, 1.0, 0.0, 1.8, 1000.0, 300.0, 250_000.0
    )
    figures = replace(NO_WASTE, blade_diameter_mm=400.0, deepest_cut_share=0.35)
    found = slot_of(plate, figures)
    assert found.cut_depth_mm == pytest.approx(140.0)
    assert found.cut_m == pytest.approx(5.6 + 8 * overcut_m(400.0, 140.0))
    # 1.8 m × (1.0 × 0.3 − 0.25) m² is 90 L, and the tails of eight cuts
    tails = 8 * tail_area_m2(400.0, 140.0) * 0.010 * 1000
    assert found.volume_l == pytest.approx(90.0 + tails)


# --- lines -------------------------------------------------------------------------


def test_saw_cuts_are_told_by_depth_and_in_all():
    both = layout(sensor(), loop(slot_depth_mm=40.0))
    found = takeoff(both, NO_WASTE)
    deep, shallow = found.amount("saw-cut-50mm"), found.amount("saw-cut-40mm")
    assert deep == pytest.approx(slot_of(both.elements[0], NO_WASTE).cut_m)
    assert shallow == pytest.approx(slot_of(both.elements[1], NO_WASTE).cut_m)
    assert found.amount("saw-cut") == pytest.approx(deep + shallow)
    wasted = takeoff(both, replace(NO_WASTE, saw_waste_share=0.1))
    assert wasted.amount("saw-cut") == pytest.approx(1.1 * (deep + shallow))
    (line,) = [one for one in wasted.lines if one.key == "saw-cut"]
    assert (line.waste_share, line.is_material) == (0.1, False)
    assert "10 % waste" in line.basis


@pytest.mark.parametrize(
    ("by_pour", "kit_l", "kits"),
    [(True, 5.0, 2), (False, 10.0, 1), (True, 2.0, 4), (False, 2.0, 3)],
)
def test_kits_are_whole_by_pour_or_in_all(by_pour, kit_l, kits):
    # two sensor slots of 2.7 L and tails, 2.9 L each by their own test above
    two = layout(sensor(), sensor(name="sensor 2", start_m=6.0))
    volume = slot_of(two.elements[0], NO_WASTE).volume_l
    assert 2.8 < volume < 3.0
    figures = replace(NO_WASTE, kits_by_pour=by_pour, resin_kit_l=kit_l)
    found = takeoff(two, figures)
    assert found.amount("grout-kits") == kits
    assert found.amount("grout-volume") == pytest.approx(2 * volume)


@pytest.mark.parametrize(
    ("length_m", "spacing_mm", "count"),
    [(3.0, 150.0, 21), (3.0, 152.4, 21), (3.048, 152.4, 21), (3.05, 152.4, 22)],
)
def test_supports_stand_at_both_ends_and_no_further_apart(length_m, spacing_mm, count):
    one = sensor(across_from_m=0.2, across_to_m=0.2 + length_m)
    figures = replace(NO_WASTE, support_spacing_mm=spacing_mm)
    assert takeoff(layout(one), figures).amount("supports") == count


def test_small_parts_follow_from_the_layout():
    found = takeoff(polymer(), NO_WASTE)
    slots = [slot_of(one, NO_WASTE) for one in polymer().elements[:8]]
    assert found.amount("tape") == pytest.approx(sum(s.edge_m for s in slots))
    assert found.amount("backer-rod") == pytest.approx(sum(s.rod_m for s in slots))
    assert found.amount("exit-holes") == 4
    trenches = polymer().of_kind(ElementKind.TRENCH)
    dug = sum(max(t.length_m, t.across_width_m) for t in trenches)
    assert found.amount("trench") == pytest.approx(dug)
    # each hole 0.457 m inside the pavement edge, the trench 0.3 m outside it
    assert found.amount("conduit") == pytest.approx(dug + 4 * (0.4572 + 0.3))


def test_pick_list_holds_material_only():
    found = takeoff(polymer())
    keys = {line.key for line in found.pick_list}
    assert {"grout-kits", "sealant-kits", "backer-rod", "tape", "conduit"} <= keys
    assert {"supports", "lead-piezo-1", "wire-loop-1"} <= keys
    assert not {"saw-cut", "exit-holes", "trench", "grout-volume"} & keys
    assert len({line.key for line in found.lines}) == len(found.lines)
    for line in found.lines:
        assert line.basis.endswith("."), line.basis
        assert line.step in WorkStep
        assert line.amount is not None
        assert line.amount > 0


def test_loop_wire_goes_round_and_to_the_cabinet_and_back():
    one = loop()
    found = takeoff(layout(one, cabinet_along_m=1.0, cabinet_from_edge_m=6.0))
    # 4 turns of 8 m; 0.8 + 6 m to the cabinet and 3 m slack, twice
    assert found.amount("wire-loop-1") == pytest.approx(32.0 + 2 * (6.8 + 3.0))


@pytest.mark.parametrize(
    ("longest", "verdict"),
    [(9.2, Verdict.MEETS), (9.1, Verdict.MISSES), (None, Verdict.CANNOT_SAY)],
)
def test_leads_against_the_makers_longest(longest, verdict):
    one = sensor()  # centre at 3.01 m along, right end at 0.2 m
    plan = layout(one, loop(), cabinet_along_m=3.01, longest_lead_m=longest)
    (lead,) = takeoff(plan).leads  # 6.2 m and 3 m slack; loops have no maker's lead
    assert lead.value == pytest.approx(9.2)
    assert lead.verdict == verdict
    assert "sensor 1" in lead.sentence


def test_sentences_speak_the_programs_units():
    found = takeoff(polymer(longest_lead_m=15.24), system=UnitSystem.US)
    assert "at most 50.0 ft" in found.leads[0].sentence
    (cut,) = [one for one in found.lines if one.key == "saw-cut-50.8mm"]
    assert "2.00 in deep" in cut.name


# --- what is missing or cannot be --------------------------------------------------


@pytest.mark.parametrize(
    ("element", "words", "unknown", "known"),
    [
        (sensor(slot_depth_mm=None), "slot depth", "grout-kits", "sealant-kits"),
        (sensor(sensor_area_mm2=None), "cross-section", "tape", "sealant-kits"),
        (loop(turns=None), "turns of wire", "backer-rod", "grout-kits"),
        (loop(slot_width_mm=None), "slot width", "saw-cut", "grout-kits"),
    ],
)
def test_what_lacks_a_figure_is_not_known_and_never_zero(
    element, words, unknown, known
):
    others = {LOOP: sensor(), SENSOR: loop()}
    found = takeoff(layout(element, others[element.kind]))
    (complaint,) = found.missing
    assert words in complaint.message
    assert complaint.row == 1
    lines = {line.key: line for line in found.lines}
    assert lines[unknown].amount is None
    assert "lacks a figure" in lines[unknown].basis
    assert lines[known].amount > 0


def test_a_body_larger_than_its_slot_is_refused():
    with pytest.raises(DomainError, match="more room than the slot"):
        takeoff(layout(sensor(sensor_area_mm2=1500.0)))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"resin_kit_l": 0.0}, "resin kit l"),
        ({"saw_waste_share": -0.1}, "zero or more"),
        ({"blade_diameter_mm": math.nan}, "above zero"),
        ({"deepest_cut_share": 0.6}, "less than its radius"),
        ({"crew_size": 0}, "crew size"),
        ({"step_hours": {WorkStep.LAYOUT: -1.0}}, "layout"),
    ],
)
def test_figures_that_nothing_can_be_reckoned_with(changes, words):
    with pytest.raises(DomainError, match=words):
        WorkFigures(**changes)


def test_no_waste_is_a_figure_too():
    assert WorkFigures(lead_slack_m=0.0, saw_waste_share=0.0).lead_slack_m == 0.0
