"""A number that would be usual in another unit is asked about; no other is."""

import pytest

from installs.calc.layout.types import ElementKind
from installs.calc.layout.usual_arrays import usual_array
from installs.calc.plausible import USUAL_OF_ELEMENT, Usual, unit_question
from installs.calc.types import Technology
from wimprog.lib.units import Typed, UnitSystem

DEPTH = Usual(0.02, 0.11)  # metres


@pytest.mark.parametrize(
    ("text", "unit", "meant"),
    [
        ("5.1", "in", "cm"),  # 51 mm read off the other edge of the tape
        ("51", "in", "mm"),
        ("0.17", "in", "ft"),  # 0.17 ft = 51.8 mm
        ("5.1", "mm", "cm"),
        ("1.5", "mm", "in"),  # 38 mm; 15 mm would not be usual either
        ("-5.1", "in", "cm"),
    ],
)
def test_a_slip_of_units_is_asked_about(text, unit, meant):
    question = unit_question("slot depth", Typed(text, unit), DEPTH)
    assert question.endswith(f"Is it {text} {meant}?")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("2", "in"),
        ("51", "mm"),
        ("0.79", "in"),  # 20.07 mm, just inside the low end
        ("4.33", "in"),  # 109.98 mm, just inside the high end
        ("0", "in"),  # nothing in any unit
        ("90,000", "in"),
    ],
)
def test_a_usual_number_and_one_that_no_unit_explains_are_not(text, unit):
    assert unit_question("slot depth", Typed(text, unit), DEPTH) == ""


@pytest.mark.parametrize("technology", [t for t in Technology if t.weighs])
@pytest.mark.parametrize("system", list(UnitSystem))
def test_the_usual_arrays_are_usual(technology, system):
    unit_of = {"slot_width_mm": "mm", "slot_depth_mm": "mm"}
    layout = usual_array(technology, lane_width_m=3.66, system=system)
    asked = []
    for one in layout.elements:
        for name, usual in USUAL_OF_ELEMENT[one.kind].items():
            value = getattr(one, name)
            if value is not None:
                typed = Typed(f"{value:.6f}", unit_of.get(name, "m"))
                asked.append(unit_question(f"{name} of {one.name}", typed, usual))
    assert len(asked) > 20
    assert set(asked) == {""}


def test_every_kind_of_element_has_its_usual_sizes():
    assert set(USUAL_OF_ELEMENT) == set(ElementKind)
