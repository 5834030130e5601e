"""One value three ways, as read and corrected; which readings a trend follows."""

from datetime import date, timedelta

import pytest

from installs.calc.judged_ways import followed_readings, judged_ways
from installs.calc.types import (
    AcceptanceLimit,
    DatedReading,
    ElectricalQuantity,
    QuantityRules,
    TemperatureCoefficient,
    Tolerance,
)

Q = ElectricalQuantity
FIRST = date(2031, 5, 14)
WITHIN_20 = Tolerance.within_pct(20.0, "own")
RULES = QuantityRules(
    AcceptanceLimit(7.0, 9.0, "own"),
    WITHIN_20,
    WITHIN_20,
    TemperatureCoefficient(0.5, 20.0, "invented"),
)


def readings(*pairs):
    return [
        DatedReading(FIRST + timedelta(days=100 * i), value, False, temp_c)
        for i, (value, temp_c) in enumerate(pairs)
    ]


def words(way):
    return [str(judged.verdict) for judged in way.judgements]


def test_as_read_and_corrected_side_by_side():
    """9.68 nF at 62 °C is 9.68 / (1 + 0.005 × 42) = 8 nF at 20 °C."""
    raw, corrected = judged_ways(
        Q.CAPACITANCE, readings((8.0, 20.0), (9.68, 62.0)), RULES, 8.0
    )
    assert words(raw) == ["misses", "misses", "misses"]
    assert words(corrected) == ["meets", "meets", "meets"]
    assert corrected.reading.value == pytest.approx(8.0)
    assert corrected.word == "corrected to 20 °C"
    assert [against for against, _ in raw.named] == [
        "the model's limit",
        "its own data sheet",
        "its own first readings",
    ]


@pytest.mark.parametrize(
    ("pairs", "rules"),
    [
        ([(8.0, 20.0), (8.1, None)], RULES),
        ([(8.0, 20.0), (8.1, 30.0)], QuantityRules()),
    ],
)
def test_without_temperature_or_coefficient_there_is_only_what_was_read(pairs, rules):
    _, corrected = judged_ways(Q.CAPACITANCE, readings(*pairs), rules)
    assert corrected is None


def test_a_correction_that_makes_no_sense_is_not_made_and_the_trend_says_why():
    steep = QuantityRules(coefficient=TemperatureCoefficient(-5.0, 20.0, "invented"))
    told = readings(*[(8.0, 45.0)] * 5)
    raw, corrected = judged_ways(Q.CAPACITANCE, told, steep)
    assert raw.reading.value == 8.0
    assert corrected is None
    followed = followed_readings(Q.CAPACITANCE, told, steep)
    assert not followed.is_corrected
    assert "Check the coefficient" in followed.why_not


def test_a_trend_follows_corrected_values_from_four_days_on():
    known = [(8.0, 20.0 + i) for i in range(4)]
    followed = followed_readings(Q.CAPACITANCE, readings(*known, (8.0, None)), RULES)
    assert followed.is_corrected
    assert len(followed.readings) == 4
    assert "1 without a pavement temperature left out" in followed.words
    few = followed_readings(Q.CAPACITANCE, readings(*known[:3], (8.0, None)), RULES)
    assert not few.is_corrected
    assert len(few.readings) == 4
    assert "known on 3 days" in few.why_not
    bare = followed_readings(Q.CAPACITANCE, readings(*known), QuantityRules())
    assert (bare.is_corrected, bare.why_not) == (False, "")
