"""Readings as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from installs.calc.reading_text import (
    read_reading,
    to_own_unit,
    unit_in_order,
    units_of,
)
from installs.calc.types import ElectricalQuantity

Q = ElectricalQuantity


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "value", "typed", "over"),
    [
        ("500", Q.INSULATION_RESISTANCE, None, 500.0, "500", False),
        ("> 2,000", Q.INSULATION_RESISTANCE, None, 2000.0, "> 2,000", True),
        ("≥2", Q.INSULATION_RESISTANCE, "GΩ", 2000.0, "≥2 GΩ", True),
        ("1.2 GΩ", Q.INSULATION_RESISTANCE, None, 1200.0, "1.2 GΩ", False),
        ("1.2", Q.INSULATION_RESISTANCE, "GΩ", 1200.0, "1.2 GΩ", False),
        ("850 kohm", Q.INSULATION_RESISTANCE, "GΩ", 0.85, "850 kohm", False),
        ("8040", Q.CAPACITANCE, "pF", 8.04, "8040 pF", False),
        ("08.40", Q.CAPACITANCE, None, 8.4, "08.40", False),
        ("0.121", Q.INDUCTANCE, "mH", 121.0, "0.121 mH", False),
        ("121 uH", Q.INDUCTANCE, "mH", 121.0, "121 uH", False),
        ("1.7", Q.DISSIPATION_FACTOR, "%", 0.017, "1.7 %", False),
        ("-0.02", Q.ZERO_OUTPUT, None, -0.02, "-0.02", False),
        ("-20", Q.ZERO_OUTPUT, "µV/V", -0.02, "-20 µV/V", False),
        ("100", Q.LEAD_LENGTH, "ft", 30.48, "100 ft", False),
        ("40200", Q.FREQUENCY, "Hz", 40.2, "40200 Hz", False),
    ],
)
def test_readings_and_their_units(text, quantity, unit, value, typed, over):
    found = read_reading(text, quantity, unit=unit)
    assert found.value == pytest.approx(value, rel=1e-12)
    assert (found.typed, found.over_range) == (typed, over)


@pytest.mark.parametrize(
    ("text", "quantity", "said"),
    [
        ("8,04", Q.CAPACITANCE, "without guessing"),
        ("abc", Q.CAPACITANCE, "not a number"),
        ("OL", Q.INSULATION_RESISTANCE, "what the meter's range is"),
        (">", Q.INSULATION_RESISTANCE, "upper end"),
        ("-1", Q.CAPACITANCE, "below zero"),
        ("> 1", Q.ZERO_OUTPUT, "around zero"),
        ("5 mΩ", Q.INSULATION_RESISTANCE, "m is milli"),
        ("5 nF", Q.INSULATION_RESISTANCE, "“nF” is not a unit"),
        ("5 %", Q.QUALITY_FACTOR, "no unit at all"),
        ("nan", Q.CAPACITANCE, "finite"),
        ("1" * 40, Q.CAPACITANCE, "longer than a reading"),
    ],
)
def test_what_cannot_be_read_says_why(text, quantity, said):
    with pytest.raises(ValueError, match=said):
        read_reading(text, quantity)


def test_ohm_and_micro_have_two_signs_each():
    assert unit_in_order("M\u2126") == unit_in_order("Mohm") == "M\u03a9"
    assert unit_in_order("\u03bcH") == unit_in_order("uH") == "\u00b5H"
    assert unit_in_order("K\u03a9") == "k\u03a9"


@given(st.sampled_from(list(Q)), st.floats(0.001, 1e6))
def test_the_own_unit_changes_nothing_and_the_others_are_in_order(quantity, number):
    assert quantity.unit in units_of(quantity)
    assert to_own_unit(quantity, number, quantity.unit) == number
    values = [to_own_unit(quantity, number, unit) for unit in units_of(quantity)]
    assert values == sorted(values)
