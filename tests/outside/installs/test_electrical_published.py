"""Rules of thumb and limits of electrical tests, as they are published.

Loop inductance: the rule L = P/4 (N² + N), P in feet, L in µH, as given in handbooks
of vehicle detection, and its values for a loop of 6 ft by 6 ft: from memory, not held
against the document; the value for three turns is also counted by hand below.
Wire resistance per 1000 ft: tables of American Wire Gauge; from memory.
Limits: piezo and loop practice, Traffic Detector Handbook (3rd ed., ch. 5 and 6) for
loops; from memory.
Sensitivity coefficient 1.0192e-2 per °C: Yang et al., Sensors 2022, 22, 2396 (a piezo
ceramic test sensor before compensation); confirmed in a public text.
"""

from datetime import date

import pytest

from installs.calc.comparisons import judge_against_data_sheet
from installs.calc.electrical import judge_reading
from installs.calc.expected import (
    lead_inductance_uh,
    lead_resistance_ohm,
    loop_inductance_uh,
)
from installs.calc.published import (
    data_sheet_tolerance,
    first_readings_tolerance,
    typical_limits,
)
from installs.calc.temperature import corrected_reading, temperature_ratio
from installs.calc.types import (
    DatedReading,
    ElectricalQuantity,
    Technology,
    TemperatureCoefficient,
)
from wimprog.lib.errors import DomainError

Q = ElectricalQuantity
DAY = date(2031, 5, 14)


@pytest.mark.parametrize(("turns", "expected_uh"), [(3, 72), (4, 120), (5, 180)])
def test_inductance_of_a_6_by_6_ft_loop(turns, expected_uh):
    """24 ft / 4 × (9 + 3) = 72 µH for three turns."""
    assert loop_inductance_uh(24.0, turns) == pytest.approx(expected_uh)


@pytest.mark.parametrize(("gauge", "ohm_per_1000_ft"), [(14, 2.5), (12, 1.6)])
def test_resistance_of_1000_ft_of_wire(gauge, ohm_per_1000_ft):
    """A lead of 500 ft is 1000 ft of wire, out and back."""
    assert lead_resistance_ohm(500.0, gauge) == pytest.approx(ohm_per_1000_ft)


def test_a_twisted_lead_adds_its_own_inductance():
    """0.22 to 0.24 µH per ft: 22 to 24 µH for 100 ft."""
    assert lead_inductance_uh(100.0) == pytest.approx((22.0, 24.0))


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: loop_inductance_uh(0.0, 3), "above zero"),
        (lambda: loop_inductance_uh(24.0, 0), "at least one"),
        (lambda: lead_resistance_ohm(float("nan"), 14), "above zero"),
        (lambda: lead_resistance_ohm(100.0, 3), "#12, #14"),
        (lambda: lead_inductance_uh(-1.0), "above zero"),
    ],
)
def test_what_cannot_be_says_why(call, said):
    with pytest.raises(DomainError, match=said):
        call()


@pytest.mark.parametrize(
    ("technology", "quantity", "meets", "misses"),
    [
        (Technology.POLYMER_PIEZO, Q.INSULATION_RESISTANCE, 20.0, 19.9),
        (Technology.POLYMER_PIEZO, Q.DISSIPATION_FACTOR, 0.04, 0.041),
        (Technology.QUARTZ_PIEZO, Q.INSULATION_RESISTANCE, 100.0, 99.0),
        (Technology.BENDING_PLATE, Q.INSULATION_RESISTANCE, 200.0, 199.0),
        (Technology.INDUCTIVE_LOOP, Q.INSULATION_RESISTANCE, 10.0, 9.9),
        (Technology.INDUCTIVE_LOOP, Q.SERIES_RESISTANCE, 10.0, 10.1),
        (Technology.INDUCTIVE_LOOP, Q.INDUCTANCE, 700.0, 701.0),
        (Technology.INDUCTIVE_LOOP, Q.QUALITY_FACTOR, 5.0, 4.9),
    ],
)
def test_in_service_limits_by_technology(technology, quantity, meets, misses):
    limit = typical_limits(technology)[quantity]
    assert limit.standing == "from memory"
    assert judge_reading(quantity, meets, limit).verdict == "meets"
    assert judge_reading(quantity, misses, limit).verdict == "misses"


def test_capacitance_within_20_per_cent_of_the_data_sheet():
    for value, verdict in ((8.0, "meets"), (12.0, "meets"), (7.9, "misses")):
        judged = judge_against_data_sheet(
            Q.CAPACITANCE,
            DatedReading(DAY, value),
            10.0,
            data_sheet_tolerance(Q.CAPACITANCE),
        )
        assert (judged.verdict, judged.standing) == (verdict, "from memory")


def test_insulation_is_followed_by_decades():
    assert first_readings_tolerance(Q.INSULATION_RESISTANCE).low == pytest.approx(0.1)


def test_the_published_sensitivity_coefficient_gives_the_published_error():
    """1.0192e-2 per °C over 30 °C is 30.6 %: the paper says "max. error about 30 %".

    Its range of temperature is not known here, so 30 °C is ours; the correction must
    take the error away whatever the range is.
    """
    published = TemperatureCoefficient(1.0192, 20.0, "Sensors 2022, 22, 2396")
    ratio = temperature_ratio(Q.PEAK_OUTPUT, published, 50.0)
    assert ratio - 1 == pytest.approx(0.30576)
    read = DatedReading(DAY, 100.0 * ratio, False, 50.0)
    assert corrected_reading(Q.PEAK_OUTPUT, read, published).value == pytest.approx(100)
