"""Arrays in their lane: positions, faults, questions, and the usual ones."""

from dataclasses import replace

import pytest

from installs.calc.layout.array import (
    check_layout,
    controller_spacing_m,
    lead_length_m,
    positions_table,
)
from installs.calc.layout.types import ArrayElement, ArrayLayout, ElementKind
from installs.calc.layout.usual_arrays import usual_array
from installs.calc.types import Technology
from wimprog.lib.errors import DomainError
from wimprog.lib.units import M_PER_FT as FT
from wimprog.lib.units import UnitSystem

LOOP, SENSOR = ElementKind.LOOP, ElementKind.AXLE_SENSOR
SLOT, HOLE = ElementKind.LEAD_IN_SLOT, ElementKind.EXIT_HOLE


def polymer(**changes):
    usual = usual_array(
        Technology.POLYMER_PIEZO, lane_width_m=12 * FT, system=UnitSystem.US
    )
    return replace(usual, **changes)


def moved(layout, which, **changes):
    """The layout with one element changed."""
    return replace(
        layout,
        elements=tuple(
            replace(one, **changes) if one.name == which else one
            for one in layout.elements
        ),
    )


def messages(complaints):
    return " | ".join(str(c) for c in complaints)


# --- positions ---------------------------------------------------------------------


def test_loops_are_measured_to_their_edge_and_sensors_to_their_centre():
    rows = positions_table(polymer())
    assert [(r.name, round(r.measured_m / FT, 9)) for r in rows] == [
        ("loop 1", 0), ("piezo 1", 9), ("loop 2", 12), ("piezo 2", 21),
    ]  # fmt: skip
    assert [r.measured_to for r in rows[:2]] == ["upstream edge", "centre line"]
    assert rows[0].from_previous_m is None
    assert rows[3].from_previous_m == pytest.approx(12 * FT)
    assert [r.number for r in rows] == [1, 2, 3, 4]


def test_speed_is_measured_between_axle_sensors_else_between_loops():
    assert controller_spacing_m(polymer()) == pytest.approx(12 * FT)
    loops = usual_array(Technology.INDUCTIVE_LOOP, lane_width_m=3.6)
    assert controller_spacing_m(loops) == pytest.approx(3.6)
    one = replace(loops, elements=loops.elements[:1])
    assert controller_spacing_m(one) is None
    plates = usual_array(Technology.BENDING_PLATE, lane_width_m=3.6)
    assert controller_spacing_m(plates) == pytest.approx(15 * 0.3)


def test_a_lead_goes_by_the_hole_square_to_the_road():
    sensor = ArrayElement(SENSOR, "s", 2.9, 0.2, 0.5, 3.0)
    hole = ArrayElement(HOLE, "h", 3.48, 0.04, -2.02, -1.98)
    layout = ArrayLayout(Technology.POLYMER_PIEZO, 3.6, 2.4, (sensor, hole), 1.0, 6.0)
    # along 3.0 → 3.5 → 1.0 m, across 0.5 → −2 → −6 m
    assert lead_length_m(sensor, layout) == pytest.approx(0.5 + 2.5 + 2.5 + 4.0)
    bare = replace(layout, elements=(sensor,))
    assert lead_length_m(sensor, bare) == pytest.approx(2.0 + 6.5)


# --- the usual arrays --------------------------------------------------------------


@pytest.mark.parametrize("system", list(UnitSystem))
@pytest.mark.parametrize("width", [3.0, 3.6, 3.6576, 4.3])
@pytest.mark.parametrize("staggered", [False, True])
@pytest.mark.parametrize(
    "technology", [t for t in Technology if t is not Technology.TEMPERATURE_PROBE]
)
def test_usual_arrays_have_nothing_wrong(technology, staggered, width, system):
    layout = usual_array(
        technology, lane_width_m=width, staggered=staggered, system=system
    )
    found = check_layout(layout)
    assert not found.faults, messages(found.faults)
    assert not found.questions, messages(found.questions)
    assert len(layout.of_kind(HOLE)) == len(layout.of_kind(SLOT))


def test_plates_lie_side_by_side_or_one_behind_the_other():
    def plates(**more):
        layout = usual_array(Technology.BENDING_PLATE, lane_width_m=3.6, **more)
        return layout.of_kind(ElementKind.PLATE)

    beside, behind = plates(), plates(staggered=True)
    assert beside[0].start_m == beside[1].start_m
    assert behind[1].start_m > behind[0].end_m


@pytest.mark.parametrize(
    ("technology", "width", "words"),
    [
        (Technology.TEMPERATURE_PROBE, 3.6, "no usual array"),
        (Technology.POLYMER_PIEZO, 1.2, "too narrow"),
        (Technology.POLYMER_PIEZO, 0.0, "above zero"),
    ],
)
def test_no_usual_array_says_why(technology, width, words):
    with pytest.raises(DomainError, match=words):
        usual_array(technology, lane_width_m=width)


def test_without_a_paved_shoulder_the_hole_stays_on_the_pavement():
    layout = usual_array(
        Technology.POLYMER_PIEZO, lane_width_m=3.6, shoulder_width_m=0.0
    )
    found = check_layout(layout)
    assert not any("pavement edge" in c.message for c in found.faults)
    assert "lies in the lane" in messages(found.questions)


# --- what cannot be ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        ("loop 2", {"start_m": 0.8}, "“loop 2” overlaps “loop 1” by 1.03 m"),
        ("piezo 1", {"across_from_m": -0.2}, "reaches out of the lane"),
        ("piezo 1", {"across_to_m": 12.0}, "reaches out of the lane"),
        ("piezo 2", {"name": "Piezo 1 "}, "the name of two things"),
        ("lead-in loop 1", {"across_to_m": 2.0}, "is cut through “loop 1”"),
        ("hole 1", {"across_from_m": -3.0}, "beyond the pavement edge"),
    ],
)
def test_faults(name, changes, words):
    found = check_layout(moved(polymer(), name, **changes))
    assert words in messages(found.faults)
    rows = {c.row for c in found.faults if words in c.message}
    assert [polymer().elements[row - 1].name for row in rows] == [name]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"length_m": 0.0}, "no extent"),
        ({"across_to_m": -9.0}, "ends across the lane where it begins"),
        ({"start_m": float("nan")}, "no number"),
    ],
)
def test_broken_rectangles_are_told_before_anything_else(changes, words):
    found = check_layout(moved(polymer(), "piezo 1", **changes))
    assert words in messages(found.faults)
    assert not found.questions


def test_touching_is_no_overlap():
    layout = polymer()
    loop = layout.in_lane[0]
    beside = moved(layout, "loop 2", start_m=loop.end_m)
    assert "overlaps “loop 1”" not in messages(check_layout(beside).faults)
    nearer = moved(layout, "loop 2", start_m=loop.end_m - 0.01)
    assert "overlaps “loop 1”" in messages(check_layout(nearer).faults)


def test_cabinet_on_the_pavement_and_an_empty_array_are_faults():
    found = check_layout(polymer(cabinet_from_edge_m=1.0))
    assert "stand on the pavement" in messages(found.faults)
    assert "no elements" in messages(check_layout(polymer(elements=())).faults)
    with pytest.raises(DomainError, match="lane width"):
        check_layout(polymer(lane_width_m=0.0))
    with pytest.raises(DomainError, match="shoulder"):
        check_layout(polymer(shoulder_width_m=-1.0))


# --- what looks odd ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        ("piezo 2", {"start_m": -1.0}, "listed after “loop 2” but lies before it"),
        ("piezo 1", {"start_m": -1.0}, "Along the travel lie axle sensor, loop, axle"),
        ("piezo 2", {"start_m": 252.0}, "given in another unit"),
        (
            "hole 1",
            {"across_from_m": -1.0, "across_to_m": -0.96},
            "not where a hole usually is",
        ),
        ("lead-in piezo 1", {"start_m": 0.5}, "no lead-in slot that reaches it"),
        ("lead-in piezo 1", {"across_from_m": -0.5}, "ends at no exit hole"),
    ],
)
def test_questions(name, changes, words):
    layout = moved(polymer(), name, **changes)
    assert words in messages(check_layout(layout).questions)


def test_messages_speak_the_programs_units():
    layout = moved(polymer(), "loop 2", start_m=0.8)
    found = check_layout(layout, system=UnitSystem.US)
    assert "by 3.38 ft" in messages(found.faults)
