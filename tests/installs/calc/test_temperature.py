"""Readings corrected to one temperature."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from installs.calc.temperature import (
    corrected_reading,
    corrected_readings,
    correction_words,
    temperature_ratio,
)
from installs.calc.types import (
    DatedReading,
    ElectricalQuantity,
    TemperatureCoefficient,
)
from wimprog.lib.errors import DomainError

Q = ElectricalQuantity
DAY = date(2031, 5, 14)
HALF_A_PER_CENT = TemperatureCoefficient(0.5, 20.0, "invented")


def reading(value, temp_c, over=False):
    return DatedReading(DAY, value, over, temp_c)


def test_a_plain_quantity_is_divided_by_its_straight_line():
    """1 + 0.5/100 × (40 − 20) = 1.1, so 8.8 nF at 40 °C is 8 nF at 20 °C."""
    found = corrected_reading(Q.CAPACITANCE, reading(8.8, 40.0), HALF_A_PER_CENT)
    assert found.value == pytest.approx(8.0)
    assert (found.on, found.temp_c) == (DAY, 40.0)
    colder = corrected_reading(Q.CAPACITANCE, reading(7.2, 0.0), HALF_A_PER_CENT)
    assert colder.value == pytest.approx(8.0)


def test_insulation_takes_the_same_share_each_degree():
    """Halved in 10 °C: 0.5 ** 0.1 a degree; 100 MΩ at 40 °C is 400 MΩ at 20 °C."""
    halves = TemperatureCoefficient(100 * (0.5**0.1 - 1), 20.0, "invented")
    found = corrected_reading(Q.INSULATION_RESISTANCE, reading(100.0, 40.0), halves)
    assert found.value == pytest.approx(400.0)


def test_above_the_range_stays_above_a_corrected_end():
    found = corrected_reading(Q.CAPACITANCE, reading(22.0, 40.0, True), HALF_A_PER_CENT)
    assert found.over_range
    assert found.value == pytest.approx(20.0)


def test_what_cannot_be_corrected_is_left_out():
    assert corrected_reading(Q.CAPACITANCE, reading(8.0, None), HALF_A_PER_CENT) is None
    assert corrected_reading(Q.CAPACITANCE, reading(8.0, 30.0), None) is None
    two = [reading(8.8, 40.0), reading(8.0, None)]
    assert len(corrected_readings(Q.CAPACITANCE, two, HALF_A_PER_CENT)) == 1


def test_a_quantity_around_zero_has_no_share():
    with pytest.raises(DomainError, match="around zero"):
        temperature_ratio(Q.ZERO_OUTPUT, HALF_A_PER_CENT, 30.0)


def test_a_coefficient_carried_too_far_is_refused():
    steep = TemperatureCoefficient(-5.0, 20.0, "invented")
    with pytest.raises(DomainError, match=r"\+25\.0 °C from its reference"):
        temperature_ratio(Q.CAPACITANCE, steep, 45.0)
    with pytest.raises(DomainError, match="must both be numbers"):
        TemperatureCoefficient(float("nan"), 20.0, "invented")


def test_the_words_carry_the_source():
    words = correction_words(Q.CAPACITANCE, HALF_A_PER_CENT)
    assert words == ("corrected to 20 °C by +0.5 % a °C (of the value there; invented)")
    assert "compounded" in correction_words(Q.INSULATION_RESISTANCE, HALF_A_PER_CENT)


@given(
    st.sampled_from([Q.CAPACITANCE, Q.INSULATION_RESISTANCE, Q.SERIES_RESISTANCE]),
    st.floats(0.01, 1e6),
    st.floats(-1.0, 1.0),
    st.floats(-20.0, 60.0),
)
def test_correcting_undoes_the_model(quantity, at_reference, pct, temp_c):
    coefficient = TemperatureCoefficient(pct, 20.0, "invented")
    read = at_reference * temperature_ratio(quantity, coefficient, temp_c)
    found = corrected_reading(quantity, reading(read, temp_c), coefficient)
    assert found.value == pytest.approx(at_reference)
