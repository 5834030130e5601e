"""Bounds of a survey's numbers: in order, complete, and asking after the other unit."""

from __future__ import annotations

import dataclasses

import pytest

from sites.calc.survey_bounds import BOUNDS, doubt_of
from sites.calc.types import SurveyFacts
from sites.models import SiteSurvey
from sites.selectors import MEASURED
from tests.sites.calc.build import SOUND
from wimprog.lib.units import UnitSystem

NUMBERS = [
    field.name
    for field in dataclasses.fields(SurveyFacts)
    if "float" in str(field.type)
]


def test_every_number_of_a_survey_has_bounds():
    assert set(BOUNDS) == set(NUMBERS)
    assert len(NUMBERS) > 20


def test_the_form_has_every_fact_once():
    assert sorted(MEASURED) == sorted(f.name for f in dataclasses.fields(SurveyFacts))
    for name in MEASURED:
        assert SiteSurvey._meta.get_field(name)


@pytest.mark.parametrize("name", sorted(BOUNDS))
def test_bounds_are_in_order(name):
    one = BOUNDS[name]
    assert one.least <= one.low < one.high <= one.most


@pytest.mark.parametrize("name", sorted(BOUNDS))
def test_a_sound_location_raises_no_question(name):
    value = getattr(SOUND, name)
    for system in UnitSystem:
        if value is not None:
            assert doubt_of(name, value, label=name, system=system) is None


def test_what_is_usual_in_no_unit_is_questioned_without_one():
    doubt = doubt_of("grade_pct", 12.0, label="grade", system=UnitSystem.US)
    assert doubt is not None
    assert not doubt.is_impossible
    assert "say below that it is right" in doubt.message
    far = doubt_of("lane_width_m", 90.0, label="lane width", system=UnitSystem.SI)
    assert far is not None
    assert far.is_impossible
    assert "90 m cannot be" in far.message
    assert "measured in ft" not in far.message
