"""Stopping sight distance on level road: AASHTO, A Policy on Geometric Design of
Highways and Streets, design values in US customary units (from memory)."""

import math

import pytest

from sites.calc.suitability.common_practice import stopping_sight_distance_m

DESIGN_FT = {  # mph: ft, rounded up to the next 5 ft by the policy
    20: 115, 30: 200, 40: 305, 45: 360, 50: 425, 55: 495, 60: 570, 65: 645, 70: 730,
    75: 820, 80: 910,
}  # fmt: skip


@pytest.mark.parametrize(("mph", "design_ft"), DESIGN_FT.items())
def test_the_policy_rounds_our_distance_up_to_its_table(mph, design_ft):
    feet = stopping_sight_distance_m(mph * 1.609344) / 0.3048
    assert 5 * math.ceil(feet / 5) == design_ft
