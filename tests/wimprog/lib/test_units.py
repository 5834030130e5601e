"""Conversions against NIST SP 811 (2008), appendix B.8, and round trips."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wimprog.lib.units import (
    UNITS,
    Kind,
    Typed,
    UnitSystem,
    format_number,
    format_si,
    kind_of_field,
    parse_number,
    shown_unit,
)


@pytest.mark.parametrize(
    ("symbol", "value", "si"),
    [
        # SP 811 B.8: pound (avoirdupois) 4.535924 E-01 kg; foot 3.048 E-01 m exactly;
        # inch 2.54 E-02 m exactly; mile per hour 1.609344 E+00 km/h exactly;
        # degree Fahrenheit: t/°C = (t/°F − 32)/1.8.
        ("lb", 1.0, 0.45359237),
        ("kip", 1.0, 453.59237),
        ("ft", 1.0, 0.3048),
        ("in", 1.0, 25.4),
        ("mph", 1.0, 1.609344),
        ("mi", 1.0, 1.609344),
        ("°F", 32.0, 0.0),
        ("°F", 212.0, 100.0),
        ("°F", -40.0, -40.0),
        # SP 811 B.8: mil 2.54 E-02 mm exactly; a mile of 63,360 in gives 1 m/km as
        # 63.36 in/mi.
        ("mil", 1.0, 2.54),
        ("in/mi", 63.36, 1.0),
    ],
)
def test_published_conversion_factors(symbol, value, si):
    assert UNITS[symbol].to_si(value) == pytest.approx(si, abs=1e-12)


@given(
    symbol=st.sampled_from(sorted(UNITS)),
    value=st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: round(x, 3)),
)
def test_a_value_comes_back_through_si(symbol, value):
    unit = UNITS[symbol]
    assert unit.from_si(unit.to_si(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(pounds=st.integers(1, 300_000))
def test_whole_pounds_survive_storage_in_kilograms(pounds):
    stored_kg = UNITS["lb"].to_si(pounds)
    shown = format_si(stored_kg, Kind.MASS, UnitSystem.US)
    assert shown == f"{pounds:,} lb"


@pytest.mark.parametrize("text", ["79,980", "79980", "79980.0", "079980"])
def test_what_was_typed_comes_back_letter_for_letter(text):
    typed = Typed(text, "lb")
    assert typed.value_si == pytest.approx(79980 * 0.45359237)
    shown = format_si(typed.value_si, Kind.MASS, UnitSystem.US, typed=typed)
    assert shown == f"{text} lb"
    assert format_si(typed.value_si, Kind.MASS, UnitSystem.SI, typed=typed) == (
        "36,278 kg"
    )


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("79,980", 79980.0),
        ("1,234,567.5", 1234567.5),
        (" 4.5 ", 4.5),
        ("−3", -3.0),
        ("79 980", 79980.0),
        ("79\u00a0980", 79980.0),
    ],
)
def test_numbers_as_people_type_them(text, number):
    assert parse_number(text) == number


@pytest.mark.parametrize("text", ["4,5", "1,23,456", ",5", "12,3456", "1,234,5.0"])
def test_a_comma_that_could_mean_two_things_is_refused(text):
    with pytest.raises(ValueError, match="without guessing"):
        parse_number(text)


@pytest.mark.parametrize("text", ["", "abc", "nan", "inf", "12 kg"])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(ValueError, match="number"):
        parse_number(text)


def test_no_data_is_never_zero():
    assert format_si(None, Kind.MASS, UnitSystem.US) == "no data"
    assert format_si(float("nan"), Kind.MASS, UnitSystem.US) == "no data"
    assert format_si(0.0, Kind.MASS, UnitSystem.US) == "0 lb"


def test_negative_zero_is_not_shown():
    assert format_number(-0.04, 1) == "0.0"
    assert format_number(-0.06, 1) == "−0.1"


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("gvw_kg", Kind.MASS),
        ("speed_kmh", Kind.SPEED),
        ("slot_depth_mm", Kind.SHORT_LENGTH),
        ("width_m", Kind.LENGTH),
        ("pavement_temp_c", Kind.TEMPERATURE),
        ("name", None),
        ("watch_drift_pct", None),
        ("iri_m_per_km", Kind.ROUGHNESS),
        ("deflection_difference_hundredths_mm", Kind.DEFLECTION),
    ],
)
def test_a_name_tells_its_unit(name, kind):
    assert kind_of_field(name) is kind


def test_every_kind_has_a_unit_in_both_systems():
    for system in UnitSystem:
        for kind in Kind:
            assert shown_unit(kind, system).kind is kind
