"""The condition rule is the agency's own; its table of cases is the specification."""

import datetime as dt

import pytest

from quality.calc.condition import (
    ConditionLimits,
    LaneEvidence,
    age_in_words,
    lane_condition,
)
from wimprog.lib.judgement import Condition

TODAY = dt.date(2031, 5, 14)
LIMITS = ConditionLimits(watch_drift_pct=2.0, act_drift_pct=4.0, silent_days=5)
SOUND = {
    "is_open": True,
    "last_data_on": TODAY,
    "last_calibrated_on": dt.date(2031, 1, 14),
    "calibration_due_on": dt.date(2032, 1, 14),
    "drift_pct": 0.5,
    "drift_low_pct": -0.5,
    "drift_high_pct": 1.5,
    "drift_since": dt.date(2031, 1, 14),
    "drift_n_weeks": 12,
}


@pytest.mark.parametrize(
    ("changes", "word", "part"),
    [
        ({}, Condition.SOUND, "0.5 % heavy, ±1.0 %"),
        ({"is_open": False}, Condition.NO_DATA, "not in service"),
        ({"last_data_on": None}, Condition.NO_DATA, "No records yet"),
        ({"last_data_on": dt.date(2031, 5, 9)}, Condition.SOUND, "heavy"),
        (
            {"last_data_on": dt.date(2031, 5, 8)},
            Condition.NO_DATA,
            "8 May 2031 (6 days)",
        ),
        (
            {"drift_pct": -4.0, "drift_low_pct": -5.2, "drift_high_pct": -2.8},
            Condition.ACT,
            "4.0 % light, ±1.2 %",
        ),
        (
            {"drift_pct": -3.99, "drift_low_pct": -5.2, "drift_high_pct": -2.8},
            Condition.WATCH,
            "light",
        ),
        (
            {"drift_pct": 2.0, "drift_low_pct": 0.1, "drift_high_pct": 3.9},
            Condition.WATCH,
            "heavy",
        ),
        (
            {"drift_pct": 4.5, "drift_low_pct": -0.1, "drift_high_pct": 9.1},
            Condition.SOUND,
            "heavy",
        ),
        ({"empty_positions": ("piezo 1",)}, Condition.ACT, "piezo 1"),
        (
            {"last_verdict": "misses", "last_class": "Type I"},
            Condition.ACT,
            "outside Type I",
        ),
        ({"last_verdict": "cannot say"}, Condition.SOUND, "heavy"),
        ({"misses": ("Insulation below its limit.",)}, Condition.WATCH, "Insulation"),
        (
            {"crossings": (("Insulation", dt.date(2031, 9, 1)),)},
            Condition.WATCH,
            "1 Sep 2031",
        ),
        ({"crossings": (("Insulation", dt.date(2032, 9, 1)),)}, Condition.SOUND, ""),
        ({"calibration_due_on": dt.date(2031, 5, 13)}, Condition.WATCH, "was due"),
        ({"calibration_due_on": TODAY}, Condition.SOUND, ""),
        ({"last_calibrated_on": None}, Condition.WATCH, "Never calibrated"),
        ({"p_fail_1y": 0.51, "p_fail_position": "piezo 2"}, Condition.WATCH, "51 %"),
        ({"p_fail_1y": 0.5, "p_fail_position": "piezo 2"}, Condition.SOUND, ""),
        (
            {"drift_pct": None, "drift_why_not": "Too few trucks."},
            Condition.SOUND,
            "Too few trucks.",
        ),
    ],
)
def test_each_rule_and_its_edge(changes, word, part):
    result = lane_condition(LaneEvidence(**{**SOUND, **changes}), LIMITS, today=TODAY)
    assert result.condition is word
    assert part in result.sentence


def test_all_reasons_are_told_and_the_worst_comes_first():
    evidence = LaneEvidence(
        **{
            **SOUND,
            "empty_positions": ("piezo 1",),
            "misses": ("Insulation below its limit.",),
        }
    )
    result = lane_condition(evidence, LIMITS, today=TODAY)
    assert result.reasons[0] == "No working sensor at piezo 1."
    assert "Insulation below its limit." in result.reasons
    assert result.reasons[-1] == "Last calibrated 4 months ago."


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (TODAY, "today"),
        (dt.date(2031, 5, 13), "1 day ago"),
        (dt.date(2031, 3, 16), "59 days ago"),
        (dt.date(2030, 3, 14), "14 months ago"),
        (dt.date(2030, 3, 15), "13 months ago"),
        (dt.date(2028, 5, 14), "3 years ago"),
    ],
)
def test_ages_are_said_in_whole_units(day, words):
    assert age_in_words(day, TODAY) == words
