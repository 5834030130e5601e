"""What a survey may say, and what it is told when it contradicts itself."""

import pytest

from sites.calc.types import SurveyFacts
from wimprog.lib.errors import DomainError


def test_nothing_measured_is_a_survey():
    assert SurveyFacts().grade_pct is None


def test_grade_and_cross_slope_carry_their_direction():
    assert SurveyFacts(grade_pct=-1.5, cross_slope_pct=-2.0).grade_pct == -1.5


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"grade_pct": float("nan")}, "“grade pct” is nan; give a finite number"),
        ({"trucks_per_day": float("inf")}, "finite"),
        ({"rutting_mm": -1.0}, "“rutting mm” is -1; it cannot be below zero"),
        ({"lane_width_m": 0.0}, "“lane width m” is 0"),
        ({"curve_radius_m": 900.0, "curve_is_straight": True}, "curve radius is 900 m"),
        ({"speed_p15_kmh": 90.0, "speed_p85_kmh": 80.0}, "Were they exchanged"),
    ],
)
def test_what_cannot_be_is_refused_by_name(facts, words):
    with pytest.raises(DomainError, match=words):
        SurveyFacts(**facts)
