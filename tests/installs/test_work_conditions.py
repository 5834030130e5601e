"""Conditions that the program understands, and those that it leaves to people."""

import datetime as dt

import pytest

from installs.calc.upkeep.seen_conditions import Seen, met_since, understood

DAYS = [dt.date(2024, month, 1) for month in (1, 2, 3, 4)]


@pytest.mark.parametrize(
    ("words", "what", "limit"),
    [
        ("Battery voltage under load below 11.8 V", Seen.LOAD_VOLTAGE, 11.8),
        ("VOLTAGE AT REST below 12,2 volts", Seen.REST_VOLTAGE, 12.2),
        ("resistance to earth above 25 Ω", Seen.EARTH_RESISTANCE, 25.0),
        ("resistance to earth above 25 ohm", Seen.EARTH_RESISTANCE, 25.0),
        ("insulation resistance is falling", Seen.INSULATION_FALLING, None),
    ],
)
def test_words_that_are_understood(words, what, limit):
    found = understood(words)
    assert (found.what, found.limit) == (what, limit)


@pytest.mark.parametrize(
    "words",
    ["after a lightning strike", "voltage at rest low", "voltage below 11 V", ""],
)
def test_other_words_are_a_reminder(words):
    assert understood(words) is None


@pytest.mark.parametrize(
    ("values", "since"),
    [
        ([12.5, 11.7, 11.6, 11.5], DAYS[1]),
        ([11.5, 12.5, 11.7, 11.6], DAYS[2]),  # the run up to the latest, not the first
        ([11.5, 11.5, 11.5, 11.8], None),  # at the limit is not below it
        ([], None),
    ],
)
def test_a_condition_is_met_since_the_run_up_to_the_latest_value(values, since):
    below = understood("voltage under load below 11.8 V")
    assert met_since(below, list(zip(DAYS, values, strict=False))) == since


def test_above_is_the_other_side():
    above = understood("resistance to earth above 25 Ω")
    assert above.is_met(25.1)
    assert not above.is_met(25.0)
    assert above.sentence == "resistance to earth above 25 Ω"
