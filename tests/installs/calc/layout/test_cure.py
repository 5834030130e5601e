"""Weather windows, the maker's table, cure times and the forecast."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from installs.calc.layout.catalyst import catalyst_at, check_table
from installs.calc.layout.cure import (
    judge_cure,
    judge_forecast,
    judge_pot_life,
    required_cure,
)
from installs.calc.layout.dew_point import dew_point_c, judge_dew_point
from installs.calc.layout.temperatures import ABOVE_FREEZING, judge_temperature
from installs.calc.layout.types import (
    BetweenRows,
    CatalystStep,
    ForecastPoint,
    TemperatureWindow,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

# An invented table: warmer takes less hardener, and sets faster.
TABLE = (
    CatalystStep(5.0, 120.0, 20.0, 120.0),
    CatalystStep(15.0, 90.0, 14.0, 60.0),
    CatalystStep(25.0, 60.0, 10.0, 40.0),
    CatalystStep(35.0, 40.0, 6.0, 20.0),
)
FIVE_TO_45 = TemperatureWindow(5.0, 45.0, "maker", "maker's instructions")


def at(temp_c, between=BetweenRows.STEPS, table=TABLE):
    return catalyst_at(table, temp_c, amount_unit="g", between=between)


# --- windows -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reading", "verdict"),
    [
        (5.0, Verdict.MEETS),
        (45.0, Verdict.MEETS),
        (4.9, Verdict.MISSES),
        (45.1, Verdict.MISSES),
        (None, Verdict.CANNOT_SAY),
    ],
)
def test_window_holds_its_ends(reading, verdict):
    found = judge_temperature("pavement temperature", reading, FIVE_TO_45)
    assert found.verdict == verdict
    assert found.n == (0 if reading is None else 1)
    assert "maker" in found.rule
    assert found.limit == "5.0 °C to 45.0 °C"


def test_sentences_speak_fahrenheit_where_people_do():
    found = judge_temperature("air temperature", 0.0, FIVE_TO_45, system=UnitSystem.US)
    assert found.sentence == "Air temperature 32 °F; 41 °F to 113 °F: misses."
    assert found.value == pytest.approx(32.0)


def test_freezing_is_too_cold():
    assert judge_temperature("air", 0.0, ABOVE_FREEZING).verdict is Verdict.MISSES
    assert judge_temperature("air", 1.0, ABOVE_FREEZING).verdict is Verdict.MEETS


def test_windows_and_readings_that_cannot_be():
    with pytest.raises(DomainError, match="below the lowest"):
        TemperatureWindow(10.0, 5.0)
    with pytest.raises(DomainError, match="needs a lowest"):
        TemperatureWindow(None, None)
    for reading in (120.0, math.nan):
        with pytest.raises(DomainError, match="°C or °F"):
            judge_temperature("air temperature", reading, FIVE_TO_45)
    only_high = TemperatureWindow(None, 30.0)
    assert judge_temperature("resin", 31.0, only_high).limit == "at most 30.0 °C"


# --- the table ---------------------------------------------------------------------


def test_a_row_of_the_table_is_taken_as_it_stands():
    for between in BetweenRows:
        found = at(15.0, between)
        assert (found.amount, found.pot_life_min, found.cure_min) == (90.0, 14.0, 60.0)
    assert "the row of 15.0 °C" in at(15.0).sentence
    assert at(15.0).sentence.startswith("At 15.0 °C: 90 g")


def test_steps_take_the_careful_side_between_rows():
    found = at(20.0)
    assert (found.amount, found.pot_life_min, found.cure_min) == (90.0, 10.0, 60.0)


def test_straight_lines_between_rows():
    found = at(20.0, BetweenRows.STRAIGHT_LINES)
    assert (found.amount, found.pot_life_min, found.cure_min) == (75.0, 12.0, 50.0)
    assert "by straight lines" in found.sentence


@settings(max_examples=50, deadline=None)
@given(temp=st.floats(5.0, 35.0), between=st.sampled_from(list(BetweenRows)))
def test_what_is_told_lies_between_the_two_rows(temp, between):
    found = at(temp, between, TABLE[::-1])
    assert found.below.temp_c <= temp <= found.above.temp_c
    for name in ("amount", "pot_life_min", "cure_min"):
        ends = sorted((getattr(found.below, name), getattr(found.above, name)))
        assert ends[0] - 1e-9 <= getattr(found, name) <= ends[1] + 1e-9


@pytest.mark.parametrize("temp", [4.9, 35.1, math.nan])
def test_nothing_is_told_beyond_the_tables_ends(temp):
    with pytest.raises(DomainError, match=r"from 5.0 °C to 35.0 °C and says nothing"):
        at(temp)


@pytest.mark.parametrize("table", [(), (CatalystStep(5.0, 0.0, 20.0, 30.0),)])
def test_no_table_no_answer(table):
    with pytest.raises(DomainError, match="Mend the table"):
        at(5.0, table=table)
    assert check_table(table)


def test_what_is_wrong_with_a_table_is_told_by_row():
    assert check_table(TABLE) == ()
    twice = check_table((*TABLE, TABLE[1]))
    assert [(c.row, c.field) for c in twice] == [(5, "temp_c")]
    slower = check_table((*TABLE, CatalystStep(40.0, 30.0, 5.0, 50.0)))
    assert [c.row for c in slower] == [5]
    assert "slower" in slower[0].message
    broken = check_table((CatalystStep(200.0, 1.0, 1.0, math.inf),))
    assert [c.field for c in broken] == ["temp_c", "cure_min"]


# --- time --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("temp", "minutes"), [(5.0, 120.0), (10.0, 120.0), (25.0, 40.0), (35.0, 30.0)]
)
def test_cure_is_longer_in_the_cold_and_never_under_half_an_hour(temp, minutes):
    assert required_cure(temp, TABLE).minutes == minutes


@pytest.mark.parametrize(
    ("elapsed", "table", "verdict"),
    [
        (60.0, TABLE, Verdict.MEETS),
        (59.0, TABLE, Verdict.MISSES),
        (None, TABLE, Verdict.CANNOT_SAY),
        (29.0, (), Verdict.MISSES),
        (90.0, (), Verdict.CANNOT_SAY),
    ],
)
def test_cure_time_is_judged(elapsed, table, verdict):
    found = judge_cure(elapsed, required_cure(15.0, table))
    assert found.verdict == verdict
    assert str(verdict) in found.sentence


def test_cure_says_how_long_to_wait_and_whose_figure_it_is():
    found = judge_cure(20.0, required_cure(15.0, TABLE))
    assert "40 min to wait" in found.sentence
    assert found.standing == "maker's table"
    assert "no source" in judge_cure(20.0, required_cure(35.0, TABLE)).standing


@pytest.mark.parametrize(
    ("elapsed", "verdict"),
    [(14.0, Verdict.MEETS), (14.1, Verdict.MISSES), (None, Verdict.CANNOT_SAY)],
)
def test_pot_life(elapsed, verdict):
    assert judge_pot_life(elapsed, at(15.0)).verdict == verdict


def test_time_does_not_run_backwards():
    with pytest.raises(DomainError, match="earlier"):
        judge_cure(-5.0, required_cure(15.0, TABLE))
    with pytest.raises(DomainError, match="earlier"):
        judge_pot_life(math.nan, at(15.0))


# --- weather -----------------------------------------------------------------------


@settings(max_examples=50, deadline=None)
@given(air=st.floats(-20.0, 45.0), humidity=st.floats(1.0, 100.0))
def test_dew_point_never_exceeds_the_air(air, humidity):
    dew = dew_point_c(air, humidity)
    assert dew <= air + 1e-9
    # saturation pressures by the same coefficients are in the ratio of the humidity
    ratio = math.exp(17.62 * dew / (243.12 + dew) - 17.62 * air / (243.12 + air))
    assert ratio == pytest.approx(humidity / 100.0)


def test_dew_point_margin_is_judged_in_both_systems():
    # 20 °C and 50 %: the dew point is about 9.3 °C
    assert judge_dew_point(12.4, 20.0, 50.0).verdict is Verdict.MEETS
    assert judge_dew_point(12.1, 20.0, 50.0).verdict is Verdict.MISSES
    told = judge_dew_point(12.4, 20.0, 50.0, system=UnitSystem.US)
    assert told.limit == "at least 5.4 °F above it"
    assert "advisory" in told.rule


@pytest.mark.parametrize(("air", "humidity"), [(20, 0), (20, 101), (-60, 50), (70, 9)])
def test_weather_that_cannot_be(air, humidity):
    with pytest.raises(DomainError):
        dew_point_c(air, humidity)


def forecast(*pairs):
    return [ForecastPoint(after, air) for after, air in pairs]


@pytest.mark.parametrize(
    ("points", "verdict", "words"),
    [
        # 40 min at 25 °C, and it stays warm
        (((0, 25), (240, 25)), Verdict.MEETS, "cure of 40 min"),
        # cooling by 1 °C in 6 min: 40 min reach below 25, 60 min reach 15, and stop
        (((0, 25), (60, 15), (240, 15)), Verdict.MEETS, "cure of 60 min"),
        # below 15 the cure is 120 min, and by then it is 8 °C
        (((0, 16), (240, 0)), Verdict.MEETS, "cure of 120 min"),
        (((0, 12), (100, 4), (240, 4)), Verdict.CANNOT_SAY, "says nothing about"),
        (((0, 25), (30, 25)), Verdict.CANNOT_SAY, "forecast ends before the cure"),
        (((10, 25), (240, 25)), Verdict.CANNOT_SAY, "does not begin at the pour"),
        ((), Verdict.CANNOT_SAY, "does not begin at the pour"),
    ],
)
def test_falling_temperature(points, verdict, words):
    found = judge_forecast(forecast(*points), FIVE_TO_45, TABLE)
    assert found.verdict == verdict, found.sentence
    assert words in found.sentence
    assert found.n == len(points)


def test_a_frost_before_the_cure_is_over_misses():
    cold = forecast((-60, 12), (20, 4), (240, 4))
    found = judge_forecast(cold, FIVE_TO_45)
    assert found.verdict is Verdict.MISSES
    assert found.value == pytest.approx(4.0)
