"""AASHTO M 331 (once MP 14): limits of roughness, Type I.

Confirmed by public summaries: a lower and an upper limit, and what lies below, between
and above. From memory: the limits themselves.
"""

import pytest

from sites.calc.suitability.aashto_m331 import STANDARD
from sites.calc.suitability.base import LineState
from tests.sites.calc.build import survey

LIMITS = [  # m/km, from memory
    ("lri", 0.50, 2.1),
    ("peak_lri", 0.50, 2.1),
    ("sri", 0.50, 2.1),
    ("peak_sri", 0.75, 2.9),
]


def state(key, value, wanted="Type I"):
    facts = survey(**{f"{key}_m_per_km": value})
    return STANDARD.judge(facts, wanted=wanted).line_of(key).state


@pytest.mark.parametrize(("key", "lower", "upper"), LIMITS)
def test_below_complies_above_does_not_between_may(key, lower, upper):
    assert state(key, lower - 0.001) is LineState.MEETS
    assert state(key, lower) is LineState.MAY  # “below” leaves the limit itself open
    assert state(key, (lower + upper) / 2) is LineState.MAY
    assert state(key, upper) is LineState.MAY  # so does “above”
    assert state(key, upper + 0.001) is LineState.MISSES
